"""Static condensation of a matrix onto some of its unknowns.

S = K_kk - K_ki K_ii^-1 K_ik (Guyan, AIAA Journal 3 (1965) 380, from memory). The inner part is factorized
once; its right-hand sides
are worked off in blocks, and what is inside is solved again when asked for, so that memory stays that of the
factor and of the condensed matrix.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.solvers.direct import BLOCK, Factor, Solver, factorize_upper

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Schur:
    """A symmetric matrix condensed onto some of its unknowns.

    Attributes
    ----------
    kept, inner : (k,), (i,) int
        Unknowns.
    stiffness : (k, k) float
        Exactly symmetric.
    coupling : sparse (i, k)
    factor : Factor or None
        Of the inner part, None when everything is kept.
    """

    kept: IntArray
    inner: IntArray
    stiffness: Array
    coupling: sparse.csr_array
    factor: Factor | None

    def load(self, F: Array) -> Array:
        """Loads (k, q) on what is kept that loads (f, q) are worth."""
        if self.factor is None:
            return np.asarray(F[self.kept])
        return np.asarray(F[self.kept] - self.coupling.T @ self.factor(F[self.inner]))

    def recover(self, u: Array, F: Array) -> Array:
        """All unknowns (f, q) for those kept (k, q) under loads (f, q)."""
        full = np.empty((len(self.kept) + len(self.inner), u.shape[1]))
        full[self.kept] = u
        if self.factor is not None:
            full[self.inner] = self.factor(F[self.inner] - self.coupling @ u)
        return full


def condense_matrix(
    upper: sparse.csr_array, kept: IntArray, solver: Solver = Solver.AUTO, order: IntArray | None = None
) -> Schur:
    """Condense a symmetric matrix, given by its upper triangle, onto some of its unknowns.

    Parameters
    ----------
    upper : sparse (f, f)
    kept : (k,) int
        In the order wanted.
    solver : Solver
    order : (f,) int, optional
        Elimination order of the whole matrix.

    Returns
    -------
    Schur

    Raises
    ------
    SingularError
        Something inside floats even when everything kept is held.
    """
    f = upper.shape[0]
    inside = np.ones(f, dtype=bool)
    inside[kept] = False
    inner = np.flatnonzero(inside)
    columns = upper[:, kept] + sparse.csr_array(upper[kept]).T
    corner = sparse.csr_array(columns[kept]).toarray()
    corner[np.arange(len(kept)), np.arange(len(kept))] /= 2.0
    coupling = sparse.csr_array(columns[inner])
    if not len(inner):
        return Schur(kept, inner, corner, coupling, None)
    within = sparse.csr_array(upper[inner][:, inner])
    if order is not None:
        place = np.cumsum(inside) - 1
        order = place[order[inside[order]]]
    factor = factorize_upper(within, solver, order)
    stiffness = corner
    by_column = coupling.tocsc()
    for first in range(0, len(kept), BLOCK):
        part = slice(first, first + BLOCK)
        stiffness[:, part] -= coupling.T @ factor(by_column[:, part].toarray())
    return Schur(kept, inner, (stiffness + stiffness.T) / 2.0, coupling, factor)
