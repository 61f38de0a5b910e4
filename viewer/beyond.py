"""What follows the first failure, for terminal, report and results."""

from __future__ import annotations

import math
from typing import Any

from fea.analysis import Analysis
from fea.checks.beyond import Beyond
from viewer.quantities import significant

SUDDEN = 1.02  # load at the end over that of the first failure, up to which there was no warning


def beyond_sentences(analysis: Analysis) -> tuple[str, ...]:
    """How the governing row goes on, in one or two sentences; empty when nobody asked."""
    found = analysis.beyond
    if found is None:
        return ()
    row = analysis.project.layout.row_name[found.row]
    case = analysis.snow.cases[found.case].name
    if math.isnan(found.last):
        return (
            f"Row {row} was not followed past its first failure: {' '.join(found.notes[:1]) or found.end}",
        )
    if not found.event:
        return (f"Row {row}, case “{case}”: {found.end}, and nothing gives way before.",)
    start = (
        f"Row {row}, case “{case}”: the first part gives way at {significant(found.first)} times the "
        f"factored snow ({found.event[0]})"
    )
    if not found.last > SUDDEN * found.first:
        after = (
            f" At that load the others follow, {found.slipped} clamps in all, and"
            if found.slipped > 1
            else ""
        )
        tail = (
            f"{after} {found.end}: there is no reserve and no warning." if after else f" There {found.end}."
        )
        return (f"{start}.{tail}", *_before(analysis, found.first))
    tail = f"it carries up to {significant(found.last)} times, then {found.end}."
    return (f"{start}; {tail}", *_before(analysis, found.first))


def _before(analysis: Analysis, first: float) -> tuple[str, ...]:
    """What the path does not know, and that the check's own reserve comes first where it does."""
    found = analysis.beyond
    assert found is not None
    words = "Panels and their fixed points are taken as rigid and strong on this path."
    reserve = float(analysis.reserve[found.case])
    if reserve < 0.99 * first:
        words += (
            f" The check's own reserve in this case is {significant(reserve)} times the factored snow: "
            "another limit, or panels that give way, comes first."
        )
    return (words,)


def beyond_data(analysis: Analysis) -> dict[str, Any] | None:
    """For results.json, null when nobody asked."""
    found: Beyond | None = analysis.beyond
    if found is None:
        return None
    return {
        "row": analysis.project.layout.row_name[found.row],
        "case": analysis.snow.cases[found.case].name,
        "force_at_top": found.top,
        "first_failure": found.first,
        "last_load": found.last,
        "end": found.end,
        "clamps_past_strength": found.slipped,
        "events": [{"factor": t, "what": w} for t, w in zip(found.factor, found.event, strict=True)],
        "notes": found.notes,
    }
