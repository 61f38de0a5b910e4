"""Drawings of areas, lines and texts, written as SVG or painted as pixels; no OpenGL, no browser."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from viewer import style
from viewer.files import atomic
from viewer.picture import svg
from viewer.picture.labels import Text, wrap_text

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]

READS = 4.5  # least contrast of words (WCAG 2, from memory) [-]
CHIP = 0.88  # how much paper covers what is below words that could not be read [-]
SANS_WIDER = 1.2  # fonts of browsers against the one that texts are measured with [-]


@dataclass(frozen=True)
class Shape:
    """An area with holes, a line, or a circle.

    Attributes
    ----------
    rings : tuple of (k, 2) float
        Outline and holes, open; or the points of one line; or the middle of a circle. [px]
    fill, line : str or None
        Colors; None for not drawn.
    width : float
        Of the line. [px]
    dash : (float, float) or None
        Length of stroke and of gap. [px]
    radius : float
        Of a circle; 0 for everything else. [px]
    """

    rings: tuple[Array, ...]
    fill: str | None = None
    line: str | None = None
    width: float = 0.0
    dash: tuple[float, float] | None = None
    radius: float = 0.0

    @property
    def style(self) -> tuple[object, ...]:
        """All but the place; lines that share it can be drawn at once."""
        return self.fill, self.line, self.width, self.dash, self.radius


@dataclass
class Drawing:
    """What is drawn, back to front: shapes, then texts.

    Attributes
    ----------
    size : (float, float)
        Width and height. [px]
    shapes : list of Shape
    texts : list of Text
    """

    size: tuple[float, float]
    shapes: list[Shape] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)

    def area(
        self, geometry: BaseGeometry, fill: str | None, line: str | None = None, width: float = 0.0
    ) -> None:
        """Add polygons given in pixels."""
        for part in shapely.get_parts(geometry):
            rings = tuple(shapely.get_coordinates(ring)[:-1] for ring in shapely.get_rings(part))
            if rings:
                self.shapes.append(Shape(rings, fill, line, width))

    def line(self, points: Array, color: str, width: float, dash: tuple[float, float] | None = None) -> None:
        """Add a line through points (k, 2). [px]."""
        self.shapes.append(Shape((np.asarray(points, dtype=float),), None, color, width, dash))

    def circle(self, x: float, y: float, radius: float, fill: str, line: str, width: float) -> None:
        """Add a filled circle. [px]."""
        self.shapes.append(Shape((np.array([[x, y]]),), fill, line, width, None, radius))

    def arrow(self, start: Array, end: Array, color: str, width: float, head: float = 7.0) -> None:
        """Add a line with a filled head at its end. [px]."""
        way = (end - start) / max(float(np.linalg.norm(end - start)), 1e-9)
        side = np.array([-way[1], way[0]])
        self.line(np.stack([start, end - 0.8 * head * way]), color, width)
        tip = np.stack([end, end - head * way + 0.42 * head * side, end - head * way - 0.42 * head * side])
        self.shapes.append(Shape((tip,), color))

    def write(
        self,
        words: str,
        x: float,
        y: float,
        size: float,
        *,
        bold: bool = False,
        color: str = style.INK,
        align: str = "left",
        halo: bool = False,
    ) -> Text:
        """Add a line of text; y is the middle of the capitals. [px]."""
        text = Text(words, (x, y), size, bold, color, align, halo)
        self.texts.append(text)
        return text

    def lowered(self, by: float) -> Drawing:
        """The same, farther down on a sheet that is so much higher. [px]."""
        down = np.array([0.0, by])
        return Drawing(
            (self.size[0], self.size[1] + by),
            [replace(one, rings=tuple(ring + down for ring in one.rings)) for one in self.shapes],
            [replace(one, at=(one.at[0], one.at[1] + by)) for one in self.texts],
        )


@dataclass(frozen=True)
class Head:
    """Where a sheet's title and the lines below it stand: left edge and width, heights, steps. [px].

    Attributes
    ----------
    left, room : float
    title : (float, float)
        Height and size of the title.
    first, step, size : float
        Height of the first line, from line to line, and of letters.
    free : float
        Height down to which a sheet leaves room for them.
    """

    left: float
    room: float
    title: tuple[float, float]
    first: float
    step: float
    size: float
    free: float


def headed(drawing: Drawing, head: Head, name: str, answer: str, warnings: Sequence[str]) -> Drawing:
    """A sheet below its title, its answer, and what the reader must not miss, all of it in full lines."""
    lines = [(line, False) for line in wrap_text(answer, head.size, head.room)]
    for words in warnings:
        lines += [(line, True) for line in wrap_text(words, head.size, head.room, bold=True)]
    drawing = drawing.lowered(max(head.first + head.step * len(lines) - head.free, 0.0))
    drawing.write(name, head.left, *head.title, bold=True)
    for i, (line, bold) in enumerate(lines):
        color = style.EXCEEDED_ANCHORS[0] if bold else style.INK
        drawing.write(line, head.left, head.first + head.step * i, head.size, bold=bold, color=color)
    return drawing


def box_of(text: Text, pad: float = 1.5) -> Box:
    """Left, top, right, bottom of a text in whatever font a browser takes. [px]."""
    left, top, right, bottom = text.box
    more = 0.5 * (SANS_WIDER - 1.0) * (right - left)
    shift = {"left": more, "center": 0.0, "right": -more}[text.align]
    return left - more + shift - pad, top - pad, right + more + shift + pad, bottom + pad


def chips(drawing: Drawing) -> list[Box]:
    """Boxes of paper below words that stand on a color too dark for them: left, top, right, bottom. [px]."""
    dark = [
        shapely.Polygon(shape.rings[0], shape.rings[1:])
        for shape in drawing.shapes
        if shape.fill is not None
        and len(shape.rings[0]) >= 3
        and style.contrast(style.INK, shape.fill) < READS
    ]
    words = [text for text in drawing.texts if text.halo and text.color == style.INK]
    if not dark or not words:
        return []
    boxes = shapely.box(*np.array([text.box for text in words]).T)
    found = np.unique(shapely.STRtree(boxes).query(np.array(dark, dtype=object), predicate="intersects")[1])
    pad = np.array([0.16, -0.02, 0.16, -0.02]) * np.array([-1.0, -1.0, 1.0, 1.0])
    return [tuple((np.array(words[i].box) + pad * words[i].size).tolist()) for i in found.tolist()]


def drawing_svg(drawing: Drawing, title: str) -> str:
    """The drawing as an SVG element with a title."""
    parts = [_shape_svg(shape) for shape in _joined(drawing.shapes)]
    parts += [
        svg.element(
            "rect",
            x=left,
            y=top,
            width=right - left,
            height=bottom - top,
            rx=2.5,
            fill=style.PAPER,
            fill_opacity=CHIP,
        )
        for left, top, right, bottom in chips(drawing)
    ]
    anchor = {"left": "start", "center": "middle", "right": "end"}
    parts += [
        svg.text(
            text.text,
            text.at[0],
            text.at[1] + 0.35 * text.size,
            text.size,
            color=text.color,
            anchor=anchor[text.align],
            bold=text.bold,
            halo=text.halo,
        )
        for text in drawing.texts
    ]
    return svg.document(*drawing.size, title, parts)


def _joined(shapes: Sequence[Shape]) -> Iterator[Shape]:
    """Lines of one style that follow each other as one shape; areas stay apart, as they may overlap."""
    for key, group in itertools.groupby(shapes, key=lambda shape: shape.style):
        members = list(group)
        if key[0] is None:
            yield replace(members[0], rings=tuple(ring for shape in members for ring in shape.rings))
        else:
            yield from members


def _shape_svg(shape: Shape) -> str:
    more: dict[str, str | float] = {"fill": shape.fill or "none"}
    if shape.line is not None:
        more |= {"stroke": shape.line, "stroke_width": shape.width, "stroke_linejoin": "round"}
    if shape.radius > 0.0:
        x, y = shape.rings[0][0]
        return svg.element("circle", "", **more, cx=float(x), cy=float(y), r=shape.radius)
    if shape.dash is not None:
        more["stroke_dasharray"] = " ".join(svg.number(n) for n in shape.dash)
    if shape.fill is not None and len(shape.rings) > 1:
        more["fill_rule"] = "evenodd"
    more["d"] = "".join(svg.path(ring, closed=shape.fill is not None) for ring in shape.rings)
    return svg.element("path", "", **more)


def paint(drawing: Drawing) -> Image:
    """The drawing as pixels on paper."""
    from PIL import Image, ImageDraw

    from viewer.picture.labels import font

    width, height = (round(n) for n in drawing.size)
    fine = Image.new("RGB", (2 * width, 2 * height), style.PAPER)
    pen = ImageDraw.Draw(fine)
    for shape in drawing.shapes:
        _paint_shape(fine, pen, shape)
    ground = Image.new("L", fine.size)
    cover = ImageDraw.Draw(ground)
    for box in chips(drawing):
        cover.rounded_rectangle([2.0 * n for n in box], radius=5.0, fill=round(255.0 * CHIP))
    fine.paste(style.PAPER, (0, 0, *fine.size), ground)
    image = fine.reduce(2)
    pen = ImageDraw.Draw(image)
    for text in drawing.texts:
        anchor = {"left": "ls", "center": "ms", "right": "rs"}[text.align]
        at = (text.at[0], text.at[1] + 0.33 * text.size)
        face = font(max(round(text.size), 1), text.bold)
        if text.halo:
            stroke = max(round(0.13 * text.size), 1)
            pen.text(at, text.text, style.PAPER, face, anchor, stroke_width=stroke, stroke_fill=style.PAPER)
        pen.text(at, text.text, text.color, face, anchor)
    return image


def write_png(drawing: Drawing, path: Path) -> None:
    """Write the drawing as pixels, whole or not at all."""
    with atomic(path) as temporary:
        paint(drawing).save(temporary, format="PNG")


def _paint_shape(image: Image, pen: ImageDraw, shape: Shape) -> None:
    from PIL import Image, ImageDraw

    rings = [[(float(x), float(y)) for x, y in 2.0 * ring] for ring in shape.rings]
    if shape.radius > 0.0:
        (x, y), radius = rings[0][0], 2.0 * shape.radius
        box = (x - radius, y - radius, x + radius, y + radius)
        pen.ellipse(box, fill=shape.fill, outline=shape.line, width=max(round(2.0 * shape.width), 1))
        return
    if shape.fill is not None and len(rings[0]) >= 3:
        if len(rings) == 1:
            pen.polygon(rings[0], fill=shape.fill)
        else:
            mask = Image.new("L", image.size)
            cut = ImageDraw.Draw(mask)
            cut.polygon(rings[0], fill=255)
            for hole in rings[1:]:
                cut.polygon(hole, fill=0)
            image.paste(shape.fill, (0, 0, *image.size), mask)
    if shape.line is None:
        return
    width = max(round(2.0 * shape.width), 1)
    for ring in rings:
        points = [*ring, ring[0]] if shape.fill is not None else ring
        if shape.dash is None:
            pen.line(points, fill=shape.line, width=width, joint="curve")
            continue
        for start, end in _dashes(np.array(points), shape.dash):
            pen.line([tuple(start), tuple(end)], fill=shape.line, width=width)


def _dashes(points: Array, dash: Sequence[float]) -> list[tuple[Array, Array]]:
    """Strokes of a dashed line through points (k, 2) at twice the scale. [px]."""
    stroke, gap = 2.0 * dash[0], 2.0 * dash[1]
    found = []
    for start, end in itertools.pairwise(points):
        length = float(np.linalg.norm(end - start))
        way = (end - start) / max(length, 1e-9)
        begins = np.arange(0.0, length, stroke + gap)
        found += [(start + b * way, start + min(b + stroke, length) * way) for b in begins]
    return found
