"""The order in which nodes of the flow pass on what they have: links that circle are opened first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.counting import within

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def open_loops(
    count: int, source: IntArray, target: IntArray, share: Array, crossing: NDArray[np.bool_]
) -> tuple[IntArray, IntArray, Array, NDArray[np.bool_]]:
    """Links of which none leads back: what would circle goes where its circle lets it out.

    Planes that real data do not join cleanly can hand snow to each other in circles. Every link inside a
    circle becomes links to all that leave it, in the parts that these have (judgment). A circle that nothing
    leaves stays for `flow_levels` to cut.
    """
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    matrix = csr_array((np.ones(len(source)), (source, target)), shape=(count, count))
    _, part = connected_components(matrix, directed=True, connection="strong")
    inside = part[source] == part[target]
    if not inside.any():
        return source, target, share, crossing
    looped = np.isin(part[source], part[source[inside]])
    leaving = np.flatnonzero(looped & ~inside)
    leaving = leaving[np.argsort(part[source[leaving]], kind="stable")]
    owner = part[source[leaving]]
    total = np.bincount(owner, share[leaving], minlength=part.max() + 1)
    circling = np.flatnonzero(inside & (total[part[source]] > 0.0))
    first = np.searchsorted(owner, part[source[circling]])
    number = np.searchsorted(owner, part[source[circling]], side="right") - first
    again = np.repeat(circling, number)
    out = leaving[np.repeat(first, number) + within(number)]
    kept = np.ones(len(source), dtype=bool)
    kept[circling] = False
    parts = share[again] * share[out] / total[part[source[again]]]
    return (
        np.concatenate([source[kept], source[again]]),
        np.concatenate([target[kept], target[out]]),
        np.concatenate([share[kept], parts]),
        np.concatenate([crossing[kept], np.ones(len(again), dtype=bool)]),
    )


def against_flow(part: Array, source: IntArray, target: IntArray, share: Array, level: IntArray) -> Array:
    """What a unit at each node comes to count, given what it counts where it is wanted.

    `part` (n,) or (n, q) says what.

    Links (k,) hand on `share` of what their sources send; every link goes to a higher `level` (n,).
    """
    part, of = part.copy(), level[source]
    order = np.argsort(of, kind="stable")
    bounds = np.searchsorted(of[order], np.arange(level.max(initial=0) + 2))
    for step in range(len(bounds) - 2, -1, -1):
        on = order[bounds[step] : bounds[step + 1]]
        np.add.at(part, source[on], (share[on] * part[target[on]].T).T)
    return part


def flow_levels(
    count: int, source: IntArray, target: IntArray, share: Array, crossing: NDArray[np.bool_]
) -> tuple[IntArray, IntArray, IntArray, Array, NDArray[np.bool_], tuple[IntArray, Array]]:
    """Longest-path levels; links of circles that nothing leaves, and below them, are cut and returned."""
    level = np.zeros(count, dtype=np.int64)
    order = np.argsort(source, kind="stable")
    source, target, share, crossing = source[order], target[order], share[order], crossing[order]
    first = np.searchsorted(source, np.arange(count + 1))
    waiting = np.bincount(target, minlength=count)
    front = np.flatnonzero(waiting == 0)
    done = np.zeros(count, dtype=bool)
    depth = 0
    while len(front):
        level[front] = depth
        done[front] = True
        number = first[front + 1] - first[front]
        links = np.repeat(first[front], number) + within(number)
        waiting -= np.bincount(target[links], minlength=count)
        reached = np.unique(target[links])
        front = reached[(waiting[reached] == 0) & ~done[reached]]
        depth += 1
    bad = ~done[target] & ~done[source]
    level[~done] = depth
    cut = (source[bad], share[bad])
    return level, source[~bad], target[~bad], share[~bad], crossing[~bad], cut
