"""Exceptional drifts of EN 1991-1-3 Annex B against published examples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roofmodel.project.obstacle_schema import ObstructionTable, ParapetTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow.cases import LoadLevel
from roofmodel.snow.en_annex_b import exceptional_shape
from roofmodel.snow.inputs import EnSite
from roofmodel.snow.registry import snow_cases
from roofmodel.units import SI


def box(x0, y0, x1, y1):
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=float)


def exceptional(roof, ground):
    cases = snow_cases(roof, EnSite(ground_snow=ground, annex_b=True)).cases
    return [case for case in cases if case.name.startswith("exceptional drift")]


def parapet(roof, height, way):
    middle = 0.5 * (roof.edges.start + roof.edges.end)[:, :2]
    edge = roof.edges.name[int(np.argmax(middle @ np.array(way)))]
    table = ParapetTable.model_validate({"edge": edge, "height": f"{height} m"})
    return replace(roof, obstacles=place_obstacles(roof, [table], [], SI))


def peak(zone):
    corners = np.asarray(zone.polygon.exterior.coords)
    return float((zone.pressure[0] + corners @ zone.pressure[1:]).max())


def test_drift_behind_an_eaves_parapet():
    """Height 3 m, b_1 = 12.5 m, b_2 = 25 m, s_k = 0.65: l_s = 12.5 m, mu_1 = 4.0, s = 2.6 kN/m^2.

    Steel Buildings in Europe, Single-storey steel buildings Part 3, Appendix A (sheet 8), second hand.
    """
    pitches = np.radians([10.0, np.nan, 10.0, np.nan])
    roof = build_roof([RoofPart("gable", box(0, 0, 40, 25), pitches, 6.0)])
    (case,) = exceptional(parapet(roof, 3.0, (0.0, -1.0)), 650.0)
    (zone,) = case.zones
    values = {v.symbol: v.value for v in zone.values}
    assert values["l_s"] == pytest.approx(12.5, rel=2e-3)
    assert values["mu_1"] == pytest.approx(4.0, rel=2e-3)
    assert peak(zone) == pytest.approx(2600.0, rel=2e-3)
    assert case.level is LoadLevel.STRENGTH


def test_obstructions():
    """s_k = 0.6: h = 1 m gives 3.33, h = 3 m with b_1 = 2 m, b_2 = 75 m the cap of 5.

    Sigmund, Eurocodes Spreadsheets EN 1991-1-3 verification tests, second hand.
    """
    assert float(exceptional_shape(1.0, np.inf, 5.0, 600.0, 5.0)) == pytest.approx(3.3333, rel=2e-3)
    assert float(exceptional_shape(3.0, 75.0, 2.0, 600.0, 5.0)) == pytest.approx(5.0)
    roof = build_roof([RoofPart("flat", box(0, 0, 80, 10), np.zeros(0), 5.0)])
    sizes = {"across": "4 m", "up": "5 m", "width": "4 m", "depth": "3 m", "height": "3 m"}
    table = ObstructionTable.model_validate({"name": "stair", "plane": "F1", **sizes})
    cases = exceptional(replace(roof, obstacles=place_obstacles(roof, [], [table], SI)), 600.0)
    values = [{v.symbol: v.value for v in z.values} for case in cases for z in case.zones]
    near = next(v for v in values if v["b_1"] == pytest.approx(2.0))
    assert near["mu_1"] == pytest.approx(5.0)
    assert near["l_s"] == pytest.approx(2.0)


def test_drift_at_a_wall_and_none_on_a_steep_lower_roof():
    """B3: 2 h / s_k = 4 m / 0.8 = 5, l_s = 10 m, b = 20 m: mu_1 = 4; half at 22.5 degrees."""
    house = RoofPart("flat", box(0, 0, 20, 20), np.zeros(0), 7.0)
    low = RoofPart("flat", box(0, -12, 20, 0), np.zeros(0), 5.0)
    cases = exceptional(build_roof([house, low]), 800.0)
    shapes = [{v.symbol: v.value for v in z.values}["mu_1"] for case in cases for z in case.zones]
    assert shapes == [pytest.approx(4.0)]
    assert all(len({z.plane for z in case.zones}) == 1 for case in cases)
    for degrees, share in ((22.5, 0.5), (31.0, 0.0)):
        shed = RoofPart("shed", box(0, -12, 20, 0), np.radians([degrees]), 0.5, fall_azimuth=np.pi)
        tall = RoofPart("flat", box(0, 0, 20, 20), np.zeros(0), 12.0)
        found = exceptional(build_roof([tall, shed]), 800.0)
        shares = [{v.symbol: v.value for v in z.values}["share"] for case in found for z in case.zones]
        assert shares == ([] if share == 0.0 else [pytest.approx(share)])


def test_nothing_unless_asked():
    roof = parapet(build_roof([RoofPart("flat", box(0, 0, 20, 20), np.zeros(0), 7.0)]), 1.0, (0.0, 1.0))
    snow = snow_cases(roof, EnSite(ground_snow=1000.0))
    assert not any("exceptional" in case.name for case in snow.cases)
    assert any("annex_b" in why for _, why in snow.skipped)
