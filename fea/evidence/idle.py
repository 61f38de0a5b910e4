"""Parts of an explanation that lie far from all that gave way.

A flaw far from every clamp that came off explains nothing: such a sample went as the roof without it goes. It
counts for no explanation, so that a share says how likely something did it, not how likely it lies somewhere
on the roof; what went so without it is among the samples of what is left.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fea.evidence.aim import REACH


def idle_parts(
    acts: Sequence[NDArray[np.bool_] | None], gave_way: NDArray[np.bool_], row: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Which of the parts of an explanation lie far from every clamp that gave way, (n, p).

    Parameters
    ----------
    acts : sequence of (n, c) bool or None
        Clamps at which each changes something; None for everywhere.
    gave_way : (n, c) bool
    row : (c,) int
        Clamps within `REACH` of their row are near; none are idle where nothing gave way.
    """
    near = gave_way.copy()
    for far in range(1, REACH + 1):
        same = row[far:] == row[:-far]
        near[:, far:] |= gave_way[:, :-far] & same
        near[:, :-far] |= gave_way[:, far:] & same
    some = np.asarray(gave_way.any(axis=1))
    none = np.zeros_like(some)
    idle = [none if one is None else some & ~(one & near).any(axis=1) for one in acts]
    return np.stack(idle, axis=1)
