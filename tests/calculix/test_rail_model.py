"""A rail layout as a general model: both roads, and the other program, find the same."""

from dataclasses import replace

import numpy as np
import pytest
from deck_runs import needs_ccx, run_deck, solve_here
from scipy import sparse

from fea.model.calculix import calculix_deck
from fea.model.data import node_dof
from fea.rails.frame import build_frame, solve_frame
from fea.rails.rail_model import frame_model
from roofmodel.errors import InputError
from tests.frame.rails import HINGE, SLIDING, make_clamp, make_layout, make_loads, make_rail

ROWS = [
    {"length": 3.2, "clamps": [0.15, 0.75, 1.35, 1.95, 2.9], "seam": 0.35, "tilt": -0.25},
    {
        "length": 4.0,
        "clamps": [0.2, 0.8, 1.9, 3.1, 3.8],
        "seam": 0.3,
        "splices": [(1.4, SLIDING), (2.4, HINGE), (1.9, HINGE)],
    },
]
LINES = [
    (0, 0.3, 1.1, (40.0, -1500.0, 300.0, 20.0)),
    (0, 1.1, 2.75, (-60.0, -700.0, -200.0, -5.0)),
    (1, 0.0, 4.0, (10.0, -500.0, -100.0, 3.0)),
]
POINTS = [
    (0, 0.5, (100.0, -400.0, 90.0, 12.0, 7.0, -9.0)),
    (1, 1.9, (5.0, -80.0, 3.0, 1.0, 0.0, 0.0)),
    (1, 3.0, (-80.0, 300.0, 50.0, -6.0, 0.0, 4.0)),
]


# a lipped channel, its shear center off the centroid
CHANNEL = {"I_yz": 2e-9, "center_y": -0.025, "center_z": 0.002, "I_w": 3e-11}


def layout_frame(section=None):
    half = np.random.default_rng(0).normal(size=(6, 6)) * np.array([1e3, 1e3, 1e3, 30.0, 30.0, 30.0])
    return build_frame(make_layout(ROWS), make_rail(section), make_clamp(half.T @ half, 0.07))


def grip_forces(model, displacement, travel=0.0) -> np.ndarray:
    """Forces of the clamps in seam axes, (q, c, 6)."""
    springs = model.springs[0]
    turn = np.zeros((len(springs.axes), 6, 6))
    turn[:, :3, :3] = turn[:, 3:, 3:] = springs.axes
    moved = turn @ displacement[node_dof(springs.node[:, 0])] - np.moveaxis(np.atleast_3d(travel), 0, 2)
    return np.moveaxis(springs.stiffness @ moved, 2, 0)


@pytest.mark.parametrize("section", [None, replace(make_rail().section, **CHANNEL)], ids=["tube", "open"])
def test_both_roads_agree(section):
    frame = layout_frame(section)
    travel = np.random.default_rng(5).normal(size=(2, len(frame.clamp_s), 6)) * 1e-3
    loads = replace(make_loads(LINES, POINTS, thermal=(0.0, 30.0)), travel=travel)
    result = solve_frame(frame, loads)
    model, load = frame_model(frame, loads)
    force = grip_forces(model, solve_here(model, load).displacement, travel)
    np.testing.assert_allclose(
        force, result.clamp_force, rtol=0, atol=1e-9 * np.abs(result.clamp_force).max()
    )


@pytest.mark.parametrize("case", range(3))
def test_loads_keep_their_resultants(case):
    frame, loads = layout_frame(), make_loads(LINES, POINTS, thermal=(0.0, -40.0, 25.0))
    model, load = frame_model(frame, loads)
    force = load[:, case].reshape(-1, 6)
    line = sum((b - a) * np.array(p[:3]) for _, a, b, p in LINES)
    point = sum(np.array(p[:3]) for _, _, p in POINTS)
    assert force[:, :3].sum(axis=0) == pytest.approx(line + point)
    about = np.cross(model.xyz, force[:, :3]) + force[:, 3:]
    wanted = np.zeros(3)
    for row, a, b, p in LINES:
        wanted += np.cross([(a + b) / 2.0, -row, 0.0], (b - a) * np.array(p[:3]))
        wanted[0] += (b - a) * p[3]
    for row, s, p in POINTS:
        wanted += np.cross([s, -row, 0.0], p[:3]) + np.asarray(p[3:])
    assert about.sum(axis=0) == pytest.approx(wanted)


@needs_ccx
def test_the_other_program_holds_the_same_rails(tmp_path):
    frame, loads = layout_frame(), make_loads(LINES, POINTS, thermal=(0.0, 30.0))
    result = solve_frame(frame, loads)
    model, load = frame_model(frame, loads)
    there = run_deck(calculix_deck(model, load, ["snow", "snow and heat"]), tmp_path)
    force = grip_forces(model, there.displacement)
    np.testing.assert_allclose(
        force, result.clamp_force, rtol=0, atol=1e-5 * np.abs(result.clamp_force).max()
    )


def test_clamps_that_panels_join_are_refused():
    frame = layout_frame()
    joined = replace(frame, support=sparse.eye_array(6 * len(frame.clamp_s)).tocsr())
    with pytest.raises(InputError, match="no general model"):
        frame_model(joined, make_loads(LINES, POINTS))
