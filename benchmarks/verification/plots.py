"""Convergence of verification problems as SVG drawings: error against elements per side, both logarithmic."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from viewer import style
from viewer.picture import svg

Array = NDArray[np.float64]

WIDTH, COLUMNS = 760.0, 3
LEFT, GAP, HEAD = 44.0, 30.0, 40.0  # beside, between and above the panels [px]
HEIGHT, FOOT = 132.0, 36.0  # of a panel and below it [px]
TYPE = 11.0
PANEL = (WIDTH - COLUMNS * (LEFT + GAP)) / COLUMNS
FLOOR = 1e-5  # smaller errors are drawn here

# Told apart by line and by mark, so that a gray print is as clear as the screen.
QUADS, TRIANGLES = "quads", "triangles"
LOOK = {QUADS: (style.ACCENT, "none"), TRIANGLES: (style.INK, "5 4")}


@dataclass(frozen=True)
class Series:
    """Relative error (k,) of one element kind at `side` (k,) elements per side."""

    kind: str
    side: Array
    error: Array


@dataclass(frozen=True)
class Panel:
    """One problem: a title, its series, and the order that the slope triangle shows."""

    title: str
    series: tuple[Series, ...]
    order: float


@dataclass(frozen=True)
class _Axes:
    left: float
    top: float
    side: tuple[float, float]
    error: tuple[float, float]

    def points(self, side: Array, error: Array) -> Array:
        x = np.log(side / self.side[0]) / np.log(self.side[1] / self.side[0])
        y = np.log(error / self.error[1]) / np.log(self.error[0] / self.error[1])
        return np.stack([self.left + x * PANEL, self.top + y * HEIGHT], axis=-1)


def _mark(kind: str, at: Array) -> str:
    x, y = at
    if kind == QUADS:
        return svg.element("rect", x=x - 3.0, y=y - 3.0, width=6.0, height=6.0, fill=LOOK[kind][0])
    corner = np.array([[x, y - 4.2], [x + 4.0, y + 2.9], [x - 4.0, y + 2.9]])
    return svg.element(
        "path", d=svg.path(corner, closed=True), fill=style.PAPER, stroke=LOOK[kind][0], stroke_width=1.3
    )


def _slope(axes: _Axes, order: float) -> list[str]:
    """A triangle whose long side falls by `order`, in the lower left corner."""
    side = axes.side[0] * (axes.side[1] / axes.side[0]) ** np.array([0.06, 0.3])
    bottom = axes.error[0] * (axes.error[1] / axes.error[0]) ** 0.08
    top = bottom * (side[1] / side[0]) ** order
    corner = axes.points(side[[0, 1, 0]], np.array([top, bottom, bottom]))
    words = svg.text(f"{order:g}", corner[0, 0] + 3.0, corner[0, 1] - 3.0, TYPE - 1.0, color=style.MUTED)
    shape = svg.element(
        "path", d=svg.path(corner, closed=True), fill=style.TINT, stroke=style.FAINT, stroke_width=0.9
    )
    return [shape, words]


def _panel(panel: Panel, left: float, top: float) -> list[str]:
    side = np.concatenate([s.side for s in panel.series])
    error = np.maximum(np.concatenate([s.error for s in panel.series]), FLOOR)
    error = error[np.isfinite(error)]
    low, high = np.floor(np.log10(error.min()) - 0.02), np.ceil(np.log10(error.max()) + 0.02)
    axes = _Axes(left, top, (side.min() / 1.25, side.max() * 1.25), (10.0**low, 10.0**high))
    first, _, second = panel.title.partition(", ")
    parts = [svg.text(first, left, top - 22.0, TYPE, bold=True)]
    parts.append(svg.text(second, left, top - 9.0, TYPE, color=style.MUTED))
    for power in range(int(low), int(high) + 1):
        y = float(axes.points(side[:1], np.array([10.0**power]))[0, 1])
        edge = power == low
        ends = np.array([[left, y], [left + PANEL, y]])
        parts.append(svg.line(ends, style.INK if edge else style.HAIRLINE, 0.9 if edge else 0.7))
        words = f"{10.0 ** (power + 2):g}%"
        parts.append(svg.text(words, left - 5.0, y + 3.5, TYPE - 1.0, anchor="end", color=style.MUTED))
    for n in np.unique(side):
        x = float(axes.points(np.array([n]), error[:1])[0, 0])
        foot = top + HEIGHT + 13.0
        parts.append(svg.text(f"{n:g}", x, foot, TYPE - 1.0, anchor="middle", color=style.MUTED))
    parts += _slope(axes, panel.order)
    for series in panel.series:
        color, dash = LOOK[series.kind]
        there = np.isfinite(series.error)
        points = axes.points(series.side[there], np.maximum(series.error[there], FLOOR))
        parts.append(svg.line(points, color, 1.6, dash=dash))
        parts += [_mark(series.kind, at) for at in points]
    return parts


def _legend(top: float) -> list[str]:
    parts = []
    for x, kind, words in ((LEFT, QUADS, "four-node shell"), (LEFT + 150.0, TRIANGLES, "three-node shell")):
        ends = np.array([[x, top], [x + 30.0, top]])
        parts.append(svg.line(ends, LOOK[kind][0], 1.6, dash=LOOK[kind][1]))
        parts.append(_mark(kind, ends.mean(axis=0)))
        parts.append(svg.text(words, x + 37.0, top + 4.0, TYPE, color=style.INK))
    words = "error against elements per side; the small triangle shows the slope of its number"
    parts.append(svg.text(words, WIDTH - GAP, top + 4.0, TYPE, anchor="end", color=style.MUTED))
    return parts


def convergence_svg(title: str, panels: Sequence[Panel]) -> str:
    """Small multiples of convergence.

    Parameters
    ----------
    title : str
        For readers that cannot see the drawing.
    panels : sequence of Panel

    Returns
    -------
    str
        SVG on paper color, three panels a line.
    """
    lines = -(-len(panels) // COLUMNS)
    step = HEAD + HEIGHT + FOOT
    height = 34.0 + lines * step
    parts = [svg.element("rect", x=0.0, y=0.0, width=WIDTH, height=height, fill=style.PAPER), *_legend(18.0)]
    for i, panel in enumerate(panels):
        left = LEFT + (i % COLUMNS) * (PANEL + LEFT + GAP)
        parts += _panel(panel, left, 34.0 + (i // COLUMNS) * step + HEAD)
    return svg.document(WIDTH, height, title, parts)
