"""ASCE/SEI 7-16 clause functions against collected check values (tests/data/snow_checks.json)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roofmodel.snow import asce7_16 as asce
from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.asce7_22 import FOOT, PSF, snow_weight_density


def rise(per_12):
    return np.arctan(per_12 / 12.0)


def test_flat_roof_load(check):
    """O-01: test of a public finite element code, second hand."""
    given_, wanted, tol = check("O-01")
    load = asce.flat_roof_load(given_["pg_psf"] * PSF, given_["Ce"], given_["Ct"], given_["Is"])
    assert load / PSF == pytest.approx(wanted["pf_psf"], rel=tol)


@pytest.mark.parametrize(
    ("name", "slope", "thermal", "slippery", "key"),
    [
        ("O-02", rise(8), 1.0, False, "Cs"),  # test of a public code, ASCE 7-05; same line in 7-16
        ("O-25", np.radians(26.565), 1.1, True, "Cs"),  # engineering forum: the line starts at 10 degrees
        ("O-35", rise(6), 1.1, True, "Cs_unobstructed"),  # own calculation, two routes
    ],
)
def test_slope_factor(check, name, slope, thermal, slippery, key):
    _, wanted, tol = check(name)
    assert asce.slope_factor(slope, thermal, slippery) == pytest.approx(wanted[key], rel=tol)


def test_warm_slippery_roofs_need_insulation(check):
    """O-13: transcription of ASCE 7-16 7.4.1; R-30, or R-20 where ventilated. Cold graphs ask for none."""
    given_, wanted, tol = check("O-13")
    for met, factor in zip(given_["R_gate_met"], wanted["Cs"], strict=True):
        allowed = asce.warm_slippery_allowed(given_["Ct"], 30.0 if met else 29.0, ventilated=False)
        assert allowed is met
        assert asce.slope_factor(np.radians(45.0), 1.0, allowed) == pytest.approx(factor, rel=tol)
    assert asce.warm_slippery_allowed(1.0, 20.0, ventilated=True)
    assert not asce.warm_slippery_allowed(1.0, None, ventilated=True)
    assert asce.warm_slippery_allowed(1.1, None, ventilated=False)


@pytest.mark.parametrize("name", ["O-05", "O-09"])
def test_leeward_drift(check, name):
    """O-05: SK&A engineers' published example; O-09: transcription, second hand, I_s = 1.1."""
    given_, wanted, tol = check(name)
    pg = given_["pg_psf"] * PSF
    flat = asce.flat_roof_load(pg, given_["Ce"], given_["Ct"], given_["Is"])
    height = asce.drift_height(pg, given_["lu_ft"] * FOOT, given_["Is"])
    found = drift.leeward_drift(height, flat, given_["step_ft"] * FOOT, snow_weight_density(pg))
    assert flat / PSF == pytest.approx(wanted["pf_psf"], rel=tol)
    assert height / FOOT == pytest.approx(wanted["hd_ft"], rel=tol)
    assert found.width / FOOT == pytest.approx(wanted["w_ft"], rel=tol)
    assert (found.pressure + flat) / PSF == pytest.approx(wanted["p_max_psf"], rel=tol)


def test_short_fetch_and_low_wall(check):
    """O-10: transcription, second hand: a parapet takes what a windward drift takes, capped at h_c."""
    given_, wanted, tol = check("O-10")
    pg = given_["pg_psf"] * PSF
    flat = asce.flat_roof_load(pg, given_["Ce"], given_["Ct"], given_["Is"])
    height = asce.drift_height(pg, given_["lu_ft"] * FOOT, given_["Is"])
    found = asce.windward_drift(height, flat, given_["parapet_ft"] * FOOT, snow_weight_density(pg))
    assert flat / PSF == pytest.approx(wanted["pf_psf"], rel=tol)
    assert height / FOOT == pytest.approx(wanted["hd_ft"], rel=tol)
    assert found.height / FOOT == pytest.approx(wanted["h_used_ft"], rel=tol)
    assert found.width / FOOT == pytest.approx(wanted["w_ft"], rel=tol)
    assert found.pressure / PSF == pytest.approx(wanted["pd_psf"], rel=tol)


@pytest.mark.parametrize("name", ["O-06", "O-36"])
def test_unbalanced_surcharge(check, name):
    """O-06: commentary Example 1 as transcribed; O-36: own calculation, two routes."""
    given_, wanted, tol = check(name)
    pg = given_["pg_psf"] * PSF
    height = asce.unbalanced_height(pg, given_["W_ft"] * FOOT, given_["Is"])
    strip = drift.unbalanced_surcharge(height, snow_weight_density(pg), rise(given_["rise_per_12"]))
    reach = wanted.get("extent_from_ridge_ft") or wanted["extent_ft"]
    assert height / FOOT == pytest.approx(wanted["hd_ft"], rel=tol)
    assert strip.pressure / PSF == pytest.approx(wanted["surcharge_psf"], rel=tol)
    assert strip.end / FOOT == pytest.approx(reach, rel=tol)


def test_minimum_and_rain_have_a_step_at_20_psf():
    """7.3.4 and 7.10 as transcribed."""
    pg = np.array([0.0, 10.0, 20.0, 21.0, 40.0]) * PSF
    assert asce.minimum_load(pg, 1.1) / PSF == pytest.approx([0.0, 11.0, 22.0, 22.0, 22.0])
    rain = asce.rain_on_snow(pg, np.radians(0.9), 50.0 * FOOT) / PSF
    assert rain == pytest.approx([0.0, 5.0, 5.0, 0.0, 0.0])
    assert asce.rain_on_snow(10.0 * PSF, np.radians(1.1), 50.0 * FOOT) == 0.0


@given(st.floats(1.0, 150.0), st.floats(1.0, 600.0), st.floats(0.8, 1.2))
def test_drift_height_never_falls_with_any_cause(pg, fetch, importance):
    here = asce.drift_height(pg * PSF, fetch * FOOT, importance)
    assert here >= 0.0
    assert asce.drift_height(1.01 * pg * PSF, fetch * FOOT, importance) >= here * (1.0 - 1e-12)
    assert asce.drift_height(pg * PSF, 1.01 * fetch * FOOT, importance) >= here * (1.0 - 1e-12)
    assert asce.drift_height(pg * PSF, fetch * FOOT, 1.01 * importance) >= here * (1.0 - 1e-12)
    assert asce.unbalanced_height(pg * PSF, fetch * FOOT, importance) >= here * (1.0 - 1e-12)


@given(st.floats(0.0, 90.0), st.sampled_from([0.85, 1.0, 1.1, 1.2, 1.3]))
def test_colder_or_rougher_roofs_never_carry_less(slope, thermal):
    theta = np.radians(slope)
    assert asce.slope_factor(theta, thermal, True) <= asce.slope_factor(theta, thermal, False)
    for slippery in (True, False):
        assert asce.slope_factor(theta, thermal, slippery) <= asce.slope_factor(theta, 1.3, slippery)
