"""The table of clamps, the same in attachments.csv and in the workbook."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.cautions import along_change
from fea.unknowns import SPLICES, unknown_fields
from roofmodel.units import SYSTEMS, UnitSystem
from viewer.as_tested import signed_along
from viewer.files import atomic, safe
from viewer.picture.findings import clamp_cases, clamp_utilization
from viewer.rails_deck import in_deck
from viewer.summary import clamp_states

IntArray = NDArray[np.int64]

NEWTON = "newton"  # as the deck for the other program has it, whatever the user's units
_UNITLESS = {"": "", "count": "", "ratio": "", "percent": "%", NEWTON: "N"}
_DIGITS = {"ratio": ".4f", "percent": "+.2f", "length": ".3f", NEWTON: ".6g"}


@dataclass(frozen=True)
class Column:
    """A column: head without unit, kind of number ("" for text, "count" for whole numbers), SI values."""

    head: str
    kind: str
    values: Iterable[Any]


def head_text(column: Column, units: UnitSystem) -> str:
    """Head of a column with its unit."""
    unit = _UNITLESS[column.kind] if column.kind in _UNITLESS else units.label(column.kind)
    return f"{column.head} [{unit}]" if unit else column.head


def clamp_columns(analysis: Analysis) -> list[Column]:
    """One line per clamp at its worst case.

    "Force along" is the factored force itself at the height where it is larger, below 0 where the rail pulls
    the clamp up the slope; "demand along the seam" is the size that the check takes, which may be the
    equivalent force at the test height.
    """
    project = analysis.project
    layout, planes = project.layout, project.roof.planes
    limits = {limit.name: limit for limit in analysis.limits if limit.target == "clamp"}
    worst = clamp_cases(analysis)
    c = np.arange(len(layout.clamp_name))
    plane = layout.row_plane[layout.clamp_row]
    place = planes.to_world(plane, layout.clamp_uv) + project.roof.offset
    forces = [(name, limit) for name, limit in limits.items() if limit.quantity == "force"]
    rigid = analysis.rigid_force
    change = None if rigid is None else 100.0 * along_change(analysis.clamp_force, rigid)
    return [
        Column("Attachment", "", layout.clamp_name),
        Column("Row", "", [layout.row_name[r] for r in layout.clamp_row]),
        Column("Plane", "", [planes.name[p] for p in plane]),
        Column("Seam", "count", layout.clamp_seam + 1),
        Column("Along row", "length", layout.clamp_s),
        Column("Up the slope", "length", layout.clamp_uv[:, 1]),
        Column("East", "length", place[:, 0]),
        Column("North", "length", place[:, 1]),
        Column("Height", "length", place[:, 2]),
        Column("Worst case", "", [analysis.snow.cases[q].name for q in worst]),
        Column("Tributary", "force", analysis.tributary[worst, c]),
        Column("Force along", "force", signed_along(analysis)[worst, c]),
        *_in_deck(analysis, worst),
        *(
            Column(f"Demand {n.removeprefix('clamp ')}", "force", limit.demand[worst, c])
            for n, limit in forces
        ),
        *([] if change is None else [Column("Change of force along from rigid seams", "percent", change)]),
        Column("Utilization", "ratio", clamp_utilization(analysis)),
        Column("Status", "", clamp_states(analysis)),
    ]


def _in_deck(analysis: Analysis, worst: IntArray) -> list[Column]:
    """State of the splices behind "force along", and what structure.inp has of it."""
    columns = []
    if SPLICES in unknown_fields(analysis.project):
        force = np.abs(analysis.clamp_force[..., 0])
        c, kinds = np.arange(len(worst)), len(analysis.basis.readings)
        state = force[worst, :, c].argmax(axis=1) // kinds
        columns.append(Column("Splices", "", [analysis.states[i].splices for i in state]))
    deck = in_deck(analysis, worst)
    if deck is not None:
        columns += [
            Column("Step of structure.inp", "count", deck.step),
            Column("vx in structure.inp", NEWTON, deck.force),
        ]
    return columns


def write_attachments(analysis: Analysis, path: Path) -> None:
    """Write attachments.csv: one line per clamp at its worst case, in the user's units."""
    units = SYSTEMS[analysis.project.table.project.units]
    columns = clamp_columns(analysis)
    heads = [head_text(column, units) for column in columns]
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\r\n")
    out.writerow(head[0].lower() + head[1:] for head in heads)
    cells = [[_cell(value, column.kind, units) for value in column.values] for column in columns]
    out.writerows(zip(*cells, strict=True))
    with atomic(path) as temporary:
        temporary.write_bytes(text.getvalue().encode("utf-8-sig"))


def _cell(value: Any, kind: str, units: UnitSystem) -> str:
    """A value as the file holds it; what is not verified is left empty."""
    if kind == "":
        return safe(str(value))
    if kind == "count":
        return str(int(value))
    number = float(value) if kind in _UNITLESS else units.convert(float(value), kind)
    return "" if math.isnan(number) else format(number, _DIGITS.get(kind, ".4g"))
