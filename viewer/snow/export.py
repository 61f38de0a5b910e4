"""Open exchange of the snow on a roof: snow.json in SI, snow.csv in the project's units."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import shapely

from roofmodel.snow.cases import Zone
from roofmodel.units import UnitSystem
from viewer.export import created, file_head
from viewer.files import atomic, write_json
from viewer.plain import plain_data
from viewer.snow.findings import CaseFinding, Patch, SnowFindings
from viewer.snow.formula import worked
from viewer.snow.governing import plain
from viewer.snow.sections import Section
from viewer.snow.study import SnowStudy

FORMAT_VERSION = 1


def snow_results(study: SnowStudy) -> dict[str, Any]:
    """Everything as plain data, SI, after viewer/snow.schema.json."""
    findings = study.findings
    project, planes = findings.project, findings.project.roof.planes
    cleaned: dict[str, Any] = plain_data(
        {
            **file_head("snow", project.path.name, project.digest, FORMAT_VERSION),
            **created(),
            "project": project.table.project.model_dump(),
            "offset": project.roof.offset,
            "planes": [
                {
                    "name": planes.name[i],
                    "slope": planes.slope[i],
                    "azimuth": planes.azimuth[i],
                    "plan_area": planes.plan_area[i],
                }
                for i in range(planes.count)
            ],
            "zones": [_zone(patch, planes.name, study) for patch in findings.patches],
            "cases": [_case(findings, case, planes.name) for case in findings.cases],
            "sections": [_section(section, findings) for section in study.sections],
            "considered_not_applied": [{"name": name, "why": why} for name, why in findings.snow.skipped],
            "proven": findings.proven,
        }
    )
    return cleaned


def _zone(patch: Patch, names: tuple[str, ...], study: SnowStudy) -> dict[str, Any]:
    zone, index = patch.zone, patch.number - 1
    return {
        "number": patch.number,
        "name": zone.name,
        "plane": names[zone.plane],
        "cases": [study.findings.cases[q].case.name for q in patch.cases],
        "clause": zone.clause,
        "formula": zone.formula,
        "values": [
            {"symbol": v.symbol, "value": v.value, "unit": v.unit, "note": v.note} for v in zone.values
        ],
        "working": _working(zone, study.units),
        "polygons": _polygons(zone),
        "pressure": zone.pressure,
        "least": patch.low,
        "largest": patch.high,
        "area": patch.area,
        "centroid": patch.centroid,
        "force": patch.force,
        "section": study.sections[study.section_of[index]].name if index in study.section_of else None,
    }


def _working(zone: Zone, units: UnitSystem) -> list[dict[str, Any]]:
    """Lines of the calculation as the page prints them, in the project's units."""
    return [
        {
            "formula": line.symbols,
            "numbers": plain(line.numbers, units),
            "result": plain(line.results, units),
            "governs": list(line.governs),
            "source": line.source,
        }
        for line in worked(zone, (), units.name)
    ]


def _polygons(zone: Zone) -> list[list[list[list[float]]]]:
    """Polygons of rings of points, closed, the outline first."""
    return [
        [shapely.get_coordinates(ring).tolist() for ring in shapely.get_rings(part)]
        for part in shapely.get_parts(zone.polygon)
    ]


def _case(findings: SnowFindings, finding: CaseFinding, names: tuple[str, ...]) -> dict[str, Any]:
    case = finding.case
    return {
        "name": case.name,
        "standard": case.standard,
        "level": str(case.level),
        "density": case.density,
        "notes": case.notes,
        "zones": [findings.patches[i].number for i in finding.patches],
        "largest": {
            "pressure": finding.largest,
            "at": finding.largest_at,
            "plane": names[finding.largest_plane],
        },
        "mean": finding.mean,
        "total": finding.total,
        "plane_force": dict(zip(names, finding.plane_force, strict=True)),
        "difference": finding.difference,
    }


def _section(section: Section, findings: SnowFindings) -> dict[str, Any]:
    return {
        "name": section.name,
        "case": findings.cases[section.case].case.name,
        "zones": [findings.patches[i].number for i in section.patches],
        "start": section.start,
        "end": section.start + section.width * section.way,
        "width": section.width,
        "pressure": section.pressure,
        "peak": {"from_start": section.peak[0], "pressure": section.peak[1]},
        "height": section.pressure / section.weight,
        "weight_density": section.weight,
    }


def snow_csv(study: SnowStudy) -> str:
    """Zones of every case as a table in the project's units, one line each."""
    findings, units = study.findings, study.units
    pressure, area, force = (units.label(kind) for kind in ("pressure", "area", "force"))
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(
        (
            "case",
            "zone number",
            "zone",
            "plane",
            "clause",
            f"largest pressure [{pressure}]",
            f"least pressure [{pressure}]",
            f"plan area [{area}]",
            f"vertical load [{force}]",
        )
    )
    for case in findings.cases:
        for i in case.patches:
            patch = findings.patches[i]
            numbers = (
                units.convert(patch.high, "pressure"),
                units.convert(patch.low, "pressure"),
                units.convert(patch.area, "area"),
                units.convert(patch.force, "force"),
            )
            writer.writerow(
                (
                    case.case.name,
                    patch.number,
                    patch.zone.name,
                    findings.project.roof.planes.name[patch.zone.plane],
                    patch.zone.clause,
                    *(f"{number:.6g}" for number in numbers),
                )
            )
    return text.getvalue()


def write_snow_data(study: SnowStudy, folder: Path) -> None:
    """Write snow.json and snow.csv."""
    write_json(folder / "snow.json", snow_results(study), indent=1)
    with atomic(folder / "snow.csv") as temporary:
        temporary.write_bytes(snow_csv(study).encode("utf-8-sig"))
