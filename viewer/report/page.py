"""The calculation package: one HTML file that stands alone, for paper and for a phone."""

from __future__ import annotations

import base64
import math
import re
from collections.abc import Mapping
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from fea.analysis import Analysis
from roofmodel.sliding.thrust import ValleyThrust
from roofmodel.units import UnitSystem
from viewer.beyond import beyond_sentences
from viewer.building_words import partial_words, rising_sentences
from viewer.combining import combination
from viewer.files import write_text
from viewer.picture.findings import shown_case
from viewer.quantities import as_given, percent, quantity, significant, system
from viewer.report.arrays import array_table
from viewer.report.beyond import beyond_table
from viewer.report.building import (
    building_table,
    building_words,
    demands_table,
    eave_table,
    handed_table,
    purlin_cases_table,
    purlins_table,
)
from viewer.report.catchment import catchment_table, pieces, strip_table, with_area_names
from viewer.report.catchment_plan import catchment_svg
from viewer.report.durability import couples_table, movement_table, torsion_words
from viewer.report.end_bounds import partial_table
from viewer.report.falling import falling_table, heap_table, lower_table, obstruction_table
from viewer.report.hand_loads import loads_table, measured_table
from viewer.report.inputs import hardware_table, input_tables, rail_words
from viewer.report.tables import (
    Table,
    audit_table,
    balance_table,
    case_notes,
    cases_table,
    clamps_table,
    edges_table,
    limits_table,
    planes_table,
    rows_table,
    zones_table,
)
from viewer.report.working import hand_check
from viewer.report.working_parts import Expression, Number
from viewer.row_summary import row_lines
from viewer.summary import CAUTIONS, governing_text, least_reserve, reserve_sentence, shown_name, verdict
from viewer.typeface import page_css
from viewer.version import version

if TYPE_CHECKING:
    from jinja2 import BytecodeCache, Environment
    from jinja2.bccache import Bucket
    from markupsafe import Markup

BLANK = ""  # in the title block: a line to sign on
DEFLECTED_WORDS = (
    "The row of the governing attachment under snow as it lies, with its clamps; movements exaggerated."
)
ROW_NUMBERS = (
    "Numbers at the rows are of their most used clamps. Rails, heights and panel strips can be used more: "
    "see the table of limits."
)
DRAWINGS_SHOWN = 12  # rows drawn one by one; more would bury the reader
PLANES_SHOWN = 4  # planes with rows drawn with every clamp
GREEK = {
    "theta": "θ",
    "gamma": "γ",
    "alpha": "α",
    "beta": "β",
    "mu": "μ",
    "rho": "ρ",
    "Omega": "Ω",
    "phi": "φ",
    "sum(": "Σ(",
    "sqrt(": "√(",
}
GREEK_WORD = r"\b(theta|gamma|alpha|beta|mu|rho|Omega|phi|sum\(|sqrt\()(?![a-z]{2})"
# Short symbols only, so that names of fields and files stay as they are: row.not_standing, end_at.
POWER = r"\^(?:\((\d/\d)\)|([-−]?\d+(?:\.\d+)?))"
SUBSCRIPT = r"(?<![\w.])(?![a-z]{2,3}_[a-z]{2})(\w{1,3}?)_([A-Za-z0-9+−]+(?:,[A-Za-z0-9]+)*)(?![^\W²³])"


def write_report(
    analysis: Analysis,
    path: Path,
    picture: Path | None,
    picture_reason: str = "",
    *,
    today: date | None = None,
    sway: Mapping[str, Any] | None = None,
    splices: str = "",
    place: str = "",
    deflected: Path | None = None,
    content: Mapping[str, Any] | None = None,
) -> None:
    """Write the report as one self-contained HTML file, whole or not at all.

    Parameters
    ----------
    analysis : Analysis
    path : Path
        File to write.
    picture : Path or None
        PNG to embed.
    picture_reason : str
        Why there is no picture, in a few words.
    today : date, optional
        Date in the title block, today by default.
    sway : mapping, optional
        Words, drawing and table of what moves the answer.
    splices : str
        Caution about splices that are missing.
    place : str
        Tolerance of place in a line.
    deflected : Path, optional
        PNG of the deflected governing row, to embed.
    content : mapping, optional
        From `report_content`, where it is known.
    """
    page = report_html(
        analysis,
        picture,
        picture_reason,
        today=today,
        sway=sway,
        splices=splices,
        place=place,
        deflected=deflected,
        content=content,
    )
    write_text(Path(path), page)


def report_html(
    analysis: Analysis,
    picture: Path | None = None,
    picture_reason: str = "",
    *,
    today: date | None = None,
    sway: Mapping[str, Any] | None = None,
    splices: str = "",
    place: str = "",
    deflected: Path | None = None,
    content: Mapping[str, Any] | None = None,
) -> str:
    """Text of the report; see `write_report`."""
    units = system(analysis.project.table.project.units)
    environment = page_environment()
    environment.filters.update(
        percent=percent,
        expression=lambda parts: expression_html(parts, units),
        number=lambda number: expression_html((number,), units),
    )
    template = environment.get_template("report.html.j2")
    if content is None:
        content = report_content(analysis, units, picture, picture_reason, today or date.today())
    return template.render(
        **content,
        sway=sway,
        splices=splices,
        place=place,
        deflected=_picture(deflected),
        deflected_words=DEFLECTED_WORDS,
        row_numbers=ROW_NUMBERS,
    )


def page_environment() -> Environment:
    """Templates of the pages, escaped and strict, with `symbols` as a filter."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("viewer"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        bytecode_cache=_compiled(),
    )
    environment.filters["symbols"] = symbols
    return environment


@cache
def _compiled() -> BytecodeCache:
    """Templates as this process has compiled them; filters stay those of each environment."""
    from jinja2 import BytecodeCache

    class Compiled(BytecodeCache):
        known: ClassVar[dict[str, bytes]] = {}

        def load_bytecode(self, bucket: Bucket) -> None:
            if bucket.key in self.known:
                bucket.bytecode_from_string(self.known[bucket.key])

        def dump_bytecode(self, bucket: Bucket) -> None:
            self.known[bucket.key] = bucket.bytecode_to_string()

    return Compiled()


def report_content(
    analysis: Analysis, units: UnitSystem, picture: Path | None, reason: str, today: date
) -> dict[str, Any]:
    """Everything the template needs."""
    rows = row_lines(analysis)
    working = hand_check(analysis)
    areas = pieces(working)
    return {
        "css": page_css(),
        "title": _title_block(analysis, today),
        "name": analysis.project.table.project.name,
        "verdict": verdict(analysis, units),
        "picture": _picture(picture),
        "picture_alt": _picture_alt(analysis),
        "picture_reason": reason or "none was drawn",
        "governing": _governing(analysis, units),
        "limits": limits_table(analysis, units),
        "cases": cases_table(analysis),
        "beyond": {"sentences": beyond_sentences(analysis), "table": beyond_table(analysis)},
        "working": with_area_names(working),
        "strip": strip_table(working, units),
        "catchment": catchment_table(analysis, working, areas, units),
        "measured": measured_table(analysis, working, areas, units),
        "loads": loads_table(analysis, working, analysis.attachment, units),
        "catchment_drawing": catchment_svg(analysis, working, areas, units),
        "rows": rows_table(analysis, units, rows),
        "balance": balance_table(analysis, units),
        "building": building_table(analysis, units),
        "building_words": building_words(analysis, units),
        "building_rising": rising_sentences(analysis, units),
        "building_tables": [
            table
            for table in (
                demands_table(analysis, units),
                purlins_table(analysis, units),
                purlin_cases_table(analysis),
                handed_table(analysis, units),
                eave_table(analysis, units),
            )
            if table is not None
        ],
        "falling": falling_table(analysis, units),
        "durability": [
            table for table in (couples_table(analysis), movement_table(analysis, units)) if table is not None
        ],
        "lower": lower_table(analysis, units),
        "heaps": heap_table(analysis, units),
        "obstructions": obstruction_table(analysis, units),
        "arrays": array_table(analysis, units),
        "partial": partial_table(analysis, units),
        "sliding_words": (*_sliding_words(analysis, units), *partial_words(analysis)),
        "zones": zones_table(analysis, units),
        "case_notes": case_notes(analysis),
        "shown_case": None if analysis.attachment is None else shown_case(analysis),
        "case_names": [(case.name, case.standard, str(case.level)) for case in analysis.snow.cases],
        "skipped": Table("Considered, not applicable", ("Case", "Why"), "ts", tuple(analysis.snow.skipped)),
        "planes": planes_table(analysis, units),
        "edges": edges_table(analysis, units),
        "roof_notes": analysis.project.roof.notes,
        "inputs": input_tables(analysis.project.table, units),
        "hardware": hardware_table(analysis, units),
        "model": _model_words(analysis, units),
        "audit": audit_table(analysis),
        "cautions": CAUTIONS,
        **_drawings(analysis, rows_by_use=[r.utilization + 1e3 * r.unverified for r in rows]),
        "row_use": {r.name: r.utilization + 1e3 * r.unverified for r in rows},
        "clamps": clamps_table(analysis, units),
    }


def _title_block(analysis: Analysis, today: date) -> tuple[tuple[str, str], ...]:
    project = analysis.project
    about = project.table.project
    return (
        ("Client", about.client or BLANK),
        ("Project no.", about.project_number or BLANK),
        ("Revision", about.revision or BLANK),
        ("Date", today.isoformat()),
        ("By", about.engineer or BLANK),
        ("Checked by", about.checked_by or BLANK),
        ("Standard", analysis.snow.cases[0].standard if analysis.snow.cases else "–"),
        ("Format", project.table.design.format),
        ("Units", about.units),
        ("Input", project.source),
        ("Eavewright", version()),
        ("Input SHA-256", project.digest),
    )


def _picture(path: Path | None) -> str:
    if path is None:
        return ""
    return "data:image/png;base64," + base64.b64encode(Path(path).read_bytes()).decode("ascii")


def _picture_alt(analysis: Analysis) -> str:
    rows, clamps = len(analysis.project.layout.row_name), len(analysis.project.layout.clamp_name)
    text = f"Roof in three dimensions with {rows} retention rows and {clamps} clamps marked by utilization"
    if analysis.attachment is not None:
        text += f"; {governing_text(analysis, analysis.attachment)}"
    return text + "."


def _governing(analysis: Analysis, units: UnitSystem) -> dict[str, Any] | None:
    """The governing attachment, its reserve and the least reserve of all cases."""
    worst = analysis.attachment
    if worst is None:
        return None
    limit = analysis.limits[worst.limit]
    case = analysis.snow.cases[worst.case]
    least = least_reserve(analysis)
    facts = [
        ("Attachment", limit.target_name[worst.target]),
        ("Limit", shown_name(analysis, limit)),
        ("Case", case.name),
        ("Combination", combination(analysis, worst.case)),
        ("Demand", quantity(float(limit.demand[worst.case, worst.target]), limit.quantity, units)),
        ("Resistance", quantity(float(limit.resistance[worst.target]), limit.quantity, units)),
        ("Reserve on factored snow", _times(float(analysis.reserve[worst.case]))),
        ("Reserve on unfactored snow", _unfactored(analysis, worst.case)),
    ]
    sentences = [reserve_sentence(analysis, worst.case)]
    if least != worst.case and analysis.reserve[least] < analysis.reserve[worst.case]:
        sentences.append(reserve_sentence(analysis, least))
    return {
        "text": governing_text(analysis, worst),
        "utilization": worst.utilization,
        "facts": facts,
        "sentences": sentences,
    }


def _unfactored(analysis: Analysis, case: int) -> str:
    factor = analysis.factors[case].snow
    return f"{_times(float(analysis.reserve[case]) * factor)} (kept from × {factor:g} on)"


def _times(factor: float) -> str:
    return f"× {significant(factor)}" if math.isfinite(factor) else significant(factor)


def _sliding_words(analysis: Analysis, units: UnitSystem) -> tuple[str, ...]:
    """Choices for the sliding force, in words."""
    options = analysis.project.slide
    words = []
    if options.friction > 0.0:
        reason = analysis.project.table.surface.friction_reason
        words.append(f"Friction of {options.friction:g} is counted on, because: {reason}")
    else:
        words.append("No friction is counted on.")
    if options.valley is ValleyThrust.SCALAR:
        words.append(
            "Thrusts that meet in a valley add up by size (scalar sum), the upper bound and the safe choice."
        )
    else:
        cross = quantity(float(analysis.force.valley_cross.max(initial=0.0)), "force", units)
        words.append(
            "Thrusts that meet in a valley add up as vectors: equal cross parts cancel. This is less than "
            "the scalar sum, the user's choice; the weaker side of a valley must take up to "
            f"{cross} across its seams, before load factors."
        )
    force = analysis.force
    if force.end_bound.max(initial=0.0) > 1e-3 * np.abs(force.thrust).max(initial=0.0):
        spread = as_given(options.spread_angle, "angle", units)
        words.append(
            "A row that stops short of its plane's edge can hold back part of the snow beside it. The forces "
            "at its ends below are an upper bound: a blanket that holds together within "
            f"{spread} of the fall line through the end leans on the rail beyond its end clamp (judgment), "
            "and that force is part of every check. Where an end is only a little short of the edge, what "
            "slides down in the gap counts there too, and near a valley the valley's stream."
        )
    else:
        words.append("The rows reach the edges of their planes; next to nothing lies beyond their ends.")
    return tuple(words)


def _model_words(analysis: Analysis, units: UnitSystem) -> tuple[str, ...]:
    """The model in five sentences."""
    splices = len(analysis.project.layout.splice_s)
    return (
        "Snow lies on the planes as vertical pressure from the cases above and slides straight down the "
        "fall line, through valleys and over pitch breaks, until a row catches it or it leaves over an "
        "edge; the flow is conserved, thrust keeps its size over a change of pitch, and lift at convex "
        "breaks is neglected.",
        f"Each row is one straight elastic beam in space ({rail_words(analysis, units)}) with "
        "axial force, bending about both axes, shear and torsion, continuous over its clamps"
        + (f", with {splices} {'splice' if splices == 1 else 'splices'} in all" if splices else "")
        + f"{torsion_words(analysis)}.",
        "Each clamp is a set of springs at its grip on the seam, joined to the rail's axis by a rigid arm, "
        "so that the height of the rail tips the grip.",
        "The sliding force acts once on the rail's axis and once at its top, and the worse of both counts; "
        "the analysis is linear, with small displacements and no slip of clamps"
        + (
            ", and no give of seams beyond the stiffness entered."
            if not analysis.support.stiffness
            else "; seams, sheet, clips and fixed points give way as shells that are condensed to the grips, "
            "so that clamps on neighboring seams help each other."
        ),
        "Every limit compares the factored demand of each case with a design resistance; a resistance that "
        "nobody gave never passes. The rail's own weight is in every case; restrained temperature counts as "
        "given, reversed and left out, whichever is worst.",
    )


def _drawings(analysis: Analysis, rows_by_use: list[float]) -> dict[str, Any]:
    """Plan and rows as inline SVG."""
    from markupsafe import Markup

    from viewer.picture.landing import landing_svg
    from viewer.picture.plan import plan_svg
    from viewer.picture.row_diagrams import row_svg
    from viewer.report.building_section import building_svg
    from viewer.report.clamp_detail import clamp_svg
    from viewer.report.roof_section import section_svg
    from viewer.report.rows_plan import planes_with_rows, rows_svg

    order = np.sort(np.argsort(-np.array(rows_by_use), kind="stable")[:DRAWINGS_SHOWN])
    names = analysis.project.layout.row_name
    return {
        "plan": Markup(plan_svg(analysis)),
        "cut": Markup(section_svg(analysis)),
        "clamp_detail": Markup(clamp_svg(analysis)),
        "row_plans": [Markup(rows_svg(analysis, p)) for p in planes_with_rows(analysis)[:PLANES_SHOWN]],
        "planes_left": ", ".join(
            analysis.project.roof.planes.name[p] for p in planes_with_rows(analysis)[PLANES_SHOWN:]
        ),
        "landing": Markup(landing_svg(analysis)),
        "section": Markup(building_svg(analysis, system(analysis.project.table.project.units))),
        "row_drawings": [(names[row], Markup(row_svg(analysis, int(row)))) for row in order],
        "rows_total": len(names),
    }


def symbols(text: str) -> Markup:
    """Formula text as HTML: Greek words become letters, underscores subscripts, carets powers."""
    from markupsafe import Markup, escape

    safe = str(escape(text))
    safe = re.sub(GREEK_WORD, lambda m: GREEK[m.group(1)], safe)
    safe = re.sub(SUBSCRIPT, r"\1<sub>\2</sub>", safe)
    return Markup(re.sub(POWER, _raised, safe))


def _raised(power: re.Match[str]) -> str:
    return f"<sup>{power[1] or power[2]}</sup>"


def expression_html(parts: Expression, units: UnitSystem) -> Markup:
    """Expression with its numbers in the user's units; units are set apart from numbers."""
    from markupsafe import Markup, escape

    out = Markup()
    for part in parts:
        if not isinstance(part, Number):
            out += Markup(re.sub(POWER, _raised, str(escape(part))))
            continue
        number, _, unit = quantity(part.value, part.kind, units, 4).partition(" ")
        negative = number.startswith("−")
        out += Markup("(") if negative else Markup()
        out += Markup('<span class="q">{}{}</span>').format(
            number, Markup(' <span class="u">{}</span>').format(unit) if unit else ""
        )
        out += Markup(")") if negative else Markup()
    return out
