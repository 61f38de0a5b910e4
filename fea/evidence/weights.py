"""Weight of the snow above each clamp, of what feeds its row."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.failure.study import RoofCase

Array = NDArray[np.float64]


def clamp_weights(case: RoofCase, row: NDArray[np.int64]) -> Array:
    """Snow above each clamp up to the next row or the ridge, without drift and the drift, (2, c). [N].

    Even snow of a row is shared evenly by its clamps, drift as its force reaches them.
    """
    rows = case.weight.shape[1]
    drift = np.maximum(case.usual_snow[1], 0.0)
    share = np.stack([np.ones(len(row)), drift])
    total = np.stack([np.bincount(row, one, minlength=rows) for one in share])
    share[1] = np.where(total[1, row] > 0.0, share[1], 1.0)  # none reaches any: evenly
    total[1] = np.bincount(row, share[1], minlength=rows)
    return np.asarray(case.weight[:, row] * share / total[:, row])
