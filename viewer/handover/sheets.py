"""Paper sheets of plan.dxf: the roof, and each plane with rows, to scale, with a title block."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from roofmodel.project.load import Project
from viewer.handover.pen import LETTER

if TYPE_CHECKING:
    from ezdxf.layouts import Paperspace

Array = NDArray[np.float64]

# Paper [mm], and scales that drawings are made to, the largest first (common practice).
PAPER = {"SI": (420.0, 297.0), "US": (431.8, 279.4)}  # A3, 17 by 11 in
SCALES = {
    "SI": (10, 20, 25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000, 2000),
    "US": (12, 16, 24, 32, 48, 64, 96, 128, 192, 384, 768, 1536),  # 1 in to 1 ft, 3/4 in to 1 ft, ...
}
_PER_FOOT = {
    12: "1",
    16: "3/4",
    24: "1/2",
    32: "3/8",
    48: "1/4",
    64: "3/16",
    96: "1/8",
    128: "3/32",
    192: "1/16",
}
EDGE, BLOCK = 10.0, 50.0  # margin of the sheet, height of the title block [mm]
ROOM = (70.0, 80.0)  # beside and above a plane for its dimensions and notes [mm]
CELL = 55.0  # width of a field of the title block [mm]
TEXT = 2.5  # height of letters on paper [mm]


@dataclass(frozen=True)
class Place:
    """What a sheet shows: title, the lower left and upper right corner of it in the model [m], its scale."""

    title: str
    low: Array
    high: Array
    scale: int


def scale_for(size: Array, system: str) -> int:
    """Largest scale (its denominator) at which a plane (2,) [m] has room on the sheet with what is around."""
    wide, tall = PAPER[system]
    room = np.array([wide - 2.0 * EDGE - ROOM[0], tall - 2.0 * EDGE - BLOCK - ROOM[1]]) * 1e-3
    need = float((size / room).max())
    return next((scale for scale in SCALES[system] if scale >= need), int(np.ceil(need / 1000.0) * 1000.0))


def overview_scale(size: Array, system: str, around: float) -> int:
    """The same for the roof from above (2,) [m] with `around` [mm of paper] on each side."""
    wide, tall = PAPER[system]
    room = np.array([wide - 2.0 * (EDGE + around), tall - 2.0 * (EDGE + around) - BLOCK]) * 1e-3
    need = float((size / room).max())
    return next((scale for scale in SCALES[system] if scale >= need), int(np.ceil(need / 1000.0) * 1000.0))


def scale_words(scale: int, system: str) -> str:
    """A scale as drawings say it, such as 1:50, or 1/4" = 1'-0" (1:48)."""
    per_foot = _PER_FOOT.get(scale) if system == "US" else None
    return f"1:{scale}" if per_foot is None else f'{per_foot}" = 1\'-0" (1:{scale})'


def add_sheets(
    drawing: Any,
    project: Project,
    places: list[Place],
    warn: str,
    loud: tuple[str, ...],
    today: date,
) -> None:
    """Add a paper layout for every place, at its scale or a smaller one where it needs that.

    `warn` and up to two sentences `loud` stand in every title block.
    """
    system = project.table.project.units
    paper = 1.0 if system == "SI" else 1.0 / 25.4  # of a millimeter
    unit = 0.0254 if system == "US" else 1e-3
    wide, tall = PAPER[system]
    for number, place in enumerate(places, 1):
        name = f"{number} {place.title}"[:31]
        layout = drawing.layouts.new(_plain(name))
        layout.page_setup(
            size=(wide * paper, tall * paper), margins=(0, 0, 0, 0), units="mm" if system == "SI" else "inch"
        )
        box = np.array([wide - 2.0 * EDGE, tall - 2.0 * EDGE - BLOCK])
        own = max(place.scale, _fit(place, box, system))
        middle = 0.5 * (place.low + place.high) / unit
        size = np.minimum(box, (place.high - place.low) * 1e3 / own)
        center = np.array([0.5 * wide, EDGE + BLOCK + 0.5 * box[1]]) * paper
        layout.add_viewport(
            center=center.tolist(),
            size=(size * paper).tolist(),
            view_center_point=middle.tolist(),
            view_height=float(size[1] * 1e-3 / unit * own),
            dxfattribs={"layer": "VIEWPORTS"},
        )
        title = _Block(layout, paper, wide)
        on = f"{number} of {len(places)}"
        title.draw(project, place.title, scale_words(own, system), on, (warn, *loud), today)
    drawing.layouts.delete("Layout1")


def _fit(place: Place, box: Array, system: str) -> int:
    need = float(((place.high - place.low) / (box * 1e-3)).max())
    return next((scale for scale in SCALES[system] if scale >= need), int(np.ceil(need / 1000.0) * 1000.0))


def _fitting(said: Sequence[str], wide: float, high: float) -> tuple[float, list[str]]:
    """Height of letters and lines of sentences in a box of a title block, as large as they go. [mm]."""
    for size in (2.5, 2.2, 2.0, 1.8, 1.6):
        lines = [line for one in said for line in textwrap.wrap(one, int(wide / (LETTER * size)))]
        if 1.3 * size * (len(lines) - 1) <= high:
            break
    return size, lines


def _plain(name: str) -> str:
    """A name for a layout: no characters that the format forbids."""
    return "".join("-" if c in '<>/\\":;?*|=`,' else c for c in name).strip() or "sheet"


@dataclass(frozen=True)
class _Block:
    """Border and title block of a sheet; lengths in millimeters of paper."""

    layout: Paperspace
    paper: float
    wide: float

    def line(self, points: list[tuple[float, float]], *, close: bool = False) -> None:
        at = [(x * self.paper, y * self.paper) for x, y in points]
        self.layout.add_lwpolyline(at, close=close, dxfattribs={"layer": "TITLE"})

    def write(self, words: str, x: float, y: float, size: float = TEXT, room: float = 0.0) -> None:
        """Text, if any, with its lower left corner at (x, y), made narrower where it has less `room`."""
        attributes = {"layer": "TITLE", "style": "PLAIN"}
        if not words:
            return
        text = self.layout.add_text(words, height=size * self.paper, dxfattribs=attributes)
        if room and 0.72 * size * len(words) > room:
            text.dxf.width = max(room / (0.72 * size * len(words)), 0.4)
        text.set_placement((x * self.paper, y * self.paper))

    def draw(
        self, project: Project, title: str, scale: str, sheet: str, warn: tuple[str, ...], today: date
    ) -> None:
        table, tall = project.table.project, PAPER[project.table.project.units][1]
        left, right, low, top = EDGE, self.wide - EDGE, EDGE, EDGE + BLOCK
        self.line([(left, low), (right, low), (right, tall - EDGE), (left, tall - EDGE)], close=True)
        self.line([(left, top), (right, top)])
        notes, fields = left + 100.0, right - 2.0 * CELL
        for x in (notes, fields):
            self.line([(x, low), (x, top)])
        self.write(table.name, left + 3.0, top - 9.0, 5.0, notes - left - 6.0)
        self.write(title, left + 3.0, top - 18.0, 4.0, notes - left - 6.0)
        self.write(f"Scale {scale}", left + 3.0, top - 26.0, 3.5)
        self.write(f"Sheet {sheet}", left + 3.0, top - 33.0, 3.5)
        lengths = "feet and inches" if table.units == "US" else "millimeters"
        said = (
            f"Lengths in {lengths}, true up the slope. Measure on site before cutting.",
            "Planes seen from outside, eave below. Numbers: clamp, distance from the rail's left end.",
            "Clamps only on the seam, sheet and tightening they were tested on.",
            "Review by a licensed engineer. Work at height can kill.",
            *warn[1:],
        )
        size, lines = _fitting(said, fields - notes - 6.0, BLOCK - 18.0 if warn[0] else BLOCK - 9.0)
        for k, words in enumerate(lines):
            self.write(words, notes + 3.0, top - 5.0 - 1.3 * size * k, size, fields - notes - 6.0)
        head, _, rest = warn[0].partition(": ")
        self.write(head, notes + 3.0, low + 6.5, 4.0, fields - notes - 6.0)
        self.write(rest, notes + 3.0, low + 2.5, 2.2, fields - notes - 6.0)
        cells = (
            ("Client", table.client),
            ("Project no.", table.project_number),
            ("Revision", table.revision),
            ("Date", today.isoformat()),
            ("By", table.engineer),
            ("Checked by", table.checked_by),
        )
        for k, (word, value) in enumerate(cells):
            x, y = fields + CELL * (k % 2), top - BLOCK / 3.0 * (k // 2 + 1)
            self.line([(x, y), (x + CELL, y), (x + CELL, y + BLOCK / 3.0)])
            self.write(word, x + 2.0, y + BLOCK / 3.0 - 4.0, 2.0)
            self.write(value, x + 2.0, y + 2.5, 3.0, CELL - 4.0)
