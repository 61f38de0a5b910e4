"""Virtual tests against closed forms: plastic collapse, slip plateaus, zippers, strips, energy, symmetry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fea.push.bay import hinge_facets, make_bay, state_of
from fea.push.push import Strips, no_strips, push_bay, push_rows
from fea.push.watch import OFF, SLIPS, Failures
from fea.rails.frame import build_frame, solve_frame
from fea.solvers.events import Outcome
from roofmodel.errors import InputError
from roofmodel.hardware import Interaction
from tests.frame.rails import make_clamp, make_layout, make_loads, plain_rail

L, MP = 2.0, 300.0
STRONG = (np.inf, np.inf)
RAIL = plain_rail(1e5)
FREE = np.full(6, np.nan)


def clamp_of(strength, stiffness=(1e6, 1e6, 1e6, 1e5, 1e5, 1e3), **more):
    return replace(make_clamp(list(stiffness)), strength=np.asarray(strength, dtype=float), **more)


def both(lines, points=(), still=0.0):
    """A held load, `still` of it, and one that grows."""
    loads = make_loads(lines, points, thermal=(0.0, 0.0))
    loads.line[0] *= still
    loads.point[0] *= still
    return loads


def bay_of(layout, clamp, lines, moment=STRONG, points=(), rail=RAIL, **more):
    return make_bay(layout, rail, clamp, both(lines, points), moment, **more)


def even(layout, q=1000.0):
    return [(r, 0.0, float(x), (0.0, -q, 0.0, 0.0)) for r, x in enumerate(layout.row_length)]


def push(bay, failures=None, strips=None, **more):
    return push_bay(bay, strips or no_strips(len(bay.layout.clamp_s)), failures or Failures(), **more)


@pytest.mark.parametrize("round_section", [False, True])
def test_fixed_span_collapses_at_sixteen(round_section):
    """16 M_p / L^2 with hinges at the ends at 12 (Neal, from memory), whatever joins both axes."""
    rail = replace(RAIL, section=replace(RAIL.section, round=round_section))
    layout = make_layout([{"length": L, "clamps": [0.0, L]}])
    bay = bay_of(layout, clamp_of(FREE, [1e9] * 6), even(layout, MP / L**2), (MP, MP), rail=rail)
    found = push(bay, growth=99.0)
    assert found.collapsed
    assert found.most == pytest.approx(16.0, rel=1e-6)
    assert [e.kind for e in found.events][:2] == ["hinge", "hinge"]
    assert found.first == pytest.approx(12.0, rel=2e-4)  # ends turn a little


def test_two_spans_collapse_at_eleven_point_six_six():
    """(6 + 4 sqrt 2) M_p / L^2 with the span hinge at (sqrt 2 - 1) L from the end.

    Places are added where the rail would pass its moment, so that 0.1 percent is missed at most, from above.
    """
    layout = make_layout([{"length": 2 * L, "clamps": [0.0, L, 2 * L]}])
    pin = clamp_of(FREE, [1e9, 1e9, 1e9, 0.0, 1e3, 0.0])
    exact = 6.0 + 4.0 * np.sqrt(2.0)
    coarse = push(bay_of(layout, pin, even(layout, MP / L**2), (MP, MP)), growth=99.0)
    assert coarse.most > 1.004 * exact
    assert coarse.rail_use > 1.004
    loads = both(even(layout, MP / L**2))
    found = push_rows(layout, (RAIL, pin, (MP, MP)), loads, no_strips(3), Failures(), growth=99.0)
    assert exact * (1 - 1e-9) <= found.most <= 1.001 * exact
    assert found.rail_use <= 1.001
    assert found.end.startswith("row R1 lets go")


def test_facets_of_two_axes_never_exceed_their_limit():
    turn = np.linspace(0.0, 2.0 * np.pi, 721)
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    for joint, inside in (
        (True, lambda m: np.hypot(*m.T) / 5.0),
        (False, lambda m: np.abs(m[:, 0]) / 5.0 + np.abs(m[:, 1]) / 5.0),
    ):
        facets, capacity = hinge_facets((5.0, 5.0), joint)
        reach = capacity / np.abs(way @ facets.T).max(axis=1)
        use = inside(way * reach[:, None])
        assert use.max() <= 1.0 + 1e-12
        assert use.min() > 0.92
        np.testing.assert_allclose(reach[::180], 5.0, rtol=1e-12)
    facets, capacity = hinge_facets((4.0, 2.0), joint=False)
    np.testing.assert_allclose(np.abs(facets @ [4.0, 0.0]), capacity)
    np.testing.assert_allclose(np.abs(facets @ [0.0, 2.0]), capacity)


def test_slip_plateau_is_the_sum_of_what_clamps_keep():
    """One clamp by itself slips at its strength; all clamps slipping hold the sum of their residuals."""
    layout = make_layout([{"length": 3.0, "clamps": [0.5, 1.5, 2.5]}])
    bay = bay_of(layout, clamp_of([900.0, *FREE[1:]]), even(layout))
    found = push(bay, Failures(slip=1.0))
    assert found.collapsed
    assert found.most == pytest.approx(3 * 900.0 / 3000.0, rel=1e-9)
    assert (found.clamp_state == SLIPS).all()
    np.testing.assert_allclose(found.clamp_force[-1, :, 0], 900.0, rtol=1e-9)
    half = push(bay, Failures(slip=0.5))
    assert half.most == pytest.approx(half.first, rel=1e-6), "nothing can take what the first one drops"
    assert half.most < found.most


def test_brittle_clamps_go_one_after_another():
    """Pull-off from the most loaded clamp on: each step is the frame without the clamps that are gone."""
    s = np.array([0.3, 1.2, 2.1, 3.0, 3.8])
    layout = make_layout([{"length": 4.0, "clamps": s}])
    points = [(0, 1.2, (0.0, -1000.0, 0.0, 0.0, 0.0, 0.0))]
    clamp = clamp_of([900.0, *FREE[1:]], [2e4, 1e6, 1e6, 0.0, 1e3, 1e2])
    found = push(bay_of(layout, clamp, [], points=points, rail=plain_rail(3e4)))
    assert found.collapsed
    gone, scale, factors = [], np.ones(5), []
    loads = make_loads([], points)
    while len(gone) < 4:
        frame = build_frame(layout, plain_rail(3e4), clamp, clamp_scale=scale, refuse_loose=False)
        use = np.abs(solve_frame(frame, loads).clamp_force[0, :, 0]) * scale / 900.0
        worst = int(np.argmax(use))
        factors.append(1.0 / use[worst])
        gone.append(worst)
        scale[worst] = 0.0
    climb = np.maximum.accumulate(factors)
    order = [int(e.words.split()[1].split("-")[1]) - 1 for e in found.events]
    assert order[: len(gone)] == gone
    np.testing.assert_allclose([e.factor for e in found.events[:4]], climb, rtol=1e-6)


def test_pull_off_by_overturning_that_the_test_did_not_cover():
    """F at height h turns the grip: 3 F h / L of lift against the pull strength, all of it lost at once."""
    layout = make_layout([{"length": 2.0, "clamps": [0.5, 1.5]}])
    clamp = clamp_of(
        [1e6, np.nan, 1500.0, np.nan, np.nan, np.nan], [1e6, 1e6, 1e6, 1e5, 1e7, 1e5],
        height=0.05, grip_length=0.06, test_height=0.0,
    )  # fmt: skip
    bay = bay_of(layout, clamp, even(layout))
    found = push(bay)
    linear = solve_frame(build_frame(layout, RAIL, clamp), make_loads(even(layout))).clamp_force[0, 0]
    lift = max(linear[2], 0.0) + 3.0 * abs(linear[4]) / 0.06
    assert found.first == pytest.approx(1500.0 / (lift + abs(linear[0]) * 0.0015), rel=1e-6)
    assert found.events[0].words == "clamp R1-01 comes off: off its seam"
    assert (found.clamp_state == OFF).all()


@pytest.mark.parametrize("rule", list(Interaction))
def test_first_event_is_where_the_check_is_used_up(rule):
    """Two directions at once, by the clamp's own rule."""
    layout = make_layout([{"length": 2.0, "clamps": [0.5, 1.5], "seam": 0.3}])
    clamp = clamp_of(
        [900.0, 700.0, 1200.0, 1200.0, 1e3, 1e3], height=0.02, interaction=rule, test_height=0.02
    )
    bay = bay_of(layout, clamp, [(0, 0.0, 2.0, (0.0, -1000.0, 300.0, 0.0))])
    force = solve_frame(
        build_frame(layout, RAIL, clamp), make_loads([(0, 0.0, 2.0, (0.0, -1000.0, 300.0, 0.0))])
    )
    from fea.checks.limits import clamp_limits

    use = clamp_limits(force.clamp_force[:, None], clamp, layout)[-1].utilization.max()
    assert push(bay).first == pytest.approx(1.0 / use, rel=1e-6)


def test_a_strip_lets_go_with_all_clamps_on_its_seam():
    """Two rows share a fixed point, which also bears its own weight: (A - W) over what both rows bring."""
    layout = make_layout(
        [{"length": 1.0, "clamps": [0.2, 0.8]}, {"length": 1.0, "clamps": [0.2, 0.8], "start": (0, 2.0)}]
    )
    bay = bay_of(layout, clamp_of(FREE), even(layout))
    strips = Strips(
        np.array([0, 1, 0, 1]),
        ("seam 1", "seam 2"),
        np.array([1500.0, 9e9]),
        np.array([[200.0, 0.0], [0.0, 0.0]]),
    )
    found = push(bay, strips=strips, failures=Failures(anchorage=0.4))
    assert found.first == pytest.approx((1500.0 - 200.0) / 1000.0, rel=1e-9)
    assert found.events[0].kind == "strip"
    assert found.strip_gone.tolist() == [True, False]
    np.testing.assert_allclose(found.clamp_force[-1, [0, 2], 0], 0.4 * 650.0, rtol=1e-6)


def test_a_seam_that_opens_takes_strength_from_its_other_clamps():
    """A clamp comes off and its row holds; the one up its seam fails at once with half its strength."""
    s = [0.2, 0.8, 1.4, 2.0, 2.6]
    layout = make_layout([{"length": 2.8, "clamps": s}, {"length": 2.8, "clamps": s, "start": (0, 2.0)}])
    points = [(0, 1.4, (0.0, 0.0, 100.0, 0.0, 0.0, 0.0)), (1, 1.4, (0.0, 0.0, 60.0, 0.0, 0.0, 0.0))]
    strips = Strips(np.tile(np.arange(5), 2), tuple("abcde"), np.full(5, np.inf), np.zeros((2, 5)))
    clamp = clamp_of([np.nan, np.nan, 400.0, np.nan, np.nan, np.nan], [1e6, 1e6, 1e6, 1e3, 1e3, 1e3])
    bay = bay_of(layout, clamp, [], points=points, rail=plain_rail(3e3))
    apart = push(bay, strips=strips)
    zipped = push(bay, strips=strips, failures=Failures(unzip=0.5))
    for found in (apart, zipped):
        assert found.events[0].words.startswith("clamp R1-03 comes off")
    at_once = [[e.words for e in f.events if e.factor < 1.001 * f.first] for f in (apart, zipped)]
    assert len(at_once[0]) == 1
    assert at_once[1][1].startswith("clamp R2-03 comes off")
    slight = push(bay, strips=strips, failures=Failures(unzip=0.2))
    assert slight.first == pytest.approx(zipped.first)
    assert sum("R2-03" in e.words for e in slight.events if e.factor < 1.001 * slight.first) == 0


def stored(bay, found, at):
    """Elastic energy at a point of the path, from the frame's own forces: clamps and bending. [J]."""
    share = np.array([1.0 if found.stage[at] else found.path.path_factor[at], found.factor[at]])
    state = state_of(bay, share[None], found.jump[at][None])
    force, rail = state.clamp_force[0], state.rail_force[0]
    K = np.diag(bay.clamp.stiffness)
    clamps = len(bay.layout.clamp_s)
    x, span = state.sample_s, state.sample_span
    bend = 0.0
    for e, (a, b) in enumerate(bay.frame.span_s):
        at = np.flatnonzero(span == e)
        points = [at[np.argmin(np.abs(x[at] - a - t * (b - a)))] for t in (0.0, 0.25, 0.5, 0.75, 1.0)]
        square = (rail[points, 4:6] ** 2).sum(axis=1)
        bend += (b - a) * float(np.array([7.0, 32.0, 12.0, 32.0, 7.0]) / 90.0 @ square)
    return 0.5 * (force[:clamps] ** 2 / K).sum() + 0.5 * bend / bay.rail.section.I_y


def test_energy_of_the_load_is_stored_or_lost():
    """External work = stored + what slip and falls took, at every point."""
    layout = make_layout([{"length": 3.0, "clamps": [0.4, 1.5, 2.5]}])
    bay = bay_of(layout, clamp_of([900.0, *FREE[1:]]), even(layout), rail=plain_rail(3e4))
    found = push(bay, Failures(slip=0.8))
    load = found.factor * found.total[0]
    external = np.concatenate([[0.0], np.cumsum(0.5 * (load[1:] + load[:-1]) * np.diff(found.moved[:, 0]))])
    force, jump = found.path.path_force, found.path.path_jump
    lost = np.concatenate(
        [[0.0], np.cumsum((0.5 * (force[1:] + force[:-1]) * np.diff(jump, axis=0)).sum(axis=1))]
    )
    inside = np.array([stored(bay, found, i) for i in range(len(load))])
    assert lost[-1] > 0.1 * external[-1] > 0.0
    np.testing.assert_allclose(external, inside + lost, rtol=1e-6, atol=1e-6 * external[-1])
    assert (np.diff(lost) >= -1e-9 * external[-1]).all(), "nothing gives back what it took"


def test_displacement_is_the_mean_of_the_rail():
    """Elastic: a rigid rail moves by load / stiffness; a flexible one by the frame's own mean."""
    layout = make_layout([{"length": 2.0, "clamps": [0.5, 1.5]}])
    clamp = clamp_of(FREE, [2e5, 1e6, 1e6, 1e5, 1e5, 1e5])
    stiff = push(bay_of(layout, clamp, even(layout), rail=plain_rail(1e9)), growth=3.0)
    assert stiff.moved[-1, 0] == pytest.approx(3.0 * 2000.0 / 4e5, rel=1e-6)
    soft = push(bay_of(layout, clamp, even(layout), rail=plain_rail(2e3)), growth=3.0)
    fine = solve_frame(build_frame(layout, plain_rail(2e3), clamp), make_loads(even(layout)))
    order = np.argsort(fine.sample_s, kind="stable")
    x, y = fine.sample_s[order], fine.deflection[0, order, 1]
    grid = np.linspace(0, 2, 401)
    assert soft.moved[-1, 0] == pytest.approx(-3.0 * np.interp(grid, x, y).mean(), rel=0.02)
    assert soft.moved[-1, 0] > stiff.moved[-1, 0]


def test_the_number_of_steps_does_not_matter():
    """Events are found, not stepped over: the load brought on in one stretch or cut at any place."""
    layout = make_layout([{"length": 4.0, "clamps": [0.2, 1.0, 2.5, 3.8]}])
    clamp = clamp_of([900.0, *FREE[1:]])
    whole = push(bay_of(layout, clamp, even(layout), (400.0, 400.0)), Failures(slip=0.7))
    for q in (10.0, 137.0):
        scaled = push(
            bay_of(layout, clamp, even(layout, q), (400.0, 400.0)), Failures(slip=0.7), growth=2e4 / q
        )
        assert scaled.most * q == pytest.approx(whole.most * 1000.0, rel=1e-9)
        assert [e.words for e in scaled.events] == [e.words for e in whole.events]


def test_symmetric_bays_stay_symmetric():
    layout = make_layout([{"length": 4.0, "clamps": [0.5, 1.5, 2.5, 3.5]}])
    bay = bay_of(layout, clamp_of([1100.0, *FREE[1:]]), even(layout), (300.0, 300.0))
    found = push(bay, Failures(slip=1.0))
    np.testing.assert_allclose(
        found.clamp_force[-1], found.clamp_force[-1, ::-1] * [1, -1, 1, -1, 1, -1], atol=1e-3
    )
    assert found.collapsed


def test_load_never_falls_and_rows_never_move_back():
    layout = make_layout([{"length": 4.0, "clamps": [0.2, 1.0, 2.5, 3.8]}])
    found = push(
        bay_of(layout, clamp_of([1500.0, *FREE[1:]]), even(layout), (900.0, 900.0)), Failures(slip=0.9)
    )
    assert (np.diff(found.factor) >= -1e-12).all()
    assert (np.diff(found.moved[:, 0]) >= -1e-12).all()


def test_more_kept_never_holds_less():
    layout = make_layout([{"length": 4.0, "clamps": [0.2, 1.0, 2.5, 3.8]}])
    bay = bay_of(layout, clamp_of([1500.0, *FREE[1:]]), even(layout))
    most = [push(bay, Failures(slip=r)).most for r in (0.0, 0.4, 0.8, 1.0)]
    assert np.all(np.diff(most) >= -1e-9)
    assert most[-1] > 1.05 * most[0]


def test_a_clamp_that_is_off_bears_when_its_rail_comes_back():
    """Pulled off by the held load, then pressed: nothing until the gap closes, then as with the clamp."""
    layout = make_layout([{"length": 3.0, "clamps": [0.2, 1.5, 2.8]}])
    rail, k = plain_rail(3e3), 1e6
    clamp = clamp_of([np.nan, np.nan, 500.0, np.nan, np.nan, np.nan], [1e6, 1e6, k, 1e3, 1e3, 1e3])
    loads = both([], [(0, 1.5, (0.0, 0.0, -100.0, 0.0, 0.0, 0.0))])
    loads.point[0, 0, 2] = 600.0
    whole = solve_frame(build_frame(layout, rail, clamp), make_loads([], [(0, 1.5, (0, 0, 600.0, 0, 0, 0))]))
    assert whole.clamp_force[0, 1, 2] > 500.0 > whole.clamp_force[0, 0, 2]
    found = push_bay(make_bay(layout, rail, clamp, loads, STRONG), no_strips(3), Failures(), growth=20.0)
    assert [e.kind for e in found.events] == ["off", "bears"]
    # The grip comes back to where it stood when the growing load equals the held one.
    assert found.events[1].factor == pytest.approx(6.0, rel=1e-6)
    assert found.events[1].words == "clamp R1-02, which is off, bears on its seam"
    assert not found.collapsed
    one = solve_frame(build_frame(layout, rail, clamp), make_loads([], [(0, 1.5, (0, 0, -1400.0, 0, 0, 0))]))
    np.testing.assert_allclose(found.clamp_force[-1], one.clamp_force[0], rtol=1e-6, atol=1e-4)
    np.testing.assert_allclose(found.state.clamp_force[-1, :3], found.clamp_force[-1], rtol=1e-6, atol=1e-3)
    assert found.path.proof.holds(1e-8)


def test_a_clamp_that_was_crushed_bears_nothing():
    layout = make_layout([{"length": 3.0, "clamps": [0.2, 1.5, 2.8]}])
    clamp = clamp_of([np.nan, np.nan, np.nan, 500.0, np.nan, np.nan], [1e6, 1e6, 1e6, 1e3, 1e3, 1e3])
    bay = bay_of(
        layout, clamp, [], points=[(0, 1.5, (0.0, 0.0, -100.0, 0.0, 0.0, 0.0))], rail=plain_rail(3e3)
    )
    found = push(bay)
    assert found.events[0].words == "clamp R1-02 comes off: into the roof"
    assert not any(e.kind == "bears" for e in found.events)
    assert found.collapsed
    kept = push(bay, Failures(off=0.6))
    # All three hold 0.6 of their strength in the end, the outer ones up to it before they give way.
    assert not any(e.kind == "bears" for e in kept.events)
    assert kept.most <= (300.0 + 2 * 500.0) / 100.0 * (1 + 1e-9)


def test_held_load_that_breaks_a_row_is_told():
    layout = make_layout([{"length": 2.0, "clamps": [0.5, 1.5]}])
    bay = make_bay(layout, RAIL, clamp_of([900.0, *FREE[1:]]), both(even(layout), still=2.0), STRONG)
    found = push(bay)
    assert found.most == 0.0
    assert found.end == "row R1 lets go under the held load alone"
    with pytest.raises(InputError, match="unzip = 1"):
        push(bay, Failures(unzip=1.0))
    assert found.path.outcome is Outcome.COLLAPSE
