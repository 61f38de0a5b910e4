"""The tables [[roof.part]] and [[roof.dormer]] of the project file."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from roofmodel.project.base import Table
from roofmodel.project.field_types import Angle, AnyLength, Length, Length0, Line, Pitch, Points


class Part(Table):
    """One roof built from a footprint; several parts make steps and cross gables."""

    name: Line = Field("", max_length=60, description="For messages.")
    shape: Literal[
        "shed",
        "gable",
        "hip",
        "L",
        "flat",
        "vault",
        "gambrel",
        "mansard",
        "half-hip",
        "saltbox",
        "saw-tooth",
        "cone",
        "dome",
    ] = Field(description="Roof shape.")
    footprint: Points | None = Field(
        None,
        description="Plan outline of the roof, eave line to eave line, in order; needed for all shapes but "
        "cone and dome.",
    )
    center: list[AnyLength] | None = Field(
        None, min_length=2, max_length=2, description="Cone and dome: x and y of the middle."
    )
    radius: Length | None = Field(None, description="Cone and dome: of the circle that the eaves touch.")
    pitch: Pitch | None = Field(None, description='One pitch for all edges: "25 deg" or "6:12".')
    pitches: list[Pitch] | None = Field(
        None, description='One pitch for each footprint edge in order; "gable" for an upright end.'
    )
    eave_height: Length0 = Field(description="Height of the eaves above the ground.")
    fall: Angle | None = Field(
        None,
        description="Shed and saw-tooth, and rear of a saltbox: compass direction of the fall, clockwise "
        "from north.",
    )
    rise: Length | None = Field(None, description="Vault and dome: height of the crown above the springings.")
    facets: int = Field(
        12, ge=6, le=60, description="Vault, cone and dome: flat strips that stand for the curve."
    )
    rings: int = Field(6, ge=2, le=30, description="Dome: rings of facets from eave to crown.")
    upper_pitch: Pitch | None = Field(
        None, description='Gambrel and mansard: pitch above the break; "0 deg" for a level top.'
    )
    break_height: Length | None = Field(
        None, description="Gambrel and mansard: height of the break above the eaves."
    )
    clip_height: Length | None = Field(
        None, description="Half-hip: height above the eaves at which the cut-off ends start."
    )
    clip_pitch: Pitch | None = Field(
        None, description="Half-hip: pitch of the cut-off ends; that of the roof by default."
    )
    rear_eave_height: Length0 | None = Field(
        None, description="Saltbox: height of its lower eave above the ground."
    )
    teeth: int = Field(3, ge=1, le=100, description="Saw-tooth: sheds one behind the other.")
    courtyards: list[Points] = Field(
        default_factory=list,
        description="Hip, mansard and flat: openings in the footprint, whose edges are eaves.",
    )
    courtyard_pitch: Pitch | None = Field(
        None,
        description="Hip and mansard: pitch of the slopes that fall into the courtyards; pitch by default.",
    )


class DormerTable(Table):
    """Dormer on one plane; larger ones and cross gables are parts."""

    name: Line = Field("", max_length=60, description="For messages.")
    plane: Line = Field(
        min_length=1, max_length=60, description="Plane it stands on, as named without any dormers."
    )
    kind: Literal["gable", "hip", "shed"] = Field("gable", description="Roof of the dormer.")
    across: Length0 = Field(
        description="Middle of its front, from the left end of the plane, looking up the slope."
    )
    up: Length0 = Field(description="Its front, up the slope from the plane's lowest point.")
    width: Length = Field(description="Between its cheeks.")
    height: Length0 = Field(description="Height of its eaves above the plane at the front.")
    pitch: Pitch = Field(description="Pitch of its roof.")


class BuiltRoof(Table):
    """A roof built from parts."""

    part: list[Part] = Field(min_length=1, description="Parts; higher parts cut lower ones.")
    dormer: list[DormerTable] = Field(default_factory=list, description="Dormers on the planes of the parts.")
