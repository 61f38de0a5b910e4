"""Open exchange of a screening: screen.json and screen.csv; the same bytes for the same inputs."""

from __future__ import annotations

import csv
import io
import json
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from roofmodel.units import UnitSystem
from viewer.files import atomic, write_text
from viewer.plain import plain_data
from viewer.screen.findings import BASIS, RANK, ScreenFindings
from viewer.version import version

FORMAT_VERSION = 1
COLUMNS = (  # field, heading, kind of quantity
    ("force", "sliding force over the worst meter", "line"),
    ("weight", "weight over the worst meter", "line"),
    ("total_weight", "weight of all", "force"),
    ("volume", "volume of all", "volume"),
    ("fall", "fall to the ground", "length"),
    ("speed", "speed at the edge", "speed"),
    ("throw", "throw", "length"),
)


def screen_data(findings: ScreenFindings) -> dict[str, Any]:
    """Everything as plain data, SI, after viewer/screen.schema.json."""
    plan = findings.plan
    cleaned: dict[str, Any] = plain_data(
        {
            "format": "eavewright screen",
            "format_version": FORMAT_VERSION,
            "eavewright_version": version(),
            "input": {"sha256": dict(plan.digests), **plan.said},
            "basis": BASIS,
            "rank": RANK,
            "counts": {
                "buildings": len(findings.buildings),
                "failed": len(findings.failed),
                "ground_assumed": findings.assumed,
                "edges": len(findings.ranking),
            },
            "ranking": [
                {"number": findings.buildings[b]["number"], "edge": findings.edge((b, e))["edge"]}
                for b, e in findings.ranking
            ],
            "buildings": findings.buildings,
        }
    )
    return cleaned


def screen_csv(findings: ScreenFindings) -> str:
    """Edges in the order of the ranking, then edges that nothing slides over, then what failed."""
    units = findings.plan.units
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    head = ["rank", "building number", "building id", "edge", "kind", "slope [deg]", "falls to [deg]"]
    head += [f"{words} [{units.label(kind)}]" for _, words, kind in COLUMNS]
    writer.writerow([*head, f"energy over the worst meter [{energy_label(units)}]", "case", "note"])
    ranked = set(findings.ranking)
    rest = [
        (b, e)
        for b, one in enumerate(findings.buildings)
        for e in range(len(one.get("edges", ())))
        if (b, e) not in ranked
    ]
    for rank, (b, e) in enumerate((*findings.ranking, *rest), 1):
        one, edge = findings.buildings[b], findings.edge((b, e))
        numbers = [_convert(edge[name], kind, units) for name, _, kind in COLUMNS]
        writer.writerow(
            [
                rank if (b, e) in ranked else "",
                one["number"],
                safe(one["id"]),
                edge["edge"],
                edge["kind"],
                *(
                    _text(None if edge[name] is None else np.degrees(edge[name]))
                    for name in ("slope", "azimuth")
                ),
                *(_text(number) for number in numbers),
                _text(_convert(edge["energy"], "force", units)),
                edge["case"] or "",
                "height above ground assumed" if one["ground"]["assumed"] else "",
            ]
        )
    empty = [""] * (len(head) - 3)
    for one in findings.failed:
        writer.writerow(
            ["", one["number"], safe(one["id"]), *empty, "", "", f"not screened: {one['reason']}"]
        )
    return text.getvalue()


def energy_label(units: UnitSystem) -> str:
    """Unit of energy per length; a force by its dimension."""
    return "kJ/m" if units.name == "SI" else "ft·lbf/ft"


def _convert(value: float | None, kind: str, units: UnitSystem) -> float | None:
    return None if value is None else units.convert(float(value), kind)


def _text(number: float | None) -> str:
    return "" if number is None else f"{number:.6g}"


def safe(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def _a_line_each(data: dict[str, Any], name: str) -> str:
    """JSON with a line for each item of one list: thousands of them are written at once and still read."""
    say = partial(json.dumps, ensure_ascii=False, allow_nan=False)
    items = ",\n".join(map(say, data[name]))
    head = say({key: value for key, value in data.items() if key != name})
    return f'{head[:-1]}, "{name}": [\n{items}\n]}}\n'


def write_screen_data(findings: ScreenFindings, folder: Path) -> None:
    """Write screen.json and screen.csv, each whole or not at all."""
    write_text(folder / "screen.json", _a_line_each(screen_data(findings), "buildings"))
    with atomic(folder / "screen.csv") as temporary:
        temporary.write_bytes(screen_csv(findings).encode("utf-8-sig", "replace"))
