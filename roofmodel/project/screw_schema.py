"""The table [clamp.screws] of the project file: a bracket on screws through an exposed-fastened panel."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from roofmodel.project.base import StrengthKind, Table
from roofmodel.project.field_types import AnySize, Grip, Holding, Sheet, Size, Stress

MOST = 40


class ScrewsTable(Table):
    """Screws of one bracket, through the panel into purlin or deck; checked besides clamp.strength."""

    along: list[AnySize] | None = Field(
        None,
        min_length=1,
        max_length=MOST,
        description="Place of each screw along the seam from the bracket's center, down the slope positive.",
    )
    across: list[AnySize] | None = Field(
        None,
        min_length=1,
        max_length=MOST,
        description="Place of each screw level across the seam; all on the center line by default.",
    )
    count: int | None = Field(
        None, ge=1, le=MOST, description="Screws in one line along the seam, in place of along and across."
    )
    spacing: Grip | None = Field(None, description="Between the screws of that line.")
    base_along: Size | None = Field(
        None, description="Size of the bracket's base along the seam; screws in one line lean on its edge."
    )
    base_across: Size | None = Field(None, description="Size of the bracket's base across the seam.")
    diameter: Size = Field(description="Of the screw's thread, outside.")
    head_diameter: Size = Field(description="Of the screw's head or its metal washer, whichever is larger.")
    thread_pitch: Size | None = Field(
        None, description="From thread to thread; EN 1993-1-3 gives sheet thicker than this more pull-out."
    )
    base_thickness: Sheet | None = Field(None, description="Of the bracket's steel below the heads.")
    base_ultimate: Stress | None = Field(None, description="Tensile strength of the bracket's steel.")
    base_metal: Literal["steel", "other"] | None = Field(
        None, description="Of the bracket; strengths of steel can be calculated, others need tests."
    )
    support_thickness: Sheet | None = Field(
        None, description="Of the steel that holds the threads: purlin, deck, or the panel alone."
    )
    support_ultimate: Stress | None = Field(
        None,
        description="Its tensile strength; AISI S100 A3 counts 75 % of that of hard sheet (grade 80).",
    )
    support_metal: Literal["steel", "other"] | None = Field(
        None, description="Of what holds the threads; aluminum and wood are other and need tests."
    )
    screw_shear: Holding | None = Field(
        None, description="Shear strength of the screw itself, nominal or characteristic, from its maker."
    )
    screw_tension: Holding | None = Field(
        None, description="Tension strength of the screw itself, nominal or characteristic, from its maker."
    )
    shear: Holding | None = Field(
        None, description="Tested shear of one screw in this joint, in place of calculation."
    )
    pull_out: Holding | None = Field(
        None, description="Tested pull-out of one screw, in place of calculation; wood needs it."
    )
    pull_over: Holding | None = Field(
        None, description="Tested pull of one head through the base, in place of calculation."
    )
    test_kind: StrengthKind | None = Field(None, description="What the tested strengths are.")
    test_factor: float | None = Field(
        None,
        gt=0,
        le=10,
        description="ASD safety factor, LRFD resistance factor or EN partial factor of the tested strengths.",
    )

    @model_validator(mode="after")
    def _placed(self) -> ScrewsTable:
        if (self.along is None) == (self.count is None):
            msg = 'give the places of the screws, like along = ["-20 mm", "20 mm"], or count and spacing'
            raise ValueError(msg)
        if self.count is not None and self.across is not None:
            msg = "across goes with along; count puts the screws on the center line"
            raise ValueError(msg)
        if self.across is not None and self.along is not None and len(self.across) != len(self.along):
            msg = f"across has {len(self.across)} places and along {len(self.along)}; give one each per screw"
            raise ValueError(msg)
        if (self.count or 1) > 1 and self.spacing is None:
            msg = f"count = {self.count} needs spacing, the distance between the screws"
            raise ValueError(msg)
        if (self.count is None or self.count == 1) and self.spacing is not None:
            msg = "spacing goes with a count of two screws and more; take it out"
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _paired(self) -> ScrewsTable:
        for part in ("base", "support"):
            names = [f"{part}_{what}" for what in ("thickness", "ultimate", "metal")]
            given = [getattr(self, name) is not None for name in names]
            if any(given) and not all(given):
                msg = f"give {names[0]}, {names[1]} and {names[2]} together, or none of them"
                raise ValueError(msg)
        tests = any(one is not None for one in (self.shear, self.pull_out, self.pull_over))
        if tests and self.test_kind is None:
            msg = 'shear, pull_out and pull_over come from tests and need test_kind, such as "characteristic"'
            raise ValueError(msg)
        if not tests and (self.test_kind is not None or self.test_factor is not None):
            msg = "test_kind and test_factor go with shear, pull_out or pull_over from tests; take them out"
            raise ValueError(msg)
        return self
