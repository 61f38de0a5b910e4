"""Condensed equals full; removal of springs equals another factorization."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fea.model.assembly import build_system
from fea.model.condensed import condense
from fea.model.data import GROUND, node_dof
from fea.model.solution import solve_model
from fea.solvers.condensation import condense_matrix
from fea.solvers.direct import SingularError, factorize_upper
from fea.solvers.trailing import schur_complement
from fea.solvers.updates import dense_influence, influence, update
from roofmodel.errors import InputError
from tests.model.frames import chain, fix, plate, springs

STIFF = np.array([3e5, 2e5, 4e5, 30.0, 20.0, 50.0])


def clamped():
    """A plate on springs at four nodes, and the nodes."""
    model, _ = plate(6, 4)
    nodes = np.array([3, 11, 18, 29])
    ground = np.stack([nodes, np.full(4, GROUND)], axis=1)
    return replace(model, springs=(springs("clips", ground, STIFF),)), nodes


def test_condensed_equals_full_in_displacements_and_reactions():
    model, edge = plate(8, 6)
    model = replace(model, ties=fix(edge))
    rng = np.random.default_rng(3)
    F = rng.normal(size=(model.dof_count, 70)) * 1e3  # more than one block
    system = build_system(model)
    full = solve_model(system, F)
    kept = node_dof(np.array([30, 44, 62])).ravel()
    small = condense(system, kept)
    np.testing.assert_array_equal(small.stiffness, small.stiffness.T)
    u = np.linalg.solve(small.stiffness, small.load(F))
    np.testing.assert_allclose(u, full.displacement[kept], rtol=0.0, atol=1e-9 * np.abs(u).max())
    recovered = small.recover(u, F)
    reaction, _ = system.tie_forces(recovered, F)
    scale = np.abs(full.reaction).max()
    np.testing.assert_allclose(reaction, full.reaction, rtol=0.0, atol=1e-9 * scale)


def test_a_floating_plate_condenses_to_a_matrix_without_rigid_resistance():
    model, _ = plate(4, 3)
    nodes = np.array([0, 7, 18])
    K = condense(build_system(model), node_dof(nodes).ravel()).stiffness
    arm = model.xyz[nodes]
    motion = np.zeros((18, 6))
    for i in range(3):
        motion[6 * i : 6 * i + 6] = np.eye(6)
        motion[6 * i : 6 * i + 3, 3:] = np.cross(np.eye(3), arm[i]).T
    assert np.abs(K @ motion).max() < 1e-8 * np.abs(K).max()
    assert np.linalg.eigvalsh(K)[6] > 0.0


def test_series_of_springs():
    small = condense(build_system(chain(4, 1000.0)), node_dof(np.array([3])).ravel())
    np.testing.assert_allclose(small.stiffness, 250.0 * np.eye(6), rtol=1e-13, atol=1e-10)


def test_prescribed_displacement_becomes_a_load():
    model = replace(chain(3, 1000.0), ties=fix([2], 0.5))
    small = condense(build_system(model), node_dof(np.array([0])).ravel())
    u = np.linalg.solve(small.stiffness, small.load(np.zeros((18, 1))))
    np.testing.assert_allclose(u, 0.5 / 3.0, rtol=1e-12)


def test_fixed_and_repeated_are_refused():
    system = build_system(replace(chain(3), ties=fix([2])))
    with pytest.raises(InputError, match="ux of node 2"):
        condense(system, np.array([12]))
    with pytest.raises(InputError, match="twice"):
        condense(system, np.array([0, 0]))


def test_an_inside_that_floats_is_told():
    model = chain(4)
    apart = replace(model, springs=(springs("apart", [[0, GROUND], [2, 3]], 1000.0),))
    with pytest.raises(SingularError, match="floats"):
        condense(build_system(apart), np.arange(6))


def test_removing_a_spring_equals_factorizing_again():
    model, nodes = clamped()
    rng = np.random.default_rng(5)
    F = rng.normal(size=(model.dof_count, 3)) * 100.0
    system = build_system(model)
    small = condense(system, node_dof(nodes).ravel())
    kept = np.linalg.solve(small.stiffness, small.load(F))
    place = np.arange(24).reshape(4, 6)
    columns = np.moveaxis(dense_influence(small.stiffness)[:, place], 1, 0)
    removed = update(columns, place, -model.springs[0].stiffness, kept)
    assert not removed.singular.any()
    for i in range(4):
        rest = np.delete(np.arange(4), i)
        group = model.springs[0]
        other = replace(group, node=group.node[rest], stiffness=group.stiffness[rest], axes=group.axes[rest])
        exact = solve_model(build_system(replace(model, springs=(other,))), F).displacement
        scale = np.abs(exact).max()
        np.testing.assert_allclose(removed.displacement[i], exact[small.dof], rtol=0.0, atol=1e-9 * scale)


def test_changed_springs_of_a_sparse_system():
    model, nodes = clamped()
    system = build_system(model)
    factor = factorize_upper(system.upper)
    F = np.random.default_rng(6).normal(size=(model.dof_count, 2))
    u = factor(system.gather(F))
    place = node_dof(nodes[:2])
    change = model.springs[0].stiffness[:2] * np.array([0.5, -0.25])[:, None, None]
    columns = np.stack([influence(factor, p) for p in place])
    new = update(columns, place, change, u)
    for i in range(2):
        group = model.springs[0]
        stiffness = group.stiffness.copy()
        stiffness[i] += change[i]
        exact = solve_model(build_system(replace(model, springs=(replace(group, stiffness=stiffness),))), F)
        np.testing.assert_allclose(
            new.displacement[i], exact.displacement, rtol=0.0, atol=1e-9 * np.abs(exact.displacement).max()
        )


def test_removing_the_last_hold_is_said():
    small = condense(build_system(chain(3)), np.arange(18))
    u = np.linalg.solve(small.stiffness, np.ones((18, 1)))
    result = update(
        dense_influence(small.stiffness)[None, :, :6],
        np.arange(6)[None],
        -1000.0 * np.eye(6)[None],
        u,
    )
    assert result.singular.all()
    assert np.isnan(result.displacement).all()


@pytest.mark.parametrize("kept", [1e-7, 1e-5, 0.5])
def test_a_hold_that_keeps_a_little_still_stands(kept):
    """Nearly all of the last hold taken away: soft, but no mechanism, and the answer that of it."""
    K = condense(build_system(chain(3)), np.arange(18)).stiffness
    F = np.ones((18, 1))
    left = K.copy()
    left[:6, :6] -= (1.0 - kept) * 1000.0 * np.eye(6)
    found = update(
        dense_influence(K)[None, :, :6],
        np.arange(6)[None],
        -(1.0 - kept) * 1000.0 * np.eye(6)[None],
        np.linalg.solve(K, F),
    )
    assert not found.singular.any()
    exact = np.linalg.solve(left, F)
    np.testing.assert_allclose(found.displacement[0], exact, rtol=1e-4, atol=1e-6 * np.abs(exact).max())


@given(seed=st.integers(0, 10**6))
def test_a_lost_hold_is_told_whatever_rounding_leaves(seed):
    random = np.random.default_rng(seed)
    turn = np.linalg.qr(random.normal(size=(18, 18)))[0]
    scale = 10.0 ** random.uniform(-3.0, 6.0)
    K = scale * condense(build_system(chain(3)), np.arange(18)).stiffness
    hold = np.zeros((18, 18))
    hold[:6, :6] = scale * 1000.0 * np.eye(6)
    K, hold = turn @ K @ turn.T, turn @ hold @ turn.T
    u = np.linalg.solve(K, random.normal(size=(18, 1)))
    assert update(np.linalg.inv(K)[None], np.arange(18)[None], -hold[None], u).singular.all()


@pytest.mark.parametrize("held", [True, False])
def test_what_is_eliminated_last_has_the_schur_complement(held, monkeypatch):
    """One factorization with the kept unknowns last against column by column; floating plates too."""
    model, edge = plate(22, 18)
    if held:
        model = replace(model, ties=fix(edge))
    system = build_system(model)
    assert system.order is not None
    kept = system.ties.number[node_dof(np.array([200, 310, 77, 150])).ravel()]
    wanted = condense_matrix(system.upper, kept, order=system.order).stiffness
    monkeypatch.setattr("fea.solvers.trailing.condense_matrix", None)  # not by the other road
    found = schur_complement(system.upper, kept, system.order)
    size = np.sqrt(np.diag(wanted))
    np.testing.assert_allclose(found / np.outer(size, size), wanted / np.outer(size, size), atol=1e-9)
