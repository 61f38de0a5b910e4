"""One clamp on its seam: how the rail's pull goes into fold, sheet, clips, bearing and fixed point.

The strip, or as many strips as there are seams from one clamp of the row to the next, is meshed around the
clamp as if it repeated itself over the roof, and solved with one-way bearing and clips, under the snow's
weight on the pan, the sheet's own, and the force of the rail at the grip. Of many such actions, those that
are worst for some number are found on the coarser mesh; they are solved again with elements half as large,
and with more of the seam meshed; the changes say what mesh and window are worth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from fea.checks.audit import EQUILIBRIUM, Proof
from fea.model.assembly import build_system
from fea.model.contact import (
    ContactEquations,
    ContactSolution,
    contact_equations,
    solve_cases,
    solve_closed,
)
from fea.model.data import node_dof
from fea.model.loads import gravity, nodal, traction
from fea.model.stress import audit
from fea.panel.mesh import strip_mesh, window_to_holds
from fea.panel.model import PanelField, panel_field, sheet_area
from fea.panel.reading import (
    FoldForces,
    LoadPath,
    SheetPeaks,
    fold_forces,
    grip_length,
    load_path,
    sheet_peaks,
)
from fea.panel.screening import NUMBERS, governing_numbers
from roofmodel.hardware import Clamp, Panel, SeamDetail
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

WINDOW = 4.0  # clip spacings of seam that are meshed to each side of a clamp [-]
WIDER = 1.5  # times as much in the run that tells what the window is worth [-]
SLIGHT = 1e-3  # line load, as a share of the clamp's force over its grip, whose change is not worth telling
RESIDUAL = 1e-8  # asked of the equations of thin shells, of the largest force [-]


@dataclass(frozen=True)
class SeamAction:
    """What acts on the detail.

    Attributes
    ----------
    grip : (6,) float
        Force and moment of the rail at the grip, seam axes: along, across, pull. [N, N m]
    pressure : float
        Of the snow on the pan, square to the roof. [Pa]
    weight : (3,) float
        Direction of gravity in seam axes, times the factor on dead load. [-]
    """

    grip: Array
    pressure: float
    weight: Array


@dataclass(frozen=True)
class SeamStudy:
    """Results of a clamp on its seam.

    Attributes
    ----------
    field : PanelField
        The finer mesh.
    clamp : int
        Clamp of the field that is studied: the one in the middle strip.
    action : SeamAction
    displacement : (d,) float
        Under the whole action. [m, rad]
    start : (d,) float
        Under snow and own weight alone. [m, rad]
    closed : (m,) bool
        Contacts of all groups that bear under the whole action.
    rounds : int
        Linear solutions it took to find them.
    notes : tuple of str
        What the search for them has to say.
    stiffness : (6, 6) float
        That the clamp finds at its grip as bearing and clips are under the action. [N/m, N, N m/rad]
    stiffness_closed : (6, 6) float
        The same with all bearing and clips closed. [N/m, N, N m/rad]
    path : LoadPath
        Who takes the clamp's force.
    fold : FoldForces
    peaks : SheetPeaks
    change : dict of str to float
        Relative change of each reported number from elements twice as large. [-]
    window : dict of str to float
        Relative change of the same numbers when more of the seam is meshed. [-]
    proofs : tuple of Proof
    """

    field: PanelField
    clamp: int
    action: SeamAction
    displacement: Array
    start: Array
    closed: NDArray[np.bool_]
    rounds: int
    notes: tuple[str, ...]
    stiffness: Array
    stiffness_closed: Array
    path: LoadPath
    fold: FoldForces
    peaks: SheetPeaks
    change: dict[str, float]
    window: dict[str, float]
    proofs: tuple[Proof, ...]


@dataclass(frozen=True)
class SeamStates:
    """Studies of the actions that govern.

    Attributes
    ----------
    study : tuple of SeamStudy, (s,)
    action : (s,) int
        Each one's number among the actions that were tried.
    worst : dict of str to int
        For each of `fea.panel.screening.NUMBERS`, the study where it is largest, on the finer mesh.
    """

    study: tuple[SeamStudy, ...]
    action: tuple[int, ...]
    worst: dict[str, int]


def study_number(study: SeamStudy, name: str) -> float:
    """One of `fea.panel.screening.NUMBERS` of a study. [N, N/m, Pa]."""
    if name.startswith("stress in the "):
        return float(study.peaks.stress[study.peaks.name.index(name.removeprefix("stress in the "))])
    return {
        "clip uplift": study.path.clip_uplift,
        "fold opening": study.fold.peak_opening,
        "anchorage": study.path.anchorage,
    }[name]


def worse_of(several: Sequence[SeamStates]) -> SeamStates:
    """Studies of the same actions on different models as one: for each number the worst of all."""
    if len(several) == 1:
        return several[0]
    study = [one for states in several for one in states.study]
    action = [one for states in several for one in states.action]
    worst = {name: int(np.argmax([study_number(one, name) for one in study])) for name in NUMBERS}
    kept = sorted(set(worst.values()))
    return SeamStates(
        study=tuple(study[i] for i in kept),
        action=tuple(action[i] for i in kept),
        worst={name: kept.index(i) for name, i in worst.items()},
    )


@dataclass(frozen=True)
class _Mesh:
    field: PanelField
    equations: ContactEquations


@dataclass(frozen=True)
class _Pass:
    """Solution of some actions on one mesh."""

    mesh: _Mesh
    actions: tuple[SeamAction, ...]
    loads: Array
    answer: ContactSolution  # each action's snow and own weight alone, then each with the clamp's force
    stiffness: tuple[Array, ...]
    closed: Array

    def pair(self, number: int) -> slice:
        """Columns of an action: without the clamp's force, and with it."""
        return slice(number, None, len(self.actions))

    @property
    def path(self) -> tuple[LoadPath, ...]:
        """Who takes the clamp's force, for each action."""
        field, answer = self.mesh.field, self.answer
        return tuple(
            load_path(
                field, answer.displacement[:, pair], answer.force[:, pair], outside_weight(field, action)
            )
            for pair, action in ((self.pair(i), action) for i, action in enumerate(self.actions))
        )

    @property
    def whole(self) -> Array:
        """Displacements (d, a) under the whole actions."""
        return self.answer.displacement[:, len(self.actions) :]


def study_seam(
    panel: Panel,
    detail: SeamDetail,
    clamp: Clamp,
    action: SeamAction,
    *,
    place: float,
    length: float,
    every: int = 1,
    refine: float = 1.0,
) -> SeamStudy:
    """Study one clamp on its seam under one action; see `study_states`."""
    states = study_states(
        panel, detail, clamp, [action], place=place, length=length, every=every, refine=refine
    )
    return states.study[0]


def study_states(
    panel: Panel,
    detail: SeamDetail,
    clamp: Clamp,
    actions: Sequence[SeamAction],
    *,
    place: float,
    length: float,
    every: int = 1,
    refine: float = 1.0,
) -> SeamStates:
    """Study one clamp on its seam under those of many actions that are worst for something.

    Parameters
    ----------
    panel, detail, clamp
    actions : sequence of SeamAction
        At least one.
    place : float
        Of the clamp, up the seam from its eave end. [m]
    length : float
        Of the strip from eave to ridge. [m]
    every : int
        Seams from one clamp of the row to the next: so many strips are modeled, with the clamp on one of
        them, as if they followed each other over and over.
    refine : float
        Divides the sizes of the elements of both meshes.

    Returns
    -------
    SeamStates

    Raises
    ------
    SingularError
        Something floats; in words.
    """
    usual, farther = _windows(detail, place, length)
    coarse_mesh, fine_mesh, wide_mesh = (
        _mesh(panel, detail, clamp, (place, length), every, size, window)
        for size, window in ((refine, usual), (2.0 * refine, usual), (refine, farther))
    )
    number, bearing = _worst_of(coarse_mesh, actions)
    chosen = tuple(actions[i] for i in number)
    coarse = _solve(coarse_mesh, chosen, [None] * len(chosen) + bearing)
    fine, wide = (_solve(mesh, chosen, _carried(coarse, mesh)) for mesh in (fine_mesh, wide_mesh))
    names, values = _values(fine)
    change, window = _changes(coarse, fine), _changes(wide, coarse)
    studies = tuple(
        SeamStudy(
            field=fine_mesh.field,
            clamp=0,
            action=action,
            displacement=fine.whole[:, i],
            start=fine.answer.displacement[:, i],
            closed=fine.answer.closed[:, len(chosen) + i],
            rounds=int(fine.answer.rounds[fine.pair(i)].max()),
            notes=_notes(fine.answer, i, len(chosen)),
            stiffness=fine.stiffness[i],
            stiffness_closed=fine.closed,
            path=path,
            fold=fold_forces(fine_mesh.field, fine.whole[:, i]),
            peaks=sheet_peaks(fine_mesh.field, fine.whole[:, i]),
            change=dict(zip(names, change[:, i].tolist(), strict=True)),
            window=dict(zip(names, window[:, i].tolist(), strict=True)),
            proofs=_proofs(fine, i),
        )
        for i, (action, path) in enumerate(zip(chosen, fine.path, strict=True))
    )
    worst = {name: int(np.argmax(values[names.index(name)])) for name in NUMBERS}
    return SeamStates(studies, number, worst)


def _windows(detail: SeamDetail, place: float, length: float) -> tuple[tuple[float, float], ...]:
    """Pieces of seam that are meshed: the usual one, and one that goes farther on each side. [m]."""
    reach = WINDOW * detail.clip_spacing
    low, high = window_to_holds(detail, (max(-place - reach, -length), min(-place + reach, 0.0)), length)
    up, down = WIDER * (-place - low), WIDER * (high + place)
    wide = (max(-place - up, -length), min(-place + down, 0.0))
    return (low, high), window_to_holds(detail, wide, length)


def _mesh(
    panel: Panel,
    detail: SeamDetail,
    clamp: Clamp,
    seam: tuple[float, float],
    strips: int,
    refine: float,
    window: tuple[float, float],
) -> _Mesh:
    place, length = seam
    grip = (clamp.grip_length, clamp.grip_height)
    mesh = strip_mesh(panel, detail, window, np.array([-place]), grip, refine)
    clamps = [np.array([-place]) if i == strips // 2 else np.zeros(0) for i in range(strips)]
    field = panel_field(mesh, panel, detail, grip, clamps, np.full(strips, length), periodic=True)
    return _Mesh(field, contact_equations(build_system(field.model), field.model.contacts))


def _worst_of(mesh: _Mesh, actions: Sequence[SeamAction]) -> tuple[tuple[int, ...], list[BoolArray | None]]:
    """Actions that are worst for some number, with most force first where alike, and what bears then."""
    if len(actions) == 1:
        return (0,), [None]
    field = mesh.field
    answer = solve_cases(mesh.equations, action_loads(field, actions)[1], follow=True)
    outside = np.stack([outside_weight(field, action) for action in actions], axis=1)
    values = governing_numbers(field, answer.displacement, answer.force, outside)
    number = tuple(sorted({int(np.argmax(row)) for row in values}))
    return number, [answer.closed[:, i] for i in number]


def _carried(found: _Pass, mesh: _Mesh) -> list[BoolArray | None]:
    """For each load case, what bears on another mesh of the same seam, by the nearest place."""
    near, first = [], 0
    for old, new in zip(found.mesh.field.model.contacts, mesh.field.model.contacts, strict=True):
        if not len(old.node):
            return [None] * found.answer.closed.shape[1]
        tree = cKDTree(found.mesh.field.model.xyz[old.node])
        near.append(first + tree.query(mesh.field.model.xyz[new.node])[1])
        first += len(old.node)
    return list(found.answer.closed[np.concatenate(near)].T) if near else [None] * len(found.loads.T)


def _solve(mesh: _Mesh, actions: tuple[SeamAction, ...], first: Sequence[BoolArray | None]) -> _Pass:
    """Solve on one mesh; what bears is looked for from a set of contacts on, or from all."""
    field, equations = mesh.field, mesh.equations
    loads = np.concatenate(action_loads(field, actions), axis=1)
    closed = grip_stiffness(field, equations, np.ones(equations.stretch.shape[0], dtype=bool))
    answer = solve_cases(equations, loads, first, follow=True)
    sets, which = np.unique(answer.closed[:, len(actions) :], axis=1, return_inverse=True)
    stiffness: dict[int, Array] = {}
    for i in which.ravel()[::-1].tolist():  # the last action's set is near what is factorized
        if i not in stiffness:
            stiffness[i] = grip_stiffness(field, equations, sets[:, i])
    own = tuple(stiffness[i] for i in which.ravel().tolist())
    return _Pass(mesh, actions, loads, answer, own, closed)


def action_loads(field: PanelField, actions: Sequence[SeamAction]) -> tuple[Array, Array]:
    """Nodal loads (d, a) of each action: snow and own weight alone, and with the grip's. [N, N m]."""
    pressure = np.array([action.pressure for action in actions])
    snow = traction(field.model, 0, np.stack([0.0 * pressure, 0.0 * pressure, -pressure]))
    own = gravity(field.model, STANDARD_GRAVITY * np.stack([action.weight for action in actions], axis=1))
    force = np.stack([action.grip for action in actions], axis=1)
    grip = nodal(field.model, field.clamp_node, np.tile(force, (len(field.clamp_node), 1, 1)))
    return snow + own, snow + own + grip


def seam_loads(field: PanelField, action: SeamAction) -> Array:
    """Nodal loads (d, 2): snow and own weight alone, and with the force at the grip. [N, N m]."""
    return np.concatenate(action_loads(field, [action]), axis=1)


def outside_weight(field: PanelField, action: SeamAction) -> Array:
    """Weight down the slope of the strips' sheet beyond the window, (m,). [N]."""
    per_length = sheet_area(field) * field.detail.sheet.density * STANDARD_GRAVITY * action.weight[0]
    return np.asarray(per_length * (field.length - (field.mesh.x[-1] - field.mesh.x[0])))


def grip_stiffness(field: PanelField, equations: ContactEquations, bears: BoolArray) -> Array:
    """Stiffness (6, 6) at the grip of the only clamp, what bears as springs both ways, seam axes.

    [N/m, N, N m/rad]
    """
    dof = node_dof(field.clamp_node[0])
    F = np.zeros((field.model.dof_count, 6))
    F[dof, np.arange(6)] = 1.0
    u = solve_closed(equations, bears, F)[dof]
    K = np.linalg.inv(0.5 * (u + u.T))
    return np.asarray(0.5 * (K + K.T))


def _values(found: _Pass) -> tuple[tuple[str, ...], Array]:
    """Reported numbers (n, a) of every action, and their names."""
    field, actions = found.mesh.field, found.actions
    outside = np.stack([outside_weight(field, action) for action in actions], axis=1)
    whole = found.answer.force[:, len(actions) :]
    governing = governing_numbers(field, found.whole, whole, outside)
    folds = [fold_forces(field, u) for u in found.whole.T]
    rest = {
        **{
            f"stiffness {name}": [K[i, i] for K in found.stiffness]
            for i, name in enumerate(("along", "across", "pull"))
        },
        "fold sliding": [fold.peak_sliding for fold in folds],
        "seam pull": [fold.peak_pull for fold in folds],
    }
    return (*NUMBERS, *rest), np.concatenate([governing, np.array(list(rest.values()))])


def _changes(coarse: _Pass, fine: _Pass) -> Array:
    """Relative change (n, a) of the reported numbers from the coarse to the fine mesh."""
    names, after = _values(fine)
    force = np.linalg.norm([action.grip[:3] for action in fine.actions], axis=1)
    force = force / grip_length(fine.mesh.field)
    slight = np.isin(names, ("fold opening", "fold sliding", "seam pull"))[:, None] * SLIGHT * force
    size = np.maximum(np.maximum(np.abs(after), slight), np.finfo(float).tiny)
    return np.asarray(np.abs(_values(coarse)[1] - after) / size)


def _notes(answer: ContactSolution, number: int, count: int) -> tuple[str, ...]:
    """Notes on one action, as if it had been solved alone."""
    own = {f"load case {number}:": "load case 0:", f"load case {count + number}:": "load case 1:"}
    return tuple(
        note.replace(head, alone, 1)
        for note in answer.notes
        for head, alone in own.items()
        if note.startswith(head)
    )


def _proofs(fine: _Pass, number: int) -> tuple[Proof, ...]:
    answer, pair = fine.answer, fine.pair(number)
    last = slice(len(fine.actions) + number, len(fine.actions) + number + 1)
    system = fine.mesh.equations.system
    balance = audit(system, answer.displacement[:, last], fine.loads[:, last], answer.link_load[:, last])
    residual = max(proof.worst for proof in answer.proof[pair])
    # The outer cuts hold the strips straight, which takes moments: the whole balances in forces only.
    balanced = max(balance.force.max(), balance.moment[1:].max(initial=0.0))
    return (
        Proof("panel: forces of the whole, forces and moments of every body", float(balanced), EQUILIBRIUM),
        Proof("panel: equations with bearing that only pushes and clips by their gap", residual, RESIDUAL),
    )
