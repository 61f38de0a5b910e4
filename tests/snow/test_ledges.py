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
