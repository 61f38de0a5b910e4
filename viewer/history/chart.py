"""history.png: snow on the roof through time with its band, and when the bond can let go."""

from __future__ import annotations

from datetime import date

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, box

from viewer import style
from viewer.history.findings import HistoryFindings, said
from viewer.picture.drawing import Drawing

Array = NDArray[np.float64]

WIDTH, LEFT, WIDE, TYPE = 1180.0, 96.0, 1020.0, 16.0
TOP, HIGH, STRIP = 130.0, 300.0, 70.0
DAY = 86400.0


def history_drawing(found: HistoryFindings, day: date | None = None) -> Drawing:
    """The whole sheet; a day of an event is marked."""
    drawing = Drawing((WIDTH, TOP + HIGH + STRIP + 170.0))
    name = found.project.roof.planes.name[found.plane]
    drawing.write(f"Snow on plane {name} by the weather", LEFT, 40.0, 26.0, bold=True)
    drawing.write(said(found)[0], LEFT, 76.0, 17.0)
    history, units = found.history, found.units
    seconds = (history.time - history.time[0]).astype("timedelta64[s]").astype(float)
    far = max(float(seconds[-1]), 1.0)
    x = LEFT + WIDE * seconds / far
    top = style.scale_top(units.convert(max(float(history.load.max()), 1.0), "pressure"))
    floor = TOP + HIGH
    load = np.array([units.convert(1.0, "pressure")]) * history.load
    y = floor - HIGH * load / top
    for window in found.likely:
        begin, end = (
            LEFT + WIDE * float((t - history.time[0]).astype("timedelta64[s]").astype(float)) / far
            for t in (window.begin, window.end)
        )
        drawing.area(
            box(begin - 1.0, TOP, max(end, begin + 2.0) + 1.0, floor + STRIP + 26.0), style.KEPT_ANCHORS[1]
        )
    for value in np.arange(0.0, top * 1.001, style.tick_step(top / 6.0)):
        level = floor - HIGH * value / top
        drawing.line(np.array([[LEFT, level], [LEFT + WIDE, level]]), style.HAIRLINE, 1.0)
        drawing.write(f"{value:g}", LEFT - 10.0, level, 0.9 * TYPE, align="right")
    drawing.write(f"load, {units.label('pressure')}", LEFT, TOP - 18.0, 0.9 * TYPE, color=style.MUTED)
    band = [*zip(x, y[:, 0], strict=True), *zip(x[::-1], y[::-1, 2], strict=True)]
    drawing.area(Polygon(band).buffer(0.0), style.SNOW_ANCHORS[2])
    drawing.line(np.stack([x, y[:, 1]], axis=1), style.ACCENT, 2.6)
    drawing.line(np.array([[LEFT, floor], [LEFT + WIDE, floor]]), style.INK, 1.4)
    base = floor + 26.0 + STRIP
    for share in (0.0, 1.0):
        drawing.write(f"{100.0 * share:.0f} %", LEFT - 10.0, base - STRIP * share, 0.8 * TYPE, align="right")
    drawing.write("samples whose bond thaws", LEFT, floor + 18.0, 0.9 * TYPE, color=style.MUTED)
    thaw = base - STRIP * history.thaws
    area = [(x[0], base), *zip(x, thaw, strict=True), (x[-1], base)]
    drawing.area(Polygon(area).buffer(0.0), style.EXCEEDED_ANCHORS[0])
    drawing.line(np.array([[LEFT, base], [LEFT + WIDE, base]]), style.INK, 1.4)
    _days(drawing, found, far, base)
    if day is not None:
        at = float((np.datetime64(day.isoformat(), "s") - history.time[0]).astype(float)) + 0.5 * DAY
        if 0.0 <= at <= far:
            mark = LEFT + WIDE * at / far
            drawing.line(np.array([[mark, TOP - 6.0], [mark, base]]), style.INK, 1.6, (6.0, 4.0))
            # To the left of a late day: to its right the sheet would cut the words.
            step, align = (6.0, "left") if at < 0.5 * far else (-6.0, "right")
            drawing.write("day of the event", mark + step, TOP + 4.0, 0.9 * TYPE, align=align, halo=True)
    drawing.area(box(LEFT, base + 52.0, LEFT + 24.0, base + 66.0), style.KEPT_ANCHORS[1])
    drawing.write("bond can let go (half of the samples or more)", LEFT + 32.0, base + 59.0, 0.9 * TYPE)
    drawing.area(box(LEFT + 400.0, base + 52.0, LEFT + 424.0, base + 66.0), style.SNOW_ANCHORS[2])
    drawing.write("5 to 95 % of the samples", LEFT + 432.0, base + 59.0, 0.9 * TYPE)
    drawing.write(
        "An aid to judgment, no code; drift is not followed. " + style.CAUTION,
        LEFT, drawing.size[1] - 22.0, 0.9 * TYPE, color=style.MUTED,
    )  # fmt: skip
    return drawing


def _days(drawing: Drawing, found: HistoryFindings, far: float, base: float) -> None:
    """Dates below, at most some twelve."""
    start = found.history.time[0]
    days = far / DAY
    every = next((n for n in (1, 2, 3, 7, 14, 28, 56, 112) if days / n <= 12.0), 365)
    shown = None
    first = start.astype("datetime64[D]") + np.timedelta64(1, "D")
    for k in range(0, int(days) + 1, every):
        moment = first + np.timedelta64(k, "D")
        at = float((moment.astype("datetime64[s]") - start).astype(float))
        if at <= far:
            x = LEFT + WIDE * at / far
            drawing.line(np.array([[x, base], [x, base + 6.0]]), style.INK, 1.2)
            words = f"{moment.astype(object):%b} {moment.astype(object).day}"
            year = moment.astype("datetime64[Y]")
            if year != shown:
                words, shown = f"{words}, {year}", year
            drawing.write(words, x, base + 18.0, 0.8 * TYPE, align="center")
