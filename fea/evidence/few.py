"""Shares from a finite number of samples: what more of them, or those that never came near, could change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import gamma

from fea.evidence.compare import NEAR, Told, Weighed, effective
from fea.evidence.explanations import Bank
from fea.evidence.grids import nearest
from fea.evidence.looks import TRACE

Array = NDArray[np.float64]

DRAWS = 400  # of the interval
MADE = ("pulled", "scatter", "depth")  # readings that an explanation itself makes; any can have any snow
MANY = 1000  # samples of which none read so leaves the next one no nearer to what was measured (judgment)
FEW = 20.0  # samples near what was found, below which the ranking is not to be trusted
END = 0.025  # chance beyond each end of the interval


def near_of(told: Sequence[Told], loose: float) -> list[NDArray[np.bool_]]:
    """Samples of each explanation within `NEAR` widths of what was found."""
    return [(one.square < (NEAR * loose) ** 2) & (one.far < NEAR**2).all(axis=1) for one in told]


def next_weights(told: Sequence[Told], banks: Sequence[Bank], weighed: Weighed) -> Array:
    """Weight that the next sample near could have, of each explanation.

    That of its own effective ones, or the importance weight of those of its samples that come nearest times
    what all that was found leaves of those near of any explanation, whichever is more, the latter no more
    than what was measured, and screws of splices, let its samples weigh. What rounds draw often
    weighs little: the weights of others say nothing of an explanation that has none near. 0 where nothing is
    near at all.
    """
    near = near_of(told, weighed.loose)
    close = [w * one for w, one in zip(weighed.weights, near, strict=True)]
    left = [np.divide(w, bank.weight, out=np.zeros_like(w), where=bank.weight > 0.0)
            for w, bank in zip(close, banks, strict=True)]  # fmt: skip
    total = sum(float(w.sum()) for w in close)
    if not total > 0.0:
        return np.zeros(len(banks))
    chance = sum(float(w @ k) for w, k in zip(close, left, strict=True)) / total
    screws = sum(float(w @ one.rails) for w, one in zip(close, told, strict=True)) / total
    found = []
    for bank, one, c in zip(banks, told, close, strict=True):
        own = nearest(bank.weight, one.log_chance)
        own = own if own.any() else bank.weight
        drawn = float(own @ bank.weight) / float(own.sum())
        found.append(max(_unit(c), drawn * chance * _most(one, screws), TRACE))
    return np.array(found)


def largest_shares(told: Sequence[Told], banks: Sequence[Bank], weighed: Weighed, prior: Array) -> Array:
    """Upper ends of the posteriors, the others as they are; 1 for all where nothing is near."""
    near = near_of(told, weighed.loose)
    mean, most = [], []
    for w, at, unit in zip(weighed.weights, near, next_weights(told, banks, weighed), strict=True):
        mean.append(float(w.mean()))
        most.append(mean[-1] + float(w.max()) / len(w))
        if unit > 0.0 and effective(w * at) < FEW:
            count = float((w * at).sum()) / unit
            most[-1] = max(most[-1], float(gamma.ppf(1.0 - END, count + 1.0)) * unit / len(w))
    others = (prior * mean).sum() - prior * mean
    return np.divide(prior * most, prior * most + others, out=np.ones_like(prior), where=others > 0.0)


@dataclass(frozen=True)
class Spread:
    """Weights of the explanations as other samples of the same number would give them.

    Attributes
    ----------
    least, most : (`DRAWS`, k) float
        Times the prior, from `drawn_again`.
    """

    least: Array
    most: Array

    def interval(self, groups: NDArray[np.bool_]) -> tuple[Array, Array]:
        """95 % ends (g,) of the posteriors of groups (g, k) of explanations.

        Each at its least with the others at their most, and the other way.
        """
        inside = groups.astype(float).T
        low, high = self.least @ inside, self.most @ inside
        under, over = self.most @ (1.0 - inside), self.least @ (1.0 - inside)
        return (
            np.quantile(low / np.maximum(low + under, TRACE), END, axis=0),
            np.quantile(high / np.maximum(high + over, TRACE), 1.0 - END, axis=0),
        )


def spread_of(
    told: Sequence[Told], banks: Sequence[Bank], weighed: Weighed, prior: Array, rng: np.random.Generator
) -> Spread:
    """What a finite number of samples leaves open."""
    near, units = near_of(told, weighed.loose), next_weights(told, banks, weighed)
    least, most = drawn_again(weighed.weights, near, units, rng)
    return Spread(prior * least, prior * most)


def drawn_again(
    weights: Sequence[Array], near: Sequence[NDArray[np.bool_]], units: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Means of the weights as other samples of the same number would give them, least and most.

    Samples are drawn anew with replacement. Where fewer than `FEW` effective ones come near, the next one is
    not among those that can be drawn: they are then a Poisson number, whose least and most are drawn from
    gamma distributions (Garwood 1936, Biometrika 28, from memory; Clopper and Pearson's for few of many), in
    `units` of `next_weights`.

    Returns
    -------
    least, most : (`DRAWS`, explanations) float
    """
    least, most = [], []
    for w, at, unit in zip(weights, near, units, strict=True):
        close = w * at
        if unit > 0.0 and effective(close) < FEW:
            count = float(close.sum()) / unit
            lower, upper = rng.gamma(count, size=DRAWS), rng.gamma(count + 1.0, size=DRAWS)
            rest = _means(w * ~at, rng)
            least.append(lower * unit / len(w) + rest)
            most.append(upper * unit / len(w) + rest)
        else:
            least.append(_means(w, rng))
            most.append(least[-1])
    return np.stack(least, axis=1), np.stack(most, axis=1)


def _means(weight: Array, rng: np.random.Generator) -> Array:
    """Means (`DRAWS`,) of weights drawn anew with replacement."""
    if not weight.any():
        return np.zeros(DRAWS)
    size, some = len(weight), weight[weight > 0.0]  # most samples weigh nothing: how many of the others come
    often = rng.binomial(size, len(some) / size, DRAWS)
    return np.array([some[rng.integers(0, len(some), n)].sum() / size for n in often])


def _unit(weight: Array) -> float:
    """Weight of one of the effective number of samples, 0 for none."""
    total = float(weight.sum())
    return float((weight**2).sum()) / total if total > 0.0 else 0.0


def _most(one: Told, rails: float) -> float:
    """Most that what was measured and screws of splices let any sample of an explanation weigh.

    Those `MADE` each by the nearest of `MANY` samples, whatever clamps they lost; counts over what they would
    if all were as told; screws by what the explanation can have, seen or not, over the mean `rails` of those
    near. Splices can be in any state in every explanation, however seldom.
    """
    far = [reading.far for reading in one.measures if reading.far is not None]
    counts = float(np.exp(-0.5 * np.sum(far, axis=0).min())) if far else 1.0
    others = [reading for reading in one.measures if reading.what in MADE]
    if others and one.some.sum() >= MANY:
        counts *= float(np.exp(-0.5 * sum(reading.square[one.some].min() for reading in others)))
    return counts * min(one.most_rails / max(rails, TRACE), 1.0)
