"""Schur complements by one sparse factorization in which what is kept is eliminated last.

With K = L L' and the kept unknowns last, the trailing block of L gives S = L_kk L_kk'. That spares the
solution for every column of the coupling. CHOLMOD may turn the order into another that is equivalent; then
the block stands in the same rows and columns of L. The diagonal of the kept part is raised first, so that a
structure that floats can be factorized, and lowered again in S.

Source: Golub and Van Loan, Matrix Computations, block Cholesky factorization (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.solvers.condensation import condense_matrix
from fea.solvers.direct import SingularError, Solver, available, cholmod_symbolic
from roofmodel.counting import within

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

PERMUTE = 7  # cvxopt: P x of a factor's permutation


def schur_complement(upper: sparse.csr_array, kept: IntArray, order: IntArray | None) -> Array:
    """Stiffness of some unknowns of a symmetric matrix, the others condensed.

    Parameters
    ----------
    upper : sparse (f, f)
        Upper triangle; only what is not kept needs to be positive definite.
    kept : (k,) int
        In the order wanted.
    order : (f,) int or None
        Elimination order of the whole matrix; the kept unknowns are moved to its end.

    Returns
    -------
    (k, k) float
        Exactly symmetric.

    Raises
    ------
    SingularError
        Something inside floats even when everything kept is held.
    """
    f, k = upper.shape[0], len(kept)
    if order is None or k in {0, f} or not available(Solver.CHOLMOD):
        return condense_matrix(upper, kept, order=order).stiffness
    inside = np.ones(f, dtype=bool)
    inside[kept] = False
    raised = np.where(inside, 0.0, upper.diagonal())
    shifted = sparse.csr_array(upper + sparse.diags_array(raised, format="csr"))
    L, last = _trailing(shifted, np.concatenate([order[inside[order]], kept]), kept)
    S = L @ L.T
    place = np.empty(f, dtype=np.int64)
    place[last] = np.arange(k)
    S = S[np.ix_(place[kept], place[kept])]
    S[np.arange(k), np.arange(k)] -= raised[kept]
    return S


def _trailing(upper: sparse.csr_array, order: IntArray, kept: IntArray) -> tuple[Array, IntArray]:
    """Block (k, k) of the factor that belongs to the kept unknowns, and these in its order."""
    f, k = upper.shape[0], len(kept)
    A, factor, _ = cholmod_symbolic(upper, order)
    import cvxopt
    from cvxopt import cholmod

    try:
        cholmod.numeric(A, factor)
    except ArithmeticError as error:
        message = "the matrix is not positive definite"
        raise SingularError(message) from error
    number = cvxopt.matrix(np.arange(f, dtype=np.float64)[:, None])
    cholmod.solve(factor, number, sys=PERMUTE)
    stands = np.asarray(number).ravel().astype(np.int64)
    own = np.zeros(f, dtype=bool)
    own[kept] = True
    at = np.flatnonzero(own[stands])
    start, row, value = (np.asarray(part).ravel() for part in cholmod.getfactor(factor).CCS)
    many = start[at + 1] - start[at]
    entry = np.repeat(start[at], many) + within(many)
    place = np.full(f, -1)
    place[at] = np.arange(k)
    i, j = place[row[entry]], np.repeat(np.arange(k), many)
    L = np.zeros((k, k))
    L[i[i >= 0], j[i >= 0]] = value[entry[i >= 0]]
    return L, stands[at]
