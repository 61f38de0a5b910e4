"""The linear solvers agree, refine, and refuse."""

import sys

import numpy as np
import pytest
from scipy import sparse

from fea.solvers.direct import BAND_LIMIT, SingularError, Solver, available, factorize, half_bandwidth
from roofmodel.errors import InputError

PROGRAMS = [s for s in Solver if s is not Solver.AUTO and available(s)]


def plate(n):
    """Five-point Laplacian on an n by n grid: band n, positive definite."""
    line = sparse.diags_array([-np.ones(n - 1), 2.0 * np.ones(n), -np.ones(n - 1)], offsets=[-1, 0, 1])
    eye = sparse.eye_array(n)
    return sparse.csr_array(sparse.kron(line, eye) + sparse.kron(eye, line))


@pytest.mark.parametrize("solver", PROGRAMS)
def test_known_solution(solver):
    K = plate(30)
    exact = np.random.default_rng(1).normal(size=(900, 4))
    F = K @ exact
    factor = factorize(K, solver)
    U = factor(F)
    np.testing.assert_allclose(U, exact, atol=1e-11)
    assert factor.residual(U, F).max() < 1e-14
    assert factor.name


@pytest.mark.parametrize("solver", [Solver.BANDED, Solver.CHOLMOD])
def test_indefinite_is_refused(solver):
    K = plate(8)
    K = sparse.csr_array(K - 1.0 * sparse.eye_array(64))
    with pytest.raises(SingularError):
        factorize(K, solver)


def test_exactly_singular_is_refused_by_all():
    K = sparse.csr_array(np.array([[1.0, -1.0, 0.0], [-1.0, 1.0, 0.0], [0.0, 0.0, 1.0]]))
    for solver in PROGRAMS:
        if solver is not Solver.PARDISO:
            with pytest.raises(SingularError):
                factorize(K, solver)


def test_choice_follows_the_band():
    assert half_bandwidth(plate(20)) == 20
    assert "banded" in factorize(plate(20)).name
    assert "banded" not in factorize(plate(BAND_LIMIT + 2)).name


def test_residual_sees_a_wrong_answer_and_an_empty_case():
    factor = factorize(plate(5))
    F = np.zeros((25, 2))
    F[3, 0] = 2.0
    U = factor(F)
    U[3, 0] += 0.5
    np.testing.assert_allclose(factor.residual(U, F), [1.0, 0.0])


def test_a_solver_that_is_not_installed_is_named(monkeypatch):
    monkeypatch.setattr("fea.solvers.direct.find_spec", lambda name: None)
    with pytest.raises(InputError, match="pypardiso is not installed"):
        factorize(plate(3), Solver.PARDISO)


def test_a_solver_that_cannot_start_is_told(monkeypatch):
    monkeypatch.setattr("fea.solvers.direct.find_spec", lambda name: name)
    monkeypatch.setitem(sys.modules, "pypardiso", None)
    with pytest.raises(InputError, match="pypardiso cannot start"):
        factorize(plate(3), Solver.PARDISO)
