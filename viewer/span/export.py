"""spans.json, spans.csv, loads.csv, conditions.csv and spans.xlsx."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import Any

import numpy as np

from fea.spans.bench import LIMITS
from fea.spans.study import RailTableau, StudyResult
from roofmodel.units import SI, US
from viewer.export import file_head
from viewer.files import atomic, safe, write_json, write_text
from viewer.plain import plain_data
from viewer.span.conditions import conditions, conditions_table, rail_conditions, unverified
from viewer.span.words import CAUTIONS, down
from viewer.version import version

HEADS = (
    "rail", "arrangement", "span [m]", "largest load [kN/m]", "high end of band [kN/m]", "governs",
    *(f"{name} [kN/m]" for name in LIMITS), "span [ft]", "largest load [lbf/ft]", "high end of band [lbf/ft]",
    *(f"{name} [lbf/ft]" for name in LIMITS), "with three more tests [kN/m]",
    "with three more tests [lbf/ft]", "seam spacing [mm]", "seam spacing [in]", "verified",
    "numbers in conditions.csv",
)  # fmt: skip
LOAD_HEADS = (
    "rail",
    "arrangement",
    "line load [kN/m]",
    "largest span [m]",
    "line load [lbf/ft]",
    "largest span [ft]",
    "seam spacing [mm]",
    "seam spacing [in]",
    "verified",
    "numbers in conditions.csv",
)
CONDITION_HEADS = ("number", "kind", "what", "words")
Conditions = dict[tuple[str, str, str], int]  # kind, what and words of each by its number


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
                "not_given": found.not_given,
                "valid_for": [
                    dict(zip(("what", "value"), row, strict=True)) for row in conditions_table(found).rows
                ],
                "limits": LIMITS,
                "arrangements": [str(one) for one in found.choices.arrangements],
                "spans": found.choices.spans,
                "loads": found.choices.loads,
                "rails": [
                    {
                        "name": rail.name,
                        "seam_spacing": rail.seam,
                        "spans": rail.spans,
                        "largest_load": rail.low,
                        "largest_load_high": rail.high,
                        "verified": found.verified_cells(rail),
                        "governing": rail.governing,
                        "largest_load_by_limit": rail.by_limit,
                        "utilization": rail.use,
                        "largest_span": rail.span,
                        "three_more_tests": None
                        if rail.more is None
                        else {
                            "largest_load": rail.more.load,
                            "governing": rail.more.governing,
                            "alone": rail.more.alone,
                        },
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
    write_json(path, study_data(found))


def _lines(found: StudyResult) -> list[list[Any]]:
    """One line for every rail, arrangement and span; loads rounded down to four digits."""
    lines, hold = [], numbered(found)
    for rail in found.rails:
        name = found.study.table.rail[rail.rail].name
        for a, arrangement in enumerate(found.choices.arrangements):
            for i, span in enumerate(rail.spans):
                words = _read_with(found, rail, bool(found.verified_cells(rail)[i, a]), hold)
                low, high = float(rail.low[i, a]), float(rail.high[i, a])
                limit = int(rail.governing[i, a])
                more = None if rail.more is None else [_number(rail.more.load[i, a], u) for u in (SI, US)]
                own, american = ([_number(float(x), u) for x in rail.by_limit[i, a]] for u in (SI, US))
                lines.append(
                    [
                        name, str(arrangement), round(float(span), 9), _number(low, SI),
                        _number(high, SI), "none" if limit < 0 else LIMITS[limit], *own,
                        float(down(float(span), "length", US, 7)), _number(low, US), _number(high, US),
                        *american, *(more if more else ("", "")), *words,
                    ]
                )  # fmt: skip
    return lines


def _spans(found: StudyResult) -> list[list[Any]]:
    """One line for every rail, arrangement and line load; "none" where no span of the study carries it."""
    lines, hold = [], numbered(found)
    for rail in found.rails:
        name = found.study.table.rail[rail.rail].name
        for a, arrangement in enumerate(found.choices.arrangements):
            known = found.verified_rail(rail.rail) and not np.isnan(rail.low[:, a]).any()
            for m, load in enumerate(found.choices.loads.tolist()):
                span = float(rail.span[m, a])
                sure = not rail.guess[np.isclose(rail.spans, span, atol=1e-9), a].any()
                words = _read_with(found, rail, known and sure, hold)
                both = ["none", "none"]
                if math.isfinite(span):
                    both = [round(span, 9), float(down(span, "length", US, 7))]  # type: ignore[list-item]
                loads = [round(u.convert(load, "line"), 6) for u in (SI, US)]
                lines.append([name, str(arrangement), loads[0], both[0], loads[1], both[1], *words])
    return lines


def _of_table(found: StudyResult, rail: RailTableau) -> list[tuple[str, str, str]]:
    """All that one table holds for and is to be read with."""
    rows = (*conditions(found, rail.seam), (f"Rail {rail.rail + 1}", rail_conditions(found, rail.rail)))
    return [
        *(("valid for", name, words) for name, words in rows),
        *(("read with it", "note", words) for words in found.notes),
        *(("read with it", "caution", words) for words in CAUTIONS),
    ]


def numbered(found: StudyResult) -> Conditions:
    """What the tables hold for and are to be read with, each once with its number, by which lines name it."""
    every = (("input", found.study.path.name, f"SHA-256 {found.study.digest}, eavewright {version()}"),)
    some = [*every, *(one for rail in found.rails for one in _of_table(found, rail))]
    return {one: number for number, one in enumerate(dict.fromkeys(some), 1)}


def _read_with(
    found: StudyResult, rail: RailTableau, known: bool, hold: Conditions
) -> tuple[float, float, str, str]:
    """Seam spacing, whether a line is verified, and the numbers of its conditions."""
    seam = (round(1e3 * rail.seam, 4), round(rail.seam / 0.0254, 4))
    numbers = sorted({1, *(hold[one] for one in _of_table(found, rail))})
    return *seam, "yes" if known else unverified(found), f"{' '.join(map(str, numbers))}"


def _number(load: float, units: Any) -> float | str:
    return float(down(load, "line", units, 4)) if math.isfinite(load) else down(load, "line", units)


def write_table(found: StudyResult, path: Path) -> None:
    """Write spans.csv: the largest load of every span."""
    _write(HEADS, _lines(found), path)


def write_loads(found: StudyResult, path: Path) -> None:
    """Write loads.csv: the largest span of every load."""
    _write(LOAD_HEADS, _spans(found), path)


def write_conditions(found: StudyResult, path: Path) -> None:
    """Write conditions.csv: what the lines of the other tables hold for, by its numbers."""
    _write(CONDITION_HEADS, [[number, *one] for one, number in numbered(found).items()], path)


def _write(heads: tuple[str, ...], lines: list[list[Any]], path: Path) -> None:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows([[safe(cell) for cell in line] for line in lines])
    write_text(path, text.getvalue())


def write_book(found: StudyResult, path: Path) -> None:
    """Write spans.xlsx: the table and what must be read with it."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for page, title, heads, lines in (
        (sheet, "Largest loads", HEADS, _lines(found)),
        (book.create_sheet(), "Largest spans", LOAD_HEADS, _spans(found)),
    ):
        page.title = title
        page.append(heads)
        for cell in page[1]:
            cell.font = Font(bold=True)
        for line in lines:
            page.append([safe(cell) for cell in line])
        page.freeze_panes = "D2"
        page.auto_filter.ref = page.dimensions
    hold = book.create_sheet("Conditions")
    hold.append([safe(found.study.table.study.name), "", "", safe(unverified(found))])
    hold.append(CONDITION_HEADS)
    for one, number in numbered(found).items():
        hold.append([number, *map(safe, one)])
    for column, width in zip("ABCD", (10.0, 14.0, 20.0, 110.0), strict=True):
        hold.column_dimensions[column].width = width
    book.properties.title = found.study.table.study.name
    book.properties.creator = f"eavewright {version()}"
    with atomic(path) as temporary:
        book.save(temporary)
