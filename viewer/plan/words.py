"""Planned rows as lines of a table: what each is, and which limit it uses most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fea.doubts import project_doubts
from fea.planning.checking import HEIGHT, target_rows
from fea.planning.plan import Plan
from roofmodel.units import UnitSystem
from viewer.summary import NOT_VERIFIED, with_field

OFF = 1e-3  # by which a rail may lie beyond the end of its piece of plane [m]


@dataclass(frozen=True)
class RowLine:
    """One planned row, SI.

    `limit` is the limit that it uses most, panel strips included; `utilization` how much of it.
    """

    name: str
    plane: str
    up: float
    start: float
    end: float
    length: float
    every: int
    clamps: int
    limit: str
    utilization: float


@dataclass(frozen=True)
class Beside:
    """A plan with clamps on every n-th seam only; none, and why, where no row can stand with these."""

    every: int
    plan: Plan | None
    failure: str


def threat_words(name: str, planes: Sequence[str], rows: Sequence[str]) -> str:
    """Whose snow comes down on something protected, and which rows hold it.

    Where no snow does, the place of what is protected may be wrong.
    """
    if not planes:
        return f"Snow of no plane comes down on {name}: see where plan.png draws it."
    held = f"; held by {', '.join(rows)}" if rows else ""
    return f"Snow of {', '.join(planes)} comes down on {name}{held}."


def threats_in_words(plan: Plan, *, rows: bool = True) -> list[str]:
    """`threat_words` of everything protected, and why there are rows that hold none of its snow at once.

    `rows` names the rows that hold it; a table beside may say so already.
    """
    held = rows_by_protected(plan)
    named = {row for rows in held.values() for row in rows}
    found = [threat_words(name, planes, held[name] if rows else ()) for name, planes in plan.threats.by]
    by_way: list[str] = []
    beside: list[str] = []
    for row, plane, up, low, high in _row_places(plan):
        if row not in named:
            (by_way if plan.threats.reach(plane, up, low, high) else beside).append(row)
    if by_way:
        found.append(
            f"Held by {', '.join(by_way)}: snow that would fall onto a lower roof first and come down from"
            " there."
        )
    if beside:
        found.append(
            f"No snow that comes down on anything protected is above {', '.join(beside)}: rows run on over"
            " their planes in this plan."
        )
    return found


def _row_places(plan: Plan) -> list[tuple[str, int, float, float, float]]:
    """Name, plane, height up it, and from where to where across it, of each row. [m]."""
    layout = plan.analysis.project.layout
    ends = np.sort(np.stack([layout.row_start[:, 0], layout.row_end[:, 0]], axis=1), axis=1)
    return [
        (row.name, int(plane), float(up), float(low), float(high))
        for row, plane, up, (low, high) in zip(
            plan.rows, layout.row_plane, layout.row_start[:, 1], ends, strict=True
        )
    ]


def rows_by_protected(plan: Plan) -> dict[str, tuple[str, ...]]:
    """Rows with snow above them that would come down on each thing protected.

    A row may hold what would first fall onto a lower roof and come down from there; it stands with none.
    """
    found: dict[str, list[str]] = {name: [] for name, _ in plan.threats.by}
    for row, plane, up, low, high in _row_places(plan):
        for name in plan.threats.protects(plane, up, low, high):
            found[name].append(row)
    return {name: tuple(rows) for name, rows in found.items()}


def protected_by_row(plan: Plan) -> list[str]:
    """What each row holds snow back from, in words; "a lower roof" where that lets it fall further."""
    held, found = rows_by_protected(plan), []
    for row, plane, up, low, high in _row_places(plan):
        names = [name for name, rows in held.items() if row in rows]
        by_way = "by way of a lower roof" if plan.threats.reach(plane, up, low, high) else "nothing"
        found.append(", ".join(names) or by_way)
    return found


def ends_in_words(plan: Plan, units: UnitSystem) -> str:
    """Why rows end short of their planes' edges, where they end as far as snow threatens; else empty."""
    from roofmodel.project.placement import line_pieces

    roof, parts = plan.analysis.project.roof, []
    if not plan.analysis.project.table.protect:
        return ""
    for row, (name, plane, up, low, high) in zip(plan.rows, _row_places(plan), strict=True):
        if row.start is None and row.end is None:
            continue
        pieces = line_pieces(roof, plane, up)
        a, b = next((one for one in pieces if one[0] - OFF <= low and high <= one[1] + OFF), (low, high))
        sides = ((row.start, a, low), (row.end, high, b))
        if all(end is None or plan.threats.reach(plane, up, *side) is None for end, *side in sides):
            length, whole = units.text(high - low, "length"), units.text(b - a, "length")
            parts.append(f"{name} ({length} of {whole})")
    if not parts:
        return ""
    margins = sorted({mark.margin for mark in plan.analysis.project.table.protect})
    told = " or ".join(units.text(margin, "length") for margin in margins)
    return (
        f"Shorter than their planes: {', '.join(parts)}. Snow beside them comes down on nothing to be "
        f"protected, nor within {told} of it (protect.margin)."
    )


def nth_seam(every: int) -> str:
    """Words for a clamp spacing."""
    ending = "th" if every % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(every % 10, "th")
    return "seam" if every == 1 else f"{every}{ending} seam"


def row_lines(plan: Plan) -> list[RowLine]:
    """All planned rows; start and end count from the left end of the plane at the row's height."""
    from roofmodel.project.placement import line_pieces

    layout, roof = plan.analysis.project.layout, plan.analysis.project.roof
    lines = []
    clamps = np.bincount(layout.clamp_row, minlength=len(plan.rows))
    limit, use = worst_limits(plan)
    for number, row in enumerate(plan.rows):
        plane = int(layout.row_plane[number])
        left = line_pieces(roof, plane, row.up)[0][0]
        lines.append(
            RowLine(
                name=row.name,
                plane=roof.planes.name[plane],
                up=row.up,
                start=float(layout.row_start[number, 0]) - left,
                end=float(layout.row_end[number, 0]) - left,
                length=float(layout.row_length[number]),
                every=row.every,
                clamps=int(clamps[number]),
                limit=limit[number],
                utilization=use[number],
            )
        )
    return lines


def worst_limits(plan: Plan) -> tuple[list[str], list[float]]:
    """Limit that each row uses most, and how much of it; of a panel strip every row on its seam."""
    layout = plan.analysis.project.layout
    rows = len(layout.row_name)
    name, use = ["nothing"] * rows, [0.0] * rows
    for limit in plan.analysis.limits:
        if limit.target.startswith("solar"):
            continue
        worst = np.nan_to_num(limit.utilization, nan=0.0).max(axis=0, initial=0.0)
        own = np.zeros(rows)
        np.maximum.at(own, target_rows(limit, layout), worst)
        for row in np.flatnonzero(own >= np.maximum(use, 1e-12)).tolist():
            name[row], use[row] = limit.name, float(own[row])
    return name, use


def verdict_words(plan: Plan) -> str:
    """The outcome in one sentence."""
    rows, clamps = len(plan.rows), plan.clamps
    what = f"{rows} {'row' if rows == 1 else 'rows'} with {clamps} {'clamp' if clamps == 1 else 'clamps'}"
    if plan.failure:
        return f"NO ROWS FOUND that pass: {plan.failure}."
    open_limits = [
        with_field(limit.name) for limit in plan.analysis.unverified if limit.name != "clamp combined"
    ]
    doubts = project_doubts(plan.analysis.project, plan.analysis.limits)
    if doubts or open_limits:
        head = ". ".join(f"{NOT_VERIFIED}: {one}" for one in doubts) or f"{NOT_VERIFIED}: {what}"
        with_given = f". With the numbers given, {what} keep" if doubts else " keep"
        named = f"; no resistance was given for {', '.join(open_limits)}" if open_limits else ""
        return f"{head}{with_given} what could be checked{named}."
    if plan.trouble:
        worst = plan.trouble[0]
        head = "NOT TESTED OUT OF PLACE" if math.isinf(worst.use) else "EXCEEDED A LITTLE OUT OF PLACE"
        hardware = {one.name for one in plan.analysis.limits if not one.service and one.name != HEIGHT} | {""}
        known = [one.use for one in plan.trouble if math.isfinite(one.use) and one.limit in hardware]
        strength = max(known, default=0.0)
        asks = f", which asks for {strength:.2f} times the strength" if strength else ""
        return (
            f"{head}: {what} keep every limit in their exact places only; {worst.words}{asks}. No rows were "
            "found that bear it: move rows by hand, take stronger clamps, or open [plan]."
        )
    proof = "nothing cheaper passes" if plan.proven else "not proven to be the cheapest"
    alike = ", where rows that stand on one level share one clamp spacing" if plan.shared else ""
    if plan.gaps:
        alike += ", where planes that hand snow to one another have rows on the same levels"
    if plan.thinned:
        alike += "; single pieces were then left out or given fewer clamps, one by one"
    ends = ""
    if plan.analysis.project.table.protect:
        ends = (
            " (ends of rows were looked at as far as snow threatens and, where that does not pass, over the "
            "whole width of their plane there; no others)"
        )
    return f"{what} keep every limit; {proof} among the rows that [plan] allows{alike}{ends}."
