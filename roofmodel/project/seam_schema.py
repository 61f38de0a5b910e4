"""The table [seam] of the project file: fold, sheet, clips, fixed point and bearing."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from roofmodel.project.base import StrengthKind, Table
from roofmodel.project.field_types import (
    BedStiffness,
    Elasticity,
    Holding,
    Length,
    Length0,
    LineStiffness,
    LineStrength,
    Size,
    Size0,
    Step,
    Stiffness,
    Stress,
    Warmth,
)


class LockStiffness(Table):
    """Stiffness of the fold between its two sheets, per length of seam."""

    along: LineStiffness = Field(description="Sliding along the seam.")
    across: LineStiffness = Field(description="Opening across the seam.")
    vertical: LineStiffness = Field(description="Shear square to the roof.")


class ClipStiffness(Table):
    """Stiffness of one clip between seam and structure."""

    across: Stiffness = Field(description="Level, across the seam.")
    pull: Stiffness = Field(description="Square to the roof.")


class SeamTable(Table):
    """Seam, clips and bearing, for `eavewright seam` and analysis.panel_flexibility."""

    lock: Literal["single lock", "double lock"] = Field(description="How the two sheets are folded together.")
    fold_height: Size | None = Field(
        None, description="Height of the folded top; a quarter of the seam height by default."
    )
    lock_stiffness: LockStiffness | None = Field(
        None,
        description="Of the fold, from tests; 5, 20 and 20 N/mm^2 for a double lock, half for a single one "
        "(judgment) by default.",
    )
    opening_strength: LineStrength | None = Field(
        None, description="Strength of the fold against opening, per length, from tests."
    )
    clip_strength: Holding | None = Field(
        None, description="Strength of one clip against uplift, from tests."
    )
    strength_kind: StrengthKind = Field("nominal", description="What these two strengths are.")
    factor: float | None = Field(
        None, gt=0, le=10, description="ASD safety factor, LRFD resistance factor or EN partial factor."
    )
    yield_strength: Stress = Field(description="Yield or 0.2 % proof strength of the sheet.")
    yield_factor: float | None = Field(
        None, gt=0, le=5, description="ASD Omega, LRFD phi or EN gamma_M for yield, if not the usual one."
    )
    E: Elasticity | None = Field(None, description="Young's modulus, if not the usual one of the metal.")
    pan_ribs: int = Field(0, ge=0, le=8, description="Stiffening ribs in the pan, evenly spread.")
    pan_rib_height: Size | None = Field(None, description="Height of one rib.")
    pan_rib_width: Size | None = Field(None, description="Width of one rib at its foot.")
    clip_first: Length0 | None = Field(
        None, description="First clip from the eave along the seam; half a clip spacing by default."
    )
    clip_length: Size = Field(0.05, description='Length of seam that one clip grips; "50 mm".')
    clip_stiffness: ClipStiffness = Field(description="Stiffness of one clip.")
    clip_gap: Size0 = Field(0.0, description="Uplift before a clip takes hold.")
    fixed_clips: bool = Field(
        False, description="Clips that hold the seam along it too; sliding clips by default."
    )
    clamps_pin_clips: bool = Field(
        True, description="Whether a clamp that stands over a sliding clip stops the seam from sliding there."
    )
    fixed_at: Literal["ridge", "eave", "middle"] = Field(
        "ridge", description="Where a panel strip is fixed along its seam."
    )
    fixed_stiffness: Stiffness = Field(
        1.0e7, description='Of the fixed point of one strip along the seam; "10 kN/mm" (judgment).'
    )
    bearing: Literal["deck", "purlins", "none"] = Field(description="What the pan lies on.")
    bearing_stiffness: BedStiffness | None = Field(
        None, description='Of the deck, force per area and depth; "0.05 N/mm^3" (judgment).'
    )
    purlin_stiffness: LineStiffness | None = Field(
        None, description='Of a purlin under the pan, force per length and depth; "5 N/mm^2" (judgment).'
    )
    purlin_spacing: Step | None = Field(None, description="Distance of purlins along the seam.")
    through_fixings: list[Length] = Field(
        default_factory=list,
        max_length=200,
        description="Screws through the sheet, distance up the seam from the eave.",
    )
    temperature_change: Warmth = Field(
        0.0,
        description='Sheet temperature less that at installation, such as "-30 K" or "-54 delta_degF"; '
        "it counts both ways.",
    )

    @model_validator(mode="after")
    def _agree(self) -> SeamTable:
        if self.pan_ribs and (self.pan_rib_height is None or self.pan_rib_width is None):
            msg = "pan_ribs needs pan_rib_height and pan_rib_width"
            raise ValueError(msg)
        if not self.pan_ribs and (self.pan_rib_height is not None or self.pan_rib_width is not None):
            msg = "pan_rib_height and pan_rib_width go with pan_ribs; say how many there are"
            raise ValueError(msg)
        if self.bearing == "purlins" and self.purlin_spacing is None:
            msg = 'purlin_spacing is missing; bearing = "purlins" needs the distance from purlin to purlin'
            raise ValueError(msg)
        if self.bearing != "purlins" and self.purlin_spacing is not None:
            msg = f'purlin_spacing: leave it out; bearing is "{self.bearing}", not "purlins"'
            raise ValueError(msg)
        wrong = self.bearing_stiffness if self.bearing != "deck" else self.purlin_stiffness
        wrong = wrong or (self.purlin_stiffness if self.bearing == "none" else None)
        if wrong is not None:
            msg = 'bearing_stiffness goes with bearing = "deck", purlin_stiffness with "purlins"'
            raise ValueError(msg)
        return self
