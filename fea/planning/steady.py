"""Rows of a plan off their places by the tolerance of a site, and rows near by that bear that better.

The check of a place says nothing of the place beside it: a load may rise in a step, so that rows that pass
fail when they stand a little higher. Rows above the lowest ones are then moved together by a few centimeters.
Rows that exceed once a valley's other stream comes to their end (`fea.off_place`) get closer clamps.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from fea.analysis import Analysis, analyze, check_limits
from fea.planning.apart import gaps, too_far
from fea.planning.failing import LOOSE, limits_excess
from fea.planning.places import TOP_GAP, lowest_rows, unit_of
from fea.planning.threats import Threats
from fea.sensitivity import TOLERANCE, Tolerance, out_of_place
from roofmodel.errors import InputError
from roofmodel.project.load import Project, with_rows
from roofmodel.project.schema import RowTable

MOVES = (-1, 1, -2, 2)  # of the tolerance that a check tells
HELD = {"SI": 0.05, "US": 0.0508}  # what a plan holds: hands on a roof (judgment, common practice) [m]


class Steady(NamedTuple):
    """Rows, their check, what they do off their places, and how far they were moved up the slope. [m].

    `closer` names rows whose clamps stand closer than found at first.
    """

    rows: tuple[RowTable, ...]
    analysis: Analysis
    place: Tolerance | None
    moved: float
    closer: tuple[str, ...] = ()


def exceeds(place: Tolerance | None) -> bool:
    """Whether rows or clamps off their places take an attachment over its limit."""
    return place is not None and any(use > 1.0 for use in (place.rows, place.clamps))  # NaN is not


def over_steps(analysis: Analysis) -> set[str]:
    """Rows that keep their limits, but not once they take a valley's other stream or stand past its foot."""
    rows = {one.step.row for one in analysis.off_place if one.exceeds}
    rows |= {one.row for one in analysis.past_foot if one.exceeds}
    return {analysis.project.layout.row_name[row] for row in rows}


def steadied(
    analysis: Analysis, rows: tuple[RowTable, ...], threats: Threats, closest: int | None = None
) -> Steady:
    """Planned rows off their places by `HELD`, and, where that exceeds a limit, what bears that better.

    All above the lowest moved a little, or closer clamps.

    Parameters
    ----------
    analysis : Analysis
        Of the rows, which pass.
    rows : tuple of RowTable
    threats : Threats
    closest : int, optional
        Rows that exceed where a valley's other stream comes to them get clamps on every so many-th seam.

    Returns
    -------
    Steady
        The rows as they are where they bear their tolerance, or where nothing near by does better.
    """
    held = HELD[analysis.project.table.project.units]
    analysis, rows, closer = _with_closer(analysis, rows, closest)
    place, project = out_of_place(analysis, held), analysis.project
    best = Steady(rows, analysis, place, 0.0, closer)
    if place is None or not place.rows > 1.0:
        return best
    lowest, unit = lowest_rows(project, threats), unit_of(project)
    step = math.ceil(TOLERANCE[project.table.project.units] / unit - 1e-9) * unit
    for times in MOVES:
        moved = tuple(
            row if lowest_one else row.model_copy(update={"up": round(row.up + times * step, 6)})
            for row, lowest_one in zip(rows, lowest, strict=True)
        )
        try:
            other = _checked(project, moved)
        except InputError:  # no such row can stand
            continue
        if other is None:
            continue
        there = out_of_place(other, held)
        if there is None or exceeds(there) or not there.rows <= 1.0:
            continue
        if len(over_steps(other)) <= len(over_steps(analysis)):
            return Steady(moved, other, there, times * step, closer)
    return best


def _with_closer(
    analysis: Analysis, rows: tuple[RowTable, ...], closest: int | None
) -> tuple[Analysis, tuple[RowTable, ...], tuple[str, ...]]:
    """Rows that are over past a step with closer clamps, those that this mends; else as they are."""
    over = over_steps(analysis)
    names = {row.name for row in rows if row.name in over and closest and row.every > closest}
    for _ in range(2):  # at most once more, without those that closer clamps do not mend
        if not names:
            break
        changed = tuple(r.model_copy(update={"every": closest}) if r.name in names else r for r in rows)
        try:
            other = _checked(analysis.project, changed)
        except InputError:  # no clamps can stand so
            break
        left = names if other is None else over_steps(other)
        if other is not None and not names & left and left < over:
            return other, changed, tuple(row.name for row in rows if row.name in names)
        names -= left
    return analysis, rows, ()


def _checked(project: Project, rows: tuple[RowTable, ...]) -> Analysis | None:
    """The check of moved rows; None where they break a rule of the plan, or do not pass."""
    placed, plan = with_rows(project, rows), project.table.plan
    now, then = gaps(project, project.layout), gaps(placed, placed.layout)
    nearest = min((one.height for one in now if one.upper >= 0), default=math.inf)
    least = min(plan.least_spacing, nearest)
    if any(one.height < least - LOOSE for one in then if one.upper >= 0):
        return None
    if any(one.height < TOP_GAP - LOOSE for one in then if one.upper < 0 and one not in now):
        return None
    if too_far(placed, placed.layout) > too_far(project, project.layout) + LOOSE:
        return None
    if limits_excess(check_limits(placed, stiff=True), plan.target) > 1.0 + LOOSE:
        return None
    analysis = analyze(placed)
    return (
        analysis if analysis.passed and limits_excess(analysis.limits, plan.target) <= 1.0 + LOOSE else None
    )
