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
from viewer.picture.drawing import Drawing, paint
from viewer.quantities import system

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

STANDS, GAVE_WAY, UNKNOWN, NEVER = range(4)
COLORS = ("#FFFFFF", "#B0282E", style.FAINT, style.INK)
WORDS = ("stands", "gave way", "unknown", "never there")
TYPE = 16.0
PARTED, BEFORE, BARE, BENT = "parted", "before", "bare", "bent"
SPLICES = {
    PARTED: "splice that parted",
    BEFORE: "parted before (old break)",
    BARE: "splice never screwed",
    BENT: "splice bent",
}
SIZE = (520.0, 330.0)  # largest of one plan
ABOVE = 24.0  # a plan below its title [px]
NAMED = 6  # most boxes on a roof that are named
LOST = 3.5  # least radius of the mark of a clamp that does not stand [px]
APART, WIDEST = 9.0, 1040.0  # marks of an animation, at least where its plan is not wider than this [px]
FRAMES, EACH, HOLD = 40, 110, 12  # most of an animation; time of one [ms]; times that the last stands


def plan_scale(project: Project, size: tuple[float, float] = SIZE) -> tuple[Array, float, float]:
    """Lower left corner of the roof on plan [m], pixels for each meter, and its height on the sheet [px]."""
    bounds = np.array([outline.bounds for outline in _outlines(project)])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    scale = float(min(size[0] / (high[0] - low[0]), size[1] / (high[1] - low[1])))
    return low, scale, scale * float(high[1] - low[1])


def _outlines(project: Project) -> list[Polygon]:
    planes = project.roof.planes
    rings = [np.asarray(outline.exterior.coords) for outline in planes.outline]
    return [Polygon(planes.to_world(plane, ring)[:, :2]) for plane, ring in enumerate(rings)]


def _standing(project: Project) -> list[tuple[Array, str]]:
    """Corners on plan (k, 2) of boxes on the roof, about which snow drifts, and their names."""
    known = project.roof.obstacles
    return [
        (known.start[known.face == one, :2], known.name[one])
        for one in np.flatnonzero(~known.parapet).tolist()
        if (known.face == one).sum() > 2
    ]


def draw_clamps(
    drawing: Drawing,
    project: Project,
    corner: tuple[float, float],
    state: IntArray,
    title: str,
    splices: Sequence[tuple[int, str]] = (),
    *,
    flawed: NDArray[np.bool_] | None = None,
    size: tuple[float, float] = SIZE,
) -> None:
    """Roof, boxes on it and clamps on plan, its title at the corner; clamps that do not stand on top.

    Parameters
    ----------
    splices : sequence of (int, str)
        Clamp next to each splice that is marked across the rail, and the key of `SPLICES`.
    flawed : (c,) bool
        Clamps with a dot in their mark.
    size : (float, float)
        Largest that the plan can be. [px]
    """
    layout, planes = project.layout, project.roof.planes
    low, scale, tall = plan_scale(project, size)
    left, floor = corner[0], corner[1] + ABOVE + tall

    def place(xy: Array) -> Array:
        across = left + scale * (xy[..., 0] - low[0])
        return np.stack([across, floor - scale * (xy[..., 1] - low[1])], axis=-1)

    drawing.write(title, corner[0], corner[1], TYPE, bold=True)
    move = [scale, 0.0, 0.0, -scale, left - scale * low[0], floor + scale * low[1]]
    for outline in _outlines(project):
        drawing.area(affinity.affine_transform(outline, move), style.TINT, style.MUTED, 1.2)
    boxes = _standing(project)
    for ring, name in boxes:
        corners = place(ring)
        drawing.area(Polygon(corners), style.STANDING_TOP, style.INK, 1.2)
        if len(boxes) <= NAMED:
            x, top = float(corners[:, 0].mean()), float(corners[:, 1].min()) - 8.0
            drawing.write(name, x, top, 0.8 * TYPE, align="center")
    ends = [planes.to_world(layout.row_plane, end) for end in (layout.row_start, layout.row_end)]
    for row in place(np.stack(ends, axis=1)):
        drawing.line(row, style.MUTED, 2.0)
    at = place(planes.to_world(layout.row_plane[layout.clamp_row], layout.clamp_uv))
    apart = np.linalg.norm(np.diff(at, axis=0), axis=1) if len(at) > 1 else np.array([20.0])
    radius = float(np.clip(0.42 * np.median(apart), 2.2, 8.0))
    dots = np.zeros(len(at), dtype=bool) if flawed is None else flawed
    for c in np.argsort(state != STANDS, kind="stable").tolist():
        wide = radius if state[c] == STANDS else max(radius, LOST)
        draw_clamp(drawing, at[c], wide, int(state[c]), dot=bool(dots[c]))
    for clamp, kind in splices:
        row = layout.clamp_row[clamp]
        own = np.flatnonzero(layout.splice_row == row)
        s = layout.splice_s[own[np.abs(layout.splice_s[own] - layout.clamp_s[clamp]).argmin()]]
        start, end = (place(one[row]) for one in ends)
        middle, way = start + (end - start) * s / layout.row_length[row], (end - start)
        draw_splice(drawing, middle, 2.2 * radius * way / np.linalg.norm(way), kind)


def draw_clamp(drawing: Drawing, at: Array, radius: float, state: int, *, dot: bool = False) -> None:
    """The mark of a clamp by what became of it, with a dot that leaves its color to be seen. [px]."""
    x, y = float(at[0]), float(at[1])
    drawing.circle(x, y, radius, COLORS[state], style.INK, 1.0)
    if dot:
        color, share = (style.INK, 0.45) if state in (STANDS, UNKNOWN) else (COLORS[STANDS], 0.3)
        drawing.circle(x, y, share * radius, color, color, 0.0)


def draw_splice(drawing: Drawing, middle: Array, way: Array, kind: str) -> None:
    """A bar across the rail, in dashes for a bent one; a cross for one that had parted before. [px].

    Two bars side by side for one that was never screwed.
    """
    across = np.array([-way[1], way[0]])
    arms = (0.75 * (across + way), 0.75 * (across - way)) if kind == BEFORE else (across,)
    for place in (middle - 0.35 * way, middle + 0.35 * way) if kind == BARE else (middle,):
        for arm in arms:
            dash = (4.0, 3.0) if kind == BENT else None
            drawing.line(np.stack([place - arm, place + arm]), style.INK, 3.0, dash)


def draw_scale(
    drawing: Drawing, project: Project, x: float, y: float, size: tuple[float, float] = SIZE
) -> None:
    """An arrow to the north, up the sheet, and left of it a bar of round length."""
    units = system(project.table.project.units)
    meter = units.convert(1.0, "length")
    scale = plan_scale(project, size)[1] / meter  # [px] for each of the user's units
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
    """What the marks across the rails mean, and the dot: dark in a clamp that stands, light in a lost one."""
    for kind in kinds:
        draw_splice(drawing, np.array([x + 8.0, y]), np.array([9.0, 0.0]), kind)
        drawing.write(SPLICES[kind], x + 24.0, y, 0.95 * TYPE)
        x += 210.0
    if flaw is not None:
        draw_clamp(drawing, np.array([x + 8.0, y]), 7.0, STANDS, dot=True)
        draw_clamp(drawing, np.array([x + 26.0, y]), 7.0, GAVE_WAY, dot=True)
        drawing.write(flaw, x + 42.0, y, 0.95 * TYPE)


def _animation_size(project: Project) -> tuple[float, float]:
    """Largest of the plan of an animation, wider where clamps are many. [px]."""
    s, row = project.layout.clamp_s, project.layout.clamp_row
    apart = np.diff(s)[np.diff(row) == 0]
    if not len(apart):
        return SIZE
    wider = APART / max(plan_scale(project)[1] * float(np.median(apart)), 1e-9)
    times = float(np.clip(wider, 1.0, WIDEST / SIZE[0]))
    return SIZE[0] * times, SIZE[1] * times


def write_course(
    project: Project,
    order: IntArray,
    never: NDArray[np.bool_],
    title: str,
    note: str,
    path: Path,
    parted: Sequence[tuple[int, int]] = (),
    first: str = BEFORE,
) -> None:
    """An animation: clamps give way one after another; the title gets the number of each.

    `parted` are clamps next to splices that part, each with how many clamps have given way before; -1 for
    one that had parted before all, of the kind `first`.
    """
    from PIL import Image

    size = _animation_size(project)
    tall = plan_scale(project, size)[2]
    steps = np.unique(np.round(np.linspace(0, len(order), min(len(order), FRAMES) + 1)).astype(int))
    frames = []
    when = [before for _, before in parted]
    kinds = [PARTED] * (max(when, default=-1) >= 0) + [first] * (min(when, default=0) < 0)
    for step in steps:  # at most `FRAMES`
        state = np.where(never, NEVER, STANDS)
        state[order[:step]] = GAVE_WAY
        line = 28.0 if kinds else 0.0
        sheet = Drawing((size[0] + 80.0, tall + 160.0 + line))
        open_ = [
            (clamp, PARTED if before >= 0 else first)
            for clamp, before in parted
            if before < step or step == len(order)
        ]
        torn = sum(kind == PARTED for _, kind in open_)
        words = f"{title}: {step} of {len(order)} have given way"
        if torn:
            words += f", {torn} splice{'s' if torn > 1 else ''} parted"
        draw_clamps(sheet, project, (40.0, 34.0), state, words, splices=open_, size=size)
        draw_scale(sheet, project, sheet.size[0] - 30.0, sheet.size[1] - 44.0, size)
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
