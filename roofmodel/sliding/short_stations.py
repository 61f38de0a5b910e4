"""Stations too short to tell a force per meter: they share theirs with a little of the station beside them.

Corners that a file rounds, or a survey shakes, leave strips a hair wide. What such a strip brings is right in
newtons, but over its own width it is no load: nothing on a roof is that exact. A stream may come down one,
so its place counts too: it moves by half of `REACH` at most.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SHORT = 5e-3  # shorter stations share with their neighbor (judgment); meshes are coarser [m]
REACH = 0.1  # with so much of it (judgment) [m]


def evened(row: IntArray, span: Array, values: Sequence[Array]) -> tuple[Array, list[Array]]:
    """Spans and values of stations (k, ...), short ones longer by `REACH` of the station before them.

    Those that begin a row take it from the one after them. A neighbor that has no more than that is shared
    evenly. Sums over each row stay as they are, and so does the number of stations.

    Parameters
    ----------
    row : (k,) int
        Sorted.
    span : (k, 2) float
        Ends along the row, sorted within it. [m]
    values : sequence of (k, ...) float
        Such as forces. [N]
    """
    length = span[:, 1] - span[:, 0]
    short = length < SHORT
    if not short.any():
        return span, list(values)
    same = np.r_[False, (row[1:] == row[:-1]) & (span[1:, 0] - span[:-1, 1] < SHORT)]
    joins = same & short
    first = np.flatnonzero(~joins)
    alone = np.logical_and.reduceat(short, first)  # short ones at the start of a row
    joins[first[1:]] = same[first[1:]] & alone[:-1]
    first = np.flatnonzero(~joins)
    group = np.cumsum(~joins) - 1
    long = np.full(len(first), -1)
    long[group[~short]] = np.flatnonzero(~short)
    of = long[group]
    side = 2 * group + (np.arange(len(row)) > of)  # shorts before and after their long one
    narrow = np.zeros(2 * len(first))
    np.add.at(narrow, side[short], length[short])
    sides = np.asarray((narrow.reshape(-1, 2) > 0.0).sum(axis=1), dtype=np.int64)[group]
    small = (of < 0) | (length[of] <= (1.0 + 1e-9) * sides * REACH)
    grows = short & ~small
    ends = span.copy()
    at = of[grows]
    after = np.flatnonzero(grows) > at
    touch, fixed = np.where(after, span[at, 1], span[at, 0]), np.zeros(2 * len(first))
    last = np.r_[first[1:], len(row)] - 1
    fixed[0::2], fixed[1::2] = span[first, 0], span[last, 1]
    base = fixed[side[grows]]
    factor = 1.0 + REACH / np.abs(touch - base)
    ends[grows] = base[:, None] + (span[grows] - base[:, None]) * factor[:, None]
    shrinks = ~short & ~small
    ends[shrinks] += REACH * (narrow.reshape(-1, 2)[group[shrinks]] > 0.0) * [1.0, -1.0]
    return ends, [
        _shared(one, length, (group, first, small), (of, side, narrow, sides, grows)) for one in values
    ]


def _shared(
    values: Array,
    length: Array,
    groups: tuple[IntArray, IntArray, NDArray[np.bool_]],
    sides_of: tuple[IntArray, IntArray, Array, IntArray, NDArray[np.bool_]],
) -> Array:
    """Values on the new spans of `evened`."""
    (group, first, small), (of, side, narrow, sides, grows) = groups, sides_of

    def column(x: Array | NDArray[np.bool_]) -> NDArray[Any]:
        return x.reshape(-1, *np.ones(values.ndim - 1, dtype=int))

    spread = np.add.reduceat(values, first)[group] * column(length / np.add.reduceat(length, first)[group])
    kept = values * column(1.0 - np.where(small, 0.0, sides * REACH / length[of]))
    brought = np.zeros((len(narrow), *values.shape[1:]))
    np.add.at(brought, side[grows], values[grows])
    taken = values[of] * column(REACH / length[of])
    own = np.divide(length, narrow[side], out=np.zeros(len(length)), where=narrow[side] > 0.0)
    several = np.bincount(group)[group] > 1
    mixed = np.where(column(grows), (brought[side] + taken) * column(own), kept)
    return np.asarray(np.where(column(small), np.where(column(several), spread, values), mixed))
