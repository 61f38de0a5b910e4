"""NBCC 2020 clause functions against collected check values (tests/data/snow_checks.json)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roofmodel.snow import nbcc2020 as nbcc
from roofmodel.snow import nbcc2020_drift as drift


def test_density_and_slope_factors(check):
    """O-21: text of the Code, 4.1.6.13 and 4.1.6.2.(5), (6), as reprinted publicly."""
    given_, wanted, tol = check("O-21")
    gamma = nbcc.snow_weight_density(np.array(given_["Ss"]) * 1e3)
    assert gamma / 1e3 == pytest.approx(wanted["gamma"], rel=tol)
    factor = nbcc.slope_factor(np.radians(given_["slopes"]), given_["slippery"])
    assert factor == pytest.approx(wanted["Cs"], rel=tol)


def test_basic_factor_of_large_roofs(check):
    """O-46: one route, formula as reprinted publicly."""
    given_, wanted, tol = check("O-46")
    length = nbcc.characteristic_length(given_["w_m"], given_["l_m"])
    assert length == pytest.approx(wanted["lc_m"], rel=tol)
    assert nbcc.basic_factor(length, given_["Cw"]) == pytest.approx(wanted["Cb"], rel=tol)


def test_basic_factor_at_its_ends():
    """0.8 to 70 / C_w^2 without a jump, toward 1 / C_w on endless roofs."""
    for cw in (1.0, 0.75, 0.5):
        limit = 70.0 / cw**2
        ends = nbcc.basic_factor([10.0, limit, limit * 1.0001, 1e5], cw)
        assert ends == pytest.approx([0.8, 0.8, 0.8, 1.0 / cw], rel=1e-3)


def test_gable(check):
    """O-47: from memory, one route. 45 degrees: C_s C_a = 0.78, engineering forum (eng-tips 370069)."""
    given_, wanted, tol = check("O-47")
    factor = nbcc.gable_factor(np.radians(given_["slope_deg"]))
    assert factor == pytest.approx(wanted["Ca_loaded_side"], rel=tol)
    load = nbcc.specified_load(
        given_["Ss"] * 1e3, given_["Sr"] * 1e3, given_["Is"], given_["Cb"], 1.0, 1.0, factor
    )
    assert load / 1e3 == pytest.approx(wanted["S_unbalanced_kPa"], rel=tol)
    steep = np.radians(45.0)
    assert nbcc.slope_factor(steep, False) * nbcc.gable_factor(steep) == pytest.approx(0.78, abs=0.005)
    assert nbcc.gable_factor(np.radians([14.0, 15.0, 20.0, 40.0])) == pytest.approx([1.0, 1.0, 1.25, 1.25])


@pytest.mark.parametrize(("case", "key"), [("II", "case2"), ("III", "case3")])
def test_valley(check, case, key):
    """O-48: from memory, two routes; both cases hold the same snow."""
    given_, wanted, tol = check("O-48")
    ss, sr, b = given_["Ss"] * 1e3, given_["Sr"] * 1e3, given_["b_m"]
    share, *factors = nbcc.valley_factors(0.8, case)
    assert factors == pytest.approx(wanted[key]["Ca"], rel=tol)
    assert share * b == pytest.approx(wanted[key]["breaks_m"][0], rel=tol)
    loads = nbcc.specified_load(ss, sr, 1.0, 0.8, 1.0, 1.0, factors) / 1e3
    assert loads == pytest.approx(wanted[key]["S_kPa"], rel=tol)
    snow = (loads[0] - 0.4) * share * b + (loads[1] - 0.4) * (0.5 - share) * b
    assert snow == pytest.approx(wanted["snow_per_half_valley_kN_per_m"][0], rel=tol)


def test_arch_factor_is_continuous_where_its_formula_changes():
    """4.1.6.10: h / (0.06 b) is 2 at h / b = 0.12; shallow arches have no such case."""
    low, high = (nbcc.arch_factor(8.0, rise, 40.0, 0.8, 10.0) for rise in (4.799999, 4.800001))
    assert low == pytest.approx(high, rel=1e-5)
    assert nbcc.arch_factor([0.0, 5.0, 10.0, 12.0], 6.0, 40.0, 0.8, 10.0) == pytest.approx(
        [0, 1.25, 2.5, 2.5]
    )
    # Gentle arches by the article's own form, x_30 = b / 2: x h / (0.03 C_b b^2) and 4 x / (C_b b).
    assert nbcc.arch_factor(8.0, 4.0, 40.0, 0.8, 20.0) == pytest.approx(8.0 * 4.0 / (0.03 * 0.8 * 40.0**2))
    assert nbcc.arch_factor(8.0, 6.0, 40.0, 0.8, 20.0) == pytest.approx(4.0 * 8.0 / (0.8 * 40.0))
    assert nbcc.arch_factor(5.0, 2.0, 40.0, 0.8, 10.0) == 1.0


def test_rain_counts_no_more_than_the_snow_that_holds_it():
    """4.1.6.2.(1): S_r <= S_s C_b C_w C_s C_a."""
    assert nbcc.specified_load(1000.0, 400.0, 1.15, 0.8, 1.0, 1.0, 1.0) == pytest.approx(1.15 * 1200.0)
    assert nbcc.specified_load(1000.0, 400.0, 1.0, 0.8, 1.0, 0.25, 1.0) == pytest.approx(400.0)
    assert nbcc.specified_load(1000.0, 400.0, 1.0, 0.8, 1.0, 0.0, 1.0) == 0.0


def test_step_by_hand():
    """4.1.6.5 as reprinted publicly; S_s = 2 kPa, gamma 3.06 kN/m^3, l_cs = 30 m, C_b = 0.8."""
    f = 0.35 * np.sqrt(3.06 * 30.0 / 2.0) + 0.8
    high = drift.step_accumulation(2000.0, 3060.0, 0.8, 30.0, 6.0, 1.0)
    assert high.peak == pytest.approx(f / 0.8)
    assert high.length == pytest.approx(5.0 * 1.6 / 3.06 * (f / 0.8 - 1.0))
    low = drift.step_accumulation(2000.0, 3060.0, 0.8, 30.0, 1.2, 1.0)
    assert low.peak == pytest.approx(3.06 * 1.2 / 1.6)
    none = drift.step_accumulation(2000.0, 3060.0, 0.8, 30.0, 0.4, 1.0)
    assert (none.peak, none.length) == (1.0, 0.0)
    huge = drift.step_accumulation(2000.0, 3060.0, 0.8, 5e3, 50.0, 1.0)
    assert huge.peak == pytest.approx(5.0 / 0.8)
    sheltered = drift.step_accumulation(2000.0, 3060.0, 0.8, 30.0, 6.0, 1.0, parapet=50.0)
    assert sheltered.peak == pytest.approx(1.0)  # F = C_b


def test_projection_by_hand():
    """4.1.6.7 as transcribed: height governs, then width; narrow ones count nothing."""
    low = drift.projection_accumulation(2000.0, 3060.0, 0.8, 1.5, 6.0)
    assert low.peak == pytest.approx(min(0.67 * 3.06 * 1.5 / 1.6, 3.06 * 6.0 / (7.5 * 1.6) + 1.0))
    assert low.length == pytest.approx(4.0)
    high = drift.projection_accumulation(2000.0, 3060.0, 0.8, 9.0, 6.0)
    assert high.peak == pytest.approx(3.06 * 6.0 / 12.0 + 1.0)
    narrow = drift.projection_accumulation(2000.0, 3060.0, 0.8, 9.0, 2.9)
    assert (narrow.peak, narrow.length) == (1.0, 0.0)


kpa = st.floats(0.3, 8.0)


@given(kpa, st.floats(5.0, 200.0), st.floats(0.2, 20.0), st.sampled_from([1.0, 0.67]))
def test_drift_stays_below_the_wall_and_grows_with_wall_and_source(ss, source, wall, share):
    ss = ss * 1e3
    gamma = float(nbcc.snow_weight_density(ss))
    here = drift.step_accumulation(ss, gamma, 0.8, source, wall, share)
    assert here.peak == 1.0 or here.peak * 0.8 * ss <= gamma * wall * (1.0 + 1e-9)
    assert 1.0 <= here.peak <= 5.0 / 0.8
    assert drift.step_accumulation(ss, gamma, 0.8, source, 1.1 * wall, share).peak >= here.peak
    assert drift.step_accumulation(ss, gamma, 0.8, 1.1 * source, wall, share).peak >= here.peak


@given(st.floats(0.0, 89.0))
def test_slope_factor_falls_without_jumps_and_slippery_never_adds(slope):
    here, next_ = nbcc.slope_factor(np.radians([slope, slope + 0.01]), False)
    assert 0.0 <= next_ <= here <= 1.0
    assert here - next_ <= 0.01 / 40.0 + 1e-12
    assert nbcc.slope_factor(np.radians(slope), True) <= nbcc.slope_factor(np.radians(slope), False)


def test_sliding_snow_weighs_half_of_the_slope():
    peak = drift.sliding_peak(1200.0, 9.0, 4.0)
    assert 0.5 * peak * 4.0 == pytest.approx(0.5 * 1200.0 * 9.0)
    assert drift.slides(np.radians([0.0, 3.0, 21.0]), slippery=True).tolist() == [False, True, True]
    assert drift.slides(np.radians([0.0, 3.0, 21.0]), slippery=False).tolist() == [False, False, True]
