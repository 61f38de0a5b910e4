"""Drifts around outside corners, NBCC 2020 4.1.6.8.(1), ASCE by judgment: quarters of cones, by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from snow_roofs import corner, plane_force

from roofmodel.project.obstacle_schema import ParapetTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow import Asce16Site, AsceSite, EnSite, NbccSite, snow_cases
from roofmodel.snow.cases import case_pressure_at
from roofmodel.snow.corners import corner_slices, outside_corners
from roofmodel.units import SYSTEMS

SITE = NbccSite(ground_snow=2000.0, associated_rain=200.0, importance="normal", slippery=False)


def tower(turn=0.0, mirror=1.0, wide=16.0, deep=10.0):
    """Flat roof of 40 x 40 m around a flat tower 3.5 m higher."""

    def box(a, b):
        cos, sin = np.cos(turn), np.sin(turn)
        ring = np.array([(-a, -b), (a, -b), (a, b), (-a, b)], float) * [mirror, 1.0]
        return ring @ np.array([[cos, sin], [-sin, cos]])

    parts = [RoofPart("flat", box(20.0, 20.0), eave_height=3.0)]
    return build_roof([*parts, RoofPart("flat", box(0.5 * wide, 0.5 * deep), eave_height=6.5)])


def drifts(roof, site=SITE):
    snow = snow_cases(roof, site)
    return {case.name: case for case in snow.cases if case.name.startswith("drift")}, snow.cases[0]


@pytest.mark.parametrize("turned", [np.radians(90.0), np.radians(30.0)])
def test_slices_weigh_a_sector_of_a_cone(turned):
    first = np.array([0.0, 1.0])
    second = np.array([np.sin(turned), np.cos(turned)])
    at, both = np.array([[3.0, -2.0]]), (first[None], second[None])
    slices = corner_slices(at, *both, np.array([1000.0]), np.array([6.0]), np.zeros(1))
    weight = 0.0
    for polygon, law in zip(slices.polygon, slices.pressure, strict=True):
        center = np.array(polygon.centroid.coords[0])
        weight += polygon.area * (law @ [1.0, *center])
        assert law @ [1.0, 3.0, -2.0] == pytest.approx(1000.0)
    cone = turned * 6.0**2 / 6.0 * 1000.0
    assert cone < weight < 1.006 * cone
    whole = shapely.union_all(slices.polygon)
    assert whole.area == pytest.approx(0.5 * turned * 36.0, rel=6e-3)
    assert shapely.symmetric_difference(whole, slices.whole[0]).area < 1e-9


def test_outside_corners_are_told_from_inside_ones():
    ring = np.array([(0, 0), (0, 5), (8, 5), (8, 0)], float)  # clockwise: the roof around it to the left
    assert len(outside_corners(ring, np.roll(ring, -1, axis=0))) == 4
    back = ring[::-1]
    assert len(outside_corners(back, np.roll(back, -1, axis=0))) == 0


def test_a_tower_carries_straight_drifts_and_a_quarter_cone_at_each_corner():
    roof = tower()
    cases, balanced = drifts(roof)
    assert len(cases) == 4 + 1  # each wall, and all four, since they meet around the corners
    flat = int(np.argmax(roof.planes.plan_area))
    base = plane_force(roof, balanced)[flat]
    for name, case in cases.items():
        values = {v.symbol: v.value for z in case.zones if z.name.startswith("drift") for v in z.values}
        peak, length = (values["C_a0"] - 1.0) * values["C_b"] * 2000.0, values["x_d"]
        if name.startswith("drift below"):
            wall = 16.0 if name.endswith(("N", "S")) else 10.0
            wanted = 0.5 * peak * length * wall + 2.0 * np.pi / 12.0 * peak * length**2
        else:
            wanted = 0.5 * peak * length * 52.0 + 4.0 * np.pi / 12.0 * peak * length**2
        extra = plane_force(roof, case)[flat] - base
        assert wanted < extra < 1.004 * wanted  # slices never below the quarter cones
        assert any(zone.clause.endswith("4.1.6.8") for zone in case.zones)


@pytest.mark.parametrize("change", [{"turn": np.radians(37.0)}, {"mirror": -1.0}])
def test_turned_and_mirrored_towers_carry_the_same(change):
    loads = []
    for roof in (tower(), tower(**change)):
        cases, _ = drifts(roof)
        loads.append(sorted(plane_force(roof, case).sum() for case in cases.values()))
    assert loads[1] == pytest.approx(loads[0], rel=1e-6)


def test_more_ground_snow_is_more_around_corners():
    roof = tower()
    low, high = (drifts(roof, replace(SITE, ground_snow=ss))[0] for ss in (1500.0, 2000.0))
    for name in low:
        assert plane_force(roof, high[name]).sum() > plane_force(roof, low[name]).sum()


def test_inside_corners_have_no_cone():
    cases, _ = drifts(corner())
    assert not [z for case in cases.values() for z in case.zones if z.clause.endswith("4.1.6.8")]


ASCE = [
    AsceSite(ground_snow=2000.0, risk_category="II", winter_wind=0.5, slippery=False),
    Asce16Site(ground_snow=2000.0, risk_category="II", slippery=False),
]


@pytest.mark.parametrize("site", ASCE, ids=lambda s: s.standard)
def test_asce_quadrants_are_bounded_by_the_drifts_of_both_walls(site):
    """At each distance from the corner between the two straight drifts, within the slices' 0.9 percent."""
    roof = tower(wide=24.0, deep=8.0)
    flat = int(np.argmax(roof.planes.plan_area))
    snow = snow_cases(roof, site)
    (case,) = [c for c in snow.cases if c.name.startswith("drifts together")]
    assert any("radially" in note and "Judgment" in note for note in case.notes)
    corner_at = np.array([12.0, 4.0])
    away = np.linspace(0.1, 6.0, 40)

    def drift(origin, way):
        xy = origin + away[:, None] * way
        plane = np.full(len(xy), flat)
        return case_pressure_at(case, xy, plane) - case_pressure_at(snow.cases[0], xy, plane)

    east = drift(corner_at - [0.0, 1e-3], np.array([1.0, 0.0]))  # straight in front of the east wall
    north = drift(corner_at - [1e-3, 0.0], np.array([0.0, 1.0]))
    assert not np.allclose(east, north)
    low, high = np.minimum(east, north), np.maximum(east, north)
    for angle in np.radians([3.0, 20.0, 41.0, 70.0, 87.0]):
        there = drift(corner_at, np.array([np.cos(angle), np.sin(angle)]))
        assert (there >= low - 1.0).all()
        assert (there <= high + 0.01 * high.max()).all()


@pytest.mark.parametrize("site", ASCE, ids=lambda s: s.standard)
def test_each_asce_drift_weighs_its_wall_and_a_quarter_cone_at_each_end(site):
    roof = tower()
    snow = snow_cases(roof, site)
    flat, balanced = int(np.argmax(roof.planes.plan_area)), snow.cases[0]
    for case in snow.cases:
        if not case.name.startswith(("leeward", "windward")):
            continue
        zone = next(z for z in case.zones if z.name.startswith(("leeward", "windward")))
        values = {v.symbol: v.value for v in zone.values}
        wall = 16.0 if case.name.endswith(("N", "S")) else 10.0
        p, w = values["p_d"], values["w"]
        wanted = 0.5 * p * w * wall + 2.0 * np.pi / 12.0 * p * w**2
        extra = plane_force(roof, case)[flat] - plane_force(roof, balanced)[flat]
        assert wanted < extra < 1.006 * wanted


@pytest.mark.parametrize("annex_b", [False, True])
def test_en_drifts_weigh_their_wall_and_a_quarter_cone_at_each_end(annex_b):
    """5.3.6 and B3: none of the quadrants at the tower's corners is bare, and it is said to be judgment."""
    roof, site = tower(wide=9.0), EnSite(ground_snow=1500.0, annex_b=annex_b)
    snow = snow_cases(roof, site)
    flat, balanced = int(np.argmax(roof.planes.plan_area)), snow.cases[0]
    start = "exceptional drift below" if annex_b else "drift below"
    cases = [case for case in snow.cases if case.name.startswith(start)]
    assert len(cases) == 4
    for case in cases:
        zone = next(z for z in case.zones if z.name.startswith(start))
        values = {v.symbol: v.value for v in zone.values}
        wall = 9.0 if case.name.endswith(("N", "S")) else 10.0
        p = 1500.0 * (values["mu_1"] if annex_b else values["mu_w"] - values["mu_1"])
        wanted = 0.5 * p * values["l_s"] * wall + 2.0 * np.pi / 12.0 * p * values["l_s"] ** 2
        extra = plane_force(roof, case)[flat]
        extra -= 0.0 if annex_b else plane_force(roof, balanced)[flat]
        assert wanted < extra < 1.01 * wanted
        assert any("radially" in note and "Judgment" in note for note in case.notes)
    assert not any("outside corners" in name for name, _ in snow.skipped)


def test_en_slid_snow_does_not_run_around_corners():
    """Only what the wind brings does: a tower that sheds on all sides has the cone of one that sheds none."""
    low, steep = (snow_cases(pavilion(pitch), EnSite(ground_snow=1500.0)) for pitch in (10.0, 25.0))
    for snow in (low, steep):
        for case in snow.cases:
            if not case.name.startswith("drift below"):
                continue
            for zone in case.zones:
                if zone.name.endswith("around a corner"):
                    v = {value.symbol: value.value for value in zone.values}
                    top = max(zone.pressure[0] + np.asarray(zone.polygon.exterior.coords) @ zone.pressure[1:])
                    assert top == pytest.approx((v["mu_w"] - v["mu_1"]) * 1500.0)
    assert any(v.symbol == "mu_s" and v.value > 0.1 for c in steep.cases for z in c.zones for v in z.values)


def pavilion(pitch):
    """Hip roof of 12 x 12 m above a flat roof of 40 x 40 m."""

    def box(a):
        return np.array([(-a, -a), (a, -a), (a, a), (-a, a)], float)

    parts = [RoofPart("flat", box(20.0), eave_height=3.0)]
    return build_roof([*parts, RoofPart("hip", box(6.0), np.radians([pitch] * 4), eave_height=7.0)])


def with_parapets(roof, *sides):
    """The roof with parapets of 1.2 m on the edges between two places each."""
    edges = roof.edges
    ends = np.round(np.stack([edges.start, edges.end], axis=1)[..., :2], 3)
    names = [edges.name[k] for side in sides for k in range(len(ends)) if {*map(tuple, ends[k])} == {*side}]
    assert len(names) == len(sides)
    tables = [ParapetTable.model_validate({"edge": name, "height": "1.2 m"}) for name in names]
    return replace(roof, obstacles=place_obstacles(roof, tables, [], SYSTEMS["SI"]))


INNER, ALONG, UP = (14.0, 12.0), ((14.0, 12.0), (30.0, 12.0)), ((14.0, 12.0), (14.0, 30.0))
FREE_ENDS = [
    Asce16Site(ground_snow=4000.0, risk_category="II", slippery=False),
    EnSite(ground_snow=2400.0),
    EnSite(ground_snow=2400.0, annex_b=True),
]


@pytest.mark.parametrize("site", FREE_ENDS, ids=lambda s: f"{s.standard}{getattr(s, 'annex_b', False) or ''}")
def test_a_parapet_that_ends_with_roof_around_it_drifts_around_its_end(site):
    """At the inner corner of an L, in the quadrant beyond: as where a second parapet goes on there."""
    outline = [(0, 0), (30, 0), (30, 12), INNER, (14, 30), (0, 30)]
    bare = build_roof([RoofPart("flat", np.array(outline, float), eave_height=4.0)])
    turn = np.radians(np.linspace(190.0, 260.0, 8))
    place = INNER + np.array([1.0, 2.5])[:, None, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    place = place.reshape(-1, 2)

    def most(roof):
        cases = snow_cases(roof, site).cases
        return np.max([case_pressure_at(case, place, np.zeros(len(place), int)) for case in cases], axis=0)

    roofs = (bare, with_parapets(bare, ALONG), with_parapets(bare, ALONG, UP))
    none, one, both = (most(roof) for roof in roofs)
    assert (one > none + 100.0).any()
    np.testing.assert_allclose(one[:3], both[:3], rtol=0.35)
    assert (one <= both + 1.0).all()


def test_a_parapet_that_ends_at_a_higher_wall_drifts_around_nothing():
    """And one that ends at the building's own corner: no roof lies beyond either end."""
    low = RoofPart("flat", np.array([(0, 0), (20, 0), (20, 10), (0, 10)], float), eave_height=4.0)
    high = RoofPart("flat", np.array([(20, -5), (32, -5), (32, 10), (20, 10)], float), eave_height=9.0)
    roof = with_parapets(build_roof([low, high]), ((0.0, 0.0), (20.0, 0.0)))
    names = [zone.name for case in snow_cases(roof, FREE_ENDS[1]).cases for zone in case.zones]
    assert any("parapet" in name for name in names)
    assert not any("parapet" in name and name.endswith("around a corner") for name in names)
