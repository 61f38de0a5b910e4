"""Strip bounds that rows ask for, so that no strip straddles what divides at a row's end.

Snow divides at the end of a row, where the row's line leaves its plane, and where a row closes a valley. What
comes to these places slides down the fall line through them, from plane to plane: strips are cut along it.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.sliding.walls import turned_by_walls
from roofmodel.surface import EdgeKind, RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

VALLEY_SLACK = 0.02  # a row may meet a valley this part of its length beyond its ends [-]
NUDGE = 1e-3  # beside a point, to see which plane lies there [m]
UP = np.array([0.0, NUDGE])
STEPS = 50  # planes that a fall line is followed up over at most


def strip_marks(roof: RoofSurface, layout: Layout, near: float) -> list[Array]:
    """Places across each plane at which its strips are cut, beside those of its outline and its own rows.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
    near : float
        Row ends this near to a valley divide its stream at the place square to them. [m]

    Returns
    -------
    list of (k,) float
        u of each plane, sorted. [m]
    """
    marks: list[list[float]] = [[] for _ in range(roof.planes.count)]
    for plane, uv in _places(roof, layout, near):
        at: tuple[int, Array] | None = (plane, uv)
        for _ in range(STEPS):
            if at is None:
                break
            marks[at[0]].append(float(at[1][0]))
            at = _above(roof, *at)
    return [np.unique(np.array(found, dtype=np.float64)) for found in marks]


def _places(roof: RoofSurface, layout: Layout, near: float) -> list[tuple[int, Array]]:
    """Points of planes at which snow divides at the ends of rows: plane and (u, v)."""
    kind = np.array([one is EdgeKind.VALLEY for one in roof.edges.kind], dtype=bool)
    turned = turned_by_walls(roof) | kind
    found: list[tuple[int, Array]] = []
    for row, plane in enumerate(layout.row_plane.tolist()):
        tips = np.stack([layout.row_start[row], layout.row_end[row]])
        found += [(plane, tip) for tip in (*tips, *_crossings(roof, plane, tips))]
        valleys = np.flatnonzero(turned & np.any(roof.edges.plane == plane, axis=1))
        for point in roof.planes.to_world(plane, tips):
            edges, t, _ = closed_by(roof, valleys, point, near)
            top, foot = _tops_and_feet(roof, edges)
            for edge, place in zip(edges.tolist(), top + t[:, None] * (foot - top), strict=True):
                sides = [int(side) for side in roof.edges.plane[edge] if side >= 0]
                found += [(side, roof.planes.to_plane(side, place)) for side in sides]
    return found


def _crossings(roof: RoofSurface, plane: int, tips: Array) -> Array:
    """Points (k, 2) in which a row's line, carried on beyond both ends, crosses the bound of its plane."""
    outline = roof.planes.outline[plane]
    low, high = np.reshape(outline.bounds, (2, 2))
    way = (tips[1] - tips[0]) / np.linalg.norm(tips[1] - tips[0])
    reach = float(np.sum(high - low)) + 1.0
    parts = [
        shapely.LineString([tips[0] - reach * way, tips[0]]),
        shapely.LineString([tips[1], tips[1] + reach * way]),
    ]
    return shapely.get_coordinates(shapely.intersection(outline.boundary, parts))


def closed_by(
    roof: RoofSurface, valleys: IntArray, point: Array, spread: float
) -> tuple[IntArray, Array, Array]:
    """Valleys that a row which ends at a point closes, where, as fractions from their tops, and how far off.

    Parameters
    ----------
    roof : RoofSurface
    valleys : (n,) int
        Edges along a plane of the row.
    point : (3,) float
        [m]
    spread : float
        An end this close closes a valley, at the place square to it. [m]

    Returns
    -------
    edge : (k,) int
    t : (k,) float
        [-]
    off : (k,) float
        Square to the valley. [m]
    """
    top, foot = _tops_and_feet(roof, valleys)
    way = foot - top
    t = np.sum((point - top) * way, axis=1) / np.sum(way * way, axis=1)
    off = np.linalg.norm(point - top - t[:, None] * way, axis=1)
    near = (off <= spread) & (t > -VALLEY_SLACK) & (t < 1.0 + VALLEY_SLACK)
    return valleys[near], np.clip(t[near], 0.0, 1.0), off[near]


def _tops_and_feet(roof: RoofSurface, edges: IntArray) -> tuple[Array, Array]:
    start, end = roof.edges.start[edges], roof.edges.end[edges]
    falling = (start[:, 2] >= end[:, 2])[:, None]
    return np.where(falling, start, end), np.where(falling, end, start)


def _above(roof: RoofSurface, plane: int, uv: Array) -> tuple[int, Array] | None:
    """Where a fall line comes onto a plane's part from another plane, up from a point; None from nowhere."""
    outline = roof.planes.outline[plane]
    top = float(outline.bounds[3]) + 1.0
    line = shapely.LineString([uv + UP, [uv[0], top]])
    height = shapely.get_coordinates(shapely.intersection(outline.boundary, line))[:, 1]
    if not len(height):
        return None
    end = np.array([uv[0], float(height.min())])
    world = roof.planes.to_world(plane, end)
    sides = np.unique(roof.edges.plane[np.any(roof.edges.plane == plane, axis=1)])
    near = np.abs(np.sum((world - roof.planes.origin) * roof.planes.normal, axis=1)) <= NUDGE
    for other in sides[(sides >= 0) & (sides != plane) & near[sides]].tolist():
        there = roof.planes.to_plane(other, world)
        if shapely.contains_xy(roof.planes.outline[other], *(there + UP)):
            return other, there
    return None
