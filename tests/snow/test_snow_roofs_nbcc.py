"""NBCC 2020 on whole roofs: the collected check values through the public interface, and hand integrals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.constants import g
from snow_roofs import (
    assemble,
    corner,
    ell,
    gable,
    gable_faces,
    hip,
    named,
    plane_force,
    pressure,
    shed,
    step,
)

from roofmodel.obstacles import Obstacles
from roofmodel.snow import NbccSite, snow_cases
from roofmodel.snow.cases import LoadLevel

SS, SR = 2000.0, 400.0
SITE = NbccSite(ground_snow=SS, associated_rain=SR, importance="normal", slippery=False)
GAMMA = 430.0 * 2.0 + 2200.0  # 4.1.6.13 [N/m^3]
FLAT = 0.8 * SS + SR


def test_density_and_slope_factors(check):
    """O-21: text of the Code as reprinted publicly."""
    inputs, wanted, tol = check("O-21")
    for ss, gamma in zip(inputs["Ss"], wanted["gamma"], strict=True):
        case = snow_cases(shed(), replace(SITE, ground_snow=ss * 1e3)).cases[0]
        assert case.density * g / 1e3 == pytest.approx(gamma, rel=tol)
    for slope, slippery, factor in zip(inputs["slopes"], inputs["slippery"], wanted["Cs"], strict=True):
        roof = shed(slope=slope)
        case = snow_cases(roof, replace(SITE, slippery=slippery, associated_rain=0.0)).cases[0]
        mean = plane_force(roof, case) / roof.planes.plan_area
        assert mean / (0.8 * SS) == pytest.approx([factor], rel=tol)


@pytest.mark.parametrize("turn", [0.0, 0.5])
def test_large_roofs_carry_more(check, turn):
    """O-46: one route, formula as reprinted publicly."""
    inputs, wanted, tol = check("O-46")
    roof = shed(length=inputs["w_m"], run=inputs["l_m"], slope=2.0, turn=turn)
    case = snow_cases(roof, SITE).cases[0]
    (basic,) = [value.value for value in case.zones[0].values if value.symbol == "C_b"]
    assert basic == pytest.approx(wanted["Cb"], rel=tol)
    assert plane_force(roof, case) == pytest.approx((basic * SS + SR) * roof.planes.plan_area)
    given = snow_cases(roof, replace(SITE, basic_factor=1.0)).cases[0]
    assert plane_force(roof, given) == pytest.approx((SS + SR) * roof.planes.plan_area)


def test_gable_is_bare_on_one_side(check):
    """O-47: from memory, one route, medium confidence."""
    inputs, wanted, tol = check("O-47")
    roof = gable(slope=inputs["slope_deg"])
    site = replace(SITE, ground_snow=inputs["Ss"] * 1e3, associated_rain=inputs["Sr"] * 1e3)
    for way, loaded in (("S", 0), ("N", 1)):
        case = named(snow_cases(roof, site), f"unbalanced, wind toward {way}")
        mean = plane_force(roof, case) / roof.planes.plan_area / 1e3
        assert mean[loaded] == pytest.approx(wanted["S_unbalanced_kPa"], rel=tol)
        assert mean[1 - loaded] == wanted["other_side_kPa"]


def test_steep_gable_keeps_the_slope_factor():
    """45 degrees: C_s C_a = 0.625 x 1.25 (engineering forum, eng-tips 370069)."""
    roof = gable(slope=45.0)
    case = named(snow_cases(roof, replace(SITE, associated_rain=0.0)), "unbalanced, wind toward S")
    mean = plane_force(roof, case)[0] / roof.planes.plan_area[0]
    assert mean == pytest.approx(0.625 * 1.25 * 0.8 * SS)


def test_flat_gables_take_half_on_the_rest():
    """4.1.6.3.(2) as reprinted publicly: gables to 15 degrees."""
    roof = gable(slope=14.0)
    snow = snow_cases(roof, SITE)
    assert not [case for case in snow.cases if case.name.startswith("unbalanced")]
    case = named(snow, "partial, full on the side facing N")
    assert plane_force(roof, case) == pytest.approx(FLAT * np.array([0.5, 1.0]) * roof.planes.plan_area)
    assert any(name.startswith("half load") for name, _ in snow.skipped)


@pytest.mark.parametrize(("case", "key"), [("II", "case2"), ("III", "case3")])
def test_level_valley(check, case, key):
    """O-48: from memory, two routes, medium confidence."""
    inputs, wanted, tol = check("O-48")
    half = 0.5 * inputs["b_m"]
    first, second = (gable_faces(20.0, half, 25.0, y0=y) for y in (0.0, 2.0 * half))
    roof = assemble([*first, *second], ("S1", "N1", "S2", "N2"))
    site = replace(SITE, ground_snow=inputs["Ss"] * 1e3, associated_rain=inputs["Sr"] * 1e3)
    found = named(snow_cases(roof, site), f"valley snow, case {case} of")
    brink = wanted[key]["breaks_m"][0]
    near, far = pressure(found, 1, (10.0, 2 * half - brink + 0.01), (10.0, 2 * half - brink - 0.01)) / 1e3
    assert (near, far) == pytest.approx(wanted[key]["S_kPa"], rel=tol)
    snow = plane_force(roof, found)[1] / 20.0 - SR * half
    assert snow / 1e3 == pytest.approx(wanted["snow_per_half_valley_kN_per_m"][0], rel=tol)
    assert plane_force(roof, found)[0] == pytest.approx((0.8 * 1800.0 + SR) * 20.0 * half)


def test_sloping_valleys_never_carry_less_than_balanced_snow():
    roof = ell(slope=25.0)
    snow = snow_cases(roof, SITE)
    balanced = named(snow, "balanced")
    for case in ("II", "III"):
        found = named(snow, f"valley snow, case {case} of")
        assert np.all(plane_force(roof, found) >= plane_force(roof, balanced) * (1.0 - 1e-12))
    near = pressure(named(snow, "valley snow, case III"), 0, (8.2, 2.4))
    assert near == pytest.approx([1.5 * SS + SR])
    assert not [c for c in snow_cases(ell(slope=9.0), SITE).cases if "valley" in c.name]


def source(width, length):
    w, big = min(width, length), max(width, length)
    return 2.0 * w - w * w / big


def test_drift_by_hand():
    """4.1.6.5 as reprinted publicly: case I from a 30 m square upper roof onto a flat lower one."""
    roof = step(wall=5.0, lower_run=14.0, upper_run=15.0, length=30.0)
    case = named(snow_cases(roof, SITE), "drift below S1, wall facing S")
    f = 0.35 * np.sqrt(GAMMA * source(30.0, 30.0) / SS) + 0.8
    peak = min(f / 0.8, GAMMA * 5.0 / (0.8 * SS))
    width = 5.0 * 0.8 * SS / GAMMA * (peak - 1.0)
    assert 1.0 < peak < 5.0 / 0.8
    assert width < 14.0
    at_wall, beyond = pressure(case, 2, (15.0, -1e-9), (15.0, -1.001 * width))
    assert at_wall == pytest.approx(0.8 * SS * peak + SR)
    assert beyond == pytest.approx(FLAT)
    drift = plane_force(roof, case)[2] - FLAT * 14.0 * 30.0
    assert drift == pytest.approx(0.5 * 0.8 * SS * (peak - 1.0) * width * 30.0)


def test_low_wall_caps_the_drift():
    """C_a0 = gamma h / (C_b S_s): the snow stands no higher than the wall."""
    roof = step(wall=1.5, lower_run=14.0)
    case = named(snow_cases(roof, SITE), "drift below S1")
    assert pressure(case, 2, (15.0, -1e-9)) == pytest.approx([GAMMA * 1.5 + SR])
    low = snow_cases(step(wall=0.4), SITE)
    assert not [case for case in low.cases if case.name.startswith("drift")]
    assert any("C_a0" in why for _, why in low.skipped)


def test_a_large_lower_roof_feeds_the_drift_from_its_own_side():
    """Cases II and III: 0.67 with the lower roof as source beat case I from a small upper roof."""
    roof = step(wall=6.0, lower_run=80.0, upper_run=3.0, length=80.0)
    snow = snow_cases(roof, SITE)
    lower = source(80.0, 80.0)
    cb = 1.0 - 0.2 * np.exp(-(lower - 70.0) / 100.0)
    f = 0.67 * 0.35 * np.sqrt(GAMMA * lower / SS) + cb
    assert f > 0.35 * np.sqrt(GAMMA * source(6.0, 80.0) / SS) + cb
    at_wall = pressure(named(snow, "drift below S1"), 2, (40.0, -1e-9))
    assert at_wall == pytest.approx([SS * min(f, 0.67 * GAMMA * 6.0 / SS) + SR])


def test_a_gap_cuts_the_drift_at_its_width():
    """4.1.6.6, from memory: C_a at x from the gap on; none above 5 m."""
    gap = 2.0
    near = named(snow_cases(step(wall=5.0, lower_run=14.0), SITE), "drift below S1")
    roof = step(wall=5.0, lower_run=14.0, gap=gap)
    apart = named(snow_cases(roof, SITE), "drift below S1")
    at = (15.0, -gap - 0.5)
    assert pressure(apart, 2, at) == pytest.approx(pressure(near, 2, at))
    far = snow_cases(step(wall=9.0, lower_run=14.0, gap=5.1), SITE)
    assert not [case for case in far.cases if case.name.startswith("drift")]


def test_drift_on_a_steep_lower_roof_takes_no_slope_factor():
    """4.1.6.2.(7): C_s = 1.0 with C_a; to x_d the snow is at least that of C_a = 1."""
    roof = step(wall=5.0, lower_run=14.0, lower_slope=50.0)
    snow = snow_cases(roof, SITE)
    case = named(snow, "drift below S1")
    f = 0.35 * np.sqrt(GAMMA * 30.0 / SS) + 0.8
    width = 5.0 * 0.8 * SS / GAMMA * (f / 0.8 - 1.0)
    at_wall, inside, outside = pressure(
        case, 2, (15.0, -1e-9), (15.0, -0.999 * width), (15.0, -1.001 * width)
    )
    assert at_wall == pytest.approx(SS * f + SR)
    assert inside == pytest.approx(FLAT, rel=5e-3)
    assert outside == pytest.approx(0.5 * 0.8 * SS + SR)


def test_drifts_in_a_corner_count_the_larger():
    roof = corner()
    snow = snow_cases(roof, SITE)
    one, other = [case for case in snow.cases if case.name.startswith("drift below")]
    both = named(snow, "drifts together")
    points = np.random.default_rng(1).uniform(0.0, 20.0, (400, 2))
    each = np.maximum(pressure(one, 2, *points), pressure(other, 2, *points))
    assert pressure(both, 2, *points) == pytest.approx(each)


def test_half_of_the_upper_slope_slides():
    """4.1.6.11, from memory: on the drift, over x_d, none from a flat rough roof or one held as declared."""
    roof = step(wall=5.0, lower_run=14.0, upper_run=15.0, upper_slope=22.0)
    snow = snow_cases(roof, SITE)
    drifted, slid = (named(snow, name) for name in ("drift below S1", "sliding from S1"))
    extra = plane_force(roof, slid)[2] - plane_force(roof, drifted)[2]
    assert extra == pytest.approx(0.5 * FLAT * 15.0 * 30.0, rel=1e-6)
    flatter = step(wall=5.0, upper_slope=18.0)
    assert not [case for case in snow_cases(flatter, SITE).cases if case.name.startswith("sliding")]
    metal = replace(SITE, slippery=True)
    assert [case for case in snow_cases(flatter, metal).cases if case.name.startswith("sliding")]
    told = replace(metal, upper_roof_retained=True)
    for retained, any_left in ((set(), True), ({0}, False)):
        found = snow_cases(flatter, told, retained).cases
        assert any(case.name.startswith("sliding") for case in found) is any_left
    steep = step(wall=5.0, lower_run=14.0, upper_run=6.0, upper_slope=50.0)  # C_s = 1.0 for what slid
    drifted, slid = (named(snow_cases(steep, SITE), name) for name in ("drift below S1", "sliding from S1"))
    extra = plane_force(steep, slid)[2] - plane_force(steep, drifted)[2]
    assert extra == pytest.approx(0.5 * FLAT * 6.0 * 30.0, rel=1e-6)
    low = step(wall=0.4, lower_run=14.0, upper_slope=22.0)  # no drift: all of it within 1 m
    slid = named(snow_cases(low, SITE), "sliding from S1")
    extra = plane_force(low, slid)[2] - plane_force(low, named(snow_cases(low, SITE), "balanced"))[2]
    assert extra == pytest.approx(0.5 * FLAT * 15.0 * 30.0, rel=1e-6)


def test_held_snow_takes_neither_the_slippery_nor_silently_any_slope_factor():
    """4.1.6.2.(5), (6): retention obstructs; and, judgment, C_s = 1.0 in a case of its own."""
    roof = gable(slope=45.0)
    site = replace(SITE, slippery=True, associated_rain=0.0)
    snow = snow_cases(roof, site, {0})
    usual, unreduced = [case for case in snow.cases if case.name.startswith("balanced")]
    unit = 0.8 * SS * roof.planes.plan_area
    assert plane_force(roof, usual) == pytest.approx(np.array([25.0 / 40.0, 15.0 / 45.0]) * unit)
    assert plane_force(roof, unreduced) == pytest.approx(np.array([1.0, 15.0 / 45.0]) * unit)
    assert any(case.name.startswith("unbalanced") and "not reduced" in case.name for case in snow.cases)
    assert any("S1 takes no slippery reduction" in note for note in usual.notes)


def test_levels_and_importance():
    """S holds I_s; serviceability takes 0.9 in its place (Table 4.1.6.2.-A)."""
    roof = hip()
    for importance, factor in (("low", 0.8), ("normal", 1.0), ("high", 1.15), ("post-disaster", 1.25)):
        snow = snow_cases(roof, replace(SITE, importance=importance))
        base = snow_cases(roof, SITE)
        for case, one in zip(snow.cases, base.cases, strict=True):
            assert case.level is LoadLevel.CHARACTERISTIC
            assert plane_force(roof, case) == pytest.approx(factor * plane_force(roof, one))
            assert case.service * factor == pytest.approx(0.9)


def test_exposed_roofs_lose_snow_only_where_none_gathers():
    """4.1.6.2.(4): C_w on balanced snow, 1.0 in drifts and on the loaded side of a gable."""
    roof = gable(slope=25.0)
    open_ = replace(SITE, wind_factor=0.75, associated_rain=0.0)
    snow = snow_cases(roof, open_)
    area = roof.planes.plan_area
    assert plane_force(roof, named(snow, "balanced")) == pytest.approx(0.75 * 0.8 * SS * area)
    loaded = plane_force(roof, named(snow, "unbalanced, wind toward S"))
    assert loaded == pytest.approx([1.25 * 0.8 * SS * area[0], 0.0])
    roof = step(wall=1.5, lower_run=14.0)
    snow = snow_cases(roof, open_)
    case = named(snow, "drift below S1")
    assert pressure(case, 2, (15.0, -1e-9), (15.0, -13.9)) == pytest.approx([GAMMA * 1.5, 0.8 * SS])
    means = plane_force(roof, named(snow, "balanced")) / roof.planes.plan_area
    assert means == pytest.approx(0.8 * SS * np.array([0.75, 0.75, 1.0]))


def test_blown_snow_takes_the_c_b_of_c_w_1():
    """l_c = 100 m: 0.8 with C_w = 0.75, 1 - 0.2 exp(-0.3) with 1.0."""
    roof = gable(length=100.0, run=50.0, slope=25.0)
    snow = snow_cases(roof, replace(SITE, wind_factor=0.75, associated_rain=0.0))
    area = roof.planes.plan_area
    assert plane_force(roof, named(snow, "balanced")) == pytest.approx(0.75 * 0.8 * SS * area)
    calm = 1.0 - 0.2 * np.exp(-0.3)
    loaded = plane_force(roof, named(snow, "unbalanced, wind toward S"))
    assert loaded == pytest.approx([1.25 * calm * SS * area[0], 0.0])


def test_undrifted_loads_scale_with_snow_and_rain_together():
    roof = gable(slope=25.0)
    double = replace(SITE, ground_snow=2.0 * SS, associated_rain=2.0 * SR)
    for one, two in zip(snow_cases(roof, SITE).cases, snow_cases(roof, double).cases, strict=True):
        assert plane_force(roof, two) == pytest.approx(2.0 * plane_force(roof, one))


def test_more_ground_snow_never_weighs_less():
    roof = step(wall=12.0, lower_run=40.0)
    sets = [snow_cases(roof, replace(SITE, ground_snow=ss)).cases for ss in (1200.0, 2000.0, 3000.0, 4500.0)]
    assert len({tuple(case.name for case in cases) for cases in sets}) == 1
    force = np.array([[plane_force(roof, case) for case in cases] for cases in sets])
    assert np.all(np.diff(force, axis=0) >= 0.0)


def with_unit(size, height=1.2):
    """Flat roof, 40 m by 30 m, with a box of some length and 2 m depth in its middle."""
    roof = assemble([[(0, 0, 0), (40, 0, 0), (40, 30, 0), (0, 30, 0)]], ("F1",))
    x = 20.0 + size * np.array([-0.5, 0.5])
    corners = np.array([[x[0], 14, 0], [x[0], 16, 0], [x[1], 16, 0], [x[1], 14, 0]], dtype=float)
    box = Obstacles(
        ("unit",),
        np.array([False]),
        np.array([0]),
        np.array([height]),
        np.array([0.0]),
        np.zeros(4, dtype=np.int64),
        corners,
        np.roll(corners, -1, axis=0),
    )
    return replace(roof, obstacles=box)


def test_obstacles_that_stand_out_of_the_snow_end_the_wind_reduction():
    """4.1.6.2.(4)(b): those lower than C_b C_w S_s / gamma count for nothing."""
    site = replace(SITE, wind_factor=0.75, associated_rain=0.0)
    depth = 0.8 * 0.75 * SS / GAMMA
    for height, factor in ((0.99 * depth, 0.75), (1.01 * depth, 1.0)):
        roof = with_unit(2.0, height)
        mean = plane_force(roof, named(snow_cases(roof, site), "balanced")) / roof.planes.plan_area
        assert mean == pytest.approx([factor * 0.8 * SS])


def test_projection_drifts_on_both_sides_by_hand():
    """4.1.6.7 as transcribed: 6 m long, 1.2 m high; nothing where the longest side is below 3 m."""
    for size, drifts in ((6.0, True), (2.9, False)):
        roof = with_unit(size)
        snow = snow_cases(roof, SITE)
        cases = [case for case in snow.cases if case.name.startswith("drift at unit")]
        assert bool(cases) is drifts
        if not drifts:
            continue
        peak = min(0.67 * GAMMA * 1.2 / (0.8 * SS), GAMMA * 6.0 / (7.5 * 0.8 * SS) + 1.0)
        length = min(3.35 * 1.2, 4.0)
        across = next(case for case in cases if case.name.endswith(("N", "S")))
        extra = plane_force(roof, across)[0] - FLAT * 40.0 * 30.0
        straight = 2.0 * 0.5 * (peak - 1.0) * 0.8 * SS * length * 6.0
        around = 4.0 * np.pi / 12.0 * (peak - 1.0) * 0.8 * SS * length**2  # 4.1.6.8: quarter cones
        assert straight + around < extra < straight + 1.006 * around  # slices never below the cones
        assert pressure(across, 0, (20.0, 13.999)) == pytest.approx([0.8 * SS * peak + SR], rel=1e-3)


def test_unbalanced_snow_bares_steep_levels_only():
    """4.1.6.9 case II is for slopes above 15 degrees: a 10 degree gable beside one of 30 keeps its snow."""
    low, high = gable_faces(20.0, 6.0, 10.0), gable_faces(20.0, 6.0, 30.0, x0=40.0)
    roof = assemble([*low, *high], ("S1", "N1", "S2", "N2"))
    snow = snow_cases(roof, SITE)
    case = named(snow, "unbalanced, wind toward N")
    flat = 0.8 * SS + SR
    middle = [(10.0, 3.0), (10.0, 9.0), (50.0, 3.0), (50.0, 9.0)]
    found = [float(pressure(case, plane, xy)[0]) for plane, xy in enumerate(middle)]
    assert found == pytest.approx([flat, flat, 0.0, 1.25 * 0.8 * SS + SR])
    half = named(snow, "partial, full on the side facing N")
    assert float(pressure(half, 0, middle[0])[0]) == pytest.approx(0.5 * flat)
