"""Drifts past a ledge: a strip of roof between a high and a low roof does not take away their drift."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow import AsceSite, EnSite, NbccSite, snow_cases
from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.regions import plan_polygon

GROUND, GAMMA = 1400.0, 157.087464 * (0.13 * 1400.0 / 47.88025898 + 14.0)  # Pa, N/m^3 by Eq. 7.7-1
ASCE = AsceSite(ground_snow=GROUND, risk_category="II", winter_wind=0.5, slippery=False)
SITES = [
    ASCE,
    EnSite(ground_snow=GROUND),
    NbccSite(ground_snow=GROUND, associated_rain=300.0, importance="normal", slippery=False),
]
DEEP = [
    EnSite(ground_snow=3000.0),
    NbccSite(ground_snow=3000.0, associated_rain=300.0, importance="normal", slippery=False),
]
HIGH, LOW = 7.0, 3.0


def flat(x0, y0, x1, y1, height):
    outline = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], dtype=float)
    return RoofPart("flat", outline, np.zeros(0), height)


def stepped(width, level=None):
    """15 by 12 m at 7 m, 15 by 8 m at 3 m, apart by a width that a ledge at some level fills or nothing."""
    parts = [flat(0, 0, 15, 12, HIGH), flat(0, -8 - width, 15, -width, LOW)]
    if level is not None:
        parts.append(flat(0, -width, 15, 0, level))
    return build_roof(parts)


def most(roof, site, word="drift"):
    """Greatest pressure that cases lay just in front of the lower roof's upper edge, over 6 m of it. [Pa]."""
    low = int(np.argmin(roof.planes.origin[:, 2]))
    _, _, _, top = plan_polygon(roof, low).bounds
    x = plan_polygon(roof, low).centroid.x
    sums = []
    for case in snow_cases(roof, site).cases:
        if word in case.name:
            places = [(x, top - d) for d in (0.01, 1.0, 2.0, 3.0, 4.0, 5.0)]
            sums.append([pressure(case, low, place) for place in places])
    return np.max(sums, axis=0)


def pressure(case, plane, place):
    spot = shapely.Point(place)
    return sum(
        zone.pressure[0] + zone.pressure[1:] @ place
        for zone in case.zones
        if zone.plane == plane and zone.polygon.buffer(1e-9).covers(spot)
    )


def plane_at(roof, place):
    """The highest plane at a place."""
    over = [k for k in range(roof.planes.count) if plan_polygon(roof, k).covers(shapely.Point(place))]
    return max(over, key=lambda k: roof.planes.origin[k, 2])


def worst(roof, site, places, word="drift"):
    """Greatest pressures at places. [Pa]."""
    cases = [case for case in snow_cases(roof, site).cases if word in case.name]
    return np.array([max(pressure(case, plane_at(roof, place), place) for case in cases) for place in places])


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
@pytest.mark.parametrize("level", [3.4, 5.0, 6.6])
def test_a_ledge_takes_no_drift_off_the_roof_below(site, level):
    """Whatever its height, the lower roof carries at least what it would across an open gap so wide."""
    bare = most(stepped(1.2), site)
    assert bare[0] > 1.5 * GROUND
    assert (most(stepped(1.2, level), site) >= bare * (1.0 - 1e-9)).all()


def test_the_drift_past_a_ledge_is_that_of_7_7_2():
    """l_u = 12 + 1.2 m; min(h_d, (6 h - s) / 6) at the edge, min(6 h_d, 6 h - s) wide, over balanced snow."""
    roof = stepped(1.2, 5.0)
    height = float(drift.drift_height(GROUND, 13.2, 0.5))
    found = most(roof, ASCE, "leeward")
    at = np.array([0.01, 1.0, 2.0, 3.0])
    surcharge = height * GAMMA * (1.0 - at / (6.0 * height))
    case = next(one for one in snow_cases(roof, ASCE).cases if one.name == "balanced")
    low = int(np.argmin(roof.planes.origin[:, 2]))
    base = pressure(case, low, np.array(plan_polygon(roof, low).centroid.coords[0]))
    np.testing.assert_allclose(found[:4], base + surcharge, rtol=1e-6)


def test_a_roof_that_holds_the_whole_drift_keeps_it():
    """4 h_d is about 3 m: a roof 5 m wide and 2 m below takes it all, one 0.3 m below is full at once."""
    own = most(stepped(5.0, 5.0), ASCE, "leeward")
    alone = build_roof([flat(0, -5, 15, 0, 5.0), flat(0, -13, 15, -5, LOW)])
    np.testing.assert_allclose(own, most(alone, ASCE, "leeward"), rtol=1e-9)
    assert most(stepped(5.0, 6.7), ASCE, "leeward")[0] > 1.1 * own[0]


def test_slid_snow_that_a_ledge_does_not_hold_lies_on_the_roof_below():
    """0.4 p_f W over 15 ft, 1.2 m of it on the ledge and the rest below (7.9)."""
    pitch = np.radians(30.0)
    house = RoofPart(
        "shed", np.array([(0, 0), (15, 0), (15, 12), (0, 12)], dtype=float), np.array([pitch]), HIGH, np.pi
    )
    roof = build_roof([house, flat(0, -1.2, 15, 0, 5.0), flat(0, -9.2, 15, -1.2, LOW)])
    case = next(one for one in snow_cases(roof, ASCE).cases if one.name.startswith("sliding"))
    slid = [zone for zone in case.zones if zone.name.startswith("snow that slid")]
    assert len({zone.plane for zone in slid}) == 2
    flat_load = next(value.value for value in slid[0].values if value.symbol == "p_f")
    total = sum(zone.polygon.area * zone.pressure[0] for zone in slid)
    assert total == pytest.approx(0.4 * flat_load * 12.0 * 15.0, rel=1e-6)


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
def test_a_low_step_in_the_roof_does_not_shorten_the_fetch(site):
    """Long sheets have steps of some centimeters: 24 m of roof in two fields drift as 24 m in one."""
    low = flat(0, -8, 15, 0, LOW)
    whole = most(build_roof([flat(0, 0, 15, 24, HIGH), low]), site)
    parted = most(build_roof([flat(0, 0, 15, 12, HIGH), flat(0, 12, 15, 24, HIGH + 0.1), low]), site)
    np.testing.assert_allclose(parted, whole, rtol=1e-9)
    half = most(build_roof([flat(0, 0, 15, 12, HIGH), low]), site)
    assert whole.sum() > 1.05 * half.sum()


@pytest.mark.parametrize(("near", "far"), [(0.0, 2.5), (3.0, 4.5)], ids=["behind", "before"])
def test_an_open_gap_beside_a_ledge_is_no_part_of_it(near, far):
    """4 h_d is about 3 m: a strip 1.5 m wide holds less, however wide the gap before or behind it is."""
    width, low = 4.5, 3.5
    strip = flat(0, -far if near else -1.5, 15, -near, low)
    roof = build_roof([flat(0, 0, 15, 12, HIGH), strip, flat(0, -8 - width, 15, -width, LOW)])
    assert (roof.steps.between >= 0).any()
    found, bare = most(roof, ASCE, "leeward"), most(stepped(width), ASCE, "leeward")
    assert bare[0] > 1.5 * GROUND
    assert (found >= bare * (1.0 - 1e-9)).all()


def test_a_ledge_that_sheds_holds_no_drift():
    """3.6 m wide and 2 m below the edge, more than 4 h_d: level it takes all, at 40 degrees nothing."""
    wide, pitch = 3.6, np.radians(40.0)
    top = 4.0 + wide * np.tan(pitch) + 2.0
    outline = np.array([(0, -wide), (15, -wide), (15, 0), (0, 0)], dtype=float)
    high, low = flat(0, 0, 15, 12, top), flat(0, -8 - wide, 15, -wide, LOW)
    steep = build_roof([high, RoofPart("shed", outline, np.array([pitch]), 4.0, np.pi), low])
    level = build_roof([high, flat(0, -wide, 15, 0, top - 2.0), low])
    bare = most(build_roof([high, low]), ASCE, "leeward")
    assert (most(steep, ASCE, "leeward") >= bare * (1.0 - 1e-9)).all()
    name = level.planes.name[int(np.argmax(level.planes.origin[:, 2]))]
    cases = [case for case in snow_cases(level, ASCE).cases if "leeward" in case.name]
    lowest = int(np.argmin(level.planes.origin[:, 2]))
    assert not any(z.plane == lowest and z.name.endswith(f"below {name}") for c in cases for z in c.zones)


@pytest.mark.parametrize("site", DEEP, ids=lambda site: site.standard)
def test_a_drift_longer_than_the_ledge_is_wide_reaches_the_roof_below(site):
    """l_s and x_d of a wall of 8 m pass ledges of 5 and 6.1 m: no sudden end at the limits of open gaps."""

    def at_edge(width):
        high, ledge = flat(0, 0, 30, 40, 12.0), flat(0, -width, 30, 0, 4.3)
        return most(build_roof([high, ledge, flat(0, -width - 20, 30, -width, 4.0)]), site)[0]

    for limit in (5.0, 6.096):
        assert at_edge(limit + 0.01) == pytest.approx(at_edge(limit - 0.01), rel=0.02)


def test_the_exceptional_drift_counts_a_ledge_as_room_in_front_of_the_wall():
    """B3: l_s = min(5 h, b_1, 15 m), b_1 from a wall of 8 m over 2.9 or 3.1 m of ledge and 3 m of roof."""
    site = EnSite(ground_snow=GROUND, annex_b=True)
    for width in (2.9, 3.1):
        low = flat(0, -3 - width, 15, -width, LOW)
        roof = build_roof([flat(0, 0, 15, 12, 11.0), flat(0, -width, 15, 0, 3.5), low])
        reach = 3.0 + width
        shape = min(2000.0 * 8.0 / GROUND, 2.0 * (12.0 + width) / reach, 8.0)
        expected = shape * GROUND * (1.0 - (width + 0.01) / reach)
        assert most(roof, site, "exceptional")[0] == pytest.approx(expected, rel=1e-6)


def filled_below(site):
    """1.2 times the depth of balanced snow: p_s, 0.8 s_k or 0.8 S_s + S_r. [m]."""
    ground = site.ground_snow
    if isinstance(site, AsceSite):
        return 1.2 * float(worst(stepped(0.0), site, [(7.5, 6.0)], "balanced")[0]) / GAMMA
    if isinstance(site, EnSite):
        return 1.2 * 0.8 * ground / (200.0 * 9.80665)
    return 1.2 * (0.8 * ground + 300.0) / min(4000.0, 430.0 * ground / 1000.0 + 2200.0)


def parted(step):
    """12 m of a high roof before 48 m that lie higher by a step; a low roof in front."""
    high = [flat(0, 0, 15, 12, HIGH), flat(0, 12, 15, 60, HIGH + step)]
    return build_roof([*high, flat(0, -8, 15, 0, LOW)])


@pytest.mark.parametrize("site", [*SITES, *DEEP], ids=lambda site: f"{site.standard}, {site.ground_snow:g}")
def test_a_step_that_snow_fills_does_not_shorten_the_fetch(site):
    """Up to 1.2 h_b, where ASCE/SEI 7 7.7.1 begins to have a drift at the step, 60 m drift as one roof."""
    limit = filled_below(site)
    assert limit > 0.4
    whole, below, above = (most(parted(step), site) for step in (0.01, limit - 0.005, limit + 0.005))
    np.testing.assert_allclose(below, whole, rtol=1e-9)
    assert (above <= below * (1.0 + 1e-9)).all()
    assert above.sum() < 0.95 * below.sum() or site == DEEP[0]  # gamma h / s_k governs there


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
@pytest.mark.parametrize("rise", [0.0, 0.3, 0.9])
def test_a_slot_in_the_roof_does_not_shorten_the_fetch(site, rise):
    """12 m and 48 m with 0.3 m of nothing between them drift as 60 m, 0.3 m of step within the snow too."""
    low = flat(0, -8, 15, 0, LOW)
    whole = most(build_roof([flat(0, 0, 15, 60, HIGH), low]), site)
    parts = [flat(0, 0, 15, 12, HIGH), flat(0, 12.3, 15, 60, HIGH + rise), low]
    apart = most(build_roof(parts), site)
    if rise < 0.5:
        np.testing.assert_allclose(apart, whole, rtol=1e-6)
    else:
        assert apart.sum() < 0.95 * whole.sum()
    wide = most(build_roof([parts[0], flat(0, 12.6, 15, 60, HIGH + rise), low]), site)
    assert wide.sum() < 0.95 * whole.sum()


def test_a_step_of_the_limit_is_a_low_one():
    """Rounding does not decide where snow is shallow: 0.20 m is as 0.19 m, 0.21 m ends the fetch."""
    site = EnSite(ground_snow=400.0)
    found = [most(parted(step), site)[0] for step in (0.19, 0.20, 0.21)]
    assert found[1] == pytest.approx(found[0], rel=1e-9)
    assert filled_below(site) < 0.2
    assert most(parted(0.21), site).sum() <= most(parted(0.2), site).sum()


def test_annex_b_takes_the_snow_of_both_roofs_and_the_room_of_one():
    """B3 at 4 m: 2 b / l_s with b = 60 m across a filled step, l_s = 8 m as far as a filled step in front."""
    site = EnSite(ground_snow=GROUND, annex_b=True)
    roof = build_roof(
        [
            flat(0, 0, 15, 12, HIGH),
            flat(0, 12, 15, 60, HIGH + 0.3),
            flat(0, -8, 15, 0, LOW),
            flat(0, -16, 15, -8, LOW - 0.3),
        ]
    )
    zones = [zone for case in snow_cases(roof, site).cases for zone in case.zones]
    given = next(
        {value.symbol: value.value for value in zone.values}
        for zone in zones
        if zone.clause.endswith("B3") and zone.plane == plane_at(roof, (7.5, -0.1))
    )
    assert given["l_s"] == pytest.approx(8.0)
    assert given["b_2"] == pytest.approx(60.0)
    assert given["mu_1"] == pytest.approx(min(2000.0 * 4.0 / GROUND, 2.0 * 60.0 / 8.0, 8.0))


def test_a_drift_goes_on_over_a_filled_step_in_front_of_it():
    """EN: l_s = 8 m below 4 m of wall, 3 m of roof in front of it and then a step up or down of 0.3 m."""
    site = EnSite(ground_snow=GROUND)
    plain = most(build_roof([flat(0, 0, 15, 12, HIGH), flat(0, -11, 15, 0, LOW)]), site)
    for step in (-0.3, 0.3):
        roof = build_roof(
            [flat(0, 0, 15, 12, HIGH), flat(0, -3, 15, 0, LOW), flat(0, -11, 15, -3, LOW + step)]
        )
        found = worst(roof, site, [(7.5, -distance) for distance in (0.01, 1.0, 2.0, 4.0, 5.0)])
        assert (found >= plain[[0, 1, 2, 4, 5]] * (1.0 - 1e-9)).all()


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
def test_steps_that_snow_fills_are_said(site):
    def said(roof):
        return " ".join(note for case in snow_cases(roof, site).cases for note in case.notes)

    assert "snow fills the step" in said(parted(0.25))
    assert "snow fills the step" not in said(stepped(0.0))


def around(width, level=None):
    """House, and a roof around its corner at the origin, apart by a ledge at some level or by nothing."""
    parts = [
        flat(-15, 0, 0, 10, HIGH),
        flat(-15, -20, 20, -width, LOW),
        flat(width, -width, 20, 10, LOW),
    ]
    if level is not None:
        parts += [flat(-15, -width, width, 0, level), flat(0, 0, width, 10, level)]
    return build_roof(parts)


DIAGONAL = [(r * np.cos(a), -r * np.sin(a)) for r, a in ((2.2, 0.8), (2.8, 0.3), (3.4, 1.2))]


@pytest.mark.parametrize(
    "site", [*DEEP, EnSite(ground_snow=5000.0, annex_b=True)], ids=["EN", "NBCC", "Annex B"]
)
def test_around_a_corner_a_ledge_is_part_of_the_distance(site):
    """Where the height of the wall governs: the drift of a wall at the corner, whatever ledge there is."""
    word = "exceptional drift" if getattr(site, "annex_b", False) else "drift"
    direct = build_roof([flat(-15, 0, 0, 10, HIGH), flat(-15, -20, 20, 10, LOW)])
    wanted = worst(direct, site, DIAGONAL, word)
    assert wanted[0] > 1.3 * worst(direct, site, DIAGONAL, "balanced")[0]
    for width, level in ((0.12, 5.0), (0.5, 3.4), (1.2, 5.0), (1.2, None)):
        found = worst(around(width, level), site, DIAGONAL, word)
        assert (found >= wanted * (1.0 - 1e-9)).all()
        if level is None or isinstance(site, EnSite):  # by NBCC the ledge's own drift is more
            np.testing.assert_allclose(found, wanted, rtol=1e-6)


def test_around_a_corner_the_drift_past_a_ledge_is_that_of_7_7_2():
    """p_d from s on in every direction, to nothing at s + 6 h_d; slices are 0.9 % above a cone."""
    width = 1.2
    height = float(drift.drift_height(GROUND, 15.0 + width, 0.5))
    roof = around(width, 3.4)
    found = worst(roof, ASCE, DIAGONAL, "leeward") - worst(roof, ASCE, DIAGONAL, "balanced")
    drifted = height * GAMMA * (1.0 - (np.linalg.norm(DIAGONAL, axis=1) - width) / (6.0 * height))
    assert (drifted * (1.0 - 1e-9) <= found).all()
    assert (found <= drifted + 0.01 * height * GAMMA).all()


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
@pytest.mark.parametrize("level", [3.4, 6.6])
def test_around_a_corner_a_ledge_hides_no_more_than_a_gap(site, level):
    least = worst(around(1.2), site, DIAGONAL)
    assert (least > 1.1 * worst(around(1.2), site, DIAGONAL, "balanced")).all()
    assert (worst(around(1.2, level), site, DIAGONAL) >= least * (1.0 - 1e-9)).all()


def test_a_wall_over_two_roofs_has_one_drift_around_its_corner():
    """Ledge and roof below it meet the same corner: each place has one drift of theirs, not both."""
    roof = around(1.2, 5.0)
    cases = [
        case for case in snow_cases(roof, EnSite(ground_snow=3000.0)).cases if "drift below" in case.name
    ]
    for case in cases:
        corner = [zone for zone in case.zones if zone.name.endswith("around a corner")]
        for k, one in enumerate(corner):
            assert all(
                one.plane != other.plane or one.polygon.intersection(other.polygon).area < 1e-6
                for other in corner[k + 1 :]
            )


ANNEX_B = EnSite(ground_snow=3000.0, annex_b=True)


@pytest.mark.parametrize("site", [ASCE, *DEEP, ANNEX_B], ids=["ASCE", "EN", "NBCC", "Annex B"])
@pytest.mark.parametrize(("width", "level"), [(0.0, None), (1.0, None), (1.2, 5.0)])
def test_a_roof_wider_than_the_wall_has_the_drift_around_its_end(site, width, level):
    """A porch or carport runs on past the house, and nothing lies beside the house's other wall."""
    parts = [flat(-15, 0, 0, 30, HIGH), flat(-15, -25, 25, -width, LOW)]
    if level is not None:
        parts.append(flat(-15, -width, 0, 0, level))
    roof = build_roof(parts)
    before, past = worst(roof, site, [(-0.02, -width - 0.3), (0.02, -width - 0.3)])
    assert before > 2.0 * GROUND
    assert past == pytest.approx(before, rel=0.03)  # distance from the corner instead of from the wall
    assert worst(roof, site, [(20.0, -width - 0.3)])[0] < 0.5 * before
    said = {note for case in snow_cases(roof, site).cases for note in case.notes}
    assert any("around" in note.lower() and "corner" in note for note in said)


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
def test_a_roof_as_wide_as_the_wall_has_no_drift_around_its_end(site):
    zones = [zone for case in snow_cases(stepped(0.0), site).cases for zone in case.zones]
    assert not any(zone.name.endswith("around a corner") for zone in zones)


def rising(pitch, azimuth, gap):
    """20 m at 7 m before 40 m that begin 0.05 m higher and rise sideways; a low roof in front."""
    outline = np.array([(0, 20 + gap), (15, 20 + gap), (15, 60), (0, 60)], dtype=float)
    shed = RoofPart("shed", outline, np.radians([pitch]), HIGH + 0.05, np.radians(azimuth))
    return build_roof([flat(0, 0, 15, 20, HIGH), shed, flat(0, -8, 15, 0, LOW)])


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
@pytest.mark.parametrize("gap", [0.0, 0.3], ids=["step", "slot"])
def test_a_step_that_snow_fills_at_one_end_does_not_shorten_the_fetch(site, gap):
    """Over its low end snow is blown on, whatever its other end (0.3 to 2 m); mirrored it is the same."""
    whole, short = (
        most(build_roof([flat(0, 0, 15, y, HIGH), flat(0, -8, 15, 0, LOW)]), site)[0] for y in (60, 20)
    )
    assert whole > 1.1 * short
    for pitch in (1.0, 3.0, 8.0):
        east, west = (most(rising(pitch, azimuth, gap), site)[0] for azimuth in (90.0, 270.0))
        assert east == pytest.approx(west, rel=1e-9)
        assert east == pytest.approx(whole, rel=0.01)


@pytest.mark.parametrize("gap", [0.0, 0.3], ids=["step", "slot"])
def test_without_snow_only_what_is_low_all_along_is_room_for_annex_b(gap):
    """B3: l_s = min(5 h, b_1, 15 m); more room in front of a wall would spread the drift thinner."""
    site = EnSite(ground_snow=GROUND, annex_b=True)
    outline = np.array([(0, -16), (15, -16), (15, -8 - gap), (0, -8 - gap)], dtype=float)
    for pitch, room in ((0.3, 15.0), (3.0, 8.0)):
        shed = RoofPart("shed", outline, np.radians([pitch]), LOW + 0.05, np.radians(90.0))
        roof = build_roof([flat(0, 0, 15, 12, HIGH), flat(0, -8, 15, 0, LOW), shed])
        zones = [zone for case in snow_cases(roof, site).cases for zone in case.zones]
        lengths = [
            value.value
            for zone in zones
            if zone.clause.endswith("B3") and zone.plane == plane_at(roof, (7.5, -0.1))
            for value in zone.values
            if value.symbol == "l_s"
        ]
        assert max(lengths) == pytest.approx(room)
