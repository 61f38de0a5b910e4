"""Equilibrium of the layer: Newton's method on a convex energy, with a line search.

Snow yields, interfaces slip and contacts open, all of them by convex energies, so that there is one
equilibrium and every step goes down toward it. Snow that nothing holds has no equilibrium; a weak bed takes
it, and what the bed takes is reported as force that leaves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.blanket import elements
from fea.blanket.data import Contacts, Interface, Layer, Snow, State, Structure
from fea.blanket.yielding import Response, respond
from fea.solvers.direct import Factor, factorize_upper
from fea.solvers.dissection import dissect

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

CLOSE = 1e-4  # force out of balance over the driving force, before the last step [-]
NEAR = 0.5  # of what is out of balance at a start near the answer, above which it was not near [-]
ENOUGH = 1e-3  # more than this left out of balance, and it is done again with care [-]
DAMPING = 2e-2  # of the bed, added to the tangent alone so that free snow makes no singular matrix [-]
FIRM = 1.0  # the same at the start of the last stage, where the bed lets go of most snow at once [-]
EASED, FELL = 0.5, 0.05  # damping after a whole step over that before; as the rest where that falls below [-]
LOW = 5.0  # damping over `DAMPING` of the last step, above which it is not the last [-]
# Motion over which the bed takes all the driving force, and up to which it takes none, over those of the end.
STAGES = ((0.005, 0.0), (0.015, 0.0), (0.04, 0.0), (0.1, 0.0), (0.2, 0.0), (0.4, 0.03), (1.0, 1.0))
SEARCHES = 12
FILL = 1e-15  # of the diagonal [-]


@dataclass(frozen=True)
class Problem:
    """The layer with all that holds it.

    Snow that has moved more than `reach` [m] counts as gone: a bed of stiffness `bed` per area [N/m^3]
    takes it from there on.
    """

    layer: Layer
    snow: Snow
    interface: Interface
    contacts: Contacts
    structure: Structure
    bed: float
    reach: float

    @property
    def count(self) -> int:
        """Number of unknowns."""
        return 2 * len(self.layer.node) + len(self.structure.load)


@dataclass(frozen=True)
class Pattern:
    """Places of the matrix, found once for a mesh.

    Attributes
    ----------
    indptr, indices : CSR of the upper triangle
    slot : (e,) int
        Place in the matrix of every entry, in the order of `_entries`.
    order : (f,) int
        Elimination order.
    """

    indptr: IntArray
    indices: IntArray
    slot: IntArray
    order: IntArray


@dataclass(frozen=True)
class _Look:
    """Everything at one set of motions."""

    problem: Problem
    U: Array
    response: Response
    contact_gap: Array
    slip: Array

    @cached_property
    def contact(self) -> tuple[Array, Array]:
        """Pressure and stiffness of the contacts, (k,) each."""
        c = self.problem.contacts
        elastic = c.stiffness * np.maximum(self.contact_gap, 0.0)
        return np.minimum(elastic, c.cap), np.where(
            (self.contact_gap > 0) & (elastic < c.cap), c.stiffness, 0
        )

    @cached_property
    def held(self) -> tuple[Array, Array]:
        """What the interface holds (n, 2) and its tangent xx, xy, yy (n, 3)."""
        face = self.problem.interface
        size = np.linalg.norm(self.slip, axis=1)
        safe = np.where(size > 0.0, size, 1.0)
        slips = face.stiffness * size > face.limit
        secant = np.where(slips, face.limit / safe, face.stiffness)
        along = np.where(slips, 0.0, secant)
        return secant[:, None] * self.slip, _turned(secant, along - secant, self.slip / safe[:, None])

    @cached_property
    def left(self) -> tuple[Array, Array]:
        """What the bed takes (n, 2) and its tangent xx, xy, yy (n, 3)."""
        p = self.problem
        size = np.linalg.norm(self.slip, axis=1)
        safe = np.where(size > 0.0, size, 1.0)
        spring = p.bed * p.layer.area
        # Without reach it is a spring like any other, also where nothing has moved yet.
        part = np.maximum(size - p.reach, 0.0) / safe if p.reach > 0.0 else np.ones(len(size))
        secant = spring * part
        gain = np.where(size >= p.reach, spring, 0.0) - secant
        return secant[:, None] * self.slip, _turned(secant, gain, self.slip / safe[:, None])

    @cached_property
    def residual(self) -> Array:
        """Loads less resistance, (f,). [N]."""
        p, n = self.problem, len(self.problem.layer.node)
        layer, c = p.layer, p.contacts
        inside = elements.forces(self.response.stress, layer.volume, layer.corner, layer.size, n)
        push = self.contact[0]
        for k in range(4):
            for i in range(2):
                inside[:, i] += np.bincount(c.corner[:, k], push * c.share[:, k] * c.way[:, i], n)
        inside += self.held[0] + self.left[0]
        below = p.structure.matrix @ self.U[2 * n :]
        on = c.dof >= 0
        below -= np.bincount(c.dof[on], (push * c.lever)[on], len(below))
        return np.concatenate([(layer.force - inside).ravel(), p.structure.load - below])


def make_pattern(problem: Problem) -> Pattern:
    """Pattern and elimination order of the matrix of a problem.

    Parameters
    ----------
    problem : Problem
    """
    layer, structure = problem.layer, problem.structure
    n, count = len(layer.node), problem.count
    row, col = _entries(problem)
    key = np.minimum(row, col) * count + np.maximum(row, col)
    places, slot = np.unique(key, return_inverse=True)
    indptr = np.zeros(count + 1, dtype=np.int64)
    np.add.at(indptr, places // count + 1, 1)
    pairs = [(layer.corner[:, i], layer.corner[:, j]) for i in range(4) for j in range(i + 1, 4)]
    on = problem.contacts.dof >= 0
    held = n + structure.group[problem.contacts.dof[on]]
    pairs += [(problem.contacts.corner[on, k], held) for k in range(4)]
    links = sparse.coo_array(structure.matrix)
    pairs.append((n + structure.group[links.coords[0]], n + structure.group[links.coords[1]]))
    first, second = (np.concatenate([pair[k] for pair in pairs]) for k in (0, 1))
    low, high = np.minimum(first, second), np.maximum(first, second)
    total = n + len(structure.place)
    edges = np.unique(low[low < high] * total + high[low < high])
    far = 2.0 * (np.ptp(layer.node, axis=0).max(initial=0.0) + 1.0)
    place = np.concatenate([layer.node, structure.place])
    plane = np.concatenate([layer.node_plane, structure.plane])
    xyz = np.column_stack([place, far * plane])
    rank = np.empty(total, dtype=np.int64)
    rank[dissect(xyz, edges // total, edges % total)] = np.arange(total)
    owner = np.concatenate([np.repeat(np.arange(n), 2), n + structure.group])
    order = np.argsort(rank[owner], kind="stable")
    return Pattern(np.cumsum(indptr), places % count, slot, order)


def _entries(problem: Problem) -> tuple[IntArray, IntArray]:
    """Row and column of every entry that is added up: cells, interface, contacts, structure."""
    layer, c = problem.layer, problem.contacts
    n = len(layer.node)
    own = (2 * layer.corner[:, :, None] + np.arange(2)).reshape(-1, 8)
    i, j = elements.UPPER
    node = np.arange(n)
    touch = _contact_dof(c, n)
    k, m = np.triu_indices(9)
    upper = sparse.coo_array(sparse.triu(problem.structure.matrix))
    rows = [own[:, i], np.stack([2 * node, 2 * node, 2 * node + 1], 1), touch[:, k], 2 * n + upper.coords[0]]
    cols = [own[:, j], np.stack([2 * node, 2 * node + 1, 2 * node + 1], 1), touch[:, m]]
    cols.append(2 * n + upper.coords[1])
    return (
        np.concatenate([r.ravel() for r in rows]).astype(np.int64),
        np.concatenate([r.ravel() for r in cols]).astype(np.int64),
    )


def _contact_dof(c: Contacts, n: int) -> IntArray:
    own = (2 * c.corner[:, :, None] + np.arange(2)).reshape(-1, 8)
    return np.column_stack([own, np.where(c.dof >= 0, 2 * n + c.dof, own[:, 0])])


def _contact_ways(c: Contacts) -> Array:
    """Gap per unknown, (k, 9). [-]."""
    own = (c.share[:, :, None] * c.way[:, None, :]).reshape(-1, 8)
    return np.column_stack([own, np.where(c.dof >= 0, -c.lever, 0.0)])


def _matrix(look: _Look, pattern: Pattern, damping: float) -> sparse.csr_array:
    p = look.problem
    layer = p.layer
    bed = look.held[1] + look.left[1] + (damping * p.bed * layer.area)[:, None] * np.array([1.0, 0.0, 1.0])
    ways = _contact_ways(p.contacts)
    i, j = np.triu_indices(9)
    touch = look.contact[1][:, None] * ways[:, i] * ways[:, j]
    values = [bed, touch, sparse.coo_array(sparse.triu(p.structure.matrix)).data]
    own = pattern.slot[: 36 * len(layer.corner)]
    rest = np.concatenate([v.ravel() for v in values])
    data = np.bincount(pattern.slot[len(own) :], rest, len(pattern.indices)).astype(float)
    elements.add_stiffness(look.response.tangent, layer.volume, layer.size, own.reshape(-1, 36), data)
    return sparse.csr_array((data, pattern.indices, pattern.indptr), shape=(p.count, p.count))


def _look(problem: Problem, U: Array) -> _Look:
    layer, c = problem.layer, problem.contacts
    n = len(layer.node)
    moved = U[: 2 * n].reshape(n, 2)
    strain = elements.strains(moved, layer.corner, layer.size)
    response = respond(strain, problem.snow.young, problem.snow.poisson, problem.snow.strength)
    gap = np.sum(_contact_ways(c) * U[_contact_dof(c, n)], axis=1)
    return _Look(problem, U, response, gap, moved)


def solve(
    problem: Problem, pattern: Pattern, start: Array | None = None, tell: Callable[[int], None] | None = None
) -> State:
    """Find the equilibrium.

    The bond lets go step by step: the bed holds the snow at first and gives way until it holds only snow that
    has gone. Steps of the last stage are damped as in a proximal point method (Rockafellar 1976, from
    memory), the less the nearer the end. A last linear step shifts what is still out of balance, so that
    forces balance to rounding; how much that was is `State.unsettled`.

    Parameters
    ----------
    problem : Problem
    pattern : Pattern
        Of `make_pattern`, for the same cells and contacts.
    start : (f,) float, optional
        Motions near the answer, such as those of a coarser mesh; rest by default, and where they turn out
        not to be near. [m, rad]
    tell : callable, optional
        Is told the number of steps done.

    Returns
    -------
    State
    """
    scale = float(np.abs(problem.layer.force).sum() + np.abs(problem.structure.load).sum()) or 1.0
    done, factor = 0, None
    tries = ([(WARM, start)] if start is not None else []) + [(BRISK, None), (CAREFUL, None)]
    for pace, begin in tries:
        here, factor, done = _approach(problem, pattern, begin, scale, pace, factor, (done, tell))
        if float(np.abs(here.residual).sum()) <= ENOUGH * scale:
            break
    upper = _matrix(here, pattern, DAMPING)
    factor = _first(upper, pattern) if factor is None else factor.renew(upper)
    return _state(here, factor(here.residual[:, None])[:, 0], scale, done)


@dataclass(frozen=True)
class Pace:
    """How well a stage is to be met before the bed gives way further, and in how many steps."""

    rough: float
    fewer: int
    steps: int


WARM, BRISK, CAREFUL = Pace(3e-2, 10, 10), Pace(3e-2, 10, 90), Pace(1e-3, 25, 80)


def _approach(
    problem: Problem,
    pattern: Pattern,
    start: Array | None,
    scale: float,
    pace: Pace,
    factor: Factor | None,
    count: tuple[int, Callable[[int], None] | None],
) -> tuple[_Look, Factor | None, int]:
    """Go through the stages; where that ends, the last factor, and the number of steps."""
    U = np.zeros(problem.count) if start is None else start
    stages = STAGES if start is None else STAGES[-1:]
    here, (done, tell) = _look(problem, U), count
    at_first = float(np.abs(here.residual).sum())
    for number, (soft, reach) in enumerate(stages):
        last = number == len(stages) - 1
        stage = replace(problem, bed=problem.bed / soft, reach=problem.reach * reach)
        here, damping = _look(stage, U), FIRM if last and start is None else DAMPING
        used = DAMPING
        for _ in range(pace.steps if last else pace.fewer):
            out = float(np.abs(here.residual).sum())
            if out <= (CLOSE if last else pace.rough) * scale and used <= LOW * DAMPING:
                break
            upper, used = _matrix(here, pattern, damping), damping
            factor = _first(upper, pattern) if factor is None else factor.renew(upper)
            here, taken = _search(here, factor(here.residual[:, None])[:, 0])
            if taken >= 1.0:
                fell = float(np.abs(here.residual).sum()) / max(out, 1e-300)
                damping = max((fell if fell < FELL else EASED) * damping, DAMPING)
            done += 1
            if tell is not None:
                tell(done)
            if start is not None and float(np.abs(here.residual).sum()) > NEAR * at_first:
                return here, factor, done
        U = here.U
    return here, factor, done


def _first(upper: sparse.csr_array, pattern: Pattern) -> Factor:
    """Factor of a matrix with every place of the pattern taken, so that later ones fit into it.

    Places that are zero by chance get what is rounding beside the diagonal.
    """
    root = np.sqrt(upper.diagonal())
    row = np.repeat(np.arange(upper.shape[0]), np.diff(upper.indptr))
    least = FILL * root[row] * root[upper.indices]
    data = np.where(np.abs(upper.data) < least, least, upper.data)
    full = sparse.csr_array((data, upper.indices, upper.indptr), shape=upper.shape)
    return factorize_upper(full, order=pattern.order).renew(upper)


def _search(here: _Look, step: Array) -> tuple[_Look, float]:
    """The point along a step where the energy has nearly stopped to fall, and the part of the step taken."""
    slope = float(np.sum(here.residual * step))  # BLAS would wake its threads for this
    low, low_slope, high, high_slope = 0.0, slope, np.inf, 0.0
    t, best = 1.0, here
    for _ in range(SEARCHES):
        best = _look(here.problem, here.U + t * step)
        now = float(np.sum(best.residual * step))
        if abs(now) <= 0.3 * abs(slope):
            break
        if now > 0.0:
            low, low_slope = t, now
            if not np.isfinite(high):
                break  # still falling after a whole step: take it
        else:
            high, high_slope = t, now
        share = low_slope / max(low_slope - high_slope, 1e-300)
        t = low + (high - low) * min(max(share, 0.05), 0.95)
    return best, t


def _state(look: _Look, step: Array, scale: float, steps: int) -> State:
    """Forces of a look and of a last linear step from it."""
    p = look.problem
    layer, n = p.layer, len(p.layer.node)
    moved, structure = look.slip + step[: 2 * n].reshape(n, 2), look.U[2 * n :] + step[2 * n :]
    near = step[: 2 * n].reshape(n, 2)
    strain = elements.strains(near, layer.corner, layer.size)
    t = look.response.tangent
    rows = np.stack([t[..., [0, 1, 2]], t[..., [1, 3, 4]], t[..., [2, 4, 5]]], axis=-2)
    stress = look.response.stress + np.einsum("mkij,mkj->mki", rows, strain)
    gap = np.sum(_contact_ways(p.contacts) * step[_contact_dof(p.contacts, n)], axis=1)
    push = look.contact[0] + look.contact[1] * gap
    held = look.held[0] + _times(look.held[1], near)
    left = look.left[0] + _times(look.left[1], near) + DAMPING * p.bed * layer.area[:, None] * near
    shut = np.maximum(look.contact_gap, 0.0)
    slipped, size = np.linalg.norm(look.held[0], axis=1), np.linalg.norm(look.slip, axis=1)
    springs = p.interface.stiffness
    energy = np.array(
        [
            look.response.energy.sum(axis=1) @ layer.volume,
            np.sum(slipped * size - 0.5 * slipped**2 / np.where(springs > 0.0, springs, 1.0)),
            np.sum(look.contact[0] * shut - 0.5 * look.contact[0] ** 2 / p.contacts.stiffness)
            + 0.5 * look.U[2 * n :] @ (p.structure.matrix @ look.U[2 * n :]),
            0.5 * np.sum(look.left[0] ** 2 / np.maximum(p.bed * layer.area, 1e-300)[:, None]),
        ]
    )
    return State(
        moved=moved,
        structure=structure,
        stress=stress,
        yielding=look.response.yielding,
        held=held,
        contact=push,
        left=left,
        energy=energy,
        work=float(np.sum(layer.force * look.slip) + p.structure.load @ look.U[2 * n :]),
        unsettled=float(np.abs(look.residual).sum()) / scale,
        steps=steps,
    )


def _turned(across: Array, more: Array, way: Array) -> Array:
    """Tangents xx, xy, yy (n, 3) of a stiffness across directions (n, 2) and `more` along them."""
    x, y = way.T
    return np.stack([across + more * x**2, more * x * y, across + more * y**2], axis=1)


def _times(tangent: Array, moved: Array) -> Array:
    """Products of symmetric matrices xx, xy, yy (n, 3) with (n, 2)."""
    x, y = moved.T
    return np.stack([tangent[:, 0] * x + tangent[:, 1] * y, tangent[:, 1] * x + tangent[:, 2] * y], axis=1)
