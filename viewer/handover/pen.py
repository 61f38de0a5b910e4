"""How plan.dxf is drawn: polylines and texts in model space, lengths as a tape reads them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from roofmodel.project.load import Project

if TYPE_CHECKING:
    from ezdxf.layouts import Modelspace

Array = NDArray[np.float64]

LETTER = 0.62  # width of a letter over the height of text [-]
CLAMP = 0.35  # size of a clamp on paper over the spacing of seams [-]


@dataclass(frozen=True)
class Sheet:
    """Where drawing goes, its unit in meters, its text size in drawing units, how lengths read."""

    space: Modelspace
    unit: float
    text: float
    system: str
    style: str = "PLAN"

    def say(self, length: float) -> str:
        """A length [m] as an installer reads a tape."""
        return inches(length) if self.system == "US" else f"{1e3 * length:.0f}"


def inches(length: float) -> str:
    """Feet and inches of a length [m] to the nearest sixteenth, such as 12'-3 1/4 and the mark of inches."""
    sixteenths = round(length / 0.0254 * 16.0)
    feet, rest = divmod(abs(sixteenths), 192)
    whole, part = divmod(rest, 16)
    below = 16
    while part and part % 2 == 0:
        part, below = part // 2, below // 2
    sign = "-" if sixteenths < 0 else ""
    fraction = f" {part}/{below}" if part else ""
    return f"{sign}{feet}'-{whole}{fraction}\"" if feet else f'{sign}{whole}{fraction}"'


def outline_of(project: Project, plane: int) -> Array:
    """Outer ring (k, 2) of a plane, unfolded, the first point again at its end. [m]."""
    return np.asarray(project.roof.planes.outline[plane].exterior.coords)


def put(sheet: Sheet, points: Array, layer: str, *, close: bool = False) -> None:
    """A line through points (k, 2) in model space, or around them. [m]."""
    sheet.space.add_lwpolyline((points / sheet.unit).tolist(), close=close, dxfattribs={"layer": layer})


def write(
    sheet: Sheet,
    words: str,
    at: Array,
    *,
    layer: str = "TEXT",
    size: float = 1.0,
    turn: float = 0.0,
    align: str = "BOTTOM_LEFT",
) -> None:
    """A line of text at a place (2,) [m]; `size` over that of text, `turn` in degrees."""
    from ezdxf.enums import TextEntityAlignment

    text = sheet.space.add_text(
        words,
        height=size * sheet.text,
        rotation=turn,
        dxfattribs={"layer": layer, "style": "PLAIN"},
    )
    text.set_placement((at / sheet.unit).tolist(), align=TextEntityAlignment[align])


def note(sheet: Sheet, words: str, at: Array, turn: float, *, layer: str = "TEXT", corner: int = 1) -> None:
    """A line of text on a ground of its own, so that seams do not run through it; `at` is its corner."""
    note = sheet.space.add_mtext(
        words, dxfattribs={"layer": layer, "style": "PLAIN", "char_height": 0.9 * sheet.text}
    )
    note.set_location((at / sheet.unit).tolist(), rotation=turn, attachment_point=corner)
    note.set_bg_color("canvas", scale=1.15)
