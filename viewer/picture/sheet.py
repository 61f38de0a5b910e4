"""The sheet over the 3D picture: shapes and texts in pixels, and painting them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from viewer import style
from viewer.picture.labels import Text
from viewer.picture.marks import mark_shape, question_mark

if TYPE_CHECKING:
    from PIL.Image import Image

Array = NDArray[np.float64]

HEADER, FOOTER, MARGIN = 74.0, 92.0, 20.0  # bands of the page [pt]


@dataclass(frozen=True)
class Shape:
    """A polygon or line (k, 2) in pixels; colors are None for not drawn."""

    points: Array
    fill: str | None = None
    line: str | None = None
    width: float = 0.0


@dataclass
class Overlay:
    """Everything that is drawn over the pixels, back to front: shapes, then texts.

    Attributes
    ----------
    size : (int, int)
        [px]
    shapes : list of Shape
    texts : list of Text
    unnamed : list of str
        Rows and planes for whose names there was no room.
    """

    size: tuple[int, int]
    shapes: list[Shape] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    unnamed: list[str] = field(default_factory=list)

    @property
    def point(self) -> float:
        """Pixels of a point."""
        return self.size[0] / style.REFERENCE_WIDTH

    def type_size(self, name: str) -> float:
        """Font size by its name in the style. [px]."""
        return style.TYPE_SIZE[name] * self.point

    def write(
        self,
        text: str,
        x: float,
        y: float,
        name: str,
        *,
        bold: bool = False,
        color: str = style.INK,
        align: str = "left",
        halo: bool = False,
    ) -> Text:
        """Add a line of text; y is the middle of the capitals. [px]."""
        line = Text(text, (x, y), self.type_size(name), bold, color, align, halo)
        self.texts.append(line)
        return line

    def mark(self, use: float, x: float, y: float, size: float) -> None:
        """Add a clamp mark as the 3D picture draws it. [px]."""
        at, mark = np.array([x, y]), style.utilization_mark(use)
        shape = mark_shape(mark) * np.array([1.0, -1.0])
        outline = 1.26 if mark is style.Mark.KEPT else 1.40
        self.shapes.append(Shape(at + outline * size * shape, fill=style.INK))
        self.shapes.append(Shape(at + size * shape, fill=style.utilization_color(use)))
        if mark is style.Mark.UNVERIFIED:
            for piece in question_mark():
                self.shapes.append(Shape(at + size * piece * np.array([1.0, -1.0]), fill=style.PAPER))


def paint(pixels: NDArray[np.uint8], overlay: Overlay) -> Image:
    """Draw the overlay on the pixels (h, w, 3)."""
    from PIL import Image, ImageDraw

    from viewer.picture.labels import font

    image = Image.fromarray(pixels)
    fine = Image.new("RGBA", (2 * overlay.size[0], 2 * overlay.size[1]), (255, 255, 255, 0))
    pen = ImageDraw.Draw(fine)
    for shape in overlay.shapes:
        corners = [(float(x), float(y)) for x, y in 2.0 * shape.points]
        if shape.fill is not None:
            pen.polygon(corners, fill=shape.fill)
        if shape.line is not None:
            closed = [*corners, corners[0], corners[1]] if shape.fill is not None else corners
            pen.line(closed, fill=shape.line, width=max(round(2.0 * shape.width), 1), joint="curve")
    layer = fine.reduce(2)
    image.paste(layer.convert("RGB"), (0, 0), layer.getchannel("A"))
    pen = ImageDraw.Draw(image)
    for text in overlay.texts:
        anchor = {"left": "ls", "center": "ms", "right": "rs"}[text.align]
        at = (text.at[0], text.at[1] + 0.33 * text.size)
        face = font(max(round(text.size), 1), text.bold)
        if text.halo:
            around = image.crop(text.box).reduce(4)
            shade = tuple(int(n) for n in np.median(np.asarray(around).reshape(-1, 3), axis=0))
            pen.text(
                at, text.text, shade, face, anchor, stroke_width=round(0.14 * text.size), stroke_fill=shade
            )
        pen.text(at, text.text, text.color, face, anchor)
    return image
