"""Metals that touch and movement of the rails, for the report and results.json."""

from __future__ import annotations

from typing import Any

import numpy as np

from fea.analysis import Analysis
from fea.checks.durability import RailMovement, couples, rail_movement
from roofmodel.project.load import Project
from roofmodel.units import UnitSystem
from viewer.quantities import quantity
from viewer.report.tables import Table

_MARK = {"fits": "", "watch": "open", "avoid": "exceeded"}


def movement_of(project: Project) -> RailMovement:
    """Movement of the project's rails."""
    gap = project.table.rail.splice_gap
    return rail_movement(
        project.layout, project.rail.material.alpha, project.rail.thermal, np.nan if gap is None else gap
    )


def couples_table(analysis: Analysis) -> Table | None:
    """Metals that touch; None without the table metals."""
    metals = analysis.project.table.metals
    if metals is None:
        return None
    found = couples(metals)
    rows = tuple(
        (
            f"{one.parts[0]} on {one.parts[1]}",
            f"{one.metals[0]} / {one.metals[1]}",
            f"{one.difference:.2f} V",
            f"{one.bound:.2f} V",
            one.judgment,
            one.why,
        )
        for one in found
    )
    return Table(
        "Metals that touch",
        ("Parts", "Metals", "Apart by", "At most", "Judgment", "Why"),
        "ttnntt",
        rows,
        tuple(_MARK[one.judgment] for one in found),
        "Anodic indices and bounds after MIL-STD-889 (from memory): 0.15 V near the sea, 0.25 V outdoors, "
        "0.50 V in dry places. Beyond the bound the less noble metal corrodes, fast where it is the smaller "
        "part. A screw or a cut edge goes through any paint.",
    )


def movement_table(analysis: Analysis, units: UnitSystem) -> Table | None:
    """Rails with temperature; None where none is given."""
    project = analysis.project
    found = movement_of(project)
    if project.rail.thermal == 0.0:
        return None
    names = project.layout.row_name
    rows = []
    for r, name in enumerate(names):
        on, at = found.row == r, found.gap_row == r
        rows.append(
            (
                name,
                str(int(on.sum())),
                quantity(float(found.length[on].max()), "length", units),
                quantity(float(found.movement[on].max()), "size", units),
                quantity(float(found.gap[at].max()), "size", units) if at.any() else "no sliding splice",
            )
        )
    given = project.table.rail.splice_gap
    limit = (
        "Give rail.splice_gap to have it compared."
        if given is None
        else f"A splice that lets {quantity(given, 'size', units)} pass suits lengths up to "
        f"{quantity(found.longest, 'length', units)} on both sides."
    )
    return Table(
        "Rails and temperature",
        ("Row", "Lengths", "Longest", "Free change of its length", "Sliding splice must let pass"),
        "tnnnn",
        tuple(rows),
        _marks(project, found),
        f"Change of temperature {quantity(project.rail.thermal, 'temperature', units)} from installation, "
        "either way; lengths between sliding splices and ends. What clamps restrain of it is in the forces "
        "of the check. " + limit,
    )


def torsion_words(analysis: Analysis) -> str:
    """What hinged and sliding splices pass on, for the sentence on the rails; "" where there are none."""
    states = analysis.states
    if len({state.project.rail.splice_torsion for state in states}) > 1:
        return "; whether they pass torsion on is not given: solved both ways, and the worse counts"
    return f"; {states[0].splices} (rail.splice_torsion)" if states[0].splices else ""


def _marks(project: Project, found: RailMovement) -> tuple[str, ...]:
    given = project.table.rail.splice_gap
    over = np.zeros(len(project.layout.row_name), dtype=bool)
    if given is not None:
        np.logical_or.at(over, found.gap_row, found.gap > given)
    return tuple("exceeded" if one else "" for one in over)


def durability_data(analysis: Analysis) -> dict[str, Any]:
    """For results.json."""
    metals, found = analysis.project.table.metals, movement_of(analysis.project)
    names = analysis.project.layout.row_name
    return {
        "couples": []
        if metals is None
        else [
            {
                "parts": one.parts,
                "metals": one.metals,
                "difference": one.difference,
                "bound": one.bound,
                "judgment": one.judgment,
            }
            for one in couples(metals)
        ],
        "rails": [
            {"row": names[r], "length": length, "movement": movement}
            for r, length, movement in zip(found.row, found.length, found.movement, strict=True)
        ],
        "longest_rail": found.longest,
    }
