"""The files of `eavewright risk`; the same bytes for the same inputs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fea.failure.jobs import TOP
from fea.failure.splices import nearest_clamps
from viewer.export import file_head
from viewer.files import csv_text, safe, write_json, write_text
from viewer.picture.course import write_course
from viewer.picture.drawing import drawing_svg, write_png
from viewer.plain import plain_data
from viewer.risk.chart import risk_drawing
from viewer.risk.findings import CAUTIONS, RiskFindings, answer, said, steps_of, torn_of

QUANTILES = (0.001, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99)


def write_risk(found: RiskFindings, folder: Path) -> None:
    """Write every output into a folder that exists, each whole or not at all."""
    write_json(folder / "risk.json", risk_data(found), indent=1)
    write_text(folder / "risk.csv", risk_csv(found))
    write_text(folder / "course.csv", course_csv(found))
    write_text(folder / "thaw.csv", thaw_csv(found))
    project, order = found.analysis.project, found.course.sequence(0)
    never = np.zeros(len(project.layout.clamp_name), dtype=bool)
    note = "Every clamp at its mean strength, the snow of the case growing."
    splices = torn_of(steps_of(found, found.course))
    write_course(project, order, never, "At mean strengths", note, folder / "course.gif", splices)
    drawing = risk_drawing(found)
    write_text(folder / "risk.svg", drawing_svg(drawing, answer(found)) + "\n")
    write_png(drawing, folder / "risk.png")


def course_csv(found: RiskFindings) -> str:
    """Clamps in the order in which they give way at mean strengths, as the snow of the case grows."""
    layout = found.analysis.project.layout
    rows: list[list[object]] = [["event", "snow over case", "clamp", "row"]]
    for number, one in enumerate(steps_of(found, found.course), 1):
        row = layout.row_name[layout.clamp_row[one.clamp]]
        rows.append([number, f"{one.at:.6g}", safe(one.name(layout)), safe(row)])
    return csv_text(rows)


def thaw_csv(found: RiskFindings) -> str:
    """Clamps in the order in which they give way at mean strengths, as the bond of snow that lies falls."""
    rows: list[list[object]] = [["event", "bond left", "plane", "clamp", "row"]]
    for number, one in enumerate(_thaw_events(found), 1):
        names = (safe(one["plane"] or ""), safe(one["clamp"]), safe(one["row"]))
        rows.append([number, f"{one['bond_left']:.6g}", *names])
    return csv_text(rows)


def _thaw_events(found: RiskFindings) -> list[dict[str, Any]]:
    thaw, layout = found.thaw, found.analysis.project.layout
    events = []
    for one in steps_of(found, thaw.course):
        part, left = thaw.bond_left(one.at)
        events.append(
            {
                "clamp": one.name(layout),
                "row": layout.row_name[layout.clamp_row[one.clamp]],
                "plane": (*thaw.planes, None)[part] if thaw.planes else None,
                "bond_left": left,
            }
        )
    return events


def risk_data(found: RiskFindings) -> dict[str, Any]:
    """Everything as plain data, SI, after viewer/risk.schema.json."""
    project, risk, layout = found.analysis.project, found.risk, found.analysis.project.layout
    table, use = found.uncertain.table, found.use
    cleaned: dict[str, Any] = plain_data(
        {
            **file_head("risk", project.path.name, project.digest),
            "tests_sha256": found.uncertain.digest or None,
            "project": project.table.project.model_dump(),
            "case": found.case_name,
            "cases": [
                {"name": name, "chance": _chance(risk.case_chance[k]) if risk.case_chance else None}
                for k, name in enumerate(found.names)
            ],
            "method": table.method,
            "seed": table.seed,
            "chance": _chance(risk.chance),
            "unanswered": risk.unanswered,
            "rows": [
                {
                    "name": name,
                    "chance": _chance(risk.row_chance[r]) if risk.row_chance else None,
                    "worst_case": None if found.worst_case[r] < 0 else found.names[found.worst_case[r]],
                    "worst_case_chance": (
                        None if found.worst_case[r] < 0 else _chance(risk.case_row[found.worst_case[r]][r])
                    ),
                    "first_to_let_go": risk.first_row[r],
                }
                for r, name in enumerate(layout.row_name)
            ],
            "clamps": [
                {
                    "name": name,
                    "first_to_give_way": risk.first[c],
                    "gone_where_a_row_let_go": risk.gave_way[c],
                    "snow_over_mean_strength": use[c],
                }
                for c, name in enumerate(layout.clamp_name)
            ],
            "splices": _splices(found),
            "reserve": _quantiles(risk.reserve),
            "snow_over_case_at_failure": _quantiles(risk.fragility),
            "followed_up_to": TOP,
            "course": [
                {"clamp": one.name(layout), "snow_over_case": one.at} for one in steps_of(found, found.course)
            ],
            "thaw": {
                "snow_over_case": found.thaw.snow,
                "planes": list(found.thaw.planes),
                "thaw_from": table.thaw.thaw_from,
                "course": _thaw_events(found),
            },
            "scatter_from": [
                {"input": one.name, "share": one.value, "standard_error": one.error} for one in risk.shares
            ],
            "statements": [answer(found), *said(found)],
            "cautions": list(CAUTIONS),
        }
    )
    return cleaned


def _splices(found: RiskFindings) -> list[dict[str, Any]]:
    splices, layout = found.cases[0].roof.roof.splices, found.analysis.project.layout
    if splices is None:
        return []
    return [
        {
            "near": layout.clamp_name[clamp],
            "row": layout.row_name[splices.row[s]],
            "first_to_give_way": found.risk.splice_first[s],
            "parted_where_a_row_let_go": found.risk.splice_parted[s],
        }
        for s, clamp in enumerate(nearest_clamps(layout, splices).tolist())
    ]


def _chance(chance: Any) -> dict[str, Any]:
    return {"value": chance.value, "low": chance.low, "high": chance.high, "samples": chance.calls}


def _quantiles(values: Any) -> list[dict[str, float]]:
    return [
        {"share": share, "value": float(value)}
        for share, value in zip(QUANTILES, np.quantile(values, QUANTILES), strict=True)
    ]


def risk_csv(found: RiskFindings) -> str:
    """A line for every clamp."""
    layout, risk, use = found.analysis.project.layout, found.risk, found.use
    rows = [["clamp", "row", "first to give way", "gone where a row let go", "snow over mean strength"]]
    for c, name in enumerate(layout.clamp_name):
        gone = risk.gave_way[c]
        rows.append(
            [
                safe(name),
                safe(layout.row_name[layout.clamp_row[c]]),
                f"{risk.first[c]:.6g}",
                "" if np.isnan(gone) else f"{gone:.6g}",
                f"{use[c]:.6g}",
            ]
        )
    return csv_text(rows)
