"""spans.json, spans.csv and spans.xlsx."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from fea.spans.capacity import LIMITS
from fea.spans.study import StudyResult
from roofmodel.units import SI, US
from viewer.export import file_head, plain_data, version
from viewer.files import atomic, safe, write_text
from viewer.span.words import CAUTIONS, down

HEADS = (
    "rail", "arrangement", "span [m]", "largest load [kN/m]", "high end of band [kN/m]", "governs",
    *(f"{name} [kN/m]" for name in LIMITS), "span [ft]", "largest load [lbf/ft]", "high end of band [lbf/ft]",
)  # fmt: skip


def study_data(found: StudyResult) -> dict[str, Any]:
    """Everything, SI, after viewer/spans.schema.json; null stands for unlimited, see `verified`."""
    table = found.study.table
    return dict(
        plain_data(
            {
                **file_head("spans", found.study.path.name, found.study.digest),
                "study": table.study.model_dump(),
                "design": table.design.model_dump(),
                "ranges": found.study.ranges,
                "verified": found.verified,
                "limits": LIMITS,
                "arrangements": [str(one) for one in found.choices.arrangements],
                "spans": found.choices.spans,
                "loads": found.choices.loads,
                "rails": [
                    {
                        "name": rail.name,
                        "largest_load": rail.low,
                        "largest_load_high": rail.high,
                        "verified": ~np.isnan(rail.low),
                        "governing": rail.governing,
                        "largest_load_by_limit": rail.by_limit,
                        "utilization": rail.use,
                        "largest_span": rail.span,
                    }
                    for rail in found.rails
                ],
                "notes": found.notes,
                "cautions": CAUTIONS,
            }
        )
    )


def write_study(found: StudyResult, path: Path) -> None:
    """Write spans.json."""
    write_text(path, json.dumps(study_data(found), ensure_ascii=False, allow_nan=False) + "\n")


def _lines(found: StudyResult) -> list[list[Any]]:
    """One line for every rail, arrangement and span; loads rounded down to four digits."""
    lines = []
    for rail in found.rails:
        for a, arrangement in enumerate(found.choices.arrangements):
            for i, span in enumerate(found.choices.spans):
                low, high = float(rail.low[i, a]), float(rail.high[i, a])
                limit = int(rail.governing[i, a])
                own = [_number(float(x), SI) for x in rail.by_limit[i, a]]
                lines.append(
                    [
                        rail.name, str(arrangement), round(float(span), 9), _number(low, SI),
                        _number(high, SI), "none" if limit < 0 else LIMITS[limit], *own,
                        round(US.convert(float(span), "length"), 6), _number(low, US), _number(high, US),
                    ]
                )  # fmt: skip
    return lines


def _number(load: float, units: Any) -> float | str:
    return float(down(load, "line", units, 4)) if math.isfinite(load) else down(load, "line", units)


def write_table(found: StudyResult, path: Path) -> None:
    """Write spans.csv."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(HEADS)
    writer.writerows([[safe(cell) for cell in line] for line in _lines(found)])
    write_text(path, text.getvalue())


def write_book(found: StudyResult, path: Path) -> None:
    """Write spans.xlsx: the table and what must be read with it."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Spans"
    sheet.append(HEADS)
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    for line in _lines(found):
        sheet.append([safe(cell) for cell in line])
    sheet.freeze_panes = "D2"
    sheet.auto_filter.ref = sheet.dimensions
    read = book.create_sheet("Read with it")
    for text in (found.study.table.study.name, *found.notes, *CAUTIONS):
        read.append([safe(text)])
    book.properties.title = found.study.table.study.name
    book.properties.creator = f"eavewright {version()}"
    with atomic(path) as temporary:
        book.save(temporary)
