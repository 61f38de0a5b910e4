"""Figures of why snow goes, and of the force that holds it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roofmodel import slide, snow_cases
from roofmodel.project.load import Project
from roofmodel.snow.thaw import HOURS, ThawAid, clear_sky, coldest_thaw
from viewer import style
from viewer.docs.canvas import Axes, sheet, slope

Array = NDArray[np.float64]
Bakery = Callable[[Callable[[dict[str, Any]], None]], Project]

DEPTH, DENSITY = 0.15, 250.0  # snow of the sunny day, square to the roof [m, kg/m^3]
DAY, LATITUDE = 32, 47.0  # 1 February
NOON_AIR, NIGHT_AIR = -5.0, -13.0  # [degrees C]


def row_force(project: Project) -> Array:
    """Largest sliding force of each case on the first row, (q,). [N/m]."""
    found = snow_cases(project.roof, project.site, frozenset(project.layout.row_plane.tolist()))
    _, force = slide(project.roof, found.cases, project.layout, project.slide)
    on = force.row == 0
    per_meter = -force.thrust[:, on, 1] / np.diff(force.span[on], axis=1)[:, 0]
    return np.asarray(per_meter.max(axis=1))


def _measured(data: dict[str, Any]) -> None:
    layer = {"depth": f"{DEPTH} m", "density": [f"{DENSITY} kg/m^3"]}
    data["site"] = {
        "standard": "measured",
        "level": "measured",
        "layers": [layer],
        "depth_direction": "square to the roof",
    }


def sunny_frosty_day(bakery: Bakery) -> tuple[Any, tuple[str, ...]]:
    """Air through a frosty day, the air at which the bond thaws, and the force on the row."""
    project = bakery(_measured)
    pitch = project.roof.planes.slope[:1]
    aid = ThawAid(latitude=np.radians(LATITUDE), day=DAY)
    sun = clear_sky(aid.latitude, aid.day, pitch, np.array([np.pi]))[0]
    thaws = coldest_thaw(aid, sun, DEPTH, DENSITY)
    swing = np.cos(2.0 * np.pi * (HOURS - 14.0) / 24.0)
    air = 0.5 * (NOON_AIR + NIGHT_AIR) + 0.5 * (NOON_AIR - NIGHT_AIR) * swing
    gone = int(np.argmax(air > thaws))
    full = float(row_force(project)[0]) / 1000.0
    force = np.where(np.arange(len(HOURS)) >= gone, full, 0.0)
    drawing = sheet("A sunny, frosty day: thaw from below, under frozen air", 520.0)
    day = (HOURS >= 6.0) & (HOURS <= 18.0)
    top = Axes(drawing, (76.0, 76.0, 690.0, 270.0), (6.0, 18.0), (-15.0, 2.0))
    ticks = np.arange(6.0, 18.1, 2.0)
    top.scales(ticks, np.arange(-15.0, 1.0, 5.0), ("", "temperature [°C]"))
    top.curve(HOURS[day], air[day], style.ACCENT)
    top.curve(HOURS[day], thaws[day].clip(-15.0), style.EXCEEDED_ANCHORS[0], dash=(7.0, 4.0))
    top.label("air", 16.4, float(np.interp(16.4, HOURS, air)), color=style.ACCENT, shift=(0.0, -14.0))
    top.label("air at which the bond thaws", 12.0, float(thaws.min()), align="center", shift=(0.0, 18.0))
    low = Axes(drawing, (76.0, 340.0, 690.0, 460.0), (6.0, 18.0), (0.0, style.scale_top(full)))
    low.scales(
        ticks, np.array([0.0, 0.5, 1.0]) * low.y[1], ("hour of the day (sun)", "force on the row [kN/m]")
    )
    steps = np.repeat(HOURS[day], 2)[1:], np.repeat(force[day], 2)[:-1]
    low.curve(*steps, style.INK, 3.0)
    low.label("bond holds, the row is idle", 6.3, 0.0, shift=(0.0, -16.0))
    low.label(
        f"all of it at once: {full:.2f} kN/m", float(HOURS[gone]) + 0.2, full, bold=True, shift=(0.0, 16.0)
    )
    for axes in (top, low):
        axes.curve(np.array([HOURS[gone]] * 2), np.array(axes.y), style.FAINT, 1.2, (3.0, 3.0))
    hour = f"{int(HOURS[gone])}:{round(HOURS[gone] % 1 * 60):02d}"
    below = f"\N{MINUS SIGN}{-air[gone]:.0f} °C"
    return drawing, (hour, below, f"{full:.2f} kN/m", f"\N{MINUS SIGN}{-thaws.min():.0f} °C")


def _pitched(pitch: float) -> Callable[[dict[str, Any]], None]:
    def change(data: dict[str, Any]) -> None:
        data["roof"]["part"][0]["pitch"] = f"{pitch} deg"
        data["row"][0]["up"] = "0.6 m"

    return change


def down_slope_force(bakery: Bakery) -> tuple[Any, tuple[str, ...]]:
    """Weight split square to the slope and along it, and the force on the row by pitch."""
    project = bakery(lambda data: None)
    pitch = float(project.roof.planes.slope[0])
    own = row_force(project)[0] / 1000.0
    pitches = np.arange(5.0, 60.1, 5.0)
    force = np.array([row_force(bakery(_pitched(p)))[0] for p in pitches]) / 1000.0
    drawing = sheet("W cos θ presses on the roof, W sin θ pulls down the slope", 400.0)
    foot, up, out = slope(drawing, (36.0, 330.0), 290.0, pitch, 44.0)
    middle = foot + 160.0 * up + 22.0 * out
    weight = 150.0
    down = np.array([0.0, weight])
    drawing.arrow(middle, middle + down, style.INK, 3.0, 11.0)
    press, pull = -weight * np.cos(pitch) * out, -weight * np.sin(pitch) * up
    drawing.arrow(middle, middle + press, style.ACCENT, 3.0, 11.0)
    drawing.arrow(middle, middle + pull, style.EXCEEDED_ANCHORS[0], 3.0, 11.0)
    for corner in (press, pull):
        drawing.line(np.stack([middle + corner, middle + down]), style.FAINT, 1.2, (4.0, 3.0))
    for words, tip, shift, align in (
        ("W", down, (0.0, 16.0), "center"),
        ("W cos θ", press, (8.0, 8.0), "left"),
        ("W sin θ", pull, (-6.0, -14.0), "right"),
    ):
        place = middle + tip + shift
        drawing.write(words, float(place[0]), float(place[1]), 15.0, bold=True, align=align, halo=True)
    rail = foot + 34.0 * up
    bar = rail + 9.0 * out
    drawing.circle(float(bar[0]), float(bar[1]), 6.0, style.INK, style.INK, 1.0)
    drawing.write("row", float(rail[0]) + 6.0, float(rail[1]) + 22.0, 15.0)
    drawing.write(f"θ = {np.degrees(pitch):.0f}°", 58.0, 360.0, 15.0, color=style.MUTED)
    axes = Axes(drawing, (420.0, 92.0, 695.0, 330.0), (0.0, 60.0), (0.0, style.scale_top(force.max())))
    axes.scales(
        np.arange(0.0, 61.0, 15.0), np.linspace(0.0, axes.y[1], 4), ("pitch [°]", "force on the row [kN/m]")
    )
    axes.curve(pitches, force, style.EXCEEDED_ANCHORS[0])
    mark = axes.at(np.degrees(pitch), own)[0]
    drawing.circle(float(mark[0]), float(mark[1]), 5.0, style.PAPER, style.INK, 2.0)
    axes.label(f"{own:.2f} kN/m", np.degrees(pitch), own, bold=True, align="right", shift=(-8.0, -14.0))
    run = _run_above(project)
    return drawing, (f"{own:.2f} kN/m", f"{run:.2f} m", f"{float(force[pitches == 15.0][0]):.2f} kN/m")


def _run_above(project: Project) -> float:
    """Plan distance from the first row to the top of its plane. [m]."""
    plane = int(project.layout.row_plane[0])
    top = float(project.roof.planes.outline[plane].bounds[3])
    return float((top - project.layout.row_start[0, 1]) * np.cos(project.roof.planes.slope[plane]))
