"""Explanations taken together: what can be settled before which of several alike it was is.

Two explanations of one kind can share what fits while neither leads: more snow and its drift, or a splice
that parted and one without screws. A consultant has an answer then all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.evidence.causes import AND, AS_DESIGNED, OF_SNOW, OPEN_SPLICE
from fea.evidence.compare import effective
from fea.evidence.few import Spread

SNOW_ALONE = "snow alone"


@dataclass(frozen=True)
class Family:
    """Explanations together.

    Attributes
    ----------
    name : str
        `SNOW_ALONE`, "open splice" or "clamps"; or a single explanation, for it and all pairs with it.
    causes : tuple of str
    posterior, low, high, near : float
        As of a `fea.evidence.fit.Fit`. A pair is in two families.
    tells : float
        Effective samples that tell of all of them together.
    """

    name: str
    causes: tuple[str, ...]
    posterior: float
    low: float
    high: float
    near: float
    tells: float = np.inf


def families_of(
    causes: Sequence[str],
    posterior: NDArray[np.float64],
    near: NDArray[np.float64],
    spread: Spread,
    weights: Sequence[NDArray[np.float64]],
) -> tuple[Family, ...]:
    """Families of more than one explanation, the likeliest first.

    Parameters
    ----------
    causes : sequence of str
    posterior, near : (k,) float
    spread : Spread
    weights : sequence of (n,) float
        Of the samples of each.
    """
    parts = [set(one.split(AND)) for one in causes]
    snow = {*OF_SNOW, AS_DESIGNED}
    groups = {
        SNOW_ALONE: [one <= snow for one in parts],
        "open splice": [bool(one & set(OPEN_SPLICE)) for one in parts],
        "clamps": [bool(one - snow - set(OPEN_SPLICE)) for one in parts],
        **{name: [name in one for one in parts] for name in causes if AND not in name},
    }
    groups = {name: inside for name, inside in groups.items() if sum(inside) > 1}
    if not groups:
        return ()
    inside = np.array(list(groups.values()))
    share = inside @ posterior
    low, high = spread.interval(inside)
    found = [
        Family(
            name,
            tuple(cause for cause, there in zip(causes, own, strict=True) if there),
            float(middle),
            float(min(under, middle)),
            float(max(over, middle)),
            float(own @ near),
            _together(posterior, own, weights),
        )
        for name, own, middle, under, over in zip(groups, inside, share, low, high, strict=True)
    ]
    return tuple(sorted(found, key=lambda one: -one.posterior))


def _together(
    posterior: NDArray[np.float64], own: NDArray[np.bool_], weights: Sequence[NDArray[np.float64]]
) -> float:
    """Effective number of the samples of several explanations together, by their posteriors."""
    parts = [
        share * w / w.sum()
        for share, there, w in zip(posterior, own, weights, strict=True)
        if there and w.sum() > 0.0
    ]
    return effective(np.concatenate(parts)) if parts else 0.0
