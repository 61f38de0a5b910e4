"""Snow of a roof as if no row stood anywhere, by hand: what rows add to the building is set against it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from snow_roofs import broken, plane_force, step

from roofmodel.project.obstacle_schema import ParapetTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.snow import AsceSite, EnSite, snow_cases
from roofmodel.snow.registry import bare_snow
from roofmodel.surface import EdgeKind
from roofmodel.units import SI

STEEP, LOW = 45.0, 35.0  # mu_1 = 0.8 (60 - 45) / 30 = 0.4 and 0.8 (60 - 35) / 30 = 0.667 of their own
EN = EnSite(ground_snow=2000.0)


@pytest.mark.parametrize("wall", [0.3, 0.8, 12.0])
def test_without_rows_a_plane_above_a_step_sheds_by_its_own_slope(wall):
    """EN 1991-1-3 Table 5.2 by hand; a step that snow fills would hide what rows add."""
    roof = step(wall=wall, upper_slope=STEEP)
    mean = plane_force(roof, bare_snow(roof, EN).cases[0]) / roof.planes.plan_area
    assert mean == pytest.approx([0.4 * 2000.0, 0.4 * 2000.0, 0.8 * 2000.0])
    with_rows = plane_force(roof, snow_cases(roof, EN, [0]).cases[0]) / roof.planes.plan_area
    assert with_rows == pytest.approx([0.8 * 2000.0, 0.4 * 2000.0, 0.8 * 2000.0])  # rows: twice


def test_without_rows_a_plane_above_a_held_one_sheds_by_its_own_slope():
    """Only the lower of two planes has a parapet, 5.3.2(2)."""
    roof = broken(slope=STEEP, lower_slope=LOW)
    eave = roof.edges.name[roof.edges.kind.index(EdgeKind.EAVE)]
    parapet = ParapetTable.model_validate({"edge": eave, "height": "1 m"})
    roof = replace(roof, obstacles=place_obstacles(roof, [parapet], [], SI))
    mean = plane_force(roof, bare_snow(roof, EN).cases[0]) / roof.planes.plan_area
    assert mean == pytest.approx([0.8 * 2000.0, 0.4 * 2000.0])
    safe = plane_force(roof, snow_cases(roof, EN).cases[0]) / roof.planes.plan_area
    assert safe == pytest.approx([0.8 * 2000.0, 0.8 * 2000.0])  # of a check: what lies on rows


def test_other_standards_are_as_they_were():
    roof = step(wall=0.8, upper_slope=STEEP)
    site = AsceSite(ground_snow=2000.0, risk_category="II", winter_wind=0.5, slippery=True)
    both = [plane_force(roof, found.cases[0]) for found in (bare_snow(roof, site), snow_cases(roof, site))]
    assert both[0] == pytest.approx(both[1])
