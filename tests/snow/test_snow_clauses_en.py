"""EN 1991-1-3 clause functions against collected check values (tests/data/snow_checks.json)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roofmodel.snow import en1991_1_3 as en

DENSITY = 2000.0


def test_undrifted_duopitch(check):
    """O-15: Steel Buildings in Europe, Part 3 Actions, Appendix A, sheet 3."""
    given_, wanted, tol = check("O-15")
    mu = en.mu_1(np.radians([given_["alpha1_deg"], given_["alpha2_deg"]]))
    load = en.roof_load(mu, given_["Ce"], given_["Ct"], given_["sk_kPa"])
    assert load == pytest.approx(wanted["s_i_kPa"], rel=tol)


def test_mu_1_on_both_sides_of_30_degrees(check):
    """O-19: C. Sigmund, verification examples for EN 1991-1-3."""
    given_, wanted, tol = check("O-19")
    mu = en.mu_1(np.radians([given_["alpha1"], given_["alpha2"]]))
    assert mu == pytest.approx(wanted["mu1_undrifted"], rel=tol)


def test_abutting_roof_below_a_flat_one(check):
    """O-16: Steel Buildings in Europe, Part 3 Actions, Appendix A, sheets 4 and 5."""
    given_, wanted, tol = check("O-16")
    wall = np.array(given_["h_m"])
    wind = en.mu_wind(given_["b1_m"], given_["b2_m"], wall, wall, DENSITY, given_["sk_kPa"] * 1000.0)
    slide = en.mu_slide(0.8, np.radians(given_["alpha_upper_deg"]), 5.0, en.drift_length(wall))
    assert slide == pytest.approx([0.0, 0.0], abs=0.0)
    assert wind == pytest.approx(wanted["mu2"], rel=tol)
    assert en.drift_length(wall) == pytest.approx(wanted["ls_m"], rel=tol)
    assert wind * given_["sk_kPa"] == pytest.approx(wanted["s_kPa"], rel=tol)


def test_abutting_roof_below_one_that_sheds(check):
    """O-44: own calculation, two routes; the triangle is the usual reading of Fig. 5.7."""
    given_, wanted, tol = check("O-44")
    h, snow = given_["h_m"], given_["sk_kPa"]
    length = en.drift_length(h)
    wind = en.mu_wind(given_["b1_m"], given_["b2_m"], h, h, DENSITY, snow * 1000.0)
    slide = en.mu_slide(0.8, np.radians(given_["alpha_upper_deg"]), given_["bs_m"], length)
    assert length == pytest.approx(wanted["ls_m"], rel=tol)
    assert wind == pytest.approx(wanted["mu_w"], rel=tol)
    assert slide == pytest.approx(wanted["mu_s_triangular"], rel=tol)
    assert 0.5 * slide * snow * length == pytest.approx(wanted["slid_load_kN_per_m"], rel=tol)
    assert (wind + slide) * snow == pytest.approx(wanted["s_wall_kPa"], rel=tol)


def test_valley(check):
    """O-41: own calculation, two routes, after 5.3.4."""
    given_, wanted, tol = check("O-41")
    mu = en.mu_2(np.radians((given_["alpha1_deg"] + given_["alpha2_deg"]) / 2.0))
    assert mu == pytest.approx(wanted["valley_mu2"], rel=tol)
    assert mu * given_["sk_kPa"] == pytest.approx(wanted["valley_kPa"], rel=tol)


def test_overhang(check):
    """O-42: own calculation, two routes, after 6.3."""
    given_, wanted, tol = check("O-42")
    load = en.overhang_load(given_["s_kPa"] * 1000.0, given_["gamma"] * 1000.0)
    assert load / 1000.0 == pytest.approx(wanted["Se_kN_per_m"], rel=tol)


@given(st.floats(0.0, 89.0), st.booleans())
def test_mu_1_falls_without_jumps_and_holding_snow_never_lowers_it(slope, held):
    step = 0.01
    here, next_ = en.mu_1(np.radians([slope, slope + step]), held)
    assert 0.0 <= next_ <= here <= 0.8
    assert here - next_ <= 0.8 * step / 30.0 + 1e-12
    assert en.mu_1(np.radians(slope), True) >= en.mu_1(np.radians(slope), False)


@given(st.floats(0.0, 89.0))
def test_mu_2_is_between_0_8_and_1_6_and_above_mu_1(slope):
    assert 0.8 <= en.mu_2(np.radians(slope)) <= 1.6
    assert en.mu_2(np.radians(slope)) >= en.mu_1(np.radians(slope))


@given(st.floats(1.0, 80.0), st.floats(1.0, 80.0), st.floats(0.01, 40.0), st.floats(100.0, 20e3))
def test_drift_coefficient_keeps_its_limits(b1, b2, wall, snow):
    mu = en.mu_wind(b1, b2, wall, wall, DENSITY, snow)
    assert en.mu_wind(b1, b2, 0.5 * wall, wall, DENSITY, snow) >= mu
    assert 0.8 <= mu <= 4.0
    assert mu <= max(0.8, DENSITY * wall / snow) + 1e-12
    assert 5.0 <= en.drift_length(wall) <= 15.0


@given(st.floats(10.0, 20e3))
def test_overhang_factor_is_the_smaller_of_its_two(snow):
    depth = snow / 3000.0
    k = en.overhang_load(snow) * 3000.0 / snow**2
    assert k == pytest.approx(min(3.0 / depth, depth * 3.0))
