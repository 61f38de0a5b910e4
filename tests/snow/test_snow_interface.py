"""The one door: dispatch, retained planes, bad input, snow given directly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.constants import g
from snow_roofs import gable, hip, plane_force, shed

from roofmodel.errors import InputError
from roofmodel.snow import Asce16Site, AsceSite, DirectSite, EnSite, NbccSite, SnowLayer, snow_cases
from roofmodel.snow.cases import case_pressure_at

ASCE = AsceSite(ground_snow=2000.0, risk_category="II", winter_wind=0.5, slippery=True)
ASCE_16 = Asce16Site(ground_snow=2000.0, risk_category="III", slippery=True)
EN = EnSite(ground_snow=2000.0)
NBCC = NbccSite(ground_snow=2000.0, associated_rain=300.0, importance="high", slippery=True)


@pytest.mark.parametrize("site", [ASCE, ASCE_16, EN, NBCC, DirectSite((SnowLayer(0.4, 200.0, 200.0),))])
def test_balanced_total_is_pressure_times_plan_area(site):
    roof = hip()
    case = snow_cases(roof, site, {0, 1, 2, 3}).cases[0]
    pressure = {
        "ASCE/SEI 7-22": 0.7 * 1.2 * 2000.0,
        "ASCE/SEI 7-16": 0.7 * 1.2 * 1.1 * 2000.0,
        "EN 1991-1-3": 0.8 * 2000.0,
        "NBCC 2020": 1.15 * (0.8 * 2000.0 + 300.0),
        "measured": 0.4 * 200.0 * g,
    }
    assert plane_force(roof, case) == pytest.approx(pressure[site.standard] * roof.planes.plan_area)


def test_retained_snow_takes_no_slippery_reduction():
    """Full line of Fig. 7.4-1c at 50 degrees where held: (70 - 50) / 25; dashed line else: 20 / 55."""
    roof = gable(slope=50.0)
    case = snow_cases(roof, ASCE, {0}).cases[0]
    flat = 0.7 * 1.2 * 2000.0
    area = roof.planes.plan_area
    assert plane_force(roof, case) == pytest.approx(np.array([0.8, 20.0 / 55.0]) * flat * area)
    assert any("S1 takes no slippery reduction" in note for note in case.notes)


def test_retained_snow_keeps_mu_1_at_0_8_on_a_45_degree_roof():
    """EN 1991-1-3 5.3.3(2), from memory; mu_1(45) = 0.4 where snow is free to slide, Table 5.2."""
    roof = gable(slope=45.0)
    free, held = (snow_cases(roof, EN, planes).cases[0] for planes in ((), {0, 1}))
    assert plane_force(roof, free) == pytest.approx(0.4 * 2000.0 * roof.planes.plan_area)
    assert plane_force(roof, held) == pytest.approx(0.8 * 2000.0 * roof.planes.plan_area)


def test_direct_density_gives_back_the_measured_depth():
    layers = (SnowLayer(0.2, 250.0, 350.0), SnowLayer(0.3, 80.0, 140.0))
    roof = shed(slope=30.0)
    for case, pick in zip(snow_cases(roof, DirectSite(layers)).cases, ("heavy", "light"), strict=True):
        pressure = case_pressure_at(case, np.array([[5.0, 3.0]]), np.array([0]))[0]
        assert pressure == pytest.approx(g * sum(layer.depth * getattr(layer, pick) for layer in layers))
        assert pressure / (g * case.density) == pytest.approx(0.5)


def test_depth_square_to_the_roof_is_deeper_vertically():
    site = DirectSite((SnowLayer(0.5, 200.0, 200.0),), square_to_roof=True)
    roof = shed(slope=60.0)
    weight = plane_force(roof, snow_cases(roof, site).cases[0])[0]
    assert weight == pytest.approx(0.5 * 200.0 * g * roof.planes.true_area[0])


def test_single_planes_take_their_own_layers():
    site = DirectSite((SnowLayer(0.5, 200.0, 300.0),), {"N1": ()})
    roof = gable()
    for case in snow_cases(roof, site).cases:
        south, north = plane_force(roof, case)
        assert south > 0.0
        assert north == 0.0


def test_depth_is_never_understated_where_planes_differ():
    site = DirectSite((SnowLayer(0.5, 300.0, 300.0),), {"N1": (SnowLayer(0.8, 150.0, 150.0),)})
    roof = gable(slope=20.0)
    case = snow_cases(roof, site).cases[0]
    depth = plane_force(roof, case) / roof.planes.plan_area / g / case.density
    assert depth[1] == pytest.approx(0.8)
    assert depth[0] >= 0.5
    assert any("Planes differ in density" in note for note in case.notes)


@pytest.mark.parametrize(
    ("site", "field"),
    [
        (replace(ASCE, ground_snow=0.0), "ground_snow"),
        (replace(ASCE, ground_snow=60e3), "ground_snow"),
        (replace(ASCE, ground_snow=np.nan), "ground_snow"),
        (replace(ASCE, winter_wind=0.05), "winter_wind"),
        (replace(ASCE, risk_category="V"), "risk_category"),
        (replace(ASCE, terrain="above tree line", exposure="sheltered"), "exposure"),
        (replace(ASCE, thermal="heated"), "roof_r_value"),
        (replace(ASCE, thermal="warm"), "thermal"),
        (replace(ASCE_16, ground_snow=np.nan), "ground_snow"),
        (replace(ASCE_16, risk_category="V"), "risk_category"),
        (replace(ASCE_16, thermal="warm"), "thermal"),
        (replace(ASCE_16, thermal_factor=2.0), "thermal_factor"),
        (replace(ASCE_16, roof_r_value=-1.0), "roof_r_value"),
        (replace(ASCE_16, exposure="hidden"), "exposure"),
        (replace(ASCE_16, light_density=np.nan), "light_density"),
        (replace(NBCC, ground_snow=0.0), "ground_snow"),
        (replace(NBCC, associated_rain=-1.0), "associated_rain"),
        (replace(NBCC, importance="II"), "importance"),
        (replace(NBCC, wind_factor=0.4), "wind_factor"),
        (replace(NBCC, wind_factor=0.75), "wind_factor"),
        (replace(NBCC, basic_factor=0.5), "basic_factor"),
        (replace(NBCC, light_density=20.0), "light_density"),
        (replace(EN, ground_snow=-1.0), "ground_snow"),
        (replace(EN, topography="windy"), "topography"),
        (replace(EN, light_density=20.0), "light_density"),
        (replace(ASCE, light_density=920.0), "light_density"),
        (replace(ASCE, light_density=np.nan), "light_density"),
        (replace(EN, exceptional_coefficient=0.5), "exceptional_coefficient"),
        (DirectSite(()), "layers"),
        (DirectSite((SnowLayer(0.0, 200.0, 200.0),)), "layers"),
        (DirectSite((SnowLayer(0.5, 300.0, 200.0),)), "layers.heavy"),
        (DirectSite((SnowLayer(0.5, 200.0, 200.0),), {"Q9": ()}), "plane_layers"),
    ],
)
def test_bad_sites_are_told_in_one_line(site, field):
    with pytest.raises(InputError, match=rf"site\.{field}") as caught:
        snow_cases(gable(), site)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("site", [ASCE, ASCE_16, EN, NBCC])
def test_depth_takes_the_density_the_user_gives(site):
    """Loads do not change with it; every case and the values of its zones show it and its source."""
    roof = hip()
    light = snow_cases(roof, replace(site, light_density=80.0))
    usual = snow_cases(roof, site)
    for thin, case in zip(light.cases, usual.cases, strict=True):
        assert thin.density == 80.0
        assert plane_force(roof, thin) == pytest.approx(plane_force(roof, case))
        (shown,) = {v for zone in thin.zones for v in zone.values if v.symbol == "rho"}
        assert (shown.value, shown.unit) == (80.0, "kg/m**3")
        assert "user" in shown.note


def test_default_densities_for_depth():
    """EN: Annex E, settled snow, from memory, whatever drifts weigh. ASCE: Eq. 7.7-1 over g."""
    heavy = snow_cases(hip(), replace(EN, drift_weight=4000.0)).cases[0]
    assert heavy.density == 200.0
    assert any("Annex E" in v.note for v in heavy.zones[0].values)
    gamma = min(0.426 * 2.0 + 2.2, 4.7) * 1e3  # SI form of Eq. 7.7-1, from memory [N/m^3]
    assert snow_cases(hip(), ASCE).cases[0].density == pytest.approx(gamma / g, rel=5e-3)


def test_a_retained_plane_must_exist():
    with pytest.raises(InputError, match="retained plane 7"):
        snow_cases(gable(), EN, {7})
