"""Drifts at parapets and projections: clause values, who drifts in which wind, and refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from roofmodel.errors import InputError
from roofmodel.obstacles import Obstacles
from roofmodel.project.load import load_project
from roofmodel.project.obstacle_schema import ObstructionTable, ParapetTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow.asce7_22 import FOOT, PSF
from roofmodel.snow.cases import case_pressure_at
from roofmodel.snow.corners import AROUND
from roofmodel.snow.inputs import AsceSite, EnSite, NbccSite
from roofmodel.snow.registry import snow_cases
from roofmodel.units import SI, parse
from tests.cli.small_project import site as site_text
from tests.snow.snow_roofs import plane_force

EN = EnSite(ground_snow=1500.0)
ASCE = AsceSite(ground_snow=30.0 * PSF, risk_category="II", winter_wind=0.5, slippery=True)
NBCC = NbccSite(ground_snow=2000.0, associated_rain=200.0, importance="normal", slippery=False)
LENGTH, WIDTH = 30.0, 20.0


def flat(turn=0.0, shift=(0.0, 0.0)):
    corners = np.array([[0.0, 0.0], [LENGTH, 0.0], [LENGTH, WIDTH], [0.0, WIDTH]])
    cos, sin = np.cos(turn), np.sin(turn)
    corners = corners @ np.array([[cos, sin], [-sin, cos]]) + shift
    return build_roof([RoofPart("flat", corners, np.zeros(0), 4.0)])


def edge_towards(roof, way):
    """Free edge whose middle lies farthest that way."""
    middle = 0.5 * (roof.edges.start + roof.edges.end)[:, :2]
    return roof.edges.name[int(np.argmax(middle @ way))]


def with_parapet(roof, height, way=(0.0, 1.0)):
    table = ParapetTable.model_validate(
        {"edge": edge_towards(roof, np.array(way)), "height": f"{height!r} m"}
    )
    return replace(roof, obstacles=place_obstacles(roof, [table], [], SI))


def with_box(roof, **sizes):
    given = {"across": 15.0, "up": 10.0, "width": 6.0, "depth": 5.0, "height": 2.0, "clear": 0.0} | sizes
    given = {k: f"{v!r} m" for k, v in given.items()}
    table = ObstructionTable.model_validate({"name": "plant room", "plane": roof.planes.name[0]} | given)
    return replace(roof, obstacles=place_obstacles(roof, [], [table], SI))


def test_heights_of_another_unit_are_refused():
    with pytest.raises(InputError, match=r"parapet on .*: height 500.00 m is more than 20.00 m"):
        with_parapet(flat(), 500.0)
    with pytest.raises(InputError, match=r'"plant room": height 500.00 m is more than 100.00 m'):
        with_box(flat(), height=500.0)
    assert len(with_parapet(flat(), 3.0).obstacles.name) == 1


def drifts(roof, site):
    return [case for case in snow_cases(roof, site).cases if case.name.startswith("drift at")]


def surcharge(case):
    """Force of the drift zones of a case, each pressure integrated over its polygon by hand. [N]."""
    total = 0.0
    for zone in case.zones:
        if zone.name.startswith("drift at"):
            center = shapely.centroid(zone.polygon)
            total += zone.polygon.area * (zone.pressure @ [1.0, center.x, center.y])
    return total


def test_en_parapet_value():
    """Height 1.2 m, s_k = 1.5 kN/m^2: mu_2 = 1.6, l_s = 5 m, 3.0 kN/m; EN 1991-1-3 6.2 by hand."""
    (case,) = drifts(with_parapet(flat(), 1.2), EN)
    assert case.name.endswith("wind toward N")
    assert surcharge(case) / LENGTH == pytest.approx(3000.0, rel=1e-9)
    (zone,) = [z for z in case.zones if z.name.startswith("drift at")]
    assert zone.polygon.area == pytest.approx(5.0 * LENGTH)
    values = {v.symbol: v.value for v in zone.values}
    assert (values["mu_2"], values["l_s"]) == (pytest.approx(1.6), pytest.approx(5.0))


def test_en_caps():
    """mu_2 stays within 0.8 and 2.0, l_s within 5 and 15 m (6.2(2))."""
    (tall,) = drifts(with_parapet(flat(), 9.0), EN)
    assert surcharge(tall) / LENGTH == pytest.approx(1.2 * 1500.0 * 15.0 / 2.0)
    low = with_parapet(flat(), 0.3)
    assert not drifts(low, EN)
    assert any("mu_2" in why for _, why in snow_cases(low, EN).skipped)


def test_asce_parapet_by_hand():
    """0.75 h_d over 8 times that, l_u = 20 m of roof in front; Eq. 7.6-1 written out again (7.8)."""
    (case,) = drifts(with_parapet(flat(), 1.5), ASCE)
    gamma = 0.13 * 30.0 + 14.0
    full = 1.5 * np.sqrt(30.0**0.74 * (WIDTH / FOOT) ** 0.70 * 0.5**1.7 / gamma) * FOOT
    height = 0.75 * full
    assert height < 1.5 - 0.7 * 1.2 * 30.0 / gamma * FOOT
    weight = gamma * PSF / FOOT
    assert surcharge(case) / LENGTH == pytest.approx(0.5 * weight * height * 8.0 * height, rel=1e-3)


def test_low_parapet_takes_no_asce_drift():
    """h_c / h_b below 0.2 (7.7.1)."""
    roof = with_parapet(flat(), 0.4)
    assert not drifts(roof, ASCE)
    assert any("0.2" in why for _, why in snow_cases(roof, ASCE).skipped)


@pytest.mark.parametrize("site", [EN, ASCE], ids=lambda s: s.standard)
def test_projection_drifts_on_both_sides_of_each_wind(site):
    cases = drifts(with_box(flat()), site)
    assert len(cases) == 2
    for case in cases:
        zones = [z for z in case.zones if z.name.startswith("drift at") and not z.name.endswith(AROUND)]
        assert len(zones) == 2
        middle = np.mean([shapely.centroid(z.polygon).coords[0] for z in zones], axis=0)
        np.testing.assert_allclose(
            middle, shapely.centroid(shapely.MultiPoint([(15.0, 10.0)])).coords[0], atol=1e-6
        )


def test_short_sides_and_raised_boxes_take_no_asce_drift():
    """Sides below 15 ft and 2 ft of free height below (7.8); EN knows neither."""
    narrow = with_box(flat(), width=6.0, depth=4.5)
    assert len(drifts(narrow, ASCE)) == 1
    assert len(drifts(narrow, EN)) == 2
    raised = with_box(flat(), clear=1.5)
    assert not drifts(raised, ASCE)
    assert drifts(raised, EN)


@pytest.mark.parametrize("site", [EN, ASCE], ids=lambda s: s.standard)
def test_turning_the_building_changes_no_load(site):
    ways = np.array([0.0, 1.0])
    turn = np.radians(33.0)
    turned = np.array([-np.sin(turn), np.cos(turn)])
    before = drifts(with_parapet(flat(), 1.4, ways), site)[0]
    after = drifts(with_parapet(flat(turn, (40.0, -7.0)), 1.4, turned), site)[0]
    assert surcharge(after) == pytest.approx(surcharge(before), rel=1e-9)


@pytest.mark.parametrize("site", [EN, ASCE], ids=lambda s: s.standard)
def test_the_roof_carries_what_the_zones_hold(site):
    """Total of the case = balanced snow + the hand integral of its drift zones."""
    roof = with_parapet(flat(), 1.4)
    balanced, case = snow_cases(roof, site).cases[0], drifts(roof, site)[0]
    assert plane_force(roof, case).sum() == pytest.approx(
        plane_force(roof, balanced).sum() + surcharge(case), rel=1e-9
    )


def test_without_obstacles_both_standards_say_so():
    for site in (EN, ASCE):
        assert any("names none" in why for _, why in snow_cases(flat(), site).skipped)
    assert Obstacles().count == 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"across": 1.0}, "reaches off the plane"),
        ({"clear": 2.5}, "must be less than height"),
    ],
)
def test_boxes_that_cannot_stand_are_refused(change, words):
    with pytest.raises(InputError, match=words):
        with_box(flat(), **change)


def test_parapet_on_no_edge_is_refused():
    roof = flat()
    table = ParapetTable.model_validate({"edge": "F9 eave", "height": "1 m"})
    with pytest.raises(InputError, match="not on this roof"):
        place_obstacles(roof, [table], [], SI)


def test_a_parapet_at_the_eave_holds_the_snow():
    """EN 5.3.2(2): mu_1 not below 0.8 where a parapet stands at the lower edge, 0.4 at 45 degrees without."""
    corners = np.array([[0.0, 0.0], [20.0, 0.0], [20.0, 8.0], [0.0, 8.0]])
    roof = build_roof([RoofPart("shed", corners, np.radians([45.0]), 3.0, fall_azimuth=np.pi)])
    table = ParapetTable.model_validate({"edge": "S1 eave", "height": "0.5 m"})
    walled = replace(roof, obstacles=place_obstacles(roof, [table], [], SI))
    free, held = (plane_force(r, snow_cases(r, EN).cases[0]).sum() for r in (roof, walled))
    assert held == pytest.approx(2.0 * free)
    slippery = [snow_cases(r, ASCE).cases[0] for r in (roof, walled)]
    loads = [plane_force(r, c).sum() for r, c in zip((roof, walled), slippery, strict=True)]
    assert loads[1] > 1.5 * loads[0]
    top = ParapetTable.model_validate({"edge": "S1 head", "height": "0.5 m"})
    above = replace(roof, obstacles=place_obstacles(roof, [top], [], SI))
    assert plane_force(above, snow_cases(above, EN).cases[0]).sum() == pytest.approx(free)


@pytest.mark.parametrize(("category", "psf"), [("I", 25), ("II", 30), ("III", 35), ("IV", 40)])
def test_rain_at_the_limit_itself_as_users_write_it(category, psf):
    """7.10: 0 < p_g <= p_m,max; "30 psf" read from text is a rounding above 30 times a psf."""
    roof = build_roof(
        [
            RoofPart(
                "shed",
                np.array([[0, 0], [30, 0], [30, 40], [0, 40]], float),
                np.radians([1.0]),
                3.0,
                fall_azimuth=np.pi,
            )
        ]
    )
    site = replace(ASCE, ground_snow=parse(f"{psf} psf", "pressure"), risk_category=category)
    assert any(case.name == "rain on snow" for case in snow_cases(roof, site).cases)


def test_narrow_roofs_from_a_project_file(tmp_path):
    """ASCE/SEI 7-16 7.6.1: W = 18 ft, simple rafters, p_g = 50 psf on the lee side, nothing to windward."""
    text = site_text(
        'standard = "ASCE/SEI 7-16"\nground_snow = "50 psf"\nrisk_category = "II"\nsimple_rafters = true',
        "ASD",
    )
    text = text.replace('shape = "shed"', 'shape = "gable"').replace('fall = "180 deg"\n', "")
    text = text.replace("0 0, 6 0, 6 4, 0 4 m", "0 0, 60 0, 60 36, 0 36 ft").replace('"20 deg"', '"5:12"')
    for old, new in (('"characteristic"', '"nominal"'), ("factor = 1.33", "factor = 2.0")):
        text = text.replace(old, new)
    path = tmp_path / "project.toml"
    path.write_text(text)
    project = load_project(path)
    case = next(
        c for c in snow_cases(project.roof, project.site, {0}).cases if c.name.startswith("unbalanced")
    )
    load = sorted(plane_force(project.roof, case))
    assert load == pytest.approx([0.0, 50.0 * PSF * 18.0 * 60.0 * FOOT**2], rel=1e-6)


def test_parapets_that_meet_drift_together():
    """Judgment after ASCE/SEI 7 7.7.3: the larger at every point, one case beside those of each wind."""
    roof = flat()
    ways = ((0.0, 1.0), (1.0, 0.0))
    tables = [
        ParapetTable.model_validate({"edge": edge_towards(roof, np.array(way)), "height": "1.2 m"})
        for way in ways
    ]
    walled = replace(roof, obstacles=place_obstacles(roof, tables, [], SI))
    (both,) = [case for case in snow_cases(walled, EN).cases if case.name.startswith("drifts together")]
    singles = drifts(walled, EN)
    points = np.random.default_rng(5).uniform([0.0, 0.0], [LENGTH, WIDTH], (300, 2))
    plane = np.zeros(300, dtype=int)
    alone = np.max([case_pressure_at(case, points, plane) for case in singles], axis=0)
    assert case_pressure_at(both, points, plane) == pytest.approx(alone, rel=1e-9)
    assert any("Judgment" in note for note in both.notes)
    opposite = replace(roof, obstacles=place_obstacles(roof, [tables[0]], [], SI))
    assert not [case for case in snow_cases(opposite, EN).cases if case.name.startswith("drifts together")]


def test_a_parapet_that_ends_at_a_wall_drifts_with_it():
    house = np.array([[0.0, 20.0], [30.0, 20.0], [30.0, 40.0], [0.0, 40.0]])
    low = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 20.0], [0.0, 20.0]])
    roof = build_roof([RoofPart("flat", house, np.zeros(0), 8.0), RoofPart("flat", low, np.zeros(0), 4.0)])
    table = ParapetTable.model_validate({"edge": edge_towards(roof, np.array([0.0, -1.0])), "height": "1 m"})
    plane = roof.steps.lower[0]
    side = next(
        name
        for name, pair, start, end in zip(
            roof.edges.name, roof.edges.plane, roof.edges.start, roof.edges.end, strict=True
        )
        if pair[0] == plane and abs(start[0] - end[0]) < 1e-6
    )
    beside = ParapetTable.model_validate({"edge": side, "height": "1.5 m"})
    for parapet, there in ((table, False), (beside, True)):
        walled = replace(roof, obstacles=place_obstacles(roof, [parapet], [], SI))
        both = [case for case in snow_cases(walled, EN).cases if case.name == "drifts together"]
        assert bool(both) is there
        for case in both:
            assert case.notes[0].startswith("The drifts that meet: at the walls facing S, at parapet")


@pytest.mark.parametrize("start", ["drift at", "exceptional drift at"])
def test_en_drifts_run_on_around_the_corners_of_boxes(start):
    """6.2 and B4: two triangles and four quarter cones for each wind, none of the quadrants bare."""
    corners = np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 60.0], [0.0, 60.0]])
    roof = with_box(
        build_roof([RoofPart("flat", corners, np.zeros(0), 4.0)]), across=30.0, up=27.5, depth=5.0
    )
    snow = snow_cases(roof, replace(EN, annex_b=True))
    cases = [case for case in snow.cases if case.name.startswith(start)]
    assert len(cases) == 2
    for case, side in zip(
        sorted(cases, key=lambda c: "N" in c.name or "S" in c.name), (5.0, 6.0), strict=True
    ):
        zone = next(z for z in case.zones if z.name.startswith(start))
        v = {value.symbol: value.value for value in zone.values}
        peak, base = (v["mu_1"], 0.0) if start.startswith("exc") else (v["mu_2"] - v["mu_1"], 0.8)
        length = v["l_s"]
        wanted = 2.0 * (0.5 * length * side + 2.0 * np.pi / 12.0 * length**2) * peak * EN.ground_snow
        extra = plane_force(roof, case)[0] - base * EN.ground_snow * 3600.0
        assert wanted < extra < 1.01 * wanted


@pytest.mark.parametrize("site", [EN, ASCE, NBCC, replace(EN, annex_b=True)], ids=["EN", "ASCE", "NBCC", "B"])
@pytest.mark.parametrize(("up", "over"), [(9.5, True), (1.2, False)])
def test_a_drift_that_goes_on_over_the_ridge_says_so(site, up, over):
    """The plane beyond is named, and is loaded there by the ramp that does not end at the ridge."""
    corners = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 24.0], [0.0, 24.0]])
    roof = build_roof([RoofPart("gable", corners, np.radians([12.0, np.nan, 12.0, np.nan]), 4.0)])
    sizes = {"width": 6.0, "depth": 2.0, "height": 1.5, "across": 15.0}
    table = ObstructionTable.model_validate(
        {"name": "plant room", "plane": "S1", "up": f"{up} m"} | {k: f"{v} m" for k, v in sizes.items()}
    )
    roof = replace(roof, obstacles=place_obstacles(roof, [], [table], SI))
    snow = snow_cases(roof, site, range(2))
    across = [case for case in snow.cases if any("plant room" in zone.name for zone in case.zones)]
    said = [case for case in across if any("over the ridge" in note for note in case.notes)]
    north = roof.planes.name.index("N1")
    loaded = [case for case in across if any("plant room" in z.name and z.plane == north for z in case.zones)]
    assert across
    assert said == loaded
    assert bool(said) == over
    for case in said:
        assert any("at plant room onto N1" in note for note in case.notes)


@pytest.mark.parametrize("site", [EN, NBCC, replace(EN, annex_b=True)], ids=["EN", "NBCC", "B"])
def test_a_chimney_is_higher_above_the_roof_at_its_downhill_face(site):
    """Level top, 1 m up a slope of 30 degrees: 1.5 m above the roof at the top face, 2 m at the lower one."""
    corners = np.array([[0.0, 0.0], [20.0, 0.0], [20.0, 16.0], [0.0, 16.0]])
    roof = build_roof([RoofPart("gable", corners, np.radians([30.0, np.nan, 30.0, np.nan]), 4.0)])
    sizes = {"width": 4.0, "depth": 1.0, "height": 1.5, "across": 10.0, "up": 4.0}
    table = ObstructionTable.model_validate(
        {"name": "chimney", "plane": "S1"} | {k: f"{v} m" for k, v in sizes.items()}
    )
    roof = replace(roof, obstacles=place_obstacles(roof, [], [table], SI))
    assert sorted(roof.obstacles.face_height) == pytest.approx([1.5, 2.0, 2.0, 2.0])
    heights = {
        round(value.value, 6)
        for case in snow_cases(roof, site, range(2)).cases
        for zone in case.zones
        for value in zone.values
        if zone.name.endswith("drift at chimney") and value.symbol == "h"
    }
    assert heights == {1.5, 2.0}
