"""What `blanket` prints."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from fea.blanket.study import BlanketStudy
from viewer.blanket.words import (
    CAUTIONS,
    balance_lines,
    by_check,
    clamp_heads,
    clamp_lines,
    comparison_lines,
    headline,
    layer_lines,
    leaving,
    proof_line,
    row_heads,
    row_lines,
    shown,
    units_of,
    verdict,
)
from viewer.terminal import plain_table

_SHOWN = 8


def print_blanket(study: BlanketStudy, console: Console) -> None:
    """Print verdict, rows, clamps, balance and what to read with them."""
    units, choice = units_of(study), study.setting.choice
    console.print(Text(study.project.table.project.name, style="bold"), highlight=False)
    loud = "bold white on green4" if verdict(study) == "kept" else "bold white on red3"
    head = Text(f" {verdict(study).upper()} ", style=loud)
    console.print(head, Text(headline(study)), highlight=False)
    if leaving(study):
        console.print(Text(leaving(study), style="bold"), highlight=False)
    if by_check(study):
        console.print(Text(by_check(study)), highlight=False)
    console.print(
        Text(
            f"Case: {study.setting.case.name}. Snow of {units.text(choice.density, 'density')}, cells of "
            f"{units.text(study.setting.step, 'length')} ({len(study.answers[0].view.layer.corner):,})."
        ),
        highlight=False,
    )
    for answer in study.answers:
        console.print(Text(f"{answer.view.name}: {answer.view.words}."), highlight=False)
    names = [answer.view.name for answer in shown(study)]
    if len(names) < len(study.answers):
        console.print(Text("Tables show the first two states and the hardest of the others; files show all."))
    tables = (
        ("Rows: force down the slope as the snow lies; use of the layer", row_heads(study), row_lines(study)),
        (
            "Clamps that rise most over their tributary force",
            clamp_heads(study),
            clamp_lines(study, _SHOWN),
        ),
        ("Where the driving force goes", ("", *names), balance_lines(study)),
        (
            "Single stops beside a row on the same seams, coherent snow",
            ("", "single stops", "row"),
            comparison_lines(study),
        ),
    )
    for caption, heads, lines in tables:
        if not lines:
            continue
        table = plain_table(caption)
        for i, name in enumerate(heads):
            table.add_column(name, justify="right" if i else "left", overflow="fold")
        for cells in lines:
            table.add_row(*cells)
        console.print(table, highlight=False)
    console.print(Text(proof_line(study)), highlight=False)
    compared = () if study.comparison is None else study.comparison.words
    for line in (*layer_lines(study), *compared, *study.notes, *CAUTIONS):
        console.print(Text(f"- {line}"), highlight=False)
