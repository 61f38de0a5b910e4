"""Nested dissection by geometry: an elimination order for meshes, from where their nodes are.

Every part is cut in two across its longest extent; nodes on one side that touch the other side separate the
halves and are eliminated after both (George, SIAM J. Numer. Anal. 10 (1973) 345, from memory). All parts of
a level are cut at once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SMALLEST = 6  # nodes in a part that is not cut any more


def _cut(xyz: Array, part: IntArray) -> NDArray[np.bool_]:
    """Which nodes lie in the upper half of their part, across its longest extent."""
    order = np.argsort(part, kind="stable")
    start = np.flatnonzero(np.diff(part[order], prepend=-1))
    sorted_xyz = xyz[order]
    extent = np.maximum.reduceat(sorted_xyz, start) - np.minimum.reduceat(sorted_xyz, start)
    count = np.diff(np.append(start, len(part)))
    axis = np.repeat(np.argmax(extent, axis=1), count)
    along = sorted_xyz[np.arange(len(part)), axis]
    group = np.repeat(np.arange(len(start)), count)
    place = np.empty(len(part), dtype=np.int64)
    place[np.lexsort((along, group))] = np.arange(len(part))
    upper = np.empty(len(part), dtype=bool)
    upper[order] = place - np.repeat(start, count) >= np.repeat(count // 2, count)
    return upper


def dissect(xyz: Array, first: IntArray, second: IntArray) -> IntArray:
    """Elimination order of the nodes of a mesh.

    Parameters
    ----------
    xyz : (n, 3) float
        [m]
    first, second : (e,) int
        Nodes at the ends of the edges of the mesh's graph, each pair once.

    Returns
    -------
    (n,) int
        Nodes in the order in which they are best eliminated.
    """
    n = len(xyz)
    part = np.zeros(n, dtype=np.int64)
    height = np.zeros(n, dtype=np.int64)  # separators of the first cut stand highest
    alive = np.arange(n)
    levels = max(int(np.ceil(np.log2(max(n, 1) / SMALLEST))), 0)
    for level in range(levels):
        upper = np.zeros(n, dtype=bool)
        upper[alive] = _cut(xyz[alive], part[alive])
        part[alive] = 2 * part[alive] + upper[alive]
        crossing = (part[first] != part[second]) & (part[first] // 2 == part[second] // 2)
        crossing &= (height[first] == 0) & (height[second] == 0)
        low = np.where(upper[first[crossing]], second[crossing], first[crossing])
        height[low] = levels - level
        alive = alive[height[alive] == 0]
        inside = (part[first] == part[second]) & (height[first] == 0) & (height[second] == 0)
        first, second = first[inside], second[inside]
        if not len(alive):
            break
    return np.lexsort((part, height)).astype(np.int64)
