"""Planes with rows, unfolded: every clamp with its number, every row with its distances."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.analysis import Analysis
from roofmodel.project.placement import left_reach
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.picture.findings import called_clamp, clamp_utilization
from viewer.picture.labels import text_width
from viewer.picture.plan import clamp_marks
from viewer.picture.scene import plane_seams
from viewer.quantities import as_given, drawn, system

Array = NDArray[np.float64]

WIDTH, SIDE, TYPE = 760.0, 96.0, 10.5
TALLEST, HEAD, FOOT = 420.0, 40.0, 34.0
RING = 4.0  # from a clamp's mark to the ring around the governing one [px]
CLOSE = 45.0  # to a row above: less leaves no room for its numbers and a name below them [px]


@dataclass(frozen=True)
class _Sheet:
    """Place of a plane's (u, v) on the drawing."""

    low: Array
    scale: float
    left: float
    foot: float

    def at(self, uv: Array) -> Array:
        x = self.left + self.scale * (uv[..., 0] - self.low[0])
        return np.stack([x, self.foot - self.scale * (uv[..., 1] - self.low[1])], axis=-1)


def planes_with_rows(analysis: Analysis) -> list[int]:
    """Planes that carry rows, the one with the most used clamp first."""
    layout = analysis.project.layout
    use = np.nan_to_num(clamp_utilization(analysis), nan=np.inf)
    worst: dict[int, float] = {}
    for plane, value in zip(layout.row_plane[layout.clamp_row].tolist(), use.tolist(), strict=True):
        worst[plane] = max(worst.get(plane, 0.0), value)
    called = called_clamp(analysis)
    first = int(layout.row_plane[layout.clamp_row[called]]) if called >= 0 else -1
    return sorted(worst, key=lambda plane: (plane != first, -worst[plane]))


def rows_svg(analysis: Analysis, plane: int, units: UnitSystem | None = None) -> str:
    """One plane seen square to it from outside, eave below, to scale; lengths are true along the slope.

    Clamps carry their numbers, as many as there is room for; first, last and governing one always.
    """
    units = units or system(analysis.project.table.project.units)
    planes = analysis.project.roof.planes
    outline = planes.outline[plane]
    left, low, right, high = outline.bounds
    scale = min((WIDTH - 2.0 * SIDE) / (right - left), TALLEST / (high - low))
    foot = HEAD + 26.0 + scale * (high - low)
    sheet = _Sheet(np.array([left, low]), scale, 0.5 * (WIDTH - scale * (right - left)), foot)
    rings = [np.asarray(ring.coords)[:-1] for ring in (outline.exterior, *outline.interiors)]
    data = "".join(svg.path(sheet.at(ring), closed=True) for ring in rings)
    slope = drawn(float(planes.slope[plane]), "angle", units)
    title = f"Plane {planes.name[plane]}, {slope}: rows and clamps, lengths true up the slope"
    spacing = as_given(analysis.project.panel.seam_spacing, "size", units)
    parts = [
        svg.text(title, 20.0, 14.0, 13.0, bold=True),
        svg.text(
            f"Seen from outside, eave below. Seams every {spacing}. Clamp numbers from the left end.",
            20.0,
            30.0,
            12.0,
            color=style.MUTED,
        ),
        svg.element("path", d=data, fill=style.TINT, fill_rule="evenodd", stroke=style.INK, stroke_width=1.6),
        *_seams(analysis, plane, sheet),
    ]
    rows = np.flatnonzero(analysis.project.layout.row_plane == plane).tolist()
    parts += _heights(analysis, plane, rows, sheet, units)
    for row in rows:
        parts += _row(analysis, row, sheet, units)
    called = called_clamp(analysis)
    if called >= 0 and analysis.project.layout.clamp_row[called] in rows:  # in the head, off rows and numbers
        use = style.utilization_text(float(clamp_utilization(analysis)[called]))
        words = f"governs: {analysis.project.layout.clamp_name[called]}, {use}"
        x = WIDTH - 20.0 - 1.15 * text_width(words, TYPE, bold=True)  # other fonts are wider
        parts += [_ring(x - 12.0, 10.5, 5.0), svg.text(words, x, 14.0, TYPE, bold=True)]
    width = drawn(right - left, "length", units)
    ends = sheet.at(np.array([[left, low], [right, low]])) + np.array([0.0, 18.0])
    parts += _measure(ends[0], ends[1], width, 12.0)
    return svg.document(WIDTH, foot + FOOT, title, parts)


def _seams(analysis: Analysis, plane: int, sheet: _Sheet) -> list[str]:
    planes, spacing = analysis.project.roof.planes, analysis.project.panel.seam_spacing
    every = max(int(np.ceil(5.0 / (spacing * sheet.scale))), 1)
    seams = plane_seams(analysis.project, plane, every)
    flat = sheet.at(planes.to_plane(plane, seams.reshape(-1, 3))).reshape(-1, 2, 2)
    data = "".join(svg.path(line) for line in flat)
    return [svg.element("path", d=data, stroke=style.FAINT, stroke_width=0.4, fill="none")]


def _row(analysis: Analysis, row: int, sheet: _Sheet, units: UnitSystem) -> list[str]:
    """Rail, clamps and their numbers, name and length."""
    layout, called = analysis.project.layout, called_clamp(analysis)
    rail = sheet.at(np.stack([layout.row_start[row], layout.row_end[row]]))
    on = np.flatnonzero(layout.clamp_row == row)
    points = sheet.at(layout.clamp_uv[on])
    apart = float(np.linalg.norm(np.diff(points, axis=0), axis=1).min(initial=40.0))
    radius = float(np.clip(0.36 * apart, 1.2, 4.4))
    parts = [svg.line(rail, style.INK, 1.6)]
    parts += clamp_marks(points, clamp_utilization(analysis)[on], radius)
    size = 8.5
    step = max(int(np.ceil(1.05 * size / apart)), 1)
    shown = {0, len(on) - 1, *range(0, len(on) - step, step)}
    worst = int(np.flatnonzero(on == called)[0]) if called in on else -1
    shown = {k for k in shown if worst < 0 or abs(k - worst) >= step} | ({worst} if worst >= 0 else set())
    edge, flipped = _edge(analysis, int(layout.row_plane[row]), sheet), list[float]()
    over_it = (layout.row_start[:, 1] - layout.row_start[row, 1]) * sheet.scale
    close = bool(np.any((layout.row_plane == layout.row_plane[row]) & (over_it > 1.0) & (over_it < CLOSE)))
    for k in sorted(shown):
        number = layout.clamp_name[on[k]].removeprefix(f"{layout.row_name[row]}-")
        x, y = points[k].tolist()
        bold = k == worst
        off = radius + (RING + 3.5 if bold else 3.0)  # off its ring
        long, half = text_width(number, size, bold=bold), 0.4 * size
        crossed = [
            bool(edge.intersects(shapely.box(x - half, y + a, x + half, y + b)))
            for a, b in ((off, off + long), (-off - long, -off))
        ]
        over = crossed[0] and not crossed[1] and not close  # at a slanted edge
        flipped += [x] if over else []
        turn = f"translate({svg.number(x)} {svg.number(y + (-off if over else off))}) rotate(90)"
        side = "end" if over else "start"
        words = svg.text(number, 0.0, 0.34 * size, size, bold=bold, halo=True, anchor=side, transform=turn)
        parts.append(words)
    splices = layout.splice_s[layout.splice_row == row] / layout.row_length[row]
    for share in splices.tolist():
        x, y = (rail[0] + share * (rail[1] - rail[0])).tolist()
        parts.append(svg.line(np.array([[x, y - 6.0], [x, y + 6.0]]), style.ACCENT, 2.2))
    length = drawn(float(layout.row_length[row]), "length", units)
    words = f"{layout.row_name[row]}: {length}, {len(on)} clamps"
    if len(splices):
        words += f", {len(splices)} splice{'s' if len(splices) > 1 else ''}"
    long, above = text_width(words, TYPE, bold=True), float(rail[0, 1]) - radius - RING - 5.0
    free, open_right = _free(analysis, row, sheet, float(rail[1, 0]) + radius + long + 10.0)
    x, y, anchor = float(free.mean()), above, "middle"
    if np.ptp(free) < long < WIDTH - free[0] - 20.0:  # keeps off the dimension and the leader at the left
        x, anchor = float(free[0]) + 12.0, "start"
    if np.ptp(free) < min(long, np.ptp(rail[:, 0])) and open_right:
        x, y, anchor = float(rail[1, 0]) + radius + 10.0, float(rail[1, 1]) + 0.34 * TYPE, "start"
    left = {"middle": x - 0.5 * long, "start": x}[anchor]
    if anchor == "middle" and any(left - TYPE < at < left + long + TYPE for at in flipped):
        y -= TYPE  # over the numbers
    outline = _edge(analysis, int(layout.row_plane[row]), sheet, whole=True)
    if outline.intersects(shapely.box(left, y - 0.75 * TYPE, left + long, y + 1.0)):
        parts += _beside(words, rail[1], radius)
    else:
        parts.append(svg.text(words, x, y, TYPE, anchor=anchor, bold=True, halo=True))
    if worst >= 0:
        x, y = points[worst].tolist()
        parts.append(_ring(x, y, radius + RING))
    return parts


def _beside(words: str, tip: Array, radius: float) -> list[str]:
    """Name in the right margin in two lines, with a leader from the rail's right end."""
    x, y = WIDTH - SIDE + 12.0, float(tip[1])
    name, _, rest = words.partition(", ")
    return [
        svg.line(np.array([[float(tip[0]) + radius + 2.0, y], [x - 3.0, y]]), style.FAINT, 0.6),
        svg.text(name, x, y - 0.5, 0.86 * TYPE, bold=True, halo=True),
        svg.text(rest, x, y + 8.5, 0.8 * TYPE, halo=True),
    ]


def _edge(analysis: Analysis, plane: int, sheet: _Sheet, *, whole: bool = False) -> BaseGeometry:
    """Slanted edges of a plane on the drawing, or its whole outline."""
    outline = analysis.project.roof.planes.outline[plane]
    rings = [sheet.at(np.asarray(ring.coords)) for ring in (outline.exterior, *outline.interiors)]
    sides = np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
    slanted = np.abs(sides[:, 1, 1] - sides[:, 0, 1]) > 0.02 * np.abs(sides[:, 1, 0] - sides[:, 0, 0])
    return shapely.union_all(shapely.linestrings(sides if whole else sides[slanted]))


def _free(analysis: Analysis, row: int, sheet: _Sheet, reach: float) -> tuple[Array, bool]:
    """Longest part (2,) of a rail with no row close above, whose numbers hang down; if its right is free.

    Room at the right is looked at up to `reach`, of the drawing too.
    """
    layout = analysis.project.layout
    start, end = (sheet.at(tips) for tips in (layout.row_start, layout.row_end))
    up, left, right = start[:, 1], start[:, 0], end[:, 0]
    same = (layout.row_plane == layout.row_plane[row]) & (np.arange(len(up)) != row)
    over = up[row] - up
    near = same & (over > 1.0) & (over < CLOSE)
    bounds = np.clip(
        np.concatenate([[left[row], right[row]], left[near], right[near]]), left[row], right[row]
    )
    cuts = np.unique(bounds)
    middle = 0.5 * (cuts[1:] + cuts[:-1])
    taken = ((middle[:, None] > left[near]) & (middle[:, None] < right[near])).any(axis=1)
    longest = int(np.argmax(np.where(taken, 0.0, np.diff(cuts))))
    beyond = same & (np.abs(over) < TYPE) & (right > right[row]) & (left < reach)
    part = cuts[:1].repeat(2) if taken.all() else cuts[longest : longest + 2]
    return part, bool(reach < WIDTH - 20.0 and not beyond.any())


def _ring(x: float, y: float, radius: float) -> str:
    return svg.element("circle", cx=x, cy=y, r=radius, fill="none", stroke=style.INK, stroke_width=1.6)


def _heights(analysis: Analysis, plane: int, rows: list[int], sheet: _Sheet, units: UnitSystem) -> list[str]:
    """Distances up the slope from the plane's lowest edge to the rows, row to row, at the left."""
    layout, outline = analysis.project.layout, analysis.project.roof.planes.outline[plane]
    left, low, _, high = outline.bounds
    parts: list[str] = []
    level = [r for r in rows if abs(layout.row_start[r, 1] - layout.row_end[r, 1]) < 0.01]
    ups = np.unique(np.round([low, high, *(layout.row_start[r, 1] for r in level)], 4))
    x = float(sheet.at(np.array([left, low]))[0]) - 26.0
    y = sheet.at(np.stack([np.full(len(ups), left), ups], axis=1))[:, 1]
    for row in level:
        at = sheet.at(layout.row_start[row])
        parts.append(svg.line(np.array([[x - 4.0, at[1]], [at[0] - 4.0, at[1]]]), style.FAINT, 0.6))
    for a, b, value in zip(y[:-1], y[1:], np.diff(ups), strict=True):
        words = drawn(float(value), "length", units)
        parts += _measure(np.array([x, a]), np.array([x, b]), words, 0.0)
    for row in level:
        parts += _start(analysis, row, sheet, units)
    return parts


def _start(analysis: Analysis, row: int, sheet: _Sheet, units: UnitSystem) -> list[str]:
    """From the plane's left end at the row's height to the rail, as `start` counts: over dormers too.

    Its words stand where no other row runs.
    """
    layout, roof = analysis.project.layout, analysis.project.roof
    start, reach = layout.row_start[row], left_reach(roof, layout, row)
    if reach < 0.02:
        return []
    beside = np.flatnonzero(
        (layout.row_plane == layout.row_plane[row])
        & (np.abs(layout.row_start[:, 1] - start[1]) * sheet.scale < 24.0)
        & (layout.row_start[:, 0] < start[0])
    )
    over = 27.0 if len(beside) else 9.0  # clear of their names
    a, b = sheet.at(np.stack([start - [reach, 0.0], start])) - np.array([0.0, over])
    bounds = np.concatenate([layout.row_start[beside, 0], layout.row_end[beside, 0]])
    cuts = np.clip(np.sort(np.append(bounds, [start[0] - reach, start[0]])), start[0] - reach, start[0])
    middle = 0.5 * (cuts[1:] + cuts[:-1])
    taken = (
        (middle[:, None] > layout.row_start[beside, 0]) & (middle[:, None] < layout.row_end[beside, 0])
    ).any(axis=1)
    free = int(np.argmax(np.where(taken, 0.0, np.diff(cuts))))
    x = float(sheet.at(np.array([middle[free], start[1]]))[0])
    words = drawn(reach, "length", units)
    if sheet.scale * reach < text_width(words, TYPE) + 6.0:  # short: above the rail's name
        at = (float(b[0]) + 5.0, float(a[1]) - 16.0)
        return [*_measure(a, b, "", 0.0), svg.text(words, *at, TYPE, halo=True)]
    return [*_measure(a, b, "", 0.0), svg.text(words, x, a[1] - 5.0, TYPE, anchor="middle", halo=True)]


def _measure(a: Array, b: Array, words: str, below: float) -> list[str]:
    """A level dimension with its words below (or above) it, or an upright one with them at its left."""
    tick = np.array([3.0, -3.0])
    parts = [svg.line(np.stack([a, b]), style.MUTED, 0.8)]
    parts += [svg.line(np.stack([p - tick, p + tick]), style.INK, 1.1) for p in (a, b)]
    if not words:
        return parts
    x, y = (0.5 * (a + b)).tolist()
    if abs(a[1] - b[1]) < 1e-6:
        return [*parts, svg.text(words, x, y + below, TYPE, anchor="middle", halo=True)]
    return [*parts, svg.text(words, x - 6.0, y + 0.34 * TYPE, TYPE, anchor="end", halo=True)]
