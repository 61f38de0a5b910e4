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
    marks = [np.zeros(0) for _ in range(roof.planes.count)]
    points = _by_plane(_places(roof, layout, near))
    for _ in range(STEPS):
        if not points:
            break
        for plane, uv in points.items():
            marks[plane] = np.append(marks[plane], uv[:, 0])
        points = _by_plane([one for plane, uv in points.items() for one in _above(roof, plane, uv)])
    return [np.unique(found) for found in marks]


def _by_plane(places: list[tuple[int, Array]]) -> dict[int, Array]:
    """Points of each plane, (k, 2)."""
    found: dict[int, list[Array]] = {}
    for plane, uv in places:
        found.setdefault(plane, []).append(np.reshape(uv, (-1, 2)))
    return {plane: np.concatenate(uv) for plane, uv in found.items()}


def _places(roof: RoofSurface, layout: Layout, near: float) -> list[tuple[int, Array]]:
    """Points of planes at which snow divides at the ends of rows: plane and (u, v)."""
    kind = np.array([one is EdgeKind.VALLEY for one in roof.edges.kind], dtype=bool)
    turned = turned_by_walls(roof) | kind
    found: list[tuple[int, Array]] = []
    for row, plane in enumerate(layout.row_plane.tolist()):
        tips = np.stack([layout.row_start[row], layout.row_end[row]])
        found += [(plane, tips), (plane, _crossings(roof, plane, tips))]
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


def _above(roof: RoofSurface, plane: int, uv: Array) -> list[tuple[int, Array]]:
    """Other planes from which fall lines come onto a plane's part, up from points (k, 2), and where."""
    outline = roof.planes.outline[plane]
    top = np.full(len(uv), float(outline.bounds[3]) + 1.0)
    lines = shapely.linestrings(np.stack([uv + UP, np.stack([uv[:, 0], top], axis=1)], axis=1))
    met, of = shapely.get_coordinates(shapely.intersection(outline.boundary, lines), return_index=True)
    height = np.full(len(uv), np.inf)
    np.minimum.at(height, of, met[:, 1])
    reached = np.stack([uv[:, 0], height], axis=1)[np.isfinite(height)]
    if not len(reached):
        return []
    world = roof.planes.to_world(plane, reached)
    sides = np.unique(roof.edges.plane[np.any(roof.edges.plane == plane, axis=1)])
    found = []
    for other in sides[(sides >= 0) & (sides != plane)].tolist():
        there = roof.planes.to_plane(other, world)
        on = np.abs((world - roof.planes.origin[other]) @ roof.planes.normal[other]) <= NUDGE
        on &= shapely.contains_xy(roof.planes.outline[other], there + UP)
        if on.any():
            found.append((other, there[on]))
    return found
