"""Where a standard leaves open which of two values holds, the lower one counts."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import Polygon, box
from shapely.affinity import rotate

from fea.checks.member import crushing_open
from fea.checks.member_strength import member_strength, station_use
from fea.checks.rail_section import rail_stress
from fea.sections.plates import plate_factor
from roofmodel.hardware import DesignFormat
from roofmodel.profiles.properties import profile_of
from roofmodel.profiles.shapes import shape_outline
from roofmodel.sections import rectangle
from tests.frame.rails import make_rail

KSI = 6.894757e6


@pytest.mark.parametrize("fy", [110e6, 200e6, 275e6])
def test_plates_of_the_aluminum_design_manual_take_the_lower_temper(fy):
    """B.5.4.2 with tables B.4.1 and B.4.2 (from memory), worked for plates held at both edges."""
    metal = replace(make_rail().material, name="aluminum", E=70e9, yield_strength=fy)
    ratio = np.linspace(5.0, 120.0, 60)
    found = plate_factor(ratio, np.ones(60), np.zeros(60, dtype=bool), metal, en=False)
    F, E, x = fy / KSI, 70e9 / KSI, 1.6 * ratio
    by = []
    for root, part, over, k1, k2 in ((440.0, 20.0, 6.0, 0.50, 2.04), (1500.0, 10.0, 1.0, 0.35, 2.27)):
        B = F * (1.0 + np.cbrt(F / root))
        D = B / part * np.sqrt(over * B / E)
        by.append(np.minimum(np.where(x < k1 * B / D, B - D * x, k2 * np.sqrt(B * E) / x) / F, 1.0))
    np.testing.assert_allclose(found, np.minimum(*by), rtol=1e-9)
    assert (by[0] < by[1]).any()
    assert (by[1] < by[0]).any()


@pytest.mark.parametrize("form", list(DesignFormat))
def test_welded_bars_buckle_sideways_with_the_strength_of_their_welds(form):
    length = np.array([0.05, 0.4, 1.2, 2.5])
    bar = make_rail(rectangle(0.06, 0.006))
    plain = member_strength(bar, form, length).sideways
    whole = member_strength(replace(bar, weld_strength=bar.material.yield_strength), form, length).sideways
    np.testing.assert_allclose(whole, plain, rtol=1e-12)
    soft = member_strength(
        replace(bar, weld_strength=0.6 * bar.material.yield_strength), form, length
    ).sideways
    assert soft[0] == pytest.approx(0.6 * plain[0], rel=0.05)  # short: the section alone
    lost = soft / plain  # longer bars lose more to buckling than to welds
    assert (np.diff(lost) >= -1e-12).all()
    assert (lost <= 1.0).all()


def test_a_rail_whose_walls_never_buckle_is_held_by_its_stress_first():
    """Both bendings of an askew section make one stress; no sum of bounds governs before it."""
    profile = profile_of(shape_outline("angle", {"width": 0.04, "depth": 0.05, "wall": 0.008}))
    rail = replace(make_rail(profile.section), profile=profile)
    member = member_strength(rail, DesignFormat.EN, np.array([0.3]))
    assert member.share.min() > 0.999
    force = np.zeros((50, 6))
    force[:, [0, 4, 5]] = np.random.default_rng(3).normal(size=(50, 3)) * [50.0, 40.0, 40.0]
    use = station_use(member, "rail local buckling", force, np.zeros(50, dtype=int))
    assert (use <= rail_stress(force, rail) / member.stress * (1.0 + 1e-9)).all()


def test_cells_of_curved_walls_are_verified_by_tested_moments():
    """Compression takes a quarter of the share that the moments show; open walls stay open."""
    turn = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
    oval = Polygon(np.stack([0.03 * np.cos(turn), 0.02 * np.sin(turn)], axis=1))
    cell = profile_of(oval.difference(oval.buffer(-0.002)))
    opened = profile_of(oval.difference(oval.buffer(-0.002)).difference(box(-0.01, 0.0, 0.01, 0.03)))
    s = cell.section
    force = np.array([[-200.0, 0, 0, 0, 30.0, 50.0]])
    for profile, known in ((cell, True), (opened, False)):
        rail = replace(make_rail(profile.section), profile=profile)
        bare = member_strength(rail, DesignFormat.EN, np.array([0.5]))
        assert np.isnan(station_use(bare, "rail local buckling", force, np.zeros(1, dtype=int))).all()
        moment = (0.8 * s.W_y * bare.stress, 0.7 * s.W_z * bare.stress)
        member = member_strength(replace(rail, moment=moment), DesignFormat.EN, np.array([0.5]))
        use = station_use(member, "rail local buckling", force, np.zeros(1, dtype=int))
        assert np.isfinite(use).all() == known
        if known:
            own = 200.0 / (0.25 * 0.7 * s.area * bare.stress)
            assert use[0] == pytest.approx(own + 30.0 / moment[0] + 50.0 / moment[1])


def test_crushing_of_plain_channels_is_told_as_open():
    """A channel pushed along its flanges has no web that carries it; tubes have one each way."""
    size = {"width": 0.04, "depth": 0.06, "wall": 0.003}
    for shape, open_ in (("channel", True), ("rectangular tube", False)):
        profile = profile_of(shape_outline(shape, size))
        rail = replace(make_rail(profile.section), profile=profile, bearing_length=0.05)
        assert crushing_open(rail, DesignFormat.EN) == open_
        assert not crushing_open(replace(rail, bearing_strength=3e3), DesignFormat.EN)


@pytest.mark.parametrize("wall", [0.0012, 0.0015, 0.002])
def test_thin_square_tubes_on_their_corner_are_not_stronger_than_bent_about_their_own_axes(wall):
    """The moment about one axis of the tube's own is two on the axes of the turned one: the same state."""
    tube = box(-0.03, -0.03, 0.03, 0.03)
    tube = tube.difference(tube.buffer(-wall, join_style="mitre"))
    found = []
    for angle, force in ((0.0, [300.0, 0.0]), (45.0, [300.0 / np.sqrt(2.0)] * 2)):
        profile = profile_of(rotate(tube, angle, origin=(0.0, 0.0)))
        rail = replace(make_rail(profile.section), profile=profile)
        member = member_strength(rail, DesignFormat.EN, np.array([0.3]))
        actions = np.array([[0.0, 0, 0, 0, *force]])
        use = float(station_use(member, "rail local buckling", actions, np.zeros(1, dtype=int))[0])
        found.append((use, float(rail_stress(actions, rail)[0]) / member.stress, member.share.min()))
    (own, _, share), (turned, stress, weakest) = found
    assert share < 0.99  # its walls buckle
    assert own <= turned <= stress / weakest * (1.0 + 1e-9)
