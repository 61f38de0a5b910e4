"""Legends of the utilization picture: snow scale, clamp scale, scale bar, north."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.units import SYSTEMS
from viewer import style
from viewer.picture.camera import View
from viewer.picture.marks import MARK_POINTS
from viewer.picture.row_names import short
from viewer.picture.scene import Scene
from viewer.picture.sheet import FOOTER, MARGIN, Overlay, Shape

Array = NDArray[np.float64]

LANDS = "snow off higher roofs lands here"
STEPS = 120  # pieces of a color bar


def add_legends(overlay: Overlay, analysis: Analysis, scene: Scene, view: View) -> None:
    """Add the band below the drawing."""
    point = overlay.point
    left, right = MARGIN * point, overlay.size[0] - MARGIN * point
    top = overlay.size[1] - FOOTER * point
    rule = np.array([[left, top], [right, top]])
    overlay.shapes.append(Shape(rule, line=style.HAIRLINE, width=0.8 * point))
    _snow_scale(overlay, analysis, scene, left, top)
    _clamp_scale(overlay, analysis, scene, left + 196.0 * point, top)
    _scale_bar(overlay, analysis, scene, view, right - 96.0 * point, top + 36.0 * point)
    _north(overlay, view, right - 20.0 * point, top + 36.0 * point)
    y = overlay.size[1] - 11.0 * point
    overlay.write(style.CAUTION, left, y, "note", bold=True, color=style.INK)
    if len(scene.landed):
        x = left + 262.0 * point
        sample = np.array([[x, y], [x + 16.0 * point, y]])
        overlay.shapes.append(Shape(sample, line=style.ACCENT, width=1.4 * point))
        overlay.write(LANDS, x + 21.0 * point, y, "note", color=style.MUTED)
    count = len(set(overlay.unnamed) & set(analysis.project.layout.row_name))
    if count:
        words = f"{count} row{'s' if count > 1 else ''} not named for lack of room"
        overlay.write(words, right - 110.0 * point, y, "note", color=style.MUTED, align="right")
    overlay.write("Eavewright", right, y, "note", color=style.MUTED, align="right")


def _bar(overlay: Overlay, x: Array, y: float, height: float, color: Array) -> None:
    """Color bar over the bounds x (n + 1,) in the colors (n, 3). [px]."""
    for low, high, rgb in zip(x[:-1], x[1:], color, strict=True):
        corners = np.array([[low, y], [high + 0.5, y], [high + 0.5, y + height], [low, y + height]])
        overlay.shapes.append(Shape(corners, fill=style.hexadecimal(rgb)))


def _frame(overlay: Overlay, left: float, top: float, right: float, bottom: float) -> None:
    ring = np.array([[left, top], [right, top], [right, bottom], [left, bottom], [left, top], [right, top]])
    overlay.shapes.append(Shape(ring, line=style.INK, width=0.7 * overlay.point))


def _snow_scale(overlay: Overlay, analysis: Analysis, scene: Scene, left: float, top: float) -> None:
    point = overlay.point
    units = SYSTEMS[analysis.project.table.project.units]
    width, y, height = 160.0 * point, top + 34.0 * point, 10.0 * point
    overlay.write(
        f"Snow load, this case, {units.label('pressure')}", left, top + 14.0 * point, "legend", bold=True
    )
    share = (np.arange(STEPS) + 0.5) / STEPS
    _bar(overlay, left + width * np.linspace(0.0, 1.0, STEPS + 1), y, height, style.snow_rgb(share))
    _frame(overlay, left, y, left + width, y + height)
    most = units.convert(scene.pressure_top, "pressure")
    for part in (0.0, 0.5, 1.0):
        x = left + part * width
        tick = np.array([[x, y + height], [x, y + height + 3.5 * point]])
        overlay.shapes.append(Shape(tick, line=style.INK, width=0.7 * point))
        align = {0.0: "left", 0.5: "center", 1.0: "right"}[part]
        overlay.write(f"{part * most:.3g}", x, y + height + 10.0 * point, "note", align=align)


def _clamp_scale(overlay: Overlay, analysis: Analysis, scene: Scene, left: float, top: float) -> None:
    point, count = overlay.point, len(analysis.snow.cases)
    cases = f"worst of {count} cases" if count > 1 else "the one case"
    overlay.write(f"Clamp utilization, {cases}", left, top + 14.0 * point, "legend", bold=True)
    width, y, height = 172.0 * point, top + 34.0 * point, 10.0 * point
    share = (np.arange(STEPS) + 0.5) / STEPS * style.UTILIZATION_TOP
    x = left + width * np.linspace(0.0, 1.0, STEPS + 1)
    _bar(overlay, x, y, height, style.utilization_rgb(share))
    _frame(overlay, left, y, left + width, y + height)
    limit = left + width / style.UTILIZATION_TOP
    tick = np.array([[limit, y - 5.0 * point], [limit, y + height + 4.0 * point]])
    overlay.shapes.append(Shape(tick, line=style.INK, width=2.2 * point))
    for use in (0.1, 0.5, 0.9, 1.25, 1.55, 1.9):
        grown = np.interp(use, [0.0, 1.0, style.UTILIZATION_TOP], list(MARK_POINTS.values()))
        overlay.mark(
            use, left + width * use / style.UTILIZATION_TOP, y - 8.0 * point, 0.82 * float(grown) * point
        )
    low = y + height + 10.0 * point
    overlay.write("0", left, low, "note")
    overlay.write("limit 1.0", limit, low, "note", bold=True, align="center")
    overlay.write("2 and over", left + width, low, "note", align="right")
    if np.isnan(scene.use).any() or np.isnan(scene.solar_use).any():
        overlay.mark(float("nan"), left + width + 14.0 * point, y + 0.5 * height, 5.0 * point)
        overlay.write("not", left + width + 24.0 * point, y - 1.0 * point, "note", bold=True)
        overlay.write("verified", left + width + 24.0 * point, y + 10.0 * point, "note", bold=True)


def _scale_bar(
    overlay: Overlay, analysis: Analysis, scene: Scene, view: View, middle: float, level: float
) -> None:
    """Bar parallel to the governing row; the projection keeps one scale along it."""
    point, layout = overlay.point, analysis.project.layout
    units = SYSTEMS[analysis.project.table.project.units]
    row = int(layout.clamp_row[scene.called]) if scene.called >= 0 else 0
    ends = view.project(scene.rows[row])
    way = ends[1] - ends[0] if ends[1, 0] >= ends[0, 0] else ends[0] - ends[1]
    per_meter = way / float(layout.row_length[row])
    pixels = float(np.linalg.norm(per_meter))
    meter = units.convert(1.0, "length")
    number = style.scale_top(52.0 * point / pixels * meter)
    reach = 0.5 * number / meter * per_meter
    at = np.array([middle, level])
    start, end = at - reach, at + reach
    normal = np.array([-way[1], way[0]]) / np.linalg.norm(way) * 3.5 * point
    overlay.shapes.append(Shape(np.array([start, end]), line=style.INK, width=1.8 * point))
    for tip in (start, end):
        overlay.shapes.append(
            Shape(np.array([tip - normal, tip + normal]), line=style.INK, width=1.2 * point)
        )
    text = f"{number:g} {units.label('length')}"
    y = max(start[1], end[1]) + 11.0 * point
    overlay.write(text, middle, y, "note", bold=True, align="center")
    overlay.write(
        f"along {short(layout.row_name[row])}",
        middle,
        y + 10.5 * point,
        "note",
        color=style.MUTED,
        align="center",
    )


def _north(overlay: Overlay, view: View, x: float, y: float) -> None:
    """A compass lying on the ground as the viewer sees it."""
    point = overlay.point
    at = np.array([x, y])

    def seen(east: Array, north: Array) -> Array:
        ground = np.stack([east, north, 0.0 * east], axis=-1)
        return at + 15.0 * point * np.stack([ground @ view.right, -(ground @ view.up)], axis=-1)

    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    ring = seen(np.sin(turn), np.cos(turn))
    overlay.shapes.append(Shape(ring, line=style.FAINT, width=1.0 * point))
    for side, fill in ((-1.0, style.INK), (1.0, style.PAPER)):
        half = seen(np.array([0.0, side * 0.34, 0.0]), np.array([0.95, -0.62, -0.36]))
        overlay.shapes.append(Shape(half, fill=fill, line=style.INK, width=0.7 * point))
    tip = seen(np.array([0.0]), np.array([1.0]))[0]
    way = (tip - at) / max(float(np.linalg.norm(tip - at)), 1e-9)
    letter = tip + 8.0 * point * way
    overlay.write("N", float(letter[0]), float(letter[1]), "note", bold=True, align="center")
