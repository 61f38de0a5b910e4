"""The map of a tile: buildings colored by the worst sliding force, the most dangerous ones numbered."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from viewer import style
from viewer.files import atomic
from viewer.picture.drawing import Box, Drawing, box_of, paint
from viewer.picture.labels import wrap_text
from viewer.screen.findings import ScreenFindings, short_id, summary_words, worst_force
from viewer.snow.contours import round_step
from viewer.snow.margins import draw_scale_bar
from viewer.snow.plan import Place, fit

Array = NDArray[np.float64]

WIDTH = 2000.0  # [px]
MARGIN, LEGEND, HEADER, FOOT = 44.0, 450.0, 170.0, 100.0
TALLEST, LEAST = 1500.0, 620.0  # height of the map [px]
SMALL = 16.0  # buildings smaller than this on the map are drawn as discs [px]
BANDS = 6
NUMBERED = 20  # of the ranking


def map_drawing(findings: ScreenFindings) -> Drawing:
    """Map with legend and scale bar."""
    shown = [(b, one) for b, one in enumerate(findings.buildings) if one.get("outline")]
    points = np.concatenate([np.zeros((0, 2)), *(np.array(r) for _, one in shown for r in one["outline"])])
    span = np.ptp(points, axis=0) if len(points) else np.ones(2)
    room = WIDTH - 2.0 * MARGIN - LEGEND
    height = float(np.clip(room * span[1] / max(float(span[0]), 1e-6), LEAST, TALLEST))
    drawing = Drawing((WIDTH, HEADER + height + FOOT))
    _header(drawing, findings)
    bounds, colors = force_scale(findings)
    _legend(drawing, findings, bounds, colors, WIDTH - MARGIN - LEGEND + 46.0, HEADER + 10.0)
    bottom = HEADER + height + FOOT - 34.0
    if len(points):
        place = fit(points, (MARGIN, HEADER, WIDTH - MARGIN - LEGEND, HEADER + height))
        order = sorted(shown, key=lambda pair: (worst_force(pair[1]), pair[0]))
        for _, one in order:
            force = findings.plan.units.convert(worst_force(one), "line")
            band = int(np.clip(np.searchsorted(bounds, force) - 1, 0, len(colors) - 1))
            _building(drawing, one, place, colors[band] if force > 0.0 else style.PAPER)
        _numbers(drawing, findings, place)
        draw_scale_bar(drawing, place, MARGIN, bottom, 28.0, findings.plan.units)
    else:
        drawing.write("No building could be screened.", MARGIN, HEADER + 60.0, 30.0, bold=True)
    words = f"{style.CAUTION} A screening shows where to look first."
    drawing.write(words, WIDTH - MARGIN, bottom, 25.0, color=style.MUTED, align="right")
    return drawing


def force_scale(findings: ScreenFindings) -> tuple[Array, tuple[str, ...]]:
    """Bounds (n + 1,) of the bands of force in the reader's units, and their colors (n,)."""
    units = findings.plan.units
    largest = max((f for f in map(worst_force, findings.buildings) if f > 0.0), default=0.0)
    top = units.convert(largest, "line") if largest > 0.0 else 1.0
    step = round_step(top / BANDS)
    count = max(int(np.ceil(top / step - 1e-9)), 1)
    return np.asarray(step * np.arange(count + 1), dtype=float), style.force_bands(max(count, 2))[-count:]


def _building(drawing: Drawing, one: Mapping[str, Any], place: Place, fill: str) -> None:
    shape = shapely.MultiPolygon([shapely.Polygon(place.at(np.array(ring))) for ring in one["outline"]])
    left, top, right, bottom = shape.bounds
    if max(right - left, bottom - top) < SMALL:
        drawing.circle(0.5 * (left + right), 0.5 * (top + bottom), 0.5 * SMALL, fill, style.MUTED, 1.2)
        return
    drawing.area(shape, fill, style.MUTED, 1.2)


def _numbers(drawing: Drawing, findings: ScreenFindings, place: Place) -> None:
    """Ranks beside the edges of the first of the ranking, where there is room."""
    taken: list[Box] = []
    low, high = place.at(place.low), place.at(place.high)
    named: set[int] = set()
    for rank, (b, e) in enumerate(findings.ranking[:NUMBERED], 1):
        edge = findings.edge((b, e))
        if edge["start"] is None:
            continue
        ends = place.at(np.array([edge["start"], edge["end"]])[:, :2])
        drawing.line(ends, style.EXCEEDED_ANCHORS[0], 4.0)
        if b in named:  # the first number of a building is enough
            continue
        named.add(b)
        x, y = ends.mean(axis=0)
        for dx, dy in ((20, -20), (20, 20), (-20, -20), (-20, 20), (40, 0), (-40, 0), (0, 40), (0, -40)):
            text = drawing.write(str(rank), x + dx, y + dy, 28.0, bold=True, align="center", halo=True)
            box = box_of(text)
            inside = low[0] - 30 < box[0] and box[2] < high[0] + 30
            if inside and not any(_meet(box, other) for other in taken):
                taken.append(box)
                break
            drawing.texts.pop()


def _meet(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _header(drawing: Drawing, findings: ScreenFindings) -> None:
    name = str(findings.plan.said["file"])
    title = wrap_text(f"Sliding snow, screened: {name}", 42.0, WIDTH - 2.0 * MARGIN, bold=True)[0]
    drawing.write(title, MARGIN, 46.0, 42.0, bold=True)
    for n, line in enumerate(wrap_text(summary_words(findings), 28.0, WIDTH - 2.0 * MARGIN)[:2]):
        drawing.write(line, MARGIN, 98.0 + 34.0 * n, 28.0, color=style.MUTED)


def _legend(
    drawing: Drawing, findings: ScreenFindings, bounds: Array, colors: tuple[str, ...], x: float, y: float
) -> None:
    unit = findings.plan.units.label("line")
    for n, words in enumerate(("Worst sliding force", f"over a meter of edge, {unit}")):
        drawing.write(words, x, y + 34.0 * n, 28.0, bold=n == 0)
    top = y + 66.0
    for n in range(len(colors) - 1, -1, -1):
        drawing.area(shapely.box(x, top, x + 44.0, top + 34.0), colors[n], style.MUTED, 1.2)
        drawing.write(f"{bounds[n]:g} to {bounds[n + 1]:g}", x + 58.0, top + 17.0, 27.0)
        top += 40.0
    drawing.area(shapely.box(x, top, x + 44.0, top + 34.0), style.PAPER, style.MUTED, 1.2)
    drawing.write("nothing slides", x + 58.0, top + 17.0, 27.0)
    top += 62.0
    drawing.line(np.array([[x, top], [x + 44.0, top]]), style.EXCEEDED_ANCHORS[0], 4.0)
    drawing.write("first of the ranking,", x + 58.0, top, 27.0)
    drawing.write("by energy; with rank", x + 58.0, top + 32.0, 27.0)
    top = _named(drawing, findings, x, top + 86.0)
    if findings.failed:
        for n, words in enumerate((f"{len(findings.failed)} buildings are not", "on the map: not screened")):
            drawing.write(words, x, top + 16.0 + 34.0 * n, 27.0, bold=True)


def _named(drawing: Drawing, findings: ScreenFindings, x: float, top: float) -> float:
    """Which buildings the numbers are, as far as there is room; where it ends."""
    room = int((drawing.size[1] - FOOT - 60.0 - top) // 62.0)
    rows: list[tuple[int, int, int]] = []
    for rank, (b, e) in enumerate(findings.ranking[:NUMBERED], 1):
        if b not in {one[1] for one in rows}:
            rows.append((rank, b, e))
    if not rows or room < 1:
        return top
    unit = findings.plan.units
    for rank, b, e in rows[:room]:
        one, edge = findings.buildings[b], findings.edge((b, e))
        drawing.write(str(rank), x + 32.0, top, 27.0, bold=True, align="right")
        drawing.write(short_id(str(one["id"]), 23), x + 44.0, top, 27.0)
        force = f"{unit.text(edge['force'], 'line')}, {edge['edge']}"
        words = wrap_text(force, 25.0, LEGEND - 90.0)[0]
        drawing.write(words, x + 44.0, top + 28.0, 25.0, color=style.MUTED)
        top += 62.0
    return top


def write_map(drawing: Drawing, path: Path) -> None:
    """Write the map as PNG, whole or not at all."""
    with atomic(path) as temporary:
        paint(drawing).save(temporary)
