"""Where straight ways across roof planes go: cut so that each comes to one edge, row and box in its width."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.shape.planes import height_at, plan_polygon
from roofmodel.sliding.cells import Cells
from roofmodel.sliding.walls import foot_walls
from roofmodel.surface import RoofSurface
from roofmodel.upper_faces import Faces, upper_faces

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

STEP_OUT = 1e-4  # [m]
MEETS = 1e-3  # edges so near to a point meet there [m]
LEAST_TURN = 0.05  # sine of the angle below which an edge runs beside a way
NARROWEST = 1e-3  # ways are cut no narrower [m]


class Piece(NamedTuple):
    """Stretch of a cell's lower end: the part of its width, ends (2, 3) [m], and the way (2,) from there."""

    cell: int
    part: float
    ends: Array
    way: Array


@dataclass(frozen=True)
class Site:
    """What a way may meet; plans of planes as they come to be crossed.

    Attributes
    ----------
    roof : RoofSurface
    layout : Layout
    cells : Cells
    walls : (e,) float
        Of `foot_walls`. [m]
    fall : (p, 2) float
        Unit vectors on plan down the planes.
    rows : (r, 2, 3) float
        Ends of the rows. [m]
    faces : Faces
        Boxes and arrays.
    boxes : (f,) shapely Polygon
        Their feet on plan. [m]
    marks : (c, 2) float
        Corners of edges and boxes and ends of rows, on plan: a way is cut there. [m]
    plans : dict of int to shapely Polygon
    sides : dict of int to (edges, their ends (k, 2, 2), lines)
    """

    roof: RoofSurface
    layout: Layout
    cells: Cells
    walls: Array
    fall: Array
    rows: Array
    faces: Faces
    boxes: NDArray[np.object_]
    marks: Array
    plans: dict[int, shapely.Polygon] = field(default_factory=dict)
    sides: dict[int, tuple[IntArray, Array, NDArray[np.object_]]] = field(default_factory=dict)

    @classmethod
    def of(cls, roof: RoofSurface, layout: Layout, cells: Cells, fall: Array) -> Site:
        """What ways over a roof may meet."""
        planes = roof.planes
        ends = np.stack([layout.row_start, layout.row_end], axis=1).reshape(-1, 2)
        rows = planes.to_world(np.repeat(layout.row_plane, 2), ends).reshape(-1, 2, 3)
        faces = upper_faces(roof)
        boxes = np.array([_foot(roof, faces, k) for k in range(faces.count)], dtype=object)
        marks = [roof.edges.start[:, :2], roof.edges.end[:, :2], rows[..., :2].reshape(-1, 2)]
        corners = shapely.get_coordinates(boxes) if len(boxes) else np.zeros((0, 2))
        cuts = np.unique(np.concatenate([*marks, corners]), axis=0)
        return cls(roof, layout, cells, foot_walls(roof), fall, rows, faces, boxes, cuts)

    def plan(self, plane: int) -> shapely.Polygon:
        """Outline of a plane on plan."""
        if plane not in self.plans:
            self.plans[plane] = plan_polygon(self.roof.planes, plane)
        return self.plans[plane]

    def sides_of(self, plane: int) -> tuple[IntArray, Array, NDArray[np.object_]]:
        """Edges of a plane, their ends on plan (k, 2, 2), and lines."""
        if plane not in self.sides:
            edges = self.roof.edges
            own = np.flatnonzero((edges.plane == plane).any(axis=1))
            ends = np.stack([edges.start[own, :2], edges.end[own, :2]], axis=1)
            self.sides[plane] = own, ends, np.asarray(shapely.linestrings(ends))
        return self.sides[plane]

    def other(self, edge: int, plane: int) -> int:
        """Plane beyond an edge of a plane, -1 for none."""
        first, second = self.roof.edges.plane[edge].tolist()
        return int(second if first == plane else first)

    def cell_above(self, row: int, at: Array) -> int:
        """Cell above a row that is nearest to a point on plan; the row has some."""
        above = np.flatnonzero(self.cells.lower_row == row)
        plane = int(self.layout.row_plane[row])
        u = self.roof.planes.to_plane(plane, _on_plane(self.roof, plane, at[None]))[0, 0]
        return int(above[np.argmin(np.abs(self.cells.corners[above, :2, 0].mean(axis=1) - u))])


def _foot(roof: RoofSurface, faces: Faces, face: int) -> shapely.Geometry:
    """Plan of a box or array."""
    plane, box, array = int(faces.plane[face]), int(faces.obstacle[face]), int(faces.array[face])
    if box >= 0:
        known = roof.obstacles
        corners = known.start[known.face == box]
    else:
        corners = roof.planes.to_world(plane, roof.arrays.corners[array])
    return shapely.MultiPoint(corners[:, :2]).convex_hull


def fall_of(roof: RoofSurface) -> Array:
    """Unit vectors on plan down the planes, (p, 2)."""
    fall = -roof.planes.upslope[:, :2]
    return np.asarray(fall / np.maximum(np.linalg.norm(fall, axis=1, keepdims=True), 1e-12))


def other_side(roof: RoofSurface, edge: IntArray, plane: IntArray) -> IntArray:
    """Planes (n,) beyond edges of planes, -1 for none."""
    pair = roof.edges.plane[edge]
    return np.where(pair[:, 0] == plane, pair[:, 1], pair[:, 0])


def cut_ends(site: Site, cell: int) -> list[Piece]:
    """Lower end of a cell, cut wherever a corner, a row's end or a box lies straight ahead of it."""
    plane = int(site.cells.plane[cell])
    way = site.fall[plane]
    ends = site.roof.planes.to_world(plane, site.cells.corners[cell, :2])
    square = np.array([-way[1], way[0]])
    first, width = float(ends[0, :2] @ square), float((ends[1, :2] - ends[0, :2]) @ square)
    if abs(width) < NARROWEST:
        return [Piece(cell, 1.0, ends, way)]
    ahead = (site.marks - ends[:, :2].mean(axis=0)) @ way > -np.linalg.norm(ends[1] - ends[0])
    t = (site.marks[ahead] @ square - first) / width
    least = NARROWEST / abs(width)
    t = np.unique(np.concatenate([[0.0], t[(t > least) & (t < 1.0 - least)], [1.0]]))
    t = t[np.r_[True, np.diff(t) > least]]
    t[-1] = 1.0
    line = ends[0] + t[:, None] * (ends[1] - ends[0])
    return [Piece(cell, b - a, line[k : k + 2], way) for k, (a, b) in enumerate(pairwise(t.tolist()))]


def far_end(plan: shapely.Polygon, at: Array, way: Array) -> tuple[Array, Array | None]:
    """Where a straight line from the bound of a plane leaves it, and enters it again if it does. [m]."""
    far = float(np.ptp(np.reshape(plan.bounds, (2, 2)), axis=0).sum()) + 1.0
    inside = plan.intersection(shapely.LineString([at, at + far * way]))
    pieces = [np.asarray(part.coords) for part in shapely.get_parts(inside) if part.length > 2.0 * STEP_OUT]
    if not pieces:
        return at, None
    reached = np.sort([[*sorted(((piece - at) @ way)[[0, -1]])] for piece in pieces], axis=0)
    beyond = at + (reached[1, 0] + STEP_OUT) * way if len(pieces) > 1 else None
    return np.asarray(at + reached[0, 1] * way), beyond


def edge_at(site: Site, plane: int, at: Array, way: Array) -> int:
    """Edge of a plane that a way comes to: the nearest, of those that meet there the squarest."""
    own, ends, lines = site.sides_of(plane)
    away = shapely.distance(lines, shapely.Point(at))
    along = ends[:, 1] - ends[:, 0]
    square = np.abs(along[:, 0] * way[1] - along[:, 1] * way[0]) / np.linalg.norm(along, axis=1)
    return int(own[np.lexsort((-square, np.maximum(away, float(away.min()) + MEETS)))[0]])


def stretch(start: Array, stop: Array, ends: Array, way: Array, place: Array) -> Array:
    """Stretch (2, 3) of a line (3,) to (3,) that the line between two points (2, 3) comes to along a way.

    A line beside the way is taken as if it were square to it at `place` (3,). [m].
    """
    line = stop - start
    turn = float(line[0] * way[1] - line[1] * way[0])
    if abs(turn) < LEAST_TURN * float(np.linalg.norm(line[:2])):
        shift = ends[:, :2] - ends[:, :2].mean(axis=0)
        return np.column_stack([place[:2] + shift, np.full(2, place[2])])
    from_start = ends[:, :2] - start[:2]
    t = np.clip((from_start[:, 0] * way[1] - from_start[:, 1] * way[0]) / turn, 0.0, 1.0)
    return np.asarray(start + t[:, None] * line)


def row_between(site: Site, plane: int, at: Array, end: Array) -> tuple[int, Array]:
    """First row that stands on a plane between two points, and where; -1 for none, and the end."""
    rows = np.flatnonzero(site.layout.row_plane == plane)
    rows = rows[np.isin(rows, site.cells.lower_row)]
    if not len(rows):
        return -1, end
    lines = shapely.linestrings(site.rows[rows][..., :2])
    met = np.asarray(shapely.intersection(lines, shapely.LineString([at, end])))
    hit = np.flatnonzero(~shapely.is_empty(met))
    if not len(hit):
        return -1, end
    middle = shapely.get_coordinates(shapely.centroid(met[hit]))
    first = int(np.argmin(np.linalg.norm(middle - at, axis=1)))
    return int(rows[hit[first]]), middle[first]


def boxes_between(site: Site, plane: int, at: Array, end: Array) -> list[tuple[int, Array]]:
    """Boxes and arrays on a plane that a straight way between two points meets, and where first."""
    on = np.flatnonzero(site.faces.plane == plane)
    if not len(on):
        return []
    met = np.asarray(shapely.intersection(site.boxes[on], shapely.LineString([at, end])))
    points = [(int(face), shapely.get_coordinates(one)) for face, one in zip(on, met, strict=True) if one]
    way = end - at
    return [(face, each[np.argmin(each @ way)]) for face, each in points]


def cell_at(site: Site, plane: int, at: Array) -> int:
    """Cell of a plane nearest to a point on plan."""
    own = np.flatnonzero(site.cells.plane == plane)
    uv = site.roof.planes.to_plane(plane, _on_plane(site.roof, plane, at[None]))[0]
    away = shapely.distance(shapely.polygons(site.cells.corners[own]), shapely.Point(uv))
    return int(own[np.argmin(away)])


def _on_plane(roof: RoofSurface, plane: int, xy: Array) -> Array:
    return np.column_stack([xy, height_at(roof.planes, plane, xy)])
