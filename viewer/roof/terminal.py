"""The tables of `eavewright roof` on the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from roofmodel.shape.clutter import clutter_words
from roofmodel.shape.up_axis import doubts
from viewer.roof.curved import curved_lines
from viewer.roof.read import SeenRoof
from viewer.roof.words import axes_words, edge_lines, plane_lines, roof_table, summary_words, unusual_words
from viewer.terminal import plain_table

SHOWN = 60  # rows of a table; the rest is in roof.json


def print_roof(seen: SeenRoof, console: Console) -> None:
    """Print planes, edges, and what was assumed and repaired."""
    roof, units = seen.roof, seen.units
    console.print(Text(seen.title, style="bold"), highlight=False)
    console.print(Text(summary_words(roof, units)), highlight=False)
    for caution in (unusual_words(roof, units), *doubts(roof)):
        if caution:
            console.print(
                Text(" CAUTION ", style="bold black on yellow3").append(f" {caution}", style="bold")
            )
    if clutter := clutter_words(roof):
        console.print(Text(clutter, style="bold"))
    console.print()
    planes = plain_table("Planes")
    planes.add_column("plane", no_wrap=True)
    for name in ("slope", "falls to", "area on slope", "on plan"):
        planes.add_column(name, justify="right", no_wrap=True)
    lines = plane_lines(roof, units)
    for one in lines[:SHOWN]:
        planes.add_row(one.name, one.slope, one.falls, one.true_area, one.plan_area)
    console.print(planes, highlight=False)
    _more(console, len(lines), "planes")
    _curved(seen, console)
    edges = plain_table("Edges")
    edges.add_column("edge", overflow="fold")
    edges.add_column("kind", no_wrap=True)
    for name in ("length", "rises", "height"):
        edges.add_column(name, justify="right", no_wrap=True)
    rows = edge_lines(roof, units)
    for row in rows[:SHOWN]:
        edges.add_row(row.name, row.kind, row.length, row.rises, row.height)
    console.print(edges, highlight=False)
    _more(console, len(rows), "edges")
    console.print(Text("Read, assumed and repaired", style="bold"), highlight=False)
    for note in [note for note in roof.notes if note not in doubts(roof)] or ("nothing",):
        console.print(Text(f"- {note}"), highlight=False)
    if table := roof_table(seen):
        console.print(Text("\nFor the project file (eavewright new imported)", style="bold"), highlight=False)
        console.print(Text(table), highlight=False, soft_wrap=True)
    if axes := axes_words(seen):
        console.print(Text(axes), highlight=False)


def _curved(seen: SeenRoof, console: Console) -> None:
    """Vaults, domes and cones, where there are any."""
    lines = curved_lines(seen.roof, seen.units)
    if not lines:
        return
    table = plain_table("Curved regions")
    table.add_column("kind", no_wrap=True)
    table.add_column("planes", overflow="fold")
    for name in ("radius", "rise", "span", "area on slope", "on plan"):
        table.add_column(name, justify="right", no_wrap=True)
    for line in lines:
        table.add_row(*line)
    console.print(table, highlight=False)
    console.print()


def _more(console: Console, count: int, what: str) -> None:
    if count > SHOWN:
        console.print(Text(f"the first {SHOWN} of {count} {what}; all are in roof.json", style="dim"))
    console.print()
