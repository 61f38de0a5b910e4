"""Obstructions and solar arrays keep snow from sliding off: EN 5.3.2(2), ASCE/SEI 7 7.4, NBCC 4.1.6.2."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from snow_roofs import plane_force

from roofmodel.project.array_schema import SolarTable
from roofmodel.project.arrays import place_arrays
from roofmodel.project.obstacle_schema import ObstructionTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow import AsceSite, EnSite, NbccSite, snow_cases
from roofmodel.units import SI

ASCE = AsceSite(
    ground_snow=2394.0,
    risk_category="II",
    winter_wind=0.5,
    slippery=True,
    exposure_factor=1.0,
    thermal_factor=1.2,
)
NBCC = NbccSite(
    ground_snow=2000.0,
    associated_rain=200.0,
    importance="normal",
    slippery=True,
    wind_factor=1.0,
    basic_factor=0.8,
)
EN = EnSite(ground_snow=2000.0, exposure_factor=1.0)


def gable(degrees=45.0):
    corners = np.array([[0.0, 0.0], [24.0, 0.0], [24.0, 12.0], [0.0, 12.0]])
    pitches = np.radians([degrees, np.nan, degrees, np.nan])
    return build_roof([RoofPart("gable", corners, pitches, 4.0)])


def with_boxes(roof, *widths, clear=0.0):
    """Boxes 2 m high on S1, 1 m deep, evenly along the eave."""
    step = 24.0 / len(widths)
    tables = [
        ObstructionTable.model_validate(
            {"name": f"box {k}", "plane": "S1", "across": f"{(k + 0.5) * step} m", "up": "3 m"}
            | {"width": f"{width} m", "depth": "0.5 m", "height": "2 m", "clear": f"{clear} m"}
        )
        for k, width in enumerate(widths)
    ]
    return replace(roof, obstacles=place_obstacles(roof, [], tables, SI))


def with_array(roof, snow, width=20.0):
    table = SolarTable.model_validate(
        {"name": "glass", "plane": "S1", "across": "12 m", "up": "4 m", "width": f"{width} m"}
        | {"depth": "4 m", "gap": "120 mm", "weight": "0.15 kPa", "snow": snow}
    )
    return replace(roof, arrays=place_arrays(roof, [table], [], 0.5, SI))


def balanced(roof, site):
    """Balanced case and its pressure on S1 and N1. [Pa]."""
    case = snow_cases(roof, site).cases[0]
    area = [roof.planes.plan_area[roof.planes.name.index(name)] for name in ("S1", "N1")]
    force = plane_force(roof, case)
    return case, [force[roof.planes.name.index(n)] / a for n, a in zip(("S1", "N1"), area, strict=True)]


@pytest.mark.parametrize(
    ("site", "free", "held"),
    [
        # p_f = 0.7 C_e C_t p_g; cold slippery line 1 at 15 to 0 at 70 degrees, other cold surfaces 1 to 45.
        (ASCE, 25.0 / 55.0 * 0.7 * 1.2 * 2394.0, 0.7 * 1.2 * 2394.0),
        # C_s = (60 - 45) / 45 on slippery, (70 - 45) / 40 on other surfaces; S_s C_b C_s + S_r.
        (NBCC, 1600.0 / 3.0 + 200.0, 1600.0 * 0.625 + 200.0),
        # mu_1 = 0.8 (60 - 45) / 30, not below 0.8 where obstructed.
        (EN, 0.4 * 2000.0, 0.8 * 2000.0),
    ],
    ids=lambda x: getattr(x, "standard", ""),
)
@pytest.mark.parametrize("make", [lambda r: with_boxes(r, 20.0), lambda r: with_array(r, "dammed")])
def test_what_holds_the_snow_takes_the_slippery_reduction_away(site, free, held, make):
    roof = gable()
    assert balanced(roof, site)[1] == pytest.approx([free, free], rel=1e-3)
    case, loads = balanced(make(roof), site)
    assert loads == pytest.approx([held, free], rel=1e-3)
    assert any("in the way of its snow" in note and "judgment" in note for note in case.notes)


@pytest.mark.parametrize("site", [ASCE, NBCC, EN], ids=lambda s: s.standard)
def test_which_boxes_and_arrays_count(site):
    roof = gable()
    free = balanced(roof, site)[1][0]

    def counts(changed):
        return balanced(changed, site)[1][0] > 1.2 * free

    assert not counts(with_boxes(roof, 0.9))
    assert counts(with_boxes(roof, 1.1))
    assert not counts(with_boxes(roof, *[0.5] * 4))
    assert counts(with_boxes(roof, *[0.5] * 5))  # 2.5 of 24 m
    assert counts(with_boxes(roof, 20.0, clear=0.3))
    assert counts(with_array(roof, "both"))
    assert not counts(with_array(roof, "released"))


@pytest.mark.parametrize("site", [ASCE, NBCC, EN], ids=lambda s: s.standard)
def test_a_flat_roof_with_a_box_is_not_called_obstructed(site):
    corners = np.array([[0.0, 0.0], [24.0, 0.0], [24.0, 12.0], [0.0, 12.0]])
    roof = build_roof([RoofPart("flat", corners, np.zeros(0), 4.0)])
    table = ObstructionTable.model_validate(
        {"name": "plant", "plane": roof.planes.name[0], "across": "12 m", "up": "6 m"}
        | {"width": "8 m", "depth": "4 m", "height": "2 m"}
    )
    roof = replace(roof, obstacles=place_obstacles(roof, [], [table], SI))
    assert not any("in the way" in note for note in snow_cases(roof, site).cases[0].notes)
