"""Scale bar and north arrow of plans."""

from __future__ import annotations

import numpy as np

from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.sheet import Overlay, Shape


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
