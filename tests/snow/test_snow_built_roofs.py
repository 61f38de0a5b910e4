"""Snow on roofs from the builder: shed, gable, hip, L, two levels, flat, apart, crossing."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from snow_roofs import named, plane_force

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow import AsceSite, EnSite, snow_cases
from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.regions import plan_polygon

SITES = [
    AsceSite(ground_snow=1400.0, risk_category="II", winter_wind=0.5, slippery=True),
    EnSite(ground_snow=1400.0),
]


def box(x0, y0, x1, y1):
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], dtype=float)


def ends(degrees, *, along_x=True):
    pitch = np.radians(degrees)
    return np.array([pitch, np.nan, pitch, np.nan] if along_x else [np.nan, pitch, np.nan, pitch])


HOUSE = RoofPart("gable", box(0, 0, 20, 10), ends(25), 6.0)
ELL = np.array([(0, 0), (20, 0), (20, 8), (8, 8), (8, 20), (0, 20)], dtype=float)
PARTS = {
    "porch": [HOUSE, RoofPart("shed", box(0, -6, 20, 0), np.radians([10.0]), 2.5, np.pi)],
    "annex at the gable end": [HOUSE, RoofPart("gable", box(20, 1, 32, 9), ends(20), 3.0)],
    "hip": [RoofPart("hip", box(0, 0, 20, 10), np.radians([25.0] * 4), 3.0)],
    "ring": [
        RoofPart("hip", box(0, 0, 20, 10), np.radians([25.0] * 4), 6.0),
        RoofPart("flat", box(-5, -5, 25, 15), np.zeros(0), 3.0),
    ],
    "apart": [HOUSE, RoofPart("flat", box(0, -12, 20, -2), np.zeros(0), 3.0)],
    "crossing": [
        RoofPart("gable", box(0, 0, 20, 10), ends(25), 3.0),
        RoofPart("gable", box(6, -8, 12, 5), ends(25, along_x=False), 3.0),
    ],
    "L": [RoofPart("L", ELL, np.radians([25.0] * 6), 3.0)],
}


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
@pytest.mark.parametrize("name", PARTS)
def test_zones_lie_on_their_planes_and_snow_is_never_negative(site, name):
    roof = build_roof(PARTS[name])
    snow = snow_cases(roof, site, {0})
    assert len({case.name for case in snow.cases}) == len(snow.cases)
    for case in snow.cases:
        for zone in case.zones:
            assert plan_polygon(roof, zone.plane).buffer(1e-6).contains(zone.polygon)
            pressure = zone.pressure[0] + shapely.get_coordinates(zone.polygon) @ zone.pressure[1:]
            assert pressure.min() >= -1e-6 * pressure.max()


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
def test_every_wall_of_a_ring_has_its_cases(site):
    """Opposite walls of a symmetric building load the flat roof around it alike."""
    roof = build_roof(PARTS["ring"])
    flat = roof.planes.name.index("F1")
    snow = snow_cases(roof, site)
    kinds = ("leeward drift", "windward drift", "sliding") if isinstance(site, AsceSite) else ("drift below",)
    for kind in kinds:
        cases = [case for case in snow.cases if case.name.startswith(kind) and "all" not in case.name.split()]
        load = sorted(plane_force(roof, case)[flat] for case in cases)
        assert len(load) == 4
        assert load[0] == pytest.approx(load[1])
        assert load[2] == pytest.approx(load[3])


def test_drift_on_a_porch_weighs_its_triangle():
    roof = build_roof(PARTS["porch"])
    porch = roof.planes.name.index("S1")
    site = SITES[0]
    snow = snow_cases(roof, site, range(roof.planes.count))
    flat = 0.7 * 1.2 * 1400.0
    gamma = named(snow, "balanced").density * 9.80665
    wall = 3.5 - 6.0 * np.tan(np.radians(10.0))
    found = drift.leeward_drift(drift.drift_height(1400.0, 10.0, 0.5), flat, wall, gamma)
    surcharge = plane_force(roof, named(snow, "leeward drift"))[porch] - flat * 120.0
    assert surcharge == pytest.approx(0.5 * float(found.pressure * found.width) * 20.0)
    slid = plane_force(roof, named(snow, "sliding"))[porch] - flat * 120.0
    assert slid == pytest.approx(0.4 * flat * 5.0 * 20.0)


def test_annex_below_a_gable_end_has_one_drift_across_both_its_planes():
    roof = build_roof(PARTS["annex at the gable end"])
    snow = snow_cases(roof, SITES[0], range(roof.planes.count))
    (case,) = [case for case in snow.cases if case.name.startswith("leeward drift")]
    force = dict(zip(roof.planes.name, plane_force(roof, case) / roof.planes.plan_area, strict=True))
    assert force["S2"] == pytest.approx(force["N2"])
    assert force["S2"] > force["S1"]
    assert not any(case.name.startswith("sliding") for case in snow.cases)
