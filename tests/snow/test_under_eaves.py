"""A porch under the eave of a slope, so little below it that balanced snow fills the step.

What slid from a slope and drifted at its wall lies on the porch, not on the eave above it, and the porch
is no part of the slope.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

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
    quads = [
        [(0, -RUN, eave), (WIDE, -RUN, eave), (WIDE, 0, ridge), (0, 0, ridge)],
        [(WIDE, RUN, eave), (0, RUN, eave), (0, 0, ridge), (WIDE, 0, ridge)],
        [(9, wall + 2.4, top - 0.6), (4, wall + 2.4, top - 0.6), (4, wall, top), (9, wall, top)],
    ]
    points = np.array(quads, dtype=float).reshape(-1, 3)
    faces = np.concatenate([[[k, k + 1, k + 2], [k, k + 2, k + 3]] for k in range(0, len(points), 4)])
    return recognize(points, faces)


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
    assert below
    whole = sum(zone.polygon.area for zone in below)
    assert whole > 0.0


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
