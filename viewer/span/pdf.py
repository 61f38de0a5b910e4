"""spans.pdf: the span tables to print and hand over, in both unit systems."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from fea.spans.study import StudyResult
from roofmodel.units import SI, US
from viewer.package import typeset as t
from viewer.picture.drawing import drawing_svg
from viewer.span.chart import study_drawing
from viewer.span.conditions import conditions_table, unverified
from viewer.span.sheet import sheets
from viewer.span.words import CAUTIONS, compared, loads_table, more_table, spans_table, units_of
from viewer.version import version

LAST = "All that is to be read with it stands at the end of this document."
KIND = "Span tables of snow retention rails"
OUTLINE = "34mm"  # width of a rail's outline
RAILS = 2  # in one picture, so that it fits a page


def study_source(found: StudyResult, today: date) -> tuple[dict[str, bytes], str]:
    """Pictures by file name, and the document's text."""
    table, first = found.study.table, units_of(found)
    name = table.study.name
    foot = f"{found.study.path.name}, SHA-256 {found.study.digest[:12]} · eavewright {version()}"
    parts = [
        t.preamble(name, foot, "a4" if first is SI else "us-letter", KIND),
        f'#text(size: 20pt, weight: "semibold")[{t.text(name)}]\n\n',
        t.facts(
            (
                ("Printed", today.isoformat()),
                ("Design format", table.design.format),
                ("Rails", ", ".join(rail.name for rail in found.rails)),
                ("Reviewed by", ""),
            )
        ),
    ]
    if not found.verified:
        parts.append(t.box(unverified(found), mark="open"))
    files = {}
    label = ""
    for number, sheet in enumerate(sheets(found)):
        title, label = f"Data sheet: {sheet.name}", f"sheet-{number}"
        parts += [t.running(title), t.new_page() if number else "", t.heading(title, 1, label)]
        parts.append(t.running(f"{title}, to be read with the notes on page ", label))
        parts.append(t.smaller(t.bullets((*sheet.loud, " ".join((*CAUTIONS, LAST))))))
        facts = t.smaller(t.facts(sheet.facts, columns=1, gap=4.0))
        if sheet.outline is not None:
            files[f"outline{number}.svg"] = drawing_svg(sheet.outline, sheet.name).encode()
            facts = t.beside(facts, t.figure(f"outline{number}.svg", f"Outline of {sheet.name}"), OUTLINE)
        parts += [*map(t.table, sheet.tables), facts, t.smaller(t.bullets(sheet.rest)) if sheet.rest else ""]
    parts += [t.running(KIND), t.new_page(label)]
    parts += [t.heading("What the tables hold for"), t.table(conditions_table(found))]
    for first_rail in range(0, len(found.rails), RAILS):
        rails = found.rails[first_rail : first_rail + RAILS]
        picture = f"chart{first_rail}.svg"
        files[picture] = drawing_svg(study_drawing(found, rails), name).encode()
        words = "Largest line load over span, colored by the limit that governs"
        parts.append(t.figure(picture, words, floats="auto"))
    for units in (first, US if first is SI else SI):
        system = "SI units" if units is SI else "US units"
        parts.append(t.heading(f"Largest line loads, {system}"))
        parts += [t.table(loads_table(found, rail, units)) for rail in found.rails]
        more = [one for rail in found.rails if (one := more_table(found, rail, units)) is not None]
        if more:
            parts += [
                t.heading(f"What three more tests of the clamp would buy, {system}"),
                *map(t.table, more),
            ]
        parts += [t.table(table) for table in compared(found, units)]
        parts.append(t.heading(f"Largest spans, {system}"))
        parts += [t.table(spans_table(found, rail, units)) for rail in found.rails]
    parts += [
        t.all_placed(),
        t.heading("To be read with them"),
        t.bullets(found.notes),
        t.heading("Cautions"),
        t.bullets(CAUTIONS),
    ]
    return files, "".join(parts)


def write_study_pdf(found: StudyResult, path: Path, *, today: date | None = None) -> None:
    """Write spans.pdf, whole or not at all."""
    files, source = study_source(found, today or date.today())
    t.typeset(source, files, path)
