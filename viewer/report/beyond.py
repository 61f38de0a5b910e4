"""Table of what follows the first failure."""

from __future__ import annotations

from fea.analysis import Analysis
from viewer.quantities import significant
from viewer.report.tables import Table

SHOWN = 12  # events in the table


def beyond_table(analysis: Analysis) -> Table | None:
    """Events in their order."""
    found = analysis.beyond
    if found is None or not found.event:
        return None
    rows = tuple(
        (str(i + 1), significant(t), words)
        for i, (t, words) in enumerate(zip(found.factor[:SHOWN], found.event[:SHOWN], strict=True))
    )
    more = len(found.event) - len(rows)
    note = f"{more} more events follow. " if more > 0 else ""
    name = analysis.project.layout.row_name[found.row]
    heads = ("Event", "× factored snow", "What happens")
    return Table(
        f"Row {name} past its first failure", heads, "nnt", rows, note=f"{note}{' '.join(found.notes)}"
    )
