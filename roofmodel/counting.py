"""Numbers of things that come in groups, all groups at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def within(count: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number of each thing in its own group: 0, 1, ... for every group in turn.

    Parameters
    ----------
    count : (g,) int
        Things of each group, none or more.

    Returns
    -------
    (count.sum(),) int
    """
    return np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
