"""Row ends at valleys that take another stream once rows stand a little off: their clamps checked again.

The step is in the bound at the row's end alone (`roofmodel.sliding.end_steps`), so the rows are solved once
more under it, where they stand; what a row's few centimeters do besides, strip by strip, is left to
`fea.sensitivity.out_of_place`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.checks.combinations import LoadFactors, factor_arrays
from fea.checks.limits import Limit
from fea.checks.structure import attachment_limits, solved_frames
from fea.panel.support import PanelSupport
from fea.rails.actions import rail_loads
from fea.states import State
from roofmodel.project.load import Project
from roofmodel.sliding.end_steps import EndStep, end_steps
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.thrust import RowForce
from roofmodel.units import SYSTEMS, UnitSystem

Array = NDArray[np.float64]

WORTH = 0.01  # smaller changes of the row's worst clamp are not told [-]
NAMED = 4  # ends in one sentence
ABOUT = {"SI": "50 mm", "US": "2 in"}  # `PLACED` in words
OVER, UNTESTED = "GOES OVER ITS LIMIT", "IS NOT TESTED"
LOUD, NOT_TESTED = (f"A ROW A LITTLE OFF ITS PLACE {what}" for what in (OVER, UNTESTED))
QUIET = "Row ends near a step of their load"


@dataclass(frozen=True)
class OffPlace:
    """What a row's end that takes another stream does to the row.

    Attributes
    ----------
    step : EndStep
    force, beyond : float
        What comes to the end from beyond it, as rows stand and past the step, worst case. [N]
    use, then : float
        Largest utilization of the row's clamps, likewise; 0 where nobody gave a strength. [-]
    at : str
        The clamp that is used most then; empty without strengths.
    """

    step: EndStep
    force: float
    beyond: float
    use: float
    then: float
    at: str

    @property
    def exceeds(self) -> bool:
        """Whether a row that keeps its limits does not past the step."""
        return self.use <= 1.0 < self.then


def off_place(
    project: Project,
    flow: tuple[FlowGraph, RowForce],
    support: PanelSupport,
    states: Sequence[State],
    factors: Sequence[LoadFactors],
    limits: Sequence[Limit],
) -> tuple[OffPlace, ...]:
    """Row ends that take another stream within `PLACED` of where rows stand, the worst first.

    Rows measured on site are where they are.

    Parameters
    ----------
    project : Project
    flow : FlowGraph and RowForce
    support : PanelSupport
    states : sequence of State
    factors : sequence of LoadFactors
        Of strength, one of each case.
    limits : sequence of Limit
        With rows where they stand.
    """
    graph, force = flow
    now, then = force.end_bound, force.end_beyond
    if then is None or project.table.as_built is not None or not (then > (1.0 + WORTH) * now).any():
        return ()
    known: dict[tuple[int, int], EndStep] = {}
    for one, _ in reversed(force.flows(graph)):
        known |= {(step.row, step.which): step for step in end_steps(project.roof, project.layout, one)}
    after = _clamps(project, replace(force, end_bound=then), support, states, factors)
    before = [limit for limit in limits if limit.target == "clamp"]
    found = []
    for (row, which), step in known.items():
        load, more = (float(bound[:, row, which].max()) for bound in (now, then))
        (use, _), (most, at) = clamps_of_row(project, before, row), clamps_of_row(project, after, row)
        if more > (1.0 + WORTH) * load and (most > (1.0 + WORTH) * use or not at):
            found.append(OffPlace(step, load, more, use, most, at))
    return tuple(sorted(found, key=lambda one: (-one.then, one.step.row)))


def _clamps(
    project: Project,
    force: RowForce,
    support: PanelSupport,
    states: Sequence[State],
    factors: Sequence[LoadFactors],
) -> tuple[Limit, ...]:
    """Limits of the clamps under another force."""
    loads, basis = rail_loads(project.roof, project.layout, project.rail, force, support.travel, support.held)
    frames = (state.frame() for state in states)
    _, demands = solved_frames(project, frames, loads, basis, factor_arrays(tuple(factors)))
    return attachment_limits(project, demands)


def clamps_of_row(project: Project, limits: Sequence[Limit], row: int) -> tuple[float, str]:
    """Largest utilization of a row's clamps, and which one it is."""
    on = np.flatnonzero(project.layout.clamp_row == row)
    use = np.nan_to_num([limit.utilization for limit in limits], nan=0.0).max(axis=(0, 1))[on]
    if not use.max(initial=0.0) > 0.0:
        return 0.0, ""
    return float(use.max()), project.layout.clamp_name[on[int(use.argmax())]]


def off_place_words(project: Project, found: Sequence[OffPlace]) -> tuple[str, ...]:
    """Sentences for the cautions: one that is loud on rows that exceed a limit then, one on the others."""
    units = SYSTEMS[project.table.project.units]
    loud, quiet = [[one for one in found if one.exceeds is over] for over in (True, False)]
    words = []
    for ends in (loud, quiet):
        if not ends:
            continue
        each = [_words(project, one, units) for one in ends[:NAMED]]
        more = f"; {len(ends) - NAMED} more" if len(ends) > NAMED else ""
        move = "move one of both rows"
        words.append(
            off_place_heading(LOUD if ends is loud else QUIET, f"{'; '.join(each)}{more}", units, move)
        )
    return tuple(words)


def off_place_heading(head: str, ends: str, units: UnitSystem, move: str) -> str:
    """A caution on row ends near a step, with what to do."""
    return (
        f"{head}: {ends}. Rows on site are off by {ABOUT[units.name]} or so (judgment, common "
        f"practice): {move} farther from there, or design for it."
    )


def _words(project: Project, one: OffPlace, units: UnitSystem) -> str:
    """Such as "row S at the S|W valley stands 5 mm from where it takes the whole stream of plane W: ..."."""
    roof, names, step = project.roof, project.layout.row_name, one.step
    row, other = names[step.row], names[step.other]
    move = f"{other} so much farther down" if step.other_moves else f"{row} so much farther up"
    if one.at:
        then = use_change(one.use, one.then, one.at)
    else:
        now, more = (units.text(f, "force") for f in (one.force, one.beyond))
        then = f"the snow from beyond its end goes from {now} to {more} (before load factors)"
    return (
        f"row {row} at {roof.edges.name[step.edge]} stands {distance(step.off, units)} from where it takes "
        f"the whole stream of plane {roof.planes.name[step.plane]}, which {other} holds: {move}, {then}"
    )


def use_change(use: float, then: float, at: str, whose: str = "its") -> str:
    """Such as "its worst clamp goes from 66 % to 128 % (E-1)"."""
    return change_words(f"{whose} worst clamp", use, then, at)


def change_words(what: str, use: float, then: float, at: str) -> str:
    """Such as "rail deflection goes from 95 % to 115 % (W-2 left of W-2-01)"."""
    return f"{what} goes from {_percent(use)} to {_percent(then)} ({at})"


def distance(off: float, units: UnitSystem) -> str:
    """Never "0 mm"."""
    return units.text(max(off, 1e-3), "size")


def _percent(share: float) -> str:
    near = abs(share - 1.0) < 0.005
    return f"{100.0 * share:.{1 if near else 0}f} %"
