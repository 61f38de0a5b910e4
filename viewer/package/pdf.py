"""package.pdf: set from the same content as the report."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from fea.analysis import Analysis
from fea.near_limit import over_limit
from roofmodel.units import UnitSystem
from viewer import style
from viewer.package import typeset as t
from viewer.package.bill import splice_caution
from viewer.package.front import FULL, IN_FULL, front
from viewer.package.sway import SwayFindings, missing_table, place_words, sway_words, tornado_drawing
from viewer.package.zones import zone_parts
from viewer.picture.drawing import drawing_svg
from viewer.places import near_line
from viewer.quantities import system
from viewer.report.page import DEFLECTED_WORDS, report_content
from viewer.report.tables import Table
from viewer.snow.page import section_chapter
from viewer.snow.sheet import case_drawing, sheet_drawing
from viewer.snow.study import SnowStudy, snow_study

FACE = "Source Sans Pro"
SECTIONS = 6  # of drifts drawn
ROWS = 4  # of rows drawn
PAGE = 174.0  # width of the text [mm]
TORNADO = (
    "What moves the answer: utilization of the most used attachment with 10 % less and more of each input."
)
EAVE = "Section through the eaves with the rows, and what snow lies on each plane with and without them"
OF_OTHERS = re.compile(r"\[+(thaw|blanket|plan|uncertainty)\b")  # tables of the file for other commands
DEFAULT = " (default)"
CUT = "72%"  # width of a section through a drift: four on a page
PLAN = 132.0  # largest height of a plan [mm]
LANDING = 122.0  # the same of what falls where, so that it goes below a picture and its table [mm]


def write_package(
    analysis: Analysis,
    path: Path,
    picture: Path | None,
    sway: SwayFindings | None,
    *,
    today: date | None = None,
    deflected: Path | None = None,
    content: Mapping[str, Any] | None = None,
) -> None:
    """Write package.pdf, whole or not at all.

    Parameters
    ----------
    analysis : Analysis
    path : Path
    picture : Path or None
        The utilization picture.
    sway : SwayFindings or None
        From `viewer.package.sway.sway_findings`.
    today : date, optional
        Date in the title block, today by default.
    deflected : Path, optional
        Picture of the deflected governing row.
    content : mapping, optional
        From `report_content`, where it is known.
    """
    files, source = package_source(analysis, picture, sway, today or date.today(), deflected, content)
    t.typeset(source, files, path)


def package_source(
    analysis: Analysis,
    picture: Path | None,
    sway: SwayFindings | None,
    today: date,
    deflected: Path | None = None,
    content: Mapping[str, Any] | None = None,
) -> tuple[dict[str, bytes], str]:
    """Pictures by file name, and the document's text."""
    project = analysis.project
    units = system(project.table.project.units)
    if content is None:
        content = report_content(analysis, units, picture, "", today)
    study = snow_study(project)
    files: dict[str, bytes] = {}
    if picture is not None:
        files["roof.png"] = picture.read_bytes()
    head = t.preamble(
        content["name"],
        f"{style.CAUTION} Input SHA-256 {project.digest[:16]}…",
        "a4" if units.name == "SI" else "us-letter",
    )
    drawn = bool(files)
    splices = splice_caution(project)
    if deflected is not None:
        files["deflected.png"] = deflected.read_bytes()
    parts = [
        _governing(content, files, units),
        _sensitivity(sway, files, units),
        _scope(content, splices),
        _rows(content, files, "90%" if units.name == "SI" else "82%"),  # two on a page
        _snow(content, study, files, units),
        _roof(content, files),
        _building(content, files),
        _back(content),
    ]
    first = front(content, splices, sway, (analysis, units), drawn=drawn)
    body = "\n".join(parts)
    return files, "\n".join([head, first, t.contents(body), body])


def _governing(content: Mapping[str, Any], files: dict[str, bytes], units: UnitSystem) -> str:
    parts = [t.heading("Governing attachment")]
    governing, working = content["governing"], content["working"]
    if governing is None or working is None:
        return "".join([*parts, t.paragraph("No snow reaches any attachment in any case.")])
    parts += [t.paragraph(f"{governing['text']}.", bold=True), t.facts(governing["facts"])]
    parts += [t.paragraph(sentence) for sentence in governing["sentences"]]
    _keep(files, "cut.svg", str(content["cut"]))
    _keep(files, "clamp.svg", str(content["clamp_detail"]))
    wide = _wide(content["cut"], 80.0)
    parts.append(t.figure("cut.svg", "Section up the slope with snow, rows and forces", width=wide))
    parts.append(t.figure("clamp.svg", "The governing clamp on its seam", width="78%"))
    parts += [t.table(content["limits"]), t.heading("Hand check of the governing attachment")]
    followed = "" if working.target == working.clamp else f", followed at clamp {working.clamp}"
    parts.append(
        t.paragraph(
            f"{working.target}{followed}: {working.limit}, case “{working.case}”, "
            f"sliding force at the rail's {working.line} (the worse of axis and top; structure.inp of "
            "“check” has a step for each). Printed numbers are rounded; each follows from the ones printed "
            "before it. What the frame supplies is marked."
        )
    )
    if content["strip"] is not None:
        parts.append(t.table(content["strip"]))
    if content["catchment"] is not None:
        _keep(files, "catchment.svg", str(content["catchment_drawing"]))
        words = "The clamp's own strip and every area whose snow comes to it."
        parts.append(t.figure("catchment.svg", words, width=_wide(content["catchment_drawing"], 64.0)))
        parts.append(t.table(content["catchment"]))
    tables = [content[name] for name in ("measured", "loads") if content[name] is not None]
    parts += [t.table(one, whole=True) for one in tables]
    parts.append(t.steps(working, units))
    beyond = content["beyond"]
    if beyond["sentences"]:
        parts.append(t.heading("Past the first failure"))
        parts += [t.paragraph(sentence) for sentence in beyond["sentences"]]
        parts.append(
            t.paragraph("This is information, not a check: limits end at the first failure.", note=True)
        )
        if beyond["table"]:
            parts.append(t.table(beyond["table"]))
    return "".join(parts)


def _sensitivity(sway: SwayFindings | None, files: dict[str, bytes], units: UnitSystem) -> str:
    if sway is None:
        return ""
    now, found, gone = sway.now, sway.inputs, sway.missing
    _keep(files, "tornado.svg", drawing_svg(tornado_drawing(found, now), "What moves the answer"))
    parts = [
        t.heading("What moves the answer"),
        t.paragraph(sway_words(sway)),
        t.paragraph(near_line(over_limit(sway.inputs)), bold=True),
        t.figure("tornado.svg", sway_words(sway), TORNADO, "74%", floats="bottom"),
    ]
    place = place_words(sway, units)
    parts += [t.paragraph(f"Caution: {place}", bold=True)] if place else []
    if gone:
        parts.append(t.table(missing_table(gone)))
    return "".join(parts)


def _scope(content: Mapping[str, Any], splices: str) -> str:
    verdict = content["verdict"]
    known = (verdict.falling, splices, *verdict.cautions)
    parts = [
        t.heading("Scope, assumptions and model"),
        t.bullets(content["model"], numbered=True),
        t.heading(IN_FULL, 2, FULL),
        t.bullets([text for text in known if text]) or t.paragraph("Nothing."),
    ]
    if content["case_notes"]:
        parts += [t.heading("Choices made for the snow", 2), t.bullets(content["case_notes"])]
    if content["roof_notes"]:
        parts += [t.heading("Assumptions and repairs of the roof", 2), t.bullets(content["roof_notes"])]
    return "".join(parts)


def _rows(content: Mapping[str, Any], files: dict[str, bytes], wide: str) -> str:
    """The chapter of the rows; its tables fill the room that its drawings leave."""
    _keep(files, "plan.svg", str(content["plan"]))
    parts = [
        t.heading("Sliding force on the rows"),
        "".join(t.paragraph(sentence) for sentence in content["sliding_words"]),
        t.figure(
            "plan.svg",
            "Plan of the roof with rows and clamps",
            "Plan with the snow of the governing case.",
            _wide(content["plan"], PLAN),
            floats="bottom",
        ),
        t.table(content["rows"]),
    ]
    parts += _row_plans(content, files)
    chosen = _most_used(content, ROWS)
    for number, (name, drawing) in enumerate(content["row_drawings"]):
        if name in chosen:
            _keep(files, f"row{number}.svg", str(drawing))
            parts.append(t.figure(f"row{number}.svg", f"Diagrams of row {name}", width=wide, floats="auto"))
    if "deflected.png" in files:
        parts.append(t.figure("deflected.png", DEFLECTED_WORDS, DEFLECTED_WORDS, "72%", floats="auto"))
    if len(chosen) < content["rows_total"]:
        words = (
            f"The {len(chosen)} most used of {content['rows_total']} rows are drawn; package.html has more."
        )
        parts.append(t.paragraph(words, note=True))
    names = [name for name in ("partial", "balance", "falling") if content[name]]
    parts += [t.table(content[name], whole=name == "partial") for name in names]
    if content["landing"]:
        _keep(files, "landing.svg", str(content["landing"]))
        parts.append(
            t.figure(
                "landing.svg",
                "Where falling snow lands",
                "Where snow that no row holds lands.",
                _wide(content["landing"], LANDING),
                floats="auto",
            )
        )
    parts += [
        t.table(content[name]) for name in ("lower", "heaps", "obstructions", "arrays") if content[name]
    ]
    return "".join([*parts, t.all_placed()])


def _row_plans(content: Mapping[str, Any], files: dict[str, bytes]) -> list[str]:
    """Planes with rows, every clamp with its number."""
    parts = []
    for number, drawing in enumerate(content["row_plans"]):
        _keep(files, f"rows{number}.svg", str(drawing))
        wide = _wide(drawing, 70.0)
        parts.append(t.figure(f"rows{number}.svg", "Rows and clamps of a plane", width=wide))
    if content["planes_left"]:
        words = (
            f"Planes whose clamps are used less are not drawn: {content['planes_left']}; plan.dxf has all."
        )
        parts.append(t.paragraph(words, note=True))
    return parts


def _wide(svg: object, most: float) -> str:
    """Width on the page at which a drawing is at most so high. [mm]."""
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', str(svg))
    high = PAGE * float(box[2]) / float(box[1]) if box else most
    return f"{min(100.0 * most / high, 92.0):.1f}%"


def _most_used(content: Mapping[str, Any], most: int) -> set[str]:
    """Names of the rows that use most of a limit, what is not verified first."""
    order = sorted(content["row_use"].items(), key=lambda item: -item[1])
    return {name for name, _ in order[:most]}


def _snow(content: Mapping[str, Any], study: SnowStudy, files: dict[str, bytes], units: UnitSystem) -> str:
    sheet = sheet_drawing(study.findings, study.scale, units)
    _keep(files, "snow.svg", drawing_svg(sheet, "All snow cases"))
    parts = [
        t.heading("Snow"),
        *_levels(content["case_names"]),
        t.table(_in_short(content["cases"])),
        *([t.table(content["skipped"])] if content["skipped"].rows else []),
        *_governing_case(content["shown_case"], study, files, units),
        t.figure("snow.svg", "Plans of all snow cases", "All cases on one scale.", floats="auto"),
    ]
    cuts = []
    for number, section in enumerate(study.sections[:SECTIONS]):
        chapter = section_chapter(study, section)
        _keep(files, f"cut{number}.svg", str(chapter["svg"]))
        cuts.append(t.figure(f"cut{number}.svg", section.name, str(chapter["words"]), CUT))
    if len(study.sections) > SECTIONS:
        words = f"{SECTIONS} of {len(study.sections)} sections are drawn; `eavewright snow` has all."
        cuts.append(t.paragraph(words, note=True))
    # Before columns: the typesetter loses its marks where pictures float past them.
    parts += ["".join(cuts), t.all_placed(), t.heading("Zones, worked out", 2), zone_parts(study, units)]
    return "".join([*parts, t.all_placed()])


def _levels(cases: Sequence[tuple[str, str, str]]) -> list[str]:
    """Standard and level of every case, in a sentence where they are the same in all."""
    if len({case[1:] for case in cases}) == 1:
        _, standard, level = cases[0]
        return [t.paragraph(f"All cases are by {standard}; their pressures are {level}.")]
    names = tuple((str(n), *case) for n, case in enumerate(cases, 1))
    return [t.table(Table("Cases", ("No.", "Case", "Standard", "The pressures are"), "tttt", names))]


def _in_short(cases: Table) -> Table:
    """The table of cases without the combination where it is the same in all."""
    at = cases.heads.index("Combination")
    told = {row[at] for row in cases.rows} - {"–"}
    if len(told) != 1:
        return cases

    def rest(row: tuple[str, ...]) -> tuple[str, ...]:
        return row[:at] + row[at + 1 :]

    return replace(
        cases,
        heads=rest(cases.heads),
        numeric=cases.numeric[:at] + cases.numeric[at + 1 :],
        rows=tuple(rest(row) for row in cases.rows),
        note=f"Combination of all: {told.pop()}. {cases.note}",
    )


def _governing_case(
    index: int | None, study: SnowStudy, files: dict[str, bytes], units: UnitSystem
) -> list[str]:
    """Large plan of the case that governs, with every zone named that has room."""
    if index is None:
        return []
    plan = case_drawing(study.findings, index, study.scale, (), units)
    words = f"Case {index + 1}, {study.findings.cases[index].case.name}, which governs: every zone, to scale."
    svg = drawing_svg(plan, words)
    _keep(files, "case.svg", svg)
    return [t.figure("case.svg", words, words, _wide(svg, 105.0), floats="auto")]


def _roof(content: Mapping[str, Any], files: dict[str, bytes]) -> str:
    return "".join(
        [t.heading("Roof"), t.table(content["planes"]), t.table(t.abreast(content["edges"], 3), whole=True)]
    )


def _building(content: Mapping[str, Any], files: dict[str, bytes]) -> str:
    _keep(files, "building.svg", str(content["section"]))
    return "".join(
        [
            t.heading("The building below"),
            t.bullets(_raised(content["building_words"], content["building_rising"])),
            t.figure("building.svg", EAVE, f"{EAVE}.", floats="auto"),
            t.table(content["building"]),
            *(t.table(one) for one in content["building_tables"]),
            *(t.table(one) for one in content["durability"]),
        ]
    )


def _raised(words: Sequence[str], rising: Sequence[str]) -> list[str]:
    """Sentences on the building, but for those that the table of demands repeats number by number."""
    if not rising:
        return list(words)
    told = "What the rows raise stands in “Demands on the building”: every line with a ratio above 1, or new."
    return [told, *(one for one in words if one not in rising)]


def _back(content: Mapping[str, Any]) -> str:
    return "".join(
        [
            t.heading("Self-audit"),
            t.table(content["audit"]),
            t.heading("Cautions"),
            t.bullets(content["cautions"]),
            *_inputs(content),
            t.table(t.abreast(content["hardware"], 2), whole=True),
            t.heading("Clamps"),
            t.table(content["clamps"]),
        ]
    )


def _inputs(content: Mapping[str, Any]) -> list[str]:
    """Inputs of this calculation; what other commands take is only named."""
    of_others = [one for one in content["inputs"] if OF_OTHERS.match(one.caption)]
    names = ", ".join(dict.fromkeys(name for one in of_others for name in OF_OTHERS.findall(one.caption)))
    note = f"Not used here and shown in package.html only: {names}."
    return [
        t.heading("Inputs"),
        *(_entered(one) for one in content["inputs"] if one not in of_others),
        t.paragraph("What each field means: “eavewright fields” and package.html.", note=True),
        *([t.paragraph(note, note=True)] if of_others else []),
    ]


def _entered(one: Table) -> str:
    """A table of fields with those that nobody entered in its note, values only."""
    if one.heads != ("Field", "Value", "Meaning"):
        return t.table(one)
    mine = tuple(row for row in one.rows if not row[1].endswith(DEFAULT))
    others = "; ".join(f"{row[0]}: {row[1].removesuffix(DEFAULT)}" for row in one.rows if row not in mine)
    note = " ".join(filter(None, [f"At their defaults: {others}." if others else "", one.note]))
    if not mine:
        return t.paragraph(f"{one.caption} {note}", note=True, plain=True)
    return t.table(replace(one, rows=mine, note=note))


def _keep(files: dict[str, bytes], name: str, svg: str) -> None:
    """Keep a drawing in the document's own typeface."""
    files[name] = svg.replace(style.FONT_STACK.replace('"', "&quot;"), FACE).encode("utf-8")
