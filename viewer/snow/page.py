"""The page about the snow on a roof: one HTML file that stands alone, to be checked by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.snow.cases import Value
from roofmodel.surface import shown_origin
from roofmodel.units import UnitSystem
from viewer.files import write_text
from viewer.picture.drawing import Drawing, drawing_svg
from viewer.quantities import as_given, column, quantity, significant
from viewer.report.inputs import input_tables
from viewer.report.page import expression_html, page_environment
from viewer.report.tables import Table, number_ranges, values_text
from viewer.snow.aids import density_table, standing_table, thaw_table
from viewer.snow.families import areas, families, told_number
from viewer.snow.findings import Patch, SnowFindings, clauses
from viewer.snow.governing import patch_lines
from viewer.snow.section_drawing import draw_section
from viewer.snow.sections import SMALL, Section
from viewer.snow.sheet import case_drawing, summary_words
from viewer.snow.study import SnowStudy
from viewer.snow.symmetry import dome_planes, stands_for, turned_words
from viewer.snow.words import pressure_range, pressure_words, proof_words
from viewer.typeface import page_css
from viewer.version import version

Array = NDArray[np.float64]

NEAR = 0.05  # a face this close to the end of a zone stands beside it [m]
CORNERS = 60  # of a zone are listed; snow.json has all
CHAPTERS, ZONES = 60, 4000  # cases drawn one by one, and zones in them; snow.json has all
CAUTIONS = (
    "A licensed engineer must review this; local code and rulings govern, ground snow first of all.",
    "The cases are those that the standard asks for on the recognized roof; the list of what was considered "
    "and left out says what must be added by hand.",
    "Falling snow and work at height can kill.",
)


def write_snow_page(study: SnowStudy, sheet: Drawing, path: Path) -> None:
    """Write the page with the sheet of all cases, whole or not at all."""
    write_text(path, snow_html(study, sheet))


def snow_html(study: SnowStudy, sheet: Drawing, *, today: date | None = None) -> str:
    """Text of the page."""
    from markupsafe import Markup

    findings, units = study.findings, study.units
    project = findings.project
    environment = page_environment()
    environment.filters["expression"] = lambda parts: expression_html(parts, units)
    detailed = _detailed(study)
    return environment.get_template("snow.html.j2").render(
        css=page_css(),
        name=project.table.project.name,
        title=_title_block(study, today or date.today()),
        summary=summary_words(findings, units),
        levels=pressure_words(findings),
        proof=proof_words(findings),
        proven=findings.proven,
        cases=_cases_table(study),
        sheet=Markup(drawing_svg(sheet, f"All snow cases of {project.table.project.name}")),
        chapters=[_chapter(study, index) for index in detailed],
        left_out=len(stands_for(findings)) - len(detailed),
        zones=zone_chapters(study),
        small=as_given(SMALL, "area", units),
        skipped=Table("Considered, not applied", ("Case", "Why"), "ts", tuple(findings.snow.skipped)),
        standing=standing_table(study),
        densities=density_table(study),
        thaw=thaw_table(study),
        planes=_planes_table(study),
        roof_notes=project.roof.notes,
        inputs=[
            t for t in input_tables(project.table, units) if "[site" in t.caption or "[surface" in t.caption
        ],
        cautions=CAUTIONS,
    )


def zone_chapters(study: SnowStudy) -> list[dict[str, Any]]:
    """Working of every zone of the cases that have a chapter."""
    findings, shown = study.findings, set(_detailed(study))
    patches, names = findings.patches, findings.project.roof.planes.name
    domes = dome_planes(findings.project.roof)
    told = [i for i, patch in enumerate(patches) if set(patch.cases) & shown]
    facets: dict[tuple[object, ...], list[Patch]] = {}
    chapters: list[tuple[list[Patch], list[Patch]]] = []
    for family in families(findings, told):
        group = [patches[i] for i in family]
        zone, alike = group[0].zone, list(group[:1])
        if len(group) == 1 and zone.plane in domes and not zone.pressure[1:].any():
            alike = facets.setdefault(_working(group[0], names), [])
            alike += group
            if len(alike) > 1:
                continue
        chapters.append((group, alike))
    return [_zone(study, group, alike) for group, alike in chapters]


def _working(patch: Patch, names: Sequence[str]) -> tuple[object, ...]:
    """What facets of a dome with one even load have in common."""
    zone = patch.zone
    numbers = (f"{v.symbol} {v.value:.9g} {v.note}" for v in zone.values)
    name = zone.name.removesuffix(f" on {names[zone.plane]}")
    return name, zone.clause, zone.formula, f"{zone.pressure[0]:.9g}", *numbers


def _detailed(study: SnowStudy) -> list[int]:
    """Cases with a chapter: the first, and those with the largest pressures while there is room.

    Of those that are one another turned, one.
    """
    cases = study.findings.cases
    order = sorted(stands_for(study.findings), key=lambda i: (i > 0, -cases[i].largest))[:CHAPTERS]
    rows = np.cumsum([len(cases[i].patches) for i in order])
    return sorted(i for i, so_far in zip(order, rows, strict=True) if so_far <= ZONES or i == 0)


def _title_block(study: SnowStudy, today: date) -> tuple[tuple[str, str], ...]:
    project = study.findings.project
    about = project.table.project
    cases = study.findings.cases
    return (
        ("Revision", about.revision or "–"),
        ("Engineer", about.engineer or "not named"),
        ("Date", today.isoformat()),
        ("Standard", cases[0].case.standard if cases else "–"),
        ("Units", about.units),
        ("Cases", str(len(cases))),
        ("Eavewright", version()),
        ("Input", project.source),
        ("Input SHA-256", project.digest),
    )


def _cases_table(study: SnowStudy) -> Table:
    findings, units = study.findings, study.units
    names = findings.project.roof.planes.name
    cases = findings.cases
    rows = zip(
        [str(n + 1) for n in range(len(cases))],
        [case.case.name for case in cases],
        column([case.largest for case in cases], "pressure", units, each=True),
        [names[case.largest_plane] for case in cases],
        column([case.mean for case in cases], "pressure", units, each=True),
        column([case.total for case in cases], "force", units, 4),
        [clauses(findings, n) for n in range(len(cases))],
        strict=True,
    )
    pressure, force = units.label("pressure"), units.label("force")
    heads = ("No.", "Case", f"Largest {pressure}", "on", f"Mean {pressure}", f"Total {force}", "Clause")
    note = (
        "Largest where zones add; mean over the plan area of the roof; total is the vertical load of the "
        "case. Clause: what sets the case apart from the first."
    )
    return Table("Cases", heads, "ttntnnt", tuple(rows), note=note)


def _chapter(study: SnowStudy, index: int) -> dict[str, Any]:
    """One case: plan, zones, sections, notes."""
    from markupsafe import Markup

    findings, units = study.findings, study.units
    finding = findings.cases[index]
    own = [s for s in study.sections if s.case == index]
    plan = case_drawing(findings, index, study.scale, own, units)
    others = {
        study.sections[study.section_of[i]].name: study.sections[study.section_of[i]].case + 1
        for i in finding.patches
        if i in study.section_of and study.sections[study.section_of[i]].case != index
    }
    where = findings.project.roof.planes.name[finding.largest_plane]
    if finding.largest_cell >= 0 and finding.cells.pressure[finding.largest_cell, 1:].any():
        where += f" at {_point_text(finding.largest_at, units, shown_origin(findings.project.roof.offset))}"
    return {
        "index": index + 1,
        "name": finding.case.name,
        "plan": Markup(drawing_svg(plan, f"Plan of case {index + 1}, {finding.case.name}")),
        "words": (
            f"Largest pressure {quantity(finding.largest, 'pressure', units)} on {where}; mean "
            f"{quantity(finding.mean, 'pressure', units)}; total "
            f"{quantity(finding.total, 'force', units, 4)}. Depths are drawn at "
            f"{quantity(finding.case.density, 'density', units)}. "
            f"{turned_words(findings, stands_for(findings)[index])}"
        ).rstrip(),
        "zones": _zones_table(study, index),
        "sections": [section_chapter(study, section) for section in own],
        "others": [f"{name} in case {case}" for name, case in others.items()],
        "notes": finding.case.notes,
    }


def _point_text(xy: Any, units: UnitSystem, origin: Array) -> str:
    x, y = column([float(n) for n in np.asarray(xy) + origin], "length", units, 4)
    return f"({x}, {y}) {units.label('length')}"


def _zones_table(study: SnowStudy, index: int) -> Table:
    findings, units = study.findings, study.units
    finding = findings.cases[index]
    names = findings.project.roof.planes.name
    groups = [[findings.patches[i] for i in group] for group in families(findings, finding.patches)]
    on_top = findings.on_top(index)
    area = areas([sum(p.area for p in group) for group in groups], "area", units)
    loads = [sum(p.force for p in group) for group in groups]
    force = areas(loads, "force", units)
    rows = []
    for n, group in enumerate(groups):
        top = group[0]
        low = min(p.low for p in group)
        cut = {study.section_of[p.number - 1] for p in group if p.number - 1 in study.section_of}
        rows.append(
            (
                str(min(p.number for p in group)),
                top.zone.name + (f", {len(group)} slices" if len(group) > 1 else ""),
                names[top.zone.plane],
                ("+ " if top.number - 1 in on_top else "") + pressure_range(low, top.high, units),
                area[n],
                force[n],
                top.zone.clause,
                ", ".join(study.sections[k].name for k in sorted(cut)) or "–",
            )
        )
    total = column([*loads, finding.total], "force", units, 4)[-1]
    rows.append(("Sum", "", "", "", "", total, "", ""))
    planes = quantity(float(finding.plane_force.sum()), "force", units, 5)
    heads = (
        "Zone",
        "Name",
        "Plane",
        "Pressure",
        f"Plan area {units.label('area')}",
        f"Load {units.label('force')}",
        "Clause",
        "Section",
    )
    note = f"The analysis of the rows integrates {planes} on the planes, another way to the same sum."
    return Table(f"Zones of case {index + 1}, pressures add", heads, "tttnnntt", tuple(rows), note=note)


def section_chapter(study: SnowStudy, section: Section) -> dict[str, Any]:
    """Drawing and words of one section."""
    from markupsafe import Markup

    findings, units = study.findings, study.units
    patch = findings.patches[section.patch]
    drawing, stretch = draw_section(findings, section, units)
    weight = quantity(section.weight, "unit_weight", units)
    planes = [findings.project.roof.planes.name[findings.patches[i].zone.plane] for i in section.patches]
    words = [
        f"Section {section.name}–{section.name} through {_zone_numbers(findings, section)}, "
        f"{patch.zone.name}, on {', '.join(dict.fromkeys(planes))}."
    ]
    words.append(f"Height = pressure / {weight}.")
    words.append("To scale." if stretch == 1.0 else f"Heights {stretch:g} times as large as lengths.")
    face = _face_height(section)
    if face > 0.0:
        words.append(f"The face beside it is {quantity(face, 'length', units)} high here.")
    high = max(findings.patches[i].high for i in section.patches)
    if high > float(section.peak[1]) * 1.005:
        words.append(f"Elsewhere the snow of this name reaches {quantity(high, 'pressure', units)}.")
    title = f"Section {section.name}, {patch.zone.name}"
    return {"svg": Markup(drawing_svg(drawing, title)), "words": " ".join(words)}


def _face_height(section: Section) -> float:
    """Height of the wall or obstacle that rises from the roof at an end of the zones; 0 for none. [m]."""
    first, last = section.own[0], section.own[-1]
    for s, z in ((0.0, first.z[0]), (section.width, last.z[1])):
        at = (np.abs(section.walls[:, 0] - s) < NEAR) & (np.abs(section.walls[:, 1] - z) < NEAR)
        if at.any():
            return float((section.walls[at, 2] - section.walls[at, 1]).max())
    return 0.0


def _zone_numbers(findings: SnowFindings, section: Section) -> str:
    numbers = sorted({told_number(findings, i) for i in section.patches})
    return f"zone{'' if len(numbers) == 1 else 's'} {number_ranges(numbers)}"


def _zone(study: SnowStudy, group: list[Patch], alike: list[Patch]) -> dict[str, Any]:
    """Working of one zone, or of slices of one drift, of which the heaviest is worked out.

    `alike` are the zone and those on other facets of a dome to which the same working applies.
    """
    findings, units, patch = study.findings, study.units, group[0]
    zone, origin = patch.zone, shown_origin(findings.project.roof.offset)
    lines = patch_lines(findings, patch, units.name)
    plane = findings.project.roof.planes.name[zone.plane]
    return {
        "number": min(p.number for p in group),
        "anchors": sorted({p.number for p in [*group, *alike]}),
        "slices": number_ranges(sorted(p.number for p in group)) if len(group) > 1 else "",
        "name": zone.name if zone.name.endswith(f" {plane}") else f"{zone.name}, on {plane}",
        "cases": number_ranges(sorted({q + 1 for one in [*group, *alike] for q in one.cases})),
        "alike": _alike_table(study, alike),
        "more": len(alike) - 1,
        "clause": zone.clause,
        "lines": lines,
        "open": [line.symbols for line in lines if not line.numbers],
        "given": [_value(value, units) for value in zone.values],
        "field": _field_words(patch, units, origin) if len(group) == 1 else _slices_words(group, units),
        "integral": _integral_words(group, units, origin),
        "corners": _corners_table(patch, units, origin)
        if len(group) == 1
        else _slices_table(group, units, origin),
    }


def _alike_table(study: SnowStudy, group: Sequence[Patch]) -> Table | None:
    """Facets with one even load; None for a single one."""
    if len(group) < 2:
        return None
    units, names = study.units, study.findings.project.roof.planes.name
    rows = zip(
        [str(one.number) for one in group],
        [names[one.zone.plane] for one in group],
        column([one.area for one in group], "area", units, 4),
        column([one.force for one in group], "force", units, 4),
        strict=True,
    )
    heads = ("Zone", "Plane", f"Plan area {units.label('area')}", f"Load {units.label('force')}")
    first = group[0].number
    note = f"The same working on every facet; corners of zone {first} stand for all, snow.json has each."
    return Table(f"Zones like zone {first}", heads, "ttnn", tuple(rows), note=note)


def _value(value: Value, units: UnitSystem) -> tuple[str, str, str]:
    symbol, _, rest = values_text([Value(value.symbol, value.value, value.unit)], units).partition(" = ")
    return symbol, rest, value.note


def _field_words(patch: Patch, units: UnitSystem, origin: Array) -> str:
    """The pressure as it is applied."""
    if patch.high - patch.low <= 1e-6 * max(abs(patch.high), 1.0):
        return f"Applied: {quantity(patch.high, 'pressure', units, 4)}, uniform."
    b, c = patch.zone.pressure[1:]
    middle = patch.zone.pressure[0] + np.asarray(patch.centroid) @ patch.zone.pressure[1:]
    length = units.convert(1.0, "length")
    pressure = units.convert(1.0, "pressure")
    terms = "".join(
        f" {'−' if n < 0.0 else '+'} {significant(abs(float(n)) * pressure / length, 4)} "
        f"({axis} {'+' if at < 0.0 else '−'} {abs(at) * length:.2f})"
        for n, axis, at in zip((b, c), "xy", (np.asarray(patch.centroid) + origin).tolist(), strict=True)
        if abs(n) > 1e-9 * math.hypot(b, c)
    )
    unit = f"{units.label('pressure')} per {units.label('length')}"
    turned = math.hypot(b, c) * pressure / length
    mean = quantity(float(middle), "pressure", units, 4)
    return (
        f"Applied: linear, p(x, y) = {mean}{terms}, slopes in {unit}; "
        f"it falls by {significant(turned, 4)} {unit} at most, from "
        f"{pressure_range(patch.low, patch.high, units)}."
    )


def _slices_words(group: list[Patch], units: UnitSystem) -> str:
    return (
        f"Applied: {len(group)} slices of cones around corners, each linear down its middle, from "
        f"{pressure_range(min(p.low for p in group), group[0].high, units)}; snow.json has their corners."
    )


def _slices_table(group: list[Patch], units: UnitSystem, origin: Array) -> Table:
    """Area, centroid, pressure there and load of each slice."""
    group = sorted(group, key=lambda p: p.number)
    area, load = (
        areas([p.area for p in group], "area", units),
        areas([p.force for p in group], "force", units),
    )
    mean = column([p.force / max(p.area, 1e-12) for p in group], "pressure", units, 4)
    rows = tuple(
        (str(p.number), area[n], _point_text(p.centroid, units, origin).rpartition(" ")[0], mean[n], load[n])
        for n, p in enumerate(group)
    )
    labels = [units.label(kind) for kind in ("area", "pressure", "force")]
    heads = (
        "Slice",
        f"Area {labels[0]}",
        f"Centroid {units.label('length')}",
        f"p there {labels[1]}",
        f"Load {labels[2]}",
    )
    numbers = number_ranges([p.number for p in group])
    return Table(f"Slices {numbers}", heads, "tntnn", rows)


def _integral_words(group: list[Patch], units: UnitSystem, origin: Array) -> str:
    patch = group[0]
    if len(group) > 1:
        return (
            f"Load = sum of the slices = {quantity(sum(p.force for p in group), 'force', units, 4)} on "
            f"{quantity(sum(p.area for p in group), 'area', units, 4)}."
        )
    mean = patch.force / max(patch.area, 1e-12)
    at = (
        ""
        if patch.high - patch.low <= 1e-6 * max(abs(patch.high), 1.0)
        else (f" (p at the centroid {_point_text(patch.centroid, units, origin)})")
    )
    return (
        f"Load = {quantity(mean, 'pressure', units, 4)}{at} × {quantity(patch.area, 'area', units, 4)} = "
        f"{quantity(patch.force, 'force', units, 4)}."
    )


def _corners_table(patch: Patch, units: UnitSystem, origin: Array) -> Table:
    """Corners of the outline and of holes, with the pressure there."""
    rows: list[tuple[str, ...]] = []
    count = 0
    digits = 3 if units.name == "SI" else 2
    for number, part in enumerate(shapely.get_parts(patch.zone.polygon)):
        for hole, ring in enumerate(shapely.get_rings(part)):
            corners = shapely.get_coordinates(ring)[:-1]
            count += len(corners)
            values = patch.zone.pressure[0] + corners @ patch.zone.pressure[1:]
            label = (f"part {number + 1}, " if number else "") + (f"hole {hole}, " if hole else "")
            for i, (corner, value) in enumerate(zip(corners, values, strict=True)):
                x, y = (f"{units.convert(float(n), 'length'):.{digits}f}" for n in corner + origin)
                x, y = (text.replace("-", "−") if text.strip("-0.") else text.lstrip("-") for text in (x, y))
                pressure = significant(
                    units.convert(max(float(value), 0.0) if abs(value) < 1e-6 else float(value), "pressure"),
                    4,
                )
                rows.append((f"{label}{i + 1}", x, y, pressure))
    note = "" if count <= CORNERS else f"The first {CORNERS} of {count}; snow.json has all."
    length = units.label("length")
    heads = ("Corner", f"x {length}", f"y {length}", f"p {units.label('pressure')}")
    return Table(f"Corners of zone {patch.number}", heads, "tnnn", tuple(rows[:CORNERS]), note=note)


def _planes_table(study: SnowStudy) -> Table:
    roof, units = study.findings.project.roof, study.units
    planes = roof.planes
    layout = study.findings.project.layout
    held = {int(p) for p in layout.row_plane}
    rows = zip(
        planes.name,
        column(planes.slope, "angle", units),
        [f"{math.degrees(a) % 360.0:.0f}" for a in planes.azimuth],
        column(planes.plan_area, "area", units, 4),
        ["yes" if i in held else "no" for i in range(planes.count)],
        strict=True,
    )
    heads = ("Plane", "Slope °", "Falls to °", f"Plan area {units.label('area')}", "Carries rows")
    away = roof.offset[:2] - shown_origin(roof.offset)
    note = "Places are those of roof.png and of the project file: x east, y north."
    if away.any():
        note += f" Their origin is at {_point_text(away, units, np.zeros(2))} of the map."
    else:
        note += " They are as in the file of the roof." if roof.offset[:2].any() else ""
    return Table("Planes", heads, "tnnnt", tuple(rows), note=note)
