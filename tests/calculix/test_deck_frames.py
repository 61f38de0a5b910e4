"""Decks of beams, springs, ties and contacts: there the other program must agree to the digits it prints."""

from dataclasses import replace

import numpy as np
import pytest
from deck_runs import needs_ccx, rail_beams, run_deck, solve_here
from hypothesis import given
from hypothesis import strategies as st

from fea.elements.beam_data import BeamStiffness
from fea.model.assembly import build_system
from fea.model.calculix import calculix_deck
from fea.model.calculix_parts import square_roots
from fea.model.calculix_results import read_results
from fea.model.contact import OneWayLinks, solve_contact
from fea.model.data import GROUND, Contacts, Model, Springs, Ties
from roofmodel.errors import InputError

PRINTED = 2e-6  # seven digits are printed
TUBE = BeamStiffness(
    axial=1e7,
    bending=np.diag([2e3, 3e3]),
    shear=np.array([1e-7, 2e-7]),
    torsion=1e3,
    warping=0.0,
    center=np.zeros(2),
    alpha=1.2e-5,
)


def frame() -> Model:
    rng = np.random.default_rng(3)
    half = rng.normal(size=(2, 6, 6)) * np.array([1e3, 1e3, 1e3, 30.0, 30.0, 30.0])
    turn = np.array([[0.6, 0.8, 0.0], [-0.8, 0.6, 0.0], [0.0, 0.0, 1.0]])
    return Model(
        xyz=np.array([[0.0, 0, 0], [1, 0, 0], [2, 0.3, 0.1], [2.5, 1, 0.5], [1, 0, -0.1], [0.5, 0.2, 0.3]]),
        beams=(rail_beams([[0, 1], [1, 2], [2, 3], [5, 1]], TUBE, (0.0, 1.0, 0.1)),),
        springs=(
            Springs(
                "clamps",
                np.array([[4, GROUND], [3, GROUND]]),
                half @ np.swapaxes(half, 1, 2),
                np.stack([turn, np.eye(3)]),
            ),
        ),
        ties=Ties(
            fixed_dof=np.array([0, 1, 2, 3, 4]),
            fixed_value=np.array([0.0, 0.0, 1e-3, 0.0, 0.0]),
            rigid_main=np.array([1]),
            rigid_node=np.array([4]),
            rigid_part=np.ones((1, 6), dtype=bool),
            equation_dof=np.array([[12, 30]]),
            equation_coefficient=np.array([[1.0, -0.5]]),
            equation_value=np.array([2e-4]),
        ),
    )


@needs_ccx
def test_frame_on_coupled_springs_with_ties(tmp_path):
    model = frame()
    load = np.random.default_rng(1).normal(size=(model.dof_count, 3)) * 100.0
    here = solve_here(model, load)
    deck = calculix_deck(model, load, ["a", "b", "c"])
    there = run_deck(deck, tmp_path)
    assert there.displacement == pytest.approx(
        here.displacement, abs=PRINTED * np.abs(here.displacement).max()
    )
    held = here.reaction + here.tie_force
    assert there.reaction == pytest.approx(held, abs=PRINTED * np.abs(there.force).max())
    assert all(s.tolerance == 0.0 for s in deck.substitutions)


@needs_ccx
def test_case_without_load_and_nothing_prescribed_stays_at_rest(tmp_path):
    model = frame()
    ties = replace(model.ties, fixed_value=np.zeros(5), equation_value=np.zeros(1))
    model = replace(model, ties=ties)
    load = np.zeros((model.dof_count, 2))
    load[8, 1] = -100.0
    there = run_deck(calculix_deck(model, load, ["nothing", "weight"]), tmp_path)
    assert not there.displacement[:, 0].any()
    assert np.abs(there.displacement[:, 1]).max() > 1e-4


@needs_ccx
def test_open_profile_keeps_its_warping(tmp_path):
    open_profile = BeamStiffness(
        axial=4.6e7,
        bending=np.array([[3e4, 4e3], [4e3, 9e3]]),
        shear=np.zeros(2),
        torsion=20.0,
        warping=12.0,
        center=np.array([-0.02, 0.005]),
        alpha=0.0,
    )
    n = 4
    node = np.stack([np.arange(n), np.arange(1, n + 1)], axis=1)
    model = Model(
        xyz=np.linspace([0.0, 0, 0], [0.6, 0, 0], n + 1),
        beams=(rail_beams(node, open_profile, warp=node),),
        ties=Ties(fixed_dof=np.array([0, 1, 2, 3, 4, 5, 6 * (n + 1)]), fixed_value=np.zeros(7)),
    )
    load = np.zeros((model.dof_count, 1))
    load[6 * n + 3] = 10.0
    here = solve_here(model, load)
    there = run_deck(calculix_deck(model, load, ["torque"]), tmp_path)
    scale = np.abs(here.displacement[:-n]).max()
    assert there.displacement[6 * n + 3] == pytest.approx(here.displacement[6 * n + 3], rel=PRINTED)
    assert there.displacement[: 6 * n + 6] == pytest.approx(
        here.displacement[: 6 * n + 6], abs=PRINTED * scale
    )
    assert there.force[3, 0] == pytest.approx(-10.0, rel=PRINTED)


def beam_on_one_way_ground() -> Model:
    n = 12
    node = np.stack([np.arange(n), np.arange(1, n + 1)], axis=1)
    on = np.arange(n + 1)
    return Model(
        xyz=np.linspace([0.0, 0, 0], [3.0, 0, 0], n + 1),
        beams=(rail_beams(node, TUBE),),
        springs=(
            Springs(
                "holds",
                np.array([[0, GROUND]]),
                np.diag([1e4, 1e4, 1.0, 1e3, 1.0, 1e3])[None],
                np.eye(3)[None],
            ),
        ),
        contacts=(
            Contacts(
                "deck",
                on,
                np.tile([0.0, 0.0, 1.0], (n + 1, 1)),
                np.linspace(2e4, 6e4, n + 1),
                np.where(on % 3 == 0, 1e-4, 0.0),
            ),
        ),
    )


@needs_ccx
def test_beam_that_lifts_off_until_its_clips_take_hold(tmp_path):
    model = beam_on_one_way_ground()
    clips = OneWayLinks(
        "clips",
        node=np.array([[9, GROUND], [12, GROUND], [3, 6]]),
        direction=np.tile([0.0, 0.0, 1.0], (3, 1)),
        stiffness=np.array([2e4, 5e4, 1e3]),
        gap=np.array([3e-3, 0.03, 0.0]),
    )
    load = np.zeros((model.dof_count, 2))
    load[2::6] = -20.0
    load[6 * 12 + 2] = 45.0, 120.0
    groups = [*model.contacts, clips]
    here = solve_contact(build_system(model), groups, load)
    there = run_deck(calculix_deck(model, load, ["lift", "clips"], [clips]), tmp_path)
    u = here.displacement
    assert there.displacement == pytest.approx(u, abs=PRINTED * np.abs(u).max())
    assert there.contact == pytest.approx(here.force, abs=2.0 * PRINTED * here.force.max())
    push, hold = here.force[:13] > 0.0, here.force[13:] > 0.0
    assert (push.sum(axis=0) >= 2).all()
    assert (push.sum(axis=0) <= 11).all()
    assert not hold[1, 0]
    assert hold[1, 1]


@needs_ccx
def test_forces_that_do_not_balance_are_refused(tmp_path):
    model = frame()
    load = np.zeros((model.dof_count, 1))
    load[8] = -100.0
    deck = calculix_deck(model, load, ["weight"])
    run_deck(deck, tmp_path)
    text = (tmp_path / "model.dat").read_text()
    force = text.index(" forces")
    with pytest.raises(InputError, match='"weight" do not balance'):
        read_results(deck, text[:force] + text[force:].replace("E-01", "E+01"))
    with pytest.raises(InputError, match="0 of 1 cases"):
        read_results(deck, text[:force])


def test_what_a_deck_cannot_be_made_of():
    model = frame()
    with pytest.raises(InputError, match=r"loads have shape \(5, 1\)"):
        calculix_deck(model, np.zeros((5, 1)), ["a"])
    with pytest.raises(InputError, match="must be finite"):
        calculix_deck(model, np.full((model.dof_count, 1), np.nan), ["a"])


@given(st.integers(0, 2**32 - 1), st.floats(1e-3, 1e9), st.integers(1, 6))
def test_roots_of_a_stiffness_give_it_back(seed, scale, rank):
    rng = np.random.default_rng(seed)
    half = rng.normal(size=(3, rank, 6)) * np.array([scale, scale, scale, 1.0, 1.0, 1.0])
    K = np.swapaxes(half, 1, 2) @ half
    C = square_roots(K)
    size = np.sqrt(np.einsum("mii->mi", K))
    assert np.swapaxes(C, 1, 2) @ C / (size[:, :, None] * size[:, None]) == pytest.approx(
        K / (size[:, :, None] * size[:, None]), abs=1e-11
    )
    assert (np.linalg.norm(C, axis=2) > 0.0).sum() <= 3 * rank
