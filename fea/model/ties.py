"""Elimination of fixed degrees of freedom, rigid links and linear equations: u = T q + g."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.model.data import Model, node_dof
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LONGEST_CHAIN = 50  # links that hang on links
AXES = ("ux", "uy", "uz", "rx", "ry", "rz")


@dataclass(frozen=True)
class Elimination:
    """Which unknowns remain, and how the others follow them.

    Attributes
    ----------
    number : (d,) int
        Number among the unknowns of each degree of freedom that remains, in its order, -1 for the others.
    gone : (k,) int
        Degrees of freedom that are fixed or tied, increasing.
    fixed : (h,) int
        The fixed ones.
    tied : (t,) int
        Those that follow others.
    follow : sparse (t, d)
        Displacements of the tied ones for those of the degrees of freedom that are not tied.
    offset : (d,) float
        Displacements when all unknowns are zero. [m, rad]
    """

    number: IntArray
    gone: IntArray
    fixed: IntArray
    tied: IntArray
    follow: sparse.csr_array
    offset: Array

    @property
    def count(self) -> int:
        """Number of unknowns."""
        return int(self.number.max(initial=-1)) + 1

    @cached_property
    def free(self) -> IntArray:
        """Degrees of freedom that are unknowns, (f,)."""
        return np.flatnonzero(self.number >= 0)

    @cached_property
    def matrix(self) -> sparse.csr_array:
        """Displacements for unknowns, (d, f)."""
        f, d = self.count, len(self.number)
        tied = sparse.coo_array(self.follow[:, self.free])
        value = np.concatenate([np.ones(f), tied.data])
        row, col = np.concatenate([self.free, self.tied[tied.row]]), np.concatenate([np.arange(f), tied.col])
        return sparse.coo_array((value, (row, col)), shape=(d, f)).tocsr()

    def expand(self, q: Array) -> Array:
        """All displacements (d, q) for unknowns (f, q)."""
        u = np.repeat(self.offset[:, None], q.shape[1], axis=1)
        u[self.free] = q
        if len(self.tied):
            u[self.tied] += self.follow[:, self.free] @ q
        return u

    def gather(self, F: Array) -> Array:
        """Forces on the unknowns (f, q) of forces (d, q)."""
        if not len(self.tied):
            return np.asarray(F[self.free])
        return np.asarray((F + self.follow.T @ F[self.tied])[self.free])


def dof_words(model: Model, dof: int) -> str:
    """A degree of freedom in words."""
    if dof >= 6 * len(model.xyz):
        return f"warping {dof - 6 * len(model.xyz)}"
    node, part = divmod(dof, 6)
    names = [name for name, nodes in model.sets.items() if node in nodes]
    return f"{AXES[part]} of node {node}" + (f" ({names[0]})" if names else "")


def rigid_rows(model: Model) -> tuple[IntArray, IntArray, Array]:
    """Followers' degrees of freedom (k,), and those (k, 3) they follow with coefficients (k, 3)."""
    ties = model.ties
    link, part = np.nonzero(ties.rigid_part)
    arm = model.xyz[ties.rigid_node] - model.xyz[ties.rigid_main]
    follower = node_dof(ties.rigid_node)[link, part]
    main = node_dof(ties.rigid_main)[link]
    turn, back = (part + 1) % 3, (part + 2) % 3  # (r x arm)_p = r_p+1 arm_p+2 - r_p+2 arm_p+1
    moves = part < 3
    lever = arm[link]
    at = np.arange(len(link))
    columns = np.stack([main[at, part], main[at, 3 + turn], main[at, 3 + back]], axis=1)
    values = np.stack([np.ones(len(link)), lever[at, back] * moves, -lever[at, turn] * moves], axis=1)
    return follower, columns, values


def _equation_rows(model: Model) -> tuple[IntArray, Array, IntArray, IntArray, Array]:
    """Eliminated degrees of freedom and their constants; rows, columns and values of what they follow."""
    ties = model.ties
    lead, first = ties.equation_dof[:, 0], ties.equation_coefficient[:, 0]
    bad = np.flatnonzero((lead < 0) | ~(np.abs(first) > 0.0))
    if len(bad):
        message = f"ties: equation {bad[0]} has no first coefficient, so that nothing can be eliminated."
        raise InputError(message)
    used = ties.equation_dof >= 0
    used[:, 0] = False
    equation, place = np.nonzero(used)
    value = -ties.equation_coefficient[equation, place] / first[equation]
    return lead, ties.equation_value / first, lead[equation], ties.equation_dof[equation, place], value


def _fixed(model: Model) -> tuple[IntArray, Array]:
    """Fixed degrees of freedom, each once, and their values."""
    ties = model.ties
    dof, first, inverse = np.unique(ties.fixed_dof, return_index=True, return_inverse=True)
    value = ties.fixed_value[first]
    bad = np.flatnonzero(value[inverse] != ties.fixed_value)
    if len(bad):
        i = int(bad[0])
        message = (
            f"ties: {dof_words(model, int(ties.fixed_dof[i]))} is fixed at {value[inverse[i]]:g} and at "
            f"{ties.fixed_value[i]:g}; give one value."
        )
        raise InputError(message)
    return dof.astype(np.int64), value


def _check(model: Model) -> None:
    ties, d, n = model.ties, model.dof_count, len(model.xyz)
    for name, array, top in (
        ("fixed_dof", ties.fixed_dof, d),
        ("equation_dof", ties.equation_dof[ties.equation_dof != -1], d),
        ("rigid_main", ties.rigid_main, n),
        ("rigid_node", ties.rigid_node, n),
    ):
        bad = np.flatnonzero((array < 0) | (array >= top))
        if len(bad):
            message = f"ties: {name} has {array[bad[0]]}; it must lie between 0 and {top - 1}."
            raise InputError(message)
    for name, values in (
        ("fixed_value", ties.fixed_value),
        ("equation_coefficient", ties.equation_coefficient),
        ("equation_value", ties.equation_value),
    ):
        if not np.isfinite(values).all():
            message = f"ties: {name} holds a value that is not a number."
            raise InputError(message)


def eliminate(model: Model) -> Elimination:
    """Unknowns that remain, and how the others follow them.

    Raises
    ------
    InputError
        A degree of freedom that is fixed or tied twice, an equation without a first coefficient, links in
        a circle, numbers out of range.
    """
    _check(model)
    d = model.dof_count
    fixed, fixed_value = _fixed(model)
    follower, columns, values = rigid_rows(model)
    lead, constant, row, col, value = _equation_rows(model)
    tied = np.concatenate([follower, lead]).astype(np.int64)
    twice = np.flatnonzero(np.bincount(np.concatenate([fixed, tied]), minlength=d) > 1)
    if len(twice):
        words = dof_words(model, int(twice[0]))
        message = f"ties: {words} is fixed or tied twice; leave one of the conditions out."
        raise InputError(message)
    offset = np.zeros(d)
    offset[fixed] = fixed_value
    place = np.full(d, -1)
    place[tied] = np.arange(len(tied))
    index = (
        np.concatenate([np.repeat(place[follower], 3), place[row]]),
        np.concatenate([columns.ravel(), col]),
    )
    weight = np.concatenate([values.ravel(), value])
    rows = sparse.coo_array((weight, index), shape=(len(tied), d)).tocsr()
    rows.eliminate_zeros()
    own = np.concatenate([np.zeros(len(follower)), constant])
    follow, own = _resolve(model, rows, tied, own)
    offset[tied] = own + follow @ offset
    gone = np.sort(np.concatenate([fixed, tied]))
    remains = np.ones(d, dtype=bool)
    remains[gone] = False
    number = np.where(remains, np.cumsum(remains) - 1, -1)
    return Elimination(number, gone, fixed, tied, follow, offset)


def _resolve(
    model: Model, rows: sparse.csr_array, tied: IntArray, own: Array
) -> tuple[sparse.csr_array, Array]:
    """Followers of followers in terms of what is not tied, and their constants."""
    hangs = sparse.csr_array(rows[:, tied])
    if not hangs.nnz:
        return rows, own
    loose = np.ones(rows.shape[1])
    loose[tied] = 0.0
    direct = sparse.csr_array(rows @ sparse.diags_array(loose))
    direct.eliminate_zeros()
    follow, constant, power = direct, own, hangs
    for _ in range(LONGEST_CHAIN):
        follow, constant = follow + power @ direct, constant + power @ own
        power = sparse.csr_array(power @ hangs)
        power.eliminate_zeros()
        if not power.nnz:
            return sparse.csr_array(follow), constant
    words = dof_words(model, int(tied[np.flatnonzero(np.diff(power.indptr))[0]]))
    message = f"ties: rigid links or equations at {words} follow each other in a circle."
    raise InputError(message)
