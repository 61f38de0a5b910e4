"""Weight and thrust sent down the flow graph, level by level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.sliding.flow import FlowGraph

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Flow:
    """(nodes, q) thrust into, fed by cells into valleys, at the foot of, out of nodes; weight; friction."""

    inflow: Array
    fed: Array
    arriving: Array
    out: Array
    weight: Array
    friction: Array


def propagate(
    graph: FlowGraph,
    drive: Array,
    brake: Array,
    vertical: Array,
    factor: Array,
    keep: Array | None = None,
) -> Flow:
    """Level by level: out = max(0, in + drive - brake) in cells, out = in in valleys.

    What cells feed into valleys is multiplied by `factor` of the valley piece on the way; what leaves a cell
    by its part of `keep`, if given.
    """
    n, q = drive.shape
    inflow, arriving, out, weight, fed = np.zeros((5, graph.node_count, q))
    weight[:n] = vertical
    pad = np.zeros((graph.node_count - n, q))
    source_term = np.concatenate([drive - brake, pad])
    part = np.concatenate([np.ones_like(drive) if keep is None else keep, pad + 1.0])
    feeding = (graph.source < n) & (graph.target >= n)
    order = np.argsort(graph.level[graph.source], kind="stable")
    bounds = np.searchsorted(graph.level[graph.source][order], np.arange(graph.level.max() + 2))
    nodes = np.argsort(graph.level, kind="stable")
    node_bounds = np.searchsorted(graph.level[nodes], np.arange(graph.level.max() + 2))
    for level in range(int(graph.level.max()) + 1):
        here = nodes[node_bounds[level] : node_bounds[level + 1]]
        arriving[here] = np.maximum(inflow[here] + source_term[here], 0.0)
        out[here] = arriving[here] * part[here]
        links = order[bounds[level] : bounds[level + 1]]
        if not len(links):
            continue
        source, target, share = graph.source[links], graph.target[links], graph.share[links, None]
        moved = share * out[source]
        into = feeding[links]
        np.add.at(fed, target[into], moved[into])
        moved[into] *= factor[target[into] - n, None]
        np.add.at(inflow, target, moved)
        np.add.at(weight, target, share * weight[source])
    friction = np.sum(inflow[:n] + drive - arriving[:n], axis=0)
    return Flow(inflow, fed[n:], arriving, out, weight, friction)
