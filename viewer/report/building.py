"""What the rows do to the building below, for the report."""

from __future__ import annotations

import numpy as np

from fea.analysis import Analysis
from fea.checks.building import BuildingLoads, building_loads
from roofmodel.units import UnitSystem
from viewer.quantities import percent, quantity
from viewer.report.tables import Table

SAME = 1e-6  # difference of two loads that is rounding [-]


def building_table(analysis: Analysis, units: UnitSystem) -> Table:
    """Snow on each plane with the rows and without, and the drag that they hand to the structure."""
    project = analysis.project
    found = building_loads(project, analysis.snow, analysis.force)
    names, cases = project.roof.planes.name, analysis.snow.cases
    rows = []
    for plane, name in enumerate(names):
        has_rows = found.rows[plane] > 0.0
        rows.append(
            (
                name,
                quantity(float(found.held[plane]), "force", units),
                quantity(float(found.held[plane] / found.area[plane]), "pressure", units),
                "–" if found.free is None else quantity(float(found.free[plane]), "force", units),
                _more(found, plane),
                cases[int(found.case[plane])].name,
                quantity(float(found.drag[plane]), "force", units) if has_rows else "no rows",
                quantity(float(found.drag[plane] / found.rows[plane]), "line_load", units)
                if has_rows
                else "–",
                cases[int(found.drag_case[plane])].name if has_rows else "–",
            )
        )
    heads = (
        "Plane",
        "Snow with rows",
        "mean",
        "without rows",
        "more",
        "Case",
        "Drag of the rows",
        "mean on rows",
        "Case",
    )
    return Table(
        "What the rows do to the building, before load factors", heads, "tnnnntnnt", tuple(rows), note=NOTE
    )


NOTE = (
    "Snow: the largest weight on the plane over all cases, vertical, with the rows and as if there were none "
    "(the standard then lets a slippery roof shed). Drag: force down the slope of all rows of the plane in "
    "one case; it goes through the clamps into the panels and ends at their fixed points, so the structure "
    "there must take it. Without rows only what friction leaves would arrive there. The engineer of the "
    "building must see both; load factors and combinations are those of its own design."
)


def _more(found: BuildingLoads, plane: int) -> str:
    if found.free is None or not found.held[plane] > 0.0:
        return "–"
    gain = float(found.held[plane] - found.free[plane])
    if abs(gain) <= SAME * found.held[plane]:
        return "0 %"
    return percent(gain / float(found.free[plane])) if found.free[plane] > 0.0 else "all of it"


def building_data(analysis: Analysis) -> list[dict[str, object]]:
    """For results.json."""
    found = building_loads(analysis.project, analysis.snow, analysis.force)
    names, cases = analysis.project.roof.planes.name, analysis.snow.cases
    free = np.full(len(names), np.nan) if found.free is None else found.free
    return [
        {
            "plane": name,
            "snow_with_rows": found.held[i],
            "snow_without_rows": free[i],
            "snow_case": cases[int(found.case[i])].name,
            "drag": found.drag[i],
            "drag_case": cases[int(found.drag_case[i])].name,
            "row_length": found.rows[i],
        }
        for i, name in enumerate(names)
    ]
