"""What a coherent blanket can bring to the ends of a partial row from beyond them: an upper bound.

Judgment, until a model of the blanket itself says better: all snow of the plane within a spread of the fall
line through the row's end leans on that end, if it would otherwise pass the row's level.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.layout import Layout
from roofmodel.sliding.cells import MERGE, Cells
from roofmodel.sliding.flow import FlowGraph
from roofmodel.snow.sharing import GRID
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVEL = 0.02  # rows within this height stand at one level [m]
STEEPEST_SPREAD = np.radians(89.0)  # a wider wedge is the whole plane beside the row


def end_bound(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, own: Array, out: Array, spread: float
) -> Array:
    """Thrust within the spread of each row end that no row at or above its level holds.

    Strips beside the row count where they run past its level, whatever catches them further down, and
    where they run into a valley that no row closes at or above that level. What comes from other planes
    at the top of such strips, and what the far side of such a valley sends through the spread, counts
    too.

    Parameters
    ----------
    roof, layout : RoofSurface, Layout
    graph : FlowGraph
    own : (n, q) float
        Thrust of each cell's own snow. [N]
    out : (nodes, q) float
        Thrust that leaves each node. [N]
    spread : float
        Spread to each side, from the fall line. [rad]

    Returns
    -------
    (q, r, 2) float
        At start and end of each row, down the slope. [N]
    """
    cells, n = graph.cells, graph.cells.count
    strips = _strips(roof, layout, graph)
    entering = np.zeros_like(own)
    outer = graph.crossing & (graph.target < n)
    np.add.at(entering, graph.target[outer], graph.share[outer, None] * out[graph.source[outer]])
    bound = np.zeros((len(layout.row_name), 2, own.shape[1]))
    for row, plane in enumerate(layout.row_plane):
        for which, tip in enumerate((layout.row_start[row], layout.row_end[row])):
            sign, level = 2.0 * which - 1.0, float(roof.planes.to_world(int(plane), tip)[2]) - LEVEL
            beside, passes = _beside(cells, layout, row, which, strips, level)
            index = beside[passes]
            if not len(index):
                continue
            wedge = _wedge(cells, tip, sign, spread)
            share = _share_inside(cells, index, wedge)
            bound[row, which] = share @ own[index] + (share > 0.0) @ entering[index]
            streams = np.flatnonzero(strips.stops < level)
            bound[row, which] += _far_streams(roof, graph, streams, int(plane), wedge, out[n:])
    return bound.transpose(2, 0, 1)


@dataclass(frozen=True)
class EndParts:
    """What one end of a row may catch of its own plane, and who holds the rest.

    Attributes
    ----------
    cell, share : (k,) int, float
        Cells that pass the row's level, and the part of each within the spread.
    held : dict of int to (cells, shares)
        The same of those that other rows hold, by row.
    node, start : (j,) int, float
        Nodes whose snow comes from other planes into the spread, and how much of it. [-]
    """

    cell: IntArray
    share: Array
    held: dict[int, tuple[IntArray, Array]]
    node: IntArray
    start: Array


def end_parts(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, end: tuple[int, int], weight: Array, spread: float
) -> EndParts:
    """Take one row end's bound apart, as `end_bound` makes it up.

    Parameters
    ----------
    roof, layout, graph : RoofSurface, Layout, FlowGraph
    end : (int, int)
        Row, and 0 for its start or 1 for its end.
    weight : (nodes,) float
        Snow that each node passes on, to choose the place of a stream where it is largest. [N]
    spread : float
        [rad]
    """
    cells, n = graph.cells, graph.cells.count
    (row, which), plane = end, int(layout.row_plane[end[0]])
    tip = (layout.row_start, layout.row_end)[which][row]
    level = float(roof.planes.to_world(plane, tip)[2]) - LEVEL
    strips = _strips(roof, layout, graph)
    beside, passes = _beside(cells, layout, row, which, strips, level)
    wedge = _wedge(cells, tip, 2.0 * which - 1.0, spread)
    share = _share_inside(cells, beside, wedge) if len(beside) else np.zeros(0)
    inside = share > 0.0
    holder = strips.holder[beside]
    held = {
        int(by): (beside[inside & ~passes & (holder == by)], share[inside & ~passes & (holder == by)])
        for by in np.unique(holder[inside & ~passes])
        if by >= 0
    }
    own = beside[passes & inside]
    into = np.flatnonzero(graph.crossing & (graph.target < n) & np.isin(graph.target, own))
    node, start = graph.source[into], graph.share[into]
    if passes.any():
        far = _far_pieces(roof, graph, np.flatnonzero(strips.stops < level), plane, wedge)
        best = [one[int(np.argmax(weight[n + one]))] + n for one in far]
        node, start = np.append(node, best).astype(np.int64), np.append(start, np.ones(len(best)))
    return EndParts(own, share[passes & inside], held, node, start)


@dataclass(frozen=True)
class _Strips:
    """Height v at which each cell's strip ends, the height of the row that closes the valley it ends in.

    The second is infinite for strips that end in no valley; `stops` has it for valley pieces (m,). `holder`
    is the row that holds the strip or closes its valley, -1 for none. [m]
    """

    foot: Array
    stop: Array
    stops: Array
    holder: IntArray


def _strips(roof: RoofSurface, layout: Layout, graph: FlowGraph) -> _Strips:
    stops = stop_heights(roof, layout, graph)
    foot, stop, holder = _strip_ends(graph, stops)
    return _Strips(foot, stop, stops, holder)


def _beside(
    cells: Cells, layout: Layout, row: int, which: int, strips: _Strips, level: float
) -> tuple[IntArray, NDArray[np.bool_]]:
    """Cells above a row's line and beyond one end of it, and whether they pass its level."""
    start, end = layout.row_start[row], layout.row_end[row]
    tip, sign = (end, 1.0) if which else (start, -1.0)
    rate = (end[1] - start[1]) / (end[0] - start[0])
    middle = cells.corners.mean(axis=1)
    line = start[1] + rate * (middle[:, 0] - start[0])
    above = (cells.plane == layout.row_plane[row]) & (cells.corners[:, 2:, 1].max(axis=1) > line)
    index = np.flatnonzero(above & (sign * (middle[:, 0] - tip[0]) > 0.0))
    return index, (strips.foot[index] <= line[index] + MERGE) | (strips.stop[index] < level)


def stop_heights(roof: RoofSurface, layout: Layout, graph: FlowGraph) -> Array:
    """Height at which the next row down closes each valley piece's stream; -inf where none does. [m].

    Parameters
    ----------
    roof, layout : RoofSurface, Layout
    graph : FlowGraph

    Returns
    -------
    (m,) float
        Of the row's end that closes the stream, in the order of the valley pieces.
    """
    n, count = graph.cells.count, graph.node_count - graph.cells.count
    height = np.full(count, -np.inf)
    closed = graph.catch_node >= n
    row = graph.catch_row[closed]
    at_start = graph.catch_span[closed, 0] == 0.0
    tip = np.where(at_start[:, None], layout.row_start[row], layout.row_end[row])
    height[graph.catch_node[closed] - n] = roof.planes.to_world(layout.row_plane[row], tip)[:, 2]
    down = np.arange(count)
    chain = (graph.source >= n) & (graph.target >= n)
    down[graph.source[chain] - n] = graph.target[chain] - n
    return np.asarray(height[_followed(down)])


def _followed(down: IntArray) -> IntArray:
    """Where each element ends when every one hands on to `down` until it hands on to itself."""
    for _ in range(int(np.ceil(np.log2(max(len(down), 2)))) + 1):
        down = down[down]
    return down


def _strip_ends(graph: FlowGraph, stops: Array) -> tuple[Array, Array, IntArray]:
    """Height v at which each cell's strip ends, where a row closes the valley it ends in, and that row."""
    cells, n = graph.cells, graph.cells.count
    down = np.arange(n)
    inner = ~graph.crossing & (graph.source < n)
    down[graph.source[inner]] = graph.target[inner]
    down = _followed(down)
    into = graph.crossing & (graph.source < n) & (graph.target >= n)
    stop = np.full(n, np.inf)
    np.minimum.at(stop, graph.source[into], stops[graph.target[into] - n])
    # A strip that a row ends has passed every level above that row, though not the row's own.
    foot = cells.corners[:, :2, 1].mean(axis=1) + np.where(cells.lower_row >= 0, 2.0 * MERGE, 0.0)
    holder, closed = cells.lower_row.copy(), np.full(graph.node_count - n, -1)
    valley = graph.catch_node >= n
    closed[graph.catch_node[valley] - n] = graph.catch_row[valley]
    piece = np.arange(len(closed))
    chain = (graph.source >= n) & (graph.target >= n)
    piece[graph.source[chain] - n] = graph.target[chain] - n
    holder[graph.source[into]] = closed[_followed(piece)][graph.target[into] - n]
    return foot[down], stop[down], holder[down]


def _wedge(cells: Cells, tip: Array, sign: float, spread: float) -> Polygon:
    """Part of the plane above a row's end, from its fall line out to the spread, in (u, v)."""
    reach = 1e3 + float(np.abs(cells.corners).max())
    side = np.array([sign * np.tan(min(spread, STEEPEST_SPREAD)), 1.0]) * reach
    return Polygon(np.array([tip, tip + np.array([0.0, reach]), tip + side]))


def _share_inside(cells: Cells, index: IntArray, wedge: Polygon) -> Array:
    shapes = shapely.polygons(cells.corners[index])
    inside = shapely.area(shapely.intersection(shapes, wedge, grid_size=GRID))
    return np.asarray(inside / cells.true_area[index])


def _far_streams(
    roof: RoofSurface, graph: FlowGraph, streams: IntArray, plane: int, wedge: Polygon, out: Array
) -> Array:
    """What the far sides of the plane's valleys carry through the wedge, (q,). [N]."""
    total = np.zeros(out.shape[1])
    for pieces in _far_pieces(roof, graph, streams, plane, wedge):
        total += out[pieces].max(axis=0)
    return total


def _far_pieces(
    roof: RoofSurface, graph: FlowGraph, streams: IntArray, plane: int, wedge: Polygon
) -> list[IntArray]:
    """Pieces within the wedge of each valley's far side."""
    beside = np.any(roof.edges.plane[graph.valley_edge[streams]] == plane, axis=1)
    far = streams[beside & (graph.valley_plane[streams] != plane)]
    inside = shapely.contains_xy(wedge, roof.planes.to_plane(plane, graph.valley_middle[far]))
    edges = graph.valley_edge[far]
    return [far[inside & (edges == edge)] for edge in np.unique(edges[inside])]
