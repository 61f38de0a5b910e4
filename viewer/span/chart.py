"""spans.png and spans.svg: largest load over span, regions by the limit that governs, bands of ranges."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from fea.spans.bench import LIMITS
from fea.spans.study import RailTableau, StudyResult
from viewer import style
from viewer.picture.drawing import Drawing
from viewer.span.conditions import unverified
from viewer.span.words import units_of

Array = NDArray[np.float64]

COLORS = (
    "#F4AC45", "#8C8377", "#63A68F", "#95BBD8", "#B9746B", "#8E7BB0", "#C9B458", "#5A6B8C", "#D98CA0",
    "#7A9E3F",
)  # of LIMITS  # fmt: skip
LETTERS = "abcdefghij"  # of LIMITS, for those who see no colors
BESIDE = 5  # names of the legend in a line
WIDE, HIGH = 330.0, 240.0  # of one panel
LEFT, TOP, GAP_X, GAP_Y = 90.0, 130.0, 60.0, 110.0
TYPE = 17.0
ACROSS = 3  # panels beside each other


def study_drawing(found: StudyResult, rails: Sequence[RailTableau] | None = None) -> Drawing:
    """Panels for every rail, one for every arrangement; of some rails, or of all."""
    some = found.rails if rails is None else rails
    units, choices = units_of(found), found.choices
    panels = len(choices.arrangements)
    lines = -(-panels // ACROSS)
    width = max(LEFT + min(panels, ACROSS) * (WIDE + GAP_X), 1000.0)
    drawing = Drawing((width, TOP + lines * len(some) * (HIGH + GAP_Y) + 110.0))
    drawing.write(found.study.table.study.name, LEFT, 40.0, 28.0, bold=True)
    drawing.write(
        f"Largest line load ({units.label('line')}) over span ({units.label('length')}); color and letter: "
        "what governs. A span between dots gets what the longer one has",
        LEFT, 74.0, TYPE, color=style.MUTED,
    )  # fmt: skip
    if not found.verified:
        drawing.write(
            unverified(found, short=True), LEFT, 14.0, 0.85 * TYPE, bold=True, color=style.EXCEEDED_ANCHORS[0]
        )
    for r, rail in enumerate(some):
        finite = rail.high[np.isfinite(rail.high)]
        most = 1.08 * float(finite.max()) if len(finite) else float(choices.loads[-1])
        for a in range(panels):
            floor = TOP + (r * lines + a // ACROSS) * (HIGH + GAP_Y) + HIGH
            _panel(drawing, found, rail, a, LEFT + a % ACROSS * (WIDE + GAP_X), floor, most)
    shown = sorted({int(k) for rail in some for k in np.unique(rail.governing)} - {-1})
    for place, k in enumerate(shown):
        color, name = COLORS[k], LIMITS[k]
        x, y = LEFT + 210.0 * (place % BESIDE), drawing.size[1] - 82.0 + 26.0 * (place // BESIDE)
        drawing.area(Polygon([(x, y - 9), (x + 22, y - 9), (x + 22, y + 9), (x, y + 9)]), color)
        on = style.text_on(color)
        drawing.write(LETTERS[k], x + 11.0, y, 0.85 * TYPE, bold=True, color=on, align="center")
        drawing.write(name, x + 30.0, y, TYPE)
    if any((np.isnan(rail.low) | rail.guess).any() for rail in some):
        x, y = LEFT + 210.0 * (len(shown) % BESIDE), drawing.size[1] - 82.0 + 26.0 * (len(shown) // BESIDE)
        drawing.write("?", x + 11.0, y, TYPE, bold=True, color=style.EXCEEDED_ANCHORS[0], align="center")
        drawing.write("not verified", x + 30.0, y, TYPE)
    drawing.write(style.CAUTION, LEFT, drawing.size[1] - 32.0, 0.9 * TYPE, color=style.MUTED)
    return drawing


def steps(spans: Array, load: Array, seam: float) -> tuple[Array, Array]:
    """Spans and loads of a line in steps, (2 n,) each: a span gets what the next longer one carries.

    Loads fall along a hollow curve, so a straight line between two of them would promise too much. The first
    step is a seam wide, as clamps leave no span there but its own.
    """
    ends = np.stack([np.concatenate([[max(spans[0] - seam, 0.0)], spans[:-1]]), spans], axis=1)
    return ends.ravel(), np.repeat(load, 2)


def _panel(
    drawing: Drawing, found: StudyResult, rail: RailTableau, a: int, left: float, floor: float, most: float
) -> None:
    units, spans = units_of(found), rail.spans
    far = float(found.choices.spans[-1]) * 1.02

    def place(span: Array, load: Array) -> Array:
        y = floor - HIGH * np.minimum(np.nan_to_num(load, nan=0.0, posinf=most), most) / most
        return np.stack([left + WIDE * span / far, y], axis=1)

    dots = place(spans, rail.low[:, a])
    low, high = (place(*steps(spans, load[:, a], rail.seam)) for load in (rail.low, rail.high))
    letters: list[tuple[str, float, float]] = []
    for i in range(len(spans)):
        limit = int(rail.governing[i, a])
        color = style.HAIRLINE if limit < 0 else COLORS[limit]
        (x0, y), (x1, _) = low[2 * i], low[2 * i + 1]
        drawing.area(Polygon([(x0, floor), (x0, y), (x1, y), (x1, floor)]).buffer(0.0), color)
        if limit >= 0 and (i == 0 or limit != int(rail.governing[i - 1, a])):
            letters.append((LETTERS[limit], 0.5 * float(x0 + x1), float(high[2 * i, 1]) - 11.0))
    if found.study.ranges:
        drawing.area(Polygon([*low.tolist(), *high[::-1].tolist()]).buffer(0.0), style.SNOW_ANCHORS[1])
        drawing.line(high, style.MUTED, 1.2, (5.0, 4.0))
    drawing.line(low, style.INK, 2.4)
    for letter, x, y in letters:
        drawing.write(letter, x, y, 0.85 * TYPE, bold=True, align="center", halo=True)
    for (x, y), load, guess in zip(dots.tolist(), rail.low[:, a], rail.guess[:, a], strict=True):
        if guess:
            drawing.write("?", x + 9.0, y - 9.0, TYPE, bold=True, color=style.EXCEEDED_ANCHORS[0], halo=True)
        if np.isnan(load):
            drawing.write("?", x, y - 14.0, TYPE, bold=True, color=style.EXCEEDED_ANCHORS[0], align="center")
        else:
            drawing.circle(x, y, 3.5, style.INK, style.PAPER, 1.0)
    drawing.line(np.array([[left, floor - HIGH], [left, floor], [left + WIDE, floor]]), style.INK, 1.4)
    step = style.tick_step(units.convert(most, "line") / 5.0)
    for value in np.arange(0.0, units.convert(most, "line"), step):
        y = floor - HIGH * value / units.convert(most, "line")
        drawing.line(np.array([[left - 5.0, y], [left, y]]), style.INK, 1.2)
        drawing.write(f"{value:g}", left - 9.0, y, 0.85 * TYPE, align="right")
    step = style.tick_step(units.convert(far, "length") / 5.0)
    for value in np.arange(0.0, units.convert(far, "length"), step):
        x = left + WIDE * value / units.convert(far, "length")
        drawing.line(np.array([[x, floor], [x, floor + 5.0]]), style.INK, 1.2)
        drawing.write(f"{value:g}", x, floor + 18.0, 0.85 * TYPE, align="center")
    drawing.write(f"{rail.name}, {found.choices.arrangements[a]}", left, floor - HIGH - 20.0, TYPE, bold=True)
