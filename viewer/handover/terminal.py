"""What `handover` prints."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from fea.analysis import Analysis
from viewer.package.bill import Bill, bill_lines
from viewer.quantities import system
from viewer.summary import verdict


def print_handover(analysis: Analysis, bill: Bill, console: Console) -> None:
    """Verdict and quantities."""
    project = analysis.project
    found = verdict(analysis, system(project.table.project.units))
    console.print(f"{project.table.project.name}: {found.sentence}", markup=False, highlight=False)
    if not found.passed:
        console.print("Do not order or install from these files.", style="bold", highlight=False)
    table = Table(box=None, pad_edge=False)
    for head, side in (
        ("Item", "left"),
        ("Size", "left"),
        ("Quantity", "right"),
        ("", "left"),
        ("Note", "left"),
    ):
        table.add_column(head, justify="right" if side == "right" else "left")
    for item, size, count, unit, note in bill_lines(project, bill):
        table.add_row(item, size, f"{count:,}", unit, note)
    console.print(table)
    if len(bill.too_long):
        console.print(
            f"{len(bill.too_long)} pieces of rail are longer than rail.stock_length; splice them.",
            style="bold",
            highlight=False,
        )
