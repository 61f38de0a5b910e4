"""Stations too short to tell a force per meter: they share theirs with the station beside them.

Corners that a file rounds, or a survey shakes, leave strips a hair wide. What such a strip brings is right in
newtons, but over its own width it is no load: nothing on a roof is that exact.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SHORT = 5e-3  # shorter stations share with their neighbor (judgment); meshes are coarser [m]


def evened(row: IntArray, span: Array, values: Array) -> Array:
    """Values on stations (k, ...), each short one's spread evenly over itself and the station before it.

    The first of a row shares with the one after it. Sums over each row stay as they are.

    Parameters
    ----------
    row : (k,) int
        Sorted.
    span : (k, 2) float
        Ends along the row, sorted within it. [m]
    values : (k, ...) float
        Such as forces. [N]
    """
    length = span[:, 1] - span[:, 0]
    short = length < SHORT
    if not short.any():
        return values
    same = np.r_[False, row[1:] == row[:-1]]
    joins = same & short
    first = np.flatnonzero(~joins)
    alone = np.logical_and.reduceat(short, first)  # short ones at the start of a row
    joins[first[1:]] = same[first[1:]] & alone[:-1]
    first = np.flatnonzero(~joins)
    group = np.cumsum(~joins) - 1
    share = length / np.add.reduceat(length, first)[group]
    spread = np.add.reduceat(values, first)[group] * share.reshape(-1, *np.ones(values.ndim - 1, dtype=int))
    several = np.bincount(group)[group] > 1
    return np.asarray(np.where(several.reshape(-1, *np.ones(values.ndim - 1, dtype=int)), spread, values))
