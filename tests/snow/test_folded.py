"""Folded plates, saw-teeth and multiple vaults: C_s = 1.0 (ASCE/SEI 7 7.4.4) and valley snow (7.6.3)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from snow_roofs import assemble, gable_faces, named, plane_force, pressure

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow import AsceSite, snow_cases
from roofmodel.snow import asce7_22 as asce

PG = 2000.0
SITE = AsceSite(ground_snow=PG, risk_category="II", winter_wind=0.5, slippery=True)
FLAT = 0.7 * 1.2 * PG
GAMMA = float(asce.snow_weight_density(PG))


def box(x0, y0, x1, y1, turn=0.0):
    cos, sin = np.cos(turn), np.sin(turn)
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float) @ np.array([[cos, sin], [-sin, cos]])


def saw(pitch=30.0, teeth=3, turn=0.0, length=18.0):
    part = RoofPart(
        "saw-tooth", box(0, 0, 12, length, turn), np.radians([pitch]), 4.0, np.pi - turn, teeth=teeth
    )
    return build_roof([part])


def two_vaults(rise=3.0):
    return build_roof(
        [
            RoofPart("vault", box(0, y, 30, y + 12.0), eave_height=4.0, rise=rise, facets=12)
            for y in (0.0, 12.0)
        ]
    )


def gables(slope=40.0, **place):
    first, second = (gable_faces(20.0, 6.0, slope, y0=y) for y in (0.0, 12.0))
    return assemble([*first, *second], ("S1", "N1", "S2", "N2"), **place)


@pytest.mark.parametrize("roof", [gables(), saw(), two_vaults()], ids=["gables", "saw-tooth", "vaults"])
def test_folded_roofs_carry_the_whole_p_f(roof):
    """7.4.4: p_s = p_f on steep slippery slopes too."""
    balanced = snow_cases(roof, SITE).cases[0]
    assert plane_force(roof, balanced) == pytest.approx(FLAT * roof.planes.plan_area)


def test_single_gables_and_vaults_are_not_folded():
    vault = build_roof([RoofPart("vault", box(0, 0, 30, 12), eave_height=4.0, rise=3.0, facets=12)])
    for roof in (vault, assemble(gable_faces(20.0, 6.0, 40.0), ("S1", "N1"))):
        snow = snow_cases(roof, SITE)
        assert plane_force(roof, snow.cases[0]).sum() < 0.95 * FLAT * roof.planes.plan_area.sum()
        assert not [case for case in snow.cases if "level valleys" in case.name]


@pytest.mark.parametrize("turn", [0.0, np.radians(37.0)])
def test_teeth_carry_valley_snow_at_their_feet(turn):
    """0.5 p_f at the upper end to 2 p_f / C_e at the wall's foot; the tooth at the free eave keeps p_f."""
    roof = saw(turn=turn)
    assert roof.steps.count == 2
    case = named(snow_cases(roof, SITE), "unbalanced, snow in level valleys")
    load = plane_force(roof, case) / roof.planes.plan_area / FLAT
    assert sorted(load) == pytest.approx([1.0, 1.25, 1.25])
    i = 0
    lower, middle = int(roof.steps.lower[i]), 0.5 * (roof.steps.start[i] + roof.steps.end[i])[:2]
    along = (roof.steps.end[i] - roof.steps.start[i])[:2]
    out = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    foot, top = pressure(case, lower, middle + 1e-6 * out, middle + (6.0 - 1e-6) * out)
    assert [foot, top] == pytest.approx([2.0 * FLAT, 0.5 * FLAT], rel=1e-5)


def test_shallow_teeth_fill_no_higher_than_the_snow_above_their_ridge():
    """6 m at 4 degrees: 0.42 m rise; 0.5 p_f + 0.42 gamma in place of 2 p_f."""
    roof = saw(pitch=4.0)
    case = named(snow_cases(roof, SITE), "unbalanced, snow in level valleys")
    rise = 6.0 * np.tan(np.radians(4.0))
    valley = 0.5 * FLAT + GAMMA * rise
    assert valley < 2.0 * FLAT
    load = plane_force(roof, case) / roof.planes.plan_area
    assert sorted(load) == pytest.approx(sorted([FLAT, *[0.5 * (valley + 0.5 * FLAT)] * 2]))
    assert not [
        c for c in snow_cases(saw(pitch=1.7), SITE).cases if "level valleys" in c.name
    ]  # 1.79 degrees


def test_the_whole_side_of_a_vault_carries_the_valley_not_its_last_facet():
    roof = two_vaults()
    case = named(snow_cases(roof, SITE), "unbalanced, snow in level valleys")
    at = {y: [] for y in (6.5, 9.0, 11.9, 12.1, 15.0)}
    for y, found in at.items():
        point = np.array([15.0, y])
        values = [pressure(case, i, point)[0] for i in range(roof.planes.count)]
        found.append(max(values))
    linear = lambda y: 2.0 * FLAT - 1.5 * FLAT * abs(12.0 - y) / 6.0  # noqa: E731
    assert [at[y][0] for y in at] == pytest.approx([linear(y) for y in at], rel=1e-6)
    outer = [pressure(case, i, (15.0, 1.0))[0] for i in range(roof.planes.count)]
    assert max(outer) == pytest.approx(FLAT)


def test_a_slope_of_two_pitches_carries_one_law_from_valley_to_ridge():
    """Gambrels side by side: the law runs on over the pitch break, the mean is (2 + 0.5) / 2 p_f."""
    parts = [
        RoofPart(
            "gambrel",
            box(0, y, 20, y + 10.0),
            np.radians([55.0, np.nan, 55.0, np.nan]),
            4.0,
            upper_pitch=np.radians(20.0),
            break_height=2.0,
        )
        for y in (0.0, 10.0)
    ]
    roof = build_roof(parts)
    case = named(snow_cases(roof, SITE), "unbalanced, snow in level valleys")
    total = plane_force(roof, case).sum()
    assert total == pytest.approx((2.0 * 5.0 * 1.0 + 2.0 * 5.0 * 1.25) * 20.0 * FLAT)


def test_a_valley_in_two_pieces_counts_once():
    first, second = (gable_faces(20.0, 6.0, 25.0, y0=y) for y in (0.0, 12.0))
    south = [*second[0][:1], (8.0, 12.0, 0.0), *second[0][1:]]
    north = [first[1][0], (8.0, 12.0, 0.0), *first[1][1:]]
    whole = assemble([*first, *second], ("S1", "N1", "S2", "N2"))
    pieces = assemble([first[0], north, south, second[1]], ("S1", "N1", "S2", "N2"))
    assert pieces.edges.count > whole.edges.count
    loads = [
        plane_force(roof, named(snow_cases(roof, SITE), "unbalanced, snow in level valleys"))
        for roof in (whole, pieces)
    ]
    assert loads[1] == pytest.approx(loads[0])


def test_valley_snow_grows_with_the_ground_snow():
    for roof in (saw(), two_vaults(), gables(25.0, turn=np.radians(37.0))):
        low, high = (
            plane_force(
                roof, named(snow_cases(roof, replace(SITE, ground_snow=pg)), "unbalanced, snow in level")
            )
            for pg in (1000.0, 1500.0)
        )
        assert (high > low).all()


def test_rules_written_from_memory_say_so():
    snow = snow_cases(saw(), SITE)
    notes = [note for case in snow.cases for note in case.notes]
    for clause in ("7.4.4", "7.6.3"):
        about = [note for note in notes if clause in note]
        assert about
        assert all("from memory" in note for note in about)
