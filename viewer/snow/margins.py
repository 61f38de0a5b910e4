"""What stands beside a plan: legend, scale bar and north, wind, coordinates."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.drawing import Drawing
from viewer.quantities import signed
from viewer.snow.contours import Scale, round_step
from viewer.snow.plan import TICK, Place, axis_origin

Array = NDArray[np.float64]

TICKS_APART = 58.0  # of coordinates along the sides [px]
DIRECTIONS = {name: 45.0 * i for i, name in enumerate(("N", "NE", "E", "SE", "S", "SW", "W", "NW"))}
_WIND = re.compile(r"wind toward (N|NE|E|SE|S|SW|W|NW|\d+ degrees)(?![A-Za-z])")


def draw_wind(drawing: Drawing, name: str, center: Array, size: float) -> bool:
    """Arrow of the wind with its word below, for cases that name one; whether there is one."""
    found = _WIND.search(name)
    if found is None:
        return False
    word = found[1]
    angle = np.radians(DIRECTIONS[word] if word in DIRECTIONS else float(word.split()[0]))
    way = np.array([np.sin(angle), -np.cos(angle)])
    reach = 1.2 * size
    drawing.arrow(center - reach * way, center + reach * way, style.ACCENT, 0.2 * size, 0.85 * size)
    words = (float(center[0]), float(center[1] + reach + 0.8 * size))
    drawing.write("wind", *words, 0.9 * size, color=style.ACCENT, align="center")
    return True


def draw_legend(
    drawing: Drawing,
    scale: Scale,
    x: float,
    y: float,
    size: float,
    units: UnitSystem,
    step: float = 17.0,
    more: Sequence[str] = (),
) -> None:
    """Bands and their bounds from the top down, the largest first, and `more` lines below. [px]."""
    colors = style.snow_bands(scale.count)
    drawing.write("Snow pressure", x, y, size, bold=True)
    drawing.write(units.label("pressure"), x, y + 1.35 * size, size)
    top = y + 3.0 * size
    for n in range(scale.count):
        at = top + step * (scale.count - 1 - n)
        drawing.area(shapely.box(x, at, x + 1.6 * size, at + step), colors[n], style.PAPER, 0.5)
    drawing.area(shapely.box(x, top, x + 1.6 * size, top + step * scale.count), None, style.INK, 0.8)
    for n, words in enumerate(scale.labels):
        drawing.write(words, x + 2.1 * size, top + step * (scale.count - n), size)
    bottom = top + step * scale.count + 1.6 * size
    for n, words in enumerate(("all zones added,", "vertical, per", "plan area", *more)):
        drawing.write(words, x, bottom + 1.25 * size * n, 0.92 * size, color=style.MUTED)


def draw_scale_bar(
    drawing: Drawing, place: Place, x: float, y: float, size: float, units: UnitSystem
) -> float:
    """A bar of a round length with its label above, north at its right; where it ends. [px]."""
    unit = units.convert(1.0, "length")
    length = style.scale_top(7.0 * size / place.scale * unit)
    end = x + length / unit * place.scale
    bar = np.array([[x, y - 4.0], [x, y], [end, y], [end, y - 4.0]])
    drawing.line(bar, style.INK, 0.12 * size)
    drawing.write(
        f"{length:g} {units.label('length')}",
        0.5 * (x + end),
        y - 0.85 * size,
        size,
        bold=True,
        align="center",
    )
    foot = np.array([end + 2.2 * size, y + 2.0])
    drawing.arrow(foot, foot - np.array([0.0, 2.3 * size]), style.INK, 0.14 * size, 0.75 * size)
    drawing.write("N", float(foot[0]) + 0.6 * size, y - 1.2 * size, size, bold=True)
    return float(foot[0]) + 1.8 * size


def draw_axes(drawing: Drawing, place: Place, size: float, units: UnitSystem, origin: Array) -> None:
    """Coordinates of the plan along its lower and left side, in which corners are listed."""
    unit, label = units.convert(1.0, "length"), units.label("length")
    step = round_step(TICKS_APART / place.scale * unit)
    corner = axis_origin(place)
    ends = place.at(np.array([place.low, place.high]))
    small = 0.86 * size
    for axis, out in ((0, np.array([0.0, 1.0])), (1, np.array([-1.0, 0.0]))):
        low, high = (place.low[axis] + origin[axis]) * unit, (place.high[axis] + origin[axis]) * unit
        ticks = step * np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1.0)
        base = np.stack([corner, corner])
        base[:, axis] = ends[:, axis]
        drawing.line(base, style.MUTED, 0.8)
        for value in ticks:
            at = corner.copy()
            at[axis] = ends[0, axis] + (value - low) / max(high - low, 1e-12) * np.diff(ends[:, axis])[0]
            drawing.line(np.stack([at, at + TICK * out]), style.MUTED, 0.8)
            x, y = at + (12.0 if axis == 0 else 8.0) * out
            align = "center" if axis == 0 else "right"
            drawing.write(signed(f"{value:g}"), x, y, small, color=style.MUTED, align=align)
    drawing.write(f"x east, {label}", ends[1, 0], corner[1] + 24.0, small, color=style.MUTED, align="right")
    drawing.write(f"y north, {label}", corner[0] - 4.0, ends[1, 1] - 11.0, small, color=style.MUTED)
