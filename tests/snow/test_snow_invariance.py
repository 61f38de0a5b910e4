"""What must hold for every standard on every roof."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from snow_roofs import corner, court, ell, gable, hip, plane_force, shed, step

from roofmodel.snow import Asce16Site, AsceSite, DirectSite, EnSite, NbccSite, SnowLayer, snow_cases
from roofmodel.snow.cases import Zone, linear_integral
from roofmodel.snow.envelope import larger
from roofmodel.snow.fetches import fetch
from roofmodel.snow.regions import merged, plan_polygon

SITES = [
    AsceSite(ground_snow=1400.0, risk_category="III", winter_wind=0.6, slippery=True),
    Asce16Site(ground_snow=900.0, risk_category="III", slippery=True),
    EnSite(ground_snow=1400.0, exceptional_coefficient=2.0),
    NbccSite(ground_snow=1800.0, associated_rain=400.0, importance="high", slippery=True),
    DirectSite((SnowLayer(0.6, 120.0, 300.0),), {}, square_to_roof=True),
]
CLAUSES = ("ASCE/SEI 7-22 7.", "ASCE/SEI 7-16 7.", "EN 1991-1-3 5.", "NBCC 2020 4.1.6.", "measured")
ROOFS = {
    "shed": shed,
    "gable": gable,
    "hip": hip,
    "steep": lambda **place: hip(slope=48.0, **place),
    "L": ell,
    "step": step,
    "corner": corner,
    "court": court,
    "gap": lambda **place: step(gap=2.0, lower_slope=8.0, **place),
}


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
@pytest.mark.parametrize("name", ROOFS)
def test_turning_and_moving_the_roof_changes_nothing(site, name):
    here = ROOFS[name]()
    there = ROOFS[name](turn=np.radians(37.0), shift=(120.0, -45.0, 7.0))
    before, after = snow_cases(here, site, {0}), snow_cases(there, site, {0})
    assert len(before.cases) == len(after.cases)
    assert len(before.skipped) == len(after.skipped)
    for a, b in zip(before.cases, after.cases, strict=True):
        assert a.name.split(", ")[0] == b.name.split(", ")[0]
        assert plane_force(there, b) == pytest.approx(plane_force(here, a), rel=1e-5)


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
@pytest.mark.parametrize("roof", [make() for make in ROOFS.values()], ids=[*ROOFS])
def test_every_zone_is_sound(site, roof):
    """Zones lie on their plane, never pull, say where they come from; names are unique."""
    snow = snow_cases(roof, site)
    names = [case.name for case in snow.cases]
    assert len(set(names)) == len(names)
    assert all(name and why for name, why in snow.skipped)
    for case in snow.cases:
        assert 50.0 <= case.density <= 917.0
        for zone in case.zones:
            outline = plan_polygon(roof, zone.plane).buffer(1e-6)
            assert outline.contains(zone.polygon)
            corners = shapely.get_coordinates(zone.polygon)
            pressure = zone.pressure[0] + corners @ zone.pressure[1:]
            assert pressure.min() >= -1e-6 * max(pressure.max(), 1.0)
            assert zone.clause.startswith(CLAUSES)
            assert zone.formula
            assert np.isfinite([value.value for value in zone.values]).all()


def test_compass_names_follow_the_turn():
    site = SITES[0]
    names = [case.name for case in snow_cases(gable(turn=np.radians(90.0)), site).cases]
    assert "unbalanced, wind toward W" in names  # the south face turned clockwise falls west
    assert "unbalanced, wind toward E" in names


def test_fetch_ends_at_a_courtyard_and_closes_hairline_cracks():
    court = shapely.box(0, 0, 30, 20) - shapely.box(10, 8, 20, 12)
    line = np.array([12.0, 0.0]), np.array([18.0, 0.0])
    assert fetch(court, *line, np.array([0.0, 1.0])) == pytest.approx(8.0)
    assert fetch(court, *line, np.array([0.0, -1.0])) == pytest.approx(0.0, abs=1e-9)
    halves = merged(np.array([shapely.box(0, 0, 30, 8), shapely.box(0, 8.0001, 30, 20)]))
    assert fetch(halves, *line, np.array([0.0, 1.0])) == pytest.approx(20.0)
    away = np.array([12.0, -2.0]), np.array([18.0, -2.0])
    assert fetch(court, *away, np.array([0.0, 1.0])) == 0.0
    assert fetch(court, *away, np.array([0.0, 1.0]), 2.0) == pytest.approx(8.0)


numbers = st.floats(-3.0, 3.0)


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.floats(0, 6), st.floats(0, 6), st.floats(1, 6), numbers, numbers), min_size=2, max_size=4
    )
)
def test_larger_keeps_the_maximum_of_linear_patches(patches):
    zones = [
        Zone("patch", 0, shapely.box(x, y, x + size, y + size), np.array([80.0, b, c]), "", "")
        for x, y, size, b, c in patches
    ]
    kept = larger(zones)
    points = np.random.default_rng(3).uniform(0.0, 12.0, (300, 2))

    def values(some):
        inside = np.array([shapely.contains_xy(zone.polygon, points) for zone in some])
        return np.where(inside, [zone.pressure[0] + points @ zone.pressure[1:] for zone in some], 0.0)

    assert values(kept).sum(axis=0) == pytest.approx(values(zones).max(axis=0), abs=1e-6)
    total = sum(linear_integral(np.array([zone.polygon]), zone.pressure)[0] for zone in kept)
    areas = [zone.polygon.area for zone in kept]
    assert sum(areas) == pytest.approx(shapely.union_all([zone.polygon for zone in zones]).area, abs=1e-3)
    assert np.isfinite(total)
