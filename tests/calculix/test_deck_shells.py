"""Decks of shells: another element on the same nodes, so agreement within the error of either mesh."""

import numpy as np
import pytest
from deck_runs import STEEL, grid, merged, needs_ccx, run_deck, sheet, solve_here

from benchmarks.verification.panel import clip_forces
from benchmarks.verification.panel import panel_with_clamp as long_panel
from fea.model.assembly import build_system
from fea.model.calculix import calculix_deck
from fea.model.contact import solve_contact
from fea.model.data import GROUND, Contacts, Model, Springs, Ties, node_dof

SUM = 1e-6  # reactions against loads


def fixed(nodes) -> Ties:
    dof = node_dof(np.asarray(nodes)).ravel()
    return Ties(fixed_dof=dof, fixed_value=np.zeros(len(dof)))


def nodal(model: Model, nodes, force) -> np.ndarray:
    load = np.zeros((model.dof_count, 1))
    nodes = np.asarray(nodes)
    load[node_dof(nodes)[:, :3].ravel(), 0] = np.tile(np.asarray(force) / len(nodes), len(nodes))
    return load


def translations(values, model: Model) -> np.ndarray:
    return values[: 6 * len(model.xyz)].reshape(-1, 6, values.shape[1])[:, :3]


def sum_of_reactions(there, model: Model) -> np.ndarray:
    return translations(there.reaction, model).sum(axis=0)[:, 0]


def clamped_plate(n: int) -> Model:
    xyz, quad = grid([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], n, n)
    edge = np.flatnonzero((np.abs(xyz[:, :2] - 0.5).max(axis=1)) > 0.5 - 1e-9)
    return Model(xyz=xyz, shells=(sheet(quad, 0.01, "plate"),), ties=fixed(edge))


@needs_ccx
def test_clamped_plate(tmp_path):
    n, pressure = 32, 1e4
    model = clamped_plate(n)
    load = np.zeros((model.dof_count, 1))
    load[2::6, 0] = -pressure / n**2
    there = run_deck(calculix_deck(model, load, ["snow"]), tmp_path)
    middle = 6 * ((n + 1) * (n // 2) + n // 2) + 2
    stiffness = STEEL.E * 0.01**3 / 12.0 / (1.0 - 0.3**2)
    # 0.001265 q a^4 / D: Timoshenko and Woinowsky-Krieger, table 35 (from memory)
    assert there.displacement[middle, 0] == pytest.approx(-0.001265 * pressure / stiffness, rel=0.01)
    here = solve_here(model, load)
    assert there.displacement[middle] == pytest.approx(here.displacement[middle], rel=0.01)
    whole = -load.sum()
    assert sum_of_reactions(there, model) == pytest.approx([0.0, 0.0, whole], abs=SUM * whole)


def folded_strip(finer: int) -> tuple[Model, np.ndarray]:
    """An angle of two sheets, held at one end."""
    flat = grid([[0, 0, 0], [0.6, 0, 0], [0.6, 0.08, 0], [0, 0.08, 0]], 24 * finer, 4 * finer)
    leg = grid([[0, 0, 0], [0.6, 0, 0], [0.6, 0, 0.05], [0, 0, 0.05]], 24 * finer, 3 * finer)
    xyz, (pan, rib) = merged([flat, leg])
    model = Model(
        xyz=xyz,
        shells=(sheet(pan, 0.001, "pan"), sheet(rib, 0.0015, "rib")),
        ties=fixed(np.flatnonzero(xyz[:, 0] < 1e-9)),
    )
    return model, np.flatnonzero(xyz[:, 0] > 0.6 - 1e-9)


@needs_ccx
def test_folded_strip_closes_on_the_same_answer(tmp_path):
    apart = []
    for finer in (1, 2):
        model, end = folded_strip(finer)
        load = np.concatenate([nodal(model, end, [0, 0, -20.0]), nodal(model, end, [0, 3.0, 0])], axis=1)
        here = solve_here(model, load)
        there = run_deck(calculix_deck(model, load, ["down", "aside"]), tmp_path)
        a, b = translations(there.displacement, model)[end], translations(here.displacement, model)[end]
        apart.append(np.abs(a - b).max(axis=(0, 1)) / np.abs(b).max(axis=(0, 1)))
        total = translations(there.reaction, model).sum(axis=0)
        assert total == pytest.approx(np.array([[0, 0], [0, -3.0], [20.0, 0]]), abs=2e-4)
    assert (apart[1] < 0.02).all(), apart
    assert (apart[1] < 0.6 * apart[0]).all(), apart


def panel_with_clamp(finer: int) -> tuple[Model, np.ndarray]:
    """A pan with a standing leg on clips, a clamp that grips the leg, a deck below, a rail force above."""
    left = grid([[0, -0.2, 0], [0.8, -0.2, 0], [0.8, 0, 0], [0, 0, 0]], 32 * finer, 6 * finer)
    right = grid([[0, 0, 0], [0.8, 0, 0], [0.8, 0.2, 0], [0, 0.2, 0]], 32 * finer, 6 * finer)
    leg = grid([[0, 0, 0], [0.8, 0, 0], [0.8, 0, 0.04], [0, 0, 0.04]], 32 * finer, 3 * finer)
    xyz, parts = merged([left, right, leg])
    x, y, z = xyz.T
    clip = np.flatnonzero((np.abs(y) < 1e-9) & (z < 1e-9) & ((x < 0.051) | (x > 0.749)))
    grip = np.flatnonzero((z > 0.02) & (np.abs(x - 0.4) < 0.03))
    flat = np.flatnonzero((z < 1e-9) & (np.abs(y) > 1e-9))
    turn = 6 * np.flatnonzero(np.abs(y) > 0.2 - 1e-9) + 3  # mid pan, where neighbors mirror it
    main = len(xyz)
    hold = np.diag([2e6, 5e5, 1e6, 0.0, 0.0, 0.0])
    model = Model(
        xyz=np.concatenate([xyz, [[0.4, 0.0, 0.09]]]),
        shells=tuple(
            sheet(part, 0.0007, name) for part, name in zip(parts, ("left", "right", "leg"), strict=True)
        ),
        springs=(
            Springs(
                "clips",
                np.stack([clip, np.full_like(clip, GROUND)], axis=1),
                np.repeat(hold[None], len(clip), axis=0),
                np.repeat(np.eye(3)[None], len(clip), axis=0),
            ),
        ),
        contacts=(
            Contacts(
                "deck",
                flat,
                np.tile([0.0, 0.0, 1.0], (len(flat), 1)),
                np.full(len(flat), 5e4 / finer**2),
                np.zeros(len(flat)),
            ),
        ),
        ties=Ties(
            fixed_dof=turn,
            fixed_value=np.zeros(len(turn)),
            rigid_main=np.full(len(grip), main),
            rigid_node=grip,
            rigid_part=np.ones((len(grip), 6), dtype=bool),
        ),
        sets={"clips": clip},
    )
    return model, np.array([main])


@needs_ccx
def test_panel_with_clamp_and_deck(tmp_path):
    model, main = panel_with_clamp(1)
    load = nodal(model, main, [-400.0, 60.0, 30.0])
    here = solve_contact(build_system(model), model.contacts, load[:, 0])
    there = run_deck(calculix_deck(model, load, ["snow slides"]), tmp_path)
    u = np.asarray(here.displacement).reshape(-1)
    top = 6 * main[0] + np.arange(3)
    share = there.displacement[top, 0] / u[top]
    # elements 36 times wider than thick: the other triangle bends too little, by 25% across the seam here and
    # by 6 and 2.5% on meshes two and three times finer (measured)
    assert ((share > 0.7) & (share < 1.0)).all()
    clip = model.sets["clips"]
    hold = np.array([2e6, 5e5, 1e6])
    mine = -hold * u[node_dof(clip)[:, :3]]
    other = -hold * there.displacement[node_dof(clip)[:, :3], 0]
    left = model.xyz[clip, 0] < 0.4
    for end in (left, ~left):
        assert other[end].sum(axis=0) == pytest.approx(mine[end].sum(axis=0), abs=0.01 * 400.0)
    total = other.sum(axis=0) + np.array([0.0, 0.0, there.contact.sum()])
    assert total == pytest.approx([400.0, -60.0, -30.0], abs=400.0 * SUM * 5)
    assert (there.contact > 0.0).any()
    assert (there.contact < 1e-9).any()


@needs_ccx
def test_clamp_on_a_long_panel(tmp_path):
    """The panel of the check values on its coarse mesh: shares of the clips, and everything that is held."""
    model, load = long_panel()
    here, there = solve_here(model, load), run_deck(calculix_deck(model, load, ["pull"]), tmp_path)
    mine, other = clip_forces(model, here.reaction), clip_forces(model, there.reaction)
    assert sum(other.values()) == pytest.approx([-1000.0, 0.0, -500.0], abs=1000.0 * SUM)
    for name in model.sets:
        assert other[name] == pytest.approx(mine[name], abs=0.03 * 1000.0)
    assert other["rib0_x1200"][[0, 2]] == pytest.approx(mine["rib0_x1200"][[0, 2]], rel=0.04)
    top = slice(-6, -3)
    assert there.displacement[top, 0] == pytest.approx(here.displacement[top, 0], rel=0.1)
