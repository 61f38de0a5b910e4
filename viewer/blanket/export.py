"""blanket.json and blanket.csv."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from fea.blanket.study import Answer, BlanketStudy
from viewer.blanket.words import CAUTIONS, units_of, verdict
from viewer.export import file_head
from viewer.files import atomic, safe, write_json, write_text
from viewer.plain import plain_data


def blanket_data(study: BlanketStudy) -> dict[str, Any]:
    """Everything, SI, after viewer/blanket.schema.json; null stands for not verified."""
    project, setting = study.project, study.setting
    layout, stops, choice = project.layout, setting.stops, setting.choice
    first = study.answers[0].view
    return dict(
        plain_data(
            {
                **file_head("blanket", project.path.name, project.digest),
                "project": project.table.project.model_dump(),
                "verdict": verdict(study),
                "case": setting.case.name,
                "snow_factor": study.factor,
                "snow": {
                    "density": choice.density,
                    "below_freezing": choice.below_freezing,
                    "creep": choice.creep,
                    "young": float(np.median(first.snow.young)),
                    "poisson": choice.poisson,
                    "tension": float(np.median(first.snow.strength.tension)),
                    "shear": float(np.median(first.snow.strength.shear)),
                    "compression": float(np.median(first.snow.strength.compression)),
                },
                "mesh": {"step": setting.step, "cells": len(first.layer.corner)},
                "rows": [
                    {"name": name, "plane": project.roof.planes.name[layout.row_plane[r]]}
                    for r, name in enumerate(layout.row_name)
                ],
                "stations": {
                    "row": setting.stations.row,
                    "span": setting.stations.span,
                    "tributary": study.tributary_line,
                },
                "clamps": {
                    "name": layout.clamp_name,
                    "row": layout.clamp_row,
                    "along": layout.clamp_s,
                    "tributary": study.tributary_clamp,
                    "largest": study.most,
                    "utilization": study.worst_use,
                },
                "stops": {
                    "name": stops.name,
                    "place": stops.uv,
                    "utilization": study.worst_stop,
                },
                "views": [_view(answer) for answer in study.answers],
                "comparison": None if study.comparison is None else asdict(study.comparison),
                "notes": study.notes,
                "cautions": CAUTIONS,
            }
        )
    )


def _view(answer: Answer) -> dict[str, Any]:
    view, b = answer.view, answer.balance
    return {
        "name": view.name,
        "words": view.words,
        "line_load": answer.line,
        "row_force": answer.row,
        "clamp_force": answer.clamp,
        "clamp_utilization": answer.use,
        "stop_force": answer.stop,
        "stop_utilization": answer.stop_use,
        "bearing": answer.bearing,
        "over_the_rail": answer.over,
        "below_the_rail": answer.under,
        "balance": {
            "driving": b.driving,
            "rows": b.rows,
            "stops": b.stops,
            "friction": b.friction,
            "bond": b.bond,
            "valleys": b.valleys,
            "boxes": b.boxes,
            "leaves": b.leaves,
            "error": b.error,
            "sideways_error": b.sideways,
        },
        "energy": {
            "layer": float(view.state.energy[0]),
            "interface": float(view.state.energy[1]),
            "supports": float(view.state.energy[2]),
            "gone": float(view.state.energy[3]),
            "work_of_loads": view.state.work,
            "virtual_work_error": b.virtual_work,
        },
        "cracked_cells": int(view.cracked.sum()),
        "yielding": float(view.state.yielding.mean()),
        "bond_lost_nodes": int(view.lost.sum()),
        "densest": float(view.snow.density.max()),
        "steps": view.state.steps,
        "unsettled": view.state.unsettled,
    }


def write_blanket(study: BlanketStudy, path: Path) -> None:
    """Write blanket.json."""
    write_json(path, blanket_data(study))


def write_table(study: BlanketStudy, path: Path) -> None:
    """Write blanket.csv: every clamp and stop, in the project's units."""
    units, layout, stops = units_of(study), study.project.layout, study.setting.stops
    names = [answer.view.name for answer in study.answers]
    force = units.label("force")
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    heads = [f"tributary [{force}]", *(f"{name} [{force}]" for name in names)]
    table.writerow(["attachment", "row", f"along [{units.label('length')}]", *heads, "utilization"])

    def cell(value: float, kind: str = "force") -> str:
        return "" if np.isnan(value) else f"{units.convert(float(value), kind):.6g}"

    for c, name in enumerate(layout.clamp_name):
        numbers = [study.tributary_clamp[c], *(a.clamp[c] for a in study.answers)]
        table.writerow(
            [
                safe(name),
                safe(layout.row_name[layout.clamp_row[c]]),
                cell(layout.clamp_s[c], "length"),
                *(cell(x) for x in numbers),
                "not verified" if np.isnan(study.worst_use[c]) else f"{study.worst_use[c]:.4f}",
            ]
        )
    for s, name in enumerate(stops.name):
        use = study.worst_stop[s]
        table.writerow(
            [
                safe(name),
                "",
                cell(stops.uv[s, 0], "length"),
                "",
                *(cell(a.stop[s]) for a in study.answers),
                "not verified" if np.isnan(use) else f"{use:.4f}",
            ]
        )
    write_text(path, out.getvalue())


def write_layer(study: BlanketStudy, path: Path) -> None:
    """Write layer.vtu for any VTK-based viewer: every cell on its plane, with its stresses in every view."""
    import meshio

    layer, planes = study.answers[0].view.layer, study.project.roof.planes
    points = planes.to_world(layer.node_plane, layer.node)
    data: dict[str, list[np.ndarray]] = {"depth m": [layer.depth], "plane": [layer.plane.astype(float)]}
    moved: dict[str, np.ndarray] = {}
    for answer in study.answers:
        view, name = answer.view, answer.view.name
        stress = view.state.stress.mean(axis=1)
        for k, way in enumerate(("across", "up the slope", "shear")):
            data[f"stress {way} Pa, {name}"] = [stress[:, k]]
        data[f"yielding, {name}"] = [view.state.yielding.mean(axis=1)]
        data[f"cracked, {name}"] = [view.cracked.astype(float)]
        data[f"density kg/m3, {name}"] = [view.snow.density]
        u, v = view.state.moved.T
        moved[f"motion m, {name}"] = (
            u[:, None] * planes.across[layer.node_plane] + v[:, None] * planes.upslope[layer.node_plane]
        )
    mesh = meshio.Mesh(points, [("quad", layer.corner)], point_data=moved, cell_data=data)
    with atomic(path) as temporary:
        mesh.write(temporary, file_format="vtu")
