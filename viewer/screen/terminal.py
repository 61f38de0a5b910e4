"""The short answer of a screening on the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from viewer.screen.findings import (
    BASIS,
    NO_EDGE,
    RANK,
    ScreenFindings,
    leaves_inside,
    shared_words,
    short_id,
    summary_words,
)
from viewer.screen.page import ranking_table
from viewer.style import CAUTION
from viewer.terminal import plain_table

TOP, FAILED, SHORT = 15, 5, 14


def print_screen(findings: ScreenFindings, console: Console) -> None:
    """Print summary, the first of the ranking, what failed, and the cautions."""
    say = console.print
    say(Text(str(findings.plan.said["file"]), style="bold"), highlight=False)
    say(Text(summary_words(findings)), highlight=False)
    if shared := shared_words(findings):
        say(Text(shared, style="dim"), highlight=False)
    say()
    if findings.ranking:
        found = ranking_table(findings, TOP)
        table = plain_table(found.caption)
        for head, kind in zip(found.heads, found.numeric, strict=True):
            right, whole = kind == "n", head == "Building"
            table.add_column(head, justify="right" if right else "left", overflow="fold", no_wrap=whole)
        for row in found.rows:
            table.add_row(row[0], short_id(row[1], SHORT), *row[2:])
        say(table, highlight=False)
        say(Text(RANK, style="dim"), highlight=False)
        if leaves_inside(findings, TOP):
            say(Text(NO_EDGE), highlight=False)
    say(Text(BASIS, style="dim"), highlight=False)
    for one in findings.failed[:FAILED]:
        say(Text(f"Not screened: {one['number']} {one['id']}: {one['reason']}"), highlight=False)
    if len(findings.failed) > FAILED:
        say(Text(f"and {len(findings.failed) - FAILED} more; all are in screen.csv"), highlight=False)
    say(Text(f"{CAUTION} Falling snow and work at height can kill.", style="dim"), highlight=False)
