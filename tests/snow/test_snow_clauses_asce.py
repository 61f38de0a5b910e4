"""ASCE/SEI 7-22 clause functions against collected check values (tests/data/snow_checks.json).

Checks of ASCE 7-16 are used where 7-22 kept the formula; h_d of 7-16 is then taken from the check.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roofmodel.snow import asce7_22 as asce
from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.asce7_22 import FOOT, PCF, PSF

PLF = PSF * FOOT


def rise(per_12):
    return np.arctan(per_12 / 12.0)


def test_constants_are_exact():
    """1 lbf = 4.4482216152605 N and 1 ft = 0.3048 m by definition."""
    assert pytest.approx(47.88025898, rel=1e-9) == PSF
    assert pytest.approx(157.0874638, rel=1e-8) == PCF


def test_flat_roof_load(check):
    """O-01: test of a public finite element code, second hand."""
    given_, wanted, tol = check("O-01")
    ce = asce.exposure_factor("B", "partially exposed")
    assert ce == given_["Ce"]
    load = asce.flat_roof_load(given_["pg_psf"] * PSF, ce, given_["Ct"])
    assert load / PSF == pytest.approx(wanted["pf_psf"], rel=tol)


@pytest.mark.parametrize(
    ("name", "slope", "thermal", "slippery", "key"),
    [
        ("O-02", rise(8), 1.0, False, "Cs"),  # test of a public code, ASCE 7-05; same line in 7-22
        ("O-25", np.radians(26.565), 1.15, True, "Cs"),  # engineering forum; 7-16 has this graph at C_t 1.1
        ("O-35", rise(6), 1.15, True, "Cs_unobstructed"),  # own calculation, two routes
        ("O-14", rise(8), 1.2, True, "Cs"),  # transcription of ASCE/SEI 7-22, second hand
    ],
)
def test_slope_factor(check, name, slope, thermal, slippery, key):
    _, wanted, tol = check(name)
    assert asce.slope_factor(slope, thermal, slippery) == pytest.approx(wanted[key], rel=tol)


def test_slope_factor_on_both_lines_of_the_warm_graph(check):
    """O-13: transcription of ASCE 7-16; the R-value gate there picks the line, 7-22 has none."""
    _, wanted, tol = check("O-13")
    factor = asce.slope_factor(np.radians([45.0, 45.0]), 1.0, [False, True])
    assert factor == pytest.approx(wanted["Cs"], rel=tol)


def test_density(check):
    """O-03, O-53: tests of a public code, second hand, and own calculation."""
    given_, wanted, tol = check("O-03")
    gamma = asce.snow_weight_density(np.array(given_["pg_psf"]) * PSF)
    assert gamma / PCF == pytest.approx(wanted["gamma_pcf"], rel=tol)
    given_, wanted, tol = check("O-53")
    gamma = asce.snow_weight_density(given_["pg_psf"] * PSF)
    assert gamma / PCF == pytest.approx(wanted["gamma_pcf"], rel=tol)
    assert given_["p_psf"] * PSF / gamma / FOOT == pytest.approx(wanted["depth_vertical_ft"], rel=tol)


def test_thermal_factor_of_heated_roofs(check):
    """O-08: transcription of ASCE/SEI 7-22 Table 7.3-3, second hand; medium confidence."""
    given_, wanted, tol = check("O-08")
    pg, r = np.array(given_["pg_Rroof"]).T
    assert asce.thermal_factor_heated(pg * PSF, r) == pytest.approx(wanted["Ct"], rel=tol)


@pytest.mark.parametrize("name", ["O-05", "O-09"])
def test_leeward_drift_geometry_of_7_16_with_its_own_height(check, name):
    """O-05: SK&A engineers' published example; O-09: transcription. Only h_d differs from 7-22."""
    given_, wanted, tol = check(name)
    gamma = asce.snow_weight_density(given_["pg_psf"] * PSF)
    found = drift.leeward_drift(
        wanted["hd_ft"] * FOOT, wanted["pf_psf"] * PSF, given_["step_ft"] * FOOT, gamma
    )
    assert found.width / FOOT == pytest.approx(wanted["w_ft"], rel=tol)
    assert found.pressure / PSF == pytest.approx(wanted["pd_psf"], rel=tol)
    assert found.pressure / PSF + wanted["pf_psf"] == pytest.approx(wanted["p_max_psf"], rel=tol)


def test_leeward_drift_of_7_22(check):
    """O-11: transcription of ASCE/SEI 7-22, second hand."""
    given_, wanted, tol = check("O-11")
    pg = given_["pg_psf"] * PSF
    thermal = asce.thermal_factor_heated(pg, given_["Rroof"])
    flat = asce.flat_roof_load(pg, given_["Ce"], thermal)
    gamma = asce.snow_weight_density(pg)
    height = drift.drift_height(pg, given_["lu_ft"] * FOOT, given_["W2"])
    found = drift.leeward_drift(height, flat, given_["step_ft"] * FOOT, gamma)
    assert thermal == pytest.approx(wanted["Ct"], rel=tol)
    assert flat / PSF == pytest.approx(wanted["pf_psf"], rel=tol)
    assert height / FOOT == pytest.approx(wanted["hd_ft"], rel=tol)
    assert found.width / FOOT == pytest.approx(wanted["w_ft"], rel=tol)
    assert found.pressure / PSF == pytest.approx(wanted["pd_psf"], rel=tol)


def test_no_drift_at_low_walls(check):
    """O-12: transcription of ASCE/SEI 7-22, second hand; the wall is a parapet there."""
    given_, wanted, tol = check("O-12")
    pg = given_["pg_psf"] * PSF
    flat = asce.flat_roof_load(pg, given_["Ce"], asce.thermal_factor_heated(pg, given_["Rroof"]))
    assert flat / PSF == pytest.approx(wanted["pf_psf"], rel=tol)
    height = drift.drift_height(pg, given_["lu_ft"] * FOOT, given_["W2"])
    gamma = asce.snow_weight_density(pg)
    for rule in (drift.leeward_drift, drift.windward_drift):
        found = rule(height, flat, given_["parapet_ft"] * FOOT, gamma)
        assert found.height == found.width == found.pressure == wanted["drift"]


@pytest.mark.parametrize(("name", "own_height"), [("O-06", False), ("O-07", True), ("O-36", False)])
def test_unbalanced_surcharge(check, name, own_height):
    """O-06, O-07: commentary Example 1 of 7-16 and 7-22 as transcribed; O-36: own calculation, two routes."""
    given_, wanted, tol = check(name)
    pg = given_["pg_psf"] * PSF
    gamma = asce.snow_weight_density(pg)
    height = wanted["hd_ft"] * FOOT
    if own_height:
        height = drift.drift_height(pg, given_["W_ft"] * FOOT, given_["W2"])
        assert height / FOOT == pytest.approx(wanted["hd_ft"], rel=tol)
    strip = drift.unbalanced_surcharge(height, gamma, rise(given_["rise_per_12"]))
    extent = wanted.get("extent_from_ridge_ft", wanted.get("extent_ft"))
    assert strip.pressure / PSF == pytest.approx(wanted["surcharge_psf"], rel=tol)
    assert strip.end / FOOT == pytest.approx(extent, rel=tol)


def test_folded_roof(check):
    """O-39: own calculation after 7.6.3 from memory, medium confidence."""
    given_, wanted, tol = check("O-39")
    gamma = asce.snow_weight_density(given_["pg_psf"] * PSF)
    rise_, flat = given_["rise_ft"] * FOOT, given_["pf_psf"] * PSF
    ridge, valley = drift.folded_load(flat, given_["Ce"], gamma, rise_)
    assert ridge / PSF == pytest.approx(wanted["ridge_psf"], rel=tol)
    assert valley / PSF == pytest.approx(wanted["valley_psf_limited"], rel=tol)
    low = drift.folded_load(flat, given_["Ce"], gamma, 0.1 * rise_)[1]
    assert low / gamma == pytest.approx(ridge / gamma + 0.1 * rise_)


def test_unbalanced_loads_stop_at_7_on_12(check):
    """O-14: transcription of ASCE/SEI 7-22; 8 on 12 needs none."""
    _, wanted, _ = check("O-14")
    assert bool(drift.unbalanced_applies(rise(8))) is wanted["unbalanced_required"]
    assert drift.unbalanced_applies([rise(0.5), rise(7)]).all()
    assert not drift.unbalanced_applies([rise(0.49), rise(7.01)]).any()


def test_sliding(check):
    """O-37: own calculation, medium confidence."""
    given_, wanted, tol = check("O-37")
    strip = drift.sliding_load(given_["pf_psf"] * PSF, given_["W_ft"] * FOOT, given_["gap_ft"] * FOOT)
    assert strip.pressure * (strip.end - strip.start) / PLF == pytest.approx(wanted["SL_plf"], rel=tol)
    on_lower = strip.pressure * min(given_["lower_width_ft"] * FOOT, float(strip.end))
    assert on_lower / PLF == pytest.approx(wanted["on_lower_plf"], rel=tol)
    assert strip.pressure / PSF == pytest.approx(wanted["pressure_psf"], rel=tol)


def test_sliding_over_a_gap_keeps_the_share_of_the_rest():
    """7.9: 0.4 p_f W (15 - s) / 15 over (15 - s), from memory."""
    strip = drift.sliding_load(1000.0, 8.0, 6.0 * FOOT)
    total = strip.pressure * (strip.end - strip.start)
    assert total == pytest.approx(0.4 * 1000.0 * 8.0 * 9.0 / 15.0)
    assert drift.sliding_load(1000.0, 8.0, 15.0 * FOOT).pressure == 0.0


def test_adjacent_drift(check):
    """O-56: own calculation, medium confidence; h_d of 7-16 for 100 ft and 30 psf is above 2 ft."""
    given_, wanted, tol = check("O-56")
    found = drift.adjacent_drift(
        3.37 * FOOT, 21.0 * PSF, given_["h_ft"] * FOOT, given_["s_ft"] * FOOT, 17.9 * PCF
    )
    assert found.height / FOOT == pytest.approx(wanted["hd_ft"], rel=tol)
    assert found.width / FOOT == pytest.approx(wanted["w_ft"], rel=tol)
    assert found.pressure / PSF == pytest.approx(wanted["pd_psf"], rel=tol)
    assert drift.adjacent_drift(1.0, 1000.0, 4.0, 20.0 * FOOT, 17.9 * PCF).height == 0.0


def test_minimum_and_rain_on_snow():
    """Table 7.3-4 and 7.10 as transcribed, second hand."""
    assert asce.minimum_load(np.array([20.0, 50.0]) * PSF, "II") / PSF == pytest.approx([20.0, 30.0])
    slopes = np.radians([0.9, 1.1])
    assert asce.rain_on_snow(25.0 * PSF, slopes, 50.0 * FOOT, "II") / PSF == pytest.approx([8.0, 0.0])
    assert asce.rain_on_snow(31.0 * PSF, slopes, 50.0 * FOOT, "II") == pytest.approx([0.0, 0.0])


psf = st.floats(1.0, 300.0)
share = st.floats(0.1, 0.9)
feet = st.floats(5.0, 500.0)


@given(psf, share, feet, st.floats(0.5, 40.0), st.floats(0.0, 1.0))
def test_drifts_stay_within_their_limits_and_weigh_no_more_than_free(pg, wind, fetch, wall, part):
    gamma = asce.snow_weight_density(pg * PSF)
    height = drift.drift_height(pg * PSF, fetch * FOOT, wind)
    balanced, h = 0.7 * part * pg * PSF, wall * FOOT
    clear = max(h - balanced / gamma, 0.0)
    free = {drift.leeward_drift: (height, 4.0), drift.windward_drift: (0.75 * height, 8.0)}
    for rule, (full, ratio) in free.items():
        found = rule(height, balanced, h, gamma)
        assert found.height <= min(full, clear) + 1e-12
        assert found.pressure == pytest.approx(found.height * gamma)
        weight = 0.5 * found.pressure * found.width
        assert weight <= 0.5 * full * gamma * ratio * full * (1.0 + 1e-9)
    lee = drift.leeward_drift(height, balanced, h, gamma)
    assert lee.width <= max(8.0 * clear, 4.0 * lee.height) * (1.0 + 1e-12)


@given(psf, share, feet)
def test_drift_height_grows_with_every_cause(pg, wind, fetch):
    here = drift.drift_height(pg * PSF, fetch * FOOT, wind)
    assert drift.drift_height(1.01 * pg * PSF, fetch * FOOT, wind) > here
    assert drift.drift_height(pg * PSF, 1.01 * fetch * FOOT, wind) > here
    assert drift.drift_height(pg * PSF, fetch * FOOT, 1.01 * wind) > here


@given(st.floats(0.0, 89.0), st.floats(0.8, 1.3), st.booleans())
def test_slope_factor_falls_without_jumps_and_slippery_never_adds(slope, thermal, slippery):
    step = 0.01
    here, next_ = asce.slope_factor(np.radians([slope, slope + step]), thermal, slippery)
    assert 0.0 <= next_ <= here <= 1.0
    assert here - next_ <= step / 25.0 + 1e-12
    assert asce.slope_factor(np.radians(slope), thermal, True) <= asce.slope_factor(
        np.radians(slope), thermal, False
    )


@given(st.floats(1.0, 120.0), st.floats(1.0, 90.0))
def test_heated_thermal_factor_is_between_its_extremes_and_grows_with_insulation(pg, r):
    here, more = asce.thermal_factor_heated(pg * PSF, np.array([r, r + 2.0]))
    assert 1.0 <= here <= more <= 1.2


@given(st.floats(0.2, 3.0), st.floats(2.5, 30.0))
def test_unbalanced_surcharge_volume_does_not_depend_on_slope(height, degrees):
    """7.6.1: (8/3) h_d^2 gamma for each meter of ridge."""
    gamma = 3000.0
    strip = drift.unbalanced_surcharge(height, gamma, np.radians(degrees))
    assert strip.pressure * strip.end == pytest.approx(8.0 / 3.0 * height**2 * gamma)
