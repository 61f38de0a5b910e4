"""What `tests` prints."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from fea.strength_tests.results import CampaignResult
from viewer.report.tables import Table
from viewer.strength.page import CAUTIONS
from viewer.strength.rig_words import rig_answer, rig_remedy, rig_table, rig_verdict
from viewer.strength.words import (
    answer,
    largest_words,
    model_words,
    more_tables,
    no_gain,
    strengths_table,
    tests_table,
    units_of,
)
from viewer.terminal import print_table


def print_campaign(found: CampaignResult, console: Console) -> None:
    """Answer, strengths, tests, notes."""
    console.print(Text(found.campaign.table.campaign.name, style="bold"), highlight=False)
    console.print(Text(answer(found)), highlight=False)
    console.print(Text(largest_words(found)), highlight=False)
    console.print()
    print_table(console, strengths_table(found))
    tests = tests_table(found)
    print_table(
        console,
        Table(
            tests.caption,
            tests.heads[:5] + tests.heads[-1:],
            "tnnnnt",
            tuple(r[:5] + r[-1:] for r in tests.rows),
        ),
    )
    rig = rig_table(found, units_of(found))
    if rig is not None and found.calibration is not None:
        console.print(Text(rig_answer(found, units_of(found))), highlight=False)
        console.print(Text(f"{rig_verdict(found.calibration)} {rig_remedy(found)}".strip()), highlight=False)
        console.print()
        some = (0, 1, 2, 3, 4, 7, 8)
        print_table(
            console,
            Table(
                rig.caption,
                tuple(rig.heads[i] for i in some),
                "tnnnnnn",
                tuple(tuple(row[i] for i in some) for row in rig.rows),
            ),
        )
    for table in more_tables(found):
        print_table(console, table)
    for line in (*no_gain(found), model_words(found), *found.notes, *CAUTIONS):
        if line:
            console.print(Text(f"- {line}"), highlight=False)
