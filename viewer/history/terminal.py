"""What `history` prints."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from viewer.history.findings import CAUTIONS, HistoryFindings, said


def print_history(found: HistoryFindings, console: Console) -> None:
    """Most snow, windows, cautions."""
    console.print(Text(found.project.table.project.name, style="bold"), highlight=False)
    console.print(Text(f"Plane {found.project.roof.planes.name[found.plane]}"), highlight=False)
    for line in said(found):
        console.print(Text(f"- {line}"), highlight=False)
    for line in CAUTIONS:
        console.print(Text(line, style="dim"), highlight=False)
