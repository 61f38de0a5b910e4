"""plan.json and planned.toml."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, Comment, Table, Whitespace

from fea.planning.plan import Plan
from roofmodel.project.base_file import BaseFile, move_files
from roofmodel.project.load import Project
from roofmodel.project.schema import RowTable
from viewer.export import created, file_head
from viewer.files import write_json, write_text
from viewer.places import place_data
from viewer.plain import plain_data
from viewer.plan.words import Beside, row_lines, rows_by_protected, verdict_words

FORMAT_VERSION = 1


def plan_data(project: Project, plan: Plan, beside: tuple[Beside, ...] = ()) -> dict[str, Any]:
    """Everything as plain data, SI, after viewer/plan.schema.json."""
    table, held = project.table.plan, rows_by_protected(plan)
    cleaned: dict[str, Any] = plain_data(
        {
            **file_head("plan", project.path.name, project.digest, FORMAT_VERSION),
            **created(),
            "title": project.table.project.name,
            "goal": table.goal,
            "target": table.target,
            "protected": [
                {"name": name, "planes": list(planes), "held_by": list(held[name])}
                for name, planes in plan.threats.by
            ],
            **_outcome(plan),
            "verdict": _verdict(plan),
            "sentence": verdict_words(plan),
            "failure": plan.failure,
            "advice": plan.advice,
            "tolerance_of_place": place_data(plan.place),
            "not_borne": [one.words for one in plan.trouble],
            "proven": plan.proven,
            "checks": plan.checks,
            "passing_by": plan.passing_by,
            "rows": [vars(line) for line in row_lines(plan)],
            "groups": [
                {"planes": list(names), "feasible": found.feasible, "proven": found.proven}
                for names, found in plan.groups
            ],
            "compared": [
                {
                    "every": one.every,
                    **(_outcome(one.plan) if one.plan else {}),
                    "failure": one.failure,
                    "notes": list(one.plan.notes) if one.plan else [],
                }
                for one in beside
            ],
            "notes": list(plan.notes),
            "cautions": [*plan.cautions, *plan.analysis.cautions],
        }
    )
    return cleaned


def _verdict(plan: Plan) -> str:
    if plan.failure:
        return "no rows found"
    kept = plan.analysis.verdict
    return "exceeded out of place" if plan.trouble and plan.analysis.passed else kept


def _outcome(plan: Plan) -> dict[str, Any]:
    return {
        "row_count": len(plan.rows),
        "rail_length": plan.length,
        "clamp_count": plan.clamps,
        "cost": plan.cost,
    }


def write_plan_data(project: Project, plan: Plan, beside: tuple[Beside, ...], path: Path) -> None:
    """Write plan.json."""
    data = plan_data(project, plan, beside)
    write_json(path, data, indent=1)


def write_planned_project(project: Project, plan: Plan, path: Path) -> None:
    """Write the project file anew with the planned rows; what else it says stays, comments too."""
    text = planned_content(project.path.read_text(encoding="utf-8-sig"), project, plan)
    write_text(path, _moved(text, project, path.parent))


def planned_content(text: str, project: Project, plan: Plan) -> str:
    """Text of a project file with the planned rows, and with the strips that the plan was checked on."""
    units = project.table.project.units
    text = planned_text(text, plan.rows, units)
    width = plan.analysis.project.table.analysis.strip_width
    if width != project.table.analysis.strip_width:
        text = _with_strips(text, _length(width, units), project.base)
    return text


def _length(value: float, units: str) -> str:
    number = value / 0.0254 if units == "US" else value
    return f"{number:.12g} {'in' if units == 'US' else 'm'}"


def _with_strips(text: str, width: str, base: BaseFile | None) -> str:
    document = tomlkit.parse(text)
    if "analysis" not in document:
        known = {} if base is None else base.tables.get("analysis", {})
        document.add("analysis", tomlkit.item(dict(known)))
    document["analysis"]["strip_width"] = width
    return tomlkit.dumps(document)


def planned_text(text: str, rows: tuple[RowTable, ...], units: str) -> str:
    """Text of a project file with other rows.

    Parameters
    ----------
    text : str
    rows : tuple of RowTable
    units : str
        "SI" writes meters, "US" inches.

    Returns
    -------
    str
        Comments stay, but for those inside the rows that go.
    """
    document = tomlkit.parse(text)
    tail = _tail(document.get("row"))
    tables = tomlkit.aot()
    for row in rows:
        tables.append(_row_table(row, units))
    for item in (tomlkit.nl(), *tail):
        tables[-1].add(item)
    if "row" in document and isinstance(document["row"], AoT):
        document["row"] = tables
    else:
        document.pop("row", None)
        document.add("row", tables)
    return tomlkit.dumps(document)


def _row_table(row: RowTable, units: str) -> Table:
    table = tomlkit.table()
    table["name"] = row.name
    table["eave" if row.plane is None else "plane"] = row.eave if row.plane is None else row.plane
    table["up"] = _length(row.up, units)
    for name in ("start", "end", "cantilever", "splice_every"):
        value = getattr(row, name)
        if value is not None:
            table[name] = _length(value, units)
    for name in ("start_at", "end_at"):
        if getattr(row, name) is not None:
            table[name] = getattr(row, name)
    for name in ("edge_distance", "clamp_edge_distance"):
        if getattr(row, name):
            table[name] = _length(getattr(row, name), units)
    if row.every != 1:
        table["every"] = row.every
    if row.splice_every is not None:
        table["splice_kind"] = row.splice_kind
    if row.splice_even:
        table["splice_even"] = True
    return table


def _tail(rows: Any) -> list[Any]:
    """Comments behind the last row, which stand before the next table."""
    if not isinstance(rows, AoT) or not len(rows):
        return []
    items = [item for _, item in rows[-1].value.body]
    last = max((i for i, item in enumerate(items) if not isinstance(item, Comment | Whitespace)), default=-1)
    behind = items[last + 1 :]
    first = next((i for i, item in enumerate(behind) if isinstance(item, Comment)), len(behind))
    return behind[first:]


def _moved(text: str, project: Project, folder: Path) -> str:
    """Text with the files that it names found from its new folder."""
    document = tomlkit.parse(text)

    def moved(name: str) -> str:
        old = (project.path.parent / name).resolve()
        return os.path.relpath(old, folder.resolve()).replace(os.sep, "/")

    move_files(document, moved)
    if "builds_on" in document:
        document["builds_on"] = moved(str(document["builds_on"]))
    return tomlkit.dumps(document)
