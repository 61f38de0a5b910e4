"""The table [[solar]] of the project file."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from roofmodel.project.base import Table
from roofmodel.project.field_types import ArrayWeight, Force, Holding, Length, Length0, Line, Size0


class SolarTable(Table):
    """Solar array on a plane, parallel to it: slippery glass above a gap, on clamps on the seams."""

    name: Line = Field(min_length=1, max_length=60, description="Name.")
    plane: Line = Field(min_length=1, max_length=60, description="Plane it stands on.")
    across: Length0 = Field(description="Its middle, from the left end of the plane, looking up the slope.")
    up: Length0 = Field(description="Its middle, up the slope from the plane's lowest point.")
    width: Length = Field(description="Size along the eave.")
    depth: Length = Field(description="Size up the slope, measured on the roof.")
    gap: Size0 = Field(description="Clear height between roof and glass, square to the roof.")
    weight: ArrayWeight = Field(description="Weight of glass and frame for each area of glass.")
    snow: Literal["both", "dammed", "released"] = Field(
        "both",
        description="dammed: snow above and on it loads the array; released: all slides over and off it onto "
        "what lies below; both (safe): the array carries the first, the rows below the second.",
    )
    gap_passes: bool = Field(
        False,
        description="Snow that is nowhere deeper than the gap slides through below the glass and does not "
        "lean on it.",
    )
    clamp_every: int = Field(1, ge=1, le=20, description="A line of clamps on every n-th seam.")
    clamp_first: int = Field(1, ge=1, le=20, description="First seam with clamps, from the array's left end.")
    clamps_up: int = Field(2, ge=1, le=200, description="Clamps on each of these seams, up the slope.")
    clamps_share: bool = Field(
        False,
        description="The clamps of one seam share evenly what leans on the upper edge (rails up the slope); "
        "else the uppermost takes it all.",
    )
    clamp_strength: Holding | None = Field(
        None,
        description="Design strength of one array clamp along the seam, in the format of design; without it "
        "the clamps are not verified.",
    )
    counted_on: Force | None = Field(
        None,
        description="Force down the slope that the array may be counted on to hold, allowable (before load "
        'factors); relieves the rows below; only with snow = "dammed"; none by default.',
    )

    @model_validator(mode="after")
    def _agree(self) -> SolarTable:
        if self.counted_on is not None and (self.snow != "dammed" or self.gap_passes):
            msg = (
                f'solar "{self.name}".counted_on: snow that is let past the array is not held by it; use '
                'snow = "dammed" and gap_passes = false, or leave counted_on out'
            )
            raise ValueError(msg)
        return self
