"""The table rail.profile: any cross-section, by drawing, points or shape."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from roofmodel.project.base import Table
from roofmodel.project.field_types import Angle, AnySize, Line, Size, Size0
from roofmodel.units import parse, shown

MOST_POINTS = 2000


def _outline(value: object) -> list[tuple[float, float]]:
    """Corners from "0 0, 40 0, 40 3 mm"."""
    body, _, unit = value.strip().rpartition(" ") if isinstance(value, str) else ("", "", "")
    pairs = [pair.split() for pair in body.split(",")]
    if not 3 <= len(pairs) <= MOST_POINTS or any(len(pair) != 2 for pair in pairs):
        msg = f'{shown(value)} is no outline; write its corners in order, like "0 0, 40 0, 40 3, 0 3 mm"'
        raise ValueError(msg)
    return [(parse(f"{y} {unit}", "size"), parse(f"{z} {unit}", "size")) for y, z in pairs]


class HoleTable(Table):
    """A hole drilled through all walls in its way, taken to be at the worst place along the rail."""

    diameter: Size = Field(description="Of the hole.")
    axis: Literal["slope", "normal"] = Field(description="Drilled along the slope or square to the roof.")
    at: AnySize = Field(
        description="Place of the hole's axis on the other coordinate, in the outline's own coordinates."
    )


class ProfileTable(Table):
    """A cross-section: its first coordinate runs up the slope, its second away from the roof."""

    file: Line | None = Field(None, description="DXF drawing of the outline, or CSV with columns y and z.")
    unit: Line | None = Field(
        None,
        description='Unit of a drawing that does not say it; "mm instead of in" where it says it wrong.',
    )
    layer: Line | None = Field(None, description="Layer of the drawing; all by default.")
    points: Annotated[list[tuple[float, float]], BeforeValidator(_outline)] | None = Field(
        None, description='Corners of the outline in order, like "0 0, 40 0, 40 3, 3 3, 3 40, 0 40 mm".'
    )
    shape: (
        Literal[
            "round tube",
            "rectangular tube",
            "angle",
            "channel",
            "lipped channel",
            "tee",
            "hat",
            "plate and tube",
        ]
        | None
    ) = Field(None, description="Shape with sizes.")
    diameter: Size | None = Field(None, description="Shape: outside diameter.")
    width: Size | None = Field(None, description="Shape: outside size up the slope.")
    depth: Size | None = Field(None, description="Shape: outside size away from the roof; height of a plate.")
    wall: Size | None = Field(None, description="Shape: wall thickness.")
    lip: Size | None = Field(None, description="Shape: outside length of a lip.")
    plate: Size | None = Field(None, description="Plate and tube: thickness of the plate.")
    radius: Size0 = Field(0.0, description="Shape: inside radius of its bends.")
    turn: Angle = Field(0.0, description="Turns the outline counter-clockwise.")
    mirror: bool = Field(False, description="Mirrors the outline, uphill for downhill, before it is turned.")
    hole: list[HoleTable] = Field(default_factory=list, description="Holes; all count at one place.")
