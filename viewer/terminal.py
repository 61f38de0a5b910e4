"""The short answer on the terminal."""

from __future__ import annotations

import math

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from fea.analysis import Analysis
from roofmodel.units import UnitSystem
from viewer.quantities import column, percent, quantity, significant, system
from viewer.summary import (
    EXCEEDED,
    NOT_VERIFIED,
    LimitLine,
    RowLine,
    governing_text,
    least_reserve,
    limit_lines,
    row_lines,
    verdict,
)

_LOUD = "bold white on red3"
_GOOD = "bold white on green4"
_ROWS_SHOWN = 12


def print_summary(analysis: Analysis, console: Console) -> None:
    """Print verdict, governing attachment, limits, rows, self-audit and caution.

    Parameters
    ----------
    analysis : Analysis
    console : rich Console
        Colors appear only where the console has them; the words carry the meaning.
    """
    project = analysis.project.table.project
    units = system(project.units)
    answer = verdict(analysis, units)
    _say(console, Text(project.name, style="bold"))
    head = Text()
    for word in answer.words:
        head.append(f" {word.upper()} ", style=_GOOD if answer.passed else _LOUD)
        head.append(" ")
    _say(console, head, Text(answer.sentence))
    if not answer.passed:
        _say(console, *[_bullet(line) for line in answer.more])
    _say(console, *_attachment(analysis, answer.sentence), Text())
    rows = row_lines(analysis)
    _say(console, _limit_table(limit_lines(analysis), units), _row_table(rows, units))
    if len(rows) > _ROWS_SHOWN:
        _say(console, Text(f"the {_ROWS_SHOWN} most used of {len(rows)} rows", style="dim"))
    _say(console, Text(), _audit(analysis))
    caution = "A licensed engineer must review this; local code governs; strengths must come from tests."
    _say(console, Text(f"{caution} Falling snow and work at height can kill.", style="dim"))


def _say(console: Console, *what: Text | Table) -> None:
    for one in what:
        console.print(one, highlight=False)


def _bullet(text: str) -> Table:
    grid = Table.grid()
    grid.add_row(Text("- "), Text(text))
    return grid


def _attachment(analysis: Analysis, said: str) -> tuple[Text, ...]:
    """Governing attachment, unless it has been said, and the reserve on snow."""
    lines = []
    if analysis.attachment is not None:
        words = governing_text(analysis, analysis.attachment)
        lines += [] if words in said else [Text("Governing attachment: ").append(words)]
    case = least_reserve(analysis)
    factor = float(analysis.reserve[case])
    if math.isfinite(factor):
        snow = factor * analysis.factors[case].snow
        text = Text("Reserve on snow: ").append(f"{significant(factor)} × factored", style="bold")
        text.append(f", {significant(snow)} × unfactored, {analysis.snow.cases[case].name}")
        lines.append(text.append(" (dead load and temperature held)"))
    return tuple(lines)


def _table(title: str) -> Table:
    return Table(
        title=title,
        title_justify="left",
        title_style="bold",
        header_style="bold",
        box=box.SIMPLE_HEAD,
        show_edge=False,
        pad_edge=False,
        padding=(0, 1, 0, 0),
    )


def _limit_table(lines: tuple[LimitLine, ...], units: UnitSystem) -> Table:
    table = _table("Limits, worst of each")
    table.add_column("limit", no_wrap=True)
    table.add_column("at", overflow="fold")
    for name in ("demand", "resistance", "used"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    for line in lines:
        loud = line.status in (EXCEEDED, NOT_VERIFIED)
        kind = line.limit.quantity
        table.add_row(
            line.limit.name,
            "" if line.status == "not loaded" else line.target,
            _demand(line, units),
            "" if line.limit.name == "clamp combined" else quantity(line.resistance, kind, units),
            "?" if line.status == NOT_VERIFIED else percent(line.utilization),
            Text(line.status, style=_LOUD if loud else ""),
        )
    return table


def _demand(line: LimitLine, units: UnitSystem) -> str:
    if line.status == "not loaded":
        return "none"
    return "?" if math.isnan(line.demand) else quantity(line.demand, line.limit.quantity, units)


def _row_table(rows: tuple[RowLine, ...], units: UnitSystem) -> Table:
    if len(rows) > _ROWS_SHOWN:
        rows = tuple(sorted(rows, key=lambda r: (r.unverified, r.utilization), reverse=True)[:_ROWS_SHOWN])
    unit = units.label("line")
    table = _table("\nRows, snow force before load factors")
    table.add_column("row", overflow="fold")
    for name in ("clamps", f"max {unit}", f"mean {unit}"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("worst", overflow="fold")
    table.add_column("used", justify="right", no_wrap=True)
    peak, mean = column([r.peak for r in rows], "line", units), column([r.mean for r in rows], "line", units)
    for row, largest, middle in zip(rows, peak, mean, strict=True):
        used = Text(percent(row.utilization), style=_LOUD if row.utilization > 1.0 else "")
        if row.unverified:
            used = Text(f"{used.plain}, {NOT_VERIFIED}", style=_LOUD)
        table.add_row(row.name, str(row.clamps), largest, middle, row.worst, used)
    return table


def _audit(analysis: Analysis) -> Text:
    failed = [proof for proof in analysis.proofs if not proof.met]
    if failed:
        words = "; ".join(f"{p.name}: {p.error:.1e}, bar {p.bar:.0e}" for p in failed)
        return Text(f"SELF-CHECK FAILED: {words}", style=_LOUD)
    exact = [p for p in analysis.proofs if p.bar <= 1e-6]
    loose = [p for p in analysis.proofs if p.bar > 1e-6]
    worst = max((p.error for p in exact), default=0.0)
    text = f"Self-check: equilibrium, sliding flux and snow totals agree to {worst:.0e} or better"
    text += "".join(f"; {p.name}: {percent(p.error)}" for p in loose)
    return Text(f"{text} ({len(analysis.proofs)} of {len(analysis.proofs)} met)")
