"""The chance that a row lets go against closed forms, and the same numbers on any number of threads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from fea.failure.assembled import assembly
from fea.failure.study import RoofCase, Scatter, chance_of_failure, sample_batch
from fea.sampling.variables import Shape, Variable, make_inputs
from tests.failure.chains import rigid_row

SNOW = make_inputs([Variable("depth", Shape.LOGNORMAL, 1.0, 0.3)])
STILL = make_inputs([Variable("depth", Shape.FIXED, 1.0)])


def bar(n: int, strength: float) -> RoofCase:
    Z, H = rigid_row(n)
    roof = assembly(Z, np.zeros(n, dtype=int), 1.0, 1e-14 * n)
    snow = np.stack([H @ np.ones(n), np.zeros(n)])[None]
    still = np.zeros(n)
    return RoofCase(roof, still, snow, np.zeros(1), 0.0, np.full(n, strength), still)


def test_load_and_strength_of_one_batch_are_a_lognormal_margin():
    """All clamps alike (together = 1): ln R - ln S is normal (textbook first-order case, exact here)."""
    found = chance_of_failure(bar(3, 1.6), Scatter(SNOW, strength=0.2, together=1.0), 40_000)
    a, b = np.log1p(0.3**2), np.log1p(0.2**2)
    exact = stats.norm.sf((np.log(1.6) - 0.5 * b + 0.5 * a) / np.sqrt(a + b))
    assert found.low < exact < found.high
    assert found.high - found.low < 0.1 * exact


def test_missing_and_loose_clamps_by_counting():
    """Five on a rigid bar at 1 each: 1.6 holds without one, not without two (5/3)."""
    found = chance_of_failure(bar(5, 1.6), Scatter(STILL, missing=0.1), 40_000)
    exact = stats.binom.sf(1, 5, 0.1)
    assert found.low < exact < found.high
    loose = Scatter(STILL, loose=0.1, loose_strength=0.5)  # fails at 0.8, slowly: 4 hold 1.25 each
    slow = replace(bar(5, 1.6), release=1.0)
    found = chance_of_failure(slow, loose, 40_000)
    assert found.low < exact < found.high


def test_same_to_the_bit_on_any_number_of_threads():
    case, scatter = bar(8, 1.5), Scatter(SNOW, strength=0.2, together=0.3, missing=0.02, loose=0.05)
    found = [chance_of_failure(case, scatter, 5_500, seed=4, threads=n) for n in (1, 2, 5)]
    assert found[0] == found[1] == found[2]
    assert 0.0 < found[0].value < 1.0
    assert found[0] != chance_of_failure(case, scatter, 5_500, seed=5)


def test_strengths_that_go_together_scatter_the_roof_more():
    """The weakest of many, each by itself, is nearly the same on every roof."""
    first = [
        sample_batch(bar(30, 1.5), Scatter(STILL, strength=0.2, together=t), 1, 0, 1000, 3.0).last
        for t in (0.0, 0.8)
    ]
    assert first[1].std() > 2.0 * first[0].std()


@pytest.mark.parametrize("bad", [{"missing": 1.5}, {"together": -0.1}, {"loose_strength": 0.0}])
def test_bad_scatter_is_named(bad):
    with pytest.raises(ValueError, match=f"{next(iter(bad))} = "):
        Scatter(STILL, **bad)
