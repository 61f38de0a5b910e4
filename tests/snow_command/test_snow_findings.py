"""Numbers behind tables and drawings: sums, bands, sections, held against hand values and other ways."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from snow_projects import (
    ANNEX_B,
    DEMOS,
    TANNERY,
    demo,
    study_of,
    turned,
    under_asce,
    with_obstacles,
    with_site,
    with_vault,
)

from roofmodel.snow.cases import case_pressure_at
from roofmodel.snow.corners import AROUND
from roofmodel.snow.regions import plan_polygon
from roofmodel.snow.sharing import GRID
from viewer.snow.contours import bands, pressure_scale
from viewer.snow.findings import corner_integrals

STANDARD_GRAVITY = 9.80665


@pytest.mark.parametrize("name", DEMOS)
def test_totals_agree_with_the_analysis(name: str) -> None:
    for case in demo(name).findings.cases:
        assert case.total == pytest.approx(case.plane_force.sum(), rel=1e-9)
        assert case.total > 0.0


def test_a_zone_beside_its_plane_is_noticed() -> None:
    """The self-check can fail: half of a case's first zone moved off its plane."""
    from dataclasses import replace

    from viewer.snow.findings import snow_findings

    study = demo("tannery-hall")
    case = study.findings.snow.cases[0]
    zone = replace(case.zones[0], polygon=shapely.affinity.translate(case.zones[0].polygon, 12.0, 0.0))
    snow = replace(study.findings.snow, cases=(replace(case, zones=(zone, *case.zones[1:])),))
    assert not snow_findings(study.findings.project, snow).proven


def test_drift_by_hand() -> None:
    """EN 1991-1-3 5.3.6 on the two-level hall, from the clauses; s_k 2 kN/m2, wall 2.4497 m, l_s 5 m."""
    study = demo("tannery-hall")
    wall = 7.0 - (3.6 + 6.0 * np.tan(np.radians(9.0)))
    wind = min((14.0 + 6.0) / (2.0 * wall), 2000.0 * wall / 2000.0)
    slide = 2.0 * 0.5 * 0.8 * 7.0 / 5.0  # half of the upper slope as a triangle over l_s
    peak = (slide + wind - 0.8) * 2000.0
    case = study.findings.cases[-1]
    assert case.largest == pytest.approx(peak + 1600.0, rel=1e-9)
    assert case.total == pytest.approx(
        1600.0 * (24.0 * 14.0 + 16.0 * 6.0) + 0.5 * peak * 5.0 * 16.0, rel=1e-9
    )
    assert case.largest_at[1] == pytest.approx(0.0, abs=1e-9)
    assert case.mean == pytest.approx(case.total / (24.0 * 14.0 + 16.0 * 6.0), rel=1e-9)


@pytest.mark.parametrize("name", DEMOS)
def test_cells_cover_the_zones_once_and_add_them(name: str) -> None:
    findings = demo(name).findings
    rng = np.random.default_rng(7)
    for case in findings.cases:
        cells = case.cells
        loaded = shapely.union_all([findings.patches[i].zone.polygon for i in case.patches], grid_size=GRID)
        assert shapely.area(cells.polygon).sum() >= loaded.area - 1e-4  # planes may overlap on plan
        center = np.concatenate([_inside(polygon, rng) for polygon in cells.polygon])
        of = np.repeat(np.arange(len(cells.plane)), 4)
        added = cells.pressure[of, 0] + np.sum(center * cells.pressure[of, 1:], axis=1)
        assert added == pytest.approx(
            case_pressure_at(case.case, center, cells.plane[of]), rel=1e-9, abs=1e-6
        )
        assert added.max() <= case.largest * (1.0 + 1e-9)


def _inside(polygon: shapely.Polygon, rng: np.random.Generator) -> np.ndarray:
    """Four points inside a polygon: mixtures of the corners of its pieces."""
    pieces = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    pieces = pieces[shapely.area(pieces) > 1e-9]
    chosen = rng.integers(len(pieces), size=4)
    weight = rng.dirichlet([2.0, 2.0, 2.0], size=4)
    corners = np.stack([shapely.get_coordinates(pieces[k])[:3] for k in chosen])
    return np.asarray(np.einsum("ij,ijk->ik", weight, corners))


def test_largest_pressure_is_where_it_is_said() -> None:
    for name in DEMOS:
        for case in demo(name).findings.cases:
            a, slope = (
                case.cells.pressure[case.largest_cell, 0],
                case.cells.pressure[case.largest_cell, 1:],
            )
            assert a + case.largest_at @ slope == pytest.approx(case.largest, rel=1e-9)
            cell = case.cells.polygon[case.largest_cell]
            assert shapely.distance(cell, shapely.Point(case.largest_at)) < 1e-6


def test_corner_sums_take_holes_off() -> None:
    outer = shapely.box(3.0, -2.0, 13.0, 4.0)
    polygon = outer.difference(shapely.box(5.0, -1.0, 7.0, 1.0))
    area, centroid = corner_integrals(polygon)
    assert area == pytest.approx(60.0 - 4.0)
    assert centroid == pytest.approx((60.0 * np.array([8.0, 1.0]) - 4.0 * np.array([6.0, 0.0])) / 56.0)
    two = shapely.MultiPolygon([polygon, shapely.box(20.0, 0.0, 22.0, 1.0)])
    assert corner_integrals(two)[0] == pytest.approx(58.0)


@pytest.mark.parametrize("name", DEMOS)
def test_bands_part_the_cells_by_pressure(name: str) -> None:
    study = demo(name)
    levels = study.scale.levels
    assert levels[0] == 0.0
    assert levels[-1] >= study.findings.largest > levels[-2]
    for case in study.findings.cases:
        shapes, number = bands(case.cells, study.scale)
        assert shapely.area(shapes).sum() == pytest.approx(shapely.area(case.cells.polygon).sum(), rel=1e-9)
        points = shapely.get_coordinates(shapely.point_on_surface(shapes))
        inside = shapely.intersects(case.cells.polygon, shapely.points(points)[:, None])
        sums = case.cells.pressure[:, 0] + points @ case.cells.pressure[:, 1:].T
        slack = 1e-6 * levels[-1]
        fits = (sums >= levels[number, None] - slack) & (sums <= levels[number + 1, None] + slack)
        assert np.all(np.any(inside & fits, axis=1))


@pytest.mark.parametrize("largest", [1.0, 383.0, 1600.0, 7139.4, 9000.0, 123456.0])
@pytest.mark.parametrize("units", ["SI", "US"])
def test_scale_is_round_in_the_readers_units(largest: float, units: str) -> None:
    from viewer.quantities import system

    scale = pressure_scale(largest, system(units))
    assert 3 <= scale.count <= 9
    assert scale.levels[-1] >= largest * (1.0 - 1e-9)
    assert scale.levels[-2] < largest
    shown = np.array([float(label) for label in scale.labels])
    assert shown == pytest.approx([system(units).convert(v, "pressure") for v in scale.levels], rel=1e-9)


def test_section_is_the_drift_by_hand() -> None:
    study = demo("tannery-hall")
    (section,) = study.sections
    wall = 7.0 - (3.6 + 6.0 * np.tan(np.radians(9.0)))
    assert section.width == pytest.approx(5.0)
    assert section.way == pytest.approx([0.0, -1.0], abs=1e-12)
    assert section.pressure == pytest.approx([5539.387, 0.0], rel=1e-6, abs=1e-6)
    assert section.weight == pytest.approx(200.0 * STANDARD_GRAVITY)
    s, foot, top, side = section.walls[0]
    assert s == pytest.approx(0.0, abs=1e-9)
    assert top - foot == pytest.approx(wall)
    assert side == 1.0
    first = min((p for p in section.pieces if len(p.layers) == 2), key=lambda p: p.s[0])
    assert [layer.pressure[0] for layer in first.layers] == pytest.approx([1600.0, 5539.387], rel=1e-6)
    assert first.z[0] == pytest.approx(foot)
    assert (first.z[1] - first.z[0]) / np.ptp(first.s) == pytest.approx(-np.tan(np.radians(9.0)))


@pytest.mark.parametrize("name", DEMOS)
def test_every_drift_has_its_section(name: str) -> None:
    study = demo(name)
    for i, patch in enumerate(study.findings.patches):
        drawn = study.section_of.get(i)
        assert (drawn is not None) == (not patch.base and patch.area >= 0.05)
        if drawn is not None:
            section = study.sections[drawn]
            shown = [study.findings.patches[k].zone for k in section.patches]
            assert {zone.name for zone in shown} == {patch.zone.name}
            # On the line itself, or on another plane with the very pressure field of one that is, or in
            # the same cone around a corner.
            cone = patch.zone.name.endswith(AROUND)
            assert cone or any(
                zone.pressure == pytest.approx(patch.zone.pressure, abs=1e-5) for zone in shown
            )
            along = np.linspace(1e-6, section.width - 1e-6, 7)[:, None]
            ground = shapely.union_all([zone.polygon.buffer(1e-3) for zone in shown])
            assert np.all(ground.contains(shapely.points(section.start + along * section.way)))


def test_section_follows_the_snow_over_a_vault(tmp_path: Path) -> None:
    """EN 1991-1-3 5.3.5: mu_3 = 0.2 + 10 h / b, at most 2, halfway down; nothing at crown and springing."""
    study = study_of(with_vault(TANNERY), tmp_path)
    section = study.sections[0]
    assert len(section.patches) > 5
    assert section.width == pytest.approx(7.0, rel=1e-6)
    assert section.pressure == pytest.approx([0.0, 0.0], abs=1.0)
    assert section.peak == pytest.approx([3.5, 2.0 * 2000.0], rel=1e-3)
    heights = np.array([piece.z for piece in section.own])
    assert np.ptp(heights) == pytest.approx(4.0, rel=1e-6)  # the rise, from crown to springing
    s = np.array([piece.s for piece in section.own])
    assert s[1:, 0] == pytest.approx(s[:-1, 1], abs=1e-6)


def test_section_follows_a_drift_over_a_ridge(tmp_path: Path) -> None:
    """EN 1991-1-3 6.2: the triangle of l_s = 5 m before the chimney ends beyond the ridge, in one line."""
    study = study_of(with_obstacles(with_site(ANNEX_B)), tmp_path)
    patches = study.findings.patches
    section = next(
        x for x in study.sections if len(x.patches) == 2 and patches[x.patch].zone.name == "drift at chimney"
    )
    assert section.width == pytest.approx(5.0, rel=1e-6)
    assert section.pressure == pytest.approx([(2.0 - 0.8) * 1200.0, 0.0], abs=1e-6)


def test_section_of_uniform_surcharge_is_as_wide_as_its_clause_says() -> None:
    """ASCE/SEI 7-22 7.6.1: 8/3 h_d sqrt(S) square to the crest, on every piece that is not cut short."""
    study = demo("ridge-school")
    checked = 0
    for section in study.sections:
        patch = study.findings.patches[section.patch]
        extent = next(v.value for v in patch.zone.values if v.symbol == "extent")
        assert section.width <= extent * (1.0 + 1e-9)
        checked += section.width == pytest.approx(extent, rel=1e-6)
    assert checked >= len(study.sections) - 1


@pytest.mark.parametrize("degrees", [30.0, 137.0])
def test_turning_the_roof_changes_no_number(degrees: float, tmp_path: Path) -> None:
    still, spun = study_of(turned(0.0), tmp_path), study_of(turned(degrees), tmp_path)
    for attribute in ("total", "largest", "mean"):
        before = sorted(getattr(case, attribute) for case in still.findings.cases)
        after = sorted(getattr(case, attribute) for case in spun.findings.cases)
        assert after == pytest.approx(before, rel=1e-6)
    assert [s.width for s in spun.sections] == pytest.approx([s.width for s in still.sections], rel=1e-6)
    assert spun.sections[0].pressure[0] == pytest.approx(still.sections[0].pressure[0], rel=1e-6)
    angle = np.radians(degrees)
    assert spun.sections[0].way == pytest.approx([-np.sin(angle), -np.cos(angle)], abs=1e-6)


def test_asce_drifts_and_slides_have_numbers(tmp_path: Path) -> None:
    """ASCE/SEI 7-22 7.7.1 and 7.9 by hand: gamma 0.13 p_g + 14, h_d by Eq. 7.6-1, 0.4 p_f W over 15 ft."""
    findings = study_of(under_asce(), tmp_path).findings
    psf, foot = 47.880259, 0.3048
    by_name = {case.case.name: case for case in findings.cases}
    gamma, flat = 0.13 * 30.0 + 14.0, 0.7 * 1.14 * 30.0
    length = 14.0 / foot
    depth = 1.5 * np.sqrt(30.0**0.74 * length**0.70 * 0.4**1.7 / gamma)
    drift = by_name["leeward drift below S1, wind toward S"]
    assert drift.largest / psf == pytest.approx(flat + gamma * depth, rel=1e-3)
    slide = by_name["sliding from S1"]
    assert slide.largest / psf == pytest.approx(flat + 0.4 * flat * (7.0 / foot) / 15.0, rel=1e-6)


def test_plan_polygons_are_those_of_the_roof() -> None:
    study = demo("sentier-house")
    roof = study.findings.project.roof
    for patch in study.findings.patches:
        plane = plan_polygon(roof, patch.zone.plane)
        assert shapely.difference(patch.zone.polygon, plane.buffer(1e-3)).area < 1e-6


def test_what_lies_on_top_is_told_from_what_lies_beside(tmp_path: Path) -> None:
    hall = demo("tannery-hall").findings
    assert [hall.on_top(q) for q in range(4)] == [frozenset(), frozenset(), frozenset(), {5}]
    vault = study_of(with_vault(TANNERY), tmp_path).findings
    drifted = next(q for q, case in enumerate(vault.cases) if "drifted" in case.case.name)
    assert vault.on_top(drifted) == frozenset()  # facets hold several zones, none over another
