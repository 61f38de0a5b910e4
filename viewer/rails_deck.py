"""The rails that were solved, as an input deck that the open solver CalculiX reads."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.analysis import Analysis
from fea.model.calculix import Reading, calculix_deck
from fea.model.data import Model, node_dof
from fea.rails.actions import rail_loads
from fea.rails.rail_model import frame_model
from fea.unknowns import SPLICES, hardest_state, one_end_words, rocking_alone, unknown_fields
from roofmodel.project.load import Project
from viewer.files import write_text

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

WORTH = (
    "what a run proves: that the rows are put together, loaded and solved right. The rails are springs with "
    "the stiffness that Eavewright gives to its beams, so it is no second opinion on the beam itself; for "
    "that, model the rails with elements of your own from the section and the clamps under Inputs.",
    "what to compare: each case has one step with the force on the rail's axis and one with it at its top. "
    "F of the hand check is vx in the step that it names, axis or top, whichever is harder on the clamp. "
    "attachments.csv names for every clamp the step of its worst case and its vx there, "
    '"vx in structure.inp": these are to be equal, clamp by clamp. "force along" beside it is the larger vx '
    "of all states that may be, so it may be more than F and than vx here; "
    '"demand along the seam" also counts the moment on the grip.',
)
STATE = (
    "in this deck {0}, the worse state for the most used clamp; where the other state is harder on a clamp, "
    '"force along" of attachments.csv is of that one ("splices" there says which). To compare it too: give '
    "rail.splice_torsion either way and run the check again"
)


def write_rails_deck(analysis: Analysis, path: Path) -> bool:
    """Write structure.inp: rails, clamps and splices under every factored combination.

    Parameters
    ----------
    analysis : Analysis
    path : Path

    Returns
    -------
    bool
        False where panels give way: they join the clamps in a way that no deck of springs can carry. A
        deck left by an earlier run is taken away then.
    """
    if analysis.support.stiffness:
        path.unlink(missing_ok=True)
        return False
    project = analysis.project
    state = analysis.states[hardest_state(analysis)]
    frame = state.frame()
    loads, basis = rail_loads(
        project.roof,
        project.layout,
        project.rail,
        analysis.force,
        analysis.support.travel,
        analysis.support.held,
    )
    model, unit = frame_model(frame, loads)
    table = np.array([(f.snow, f.dead, f.thermal) for f in analysis.factors])
    weights = basis.readings_weights(*table.T).reshape(-1, basis.count)
    names = [
        f"{q + 1} {case.name}, {reading.words} (step {v * basis.cases + q + 1})"
        for v, reading in enumerate(basis.readings)
        for q, case in enumerate(analysis.snow.cases)
    ]
    reading = None if loads.travel is not None else _clamp_forces(model, project.layout.clamp_name)
    splices = (_state_words(project, state.splices),) if state.splices else ()
    first = (*WORTH, *splices, *one_end_words(project, "in this deck stand", rocking_alone(project)))
    deck = calculix_deck(model, unit @ weights.T, names, reading=reading, remarks=first)
    write_text(path, deck.text)
    return True


@dataclass(frozen=True)
class InDeck:
    """What structure.inp has of every clamp in one case.

    Attributes
    ----------
    step : (c,) int
        Its step there, from 1.
    force : (c,) float
        Force along the seam there, down the slope positive, the larger of all steps of the case. [N]
    """

    step: IntArray
    force: Array


def in_deck(analysis: Analysis, case: IntArray) -> InDeck | None:
    """Step and force of every clamp in `structure.inp`, each in a case of its own, (c,).

    None where there is no deck, or one that prints no forces of clamps.
    """
    if analysis.support.stiffness or analysis.support.travel.any():
        return None
    kinds, state = len(analysis.basis.readings), hardest_state(analysis)
    force = analysis.clamp_force[:, kinds * state : kinds * (state + 1), :, 0]
    c = np.arange(force.shape[2])
    own = force[case, :, c]
    kind = np.abs(own).argmax(axis=1)
    return InDeck(kind * len(force) + case + 1, own[c, kind])


def _state_words(project: Project, splices: str) -> str:
    """Which state of the splices the deck has."""
    return STATE.format(splices) if SPLICES in unknown_fields(project) else f"in this deck {splices}"


def _clamp_forces(model: Model, names: tuple[str, ...]) -> Reading:
    """Force of every clamp on its seam, from the displacement of its grip."""
    clamps = model.springs[0]
    turn = np.zeros((len(names), 6, 6))
    turn[:, :3, :3] = turn[:, 3:, 3:] = clamps.axes
    block = (clamps.stiffness @ turn)[:, :3]
    row = np.broadcast_to(np.arange(3 * len(names)).reshape(-1, 3, 1), block.shape)
    column = np.broadcast_to(node_dof(clamps.node[:, 0])[:, None, :], block.shape)
    rows = sparse.coo_array(
        (block.ravel(), (row.ravel(), column.ravel())), shape=(3 * len(names), model.dof_count)
    )
    return Reading(
        name="CLAMPS",
        head="force of each clamp on its seam, N: vx along (down the slope), vy across, vz pull",
        what=tuple(f"clamp {name}" for name in names),
        rows=rows.tocsr(),
    )
