"""What the weather says of the snow on a roof, in words; one set for terminal, picture and files."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from roofmodel.project.load import Project
from roofmodel.snow.history import History, Window, snow_history, windows
from roofmodel.snow.thaw import ThawAid
from roofmodel.snow.weather import Weather, read_weather
from roofmodel.units import SYSTEMS, UnitSystem

CAUTIONS = (
    "An aid to judgment, no code: one layer, weather as given, snow that drifts or slides is not followed.",
    "A licensed engineer must review this; local code governs. Falling snow and work at height can kill.",
)
MOST = 8  # windows that are printed, those in which most samples thaw
POSSIBLE, LIKELY = 0.1, 0.5  # least share of the samples that thaw
DRIFT_FREE = "without drift"


@dataclass(frozen=True)
class HistoryFindings:
    """Snow of one plane through the weather."""

    project: Project
    plane: int
    weather: Weather
    digest: str
    history: History
    windows: tuple[Window, ...]
    likely: tuple[Window, ...]
    assumed_bond: bool

    @property
    def units(self) -> UnitSystem:
        """Of the project."""
        return SYSTEMS[self.project.table.project.units]


def find_history(project: Project, path: Path, name: str) -> HistoryFindings:
    """History of the plane with the most rows, or of the largest one.

    Raises
    ------
    InputError
    """
    digest = hashlib.sha256()
    weather = read_weather(path, name, digest)
    rows = project.layout.row_plane
    planes = project.roof.planes
    plane = int(np.bincount(rows).argmax()) if len(rows) else int(planes.plan_area.argmax())
    table = project.table.thaw
    aid = ThawAid(latitude=0.0, day=1) if table is None else table.aid
    history = snow_history(weather, float(planes.slope[plane]), aid)
    return HistoryFindings(
        project, plane, weather, digest.hexdigest(), history,
        windows(history, POSSIBLE), windows(history, LIKELY), table is None,
    )  # fmt: skip


def load_at(found: HistoryFindings, day: date) -> NDArray[np.float64] | None:
    """5, 50 and 95 % of the load at the end of a day; None outside the weather. [Pa]."""
    end = np.datetime64(day.isoformat(), "s") + np.timedelta64(86399, "s")
    time = found.history.time
    if end < time[0] or time[-1] < end - np.timedelta64(86400, "s"):
        return None
    return np.asarray(found.history.load[int(np.searchsorted(time, end, side="right")) - 1])


def until(found: HistoryFindings, day: date | None) -> HistoryFindings:
    """Without the windows that begin after a day."""
    if day is None:
        return found
    end = np.datetime64(day.isoformat(), "s") + np.timedelta64(86399, "s")
    return replace(
        found,
        windows=tuple(one for one in found.windows if one.begin <= end),
        likely=tuple(one for one in found.likely if one.begin <= end),
    )


def said(found: HistoryFindings) -> tuple[str, ...]:
    """The answer in sentences."""
    history, units = found.history, found.units
    top = int(history.load[:, 1].argmax())
    low, middle, high = (units.text(v, "pressure") for v in history.load[top])
    lines = [
        f"Most snow: {middle} ({low} to {high}) on {moment(history.time[top])}, "
        f"{units.text(history.depth[top, 1], 'length')} deep, {DRIFT_FREE}.",
        f"The weather brought {history.fallen:.0f} mm of water as snow and {history.rained:.0f} mm of rain.",
    ]
    if history.missed >= 1.0:
        lines.append(
            f"An open gauge would have missed {history.missed:.0f} mm more in this wind (from memory); "
            "shares of it from none to all are drawn."
        )
    if found.windows:
        count = len(found.windows)
        told = sorted(sorted(found.windows, key=lambda one: -one.share)[:MOST], key=lambda one: one.begin)
        some = f"; the {MOST} likeliest are" if count > MOST else ""
        lines.append(
            f"The bond can have let go {count} times{some}:"
            if count > 1
            else "The bond can have let go once:"
        )
        lines += [window_words(window) for window in told]
    else:
        lines.append(f"In no step did the bond thaw in {100.0 * POSSIBLE:.0f} % of the samples or more.")
    if found.assumed_bond:
        lines.append("The project has no table [thaw]: a roof without heat from below is taken.")
    return (*lines, *found.weather.notes)


def window_words(window: Window) -> str:
    """One window."""
    share = f"in up to {100.0 * window.share:.0f} % of the samples"
    share += ", likely" if window.share >= LIKELY else ", possible"
    return f"{moment(window.begin)} to {moment(window.end)}, {share}"


def moment(time: np.datetime64) -> str:
    """Such as "2026-02-03 14:00"."""
    return str(time)[:16].replace("T", " ")
