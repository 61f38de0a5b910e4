"""risk.png: chance over snow with its band, what the scatter comes from, and where rows begin to go."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from shapely import Polygon, box

from fea.failure.jobs import TOP
from fea.unknowns import OPEN
from viewer import style
from viewer.picture.drawing import Drawing, Head, headed
from viewer.risk.findings import FIRST_HEAD, RiskFindings, answer, first_words, snow_words

Array = NDArray[np.float64]

WIDTH, LEFT = 1180.0, 90.0
CURVE = (LEFT, 150.0, 560.0, 300.0)  # left, top, width, height
BARS = (LEFT + 560.0 + 270.0, 150.0, 210.0)  # left, top, width
TYPE = 16.0
HEAD = Head(LEFT, WIDTH - 2.0 * LEFT, (40.0, 26.0), 76.0, 24.0, 18.0, 100.0)
BAND, CURVE_COLOR = style.SNOW_ANCHORS[2], style.ACCENT
STEPS = (0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0)  # between ticks of the snow
ROWS_SHOWN, SHARES_SHOWN, NAME = 14, 8, 26


def risk_drawing(found: RiskFindings) -> Drawing:
    """The whole sheet."""
    names = found.analysis.project.layout.row_name
    shown = min(len(names), ROWS_SHOWN)
    drawing = Drawing((WIDTH, 672.0 + 46.0 * shown))
    _curve(drawing, found)
    _bars(drawing, found)
    _rows(drawing, found, 594.0, shown)
    y = drawing.size[1] - 26.0
    drawing.write(
        "An aid to judgment: no better than the distributions given. " + style.CAUTION,
        LEFT, y, 0.9 * TYPE, color=style.MUTED,
    )  # fmt: skip
    warnings = [one for one in found.cases[0].notes if one.startswith(OPEN)]
    return headed(drawing, HEAD, found.analysis.project.table.project.name, answer(found), warnings)


def _curve(drawing: Drawing, found: RiskFindings) -> None:
    """Share of roofs that have lost a row as the snow of the case grows, with its 95 % band."""
    left, top, width, height = CURVE
    floor = top + height
    drawing.write("Roofs that have lost a row, as the snow grows", left, top - 28.0, TYPE, bold=True)
    values = found.risk.fragility
    n = len(values)
    known = values[values < TOP]
    far = style.scale_top(1.15 * float(known.max()) if len(known) else TOP)
    at = np.linspace(0.0, far, 240)
    count = np.searchsorted(values, at, side="right")
    count = np.where(at >= TOP, len(known), count)
    low = np.where(count > 0, stats.beta.ppf(0.025, np.maximum(count, 1), n - count + 1), 0.0)
    high = np.where(count < n, stats.beta.ppf(0.975, count + 1, np.maximum(n - count, 1)), 1.0)

    def place(x: Array, share: Array) -> Array:
        return np.stack([left + width * x / far, floor - height * share], axis=1)

    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        y = floor - height * share
        drawing.line(np.array([[left, y], [left + width, y]]), style.HAIRLINE, 1.0)
        drawing.write(f"{100.0 * share:.0f} %", left - 10.0, y, 0.9 * TYPE, align="right")
    band = Polygon([*place(at, low).tolist(), *place(at, high)[::-1].tolist()]).buffer(0.0)
    drawing.area(band, BAND)
    drawing.line(place(at, count / n), CURVE_COLOR, 2.8)
    one = left + width / far
    if far > 1.0:
        drawing.line(np.array([[one, top], [one, floor]]), style.INK, 1.4, (6.0, 4.0))
        drawing.write("snow of the case", one + 7.0, top + 10.0, 0.9 * TYPE, halo=True)
    drawing.line(np.array([[left, floor], [left + width, floor]]), style.INK, 1.4)
    step = next(one for one in STEPS if one >= far / 8.0)
    for x in np.arange(0.0, far + 1e-9, step):
        drawing.line(
            np.array([[left + width * x / far, floor], [left + width * x / far, floor + 6.0]]), style.INK, 1.2
        )
        drawing.write(f"{x:g}", left + width * x / far, floor + 18.0, 0.9 * TYPE, align="center")
    drawing.write(
        f"snow over that of the case: {found.case_name[:52]}; band: 95 % interval",
        left,
        floor + 44.0,
        0.9 * TYPE,
        color=style.MUTED,
    )
    half = snow_words(found)
    cut = half.rfind(" ", 0, 92)
    drawing.write(half[:cut], left, floor + 68.0, 0.9 * TYPE, color=style.MUTED)
    drawing.write(half[cut + 1 :], left, floor + 88.0, 0.9 * TYPE, color=style.MUTED)


def _bars(drawing: Drawing, found: RiskFindings) -> None:
    """Shares of the inputs in the scatter of the reserve."""
    left, top, width = BARS
    drawing.write("Where the scatter comes from", left - 190.0, top - 28.0, TYPE, bold=True)
    if not found.risk.shares:
        drawing.write("nothing scatters from roof to roof", left - 190.0, top + 14.0, TYPE, color=style.MUTED)
        return
    for i, one in enumerate(found.risk.shares[:SHARES_SHOWN]):
        y = top + 14.0 + 34.0 * i
        drawing.write(one.name, left - 8.0, y, 0.9 * TYPE, align="right")
        drawing.area(box(left, y - 9.0, left + width, y + 9.0), style.TINT)
        drawing.area(box(left, y - 9.0, left + max(width * one.value, 1.5), y + 9.0), style.ACCENT)
        inside = one.value > 0.8
        drawing.write(
            f"{100.0 * one.value:.0f} %",
            left + width * one.value + (-8.0 if inside else 8.0), y, 0.9 * TYPE,
            color=style.PAPER if inside else style.INK, align="right" if inside else "left",
        )  # fmt: skip
    y = top + 14.0 + 34.0 * min(len(found.risk.shares), SHARES_SHOWN)
    drawing.write(
        "share of the reserve's variance, each alone", left - 190.0, y, 0.85 * TYPE, color=style.MUTED
    )


def _rows(drawing: Drawing, found: RiskFindings, top: float, shown: int) -> None:
    """Clamps of the rows that go first, each as a mark whose size is how often it gives way first."""
    layout, risk = found.analysis.project.layout, found.risk
    order = np.sort(np.argsort(-risk.first_row, kind="stable")[:shown])
    splices = found.cases[0].roof.roof.splices
    what = "a clamp" if splices is None else "a clamp (circle) or splice (diamond)"
    drawing.write(
        f"Where it begins: the larger, the more often {what} gives way first",
        LEFT,
        top - 6.0,
        TYPE,
        bold=True,
    )
    drawing.write(first_words(found), LEFT, top + 16.0, 0.85 * TYPE, color=style.MUTED)
    longest = float(layout.row_length[order].max())
    most = max(float(risk.first.max()), float(risk.splice_first.max(initial=0.0)), 1e-12)
    left, width = LEFT + 190.0, WIDTH - LEFT - 190.0 - 190.0
    for i, row in enumerate(order):
        y = top + 62.0 + 46.0 * i
        name = layout.row_name[row]
        drawing.write(name if len(name) <= NAME else name[: NAME - 1] + "…", LEFT, y, 0.95 * TYPE)
        end = left + width * float(layout.row_length[row]) / longest
        drawing.line(np.array([[left, y], [end, y]]), style.MUTED, 3.0)
        own = np.flatnonzero(layout.clamp_row == row)
        apart = width * float(layout.row_length[row]) / longest / max(len(own), 1)
        largest = min(max(0.75 * apart, 4.0), 17.0)
        for c in own:
            x = left + width * float(layout.clamp_s[c]) / longest
            share = float(risk.first[c])
            radius = max(largest * float(np.sqrt(share / most)), 2.5)
            drawing.circle(x, y, radius, _color(share / most), style.INK, 1.0)
        marks = [(float(risk.first[c]), float(layout.clamp_s[c]), layout.clamp_name[c]) for c in own]
        on_row = [] if splices is None else np.flatnonzero(splices.row == row).tolist()
        for k, origin in zip(on_row, [] if splices is None else splices.origin[on_row].tolist(), strict=True):
            share, s = float(risk.splice_first[k]), float(layout.splice_s[origin])
            x, reach = left + width * s / longest, max(17.0 * float(np.sqrt(share / most)), 4.0)
            diamond = Polygon([(x - reach, y), (x, y - reach), (x + reach, y), (x, y + reach)])
            drawing.area(diamond, _color(share / most), style.INK, 1.2)
            marks.append((share, s, "splice"))
        share, s, name = max(marks, key=lambda one: one[0])
        if share >= 0.01:
            drawing.write(
                f"{name}: {100.0 * share:.0f} %",
                left + width * s / longest, y - 23.0, 0.85 * TYPE, align="center", halo=True,
            )  # fmt: skip
        drawing.write(
            f"{FIRST_HEAD} in {100.0 * risk.first_row[row]:.0f} %",
            end + 26.0,
            y,
            0.9 * TYPE,
            color=style.MUTED,
        )


def _color(share: float) -> str:
    return str(style.force_bands(11)[round(10.0 * share)])
