"""Explanations of which few samples or none come near: their shares have the bounds of a Poisson number."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fea.evidence.compare import Weighed
from fea.evidence.few import DRAWS, _means, largest_shares, spread_of

PRIOR = np.array([0.5, 0.5])


def against(hits: int, weight: float = 1.0, n: tuple[int, int] = (9000, 6000)):
    """A: a third near, each drawn so often that it weighs 0.01. B: samples that each weigh `weight`."""
    near = [np.arange(size) < count for size, count in zip(n, (n[0] // 3, hits), strict=True)]
    told = [
        SimpleNamespace(
            square=np.where(one, 0.0, 100.0), far=np.zeros((len(one), 0)), measures=(),
            log_chance=np.where(one, 0.0, -50.0), splices=np.ones(len(one)),
            rails=np.ones(len(one)), most_rails=1.0,
        )
        for one in near
    ]  # fmt: skip
    banks = [
        SimpleNamespace(weight=np.where(near[0], 0.01, 1.495)),
        SimpleNamespace(weight=np.full(n[1], weight)),
    ]
    weights = [bank.weight * one for bank, one in zip(banks, near, strict=True)]
    return told, banks, Weighed(weights, [], [], 1.0, 100.0)


def test_none_near_is_bounded_by_its_own_weights_not_by_those_of_what_rounds_draw_often():
    """Garwood's 97.5 % of none is -ln 0.025 = 3.69 samples, each of weight 1: 15.6 %."""
    told, banks, weighed = against(0)
    mean = 3000 * 0.01 / 9000
    most = -np.log(0.025) / 6000
    assert most / (most + mean) == pytest.approx(0.156, abs=0.001)
    _, high = spread_of(told, banks, weighed, PRIOR, np.random.default_rng(1)).interval(np.eye(2, dtype=bool))
    assert high[1] == pytest.approx(most / (most + mean), rel=0.25)
    assert largest_shares(told, banks, weighed, PRIOR)[1] == pytest.approx(most / (most + mean), rel=1e-3)
    often = against(0, 0.01)  # drawn as often as those of A: they weigh as little
    assert largest_shares(*often, PRIOR)[1] == pytest.approx(most / (most + 100.0 * mean), rel=1e-3)


def test_intervals_hold_the_truth_though_often_none_comes_near():
    """2 of 600 in the mean: 0 in 13 %; 95 % intervals hold the true share in at least 92 % of 120 runs."""
    rng, chance = np.random.default_rng(2), 2.0 / 600
    true = chance / (chance + 0.01 / 3.0)
    inside = []
    for _ in range(120):
        spread = spread_of(*against(int(rng.poisson(600 * chance)), n=(900, 600)), PRIOR, rng)
        low, high = spread.interval(np.eye(2, dtype=bool))
        inside.append(low[1] <= true <= high[1])
    assert np.mean(inside) > 0.92


def test_means_drawn_again_scatter_as_those_of_all_samples_do():
    """Only samples that weigh are drawn, as many as come: a bootstrap's mean and variance over n."""
    rng = np.random.default_rng(4)
    weight = np.where(rng.random(5000) < 0.02, rng.exponential(size=5000), 0.0)
    drawn = _means(weight, rng)
    error = weight.std() / np.sqrt(5000)
    assert drawn.mean() == pytest.approx(weight.mean(), abs=4.0 * error / np.sqrt(DRAWS))
    assert drawn.std() == pytest.approx(error, rel=0.15)


def test_what_no_sample_of_a_cause_held_when_pulled_bounds_it():
    """B's clamps held far less than was pulled: its next sample weighs no more than its nearest would."""
    told, banks, weighed = against(0)
    high = {}
    for far in (0.0, 4.0):
        reading = SimpleNamespace(what="pulled", far=None, square=np.full(6000, far))
        told[1].measures, told[1].some = (reading,), np.ones(6000, dtype=bool)
        high[far] = float(largest_shares(told, banks, weighed, PRIOR)[1])
    odds = {far: one / (1.0 - one) for far, one in high.items()}
    assert odds[4.0] == pytest.approx(np.exp(-2.0) * odds[0.0], rel=1e-6)
