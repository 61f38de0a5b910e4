"""Laws that the snow of every standard keeps, whatever the roof: sums, order, scale, growth, walls."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from snow_roofs import corner, court, ell, folded, gable, hip, plane_force, saw_tooth, shed, step
from test_snow_roofs_asce7_16 import walled

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow import Asce16Site, AsceSite, EnSite, NbccSite, snow_cases
from roofmodel.snow.asce7_22 import FOOT, PSF
from roofmodel.snow.cases import case_force, case_pressure_at
from roofmodel.snow.regions import plan_polygon

SITES = [
    AsceSite(ground_snow=1500.0, risk_category="II", winter_wind=0.55, slippery=True),
    Asce16Site(ground_snow=1500.0, risk_category="II", slippery=True),
    EnSite(ground_snow=1500.0, annex_b=True),
    NbccSite(ground_snow=1500.0, associated_rain=300.0, importance="high", slippery=True),
]
every_standard = pytest.mark.parametrize("site", SITES, ids=lambda site: site.standard)
ROOFS = {
    "shed": shed,
    "gable": gable,
    "hip": hip,
    "L": ell,
    "step": lambda: step(wall=3.0),
    "gap": lambda: step(wall=3.0, gap=1.5),
    "corner": corner,
    "court": court,
    "valleys": lambda: folded(3),
    "saw-tooth": saw_tooth,
    "vault": lambda: build_roof([RoofPart("vault", box(0, 0, 30, 20), rise=3.0)]),
}


def box(x0, y0, x1, y1):
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=float)


def snowed(site, ground):
    """The same site under another ground snow; rain goes with it in NBCC."""
    if isinstance(site, NbccSite):
        return replace(site, ground_snow=ground, associated_rain=0.2 * ground)
    return replace(site, ground_snow=ground)


def by_hand(zone):
    """Integral of a zone over the triangles of its polygon: area times the mean of the three corners. [N]."""
    total = 0.0
    for part in getattr(zone.polygon, "geoms", (zone.polygon,)):
        for piece in shapely.get_parts(shapely.constrained_delaunay_triangles(part)):
            ring = np.asarray(piece.exterior.coords)[:3]
            total += piece.area * (zone.pressure[0] + ring @ zone.pressure[1:]).mean()
    return total


@every_standard
@pytest.mark.parametrize("name", ROOFS)
def test_the_total_is_the_hand_integral_of_the_zones(site, name):
    """Also where the roof is cut into odd pieces, as the sliding cells do."""
    roof = ROOFS[name]()
    slabs = [shapely.box(-100.0, y, 100.0, y + 1.7) for y in np.arange(-50.0, 60.0, 1.7)]
    outlines = [plan_polygon(roof, i) for i in range(roof.planes.count)]
    pieces = [
        (piece, i)
        for i, outline in enumerate(outlines)
        for piece in shapely.intersection(outline, slabs)
        if isinstance(piece, shapely.Polygon) and not piece.is_empty
    ]
    shapes, plane = np.array([p for p, _ in pieces], dtype=object), np.array([i for _, i in pieces])
    for case in snow_cases(roof, site, {0}).cases:
        total = sum(by_hand(zone) for zone in case.zones)
        assert plane_force(roof, case).sum() == pytest.approx(total, rel=1e-7), case.name
        assert case_force(case, shapes, plane).sum() == pytest.approx(total, rel=1e-6), case.name


def spots(roof, snow, points):
    """Largest pressure of all cases at plan points, wherever their planes stand in the list. [Pa]."""
    found = np.zeros(len(points))
    for i in range(roof.planes.count):
        inside = shapely.intersects_xy(plan_polygon(roof, i), points)
        on = np.flatnonzero(inside)
        for case in snow.cases:
            here = case_pressure_at(case, points[on], np.full(len(on), i))
            found[on] = np.maximum(found[on], here)
    return found


PARTS = [
    RoofPart("hip", box(0, 0, 20, 12), np.radians([25.0] * 4), 7.0),
    RoofPart("flat", box(20, 0, 32, 12), np.zeros(0), 4.0),
    RoofPart("shed", box(0, -8, 20, 0), np.radians([12.0]), 3.0, fall_azimuth=np.pi),
    RoofPart("gable", box(0, 12, 20, 20), np.radians([np.nan, 30.0, np.nan, 30.0]), 4.0),
]


@every_standard
def test_the_order_of_parts_and_of_corners_changes_nothing(site):
    points = np.random.default_rng(2).uniform([-1.0, -9.0], [33.0, 21.0], (400, 2))
    here = build_roof(PARTS)
    rolled = [
        replace(part, footprint=np.roll(part.footprint, -2, axis=0), pitches=np.roll(part.pitches, -2))
        if len(part.pitches) == 4
        else replace(part, footprint=part.footprint[::-1])
        for part in PARTS[::-1]
    ]
    there = build_roof(rolled)
    before, after = (spots(roof, snow_cases(roof, site), points) for roof in (here, there))
    assert before.max() > 0.0
    assert after == pytest.approx(before, rel=1e-6, abs=1e-6)


SCALED = {
    "ASCE/SEI 7-22": ("balanced", "sliding"),
    "ASCE/SEI 7-16": ("balanced", "sliding"),
    "EN 1991-1-3": ("balanced", "unbalanced", "snow in the valleys", "drifted on vault"),
    "NBCC 2020": ("balanced", "unbalanced", "valley snow", "partial"),
}


@every_standard
@pytest.mark.parametrize("name", ["gable", "hip", "L", "step", "valleys", "vault"])
def test_loads_scale_where_the_standard_says_so(site, name):
    """p_f and what slides (ASCE), mu without walls (EN), S with S_s and S_r without drifts (NBCC)."""
    roof = step(wall=9.0) if name == "step" else ROOFS[name]()  # a filled step would leave the slippery line
    one, more = (snow_cases(roof, snowed(site, ground)) for ground in (1800.0, 1.7 * 1800.0))
    seen = 0
    for case in one.cases:
        if case.name.startswith(SCALED[site.standard]):
            (other,) = [c for c in more.cases if c.name == case.name]
            assert plane_force(roof, other) == pytest.approx(1.7 * plane_force(roof, case), rel=1e-9)
            seen += 1
    assert seen


def envelope(roof, site, rain=False):
    """Largest force of any case on each plane, without rain on snow. [N]."""
    cases = [case for case in snow_cases(roof, site).cases if rain or case.name != "rain on snow"]
    return np.max([plane_force(roof, case) for case in cases], axis=0)


@every_standard
@pytest.mark.parametrize("name", ROOFS)
def test_more_ground_snow_never_loads_a_plane_less(site, name):
    """The worst of all cases on every plane; rain on snow ends at its limit and is looked at apart."""
    roof = ROOFS[name]() if name not in ("step", "gap") else step(wall=9.0)
    force = np.array([envelope(roof, snowed(site, ground)) for ground in np.geomspace(300.0, 9000.0, 9)])
    assert np.all(np.diff(force, axis=0) >= -1e-9 * force[1:])


@every_standard
@pytest.mark.parametrize("name", ["gable", "hip", "L", "step", "corner", "valleys", "vault"])
def test_loads_are_continuous_in_the_ground_snow(site, name):
    """A thousandth more snow changes no plane's worst load by more than a hundredth."""
    roof = step(wall=9.0) if name == "step" else ROOFS[name]()
    for ground in np.geomspace(200.0, 8000.0, 6):
        below, above = (envelope(roof, snowed(site, ground * part)) for part in (0.9995, 1.0005))
        assert above == pytest.approx(below, rel=0.01)


@pytest.mark.parametrize(("site", "limit"), [(SITES[0], 30.0), (SITES[1], 20.0)])
def test_rain_on_snow_is_the_one_jump(site, limit):
    """7.10: 8 psf (7-22) or 5 psf (7-16) to the limit, nothing beyond: the standard itself jumps there."""
    roof = shed(slope=0.9, run=60.0 * FOOT, length=20.0)
    rain = {30.0: 8.0, 20.0: 5.0}[limit]
    below, above = (
        [c for c in snow_cases(roof, replace(site, ground_snow=part * limit * PSF)).cases if "rain" in c.name]
        for part in (0.9999, 1.0001)
    )
    assert not above
    (case,) = below
    balanced = snow_cases(roof, replace(site, ground_snow=0.9999 * limit * PSF)).cases[0]
    extra = (plane_force(roof, case) - plane_force(roof, balanced)) / roof.planes.plan_area
    assert extra == pytest.approx(rain * PSF, rel=1e-6)


@every_standard
@settings(max_examples=25, deadline=None)
@given(
    wall=st.floats(0.4, 9.0),
    upper=st.floats(3.0, 90.0),
    lower=st.floats(3.0, 40.0),
    ground=st.floats(300.0, 9000.0),
)
def test_no_drift_stands_above_its_wall(site, wall, upper, lower, ground):
    """Depth by the standard's own density; EN's least mu_w of 0.8 is the one that may be higher."""
    roof = walled(upper / FOOT, wall / FOOT, lower / FOOT)
    site = snowed(site, ground)
    for case in snow_cases(roof, site).cases:
        if "drift" not in case.name:
            continue
        top = case_pressure_at(case, np.array([[15.0, -1e-9]]), np.array([1]))[0]
        if isinstance(site, EnSite):
            exceptional = case.name.startswith("exceptional")
            most = site.drift_weight * wall if not exceptional else 2.0 * wall * 1000.0
            assert top <= max(most, 0.8 * ground) * (1.0 + 1e-6)
        elif isinstance(site, NbccSite):
            weight = min(4.0, 0.43 * ground / 1000.0 + 2.2) * 1000.0
            least = 1.15 * (0.86 * ground + 0.2 * ground)  # C_b of the largest roof here, and rain
            assert top <= max(1.15 * (weight * wall + 0.2 * ground), least) * (1.0 + 1e-6)
        else:
            weight = case.density * 9.80665
            assert top <= weight * wall * (1.0 + 1e-6)


@every_standard
@pytest.mark.parametrize("wall", [1.0, 2.0, 4.0])
def test_drifts_that_meet_stand_no_higher_than_their_walls(site, wall):
    """Where nothing slides, the corner of two flat roofs holds no more than one wall can."""
    roof = corner(wall=wall)
    snow = snow_cases(roof, site)
    cases = [case for case in snow.cases if "together" in case.name]
    points = np.array([[19.999, 19.99], [19.99, 19.999], [19.9, 10.0]])
    singles = [
        case for case in snow_cases(roof, site).cases if case.name.startswith(("drift b", "leew", "windw"))
    ]
    most = np.max([case_pressure_at(c, points, np.full(3, 2)) for c in singles], axis=0) if singles else 0.0
    for case in cases:
        assert np.all(case_pressure_at(case, points, np.full(3, 2)) <= most * (1.0 + 1e-9))
    assert bool(cases) == (len(singles) > 1)
