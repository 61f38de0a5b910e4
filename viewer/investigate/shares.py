"""Shares of explanations in words."""

from __future__ import annotations

import numpy as np

from fea.evidence.families import Family
from fea.evidence.few import FEW
from fea.evidence.fit import Fit

CERTAIN, NEARLY = 0.9, 0.995
NOTHING, SMALL = 0.005, 0.1  # shares that round to 0 %, and that few samples do not tell from it


def share(one: Fit | Family, by: str = "") -> str:
    """A posterior with its interval, and by what that is; where next to nothing is known, only a bound."""
    few = one.near < FEW
    least = one.low < NOTHING and one.posterior < (SMALL if few else NOTHING)
    if not one.near or least:
        return f"below {_bound(100.0 * max(one.high, 0.001))} %"
    if one.posterior >= NEARLY and one.low >= CERTAIN and not few:
        return f"above {min(np.floor(1000.0 * one.low) / 10.0, 99.9):g} %"
    words = f"{by}{', few samples' if few else ''}"
    low, middle, high = (f"{100.0 * value:.0f}" for value in (one.low, one.posterior, one.high))
    if low == high:  # a digit more where one says nothing
        low, middle, high = (f"{100.0 * value:.1f}" for value in (one.low, one.posterior, one.high))
    return f"{middle} % ({low} to {high} %{words})"


def _bound(value: float) -> str:
    """Two digits, rounded up."""
    step = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return f"{np.ceil(value / step - 1e-9) * step:.2g}" if value < 99.0 else "100"
