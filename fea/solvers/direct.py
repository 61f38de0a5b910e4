"""Direct solution of symmetric positive definite systems: one factorization, many right-hand sides."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from importlib.util import find_spec
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse
from scipy.sparse.linalg import splu

from fea.solvers.fast_blas import prefer_fast_blas
from fea.solvers.many_columns import column_solver
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Backsolve = Callable[[Array], Array]
Renew = Callable[[sparse.csr_array], bool]  # False when the pattern does not fit
Program = Callable[[sparse.csr_array, IntArray | None], tuple[Backsolve, Renew | None]]

BAND_LIMIT = 48  # widest half band that the banded solver takes by itself
BLOCK = 64  # right-hand sides solved together
BACKWARD = 1e-15  # residual over |K| |u| + |f| that no refinement betters
ROUNDING = 1e-17  # entries this small beside the diagonal are rounding


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
    upper : (n, n) sparse array
        Upper triangle of the matrix, for the residual.
    backsolve : callable
        One pair of triangular solutions, (n, q) to (n, q).
    renew : callable
        Factorize another matrix of the same pattern, given by its upper triangle; what does not depend on
        values is used again. The new factor takes the place of the old one, which must not be used again.
    """

    name: str
    upper: sparse.csr_array
    backsolve: Backsolve
    renew: Callable[[sparse.csr_array], Factor]

    def __call__(self, F: Array) -> Array:
        """Solve for all columns in blocks, with a step of iterative refinement where rounding calls for it.

        Parameters
        ----------
        F : (n, q) float

        Returns
        -------
        (n, q) float
        """
        U = np.empty(F.shape, order="F")
        for first in range(0, F.shape[1], BLOCK):
            part = F[:, first : first + BLOCK]
            u = self.backsolve(part)
            lost = part - times_upper(self.upper, u)
            if (np.abs(lost).max(axis=0, initial=0.0) > BACKWARD * self._room(u, part)).any():
                u = u + self.backsolve(lost)
            U[:, first : first + BLOCK] = u
        if not np.isfinite(U).all():
            message = "the solution holds numbers that are not finite"
            raise SingularError(message)
        return U

    @cached_property
    def _largest(self) -> float:
        """Largest entry of the matrix; a positive definite one has it on its diagonal."""
        return float(self.upper.diagonal().max(initial=0.0))

    def _room(self, U: Array, F: Array) -> Array:
        """What rounding may leave of each column, |K| |u| + |f|, (q,)."""
        return self._largest * np.abs(U).max(axis=0, initial=0.0) + np.abs(F).max(axis=0, initial=0.0)

    def backward_error(self, U: Array, F: Array, residual: Array) -> Array:
        """Largest |K u - f| over what rounding could leave, |K| |u| + |f|, of each column, (q,). [-].

        Of the order of rounding when the equations are solved, however large the displacements are.
        `residual` is that of `Factor.residual`.
        """
        room = self._room(U, F)
        lost = residual * np.abs(F).max(axis=0, initial=0.0)
        return np.asarray(np.divide(lost, room, out=np.zeros_like(room), where=room > 0.0))

    def residual(self, U: Array, F: Array) -> Array:
        """Largest |K u - f| over the largest |f| of each column, (q,), 0 for a column without load. [-]."""
        if not len(F):
            return np.zeros(F.shape[1])
        lost, scale = np.empty(F.shape[1]), np.abs(F).max(axis=0)
        for first in range(0, F.shape[1], BLOCK):
            part = slice(first, first + BLOCK)
            lost[part] = np.abs(times_upper(self.upper, U[:, part]) - F[:, part]).max(axis=0)
        return np.asarray(np.divide(lost, scale, out=np.zeros_like(lost), where=scale > 0.0))


def times_upper(upper: sparse.csr_array, x: Array) -> Array:
    """Product of a symmetric matrix, given by its upper triangle, with (n, q)."""
    return np.asarray(upper @ x + upper.T @ x - upper.diagonal()[:, None] * x)


def half_bandwidth(K: sparse.csr_array) -> int:
    """Largest distance of a nonzero from the diagonal."""
    if not K.nnz:
        return 0
    row = np.repeat(np.arange(K.shape[0], dtype=K.indices.dtype), np.diff(K.indptr))
    return int(np.abs(K.indices - row).max())


def _row(upper: sparse.csr_array) -> NDArray[np.int32]:
    return np.repeat(np.arange(upper.shape[0], dtype=np.int32), np.diff(upper.indptr))


def _banded(upper: sparse.csr_array, order: IntArray | None) -> tuple[Backsolve, Renew | None]:
    row = _row(upper)
    band = np.zeros((half_bandwidth(upper) + 1, upper.shape[0]), order="F")
    band[upper.indices - row, row] = upper.data
    try:
        factor = linalg.cholesky_banded(band, lower=True, overwrite_ab=True, check_finite=False)
    except linalg.LinAlgError as error:
        raise SingularError(str(error)) from error
    return lambda F: np.asarray(linalg.cho_solve_banded((factor, True), F, check_finite=False)), None


def _significant(upper: sparse.csr_array, row: NDArray[np.int32]) -> NDArray[np.bool_]:
    """Entries that matter beside rounding: a flat sheet does not couple its plane with its normal."""
    size = np.sqrt(np.abs(upper.diagonal()))
    use = np.abs(upper.data) > ROUNDING * size[row] * size[upper.indices]
    return np.asarray(use | (upper.indices == row))


def _alike(a: sparse.csr_array, b: sparse.csr_array) -> bool:
    """Whether two matrices store the same places."""
    return np.array_equal(a.indptr, b.indptr) and np.array_equal(a.indices, b.indices)


def cholmod_symbolic(upper: sparse.csr_array, order: IntArray | None) -> tuple[Any, Any, NDArray[np.bool_]]:
    """Matrix as cvxopt holds it, its symbolic factor, and which entries matter beside rounding."""
    prefer_fast_blas()
    import cvxopt
    from cvxopt import cholmod

    row = _row(upper)
    use = _significant(upper, row)
    # The columns of the lower triangle are the rows of the upper one.
    parts = (upper.data[use], upper.indices[use].astype(np.int64), row[use].astype(np.int64))
    A = cvxopt.spmatrix(*(cvxopt.matrix(part[:, None]) for part in parts), upper.shape)
    del parts
    cholmod.options["supernodal"] = 2
    cholmod.options["nmethods"] = 0 if order is None else 1  # 1: the order given and no other
    given = {} if order is None else {"p": cvxopt.matrix(order.astype(np.int64)[:, None])}
    return A, cholmod.symbolic(A, uplo="L", **given), use


def _cholmod(upper: sparse.csr_array, order: IntArray | None) -> tuple[Backsolve, Renew | None]:
    A, factor, use = cholmod_symbolic(upper, order)
    row = _row(upper)
    import cvxopt
    from cvxopt import cholmod

    def numeric() -> None:
        try:
            cholmod.numeric(A, factor)
        except ArithmeticError as error:
            message = "the matrix is not positive definite"
            raise SingularError(message) from error

    def renew(other: sparse.csr_array) -> bool:
        if not _alike(other, upper) or (_significant(other, row) & ~use).any():
            return False
        A.V = cvxopt.matrix(other.data[use][:, None])
        numeric()
        return True

    columns = column_solver(factor)

    def backsolve(F: Array) -> Array:
        if columns is not None and F.shape[1] > 1:
            return columns(F)
        B = cvxopt.matrix(np.asfortranarray(F))
        cholmod.solve(factor, B)
        return np.asarray(B).reshape(F.shape, order="F")

    numeric()
    return backsolve, renew


def _pardiso(upper: sparse.csr_array, order: IntArray | None) -> tuple[Backsolve, Renew | None]:
    try:
        import pypardiso
    except ImportError as error:  # the package is there, its vendor's library is not
        message = f"solver = pardiso: pypardiso cannot start ({error}); use auto."
        raise InputError(message) from error
    matrix = sparse.csr_matrix(upper)
    program: Any = pypardiso.PyPardisoSolver(mtype=2)
    program.factorize(matrix)
    return lambda F: np.asarray(program.solve(matrix, np.asfortranarray(F))).reshape(F.shape), None


def _superlu(upper: sparse.csr_array, order: IntArray | None) -> tuple[Backsolve, Renew | None]:
    K = sparse.csc_array(upper + sparse.triu(upper, 1).T)
    ordering: Literal["MMD_AT_PLUS_A", "NATURAL"] = "MMD_AT_PLUS_A" if order is None else "NATURAL"
    if order is not None:
        K = sparse.csc_array(K[order][:, order])
    try:
        factor = splu(K, permc_spec=ordering, diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    except RuntimeError as error:
        raise SingularError(str(error)) from error
    if order is None:
        return factor.solve, None

    def backsolve(F: Array) -> Array:
        U = np.empty_like(F)
        U[order] = factor.solve(F[order])
        return U

    return backsolve, None


_PROGRAMS: dict[Solver, tuple[str, str, Program]] = {
    Solver.BANDED: ("banded Cholesky (LAPACK)", "scipy", _banded),
    Solver.CHOLMOD: ("supernodal Cholesky (CHOLMOD)", "cvxopt", _cholmod),
    Solver.PARDISO: ("sparse Cholesky (PARDISO)", "pypardiso", _pardiso),
    Solver.SUPERLU: ("sparse LU (SuperLU)", "scipy", _superlu),
}


def available(solver: Solver) -> bool:
    """Whether the package behind a solver is installed."""
    return solver is Solver.AUTO or find_spec(_PROGRAMS[solver][1]) is not None


def factorize(K: sparse.csr_array, solver: Solver = Solver.AUTO) -> Factor:
    """Factorize a symmetric positive definite matrix, given by both triangles; see `factorize_upper`."""
    return factorize_upper(sparse.csr_array(sparse.triu(K, format="csr")), solver)


def factorize_upper(
    upper: sparse.csr_array, solver: Solver = Solver.AUTO, order: IntArray | None = None
) -> Factor:
    """Factorize a symmetric positive definite matrix.

    Parameters
    ----------
    upper : (n, n) sparse array
        Upper triangle, CSR.
    solver : Solver
    order : (n,) int, optional
        Elimination order for CHOLMOD and SuperLU, in place of their own (minimum degree).

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
    if solver is Solver.AUTO:
        if half_bandwidth(upper) <= BAND_LIMIT:
            solver = Solver.BANDED
        else:
            solver = Solver.CHOLMOD if available(Solver.CHOLMOD) else Solver.SUPERLU
    name, package, program = _PROGRAMS[solver]
    if not available(solver):
        message = f"solver = {solver.value}: the package {package} is not installed; install it or use auto."
        raise InputError(message)
    backsolve, again = program(upper, order)

    def renew(other: sparse.csr_array) -> Factor:
        if again is None or not again(other):
            return factorize_upper(other, solver, order)
        return Factor(name, other, backsolve, renew)

    return Factor(name, upper, backsolve, renew)
