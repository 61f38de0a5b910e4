"""push.png and push.svg: load over displacement with its events, and the bay they happened in."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from fea.analysis import Analysis
from fea.push.project import ProjectPush
from fea.push.watch import HOLDS, SLIPS
from fea.unknowns import OPEN
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.drawing import Drawing, Head, headed
from viewer.picture.labels import wrap_text
from viewer.push.export import visible
from viewer.push.words import answer, check_words, missing_words, snow_words
from viewer.quantities import significant, system

Array = NDArray[np.float64]

WIDTH = 1600.0
PLOT = (110.0, 190.0, 800.0, 470.0)  # left, top, width, height
BAY = (110.0, 800.0, 1380.0)  # left, top, width
HIGH = (90.0, 240.0)  # of the bay with one row, and with more
LIST = (985.0, 205.0)
TYPE = 19.0
HEAD = Head(PLOT[0] - 60.0, 1480.0, (48.0, 30.0), 88.0, 26.0, TYPE, PLOT[1] - 22.0)
LISTED, EVENT, LINE = 16, 26.0, 20.0  # lines of the list of events; heights of one and of further lines [px]
DIAMOND = np.array([[0.0, -9.0], [9.0, 0.0], [0.0, 9.0], [-9.0, 0.0]])
BAR = np.array([[-3.0, -13.0], [3.0, -13.0], [3.0, 13.0], [-3.0, 13.0]])
KIND_COLOR = {
    "slip": style.KEPT_ANCHORS[2],
    "off": style.EXCEEDED_ANCHORS[0],
    "yields": style.KEPT_ANCHORS[2],
    "strip": style.EXCEEDED_ANCHORS[1],
    "bears": style.FAINT,
    "hinge": style.ACCENT,
    "breaks": style.EXCEEDED_ANCHORS[0],
}


def push_drawing(analysis: Analysis, found: ProjectPush) -> Drawing:
    """The curve, its events, the bay."""
    units = system(analysis.project.table.project.units)
    high = HIGH[len(found.rows) > 1]
    drawing = Drawing((WIDTH, BAY[1] + high + 130.0))
    marks = _curve(drawing, found, units)
    _list(drawing, found)
    _bay(drawing, found, marks, high)
    drawing.write(
        f"{style.CAUTION} A virtual test is no test of the maker's clamp. "
        "What falls onto rows below is not followed.",
        PLOT[0] - 60.0, drawing.size[1] - 26.0, 0.86 * TYPE, color=style.MUTED,
    )  # fmt: skip
    nominal = "NOT FOR DESIGN: nominal strengths." if found.nominal else ""
    warnings = [one for one in (check_words(found), missing_words(found), nominal) if one]
    warnings += [one for one in found.notes if one.startswith(OPEN)]
    return headed(drawing, HEAD, analysis.project.table.project.name, answer(analysis, found), warnings)


def _curve(drawing: Drawing, found: ProjectPush, units: UnitSystem) -> dict[int, str]:
    """Axes, curves and events; the label of each event."""
    push = found.push
    left, top, width, height = PLOT
    floor = top + height
    far, most = 1.06 * visible(found), 1.15 * max(float(push.factor.max(initial=0.0)), 1e-9)
    snow = push.stage == 1
    first = int(np.argmax(snow)) if snow.any() else 0

    def place(moved: Array, factor: Array) -> Array:
        x = left + width * np.clip(moved, 0.0, far) / far
        return np.stack([x, floor - height * factor / most], axis=-1)

    end, words = _let_go(found, place, far, floor - height / most)
    if most > 1.0:
        y = floor - height / most
        drawing.line(np.array([[left, y], [left + width, y]]), style.FAINT, 1.4, (8.0, 6.0))
        marks = [
            place(np.minimum(push.moved[event.point, push.weakest], far), push.factor[event.point])
            for event in push.events
        ]
        # Numbers of events stand 22 below their marks.
        levels = [(x, at + 22.0) for x, at in marks] + ([(words[0], words[1])] if push.collapsed else [])
        taken = any(x > left + width - 220.0 and abs(at - (y - 14.0)) < 20.0 for x, at in levels)
        drawing.write(
            f"the {snow_words(found)}",
            left + width - 8.0,
            y + 16.0 if taken else y - 14.0,
            0.86 * TYPE,
            color=style.MUTED,
            align="right",
        )
    for r, name in enumerate(push.bay.layout.row_name):
        start = max(first - 1, 0)
        moved, factor = push.moved[start:, r], push.factor[start:]
        if push.total[r] <= 0.0:
            continue
        main = r == push.weakest
        on = moved <= far
        points = place(moved[on], factor[on])
        if not on.all():
            points = np.concatenate([points, place(np.array([far]), factor[on][-1:])])
        if len(points) > 1:
            drawing.line(points, style.INK if main else style.FAINT, 3.0 if main else 1.6)
        if len(push.total) > 1 and not main:
            at = points[-1]
            drawing.write(f"row {name}", at[0] + 6.0, at[1] - 10.0, 0.8 * TYPE, color=style.MUTED, halo=True)
    _axes(drawing, units, far, most, found)
    labels = _marks(drawing, found, place, far)
    if push.collapsed:
        tip = end + np.array([46.0, 0.0])
        if tip[0] < left + width:
            drawing.arrow(end, tip, style.EXCEEDED_ANCHORS[0], 2.6, 12.0)
        drawing.write("lets go", words[0], words[1], TYPE, bold=True,
                      color=style.EXCEEDED_ANCHORS[0], halo=True)  # fmt: skip
    return labels


def _let_go(
    found: ProjectPush, place: Callable[[Array, Array], Array], far: float, line: float
) -> tuple[Array, Array]:
    """End of the curve of the row that lets go, and where that is said: clear of the dashed `line`. [px]."""
    push, (left, _, width, _) = found.push, PLOT
    on = push.moved[:, push.weakest] <= far
    end = place(np.array([push.moved[on, push.weakest].max()]), np.array([push.most]))[0]
    high = next(up for up in (36.0, 62.0, 88.0) if abs(end[1] - up - line) > 18.0)
    return end, np.array([min(end[0] + 4.0, left + width - 70.0), end[1] - high])


def _axes(drawing: Drawing, units: UnitSystem, far: float, most: float, found: ProjectPush) -> None:
    left, top, width, height = PLOT
    floor = top + height
    drawing.line(np.array([[left, top], [left, floor], [left + width, floor]]), style.INK, 1.8)
    step = style.tick_step(most / 6.0)
    for value in np.arange(0.0, most, step):
        y = floor - height * value / most
        drawing.line(np.array([[left - 6.0, y], [left, y]]), style.INK, 1.4)
        drawing.write(f"{value:g}", left - 11.0, y, 0.9 * TYPE, align="right")
    end = units.convert(far, "size")
    step = style.tick_step(end / 6.0)
    for value in np.arange(0.0, end, step):
        x = left + width * value / end
        drawing.line(np.array([[x, floor], [x, floor + 6.0]]), style.INK, 1.4)
        drawing.write(f"{value:g}", x, floor + 20.0, 0.9 * TYPE, align="center")
    name = found.push.bay.layout.row_name[found.push.weakest]
    drawing.write(f"times the {snow_words(found)}", left - 60.0, top - 22.0, 0.9 * TYPE, color=style.MUTED)
    drawing.write(
        f"mean displacement of row {name} down the slope by snow, {units.label('size')}",
        left + width, floor + 46.0, 0.9 * TYPE, color=style.MUTED, align="right",
    )  # fmt: skip


def _marks(drawing: Drawing, found: ProjectPush, place: object, far: float) -> dict[int, str]:
    """Events on the curve, those at one place under one mark; the label of each event."""
    push = found.push
    assert callable(place)
    groups: list[tuple[Array, list[int]]] = []
    for i, event in enumerate(push.events):
        moved = push.moved[event.point, push.weakest]
        at = place(np.array([min(moved, far)]), np.array([push.factor[event.point]]))[0]
        if groups and np.linalg.norm(groups[-1][0] - at) < 58.0:
            groups[-1][1].append(i)
        else:
            groups.append((at, [i]))
    labels: dict[int, str] = {}
    for at, members in groups:
        text = str(members[0] + 1) if len(members) == 1 else f"{members[0] + 1}–{members[-1] + 1}"
        color = KIND_COLOR[push.events[members[0]].kind]
        drawing.circle(at[0], at[1], 7.5, color, style.INK, 1.6)
        drawing.write(text, at[0] + 2.0, at[1] + 22.0, 0.9 * TYPE, bold=True, halo=True)
        labels |= {i: str(i + 1) for i in members}
    return labels


def _list(drawing: Drawing, found: ProjectPush) -> None:
    """The events in words."""
    push = found.push
    x, y = LIST
    drawing.write("Events", x, y - 8.0, TYPE, bold=True)
    if not push.events:
        drawing.write("none", x, y + 24.0, 0.9 * TYPE)
    room, size = WIDTH - x - 150.0, 0.84 * TYPE
    heights = [EVENT + LINE * (len(wrap_text(event.words, size, room)) - 1) for event in push.events]
    shown = [
        event for event, end in zip(push.events, np.cumsum(heights), strict=True) if end <= LISTED * EVENT
    ]
    at = y + EVENT
    for i, event in enumerate(shown):
        drawing.circle(x + 7.0, at, 6.0, KIND_COLOR[event.kind], style.INK, 1.2)
        lines = wrap_text(event.words, size, room)
        drawing.write(f"{i + 1}", x + 22.0, at, 0.84 * TYPE, bold=True)
        drawing.write(f"{significant(event.factor, 4)} ×", x + 118.0, at, 0.84 * TYPE, align="right")
        for line in lines:
            drawing.write(line, x + 128.0, at, 0.84 * TYPE)
            at += LINE
        at += EVENT - LINE
    if len(shown) < len(push.events):
        drawing.write(
            f"and {len(push.events) - len(shown)} more in events.csv", x + 22.0, at,
            0.84 * TYPE, color=style.MUTED,
        )  # fmt: skip


def _bay(drawing: Drawing, found: ProjectPush, labels: dict[int, str], height: float) -> None:
    """The rows as they lie on their plane, with the end state of every clamp, and where hinges formed."""
    push = found.push
    layout = push.bay.layout
    left, top, width = BAY
    title = "The bay when it lets go" if push.collapsed else "The bay at the end"
    drawing.write(title, left - 60.0, top - 46.0, TYPE, bold=True)
    drawing.write("eave below", left + width, top - 46.0, 0.86 * TYPE, color=style.MUTED, align="right")
    ends = np.concatenate([layout.row_start, layout.row_end])
    low, high = ends.min(axis=0), ends.max(axis=0)
    across = width / max(high[0] - low[0], 1e-6)
    rise = max(high[1] - low[1], 1e-6)
    up = min(across, (height - 70.0) / rise) if rise > 1e-3 else 1.0

    def at(uv: Array) -> Array:
        uv = np.asarray(uv, dtype=float)
        x = left + (uv[..., 0] - low[0]) * across
        y = top + 0.5 * height + (0.5 * (low[1] + high[1]) - uv[..., 1]) * up
        return np.stack([x, y], axis=-1)

    for r in range(len(layout.row_name)):
        line = at(np.stack([layout.row_start[r], layout.row_end[r]]))
        drawing.line(line, style.INK, 4.0 if r == push.weakest else 2.2)
        drawing.write(layout.row_name[r], line[0, 0] - 12.0, line[0, 1], 0.86 * TYPE, align="right")
    first: dict[int, int] = {}
    for i, event in enumerate(push.events):
        if event.kind in ("slip", "off", "yields", "strip"):
            near = np.flatnonzero(layout.clamp_row == event.row)
            first.setdefault(int(near[int(np.abs(layout.clamp_s[near] - event.s).argmin())]), i)
    few = len(layout.clamp_s) <= 45
    for c, (x, y) in enumerate(at(layout.clamp_uv)):
        state = int(push.clamp_state[c])
        color = {HOLDS: style.PAPER, SLIPS: KIND_COLOR["slip"]}.get(state, KIND_COLOR["off"])
        if state in (HOLDS, SLIPS):
            drawing.circle(x, y, 7.0, color, style.INK, 1.8)
        else:
            drawing.area(Polygon(DIAMOND + np.array([x, y])), color, style.INK, 1.4)
        if c in first and (few or first[c] < 9):
            drawing.write(
                labels.get(first[c], ""), x, y + 24.0, 0.84 * TYPE, bold=True, align="center", halo=True
            )
    for i, event in enumerate(push.events):
        if event.kind not in ("hinge", "breaks"):
            continue
        run = layout.row_end[event.row] - layout.row_start[event.row]
        x, y = at(layout.row_start[event.row] + run * event.s / np.linalg.norm(run))
        drawing.area(Polygon(BAR + np.array([x, y])), KIND_COLOR[event.kind], style.PAPER, 1.0)
        if few or i < 9:
            drawing.write(labels.get(i, ""), x, y - 24.0, 0.84 * TYPE, bold=True, align="center", halo=True)
    _legend(drawing, top + height + 44.0, broken=push.broken)


def _legend(drawing: Drawing, y: float, *, broken: bool) -> None:
    x = BAY[0] - 50.0
    drawing.circle(x, y, 7.0, style.PAPER, style.INK, 1.8)
    drawing.write("clamp holds", x + 16.0, y, 0.86 * TYPE)
    drawing.circle(x + 190.0, y, 7.0, KIND_COLOR["slip"], style.INK, 1.8)
    drawing.write("slips along its seam", x + 206.0, y, 0.86 * TYPE)
    drawing.area(Polygon(DIAMOND + np.array([x + 470.0, y])), KIND_COLOR["off"], style.INK, 1.4)
    drawing.write("has come off or given way", x + 488.0, y, 0.86 * TYPE)
    drawing.area(
        Polygon(BAR + np.array([x + 790.0, y])), KIND_COLOR["breaks" if broken else "hinge"], style.PAPER, 1.0
    )
    drawing.write(f"rail {'lets go' if broken else 'bends on'}", x + 806.0, y, 0.86 * TYPE)
    drawing.circle(x + 990.0, y, 7.0, KIND_COLOR["strip"], style.INK, 1.8)
    drawing.write("fixed point of a panel strip lets go (on the curve)", x + 1006.0, y, 0.86 * TYPE)
