"""Snow that a slope pushes straight across nearly flat roof, and over what rises a little behind it.

A flat part brings no thrust and turns none: what comes down onto it goes on the way it came, whatever small
fall it has, to the next slope, a wall, or over an edge. A part that falls back holds no more than the push of
its own snow: with even snow on all, p h cos(theta) for each meter, h its rise, against the sum of
p H cos(alpha) of the slopes above with their heights H (judgment: even snow, rows above not counted, which is
safe). What falls back at more than `FREE` and rises high holds more: all of it from `STEEP` and a rise of
`RISE` on, and less in proportion to both (judgment). Valleys that fall keep their streams whatever the rise
beyond them, where that is not nearly flat.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.shape.planes import height_at, plan_polygon
from roofmodel.sliding.cells import Cells
from roofmodel.sliding.walls import HOLDS, foot_walls
from roofmodel.surface import SHALLOW, STEEPER, RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

STRAIGHT = np.cos(np.radians(1.0))  # planes that fall this nearly alike hand on strip by strip
FREE, STEEP = SHALLOW, np.radians(15.0)  # between them what rises holds more and more (judgment) [rad]
RISE = 1.0  # so much steep rise holds all that slides against it (judgment) [m]
LEVEL = 1e-3  # sine: valleys that fall less carry nothing away
AGAINST = -0.1  # cosine: a slope beyond that rises more squarely against the stream holds it (judgment)
STEP_OUT = 1e-4  # [m]
MEETS = 1e-3  # edges so near to a point meet there [m]
LEAST_TURN = 0.05  # sine of the angle below which an edge runs beside a way
PLANES = 50  # that a stream crosses at most


class End(IntEnum):
    """What a way across ends at."""

    PLANE = 0  # goes on down the plane on the far side of the edge
    ROW = 1  # a row in the way takes it: on to the cell above the row
    EDGE = 2  # over a free edge
    WALL = 3  # held by a wall
    PIT = 4  # held by a slope that rises against it


@dataclass(frozen=True)
class Across:
    """Ways straight across flat parts, k of them, one or more for each cell that sends snow there.

    Attributes
    ----------
    cell : (k,) int
    share : (k,) float
        Part of what leaves the cell that goes this way. [-]
    end : (k,) int
        A member of `End`.
    edge : (k,) int
        Edge that it ends at.
    target : (k,) int
        Cell that it goes on to, nearest to the middle; -1 where it does not.
    lip : (k, 2, 3) float
        Stretch of that edge that it comes to. [m]
    way : (k, 2) float
        Unit direction on plan.
    slope : (k,) float
        Fall of the last plane on that way, negative where it rises. [rad]
    """

    cell: IntArray
    share: Array
    end: IntArray
    edge: IntArray
    target: IntArray
    lip: Array
    way: Array
    slope: Array


def ways_across(
    roof: RoofSurface, layout: Layout, cells: Cells, cell: IntArray, handed: tuple[IntArray, IntArray]
) -> Across:
    """Follow what leaves cells straight on over the nearly flat planes below them, and over what falls back.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
        A row that stands in the way takes what comes, from whichever side.
    cells : Cells
    cell : (n,) int
        Cells above other planes.
    handed : (m,) int, (m,) int
        Cells that hand snow to cells of other planes over pitch breaks.

    Returns
    -------
    Across
        Only of cells of which a part goes this way.
    """
    fall = -roof.planes.upslope[:, :2]
    fall = fall / np.maximum(np.linalg.norm(fall, axis=1, keepdims=True), 1e-12)
    flat, back = _may_cross(roof, cells, cell, fall)
    cell, back = cell[flat | back], back[flat | back]
    if not len(cell):
        return _across([])
    onto = np.unique(np.stack([cells.plane[handed[0]], cells.plane[handed[1]]], axis=1), axis=0)
    site, top = _Site(roof, layout, cells, foot_walls(roof), fall, {}), _tops(roof)
    plane = cells.plane[cell]
    slope = roof.planes.slope[_other_side(roof, cells.lower_edge[cell], plane)]
    while True:  # what a way brings to a plane pushes on from there
        steepest, push = _behind(roof, onto, top)
        first = cell[back | (steepest[plane] > slope + STEEPER)]
        found = [part for c in first.tolist() for part in _way(site, c, push)]
        links = [(cells.plane[part[0]], cells.plane[part[4]]) for part in found if part[2] == End.PLANE]
        more = np.unique(np.concatenate([onto, np.array(links, dtype=np.int64).reshape(-1, 2)]), axis=0)
        if len(more) == len(onto):
            break
        onto = more
    return _across(found)


def _across(found: list[_Found]) -> Across:
    """The ways found, as arrays."""
    parts = list(zip(*found, strict=True)) if found else [()] * 8
    number = (np.array(parts[k], dtype=np.int64) for k in (0, 2, 3, 4))
    source, end, edge, target = number
    return Across(
        cell=source,
        share=np.array(parts[1], dtype=np.float64),
        end=end,
        edge=edge,
        target=target,
        lip=np.array(parts[5], dtype=np.float64).reshape(-1, 2, 3),
        way=np.array(parts[6], dtype=np.float64).reshape(-1, 2),
        slope=np.array(parts[7], dtype=np.float64),
    )


def _may_cross(roof: RoofSurface, cells: Cells, cell: IntArray, fall: Array) -> tuple[BoolArray, BoolArray]:
    """Whether snow that leaves cells (n,) may go straight on over the planes below them, for two reasons.

    They are nearly flat and do not fall alike, and it does if they are much flatter than what pushes. Or they
    fall back from an edge so level that nothing is carried away along it.
    """
    edge, plane = cells.lower_edge[cell], cells.plane[cell]
    other = _other_side(roof, edge, plane)
    alike = np.sum(fall[plane] * fall[other], axis=1)
    flat = (roof.planes.slope[other] < SHALLOW) & (alike < STRAIGHT)
    back = (alike < AGAINST) & ~_falls(roof, edge)
    return (other >= 0) & flat, (other >= 0) & back


def _behind(roof: RoofSurface, onto: IntArray, top: Array) -> tuple[Array, Array]:
    """What pushes on each plane (p,): steepest slope [rad], and H cos(alpha) from its lowest level up. [m].

    `onto` (k, 2) are pairs of planes of which the first hands snow on to the second; `top` is from `_tops`.
    """
    planes = roof.planes
    steepest, above = planes.slope.copy(), np.zeros(planes.count)
    upper, lower = onto[:, 0], onto[:, 1]
    step = top[upper] - top[lower]
    step = np.where(step > 0.0, step * np.cos(planes.slope[upper]), step)
    for _ in range(planes.count):
        before = np.concatenate([steepest, above])
        np.maximum.at(steepest, lower, steepest[upper])
        np.maximum.at(above, lower, above[upper] + step)
        if (before == np.concatenate([steepest, above])).all():
            break
    return steepest, top * np.cos(planes.slope) + above


def _tops(roof: RoofSurface) -> Array:
    """Highest place of each plane, (p,). [m]."""
    rings = [np.asarray(outline.exterior.coords) for outline in roof.planes.outline]
    return np.array([roof.planes.to_world(p, ring)[:, 2].max() for p, ring in enumerate(rings)])


@dataclass(frozen=True)
class _Site:
    """What a way may meet; plans of planes as they come to be crossed."""

    roof: RoofSurface
    layout: Layout
    cells: Cells
    walls: Array
    fall: Array  # unit vectors on plan down the planes
    plans: dict[int, shapely.Polygon]

    def plan(self, plane: int) -> shapely.Polygon:
        if plane not in self.plans:
            self.plans[plane] = plan_polygon(self.roof.planes, plane)
        return self.plans[plane]


_Found = tuple[int, float, int, int, int, Array, Array, float]


def _way(site: _Site, cell: int, push: Array) -> list[_Found]:
    """One way from the lower end of a cell, in a part that goes on and one that stays in a pit, if any."""
    roof, cells, planes = site.roof, site.cells, site.roof.planes
    own = int(cells.plane[cell])
    ends = planes.to_world(own, cells.corners[cell, :2])
    way = site.fall[own]
    low, at = float(ends[:, 2].mean()), ends[:, :2].mean(axis=0)
    foot = low
    height = max(float(push[own]) - foot * float(np.cos(planes.slope[own])), 1e-9)
    plane = _other(roof, int(cells.lower_edge[cell]), own)
    back = held = kept = 0.0  # push of what falls back, its most so far, and part that steep rise keeps
    pit: _Found | None = None
    for _ in range(PLANES):
        end, beyond = _far_end(site.plan(plane), at, way)
        slope = float(np.arctan(np.tan(planes.slope[plane]) * (site.fall[plane] @ way)))
        row, stop = _row_between(roof, site.layout, cells, plane, at, end)
        z = float(height_at(planes, plane, stop[None])[0])
        back, low = back + (z - low) * float(np.cos(slope)), z
        held = max(held, back)
        steep, high = np.clip([(-slope - FREE) / (STEEP - FREE), (z - foot) / RISE], 0.0, 1.0).tolist()
        kept = max(kept, steep * high)
        share = max(1.0 - held / height, 0.0) * (1.0 - kept)
        stays = [] if pit is None else [(pit[0], pit[1] - share, *pit[2:])]
        if share <= 0.0:
            return stays
        edge = _edge_at(roof, plane, end, way)
        lip = _lip(roof, edge, ends, way, np.append(end, float(height_at(planes, plane, end[None])[0])))
        if row >= 0:
            return [(cell, share, End.ROW, edge, row, lip, way, slope), *stays]
        below = _other(roof, edge, plane)
        if below < 0 and beyond is not None:  # a hole or notch holds nothing back
            at = beyond
            continue
        if below < 0:
            kind = End.WALL if site.walls[edge] >= HOLDS else End.EDGE
            return [(cell, share, kind, edge, -1, lip, way, slope), *stays]
        plane, at = below, end + STEP_OUT * way
        if planes.slope[plane] >= SHALLOW:
            if site.fall[plane] @ way >= AGAINST:
                target = _cell_at(roof, cells, plane, at)
                return [(cell, share, End.PLANE, edge, target, lip, way, slope), *stays]
            if _falls(roof, np.array([edge]))[0]:
                return []  # a trough that drains along its floor carries it away, as any valley
            pit = pit or (cell, share, End.PIT, edge, -1, lip, way, slope)
    return []


def _falls(roof: RoofSurface, edge: IntArray) -> BoolArray:
    """Whether snow goes along edges (n,)."""
    drop = np.abs(roof.edges.end[edge, 2] - roof.edges.start[edge, 2])
    return np.asarray(drop >= LEVEL * roof.edges.length[edge])


def _other_side(roof: RoofSurface, edge: IntArray, plane: IntArray) -> IntArray:
    """Planes (n,) beyond edges of planes, -1 for none."""
    pair = roof.edges.plane[edge]
    return np.where(pair[:, 0] == plane, pair[:, 1], pair[:, 0])


def _other(roof: RoofSurface, edge: int, plane: int) -> int:
    return int(_other_side(roof, np.array([edge]), np.array([plane]))[0])


def _far_end(plan: shapely.Polygon, at: Array, way: Array) -> tuple[Array, Array | None]:
    """Where a straight line from the bound of a plane leaves it, and enters it again if it does. [m]."""
    far = float(np.ptp(np.reshape(plan.bounds, (2, 2)), axis=0).sum()) + 1.0
    inside = plan.intersection(shapely.LineString([at, at + far * way]))
    pieces = [np.asarray(part.coords) for part in shapely.get_parts(inside) if part.length > 2.0 * STEP_OUT]
    if not pieces:
        return at, None
    reached = np.sort([[*sorted(((piece - at) @ way)[[0, -1]])] for piece in pieces], axis=0)
    beyond = at + (reached[1, 0] + STEP_OUT) * way if len(pieces) > 1 else None
    return np.asarray(at + reached[0, 1] * way), beyond


def _edge_at(roof: RoofSurface, plane: int, at: Array, way: Array) -> int:
    """Edge of a plane that a way comes to: the nearest, of those that meet there the squarest."""
    own = np.flatnonzero((roof.edges.plane == plane).any(axis=1))
    ends = np.stack([roof.edges.start[own, :2], roof.edges.end[own, :2]], axis=1)
    away = shapely.distance(shapely.linestrings(ends), shapely.Point(at))
    along = ends[:, 1] - ends[:, 0]
    square = np.abs(along[:, 0] * way[1] - along[:, 1] * way[0]) / np.linalg.norm(along, axis=1)
    return int(own[np.lexsort((-square, np.maximum(away, float(away.min()) + MEETS)))[0]])


def _lip(roof: RoofSurface, edge: int, ends: Array, way: Array, end: Array) -> Array:
    """Stretch (2, 3) of an edge that the line between two points (2, 3) comes to along a way. [m]."""
    start, line = roof.edges.start[edge], roof.edges.end[edge] - roof.edges.start[edge]
    turn = float(line[0] * way[1] - line[1] * way[0])
    shift = ends[:, :2] - ends[:, :2].mean(axis=0)
    if abs(turn) < LEAST_TURN * float(np.linalg.norm(line[:2])):  # beside the way: as if the edge were square
        return np.column_stack([end[:2] + shift, np.full(2, end[2])])
    from_start = ends[:, :2] - start[:2]
    t = np.clip((from_start[:, 0] * way[1] - from_start[:, 1] * way[0]) / turn, 0.0, 1.0)
    return np.asarray(start + t[:, None] * line)


def _row_between(
    roof: RoofSurface, layout: Layout, cells: Cells, plane: int, at: Array, end: Array
) -> tuple[int, Array]:
    """Cell above the first row that stands on a plane between two points, and where; -1 for none, the end."""
    rows = np.flatnonzero(layout.row_plane == plane)
    if not len(rows):
        return -1, end
    uv = roof.planes.to_plane(plane, _on_plane(roof, plane, np.stack([at, end])))
    lines = shapely.linestrings(np.stack([layout.row_start[rows], layout.row_end[rows]], axis=1))
    met = np.asarray(shapely.intersection(lines, shapely.LineString(uv)))
    hit = np.flatnonzero(~shapely.is_empty(met))
    if not len(hit):
        return -1, end
    middle = shapely.get_coordinates(shapely.centroid(met[hit]))
    first = int(np.argmin(np.linalg.norm(middle - uv[0], axis=1)))
    above = np.flatnonzero(cells.lower_row == rows[hit[first]])
    if not len(above):
        return -1, end
    nearest = above[np.argmin(np.abs(cells.corners[above, :2, 0].mean(axis=1) - middle[first, 0]))]
    return int(nearest), roof.planes.to_world(plane, middle[first])[:2]


def _cell_at(roof: RoofSurface, cells: Cells, plane: int, at: Array) -> int:
    own = np.flatnonzero(cells.plane == plane)
    uv = roof.planes.to_plane(plane, _on_plane(roof, plane, at[None]))[0]
    away = shapely.distance(shapely.polygons(cells.corners[own]), shapely.Point(uv))
    return int(own[np.argmin(away)])


def _on_plane(roof: RoofSurface, plane: int, xy: Array) -> Array:
    return np.column_stack([xy, height_at(roof.planes, plane, xy)])
