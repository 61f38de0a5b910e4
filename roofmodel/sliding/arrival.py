"""Where a valley's stream arrives along the row that closes it.

Judgment: evenly over a length, `valley_spread`, from the valley on. Where the row stops short of the valley,
what would arrive in the gap leans on the rail's overhang, evenly from its tip to the end clamp.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.sliding.flow import FlowGraph

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def stream_shares(layout: Layout, graph: FlowGraph, catch: int, row: IntArray, span: Array) -> Array:
    """Part of a stream that each station of rows takes, (k,). [-].

    Parameters
    ----------
    layout : Layout
    graph : FlowGraph
    catch : int
        Which of the graph's catches, one of a valley piece.
    row : (k,) int
        Of each station.
    span : (k, 2) float
        Along its row. [m]
    """
    own, length = int(graph.catch_row[catch]), float(layout.row_length[graph.catch_row[catch]])
    on, gap = row == own, float(graph.catch_gap[catch])
    low, high = graph.catch_span[catch]
    shares = (1.0 - gap) * _overlap(on, span, low, high)
    if gap > 0.0:
        clamps = layout.clamp_s[layout.clamp_row == own]
        first, last = (float(clamps.min()), float(clamps.max())) if len(clamps) else (length, 0.0)
        overhang = (0.0, first) if graph.catch_end[catch] == 0 else (last, length)
        shares += gap * _overlap(on, span, *overhang)
    return shares


def _overlap(on: NDArray[np.bool_], span: Array, low: float, high: float) -> Array:
    """Parts of a stretch on stations, all on the nearest one where it lies on none."""
    shared = np.clip(np.minimum(span[:, 1], high) - np.maximum(span[:, 0], low), 0.0, None)
    shared = np.where(on, shared, 0.0)
    if shared.sum() == 0.0:
        nearest = np.where(on, np.abs(span.mean(axis=1) - 0.5 * (low + high)), np.inf)
        shared[int(np.argmin(nearest))] = 1.0
    return np.asarray(shared / shared.sum())
