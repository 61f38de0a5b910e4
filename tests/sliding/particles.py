"""Brute force: many particles that follow steepest descent over the triangles of a roof, as an oracle.

Nothing of the flux is used: no strips, no cells, no edges by kind, only triangles and what borders them. A
particle in a triangle goes straight down the fall; at an edge it goes on into the next triangle if that falls
away from the edge, and down the edge itself if it falls toward it; at a corner it takes the steepest way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from roofmodel.shape.cleaning import clean_mesh
from roofmodel.shape.junctions import divide_at_junctions
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.shape.regions import make_mesh

SPREAD = 1.0  # a row whose end comes this close to a valley closes it [m]
STEPS = 2000
EDGE_ON = 1e-7  # [m]


@dataclass
class Traced:
    """Where particles end: row or -1, place along the row, and what each stands for."""

    row: np.ndarray
    place: np.ndarray
    thrust: np.ndarray
    moved: np.ndarray


class Terrain:
    """Triangles of a roof with falls, neighbors, and the way on from every corner."""

    def __init__(self, roof):
        points, faces, _ = clean_mesh(roof.points.copy(), roof.faces.copy(), np.zeros(3))
        faces, _ = divide_at_junctions(points, faces)
        mesh = make_mesh(points, faces)
        self.roof, self.points, self.faces, self.twin = roof, points, faces, mesh.twin
        self.plane = _owner(roof, points[faces].mean(axis=1))
        planes = roof.planes
        self.down = -planes.upslope[self.plane]
        self.area = mesh.area * planes.normal[self.plane, 2]
        self.sin = np.sin(planes.slope[self.plane])
        start = points[faces]
        way = np.roll(start, -1, axis=1) - start
        self.out = np.cross(way, planes.normal[self.plane][:, None])  # in the plane, out of the face
        self.out /= np.linalg.norm(self.out, axis=2, keepdims=True)
        self.after = self._ways_on()

    def _ways_on(self):
        """For every corner: (face or -1, next corner or -1), the steepest."""
        found = np.full((len(self.points), 2), -1)
        best = np.full(len(self.points), 1e-9)
        for face, corner in np.argwhere(self.faces >= 0):
            v = self.faces[face, corner]
            down = self.down[face]
            # Inside the wedge: away from neither of the two sides at this corner.
            inside = max(down @ self.out[face, corner], down @ self.out[face, corner - 1]) < -1e-9
            if inside and -down[2] > best[v] + 1e-12:
                best[v], found[v] = -down[2], (face, -1)
            for other in (self.faces[face, (corner + 1) % 3], self.faces[face, corner - 1]):
                way = self.points[other] - self.points[v]
                fall = -way[2] / np.linalg.norm(way)
                if fall > best[v] + 1e-9:
                    best[v], found[v] = fall, (-1, other)
        return found


def _owner(roof, middle):
    """Plane that each face lies on."""
    shapes = np.array(plan_polygons(roof.planes), dtype=object)
    at, plane = shapely.STRtree(shapes).query(shapely.points(middle[:, :2]), "dwithin", distance=1e-3)
    off = np.abs(height_at(roof.planes, plane, middle[at, :2]) - middle[at, 2])
    order = np.lexsort([off, at])
    first = order[np.r_[True, np.diff(at[order]) > 0]]
    assert len(first) == len(middle)
    return plane[first]


def _seeds(terrain, count, rng):
    """Random places in all triangles, by their area on plan: face, point, and plan area of each."""
    number = np.maximum(np.ceil(count * terrain.area / terrain.area.sum()).astype(int), 1)
    face = np.repeat(np.arange(len(number)), number)
    u, v = rng.random((2, len(face)))
    flip = u + v > 1.0
    u, v = np.where(flip, 1.0 - u, u), np.where(flip, 1.0 - v, v)
    a, b, c = terrain.points[terrain.faces[face]].transpose(1, 0, 2)
    return face, a + u[:, None] * (b - a) + v[:, None] * (c - a), terrain.area[face] / number[face]


def trace(terrain, layout, pressure, count, seed=0):
    """Follow particles to a row or over an edge."""
    roof = terrain.roof
    face, x, area = _seeds(terrain, count, np.random.default_rng(seed))
    thrust = pressure * area * terrain.sin[face]
    side = terrain.plane[face].copy()  # plane a particle comes from
    row, place = np.full(len(face), -1), np.full(len(face), np.nan)
    moved = np.zeros(len(face))
    corner = np.full(len(face), -1)
    entered = np.full(len(face), -1)
    live = np.arange(len(face))
    for _ in range(STEPS):
        if len(live) == 0:
            return Traced(row, place, thrust, moved)
        inside = live[face[live] >= 0]
        standing = live[face[live] < 0]
        # Down the fall to the side of the triangle.
        f = face[inside]
        side[inside] = terrain.plane[f]
        start = terrain.points[terrain.faces[f]]
        rate = np.einsum("nex,nx->ne", terrain.out[f], terrain.down[f])
        gap = np.einsum("nex,nex->ne", start - x[inside][:, None], terrain.out[f])
        ahead = rate > 1e-12
        ahead[np.arange(len(f)), np.maximum(entered[inside], 0)] &= entered[inside] < 0
        length = np.where(ahead, np.maximum(gap, 0.0) / np.where(ahead, rate, 1.0), np.inf)
        exit_side = np.argmin(length, axis=1)
        step = length[np.arange(len(f)), exit_side]
        assert np.isfinite(step).all()
        new = x[inside] + step[:, None] * terrain.down[f]
        _catch(roof, layout, side[inside], x[inside], new, inside, row, place, 0.0)
        moved[inside] += step
        x[inside] = new
        half = 3 * f + exit_side
        twin = terrain.twin[half]
        other = np.maximum(twin, 0) // 3
        away = np.einsum("nx,nx->n", terrain.out[other, np.maximum(twin, 0) % 3], terrain.down[other]) < -1e-9
        free = row[inside] < 0
        gone = free & (twin < 0)
        through = free & (twin >= 0) & away
        valley = free & (twin >= 0) & ~away
        face[inside[through]] = other[through]
        entered[inside[through]] = twin[through] % 3
        ends = terrain.faces[f, exit_side], terrain.faces[f, (exit_side + 1) % 3]
        lower = np.where(terrain.points[ends[0], 2] <= terrain.points[ends[1], 2], *ends)
        run = inside[valley]
        _along(terrain, layout, run, lower[valley], (f[valley], other[valley]), x, side, row, place, moved)
        face[run], corner[run], entered[run] = -1, lower[valley], -1
        # From corners on.
        way = terrain.after[np.maximum(corner[standing], 0)]
        into = way[:, 0] >= 0
        face[standing[into]], entered[standing[into]] = way[into, 0], -1
        on = way[:, 1] >= 0
        run, target = standing[on], way[on, 1]
        beside = _faces_at(terrain, corner[run], target)
        _along(terrain, layout, run, target, beside, x, side, row, place, moved)
        corner[run] = target
        stuck = standing[~into & ~on]
        done = np.zeros(len(row), dtype=bool)
        done[inside[gone]] = done[stuck] = True
        live = live[(row[live] < 0) & ~done[live]]
    message = f"{len(live)} particles run for ever"
    raise AssertionError(message)


def _faces_at(terrain, start, end):
    """Faces on both sides of edges; the same twice at the rim."""
    key = {}
    for half, (a, b) in enumerate(
        np.stack([terrain.faces, np.roll(terrain.faces, -1, axis=1)], axis=2).reshape(-1, 2).tolist()
    ):
        key.setdefault((min(a, b), max(a, b)), []).append(half // 3)
    both = [key[min(a, b), max(a, b)] for a, b in zip(start.tolist(), end.tolist(), strict=True)]
    return tuple(np.array([pair[k] for pair in both], dtype=int) for k in (0, -1))


def _along(terrain, layout, run, target, beside, x, side, row, place, moved):
    """Down an edge to its lower corner, unless a row that reaches it takes the particle."""
    new = terrain.points[target]
    for faces in beside:
        plane = terrain.plane[faces]
        _catch(terrain.roof, layout, plane, x[run], new, run, row, place, SPREAD, side[run])
    moved[run] += np.linalg.norm(new - x[run], axis=1)
    x[run] = new


def _catch(roof, layout, plane, start, end, who, row, place, spread, prefer=None):
    """Particles that cross a row of their plane; along edges also a row that ends within the spread of it."""
    for r in range(len(layout.row_name)):
        on = np.flatnonzero(plane == layout.row_plane[r])
        if not len(on):
            continue
        uv = [roof.planes.to_plane(int(layout.row_plane[r]), p[on]) for p in (start, end)]
        a, b = layout.row_start[r], layout.row_end[r]
        way = (b - a) / np.linalg.norm(b - a)
        up = np.array([-way[1], way[0]])
        above, below = (uv[0] - a) @ up, (uv[1] - a) @ up
        crosses = (above > EDGE_ON) & (below <= EDGE_ON)
        share = above / np.where(crosses, above - below, 1.0)
        at = (uv[0] + share[:, None] * (uv[1] - uv[0]) - a) @ way
        length = np.linalg.norm(b - a)
        hit = crosses & (at > -spread - EDGE_ON) & (at < length + spread + EDGE_ON)
        if prefer is not None:  # the row of the stream's own side comes first
            own = prefer[on] == layout.row_plane[r]
            hit &= own | (row[who[on]] < 0)
            hit &= (row[who[on]] < 0) | (layout.row_plane[np.maximum(row[who[on]], 0)] != prefer[on])
        row[who[on[hit]]] = r
        place[who[on[hit]]] = np.clip(at[hit], 0.0, length)
