"""Legends of the seam picture: stress scale, forces, lengths, exaggeration, axes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from viewer import style
from viewer.picture.camera import View
from viewer.picture.scale_bar import draw_axes
from viewer.picture.sheet import FOOTER, MARGIN, Overlay, Shape
from viewer.quantities import quantity, system
from viewer.seam.findings import seam_detail
from viewer.seam.scene import SeamScene

Array = NDArray[np.float64]

STEPS = 120
AXES = (("down-slope", (1.0, 0.0, 0.0)), ("across", (0.0, 1.0, 0.0)), ("away", (0.0, 0.0, 1.0)))


def add_seam_legends(
    overlay: Overlay,
    analysis: Analysis,
    scene: SeamScene,
    view: View,
    largest: float,
    per_newton: float,
) -> None:
    """Add the band below the drawing."""
    point = overlay.point
    left, right = MARGIN * point, overlay.size[0] - MARGIN * point
    top = overlay.size[1] - FOOTER * point
    rule = np.array([[left, top], [right, top]])
    overlay.shapes.append(Shape(rule, line=style.HAIRLINE, width=0.8 * point))
    _stress_scale(overlay, analysis, scene, left, top)
    _force_scale(overlay, analysis, left + 222.0 * point, top, largest, per_newton)
    _length_scale(overlay, analysis, scene, view, left + 400.0 * point, top)
    draw_axes(overlay, view, AXES, right - 92.0 * point, top + 44.0 * point)
    y = overlay.size[1] - 11.0 * point
    overlay.write(style.CAUTION, left, y, "note", bold=True)
    overlay.write("Eavewright", right, y, "note", color=style.MUTED, align="right")


def _stress_scale(overlay: Overlay, analysis: Analysis, scene: SeamScene, left: float, top: float) -> None:
    point, seam = overlay.point, seam_detail(analysis)
    units = system(analysis.project.table.project.units)
    strength = seam.sheet.yield_strength if scene.by_yield else seam.sheet_strength
    what = "yield strength" if scene.by_yield else "design strength"
    words = f"Von Mises over {what}, {quantity(strength, 'stress', units)}"
    overlay.write(words, left, top + 14.0 * point, "legend", bold=True)
    width, y, height = 190.0 * point, top + 28.0 * point, 10.0 * point
    share = (np.arange(STEPS) + 0.5) / STEPS * style.UTILIZATION_TOP
    x = left + width * np.linspace(0.0, 1.0, STEPS + 1)
    for low, high, rgb in zip(x[:-1], x[1:], style.utilization_rgb(share), strict=True):
        corners = np.array([[low, y], [high + 0.5, y], [high + 0.5, y + height], [low, y + height]])
        overlay.shapes.append(Shape(corners, fill=style.hexadecimal(rgb)))
    ring = np.array([[left, y], [left + width, y], [left + width, y + height], [left, y + height], [left, y]])
    overlay.shapes.append(Shape(ring, line=style.INK, width=0.7 * point))
    limit = left + width / style.UTILIZATION_TOP
    tick = np.array([[limit, y - 4.0 * point], [limit, y + height + 4.0 * point]])
    overlay.shapes.append(Shape(tick, line=style.INK, width=2.2 * point))
    peak = left + width * min(float(scene.use.max()) / style.UTILIZATION_TOP, 1.0)
    arrow = np.array(
        [[peak, y - 1.0], [peak - 3.5 * point, y - 6.0 * point], [peak + 3.5 * point, y - 6.0 * point]]
    )
    overlay.shapes.append(Shape(arrow, fill=style.INK))
    low_text = y + height + 10.0 * point
    overlay.write("0", left, low_text, "note")
    overlay.write("limit 1.0", limit, low_text, "note", bold=True, align="center")
    overlay.write("2 and over", left + width, low_text, "note", align="right")
    overlay.write(
        f"▾ largest shown {style.utilization_text(float(scene.use.max()))}".replace("▾ ", ""),
        left,
        low_text + 11.0 * point,
        "note",
        color=style.MUTED,
    )


def _force_scale(
    overlay: Overlay, analysis: Analysis, left: float, top: float, largest: float, per_newton: float
) -> None:
    point = overlay.point
    units = system(analysis.project.table.project.units)
    overlay.write("Forces on the panel, to scale", left, top + 14.0 * point, "legend", bold=True)
    number = style.scale_top(0.5 * units.convert(largest, "force"))
    length = number / units.convert(1.0, "force") * per_newton
    y = top + 30.0 * point
    for color, words, level in (
        (style.INK, f"{number:g} {units.label('force')}, from the rail", y),
        (style.ACCENT, "reaction to it alone", y + 16.0 * point),
    ):
        span = length if color == style.INK else 30.0 * point
        overlay.shapes.append(
            Shape(
                np.array([[left, level], [left + span - 6.0 * point, level]]), line=color, width=2.6 * point
            )
        )
        tip = np.array([left + span, level])
        head = np.array([[0.0, 0.0], [-9.0, 3.8], [-9.0, -3.8]]) * point
        overlay.shapes.append(Shape(tip + head, fill=color))
        overlay.write(words, left + span + 6.0 * point, level, "note")
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 3.4 * point
    overlay.shapes.append(Shape(np.array([left + 4.0 * point, y + 32.0 * point]) + square, fill=style.INK))
    overlay.write("clip; its force under the panel", left + 14.0 * point, y + 32.0 * point, "note")


def _length_scale(
    overlay: Overlay, analysis: Analysis, scene: SeamScene, view: View, left: float, top: float
) -> None:
    """Bar along the seam; the projection keeps one scale along it."""
    point = overlay.point
    units = system(analysis.project.table.project.units)
    per_meter = np.array([view.right[0], -view.up[0]]) * view.scale
    pixels, meter = float(np.linalg.norm(per_meter)), units.convert(1.0, "length")
    number = style.scale_top(48.0 * point / pixels * meter)
    way = per_meter * number / meter
    overlay.write(f"Movement × {scene.factor:g}", left, top + 14.0 * point, "legend", bold=True)
    start = np.array([left, top + 30.0 * point - min(float(way[1]), 0.0)])
    overlay.shapes.append(Shape(np.array([start, start + way]), line=style.INK, width=1.8 * point))
    normal = np.array([-way[1], way[0]]) / np.linalg.norm(way) * 3.5 * point
    for tip in (start, start + way):
        overlay.shapes.append(
            Shape(np.array([tip - normal, tip + normal]), line=style.INK, width=1.2 * point)
        )
    words = f"{number:g} {units.label('length')} along the seam"
    overlay.write(words, left, top + 58.0 * point, "note", bold=True)
    overlay.write("gray: before", left, top + 69.0 * point, "note", color=style.MUTED)
