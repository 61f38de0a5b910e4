"""EN 1991-1-3 on whole roofs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from snow_roofs import (
    assemble,
    bent,
    broken,
    court,
    ell,
    gable,
    hip,
    named,
    plane_force,
    pressure,
    saw_tooth,
    shed,
    step,
)

from roofmodel.project.obstacle_schema import ParapetTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow import Asce16Site, AsceSite, EnSite, NbccSite, snow_cases
from roofmodel.snow import en1991_1_3 as en
from roofmodel.snow.cases import LoadLevel
from roofmodel.surface import EdgeKind
from roofmodel.units import SI

SK = 1500.0
SITE = EnSite(ground_snow=SK)


def test_duopitch_arrangements(check):
    """O-15: Steel Buildings in Europe, Part 3 Actions, Appendix A, sheet 3."""
    given_, wanted, tol = check("O-15")
    roof = gable(length=10.0, run=5.0, slope=given_["alpha1_deg"])
    snow = snow_cases(roof, replace(SITE, ground_snow=given_["sk_kPa"] * 1000.0))
    for name, key in (("balanced", "s_i_kPa"), ("unbalanced, wind toward N", "s_ii_kPa")):
        load = plane_force(roof, named(snow, name)) / roof.planes.plan_area / 1000.0
        assert load == pytest.approx(wanted[key], rel=tol)
    load = plane_force(roof, named(snow, "unbalanced, wind toward S")) / roof.planes.plan_area / 1000.0
    assert load == pytest.approx(wanted["s_iii_kPa"], rel=tol)


def test_hip_halves_each_side_in_turn():
    roof = hip()
    cases = [case for case in snow_cases(roof, SITE).cases if case.name.startswith("unbalanced")]
    load = np.array([plane_force(roof, case) / roof.planes.plan_area for case in cases]) / (0.8 * SK)
    assert np.sort(load, axis=None) == pytest.approx(np.repeat([0.5, 1.0], [4, 12]))
    assert load.min(axis=0) == pytest.approx(0.5)


def test_monopitch_has_one_arrangement():
    snow = snow_cases(shed(), SITE)
    assert [case.name for case in snow.cases] == ["balanced"]


def test_valley_takes_mu_2_and_falls_to_mu_1():
    roof = ell(slope=25.0)
    case = named(snow_cases(roof, SITE), "snow in the valleys")
    mu_2 = float(en.mu_2(np.radians(25.0)))
    valley = [(6.0 + t, t) for t in (0.5, 2.0, 3.5)]
    for plane in (0, 2):
        assert pressure(case, plane, *valley) == pytest.approx(mu_2 * SK)
    assert pressure(case, 2, (10.0 - 1e-9, -4.0 + 1e-9))[0] == pytest.approx(0.8 * SK, rel=1e-6)
    assert pressure(case, 2, (8.0, -9.0))[0] == pytest.approx(0.8 * SK)
    force = plane_force(roof, case)
    assert force[0] == pytest.approx(force[4])
    assert force[2] == pytest.approx(force[3])


def test_drift_below_a_taller_roof():
    """5.3.6: mu_2 at the wall, 0.8 at l_s, (mu_2 - 0.8) s_k l_s / 2 in the triangle."""
    roof = step(wall=4.0, lower_run=12.0, upper_run=8.0, length=20.0)
    case = named(snow_cases(roof, SITE), "drift below S1")
    slide = float(en.mu_slide(0.8, np.radians(20.0), 8.0, 8.0))
    mu_2 = float(en.mu_wind(16.0, 12.0, 4.0, 4.0, 2000.0, SK)) + slide
    assert mu_2 == pytest.approx(4.3)  # the numbers of O-44
    wall, end = pressure(case, 2, (10.0, -1e-9), (10.0, -8.001))
    assert wall == pytest.approx(mu_2 * SK, rel=1e-4)
    assert end == pytest.approx(0.8 * SK)
    total = 0.8 * SK * 12.0 * 20.0 + 0.5 * (mu_2 - 0.8) * SK * 8.0 * 20.0
    assert plane_force(roof, case)[2] == pytest.approx(total, rel=1e-4)


def test_short_lower_roof_is_interpolated():
    """5.3.6(1): where b_2 < l_s the coefficient at the roof's end lies on the line to l_s."""
    roof = step(wall=4.0, lower_run=3.0, upper_run=8.0, length=20.0)
    case = named(snow_cases(roof, SITE), "drift below S1")
    wall, end = pressure(case, 2, (10.0, -1e-9), (10.0, -3.0 + 1e-9)) / SK
    assert end == pytest.approx(wall - (wall - 0.8) * 3.0 / 8.0)


def test_snow_slides_onto_the_lower_roof_only_when_nothing_says_otherwise():
    told = replace(SITE, upper_roof_retained=True)
    peaks = [
        pressure(named(snow_cases(step(wall=4.0), site, held), "drift below S1"), 2, (15.0, -1e-9))[0]
        for site, held in ((SITE, ()), (SITE, {0}), (told, ()), (told, {0}))
    ]
    assert peaks[0] == pytest.approx(peaks[1])
    assert peaks[0] == pytest.approx(peaks[2])
    assert peaks[3] < peaks[0]


def test_a_declared_row_that_is_not_there_is_told():
    told = replace(SITE, upper_roof_retained=True)
    with_row, without, undeclared = (
        named(snow_cases(step(wall=4.0), site, held), "drift below S1").notes
        for site, held in ((told, {0}), (told, ()), (SITE, ()))
    )
    assert any("had no effect here: no row stands on S1" in note for note in without)
    assert not any("had no effect" in note for note in (*with_row, *undeclared))


@pytest.mark.parametrize("steep", [35.0, 45.0, 59.0])
def test_a_steep_plane_that_feeds_a_retained_one_over_a_valley_keeps_0_8(steep):
    """5.3.3(2), from memory: what holds the snow of S1 stands on W1, across the valley between them.

    The steep plane falls to the valley; the plane on the ridge's other side does not and sheds.
    """
    roof = ell(slope=steep)
    south, west, north = (roof.planes.name.index(name) for name in ("S1", "W1", "N1"))
    area = roof.planes.plan_area
    held = plane_force(roof, snow_cases(roof, SITE, {west}).cases[0]) / area / SK
    free = plane_force(roof, snow_cases(roof, SITE).cases[0]) / area / SK
    shed_mu = 0.8 * (60.0 - steep) / 30.0
    assert held[[south, west]] == pytest.approx(0.8)
    assert held[north] == pytest.approx(shed_mu)
    assert free == pytest.approx(shed_mu)


def test_exceptional_snow_scales_the_undrifted_load_and_needs_no_factor():
    """4.3: s_Ad = C_esl s_k."""
    roof = gable()
    snow = snow_cases(roof, replace(SITE, exceptional_coefficient=2.0))
    usual, rare = named(snow, "balanced"), named(snow, "exceptional, balanced")
    assert plane_force(roof, rare) == pytest.approx(2.0 * plane_force(roof, usual))
    assert (usual.level, rare.level) == (LoadLevel.CHARACTERISTIC, LoadLevel.STRENGTH)
    assert len(snow.cases) == 6


def test_drift_begins_at_the_wall_across_a_gap():
    touching, apart = (
        named(snow_cases(step(wall=4.0, gap=gap), SITE), "drift below S1") for gap in (0.0, 2.0)
    )
    for x in (2.001, 5.0, 7.9):
        assert pressure(apart, 2, (15.0, -x)) == pytest.approx(pressure(touching, 2, (15.0, -x)), rel=1e-4)


def test_steep_upper_roof_sheds_its_own_mu_1_and_none_is_lost_at_the_wall():
    roof = step(wall=4.0, lower_run=12.0, upper_run=8.0, length=20.0, upper_slope=45.0)
    case = named(snow_cases(roof, SITE), "drift below S1")
    mu_2 = float(en.mu_wind(16.0, 12.0, 4.0, 4.0, 2000.0, SK)) + 0.4 * 8.0 / 8.0
    assert pressure(case, 2, (10.0, -1e-9))[0] == pytest.approx(mu_2 * SK, rel=1e-6)


def test_a_wall_of_changing_height_is_taken_on_the_safe_side():
    """Spread by the least, cap and length by the greatest height: never below either wall alone."""
    mixed, low, high = (
        named(snow_cases(step(wall=wall, upper_slope=10.0), SITE), "drift below S1")
        for wall in ((4.5, 9.0), 4.5, 9.0)
    )
    for x in np.linspace(0.001, 11.9, 12):
        here, first, second = (pressure(case, 2, (15.0, -x))[0] for case in (mixed, low, high))
        assert here >= max(first, second) - 1e-6
    assert pressure(mixed, 2, (15.0, -0.001))[0] > pressure(high, 2, (15.0, -0.001))[0]


def test_drifts_of_a_bent_wall_do_not_add_up():
    case = named(snow_cases(bent(), SITE), "drift below S1")
    near, beside = pressure(case, 2, (15.04, -3.0), (16.5, -3.0))
    assert near == pytest.approx(beside, rel=1e-2)


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_snow_above_a_pitch_break_is_held_by_the_guards_below(order):
    roof = broken(order)
    lower, upper = roof.planes.name.index("S1"), roof.planes.name.index("S2")
    held = plane_force(roof, snow_cases(roof, SITE, {lower}).cases[0])[upper]
    free = plane_force(roof, snow_cases(roof, SITE).cases[0])[upper]
    assert held == pytest.approx(0.8 * SK * 20.0)
    assert free == pytest.approx(0.8 / 3.0 * SK * 20.0)


def test_walls_that_meet_take_the_larger_drift_and_both_slides():
    """Judgment by 7.7.3 of ASCE/SEI 7 for what is blown; two roofs that shed give both their snow."""
    roof = court()
    snow = snow_cases(roof, SITE)
    together = named(snow, "drifts together")
    first, second = (case for case in snow.cases if case.name.startswith("drift below"))
    values = {v.symbol: v.value for v in first.zones[-1].values}
    assert values["mu_s"] == pytest.approx(0.8)
    at = [(12.0 - 1.001, 12.0 - 1.0), (12.0 - 1.0, 12.0 - 5.0), (3.0, 3.0)]
    share = 1.0 - np.array([[1.001, 1.0], [1.0, 5.0], [9.0, 9.0]]) / values["l_s"]
    share = np.maximum(share, 0.0)
    wanted = 0.8 + (values["mu_w"] - 0.8) * share.max(axis=1) + 0.8 * share.sum(axis=1)
    assert pressure(together, 2, *at) == pytest.approx(wanted * SK)
    one, two = (plane_force(roof, case)[2] for case in (first, second))
    flat = plane_force(roof, snow.cases[0])[2]
    assert max(one, two) < plane_force(roof, together)[2] < one + two - flat


def test_three_walls_make_one_case_together():
    faces = [
        [(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0)],
        [(0, 10, 4), (10, 10, 4), (10, 20, 4), (0, 20, 4)],
        [(10, 0, 4), (20, 0, 4), (20, 10, 4), (10, 10, 4)],
        [(-10, 0, 4), (0, 0, 4), (0, 10, 4), (-10, 10, 4)],
    ]
    joints = [
        (0, 1, (10, 10, 0), (0, 10, 0), (4.0, 4.0), 0.0),
        (0, 2, (10, 0, 0), (10, 10, 0), (4.0, 4.0), 0.0),
        (0, 3, (0, 10, 0), (0, 0, 0), (4.0, 4.0), 0.0),
    ]
    roof = assemble(faces, ("F1", "F2", "F3", "F4"), joints)
    snow = snow_cases(roof, SITE)
    together = named(snow, "drifts together")
    points = np.random.default_rng(4).uniform(0.05, 9.95, (200, 2))
    singles = [pressure(case, 0, *points) for case in snow.cases if case.name.startswith("drift below")]
    assert len(singles) == 3
    assert pressure(together, 0, *points) == pytest.approx(np.max(singles, axis=0), rel=1e-9)


def test_saw_teeth_take_mu_2_at_the_foot_of_the_upright_side():
    """5.3.4: mean slope (20 + 90) / 2 > 30 degrees, mu_2 = 1.6 at the valley and mu_1 at the ridge."""
    roof = saw_tooth()
    case = named(snow_cases(roof, SITE), "snow in the valleys")
    force = plane_force(roof, case) / roof.planes.plan_area / SK
    assert np.sort(force) == pytest.approx([0.8, 1.2, 1.2])
    at_wall = max(
        (zone.pressure[0] + shapely.get_coordinates(zone.polygon) @ zone.pressure[1:]).max()
        for zone in case.zones
        if zone.name.startswith("valley")
    )
    assert at_wall == pytest.approx(0.8 * SK)
    assert any("upright" in note for note in case.notes)
    assert not any("saw" in name for name, _ in snow_cases(roof, SITE).skipped)


def test_a_steep_plane_that_falls_toward_a_wall_keeps_0_8():
    """5.3.3(2): the wall keeps the snow from sliding off; the lowest tooth sheds over the eave."""
    roof = saw_tooth(degrees=45.0)
    mu = plane_force(roof, snow_cases(roof, SITE).cases[0]) / roof.planes.plan_area / SK
    assert np.sort(mu) == pytest.approx([0.4, 0.8, 0.8])


@pytest.mark.parametrize(
    "site",
    [
        SITE,
        Asce16Site(ground_snow=1500.0, risk_category="II", slippery=True),
        AsceSite(ground_snow=1500.0, risk_category="II", winter_wind=0.5, slippery=True),
        NbccSite(ground_snow=1500.0, associated_rain=300.0, importance="normal", slippery=True),
    ],
    ids=lambda site: site.standard,
)
def test_a_parapet_on_the_upper_edge_makes_the_wall_higher(site):
    """H reaches to the parapet's top: the drift is that of a wall so much higher, and says so."""

    def two(wall):
        house = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 40.0], [0.0, 40.0]])
        porch = np.array([[0.0, -9.0], [30.0, -9.0], [30.0, 0.0], [0.0, 0.0]])
        return build_roof(
            [
                RoofPart("flat", house, np.zeros(0), 3.0 + wall),
                RoofPart("flat", porch, np.zeros(0), 3.0),
            ]
        )

    def drift(roof):
        cases = [c for c in snow_cases(roof, site).cases if c.name.startswith(("drift below", "leeward"))]
        (case,) = cases
        heights = {v.value for z in case.zones for v in z.values if v.symbol == "h"}
        lower = int(roof.steps.lower[0])
        return case, plane_force(roof, case)[lower], max(heights)

    plain, high = two(1.2), two(2.0)
    edge = plain.edges.name[int(plain.steps.upper_edge[0])]
    table = ParapetTable.model_validate({"edge": edge, "height": "0.8 m"})
    walled = replace(plain, obstacles=place_obstacles(plain, [table], [], SI))
    without, load, height = drift(plain)
    with_one, load_with, height_with = drift(walled)
    _, load_high, _ = drift(high)
    assert (height, height_with) == (pytest.approx(1.2), pytest.approx(2.0))
    assert load_with > load
    if site is SITE:
        assert load_with >= load_high * (1.0 - 1e-9)  # mu_w by the least height, which is safe
    else:
        assert load_with == pytest.approx(load_high)
    assert any("parapet on the upper roof's edge" in note for note in with_one.notes)
    assert not any("parapet on the upper roof's edge" in note for note in without.notes)
    back = edge_at(plain, (0.0, 1.0))
    table = ParapetTable.model_validate({"edge": back, "height": "0.8 m"})
    elsewhere = replace(plain, obstacles=place_obstacles(plain, [table], [], SI))
    assert drift(elsewhere)[1] == pytest.approx(load)


def edge_at(roof, way):
    """Free edge whose middle lies farthest that way."""
    middle = 0.5 * (roof.edges.start + roof.edges.end)[:, :2]
    return roof.edges.name[int(np.argmax(middle @ np.array(way)))]


def bent_above(lower, upper, runs=(1.75, 5.25), wall=12.0, **site):
    """Values of the drift below a slope of two pitches (degrees), and the snow of the whole roof."""
    rise = [run * np.tan(np.radians(pitch)) for run, pitch in zip(runs, (lower, upper), strict=True)]
    y, z = np.cumsum([0.0, *runs]), wall + np.cumsum([0.0, *rise])
    faces = [
        [(0, y[k], z[k]), (20, y[k], z[k]), (20, y[k + 1], z[k + 1]), (0, y[k + 1], z[k + 1])] for k in (0, 1)
    ]
    faces.append([(0, -20, -3), (20, -20, -3), (20, 0, 0), (0, 0, 0)])
    roof = assemble(faces, ("S1", "S2", "S3"), [(2, 0, (20, 0, 0), (0, 0, 0), (wall, wall), 0.0)])
    snow = snow_cases(roof, replace(SITE, **site))
    case = named(snow, "drift below S1")
    return {v.symbol: v.value for z in case.zones for v in z.values if z.name.startswith("drift")}, case


@pytest.mark.parametrize(
    ("lower", "upper", "brought"),
    [
        (55.0, 25.0, 1.75 * 0.4 / 3.0 + 5.25 * 0.8),
        (65.0, 25.0, 5.25 * 0.8),
        (25.0, 40.0, 1.75 * 0.8 + 5.25 * 1.6 / 3.0),
        (10.0, 35.0, 1.75 * 0.8 + 5.25 * 2.0 / 3.0),
        (35.0, 10.0, 1.75 * 2.0 / 3.0 + 5.25 * 0.8),
        (14.0, 10.0, 0.0),
    ],
)
def test_a_bent_upper_slope_sheds_what_lies_on_all_its_facets(lower, upper, brought):
    """Half of the sum of mu_1 b_s over the facets as a triangle over l_s; 15 degrees for the steepest."""
    values, case = bent_above(lower, upper)
    assert values["mu_s"] == pytest.approx(brought / 15.0)
    assert any("summed over them" in note for note in case.notes)


def test_a_kink_of_no_angle_changes_nothing():
    bent, _ = bent_above(25.0, 25.0 + 1e-5)
    assert bent["mu_s"] == pytest.approx(7.0 * 0.8 / 15.0)
    assert bent["b_s"] == pytest.approx(7.0)


def test_a_mansard_above_a_lower_roof_by_hand():
    """65 and 25 degrees, 2.5 m up to the break: 0.8 (7 - 2.5 / tan 65) over l_s = 15 m."""
    box = [np.array([(0, y), (20, y), (20, y + d), (0, y + d)], float) for y, d in ((8.0, 14.0), (0.0, 8.0))]
    roof = build_roof(
        [
            RoofPart(
                "mansard",
                box[0],
                np.radians([65.0] * 4),
                15.0,
                upper_pitch=np.radians(25.0),
                break_height=2.5,
            ),
            RoofPart("shed", box[1], np.radians([5.0]), 3.0, fall_azimuth=np.pi),
        ]
    )
    cases = [
        c for c in snow_cases(roof, SITE).cases if c.name.startswith("drift below") and c.name.endswith("S")
    ]
    (slide,) = {v.value for c in cases for z in c.zones for v in z.values if v.symbol == "mu_s"}
    assert slide == pytest.approx(0.8 * (7.0 - 2.5 / np.tan(np.radians(65.0))) / 15.0, rel=1e-3)


@pytest.mark.parametrize("facets", [12, 30])
def test_a_steep_vault_sheds_what_lies_above_its_tangent_of_60_degrees(facets):
    """5.3.5: mu_1 = 0.8 between tangents of 60 degrees, within one facet; 7 m of half span, rise 6.5 m."""
    box = [np.array([(0, y), (20, y), (20, y + d), (0, y + d)], float) for y, d in ((8.0, 14.0), (0.0, 8.0))]
    roof = build_roof(
        [
            RoofPart("vault", box[0], np.zeros(0), 15.0, rise=6.5, facets=facets),
            RoofPart("shed", box[1], np.radians([5.0]), 3.0, fall_azimuth=np.pi),
        ]
    )
    cases = [
        c for c in snow_cases(roof, SITE).cases if c.name.startswith("drift below") and c.name.endswith("S")
    ]
    (slide,) = {v.value for c in cases for z in c.zones for v in z.values if v.symbol == "mu_s"}
    radius = (7.0**2 + 6.5**2) / 13.0
    facet = 2.0 * radius * np.arcsin(7.0 / radius) / facets
    assert slide == pytest.approx(0.8 * radius * np.sin(np.radians(60.0)) / 15.0, abs=0.8 * facet / 15.0)


def test_valley_snow_runs_on_radially_above_the_head():
    """A wing: between the two lines square to the valleys mu falls from mu_2 at their head as a cone does."""
    main = np.array([[0.0, 0.0], [24.0, 0.0], [24.0, 14.0], [0.0, 14.0]])
    wing = np.array([[9.0, -5.0], [15.0, -5.0], [15.0, 7.0], [9.0, 7.0]])
    pitch = np.radians(35.0)
    roof = build_roof(
        [
            RoofPart("gable", main, np.array([pitch, np.nan, pitch, np.nan]), 3.0),
            RoofPart("gable", wing, np.array([np.nan, pitch, np.nan, pitch]), 3.0),
        ]
    )
    case = named(snow_cases(roof, SITE), "snow in the valleys")
    zone = next(z for z in case.zones if z.name == "valley snow on S1")
    width = case_value(zone, "b")
    valleys = [e for e, kind in enumerate(roof.edges.kind) if kind is EdgeKind.VALLEY]
    ends = np.concatenate([roof.edges.start[valleys], roof.edges.end[valleys]])
    head = ends[ends[:, 2].argmax(), :2]
    mu_1, mu_2 = (case_value(zone, symbol) for symbol in ("mu_1", "mu_2"))
    plane = roof.planes.name.index("S1")
    turn = np.radians(np.linspace(46.3, 133.1, 18))  # up the slope is 90
    for r in np.linspace(0.05, 2.5, 7):
        places = head + r * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        cone = mu_1 + (mu_2 - mu_1) * (1.0 - r / width)
        got = np.asarray(pressure(case, plane, *places.tolist())) / SK
        assert (got >= cone - 1e-6).all()
        assert (got <= cone + 0.01 * (mu_2 - mu_1)).all()


def case_value(zone, symbol):
    return next(value.value for value in zone.values if value.symbol == symbol)
