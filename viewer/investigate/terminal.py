"""What `investigate` prints: what to do first, the rest in short; the page has all of it."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from viewer.investigate.blocks import blocks
from viewer.investigate.case import CaseFindings
from viewer.investigate.findings import answer, cautions, unexplained
from viewer.investigate.looks import first_and_later
from viewer.investigate.short import found_short, looks_short, others_below, ranking_short
from viewer.investigate.sizes import load_words, size_words
from viewer.investigate.words import sentences
from viewer.terminal import worded_table

LINES = 1  # of what is left unexplained


def print_case(found: CaseFindings, console: Console) -> None:
    """The answer with its verdict, what to look at, the ranking, the cautions."""

    def say(text: str, style: str = "") -> None:
        console.print(Text(text, style=style), highlight=False)

    say(found.evidence.table.case.name, "bold")
    headline, verdict, *others = sentences(answer(found))
    say(headline, "bold")
    say(verdict, "bold")
    for line in (*others, size_words(found), load_words(found)):
        if line:
            say(line)
    first, later = first_and_later(found)
    if first:
        console.print()
        say("What would change the answer, first:", "bold")
        tables = blocks(found)
        for line in looks_short(first) if tables else first:
            say(f"- {line}")
        if tables:
            say(f"To paste into {found.evidence.path.name}, with ? filled in:")
            for line in tables:
                say(f"  {line}")
    console.print()
    console.print(worded_table(ranking_short(found)), highlight=False)
    rest = [one for one in unexplained(found) if found.fits[0].unexplained or "leaves" not in one]
    lines = [others_below(found), *rest[:LINES], *found_short(found)]
    for line in filter(None, lines):
        say(f"- {line}")
    more = f", {len(later)} more that would change the answer" if later else ""
    say(f"investigation.html has all entries, all that is left unexplained{more}, and what was assumed.")
    console.print()
    for line in cautions(found):
        say(line, "dim")
