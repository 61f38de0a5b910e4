"""What `investigate` prints."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from viewer.investigate.case import CaseFindings
from viewer.investigate.course import nearest_told
from viewer.investigate.findings import answer, cautions, drawn, ranking, timeline, told, unexplained
from viewer.investigate.looks import first_and_later
from viewer.investigate.sizes import size_words, sizes_of_others
from viewer.investigate.words import sentences
from viewer.terminal import worded_table


def print_case(found: CaseFindings, console: Console) -> None:
    """The answer with its alternatives, what to measure, the cautions."""
    console.print(Text(found.evidence.table.case.name, style="bold"), highlight=False)
    headline, *others = sentences(answer(found))
    console.print(Text(headline, style="bold"), highlight=False)
    for line in others:
        console.print(Text(line), highlight=False)
    if size_words(found):
        console.print(Text(size_words(found)), highlight=False)
    for line in told(found):
        console.print(Text(f"- {line}"), highlight=False)
    for line in timeline(found):
        console.print(Text(f"- Weather: {line}"), highlight=False)
    console.print()
    console.print(worded_table(ranking(found)), highlight=False)
    console.print(Text(f"- {drawn(found)}"), highlight=False)
    for line in unexplained(found):
        console.print(Text(f"- {line}"), highlight=False)
    for line in sizes_of_others(found):
        console.print(Text(f"- {line}"), highlight=False)
    for cause, why in found.cannot:
        console.print(Text(f"- Not tried: {cause}, {why}"), highlight=False)
    console.print(Text(f"- {nearest_told(found)}"), highlight=False)
    console.print()
    first, later = first_and_later(found)
    for head, lines in (("What would change the answer, first", first), ("Then", later)):
        if lines:
            console.print(Text(f"{head}:", style="bold"), highlight=False)
        for line in lines:
            console.print(Text(f"- {line}"), highlight=False)
    console.print()
    for line in cautions(found):
        console.print(Text(line, style="dim"), highlight=False)
