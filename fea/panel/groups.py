"""Panel strips condensed one by one, and joined side by side.

Every kind of strip is condensed once, by a Schur complement, onto its clamps, its two cuts in the middle of
the pans, and the points where the bar to its fixed point takes hold; the bar then costs little, so strips
that differ only in length share all the work. Neighbors are joined at their common cut, equal groups only
once. What is condensed is exact: no shape is assumed on the cuts.

Source: static condensation and substructures: Przemieniecki, Theory of Matrix Structural Analysis, ch. 9
(from memory).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from fea.model.assembly import System, build_system
from fea.model.data import Model, node_dof
from fea.panel.hanging import hung
from fea.panel.mirror import mirrored_schur
from fea.panel.model import PanelField, contacts_as_springs, fixed_place, sheet_area
from fea.solvers.condensation import Schur, condense_matrix

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Loads = Callable[[Model], Array]
Tell = Callable[[str], None]  # is told in words how far the work has come
Kept = TypeVar("Kept", np.float64, np.int64)

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
    stiffness : (b, b) float
        Condensed.
    load : (f, q) float
        On all unknowns. [N, N m]
    bar_at : (k,) int
        Places in `kept` on which the bar acts.
    bar_share : (k,) float
        Area of sheet behind each. [m^2]
    """

    field: PanelField
    system: System
    lines: IntArray
    kept: IntArray
    stiffness: Array
    load: Array
    bar_at: IntArray
    bar_share: Array

    @cached_property
    def schur(self) -> Schur:
        """The same with what is inside, for its loads and movements."""
        return condense_matrix(self.system.upper, self.kept, order=self.system.order)

    @property
    def push(self) -> Array:
        """Condensed loads (b, q). [N, N m]."""
        return self.schur.load(self.load) if self.load.shape[1] else np.zeros((len(self.kept), 0))


@dataclass(frozen=True)
class Eliminated:
    """Unknowns that were eliminated: factor L (m, m), coupling L^-1 K (m, b) and loads L^-1 F (m, q)."""

    factor: Array
    half: Array
    load: Array

    def moved(self, u: Array, factors: Array) -> Array:
        """Their displacements (m,) for those that remain (b,) and factors (q,) on the loads."""
        lost = self.load @ factors - self.half @ u
        return (
            np.asarray(linalg.solve_triangular(self.factor, lost, lower=True, trans=1)) if len(lost) else lost
        )


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
    gone : Eliminated
        Unknowns that were eliminated last.
    parts : pair of Group, the one Kind, or None
        What it is made of; None for a gap.
    order : IntArray
        Lines of the cut between two parts.
    """

    left: IntArray
    right: IntArray
    stiffness: Array
    push: Array
    gone: Eliminated
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
    common: IntArray,
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
    common : (l,) int
        Its lines that stand for them; the others hang on these where they meet a cut.
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
    model = held_contacts(replace(hung(field, common), springs=tuple(springs)), held)
    system = build_system(model)
    number = system.ties.number
    cuts = (field.width * common + np.array([[0], [field.width - 1]])).ravel()
    own = number[np.concatenate([_six(cuts), _six(field.clamp_node)])]
    _, points = fixed_points(field)
    bar_dof = number[6 * bar.node[:, 0]]
    use = np.full(len(bar_dof), bar_stiffness is None)
    kept = np.concatenate([own, np.setdiff1d(bar_dof[use], own)])
    place = np.full(system.ties.count, -1)
    place[kept] = np.arange(len(kept))
    F = np.zeros((model.dof_count, 0)) if loads is None else loads(model)
    return Kind(
        field=replace(field, model=model),
        system=system,
        lines=lines,
        kept=kept,
        stiffness=mirrored_schur(field, system, kept),
        load=system.gather(F),
        bar_at=place[bar_dof[use]],
        bar_share=points[use],
    )


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
    F = kind.push
    S, push, gone = eliminate(K[:keep, :keep], K[keep:, :keep], K[keep:, keep:], F[:keep], F[keep:])
    return Group(kind.lines, kind.lines, S, push, gone, kind, kind.lines[:0])


def gap_group(loads: int) -> Group:
    """A strip that is not there: the cuts of its neighbors are free."""
    line, square, push = np.zeros(0, dtype=np.int64), np.zeros((0, 0)), np.zeros((0, loads))
    return Group(line, line, square, push, Eliminated(square, square, push), None, line)


def eliminate(
    stay: Array, side: Array, gone: Array, push: Array, load: Array
) -> tuple[Array, Array, Eliminated]:
    """Stiffness (b, b) and loads (b, q) of what stays, without what goes.

    Parameters
    ----------
    stay, side, gone : (b, b), (m, b), (m, m) float
        Blocks of the stiffness.
    push, load : (b, q), (m, q) float
        Loads on what stays and on what goes.
    """
    if not len(gone):
        return stay, push, Eliminated(gone, side, load)
    factor = linalg.cholesky(gone, lower=True, check_finite=False)
    half, own = (
        linalg.solve_triangular(factor, x, lower=True, check_finite=False) if x.shape[1] else x
        for x in (side, load)
    )
    return stay - half.T @ half, push - half.T @ own, Eliminated(factor, half, own)


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
    la, ra, lb, rb = (6 * len(lines) for lines in (a.left, a.right, b.left, b.right))
    ends = np.cumsum([0, la, rb, 6 * a.clamps, 6 * b.clamps])
    left, right, clamps_a, clamps_b = (slice(*pair) for pair in itertools.pairwise(ends))
    parts = (
        (a, slice(la, la + ra), a.right, ((slice(la), left), (slice(la + ra, None), clamps_a))),
        (b, slice(lb), b.left, ((slice(lb, lb + rb), right), (slice(lb + rb, None), clamps_b))),
    )
    stay, push = np.zeros((ends[-1], ends[-1])), np.zeros((ends[-1], a.push.shape[1]))
    side = np.zeros((6 * len(order), len(stay)), order="F")
    gone, load = np.zeros((len(side), len(side)), order="F"), np.zeros((len(side), push.shape[1]))
    for group, cut, lines, outer in parts:
        first = 6 * int(np.searchsorted(order, lines[:1]).sum())
        at = slice(first, first + 6 * len(lines))  # lines of a cut follow each other
        gone[at, at] += group.stiffness[cut, cut]
        load[at] += group.push[cut]
        for own, place in outer:
            side[at, place] = group.stiffness[cut, own]
            push[place] = group.push[own]
            for other, there in outer:
                stay[place, there] = group.stiffness[own, other]
    S, push, lost = eliminate(stay, side, gone, push, load)
    return Group(a.left, b.right, S, push, lost, (a, b), order)


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
