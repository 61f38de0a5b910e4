"""Panel strips condensed one by one, and joined side by side.

Every kind of strip is condensed once, by a Schur complement, onto its clamps, its two cuts in the middle of
the pans, and the points where the bar to its fixed point takes hold; the bar then costs little, so strips
that differ only in length share all the work. Neighbors are joined at their common cut, equal groups only
once. What is condensed is exact: no shape is assumed on the cuts.

Source: static condensation and substructures: Przemieniecki, Theory of Matrix Structural Analysis, ch. 9
(from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from fea.model.assembly import System, build_system
from fea.model.data import Model, node_dof
from fea.panel.model import PanelField, contacts_as_springs, fixed_place, sheet_area
from fea.solvers.direct import Factor, factorize_upper

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Loads = Callable[[Model], Array]
Kept = TypeVar("Kept", np.float64, np.int64)

BLOCK = 64  # columns condensed together
BAR = "fixed point"


@dataclass(frozen=True)
class Kind:
    """A strip condensed without the bar to its fixed point.

    Attributes
    ----------
    field : PanelField
        With bearing and clips as springs.
    system : System
    lines : (l,) int
        Lines of the common mesh that it has.
    kept : (b,) int
        Unknowns that remain: left cut, right cut, clamps, then the bar's points off the cuts.
    inner : (i,) int
    factor : Factor
        Of the inner unknowns.
    across : sparse (i, b)
        Stiffness between inner and kept unknowns.
    stiffness : (b, b) float
        Condensed.
    push : (b, q) float
        Condensed loads. [N, N m]
    inner_load : (i, q) float
    bar_at : (k,) int
        Places in `kept` on which the bar acts.
    bar_share : (k,) float
        Area of sheet behind each. [m^2]
    """

    field: PanelField
    system: System
    lines: IntArray
    kept: IntArray
    inner: IntArray
    factor: Factor
    across: sparse.csr_array
    stiffness: Array
    push: Array
    inner_load: Array
    bar_at: IntArray
    bar_share: Array


@dataclass(frozen=True)
class Group:
    """Strips beside each other, seen from their outer cuts and their clamps.

    Attributes
    ----------
    left, right : (l,), (r,) int
        Lines of the common mesh on the outer cuts.
    stiffness : (b, b) float
        Unknowns: left cut, right cut, clamps from left to right, six for every node.
    push : (b, q) float
        Loads on them. [N, N m]
    recover : (m, b) float
        Unknowns that were eliminated last, for those that remain.
    settle : (m, q) float
        The same for the loads while the others rest.
    parts : pair of Group, the one Kind, or None
        What it is made of; None for a gap.
    order : IntArray
        Lines of the cut between two parts.
    """

    left: IntArray
    right: IntArray
    stiffness: Array
    push: Array
    recover: Array
    settle: Array
    parts: tuple[Group, Group] | Kind | None
    order: IntArray

    @property
    def clamps(self) -> int:
        """Number of clamps."""
        return len(self.stiffness) // 6 - len(self.left) - len(self.right)


def held_contacts(model: Model, held: Mapping[str, bool]) -> Model:
    """The model with one-way contacts as springs both ways.

    Parameters
    ----------
    model : Model
    held : mapping of str to bool
        Whether the contacts of a group act, by its name; those not named act.

    Returns
    -------
    Model
        Without contacts.
    """
    acts = [np.full(len(c.node), held.get(c.name, True)) for c in model.contacts]
    return contacts_as_springs(model, np.concatenate(acts) if acts else np.zeros(0, dtype=bool))


def condense_kind(
    field: PanelField,
    lines: IntArray,
    held: Mapping[str, bool],
    loads: Loads | None,
    bar_stiffness: float | None,
) -> Kind:
    """Condense one strip.

    Parameters
    ----------
    field : PanelField
        The strip by itself.
    lines : (l,) int
        Lines of the common mesh that it has.
    held : mapping of str to bool
        Contacts that act, by name.
    loads : callable, optional
    bar_stiffness : float, optional
        Of bar and fixed point per area of sheet, when it takes hold within the grip of a clamp; else the bar
        is left out, to be added by `single_group`. [N/m^3]
    """
    bar = next(s for s in field.model.springs if s.name == BAR)
    springs = [s for s in field.model.springs if s.name != BAR]
    if bar_stiffness is not None:
        _, area = fixed_points(field)
        whole = np.zeros_like(bar.stiffness)
        whole[:, 0, 0] = bar_stiffness * area
        springs.append(replace(bar, stiffness=whole))
    model = held_contacts(replace(field.model, springs=tuple(springs)), held)
    system = build_system(model)
    number = system.ties.number
    all_lines = np.arange(len(field.mesh.x))
    cuts = (field.width * all_lines + np.array([[0], [field.width - 1]])).ravel()
    own = number[np.concatenate([_six(cuts), _six(field.clamp_node)])]
    _, points = fixed_points(field)
    bar_dof = number[6 * bar.node[:, 0]]
    use = np.full(len(bar_dof), bar_stiffness is None)
    kept = np.concatenate([own, np.setdiff1d(bar_dof[use], own)])
    place = np.full(system.ties.count, -1)
    place[kept] = np.arange(len(kept))
    inner = np.flatnonzero(place < 0)
    K = system.matrix
    rows = K[inner]
    across = sparse.csr_array(rows[:, kept])
    factor = factorize_upper(sparse.csr_array(system.upper[inner][:, inner]))
    F = np.zeros((model.dof_count, 0)) if loads is None else loads(model)
    force = system.gather(F)
    S = _schur(K[kept][:, kept].toarray(), across, factor, 6 * len(all_lines))
    push = force[kept] - across.T @ factor(force[inner])
    return Kind(
        field=replace(field, model=model),
        system=system,
        lines=lines,
        kept=kept,
        inner=inner,
        factor=factor,
        across=across,
        stiffness=S,
        push=push,
        inner_load=force[inner],
        bar_at=place[bar_dof[use]],
        bar_share=points[use],
    )


def _schur(S: Array, across: sparse.csr_array, factor: Factor, cut: int) -> Array:
    """Schur complement (b, b) in place of the kept part; a strip is its own mirror image.

    So the columns of the right cut follow from those of the left one; each has `cut` unknowns.
    """
    columns, right = across.tocsc(), slice(cut, 2 * cut)
    solved = np.concatenate([np.arange(cut), np.arange(2 * cut, len(S))])
    for first in range(0, len(solved), BLOCK):
        part = solved[first : first + BLOCK]
        S[:, part] -= across.T @ factor.backsolve(columns[:, part].toarray())
    sign = np.tile([1.0, -1.0, 1.0, -1.0, 1.0, -1.0], cut // 6)
    S[right, right] = S[:cut, :cut] * sign * sign[:, None]
    S[:cut, right] = S[right, :cut].T
    S[2 * cut :, right] = S[right, 2 * cut :].T
    return np.asarray(0.5 * (S + S.T))


def fixed_points(field: PanelField) -> tuple[int, Array]:
    """Line on which the bar takes hold, and the area of sheet behind each of its points, (s,). [m^2]."""
    bar = next(s for s in field.model.springs if s.name == BAR)
    stiffness = bar.stiffness[:, 0, 0]
    return fixed_place(field)[0], stiffness / stiffness.sum() * sheet_area(field)


def single_group(kind: Kind, bar: float) -> Group:
    """One strip with the bar to its fixed point, seen from cuts and clamps."""
    K = kind.stiffness.copy()
    K[kind.bar_at, kind.bar_at] += bar * kind.bar_share
    keep = 6 * (2 * len(kind.lines) + len(kind.field.clamp_node))
    stay, gone = np.arange(keep), np.arange(keep, len(K))
    S, push, recover, settle = reduce_to(K, kind.push, stay, gone)
    return Group(kind.lines, kind.lines, S, push, recover, settle, kind, kind.lines[:0])


def gap_group(loads: int) -> Group:
    """A strip that is not there: the cuts of its neighbors are free."""
    line, square, push = np.zeros(0, dtype=np.int64), np.zeros((0, 0)), np.zeros((0, loads))
    return Group(line, line, square, push, square, push, None, line)


def reduce_to(K: Array, F: Array, stay: IntArray, gone: IntArray) -> tuple[Array, Array, Array, Array]:
    """Schur complement: stiffness and loads on what stays; the eliminated for those and for the loads."""
    if not len(gone):
        return K[np.ix_(stay, stay)], F[stay], np.zeros((0, len(stay))), np.zeros((0, F.shape[1]))
    side = K[np.ix_(gone, stay)]
    factor = linalg.cho_factor(K[np.ix_(gone, gone)], lower=True, check_finite=False)
    recover = -linalg.cho_solve(factor, side, check_finite=False)
    settle = linalg.cho_solve(factor, F[gone], check_finite=False)
    S = K[np.ix_(stay, stay)] + side.T @ recover
    return 0.5 * (S + S.T), F[stay] + recover.T @ F[gone], recover, settle


def join(a: Group, b: Group) -> Group:
    """Two groups side by side, joined at their common cut; lines that only one of them has stay free.

    Parameters
    ----------
    a, b : Group
        Left and right one.

    Returns
    -------
    Group
    """
    order = np.union1d(a.right, b.left)
    la, ca = 6 * len(a.left), 6 * a.clamps
    rb, cb = 6 * len(b.right), 6 * b.clamps
    stay = la + rb + ca + cb
    middle = stay + np.arange(6 * len(order), dtype=np.int64)
    place_a = np.concatenate([
        np.arange(la), pick(middle, order, a.right), la + rb + np.arange(ca)
    ])  # fmt: skip
    place_b = np.concatenate([
        pick(middle, order, b.left), la + np.arange(rb), la + rb + ca + np.arange(cb)
    ])  # fmt: skip
    K = np.zeros((stay + len(middle),) * 2)
    F = np.zeros((len(K), a.push.shape[1]))
    for group, place in ((a, place_a), (b, place_b)):
        K[np.ix_(place, place)] += group.stiffness
        F[place] += group.push
    S, push, recover, settle = reduce_to(K, F, np.arange(stay), middle)
    return Group(a.left, b.right, S, push, recover, settle, (a, b), order)


def group_of(keys: tuple[int, ...], known: dict[tuple[int, ...], Group]) -> Group:
    """Group of a sequence of strips, equal sequences joined only once."""
    if keys not in known:
        change = np.flatnonzero(np.diff(keys)) + 1
        if len(change):
            half = int(change[np.abs(change - 0.5 * len(keys)).argmin()])
        else:
            half = 1 << (len(keys) - 1).bit_length() - 1
        known[keys] = join(group_of(keys[:half], known), group_of(keys[half:], known))
    return known[keys]


def strip_count(group: Group) -> int:
    """Number of strips in a group."""
    return strip_count(group.parts[0]) + strip_count(group.parts[1]) if isinstance(group.parts, tuple) else 1


def _six(places: IntArray) -> IntArray:
    return np.asarray(node_dof(places)).ravel()


def pick(values: NDArray[Kept], order: IntArray, lines: IntArray) -> NDArray[Kept]:
    """Entries of some lines among those of ordered lines, six each."""
    return values[_six(np.searchsorted(order, lines))]
