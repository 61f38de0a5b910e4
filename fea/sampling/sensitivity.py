"""Which uncertain input the scatter of a result comes from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEAST = 20  # samples of one slice


@dataclass(frozen=True)
class Share:
    """Share of a result's variance that one input explains alone, with its standard error."""

    name: str
    value: float
    error: float


def correlation_ratios(names: tuple[str, ...], values: Array, result: Array) -> tuple[Share, ...]:
    """First-order shares from samples that are there anyway: variance of the means of slices.

    Parameters
    ----------
    names : tuple of str, (d,)
    values : (n, d) float
        Inputs of the samples.
    result : (n,) float

    Returns
    -------
    tuple of Share
        The strongest first.

    Notes
    -----
    Slices of equal count by the rank of the input; the variance within them that their finite number leaves
    is taken off (Pearson's correlation ratio with the correction of Kelley 1935).
    """
    n = len(result)
    slices = max(min(round(n ** (1.0 / 3.0)), n // LEAST), 2)
    total = result.var(ddof=1)
    if n < 2 * LEAST or total <= 0.0:
        return tuple(Share(name, 0.0, np.nan) for name in names)
    rank = np.argsort(np.argsort(values, axis=0, kind="stable"), axis=0, kind="stable")
    place = rank * slices // n
    found = []
    for i, name in enumerate(names):  # one pass for each input
        count = np.bincount(place[:, i], minlength=slices)
        mean = np.bincount(place[:, i], result, minlength=slices) / count
        within = float(((result - mean[place[:, i]]) ** 2).sum()) / (n - slices)
        value = float(np.clip(1.0 - within / total, 0.0, 1.0))
        found.append(Share(name, value, float(np.sqrt(2.0 / (n - slices)) * (1.0 - value))))
    return tuple(sorted(found, key=lambda one: -one.value))
