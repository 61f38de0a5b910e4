"""Domes and cones under ASCE/SEI 7 7.6.4 and NBCC 2020 4.1.6.10, by hand integrals and symmetry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import Point
from snow_roofs import plane_force

from roofmodel.shape.builders import RoofPart, build_roof, regular_footprint
from roofmodel.snow import Asce16Site, AsceSite, NbccSite, snow_cases
from roofmodel.snow import asce7_22 as asce
from roofmodel.snow.asce7_22 import PSF

PG = 2000.0
ASCE = AsceSite(ground_snow=PG, risk_category="II", winter_wind=0.5, slippery=False)
ASCE16 = Asce16Site(ground_snow=1200.0, risk_category="II", slippery=False)
NBCC = NbccSite(ground_snow=2000.0, associated_rain=0.0, importance="normal", slippery=False)
FLAT = 0.7 * 1.2 * PG


def dome(radius=10.0, rise=2.5, sides=32, rings=6, eave=4.0, turn=0.0, shift=(0.0, 0.0)):
    cos, sin = np.cos(turn), np.sin(turn)
    footprint = regular_footprint(np.zeros(2), radius, sides) @ np.array([[cos, -sin], [sin, cos]]) + shift
    return build_roof([RoofPart("dome", footprint, eave_height=eave, rise=rise, rings=rings)])


def cone(pitch, sides=24, radius=6.0):
    footprint = regular_footprint(np.zeros(2), radius, sides)
    return build_roof([RoofPart("hip", footprint, np.full(sides, np.radians(pitch)), 4.0)])


def unbalanced(roof, site, retained=(), kind="dome"):
    cases = snow_cases(roof, site, retained).cases
    return [case for case in cases if case.name.startswith(f"unbalanced on the {kind}")]


def polar(roof, case, distance, degrees):
    """Pressure at a distance from the crown and an angle from the wind's direction. [Pa]."""
    (found,) = roof.domes
    way = case.name.split("wind toward ")[1].split(",")[0]
    names = {"N": 0, "NE": 45, "E": 90, "SE": 135, "S": 180, "SW": 225, "W": 270, "NW": 315}
    azimuth = np.radians((names[way] if way in names else float(way.split()[0])) + np.asarray(degrees, float))
    place = found.center + np.multiply.outer(distance, np.ones_like(azimuth))[..., None] * np.stack(
        [np.sin(azimuth), np.cos(azimuth)], axis=-1
    )
    return np.array([_at(case, xy) for xy in place.reshape(-1, 2)]).reshape(place.shape[:-1])


def _at(case, xy):
    point = Point(xy)
    hit = [zone.pressure @ [1.0, *xy] for zone in case.zones if zone.polygon.buffer(1e-7).covers(point)]
    return np.mean(hit) if hit else 0.0


def test_reasons_of_facets_above_a_held_ring_are_told_once():
    """One sentence for the held facets, one for all others above them; each facet is named once."""
    roof = dome(sides=16, rings=5)
    low = tuple(range(16))
    (balanced, *_) = snow_cases(roof, replace(ASCE, slippery=True), low).cases
    told = [note for note in balanced.notes if "no slippery reduction" in note]
    assert len(told) <= 2 + len(low)
    assert len([note for note in told if "runs onto" in note]) == 1
    whys = {value.note for zone in balanced.zones for value in zone.values if "runs onto" in value.note}
    assert len(whys) == 1  # so that the zones of facets are told together
    named = " ".join(note.partition(" take")[0] for note in told).replace(",", "").split()
    held = set(range(roof.planes.count)) - {i for i, name in enumerate(roof.planes.name) if name not in named}
    assert len(named) == len(set(named)) == len(held)


def test_a_gentle_asce_dome_by_hand():
    """0.5 p_f to 2 p_f / C_e over 90 degrees and half as much over 2 x 22.5: integral 112.5 / 360."""
    roof = dome()
    cases = unbalanced(roof, ASCE)
    assert len(cases) == 8
    mean = (0.5 + 2.0 * 2.0) / 6.0  # of the load times r, integrated over r / R
    total = np.radians(112.5) * 10.0**2 * mean * FLAT
    for case in cases:
        load = plane_force(roof, case).sum()
        assert total * 0.999 < load < 1.03 * total


@pytest.mark.parametrize("site", [ASCE, ASCE16], ids=lambda s: s.standard)
def test_the_sector_of_7_6_4(site):
    roof = dome(rise=5.0)  # 53 degrees at the eave
    found = roof.domes[0]
    case = unbalanced(roof, site)[0]
    values = {v.symbol: v.value for z in case.zones if "dome" in z.name for v in z.values}
    thirty = found.radius * 0.5
    assert values["x_30"] == pytest.approx(thirty)
    peak = 2.0 * values["p_f"] / values["C_e"]
    ahead = polar(roof, case, [1e-3, thirty, found.reach], np.array([-40.0, 0.0, 40.0]))
    wanted = np.array([0.5 * values["p_f"], peak, peak * values["C_s,eave"]])[:, None]
    assert (ahead > 0.999 * wanted).all()
    assert (ahead < wanted + 0.05 * peak).all()
    assert [values["p_crown"], values["p_30"], values["p_eave"]] == pytest.approx(wanted[:, 0])
    assert values["C_s,eave"] < values["C_s"] == 1.0
    taper = polar(roof, case, [thirty], np.array([45.0, 56.25, -56.25, 67.5]))[0]
    assert taper == pytest.approx(peak * np.array([1.0, 0.5, 0.5, 0.0]), abs=0.05 * peak)
    assert not polar(roof, case, [2.0, thirty, 9.0], np.array([70.0, 90.0, 180.0, -100.0])).any()


def test_every_facet_takes_the_whole_load_in_one_wind():
    for sides in (6, 8, 9, 12, 30):
        roof = dome(sides=sides, rings=4)
        outer = [i for i in range(roof.planes.count) if roof.planes.slope[i] > roof.planes.slope.max() - 1e-6]
        loads = np.array([plane_force(roof, case) / roof.planes.plan_area for case in unbalanced(roof, ASCE)])
        best = loads.max(axis=0)[outer]
        # The outermost ring spans from 3/4 of the radius to the eave.
        assert best.min() > 0.99 * best.max()
        assert best.min() > (0.5 + 1.5 * 0.85) * FLAT


@pytest.mark.parametrize("site", [ASCE, ASCE16, NBCC], ids=lambda s: s.standard)
def test_turning_a_dome_changes_nothing(site):
    here, there = dome(sides=12, rings=4), dome(sides=12, rings=4, turn=np.radians(37.0), shift=(50.0, -9.0))
    loads = [sorted(plane_force(r, c).sum() for c in unbalanced(r, site)) for r in (here, there)]
    assert len(loads[0]) == 8
    assert loads[0] == pytest.approx(loads[1], rel=3e-3)  # planes lie a little above, cut by rounding


@pytest.mark.parametrize("site", [ASCE, ASCE16, NBCC], ids=lambda s: s.standard)
def test_each_case_mirrors_itself_about_the_wind(site):
    roof = dome(sides=12, rings=4, rise=4.0)
    for case in unbalanced(roof, site)[:3]:
        both = polar(roof, case, [2.0, 5.0, 8.0, 9.9], np.array([20.0, -20.0, 50.0, -50.0]))
        assert both[:, [0, 2]] == pytest.approx(both[:, [1, 3]], rel=2e-2, abs=1e-3)


@pytest.mark.parametrize("site", [ASCE, ASCE16, NBCC], ids=lambda s: s.standard)
def test_more_ground_snow_is_more_on_every_facet(site):
    roof = dome(sides=12, rings=4, rise=4.0)
    for low, high in zip(
        unbalanced(roof, site),
        unbalanced(roof, replace(site, ground_snow=1.3 * site.ground_snow)),
        strict=True,
    ):
        assert (plane_force(roof, high) >= plane_force(roof, low)).all()


def test_domes_have_no_ridges_for_7_6_1_and_flat_ones_no_unbalanced_case():
    names = [case.name for case in snow_cases(dome(), ASCE).cases]
    assert not [name for name in names if name.startswith("unbalanced, wind")]
    snow = snow_cases(dome(rise=1.7), ASCE)
    assert not [case for case in snow.cases if case.name.startswith("unbalanced")]
    assert any("outside 10 to 60 (7.6.2, from memory) and 7.6.4" in why for _, why in snow.skipped)


def test_retained_or_obstructed_domes_take_no_slippery_line():
    roof, site = dome(rise=5.0, sides=12, rings=4), replace(ASCE, slippery=True)
    free, held = (unbalanced(roof, site, rows)[0] for rows in ((), {3}))
    assert plane_force(roof, held).sum() > 1.05 * plane_force(roof, free).sum()
    whole = next(c for c in unbalanced(roof, site, {3}) if "not reduced" in c.name)
    assert plane_force(roof, whole).sum() > plane_force(roof, held).sum()


def test_ground_within_3_ft_holds_the_load_at_30_degrees_to_the_eave():
    """7.6.2, on domes and vaults; 0.9 m is below 3 ft = 0.9144 m, 0.93 m is not."""
    box = np.array([[0, 0], [30, 0], [30, 12], [0, 12]], float)
    for near in (True, False):
        eave = 0.9 if near else 0.93
        roofs = [dome(rise=5.0, eave=eave), build_roof([RoofPart("vault", box, eave_height=eave, rise=4.0)])]
        for roof in roofs:
            case = next(c for c in snow_cases(roof, ASCE).cases if c.name.startswith("unbalanced on"))
            values = {v.symbol: v.value for z in case.zones if "unbalanced" in z.name for v in z.values}
            assert (values["C_s,eave"] == values["C_s"]) is near
            assert any("3 ft" in note for note in case.notes) is near
    near_roof = build_roof(
        [
            RoofPart("vault", box, eave_height=4.0, rise=4.0),
            RoofPart("flat", np.array([[0, -8], [30, -8], [30, 0], [0, 0]], float), eave_height=4.0 - 0.9),
        ]
    )
    held = [
        any("3 ft" in n for n in c.notes)
        for c in snow_cases(near_roof, ASCE).cases
        if "unbalanced on" in c.name
    ]
    assert sorted(held) == [False, True]


def test_the_minimum_load_of_curved_roofs_goes_by_the_line_from_eave_to_crown():
    """7.3.3: all facets of a curved roof below 10 degrees, none of one above, whatever their own slope."""
    box = np.array([[0, 0], [30, 0], [30, 20], [0, 20]], float)
    for rise, low in ((1.7, True), (1.9, False)):
        for roof in (
            dome(rise=rise, sides=12),
            build_roof([RoofPart("vault", box, eave_height=4.0, rise=rise)]),
        ):
            cases = [case for case in snow_cases(roof, ASCE).cases if case.name == "minimum"]
            assert len(cases) == low
            for case in cases:
                assert plane_force(roof, case).sum() == pytest.approx(
                    30.0 * PSF * roof.planes.plan_area.sum()
                )


def test_a_cone_takes_the_sector_beside_its_hips():
    """To 30 degrees 0.5 p_f at the tip; above it the load of the eave everywhere (judgment)."""
    for pitch in (25.0, 40.0):
        roof = cone(pitch)
        cases = unbalanced(roof, ASCE, kind="cone")
        assert len(cases) == 8
        reduced = float(asce.slope_factor(np.radians(pitch), 1.2, False))
        tip, eave = polar(roof, cases[0], [1e-6, 5.99], np.array([0.0]))[:, 0]
        assert 0.998 * 2.0 * FLAT * reduced < eave <= 2.0 * FLAT * reduced * (1.0 + 1e-9)
        assert tip == pytest.approx(0.5 * FLAT if pitch < 30.0 else 2.0 * FLAT * reduced, rel=0.08)
    assert [c for c in snow_cases(cone(25.0), ASCE).cases if c.name.startswith("unbalanced, wind")]


def test_a_gentle_nbcc_dome_by_hand():
    """C_a(x, y) = a x (1 - |y| / r) over a half disc: 5/12 a r^3; a = h / (0.03 C_b b^2) or 4 / (C_b b)."""
    for rise in (2.0, 2.5):
        roof = dome(rise=rise)
        cases = unbalanced(roof, NBCC)
        assert len(cases) == 8
        per = rise / (0.03 * 0.8 * 20.0**2) if rise <= 0.12 * 20.0 else 4.0 / (0.8 * 20.0)
        total = 5.0 / 12.0 * per * 10.0**3 * 0.8 * 2000.0
        for case in cases:
            load = plane_force(roof, case).sum()
            assert 0.999 * total < load < 1.05 * total
        axis = polar(roof, cases[0], [5.0, 9.99], np.array([0.0, 180.0, 90.0]))
        assert axis[:, 0] == pytest.approx(per * 0.8 * 2000.0 * np.array([5.0, 9.99]), rel=0.05)
        assert axis[:, 1:] == pytest.approx(np.zeros((2, 2)), abs=0.01 * per * 16000.0)
    assert not unbalanced(dome(rise=0.95), NBCC)


@pytest.mark.parametrize("slippery", [False, True])
def test_an_nbcc_dome_is_nowhere_below_its_article(slippery):
    roof, start = dome(rise=4.0, sides=24, rings=6), 15.0 if slippery else 30.0
    found = roof.domes[0]
    case = unbalanced(roof, replace(NBCC, slippery=slippery))[0]
    for x, y in np.random.default_rng(5).uniform([0.1, -6.0], [7.0, 6.0], (60, 2)):
        along = min(4.0 / (0.06 * 20.0), 2.0) / 0.8 * min(x / (0.5 * found.radius), 1.0)
        degrees = np.degrees(found.slope_at(np.array(np.hypot(x, y))))
        none = 60.0 if slippery else 70.0
        reduced = np.clip((none - degrees) / (none - start), 0.0, 1.0)
        wanted = 0.8 * 2000.0 * along * (1.0 - abs(y) / 10.0) * reduced
        there = polar(roof, case, [np.hypot(x, y)], np.array([np.degrees(np.arctan2(y, x))]))[0, 0]
        assert wanted - 2.0 < there < wanted + 0.1 * 4000.0


@pytest.mark.parametrize("sides", [6, 16])
def test_an_asce_dome_is_nowhere_below_its_clause(sides):
    roof = dome(rise=4.5, sides=sides, rings=5)
    found = roof.domes[0]
    case = unbalanced(roof, ASCE)[0]
    values = {v.symbol: v.value for z in case.zones if "dome" in z.name for v in z.values}
    knots = [0.0, values["x_30"], found.reach]
    for r, phi in np.random.default_rng(6).uniform([0.1, -66.0], [9.9, 66.0], (80, 2)):
        radial = np.interp(r, knots, [values["p_crown"], values["p_30"], values["p_eave"]])
        wanted = radial * min((67.5 - abs(phi)) / 22.5, 1.0)
        there = polar(roof, case, [r], np.array([phi]))[0, 0]
        assert wanted - 5.0 < there < wanted + (0.25 if sides == 6 else 0.1) * values["p_30"]


@pytest.mark.parametrize("site", [ASCE, ASCE16, NBCC], ids=lambda s: s.standard)
@pytest.mark.parametrize("sides", [6, 16, 24])
def test_every_zone_has_the_load_of_the_clause_at_the_place_given_with_it(site, sides):
    """By hand from r and phi, or x and y: the largest pressure of each zone, to rounding."""
    roof = dome(rise=5.0, sides=sides, rings=5)
    found = roof.domes[0]
    for case in unbalanced(roof, site)[:2]:
        for zone in case.zones:
            v = {one.symbol: one.value for one in zone.values}
            if site is NBCC:
                along = min(v["h"] / (0.06 * v["b"]), 2.0) / v["C_b"] * min(v["x"] / v["x_30"], 1.0)
                degrees = np.degrees(found.slope_at(min(np.hypot(v["x"], v["y"]), found.reach)))
                reduced = np.clip((70.0 - degrees) / 40.0, 0.0, 1.0)
                wanted = 2000.0 * v["C_b"] * reduced * along * (1.0 - v["y"] / v["r"])
            else:
                knots = [0.0, found.radius / 2.0, found.reach]
                radial = [0.5 * v["p_f"], 2.0 * v["p_f"] * v["C_s"], 2.0 * v["p_f"] * v["C_s,eave"]]
                wanted = np.interp(v["r"], knots, radial) * min((67.5 - np.degrees(v["phi"])) / 22.5, 1.0)
            corners = shapely.get_coordinates(zone.polygon)
            assert (zone.pressure[0] + corners @ zone.pressure[1:]).max() == pytest.approx(wanted, rel=1e-6)
