"""tables.xlsx: the results as a workbook, numbers as numbers, in the project's units."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fea.analysis import Analysis
from roofmodel.units import UnitSystem
from viewer import style
from viewer.clamp_table import NEWTON, Column, clamp_columns, head_text
from viewer.combining import combination
from viewer.files import atomic, safe
from viewer.package.bill import Bill, bill_lines, splice_caution, warning
from viewer.quantities import system
from viewer.row_summary import row_lines
from viewer.summary import CAUTIONS, NOT_LOADED, LimitLine, governing_text, limit_lines, shown_name, verdict
from viewer.version import version

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

_FORMAT = {NEWTON: "0.0", "ratio": "0.000", "percent": "0.00", "count": "0", "": "General"}
WIDEST = 60  # characters of a column


def write_workbook(analysis: Analysis, bill: Bill, path: Path) -> None:
    """Write tables.xlsx."""
    from openpyxl import Workbook

    units = system(analysis.project.table.project.units)
    book = Workbook(write_only=False)
    book.remove(book.worksheets[0])
    for title, columns in (
        ("Answer", _answer(analysis, bill)),
        ("Attachments", clamp_columns(analysis)),
        ("Rows", _rows(analysis)),
        ("Limits", _limits(analysis)),
        ("Cases", _cases(analysis)),
        ("Planes", _planes(analysis)),
        ("Quantities", _quantities(analysis, bill)),
    ):
        _fill(book.create_sheet(title), columns, units)
    book.properties.title = analysis.project.table.project.name
    book.properties.creator = f"eavewright {version()}"
    with atomic(path) as temporary:
        book.save(temporary)


def _fill(sheet: Worksheet, columns: list[Column], units: UnitSystem) -> None:
    """Heads, values, and a look that prints well."""
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.properties import PageSetupProperties

    rule = Border(bottom=Side(style="thin", color=style.INK[1:]))
    for number, column in enumerate(columns, 1):
        head = sheet.cell(1, number, head_text(column, units))
        head.font, head.border = Font(bold=True, color=style.INK[1:]), rule
        head.fill = PatternFill("solid", fgColor=style.TINT[1:])
        head.alignment = Alignment(wrap_text=True, vertical="bottom")
        widest = 8
        for line, value in enumerate(column.values, 2):
            shown = _cell(value, column.kind, units)
            cell = sheet.cell(line, number, shown)
            cell.number_format = _number_format(column.kind, units)
            cell.alignment = Alignment(wrap_text=isinstance(shown, str), vertical="top")
            widest = max(widest, len(str(shown)) if isinstance(shown, str) else 10)
        sheet.column_dimensions[get_column_letter(number)].width = min(widest + 2, WIDEST)
    sheet.freeze_panes = "B2"
    if sheet.max_row > 1:
        sheet.auto_filter.ref = sheet.dimensions
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.print_title_rows = "1:1"


def _cell(value: Any, kind: str, units: UnitSystem) -> Any:
    """A value as the sheet holds it; what nobody gave is left empty."""
    if isinstance(value, str):
        return safe(value)
    if value is None or not math.isfinite(value):
        return None
    if kind == "count":
        return int(value)
    return float(value) if kind in ("", "ratio", "percent", NEWTON) else units.convert(float(value), kind)


def _number_format(kind: str, units: UnitSystem) -> str:
    if kind in _FORMAT:
        return _FORMAT[kind]
    places = units.units[kind][2]
    return "#,##0" + ("." + "0" * places if places else "")


def _answer(analysis: Analysis, bill: Bill) -> list[Column]:
    project = analysis.project
    said = verdict(analysis, system(project.table.project.units))
    splices = splice_caution(project)
    worst, attachment = analysis.governing, analysis.attachment
    lines = [
        ("Project", project.table.project.name),
        ("Revision", project.table.project.revision or "not given"),
        ("Engineer", project.table.project.engineer or "not given"),
        ("Verdict", analysis.verdict),
        ("Answer", said.sentence),
        *(("Answer", text) for text in said.more),
        ("Governs", "nothing is loaded" if worst is None else governing_text(analysis, worst)),
        (
            "Governing attachment",
            "none is loaded" if attachment is None else governing_text(analysis, attachment),
        ),
        ("Input file", project.path.name),
        ("Input SHA-256", project.digest),
        ("Program", f"eavewright {version()}"),
        *(("Caution", text) for text in (said.falling, splices, *said.cautions, *CAUTIONS) if text),
    ]
    return [Column("What", "", [a for a, _ in lines]), Column("Answer", "", [b for _, b in lines])]


def _rows(analysis: Analysis) -> list[Column]:
    lines = row_lines(analysis)
    return [
        Column("Row", "", [line.name for line in lines]),
        Column("Plane", "", [line.plane for line in lines]),
        Column("Length", "length", [line.length for line in lines]),
        Column("Clamps", "count", [line.clamps for line in lines]),
        Column("Largest line load", "line", [line.peak for line in lines]),
        Column("Acts from", "length", [line.peak_at[0] for line in lines]),
        Column("Acts to", "length", [line.peak_at[1] for line in lines]),
        Column("Its case", "", [line.peak_case for line in lines]),
        Column("Largest total", "force", [line.total for line in lines]),
        Column("Mean line load then", "line", [line.mean for line in lines]),
        Column("From its own plane", "force", [line.own for line in lines]),
        Column("And up to, from beyond the ends", "force", [line.beyond for line in lines]),
        *(
            Column(head, "force", values)
            for head, values in (
                ("Undrifted (EN 1991-1-3 6.4)", [line.undrifted for line in lines]),
                ("With drift", [line.drifted for line in lines]),
            )
            if any(map(math.isfinite, values))
        ),
        Column("Case of the total", "", [line.total_case for line in lines]),
        Column("Worst", "", [line.worst for line in lines]),
        Column("Utilization", "ratio", [line.utilization for line in lines]),
        Column("Not verified", "", ["yes" if line.unverified else "" for line in lines]),
    ]


def _limits(analysis: Analysis) -> list[Column]:
    lines = limit_lines(analysis)
    shown = system(analysis.project.table.project.units)
    kinds = [line.limit.quantity for line in lines]
    labels = ["" if kind == "ratio" else shown.label(kind) for kind in kinds]
    return [
        Column("Limit", "", [shown_name(analysis, line.limit) for line in lines]),
        Column("Worst at", "", ["" if line.status == NOT_LOADED else line.target for line in lines]),
        Column("Demand", "", [_demand(line, shown) for line in lines]),
        Column("Resistance", "", [_shown(line.resistance, line.limit.quantity, shown) for line in lines]),
        Column("Unit", "", labels),
        Column("Utilization", "ratio", [line.utilization for line in lines]),
        Column("Status", "", [line.status for line in lines]),
        Column("Case", "", ["" if line.status == NOT_LOADED else line.case for line in lines]),
        Column("Basis", "", [line.limit.basis for line in lines]),
    ]


def _demand(line: LimitLine, units: UnitSystem) -> float:
    """Where nothing is loaded there is no worst place, so none is told."""
    return math.nan if line.status == NOT_LOADED else _shown(line.demand, line.limit.quantity, units)


def _shown(value: float, kind: str, units: UnitSystem) -> float:
    return value if kind == "ratio" or not math.isfinite(value) else units.convert(value, kind)


def _cases(analysis: Analysis) -> list[Column]:
    cases, worst = analysis.snow.cases, analysis.case_governing
    return [
        Column("Case", "", [case.name for case in cases]),
        Column("Standard", "", [case.standard for case in cases]),
        Column("Combination", "", [combination(analysis, q) for q in range(len(cases))]),
        Column("Density", "density", [case.density for case in cases]),
        Column(
            "Worst", "", ["no row is loaded" if g is None else governing_text(analysis, g) for g in worst]
        ),
        Column("Utilization", "ratio", [None if g is None else g.utilization for g in worst]),
        Column("Reserve on factored snow", "ratio", analysis.reserve),
    ]


def _planes(analysis: Analysis) -> list[Column]:
    planes = analysis.project.roof.planes
    return [
        Column("Plane", "", planes.name),
        Column("Slope", "angle", planes.slope),
        Column("Falls toward", "angle", planes.azimuth),
        Column("True area", "area", planes.true_area),
        Column("Plan area", "area", planes.plan_area),
    ]


def _quantities(analysis: Analysis, bill: Bill) -> list[Column]:
    lines = bill_lines(analysis.project, bill)
    warn = warning(analysis)
    if warn:
        lines.insert(0, (warn, "", float("nan"), "", ""))
    heads = ("Item", "Size", "Quantity", "Unit", "Note")
    return [Column(head, "", [line[i] for line in lines]) for i, head in enumerate(heads)]
