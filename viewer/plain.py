"""Results as plain values that JSON can hold."""

from __future__ import annotations

import math
from typing import Any

import numpy as np


def plain_data(value: Any) -> Any:
    """Plain JSON values; NaN and infinity become null."""
    if isinstance(value, dict):
        return {key: plain_data(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain_data(item) for item in value]
    if isinstance(value, np.ndarray):
        return plain_data(value.tolist())
    if isinstance(value, np.generic):
        return plain_data(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
