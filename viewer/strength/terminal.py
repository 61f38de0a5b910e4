"""What `tests` prints: the answer, strengths of every format, odd tests, warnings; tests.html has it all."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from fea.strength_tests.results import CampaignResult
from viewer.loud import is_loud, rest_words
from viewer.report.tables import Table
from viewer.strength.rig_words import rig_remedy, rig_short, rig_verdict
from viewer.strength.words import (
    SUSPECT,
    formats_table,
    headline,
    largest_words,
    tests_table,
    units_of,
)
from viewer.terminal import print_table

CAUTION = (
    "A licensed engineer must review this; local code governs. It holds for what was tested alone. Falling "
    "snow and ice can kill."
)
WAYS = "The tests failed in"


def print_campaign(found: CampaignResult, console: Console) -> None:
    """Answer, strengths, odd tests, warnings, and where the rest stands."""

    def say(text: str) -> None:
        console.print(Text(text), highlight=False)

    console.print(Text(found.campaign.table.campaign.name, style="bold"), highlight=False)
    say(headline(found))
    say(largest_words(found))
    console.print()
    print_table(console, formats_table(found))
    if odd := _odd_tests(found):
        print_table(console, odd)
    if found.calibration is not None:
        say(rig_short(found, units_of(found)))
        if not found.calibration.fits:
            say(f"{rig_verdict(found.calibration)} {rig_remedy(found)}".strip())
    told = [line for line in found.notes if _told(line)]
    for line in told:
        say(f"- {_in_short(line)}")
    say(f"- {CAUTION}")
    rest = len(found.notes) - len(told)
    say(rest_words(rest, "tests.html", ("every test", "all factors", "what more tests would buy")))


def _told(note: str) -> bool:
    return is_loud(note) or SUSPECT in note or note.startswith(WAYS)


def _in_short(note: str) -> str:
    """A note of several ways to fail up to its first advice; all others whole."""
    first = note.split(". ")[0]
    return f"{first}; tests.html says what to do." if note.startswith(WAYS) and not is_loud(note) else note


def _odd_tests(found: CampaignResult) -> Table | None:
    """Tests that do not count or may not belong."""
    tests = tests_table(found)
    odd = tuple(row for row, mark in zip(tests.rows, tests.marks, strict=True) if mark)
    if not odd:
        return None
    return Table(
        f"Odd tests, of {len(tests.rows)}",
        (*tests.heads[:2], tests.heads[3], tests.heads[-1]),
        "tnnt",
        tuple((*row[:2], row[3], row[-1]) for row in odd),
    )
