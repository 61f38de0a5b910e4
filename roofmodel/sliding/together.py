"""What leaves over the same stretch of an edge counts together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

JOINT = 5e-4  # stretches that share less of an edge lie beside one another [m]


def most_together(count: int, at: IntArray, ends: Array, load: Array) -> Array:
    """Largest sum (count, q) of loads (n, q) [N/m] over any place of each edge; `at` (n,) is which.

    Stretches (n, 2, 3) of one edge may lie on one another: both streams of a valley, own snow and what comes
    straight across.
    """
    most = np.zeros((count, load.shape[1]))
    if not len(at):
        return most
    np.maximum.at(most, at, load)
    load = np.where(np.isfinite(load), load, 0.0)  # else one stretch without length spoils the sums of all
    _, first, own = np.unique(at, return_index=True, return_inverse=True)
    way = ends[first, 1] - ends[first, 0]
    way = (way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12))[own]
    t = np.sort(np.einsum("nij,nj->ni", ends, way), axis=1)
    middle = t.mean(axis=1)
    t = np.concatenate([np.minimum(t[:, 0] + JOINT, middle), np.maximum(t[:, 1] - JOINT, middle)])
    change, edge = np.concatenate([load, -load]), np.tile(at, 2)
    order = np.lexsort((np.repeat([1, 0], len(at)), t, edge))
    there = np.cumsum(change[order], axis=0)
    start = np.flatnonzero(np.diff(edge[order], prepend=-1))
    np.maximum.at(most, edge[order][start], np.maximum.reduceat(there, start, axis=0))
    return most
