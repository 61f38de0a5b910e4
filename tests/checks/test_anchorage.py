"""What panel strips bring to their fixed points: temperature both ways, rails on unequal strips."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from projects import GABLE_EN, limit, project

from fea.analysis import analyze
from fea.checks.anchorage import strip_demand
from fea.checks.limits import clamp_components
from fea.panel.restraint import SecondPoint, free_travel
from fea.panel.support import strips_of
from fea.rails.actions import EITHER_WAY, GIVEN
from fea.rails.frame import solve_frame
from fea.rails.loads import RailLoads
from fea.rails.rows import build_frame
from viewer.report.working import hand_check
from viewer.report.working_steps import clamp_at

HIP = """
[project]
name = "hip"
[site]
standard = "EN 1991-1-3"
ground_snow = "{sk} kN/m^2"
[[roof.part]]
shape = "hip"
footprint = "0 0, 14 0, 14 9, 0 9 m"
pitch = "30 deg"
eave_height = "3 m"
[surface]
slippery = true
[panel]
metal = "steel"
seam_spacing = "500 mm"
seam_height = "50 mm"
thickness = "0.6 mm"
clip_spacing = "0.5 m"
anchorage = "20 kN"
anchorage_kind = "design"
[seam]
lock = "double lock"
yield_strength = "280 MPa"
clip_first = "0.25 m"
clip_stiffness = {{ across = "1 kN/mm", pull = "2 kN/mm" }}
bearing = "deck"
fixed_at = "{fixed_at}"
temperature_change = "{warm} K"
[rail]
shape = "round tube"
diameter = "120 mm"
wall = "4 mm"
material = "steel"
yield_strength = "235 MPa"
[clamp]
height = "40 mm"
grip_length = "60 mm"
test_height = "40 mm"
stiffness = {{ along = "3 kN/mm", across = "1 kN/mm", pull = "4 kN/mm" }}
strength = {{ along = "60 kN", across = "60 kN", pull = "60 kN", push = "60 kN" }}
strength_kind = "design"
[[row]]
name = "R1"
plane = "S1"
up = "1 m"
[design]
format = "EN"
rail_height_ratio = 0.1
"""


def hip(folder, **changes):
    return analyze(project(folder, HIP, **({"fixed_at": "ridge", "warm": -30} | changes)))


def readings_of(snow, warm):
    """Forces (6, c) of the clamps in every reading; the height makes no difference."""
    return np.array([np.asarray(snow) + r.warmth * np.asarray(warm) for r in EITHER_WAY])


def demand(snow, warm, strip, rest=(0.0,), restrained=(0.0,)):
    strip, rest, restrained = np.asarray(strip), np.asarray(rest), np.asarray(restrained)
    return strip_demand(readings_of(snow, warm), EITHER_WAY, strip, rest, restrained)


def test_warmth_that_pushes_a_clamp_up_relieves_nothing():
    """Drag 5 kN, warmth 3 kN: 8 kN whichever way the temperature was given."""
    for warm in (3e3, -3e3):
        assert demand([5e3], [warm], [0]) == pytest.approx([8e3])
    assert demand([5e3], [-3e3], [0], rest=[400.0], restrained=[2e3]) == pytest.approx([10.4e3])


def test_pull_up_the_slope_counts_without_what_holds_it_back():
    """Without snow a warm clamp pulls its strip up with 3 kN; own weight of 400 N down does not help."""
    assert demand([0.0], [3e3], [0]) == pytest.approx([3e3])
    held = strip_demand(np.array([[-3e3]] * 2), GIVEN, np.zeros(1, int), np.array([400.0]), np.array([50.0]))
    assert held == pytest.approx([3050.0])


def test_warmth_of_two_rows_of_a_strip_does_not_cancel():
    """Rows on both sides of a fixed point push apart: each with 3 kN, beside a drag of 1 kN each."""
    assert demand([1e3, 1e3], [3e3, -3e3], [0, 0]) == pytest.approx([5e3])


@given(
    st.lists(st.tuples(st.floats(-5e3, 9e3), st.floats(-9e3, 9e3)), min_size=1, max_size=5),
    st.floats(0.0, 3e3),
    st.floats(0.0, 3e3),
)
def test_no_choice_of_warmth_and_no_sign_brings_more(clamps, rest, restrained):
    """Any clamps that feel the temperature, either way; the rest and the second points, there or not."""
    snow, warm = np.array(clamps).T
    strip = np.zeros(len(snow), dtype=int)
    found = demand(snow, warm, strip, [rest], [restrained])[0]
    for sign in (1.0, -1.0):
        for felt in product([0.0, 1.0], repeat=len(snow)):
            net = (snow + sign * np.array(felt) * warm).sum()
            for more, other in product([0.0, rest], [-restrained, 0.0, restrained]):
                assert found >= abs(net + more + other) - 1e-6
    assert demand(snow, -warm, strip, [rest], [restrained])[0] == pytest.approx(found)


@pytest.mark.parametrize("fixed_at", ["ridge", "middle"])
def test_a_rail_on_a_hip_joins_strips_that_move_differently(tmp_path, fixed_at):
    """Strips of a hip end at different heights: the rail's force counts once, with the clamps."""
    cold, calm = (hip(tmp_path, fixed_at=fixed_at, warm=warm) for warm in (-30, 0))
    found = cold.support.restraint
    rails = np.array([kind is SecondPoint.RAIL for kind in found.kind])
    assert rails.any()
    on, layout = strips_of(cold.project), cold.project.layout
    travel = free_travel(on.length, on.strip, on.place, cold.project.seam)
    assert np.ptp(travel) > 1e-4
    loads = _moved_only(cold, travel)
    force = solve_frame(build_frame(layout, cold.project.rail, cold.project.clamp), loads).clamp_force[
        0, :, 0
    ]
    assert np.abs(force).max() > 50.0
    assert force.sum() == pytest.approx(0.0, abs=1e-6 * np.abs(force).max())
    np.testing.assert_allclose(found.force[rails], force, rtol=1e-8, atol=1e-6)
    extra = limit(cold, "panel anchorage").demand - limit(calm, "panel anchorage").demand
    size = np.zeros(len(on.length))
    np.add.at(size, on.strip, np.abs(force))
    drag = np.zeros_like(extra)
    np.add.at(drag.T, on.strip, calm.clamp_force[..., 0].max(axis=1).T)
    plain = (drag > 0.0).all(axis=0)
    assert plain.sum() > 10
    np.testing.assert_allclose(extra[:, plain], np.broadcast_to(size, extra.shape)[:, plain], rtol=1e-6)
    np.testing.assert_array_equal(found.anchorage, 0.0)
    words = [line for line in cold.cautions if "a rail that joins it" in line]
    assert len(words) == 1
    assert "(rail R1, seam" in words[0]
    assert "reaches the anchorage with it" in words[0]
    assert any("no seam.temperature_change is given" in line for line in calm.cautions)


def test_a_screw_through_some_strips_makes_them_move_differently(tmp_path):
    """Fixed at the eave, clamps at one height move alike, until a screw 4 m up holds the long strips."""
    text = HIP.replace('bearing = "deck"', 'bearing = "deck"\nthrough_fixings = ["4 m"]')
    free, held = (analyze(project(tmp_path, t, fixed_at="eave", warm=40)) for t in (HIP, text))
    calm = analyze(project(tmp_path, text, fixed_at="eave", warm=0))
    on, found = strips_of(held.project), held.support.restraint
    assert SecondPoint.RAIL not in free.support.restraint.kind
    assert SecondPoint.RAIL in found.kind
    assert SecondPoint.RAIL in calm.support.restraint.kind
    frame = build_frame(held.project.layout, held.project.rail, held.project.clamp)
    force = solve_frame(frame, _moved_only(held, 12e-6 * 40.0 * found.way)).clamp_force[0, :, 0]
    assert np.abs(force).max() > 500.0
    extra = limit(held, "panel anchorage").demand - limit(calm, "panel anchorage").demand
    size = found.anchorage.copy()
    np.add.at(size, on.strip, np.abs(force))
    np.testing.assert_allclose(extra, np.broadcast_to(size, extra.shape), rtol=1e-6, atol=0.01)
    assert all(proof.met for proof in held.proofs)
    factors = held.factors[0]
    gammas = np.array([factors.snow, factors.snow, factors.dead, factors.thermal])
    ats = [clamp_at(held, c, 0, "clamp along the seam") for c in range(len(force))]
    for at in ats:
        np.testing.assert_allclose(gammas @ at.parts, at.force, rtol=1e-9, atol=1e-9 * np.abs(at.force).max())
    along = [clamp_components(at.force, held.project.clamp)[0] for at in ats]
    np.testing.assert_allclose(along, limit(held, "clamp along the seam").demand[0], rtol=1e-9)
    assert any("with second fixed points that hold" in at.temperature for at in ats)


def _moved_only(analysis, travel):
    """The frame's loads with nothing but the free motion of the seams."""
    moved = np.zeros((1, len(travel), 6))
    moved[0, :, 0] = travel
    return RailLoads(
        row=np.zeros(1, dtype=np.int64),
        s0=np.zeros(1),
        s1=np.ones(1),
        line=np.zeros((1, 1, 4)),
        point_row=np.zeros(0, dtype=np.int64),
        point_s=np.zeros(0),
        point=np.zeros((1, 0, 6)),
        thermal=np.zeros(1),
        travel=moved,
    )


def test_the_sign_of_the_temperature_changes_no_limit_and_no_reserve(tmp_path):
    cold, warm = (hip(tmp_path, warm=warm) for warm in (-30, 30))
    for one, other in zip(cold.limits, warm.limits, strict=True):
        np.testing.assert_allclose(one.utilization, other.utilization, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(cold.reserve, warm.reserve, rtol=1e-9)


def limit_of(analysis, readings):
    return np.abs(analysis.clamp_force[:, readings, :, 0]).max(axis=(0, 1))


def test_the_sign_of_a_warm_rail_changes_no_limit(tmp_path):
    """On skewed seams a warm rail adds to the snow's force at one end and takes from it at the other."""
    skew = GABLE_EN + '[[plane]]\nname = "S1"\nseam_angle = "15 deg"\n'
    plus, minus, none = (analyze(project(tmp_path, skew, warm=warm)) for warm in (40, -40, 0))
    given = [limit_of(plus, r) for r in (slice(0, 2), slice(2, 4))]
    assert np.abs(given[0] - given[1]).max() > 0.01 * given[0].max()
    for one, other, calm in zip(plus.limits, minus.limits, none.limits, strict=True):
        np.testing.assert_allclose(one.utilization, other.utilization, rtol=1e-9, atol=1e-12)
        assert (one.utilization >= calm.utilization - 1e-9).all()


def test_reserve_meets_the_anchorage_with_temperature_both_ways(tmp_path):
    """A weak fixed point governs: at the reserve the check itself says 100 %."""
    text = HIP.replace('anchorage = "20 kN"', 'anchorage = "6 kN"')
    first = analyze(project(tmp_path, text, fixed_at="middle", warm=25))
    case = int(np.argmin(first.reserve))
    factor = float(first.reserve[case])
    assert 0.0 < factor < 1e3
    again = analyze(project(tmp_path, text, fixed_at="middle", warm=25, sk=1.5 * factor))
    assert limit(again, "panel anchorage").utilization[case].max() == pytest.approx(1.0, rel=1e-6)
    turned = analyze(replace(first.project, seam=replace(first.project.seam, thermal=-25.0)))
    np.testing.assert_allclose(turned.reserve, first.reserve, rtol=1e-8)


@pytest.mark.slow
def test_panels_that_give_way_agree_with_their_reserve_and_hand_check(tmp_path):
    """Two states of the panels, temperature three ways: at the reserve the anchorage is just used up."""
    text = HIP.replace('anchorage = "20 kN"', 'anchorage = "5 kN"') + "[analysis]\npanel_flexibility = true\n"
    first = analyze(project(tmp_path, text, fixed_at="middle", warm=25))
    assert len(first.readings) == first.clamp_force.shape[1] == 6 * len(first.responses)
    case = int(np.argmin(first.reserve))
    factor = float(first.reserve[case])
    again = analyze(project(tmp_path, text, fixed_at="middle", warm=25, sk=1.5 * factor))
    assert limit(again, "panel anchorage").utilization[case].max() == pytest.approx(1.0, rel=1e-6)
    steps = {step.symbol: step for step in hand_check(first).steps}
    assert steps["u_anchorage"].result.value == pytest.approx(first.attachment.utilization, rel=1e-9)
    parts = [part.value for part in steps["D"].expression if not isinstance(part, str)]
    assert sum(parts) == pytest.approx(steps["D"].result.value, rel=1e-9)
