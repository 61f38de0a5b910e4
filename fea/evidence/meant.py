"""When the roof would have lost its clamps as it was meant to be."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.evidence.causes import Roof
from fea.failure.cascade import cascade

Array = NDArray[np.float64]

HIGHEST = 20.0  # times the snow of the case that are looked at


def as_meant(roof: Roof, over: Array | None = None) -> float:
    """Snow without drift, over that of the case, at which the first clamp gives way on the roof as meant.

    Every clamp is there at its mean strength, no bond holds, and row ends collect all they can; infinite
    where nothing gives way up to `HIGHEST` times the snow of the case. Where depth along a row was entered
    (`over` (c,), over even snow; else NaN) it pulls in place of the drift, as heaps of samples do.
    """
    case = roof.case
    found = cascade(case.roof, case.held, _load(roof, over), case.capacity, case.residual, target=HIGHEST)
    return float(found.first[0])


def meant_at(roof: Roof, over: Array) -> Array:
    """As `as_meant`, of each clamp alone while all others hold, (c,); infinite where snow does not pull."""
    case, load = roof.case, _load(roof, over)
    held = np.sign(load) * case.held
    left = np.maximum(case.capacity - held, 0.0)
    return np.divide(left, np.abs(load), out=np.full(len(load), np.inf), where=np.abs(load) > 0.0)


def _load(roof: Roof, over: Array | None) -> Array:
    """Pull of the snow of the case on each clamp, (c,). [N]."""
    still, drift = roof.case.usual_snow
    even = still + drift
    return np.asarray(even if over is None else np.where(np.isnan(over), even, np.nan_to_num(over) * still))
