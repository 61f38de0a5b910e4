"""Demands on the building as data: for results.json, and building.csv for the engineer of the building."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np

from fea.analysis import Analysis
from fea.checks.purlins import BENT, LineLoads
from roofmodel.units import SYSTEMS
from viewer.files import atomic, safe


def framing_data(analysis: Analysis) -> dict[str, Any]:
    """Demands with the rows and without, purlin lines case by case, and cases on the eaves, SI."""
    found, framing = analysis.building, analysis.project.framing
    names = analysis.project.roof.planes.name
    lines: list[dict[str, Any]] = []
    if framing is not None and found.held is not None:
        lines = [
            {
                "plane": names[framing.plane[line]],
                "line": framing.names[line],
                "up": framing.up[line],
                "length": framing.ends[line, 1] - framing.ends[line, 0],
                "strength": framing.strength[framing.plane[line]],
                "with_rows": _cases(found.held, line, found.use),
                "without_rows": [] if found.free is None else _cases(found.free, line, None),
            }
            for line in range(len(framing.plane))
        ]
    return {
        "demands": [
            {
                "plane": demand.plane,
                "what": demand.what,
                "place": demand.place,
                "quantity": demand.quantity,
                "with_rows": demand.held,
                "without_rows": demand.free,
                "rises": demand.rises,
                "case": demand.case,
            }
            for demand in found.demands
        ],
        "purlins": lines,
        "purlins_exceeded": found.exceeded,
        "eave_cases": [
            {
                "name": case.name,
                "clause": case.zones[-1].clause,
                "carried_by_rows": False,
                "notes": case.notes,
            }
            for case in found.eave.cases
        ],
        "eave_cases_not_applicable": [{"name": name, "why": why} for name, why in found.eave.skipped],
    }


def _cases(loads: LineLoads, line: int, use: np.ndarray | None) -> list[dict[str, Any]]:
    return [
        {
            "case": case,
            "total": loads.total[q, line],
            "mean": loads.mean[q, line],
            "largest": loads.peak[q, line],
            "lift": loads.lift[q, line],
            "lift_with_dead_load": loads.lift_dead[q, line],
            "reaction": loads.reaction[q, line],
            "uplift": loads.uplift[q, line],
            "uplift_with_dead_load": loads.uplift_dead[q, line],
            "sagging": loads.sagging[q, line],
            "hogging": loads.hogging[q, line],
            "shear": loads.shear[q, line],
            "pattern": loads.pattern(q, line),
            "patterns": {name: told[q, line] for name, told in loads.patterns.items()},
            "utilization": None if use is None else use[q, line],
        }
        for q, case in enumerate(loads.cases)
    ]


def write_building(analysis: Analysis, path: Path) -> None:
    """Write building.csv: every purlin line in every case, and the drag of the rows, in the user's units."""
    system = SYSTEMS[analysis.project.table.project.units]
    found, framing = analysis.building, analysis.project.framing
    names = [safe(name) for name in analysis.project.roof.planes.name]
    line_unit, force = system.label("line"), system.label("force")
    kinds = ["moment" if name.endswith("ging") else "force" for name in BENT]
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\r\n")
    out.writerow(
        [
            "plane",
            "what",
            f"up the slope [{system.label('length')}]",
            "rows",
            "case",
            f"total [{force}]",
            f"mean [{line_unit}]",
            f"largest [{line_unit}]",
            f"lift [{line_unit}]",
            f"lift less dead load [{line_unit}]",
            *(f"{name} [{system.label(kind)}]" for name, kind in zip(BENT, kinds, strict=True)),
            f"uplift less dead load [{force}]",
            *(f"pattern of {name}" for name in BENT),
        ]
    )

    def shown(value: float, kind: str) -> str:
        return "" if np.isnan(value) else f"{system.convert(float(value), kind):.4g}"

    for rows, loads in (("with", found.held), ("without", found.free)):
        if framing is None or loads is None:
            continue
        for line in range(len(framing.plane)):
            for q, case in enumerate(loads.cases):
                out.writerow(
                    [
                        names[framing.plane[line]],
                        framing.names[line],
                        shown(framing.up[line], "length"),
                        rows,
                        case,
                        shown(loads.total[q, line], "force"),
                        shown(loads.mean[q, line], "line"),
                        shown(loads.peak[q, line], "line"),
                        shown(loads.lift[q, line], "line"),
                        shown(loads.lift_dead[q, line], "line"),
                        *(
                            shown(getattr(loads, name)[q, line], kind)
                            for name, kind in zip(BENT, kinds, strict=True)
                        ),
                        shown(loads.uplift_dead[q, line], "force"),
                        *(loads.patterns[name][q, line] for name in BENT),
                    ]
                )
    for plane in np.flatnonzero(found.planes.rows > 0.0).tolist():
        low, _, high, _ = analysis.project.roof.planes.outline[plane].bounds
        for q, snow in enumerate(analysis.snow.cases):
            drag = float(found.drag[q, plane])
            out.writerow(
                [
                    names[plane],
                    "drag down the slope at the fixed points",
                    "",
                    "with",
                    snow.name,
                    shown(drag, "force"),
                    shown(drag / (high - low), "line"),
                    *[""] * (4 + 2 * len(BENT)),
                ]
            )
    with atomic(path) as temporary:
        temporary.write_bytes(text.getvalue().encode("utf-8-sig"))
