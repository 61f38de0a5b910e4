"""The short answer on the terminal."""

from __future__ import annotations

import math

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from fea.analysis import Analysis
from roofmodel.units import UnitSystem
from viewer.as_tested import read_as_tested
from viewer.beyond import beyond_sentences
from viewer.building_words import rising_line
from viewer.caution_lines import CUT, caution_text, first_words, split_cautions
from viewer.combining import combination
from viewer.package.bill import splice_line
from viewer.quantities import brief, column, percent, quantity, significant, system
from viewer.report import tables
from viewer.row_summary import PEAK_NOTE, SLIGHT, RowLine, peak_places, row_lines
from viewer.summary import (
    AS_TESTED,
    EXCEEDED,
    NOT_LOADED,
    NOT_VERIFIED,
    LimitLine,
    governing_text,
    least_reserve,
    limit_lines,
    remedy,
    verdict,
)

_LOUD = "bold white on red3"
_GOOD = "bold white on green4"
_ROWS_SHOWN = 12
_ENDS_SHOWN = 3
_TABLE_WIDTH = 76  # narrower consoles get one block of lines a limit and row


def print_summary(analysis: Analysis, console: Console, place: str = "") -> None:
    """Print verdict, governing attachment, limits, rows, self-audit and caution.

    Parameters
    ----------
    analysis : Analysis
    console : rich Console
        Colors appear only where the console has them; the words carry the meaning.
    place : str
        Tolerance of place in a line.
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
    deadly, others = split_cautions(analysis, units, answer.falling)
    _say(console, *[caution_text(line) for line in deadly])
    if not answer.passed:
        _say(console, *[_bullet(line) for line in answer.more])
    _say(console, *([Text(place, style="bold" if "NOT TESTED" in place else "")] if place else []))
    missing = splice_line(analysis.project)
    _say(console, *([Text(missing, style="bold")] if missing else []))
    short = [first_words(line, console.width) for line in others]
    _say(console, *[caution_text(line) for line in short])
    _say(console, *_attachment(analysis, answer.sentence), Text())
    rows, tested = row_lines(analysis), read_as_tested(analysis)
    if console.width < _TABLE_WIDTH:
        _say(console, *_limit_blocks(limit_lines(analysis), units, tested), Text())
        _say(console, *_row_blocks(rows, units))
    else:
        _say(console, _limit_table(limit_lines(analysis), units, tested))
        _say(console, *_footnote(tested), _row_table(rows, units))
    if any(" to " in place for place in peak_places(rows, units)):
        _say(console, Text(f"max: {PEAK_NOTE}", style="dim"))
    beyond = _beyond_ends(rows, units)
    _say(console, *([Text(beyond)] if beyond else []))
    if len(rows) > _ROWS_SHOWN:
        _say(console, Text(f"the {_ROWS_SHOWN} most used of {len(rows)} rows", style="dim"))
    building = rising_line(analysis)
    _say(console, *([Text(), Text(building)] if building else []))
    _say(console, Text(), _audit(analysis, units))
    cut = [line for line, one in zip(others, short, strict=True) if one.endswith(CUT) and one != line]
    if cut:
        _say(console, Text("\nCautions in full", style="bold"), *[_bullet(line) for line in cut], Text())
    caution = "A licensed engineer must review this; local code governs; strengths must come from tests."
    _say(console, Text(f"{caution} Falling snow and work at height can kill.", style="dim"))


def _say(console: Console, *what: Text | Table) -> None:
    for one in what:
        console.print(one, highlight=False)


def _bullet(text: str) -> Table:
    grid = Table.grid()
    grid.add_row(Text("- "), Text(text))
    return grid


def _footnote(tested: bool) -> tuple[Text, ...]:
    return (Text(f"* {AS_TESTED}", style="dim"),) if tested else ()


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
        needed = f"{significant(snow)} × unfactored ({analysis.factors[case].snow:g} needed)"
        text.append(f", that is {needed}; {analysis.snow.cases[case].name}")
        lines.append(text.append(" (dead load and temperature held)"))
        lines.append(Text(f"Combination: {combination(analysis, case)}"))
    lines += [Text(f"Past the first failure: {words}") for words in beyond_sentences(analysis)]
    return tuple(lines)


def plain_table(title: str) -> Table:
    """A table without frames, its title on the left."""
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


def worded_table(table: tables.Table) -> Table:
    """A table of words as the terminal shows it, numbers to the right."""
    shown = plain_table(table.caption)
    for head, kind in zip(table.heads, table.numeric, strict=True):
        shown.add_column(head, justify="right" if kind == "n" else "left", overflow="fold")
    for row in table.rows:
        shown.add_row(*row)
    return shown


def print_table(console: Console, table: tables.Table) -> None:
    """Print one table and a blank line."""
    console.print(worded_table(table), highlight=False)
    console.print()


def _limit_table(lines: tuple[LimitLine, ...], units: UnitSystem, tested: bool) -> Table:
    table = plain_table("Limits, worst of each")
    table.add_column("limit", no_wrap=True)
    table.add_column("at", overflow="fold")
    for name in ("demand", "resistance", "used"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    for line in lines:
        table.add_row(
            _limit_name(line, tested),
            "" if line.status == NOT_LOADED else line.target,
            _demand(line, units),
            _resistance(line, units),
            _used(line),
            Text(line.status, style=_LOUD if line.status in (EXCEEDED, NOT_VERIFIED) else ""),
        )
    return table


def _limit_name(line: LimitLine, tested: bool) -> str:
    return f"{line.limit.name}*" if tested and line.limit.name == "clamp along the seam" else line.limit.name


def _resistance(line: LimitLine, units: UnitSystem) -> str:
    return (
        "" if line.limit.name == "clamp combined" else quantity(line.resistance, line.limit.quantity, units)
    )


def _used(line: LimitLine) -> str:
    return "?" if line.status == NOT_VERIFIED else percent(line.utilization)


def _demand(line: LimitLine, units: UnitSystem) -> str:
    if line.status == NOT_LOADED:
        return "–"
    return "?" if math.isnan(line.demand) else brief(line.demand, line.limit.quantity, units)


def _limit_blocks(lines: tuple[LimitLine, ...], units: UnitSystem, tested: bool) -> list[Text | Table]:
    """The limits as lines under each other, for a narrow console."""
    out: list[Text | Table] = [Text("Limits, worst of each", style="bold")]
    for line in lines:
        loud = line.status in (EXCEEDED, NOT_VERIFIED)
        out.append(Text(_limit_name(line, tested), style="bold"))
        status = Text(line.status, style=_LOUD if loud else "")
        facts = [status]
        if line.status != NOT_LOADED:
            facts += [Text(f"{_used(line)} used")] if line.status != NOT_VERIFIED else []
            facts.append(Text(f"at {line.target}"))
            facts.append(Text(f"demand {_demand(line, units)}"))
        resistance = _resistance(line, units)
        facts += [Text(f"resistance {resistance}")] if resistance else []
        out += [_indented(fact) for fact in facts]
    return [*out, *_footnote(tested)]


def _row_blocks(rows: tuple[RowLine, ...], units: UnitSystem) -> list[Text | Table]:
    """The rows as lines under each other, for a narrow console."""
    unit = units.label("line")
    out: list[Text | Table] = [Text("Rows, snow force before load factors", style="bold")]
    rows = _most_used(rows)
    peak, mean = column([r.peak for r in rows], "line", units), column([r.mean for r in rows], "line", units)
    for row, largest, middle, place in zip(rows, peak, mean, peak_places(rows, units), strict=True):
        out.append(Text(row.name, style="bold"))
        there = f"from {place} {units.label('length')}" if " to " in place else place
        facts = [
            f"{row.clamps} clamps",
            f"max {largest} {unit}, {there}",
            f"mean {middle} {unit}",
            f"worst {row.worst}",
        ]
        out += [_indented(Text(fact)) for fact in facts]
        out.append(_indented(_row_used(row).append(" used")))
    return out


def _indented(text: Text) -> Table:
    grid = Table.grid()
    grid.add_row(Text("  "), text)
    return grid


def _most_used(rows: tuple[RowLine, ...]) -> tuple[RowLine, ...]:
    if len(rows) <= _ROWS_SHOWN:
        return rows
    return tuple(sorted(rows, key=lambda r: (r.unverified, r.utilization), reverse=True)[:_ROWS_SHOWN])


def _row_used(row: RowLine) -> Text:
    if row.unverified:
        return Text(f"{percent(row.utilization)}, {NOT_VERIFIED}", style=_LOUD)
    return Text(percent(row.utilization), style=_LOUD if row.utilization > 1.0 else "")


def _row_table(rows: tuple[RowLine, ...], units: UnitSystem) -> Table:
    rows = _most_used(rows)
    unit = units.label("line")
    table = plain_table("\nRows, snow force before load factors")
    table.add_column("row", overflow="fold")
    for name in ("clamps", f"max {unit}", f"max from-to {units.label('length')}", f"mean {unit}"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("worst", overflow="fold")
    table.add_column("used", justify="right", no_wrap=True)
    peak, mean = column([r.peak for r in rows], "line", units), column([r.mean for r in rows], "line", units)
    for row, largest, middle, place in zip(rows, peak, mean, peak_places(rows, units), strict=True):
        table.add_row(row.name, str(row.clamps), largest, place, middle, row.worst, _row_used(row))
    return table


def _beyond_ends(rows: tuple[RowLine, ...], units: UnitSystem) -> str:
    """What may come on top of the rows' own snow, the most first."""
    found = sorted((row for row in rows if row.beyond > SLIGHT * row.total), key=lambda row: -row.beyond)
    if not found:
        return ""
    words = [f"{quantity(row.beyond, 'force', units)} at {row.name}" for row in found[:_ENDS_SHOWN]]
    words += [f"{len(found) - _ENDS_SHOWN} more"] if len(found) > _ENDS_SHOWN else []
    return f"On top, from beyond the ends of partial rows: up to {', '.join(words)}. Every limit counts it."


def _audit(analysis: Analysis, units: UnitSystem) -> Text:
    failed = [proof for proof in analysis.proofs if not proof.met]
    if failed:
        words = "; ".join(
            f"{p.name}: {p.error:.1e}, bar {p.bar:.0e}{remedy(p, analysis, units)}" for p in failed
        )
        return Text(f"SELF-CHECK FAILED: {words}", style=_LOUD)
    exact = [p for p in analysis.proofs if p.bar <= 1e-6]
    loose = [p for p in analysis.proofs if p.bar > 1e-6]
    worst = max((p.error for p in exact), default=0.0)
    text = f"Self-check: equilibrium, sliding flux and snow totals agree to {worst:.0e} or better"
    text += "".join(f"; {p.name}: {percent(p.error)}" for p in loose)
    return Text(f"{text} ({len(analysis.proofs)} of {len(analysis.proofs)} met)")
