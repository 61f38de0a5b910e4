"""Which of alike attachments is named: never by the last digit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

EQUAL = 1e-9  # values that differ by less, over the larger, are equal


def first_largest(values: NDArray[np.float64]) -> int:
    """Place of the largest value in the flattened array, the first of those equal to rounding."""
    flat = np.ravel(values)
    top = flat.max()
    return int(np.argmax(flat >= (top - EQUAL * abs(top) if np.isfinite(top) else top)))


def first_largest_of_each(values: NDArray[np.float64]) -> NDArray[np.int64]:
    """`first_largest` of every row of (q, t) values, (q,)."""
    top = values.max(axis=1, keepdims=True)
    slack = np.where(np.isfinite(top), EQUAL * np.abs(top), 0.0)
    return np.argmax(values >= top - slack, axis=1)
