"""How far beyond its ends a row reaches for the snow of a coherent blanket.

Judgment: an end up to `SHORT` from its plane's edge counts as if it reached it, and up to twice as far less
and less. A valley's stream is more than what lies in the gap, and lodges against an end that stands farther
away: up to `LODGES` times the length over which it arrives (`SHORT` at least), square to the valley, the end
takes all that a row which reaches the valley would hold, and up to twice as far less and less, until the
spread alone counts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from roofmodel.layout import Layout
from roofmodel.sliding.cells import MERGE
from roofmodel.sliding.flow import FlowGraph
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVEL = 0.02  # rows within this height stand at one level [m]
STEEPEST_SPREAD = np.radians(89.0)  # a wider wedge is the whole plane beside the row
SHORT = 1.0  # a row that ends so little short of its plane's edge counts as if it reached it (judgment) [m]
LODGES = 2.0  # of the length a stream arrives over: an end so near takes it whole (judgment) [-]
FAR = 1e3  # row ends that are farther from their plane's edge reach no valley [m]
AWAY = 1e-6  # sine of the angle from which a plane counts as falling away from a row's end [-]
ROUNDED = 1e-6  # files and sums round places by less [m]
TOUCH = 5e-3  # a point this near to a line is on it [m]
CHAINED = 20  # valleys that follow one another up a plane at most


@dataclass(frozen=True)
class EndReach:
    """What lies beyond one end of a row.

    Attributes
    ----------
    gap : float
        Along the row's line to the edge of its plane, infinite for far. [m]
    bridged : float
        Of the gap, from whose far end the blanket spreads. [m]
    angle : float
        Spread, from the fall line. [rad]
    edge : int
        Valley whose stream lodges against the end if no row closes it, -1 for none.
    part : float
        Part of the stream that does. [-]
    place : float
        Height down to which the stream has come there. [m]
    """

    gap: float
    bridged: float
    angle: float
    edge: int = -1
    part: float = 0.0
    place: float = 0.0


def lodges(valley_spread: float) -> float:
    """Distance square to a valley up to which a row's end takes all of its streams. [m]."""
    return LODGES * max(valley_spread, SHORT)


def end_reaches(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, spread: float, valley_spread: float
) -> list[tuple[EndReach, EndReach]]:
    """Reach of both ends of every row.

    Parameters
    ----------
    roof, layout, graph : RoofSurface, Layout, FlowGraph
    spread : float
        To each side, from the fall line. [rad]
    valley_spread : float
        Length of row over which a valley's stream arrives. [m]
    """
    gaps, found = end_gaps(roof, layout, FAR), []
    valleys = {plane: _valleys_of(roof, graph, plane) for plane in np.unique(layout.row_plane).tolist()}
    for row in range(len(layout.row_name)):
        ends = []
        for which in (0, 1):
            gap = float(gaps[row, which])
            plain = EndReach(gap, max(min(gap, 2.0 * SHORT - gap), 0.0), min(spread, STEEPEST_SPREAD))
            along = valleys[int(layout.row_plane[row])]
            ends.append(_at_valley(roof, layout, along, (row, which), plain, lodges(valley_spread)))
        found.append((ends[0], ends[1]))
    return found


def _valleys_of(roof: RoofSurface, graph: FlowGraph, plane: int) -> tuple[IntArray, Array, Array]:
    """Edges along a plane that carry streams, and their upper and lower ends (k, 2) in its (u, v)."""
    edges = np.unique(graph.valley_edge)
    edges = edges[np.any(roof.edges.plane[edges] == plane, axis=1)]
    return edges, *edges_in_plane(roof, plane, edges)


def _at_valley(
    roof: RoofSurface,
    layout: Layout,
    valleys: tuple[IntArray, Array, Array],
    end: tuple[int, int],
    plain: EndReach,
    whole: float,
) -> EndReach:
    """Reach of an end near a valley, that of a plain one elsewhere; so near as `whole` [m] counts in full."""
    (row, which), plane = end, int(layout.row_plane[end[0]])
    if not np.isfinite(plain.gap):
        return plain
    sign, (tip, way) = 2.0 * which - 1.0, _tip(layout, end)
    foot = tip + plain.gap * way
    edges, tops, feet = valleys
    if not len(edges):
        return plain
    lines = shapely.linestrings(np.stack([tops, feet], axis=1))
    off = np.asarray(shapely.distance(lines, shapely.Point(foot)))
    at = int(np.argmin(off))
    edge, other = int(edges[at]), int(roof.edges.plane[edges[at]].sum() - plane)
    falls = 0.0 if other < 0 else float(-roof.planes.upslope[other] @ roof.planes.across[plane])
    if off[at] > TOUCH or sign * falls > AWAY or _row_between(layout, row, tip, foot):
        return plain
    down = (feet[at] - tops[at]) / np.linalg.norm(feet[at] - tops[at])
    along = (tip - tops[at]) @ down
    square = float(np.linalg.norm(tip - tops[at] - along * down))
    part = float(np.clip(2.0 - square / whole, 0.0, 1.0))
    place = tops[at] + np.clip(along, 0.0, np.linalg.norm(feet[at] - tops[at])) * down
    return replace(
        plain,
        bridged=max(plain.bridged, part * plain.gap),
        angle=plain.angle + part * max(_lean(tops, feet, at, foot, sign) - plain.angle, 0.0),
        edge=edge,
        part=part,
        place=float(roof.planes.to_world(plane, place)[2]),
    )


def _lean(tops: Array, feet: Array, at: int, foot: Array, sign: float) -> float:
    """Widest angle from the fall line of a valley and those above it, from a place on it. [rad]."""
    widest = 0.0
    for _ in range(CHAINED):
        beside, up = tops[at] - foot
        widest = max(widest, float(np.arctan2(sign * beside, max(up, 0.0))))
        above = np.flatnonzero(np.linalg.norm(feet - tops[at], axis=1) < TOUCH)
        if not len(above) or above[0] == at:
            break
        at = int(above[0])
    return min(widest, STEEPEST_SPREAD)


def edges_in_plane(roof: RoofSurface, plane: int, edges: IntArray) -> tuple[Array, Array]:
    """Upper and lower ends (k, 2) of edges, in a plane's (u, v)."""
    ends = np.stack([roof.planes.to_plane(plane, p[edges]) for p in (roof.edges.start, roof.edges.end)])
    rising = ends[1, :, 1] > ends[0, :, 1]
    return np.where(rising[:, None], ends[1], ends[0]), np.where(rising[:, None], ends[0], ends[1])


def _tip(layout: Layout, end: tuple[int, int]) -> tuple[Array, Array]:
    """Point at a row's end, and the direction of its line out of it."""
    row, which = end
    way = (layout.row_end[row] - layout.row_start[row]) / layout.row_length[row]
    return (layout.row_start, layout.row_end)[which][row], (2.0 * which - 1.0) * way


def _row_between(layout: Layout, row: int, tip: Array, foot: Array) -> bool:
    """Whether another row of the plane stands in the line between two points."""
    others = np.flatnonzero(layout.row_plane == layout.row_plane[row])
    others = others[others != row]
    if not len(others) or np.linalg.norm(foot - tip) < TOUCH:
        return False
    line = LineString([tip, foot])
    lines = shapely.linestrings(np.stack([layout.row_start[others], layout.row_end[others]], axis=1))
    close = shapely.intersection(shapely.buffer(lines, LEVEL, cap_style="flat"), line)
    return bool((shapely.length(close) > TOUCH).any())


def end_gaps(roof: RoofSurface, layout: Layout, reach: float) -> Array:
    """Distance from each row's ends, along its line, to the edge of its plane; infinite beyond `reach`.

    Returns
    -------
    (r, 2) float
        At start and end. [m]
    """
    gaps = np.full((len(layout.row_name), 2), np.inf)
    for row, plane in enumerate(layout.row_plane.tolist()):
        tips = np.stack([layout.row_start[row], layout.row_end[row]])
        way = (tips[1] - tips[0]) / layout.row_length[row]
        edge = roof.planes.outline[plane].boundary
        for which, out in enumerate((-way, way)):
            start = tips[which]
            line = np.stack([start - ROUNDED * out, start + reach * out])
            crossed = shapely.intersection(edge, LineString(line))
            if crossed.length > MERGE:  # a row along the very eave: its line a little higher
                crossed = shapely.intersection(edge, LineString(line + MERGE * np.array([-way[1], way[0]])))
            if not crossed.is_empty:
                along = (shapely.get_coordinates(crossed) - start) @ out
                gaps[row, which] = max(float(along.min()), 0.0)
    return gaps


def end_wedge(layout: Layout, end: tuple[int, int], reach: EndReach) -> Polygon:
    """Part of the plane, in (u, v), from which a blanket may lean on a row's end.

    From the fall line through the end out to the spread, which begins where the gap is no longer bridged.

    Parameters
    ----------
    layout : Layout
    end : (int, int)
        Row, and 0 for its start or 1 for its end.
    reach : EndReach
    """
    tip, way = _tip(layout, end)
    foot = tip + reach.bridged * way
    far = 1e3 + float(np.abs(foot).max())
    side = np.array([(2.0 * end[1] - 1.0) * np.tan(reach.angle), 1.0]) * far
    return Polygon(np.array([tip, tip + np.array([0.0, far]), foot + side, foot]))
