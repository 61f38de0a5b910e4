"""The rails that were solved, as an input deck that the open solver CalculiX reads."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy import sparse

from fea.analysis import Analysis
from fea.model.calculix import Reading, calculix_deck
from fea.model.data import Model, node_dof
from fea.rails.actions import rail_loads
from fea.rails.rail_model import frame_model
from fea.unknowns import hardest_state, one_end_words, rocking_alone
from viewer.files import write_text

WORTH = (
    "what a run proves: that the rows are put together, loaded and solved right. The rails are springs with "
    "the stiffness that Eavewright gives to its beams, so it is no second opinion on the beam itself; for "
    "that, model the rails with elements of your own from the section and the clamps under Inputs.",
    "what to compare: each case has one step with the force on the rail's axis and one with it at its top. "
    "F of the hand check is vx in the step that it names, axis or top, whichever is harder on the clamp. "
    '"force along" of attachments.csv is the larger vx of both steps of its worst case, so it may be '
    'a little more than F; "demand along the seam" there also counts the moment on the grip.',
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
        f"{q + 1} {case.name}, {reading.words}"
        for reading in basis.readings
        for q, case in enumerate(analysis.snow.cases)
    ]
    reading = None if loads.travel is not None else _clamp_forces(model, project.layout.clamp_name)
    splices = (f"in this deck {state.splices}, the worse state",) if state.splices else ()
    first = (*WORTH, *splices, *one_end_words(project, "in this deck stand", rocking_alone(project)))
    deck = calculix_deck(model, unit @ weights.T, names, reading=reading, remarks=first)
    write_text(path, deck.text)
    return True


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
