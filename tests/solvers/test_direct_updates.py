"""Symbolic factors used again; the order of elimination changes time, not answers."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from fea.model.assembly import build_system
from fea.model.solution import factorize_system
from fea.solvers.direct import Solver, factorize_upper
from fea.solvers.dissection import dissect
from tests.model.frames import fix, plate


def held_plate(nx=24, ny=20):
    model, edge = plate(nx, ny)
    return replace(model, ties=fix(edge))


@pytest.mark.parametrize("solver", [Solver.CHOLMOD, Solver.SUPERLU, Solver.BANDED])
def test_renewed_factor_equals_a_new_one(solver):
    system = build_system(held_plate())
    F = np.random.default_rng(0).normal(size=(system.upper.shape[0], 3))
    factor = factorize_upper(system.upper, solver, system.order)
    other = system.upper.copy()
    other.data *= 3.0
    exact = factorize_upper(system.upper, Solver.BANDED)(F) / 3.0
    np.testing.assert_allclose(factor.renew(other)(F), exact, rtol=0.0, atol=1e-7 * np.abs(exact).max())


def test_a_coupling_that_was_zero_is_not_lost_when_values_change():
    """A flat plate drops what couples its plane and its normal; a folded one must not."""
    model = held_plate(20, 18)
    flat = build_system(model)
    folded = build_system(replace(model, xyz=model.xyz + 0.3 * np.abs(model.xyz[:, 1:2] - 0.5) * [0, 0, 1]))
    assert flat.upper.nnz < 0.6 * folded.upper.nnz
    F = np.random.default_rng(0).normal(size=(flat.upper.shape[0], 2))
    renewed = factorize_upper(flat.upper, Solver.CHOLMOD).renew(folded.upper)
    assert renewed.residual(renewed(F), F).max() < 1e-6


def test_a_matrix_of_another_pattern_is_not_taken_for_the_same():
    def upper(places, values):
        K = sparse.diags_array(np.full(60, 4.0)).tocoo()
        row, col = np.array(places).T
        index = np.concatenate([[K.row, K.col], [row, col]], axis=1)
        return sparse.coo_array((np.append(K.data, values), tuple(index)), shape=K.shape).tocsr()

    before = upper([(0, 51), (3, 55)], [1.0, 1.0])
    fewer, elsewhere = upper([(0, 51)], [0.5]), upper([(0, 52), (3, 55)], [0.5, 1.0])
    F = np.arange(60.0)[:, None] + 1.0
    for new in (fewer, elsewhere):
        factor = factorize_upper(before, Solver.CHOLMOD).renew(new)
        full = (new + sparse.triu(new, 1).T).toarray()
        np.testing.assert_allclose(factor(F), np.linalg.solve(full, F), rtol=1e-12)


def test_dissection_is_a_permutation_that_separates():
    system = build_system(held_plate())
    xyz = system.model.xyz
    row = np.repeat(np.arange(len(xyz)), np.diff(system.pattern.start))
    edge = system.pattern.column != row
    order = dissect(xyz, row[edge], system.pattern.column[edge])
    np.testing.assert_array_equal(np.sort(order), np.arange(len(xyz)))
    rest = np.zeros(len(xyz), dtype=bool)
    rest[order[:-22]] = True  # a line across the plate with at most one step parts it
    use = edge & rest[row] & rest[system.pattern.column]
    graph = sparse.coo_array(
        (np.ones(use.sum()), (row[use], system.pattern.column[use])), shape=(len(xyz), len(xyz))
    )
    _, part = connected_components(graph.tocsr(), directed=False)
    count = np.sort(np.bincount(part[rest]))
    assert count[-2] > 0.4 * len(xyz)


def test_order_saves_work_and_changes_no_answer():
    system = build_system(held_plate())
    assert sorted(system.order) == list(range(system.upper.shape[0]))
    F = np.random.default_rng(0).normal(size=(system.upper.shape[0], 1))
    own = factorize_upper(system.upper, Solver.CHOLMOD)(F)
    np.testing.assert_allclose(factorize_system(system)(F), own, rtol=0.0, atol=1e-8 * np.abs(own).max())


def test_many_columns_equal_one_by_one():
    system = build_system(held_plate())
    F = np.random.default_rng(0).normal(size=(system.upper.shape[0], 70))
    factor = factorize_system(system, Solver.CHOLMOD)
    one = np.concatenate([factor.backsolve(F[:, [i]]) for i in range(70)], axis=1)
    np.testing.assert_allclose(factor.backsolve(F), one, rtol=0.0, atol=1e-10 * np.abs(one).max())
    np.testing.assert_allclose(factor(F), one, rtol=0.0, atol=1e-7 * np.abs(one).max())
