"""Dimensions of plan.dxf: width of a plane, heights of its rows, where their rails begin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roofmodel.project.load import Project
from roofmodel.project.placement import left_reach
from viewer.handover.pen import CLAMP, LETTER, Sheet
from viewer.handover.row_lines import AT_END, eave_corner, foot_below

Array = NDArray[np.float64]

SAME = 3e-3  # heights that differ by less are one measure [m]
LEVEL = 3.0  # from one line of dimensions to the next, over the height of text [-]
WORDS = 2.0  # of a dimension, out from its line, over the height of text [-]
LANE = 3.6  # below the plane, between the numbers of seams and its width, over the height of text [-]


@dataclass(frozen=True)
class _Height:
    """A row's height over the edge below it: both ends (2,), how far out its line must be."""

    foot: Array
    place: Array
    out: float
    left: bool

    def same(self, other: _Height) -> bool:
        """Whether both are one measure: of rows in one line, over one edge."""
        return bool(
            np.abs(np.array([self.foot[1] - other.foot[1], self.place[1] - other.place[1]])).max() < SAME
        )


def dimension_style(drawing: Any, sheet: Sheet) -> None:
    """Dimensions with oblique ticks and their words above the line."""
    if sheet.style in drawing.dimstyles:
        return
    look, size = drawing.dimstyles.new(sheet.style), sheet.text
    look.dxf.dimtxt, look.dxf.dimtsz, look.dxf.dimasz = size, 0.5 * size, 0.5 * size
    look.dxf.dimexo, look.dxf.dimexe, look.dxf.dimgap = 0.4 * size, 0.5 * size, 0.35 * size
    look.dxf.dimtad, look.dxf.dimdec, look.dxf.dimscale = 1, 0, 1.0
    look.dxf.dimtih, look.dxf.dimtoh = 0, 0
    look.dxf.dimclrd, look.dxf.dimclre, look.dxf.dimclrt = 8, 8, 7
    look.dxf.dimtxsty = "PLAIN"


def measure_rows(sheet: Sheet, project: Project, plane: int, shift: Array) -> Array:
    """Heights of the rows of a plane over its lower edge, each once, and where their rails begin.

    How far the heights stand out of the plane at its left and right, (2,), is returned. [m]

    A rail that begins right of another one in the same line is measured below the plane; of a third one the
    list on the sheet says it.
    """
    layout, gap = project.layout, sheet.text * sheet.unit
    rows = np.flatnonzero(layout.row_plane == plane)
    longest = max(len(layout.row_name[row]) for row in rows.tolist())
    rising = rows[np.argsort(layout.row_start[rows, 1])].tolist()
    beside = _measure_heights(sheet, project, rising, shift, longest)
    lowest = project.roof.planes.outline[plane].bounds[1]
    below = -0.5 * CLAMP * project.panel.seam_spacing - 1.8 * gap  # of the rail, clear of its clamps
    begun: list[float] = []  # heights of lines in which a rail is measured already
    free = True
    for row in rows[np.argsort(layout.row_start[rows, 0], kind="stable")].tolist():
        start, end = layout.row_start[row], layout.row_end[row]
        way = (end - start) / np.linalg.norm(end - start)
        reach = left_reach(project.roof, layout, row)
        corner = eave_corner(project, row)
        if corner is not None:
            dimension(sheet, start + shift, np.array([corner[0], start[1]]) + shift, below)
        if reach <= AT_END:
            begun.append(float(start[1]))
        elif all(abs(up - start[1]) > LEVEL * gap for up in begun):
            begun.append(float(start[1]))
            dimension(sheet, start - reach * way + shift, start + shift, below)
        elif free:
            free = False
            dimension(sheet, start - reach * way + shift, start + shift, lowest - start[1] - LANE * gap)
    return beside


def _measure_heights(sheet: Sheet, project: Project, rows: list[int], shift: Array, longest: int) -> Array:
    """Heights of rows over the lower edge, the lowest row first and nearest; names have `longest` letters."""
    gap, beside = sheet.text * sheet.unit, np.zeros(2)
    told: list[_Height] = []
    for one in (height for row in rows for height in _heights(project, row)):
        if any(one.same(other) for other in told):
            continue
        rank = sum(one.left is other.left for other in told)
        told.append(one)
        beyond = 3.0 if one.left else max(3.0, 2.6 + 0.9 * LETTER * longest)  # names stand at right ends
        away = one.out + project.panel.seam_spacing + (beyond + LEVEL * rank) * gap
        dimension(sheet, one.foot + shift, one.place + shift, away if one.left else -away)
        side = 0 if one.left else 1
        beside[side] = max(beside[side], away - one.out + WORDS * gap)
    return beside


def _heights(project: Project, row: int) -> list[_Height]:
    """Heights of a row's ends over a level edge below; one says it all where both are the same.

    Over the lowest edge of the plane where none lies straight below: a valley says nothing of the height.
    """
    layout, outline = project.layout, project.roof.planes.outline[project.layout.row_plane[row]]
    start, end = layout.row_start[row], layout.row_end[row]
    low, lowest, high, _ = outline.bounds
    corner = eave_corner(project, row)
    if corner is not None:  # valleys at both ends: up from the eave's own end
        above = np.array([corner[0], start[1]])
        left = bool(above[0] - low <= high - above[0])
        return [_Height(corner, above, float(above[0] - low), left)]
    length = float(np.linalg.norm(end - start))
    inside = min(0.3, 0.2 * length) * (end - start) / length  # a rake may lean over the end
    found, along = [], []
    places = ((start + inside, inside, start[0] - low), (end - inside, -inside, high - end[0]))
    for place, step, out in places:
        foot, next_foot = foot_below(outline, place), foot_below(outline, place + 0.2 * step)
        if foot is not None and np.linalg.norm(foot - place) > 1e-3:
            found.append((foot, place, float(out)))
            along.append(next_foot is not None and np.allclose(next_foot - foot, 0.2 * step, atol=1e-3))
    found = [one for one, level in zip(found, along, strict=True) if level]
    if not found:
        found = [(np.array([place[0], lowest]), place, float(out)) for place, _, out in places]
    heights = [float(np.linalg.norm(place - foot)) for foot, place, _ in found]
    if len(found) == 2 and abs(heights[0] - heights[1]) < SAME:
        found = [min(found, key=lambda one: one[2])]
    return [
        _Height(foot, place, out, n == 0 and bool(place[0] - low <= high - place[0]))
        for n, (foot, place, out) in enumerate(found)
    ]


def dimension(sheet: Sheet, a: Array, b: Array, away: float) -> None:
    """A dimension of a -> b, its line at a distance to the left of it; short ones are told beyond b. [m]."""
    length = float(np.linalg.norm(b - a))
    words = "<>" if sheet.system == "SI" else sheet.say(length)
    drawn = sheet.space.add_aligned_dim(
        p1=(a / sheet.unit).tolist(),
        p2=(b / sheet.unit).tolist(),
        distance=away / sheet.unit,
        text=words,
        dimstyle=sheet.style,
        dxfattribs={"layer": "DIMENSIONS"},
    )
    wide = 0.75 * len(sheet.say(length)) * sheet.text * sheet.unit
    if length < wide + 1.5 * sheet.text * sheet.unit:  # in line with it, clear of what it measures
        drawn.shift_text((0.5 * (length + wide) / sheet.unit + 0.8 * sheet.text), -0.85 * sheet.text)
    drawn.render()
