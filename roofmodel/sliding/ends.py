"""What a coherent blanket can bring to the ends of a partial row from beyond them: an upper bound.

Judgment, until a model of the blanket itself says better: all snow of the plane within a spread of the fall
line through the row's end leans on that end, if it would otherwise pass the row's level. A row that ends a
little short of its plane's edge takes the spread of a row that reaches it, and what slides down in the gap;
near a valley that no row closes it takes the streams of both sides too (see `end_reach`). What runs out of a
valley above the row and comes down on it within the length over which streams arrive, from that end, the row
holds as one that closes the valley does: the same snow leans on the end no more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.layout import Layout
from roofmodel.sliding.cells import MERGE, Cells
from roofmodel.sliding.end_reach import AWAY, LEVEL, EndReach, end_reaches, end_wedge
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.levels import against_flow
from roofmodel.snow.sharing import GRID
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

ROUNDED = 1e-4  # less of a strip passes by rounding only, and places differ by less [-, m]


def end_bound(
    roof: RoofSurface,
    layout: Layout,
    graph: FlowGraph,
    own: Array,
    out: Array,
    spreads: tuple[float, float],
    lifted: Mapping[tuple[int, int], float] | None = None,
) -> Array:
    """Thrust within the spread of each row end that no row at or above its level holds.

    Strips beside the row count where they run past its level, whatever catches them further down, and
    where they run into a valley that no row closes at or above that level. What comes from other planes
    at the top of such strips, and what the far side of such a valley sends through the spread, counts
    too, unless the far side falls away from the row's end. So do the streams of a valley that the end
    stands near to.

    Parameters
    ----------
    roof, layout : RoofSurface, Layout
    graph : FlowGraph
    own : (n, q) float
        Thrust of each cell's own snow. [N]
    out : (nodes, q) float
        Thrust that leaves each node. [N]
    spreads : (float, float)
        Spread to each side, from the fall line [rad], and length over which a valley's stream arrives. [m]
    lifted : mapping of (row, end) to float, optional
        Ends to find alone, each as if it stood so much higher than the rows that close streams, as it does
        once rows are a little off their places (`roofmodel.sliding.end_steps`). [m]

    Returns
    -------
    (q, r, 2) float
        At start and end of each row, down the slope. [N]
    """
    n, strips = graph.cells.count, _strips(roof, layout, graph, spreads[1])
    entering = np.zeros_like(own)
    outer = graph.crossing & (graph.target < n)
    np.add.at(entering, graph.target[outer], graph.share[outer, None] * out[graph.source[outer]])
    bound = np.zeros((len(layout.row_name), 2, own.shape[1]))
    for row, reaches in enumerate(end_reaches(roof, layout, graph, *spreads)):
        for which, reach in enumerate(reaches):
            if lifted is not None and (row, which) not in lifted:
                continue
            lift = 0.0 if lifted is None else lifted[row, which]
            there = strips.below(row, lift) if lift else strips
            found = _collected(roof, layout, graph, there, (row, which), reach)
            bound[row, which] = np.minimum(found.inside, found.passes) @ own[found.cell]
            bound[row, which] += ((found.inside > 0.0) * found.passes) @ entering[found.cell]
            bound[row, which] += found.start @ out[found.node]
            for node, part in found.far:
                bound[row, which] += (part[:, None] * out[node]).max(axis=0)
    return bound.transpose(2, 0, 1)


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
    (row, which), strips = end, _strips(roof, layout, graph, 0.0)
    tip = (layout.row_start, layout.row_end)[which][row]
    sign = 2.0 * which - 1.0
    way = (layout.row_end[row] - layout.row_start[row]) / layout.row_length[row]
    level = float(roof.planes.to_world(int(layout.row_plane[row]), tip)[2]) - LEVEL
    beside, below = _beside(graph, layout, end, strips)
    passes = _passes(graph, strips, beside, below, strips.stops < level)
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
    roof: RoofSurface,
    layout: Layout,
    graph: FlowGraph,
    end: tuple[int, int],
    weight: Array,
    spreads: tuple[float, float],
) -> EndParts:
    """Take one row end's bound apart, as `end_bound` makes it up.

    Parameters
    ----------
    roof, layout, graph : RoofSurface, Layout, FlowGraph
    end : (int, int)
        Row, and 0 for its start or 1 for its end.
    weight : (nodes,) float
        Snow that each node passes on, to choose the place of a stream where it is largest. [N]
    spreads : (float, float)
        As for `end_bound`.
    """
    cells, n = graph.cells, graph.cells.count
    strips = _strips(roof, layout, graph, spreads[1])
    reach = end_reaches(roof, layout, graph, *spreads)[end[0]][end[1]]
    found = _collected(roof, layout, graph, strips, end, reach, whole=True)
    beside, share = found.cell, np.minimum(found.inside, found.passes)
    kept, holder = found.inside - share, strips.holder[beside]
    held = {
        int(by): (beside[(kept > 0.0) & (holder == by)], kept[(kept > 0.0) & (holder == by)])
        for by in np.unique(holder[kept > 0.0])
        if by >= 0
    }
    reached = np.zeros(cells.count)
    reached[beside] = (found.inside > 0.0) * found.passes
    into = np.flatnonzero(graph.crossing & (graph.target < n))
    into = into[reached[graph.target[into]] > 0.0]
    node = [graph.source[into], found.node]
    start = [graph.share[into] * reached[graph.target[into]], found.start]
    for one, part in found.far:
        best = [int(np.argmax(part * weight[one]))]
        node, start = [*node, one[best]], [*start, part[best]]
    some = share > 0.0
    return EndParts(beside[some], share[some], held, np.concatenate(node), np.concatenate(start))


@dataclass(frozen=True)
class _Collected:
    """What one end collects: of cells the part within the spread and that which passes the row's level.

    Of nodes their `start`; of each entry of `far`, nodes and their parts, the largest.
    """

    cell: IntArray
    inside: Array
    passes: Array
    node: IntArray
    start: Array
    far: list[tuple[IntArray, Array]]


def _collected(
    roof: RoofSurface,
    layout: Layout,
    graph: FlowGraph,
    strips: _Strips,
    end: tuple[int, int],
    reach: EndReach,
    *,
    whole: bool = False,
) -> _Collected:
    """Cells beside a row's end, and nodes of other planes, that lean on it; `whole`: what rows hold too."""
    (row, which), plane, n = end, int(layout.row_plane[end[0]]), graph.cells.count
    tip = (layout.row_start, layout.row_end)[which][row]
    level = float(roof.planes.to_world(plane, tip)[2]) - LEVEL
    wedge = end_wedge(layout, end, reach)
    # A row of the other side that holds this side's stream as well, being alone, does not relieve this end.
    near = (graph.valley_edge == reach.edge) & (graph.valley_plane == plane) & (strips.own < level)
    # What this row holds near its end already, or what enters beside it, leans on the end no second time.
    beside, below = _beside(graph, layout, end, strips)
    counted = strips.comes[2 * row + which] + _entering(graph, beside, below, wedge)
    rest = 1.0 - np.minimum(counted, 1.0)
    passes = _passes(graph, strips, beside, below, rest * np.maximum(strips.stops < level, reach.part * near))
    if not whole:
        beside, passes = beside[passes > 0.0], passes[passes > 0.0]
    inside = _share_inside(graph.cells, beside, wedge) if len(beside) else np.zeros(0)
    streams = np.flatnonzero(strips.stops < level)
    far = {
        int(graph.valley_edge[one[0]]): (one, rest[one])
        for one in _far_pieces(roof, graph, streams, plane, wedge, 2.0 * which - 1.0)
    }
    lodging = streams[graph.valley_edge[streams] == reach.edge]
    foot = graph.valley_middle[lodging, 2] - 0.5 * graph.valley_drop[lodging]
    other = lodging[(graph.valley_plane[lodging] != plane) & (foot >= reach.place - ROUNDED)]
    if len(other):
        pieces, parts = far.get(reach.edge, (other[:0], np.zeros(0)))
        far[reach.edge] = (np.append(pieces, other), np.append(parts, reach.part * rest[other]))
    # What a valley of other planes sends into the near side's stream.
    chain = np.flatnonzero((graph.source >= n) & np.isin(graph.target, np.flatnonzero(near) + n))
    chain = chain[graph.valley_plane[graph.source[chain] - n] != plane]
    return _Collected(
        cell=beside,
        inside=inside,
        passes=passes,
        node=graph.source[chain],
        start=reach.part * graph.share[chain] * rest[graph.source[chain] - n],
        far=[(pieces + n, parts) for pieces, parts in far.values()],
    )


@dataclass(frozen=True)
class _Strips:
    """Cell (n,) at whose foot each cell's strip ends, and the row that holds the strip, -1 for none.

    `stops` is the height at which a row closes the stream of each valley piece (m,), `own` that at which
    one of the piece's own plane does [m], `stops_by` and `own_by` are the rows. `comes` (2 r, m) is what of
    the stream comes down on the row near each of its ends, start before end [-]. `middle` and `top` (n,) are
    u of a cell's middle and v of its upper bound. [m]
    """

    last: IntArray
    stops: Array
    own: Array
    holder: IntArray
    stops_by: IntArray
    own_by: IntArray
    comes: Array
    middle: Array
    top: Array

    def below(self, row: int, by: float) -> _Strips:
        """The same with all other rows so much lower against one of them. [m]."""
        stops = np.where(self.stops_by == row, self.stops, self.stops - by)
        return replace(self, stops=stops, own=np.where(self.own_by == row, self.own, self.own - by))


def _strips(roof: RoofSurface, layout: Layout, graph: FlowGraph, spread: float) -> _Strips:
    last, holder = _strip_ends(graph)
    stops, own = stopping(roof, layout, graph), stopping(roof, layout, graph, own=True)
    u, v = np.moveaxis(graph.cells.corners, 2, 0)
    middle, top = 0.25 * (u[:, 0] + u[:, 1] + u[:, 2] + u[:, 3]), np.maximum(v[:, 2], v[:, 3])
    comes = _comes_near(layout, graph, spread)
    return _Strips(last, stops[0], own[0], holder, stops[1], own[1], comes, middle, top)


def _comes_near(layout: Layout, graph: FlowGraph, spread: float) -> Array:
    """Part of each valley piece's stream that comes over a plane to a row within `spread` [m] of an end.

    Returns
    -------
    (2 r, m) float
        At the start and the end of each row in turn. [-]
    """
    n, rows = graph.cells.count, len(layout.row_name)
    if not np.any((graph.source >= n) & (graph.target < n)):  # no stream runs out onto a plane
        return np.zeros((2 * rows, graph.node_count - n))
    on = graph.catch_node < n
    node, row, span = graph.catch_node[on], graph.catch_row[on], graph.catch_span[on]
    low, high = span.min(axis=1), span.max(axis=1)
    length, part = layout.row_length[row], np.zeros((graph.node_count, 2 * rows))
    ends = np.stack([np.zeros_like(length), length - spread])
    for which, begin in enumerate(ends):
        near = np.clip(np.minimum(high, begin + spread) - np.maximum(low, begin), 0.0, None)
        np.add.at(part, (node, 2 * row + which), near / np.maximum(high - low, MERGE))
    come = against_flow(part, graph.source, graph.target, graph.share, graph.level)
    return np.clip(come[n:].T, 0.0, 1.0)


def _entering(graph: FlowGraph, beside: IntArray, below: Array, wedge: Polygon) -> Array:
    """Part of each valley piece's stream (m,) that runs out onto strips beside a row's end and so counts."""
    n = graph.cells.count
    runs, part = np.flatnonzero((graph.source >= n) & (graph.target < n)), np.zeros(graph.node_count)
    there = np.isin(beside, graph.target[runs]) & (below > ROUNDED)
    if not there.any():
        return part[n:]
    cell, counted = beside[there], np.zeros(n)
    counted[cell] = (_share_inside(graph.cells, cell, wedge) > 0.0) * below[there]
    np.add.at(part, graph.source[runs], graph.share[runs] * counted[graph.target[runs]])
    chain = np.flatnonzero((graph.source >= n) & (graph.target >= n))
    link = (graph.source[chain], graph.target[chain], graph.share[chain])
    return np.clip(against_flow(part, *link, graph.level)[n:], 0.0, 1.0)


def _beside(
    graph: FlowGraph, layout: Layout, end: tuple[int, int], strips: _Strips
) -> tuple[IntArray, Array]:
    """Cells (k,) above a row's line and beyond one end of it, and the part of each that ends below it."""
    row, which = end
    cells = graph.cells
    start, end = layout.row_start[row], layout.row_end[row]
    tip, sign = (end, 1.0) if which else (start, -1.0)
    rate = (end[1] - start[1]) / (end[0] - start[0])
    own = np.flatnonzero(cells.plane == layout.row_plane[row])
    middle = strips.middle[own]
    line = start[1] + rate * (middle - start[0])
    index = own[(strips.top[own] > line) & (sign * (middle - tip[0]) > 0.0)]
    last = strips.last[index]
    feet = cells.corners[last, :2]
    over = feet[..., 1] - (start[1] + rate * (feet[..., 0] - start[0])) - MERGE
    # A strip that a row ends has passed every level above that row, though not the row's own.
    over += 2.0 * MERGE * (cells.lower_row[last] >= 0)[:, None]
    low, high = np.minimum(over[:, 0], over[:, 1]), np.maximum(over[:, 0], over[:, 1])
    return index, np.where(high > 0.0, np.clip(-low / np.maximum(high - low, MERGE), 0.0, 1.0), 1.0)


def _passes(
    graph: FlowGraph, strips: _Strips, beside: IntArray, below: Array, opened: Array | NDArray[np.bool_]
) -> Array:
    """Part of cells `beside` a row's end that passes its level; `opened`: of each valley piece (m,)."""
    n = graph.cells.count
    feeding = graph.crossing & (graph.source < n) & (graph.target >= n)
    into = np.zeros(n)
    np.add.at(into, graph.source[feeding], graph.share[feeding] * opened[graph.target[feeding] - n])
    passes = np.maximum(below, np.minimum(into[strips.last[beside]], 1.0))
    return np.where(passes > ROUNDED, passes, 0.0)


def stop_heights(roof: RoofSurface, layout: Layout, graph: FlowGraph, *, own: bool = False) -> Array:
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
    return stopping(roof, layout, graph, own=own)[0]


def stopping(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, *, own: bool = False
) -> tuple[Array, IntArray]:
    """`stop_heights` (m,) [m], and the row (m,) that closes each stream there, -1 for none."""
    n, count = graph.cells.count, graph.node_count - graph.cells.count
    height, by = np.full(count, -np.inf), np.full(count, -1)
    closed = graph.catch_node >= n
    if own:
        there = graph.valley_plane[np.maximum(graph.catch_node - n, 0)] if count else graph.catch_node
        closed &= layout.row_plane[graph.catch_row] == there
    row = graph.catch_row[closed]
    at_start = graph.catch_end[closed] == 0
    tip = np.where(at_start[:, None], layout.row_start[row], layout.row_end[row])
    by[graph.catch_node[closed] - n] = row
    height[graph.catch_node[closed] - n] = roof.planes.to_world(layout.row_plane[row], tip)[:, 2]
    down = np.arange(count)
    chain = (graph.source >= n) & (graph.target >= n)
    down[graph.source[chain] - n] = graph.target[chain] - n
    last = _followed(down)
    return np.asarray(height[last]), by[last]


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
    shapes = np.asarray(shapely.polygons(cells.corners[index]))
    shapely.prepare(wedge)
    inside, meets = (
        np.zeros(len(index)),
        shapely.intersects(wedge, shapes),
    )  # most do not, and overlays are slow
    inside[meets] = shapely.area(shapely.intersection(shapes[meets], wedge, grid_size=GRID))
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
