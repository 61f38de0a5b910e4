"""One-way contacts and links on a large sparse structure, by active sets.

The answer is the minimum of a convex energy, quadratic in pieces: 1/2 u' K u - F' u plus
1/2 k max(0, stretch - gap)^2 of every link. Each piece is one set of closed links, its minimum one linear
solution. Sets follow each other by Newton's method; when one comes back, or is a mechanism, steps are cut to
the exact minimum along their direction, so that the energy falls with every step and no set can lead in a
circle.

Sources: Sun, Mathematical Programming 76 (1997) 451, for finite termination (from memory); Sherman, Morrison
and Woodbury for few changes of the set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.model.assembly import System
from fea.model.data import GROUND, Contacts
from fea.solvers.active_set import ActiveSet, ContactError
from fea.solvers.direct import Solver, times_upper
from fea.solvers.proof import LinkProof
from roofmodel.errors import InputError

__all__ = [
    "ContactEquations",
    "ContactError",
    "ContactSolution",
    "OneWayLinks",
    "as_links",
    "contact_equations",
    "solve_cases",
    "solve_closed",
    "solve_contact",
    "solve_one_way",
]

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ROUNDS = 200  # sets tried before giving up
NEARBY = 15  # sets tried from a start that was given, before it is given up
TIE = 1e-12  # force of a link, as a share of the largest load, at which open and closed are the same
ACCEPTED = 1e-6  # largest miss of an answer that is still one


@dataclass(frozen=True)
class OneWayLinks:
    """Links that hold in one sense only, such as clips with an uplift gap.

    Attributes
    ----------
    name : str
    node : (m, 2) int
        The second may be `GROUND`.
    direction : (m, 3) float
        Unit direction in which the first node moves away from the second when the link takes hold. The force
        on the first node points against it.
    stiffness : (m,) float
        [N/m]
    gap : (m,) float
        Movement before the link takes hold. [m]
    """

    name: str
    node: IntArray
    direction: Array
    stiffness: Array
    gap: Array


@dataclass(frozen=True)
class ContactSolution:
    """Response of a structure with one-way links to q load cases.

    Attributes
    ----------
    displacement : (d, q) float
        [m, rad]
    force : (c, q) float
        Of the links, 0 or more, groups one after another. [N]
    closed : (c, q) bool
    reaction : (d, q) float
        Forces of the supports on the structure, without the links. [N, N m]
    link_load : (d, q) float
        Forces of the links on the structure. [N]
    rounds : (q,) int
        Linear solutions.
    factorizations : int
        For all cases together.
    notes : tuple of str
        Cases whose sets came back or that passed a mechanism on the way.
    proof : tuple of LinkProof, (q,)
    """

    displacement: Array
    force: Array
    closed: BoolArray
    reaction: Array
    link_load: Array
    rounds: IntArray
    factorizations: int
    notes: tuple[str, ...]
    proof: tuple[LinkProof, ...]


@dataclass(frozen=True)
class OneWay:
    """Response of equations with one-way links: unknowns (f, q), the rest as in `ContactSolution`."""

    unknown: Array
    force: Array
    rounds: IntArray
    factorizations: int
    notes: tuple[str, ...]
    proof: tuple[LinkProof, ...]


def as_links(contacts: Contacts | OneWayLinks) -> OneWayLinks:
    """Contacts as links from their nodes to the ground."""
    if isinstance(contacts, OneWayLinks):
        return contacts
    node = np.stack([contacts.node, np.full(len(contacts.node), GROUND)], axis=1)
    return OneWayLinks(contacts.name, node, -contacts.normal, contacts.stiffness, contacts.gap)


def _check(link: OneWayLinks, nodes: int) -> None:
    m, name = len(link.node), link.name
    if link.node.shape != (m, 2) or link.direction.shape != (m, 3) or len(link.stiffness) != m:
        message = f'contacts "{name}": nodes, directions and stiffnesses differ in number.'
        raise InputError(message)
    unit = np.abs(np.linalg.norm(link.direction, axis=1) - 1.0) < 1e-6
    real = (link.node[:, 0] >= 0) & (link.node < nodes).all(axis=1) & (link.node[:, 1] >= GROUND)
    stiff = np.isfinite(link.stiffness) & (link.stiffness > 0.0)
    for good, words in (
        (unit, "direction must have length 1"),
        (real, f"node must lie between 0 and {nodes - 1}"),
        (stiff, "stiffness must be a positive number"),
        (np.isfinite(link.gap), "gap must be a number"),
    ):
        if not good.all():
            message = f'contacts "{name}": link {int(np.argmin(good))}: {words}.'
            raise InputError(message)


def stretch_matrix(links: Sequence[OneWayLinks], dof_count: int) -> sparse.csr_array:
    """Stretch of all links for displacements, (c, d)."""
    node = np.concatenate([link.node for link in links])
    way = np.concatenate([link.direction for link in links])
    row, end = np.nonzero(node != GROUND)
    col = 6 * node[row, end][:, None] + np.arange(3)
    value = np.where(end == 0, 1.0, -1.0)[:, None] * way[row]
    index = (np.repeat(row, 3), col.ravel())
    matrix = sparse.coo_array((value.ravel(), index), shape=(len(node), dof_count)).tocsr()
    matrix.eliminate_zeros()
    return matrix


def _line_search(slope: float, curve: float, k: Array, s: Array, ds: Array) -> float:
    """Minimum along a direction: root of slope + t curve + sum k max(0, s + t ds) ds; inf for none."""
    closed = s > 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        at = np.where(ds != 0.0, -s / ds, np.inf)
    meets = np.flatnonzero((at > 0.0) & np.isfinite(at))
    meets = meets[np.argsort(at[meets], kind="stable")]
    enters = np.where(ds[meets] > 0.0, 1.0, -1.0)
    low, rise = k * s * ds, k * ds**2
    start = slope + low[closed].sum() + np.concatenate([[0.0], np.cumsum(enters * low[meets])])
    rate = curve + rise[closed].sum() + np.concatenate([[0.0], np.cumsum(enters * rise[meets])])
    end = np.append(at[meets], np.inf)
    tiny = 1e-13 * (curve + rise.sum())
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.where(rate > tiny, -start / rate, np.where(start >= 0.0, 0.0, np.inf))
    inside = np.flatnonzero(root <= end)
    return float(max(root[inside[0]], 0.0)) if len(inside) else np.inf


@dataclass(frozen=True)
class _Answer:
    """Unknowns and the set of links with which they were solved for."""

    u: Array
    closed: BoolArray
    rounds: int
    note: str


def _from(sets: ActiveSet, F: Array, first: BoolArray) -> _Answer | None:
    """As `_minimize` from a set of closed links on; None where Newton's steps alone do not get there soon."""
    closed = first
    for rounds in range(1, NEARBY + 1):
        u = sets.solve(closed, F)
        if u is None:
            return None
        now, settled = _judged(sets, u, closed, F)
        if settled:
            return _Answer(u, closed, rounds, "")
        closed = now
    return None


def _judged(sets: ActiveSet, u: Array, closed: BoolArray, F: Array) -> tuple[BoolArray, bool]:
    """Which links are stretched at u, and whether these are the closed ones but for ties."""
    size = (
        float(np.abs(F).max(initial=0.0)) + float((sets.stiffness * np.abs(sets.gap)).max(initial=0.0)) * 1e-6
    )
    s = sets.B @ u - sets.gap
    now = s > 0.0
    near = sets.stiffness * np.abs(s) <= TIE * size
    return now, bool(((now == closed) | near).all())


def _minimize(sets: ActiveSet, F: Array, first: BoolArray | None) -> _Answer:
    """Unknowns (f,) of least energy for loads (f,), from a set of closed links on or from all."""
    answer = None if first is None else _from(sets, F, first)
    if answer is not None:
        return answer
    B, k, gap = sets.B, sets.stiffness, sets.gap
    closed = np.ones(len(k), dtype=bool)
    u = np.zeros(len(F))
    seen: set[bytes] = set()
    note, guarded = "", False
    for rounds in range(1, ROUNDS + 1):
        key = np.packbits(closed).tobytes()
        if key in seen and not guarded:
            guarded, note = True, "a set of closed links came back; steps were cut to the least energy"
        seen.add(key)
        full = sets.solve(closed, F)
        if full is None:
            guarded, note = True, "it passed a mechanism, held by no link, on the way"
            Ku = times_upper(sets.upper, u[:, None])[:, 0]
            target = u + sets.soft_step(closed, F - Ku - sets.push(u))
        else:
            target = full
        s = B @ target - gap
        if full is not None and _judged(sets, target, closed, F)[1]:
            return _Answer(target, closed, rounds, note)
        if guarded:
            d = target - u
            Kd = times_upper(sets.upper, d[:, None])[:, 0]
            slope = float(d @ (times_upper(sets.upper, u[:, None])[:, 0] - F))
            t = _line_search(slope, float(d @ Kd), k, B @ u - gap, B @ d)
            if not np.isfinite(t):
                message = "the structure lifts off its contacts: nothing holds it against these loads"
                raise ContactError(message)
            target = u + t * d
            s = B @ target - gap
        u, closed = target, s > 0.0
    message = f"contacts: no set of closed links was found in {ROUNDS} rounds"
    raise ContactError(message)


def _prove(sets: ActiveSet, answer: _Answer, F: Array) -> tuple[Array, LinkProof]:
    """Link forces by their law, and how well those of the linear solution and its set agree with it.

    In the linear solution the links of the set are springs both ways and the others are not there. It is the
    answer only if none of the set pulls, none of the others is stretched, and it is in equilibrium.
    """
    s = sets.B @ answer.u - sets.gap
    force = np.where(answer.closed, sets.stiffness * s, 0.0)
    by_law = sets.stiffness * np.maximum(s, 0.0)
    size = max(float(np.abs(by_law).max(initial=0.0)), float(np.abs(F).max(initial=0.0))) or 1.0
    room = force - sets.stiffness * s
    Ku = times_upper(sets.upper, answer.u[:, None])[:, 0]

    def share(value: Array) -> float:
        return float(value.max(initial=0.0)) / size

    return by_law, LinkProof(
        tension=share(-force),
        penetration=share(-room),
        excess=0.0,
        complementarity=share(np.abs(np.minimum(force, room))),
        law=share(np.abs(force - by_law)),
        residual=share(np.abs(Ku + sets.B.T @ force - F)),
    )


def solve_one_way(
    upper: sparse.csr_array,
    B: sparse.csr_array,
    stiffness: Array,
    gap: Array,
    F: Array,
    *,
    solver: Solver = Solver.AUTO,
) -> OneWay:
    """Solve equations with one-way links for every load case by itself.

    Parameters
    ----------
    upper : sparse (f, f)
        Upper triangle of the stiffness without the links, CSR; it may float.
    B : sparse (c, f)
        Stretch of the links for unknowns, CSR.
    stiffness, gap : (c,) float
        [N/m, m]
    F : (f, q) float
        [N]
    solver : Solver

    Returns
    -------
    OneWay

    Raises
    ------
    SingularError
        The structure floats though every link is closed.
    ContactError
        It lifts off, or no equilibrium was found.
    """
    sets = ActiveSet(upper, B, stiffness, gap, solver)
    sets.start()
    return _solve_cases(sets, F, [None] * F.shape[1])


def _solve_cases(
    sets: ActiveSet, F: Array, first: Sequence[BoolArray | None], follow: bool = False
) -> OneWay:
    answers: list[_Answer] = []
    proved = []
    for case, (column, own) in enumerate(zip(F.T, first, strict=True)):
        start = answers[-1].closed if own is None and follow and answers else own
        try:
            answers.append(_minimize(sets, column, start))
        except ContactError as error:
            message = f"load case {case}: {error}"
            raise ContactError(message) from error
        proved.append(_prove(sets, answers[-1], column))
        miss = proved[-1][1].worst
        if not miss <= ACCEPTED:
            message = f"load case {case}: the answer misses equilibrium or contact by {miss:.1e} of its load"
            raise ContactError(message)
    return OneWay(
        unknown=np.stack([a.u for a in answers], axis=1) if answers else np.zeros(F.shape),
        force=np.stack([f for f, _ in proved], axis=1) if proved else np.zeros((len(sets.gap), 0)),
        rounds=np.array([a.rounds for a in answers], dtype=np.int64),
        factorizations=sets.factorizations,
        notes=tuple(f"load case {i}: {a.note}" for i, a in enumerate(answers) if a.note),
        proof=tuple(p for _, p in proved),
    )


@dataclass(frozen=True)
class ContactEquations:
    """A structure with its one-way links, factorized with all of them closed.

    Attributes
    ----------
    system : System
    stretch : sparse (c, d)
        Of the links, groups one after another, for displacements.
    sets : ActiveSet
    """

    system: System
    stretch: sparse.csr_array
    sets: ActiveSet


def contact_equations(
    system: System, contacts: Sequence[Contacts | OneWayLinks], solver: Solver = Solver.AUTO
) -> ContactEquations:
    """A structure with its one-way links, to be solved many times; parameters as in `solve_contact`.

    Raises
    ------
    InputError
        A contact that is none.
    SingularError
        The structure floats though every contact is closed.
    """
    links = [as_links(c) for c in contacts]
    for link in links:
        _check(link, len(system.model.xyz))
    if not links:
        links = [OneWayLinks("none", np.zeros((0, 2), int), np.zeros((0, 3)), np.zeros(0), np.zeros(0))]
    G = stretch_matrix(links, system.model.dof_count)
    gap = np.concatenate([link.gap for link in links]) - G @ system.offset
    stiffness = np.concatenate([link.stiffness for link in links])
    sets = ActiveSet(system.upper, sparse.csr_array(G @ system.transform), stiffness, gap, solver)
    sets.start()
    return ContactEquations(system, G, sets)


def solve_contact(
    system: System,
    contacts: Sequence[Contacts | OneWayLinks],
    F: Array,
    *,
    solver: Solver = Solver.AUTO,
) -> ContactSolution:
    """Solve a structure on one-way contacts and links for every load case by itself.

    Parameters
    ----------
    system : System
        Of the model without its contacts; it may float without them.
    contacts : sequence of Contacts or OneWayLinks
        Such as `model.contacts`.
    F : (d,) or (d, q) float
        [N, N m]
    solver : Solver

    Returns
    -------
    ContactSolution

    Raises
    ------
    InputError
        A contact that is none.
    SingularError
        The structure floats though every contact is closed.
    ContactError
        It lifts off its contacts, or no equilibrium was found.
    """
    loads = np.asarray(F, dtype=float)
    loads = loads[:, None] if loads.ndim == 1 else loads
    return solve_cases(contact_equations(system, contacts, solver), loads)


def solve_cases(
    equations: ContactEquations,
    F: Array,
    first: Sequence[BoolArray | None] | None = None,
    *,
    follow: bool = False,
) -> ContactSolution:
    """Solve prepared equations for every load case by itself.

    Parameters
    ----------
    equations : ContactEquations
    F : (d, q) float
        [N, N m]
    first : sequence of (c,) bool or None, (q,), optional
        Closed links from which the search of each case starts. The answer is the same from everywhere, and
        found sooner from close by.
    follow : bool
        Whether a case without such a set starts from the one before, instead of from all links closed.

    Returns
    -------
    ContactSolution

    Raises
    ------
    InputError
        Loads of another size.
    ContactError
        The structure lifts off its contacts, or no equilibrium was found.
    """
    system, G = equations.system, equations.stretch
    if F.shape[0] != system.model.dof_count:
        message = (
            f"contacts: loads have {F.shape[0]} rows; "
            f"the model has {system.model.dof_count} degrees of freedom."
        )
        raise InputError(message)
    one_way = _solve_cases(
        equations.sets, system.gather(F), [None] * F.shape[1] if first is None else first, follow
    )
    u, push = system.expand(one_way.unknown), -np.asarray(G.T @ one_way.force)
    return ContactSolution(
        displacement=u,
        force=one_way.force,
        closed=one_way.force > 0.0,
        reaction=system.tie_forces(u, F + push)[0],
        link_load=push,
        rounds=one_way.rounds,
        factorizations=one_way.factorizations,
        notes=one_way.notes,
        proof=one_way.proof,
    )


def solve_closed(equations: ContactEquations, closed: BoolArray, F: Array) -> Array:
    """Movement (d, q) for loads (d, q) with a set of links (c,) as springs both ways, gaps left out.

    Raises
    ------
    SingularError
        The set is a mechanism.
    """
    system = equations.system
    q = equations.sets.two_way(closed, system.gather(F))
    return np.asarray(system.transform @ q)
