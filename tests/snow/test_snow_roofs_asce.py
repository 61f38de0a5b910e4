"""ASCE/SEI 7-22 on whole roofs: totals, places and combinations follow from the clause functions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from snow_roofs import (
    assemble,
    bent,
    broken,
    corner,
    ell,
    gable,
    gable_faces,
    hip,
    named,
    plane_force,
    pressure,
    shed,
    step,
)

from roofmodel.snow import AsceSite, snow_cases
from roofmodel.snow import asce7_22 as asce
from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.asce7_22 import FOOT, PSF

PG = 2000.0
SITE = AsceSite(ground_snow=PG, risk_category="II", winter_wind=0.5, slippery=False)
FLAT = 0.7 * 1.2 * PG
GAMMA = float(asce.snow_weight_density(PG))


def test_unbalanced_gable_carries_the_surcharge_of_its_ridge():
    """7.6.1: leeward p_s plus (8/3) h_d^2 gamma for each meter of ridge, windward 0.3 p_s."""
    roof = gable(length=20.0, run=9.0, slope=20.0)
    case = named(snow_cases(roof, SITE), "unbalanced, wind toward S")
    height = float(drift.drift_height(PG, 9.0, 0.5))
    south, north = plane_force(roof, case)
    assert south == pytest.approx(FLAT * 180.0 + 8.0 / 3.0 * height**2 * GAMMA * 20.0)
    assert north == pytest.approx(0.3 * FLAT * 180.0)


def test_surcharge_lies_at_the_ridge():
    roof = gable(length=20.0, run=9.0, slope=20.0)
    case = named(snow_cases(roof, SITE), "unbalanced, wind toward S")
    strip = drift.unbalanced_surcharge(drift.drift_height(PG, 9.0, 0.5), GAMMA, np.radians(20.0))
    edge = 9.0 - float(strip.end)
    inside, outside = pressure(case, 0, (10.0, edge + 0.01), (10.0, edge - 0.01))
    assert inside - outside == pytest.approx(float(strip.pressure))
    assert outside == pytest.approx(FLAT)


def test_gables_of_two_runs_take_w_from_the_windward_side():
    ridge = 4.0 * np.tan(np.radians(25.0))
    faces = [
        [(0, 0, 0), (10, 0, 0), (10, 4, ridge), (0, 4, ridge)],
        [(10, 12, 0), (0, 12, 0), (0, 4, ridge), (10, 4, ridge)],
    ]
    roof = assemble(faces, ("S1", "N1"))
    case = named(snow_cases(roof, SITE), "unbalanced, wind toward S")
    height = float(drift.drift_height(PG, 8.0, 0.5))
    surcharge = plane_force(roof, case)[0] - FLAT * 40.0
    strip = drift.unbalanced_surcharge(height, GAMMA, np.radians(25.0))
    assert surcharge == pytest.approx(strip.pressure * min(float(strip.end), 4.0) * 10.0)


def test_surcharge_runs_on_below_a_pitch_break():
    """The whole strip of 7.6.1 lies on the roof, whichever planes it crosses."""
    z = [0.0, 5.0 * np.tan(np.radians(28.0))]
    z.append(z[1] + 1.0 * np.tan(np.radians(12.0)))
    y = [0.0, 5.0, 6.0]
    south = [
        [(0, y[i], z[i]), (10, y[i], z[i]), (10, y[i + 1], z[i + 1]), (0, y[i + 1], z[i + 1])] for i in (0, 1)
    ]
    north = [[(10 - a, 12 - b, c) for a, b, c in face] for face in south]
    roof = assemble([*south, *north], ("S1", "S2", "N1", "N2"))
    case = named(snow_cases(roof, SITE), "unbalanced, wind toward S")
    strip = drift.unbalanced_surcharge(drift.drift_height(PG, 6.0, 0.5), GAMMA, np.radians(12.0))
    assert 1.0 < strip.end < 6.0
    surcharge = plane_force(roof, case)[:2] - FLAT * np.array([50.0, 10.0])
    assert surcharge.sum() == pytest.approx(float(strip.pressure * strip.end) * 10.0)


@pytest.mark.parametrize("slope", [2.0, 31.0])
def test_gables_out_of_range_are_not_unbalanced_and_say_so(slope):
    snow = snow_cases(gable(slope=slope), SITE)
    assert not [case for case in snow.cases if case.name.startswith("unbalanced")]
    assert any(name.startswith("unbalanced") and "7.6.1" in why for name, why in snow.skipped)


def test_narrow_roof_with_simple_rafters_takes_the_plain_rule():
    """7.6.1 as transcribed: W <= 20 ft, leeward p_g, windward nothing."""
    roof = gable(length=10.0, run=6.0, slope=20.0)
    case = named(snow_cases(roof, replace(SITE, simple_rafters=True)), "unbalanced, wind toward N")
    assert plane_force(roof, case) == pytest.approx([0.0, PG * 60.0])


def test_hip_is_symmetric_about_both_axes():
    roof = hip()
    snow = snow_cases(roof, SITE)
    force = {case.name[-1]: plane_force(roof, case) for case in snow.cases if "unbalanced" in case.name}
    assert sorted(force) == ["E", "N", "S", "W"]
    assert force["S"][[0, 1, 2, 3]] == pytest.approx(force["N"][[1, 0, 3, 2]])
    assert force["E"][[0, 1, 2, 3]] == pytest.approx(force["W"][[1, 0, 3, 2]])
    assert force["S"][2] == pytest.approx(FLAT * 25.0)


def test_surcharge_of_a_hip_is_one_strip_not_two_where_hips_meet():
    roof = hip()
    case = named(snow_cases(roof, SITE), "unbalanced, wind toward E")
    near_apex, at_eave = pressure(case, 2, (15.3, 5.0), (19.95, 5.0))
    strip = drift.unbalanced_surcharge(drift.drift_height(PG, 15.0, 0.5), GAMMA, np.radians(25.0))
    assert near_apex - FLAT == pytest.approx(float(strip.pressure))
    assert at_eave == pytest.approx(FLAT)


def test_leeward_drift_weighs_half_peak_times_width():
    """7.7.1: triangle of 1/2 p_d w for each meter of wall, on balanced snow."""
    roof = step(wall=3.0, lower_run=14.0)
    case = named(snow_cases(roof, SITE), "leeward drift below S1, wind toward S")
    height = drift.drift_height(PG, 30.0, 0.5)
    found = drift.leeward_drift(height, FLAT, 3.0, GAMMA)
    assert plane_force(roof, case)[2] == pytest.approx(
        FLAT * 14.0 * 30.0 + 0.5 * found.pressure * found.width * 30.0
    )
    wall, middle, end = pressure(case, 2, (15, -1e-9), (15, -found.width / 2), (15, -found.width * 1.001))
    assert wall - FLAT == pytest.approx(float(found.pressure))
    assert middle - FLAT == pytest.approx(0.5 * float(found.pressure))
    assert end == pytest.approx(FLAT)


def test_low_wall_caps_the_drift_and_widens_it():
    roof = step(wall=1.2, lower_run=20.0)
    case = named(snow_cases(roof, SITE), "leeward drift")
    clear = 1.2 - FLAT / GAMMA
    assert drift.drift_height(PG, 30.0, 0.5) > clear
    assert pressure(case, 2, (15.0, -1e-9))[0] == pytest.approx(FLAT + clear * GAMMA)


def test_wide_drift_is_cut_at_the_roof_edge_not_squeezed(check):
    """O-55: own calculation, two routes; width and peak from 7-16 heights, the cut is the same."""
    given_, wanted, tol = check("O-55")
    roof = step(wall=3.0, lower_run=2.0)
    case = named(snow_cases(roof, SITE), "leeward drift")
    found = drift.leeward_drift(drift.drift_height(PG, 30.0, 0.5), FLAT, 3.0, GAMMA)
    rest = 1.0 - 2.0 / float(found.width)
    kept = 0.5 * float(found.pressure * found.width) * (1.0 - rest**2)
    assert plane_force(roof, case)[2] == pytest.approx((FLAT * 2.0 + kept) * 30.0)
    rest = 1.0 - given_["lower_ft"] / wanted["w_ft"]
    kept = 0.5 * wanted["pd_wall_psf"] * wanted["w_ft"] * (1.0 - rest**2)
    assert kept == pytest.approx(wanted["drift_weight_on_roof_plf"], rel=tol)


def test_drift_spills_over_to_the_next_lower_plane():
    """The same lower roof as one plane or as two carries the same snow."""
    slope = np.radians(5.0)
    upper = gable_faces(30.0, 15.0, 20.0, base=3.0)
    fall = [(0, -12, -12 * np.tan(slope)), (30, -12, -12 * np.tan(slope)), (30, 0, 0), (0, 0, 0)]
    z = -3.0 * np.tan(slope)
    low = [fall[0], fall[1], (30, -3, z), (0, -3, z)]
    high = [(0, -3, z), (30, -3, z), fall[2], fall[3]]
    one = assemble([*upper, fall], ("S1", "N1", "S2"), [(2, 0, (30, 0, 0), (0, 0, 0), (3, 3), 0.0)])
    two = assemble(
        [*upper, high, low], ("S1", "N1", "S2", "S3"), [(2, 0, (30, 0, 0), (0, 0, 0), (3, 3), 0.0)]
    )
    for a, b in zip(snow_cases(one, SITE).cases, snow_cases(two, SITE).cases, strict=True):
        assert a.name == b.name
        assert plane_force(one, a)[2] == pytest.approx(plane_force(two, b)[2:].sum())


def test_windward_drift_feeds_on_the_lower_roof():
    roof = step(wall=3.0, lower_run=40.0)
    case = named(snow_cases(roof, SITE), "windward drift at S1, wind toward N")
    found = drift.windward_drift(drift.drift_height(PG, 40.0, 0.5), FLAT, 3.0, GAMMA)
    assert found.width == pytest.approx(8.0 * float(found.height))
    surcharge = plane_force(roof, case)[2] - FLAT * 40.0 * 30.0
    assert surcharge == pytest.approx(0.5 * float(found.pressure * found.width) * 30.0)


def test_a_gap_moves_both_drifts():
    """7.7.2: leeward (6 h - s) / 6 at the edge; windward loses what falls into the gap."""
    roof = step(wall=2.0, gap=3.0, lower_run=40.0)
    snow = snow_cases(roof, SITE)
    lee, wind = named(snow, "leeward drift"), named(snow, "windward drift")
    found = drift.adjacent_drift(drift.drift_height(PG, 30.0, 0.5), FLAT, 2.0, 3.0, GAMMA)
    assert pressure(lee, 2, (15.0, -3.0 - 1e-9))[0] == pytest.approx(FLAT + float(found.pressure))
    full = drift.windward_drift(drift.drift_height(PG, 40.0, 0.5), FLAT, 2.0, GAMMA)
    rest = 1.0 - 3.0 / float(full.width)
    surcharge = plane_force(roof, wind)[2] - FLAT * 40.0 * 30.0
    assert surcharge == pytest.approx(0.5 * float(full.pressure * full.width) * rest**2 * 30.0)


def test_low_walls_have_no_drift_and_say_so():
    snow = snow_cases(step(wall=0.5), SITE)
    assert not [case for case in snow.cases if "drift" in case.name]
    assert [why for name, why in snow.skipped if "drift" in name and "below 0.2" in why]


def test_far_roofs_have_no_drift_and_say_so():
    """7.7.2: none from 6 h on, nor from 20 ft on; windward snow falls into a gap wider than the drift."""
    for wall, gap in ((0.9, 5.5), (9.0, 6.2)):
        snow = snow_cases(step(wall=wall, gap=gap, lower_run=3.0), SITE)
        assert not [case for case in snow.cases if case.name.startswith("leeward")]
        assert [why for name, why in snow.skipped if name.startswith("leeward") and "7.7" in why]


def test_meeting_drifts_count_the_larger_at_each_point():
    """7.7.3: in an inner corner the deeper drift counts, not the sum."""
    roof = corner()
    snow = snow_cases(roof, SITE)
    alone = [case for case in snow.cases if case.name.startswith(("leeward drift", "windward drift"))]
    both = named(snow, "drifts together")
    assert both.notes[0] == "The drifts that meet: at the walls facing S and W."
    points = np.random.default_rng(1).uniform(0.0, 20.0, (400, 2))
    each = np.max([pressure(case, 2, *points) for case in alone], axis=0)
    assert len(alone) == 4
    assert pressure(both, 2, *points) == pytest.approx(each)


def test_sliding_snow_weighs_0_4_p_f_w_for_each_meter_of_eave():
    """7.9, p_f and W of the upper roof."""
    roof = step(wall=3.0, lower_run=12.0, upper_run=15.0, length=30.0)
    case = named(snow_cases(roof, SITE), "sliding from S1")
    surcharge = plane_force(roof, case)[2] - FLAT * 12.0 * 30.0
    assert surcharge == pytest.approx(0.4 * FLAT * 15.0 * 30.0, rel=1e-4)
    inside, outside = pressure(case, 2, (15.0, -15.0 * FOOT + 0.01), (15.0, -15.0 * FOOT - 0.01))
    assert inside > outside == pytest.approx(FLAT)


@pytest.mark.parametrize(("lower_run", "gap"), [(2.0, 0.0), (12.0, 1.5)])
def test_short_or_separate_lower_roofs_catch_their_share(lower_run, gap):
    roof = step(wall=3.0, lower_run=lower_run, gap=gap)
    case = named(snow_cases(roof, SITE), "sliding from S1")
    caught = min(lower_run, 15.0 * FOOT - gap) / (15.0 * FOOT)
    surcharge = plane_force(roof, case)[2] - FLAT * lower_run * 30.0
    assert surcharge == pytest.approx(0.4 * FLAT * 15.0 * caught * 30.0, rel=1e-4)


def test_snow_does_not_slide_over_a_gable_end_nor_from_held_planes_when_told():
    rise = 4.0 + 5.0 * np.tan(np.radians(20.0))
    upper = gable_faces(10.0, 5.0, 20.0, base=4.0)
    lower = [(10, 0, 0), (30, 0, 0), (30, 10, 0), (10, 10, 0)]
    joints = [
        (2, 0, (10, 5, 0), (10, 0, 0), (rise, 4.0), 0.0),
        (2, 1, (10, 10, 0), (10, 5, 0), (4.0, rise), 0.0),
    ]
    snow = snow_cases(assemble([*upper, lower], ("S1", "N1", "F1"), joints), SITE)
    assert not [case for case in snow.cases if case.name.startswith("sliding")]
    assert len([case for case in snow.cases if case.name.startswith("leeward drift")]) == 1
    told = replace(SITE, upper_roof_retained=True)
    assert any(case.name == "sliding from S1" for case in snow_cases(step(), told).cases)
    assert any(case.name == "sliding from S1" for case in snow_cases(step(), SITE, {0}).cases)
    assert not any(case.name == "sliding from S1" for case in snow_cases(step(), told, {0}).cases)
    for site, had_no_effect in ((told, True), (SITE, False)):
        notes = named(snow_cases(step(), site), "sliding from S1").notes
        assert any("no row stands on S1" in note for note in notes) is had_no_effect


def test_minimum_load_is_for_low_slopes_only():
    roof = shed(slope=10.0)
    assert plane_force(roof, named(snow_cases(roof, SITE), "minimum")) == pytest.approx([30.0 * PSF * 60.0])
    why = "no plane is below 15 degrees, no curved roof below 10 (7.3.3)"
    assert ("minimum", why) in snow_cases(shed(), SITE).skipped


def test_rain_on_snow_adds_8_psf_to_balanced_snow():
    site = replace(SITE, ground_snow=20.0 * PSF)
    roof = shed(slope=1.0, run=20.0)
    snow = snow_cases(roof, site)
    extra = plane_force(roof, named(snow, "rain on snow")) - plane_force(roof, named(snow, "balanced"))
    assert extra == pytest.approx(8.0 * PSF * roof.planes.plan_area)


def test_level_valley_between_parallel_ridges():
    """7.6.3: mean of 2 p_f / C_e and 0.5 p_f on both sides of the valley; outer slopes as balanced."""
    first, second = (gable_faces(20.0, 6.0, 25.0, y0=y) for y in (0.0, 12.0))
    roof = assemble([*first, *second], ("S1", "N1", "S2", "N2"))
    case = named(snow_cases(roof, SITE), "unbalanced, snow in level valleys")
    mean = 0.5 * (2.0 + 0.5)
    assert plane_force(roof, case) / (FLAT * 120.0) == pytest.approx([1.0, mean, mean, 1.0])
    assert pressure(case, 1, (10.0, 12.0 - 1e-9))[0] == pytest.approx(2.0 * FLAT)


def test_planes_that_end_at_a_valley_are_obstructed():
    roof = ell(slope=25.0)
    case = snow_cases(roof, replace(SITE, slippery=True)).cases[0]
    area = roof.planes.plan_area
    reduced = float(asce.slope_factor(np.radians(25.0), 1.2, True))
    assert plane_force(roof, case) / area / FLAT == pytest.approx([1.0, reduced, 1.0, 1.0, 1.0])


def test_a_wall_of_changing_height_counts_with_its_greatest():
    roof = step(wall=(1.2, 1.5), lower_run=20.0)
    clear = 1.5 - FLAT / GAMMA
    assert clear < drift.drift_height(PG, 30.0, 0.5)
    case = named(snow_cases(roof, SITE), "leeward drift")
    assert pressure(case, 2, (15.0, -1e-9))[0] == pytest.approx(FLAT + clear * GAMMA)


def test_roof_over_the_wall_feeds_the_drift_to_its_eave():
    plain, over = (named(snow_cases(step(overhang=o), SITE), "leeward drift") for o in (0.0, 0.6))
    assert pressure(over, 2, (15.0, 0.6 - 1e-9)) == pytest.approx(pressure(plain, 2, (15.0, -1e-9)))


def test_drifts_of_a_bent_wall_do_not_add_up():
    roof = bent()
    case = named(snow_cases(roof, SITE), "leeward drift")
    found = drift.leeward_drift(drift.drift_height(PG, 30.0, 0.5), FLAT, 4.0, GAMMA)
    x, y = 15.04, -3.0
    beside = FLAT + float(found.pressure) * (1.0 - 3.0 / float(found.width))
    assert pressure(case, 2, (x, y))[0] == pytest.approx(beside, rel=1e-3)


def test_planes_that_fall_toward_a_wall_are_obstructed():
    """No slippery reduction where the snow slides against the higher building."""
    site = replace(SITE, slippery=True)
    away, toward = (snow_cases(step(lower_slope=tilt, wall=8.0), site).cases[0] for tilt in (25.0, -25.0))
    reduced = float(asce.slope_factor(np.radians(25.0), 1.2, True))
    assert pressure(away, 2, (15.0, -6.0)) == pytest.approx(reduced * FLAT)
    assert pressure(toward, 2, (15.0, -6.0)) == pytest.approx(FLAT)


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_snow_above_a_pitch_break_is_held_by_the_rows_below(order):
    roof = broken(order)
    site = replace(SITE, slippery=True)
    lower, upper = roof.planes.name.index("S1"), roof.planes.name.index("S2")
    full = float(asce.slope_factor(np.radians(50.0), 1.2, False))
    free = float(asce.slope_factor(np.radians(50.0), 1.2, True))
    for retained, factor in (({lower}, full), (set(), free)):
        case = snow_cases(roof, site, retained).cases[0]
        assert plane_force(roof, case)[upper] == pytest.approx(factor * FLAT * 20.0)
    below = plane_force(roof, snow_cases(roof, site, {upper}).cases[0])[lower]
    assert below == pytest.approx(float(asce.slope_factor(np.radians(20.0), 1.2, True)) * FLAT * 40.0)
