"""push.json in SI, push.csv and events.csv in the project's units."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from fea.analysis import Analysis
from fea.push.project import Other, ProjectPush
from fea.push.watch import HOLDS, SLIPS
from viewer.export import DIRECTIONS, file_head
from viewer.files import safe, write_json, write_text
from viewer.plain import plain_data
from viewer.push.words import CAUTIONS, snow_words
from viewer.quantities import system

STATES = {HOLDS: "holds", SLIPS: "slips"}


def push_data(analysis: Analysis, found: ProjectPush) -> dict[str, Any]:
    """Everything, SI, after viewer/push.schema.json; null stands for "not given" and "no limit"."""
    push, project = found.push, analysis.project
    layout = push.bay.layout
    return dict(
        plain_data(
            {
                **file_head("push", project.path.name, project.digest),
                "project": project.table.project.model_dump(),
                "case": analysis.snow.cases[found.case].name,
                "reading": found.reading.words,
                "factor_one_is": snow_words(found),
                "for_design": not found.nominal,
                "passes": found.passes,
                "not_given": found.missing,
                "not_settled": found.unknown,
                "states": _states(found),
                "check": {
                    "reserve": found.check_reserve,
                    "exceeded": found.exceeded,
                    "governs": bool(found.exceeded) or found.optimistic,
                },
                "rail_bends": {
                    "moment": found.bending.moment,
                    "share_of_yield": found.bending.share,
                    "lets_go_because": found.bending.brittle,
                },
                "kept": asdict(found.failures),
                "outcome": str(push.path.outcome),
                "end": push.end,
                "weakest_row": layout.row_name[push.weakest],
                "first_event": push.first,
                "largest_factor": push.most,
                "rail_moment_utilization": push.rail_use,
                "proof": push.path.proof.worst,
                "rows": [
                    {
                        "name": layout.row_name[r],
                        "growing_load": push.total[r],
                        "moved": push.moved[:, r],
                    }
                    for r in range(len(layout.row_name))
                ],
                "path": {"stage": push.stage, "factor": push.factor},
                "events": [asdict(event) | {"row": layout.row_name[event.row]} for event in push.events],
                "clamps": [
                    {
                        "name": layout.clamp_name[c],
                        "at_the_end": STATES.get(int(push.clamp_state[c]), "off"),
                        "force": {name: push.clamp_force[:, c, i] for i, name in enumerate(DIRECTIONS)},
                    }
                    for c in range(len(layout.clamp_name))
                ],
                "notes": found.notes,
                "cautions": CAUTIONS,
            }
        )
    )


def _states(found: ProjectPush) -> list[dict[str, Any]]:
    """What comes of each end of what nobody gave, the one that is shown first; none where all is given."""
    push = found.push
    if not found.unknown:
        return []
    every = (Other(found.state, push.first, push.most, push.answered), *found.others)
    return [
        {
            "name": one.state,
            "shown": number == 0,
            "first_event": one.first if one.answered else None,
            "largest_factor": one.most if one.answered else None,
        }
        for number, one in enumerate(every)
    ]


def write_push(analysis: Analysis, found: ProjectPush, path: Path) -> None:
    """Write push.json."""
    write_json(path, push_data(analysis, found))


def write_curve(analysis: Analysis, found: ProjectPush, path: Path) -> None:
    """Write push.csv: load and displacement at every point of the path, and the events there."""
    push, units = found.push, system(analysis.project.table.project.units)
    size, force, names = units.label("size"), units.label("force"), push.bay.layout.row_name
    heads = ["stage", f"times {snow_words(found)}"]
    for name in names:
        heads += [f"{name} load [{force}]", f"{name} moved [{size}]"]
    lines: list[list[Any]] = [[*heads, "events"]]
    for t in range(len(push.factor)):
        line: list[Any] = ["snow" if push.stage[t] else "held load", _digits(push.factor[t], 9)]
        for r in range(len(names)):
            line.append(_digits(units.convert(float(push.factor[t] * push.total[r]), "force")))
            line.append(_digits(units.convert(float(push.moved[t, r]), "size")))
        here = "; ".join(f"{i + 1}: {e.words}" for i, e in enumerate(push.events) if e.point == t)
        lines.append([*line, here])
    _write(lines, path)


def write_events(analysis: Analysis, found: ProjectPush, path: Path) -> None:
    """Write events.csv."""
    push, units = found.push, system(analysis.project.table.project.units)
    layout = push.bay.layout
    lines: list[list[Any]] = [
        [
            "event", f"times {snow_words(found)}", "kind", "row", f"along the row [{units.label('length')}]",
            f"row has moved [{units.label('size')}]", "what",
        ]
    ]  # fmt: skip
    for i, event in enumerate(push.events):
        lines.append(
            [
                i + 1, _digits(event.factor, 9), event.kind, layout.row_name[event.row],
                _digits(units.convert(event.s, "length")),
                _digits(units.convert(float(push.moved[event.point, event.row]), "size")), event.words,
            ]
        )  # fmt: skip
    _write(lines, path)


def _digits(value: float, digits: int = 6) -> float:
    return float(f"{value:.{digits}g}")


def _write(lines: list[list[Any]], path: Path) -> None:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerows([[safe(cell) for cell in line] for line in lines])
    write_text(path, text.getvalue())


def visible(found: ProjectPush) -> float:
    """Displacement up to which the curve is worth looking at. [m]."""
    push = found.push
    moved = push.moved[:, push.weakest]
    top = int(np.argmax(push.factor >= push.most * (1.0 - 1e-9)))
    return float(min(moved.max(initial=0.0), max(2.0 * moved[top], 1e-9)) or 1e-9)
