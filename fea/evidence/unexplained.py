"""What an explanation leaves unexplained: each thing found against what all the others lead to expect.

One reading at a time is left out, the samples of an explanation are weighted by all the others, and what they
then say of this one is compared with what was found (cross-validated predictive check; Marshall and
Spiegelhalter 2003, Stat. Med. 22, from memory). An explanation can rank first because the others fit still
worse: this says where it does not fit either, as where two things were wrong at once. Where all the others
leave too few samples, a reading is held against what the clamps alone lead to expect: less is known then, so
that less is out of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]

UNLIKELY = 0.02  # chance of a reading as far out, both ways, at or below which it is unexplained
RARE = 0.05  # of a splice found so, over its likeliest state: found parted where none parts is 0.01 to 0.03
RARE_LOOK = 0.06  # the same of screws and bends, told wrong in 5 % where nobody says how often
TOLD_BY = 15.0  # effective samples that can tell


@dataclass(frozen=True)
class Reading:
    """One thing that was found.

    Attributes
    ----------
    what : str
        Such as "count", "middle", "load" or "splice".
    about : str
        Row, place or group; empty for the whole roof.
    value : (n,) float
        Of the samples; NaN where a sample says nothing of it.
    told : float
        What was found.
    wide : float
        Its deviation.
    loosened : bool
        Whether it is compared as loosely as the clamps are.
    far : (n,) float or None
        Squared distances where they are not those of a normal deviation.
    """

    what: str
    about: str
    value: Array
    told: float
    wide: float
    loosened: bool
    far: Array | None = None

    @property
    def square(self) -> Array:
        """Squared distances (n,), in deviations; 0 where a sample says nothing."""
        if self.far is not None:
            return self.far
        return np.where(np.isnan(self.value), 0.0, ((self.value - self.told) / self.wide) ** 2)


@dataclass(frozen=True)
class Miss:
    """A reading that an explanation does not lead to expect.

    Attributes
    ----------
    what, about : str
        As `Reading`.
    told : float
        NaN for a splice, its screws or a span, as what it should be.
    low, high : float
        What the explanation leads to expect instead, 5 to 95 %.
    chance : float
        Of a reading as far out, both ways; of a splice found so.
    alone : bool
        Whether it is held against what the clamps alone lead to expect.
    """

    what: str
    about: str
    told: float
    low: float
    high: float
    chance: float
    alone: bool = False


def misses_of(
    readings: Sequence[Reading], weight: Array, loose: float, near: float, plain: Array | None = None
) -> tuple[Miss, ...]:
    """Readings that an explanation leaves unexplained, the worst first.

    Parameters
    ----------
    readings : sequence of Reading
    weight : (n,) float
        Of the samples, by all but the readings.
    loose : float
        How loosely clamps are compared.
    near : float
        Distance beyond which no sample counts, in deviations.
    plain : (n,) float or None
        Of the samples, by nothing that was found besides the clamps; `weight` if not given.
    """
    plain = weight if plain is None else plain
    clamps = sum((one.square for one in readings if one.loosened), start=np.zeros_like(weight))
    others = sum((one.square for one in readings if not one.loosened), start=np.zeros_like(weight))
    found = []
    for one in readings:  # a dozen
        rest = clamps - one.square if one.loosened else clamps
        free = others if one.loosened else others - one.square
        there = (rest < (near * loose) ** 2) & ~np.isnan(one.value)
        by_clamps = np.where(there, np.exp(-0.5 * rest / loose**2), 0.0)
        chosen = _told(weight * by_clamps * np.exp(-0.5 * free), plain * by_clamps)
        if chosen is None:
            continue
        w, alone = chosen
        total = float(w.sum())
        value = np.where(there, one.value, 0.0)
        below = float(w @ ndtr((one.told - value) / one.wide)) / total
        chance = 2.0 * min(below, 1.0 - below)
        if chance <= UNLIKELY:
            low, high = _spread(value[there], w[there] / total, one.wide)
            found.append(Miss(one.what, one.about, one.told, low, high, chance, alone))
    return tuple(sorted(found, key=lambda miss: miss.chance))


def _told(*weights: Array) -> tuple[Array, bool] | None:
    """The first of some weights (n,) by which `TOLD_BY` samples tell, and whether it is a later one."""
    for number, one in enumerate(weights):  # two
        total = float(one.sum())
        if total > 0.0 and total**2 >= TOLD_BY * float((one**2).sum()):
            return one, number > 0
    return None


def splice_misses(
    states: Sequence[tuple[str, dict[str, Array], Array]],
    weight: Array,
    by_clamps: Array | None = None,
    what: str = "splice",
) -> tuple[Miss, ...]:
    """Splices found as all else does not lead to expect, by how often each is found so.

    Parameters
    ----------
    states : sequence of (str, dict of str to (n,) float, (n,) float)
        How each splice was found, the chance of each state in each sample, and the weights of the samples by
        the other splices.
    weight : (n,) float
        By all else.
    by_clamps : (n,) float or None
        By the clamps alone, where all else leaves too few.
    what : str
        What the states are of: "splice", its "screws", or a "span" of rail.
    """
    found = []
    for number, (state, chances, others) in enumerate(states):
        chosen = _told(weight * others, *(() if by_clamps is None else (by_clamps,)))
        if chosen is None:
            continue
        w, alone = chosen
        total = float(w.sum())
        share = {name: float(w @ chance) / total for name, chance in chances.items()}
        rare = RARE if what == "splice" else RARE_LOOK
        if share[state] <= rare * max(share.values()):
            found.append(Miss(what, str(number), np.nan, np.nan, np.nan, share[state], alone))
    return tuple(found)


def _spread(value: Array, share: Array, wide: float) -> tuple[float, float]:
    """5 and 95 % of readings of weighted samples, each as wide as the doubt."""
    at = np.linspace(value.min() - 3.0 * wide, value.max() + 3.0 * wide, 400)
    # Bins first: samples are many, readings few.
    count, edges = np.histogram(value, 400, weights=share)
    middle = 0.5 * (edges[1:] + edges[:-1])
    below = ndtr((at[:, None] - middle) / wide) @ count
    low, high = np.interp([0.05, 0.95], below, at)
    return float(low), float(high)
