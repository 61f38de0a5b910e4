"""What a coherent blanket can bring to the ends of a partial row from beyond them: an upper bound.

Judgment, until a model of the blanket itself says better: all snow of the plane within a spread of the fall
line through the row's end leans on that end, if it would otherwise pass the row's level. A row that ends a
little short of its plane's edge takes the spread of a row that reaches it, and what slides down in the gap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from roofmodel.layout import Layout
from roofmodel.sliding.cells import MERGE, Cells
from roofmodel.sliding.flow import FlowGraph
from roofmodel.snow.sharing import GRID
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVEL = 0.02  # rows within this height stand at one level [m]
STEEPEST_SPREAD = np.radians(89.0)  # a wider wedge is the whole plane beside the row
SHORT = 1.0  # a row that ends so little short of its plane's edge counts as if it reached it (judgment) [m]
ROUNDED = 1e-4  # less of a strip passes by rounding only [-]
AWAY = 1e-6  # sine of the angle from which a plane counts as falling away from a row's end [-]


def end_bound(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, own: Array, out: Array, spread: float
) -> Array:
    """Thrust within the spread of each row end that no row at or above its level holds.

    Strips beside the row count where they run past its level, whatever catches them further down, and
    where they run into a valley that no row closes at or above that level. What comes from other planes
    at the top of such strips, and what the far side of such a valley sends through the spread, counts
    too, unless the far side falls away from the row's end.

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
    gaps = end_gaps(roof, layout, 2.0 * SHORT)
    for row, plane in enumerate(layout.row_plane.tolist()):
        for which, tip in enumerate((layout.row_start[row], layout.row_end[row])):
            sign, level = 2.0 * which - 1.0, float(roof.planes.to_world(plane, tip)[2]) - LEVEL
            beside, passes = _beside(graph, layout, row, which, strips, level)
            beside, passes = beside[passes > 0.0], passes[passes > 0.0]
            streams = np.flatnonzero(strips.stops < level)
            if not len(beside) and not len(streams):
                continue
            wedge = end_wedge(layout, (row, which), float(gaps[row, which]), spread)
            share = _share_inside(cells, beside, wedge) if len(beside) else passes
            bound[row, which] = np.minimum(share, passes) @ own[beside]
            bound[row, which] += ((share > 0.0) * passes) @ entering[beside]
            for pieces in _far_pieces(roof, graph, streams, plane, wedge, sign):
                bound[row, which] += out[n + pieces].max(axis=0)
    return bound.transpose(2, 0, 1)


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
            crossed = shapely.intersection(edge, LineString([start, start + reach * out]))
            if crossed.length > MERGE:  # a row along the very eave: its line a little higher
                start = start + MERGE * np.array([-way[1], way[0]])
                crossed = shapely.intersection(edge, LineString([start, start + reach * out]))
            if not crossed.is_empty:
                gaps[row, which] = float(((shapely.get_coordinates(crossed) - start) @ out).min())
    return gaps


def end_wedge(layout: Layout, end: tuple[int, int], gap: float, spread: float) -> Polygon:
    """Part of the plane, in (u, v), from which a blanket may lean on a row's end.

    From the fall line through the end out to the spread; across a short gap to the plane's edge the spread
    begins at the edge, and across gaps up to twice as long less and less beyond the end.

    Parameters
    ----------
    layout : Layout
    end : (int, int)
        Row, and 0 for its start or 1 for its end.
    gap : float
        Of `end_gaps`. [m]
    spread : float
        [rad]
    """
    row, which = end
    tip = (layout.row_start, layout.row_end)[which][row]
    sign = 2.0 * which - 1.0
    way = (layout.row_end[row] - layout.row_start[row]) / layout.row_length[row]
    foot = tip + sign * max(min(gap, 2.0 * SHORT - gap), 0.0) * way
    reach = 1e3 + float(np.abs(foot).max())
    side = np.array([sign * np.tan(min(spread, STEEPEST_SPREAD)), 1.0]) * reach
    return Polygon(np.array([tip, tip + np.array([0.0, reach]), foot + side, foot]))


def gap_snow(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, end: tuple[int, int], gap: float
) -> tuple[IntArray, Array]:
    """Cells (k,) above the gap between a row's end and its plane's edge, and the part of each that is lost.

    Lost is what passes the row's level there and comes to no other row.

    Parameters
    ----------
    roof, layout, graph : RoofSurface, Layout, FlowGraph
    end : (int, int)
        Row, and 0 for its start or 1 for its end.
    gap : float
        [m]
    """
    (row, which), strips = end, _strips(roof, layout, graph)
    tip = (layout.row_start, layout.row_end)[which][row]
    sign = 2.0 * which - 1.0
    way = (layout.row_end[row] - layout.row_start[row]) / layout.row_length[row]
    level = float(roof.planes.to_world(int(layout.row_plane[row]), tip)[2]) - LEVEL
    beside, passes = _beside(graph, layout, row, which, strips, level)
    passes = passes * np.isin(strips.holder[beside], (-1, row))
    beside, passes = beside[passes > 0.0], passes[passes > 0.0]
    if not len(beside):
        return beside, passes
    foot, up = tip + sign * gap * way, np.array([0.0, 1e3 + float(np.abs(tip).max())])
    column = Polygon(np.array([tip, tip + up, foot + up, foot]))
    return beside, np.minimum(_share_inside(graph.cells, beside, column), passes)


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
    beside, passes = _beside(graph, layout, row, which, strips, level)
    wedge = end_wedge(layout, end, float(end_gaps(roof, layout, 2.0 * SHORT)[end]), spread)
    inside = _share_inside(cells, beside, wedge) if len(beside) else np.zeros(0)
    share = np.minimum(inside, passes)
    kept, holder = inside - share, strips.holder[beside]
    held = {
        int(by): (beside[(kept > 0.0) & (holder == by)], kept[(kept > 0.0) & (holder == by)])
        for by in np.unique(holder[kept > 0.0])
        if by >= 0
    }
    reached = np.zeros(cells.count)
    reached[beside] = (inside > 0.0) * passes
    into = np.flatnonzero(graph.crossing & (graph.target < n))
    into = into[reached[graph.target[into]] > 0.0]
    node, start = graph.source[into], graph.share[into] * reached[graph.target[into]]
    streams = np.flatnonzero(strips.stops < level)
    far = _far_pieces(roof, graph, streams, plane, wedge, 2.0 * which - 1.0)
    best = [one[int(np.argmax(weight[n + one]))] + n for one in far]
    node, start = np.append(node, best).astype(np.int64), np.append(start, np.ones(len(best)))
    return EndParts(beside[share > 0.0], share[share > 0.0], held, node, start)


@dataclass(frozen=True)
class _Strips:
    """Cell (n,) at whose foot each cell's strip ends, and the row that holds the strip, -1 for none.

    `stops` is the height at which a row closes the stream of each valley piece (m,). [m]
    """

    last: IntArray
    stops: Array
    holder: IntArray


def _strips(roof: RoofSurface, layout: Layout, graph: FlowGraph) -> _Strips:
    stops = stop_heights(roof, layout, graph)
    last, holder = _strip_ends(graph)
    return _Strips(last, stops, holder)


def _beside(
    graph: FlowGraph, layout: Layout, row: int, which: int, strips: _Strips, level: float
) -> tuple[IntArray, Array]:
    """Cells (k,) above a row's line and beyond one end of it, and the part of each that passes its level."""
    cells, n = graph.cells, graph.cells.count
    start, end = layout.row_start[row], layout.row_end[row]
    tip, sign = (end, 1.0) if which else (start, -1.0)
    rate = (end[1] - start[1]) / (end[0] - start[0])
    middle = cells.corners.mean(axis=1)
    line = start[1] + rate * (middle[:, 0] - start[0])
    above = (cells.plane == layout.row_plane[row]) & (cells.corners[:, 2:, 1].max(axis=1) > line)
    index = np.flatnonzero(above & (sign * (middle[:, 0] - tip[0]) > 0.0))
    last = strips.last[index]
    feet = cells.corners[last, :2]
    over = feet[..., 1] - (start[1] + rate * (feet[..., 0] - start[0])) - MERGE
    # A strip that a row ends has passed every level above that row, though not the row's own.
    over += 2.0 * MERGE * (cells.lower_row[last] >= 0)[:, None]
    low, high = over.min(axis=1), over.max(axis=1)
    below = np.where(high > 0.0, np.clip(-low / np.maximum(high - low, MERGE), 0.0, 1.0), 1.0)
    opened = graph.crossing & (graph.source < n) & (graph.target >= n)
    opened[opened] = strips.stops[graph.target[opened] - n] < level
    into = np.zeros(n)
    np.add.at(into, graph.source[opened], graph.share[opened])
    passes = np.maximum(below, np.minimum(into[last], 1.0))
    return index, np.where(passes > ROUNDED, passes, 0.0)


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


def _strip_ends(graph: FlowGraph) -> tuple[IntArray, IntArray]:
    """Cell at whose foot each cell's strip ends, and the row that holds it there or closes its valley."""
    cells, n = graph.cells, graph.cells.count
    down = np.arange(n)
    inner = ~graph.crossing & (graph.source < n)
    down[graph.source[inner]] = graph.target[inner]
    down = _followed(down)
    into = graph.crossing & (graph.source < n) & (graph.target >= n)
    holder, closed = cells.lower_row.copy(), np.full(graph.node_count - n, -1)
    valley = graph.catch_node >= n
    closed[graph.catch_node[valley] - n] = graph.catch_row[valley]
    piece = np.arange(len(closed))
    chain = (graph.source >= n) & (graph.target >= n)
    piece[graph.source[chain] - n] = graph.target[chain] - n
    holder[graph.source[into]] = closed[_followed(piece)][graph.target[into] - n]
    return down, holder[down]


def _share_inside(cells: Cells, index: IntArray, wedge: Polygon) -> Array:
    shapes = shapely.polygons(cells.corners[index])
    inside = shapely.area(shapely.intersection(shapes, wedge, grid_size=GRID))
    return np.asarray(inside / cells.true_area[index])


def _far_pieces(
    roof: RoofSurface, graph: FlowGraph, streams: IntArray, plane: int, wedge: Polygon, sign: float
) -> list[IntArray]:
    """Pieces within the wedge of each valley's far side, but for sides that fall away from the row's end."""
    beside = np.any(roof.edges.plane[graph.valley_edge[streams]] == plane, axis=1)
    far = streams[beside & (graph.valley_plane[streams] != plane)]
    falls = -roof.planes.upslope[graph.valley_plane[far]] @ roof.planes.across[plane]
    far = far[sign * falls <= AWAY]
    inside = shapely.contains_xy(wedge, roof.planes.to_plane(plane, graph.valley_middle[far]))
    edges = graph.valley_edge[far]
    return [far[inside & (edges == edge)] for edge in np.unique(edges[inside])]
