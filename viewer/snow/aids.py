"""Beside the cases: loads that stand on the eaves, and aids to judgment on density and thaw."""

from __future__ import annotations

import numpy as np

from roofmodel.snow.cases import Value
from roofmodel.snow.standing import standing_loads
from roofmodel.snow.thaw import HOURS, clear_sky, coldest_thaw
from roofmodel.units import STANDARD_GRAVITY, UnitSystem
from viewer.quantities import as_given, quantity, significant
from viewer.report.tables import Table, values_text
from viewer.snow.study import SnowStudy

DEPTHS = (0.05, 0.10, 0.20)  # [m]
# EN 1991-1-3 Annex E, from memory. [kg/m^3]
DENSITIES = (
    ("fresh", "100"),
    ("settled, hours or days after its fall", "200"),
    ("old, weeks or months after its fall", "250 to 350"),
    ("wet", "400"),
)


def _rounded(value: float, kind: str, units: UnitSystem) -> str:
    """A round number of SI, in other units with no more digits than it is worth."""
    return as_given(value, kind, units) if units.name == "SI" else quantity(value, kind, units, 2)


def standing_table(study: SnowStudy) -> Table | None:
    """Loads of the standard that stand on the eaves and do not slide."""
    project, units = study.findings.project, study.units
    loads = standing_loads(project.roof, project.site, frozenset(project.layout.row_plane.tolist()))
    if not loads:
        return None
    rows = tuple(
        (
            load.name,
            load.where,
            quantity(load.value, load.quantity, units),
            load.clause,
            load.formula,
            values_text(load.values, units),
            load.when,
        )
        for load in loads
    )
    heads = ("Load", "On", "Size", "Clause", "Formula", "Values", "When, and with what")
    return Table("Loads that stand on the eaves and do not slide", heads, "ttntsss", rows)


def density_table(study: SnowStudy) -> Table:
    """Densities of snow by its age, in the user's units."""
    units = study.units
    rows = []
    for age, text in DENSITIES:
        ends = [_rounded(float(part), "density", units) for part in text.split(" to ")]
        rows.append((age, " to ".join(ends)))
    note = (
        "EN 1991-1-3 Annex E, from memory. Snow packs denser against whatever holds it, and ice at a rail is "
        "denser still (common practice, no source): judge the density, and take the heavy end as a case."
    )
    return Table("Density of snow", ("Snow", "Mean density"), "tt", tuple(rows), note=note)


def thaw_table(study: SnowStudy) -> Table | None:
    """How cold the air may be for the bond to thaw, plane by plane; None when nobody asked."""
    project, units = study.findings.project, study.units
    if project.table.thaw is None:
        return None
    aid, planes = project.table.thaw.aid, project.roof.planes
    case = study.findings.cases[0].case
    sun = clear_sky(aid.latitude, aid.day, planes.slope, planes.azimuth)
    best = sun.argmax(axis=1)
    most = sun.max(axis=1)
    load = np.zeros(planes.count)
    for zone in case.zones:
        load[zone.plane] += float(zone.pressure[0]) if not np.any(zone.pressure[1:]) else 0.0
    design = load / (case.density * STANDARD_GRAVITY) * np.cos(planes.slope)
    depth = np.column_stack([np.broadcast_to(DEPTHS, (planes.count, 3)), np.maximum(design, 1e-3)])
    below = -coldest_thaw(aid, most[:, None], depth, case.density)
    rows = tuple(
        (
            name,
            f"{significant(float(most[i]))} W/m²",
            f"{int(HOURS[best[i]])}:{int(60 * (HOURS[best[i]] % 1)):02d}",
            *(quantity(float(b), "temperature", units) for b in below[i]),
            quantity(float(design[i]), "size", units),
        )
        for i, name in enumerate(planes.name)
    )
    heads = (
        "Plane",
        "Sun on a clear day",
        "at, solar time",
        *(f"under {_rounded(d, 'size', units)}" for d in DEPTHS),
        "under the first case",
        "its depth, square to the roof",
    )
    values = (
        Value("reflected", aid.reflected),
        Value("extinction", aid.extinction, "1/m"),
        Value("taken up", aid.taken_up),
        Value("U", aid.roof_conductance, "", "W/m^2 K below the sheet"),
    )
    density = quantity(case.density, "density", units)
    note = (
        "How far below freezing the air may be for the bond to stand at freezing, at the best hour of the "
        f"day {project.table.thaw.date}, density {density}: a steady balance of sun through the snow, heat "
        f"from below and loss to the air; {values_text(values, units)}. No code, no forecast: it explains "
        "why snow stays and then leaves at once on a sunny frosty day. Full release of the bond is a design "
        "case at any air temperature."
    )
    return Table("When the bond can thaw", heads, "tnn" + "n" * len(DEPTHS) + "nn", rows, note=note)
