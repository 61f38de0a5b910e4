"""The files of `eavewright history`; the same for the same inputs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from viewer.export import file_head
from viewer.files import csv_text, write_json, write_text
from viewer.history.chart import history_drawing
from viewer.history.findings import CAUTIONS, HistoryFindings, moment, said
from viewer.picture.drawing import write_png
from viewer.plain import plain_data


def write_history(found: HistoryFindings, folder: Path) -> None:
    """Write every output into a folder that exists, each whole or not at all."""
    write_json(folder / "history.json", history_data(found), indent=1)
    write_text(folder / "history.csv", history_csv(found))
    write_png(history_drawing(found), folder / "history.png")


def history_data(found: HistoryFindings) -> dict[str, Any]:
    """Everything as plain data, SI, after viewer/history.schema.json."""
    history = found.history
    cleaned: dict[str, Any] = plain_data(
        {
            **file_head("history", found.project.path.name, found.project.digest),
            "weather_sha256": found.digest,
            "plane": found.project.roof.planes.name[found.plane],
            "time": [str(t) for t in history.time],
            "load": history.load,
            "depth": history.depth,
            "density": history.density,
            "thaws": history.thaws,
            "snow_water": history.fallen,
            "rain": history.rained,
            "windows": [{"begin": str(w.begin), "end": str(w.end), "share": w.share} for w in found.windows],
            "statements": list(said(found)),
            "cautions": list(CAUTIONS),
        }
    )
    return cleaned


def history_csv(found: HistoryFindings) -> str:
    """A line for every step, in the units of the project."""
    history, units = found.history, found.units
    load, depth = units.label("pressure"), units.label("length")
    rows = [
        ["time"]
        + [f"load {share} [{load}]" for share in ("5 %", "50 %", "95 %")]
        + [f"depth {share} [{depth}]" for share in ("5 %", "50 %", "95 %")]
        + ["share of samples whose bond thaws"]
    ]
    for i, time in enumerate(history.time):
        rows.append(
            [moment(time)]
            + [f"{units.convert(float(v), 'pressure'):.5g}" for v in history.load[i]]
            + [f"{units.convert(float(v), 'length'):.5g}" for v in history.depth[i]]
            + [f"{history.thaws[i]:.3g}"]
        )
    return csv_text(rows)
