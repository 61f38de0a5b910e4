"""Whether two records of load tests are one, by forces at fixed shares of the way to their peak."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NEAR = 0.98  # of the largest force, up to which a record is looked at
PLACES = 12  # up to there, evenly by displacement, whose forces tell a record from every other
SAME = 1e-4  # of the largest: a copy that went through other units
NEARLY = 5e-3  # of the largest: a copy that was cut off, thinned out or scaled a little (judgment)


def record_print(displacement: Array, force: Array) -> dict[str, Any]:
    """Where a record first comes near its largest force, and its force on even shares of the way. [m, N].

    What comes later and how many readings there are say nothing of whose record it is, and where a flat top
    is highest hangs on its last digits.
    """
    near = int(np.argmax(force >= NEAR * force.max()))
    way = np.maximum.accumulate(displacement[: near + 1])  # gauges jitter
    way, first = np.unique(way, return_index=True)
    most = np.maximum.reduceat(force[: near + 1], first)
    at = way[0] + np.arange(1, PLACES + 1) / PLACES * (way[-1] - way[0])
    return {"near_peak_at": float(way[-1]), "force": np.interp(at, way, most).tolist()}


def is_same_record(one: Mapping[str, Any], other: Mapping[str, Any], within: float = SAME) -> bool:
    """Whether two of `record_print` are of one record, within a share of force and displacement."""
    a, b = (np.asarray(some["force"], dtype=float) for some in (one, other))
    ends = np.array([one["near_peak_at"], other["near_peak_at"]])
    if len(a) != len(b) or abs(np.diff(ends)[0]) > within * np.abs(ends).max():
        return False
    return bool(np.abs(a - b).max() <= within * max(np.abs(a).max(), np.abs(b).max()))
