"""What `push` says."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from fea.analysis import Analysis
from fea.push.project import SAME, ProjectPush
from viewer.quantities import quantity, significant, system
from viewer.report.tables import Table
from viewer.terminal import print_table

SHOWN = 15  # events in the table
CAUTIONS = (
    "A virtual test is no test: clamp strengths must come from the maker's tests on this seam and sheet.",
    "Results need review by a licensed engineer. Local code governs.",
    "Falling snow and ice can kill. Work at height can kill.",
)


def snow_words(found: ProjectPush) -> str:
    """What a factor of 1 means."""
    return "unfactored snow" if found.nominal else "factored snow"


def answer(analysis: Analysis, found: ProjectPush) -> str:
    """The outcome in a sentence or two, and where something gives way sooner at an end not shown."""
    sooner = [one for one in found.others if one.answered and one.first < (1.0 - SAME) * found.push.first]
    if not sooner:
        return _shown(analysis, found)
    one = min(sooner, key=lambda one: one.first)
    return (
        f"{_shown(analysis, found)} Where {one.state}, the first event comes at {significant(one.first)} "
        "times already."
    )


def _shown(analysis: Analysis, found: ProjectPush) -> str:
    push, units = found.push, system(analysis.project.table.project.units)
    case, snow = analysis.snow.cases[found.case].name, snow_words(found)
    start = f"Case “{case}”: "
    if not push.answered:
        return f"{start}{push.end}"
    row, load = push.bay.layout.row_name[push.weakest], push.total[push.weakest] * push.most
    carried = f"row {row} then carries {quantity(float(load), 'force', units)} down the slope"
    if not push.events:
        return f"{start}nothing gives way up to {significant(push.most)} times the {snow}; {carried}."
    first = (
        f"{start}the first event comes at {significant(push.first)} times the {snow} ({push.events[0].words})"
    )
    if not push.collapsed:
        return f"{first}; {push.end.replace('the snow', f'the {snow}')}; {carried}."
    if push.most <= 1.02 * push.first:
        sudden = f"row {row} lets go at {significant(push.most)} times: no reserve and no warning"
        return f"{first}; {sudden}; {carried}."
    return f"{first}; row {row} lets go at {significant(push.most)} times; {carried}."


def check_words(found: ProjectPush) -> str:
    """Where the check says less than the push; empty for nowhere."""
    if not (found.exceeded or found.optimistic):
        return ""
    over = f"the check fails in this case ({', '.join(found.exceeded)})" if found.exceeded else ""
    if found.optimistic:
        lower = f"the check's reserve is {significant(found.check_reserve)}, less than what holds here"
        over = f"{over}; {lower}" if over else f"{lower}, for it has limits that the push has not"
    return f"THE CHECK GOVERNS: {over}."


def missing_words(found: ProjectPush) -> str:
    """What nobody gave; empty for nothing."""
    if not found.missing:
        return ""
    return (
        f"NOT VERIFIED: {', '.join(found.missing)} not given; what is loaded without a strength counts as "
        "unlimited here, so the true load may be lower."
    )


def events_table(analysis: Analysis, found: ProjectPush) -> Table:
    """Events in their order."""
    units, push = system(analysis.project.table.project.units), found.push
    rows = tuple(
        (
            str(i + 1),
            significant(event.factor),
            quantity(float(push.moved[event.point, push.weakest]), "size", units),
            event.words,
        )
        for i, event in enumerate(push.events[:SHOWN])
    )
    more = len(push.events) - len(rows)
    name = push.bay.layout.row_name[push.weakest]
    return Table(
        "Events",
        ("Event", f"× {snow_words(found)}", f"Row {name} has moved", "What happens"),
        "nnnt",
        rows,
        note=f"{more} more in events.csv." if more > 0 else "",
    )


def print_push(analysis: Analysis, found: ProjectPush, console: Console) -> None:
    """Answer, events, notes."""
    console.print(Text(answer(analysis, found)), highlight=False)
    if found.nominal:
        console.print(Text("NOT FOR DESIGN: nominal strengths, loads without factors."), highlight=False)
    for words in (missing_words(found), check_words(found)):
        if words:
            console.print(Text(words), highlight=False)
    console.print()
    if found.push.events:
        table = events_table(analysis, found)
        print_table(console, table)
        if table.note:
            console.print(Text(table.note), highlight=False)
    for line in (*found.notes, *CAUTIONS):
        console.print(Text(f"- {line}"), highlight=False)
