"""What `risk` prints."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from viewer.risk.findings import CAUTIONS, RiskFindings, answer, said, tables
from viewer.terminal import plain_table


def print_risk(found: RiskFindings, console: Console) -> None:
    """The chance, what it hangs on, and the cautions."""
    console.print(Text(found.analysis.project.table.project.name, style="bold"), highlight=False)
    console.print(Text(answer(found), style="bold"), highlight=False)
    for line in said(found):
        console.print(Text(f"- {line}"), highlight=False)
    for table in tables(found):
        if not table.rows:
            continue
        console.print()
        shown = plain_table(table.caption)
        for head, kind in zip(table.heads, table.numeric, strict=True):
            shown.add_column(head, justify="right" if kind == "n" else "left", overflow="fold")
        for row in table.rows:
            shown.add_row(*row)
        console.print(shown, highlight=False)
    console.print()
    for line in CAUTIONS:
        console.print(Text(line, style="dim"), highlight=False)
