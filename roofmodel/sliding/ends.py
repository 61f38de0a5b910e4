"""What a coherent blanket can bring to the ends of a partial row from beyond them: an upper bound.

Judgment, until a model of the blanket itself says better: all snow of the plane within a spread of the fall
line through the row's end leans on that end, if it would otherwise pass the row's level.
"""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.layout import Layout
from roofmodel.sliding.cells import MERGE, Cells
from roofmodel.sliding.flow import FlowGraph
from roofmodel.snow.cases import GRID
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

STEEPEST_SPREAD = np.radians(89.0)  # a wider wedge is the whole plane beside the row


def end_bound(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, own: Array, out: Array, spread: float
) -> Array:
    """Thrust within the spread of each row end that no row at or above its level holds.

    Strips beside the row count where they run past its level, whatever catches them further down, and
    where they run into a valley that no row closes. What comes from other planes at the top of such
    strips, and what the far side of such a valley sends through the spread, counts too.

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
    caught = _caught_share(graph)
    foot, open_valley = _strip_ends(graph, caught)
    entering = np.zeros_like(own)
    outer = graph.crossing & (graph.target < n)
    np.add.at(entering, graph.target[outer], graph.share[outer, None] * out[graph.source[outer]])
    bound = np.zeros((len(layout.row_name), 2, own.shape[1]))
    middle, top = cells.corners.mean(axis=1), cells.corners[:, 2:, 1].max(axis=1)
    streams = np.flatnonzero(caught[n:] < 0.5)
    for row, plane in enumerate(layout.row_plane):
        start, end = layout.row_start[row], layout.row_end[row]
        rate = (end[1] - start[1]) / (end[0] - start[0])
        line = start[1] + rate * (middle[:, 0] - start[0])
        passing = (cells.plane == plane) & (top > line) & ((foot <= line + MERGE) | open_valley)
        for which, (tip, sign) in enumerate(((start, -1.0), (end, 1.0))):
            index = np.flatnonzero(passing & (sign * (middle[:, 0] - tip[0]) > 0.0))
            if not len(index):
                continue
            wedge = _wedge(cells, tip, sign, spread)
            share = _share_inside(cells, index, wedge)
            bound[row, which] = share @ own[index] + (share > 0.0) @ entering[index]
            bound[row, which] += _far_streams(roof, graph, streams, int(plane), wedge, out[n:])
    return bound.transpose(2, 0, 1)


def _strip_ends(graph: FlowGraph, caught: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Height v at which each cell's strip ends, and whether it ends in a valley that no row closes."""
    cells = graph.cells
    down = np.arange(cells.count)
    inner = ~graph.crossing & (graph.source < cells.count)
    down[graph.source[inner]] = graph.target[inner]
    for _ in range(int(np.ceil(np.log2(max(cells.count, 2)))) + 1):
        down = down[down]
    into = graph.crossing & (graph.source < cells.count) & (graph.target >= cells.count)
    into &= caught[graph.target] < 0.5
    opens = np.zeros(cells.count, dtype=bool)
    opens[graph.source[into]] = True
    # A strip that a row ends has passed every level above that row, though not the row's own.
    foot = cells.corners[:, :2, 1].mean(axis=1) + np.where(cells.lower_row >= 0, 2.0 * MERGE, 0.0)
    return foot[down], opens[down]


def _caught_share(graph: FlowGraph) -> Array:
    """Part of each node's flow that a row catches in the end, (nodes,)."""
    caught = np.zeros(graph.node_count)
    caught[graph.catch_node] = 1.0
    level = graph.level[graph.source]
    order = np.argsort(-level, kind="stable")
    bounds = np.searchsorted(-level[order], -np.arange(graph.level.max(), -2, -1))
    for first, last in itertools.pairwise(bounds):
        links = order[first:last]
        np.add.at(caught, graph.source[links], graph.share[links] * caught[graph.target[links]])
    return caught


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
    beside = np.any(roof.edges.plane[graph.valley_edge[streams]] == plane, axis=1)
    far = streams[beside & (graph.valley_plane[streams] != plane)]
    inside = shapely.contains_xy(wedge, roof.planes.to_plane(plane, graph.valley_middle[far]))
    for edge in np.unique(graph.valley_edge[far[inside]]):
        total += out[far[inside & (graph.valley_edge[far] == edge)]].max(axis=0)
    return total
