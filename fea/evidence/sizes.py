"""How large a cause must have been to fit: what of it the samples near what was found tell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.evidence.compare import effective
from fea.evidence.explanations import Bank
from fea.evidence.fit import TELLS, Fit, by_found_alone, quantiles

Array = NDArray[np.float64]

SIZES = {  # what an explanation changes and the snow above what came off, with the unit of each
    "weak clamps": "clamps",
    "weak hold": "share",
    "weak together": "chance",
    "loose clamps": "clamps",
    "loose hold": "share",
    "loose together": "chance",
    "missing clamps": "clamps",
    "heap top": "times",
    "heap along": "m",
    "heap one row": "chance",
    "wrong clamps": "clamps",
    "wrong hold": "share",
    "pry hold": "share",
    "drift": "times",
    "ends": "times",
    "held elsewhere": "share",
    "snow torn": "snow",
    "snow torn most": "snow",
}


@dataclass(frozen=True)
class Size:
    """One size of an explanation.

    Attributes
    ----------
    name : str
        Key of `SIZES`.
    low, middle, high : float
        5, 50 and 95 % of the weighted samples; of a chance the middle alone. NaN where too few tell.
    """

    name: str
    low: float
    middle: float
    high: float


def sizes_of(bank: Bank, one: Fit) -> tuple[Size, ...]:
    """Sizes of an explanation at which it fits; snow by what was found alone, as `load_range`."""
    found = []
    snow = by_found_alone(bank, one.weight)
    for name, unit in SIZES.items():
        if name not in bank.sizes:
            continue
        value, weight = bank.sizes[name], snow if unit == "snow" else one.weight
        there = ~np.isnan(value) & (weight > 0.0)
        value, weight = value[there], weight[there]
        count = effective(weight)
        if not count:
            found.append(Size(name, np.nan, np.nan, np.nan))
        elif unit == "chance":
            found.append(Size(name, np.nan, float(weight @ value / weight.sum()), np.nan))
        else:
            low, middle, high = (float(v) for v in quantiles(value, weight, count))
            few = count < TELLS
            found.append(Size(name, np.nan if few else low, middle, np.nan if few else high))
    return tuple(found)
