"""Everything that is handed over, from one analysis."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from markupsafe import Markup

from fea.analysis import Analysis
from fea.near_limit import over_limit
from roofmodel.units import UnitSystem
from viewer.export import file_head
from viewer.files import write_text
from viewer.handover.installer import write_plan
from viewer.handover.solid import write_blocks, write_glb
from viewer.handover.workbook import write_workbook
from viewer.package.bill import Bill, bill_lines, bill_of, splice_caution, warning, write_bill
from viewer.package.pdf import write_package
from viewer.package.sway import (
    SwayFindings,
    missing_table,
    place_words,
    sway_words,
    tornado_drawing,
)
from viewer.picture.drawing import drawing_svg
from viewer.places import joined, near_line, place_line
from viewer.plain import plain_data
from viewer.quantities import system
from viewer.report.page import report_content, write_report

Tell = Callable[[str], None]


def _silent(text: str) -> None:
    """Nobody listens."""


OUTPUTS = (
    "utilization.png",
    "deflected.png",
    "package.pdf",
    "package.html",
    "plan.dxf",
    "quantities.csv",
    "tables.xlsx",
    "roof.glb",
    "model.vtm",
    "roof.vtu",
    "rails.vtu",
    "clamps.vtu",
    "handover.json",
)


def write_handover(
    analysis: Analysis,
    folder: Path,
    picture: Path | None = None,
    reason: str = "",
    tell: Tell = _silent,
    *,
    sway: SwayFindings | None,
    deflected: Path | None = None,
) -> Bill:
    """Write `OUTPUTS` to a folder, all but the pictures, which are there if they could be drawn.

    Parameters
    ----------
    analysis : Analysis
    folder : Path
    picture : Path or None
        The utilization picture, for the package.
    reason : str
        Why there is none.
    tell : callable
        Is told what is being written.
    sway : SwayFindings or None
        What moves the answer.
    deflected : Path or None
        The picture of the deflected governing row, for the package.
    """
    for path, name in ((picture, "utilization.png"), (deflected, "deflected.png")):
        if path is None:
            (folder / name).unlink(missing_ok=True)  # of a run before
    units = system(analysis.project.table.project.units)
    bill = bill_of(analysis.project)
    tell("setting the calculation package")
    content = report_content(analysis, units, picture, reason, date.today())
    write_package(analysis, folder / "package.pdf", picture, sway, deflected=deflected, content=content)
    write_report(
        analysis,
        folder / "package.html",
        picture,
        reason,
        sway=_sway_content(sway, units),
        splices=splice_caution(analysis.project),
        place=joined(
            near_line(() if sway is None else over_limit(sway.inputs)),
            place_line(None if sway is None else sway.place, analysis, units),
        ),
        deflected=deflected,
        content=content,
    )
    tell("writing plan, quantities and models")
    warn = warning(analysis)
    place = () if sway is None else (place_words(sway, units),)
    write_plan(analysis, bill, folder / "plan.dxf", warn, tuple(words for words in place if words))
    write_bill(analysis.project, bill, folder / "quantities.csv", warn)
    write_workbook(analysis, bill, folder / "tables.xlsx")
    write_glb(analysis, folder / "roof.glb")
    write_blocks(analysis, folder)
    write_text(
        folder / "handover.json",
        json.dumps(_data(analysis, bill, written(folder)), ensure_ascii=False) + "\n",
    )
    return bill


def _sway_content(sway: SwayFindings | None, units: UnitSystem) -> dict[str, Any] | None:
    """What moves the answer, for the page."""
    if sway is None:
        return None
    words = sway_words(sway)
    drawing = drawing_svg(tornado_drawing(sway.inputs, sway.now), "What moves the answer")
    table = missing_table(sway.missing) if sway.missing else None
    return {"words": words, "drawing": Markup(drawing), "table": table, "place": place_words(sway, units)}


def written(folder: Path) -> list[str]:
    """`OUTPUTS` that are there; the picture only where this machine can draw."""
    return [name for name in OUTPUTS if name == "handover.json" or (folder / name).exists()]


def _data(analysis: Analysis, bill: Bill, names: list[str]) -> dict[str, Any]:
    """Verdict and quantities as plain data; pieces in meters, quantities in the project's units."""
    project = analysis.project
    heads = ("item", "size", "quantity", "unit", "note")
    return dict(
        plain_data(
            {
                **file_head("handover", project.path.name, project.digest),
                "verdict": analysis.verdict,
                "files": [name for name in names if name != "handover.json"],
                "pieces": [
                    {"row": project.layout.row_name[row], "length": length, "bar": bar}
                    for row, length, bar in zip(bill.piece_row, bill.piece_length, bill.bar, strict=True)
                ],
                "stock_length": bill.stock,
                "bars": bill.bars,
                "quantities": [dict(zip(heads, line, strict=True)) for line in bill_lines(project, bill)],
            }
        )
    )
