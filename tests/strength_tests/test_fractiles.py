"""Factors of few tests against published tables, and fractiles against many drawn samples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from benchmarks.verification.profiles import (
    COUNTS,
    D1_KNOWN,
    D1_UNKNOWN,
    D2_KNOWN,
    D2_UNKNOWN,
    GRUBBS,
    TOLERANCE,
)
from fea.strength_tests.fractiles import (
    design_factor,
    fractile_factor,
    fractile_value,
    odd_ones,
    sample_of,
    suspects,
    tolerance_factor,
)
from fea.strength_tests.resistance import (
    Reliability,
    corrected,
    correction_factor,
    factor_from_tests,
    model_factor,
)


def test_table_d1():
    np.testing.assert_allclose(fractile_factor(COUNTS, known=True), D1_KNOWN, atol=0.011)
    np.testing.assert_allclose(fractile_factor(COUNTS, known=False), D1_UNKNOWN, atol=0.012)
    np.testing.assert_allclose(fractile_factor([1, 2], known=True), [2.31, 2.01], atol=0.02)


def test_table_d2():
    found = design_factor(COUNTS, known=True)
    np.testing.assert_allclose(found, D2_KNOWN, rtol=0.012)
    assert (found >= D2_KNOWN - 0.011).all()  # never the less safe of the two
    np.testing.assert_allclose(
        design_factor(COUNTS[1:], known=False), D2_UNKNOWN[1:], rtol=0.008
    )  # the table rounds, at 20 and 30 down


@pytest.mark.parametrize(("count", "share", "confidence", "k"), TOLERANCE)
def test_tolerance_factors(count, share, confidence, k):
    assert float(tolerance_factor(count, share=share, confidence=confidence)) == pytest.approx(k, abs=2e-3)


def test_one_test_says_nothing_about_scatter():
    assert np.isinf(fractile_factor(1, known=False))
    assert fractile_value(sample_of([5.0]), np.inf, lognormal=True) == 0.0


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("lognormal", [True, False])
def test_one_further_strength_in_twenty_lies_below(known, lognormal):
    """What the predictive factor promises, by drawing samples of five and a sixth."""
    rng = np.random.default_rng(3)
    draws, n, V = 20_000, 5, 0.15
    s = np.sqrt(np.log1p(V**2)) if lognormal else V
    values = (
        (np.exp(s * rng.standard_normal((draws, n + 1))))
        if lognormal
        else 1.0 + s * rng.standard_normal((draws, n + 1))
    )
    k = float(fractile_factor(n, known=known))
    tests, later = (np.log(values) if lognormal else values)[:, :n], values[:, n]
    spread = s if known else tests.std(axis=1, ddof=1)
    low = tests.mean(axis=1) - k * spread
    found = np.exp(low) if lognormal else low
    assert np.mean(later < found) == pytest.approx(0.05, abs=0.006)
    first = fractile_value(
        sample_of(values[0, :n]),
        k,
        lognormal=lognormal,
        scatter=np.nan if not known else (V if lognormal else V / values[0, :n].mean()),
    )
    assert first == pytest.approx(found[0], rel=1e-12)


@given(st.lists(st.floats(1.0, 9.0), min_size=3, max_size=12), st.floats(0.01, 1000.0))
def test_strengths_scale_with_their_unit(values, unit):
    for lognormal in (True, False):
        a = fractile_value(sample_of(values), 2.0, lognormal=lognormal)
        b = fractile_value(sample_of(np.array(values) * unit), 2.0, lognormal=lognormal)
        assert b == pytest.approx(a * unit, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("n", "limit"), GRUBBS)
def test_grubbs_critical_values(n, limit):
    """Two-sided 5 %, that is one-sided 2.5 % of ASTM E178, Table 1."""
    assert suspects(np.arange(float(n)))[1] == pytest.approx(limit, abs=2e-3)


def test_grubbs_suspects_one_sample_in_twenty():
    rng = np.random.default_rng(11)
    found = [suspects(row) for row in rng.standard_normal((4000, 8))]
    assert np.mean([distance.max() > limit for distance, limit in found]) == pytest.approx(0.05, abs=0.012)


ROSNER = (
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65, 1.69,
    1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26, 2.35,
    2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64,
    5.34, 5.42, 6.01,
)  # fmt: skip


def test_rosners_example_has_three_odd_ones():
    """Rosner 1983, from memory: of 54 values the three largest, though no single one stands out."""
    distance, limit = suspects(ROSNER)
    assert distance.max() == pytest.approx(3.119, abs=2e-3)
    assert limit == pytest.approx(3.159, abs=2e-3)
    assert sorted(odd_ones(ROSNER, 10)) == [51, 52, 53]


def test_two_that_hide_each_other_are_found():
    logs = np.log([1.0, 1.03, 0.97, 1.02, 1.60, 1.62])
    distance, limit = suspects(logs)
    assert distance.max() < limit
    assert sorted(odd_ones(logs)) == [4, 5]
    assert odd_ones(np.log([1.0, 1.02, 1.60, 1.62])) == []  # nobody knows which pair is odd
    assert odd_ones(logs[:2]) == []


@pytest.mark.parametrize(("n", "most"), [(5, 0.125), (8, 0.09), (20, 0.065)])
def test_honest_samples_are_seldom_suspected(n, most):
    rng = np.random.default_rng(4)
    assert 0.04 < np.mean([bool(odd_ones(row)) for row in rng.standard_normal((2000, n))]) < most


def test_correction_factor():
    """AISI S100 K2.1.1: 5.7 for three tests; n = 10 by hand: 1.1 x 9 / 7."""
    np.testing.assert_allclose(correction_factor([3, 4, 10]), [5.7, 1.25 * 3.0, 1.1 * 9.0 / 7.0])
    assert np.isinf(correction_factor(2))


def test_resistance_factor_by_hand():
    """Screws, ten tests with 8 % scatter, by hand after AISI S100 K2.1.1 (from memory)."""
    under = 0.10**2 + 0.10**2 + (1.1 * 9.0 / 7.0) * 0.08**2 + 0.21**2
    phi = 1.52 * 1.10 * 1.00 * 1.00 * np.exp(-3.5 * np.sqrt(under))
    found = factor_from_tests(10, 0.08, Reliability())
    assert found.phi == pytest.approx(phi, rel=1e-12)
    assert found.phi == pytest.approx(0.6487, abs=1e-3)
    assert found.omega == pytest.approx(1.6 / phi, rel=1e-12)


def test_scatter_counts_as_six_and_a_half_percent_at_least():
    assert factor_from_tests(10, 0.01, Reliability()) == factor_from_tests(10, 0.065, Reliability())


def test_model_factor_of_a_perfect_model_is_its_slope():
    found = model_factor([2.2, 4.4, 6.6], [2.0, 4.0, 6.0])
    assert found.slope == pytest.approx(1.1)
    assert found.scatter == pytest.approx(0.0, abs=1e-9)
    assert found.design == pytest.approx(1.1, rel=1e-6)


def test_model_factor_by_hand():
    """EN 1990 D8.2.2 step by step, four tests; independent arithmetic."""
    r_e, r_t = np.array([10.0, 12.0, 9.0, 11.5]), np.array([9.5, 11.0, 9.2, 10.4])
    b = (r_e @ r_t) / (r_t @ r_t)
    log = np.log(r_e / (b * r_t))
    V = np.sqrt(np.exp(np.sum((log - log.mean()) ** 2) / 3.0) - 1.0)
    found = model_factor(r_e, r_t)
    assert found.scatter == pytest.approx(V, rel=1e-12)
    Q = np.sqrt(np.log(V**2 + 1.0))
    k = -stats.t.ppf(0.05, 3) * np.sqrt(1.25)
    assert found.characteristic == pytest.approx(b * np.exp(-k * Q - 0.5 * Q**2), rel=1e-9)
    assert found.design < found.characteristic < found.slope


def test_strengths_are_brought_to_nominal_and_never_up():
    found = corrected([10.0, 10.0, 10.0], ([0.66, 0.55, np.nan], 0.60))
    np.testing.assert_allclose(found, [10.0 * 0.60 / 0.66, 10.0, 10.0])
    both = corrected([10.0], ([0.66], 0.60), ([300e6], 250e6), (1.5, 0.5))
    np.testing.assert_allclose(both, 10.0 * (0.60 / 0.66) ** 1.5 * (250.0 / 300.0) ** 0.5)
