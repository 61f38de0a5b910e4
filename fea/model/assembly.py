"""Assembly: from a model to the equations of its unknowns, one sparse symmetric matrix.

With u = T q + g the equations are T' K T q = T' (F - K g). Only the rows of fixed and tied degrees of
freedom of K are kept beside T' K T; they give reactions and the load of prescribed displacements.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.model.data import Model, node_dof
from fea.model.pattern import Pattern, build_pattern, element_groups, sum_blocks, warping_part
from fea.model.ties import Elimination, eliminate
from fea.solvers.direct import ROUNDING
from fea.solvers.dissection import dissect

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LARGE = 2000  # unknowns from which on the order of elimination is worth its time
ROWS = 1 << 13  # nodes whose rows are numbered together
_ROW, _COLUMN = np.divmod(np.arange(36, dtype=np.int32), np.int32(6))  # of the entries of a block
_NOTHING = (np.zeros(0), np.zeros(0, dtype=np.int32), np.zeros(0, dtype=np.int32))


@dataclass(frozen=True)
class System:
    """A model as equations.

    Attributes
    ----------
    model : Model
    pattern : Pattern
        To assemble again with other values.
    ties : Elimination
    upper : sparse (f, f)
        Upper triangle of the stiffness of the unknowns, CSR, columns sorted.
    border : sparse (k, d)
        Rows of the stiffness before elimination of all fixed and tied degrees of freedom.
    """

    model: Model
    pattern: Pattern
    ties: Elimination
    upper: sparse.csr_array
    border: sparse.csr_array

    @cached_property
    def matrix(self) -> sparse.csr_array:
        """Stiffness of the unknowns (f, f), both triangles."""
        return sparse.csr_array(self.upper + sparse.triu(self.upper, 1).T)

    @property
    def transform(self) -> sparse.csr_array:
        """Displacements for unknowns (d, f)."""
        return self.ties.matrix

    @property
    def offset(self) -> Array:
        """Displacements (d,) when all unknowns are zero. [m, rad]."""
        return self.ties.offset

    @cached_property
    def order(self) -> IntArray | None:
        """Elimination order (f,) by nested dissection, None for a system so small that it does not matter."""
        if self.upper.shape[0] < LARGE:
            return None
        xyz, n = self.model.xyz, len(self.model.xyz)
        row = np.repeat(np.arange(n), np.diff(self.pattern.start))
        edge = self.pattern.column != row
        node = dissect(xyz, row[edge], self.pattern.column[edge])
        warp = np.arange(6 * n, len(self.ties.number))
        number = self.ties.number[np.concatenate([node_dof(node).ravel(), warp])]
        return np.asarray(number[number >= 0])

    def expand(self, q: Array) -> Array:
        """All displacements (d, q) for unknowns (f, q). [m, rad]."""
        return self.ties.expand(q)

    def gather(self, F: Array) -> Array:
        """Loads on the unknowns (f, q) of loads (d, q), prescribed displacements included. [N, N m]."""
        moved = self.border.T @ self.offset[self.ties.gone]
        return self.ties.gather(F - moved[:, None])

    def tie_forces(self, u: Array, F: Array) -> tuple[Array, Array]:
        """Forces of supports, and of links and equations, on the structure, both (d, q). [N, N m].

        Those of rigid links are in equilibrium with themselves. Loads, supports and ties add up to K u.
        """
        ties = self.ties
        lost = self.border @ u - F[ties.gone]
        tied = lost[np.searchsorted(ties.gone, ties.tied)]
        link = np.asarray(-(ties.follow.T @ tied))
        support = np.zeros_like(u)
        support[ties.gone] = lost
        support[ties.tied] = 0.0
        support[ties.fixed] -= link[ties.fixed]
        link[ties.tied] += tied
        return support, link


def _numbered(blocks: Array, pattern: Pattern, number: IntArray) -> sparse.csr_array:
    """Upper triangle of the unknowns without entries that are rounding; number -1 leaves out.

    Numbers keep the order of degrees of freedom, and blocks of a row that of their columns, so that columns
    come sorted. A flat sheet does not couple its plane with its normal: more than half of the entries go.
    """
    n = len(pattern.start) - 1
    f = int(number.max(initial=-1)) + 1
    small = number.astype(np.int32)
    size = np.sqrt(np.abs(np.einsum("bii->bi", blocks[pattern.start[:-1]]))).ravel()
    parts = []
    for first in range(0, n, ROWS):
        last = min(first + ROWS, n)
        low, high = pattern.start[first], pattern.start[last]
        value = blocks[low:high].ravel()
        place = np.flatnonzero(value)
        value = value[place]
        block, entry = np.divmod(place.astype(np.int32), np.int32(36))
        node = np.repeat(np.arange(first, last, dtype=np.int32), np.diff(pattern.start[first : last + 1]))
        row = 6 * node[block] + _ROW[entry]
        col = 6 * pattern.column[low:high][block] + _COLUMN[entry]
        use = (np.abs(value) > ROUNDING * size[row] * size[col]) | (row == col)
        use &= col >= row
        row, col = small[row], small[col]
        use &= (row >= 0) & (col >= 0)
        parts.append((value[use], row[use], col[use]))
    value, row, col = (np.concatenate(x) for x in zip(*parts, strict=True)) if parts else _NOTHING
    return sparse.coo_array((value, (row, col)), shape=(f, f)).tocsr()


def _border(blocks: Array, pattern: Pattern, warp: sparse.coo_array, gone: IntArray) -> sparse.csr_array:
    """Rows of the stiffness of some degrees of freedom, (k, d), both triangles."""
    n, d = len(pattern.start) - 1, warp.shape[0]
    node = np.zeros(n, dtype=bool)
    node[gone[gone < 6 * n] // 6] = True
    row = np.repeat(np.arange(n), np.diff(pattern.start))
    here, there = node[row], node[pattern.column] & (pattern.column != row)
    six = np.arange(6)
    values, rows, cols = [warp.data, warp.data], [warp.row, warp.col], [warp.col, warp.row]
    diagonal = warp.row == warp.col
    values[1], rows[1], cols[1] = (x[~diagonal] for x in (values[1], rows[1], cols[1]))
    for use, turned in ((here, False), (there, True)):
        block = np.swapaxes(blocks[use], 1, 2) if turned else blocks[use]
        first, second = row[use], pattern.column[use].astype(np.int64)
        if turned:
            first, second = second, first
        shape = block.shape
        values.append(block.ravel())
        rows.append(np.broadcast_to(6 * first[:, None, None] + six[:, None], shape).ravel())
        cols.append(np.broadcast_to(6 * second[:, None, None] + six, shape).ravel())
    place = np.full(d, -1)
    place[gone] = np.arange(len(gone))
    where = place[np.concatenate(rows)]
    use = where >= 0
    index = (where[use], np.concatenate(cols)[use])
    return sparse.coo_array((np.concatenate(values)[use], index), shape=(len(gone), d)).tocsr()


def _tied_part(ties: Elimination, border: sparse.csr_array) -> sparse.csr_array:
    """What tied degrees of freedom add to the matrix of the unknowns, upper triangle (f, f)."""
    rows = sparse.csr_array(border[np.searchsorted(ties.gone, ties.tied)])
    free = np.flatnonzero(ties.number >= 0)
    T = sparse.csr_array(ties.follow[:, free])
    cross = T.T @ rows[:, free]
    inner = T.T @ (rows[:, ties.tied] @ T)
    return sparse.csr_array(sparse.triu(cross + cross.T + inner, format="csr"))


def build_system(model: Model, pattern: Pattern | None = None) -> System:
    """Equations of a model.

    Parameters
    ----------
    model : Model
        Contacts are left to `fea.model.contact`.
    pattern : Pattern, optional
        Of a system with the same nodes in its elements.

    Returns
    -------
    System

    Raises
    ------
    InputError
        Elements on nodes that are not there; ties that contradict each other.
    """
    ties = eliminate(model)
    groups = element_groups(model)
    pattern = build_pattern(model, groups) if pattern is None else pattern
    blocks = sum_blocks(groups, pattern)
    warp = warping_part(model)
    border = _border(blocks, pattern, warp, ties.gone)
    upper = _numbered(blocks, pattern, ties.number)
    del blocks
    row, col = ties.number[warp.row], ties.number[warp.col]
    use = (row >= 0) & (col >= 0)
    if use.any():
        upper = upper + sparse.coo_array((warp.data[use], (row[use], col[use])), shape=upper.shape).tocsr()
    if len(ties.tied):
        upper = upper + _tied_part(ties, border)
    upper.sort_indices()
    return System(model, pattern, ties, upper, border)
