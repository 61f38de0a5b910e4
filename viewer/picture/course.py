"""Clamps on plan by what became of them, alone and as an animation."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, affinity

from roofmodel.project.load import Project
from viewer import style
from viewer.files import atomic
from viewer.quantities import system
from viewer.snow.drawing import Drawing, paint

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

STANDS, GAVE_WAY, UNKNOWN, NEVER = range(4)
COLORS = ("#FFFFFF", "#B0282E", style.FAINT, style.INK)
WORDS = ("stands", "gave way", "unknown", "never there")
TYPE = 16.0
PARTED, BEFORE, BENT = "parted", "before", "bent"
SPLICES = {PARTED: "splice that parted", BEFORE: "parted before (old break)", BENT: "splice bent"}
SIZE = (520.0, 330.0)  # largest of one plan
FRAMES, EACH, HOLD = 40, 110, 12  # most of an animation; time of one [ms]; times that the last stands


def plan_scale(project: Project) -> tuple[Array, float, float]:
    """Lower left corner of the roof on plan [m], pixels for each meter, and its height on the sheet [px]."""
    bounds = np.array([outline.bounds for outline in _outlines(project)])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    scale = float(min(SIZE[0] / (high[0] - low[0]), SIZE[1] / (high[1] - low[1])))
    return low, scale, scale * float(high[1] - low[1])


def _outlines(project: Project) -> list[Polygon]:
    planes = project.roof.planes
    rings = [np.asarray(outline.exterior.coords) for outline in planes.outline]
    return [Polygon(planes.to_world(plane, ring)[:, :2]) for plane, ring in enumerate(rings)]


def draw_clamps(
    drawing: Drawing,
    project: Project,
    corner: tuple[float, float],
    state: IntArray,
    title: str,
    order: IntArray | None = None,
    splices: Sequence[tuple[int, str]] = (),
    *,
    numbers: IntArray | None = None,
    flawed: NDArray[np.bool_] | None = None,
    room: float = 24.0,
) -> None:
    """Roof and clamps on plan, its title at the corner, `room` above it [px].

    Parameters
    ----------
    order, numbers : (n,) int
        Clamps that gave way in order, and the number of each; 1 to n by default.
    splices : sequence of (int, str)
        Clamp next to each splice that is marked across the rail, and the key of `SPLICES`.
    flawed : (c,) bool
        Clamps with a dot in their mark.
    """
    layout, planes = project.layout, project.roof.planes
    low, scale, tall = plan_scale(project)
    left, floor = corner[0], corner[1] + room + tall

    def place(xy: Array) -> Array:
        across = left + scale * (xy[..., 0] - low[0])
        return np.stack([across, floor - scale * (xy[..., 1] - low[1])], axis=-1)

    drawing.write(title, corner[0], corner[1], TYPE, bold=True)
    move = [scale, 0.0, 0.0, -scale, left - scale * low[0], floor + scale * low[1]]
    for outline in _outlines(project):
        drawing.area(affinity.affine_transform(outline, move), style.TINT, style.MUTED, 1.2)
    ends = [planes.to_world(layout.row_plane, end) for end in (layout.row_start, layout.row_end)]
    for row in place(np.stack(ends, axis=1)):
        drawing.line(row, style.MUTED, 2.0)
    at = place(planes.to_world(layout.row_plane[layout.clamp_row], layout.clamp_uv))
    apart = np.linalg.norm(np.diff(at, axis=0), axis=1) if len(at) > 1 else np.array([20.0])
    radius = float(np.clip(0.42 * np.median(apart), 2.2, 8.0))
    dots = np.zeros(len(at), dtype=bool) if flawed is None else flawed
    for (x, y), one, dot in zip(at, state.tolist(), dots.tolist(), strict=True):
        drawing.circle(float(x), float(y), radius, COLORS[one], style.INK, 1.0)
        if dot:
            _dot(drawing, float(x), float(y), radius, one)
    for clamp, kind in splices:
        row = layout.clamp_row[clamp]
        own = np.flatnonzero(layout.splice_row == row)
        s = layout.splice_s[own[np.abs(layout.splice_s[own] - layout.clamp_s[clamp]).argmin()]]
        start, end = (place(one[row]) for one in ends)
        middle, way = start + (end - start) * s / layout.row_length[row], (end - start)
        _splice(drawing, middle, 2.2 * radius * way / np.linalg.norm(way), kind)
    if order is not None and len(order):
        off = (place(ends[1]) - place(ends[0]))[:, ::-1] * (1.0, -1.0)
        off /= np.maximum(np.linalg.norm(off, axis=1, keepdims=True), 1e-9)
        shown = np.arange(1, len(order) + 1) if numbers is None else numbers
        _write_numbers(drawing, at, order, shown, off[layout.clamp_row[order]], radius)


def _dot(drawing: Drawing, x: float, y: float, radius: float, state: int) -> None:
    color = style.INK if state in (STANDS, UNKNOWN) else COLORS[STANDS]
    drawing.circle(x, y, 0.45 * radius, color, color, 0.5)


def _splice(drawing: Drawing, middle: Array, way: Array, kind: str) -> None:
    """A bar across the rail, in dashes for a bent one; a cross for one that had parted before. [px]."""
    across = np.array([-way[1], way[0]])
    arms = (0.75 * (across + way), 0.75 * (across - way)) if kind == BEFORE else (across,)
    for arm in arms:
        dash = (4.0, 3.0) if kind == BENT else None
        drawing.line(np.stack([middle - arm, middle + arm]), style.INK, 3.0, dash)


def _write_numbers(
    drawing: Drawing, marks: Array, order: IntArray, numbers: IntArray, off: Array, radius: float
) -> None:
    """Numbers beside some of the marks (c, 2) [px], square to their rows (n, 2), on two levels on both sides.

    Where there is no room some are left out, the first and the last as the last ones.
    """
    size, at = 0.8 * TYPE, marks[order]
    taken: list[Array] = []
    for number in dict.fromkeys([0, len(at) - 1, *range(len(at))]):
        half = np.array([0.3 * size * len(str(numbers[number])) + 2.0, 0.5 * size])
        for level in (1.0, -1.0, 2.0, -2.0):
            away = np.sign(level) * (radius + 12.0 + (abs(level) - 1.0) * (size + 2.0))
            middle = at[number] + away * off[number]
            free = (np.abs(middle - marks) >= half + radius).any(axis=1).all()
            if free and all((np.abs(middle - other[:2]) >= half + other[2:]).any() for other in taken):
                taken.append(np.concatenate([middle, half]))
                if abs(level) > 1.0:
                    from_, to = np.sign(level) * radius, away - np.sign(level) * 0.6 * size
                    line = at[number] + np.array([[from_], [to]]) * off[number]
                    drawing.line(line, style.MUTED, 0.8)
                drawing.write(
                    str(numbers[number]), float(middle[0]), float(middle[1]), size, align="center", halo=True
                )
                break


def draw_scale(drawing: Drawing, project: Project, x: float, y: float) -> None:
    """An arrow to the north, up the sheet, and left of it a bar of round length."""
    units = system(project.table.project.units)
    meter = units.convert(1.0, "length")
    scale = plan_scale(project)[1] / meter  # [px] for each of the user's units
    length = style.scale_top(110.0 / scale)
    right = x - 40.0
    left = right - length * scale
    drawing.line(np.array([[left, y], [left, y + 8.0], [right, y + 8.0], [right, y]]), style.INK, 2.0)
    words = f"{length:g} {units.label('length')}"
    drawing.write(words, 0.5 * (left + right), y - 6.0, 0.9 * TYPE, bold=True, align="center")
    drawing.arrow(np.array([x, y + 18.0]), np.array([x, y - 8.0]), style.INK, 2.0)
    drawing.write("N", x + 10.0, y - 2.0, 0.9 * TYPE, bold=True)


def draw_key(drawing: Drawing, x: float, y: float, states: Sequence[int] = range(4)) -> None:
    """What the marks mean."""
    for i, one in enumerate(states):
        drawing.circle(x + 170.0 * i + 8.0, y, 7.0, COLORS[one], style.INK, 1.4)
        drawing.write(WORDS[one], x + 170.0 * i + 24.0, y, 0.95 * TYPE)


def draw_splice_key(
    drawing: Drawing, x: float, y: float, kinds: Sequence[str], flaw: str | None = None
) -> None:
    """What the marks across the rails mean, and the dot."""
    for kind in kinds:
        _splice(drawing, np.array([x + 8.0, y]), np.array([9.0, 0.0]), kind)
        drawing.write(SPLICES[kind], x + 24.0, y, 0.95 * TYPE)
        x += 210.0
    if flaw is not None:
        drawing.circle(x + 8.0, y, 7.0, COLORS[STANDS], style.INK, 1.4)
        _dot(drawing, x + 8.0, y, 7.0, STANDS)
        drawing.write(flaw, x + 24.0, y, 0.95 * TYPE)


def write_course(
    project: Project,
    order: IntArray,
    never: NDArray[np.bool_],
    title: str,
    note: str,
    path: Path,
    parted: Sequence[tuple[int, int]] = (),
) -> None:
    """An animation: clamps give way one after another; the title gets the number of each.

    `parted` are clamps next to splices that part, each with how many clamps have given way before; -1 for
    one that had parted before all.
    """
    from PIL import Image

    steps = np.unique(np.round(np.linspace(0, len(order), min(len(order), FRAMES) + 1)).astype(int))
    frames = []
    when = [before for _, before in parted]
    kinds = [PARTED] * (max(when, default=-1) >= 0) + [BEFORE] * (min(when, default=0) < 0)
    for step in steps:  # at most `FRAMES`
        state = np.where(never, NEVER, STANDS)
        state[order[:step]] = GAVE_WAY
        line = 28.0 if kinds else 0.0
        sheet = Drawing((SIZE[0] + 80.0, plan_scale(project)[2] + 160.0 + line))
        open_ = [
            (clamp, PARTED if before >= 0 else BEFORE)
            for clamp, before in parted
            if before < step or step == len(order)
        ]
        torn = sum(kind == PARTED for _, kind in open_)
        words = f"{title}: {step} of {len(order)} have given way"
        if torn:
            words += f", {torn} splice{'s' if torn > 1 else ''} parted"
        draw_clamps(sheet, project, (40.0, 34.0), state, words, splices=open_)
        draw_scale(sheet, project, sheet.size[0] - 30.0, sheet.size[1] - 44.0)
        draw_splice_key(sheet, 40.0, sheet.size[1] - 84.0, kinds)
        marks = [STANDS, GAVE_WAY, NEVER][: 3 if never.any() else 2]
        draw_key(sheet, 40.0, sheet.size[1] - 84.0 - line, marks)
        sheet.write(note, 40.0, sheet.size[1] - 22.0, 13.0)
        # The marks are few pixels of the picture, and their colors must not be lost.
        frames.append(paint(sheet).quantize(64, method=Image.Quantize.MAXCOVERAGE))
    times = [EACH * HOLD // 2, *([EACH] * (len(frames) - 2)), EACH * HOLD][: len(frames)]
    with atomic(path) as temporary:
        frames[0].save(
            temporary, format="GIF", save_all=True, append_images=frames[1:], loop=0, duration=times
        )
