"""Stretches of rows clamp by clamp, wrapped to the sheet: states of the same clamps below each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely import box

from roofmodel.layout import Layout
from viewer import style
from viewer.picture.course import draw_clamp, draw_splice
from viewer.picture.drawing import Drawing

IntArray = NDArray[np.int64]

BESIDE = 3  # clamps drawn to both sides of those that are asked for
A_LINE, CELL = 26, 37.0  # clamps in one line, and the room for each [px]
NAMES = 96.0  # room for the words before a line [px]
RADIUS, SMALL = 9.0, 13.0
HEAD, STEP, NUMBERS, GAP = 20.0, 30.0, 18.0, 22.0  # heights of the parts of a line [px]
OTHERWISE = style.KEPT_ANCHORS[0]  # behind clamps that differ


@dataclass(frozen=True)
class State:
    """What became of the clamps in one of the lines.

    Attributes
    ----------
    name : str
        Before the line.
    state : (c,) int
        As `viewer.picture.course.COLORS`.
    splices : sequence of (int, str)
        As `viewer.picture.course.draw_clamps`.
    numbers, splice_numbers : dict of int to int
        Written below clamps, and below splices by the clamps next to them.
    flawed : (c,) bool or None
        Clamps with a dot in their mark.
    """

    name: str
    state: IntArray
    splices: Sequence[tuple[int, str]] = ()
    numbers: Mapping[int, int] = field(default_factory=dict)
    splice_numbers: Mapping[int, int] = field(default_factory=dict)
    flawed: NDArray[np.bool_] | None = None

    @property
    def tall(self) -> float:
        """[px]."""
        return STEP + NUMBERS * bool(self.numbers) + NUMBERS * bool(self.splice_numbers)


def lines_of(layout: Layout, asked: NDArray[np.bool_]) -> list[IntArray]:
    """Clamps of each line, -1 where some between are not drawn: those asked for (c,) and some beside them."""
    lines: list[IntArray] = []
    for r in range(len(layout.row_name)):
        own = np.flatnonzero(layout.clamp_row == r)
        at = np.flatnonzero(asked[own])
        if not len(at):
            continue
        place = np.arange(len(own))
        near = np.flatnonzero((np.abs(place[:, None] - at) <= BESIDE).any(axis=1))
        breaks = np.flatnonzero(np.diff(near) > 1) + 1
        cells = np.insert(own[near], breaks, -1)
        parts = [cells[k : k + A_LINE] for k in range(0, len(cells), A_LINE)]
        lines += [part[(part >= 0) | (np.arange(len(part)) > 0)] for part in parts]  # none begins with a gap
    return lines


def stretches_tall(lines: Sequence[IntArray], states: Sequence[State]) -> float:
    """Height that `draw_stretches` takes. [px]."""
    return len(lines) * (HEAD + sum(one.tall for one in states) + GAP)


def draw_stretches(
    drawing: Drawing,
    layout: Layout,
    corner: tuple[float, float],
    lines: Sequence[IntArray],
    states: Sequence[State],
    differ: NDArray[np.bool_],
) -> None:
    """Each line of clamps with their names above, its states below each other; `differ` (c,) is shaded."""
    y = corner[1]
    for cells in lines:
        x = np.asarray(corner[0] + NAMES + CELL * (np.arange(len(cells)) + 0.5), dtype=np.float64)
        row = layout.row_name[layout.clamp_row[cells[0]]]
        drawing.write(row, corner[0], y, SMALL, bold=True)
        foot = y + HEAD + sum(one.tall for one in states)
        for c, at in zip(cells.tolist(), x.tolist(), strict=True):
            if c >= 0 and differ[c]:
                drawing.area(box(at - 0.5 * CELL, y - 9.0, at + 0.5 * CELL, foot - 4.0), OTHERWISE)
            words = "…" if c < 0 else layout.clamp_name[c].removeprefix(f"{row}-")
            drawing.write(words, at, y, SMALL, align="center", color=style.MUTED)
        y += HEAD
        for state in states:
            _line(drawing, layout, (corner[0], y + 0.5 * STEP), cells, x, state)
            y += state.tall
        y += GAP


def _line(
    drawing: Drawing,
    layout: Layout,
    start: tuple[float, float],
    cells: IntArray,
    x: NDArray[np.float64],
    state: State,
) -> None:
    """One state of one line of clamps at x (k,), its words at the start."""
    y = start[1]
    drawing.write(state.name, start[0], y, SMALL)
    ends = np.flatnonzero(cells < 0)
    for part in np.split(np.arange(len(cells)), np.sort(np.concatenate([ends, ends + 1]))):
        if len(part) and cells[part[0]] >= 0:
            across = np.array([x[part[0]] - 0.5 * CELL, x[part[-1]] + 0.5 * CELL])
            drawing.line(np.stack([across, [y, y]], axis=1), style.MUTED, 2.0)
    dots = np.zeros(len(state.state), dtype=bool) if state.flawed is None else state.flawed
    place = dict(zip(cells.tolist(), x.tolist(), strict=True))
    for c, at in place.items():
        if c >= 0:
            draw_clamp(drawing, np.array([at, y]), RADIUS, int(state.state[c]), dot=bool(dots[c]))
            if c in state.numbers:
                under = y + 0.5 * STEP + 0.5 * NUMBERS
                drawing.write(str(state.numbers[c]), at, under, SMALL, bold=True, align="center")
    under = y + 0.5 * STEP + 0.5 * NUMBERS + NUMBERS * bool(state.numbers)
    for c, kind in state.splices:
        if c in place:
            at = place[c] + 0.5 * CELL * _side(layout, c)
            draw_splice(drawing, np.array([at, y]), np.array([14.0, 0.0]), kind)
            if c in state.splice_numbers:
                words = str(state.splice_numbers[c])
                drawing.line(np.array([[at, y + 14.0], [at, under - 8.0]]), style.MUTED, 0.8)
                drawing.write(words, at, under, SMALL, bold=True, align="center", halo=True)


def _side(layout: Layout, clamp: int) -> float:
    """On which side of a clamp the splice next to it is, 0 for at it."""
    own = layout.splice_s[layout.splice_row == layout.clamp_row[clamp]]
    apart = own - layout.clamp_s[clamp]
    return float(np.sign(np.round(apart[np.abs(apart).argmin()], 6)))
