"""The answer of `plan` on the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from fea.planning.plan import TRIED, Plan, closer_words
from roofmodel.units import UnitSystem
from viewer.caution_lines import caution_text, split_cautions
from viewer.package.bill import splice_caution
from viewer.places import place_line, place_over
from viewer.plan.words import (
    Beside,
    ends_in_words,
    nth_seam,
    protected_by_row,
    row_lines,
    threats_in_words,
    verdict_words,
)
from viewer.quantities import column, percent, system
from viewer.style import CAUTION
from viewer.terminal import plain_table
from viewer.unheld import falling_sentence

_LOUD = "bold white on red3"
_DANGER = "Snow that slides off kills, and so do falls from roofs."


def print_plan(plan: Plan, beside: tuple[Beside, ...], console: Console) -> None:
    """Print what threatens what, the rows, their material, and the comparison."""
    project = plan.analysis.project
    units = system(project.table.project.units)
    lines: list[Text | Table] = [Text(project.table.project.name, style="bold")]
    if plan.failure:
        lines.append(Text(verdict_words(plan), style=_LOUD))
        lines += [
            Text(words) for words in (plan.advice, *(c for c in plan.notes if c.startswith(TRIED))) if words
        ]
        lines.append(Text())
    marked = bool(project.table.protect)
    lines += [Text(words) for words in threats_in_words(plan, rows=not marked)]
    lines += [Text(), _rows(plan, units, marked), Text(), Text(material_words(plan, units))]
    if beside:
        lines += [Text(), _compared(beside, units)]
        lines += [
            Text(f"Clamps on every {nth_seam(one.every)}: {one.failure}.") for one in beside if one.failure
        ]
        lines += [Text(note) for one in beside for note in _closer(one)]
    verdict, _, proof = (
        verdict_words(plan).partition("; ")
        if plan.passed and not plan.proven
        else (verdict_words(plan), "", "")
    )
    verdict = f"{verdict.removesuffix('.')}."
    if not plan.failure:
        lines += [Text(), Text(verdict, style="bold" if plan.passed else _LOUD)]
    deadly, others = split_cautions(plan.analysis, units, falling_sentence(plan.analysis, units))
    place = place_line(plan.place, plan.analysis, units)
    if place:
        loud = place_over(plan.place, plan.analysis, units)
        lines.append(caution_text(place) if loud else Text(place))
    lines += [caution_text(words) for words in (*plan.cautions, *deadly, *others)]
    placed = plan.analysis.project
    short = ends_in_words(plan, units)
    proof = f"{proof[:1].upper()}{proof[1:]}"
    said = (words for words in plan.notes if not (plan.failure and words.startswith(TRIED)))
    notes = (short, *said, splice_caution(placed), proof)
    lines += [Text(words) for words in notes if words]
    lines.append(Text(f"{CAUTION} {_DANGER}", style="dim"))
    for line in lines:
        console.print(line, highlight=False)


def _closer(one: Beside) -> tuple[str, ...]:
    """Rows of a compared plan that cannot have its spacing, in words."""
    return () if one.plan is None else closer_words(one.plan.rows, (one.every,))


def _rows(plan: Plan, units: UnitSystem, marked: bool) -> Table:
    """Rows as a table; what each protects takes the place of its plane, which its name begins with."""
    lines = row_lines(plan)
    table = plain_table("Planned rows")
    length = units.label("length")
    heads = (
        "row",
        *([] if marked else ["plane"]),
        f"up {length}",
        f"from {length}",
        f"to {length}",
        "every",
        "clamps",
        "used",
        "of",
        *(["protects"] if marked else []),
    )
    for head in heads:
        right = head not in ("row", "plane", "of", "protects")
        folds = head in ("of", "protects")
        table.add_column(head, justify="right" if right else "left", no_wrap=not folds)
    protects = protected_by_row(plan)
    numbers = [
        column([getattr(line, name) for line in lines], "length", units, 4) for name in ("up", "start", "end")
    ]
    for line, up, start, end, held in zip(lines, *numbers, protects, strict=True):
        table.add_row(
            line.name,
            *([] if marked else [line.plane]),
            up,
            start,
            end,
            nth_seam(line.every),
            str(line.clamps),
            percent(line.utilization),
            line.limit,
            *([held] if marked else []),
        )
    return table


def material_words(plan: Plan, units: UnitSystem) -> str:
    """Rail, clamps and cost of a plan."""
    return (
        f"{units.text(plan.length, 'length')} of rail, {plan.clamps:,} clamps; cost {plan.cost:,.2f} "
        f"({plan.checks} full checks)"
    )


def _compared(beside: tuple[Beside, ...], units: UnitSystem) -> Table:
    table = plain_table("Clamp spacings compared")
    for head in (
        "clamps on every",
        "rows",
        f"rail {units.label('length')}",
        "clamps",
        "cost",
        "used",
        "result",
    ):
        table.add_column(head, justify="left" if head in ("clamps on every", "result") else "right")
    for one in beside:
        plan = one.plan
        if plan is None:
            table.add_row(nth_seam(one.every), *[""] * 5, "no rows")
            continue
        table.add_row(
            nth_seam(one.every),
            str(len(plan.rows)),
            column([plan.length], "length", units, 4)[0],
            f"{plan.clamps:,}",
            f"{plan.cost:,.2f}",
            percent(max(line.utilization for line in row_lines(plan))),
            "does not pass"
            if plan.failure
            else "passes"
            if plan.passed
            else "not out of place"
            if plan.trouble
            else "not verified",
        )
    return table
