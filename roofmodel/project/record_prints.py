"""Whether two records of load tests are one, by a few of their readings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

READINGS = 12  # of a record, evenly over it, that tell it from every other
SAME = 1e-4  # of the largest: a copy that went through other units


def record_print(displacement: Array, force: Array) -> dict[str, Any]:
    """A record's number of readings, and some of them, evenly over it. [m, N]."""
    at = np.linspace(0, len(force) - 1, READINGS).round().astype(int)
    return {
        "readings": len(force),
        "displacement": displacement[at].tolist(),
        "force": force[at].tolist(),
    }


def is_same_record(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two of `record_print` are of one record, also if a copy went through other units."""
    if one["readings"] != other["readings"]:
        return False
    for column in ("displacement", "force"):
        a, b = np.asarray(one[column], dtype=float), np.asarray(other[column], dtype=float)
        if len(a) != len(b) or not np.allclose(a, b, rtol=SAME, atol=SAME * np.abs(a).max(initial=0.0)):
            return False
    return True
