"""Clamps that samples lost, and the clamps of what was found for which they stand."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]


def stands_for(row: IntArray, seen: NDArray[np.bool_], made: NDArray[np.bool_]) -> tuple[IntArray, IntArray]:
    """Which clamp of what was found each clamp of a sample stands for, and the other way round, both (n, c).

    A sample that lost its clamps a few seams farther on, or some more or fewer of them, is near all the same.
    So the clamps of a row that it lost (`made`, (n, c)) stand for those that were found so (`seen`, (c,)) by
    their place among them; all others, and rows of which either lost none, for themselves.
    """
    n, c = made.shape
    to, back = np.tile(np.arange(c), (n, 1)), np.tile(np.arange(c), (n, 1))
    for r in np.unique(row[seen]):  # few
        own, there = np.flatnonzero(row == r), np.flatnonzero(seen & (row == r))
        lost = made[:, own]
        count, rank = lost.sum(axis=1, keepdims=True), np.cumsum(lost, axis=1) - 1
        which = (2 * rank + 1) * len(there) // np.maximum(2 * count, 1)
        to[:, own] = np.where(lost, there[np.clip(which, 0, len(there) - 1)], own)
        first = own[np.argsort(~lost, axis=1, kind="stable")]  # those that were lost, from the left
        which = (2 * np.arange(len(there)) + 1) * count // (2 * len(there))
        back[:, there] = np.where(count > 0, np.take_along_axis(first, which, axis=1), there)
    return to, back


def missing_as_found(
    missing: NDArray[np.bool_], seen: NDArray[np.bool_], to: IntArray, back: IntArray
) -> NDArray[np.bool_]:
    """Clamps that were never there in samples (n, c), where they were found; see `stands_for`.

    A clamp found gone was never there if the one it stands for was not, or one that stands for it.
    """
    found = np.take_along_axis(missing, back, axis=1) & seen
    sample, clamp = np.nonzero(missing)
    found[sample, to[sample, clamp]] = True
    return np.asarray(found)
