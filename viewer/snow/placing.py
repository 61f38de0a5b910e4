"""Places for labels in areas: inside where there is room, else beside with a leader; none overlap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from viewer import style
from viewer.picture.drawing import SANS_WIDER, Box, Drawing, box_of
from viewer.picture.labels import Text, text_width

Array = NDArray[np.float64]

GRID = 14  # candidates along each side of an area
DISC = 0.80  # radius of the number's disc over the type size [-]


@dataclass(frozen=True)
class Words:
    """Text of a label after its number: lines of (words, bold); the first stands beside the disc."""

    lines: tuple[tuple[str, bool], ...]


@dataclass(frozen=True)
class Label:
    """What an area is called.

    Attributes
    ----------
    number : str
        Written on a disc; empty for none.
    region : shapely geometry
        Where the label belongs. [px]
    variants : tuple of Words
        From the most to the least telling.
    """

    number: str
    region: BaseGeometry
    variants: tuple[Words, ...]


class Taken:
    """Boxes that hold something already."""

    def __init__(self, frame: Box) -> None:
        self.frame, self.boxes = frame, np.zeros((0, 4))
        self.lines: list[BaseGeometry] = []

    def avoid(self, points: Array) -> None:
        """Keep words off a line (n, 2) where that leaves them room. [px]."""
        self.lines.append(shapely.LineString(points))

    def clear(self, boxes: Array) -> NDArray[np.bool_]:
        """Which of the boxes (n, 4) meet no line to avoid. [px]."""
        if not self.lines:
            return np.ones(len(boxes), dtype=bool)
        every = shapely.multilinestrings(self.lines)
        shapely.prepare(every)
        return np.asarray(~shapely.intersects(every, shapely.box(*boxes.T)))

    def add(self, box: Box) -> None:
        """Close a box to all that follows; one beyond the frame needs no closing. [px]."""
        left, top, right, bottom = self.frame
        if box[0] > right or box[2] < left or box[1] > bottom or box[3] < top:
            return
        self.boxes = np.concatenate([self.boxes, [box]])

    def free(self, boxes: Array) -> NDArray[np.bool_]:
        """Which of the boxes (n, 4) lie in the frame and meet nothing. [px]."""
        left, top, right, bottom = self.frame
        inside = (boxes[:, 0] >= left) & (boxes[:, 1] >= top)
        inside &= (boxes[:, 2] <= right) & (boxes[:, 3] <= bottom)
        if not len(self.boxes):
            return inside
        apart = (
            (boxes[:, None, 0] >= self.boxes[:, 2])
            | (boxes[:, None, 2] <= self.boxes[:, 0])
            | (boxes[:, None, 1] >= self.boxes[:, 3])
            | (boxes[:, None, 3] <= self.boxes[:, 1])
        )
        return inside & apart.all(axis=1)


def place_labels(
    drawing: Drawing, taken: Taken, labels: Sequence[Label], size: float, *, beside: bool = True
) -> int:
    """Write labels where nothing is covered, beside their areas too if wanted; how many had no room."""
    order = sorted(range(len(labels)), key=lambda i: labels[i].region.area)
    return sum(not _place(drawing, taken, labels[i], size, beside) for i in order)


def _place(drawing: Drawing, taken: Taken, label: Label, size: float, beside: bool) -> bool:
    points = _candidates(label.region.wkb)
    if not len(points):
        return False
    region = label.region.buffer(0.15 * size)
    shapely.prepare(region)
    for words in label.variants:
        boxes = _boxes(points, _extent(label.number, words, size))
        good = taken.free(boxes) & shapely.contains(region, shapely.box(*boxes.T))
        if good.any():
            best = good & taken.clear(boxes)
            _write(
                drawing,
                taken,
                label.number,
                words,
                points[int(np.argmax(best if best.any() else good))],
                size,
            )
            return True
    # Not from under another label: its number would be crossed.
    bare = taken.free(np.concatenate([points - 0.2 * size, points + 0.2 * size], axis=1))
    return beside and _beside(drawing, taken, label, points[int(np.argmax(bare))], size)


def _beside(drawing: Drawing, taken: Taken, label: Label, home: Array, size: float) -> bool:
    """Place the label near its area, nearest first, and draw a line to it."""
    reach = np.arange(1.2, 14.0, 0.6) * size
    angle = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False) + 0.3
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    spots = (home + reach[:, None, None] * ring).reshape(-1, 2)
    for words in label.variants[-2:]:
        boxes = _boxes(spots, _extent(label.number, words, size))
        good = taken.free(boxes)
        best = good & taken.clear(boxes)
        good = best if best.any() else good
        if good.any():
            at = spots[int(np.argmax(good))]
            box = boxes[int(np.argmax(good))]
            near = np.clip(home, box[:2], box[2:])
            if np.linalg.norm(near - home) > 0.5 * size:
                drawing.line(np.stack([home, near]), style.PAPER, 0.2 * size)  # seen on dark and light
                drawing.line(np.stack([home, near]), style.INK, 0.07 * size)
                drawing.circle(
                    float(home[0]), float(home[1]), 0.19 * size, style.INK, style.PAPER, 0.06 * size
                )
            _write(drawing, taken, label.number, words, at, size)
            return True
    return False


@lru_cache(maxsize=4096)
def _candidates(wkb: bytes) -> Array:
    """Points (n, 2) inside an area, roomy ones near its middle first. [px]."""
    region = shapely.from_wkb(wkb)
    parts = shapely.get_parts(region)
    parts = parts[shapely.area(parts) > 1.0]
    if not len(parts):
        return (
            shapely.get_coordinates(shapely.point_on_surface(region))
            if not region.is_empty
            else np.zeros((0, 2))
        )
    part = parts[int(np.argmax(shapely.area(parts)))]
    low_x, low_y, high_x, high_y = part.bounds
    x, y = np.meshgrid(*(np.linspace(a, b, GRID + 2)[1:-1] for a, b in ((low_x, high_x), (low_y, high_y))))
    center = shapely.get_coordinates(shapely.maximum_inscribed_circle(part, tolerance=1.0))[:1]
    middle = shapely.get_coordinates(shapely.centroid(part))
    points = np.concatenate([middle, center, np.stack([x.ravel(), y.ravel()], axis=1)])
    shapely.prepare(part)
    points = points[shapely.contains_xy(part, points[:, 0], points[:, 1])]
    clear = shapely.distance(part.boundary, shapely.points(points))
    away = np.linalg.norm(points - middle, axis=1)
    roomy = clear >= 0.8 * clear.max(initial=0.0)
    return points[np.lexsort((np.where(roomy, away, -clear), ~roomy))]


def _extent(number: str, words: Words, size: float) -> tuple[float, float]:
    """Width and height of a label. [px]."""
    lines = [_width(text, size, bold) for text, bold in words.lines]
    disc = 2.0 * _radius(number, size) if number else 0.0
    gap = 0.3 * size if number and lines else 0.0
    first = disc + gap + (lines[0] if lines else 0.0)
    height = max(1.2 * size * len(lines), disc)
    return max([first, *lines[1:]]) + 4.0, height + 3.0


@lru_cache(maxsize=4096)
def _width(text: str, size: float, bold: bool) -> float:
    return SANS_WIDER * text_width(text, size, bold=bold)


def _radius(number: str, size: float) -> float:
    return size * (DISC if len(number) < 3 else 0.3 * len(number) + 0.1)


def _boxes(points: Array, extent: tuple[float, float]) -> Array:
    half = 0.5 * np.array(extent)
    return np.concatenate([points - half, points + half], axis=1)


def _write(drawing: Drawing, taken: Taken, number: str, words: Words, at: Array, size: float) -> None:
    width, height = _extent(number, words, size)
    taken.add((at[0] - 0.5 * width, at[1] - 0.5 * height, at[0] + 0.5 * width, at[1] + 0.5 * height))
    lines = words.lines
    y = float(at[1]) - 0.6 * size * max(len(lines) - 1, 0)
    x = float(at[0])
    if number:
        radius = _radius(number, size)
        first = 2.0 * radius
        if lines:
            first += 0.3 * size + _width(lines[0][0], size, lines[0][1])
        left = x - 0.5 * first
        disc(drawing, number, left + radius, y, size)
        x = left + 2.0 * radius + 0.3 * size
    for i, (text, bold) in enumerate(lines):
        beside = bool(number) and i == 0  # fonts differ in width: the disc stays clear of the words
        drawing.write(
            text,
            x if beside else float(at[0]),
            y + 1.2 * size * i,
            size,
            bold=bold,
            align="left" if beside else "center",
            halo=True,
        )


def disc(drawing: Drawing, number: str, x: float, y: float, size: float) -> None:
    """Draw a zone's number on its disc. [px]."""
    radius = _radius(number, size)
    drawing.circle(x, y, radius, style.PAPER, style.INK, 0.09 * size)
    drawing.write(number, x, y, 0.92 * size, bold=True, align="center")


def write_free(drawing: Drawing, taken: Taken, words: str, home: Array, toward: Array, size: float) -> bool:
    """Write a bold line near a point, on the side of another point where that is free. [px]."""
    gap = 0.9 * size
    texts = [
        Text(
            words, (home[0] + gap * dx, home[1] + (gap + 0.5 * size) * dy), size, True, style.INK, align, True
        )
        for dx, align in ((1, "left"), (-1, "right"), (0, "center"))
        for dy in (-1, 0, 1)
        if dx or dy
    ]
    boxes = np.array([box_of(text) for text in texts])
    away = np.linalg.norm(0.5 * (boxes[:, :2] + boxes[:, 2:]) - toward, axis=1)
    away[~taken.free(boxes)] = np.inf
    best = int(np.argmin(away))
    if not np.isfinite(away[best]):
        return False
    drawing.texts.append(texts[best])
    taken.add(box_of(texts[best]))
    return True
