"""Widths of the columns of a printed table, so that it takes few lines and no number breaks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from viewer.picture.labels import text_width
from viewer.report.tables import Table

Array = NDArray[np.float64]

ROOM = 490.0  # width of the text on the narrower paper [pt]
PAD = 7.0  # beside the words of a column, and for rounding [pt]
STEP, STEPS = 4.0, (1, 2, 4, 8, 12)  # in which columns grow [pt], and how many at once
LOOSE = 1.06  # length of text that breaks into lines over its plain length: lines are not filled [-]
LONGEST = 2.0  # of a last column over the whole table: longer texts get lines of their own [-]


def _long(text: str, size: float, *, bold: bool = False) -> float:
    return 0.01 * size * text_width(text, 100.0, bold=bold)


def _word(text: str, size: float, *, bold: bool = False) -> float:
    """Length of the longest part of a text that no end of a line parts. [pt]."""
    parts = text.replace("\u200b", " ").split(" ")
    return max((_long(part, size, bold=bold) for part in parts), default=0.0)


def own_line(one: Table, size: float) -> bool:
    """Whether texts of the last column are too long for any column and take the table's whole width."""
    if len(one.heads) < 4 or one.numeric[-1] == "n":
        return False
    return max((_long(row[-1], size) for row in one.rows), default=0.0) > LONGEST * ROOM


def column_widths(one: Table, size: float, count: int) -> list[str]:
    """Widths of the first `count` columns as Typst takes them.

    Where all fits in one line, every column is as wide as its text. Else numbers keep their line, their heads
    break, and each further point goes to the column that saves most lines.
    """
    cells = np.array([[_long(row[i], size) for i in range(count)] for row in one.rows]).reshape(-1, count)
    heads = np.array([_long(head, size, bold=True) for head in one.heads[:count]])
    bold = 1.05 if any(one.marks) else 1.0
    cells = bold * cells + PAD
    natural = np.maximum(cells.max(axis=0, initial=0.0), heads + PAD)
    if natural.sum() <= ROOM:
        return ["auto"] * count
    words = np.array([kind in "ts" for kind in one.numeric[:count]])
    part = [
        max((_word(row[i], size) for row in one.rows), default=0.0) if words[i] else 0.0 for i in range(count)
    ]
    least = np.where(words, bold * np.array(part) + PAD, cells.max(axis=0, initial=0.0))
    own = np.array([_word(head, size, bold=True) + PAD for head in one.heads[:count]])
    width = np.maximum(least, own)
    free = ROOM - float(width.sum())
    if free <= 0.0:
        return ["auto"] * count
    every = np.concatenate([heads[None] + PAD, cells])  # the head is a line among the others
    may = np.concatenate([np.ones((1, count), dtype=bool), np.tile(words, (len(cells), 1))])

    def lines(width: Array) -> float:
        over = (every - PAD) * LOOSE > width - PAD
        need = np.where(may & over, np.ceil((every - PAD) * LOOSE / (width - PAD)), 1.0)
        return float(np.sum(np.sum(need**4, axis=1) ** 0.25))  # a row is as high as its highest cell

    while free >= STEP:
        steps_now = [k for k in STEPS if k * STEP <= free]
        tried = [lines(width + STEP * k * one_more) for k in steps_now for one_more in np.eye(count)]
        gains = (lines(width) - np.array(tried).reshape(-1, count)) / np.array(steps_now)[:, None]
        gains[:, width >= natural] = -1.0
        steps, best = np.unravel_index(int(np.argmax(gains)), gains.shape)
        if gains[steps, best] <= 0.0:
            break
        grown = STEP * steps_now[int(steps)]
        width[best] += grown
        free -= grown
    wide = words & (width < natural)
    return (
        [f"{width[i]:.0f}fr" if wide[i] else f"{width[i]:.1f}pt" for i in range(count)]
        if wide.any()
        else [f"{w:.1f}pt" for w in width]
    )
