"""One design system for pictures, drawings and the report: colors, type, lines, numbers.

Two scales never meet. Snow is a cool blue that stays light, so that what stands on it can be read.
Utilization is warm, gets steadily darker, and drops in one dark step at 1.0; the mark changes its shape
there too, so that the limit is seen in grayscale and by color-blind readers.
"""

from __future__ import annotations

import math
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roofmodel.surface import EdgeKind

Array = NDArray[np.float64]

PAPER = "#FFFFFF"
INK = "#16242E"  # text, rails, outlines
MUTED = "#52626E"  # secondary text; 4.5:1 on paper and on the palest tints
FAINT = "#9AA8B2"  # seams, hatching, construction lines; never text
HAIRLINE = "#D5DCE1"  # table rules, frames
TINT = "#F3F6F8"  # panels and table stripes
WALL = "#E9E6DF"  # building below the eaves
WALL_SHADE = "#D9D5CB"
STANDING = "#8C8377"  # chimneys, parapets and other boxes on the roof
STANDING_TOP = "#B4ACA0"
GLASS = "#5A6B8C"  # solar arrays
GLASS_HATCH = "#9FADC9"
PROTECTED = "#7A4E9C"  # what no snow may slide onto, in plans
ACCENT = "#0F5C7A"  # links, headings, bending moment

# Light to dark; anchors at equal steps.
SNOW_ANCHORS = ("#F5F9FC", "#DCEAF4", "#BCD5E8", "#95BBD8", "#6C9CC3")
# For drawings of the snow itself: one hue, darker where more lies, so that bands stand apart for every eye.
SNOW_DEEP_ANCHORS = (*SNOW_ANCHORS[:4], "#6C9CC3", "#457AA6", "#275780", "#153654")
KEPT_ANCHORS = ("#FDF0CF", "#FBD58B", "#F4AC45")  # utilization 0 to 1
EXCEEDED_ANCHORS = ("#B0282E", "#7C1430", "#470A2B")  # just above 1 to `UTILIZATION_TOP`
# Force that nothing holds yet: green to ink, so that nobody takes it for snow or for a share of a limit.
FORCE_ANCHORS = ("#DDEBE0", "#A5CDB5", "#63A68F", "#2E7A70", "#155153", "#0C2F38")
# Displacement: the petrol of deflected shapes in diagrams, darker where more moves.
MOVEMENT_ANCHORS = ("#D6E5EA", "#95BFCD", "#4B93AC", "#0F5C7A", "#06303F")
UNVERIFIED = INK  # a black square with a white question mark
UTILIZATION_TOP = 2.0  # the scale ends here; higher values take the last color

FONT_STACK = '"Helvetica Neue", "Segoe UI", Roboto, Arial, "Liberation Sans", "DejaVu Sans", sans-serif'
MONO_STACK = 'ui-monospace, "SF Mono", Menlo, Consolas, "Liberation Mono", "DejaVu Sans Mono", monospace'

# Points on an A4 page; pictures multiply them by their width over `REFERENCE_WIDTH`.
TYPE_SIZE = {"title": 22.0, "heading": 14.0, "body": 10.5, "label": 11.0, "legend": 10.0, "note": 9.0}
REFERENCE_WIDTH = 640.0

# Line weights of the roof edges in the same points.
EDGE_WEIGHT = {
    EdgeKind.EAVE: 2.0,
    EdgeKind.RAKE: 1.4,
    EdgeKind.HEAD: 1.4,
    EdgeKind.RIDGE: 1.7,
    EdgeKind.HIP: 1.2,
    EdgeKind.VALLEY: 1.7,
    EdgeKind.BREAK: 0.9,
    EdgeKind.STEP: 1.4,
}

# Kinds of edges in the picture of a roof, told apart by weight and dash too.
EDGE_COLOR = {
    EdgeKind.EAVE: ACCENT,
    EdgeKind.RAKE: MUTED,
    EdgeKind.HEAD: "#7A4E9C",
    EdgeKind.RIDGE: "#B0282E",
    EdgeKind.HIP: "#D9780F",
    EdgeKind.VALLEY: "#23865F",
    EdgeKind.BREAK: MUTED,
    EdgeKind.STEP: INK,
}
EDGE_DASHED = (EdgeKind.BREAK, EdgeKind.STEP)

CAUTION = "Results need review by a licensed engineer. Local code governs."


class Mark(StrEnum):
    """Shape that a checked part is drawn with."""

    KEPT = "circle"  # utilization up to 1.0
    EXCEEDED = "diamond"  # above 1.0
    UNVERIFIED = "square"  # loaded, but nobody gave a resistance


def rgb(color: str) -> Array:
    """Color "#RRGGBB" as (3,) float from 0 to 1."""
    return np.array([int(color[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0


def hexadecimal(color: ArrayLike) -> str:
    """Color (3,) from 0 to 1 as "#RRGGBB"."""
    red, green, blue = np.rint(np.clip(np.asarray(color, dtype=float), 0.0, 1.0) * 255.0).astype(int)
    return f"#{red:02X}{green:02X}{blue:02X}"


def _ramp(anchors: tuple[str, ...], share: Array) -> Array:
    table = np.array([rgb(color) for color in anchors])
    at = np.linspace(0.0, 1.0, len(anchors))
    return np.stack([np.interp(share, at, table[:, channel]) for channel in range(3)], axis=-1)


def snow_rgb(share: ArrayLike) -> Array:
    """Colors (..., 3) of snow pressure as a share (...) of the top of its scale, 0 to 1."""
    return _ramp(SNOW_ANCHORS, np.clip(np.asarray(share, dtype=float), 0.0, 1.0))


def snow_bands(count: int) -> tuple[str, ...]:
    """Colors "#RRGGBB" of bands of snow pressure, the least first."""
    return tuple(hexadecimal(color) for color in _ramp(SNOW_DEEP_ANCHORS, np.linspace(0.06, 1.0, count)))


def force_bands(count: int) -> tuple[str, ...]:
    """Colors "#RRGGBB" of bands of sliding force, the least first."""
    return tuple(hexadecimal(color) for color in _ramp(FORCE_ANCHORS, np.linspace(0.0, 1.0, count)))


def movement_rgb(share: ArrayLike) -> Array:
    """Colors (..., 3) of displacement as a share (...) of the top of its scale, 0 to 1."""
    return _ramp(MOVEMENT_ANCHORS, np.clip(np.asarray(share, dtype=float), 0.0, 1.0))


def utilization_rgb(utilization: ArrayLike) -> Array:
    """Colors (..., 3) of utilization (...); NaN, not verified, is ink."""
    use = np.asarray(utilization, dtype=float)
    filled = np.nan_to_num(use, nan=0.0, posinf=UTILIZATION_TOP)
    kept = _ramp(KEPT_ANCHORS, np.clip(filled, 0.0, 1.0))
    exceeded = _ramp(EXCEEDED_ANCHORS, np.clip((filled - 1.0) / (UTILIZATION_TOP - 1.0), 0.0, 1.0))
    color = np.where((filled > 1.0)[..., None], exceeded, kept)
    return np.where(np.isnan(use)[..., None], rgb(UNVERIFIED), color)


def utilization_color(utilization: float) -> str:
    """Color "#RRGGBB" of one utilization; NaN is not verified."""
    return hexadecimal(utilization_rgb(utilization))


def utilization_mark(utilization: float) -> Mark:
    """Shape for one utilization; NaN is not verified."""
    if math.isnan(utilization):
        return Mark.UNVERIFIED
    return Mark.EXCEEDED if utilization > 1.0 else Mark.KEPT


def utilization_text(utilization: float) -> str:
    """Utilization to two digits after the point, or as many as it takes to tell it from 1.

    0.99996 is not printed as 1.00, and 1.003 is not either: a reader must see which side it is on.
    """
    if math.isnan(utilization):
        return "not verified"
    if math.isinf(utilization):
        return "no resistance"
    for digits in range(2, 7):
        text = f"{utilization:.{digits}f}"
        if float(text) != 1.0 or utilization == 1.0:
            return text
    return "just above 1" if utilization > 1.0 else "just below 1"


def linear_rgb(color: ArrayLike) -> Array:
    """Linear intensities (..., 3) of sRGB colors (..., 3), both 0 to 1 (IEC 61966-2-1, from memory)."""
    value = np.asarray(color, dtype=float)
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def luminance(color: ArrayLike) -> Array:
    """Relative luminance (...) of sRGB colors (..., 3), 0 to 1 (IEC 61966-2-1, from memory)."""
    return np.asarray(linear_rgb(color) @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colors, 1 to 21 (WCAG 2, from memory)."""
    low, high = sorted(float(luminance(rgb(color))) for color in (one, other))
    return (high + 0.05) / (low + 0.05)


def text_on(color: str) -> str:
    """Ink or paper, whichever reads better on a color (contrast ratio of WCAG 2, from memory)."""
    return PAPER if contrast(PAPER, color) > contrast(INK, color) else INK


def scale_top(largest: float) -> float:
    """Round number at or just above `largest` to end a scale or axis with; 1 for nothing."""
    if not largest > 0.0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(largest))
    steps = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
    return next(step for step in steps if step * power >= largest * (1.0 - 1e-9)) * power


def tick_step(least: float) -> float:
    """1, 2 or 5 times a power of ten at or above `least`: from one tick of an axis to the next."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(step for step in (1.0, 2.0, 5.0, 10.0) if step * power >= least * (1.0 - 1e-9)) * power


def round_down(value: float) -> float:
    """1, 2 or 5 times a power of ten at or below a positive number: how far a picture exaggerates."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(step for step in (1.0, 2.0, 5.0) if step * power <= value * (1.0 + 1e-9)) * power


def css_variables() -> str:
    """The palette as a CSS rule for the report."""
    colors = {
        "paper": PAPER,
        "ink": INK,
        "muted": MUTED,
        "faint": FAINT,
        "hairline": HAIRLINE,
        "tint": TINT,
        "accent": ACCENT,
        "kept": KEPT_ANCHORS[-1],
        "notice": KEPT_ANCHORS[1],
        "marked": KEPT_ANCHORS[0],
        "chosen": SNOW_ANCHORS[1],
        "exceeded": EXCEEDED_ANCHORS[0],
        "unverified": UNVERIFIED,
    }
    lines = [f"  --{name}: {color};" for name, color in colors.items()]
    lines += [f"  --type-{name}: {size:g}pt;" for name, size in TYPE_SIZE.items()]
    lines += [f"  --font: {FONT_STACK};", f"  --mono: {MONO_STACK};"]
    return ":root {\n" + "\n".join(lines) + "\n}\n"
