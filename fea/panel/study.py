"""One clamp on its seam: how the rail's pull goes into fold, sheet, clips, bearing and fixed point.

The strip, or as many strips as there are seams from one clamp of the row to the next, is meshed around the
clamp as if it repeated itself over the roof, and solved with one-way bearing and clips, under the snow's
weight on the pan, the sheet's own, and the force of the rail at the grip. Everything is solved again with
elements half as large, and with more of the seam meshed; the changes say what mesh and window are worth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.audit import EQUILIBRIUM, Proof
from fea.model.assembly import System, build_system
from fea.model.data import Model, node_dof
from fea.model.loads import gravity, nodal, traction
from fea.model.solution import solve_model
from fea.model.stress import audit
from fea.panel.mesh import strip_mesh, window_to_holds
from fea.panel.model import PanelField, contacts_as_springs, panel_field, sheet_area
from fea.panel.reading import FoldForces, LoadPath, SheetPeaks, fold_forces, load_path, sheet_peaks
from fea.solvers.contact import ContactSolution, solve_contact
from roofmodel.hardware import Clamp, Panel, SeamDetail
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]

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
class _Pass:
    """One solution on one mesh."""

    field: PanelField
    action: SeamAction
    system: System
    loads: Array
    answer: ContactSolution  # snow and own weight alone, then with the clamp's force
    stiffness: Array
    closed: Array
    path: LoadPath
    fold: FoldForces
    peaks: SheetPeaks


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
    """Study one clamp on its seam.

    Parameters
    ----------
    panel, detail, clamp
    action : SeamAction
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
    SeamStudy

    Raises
    ------
    SingularError
        Something floats; in words.
    """
    coarse, fine, wide = (
        _solve(panel, detail, clamp, action, (place, length), every, size, reach)
        for size, reach in ((refine, WINDOW), (2.0 * refine, WINDOW), (refine, WIDER * WINDOW))
    )
    return SeamStudy(
        field=fine.field,
        clamp=0,
        action=action,
        displacement=fine.answer.displacement[:, 1],
        start=fine.answer.displacement[:, 0],
        closed=fine.answer.closed[:, 1],
        rounds=int(fine.answer.rounds.max()),
        notes=fine.answer.notes,
        stiffness=fine.stiffness,
        stiffness_closed=fine.closed,
        path=fine.path,
        fold=fine.fold,
        peaks=fine.peaks,
        change=_changes(coarse, fine),
        window=_changes(wide, coarse),
        proofs=_proofs(fine),
    )


def _solve(
    panel: Panel,
    detail: SeamDetail,
    clamp: Clamp,
    action: SeamAction,
    seam: tuple[float, float],
    strips: int,
    refine: float,
    reach: float,
) -> _Pass:
    place, length = seam
    grip = (clamp.grip_length, clamp.grip_height)
    reach = reach * detail.clip_spacing
    window = window_to_holds(detail, (max(-place - reach, -length), min(-place + reach, 0.0)), length)
    mesh = strip_mesh(panel, detail, window, np.array([-place]), grip, refine)
    clamps = [np.array([-place]) if i == strips // 2 else np.zeros(0) for i in range(strips)]
    field = panel_field(mesh, panel, detail, grip, clamps, np.full(strips, length), periodic=True)
    system = build_system(field.model)
    loads = seam_loads(field, action)
    answer = solve_contact(system, field.model.contacts, loads)
    stiffness = grip_stiffness(field, contacts_as_springs(field.model, answer.closed[:, 1]))
    closed = grip_stiffness(field, contacts_as_springs(field.model, np.ones_like(answer.closed[:, 1])))
    return _Pass(
        field=field,
        action=action,
        system=system,
        loads=loads,
        answer=answer,
        stiffness=stiffness,
        closed=closed,
        path=load_path(field, answer.displacement, answer.force, _outside(field, action)),
        fold=fold_forces(field, answer.displacement[:, 1]),
        peaks=sheet_peaks(field, answer.displacement[:, 1]),
    )


def seam_loads(field: PanelField, action: SeamAction) -> Array:
    """Nodal loads (d, 2): snow and own weight alone, and with the force at the grip. [N, N m]."""
    snow = traction(field.model, 0, np.array([[0.0], [0.0], [-action.pressure]]))
    own = gravity(field.model, STANDARD_GRAVITY * action.weight[:, None])
    grip = nodal(field.model, field.clamp_node, np.tile(action.grip, (len(field.clamp_node), 1)))
    return np.concatenate([snow + own, snow + own + grip], axis=1)


def _outside(field: PanelField, action: SeamAction) -> Array:
    """Weight down the slope of the strips' sheet beyond the window, (m,). [N]."""
    per_length = sheet_area(field) * field.detail.sheet.density * STANDARD_GRAVITY * action.weight[0]
    return np.asarray(per_length * (field.length - (field.mesh.x[-1] - field.mesh.x[0])))


def grip_stiffness(field: PanelField, model: Model) -> Array:
    """Stiffness (6, 6) at the grip of the only clamp, seam axes. [N/m, N, N m/rad]."""
    dof = node_dof(field.clamp_node[0])
    F = np.zeros((model.dof_count, 6))
    F[dof, np.arange(6)] = 1.0
    u = solve_model(build_system(model), F).displacement[dof]
    K = np.linalg.inv(0.5 * (u + u.T))
    return np.asarray(0.5 * (K + K.T))


def _changes(coarse: _Pass, fine: _Pass) -> dict[str, float]:
    """Relative change of the reported numbers from the coarse to the fine mesh."""
    pairs = {
        "stiffness along": (coarse.stiffness[0, 0], fine.stiffness[0, 0]),
        "stiffness across": (coarse.stiffness[1, 1], fine.stiffness[1, 1]),
        "stiffness pull": (coarse.stiffness[2, 2], fine.stiffness[2, 2]),
        "clip uplift": (coarse.path.clip_uplift, fine.path.clip_uplift),
        "anchorage": (coarse.path.anchorage, fine.path.anchorage),
        "fold opening": (coarse.fold.peak_opening, fine.fold.peak_opening),
        "fold sliding": (coarse.fold.peak_sliding, fine.fold.peak_sliding),
        "seam pull": (coarse.fold.peak_pull, fine.fold.peak_pull),
        **{
            f"stress in the {name}": (a, b)
            for name, a, b in zip(fine.peaks.name, coarse.peaks.stress, fine.peaks.stress, strict=True)
        },
    }
    force = float(np.linalg.norm(fine.action.grip[:3])) / fine.fold.over
    nothing = dict.fromkeys(("fold opening", "fold sliding", "seam pull"), SLIGHT * force)
    return {
        name: abs(float(a) - float(b)) / max(abs(float(b)), nothing.get(name, 0.0), np.finfo(float).tiny)
        for name, (a, b) in pairs.items()
    }


def _proofs(fine: _Pass) -> tuple[Proof, ...]:
    answer = fine.answer
    last = slice(1, 2)
    balance = audit(fine.system, answer.displacement[:, last], fine.loads[:, last], answer.link_load[:, last])
    residual = max(proof.worst for proof in answer.proof)
    # The outer cuts hold the strips straight, which takes moments: the whole balances in forces only.
    balanced = max(balance.force.max(), balance.moment[1:].max(initial=0.0))
    return (
        Proof("panel: forces of the whole, forces and moments of every body", float(balanced), EQUILIBRIUM),
        Proof("panel: equations with bearing that only pushes and clips by their gap", residual, RESIDUAL),
    )
