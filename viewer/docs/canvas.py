"""Axes, arrows and slopes for the figures of the documentation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, box

from viewer import style
from viewer.picture.drawing import Drawing

Array = NDArray[np.float64]

WIDTH = 720.0
TYPE = 15.0


@dataclass(frozen=True)
class Axes:
    """A rectangle of a drawing with two linear scales.

    Attributes
    ----------
    drawing : Drawing
    frame : (left, top, right, bottom)
        [px]
    x, y : (low, high)
        What the frame spans, in the unit of its labels.
    """

    drawing: Drawing
    frame: tuple[float, float, float, float]
    x: tuple[float, float]
    y: tuple[float, float]

    def at(self, x: NDArray[np.float64] | float, y: NDArray[np.float64] | float) -> Array:
        """Points (k, 2) of the drawing. [px]."""
        left, top, right, bottom = self.frame
        across = left + (np.asarray(x) - self.x[0]) / (self.x[1] - self.x[0]) * (right - left)
        down = bottom - (np.asarray(y) - self.y[0]) / (self.y[1] - self.y[0]) * (bottom - top)
        return np.stack(np.broadcast_arrays(across, down), axis=-1).astype(float).reshape(-1, 2)

    def scales(self, x: Array, y: Array, names: tuple[str, str], *, words: tuple[str, ...] = ()) -> None:
        """Ticks at x, with words or numbers below, and at y with grid lines; names of both scales."""
        left, top, right, bottom = self.frame
        for value in y:
            self.drawing.line(self.at(np.array(self.x), value), style.HAIRLINE if value else style.MUTED, 1.0)
            self.drawing.write(
                _number(value), left - 8.0, float(self.at(0.0, value)[0, 1]), TYPE, align="right"
            )
        for i, value in enumerate(x):
            place = float(self.at(value, 0.0)[0, 0])
            self.drawing.line(np.array([[place, bottom], [place, bottom + 5.0]]), style.MUTED, 1.0)
            text = words[i] if words else _number(value)
            self.drawing.write(text, place, bottom + 18.0, TYPE, align="center")
        self.drawing.line(np.array([[left, bottom], [right, bottom]]), style.INK, 1.4)
        self.drawing.write(names[1], left - 44.0, top - 20.0, TYPE, color=style.MUTED)
        if names[0]:
            self.drawing.write(names[0], right, bottom + 40.0, TYPE, color=style.MUTED, align="right")

    def curve(
        self, x: Array, y: Array, color: str, width: float = 2.4, dash: tuple[float, float] | None = None
    ) -> None:
        """A line through values (k,)."""
        self.drawing.line(self.at(x, y), color, width, dash)

    def label(
        self,
        words: str,
        x: float,
        y: float,
        *,
        color: str = style.INK,
        align: str = "left",
        bold: bool = False,
        shift: tuple[float, float] = (0.0, 0.0),
    ) -> None:
        """Words at a place."""
        place = self.at(x, y)[0]
        self.drawing.write(
            words,
            float(place[0] + shift[0]),
            float(place[1] + shift[1]),
            TYPE,
            color=color,
            align=align,
            bold=bold,
            halo=True,
        )

    def bar(self, x: tuple[float, float], y: tuple[float, float], fill: str, line: str | None = None) -> None:
        """A filled rectangle between two values of each scale."""
        (x0, y0), (x1, y1) = self.at(np.array(x), np.array(y))
        self.drawing.area(box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)), fill, line, 1.0)


def sheet(title: str, height: float) -> Drawing:
    """An empty figure with its title."""
    drawing = Drawing((WIDTH, height))
    drawing.area(box(0.0, 0.0, WIDTH, height), style.PAPER)
    drawing.write(title, 20.0, 26.0, 17.0, bold=True)
    return drawing


def slope(
    drawing: Drawing, foot: tuple[float, float], length: float, pitch: float, depth: float
) -> tuple[Array, Array, Array]:
    """A sheet up the slope from its foot with a blanket of snow on it.

    Parameters
    ----------
    drawing : Drawing
    foot : (float, float)
        [px]
    length, depth : float
        Of the sheet, and of the snow square to it. [px]
    pitch : float
        [rad]

    Returns
    -------
    foot, up, out : (2,) float
        Origin, unit vectors up the slope and away from it, in pixels.
    """
    origin = np.asarray(foot)
    up = np.array([np.cos(pitch), -np.sin(pitch)])
    out = np.array([-np.sin(pitch), -np.cos(pitch)])
    snow = [origin, origin + length * up, origin + length * up + depth * out, origin + depth * out]
    drawing.area(Polygon(snow), style.SNOW_ANCHORS[2], style.SNOW_DEEP_ANCHORS[4], 1.0)
    drawing.line(np.stack([origin, origin + length * up]), style.INK, 4.0)
    return origin, up, out


def _number(value: float) -> str:
    return f"{value:g}".replace("-", "\N{MINUS SIGN}")
