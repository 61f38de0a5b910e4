"""Drawings of cases: the sheet of all of them side by side, and the large plan of each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from roofmodel.surface import shown_origin
from roofmodel.units import UnitSystem
from viewer import style
from viewer.files import atomic
from viewer.picture.drawing import Drawing, paint
from viewer.picture.labels import fit_text, wrap_text
from viewer.quantities import column, quantity
from viewer.snow.contours import Scale
from viewer.snow.findings import SnowFindings
from viewer.snow.margins import draw_axes, draw_legend, draw_scale_bar, draw_wind
from viewer.snow.plan import Look, draw_plan, fit
from viewer.snow.sections import Section
from viewer.snow.symmetry import stands_for, turned_words

LINES = ("", "dashed: edge", "of a zone", "dotted: row")  # of the plans, for the legend
WIDTH = 760.0  # of a large plan [px]
TALLEST, LEAST = 470.0, 170.0  # height of the roof on it [px]
SHEET_WIDTH = 2000.0  # [px]
LEGEND = 190.0  # room for the scale on the sheet [px]
SHOWN = 24  # cases on the sheet
MOST_COLUMNS = 4
TITLE = 23.0  # type of a case's name on the sheet [px]
NOTE = 19.0  # type of its numbers [px]
WIND = 52.0  # room for the arrow of the wind beside it [px]


def case_drawing(
    findings: SnowFindings, index: int, scale: Scale, sections: Sequence[Section], units: UnitSystem
) -> Drawing:
    """Large plan of one case with its scale, coordinates and sections."""
    size = 11.0
    left, right, top, foot = 66.0, 122.0, 34.0, 84.0
    span = np.ptp(findings.project.roof.points[:, :2], axis=0)
    room = WIDTH - left - right
    height = float(np.clip(room * span[1] / max(float(span[0]), 1e-9), LEAST, TALLEST))
    needed = 3.0 * size + 17.0 * scale.count + 4.0 * size
    drawing = Drawing((WIDTH, max(top + height + foot, top + needed)))
    box = (left, top, WIDTH - right, top + height)
    place = fit(findings.project.roof.points, box)
    frame = (4.0, 4.0, WIDTH - right + 16.0, top + height + 8.0)
    draw_axes(drawing, place, size, units, shown_origin(findings.project.roof.offset))
    draw_plan(drawing, findings, index, scale, place, frame, Look(size, True), units, sections)
    draw_legend(drawing, scale, WIDTH - right + 30.0, top, size, units)
    end = draw_scale_bar(drawing, place, left, top + height + foot - 14.0, size, units)
    name = findings.cases[index].case.name
    draw_wind(drawing, name, np.array([end + 40.0, top + height + foot - 26.0]), size)
    return drawing


def sheet_drawing(findings: SnowFindings, scale: Scale, units: UnitSystem) -> Drawing:
    """All cases as small plans of one scale, with one legend."""
    shown, turned = shown_cases(findings), stands_for(findings)
    span = np.maximum(np.ptp(findings.project.roof.points[:, :2], axis=0), 1e-6)
    margin, gap, header, caption, footer = 44.0, 34.0, 132.0, 84.0, 64.0
    room = SHEET_WIDTH - 2.0 * margin - LEGEND
    columns = _columns(len(shown), float(span[1] / span[0]), room, gap)
    cell = (room - gap * (columns - 1)) / columns
    tall = float(np.clip(cell * span[1] / span[0], 120.0, 980.0))
    rows = math.ceil(len(shown) / columns)
    size = float(np.clip(cell / 26.0, 17.0, 25.0))
    titles = [
        wrap_text(f"{i + 1}  {findings.cases[i].case.name}", TITLE, cell - WIND, bold=True)[:2] for i in shown
    ]
    caption += 27.0 * (max((len(lines) for lines in titles), default=1) - 1)
    also = [wrap_text(turned_words(findings, turned[i]), NOTE, cell - WIND) for i in shown]
    caption += 23.0 * max((len(lines) for lines in also), default=0)
    height = header + rows * (caption + tall + gap) + footer
    height = max(height, header + 17.0 * 2.0 * (scale.count + 5) + footer)
    drawing = Drawing((SHEET_WIDTH, height))
    _header(drawing, findings, margin, units)
    pad = 10.0
    for n, index in enumerate(shown):
        left = margin + (n % columns) * (cell + gap)
        top = header + (n // columns) * (caption + tall + gap)
        _caption(drawing, findings, index, (titles[n], also[n]), (left, top), cell, units)
        box = (left + pad, top + caption, left + cell - pad, top + caption + tall)
        place = fit(findings.project.roof.points, box)
        frame = (left - 6.0, top + caption - 12.0, left + cell + 6.0, top + caption + tall + 0.6 * gap)
        draw_plan(drawing, findings, index, scale, place, frame, Look(size, False), units)
    draw_legend(drawing, scale, SHEET_WIDTH - margin - LEGEND + 36.0, header + 8.0, 21.0, units, 34.0, LINES)
    draw_scale_bar(drawing, place, margin, height - 26.0, 20.0, units)
    words = [style.CAUTION]
    if len(shown) < len(turned):
        words.insert(0, f"The first and {len(shown) - 1} cases with the largest pressure of {len(turned)}.")
    drawing.write(
        " ".join(words), SHEET_WIDTH - margin, height - 26.0, 18.0, color=style.MUTED, align="right"
    )
    return drawing


def shown_cases(findings: SnowFindings) -> list[int]:
    """Cases on the sheet: all that differ, or the first and those with the largest pressures."""
    order = sorted(stands_for(findings), key=lambda i: -findings.cases[i].largest)
    return sorted({0, *order[: SHOWN - 1]} if order else ())


def _columns(count: int, aspect: float, room: float, gap: float) -> int:
    """As many columns as make the sheet about as high as wide, three rows at least for many cases."""
    if count <= 2:
        return 1 if count == 1 or aspect < 0.35 else 2
    costs = {}
    for columns in range(2, min(count, MOST_COLUMNS) + 1):
        cell = (room - gap * (columns - 1)) / columns
        rows = math.ceil(count / columns)
        high = rows * (cell * aspect + 110.0)
        empty = rows * columns - count
        costs[columns] = abs(math.log(high / (0.62 * room))) + 0.25 * empty
    return min(costs, key=lambda c: costs[c])


def _header(drawing: Drawing, findings: SnowFindings, margin: float, units: UnitSystem) -> None:
    room = SHEET_WIDTH - 2.0 * margin
    name = findings.project.table.project.name
    drawing.line(np.array([[margin, 20.0], [SHEET_WIDTH - margin, 20.0]]), style.INK, 4.0)
    drawing.write(fit_text(name, 40.0, room, bold=True), margin, 54.0, 40.0, bold=True)
    words = fit_text(summary_words(findings, units), 24.0, room)
    drawing.write(words, margin, 98.0, 24.0, color=style.MUTED)


def summary_words(findings: SnowFindings, units: UnitSystem) -> str:
    """How many cases by which standard, and the largest pressure of all."""
    if not findings.cases:
        return "No snow case."
    standards = " and ".join(dict.fromkeys(case.case.standard for case in findings.cases))
    count = len(findings.cases)
    worst = max(range(count), key=lambda i: findings.cases[i].largest)
    case = findings.cases[worst]
    where = findings.project.roof.planes.name[case.largest_plane]
    return (
        f"{count} snow case{'' if count == 1 else 's'}, {standards}. Largest pressure "
        f"{quantity(case.largest, 'pressure', units)} on {where}: {case.case.name}."
    )


def _caption(
    drawing: Drawing,
    findings: SnowFindings,
    index: int,
    words: tuple[Sequence[str], Sequence[str]],
    corner: tuple[float, float],
    room: float,
    units: UnitSystem,
) -> None:
    """Name of a case over its numbers, the wind at the right."""
    (left, top), case, (lines, also) = corner, findings.cases[index], words
    drawing.line(np.array([[left, top], [left + room, top]]), style.HAIRLINE, 2.0)
    draw_wind(drawing, case.case.name, np.array([left + room - 0.5 * WIND, top + 32.0]), 17.0)
    for n, line in enumerate(lines):
        drawing.write(line, left, top + 24.0 + 27.0 * n, TITLE, bold=True)
    largest, mean = column([case.largest, case.mean], "pressure", units)
    numbers = (
        f"max {largest}, mean {mean} {units.label('pressure')}; total {quantity(case.total, 'force', units)}"
    )
    drawing.write(
        fit_text(numbers, NOTE, room - WIND),
        left,
        top + 51.0 + 27.0 * (len(lines) - 1),
        NOTE,
        color=style.MUTED,
    )
    for n, line in enumerate(also):
        drawing.write(line, left, top + 74.0 + 27.0 * (len(lines) - 1) + 23.0 * n, NOTE, color=style.MUTED)


def write_sheet(sheet: Drawing, path: Path) -> None:
    """Paint the sheet of all cases as PNG, whole or not at all."""
    image = paint(sheet)
    with atomic(path) as temporary:
        image.save(temporary, format="PNG")
