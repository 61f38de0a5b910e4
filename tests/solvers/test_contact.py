"""One-way contacts on sparse structures: tables, closed forms, all sets tried, and what cannot be solved."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from benchmarks.verification.contacts import one_way_beam
from fea.model import contact
from fea.model.assembly import build_system
from fea.model.contact import (
    ContactError,
    OneWayLinks,
    contact_equations,
    solve_cases,
    solve_closed,
    solve_contact,
    solve_one_way,
)
from fea.model.data import GROUND, Contacts, Model, Springs, Ties
from fea.solvers import active_set
from fea.solvers.direct import SingularError, Solver
from roofmodel.errors import InputError
from tests.solvers.lines import enumerate_sets, line, table_line
from tests.solvers.test_events import SEEDS, TABLES, random_contacts


def solve(K, B, k, gap, F, **more):
    F = np.asarray(F, dtype=float)
    return solve_one_way(
        sparse.csr_array(np.triu(K)), sparse.csr_array(B), k, gap, F[:, None] if F.ndim == 1 else F, **more
    )


@pytest.mark.parametrize("case", TABLES, ids=lambda c: c["name"])
def test_tables_through_the_model(case):
    model, F = one_way_beam(case["name"])
    expected = np.array(case["expected"]["reactions_N"])
    found = solve_contact(build_system(model), model.contacts, F)
    assert np.flatnonzero(found.closed[:, 0]).tolist() == case["expected"]["contact_set_index0"]
    np.testing.assert_allclose(found.force[:, 0], expected, rtol=1e-6, atol=1e-6 * expected.max())
    up = found.link_load[2 : 6 * len(model.xyz) : 6, 0].sum()
    assert up == pytest.approx(-F[2::6].sum(), rel=1e-9)
    assert found.proof[0].holds(1e-9)


@pytest.mark.parametrize("case", TABLES, ids=lambda c: c["name"])
def test_tables_through_plain_equations(case):
    inputs, expected = case["inputs"], np.array(case["expected"]["reactions_N"])
    beam, B, F = table_line(inputs)
    k, gap = np.array(inputs["support_k_N_per_mm"]), np.array(inputs["gap_mm"])
    found = solve(beam.K, B, k, gap, np.stack([F, 0.0 * F, 2.0 * F], axis=1))
    np.testing.assert_allclose(found.force[:, 0], expected, rtol=1e-6, atol=1e-6 * expected.max())
    if not gap.any():  # without gaps the answer grows with its load
        np.testing.assert_allclose(found.force[:, 2], 2.0 * found.force[:, 0], atol=1e-8 * expected.max())
        np.testing.assert_allclose(found.force[:, 1], 0.0)


@settings(max_examples=150, deadline=None)
@given(SEEDS, st.sampled_from([0, 2, 24]))
def test_the_set_found_is_the_only_one_that_fits(seed, few):
    """By updates and by factorizations alike; a model without an answer is never given one."""
    K, B, k, gap, F = random_contacts(seed)
    sets = enumerate_sets(K, B, k, gap, F)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(active_set, "FEW", few)
        if sets:
            found = solve(K, B, k, gap, F)
            np.testing.assert_allclose(found.force[:, 0], sets[0], atol=1e-6 * max(1.0, sets[0].max()))
            assert found.proof[0].holds(1e-6)
        else:
            with pytest.raises((SingularError, ContactError)):
                solve(K, B, k, gap, F)


def test_load_cases_do_not_know_of_each_other():
    rng = np.random.default_rng(5)
    A = rng.normal(size=(30, 30))
    K, B = A @ A.T + np.eye(30), rng.normal(size=(40, 30))
    k, gap, F = np.full(40, 50.0), rng.uniform(0.0, 0.05, 40), rng.normal(size=(30, 6))
    together = solve(K, B, k, gap, F)
    for case in range(6):
        alone = solve(K, B, k, gap, F[:, case])
        np.testing.assert_allclose(together.force[:, case], alone.force[:, 0], atol=1e-9)
    assert together.factorizations <= 1 + int(together.rounds.sum())


def test_every_solver_finds_the_same():
    beam, B, F = table_line(TABLES[0]["inputs"])
    k = np.full(len(B), 2000.0)
    forces = [solve(beam.K, B, k, np.zeros(len(B)), F, solver=s).force
              for s in (Solver.BANDED, Solver.CHOLMOD, Solver.SUPERLU)]  # fmt: skip
    for other in forces[1:]:
        np.testing.assert_allclose(other, forces[0], atol=1e-6)


@pytest.mark.parametrize("few", [0, 24])
@pytest.mark.parametrize("case", TABLES, ids=lambda c: c["name"])
def test_the_answer_does_not_know_where_the_search_began(case, few, monkeypatch):
    """From any set on; a little more load then moves the model as with what bears held both ways."""
    monkeypatch.setattr(active_set, "FEW", few)
    model, F = one_way_beam(case["name"])
    equations = contact_equations(build_system(model), model.contacts)
    right = solve_cases(equations, F[:, None])
    m = len(right.force)
    rng = np.random.default_rng(3)
    sets = [np.zeros(m, dtype=bool), *(rng.random((12, m)) < 0.5)]
    again = solve_cases(equations, np.tile(F[:, None], len(sets)), sets)
    np.testing.assert_allclose(again.force, np.tile(right.force, len(sets)), atol=1e-7 * right.force.max())
    more = solve_cases(equations, 1.0001 * F[:, None]).displacement - right.displacement
    held = solve_closed(equations, right.closed[:, 0], 1e-4 * F[:, None])
    np.testing.assert_allclose(held, more, atol=1e-7 * np.abs(more).max() + 1e-14)


def test_a_set_that_holds_nothing_has_no_stiffness():
    ground = Contacts("g", np.array([0]), np.array([[0.0, 0.0, 1.0]]), np.array([200.0]), np.array([0.0]))
    fixed = np.arange(6)[[0, 1, 3, 4, 5]]
    model = Model(xyz=np.zeros((1, 3)), ties=Ties(fixed_dof=fixed, fixed_value=np.zeros(5)))
    equations, F = contact_equations(build_system(model), (ground,)), np.eye(6)[:, [2]]
    assert solve_closed(equations, np.array([True]), F)[2, 0] == pytest.approx(1.0 / 200.0)
    with pytest.raises(SingularError, match="does not hold"):
        solve_closed(equations, np.array([False]), F)


def test_heavy_beam_lifted_at_its_end():
    """Lifted length a = 2 P / q, lift q a^4 / (24 E I), and a reaction P where it touches down.

    From zero moment at the touchdown of a beam on a flat rigid base (Timoshenko, Strength of Materials,
    Part II, from memory).
    """
    n, EI, q, P = 401, 50.0, 4.0, 2.0
    beam = line(np.linspace(0.0, 4.0, n), EI)
    a = 2.0 * P / q
    F = -beam.uniform(q) + beam.point(P, 4.0)
    B = np.zeros((n, len(beam.K)))
    B[np.arange(n), beam.w] = -1.0
    found = solve(beam.K, B, np.full(n, 1e8), np.zeros(n), F)
    w = found.unknown[beam.w, 0]
    touch = beam.x[np.flatnonzero(found.force[:, 0] > 1e-3 * P)[-1]]
    assert touch == pytest.approx(4.0 - a, abs=0.03)
    assert w[-1] == pytest.approx(q * a**4 / (24.0 * EI), rel=0.02)
    assert found.force.sum() == pytest.approx(4.0 * q - P, rel=1e-9)
    near = np.abs(beam.x - touch) < 0.05
    rest = q * 0.05  # of the beam that lies there
    assert found.force[near, 0].sum() == pytest.approx(P, abs=2.0 * rest)
    assert (w > -1e-6).all()


def test_string_pressed_on_a_plate():
    """Obstacle problem: under q the string leaves its ends in parabolas of length sqrt(2 T g / q)."""
    n, T, q, g = 401, 3.0, 6.0, 0.04
    h = 2.0 / (n - 1)
    x = np.linspace(0.0, 2.0, n)[1:-1]
    m = n - 2
    K = sparse.diags_array([np.full(m - 1, -T / h), np.full(m, 2 * T / h)], offsets=[-1, 0]).T.tocsr()
    found = solve_one_way(sparse.csr_array(K), sparse.eye_array(m, format="csr"), np.full(m, 1e7),
                          np.full(m, g), np.full((m, 1), q * h))  # fmt: skip
    b = np.sqrt(2.0 * T * g / q)
    held = x[found.force[:, 0] > 0.0]
    assert held[0] == pytest.approx(b, abs=2 * h)
    assert held[-1] == pytest.approx(2.0 - b, abs=2 * h)
    near = x < b - h
    np.testing.assert_allclose(
        found.unknown[near, 0], q / T * (b * x[near] - x[near] ** 2 / 2.0), atol=2e-2 * g
    )
    np.testing.assert_allclose(found.force[:, 0], found.force[::-1, 0], atol=1e-6 * q * h)


def block(down: float, across: float = 0.0):
    """A block 2 wide and 1 high that only stands on its two edges; movement of its bottom center."""
    B = np.array([[-1.0, 1.0], [-1.0, -1.0]])  # rise and turn
    return solve(np.zeros((2, 2)), B, np.full(2, 1e4), np.zeros(2), np.array([-down, across]))


def test_block_held_by_nothing_but_its_contacts():
    """Edges share weight W and moment M as W / 2 +- M / 2; beyond M = W it tips over."""
    found = block(10.0, 4.0)
    assert sorted(found.force[:, 0]) == pytest.approx([3.0, 7.0])
    with pytest.raises(ContactError, match=r"lifts off|no set"):
        block(10.0, 10.5)
    with pytest.raises(ContactError, match="load case 0: the structure lifts off"):
        block(-1.0)


def test_what_floats_with_all_contacts_closed_is_told():
    with pytest.raises(SingularError, match="floats"):
        solve(np.zeros((2, 2)), np.array([[1.0, 0.0]]), np.ones(1), np.zeros(1), np.ones(2))


def hanging(gap: float, **parts) -> Model:
    """Two nodes on springs of 100 and 300 N/m along z, otherwise fixed."""
    stiffness = np.zeros((2, 6, 6))
    stiffness[:, 2, 2] = 100.0, 300.0
    fixed = np.setdiff1d(np.arange(12), [2, 8])
    return Model(
        xyz=np.zeros((2, 3)),
        springs=(
            Springs("s", np.array([[0, GROUND], [1, GROUND]]), stiffness, np.tile(np.eye(3), (2, 1, 1))),
        ),
        ties=Ties(fixed_dof=fixed, fixed_value=np.zeros(len(fixed))),
        **parts,
    )


def pulled(model: Model, link, force: float):
    F = np.zeros(12)
    F[2] = force
    return solve_contact(build_system(model), (link,), F)


def test_clip_between_two_nodes_takes_hold_after_its_gap():
    link = OneWayLinks(
        "clip", np.array([[0, 1]]), np.array([[0.0, 0.0, 1.0]]), np.array([600.0]), np.array([0.02])
    )
    model = hanging(0.02)
    slack = pulled(model, link, 1.9)
    assert slack.force[0, 0] == 0.0
    assert slack.displacement[2, 0] == pytest.approx(0.019)
    held = pulled(model, link, 8.0)
    series = 1.0 / (1.0 / 600.0 + 1.0 / 300.0)
    stretch = (8.0 + series * 0.02) / (100.0 + series)
    assert held.displacement[2, 0] == pytest.approx(stretch)
    assert held.force[0, 0] == pytest.approx(8.0 - 100.0 * stretch)
    assert held.link_load[[2, 8], 0] == pytest.approx([-held.force[0, 0], held.force[0, 0]])
    assert pulled(model, link, -8.0).force[0, 0] == 0.0


def test_prescribed_movement_closes_a_contact():
    model = hanging(0.0)
    ties = Ties(
        fixed_dof=np.append(model.ties.fixed_dof, 8), fixed_value=np.append(model.ties.fixed_value, -0.05)
    )
    ground = Contacts("g", np.array([1]), np.array([[0.0, 0.0, 1.0]]), np.array([200.0]), np.array([0.01]))
    model = Model(xyz=model.xyz, springs=model.springs, ties=ties)
    found = solve_contact(build_system(model), (ground,), np.zeros(12))
    assert found.force[0, 0] == pytest.approx(200.0 * 0.04)
    assert found.reaction[8, 0] == pytest.approx(-300.0 * 0.05 - 200.0 * 0.04)


def test_many_load_cases_and_no_contact_is_the_linear_answer():
    model = hanging(0.0)
    F = np.zeros((12, 3))
    F[2] = 1.0, -2.0, 0.0
    found = solve_contact(build_system(model), (), F)
    np.testing.assert_allclose(found.displacement[2], F[2] / 100.0)
    assert found.force.shape == (0, 3)


@pytest.mark.parametrize(("change", "word"), [
    ({"normal": np.array([[0.0, 0.0, 2.0]])}, "length 1"),
    ({"stiffness": np.array([-1.0])}, "positive"),
    ({"node": np.array([7])}, "between 0 and 1"),
    ({"gap": np.array([np.nan])}, "gap"),
    ({"stiffness": np.ones(2)}, "differ in number"),
])  # fmt: skip
def test_contacts_that_are_none_are_refused(change, word):
    good = {"node": np.array([0]), "normal": np.array([[0.0, 0.0, 1.0]]), "stiffness": np.ones(1),
            "gap": np.zeros(1)}  # fmt: skip
    with pytest.raises(InputError, match=word):
        solve_contact(build_system(hanging(0.0)), (Contacts("deck", **{**good, **change}),), np.zeros(12))


def test_a_set_that_comes_back_is_told_and_still_answered():
    """A case found by search in which full steps lead in a circle."""
    K, F = 0.1 * np.eye(2), np.array([0.3, 1.8])
    B = np.array([[-0.7, 0.8], [0.0, 0.2], [0.8, -0.3], [0.8, -0.7]])
    k, gap = np.array([1e5, 0.1, 100.0, 1e5]), np.array([0.0, 0.0, 0.0, 0.4])
    found = solve(K, B, k, gap, F)
    assert "came back" in found.notes[0]
    assert found.rounds[0] < 20
    (expected,) = enumerate_sets(K, B, k, gap, F)
    np.testing.assert_allclose(found.force[:, 0], expected, atol=1e-7)


@pytest.mark.parametrize("link", range(4))
def test_a_wrong_set_is_seen(link, monkeypatch):
    """A set with one link too many pulls there, one too few penetrates there: no such answer is given out."""
    beam = line(np.arange(4.0), 40.0)
    B = np.eye(len(beam.K))[beam.w]
    k, gap = np.full(4, 50.0), np.zeros(4)
    F = beam.point(10.0, 0.0) - beam.point(4.0, 1.0) + beam.point(12.0, 2.0) + beam.point(9.0, 3.0)
    right = solve(beam.K, B, k, gap, F)
    assert right.proof[0].holds()

    def wrong(sets, loads, first):
        closed = right.force[:, 0] > 0.0
        closed[link] = ~closed[link]
        return contact._Answer(sets.solve(closed, loads), closed, 1, "")

    monkeypatch.setattr(contact, "_minimize", wrong)
    with pytest.raises(ContactError, match="misses equilibrium or contact"):
        solve(beam.K, B, k, gap, F)
    monkeypatch.setattr(contact, "ACCEPTED", np.inf)
    proof = solve(beam.K, B, k, gap, F).proof[0]
    assert proof.residual < 1e-9
    assert max(proof.tension, proof.penetration) > 1e-3
