"""Row ends that would take a stream of a valley which another row closes now, if rows stood a little off.

Of the snow that comes down a valley an end takes what no row at its level or above closes (`end_bound`), so
the bound rises in a step where the end comes to stand higher than the row that does, and on a roof rows stand
where hands put them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.sliding.end_reach import LEVEL, TOUCH, edges_in_plane, lodges
from roofmodel.sliding.ends import stopping
from roofmodel.sliding.flow import FlowGraph
from roofmodel.surface import FLAT_SLOPE, RoofSurface

IntArray = NDArray[np.int64]

PLACED = 0.05  # rows on site are off their places up the slope by so much (judgment, common practice) [m]
OVER = 1e-6  # beyond a step [m]


@dataclass(frozen=True)
class EndStep:
    """A row's end, and the nearest step beyond which it takes another stream.

    Attributes
    ----------
    row, which : int
        Row, and 0 for its start or 1 for its end.
    other : int
        Row that closes the stream now.
    edge, plane : int
        Valley, and the plane whose stream it is.
    off : float
        How far off its place along the slope one of both rows stands then. [m]
    other_moves : bool
        Whether that is the other row, down its slope; else it is this one, up.
    height : float
        By which the end rises over the other row up to the farthest step within `PLACED`. [m]
    """

    row: int
    which: int
    other: int
    edge: int
    plane: int
    off: float
    other_moves: bool
    height: float


def end_steps(roof: RoofSurface, layout: Layout, graph: FlowGraph) -> tuple[EndStep, ...]:
    """Steps within `PLACED` of where rows stand, one of each row end; some may bring nothing.

    Parameters
    ----------
    roof, layout, graph : RoofSurface, Layout, FlowGraph
    """
    if not len(graph.valley_edge):
        return ()
    found: list[EndStep] = []
    closers = [stopping(roof, layout, graph, own=own) for own in (False, True)]
    stop, by = (np.concatenate([one[k] for one in closers]) for k in (0, 1))
    piece = np.tile(np.arange(len(graph.valley_edge)), 2)
    rise = np.sin(roof.planes.slope[layout.row_plane])
    flat = roof.planes.slope[layout.row_plane] <= FLAT_SLOPE
    for row, plane in enumerate(layout.row_plane.tolist()):
        if flat[row]:
            continue
        beside = np.any(roof.edges.plane[graph.valley_edge[piece]] == plane, axis=1)
        beside &= (by >= 0) & (by != row) & ~flat[by]
        for which, tips in enumerate((layout.row_start, layout.row_end)):
            level = float(roof.planes.to_world(plane, tips[row])[2]) - LEVEL
            near = np.flatnonzero(beside & (stop >= level))
            steepest = np.maximum(rise[row], rise[by[near]])
            near = near[stop[near] - level < PLACED * steepest]
            if len(near):
                found.append(_step(roof, layout, graph, (row, which), near, (stop - level, by, piece, rise)))
    return tuple(found)


def _step(
    roof: RoofSurface,
    layout: Layout,
    graph: FlowGraph,
    end: tuple[int, int],
    near: IntArray,
    known: tuple[NDArray[np.float64], IntArray, IntArray, NDArray[np.float64]],
) -> EndStep:
    """The nearest of the steps of an end, on the valley that is nearest to it."""
    (row, which), (height, by, piece, rise) = end, known
    tip = (layout.row_start, layout.row_end)[which][row]
    plane = int(layout.row_plane[row])
    point = roof.planes.to_world(plane, tip)
    away = np.linalg.norm(graph.valley_middle[piece[near]] - point, axis=1)
    edge = graph.valley_edge[piece[near]]
    on = near[edge == edge[np.argmin(away)]]
    first = on[np.argmin(height[on])]
    other = int(by[first])
    return EndStep(
        row=row,
        which=which,
        other=other,
        edge=int(graph.valley_edge[piece[first]]),
        plane=int(layout.row_plane[other]),
        off=float(height[first] / max(rise[row], rise[other])),
        other_moves=bool(rise[other] > rise[row] * (1.0 + OVER)),
        height=float(height[near].max()) + OVER,
    )


@dataclass(frozen=True)
class FootStep:
    """A row near the lower end of a valley of its plane.

    Attributes
    ----------
    row, edge : int
        Row and valley.
    off : float
        Distance of the row's line from the valley's foot, up the slope. [m]
    up : bool
        Whether the foot lies above the row.
    """

    row: int
    edge: int
    off: float
    up: bool


def foot_steps(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, valley_spread: float
) -> tuple[FootStep, ...]:
    """Rows that may pass the foot of a valley that their end reaches if `PLACED` off.

    The nearest foot above and below each row.

    Parameters
    ----------
    roof, layout, graph : RoofSurface, Layout, FlowGraph
    valley_spread : float
        Length of row over which a valley's stream arrives. [m]
    """
    edges, found = np.unique(graph.valley_edge), []
    for row, plane in enumerate(layout.row_plane.tolist()):
        own = edges[np.any(roof.edges.plane[edges] == plane, axis=1)]
        if not len(own) or roof.planes.slope[plane] <= FLAT_SLOPE:
            continue
        foot = edges_in_plane(roof, plane, own)[1]
        start, length = layout.row_start[row], layout.row_length[row]
        way = (layout.row_end[row] - start) / length
        along = (foot - start) @ way
        over = (foot - start)[:, 1] * way[0] - (foot - start)[:, 0] * way[1]
        beyond = np.maximum(np.maximum(-along, along - length), 0.0)
        near = (np.abs(over) < PLACED + TOUCH) & (beyond < 2.0 * lodges(valley_spread))
        for up in (True, False):
            there = np.flatnonzero(near & ((over >= 0.0) if up else (over < 0.0)))
            if len(there):
                one = there[np.argmin(np.abs(over[there]))]
                found.append(FootStep(row, int(own[one]), float(abs(over[one])), up))
    return tuple(found)


def lifts(steps: Sequence[EndStep]) -> dict[tuple[int, int], float]:
    """How much higher each row end stands beyond its steps, for `end_bound`. [m]."""
    return {(one.row, one.which): one.height for one in steps}
