"""What `risk` prints."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from viewer.risk.findings import CAUTIONS, RiskFindings, answer, said, tables
from viewer.terminal import print_table


def print_risk(found: RiskFindings, console: Console) -> None:
    """The chance, what it hangs on, and the cautions."""
    console.print(Text(found.analysis.project.table.project.name, style="bold"), highlight=False)
    console.print(Text(answer(found), style="bold"), highlight=False)
    for line in said(found):
        console.print(Text(f"- {line}"), highlight=False)
    console.print()
    for table in tables(found):
        if table.rows:
            print_table(console, table)
    for line in CAUTIONS:
        console.print(Text(line, style="dim"), highlight=False)
