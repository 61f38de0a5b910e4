"""Linear solutions of a sparse structure for changing sets of closed links.

The pattern of the matrix holds all links, so that a set is a change of values and the symbolic factorization
serves all of them; a few changes from the factorized set go by the Woodbury formula.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.solvers.direct import Factor, SingularError, Solver, factorize_upper, times_upper
from roofmodel.counting import within

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

FEW = 24  # changes of the set that are worth a column each instead of a factorization,
MORE = 1500  # and one more for so many unknowns
CLOSE = 1e-5  # eigenvalue of the changes' matrix from which on a factorization is more exact
FLOATS = 1e10  # movement for unit forces over that with all links, beyond which a set is a mechanism
SOFT = 1e-4  # share of the stiffness of open links that guides steps out of a mechanism


class ContactError(ArithmeticError):
    """No equilibrium of one-way links, told in one line."""


class ActiveSet:
    """A structure with links, factorized for one set of them.

    Parameters
    ----------
    upper : sparse (f, f)
        Upper triangle of the stiffness without the links.
    B : sparse (c, f)
        Stretch of the links for unknowns.
    stiffness, gap : (c,) float
    solver : Solver
    """

    def __init__(
        self, upper: sparse.csr_array, B: sparse.csr_array, stiffness: Array, gap: Array, solver: Solver
    ) -> None:
        self.upper, self.B, self.stiffness, self.gap, self.solver = upper, B, stiffness, gap, solver
        self._pattern, self._place, self._link, self._value = _pattern(upper, B)
        self._factor: Factor | None = None
        self._base = np.zeros(0)
        self._columns: dict[int, Array] = {}
        self._reach = np.nan
        self.factorizations = 0

    def _weighted(self, weight: Array) -> sparse.csr_array:
        add = self._value * (self.stiffness * weight)[self._link]
        data = self._pattern.data + np.bincount(self._place, add, minlength=self._pattern.nnz)
        pattern = self._pattern
        return sparse.csr_array((data, pattern.indices, pattern.indptr), shape=pattern.shape)

    def _factorize(self, weight: Array) -> bool:
        """Factorize with a share of each link; False if this floats."""
        matrix = self._weighted(weight)
        self._columns = {}
        self.factorizations += 1
        self._base = weight
        try:
            if self._factor is None:
                self._factor = factorize_upper(matrix, self.solver)
            else:
                self._factor = self._factor.renew(matrix)
        except SingularError:
            self._factor = None
            return False
        probe = np.abs(matrix.diagonal()) * np.cos(np.arange(matrix.shape[0]) ** 2)
        reach = float(np.abs(self._factor.backsolve(probe[:, None])).max(initial=0.0))
        if np.isnan(self._reach):
            self._reach = reach
        if reach > FLOATS * max(self._reach, 1.0):
            self._factor = None
            return False
        return True

    def start(self) -> None:
        """Factorize with all links closed.

        Raises
        ------
        SingularError
            The structure floats.
        """
        if not self._factorize(np.ones(len(self.stiffness))):
            message = "the structure floats though every contact is closed"
            raise SingularError(message)

    def solve(self, closed: BoolArray, F: Array) -> Array | None:
        """Unknowns (f,) with the links of a set two-way; None if the set is a mechanism."""
        weight = closed.astype(float)
        u = self._solve(weight, (F + self.B.T @ (self.stiffness * weight * self.gap))[:, None])
        return None if u is None else u[:, 0]

    def _solve(self, weight: Array, right: Array) -> Array | None:
        changed = np.flatnonzero(self._base != weight) if self._factor is not None else None
        if changed is not None and len(changed) <= FEW + len(right) // MORE:
            u = self._updated(changed, weight, right)
            if u is not None:
                return u
        if (changed is None or len(changed)) and not self._factorize(weight):
            return None
        assert self._factor is not None
        return self._factor(right)

    def two_way(self, closed: BoolArray, F: Array) -> Array:
        """Unknowns (f, q) for loads (f, q) with the links of a set as springs both ways, gaps left out.

        Raises
        ------
        SingularError
            The set is a mechanism.
        """
        u = self._solve(closed.astype(float), F)
        if u is None:
            message = "what bears does not hold the structure"
            raise SingularError(message)
        return u

    def _updated(self, changed: IntArray, weight: Array, right: Array) -> Array | None:
        """By Woodbury from the factorized set; None when a factorization is more exact."""
        factor = self._factor
        assert factor is not None
        if not len(changed):
            return factor(right)
        new = [int(i) for i in changed if int(i) not in self._columns]
        if new:
            Y = factor(self.B[new].T.toarray())
            self._columns.update(zip(new, Y.T, strict=True))
        Y = np.stack([self._columns[int(i)] for i in changed], axis=1)
        change = (weight - self._base)[changed]
        Bc, root = self.B[changed], np.sqrt(self.stiffness[changed] * np.abs(change))
        middle = np.diag(np.sign(change)) + root[:, None] * (Bc @ Y) * root
        middle = (middle + middle.T) / 2.0
        if np.abs(np.linalg.eigvalsh(middle)).min() < CLOSE:
            return None

        def once(r: Array) -> Array:
            y = factor.backsolve(r)
            return np.asarray(y - Y @ (root * np.linalg.solve(middle, root * (Bc @ y))))

        u, root = np.zeros_like(right), root[:, None]
        for _ in range(3):
            Ku = times_upper(self.upper, u)
            u = u + once(right - Ku - self.B.T @ ((self.stiffness * weight)[:, None] * (self.B @ u)))
        return u

    def push(self, u: Array) -> Array:
        """Forces of the links against the structure at u, (f,)."""
        return np.asarray(self.B.T @ (self.stiffness * np.maximum(self.B @ u - self.gap, 0.0)))

    def soft_step(self, closed: BoolArray, unbalanced: Array) -> Array:
        """A step (f,) down the energy though the set is a mechanism."""
        if not self._factorize(np.where(closed, 1.0, SOFT)):
            message = "the structure floats though every contact is closed"
            raise SingularError(message)
        assert self._factor is not None
        return np.asarray(self._factor(unbalanced[:, None])[:, 0])


def _pattern(
    upper: sparse.csr_array, B: sparse.csr_array
) -> tuple[sparse.csr_array, IntArray, IntArray, Array]:
    """Pattern of structure and links, and place, link and value of everything that links add to it."""
    n = upper.shape[0]
    many = np.diff(B.indptr)
    link = np.repeat(np.arange(len(many)), many**2)
    pair = within(many**2)
    first = B.indptr[link] + pair // many[link]
    second = B.indptr[link] + pair % many[link]
    keep = B.indices[first] <= B.indices[second]
    first, second, link = first[keep], second[keep], link[keep]
    key = B.indices[first].astype(np.int64) * n + B.indices[second]
    pattern = upper
    for _ in range(2):
        row = np.repeat(np.arange(n, dtype=np.int64), np.diff(pattern.indptr))
        known = row * n + pattern.indices
        place = np.searchsorted(known, key).clip(max=max(len(known) - 1, 0))
        missing = known[place] != key if len(known) else np.ones(len(key), dtype=bool)
        if not missing.any():
            break
        lost = np.unique(key[missing])
        parts = np.concatenate([row, lost // n]), np.concatenate([pattern.indices, lost % n])
        data = np.concatenate([pattern.data, np.zeros(len(lost))])
        pattern = sparse.coo_array((data, parts), shape=(n, n)).tocsr()
        pattern.sort_indices()
    return pattern, place, link, B.data[first] * B.data[second]
