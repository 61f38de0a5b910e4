"""Steps that snow fills leave no room for snow to slide off: ASCE/SEI 7 7.4, NBCC 2020 4.1.6.2.(6)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from snow_roofs import assemble, gable_faces, plane_force, step

from roofmodel.snow import Asce16Site, AsceSite, EnSite, NbccSite, snow_cases
from roofmodel.snow import asce7_22 as asce
from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.asce7_22 import FOOT

PG = 2000.0
ASCE = AsceSite(ground_snow=PG, risk_category="II", winter_wind=0.5, slippery=True)
ASCE16 = Asce16Site(ground_snow=1400.0, risk_category="II", thermal_factor=1.2, slippery=True)
NBCC = NbccSite(ground_snow=2000.0, associated_rain=200.0, importance="normal", slippery=True)
SITES = [ASCE, ASCE16, NBCC]
FLAT = 0.7 * 1.2 * PG
GAMMA = float(asce.snow_weight_density(PG))


def filled(roof, site):
    """Whether the upper eave's plane S1 is said to be obstructed by snow, and its share of N1's load."""
    snow = snow_cases(roof, site)
    south, north = (plane_force(roof, snow.cases[0]) / roof.planes.plan_area)[:2]
    said = any("S1 takes no slippery" in n and "fills the step" in n for n in snow.cases[0].notes)
    assert said == bool(south > 1.01 * north)
    return said


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_a_low_step_is_filled_and_a_high_one_is_not(site):
    assert filled(step(wall=0.8, upper_slope=40.0), site)
    assert not filled(step(wall=12.0, upper_slope=40.0), site)


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_filled_steps_take_the_line_of_other_surfaces(site):
    roof = step(wall=0.8, upper_slope=40.0)
    here = plane_force(roof, snow_cases(roof, site).cases[0])[0]
    rough = plane_force(roof, snow_cases(roof, replace(site, slippery=False)).cases[0])[0]
    assert here == pytest.approx(rough)


def test_the_height_at_which_a_step_is_full_by_hand():
    """p_f / gamma + h_d + 0.4 p_f W / (15 ft gamma), h_d the greater of leeward and windward."""
    height = float(drift.drift_height(PG, 30.0, 0.5))
    full = FLAT / GAMMA + height + 0.4 * FLAT * 15.0 / (15.0 * FOOT) / GAMMA
    assert height < full - FLAT / GAMMA
    assert filled(step(wall=full - 0.01, upper_slope=40.0, lower_slope=10.0), ASCE)
    assert not filled(step(wall=full + 0.01, upper_slope=40.0, lower_slope=10.0), ASCE)
    # A gap takes 7.7.2 and its share of 7.9.
    gap = 2.0
    fall = 0.4 * FLAT * 15.0 / (15.0 * FOOT) / GAMMA
    part = FLAT / GAMMA + min(height, (6.0 * 4.0 - gap) / 6.0) + fall
    assert filled(step(wall=part - 0.01, upper_slope=40.0, gap=gap), ASCE) is True


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
@pytest.mark.parametrize("wall", [0.3, 1.0, 2.0])
def test_more_ground_snow_never_frees_a_step(site, wall):
    roof = step(wall=wall, upper_slope=40.0)
    states = [filled(roof, replace(site, ground_snow=pg)) for pg in (200.0, 600.0, 1200.0, 2400.0)]
    assert states == sorted(states)


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_planes_that_drain_onto_a_blocked_one_are_blocked_with_it(site):
    """A steep plane above a flatter one, whose eave stands over a filled step."""
    low = 4.0 * np.tan(np.radians(25.0))
    high = low + 3.0 * np.tan(np.radians(50.0))
    faces = [
        [(0, 0, 0.8), (20, 0, 0.8), (20, 4, 0.8 + low), (0, 4, 0.8 + low)],
        [(0, 4, 0.8 + low), (20, 4, 0.8 + low), (20, 7, 0.8 + high), (0, 7, 0.8 + high)],
        [(0, -8, 0), (20, -8, 0), (20, 0, 0), (0, 0, 0)],
    ]
    joint = (2, 0, (20, 0, 0), (0, 0, 0), (0.8, 0.8), 0.0)
    roof = assemble(faces, ("S1", "S2", "F1"), [joint])
    free = assemble(faces[:2], ("S1", "S2"))
    here, there = (plane_force(r, snow_cases(r, site).cases[0])[:2] for r in (roof, free))
    assert (here > 1.05 * there).all()


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_gable_ends_above_a_step_shed_nothing_over_it(site):
    upper = gable_faces(10.0, 5.0, 40.0, base=0.6)
    lower = [(10, 0, 0), (30, 0, 0), (30, 10, 0), (10, 10, 0)]
    rise = 0.6 + 5.0 * np.tan(np.radians(40.0))
    joints = [
        (2, 0, (10, 5, 0), (10, 0, 0), (rise, 0.6), 0.0),
        (2, 1, (10, 10, 0), (10, 5, 0), (0.6, rise), 0.0),
    ]
    roof = assemble([*upper, lower], ("S1", "N1", "F1"), joints)
    snow = snow_cases(roof, site)
    assert not [note for note in snow.cases[0].notes if "fills the step" in note]


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_planes_that_drain_onto_one_that_falls_toward_a_wall_are_obstructed_with_it(site):
    low = 4.0 * np.tan(np.radians(25.0))
    high = low + 3.0 * np.tan(np.radians(50.0))
    faces = [
        [(0, 0, 0), (20, 0, 0), (20, 4, low), (0, 4, low)],
        [(0, 4, low), (20, 4, low), (20, 7, high), (0, 7, high)],
        [(0, -8, 9), (20, -8, 9), (20, 0, 9), (0, 0, 9)],
    ]
    walled = assemble(faces, ("S1", "S2", "F1"), [(0, 2, (0, 0, 0), (20, 0, 0), (9.0, 9.0), 0.0)])
    rough = replace(site, slippery=False)
    here, there = (plane_force(walled, snow_cases(walled, s).cases[0])[:2] for s in (site, rough))
    assert here == pytest.approx(there)


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_snow_slides_in_full_over_a_buried_step_and_the_case_says_so(site):
    """7.9 and 4.1.6.11 name no least height: 3 mm and 1.5 m of wall get the same snow in total."""
    added, said = [], []
    for wall in (0.003, 1.5):
        roof = step(wall=wall, upper_slope=25.0, lower_run=20.0)
        snow = snow_cases(roof, site)
        (case,) = [c for c in snow.cases if c.name.startswith("sliding from S1")]
        slid = tuple(zone for zone in case.zones if zone.name.startswith("snow that slid"))
        added.append(plane_force(roof, replace(case, zones=slid))[2])
        said.append(any("names no least height, so" in note for note in case.notes))
    assert added[0] == pytest.approx(added[1], rel=1e-3)
    assert said == [True, False]


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_how_full_a_step_is_counts_as_judgment(site):
    snow = snow_cases(step(wall=0.8, upper_slope=40.0), site)
    assert any("fills the step" in note and "judgment" in note for note in snow.cases[0].notes)


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_a_step_onto_an_obstructed_plane_must_hold_all_snow_of_the_slope(site):
    """Snow that slid onto a plane with rows stays there: the step is full up to a greater height."""
    states = {}
    for retained in ((), (2,)):
        heights = np.arange(1.0, 14.0, 0.25)
        notes = [
            snow_cases(step(wall=h, upper_slope=40.0, lower_slope=10.0), site, retained).cases[0].notes
            for h in heights
        ]
        full = [any("S1 takes no slippery" in n and "fills the step" in n for n in said) for said in notes]
        assert full == sorted(full, reverse=True)
        states[retained] = float(heights[np.sum(full) - 1])
        if retained:
            assert any("which is obstructed, fills the step" in n for n in notes[np.sum(full) - 1])
    assert states[(2,)] > states[()] + 0.5


def test_the_height_at_which_a_step_onto_an_obstructed_plane_is_full_by_hand():
    """p_f / gamma + h_d + p_f W / (15 ft gamma): all snow of the slope, not 0.4 of it."""
    height = float(drift.drift_height(PG, 30.0, 0.5))
    full = FLAT / GAMMA + height + FLAT * 15.0 / (15.0 * FOOT) / GAMMA
    for wall, wanted in ((full - 0.01, True), (full + 0.01, False)):
        roof = step(wall=wall, upper_slope=40.0, lower_slope=10.0)
        notes = snow_cases(roof, ASCE, (2,)).cases[0].notes
        assert any("S1 takes no slippery" in note for note in notes) is wanted


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_a_plane_obstructed_by_a_full_step_holds_what_slides_onto_it(site):
    """Two steps below each other, the lower one full: the middle plane keeps the snow of the upper one."""
    rise = 8.0 * np.tan(np.radians(40.0))

    def stairs(first, second):
        middle, top = first, first + rise + second
        faces = [
            [(0, -8, 0), (20, -8, 0), (20, 0, 0), (0, 0, 0)],
            [(0, 0, middle), (20, 0, middle), (20, 8, middle + rise), (0, 8, middle + rise)],
            [(0, 8, top), (20, 8, top), (20, 16, top + rise), (0, 16, top + rise)],
        ]
        joints = [
            (0, 1, (20, 0, 0), (0, 0, 0), (first, first), 0.0),
            (1, 2, (20, 8, middle + rise), (0, 8, middle + rise), (second, second), 0.0),
        ]
        return assemble(faces, ("F1", "S1", "S2"), joints)

    found = {}
    for first in (0.6, 12.0):
        for second in np.arange(1.0, 8.0, 0.25):
            snow = snow_cases(stairs(first, second), site)
            if any("S2 takes no slippery" in note for note in snow.cases[0].notes):
                found[first] = second
    assert found[0.6] > found.get(12.0, 0.0)


def full_up_to(site, lower_slope, retained=(), begins="S1 takes no slippery"):
    """Greatest wall at which the step is said to be full, to a centimeter."""
    low, high = 0.1, 40.0
    while high - low > 0.01:
        wall = 0.5 * (low + high)
        roof = step(wall=wall, upper_slope=50.0, lower_slope=lower_slope)
        notes = snow_cases(roof, site, retained).cases[0].notes
        full = any(note.startswith(begins) and "fills the step" in note for note in notes)
        low, high = (wall, high) if full else (low, wall)
    return low


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_a_level_roof_below_holds_all_that_lands_on_it_as_rows_would(site):
    """p_f W and all of S below a level roof, not only the 0.4 and 0.5 that roofs which shed keep."""
    level, sheds, rows = full_up_to(site, 0.0), full_up_to(site, 3.0), full_up_to(site, 3.0, (2,))
    assert level == pytest.approx(rows, abs=0.3)
    assert level > sheds + 0.3


EN = EnSite(ground_snow=3000.0)


def test_en_holds_the_snow_above_a_step_that_balanced_snow_buries():
    """5.3.2(2): 0.316 m below an eave of 50 degrees, under 1.2 m of snow on the roof below."""
    low, high = (snow_cases(step(wall=h, upper_slope=50.0), EN).cases[0] for h in (0.316, 15.0))
    area = step(wall=0.316, upper_slope=50.0).planes.plan_area
    held = plane_force(step(wall=0.316, upper_slope=50.0), low)[:2] / area[:2] / 3000.0
    free = plane_force(step(wall=15.0, upper_slope=50.0), high)[:2] / area[:2] / 3000.0
    assert held == pytest.approx([0.8, 0.8 / 3.0])
    assert free == pytest.approx([0.8 / 3.0, 0.8 / 3.0])
    assert any(note.startswith("mu_1 on S1 is not below 0.8: snow on F1") for note in low.notes)


@pytest.mark.parametrize(("below", "share", "shape"), [(20.0, 1.0, 0.8 / 3.0), (5.0, 2.0, 0.8)])
def test_the_height_at_which_a_step_is_full_by_hand_in_en(below, share, shape):
    """(mu_w + mu_s) s_k / gamma; below a roof too flat for 5.3.6 to shed all of the slope's snow, 0.8 b_s."""
    site = EnSite(ground_snow=1000.0)
    wall = full_up_to(site, below, begins="mu_1 on S1 is not below 0.8")
    length = np.clip(2.0 * wall, 5.0, 15.0)
    blown = np.clip(min((30.0 + 12.0) / (2.0 * wall), 2.0 * wall), 0.8, 4.0)
    slid = share * shape * 15.0 / length
    density = 200.0 * 9.80665  # lighter than the 2 kN/m^3 of 5.3.6
    assert (blown + slid) * 1000.0 / density == pytest.approx(wall, abs=0.02)


def test_the_exceptional_snow_of_en_fills_steps_of_its_own():
    site = EnSite(ground_snow=400.0, exceptional_coefficient=3.0)
    roof = step(wall=2.0, upper_slope=50.0, lower_slope=20.0)
    snow = snow_cases(roof, site)
    plain, rare = snow.cases[0], next(c for c in snow.cases if c.name == "exceptional, balanced")
    assert not any("fills the step" in note for note in plain.notes)
    assert any("fills the step" in note for note in rare.notes)
    # The same as if s_k were that large.
    whole = snow_cases(roof, EnSite(ground_snow=1200.0)).cases[0]
    assert plane_force(roof, rare) == pytest.approx(plane_force(roof, whole))


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_a_slope_sheds_where_its_steepest_facet_does(site):
    """7.9 and 4.1.6.11 on a covering that is not slippery: 8 degrees at the eave, 35 above, and reversed."""
    rough = replace(site, slippery=False)

    def slides(*pitches):
        y, z = np.array([0.0, 4.0, 8.0]), 6.0 + np.cumsum([0.0, *(4.0 * np.tan(np.radians(pitches)))])
        faces = [
            [(0, y[k], z[k]), (20, y[k], z[k]), (20, y[k + 1], z[k + 1]), (0, y[k + 1], z[k + 1])]
            for k in (0, 1)
        ]
        faces.append([(0, -12, -2), (20, -12, -2), (20, 0, 0), (0, 0, 0)])
        roof = assemble(faces, ("S1", "S2", "S3"), [(2, 0, (20, 0, 0), (0, 0, 0), (6.0, 6.0), 0.0)])
        return any(case.name.startswith("sliding from S1") for case in snow_cases(roof, rough).cases)

    assert [slides(8.0, 35.0), slides(35.0, 8.0), slides(8.0, 8.1)] == [True, True, False]
