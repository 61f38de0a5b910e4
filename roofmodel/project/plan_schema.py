"""The tables [plan] and [[protect]] of the project file: what rows are planned for, and from what."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from roofmodel.project.base import Table
from roofmodel.project.field_types import AnyLength, Length, Length0, Line, PlanLine, Points


class ProtectTable(Table):
    """Something that no snow may slide onto, for `eavewright plan`."""

    name: Line = Field(min_length=1, max_length=60, description="Name for messages and pictures.")
    area: Points | None = Field(
        None,
        description="Outline on plan of an entrance, a walk or a lower roof, in the coordinates of roof.png.",
    )
    line: PlanLine | None = Field(None, description="Or a line on plan, such as a walk's edge, likewise.")
    eave: str | None = Field(None, description="Or all that lies below this eave, such as a gutter.")
    start: AnyLength | None = Field(
        None, description="With eave: left end, from the eave's left end looking up the slope."
    )
    end: AnyLength | None = Field(None, description="With eave: right end, from the eave's left end.")
    planes: list[str] | None = Field(None, min_length=1, description="Or planes whose snow must stay put.")
    onto: list[str] | None = Field(
        None, min_length=1, description="Or lower roof planes that no snow may fall onto."
    )
    margin: Length0 = Field(
        1.0, description="How far snow may roll or splash beyond where it lands; 1 m (judgment)."
    )

    @model_validator(mode="after")
    def _one(self) -> ProtectTable:
        given = [n for n in ("area", "line", "eave", "planes", "onto") if getattr(self, n) is not None]
        if len(given) != 1:
            msg = "give one of area, line, eave, planes and onto" + (
                f", not {' and '.join(given)}" if given else ""
            )
            raise ValueError(msg)
        if self.eave is None and (self.start is not None or self.end is not None):
            msg = "start and end go with eave only"
            raise ValueError(msg)
        if self.start is not None and self.end is not None and self.start >= self.end:
            msg = "start must be left of end"
            raise ValueError(msg)
        return self


class PlanTable(Table):
    """What `eavewright plan` may choose from, and what is best; every field may be left out."""

    goal: Literal["least", "even"] = Field(
        "least",
        description="Least cost of material; even: of the cheapest layouts the one whose most used row is "
        "used least.",
    )
    target: float = Field(
        1.0,
        gt=0.1,
        le=1.0,
        description="Largest utilization of the strength limits of clamps, rails and panels.",
    )
    eave_distance: Length = Field(
        0.5, description="Distance up the slope from the eave to the lowest row; 0.5 m (judgment)."
    )
    step: Length | None = Field(
        None, description="Rows stand at multiples of this above the lowest; a 24th of the slope by default."
    )
    least_spacing: Length = Field(
        1.0, description="Least distance between rows up the slope; 1 m (judgment)."
    )
    most_spacing: Length | None = Field(
        None, description="Greatest distance between rows, and from the highest one to the top of its plane."
    )
    most_rows: int = Field(4, ge=1, le=8, description="Most rows one above the other.")
    every: list[int] = Field(
        default_factory=lambda: [1, 2, 3],
        min_length=1,
        max_length=6,
        description="Clamp spacings to choose from: every n-th seam.",
    )
    rail_cost: float = Field(
        1.0, ge=0.0, le=1e6, description="Of one meter of rail (one foot in US units), in any currency."
    )
    clamp_cost: float = Field(1.0, ge=0.0, le=1e6, description="Of one clamp.")
    row_cost: float = Field(
        0.0, ge=0.0, le=1e6, description="Of one row, such as its ends and its setting out."
    )
    edge_distance: Length0 = Field(0.0, description="As row.edge_distance, for all rows.")
    cantilever: Length0 | None = Field(None, description="As row.cantilever, for all rows.")
    splice_every: Length | None = Field(None, description="As row.splice_every: the length of the rails.")
    splice_kind: Literal["hinge", "continuous", "sliding"] = Field(
        "hinge", description="As row.splice_kind, for splice_every."
    )

    @model_validator(mode="after")
    def _agree(self) -> PlanTable:
        wrong = next((n for n in self.every if not 1 <= n <= 50), None)
        if wrong is not None:
            msg = f"every: {wrong} must be from 1 to 50"
            raise ValueError(msg)
        if self.most_spacing is not None and self.most_spacing < self.least_spacing:
            msg = "most_spacing must not be less than least_spacing"
            raise ValueError(msg)
        if self.rail_cost == self.clamp_cost == self.row_cost == 0.0:
            msg = "rail_cost, clamp_cost, row_cost: one must be above 0, or every layout costs the same"
            raise ValueError(msg)
        return self
