"""How well each explanation fits what was found, and what should be measured next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from fea.evidence.causes import AND, CHANGES, snow_of
from fea.evidence.compare import ENOUGH, NEAR, Found, Told, effective, told_of, weigh
from fea.evidence.explanations import Bank
from fea.evidence.families import Family, families_of
from fea.evidence.few import near_of, spread_of
from fea.evidence.looks import TRACE, beside, rail_states, splice_states
from fea.evidence.unexplained import Miss, misses_of, splice_misses
from fea.sampling.streams import stream
from roofmodel.layout import Layout

Array = NDArray[np.float64]

BINS = 24
RIM = (0.003, 0.997)  # of the samples' snow, between which it is looked for
SLIGHT = 1e-3  # weight over the largest that no quantile stands on
AT_RIM = 0.04  # of that range, from its ends
TELLS = 4.0  # effective samples below which the ends of the snow are not told


@dataclass(frozen=True)
class Fit:
    """One explanation against what was found.

    Attributes
    ----------
    cause : str
    prior, posterior : float
    low, high : float
        95 % interval of the posterior from the finite number of samples, with few or none of them near too.
    near : float
        Samples within `NEAR` widths of the kernel of what was found.
    mass : (3,) float
        5, 50 and 95 % of the snow over that of the case at which it fits, whatever snow is usual; NaN where
        nothing fits and at ends of which too few samples tell, infinite or 0 at an end that what was found
        does not bound (`load_range`).
    weight : (n,) float
        Of each sample.
    nearest : int
        Sample that differs least from what was found and measured, however often the like is drawn.
    loose : float
        Times as wide as the doubt that the kernel had to be for enough samples to come near.
    strict : float
        Effective samples of all explanations whose clamps come near without that; `ENOUGH` would do.
    tells : float
        Effective samples that tell of this explanation, by all that was found.
    unexplained : tuple of Miss
        What it does not lead to expect; empty also where too few samples tell, by the clamps alone too.
    """

    cause: str
    prior: float
    posterior: float
    low: float
    high: float
    near: float
    mass: Array
    weight: Array
    nearest: int = 0
    loose: float = 1.0
    strict: float = ENOUGH
    tells: float = np.inf
    unexplained: tuple[Miss, ...] = ()


@dataclass(frozen=True)
class Measurement:
    """What a further look at the roof would tell.

    Attributes
    ----------
    sign : str
        Key of `Bank.signs`.
    information : float
        Expected, over the explanations. [bit]
    """

    sign: str
    information: float


NOISE = {  # deviation of a measurement of each sign
    "snow": 0.15,
    "drift": 0.2,
    "uneven": 0.25,
    "standing": 0.08,
    "torn": 0.15,
    "loose": 0.03,
    "loose gone": 0.15,
    "never there": 0.4,
    "wrong": 0.03,
    "splice": 0.15,
    "splice screws": 0.15,
    "held elsewhere": 0.15,
    "ends": 0.4,
}


def fit(
    layout: Layout, found: Found, banks: Sequence[Bank], priors: Sequence[float], seed: int = 1
) -> tuple[Fit, ...]:
    """All explanations, the likeliest first."""
    return ranking_of(layout, found, banks, priors, seed)[0]


def ranking_of(
    layout: Layout, found: Found, banks: Sequence[Bank], priors: Sequence[float], seed: int = 1
) -> tuple[tuple[Fit, ...], tuple[Family, ...]]:
    """All explanations, and families of them, the likeliest first.

    The intervals are those of `fea.evidence.few.Spread`.
    """
    prior = np.asarray(priors, dtype=float) / np.sum(priors)
    told = [told_of(layout, found, bank) for bank in banks]
    weighed = weigh(told, banks, prior)
    weights, loose = weighed.weights, weighed.loose
    near = near_of(told, loose)
    mean = np.array([w.mean() for w in weights])
    posterior = _shared(prior * mean)
    spread = spread_of(told, banks, weighed, prior, stream(seed, 0, purpose=7))
    low, high = spread.interval(np.eye(len(banks), dtype=bool))
    fits = [
        Fit(
            bank.cause,
            float(prior[i]),
            float(posterior[i]),
            float(min(low[i], posterior[i])),
            float(max(high[i], posterior[i])),
            float(near[i].sum()),
            load_range(bank, weights[i]),
            weights[i],
            _nearest(told[i]),
            loose,
            weighed.strict,
            effective(weights[i]),
            (
                *_rail_misses(layout, found, bank, told[i], weighed.by_clamps[i]),
                *misses_of(
                    (*told[i].clamps, *told[i].measures),
                    bank.weight * told[i].splices * told[i].rails * told[i].some,
                    loose,
                    NEAR,
                    bank.weight * told[i].some,
                ),
                *splice_misses(
                    splice_states(layout, found.rails, bank), weighed.bare[i], weighed.by_clamps[i]
                ),
            ),
        )
        for i, bank in enumerate(banks)
    ]
    families = families_of(
        [bank.cause for bank in banks], posterior, np.array([one.sum() for one in near]), spread, weights
    )
    return tuple(sorted(fits, key=lambda one: -one.posterior)), families


def _rail_misses(layout: Layout, found: Found, bank: Bank, one: Told, by_clamps: Array) -> tuple[Miss, ...]:
    """Screws of splices and bends away from them that all else does not lead to expect."""
    weight = by_clamps * np.exp(-0.5 * one.far.sum(axis=1)) * one.splices
    states = rail_states(layout, found.splice_screws, found.spans, bank)
    return tuple(
        miss for what, each in states.items() for miss in splice_misses(each, weight, by_clamps, what)
    )


def _nearest(one: Told) -> int:
    return int(np.argmax(one.log_chance))


def _shared(value: Array) -> Array:
    total = value.sum(axis=-1, keepdims=True)
    even = np.full_like(value, 1.0 / value.shape[-1])
    return np.where(total > 0.0, value / np.where(total > 0.0, total, 1.0), even)


def load_range(bank: Bank, weight: Array) -> Array:
    """5, 50 and 95 % of the snow over that of the case, by what was found alone.

    The snow that is usual for an explanation is taken out again: all snow is as likely before, on a log
    scale, within what was sampled. An end that stands at the rim of that is open: 0 below, infinite above.
    Where few samples tell the ends are no nearer than Student's t of their logarithms; NaN for very few.
    """
    if not _usual_known(bank):
        return quantiles(bank.mass, weight)
    middle, spread = snow_of(bank.cause)
    low, high = np.quantile(np.log(bank.mass / middle) / spread, RIM)
    even = by_found_alone(bank, weight)
    count = effective(even)
    found = quantiles(bank.mass, even, count)
    if count < TELLS:
        return np.array([np.nan, found[1], np.nan])
    if np.sqrt(0.05 * 0.95 / count) + 0.5 / count > 0.05:  # an end is among the outermost samples or beyond
        found[[0, 2]] = _by_student(bank.mass, even, count, found)
    ends = np.log(np.where(found > 0.0, found, np.nan) / middle) / spread
    inside = AT_RIM * (high - low)
    if ends[0] < low + inside:
        found[0] = 0.0
    if ends[2] > high - inside:
        found[2] = np.inf
    return found


def _usual_known(bank: Bank) -> bool:
    return all(one in CHANGES for one in bank.cause.split(AND))


def by_found_alone(bank: Bank, weight: Array) -> Array:
    """Weights (n,) with the snow that is usual taken out, so that what was found alone says how much lay."""
    if not _usual_known(bank):
        return weight
    middle, spread = snow_of(bank.cause)
    z = np.log(bank.mass / middle) / spread
    low, high = np.quantile(z, RIM)
    return np.where((z >= low) & (z <= high), weight * np.exp(0.5 * z**2), 0.0)


def _by_student(value: Array, weight: Array, count: float, found: Array) -> Array:
    """5 and 95 % of lognormal values of which so many samples tell, no nearer than those `found` (3,)."""
    log, share = np.log(value), weight / weight.sum()
    mean = float(share @ log)
    deviation = np.sqrt(float(share @ (log - mean) ** 2) * count / (count - 1.0))
    out = student.ppf(0.95, count - 1.0) * deviation * np.sqrt(1.0 + 1.0 / count)
    return np.array([min(found[0], np.exp(mean - out)), max(found[2], np.exp(mean + out))])


def quantiles(value: Array, weight: Array, count: float = np.inf) -> Array:
    """5, 50 and 95 %; the outer ones by their standard error farther out if only so many samples tell."""
    total = float(weight.sum())
    if not total > 0.0:
        return np.full(3, np.nan)
    counts = weight > SLIGHT * weight.max()
    value, weight = value[counts], weight[counts] * (total / weight[counts].sum())
    order = np.argsort(value)
    share = (np.cumsum(weight[order]) - 0.5 * weight[order]) / total
    out = np.sqrt(0.05 * 0.95 / max(count, 1.0))
    return np.interp([0.05 - out, 0.5, 0.95 + out], share, value[order])


def _beside(layout: Layout | None, told: Sequence[int]) -> NDArray[np.bool_]:
    """Clamps (c + 1,) beside some splices; the last stands for no splice."""
    if layout is None:
        return np.zeros(1, dtype=bool)
    near = np.zeros(len(layout.clamp_row) + 1, dtype=bool)
    for clamp in told:  # a few
        near[:-1] |= beside(layout, clamp)
    return near


def further(
    fits: Sequence[Fit],
    banks: Sequence[Bank],
    layout: Layout | None = None,
    told: Sequence[int] = (),
    screws: Sequence[int] = (),
) -> tuple[Measurement, ...]:
    """Measurements by what they would tell apart, the best first.

    Expected information about the explanation: the mutual information of explanation and reading, from
    histograms of the weighted samples blurred by the reading's deviation. Splices next to the clamps `told`,
    and their screws next to the clamps `screws`, were looked at already: only those left can tell more.
    """
    by_cause = {bank.cause: bank for bank in banks}
    seen = {"splice": _beside(layout, told), "splice screws": _beside(layout, screws)}
    posterior = np.array([one.posterior for one in fits])
    found = []
    for sign, noise in NOISE.items():
        values = [by_cause[one.cause].signs[sign] for one in fits]
        if layout is not None and sign in seen:
            values = [
                np.where(seen[sign][by_cause[one.cause].parted], 0.0, value)
                for one, value in zip(fits, values, strict=True)
            ]
        low = min(float(v.min()) for v in values) - 3.0 * noise
        high = max(float(v.max()) for v in values) + 3.0 * noise
        edges = np.linspace(low, high, BINS * max(round((high - low) / (6.0 * noise)), 1) + 1)
        middle = 0.5 * (edges[1:] + edges[:-1])
        blur = np.exp(-0.5 * ((middle[:, None] - middle) / noise) ** 2)
        blur /= blur.sum(axis=0)
        shares = []
        for value, one in zip(values, fits, strict=True):
            total = one.weight.sum()
            weight = one.weight / total if total > 0.0 else np.full(len(value), 1.0 / len(value))
            shares.append(blur @ np.histogram(value, edges, weights=weight)[0])
        p = np.array(shares)
        all_ = posterior @ p
        ratio = np.log2(np.maximum(p, TRACE) / np.maximum(all_, TRACE))
        found.append(Measurement(sign, float(max((posterior[:, None] * p * ratio).sum(), 0.0))))
    return tuple(sorted(found, key=lambda one: -one.information))
