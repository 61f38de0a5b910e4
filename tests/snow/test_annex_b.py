"""Exceptional drifts of EN 1991-1-3 Annex B against published examples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roofmodel.project.obstacle_schema import ObstructionTable, ParapetTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow.cases import LoadLevel
from roofmodel.snow.en_annex_b_valleys import exceptional_shape
from roofmodel.snow.inputs import EnSite
from roofmodel.snow.registry import snow_cases
from roofmodel.units import SI
from tests.snow.snow_roofs import folded, plane_force


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


def test_drift_in_a_valley():
    """B2 by hand: h = 6 tan 30 = 3.464 m, b_3 = 24 m, l_s1 = l_s2 = 6 m.

    s_k = 2: min(2 h / s_k, 2 b_3 / 12, 5) = min(3.464, 4, 5), a triangle of 6 m on both sides.
    s_k = 0.8: 2 h / s_k = 8.66 and the snow of the whole roof, 4, governs; longer roofs reach the cap of 5.
    """
    for ground, spans, shape in ((2.0, 2, 2.0 * 6.0 * np.tan(np.radians(30.0)) / 2.0), (0.8, 2, 4.0)):
        (case,) = exceptional(folded(spans), 1000.0 * ground)
        assert case.level is LoadLevel.STRENGTH
        assert case.name == "exceptional drift in valleys that run W to E"
        assert max(peak(zone) for zone in case.zones) == pytest.approx(1000.0 * ground * shape)
        roof = folded(spans)
        load = plane_force(roof, case)
        assert load.sum() == pytest.approx(20.0 * 0.5 * 1000.0 * ground * shape * 12.0)
        loaded = np.flatnonzero(load > 0.0)
        assert len(loaded) == 2
        ridge = max(zone.polygon.bounds[3] for zone in case.zones)
        assert ridge == pytest.approx(18.0)


def test_valleys_together_hold_no_more_than_what_fell():
    """B2(4): each valley alone by its own mu_1, all together s_k times the length of the roof."""
    roof = folded(spans=4)
    cases = exceptional(roof, 800.0)
    single = [case for case in cases if "in the valley " in case.name]
    (together,) = [case for case in cases if "in valleys that run" in case.name]
    assert len(single) == 3
    per_meter = [plane_force(roof, case).sum() / 20.0 for case in single]
    assert per_meter == pytest.approx([0.5 * 5.0 * 800.0 * 12.0] * 3)
    assert plane_force(roof, together).sum() / 20.0 == pytest.approx(800.0 * 48.0)
    assert any("B2(4)" in note for note in together.notes)


def test_turned_valleys_carry_the_same():
    straight, turned = (folded(turn=turn) for turn in (0.0, 0.6))
    loads = [
        plane_force(roof, case).sum() for roof in (straight, turned) for case in exceptional(roof, 900.0)
    ]
    assert loads[1] == pytest.approx(loads[0], rel=1e-6)


def test_valleys_of_an_l_drift_toward_their_ridges():
    footprint = np.array([(0, 0), (20, 0), (20, 8), (8, 8), (8, 20), (0, 20)], dtype=float)
    roof = build_roof([RoofPart("L", footprint, np.radians([25.0] * 6), 3.0)])
    (case,) = exceptional(roof, 1500.0)
    load = plane_force(roof, case)
    assert (load > 0.0).sum() == 2
    low, high = np.sort(load)[-2:]
    assert low == pytest.approx(high)
    rise = 4.0 * np.tan(np.radians(25.0))
    assert max(peak(zone) for zone in case.zones) == pytest.approx(min(2.0 * rise * 1000.0, 5.0 * 1500.0))


def test_obstacles_on_steep_roofs_take_the_whole_of_b4():
    """The slope share of B3 is not B4's: 2 h / s_k = 4 at 25 degrees too, where B3 would take a third."""
    roof = build_roof([RoofPart("shed", box(0, 0, 20, 8), np.radians([25.0]), 3.0, fall_azimuth=np.pi)])
    (case,) = exceptional(parapet(roof, 2.0, (0.0, 1.0)), 1000.0)
    (zone,) = case.zones
    assert peak(zone) == pytest.approx(1000.0 * min(4.0, 2.0 * 8.0 / 8.0))
    assert {v.symbol: v.value for v in zone.values}["share"] == 1.0
