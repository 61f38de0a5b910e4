"""Rows of a plan off their places by the tolerance of a site, and rows near by that bear that better.

The check of a place says nothing of the place beside it: a load may rise in a step, so that rows that pass
fail when they stand a little higher. Rows above the lowest ones are then moved together by a few centimeters.
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

MOVES = (-1, 1, -2, 2)  # of the tolerance


class Steady(NamedTuple):
    """Rows, their check, what they do off their places, and how far they were moved up the slope. [m]."""

    rows: tuple[RowTable, ...]
    analysis: Analysis
    place: Tolerance | None
    moved: float


def exceeds(place: Tolerance | None) -> bool:
    """Whether rows or clamps off their places take an attachment over its limit."""
    return place is not None and any(use > 1.0 for use in (place.rows, place.clamps))  # NaN is not


def steadied(analysis: Analysis, rows: tuple[RowTable, ...], threats: Threats) -> Steady:
    """Planned rows off their places, and, where that exceeds a limit, all above the lowest moved a little.

    Parameters
    ----------
    analysis : Analysis
        Of the rows, which pass.
    rows : tuple of RowTable
    threats : Threats

    Returns
    -------
    Steady
        The rows as they are where they bear their tolerance, or where nothing near by does better.
    """
    place, project = out_of_place(analysis), analysis.project
    best = Steady(rows, analysis, place, 0.0)
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
        there = out_of_place(other)
        if there is not None and there.rows <= 1.0 and not exceeds(there):
            return Steady(moved, other, there, times * step)
    return best


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
