"""Rows near the foot of a valley checked again on its other side.

Above the foot a row's end takes what lodges there or closes the valley, below it what runs out of the valley
comes down on the row or passes beside it: a step of the law, and rows stand where hands put them. Such rows
are few, so each is moved across alone and the whole roof is solved anew.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fea.checks.limits import Limit
from fea.off_place import (
    ABOUT,
    LOUD,
    NAMED,
    NOT_TESTED,
    QUIET,
    clamps_of_row,
    distance,
    off_place_heading,
    use_change,
)
from fea.row_moves import with_ups
from roofmodel.errors import InputError
from roofmodel.project.load import Project
from roofmodel.sliding.end_steps import PLACED, FootStep, foot_steps
from roofmodel.sliding.flow import FlowGraph
from roofmodel.units import SYSTEMS

WORTH = 0.1  # a row that moves gains or loses less by its own strips [-]
Check = Callable[[Project], Sequence[Limit]]


@dataclass(frozen=True)
class PastFoot:
    """What a row near a valley's foot does that stands `PLACED` farther up or down.

    Attributes
    ----------
    step : FootStep
    row : int
        Whose clamps are used most of those that gain by it.
    use, then : float
        Largest utilization of that row's clamps, as rows stand and with the one at the foot off; infinite
        where that row cannot be calculated there. [-]
    at : str
        The clamp that is used most then; empty where it cannot be calculated.
    """

    step: FootStep
    row: int
    use: float
    then: float
    at: str

    @property
    def exceeds(self) -> bool:
        """Whether a row that keeps its limits does not then, or nobody knows."""
        return self.use <= 1.0 < self.then

    @property
    def tested(self) -> bool:
        """Whether the row can be calculated there."""
        return math.isfinite(self.then)


def past_foot(
    project: Project, graph: FlowGraph, limits: Sequence[Limit], check: Check
) -> tuple[PastFoot, ...]:
    """Rows near a valley's foot whose clamps, or others, carry more once off by `PLACED`, the worst first.

    Parameters
    ----------
    project : Project
    graph : FlowGraph
    limits : sequence of Limit
        With rows where they stand.
    check : callable
        Limits of another project.
    """
    if project.table.as_built is not None:
        return ()
    before = [limit for limit in limits if limit.target == "clamp"]
    found = []
    for step in foot_steps(project.roof, project.layout, graph, project.slide.valley_spread):
        ups = [row.up for row in project.table.row]
        ups[step.row] = max(ups[step.row] + (PLACED if step.up else -PLACED), 0.01)
        try:
            moved = with_ups(project, ups)
            after = [limit for limit in check(moved) if limit.target == "clamp"]
        except InputError:  # it cannot stand there
            found.append(PastFoot(step, step.row, clamps_of_row(project, before, step.row)[0], math.inf, ""))
            continue
        rows = range(len(project.layout.row_name))
        now = [clamps_of_row(project, before, row)[0] for row in rows]
        then, at = zip(*(clamps_of_row(moved, after, row) for row in rows), strict=True)
        gained = [row for row in rows if then[row] > (1.0 + WORTH) * now[row] or now[row] <= 1.0 < then[row]]
        if gained:
            row = max(gained, key=lambda one: then[one])
            found.append(PastFoot(step, row, now[row], then[row], at[row]))
    return tuple(sorted(found, key=lambda one: (-one.then, one.step.row)))


def past_foot_words(project: Project, found: Sequence[PastFoot]) -> tuple[str, ...]:
    """Sentences for the cautions: on rows that exceed a limit then, on those not tested, on the others."""
    units, roof, names = SYSTEMS[project.table.project.units], project.roof, project.layout.row_name
    words = []
    tested = [one for one in found if one.tested]
    over, kept = ([one for one in tested if one.exceeds is loud] for loud in (True, False))
    unknown = [one for one in found if not one.tested]
    for head, ends in ((LOUD, over), (NOT_TESTED, unknown), (QUIET, kept)):
        each = [
            f"row {names[one.step.row]} stands {distance(one.step.off, units)} "
            f"{'below' if one.step.up else 'above'} the foot of {roof.edges.name[one.step.edge]}: "
            f"{ABOUT[units.name]} farther {'up' if one.step.up else 'down'}, "
            f"{use_change(one.use, one.then, one.at) if one.tested else 'it cannot be calculated'}"
            for one in ends[:NAMED]
        ]
        if each:
            more = f"; {len(ends) - NAMED} more" if len(ends) > NAMED else ""
            words.append(off_place_heading(head, f"{'; '.join(each)}{more}", units, "move the row"))
    return tuple(words)
