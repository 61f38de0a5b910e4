"""What `span` prints."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from fea.spans.study import StudyResult
from viewer.span.conditions import unverified
from viewer.span.words import CAUTIONS, loads_table, units_of
from viewer.terminal import print_table


def print_study(found: StudyResult, console: Console) -> None:
    """Largest loads of every rail, and what to read with them."""
    console.print(Text(found.study.table.study.name, style="bold"), highlight=False)
    if not found.verified:
        console.print(Text(unverified(found), style="bold"), highlight=False)
    for rail in found.rails:
        print_table(console, loads_table(found, rail, units_of(found)))
    for line in (*found.notes, *CAUTIONS):
        console.print(Text(f"- {line}"), highlight=False)
