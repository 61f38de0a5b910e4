"""Loads on beams: closed forms, one element or many, arms, releases, warmth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fea.elements.beam_data import Beams, BeamStiffness
from fea.model import loads
from fea.model.assembly import build_system
from fea.model.beam_loads import axial_warmth, beam_end_forces, beam_nodes, line_load
from fea.model.data import Model, Ties, node_dof
from fea.model.solution import solve_model
from tests.model.test_loads import resultant, turned

EI_Y, EI_Z, EA, GJ = 2.0e4, 5.0e4, 4.0e7, 8.0e3
ALPHA, MASS = 12e-6, 6.0


def stiffness(**changed):
    values = {"axial": EA, "bending": np.array([[EI_Y, 0.0], [0.0, EI_Z]]), "shear": np.array([2e-7, 3e-7]),
              "torsion": GJ, "warping": 0.0, "center": np.zeros(2), "alpha": ALPHA, "mass": MASS}  # fmt: skip
    return BeamStiffness(**(values | changed))


def line(places, stiff=None, turn=None, fixed=(0,), offset=None, release=None, warp=None):
    """Beams along x between places, local y along y, turned in space, nodes moved back by their offsets."""
    x = np.asarray(places, dtype=float)
    m = len(x) - 1
    turn = np.eye(3) if turn is None else turn
    xyz = np.stack([x, 0.0 * x, 0.0 * x], axis=1) @ turn.T
    arm = np.zeros((m, 2, 3)) if offset is None else offset
    beams = Beams(
        "rail",
        np.stack([np.arange(m), np.arange(1, m + 1)], axis=1),
        stiff or stiffness(),
        np.tile(turn[:, 1], (m, 1)),
        arm,
        np.zeros((m, 2, 7), dtype=bool) if release is None else release,
        np.full((m, 2), -1) if warp is None else warp,
    )
    dof = node_dof(np.array(fixed)).ravel()
    if warp is not None:  # held at the first end
        dof = np.append(dof, 6 * len(xyz))
    return Model(xyz, beams=(beams,), ties=Ties(dof, np.zeros(len(dof))))


def solve(model, F):
    return solve_model(build_system(model), F)


def test_cantilever_under_a_triangular_load():
    """Load falling from p at the wall to 0: w = p L^4/(30 EI) + p L^2/(6 GA), M = p L^2/6 (textbooks)."""
    L, p, turn = 2.0, 300.0, turned(3)
    model = line([0.0, L], turn=turn)
    load = line_load(model, 0, -p * turn[:, 2:], 0.0 * turn[:, 2:])
    found = solve(model, beam_nodes(model, 0, load))
    tip = turn.T @ found.displacement[6:9, 0]
    sag = p * L**4 / (30 * EI_Y) + p * L**2 / 6 * 3e-7
    np.testing.assert_allclose(tip, [0.0, 0.0, -sag], rtol=1e-9, atol=1e-15)
    ends = beam_end_forces(model, 0, found.displacement, load)[0, :, 0]
    expected = np.zeros(14)
    expected[2], expected[4] = p * L / 2, -p * L**2 / 6  # right hand about y: up at the wall, hogging
    np.testing.assert_allclose(ends, expected, atol=1e-9 * p)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_one_beam_is_as_good_as_many(seed):
    """Unsymmetric, eccentric, warping section; a linear load is exact with one element a span."""
    rng = np.random.default_rng(seed)
    turn, L = turned(seed), 3.0
    stiff = stiffness(
        bending=np.array([[EI_Y, 1.2e4], [1.2e4, EI_Z]]), warping=10.0 ** rng.uniform(1, 4),
        center=rng.uniform(-0.03, 0.03, 2),
    )  # fmt: skip
    first, second = rng.normal(size=(2, 3, 2)) * 100.0
    results = []
    for cut in (
        np.array([0.0, L]),
        L * (np.arange(6) + np.append(0, np.append(rng.uniform(-0.3, 0.3, 4), 0))) / 5.0,
    ):
        number = np.arange(len(cut))
        model = line(cut, stiff, turn, (0,), warp=np.stack([number[:-1], number[1:]], axis=1))
        share = (cut / L)[:, None, None]
        value = first * (1.0 - share) + second * share
        load = line_load(model, 0, value[:-1], value[1:])
        found = solve(model, beam_nodes(model, 0, load))
        last = 6 * (len(cut) - 1)
        ends = beam_end_forces(model, 0, found.displacement, load)
        results.append((found.displacement[last : last + 6], found.reaction[:6], ends[0, :6], ends[0, 12]))
    for a, b in zip(*results, strict=True):
        np.testing.assert_allclose(a, b, atol=1e-8 * np.abs(b).max())


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_weight_has_its_resultant_and_reactions_hold_it(seed):
    rng = np.random.default_rng(seed)
    turn = turned(seed)
    model = line([0.0, 1.0, 2.5], turn=turn, offset=rng.uniform(-0.2, 0.2, (2, 2, 3)))
    g = rng.normal(size=(3, 2))
    F = loads.gravity(model, g)
    b = model.beams[0]
    ends = model.xyz[b.node] + b.offset
    weight = MASS * np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)[:, None, None] * g
    moment = np.cross(ends.mean(axis=1)[:, :, None], weight, axis=1)
    expected = np.concatenate([weight.sum(axis=0), moment.sum(axis=0)])
    np.testing.assert_allclose(resultant(model, F), expected, atol=1e-10)
    found = solve(model, F)
    np.testing.assert_allclose(resultant(model, found.reaction), -expected, atol=1e-9)
    forces = beam_end_forces(model, 0, found.displacement, line_load(model, 0, MASS * g))
    run = (ends[:, 1] - ends[:, 0]) / np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)[:, None]
    along = (forces[:, 0] + forces[:, 6])[:, None]  # both ends together hold the weight along the axis
    np.testing.assert_allclose(along[:, 0], -(run[:, None] @ weight)[:, 0], atol=1e-9)


def test_hinge_at_one_end():
    """Fixed and hinged under p: 5/8 and 3/8 of p L, p L^2 / 8 at the wall, no shear strain (textbooks)."""
    L, p = 2.0, 500.0
    release = np.zeros((1, 2, 7), dtype=bool)
    release[0, 1, 4] = True
    model = line([0.0, L], stiffness(shear=np.zeros(2)), fixed=(0, 1), release=release)
    load = line_load(model, 0, np.array([[0.0], [0.0], [-p]]))
    found = solve(model, beam_nodes(model, 0, load))
    np.testing.assert_allclose(found.reaction[[2, 8], 0], [5 / 8 * p * L, 3 / 8 * p * L], rtol=1e-10)
    np.testing.assert_allclose(found.reaction[[4, 10], 0], [-p * L**2 / 8, 0.0], atol=1e-9 * p)
    ends = beam_end_forces(model, 0, found.displacement, load)[0, :, 0]
    np.testing.assert_allclose(ends[[2, 4, 8, 10]], found.reaction[[2, 4, 8, 10], 0], atol=1e-9 * p)


@pytest.mark.parametrize("released", [False, True])
def test_warmth_presses_a_held_beam_but_not_one_that_slides(released):
    release = np.zeros((1, 2, 7), dtype=bool)
    release[0, 1, 0] = released
    turn = turned(9)
    model = line([0.0, 3.0], turn=turn, fixed=(0, 1), release=release)
    rise = np.array([30.0, -10.0])
    F = loads.thermal(model, rise)
    found = solve(model, F)
    ends = beam_end_forces(model, 0, found.displacement, axial_warmth(model, 0, rise))
    pressed = np.zeros(2) if released else EA * ALPHA * rise
    np.testing.assert_allclose(ends[0, 0], pressed, atol=1e-9 * EA * ALPHA)
    np.testing.assert_allclose(turn[:, 0] @ found.reaction[:3], pressed, atol=1e-9 * EA * ALPHA)


def test_free_end_grows():
    model = line([0.0, 1.0, 3.0], turn=turned(2))
    found = solve(model, loads.thermal(model, np.array([50.0]), groups=("rail",)))
    np.testing.assert_allclose(found.displacement[12:15, 0], ALPHA * 50.0 * model.xyz[2], atol=1e-14)
