"""Pictures of an investigation: ranking, what was found, the nearest sample and its animation."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, affinity, box

from viewer import style
from viewer.files import atomic
from viewer.investigate.findings import CaseFindings, answer, likeliest, share
from viewer.snow.drawing import Drawing, paint

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

WIDTH, LEFT, TYPE = 1180.0, 60.0, 16.0
NAMES = 250.0
HELD, GONE, UNKNOWN, NEVER = "#FFFFFF", "#B0282E", style.HAIRLINE, style.INK
FRAMES, HOLD = 40, 12  # of the animation; the last stands so many times as long
EACH = 110  # [ms]
PLAN = (520.0, 330.0)  # of one plan


def case_drawing(found: CaseFindings) -> Drawing:
    """Ranking above, what was found and the likeliest sequence below."""
    bars = len(found.fits)
    top = 150.0 + 36.0 * bars
    tall = _scale(found)[2]
    drawing = Drawing((WIDTH, top + tall + 190.0))
    drawing.write(found.evidence.table.case.name, LEFT, 40.0, 26.0, bold=True)
    words = answer(found)
    cut = len(words) if len(words) < 128 else words.rfind(" ", 0, 128)
    drawing.write(words[:cut], LEFT, 74.0, 17.0)
    drawing.write(words[cut:].strip(), LEFT, 98.0, 17.0)
    scale = WIDTH - LEFT - NAMES - 260.0
    for i, one in enumerate(found.fits):
        y, x = 136.0 + 36.0 * i, LEFT + NAMES
        drawing.write(one.cause, x - 10.0, y, TYPE, align="right", bold=i == 0)
        drawing.area(box(x, y - 10.0, x + scale, y + 10.0), style.TINT)
        drawing.area(box(x, y - 10.0, x + max(scale * one.posterior, 1.5), y + 10.0), style.ACCENT)
        ends = np.array([[x + scale * one.low, y], [x + scale * one.high, y]])
        drawing.line(ends, style.INK, 2.0)
        for end in ends:
            drawing.line(end + np.array([[0.0, -6.0], [0.0, 6.0]]), style.INK, 2.0)
        drawing.write(share(one), x + scale + 14.0, y, TYPE)
    evidence = found.evidence
    state = np.where(~evidence.known, 2, np.where(evidence.gave_way, 1, 0))
    _plan(drawing, found, (LEFT, top + 40.0), state, None, "What was found")
    best, order = likeliest(found)
    bank = found.bank(found.fits[0].cause)
    made = np.where(bank.gave_way[best], 1, 0)
    made[bank.gave_way[best] & (bank.order[best] < 0)] = 3
    title = f'Nearest sample of "{found.fits[0].cause}", numbers in order'
    _plan(drawing, found, (LEFT + PLAN[0] + 40.0, top + 40.0), made, order, title)
    y = top + tall + 100.0
    for i, (color, text) in enumerate(
        ((HELD, "stands"), (GONE, "gave way"), (UNKNOWN, "unknown"), (NEVER, "never there"))
    ):
        x = LEFT + 170.0 * i
        drawing.circle(x + 8.0, y, 7.0, color, style.INK, 1.4)
        drawing.write(text, x + 24.0, y, 0.95 * TYPE)
    _north(drawing, WIDTH - 70.0, y)
    drawing.write(
        "An aid to judgment: the true cause may not be among these. " + style.CAUTION,
        LEFT, drawing.size[1] - 26.0, 0.9 * TYPE, color=style.MUTED,
    )  # fmt: skip
    return drawing


def _places(found: CaseFindings) -> tuple[list[Polygon], Array, Array]:
    """Planes on plan, clamps (c, 2) and row ends (r, 2, 2) on plan. [m]."""
    roof, layout = found.evidence.project.roof, found.evidence.project.layout
    planes = roof.planes
    outlines = []
    for plane in range(planes.count):
        ring = np.asarray(planes.outline[plane].exterior.coords)
        outlines.append(Polygon(planes.to_world(plane, ring)[:, :2]))
    clamp = planes.to_world(layout.row_plane[layout.clamp_row], layout.clamp_uv)[:, :2]
    rows = np.stack(
        [planes.to_world(layout.row_plane, end)[:, :2] for end in (layout.row_start, layout.row_end)], axis=1
    )
    return outlines, clamp, rows


def _scale(found: CaseFindings) -> tuple[Array, float, float]:
    """Lower left corner of the roof on plan [m], pixels for each meter, and its height on the sheet [px]."""
    bounds = np.array([outline.bounds for outline in _places(found)[0]])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    scale = float(min(PLAN[0] / (high[0] - low[0]), PLAN[1] / (high[1] - low[1])))
    return low, scale, scale * float(high[1] - low[1])


def _plan(
    drawing: Drawing,
    found: CaseFindings,
    corner: tuple[float, float],
    state: IntArray,
    order: IntArray | None,
    title: str,
) -> None:
    outlines, clamp, rows = _places(found)
    low, scale, tall = _scale(found)
    left, floor = corner[0], corner[1] + 24.0 + tall

    def place(xy: Array) -> Array:
        return np.stack(
            [left + scale * (xy[..., 0] - low[0]), floor - scale * (xy[..., 1] - low[1])], axis=-1
        )

    drawing.write(title, corner[0], corner[1], TYPE, bold=True)
    for outline in outlines:
        moved = affinity.affine_transform(
            outline, [scale, 0.0, 0.0, -scale, left - scale * low[0], floor + scale * low[1]]
        )
        drawing.area(moved, style.TINT, style.MUTED, 1.2)
    for row in place(rows):
        drawing.line(row, style.MUTED, 2.0)
    at = place(clamp)
    apart = np.linalg.norm(np.diff(at, axis=0), axis=1) if len(at) > 1 else np.array([20.0])
    radius = float(np.clip(0.42 * np.median(apart), 2.2, 8.0))
    colors = (HELD, GONE, UNKNOWN, NEVER)
    for (x, y), one in zip(at, state.tolist(), strict=True):
        drawing.circle(float(x), float(y), radius, colors[one], style.INK, 1.0)
    if order is None or not len(order):
        return
    layout = found.evidence.project.layout
    shown = np.unique(np.round(np.linspace(0, len(order) - 1, min(len(order), 6))).astype(int))
    for number in shown:
        x, y = at[order[number]]
        above = -1.0 if number % 2 else 1.0
        text = f"{number + 1}  {layout.clamp_name[order[number]]}"
        drawing.write(
            text, float(x), float(y) + above * (radius + 12.0), 0.75 * TYPE, align="center", halo=True
        )


def _north(drawing: Drawing, x: float, y: float) -> None:
    drawing.arrow(np.array([x, y + 16.0]), np.array([x, y - 14.0]), style.INK, 2.0)
    drawing.write("N", x, y - 24.0, 0.9 * TYPE, bold=True, align="center")


def write_animation(found: CaseFindings, path: Path) -> None:
    """sequence.gif: the likeliest sample, clamp after clamp."""
    _, order = likeliest(found)
    bank = found.bank(found.fits[0].cause)
    best = int(np.argmax(found.fits[0].weight))
    never = bank.gave_way[best] & (bank.order[best] < 0)
    steps = np.unique(np.round(np.linspace(0, len(order), min(len(order), FRAMES) + 1)).astype(int))
    frames = []
    for step in steps:  # at most `FRAMES`
        state = np.where(never, 3, 0)
        state[order[:step]] = 1
        sheet = Drawing((PLAN[0] + 80.0, _scale(found)[2] + 130.0))
        text = f'"{found.fits[0].cause}": {step} of {len(order)} have given way'
        _plan(sheet, found, (40.0, 34.0), state, None, text)
        _north(sheet, sheet.size[0] - 30.0, sheet.size[1] - 44.0)
        sheet.write("One sample that is near what was found, not a record.", 40.0, sheet.size[1] - 22.0, 13.0)
        frames.append(paint(sheet).quantize(32))
    with atomic(path) as temporary:
        frames[0].save(
            temporary, format="GIF", save_all=True, append_images=frames[1:], loop=0,
            duration=[EACH * HOLD // 2, *([EACH] * (len(frames) - 2)), EACH * HOLD][: len(frames)],
        )  # fmt: skip
