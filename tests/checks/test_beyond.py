"""Past the first failure: a zipper, a row that redistributes, and agreement with the check."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea import analyze
from fea.checks.beyond import beyond_first_failure, row_limits
from fea.rails.frame import solve_frame
from fea.rails.loads import loads_alone
from fea.rails.rows import build_frame
from roofmodel import load_project
from roofmodel.layout import rows_alone
from tests.frame.rails import make_clamp, make_layout, make_loads, plain_rail

STRONG = 1e12


def strength(along):
    return np.array([along, np.nan, np.nan, np.nan, np.nan, np.nan])


def follow(layout, line, along, residual=0.0, rows=0, yield_stress=STRONG):
    """Uniform thrust of `line` [N/m] down the slope on every row, grown from nothing."""
    clamp = replace(
        make_clamp([1e6, 1e6, 1e6, 1e5, 1e5, 0.0]),
        strength=strength(along),
        test_height=0.05,
        residual=residual,
    )
    rail = plain_rail(1e5)
    segments = [(r, 0.0, float(x), (0.0, -line, 0.0, 0.0)) for r, x in enumerate(layout.row_length)]
    loads = make_loads(segments)
    weights = (np.zeros(loads.count), np.ones(loads.count))
    force = solve_frame(build_frame(layout, rail, clamp), loads).clamp_force[0]
    own = force[: len(layout.clamp_s)][layout.clamp_row == rows]
    pure = own * np.array([1.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    return beyond_first_failure(
        layout, loads, weights, (rail, clamp, yield_stress), pure, (rows, 0, False)
    ), own


def test_brittle_clamps_on_a_stiff_rail_go_like_a_zipper():
    """Equal clamps share alike, F = q L / n, and none can take the load of the first."""
    layout = make_layout([{"length": 4.0, "clamps": [0.5, 1.5, 2.5, 3.5]}])
    found, own = follow(layout, 1000.0, along=2500.0)
    assert found.first == pytest.approx(2500.0 / np.abs(own[:, 0]).max(), rel=1e-6)
    assert found.last == pytest.approx(found.first, rel=1e-3)
    assert found.end == "the row lets go"
    assert found.slipped >= 2


def test_slip_with_all_of_its_strength_left_is_plastic_collapse():
    """With the whole residual a row holds what equilibrium allows (lower bound theorem, linear program)."""
    layout = make_layout([{"length": 4.0, "clamps": [0.2, 1.0, 2.5, 3.8]}])
    found, _ = follow(layout, 1000.0, along=1500.0, residual=1.0)
    x = np.array([0.2, 1.0, 2.5, 3.8])
    best, over = 0.5, 1.5  # what can be held and what cannot; the loads that can be held are convex
    assert _can_hold(x, 1500.0, 1000.0 * best * 4.0, 2.0)
    assert not _can_hold(x, 1500.0, 1000.0 * over * 4.0, 2.0)
    while over - best > 2e-4:
        middle = 0.5 * (best + over)
        held = _can_hold(x, 1500.0, 1000.0 * middle * 4.0, 2.0)
        best, over = (middle, over) if held else (best, middle)
    assert found.last == pytest.approx(best, abs=2e-3)
    assert found.first < found.last
    assert found.end == "the row lets go"


def _can_hold(x, most, total, middle):
    from scipy.optimize import linprog

    answer = linprog(
        np.zeros(len(x)), A_eq=np.stack([np.ones(len(x)), x]), b_eq=[total, total * middle],
        bounds=[(-most, most)] * len(x),
    )  # fmt: skip
    return answer.status == 0


def test_more_residual_never_holds_less():
    layout = make_layout([{"length": 4.0, "clamps": [0.2, 1.0, 2.5, 3.8]}])
    last = [follow(layout, 1000.0, along=1500.0, residual=r)[0].last for r in (0.0, 0.4, 0.8, 1.0)]
    assert np.all(np.diff(last) >= -1e-9)
    assert last[-1] > 1.05 * last[0]


def test_other_rows_change_nothing():
    alone = make_layout([{"length": 4.0, "clamps": [0.2, 1.0, 2.5, 3.8]}])
    two = make_layout(
        [{"length": 7.0, "clamps": [1.0, 6.0]}, {"length": 4.0, "clamps": [0.2, 1.0, 2.5, 3.8]}]
    )
    a, _ = follow(alone, 1000.0, along=1500.0, residual=0.5)
    b, _ = follow(two, 1000.0, along=1500.0, residual=0.5, rows=1)
    assert b.last == pytest.approx(a.last, rel=1e-9)
    assert b.factor == pytest.approx(a.factor, rel=1e-9)


def test_one_row_keeps_its_own_clamps_and_loads():
    layout = make_layout([{"length": 7.0, "clamps": [1.0, 6.0]}, {"length": 4.0, "clamps": [0.2, 3.8]}])
    kept = np.arange(len(layout.row_name)) == 1
    own = rows_alone(layout, kept)
    assert own.clamp_name == layout.clamp_name[2:]
    loads = make_loads([(0, 0.0, 7.0, (0.0, -1.0, 0.0, 0.0)), (1, 0.0, 4.0, (0.0, -2.0, 0.0, 0.0))])
    part = loads_alone(loads, layout, kept, np.ones((1, loads.count)))
    rail, clamp = plain_rail(1e5), make_clamp([1e6, 1e6, 1e6, 1e5, 1e5, 1e5])
    whole = solve_frame(build_frame(layout, rail, clamp), loads).clamp_force[0, 2:]
    np.testing.assert_allclose(
        solve_frame(build_frame(own, rail, clamp), part).clamp_force[0], whole, rtol=1e-9, atol=1e-9
    )


def test_a_clamp_is_used_up_when_all_its_directions_are():
    """Linear interaction: 0.3 of the strength along and 0.2 across leave it at twice the load."""
    clamp = replace(
        make_clamp([1e6] * 6),
        strength=np.array([1000.0, 500.0, 800.0, 800.0, np.nan, np.nan]),
        test_height=0.05,
    )
    force = np.array([[300.0, 100.0, 0.0, 0.0, 0.0, 0.0], [0.0, 100.0, 0.0, 0.0, 0.0, 0.0]])
    held = row_limits(force, clamp, plain_rail(1e5), 1e8, 0.25)
    assert held.capacity[0, 0] == pytest.approx(600.0)
    assert held.capacity[1, 0] == pytest.approx(1000.0)
    assert held.residual[0, 0] == pytest.approx(150.0)


def test_the_check_follows_its_row_when_asked(tmp_path):
    """The first failure is where the check's own reserve stands, as long as a clamp governs."""
    root = Path(__file__).parents[2] / "models" / "granary-door"
    text = (root / "project.toml").read_text()
    if "[analysis]" in text:
        text = text.replace("[analysis]", "[analysis]\nbeyond_first_failure = true", 1)
    else:
        text += "\n[analysis]\nbeyond_first_failure = true\n"
    (tmp_path / "project.toml").write_text(text)
    for name in re.findall(r'file = "([^"]+)"', text):
        (tmp_path / name).write_bytes((root / name).read_bytes())
    analysis = analyze(load_project(tmp_path / "project.toml"))
    found = analysis.beyond
    assert found is not None
    assert found.first == pytest.approx(analysis.reserve[found.case], rel=0.01)
    assert found.last >= found.first
    assert analyze(load_project(root / "project.toml")).beyond is None
