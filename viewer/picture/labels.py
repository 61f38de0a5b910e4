"""Text of a picture: measuring it, and finding places where nothing is covered."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from viewer import style

if TYPE_CHECKING:
    from collections.abc import Iterable

    from PIL.ImageFont import FreeTypeFont
    from shapely.geometry.base import BaseGeometry

Array = NDArray[np.float64]

FONTS = Path(__file__).parent / "fonts"
GRID = 8  # pixels of one cell of the placement grid
WALL, PLANE = 0.35, 6.0  # costs of a cell of a wall and of a bare roof plane
CROSSED = 40.0  # cost of each label that the line to another one crosses
TAKEN = 1e6  # cost of a cell that another label holds


@dataclass(frozen=True)
class Text:
    """A line of text.

    Attributes
    ----------
    text : str
    at : (float, float)
        Left or right end, or middle, at half the height of the capitals. [px]
    size : float
        Font size. [px]
    bold : bool
    color : str
    align : str
        "left", "center" or "right".
    halo : bool
        Whether the color behind the letters covers lines near them.
    """

    text: str
    at: tuple[float, float]
    size: float
    bold: bool = False
    color: str = style.INK
    align: str = "left"
    halo: bool = False

    @property
    def width(self) -> float:
        """Length of the line. [px]."""
        return text_width(self.text, self.size, bold=self.bold)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom. [px]."""
        left = self.at[0] - self.width * {"left": 0.0, "center": 0.5, "right": 1.0}[self.align]
        return left, self.at[1] - 0.55 * self.size, left + self.width, self.at[1] + 0.55 * self.size


@cache
def font(size: int, bold: bool) -> FreeTypeFont:
    """Source Sans at a size. [px]."""
    from PIL import ImageFont

    return ImageFont.truetype(str(FONTS / f"SourceSansPro-{'Semibold' if bold else 'Regular'}.ttf"), size)


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Length of a line of text. [px]."""
    return float(font(max(round(size), 1), bold).getlength(text))


def free_place(tries: Iterable[Text], taken: BaseGeometry, bounds: tuple[float, float, float]) -> Text | None:
    """The first of several places of a line of text where it covers nothing that is taken.

    `bounds` are left, top and right of where it may stand. [px].
    """
    import shapely

    for text in tries:
        left, top, right, bottom = text.box
        inside = left >= bounds[0] and top >= bounds[1] and right <= bounds[2]
        if inside and not taken.intersects(shapely.box(left, top, right, bottom)):
            return text
    return None


def fit_text(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """The text, cut with an ellipsis where it is longer than the room. [px]."""
    if text_width(text, size, bold=bold) <= room:
        return text
    while text and text_width(text + "…", size, bold=bold) > room:
        text = text[:-1].rstrip()
    return text + "…"


def wrap_text(text: str, size: float, room: float, *, bold: bool = False) -> list[str]:
    """Lines of words, none longer than the room where words allow; hard spaces do not break. [px]."""
    lines: list[str] = []
    for word in text.split(" "):
        if lines and text_width(f"{lines[-1]} {word}", size, bold=bold) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return [fit_text(line, size, room, bold=bold) for line in lines]


def leader_end(at: tuple[float, float], box: tuple[Array, Array, Array, Array]) -> tuple[Array, Array]:
    """Where the line from a point meets boxes (left, top, right, bottom): at the nearest place of their rim.

    A line to a corner looks torn off: it goes to the middle of the side that faces the point.
    """
    left, top, right, bottom = box
    x, y = np.clip(at[0], left, right), np.clip(at[1], top, bottom)
    corner = ((x == left) | (x == right)) & ((y == top) | (y == bottom))
    aside = np.abs(x - at[0]) > np.abs(y - at[1])
    return (
        np.where(corner & ~aside, 0.5 * (left + right), x),
        np.where(corner & aside, 0.5 * (top + bottom), y),
    )


def crossings(start: tuple[float, float], end: tuple[Array, Array], boxes: Array) -> Array:
    """How many of some boxes (k, 4) the lines from a point to many, x and y (h, w) each, cross, (h, w)."""
    count = np.zeros(end[0].shape)
    for box in boxes:
        low, high = np.zeros(count.shape), np.ones(count.shape)
        for axis in (0, 1):
            way = end[axis] - start[axis]
            level = np.abs(way) < 1e-9
            one, two = (
                (side - start[axis]) / np.where(level, 1.0, way) for side in (box[axis], box[axis + 2])
            )
            inside = box[axis] <= start[axis] <= box[axis + 2]
            low = np.maximum(low, np.where(level, -np.inf if inside else np.inf, np.minimum(one, two)))
            high = np.minimum(high, np.where(level, np.inf if inside else -np.inf, np.maximum(one, two)))
        count += low <= high
    return count


@dataclass
class Crowd:
    """What a label would cover, on a coarse grid over a box of the picture.

    Attributes
    ----------
    box : (4,) float
        Labels stay inside: left, top, right, bottom. [px]
    cost : (h, w) float
        Cost of covering each cell.
    """

    box: tuple[float, float, float, float]
    cost: Array = field(init=False)

    def __post_init__(self) -> None:
        self.cost = np.zeros(self._cells(self.box[2] - self.box[0], self.box[3] - self.box[1]))

    @staticmethod
    def _cells(width: float, height: float) -> tuple[int, int]:
        return max(int(height // GRID), 1), max(int(width // GRID), 1)

    def cover_polygon(self, corners: Array, cost: float) -> None:
        """Make the inside of a polygon (k, 2) cost at least this. [px]."""
        self.cost = np.maximum(self.cost, cost * self.inside(corners))

    def inside(self, corners: Array) -> NDArray[np.bool_]:
        """Cells inside a polygon (k, 2). [px]."""
        from PIL import Image, ImageDraw

        mask = Image.new("1", (self.cost.shape[1], self.cost.shape[0]))
        flat = (corners - np.array(self.box[:2])) / GRID
        if len(flat) >= 3:
            ImageDraw.Draw(mask).polygon([(float(x), float(y)) for x, y in flat], fill=1)
        return np.asarray(mask, dtype=bool)

    def cover_points(self, points: Array, radius: float, cost: float) -> None:
        """Make squares around points (k, 2) cost at least this. [px]."""
        reach = int(np.ceil(radius / GRID))
        at = np.floor((points - np.array(self.box[:2])) / GRID).astype(int)
        around = np.arange(-reach, reach + 1)
        row = (at[:, 1, None, None] + around[:, None]) + 0 * around
        column = (at[:, 0, None, None] + around) + 0 * around[:, None]
        ok = (row >= 0) & (row < self.cost.shape[0]) & (column >= 0) & (column < self.cost.shape[1])
        np.maximum.at(self.cost, (row[ok], column[ok]), cost)

    def cover_line(self, start: Array, end: Array, radius: float, cost: float) -> None:
        """Make the cells along a line cost at least this. [px]."""
        count = max(int(np.linalg.norm(end - start) / GRID), 1) + 1
        share = np.linspace(0.0, 1.0, count)[:, None]
        self.cover_points(start * (1.0 - share) + end * share, radius, cost)

    def take(self, box: tuple[float, float, float, float]) -> None:
        """Close a box to all other labels. [px]."""
        left, top, right, bottom = ((np.array(box) - np.tile(self.box[:2], 2)) / GRID).tolist()
        rows = slice(max(int(np.floor(top)), 0), max(int(np.ceil(bottom)), 0))
        columns = slice(max(int(np.floor(left)), 0), max(int(np.ceil(right)), 0))
        self.cost[rows, columns] = TAKEN

    def covered(self, box: tuple[float, float, float, float]) -> Array:
        """Costs of the cells that a box covers. [px]."""
        left, top, right, bottom = (np.array(box) - np.tile(self.box[:2], 2)) / GRID
        rows = slice(max(int(np.floor(top)), 0), max(int(np.ceil(bottom)), 0))
        return self.cost[rows, max(int(np.floor(left)), 0) : max(int(np.ceil(right)), 0)]

    def free(self, box: tuple[float, float, float, float]) -> bool:
        """Whether no other label holds any of a box. [px]."""
        return float(self.covered(box).max(initial=0.0)) < TAKEN

    def empty(self, box: tuple[float, float, float, float]) -> bool:
        """Whether a box covers nothing but paper and walls. [px]."""
        return float(self.covered(box).max(initial=0.0)) <= WALL

    def place(
        self,
        size: tuple[float, float],
        anchor: tuple[float, float],
        *,
        pull: float = 1.0,
        least: float = 0.0,
        most: float = np.inf,
        extra: Array | None = None,
        shun: Array | None = None,
    ) -> tuple[float, float, float, float] | None:
        """Best free box of a size near an anchor.

        Parameters
        ----------
        size : (float, float)
            Width and height. [px]
        anchor : (float, float)
            What the label belongs to. [px]
        pull : float
            Cost of a box height of distance, against covering its own area at cost 1.
        least, most : float
            Smallest and largest distance from the anchor to the box. [px]
        extra : (h, w) float, optional
            More cost of each cell, for this label alone.
        shun : (k, 4) float, optional
            Boxes that a line from the anchor to the label should not cross. [px]

        Returns
        -------
        (4,) float or None
            Left, top, right, bottom; None where every place is taken. [px]
        """
        cost = self.cost if extra is None else self.cost + extra
        rows, columns = (max(int(np.ceil(n / GRID)), 1) for n in (size[1], size[0]))
        if rows > cost.shape[0] or columns > cost.shape[1]:
            return None
        total = np.zeros((cost.shape[0] + 1, cost.shape[1] + 1))
        total[1:, 1:] = cost.cumsum(axis=0).cumsum(axis=1)
        covered = total[rows:, columns:] - total[:-rows, columns:] - total[rows:, :-columns]
        covered = (covered + total[:-rows, :-columns]) / (rows * columns)
        top = self.box[1] + GRID * np.arange(covered.shape[0])
        left = self.box[0] + GRID * np.arange(covered.shape[1])
        dx = np.maximum(np.maximum(left - anchor[0], anchor[0] - left - size[0]), 0.0)
        dy = np.maximum(np.maximum(top - anchor[1], anchor[1] - top - size[1]), 0.0)
        away = np.hypot(dy[:, None], dx)
        score = covered + pull * away / size[1]
        if shun is not None and len(shun):
            x, y = np.meshgrid(left, top)
            score = score + CROSSED * crossings(
                anchor, leader_end(anchor, (x, y, x + size[0], y + size[1])), shun
            )
        score = np.where((away < least) | (away > most), np.inf, score)
        best = np.unravel_index(np.argmin(score), score.shape)
        if not score[best] < 0.9 * TAKEN / (rows * columns):
            return None
        return (
            float(left[best[1]]),
            float(top[best[0]]),
            float(left[best[1]] + size[0]),
            float(top[best[0]] + size[1]),
        )
