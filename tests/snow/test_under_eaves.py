"""A porch under the eave of a slope, so little below it that balanced snow fills the step.

What slid from a slope and drifted at its wall lies on the porch, not on the eave above it, and the porch
is no part of the slope.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from roofmodel.shape.importing import import_roof
from roofmodel.shape.recognition import recognize
from roofmodel.snow import Asce16Site, AsceSite, EnSite, NbccSite, snow_cases
from roofmodel.snow.regions import roof_plan

RUN, RISE, WIDE = 5.0, 3.0, 12.0  # of the slope [m]
ZURICH = Path(__file__).parents[1] / "data" / "roofs" / "zurich_3_buildings.city.json"
BUILDING = "UUID_2e5320be-a782-4517-bd0e-ab2cc2407649"
EN = EnSite(ground_snow=2400.0)
SITES = [
    EN,
    EnSite(ground_snow=2400.0, annex_b=True),
    AsceSite(ground_snow=3000.0, risk_category="II", winter_wind=0.5, slippery=True),
    Asce16Site(ground_snow=2400.0, risk_category="II", thermal_factor=1.2, slippery=True),
    NbccSite(ground_snow=2400.0, associated_rain=200.0, importance="normal", slippery=True),
]


def porch_below(overhang: float, top: float = 2.6):
    """A gable of eaves 3 m high, and a porch from the wall, `overhang` behind the eave. [m]."""
    ridge, eave, wall = 3.0 + RISE, 3.0, RUN - overhang
    return surface(
        [(0, -RUN, eave), (WIDE, -RUN, eave), (WIDE, 0, ridge), (0, 0, ridge)],
        [(WIDE, RUN, eave), (0, RUN, eave), (0, 0, ridge), (WIDE, 0, ridge)],
        [(9, wall + 2.4, top - 0.6), (4, wall + 2.4, top - 0.6), (4, wall, top), (9, wall, top)],
    )


def surface(*quads):
    """A roof of polygons."""
    points = np.array([corner for quad in quads for corner in quad], dtype=float)
    first = np.cumsum([0, *(len(quad) for quad in quads)])
    faces = [
        (k, k + i, k + i + 1) for k, quad in zip(first, quads, strict=False) for i in range(1, len(quad) - 1)
    ]
    return recognize(points, np.array(faces))


def parts(roof, site):
    """Zones on the slope above the porch and on the porch that are not the plane's own balanced snow."""
    upper, lower = int(roof.steps.upper[0]), int(roof.steps.lower[0])
    zones = [zone for case in snow_cases(roof, site).cases for zone in case.zones]
    of = [zone for zone in zones if "slid from" in zone.name or "drift below" in zone.name]
    return tuple([zone for zone in of if zone.plane == plane] for plane in (upper, lower))


@pytest.mark.parametrize("site", SITES, ids=lambda s: f"{s.standard}{getattr(s, 'annex_b', '') or ''}")
@pytest.mark.parametrize("overhang", [0.3, 0.5, 1.0])
def test_nothing_that_left_an_eave_lies_on_it(site, overhang):
    roof = porch_below(overhang)
    assert len(roof_plan(roof).over)
    above, below = parts(roof, site)
    assert not above
    reach = 1.0 if isinstance(site, NbccSite) else 2.4  # NBCC: it lies on 1 m here
    assert shapely.union_all([zone.polygon for zone in below]).area == pytest.approx(5.0 * reach, abs=1e-6)


@pytest.mark.parametrize("overhang", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("top", [1.0, 2.3, 2.6])
def test_the_porch_is_no_part_of_the_slope_that_sheds_on_it(overhang, top):
    """EN 1991-1-3 5.3.6: b_s is the slope's own plan run, 5 m, whether snow fills the step or not."""
    _, below = parts(porch_below(overhang, top), EN)
    runs = [value.value for zone in below for value in zone.values if value.symbol.startswith("b_s")]
    assert runs
    assert runs == pytest.approx([RUN] * len(runs), abs=0.01)


@pytest.mark.parametrize("overhang", [0.0, 0.5])
def test_width_of_the_slope_by_asce_is_eave_to_ridge(overhang):
    """ASCE/SEI 7-22 7.9: W is the distance from eave to ridge."""
    _, below = parts(porch_below(overhang), SITES[2])
    runs = [value.value for zone in below for value in zone.values if value.symbol == "W"]
    assert runs
    assert runs == pytest.approx([RUN] * len(runs), abs=0.01)


@pytest.mark.parametrize("site", SITES, ids=lambda s: f"{s.standard}{getattr(s, 'annex_b', '') or ''}")
def test_surveyed_roofs_whose_planes_lie_over_one_another_get_their_snow(site):
    """Overlays of planes that overlap in lines and areas at once (a real roof of Zurich)."""
    roof = import_roof(ZURICH, building=BUILDING)
    assert len(roof_plan(roof).over)
    assert snow_cases(roof, site).cases


@pytest.mark.parametrize("slope", [8.0, 20.0])
def test_a_shed_dormer_sheds_the_slope_above_it_too(slope):
    """It falls onto the plane that feeds it from above: 4 m of dormer, 6 m of slope up to the ridge."""
    fall, main = np.tan(np.radians([slope, 40.0]))
    height = lambda y: 7.0 + main * (y - 6.0)  # noqa: E731
    sides = [
        [(a, low, height(low)), (b, low, height(low)), (b, high, height(high)), (a, high, height(high))]
        for a, b, low, high in ((0, 12, 0, 2), (0, 4, 2, 6), (8, 12, 2, 6), (0, 12, 6, 12))
    ]
    dormer = [(4, 2, 7 - 4 * fall), (8, 2, 7 - 4 * fall), (8, 6, 7), (4, 6, 7)]
    back = [(12, 24, height(0)), (0, 24, height(0)), (0, 12, height(12)), (12, 12, height(12))]
    roof = surface(*sides, dormer, back)
    for site, symbol in ((EN, "b_s"), (SITES[2], "W"), (SITES[3], "W")):
        zones = [zone for case in snow_cases(roof, site).cases for zone in case.zones]
        wanted = [value.value for zone in zones for value in zone.values if value.symbol.startswith(symbol)]
        whole = {"b_s": 4.0 + 6.0, "W": 10.0}[symbol]
        parted = {round(value, 2) for value in wanted}
        assert max(parted) == pytest.approx(whole, abs=0.01) or {4.0, 6.0} <= parted


def test_a_porch_with_a_break_is_no_part_of_the_slope():
    low = [(4, 5.3, 2.6), (9, 5.3, 2.6), (9, 5.8, 2.5), (4, 5.8, 2.5)]
    flat = [(4, 4.7, 2.8), (9, 4.7, 2.8), (9, 5.3, 2.6), (4, 5.3, 2.6)]
    south = [(0, -5, 3), (12, -5, 3), (12, 0, 6), (0, 0, 6)]
    north = [(12, 5, 3), (0, 5, 3), (0, 0, 6), (12, 0, 6)]
    zones = [z for case in snow_cases(surface(south, north, low, flat), EN).cases for z in case.zones]
    runs = [value.value for zone in zones for value in zone.values if value.symbol.startswith("b_s")]
    assert runs == pytest.approx([RUN] * len(runs), abs=0.01)


@pytest.mark.parametrize("site", SITES, ids=lambda s: f"{s.standard}{getattr(s, 'annex_b', '') or ''}")
def test_what_runs_from_one_plane_of_a_porch_to_the_next_stays_below_the_eave(site):
    """A porch of three planes, hipped, 0.4 m under the eave: none of its drift lies on the slope above."""
    south = [(0, -5, 3), (12, -5, 3), (12, 0, 6), (0, 0, 6)]
    north = [(12, 5, 3), (0, 5, 3), (0, 0, 6), (12, 0, 6)]
    front = [(9, 7, 2.2), (3, 7, 2.2), (6, 4.6, 2.8)]
    sides = [(3, 7, 2.2), (3, 4.6, 2.2), (6, 4.6, 2.8)], [(9, 4.6, 2.2), (9, 7, 2.2), (6, 4.6, 2.8)]
    roof = surface(south, north, front, *sides)
    house = {int(plane) for plane in roof.steps.upper}
    for case in snow_cases(roof, site).cases:
        for zone in case.zones:
            if "drift below" in zone.name or "slid from" in zone.name:
                assert zone.plane not in house
