"""Scale bars, north arrow and axes of plans and pictures."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.camera import View
from viewer.picture.sheet import Overlay, Shape

Array = NDArray[np.float64]

STEPS = 120  # pieces of a color bar


def draw_scale_bar(overlay: Overlay, scale: float, units: UnitSystem, left: float, y: float) -> None:
    """Write a bar of round length and an arrow to the north, which is up.

    Parameters
    ----------
    overlay : Overlay
    scale : float
        Pixels for each meter of roof.
    units : UnitSystem
        Of the words below the bar.
    left, y : float
        Its left end. [pixels]
    """
    point = overlay.point
    meter = units.convert(1.0, "length")
    length = style.scale_top(70.0 * point / scale * meter)
    end = left + length / meter * scale
    bar = np.array([[left, y - 4.0 * point], [left, y], [end, y], [end, y - 4.0 * point]])
    overlay.shapes.append(Shape(bar, line=style.INK, width=1.4 * point))
    words = f"{length:g} {units.label('length')}"
    overlay.write(words, 0.5 * (left + end), y - 7.0 * point, "note", bold=True, align="center")
    x = end + 28.0 * point
    needle = np.array([x, y]) + point * np.array([[0.0, -19.0], [5.0, 0.0], [0.0, -4.0], [-5.0, 0.0]])
    overlay.shapes.append(Shape(needle, fill=style.INK))
    overlay.write("N", x + 10.0 * point, y - 14.0 * point, "note", bold=True)


def draw_bar_along(
    overlay: Overlay,
    view: View,
    axis: Array,
    at: tuple[float, float],
    points: float,
    unit: tuple[float, str, UnitSystem],
    words: str,
) -> None:
    """Bar of round length along an axis (3,) as the viewer sees it; the projection keeps one scale along it.

    Its upper left end is `at` [pixels], it is at most about so many `points` long, and `unit` is how many
    times larger than it is a length is drawn, its kind and the system.
    """
    factor, kind, units = unit
    point = overlay.point
    flat = factor * view.scale * np.array([axis @ view.right, -(axis @ view.up)])
    meter = units.convert(1.0, kind)
    number = style.scale_top(0.7 * points * point / float(np.linalg.norm(flat)) * meter)
    way = flat * number / meter
    start = np.array(at) - np.minimum(way, 0.0)
    normal = np.array([-way[1], way[0]]) / np.linalg.norm(way) * 3.5 * point
    overlay.shapes.append(Shape(np.array([start, start + way]), line=style.INK, width=1.8 * point))
    for tip in (start, start + way):
        ends = np.array([tip - normal, tip + normal])
        overlay.shapes.append(Shape(ends, line=style.INK, width=1.2 * point))
    low = at[1] + abs(float(way[1])) + 12.0 * point
    overlay.write(f"{number:g} {units.label(kind)} {words}", at[0], low, "note", bold=True)


def draw_color_bar(
    overlay: Overlay,
    words: str,
    left: float,
    top: float,
    color: Callable[[ArrayLike], Array],
    most: float,
    mark: tuple[float, str],
) -> None:
    """A color scale from 0 to `most` with its heading, and a mark at a share of it with a word. [pixels]."""
    point = overlay.point
    overlay.write(words, left, top + 14.0 * point, "legend", bold=True)
    width, y, height = 160.0 * point, top + 34.0 * point, 10.0 * point
    x = left + width * np.linspace(0.0, 1.0, STEPS + 1)
    for low, high, rgb in zip(x[:-1], x[1:], color((np.arange(STEPS) + 0.5) / STEPS), strict=True):
        corners = np.array([[low, y], [high + 0.5, y], [high + 0.5, y + height], [low, y + height]])
        overlay.shapes.append(Shape(corners, fill=style.hexadecimal(rgb)))
    ring = np.array([[left, y], [left + width, y], [left + width, y + height], [left, y + height], [left, y]])
    overlay.shapes.append(Shape(ring, line=style.INK, width=0.7 * point))
    for part in (0.0, 0.5, 1.0):
        align = {0.0: "left", 0.5: "center", 1.0: "right"}[part]
        overlay.write(
            f"{part * most:.3g}", left + part * width, y + height + 9.0 * point, "note", align=align
        )
    tip = left + mark[0] * width
    arrow = np.array(
        [[tip, y - 1.0], [tip - 3.5 * point, y - 6.0 * point], [tip + 3.5 * point, y - 6.0 * point]]
    )
    overlay.shapes.append(Shape(arrow, fill=style.INK))
    overlay.write(mark[1], tip - 6.0 * point, y - 5.0 * point, "note", color=style.MUTED, align="right")


def draw_axes(
    overlay: Overlay, view: View, axes: Sequence[tuple[str, tuple[float, float, float]]], x: float, y: float
) -> None:
    """Named directions from a point as the viewer sees them. [pixels]."""
    point, at = overlay.point, np.array([x, y])
    ways = [np.array([np.array(axis) @ view.right, -(np.array(axis) @ view.up)]) for _, axis in axes]
    for name, axis in axes:
        flat = np.array([np.array(axis) @ view.right, -(np.array(axis) @ view.up)])
        tip = at + 26.0 * point * flat
        overlay.shapes.append(Shape(np.array([at, tip]), line=style.INK, width=1.4 * point))
        ahead = flat / np.linalg.norm(flat)
        side = np.array([-ahead[1], ahead[0]])
        head = np.array([tip + 5.0 * point * ahead, tip + 2.4 * point * side, tip - 2.4 * point * side])
        overlay.shapes.append(Shape(head, fill=style.INK))
        where = tip + 12.0 * point * ahead
        align = "center" if abs(ahead[0]) < 0.2 else "left" if ahead[0] > 0.0 else "right"
        beside = [one for one in ways if 0.2 <= abs(one[0]) < 0.8 and one[1] * ahead[1] > 0.0]
        if align == "center" and beside:  # words of a neighbor stand on that side
            align = "right" if beside[0][0] > 0.0 else "left"
        overlay.write(
            name,
            float(where[0]) - (4.0 * point if align == "left" else 0.0),
            float(where[1]),
            "note",
            align=align,
        )
