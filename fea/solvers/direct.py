"""Direct solution of symmetric positive definite systems: one factorization, many right-hand sides."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from importlib.util import find_spec
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse
from scipy.sparse.linalg import splu

from roofmodel.errors import InputError

Array = NDArray[np.float64]

BAND_LIMIT = 48  # widest half band that the banded solver takes by itself


class Solver(StrEnum):
    """Which program factorizes."""

    AUTO = "auto"  # banded for a narrow band, else CHOLMOD, else SuperLU
    BANDED = "banded"  # banded Cholesky of LAPACK, in the order given
    CHOLMOD = "cholmod"  # supernodal sparse Cholesky
    PARDISO = "pardiso"  # optional extra
    SUPERLU = "superlu"  # sparse LU of scipy


class SingularError(ArithmeticError):
    """The matrix is not positive definite."""


@dataclass(frozen=True)
class Factor:
    """A factorized matrix.

    Attributes
    ----------
    name : str
        The solver, for reports.
    matrix : (n, n) sparse array
        The matrix itself, for the residual.
    backsolve : callable
        One pair of triangular solutions, (n, q) to (n, q).
    """

    name: str
    matrix: sparse.csr_array
    backsolve: Callable[[Array], Array]

    def __call__(self, F: Array) -> Array:
        """Solve for all columns, with one step of iterative refinement.

        Parameters
        ----------
        F : (n, q) float

        Returns
        -------
        (n, q) float
        """
        U = self.backsolve(F)
        U = U + self.backsolve(F - self.matrix @ U)
        if not np.isfinite(U).all():
            message = "the solution holds numbers that are not finite"
            raise SingularError(message)
        return U

    def residual(self, U: Array, F: Array) -> Array:
        """Largest |K u - f| over the largest |f| of each column, (q,), 0 for a column without load. [-]."""
        if not len(F):
            return np.zeros(F.shape[1])
        lost = np.abs(self.matrix @ U - F).max(axis=0)
        scale = np.abs(F).max(axis=0)
        return np.asarray(np.divide(lost, scale, out=np.zeros_like(lost), where=scale > 0.0))


def half_bandwidth(K: sparse.csr_array) -> int:
    """Largest distance of a nonzero from the diagonal."""
    coo = K.tocoo()
    return int(np.abs(coo.row - coo.col).max()) if coo.nnz else 0


def _banded(K: sparse.csr_array) -> Callable[[Array], Array]:
    coo = K.tocoo()
    lower = coo.row >= coo.col
    row, col, value = coo.row[lower], coo.col[lower], coo.data[lower]
    band = np.zeros((half_bandwidth(K) + 1, K.shape[0]), order="F")
    band[row - col, col] = value
    try:
        factor = linalg.cholesky_banded(band, lower=True, overwrite_ab=True, check_finite=False)
    except linalg.LinAlgError as error:
        raise SingularError(str(error)) from error
    return lambda F: np.asarray(linalg.cho_solve_banded((factor, True), F, check_finite=False))


def _cholmod(K: sparse.csr_array) -> Callable[[Array], Array]:
    import cvxopt
    from cvxopt import cholmod

    lower = sparse.tril(K, format="coo")
    value, row, col = (
        cvxopt.matrix(np.ascontiguousarray(part, dtype=kind)[:, None])
        for part, kind in ((lower.data, np.float64), (lower.row, np.int64), (lower.col, np.int64))
    )
    A = cvxopt.spmatrix(value, row, col, K.shape)
    cholmod.options["supernodal"] = 2
    factor = cholmod.symbolic(A, uplo="L")
    try:
        cholmod.numeric(A, factor)
    except ArithmeticError as error:
        message = "the matrix is not positive definite"
        raise SingularError(message) from error

    def backsolve(F: Array) -> Array:
        B = cvxopt.matrix(np.asfortranarray(F))
        cholmod.solve(factor, B)
        return np.asarray(B).reshape(F.shape, order="F")

    return backsolve


def _pardiso(K: sparse.csr_array) -> Callable[[Array], Array]:
    try:
        import pypardiso
    except ImportError as error:  # the package is there, its vendor's library is not
        message = f"solver = pardiso: pypardiso cannot start ({error}); use auto."
        raise InputError(message) from error
    upper = sparse.csr_matrix(sparse.triu(K, format="csr"))
    program: Any = pypardiso.PyPardisoSolver(mtype=2)
    program.factorize(upper)
    return lambda F: np.asarray(program.solve(upper, np.asfortranarray(F))).reshape(F.shape)


def _superlu(K: sparse.csr_array) -> Callable[[Array], Array]:
    try:
        factor = splu(
            K.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )
    except RuntimeError as error:
        raise SingularError(str(error)) from error
    return factor.solve


_PROGRAMS: dict[Solver, tuple[str, str, Callable[[sparse.csr_array], Callable[[Array], Array]]]] = {
    Solver.BANDED: ("banded Cholesky (LAPACK)", "scipy", _banded),
    Solver.CHOLMOD: ("supernodal Cholesky (CHOLMOD)", "cvxopt", _cholmod),
    Solver.PARDISO: ("sparse Cholesky (PARDISO)", "pypardiso", _pardiso),
    Solver.SUPERLU: ("sparse LU (SuperLU)", "scipy", _superlu),
}


def available(solver: Solver) -> bool:
    """Whether the package behind a solver is installed."""
    return solver is Solver.AUTO or find_spec(_PROGRAMS[solver][1]) is not None


def factorize(K: sparse.csr_array, solver: Solver = Solver.AUTO) -> Factor:
    """Factorize a symmetric positive definite matrix.

    Parameters
    ----------
    K : (n, n) sparse array
        Both triangles.
    solver : Solver

    Returns
    -------
    Factor
        Callable on (n, q) right-hand sides.

    Raises
    ------
    InputError
        A solver was asked for that is not installed or cannot start.
    SingularError
        A pivot is not positive. SuperLU and PARDISO see only exact zeros; check the residual.
    """
    matrix = K.tocsr()
    if solver is Solver.AUTO:
        if half_bandwidth(matrix) <= BAND_LIMIT:
            solver = Solver.BANDED
        else:
            solver = Solver.CHOLMOD if available(Solver.CHOLMOD) else Solver.SUPERLU
    name, package, program = _PROGRAMS[solver]
    if not available(solver):
        message = f"solver = {solver.value}: the package {package} is not installed; install it or use auto."
        raise InputError(message)
    return Factor(name, matrix, program(matrix))
