"""Everything that is handed over, from one analysis."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from fea.analysis import Analysis
from viewer.export import plain_data, verdict, version
from viewer.files import write_text
from viewer.handover.bill import Bill, bill_lines, bill_of, write_bill
from viewer.handover.installer import write_plan
from viewer.handover.solid import write_blocks, write_glb
from viewer.handover.workbook import write_workbook

OUTPUTS = (
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


def write_handover(analysis: Analysis, folder: Path) -> Bill:
    """Write `OUTPUTS` to a folder."""
    bill = bill_of(analysis.project)
    write_plan(analysis.project, bill, folder / "plan.dxf")
    write_bill(analysis.project, bill, folder / "quantities.csv")
    write_workbook(analysis, bill, folder / "tables.xlsx")
    write_glb(analysis, folder / "roof.glb")
    write_blocks(analysis, folder)
    write_text(folder / "handover.json", json.dumps(_data(analysis, bill), ensure_ascii=False) + "\n")
    return bill


def _data(analysis: Analysis, bill: Bill) -> dict[str, Any]:
    """Verdict and quantities as plain data; pieces in meters, quantities in the project's units."""
    project = analysis.project
    heads = ("item", "size", "quantity", "unit", "note")
    return dict(
        plain_data(
            {
                "format": "eavewright handover",
                "format_version": 1,
                "eavewright_version": version(),
                "input": {"file": project.path.name, "sha256": project.digest},
                "verdict": verdict(analysis),
                "files": [name for name in OUTPUTS if name != "handover.json"],
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
