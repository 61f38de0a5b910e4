"""What `span` prints."""

from __future__ import annotations

import re
from dataclasses import replace

from rich.console import Console
from rich.text import Text

from fea.spans.study import StudyResult
from roofmodel.project.starting import example_words
from viewer.loud import is_grave, is_loud, rest_words
from viewer.report.tables import Table
from viewer.span.conditions import unverified
from viewer.span.sheet import LOUD
from viewer.span.words import loads_table, units_of
from viewer.terminal import print_table

WIDE = 110  # narrower consoles get what governs below its load
CAUTION = (
    "A licensed engineer must review this; local code governs. It is no better than the tests of the clamp, "
    "and says nothing of the roof: check every project. Falling snow and ice can kill."
)
DOUBTED = ("by adhesive alone", "doubtful")  # words that warn without capitals
GAP = 2  # characters between columns of `print_table`


def _stacked(loads: Table) -> Table:
    """The table with what governs on lines of its own, so that no range of loads is torn."""
    rows = tuple(tuple(_cell(cell) for cell in row) for row in loads.rows)
    return replace(loads, rows=rows)


def _fitting(loads: Table, width: int) -> list[Table]:
    """The table, parted between columns so that no number is torn on this many characters."""

    def need(table: Table, column: int) -> int:
        cells = (table.heads[column], *(row[column] for row in table.rows))
        return GAP + max(len(line) for cell in cells for line in cell.split("\n"))

    width += GAP  # none after the last column
    if sum(need(loads, column) for column in range(len(loads.heads))) <= width:
        return [loads]
    # A console that is too narrow takes from the widest column first, whatever it holds: words break here.
    broken = replace(
        loads,
        heads=(loads.heads[0], *(head.replace(" ", "\n") for head in loads.heads[1:])),
        rows=tuple((row[0], *(cell.replace(" ", "\n") for cell in row[1:])) for row in loads.rows),
    )
    parts: list[list[int]] = [[0]]
    for column in range(1, len(loads.heads)):
        if len(parts[-1]) > 1 and sum(need(broken, one) for one in (*parts[-1], column)) > width:
            parts.append([0])
        parts[-1].append(column)
    return [
        replace(
            loads,
            heads=tuple(broken.heads[c] for c in part),
            numeric="".join(loads.numeric[c] for c in part),
            rows=tuple(tuple(row[c] for c in part) for row in broken.rows),
        )
        for part in parts
    ]


def _cell(cell: str) -> str:
    return re.sub(r"(?<=\d) (?=[a-z])", "\n", re.sub(r"(?<=\d) to (?=\d)", "–", cell), count=1)


def print_study(found: StudyResult, console: Console) -> None:
    """Largest loads of every rail, and what warns; the pages have all notes."""
    console.print(Text(found.study.table.study.name, style="bold"), highlight=False)
    for line in example_words("study", found.study.table.study.name):
        console.print(Text(line, style="bold"), highlight=False)
    if not found.verified:
        console.print(Text(unverified(found), style="bold"), highlight=False)
    for rail in found.rails:
        loads = loads_table(found, rail, units_of(found))
        for part in _fitting(_stacked(loads) if console.width < WIDE else loads, console.width):
            print_table(console, part)
    told = [line for line in found.notes if _told(line)]
    for line in (*told, CAUTION):
        console.print(Text(f"- {line}"), highlight=False)
    if rest := rest_words(len(found.notes) - len(told), "spans.html and spans.pdf"):
        console.print(Text(rest), highlight=False)


def _told(note: str) -> bool:
    """What the screen says in full; of the tests what `tests` said in the gravest words."""
    if note.startswith("Tests, "):
        return is_grave(note)
    return is_loud(note) or any(word in note for word in (*LOUD, *DOUBTED))
