"""Samplers against chances that are known in closed form."""

import numpy as np
import pytest
from scipy import stats

from fea.sampling.chance import counted, crude, design_point, importance, latin, subset
from tests.sampling.known_chances import RARE, curved, curved_chance, four_branches, plane


@pytest.mark.parametrize("name", RARE)
def test_subset_meets_one_seed(name):
    margin, inputs, exact = RARE[name]
    found = subset(margin, inputs, seed=5)
    assert found.value == pytest.approx(exact, rel=0.6)
    assert found.low < found.value < found.high
    assert found.calls < 250_000


@pytest.mark.slow
@pytest.mark.parametrize("name", RARE)
def test_subset_keeps_its_own_interval(name):
    """At least 35 of 40 seeds hold the exact chance within their stated 95 % interval."""
    margin, inputs, exact = RARE[name]
    found = [subset(margin, inputs, seed=seed) for seed in range(40)]
    inside = sum(one.low <= exact <= one.high for one in found)
    assert inside >= 35
    assert np.mean([one.value for one in found]) == pytest.approx(exact, rel=0.15)


def test_crude_and_latin_agree_with_the_four_branches():
    for one in (crude(four_branches, 2, 200_000), latin(four_branches, 2, 200_000)):
        assert one.low <= 2.22e-3 <= one.high
        assert one.value == pytest.approx(2.22e-3, rel=0.15)


def test_latin_scatters_less_on_a_sum():
    """What the method is for (McKay and others 1979): one input leaves one cell of doubt in each batch."""
    for seed in range(5):
        found = latin(plane(1.0, 1), 1, 10_000, seed)
        assert abs(found.value - stats.norm.sf(1.0)) <= 1e-3
    crude_spread = np.std([crude(plane(1.0, 1), 1, 10_000, seed).value for seed in range(20)])
    latin_spread = np.std([latin(plane(1.0, 1), 1, 10_000, seed).value for seed in range(20)])
    assert latin_spread < 0.2 * crude_spread


def test_interval_of_counts_holds_as_often_as_it_says():
    rng = np.random.default_rng(1)
    for chance, count in ((0.01, 500), (0.2, 50), (0.001, 500)):
        found = [counted(int(k), count) for k in rng.binomial(count, chance, 2000)]
        assert np.mean([one.low <= chance <= one.high for one in found]) >= 0.95


def test_no_failure_still_has_an_upper_bound():
    """The rule of three: about 3.7 / n at two-sided 95 %."""
    assert counted(0, 1000).high == pytest.approx(1.0 - 0.025 ** (1.0 / 1000.0), rel=1e-9)


@pytest.mark.parametrize("inputs", [1, 2, 20])
def test_design_point_of_a_plane(inputs):
    point, _ = design_point(plane(3.0, inputs), inputs)
    np.testing.assert_allclose(point, 3.0 / np.sqrt(inputs), atol=1e-3)


@pytest.mark.parametrize(("beta", "kappa"), [(4.0, 0.2), (5.0, -0.05)])
def test_importance_sampling_of_a_parabola(beta, kappa):
    exact = curved_chance(beta, kappa)
    found = [importance(curved(beta, kappa), 2, 20_000, seed) for seed in range(20)]
    assert sum(one.low <= exact <= one.high for one in found) >= 16
    assert np.mean([one.value for one in found]) == pytest.approx(exact, rel=0.03)


@pytest.mark.parametrize("method", [crude, latin, importance])
def test_a_seed_gives_the_same_digits(method):
    assert method(plane(2.0, 3), 3, 5000, 8) == method(plane(2.0, 3), 3, 5000, 8)
    assert method(plane(2.0, 3), 3, 20_000, 8) != method(plane(2.0, 3), 3, 20_000, 9)
