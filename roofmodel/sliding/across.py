"""Snow that a slope pushes straight across nearly flat roof, and over what rises a little behind it.

A flat part brings no thrust and turns none: what comes down onto it goes on the way it came, whatever small
fall it has, to the next slope, a wall, or over an edge. A part that falls back a little holds no more than
the push of its own snow: with even snow on both, p h cos(theta) for each meter, h its rise, against p H
cos(alpha) of the slope above with its height H (judgment: even snow, rows above not counted, which is safe).
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

STRAIGHT = np.cos(np.radians(15.0))  # planes that fall this nearly alike hand on strip by strip
RISE = 1.0  # what rises more behind an edge holds what slides against it (judgment) [m]
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
    """Ways straight across flat parts, k of them, one for each cell that sends snow there.

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


def shallow_edges(roof: RoofSurface, plane: IntArray, edge: IntArray) -> BoolArray:
    """Whether snow that leaves planes (n,) over edges (n,) comes onto nearly flat roof that turns it not."""
    pair = roof.edges.plane[edge]
    other = np.where(pair[:, 0] == plane, pair[:, 1], pair[:, 0])
    slope = roof.planes.slope
    flat = (other >= 0) & (slope[other] < SHALLOW) & (slope[plane] > slope[other] + STEEPER)
    fall = -roof.planes.upslope[:, :2]
    fall = fall / np.maximum(np.linalg.norm(fall, axis=1, keepdims=True), 1e-12)
    return np.asarray(flat & (np.sum(fall[plane] * fall[other], axis=1) < STRAIGHT))


def ways_across(
    roof: RoofSurface, layout: Layout, cells: Cells, cell: IntArray, handed: tuple[IntArray, IntArray]
) -> Across:
    """Follow what leaves cells straight on over the nearly flat planes below them.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
        A row that stands in the way takes what comes, from whichever side.
    cells : Cells
    cell : (n,) int
        Cells above such planes; see `shallow_edges`.
    handed : (m,) int, (m,) int
        Cells that hand snow to cells of other planes over pitch breaks.

    Returns
    -------
    Across
        Only of cells of which a part goes this way.
    """
    if len(cell):
        flat = np.flatnonzero(roof.planes.slope < SHALLOW).tolist()
        plans = {int(p): plan_polygon(roof.planes, int(p)) for p in flat}
        tops, walls = _tops(roof, cells, handed), foot_walls(roof)
        ways = [_way(roof, layout, cells, int(c), plans, tops, walls) for c in cell]
        found = [way for way in ways if way is not None]
    else:
        found = []
    parts = list(zip(*found, strict=True)) if found else [()] * 8
    number = (np.array(parts[k], dtype=np.int64) for k in (0, 2, 3, 4))
    first, end, edge, target = number
    return Across(
        cell=first,
        share=np.array(parts[1], dtype=np.float64),
        end=end,
        edge=edge,
        target=target,
        lip=np.array(parts[5], dtype=np.float64).reshape(-1, 2, 3),
        way=np.array(parts[6], dtype=np.float64).reshape(-1, 2),
        slope=np.array(parts[7], dtype=np.float64),
    )


def _tops(roof: RoofSurface, cells: Cells, handed: tuple[IntArray, IntArray]) -> Array:
    """Highest place of each plane and of all that hand snow down to it, (p,). [m]."""
    planes = roof.planes
    rings = [np.asarray(outline.exterior.coords) for outline in planes.outline]
    top = np.array([planes.to_world(p, ring)[:, 2].max() for p, ring in enumerate(rings)])
    upper, lower = cells.plane[handed[0]], cells.plane[handed[1]]
    for _ in range(planes.count):
        before = top.copy()
        np.maximum.at(top, lower, top[upper])
        if (before == top).all():
            break
    return top


_Found = tuple[int, float, int, int, int, Array, Array, float]


def _way(
    roof: RoofSurface,
    layout: Layout,
    cells: Cells,
    cell: int,
    plans: dict[int, shapely.Polygon],
    tops: Array,
    walls: Array,
) -> _Found | None:
    """One way from the lower end of a cell; None where nothing goes this way."""
    planes = roof.planes
    own = int(cells.plane[cell])
    ends = planes.to_world(own, cells.corners[cell, :2])
    way = _fall(roof, own)
    foot, at = float(ends[:, 2].mean()), ends[:, :2].mean(axis=0)
    height = max((float(tops[own]) - foot) * float(np.cos(planes.slope[own])), 1e-9)
    plane, rise = _other(roof, int(cells.lower_edge[cell]), own), 0.0
    for _ in range(PLANES):
        end = _far_end(plans[plane], at, way)
        slope = float(np.arctan(np.tan(planes.slope[plane]) * (_fall(roof, plane) @ way)))
        z = float(height_at(planes, plane, end[None])[0])
        rise = max(rise, z - foot)
        share = 1.0 - max(rise, 0.0) / height
        if rise > RISE or share <= 0.0:
            return None
        row = _row_between(roof, layout, cells, plane, at, end)
        edge = _edge_at(roof, plane, end, way)
        lip = _lip(roof, edge, ends, way, np.append(end, z))
        if row >= 0:
            return cell, share, End.ROW, edge, row, lip, way, slope
        plane = _other(roof, edge, plane)
        if plane < 0:
            kind = End.WALL if walls[edge] >= HOLDS else End.EDGE
            return cell, share, kind, edge, -1, lip, way, slope
        at = end + STEP_OUT * way
        if plane not in plans:
            if _fall(roof, plane) @ way < AGAINST:
                return cell, share, End.PIT, edge, -1, lip, way, slope
            return cell, share, End.PLANE, edge, _cell_at(roof, cells, plane, at), lip, way, slope
    return None


def _fall(roof: RoofSurface, plane: int) -> Array:
    """Unit vector on plan down a plane, (2,)."""
    down = -roof.planes.upslope[plane, :2]
    return np.asarray(down / max(float(np.linalg.norm(down)), 1e-12))


def _other(roof: RoofSurface, edge: int, plane: int) -> int:
    first, second = roof.edges.plane[edge].tolist()
    return int(second if first == plane else first)


def _far_end(plan: shapely.Polygon, at: Array, way: Array) -> Array:
    """Where a straight line from the bound of a plane leaves it again, (2,). [m]."""
    far = float(np.ptp(np.reshape(plan.bounds, (2, 2)), axis=0).sum()) + 1.0
    inside = plan.intersection(shapely.LineString([at, at + far * way]))
    pieces = [np.asarray(part.coords) for part in shapely.get_parts(inside) if part.length > 2.0 * STEP_OUT]
    if not pieces:
        return at
    reached = np.sort([(piece - at) @ way for piece in pieces], axis=1)
    return np.asarray(at + reached[np.argmin(reached[:, 0]), -1] * way)


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


def _row_between(roof: RoofSurface, layout: Layout, cells: Cells, plane: int, at: Array, end: Array) -> int:
    """Cell above the first row that stands on a plane between two points; -1 for none."""
    rows = np.flatnonzero(layout.row_plane == plane)
    if not len(rows):
        return -1
    uv = roof.planes.to_plane(plane, _on_plane(roof, plane, np.stack([at, end])))
    lines = shapely.linestrings(np.stack([layout.row_start[rows], layout.row_end[rows]], axis=1))
    met = np.asarray(shapely.intersection(lines, shapely.LineString(uv)))
    hit = np.flatnonzero(~shapely.is_empty(met))
    if not len(hit):
        return -1
    middle = shapely.get_coordinates(shapely.centroid(met[hit]))
    first = int(np.argmin(np.linalg.norm(middle - uv[0], axis=1)))
    above = np.flatnonzero(cells.lower_row == rows[hit[first]])
    if not len(above):
        return -1
    return int(above[np.argmin(np.abs(cells.corners[above, :2, 0].mean(axis=1) - middle[first, 0]))])


def _cell_at(roof: RoofSurface, cells: Cells, plane: int, at: Array) -> int:
    own = np.flatnonzero(cells.plane == plane)
    uv = roof.planes.to_plane(plane, _on_plane(roof, plane, at[None]))[0]
    away = shapely.distance(shapely.polygons(cells.corners[own]), shapely.Point(uv))
    return int(own[np.argmin(away)])


def _on_plane(roof: RoofSurface, plane: int, xy: Array) -> Array:
    return np.column_stack([xy, height_at(roof.planes, plane, xy)])
