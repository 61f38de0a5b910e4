"""What `span` prints."""

from __future__ import annotations

import re
from dataclasses import replace

from rich.console import Console
from rich.text import Text

from fea.spans.study import StudyResult
from viewer.report.tables import Table
from viewer.span.conditions import unverified
from viewer.span.words import CAUTIONS, loads_table, units_of
from viewer.terminal import print_table

WIDE = 110  # narrower consoles get what governs below its load


def _stacked(loads: Table) -> Table:
    """The table with what governs on lines of its own, so that no range of loads is torn."""
    rows = tuple(tuple(_cell(cell) for cell in row) for row in loads.rows)
    return replace(loads, rows=rows)


def _cell(cell: str) -> str:
    return re.sub(r"(?<=\d) (?=[a-z])", "\n", re.sub(r"(?<=\d) to (?=\d)", "–", cell), count=1)


def print_study(found: StudyResult, console: Console) -> None:
    """Largest loads of every rail, and what to read with them."""
    console.print(Text(found.study.table.study.name, style="bold"), highlight=False)
    if not found.verified:
        console.print(Text(unverified(found), style="bold"), highlight=False)
    for rail in found.rails:
        loads = loads_table(found, rail, units_of(found))
        print_table(console, _stacked(loads) if console.width < WIDE else loads)
    for line in (*found.notes, *CAUTIONS):
        console.print(Text(f"- {line}"), highlight=False)
