"""The table [[framing]] of the project file: what carries the roof below the panels."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field, model_validator

from roofmodel.project.base import StrengthKind, Table
from roofmodel.project.field_types import Length, Length0, Line, Moment, Step, _read

DeadLoad = Annotated[float, BeforeValidator(_read("pressure", 1.0, 5e3))]


class FramingTable(Table):
    """Purlins, what they rest on, and the overhang of the eave."""

    plane: Line | None = Field(
        None, description="Plane that it carries; every plane without a table of its own by default."
    )
    purlin_spacing: Step | None = Field(
        None, description="Distance of purlin lines up the slope; one more line stands at the plane's top."
    )
    first_purlin: Length0 = Field(
        0.0, description="Lowest purlin line for purlin_spacing, up the slope from the plane's lowest point."
    )
    purlins: list[Length0] = Field(
        default_factory=list,
        max_length=400,
        description="Or every purlin line one by one, up the slope from the plane's lowest point.",
    )
    frame_spacing: Length | None = Field(
        None,
        description="Distance of the frames, rafters or trusses that purlins rest on, from the left end of "
        "the plane; one more at its right end.",
    )
    frames: list[Length0] = Field(
        default_factory=list,
        max_length=400,
        description="Or every frame one by one, from the left end of the plane; purlins reach beyond the "
        "outermost ones as cantilevers.",
    )
    overhang: Length0 = Field(
        0.0, description="Eave beyond the wall or frame line that carries it, up the slope."
    )
    moment_strength: Moment | None = Field(
        None,
        description="Bending strength of a purlin, the lesser of sagging and hogging; not checked without.",
    )
    moment_strength_kind: StrengthKind = Field("nominal", description="What the bending strength is.")
    moment_strength_factor: float | None = Field(
        None, gt=0, le=10, description="ASD safety factor, LRFD resistance factor or EN partial factor."
    )
    dead_load: DeadLoad | None = Field(
        None,
        description="Covering, deck and purlins, per area of slope; needed with moment_strength.",
    )

    @model_validator(mode="after")
    def _whole(self) -> FramingTable:
        if self.purlin_spacing is not None and self.purlins:
            msg = "purlins: give either purlin_spacing or purlins, not both"
            raise ValueError(msg)
        if self.frame_spacing is not None and self.frames:
            msg = "frames: give either frame_spacing or frames, not both"
            raise ValueError(msg)
        lines = self.purlin_spacing is not None or bool(self.purlins)
        spans = self.frame_spacing is not None or bool(self.frames)
        if spans and not lines:
            msg = "purlin_spacing is missing; frames carry purlins, so give purlin_spacing or purlins"
            raise ValueError(msg)
        if not lines and self.overhang == 0.0:
            msg = "purlin_spacing is missing; give purlin_spacing, purlins or overhang"
            raise ValueError(msg)
        if self.moment_strength is not None:
            for there, name in ((spans, "frame_spacing"), (self.dead_load is not None, "dead_load")):
                if not there:
                    msg = f"{name} is missing; moment_strength needs it"
                    raise ValueError(msg)
        return self
