"""spans.html: the span tables on one page that stands alone."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from markupsafe import Markup

from fea.spans.study import StudyResult
from roofmodel.units import SI, US
from viewer.files import write_text
from viewer.picture.drawing import drawing_svg
from viewer.report.page import page_environment
from viewer.span.chart import study_drawing
from viewer.span.conditions import conditions_table, unverified
from viewer.span.sheet import sheets
from viewer.span.words import CAUTIONS, compared, loads_table, more_table, spans_table, units_of
from viewer.typeface import page_css
from viewer.version import version


def write_study_page(found: StudyResult, path: Path) -> None:
    """Write the page, whole or not at all."""
    table, first = found.study.table, units_of(found)
    systems = (first, US if first is SI else SI)
    title = (
        ("Printed", date.today().isoformat()),
        ("Design format", table.design.format),
        ("Program", f"eavewright {version()}"),
        ("Input", f"{found.study.path.name}, SHA-256 {found.study.digest}"),
    )
    drawn = sheets(found)
    text = (
        page_environment()
        .get_template("spans.html.j2")
        .render(
            name=table.study.name,
            css=page_css(),
            title=title,
            chart=Markup(drawing_svg(study_drawing(found), table.study.name)),
            loads=[loads_table(found, rail, units) for units in systems for rail in found.rails],
            sheets=drawn,
            outlines=[
                None if one.outline is None else Markup(drawing_svg(one.outline, one.name)) for one in drawn
            ],
            more=[
                one
                for units in systems
                for rail in found.rails
                if (one := more_table(found, rail, units)) is not None
            ],
            compared=[table for units in systems for table in compared(found, units)],
            spans=[spans_table(found, rail, units) for units in systems for rail in found.rails],
            valid=conditions_table(found),
            unverified=unverified(found),
            notes=found.notes,
            cautions=CAUTIONS,
        )
    )
    write_text(path, text)
