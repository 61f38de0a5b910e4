"""The file of a span study: rails on one clamp and panel, spans, line loads, arrangements."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from roofmodel.project.base import Table
from roofmodel.project.clamp_schema import ClampTable
from roofmodel.project.field_types import Length, Line, LineLoad, RoofSlope, Spacing
from roofmodel.project.schema import Design, PanelTable, RailTable

LONGEST = 5.0  # span of a study [m]
ArrangementName = Literal[
    "single span", "two spans", "end span", "inner span", "with overhangs", "one clamp missing"
]


class StudyTable(Table):
    """What the span table holds."""

    name: Line = Field(min_length=1, max_length=120, description="Title.")
    units: Literal["SI", "US"] = Field(
        "SI", description="Unit system of pictures and pages; tables have both."
    )
    slope: RoofSlope = Field(description='Slope of the roof, "30 deg" or "6:12", for the rail\'s own weight.')
    panel_length: Length = Field(
        10.0, description="Of the sheets up the slope, whose weight hangs on their fixed points."
    )
    spans: list[Length] = Field(
        default_factory=list,
        max_length=500,
        description="Spans between clamps, to 5 m; each stands in the tables of the seam spacings that it is "
        "a whole multiple of.",
    )
    seams_per_span: list[Annotated[int, Field(ge=1, le=100)]] = Field(
        default_factory=list,
        max_length=100,
        description="Spans as numbers of seam spacings, beside spans or in their place.",
    )
    loads: list[LineLoad] = Field(
        min_length=1,
        max_length=2000,
        description="Line loads down the slope per length of rail, before factors.",
    )
    level: Literal["characteristic", "strength", "measured"] = Field(
        description='What the loads mean, as site.level of measured snow: "characteristic" takes the factor '
        'of the format, "strength" holds it already, "measured" is not factored.'
    )
    arrangements: list[ArrangementName] = Field(
        ["single span", "two spans", "end span", "with overhangs"],
        min_length=1,
        description="Where the span lies along its row.",
    )
    many: int = Field(5, ge=5, le=12, description="Spans of a long row.")
    overhang: float = Field(0.25, gt=0.0, le=0.5, description="Rail beyond the end clamps, over the span.")
    unloaded_share: float = Field(
        0.0, ge=0.0, le=1.0, description="Load that stays where a pattern unloads a span; 1 for no patterns."
    )
    splice: Literal["none", "hinge", "sliding"] = Field(
        "none", description="A splice at the worst of eight places in any span."
    )

    @model_validator(mode="after")
    def _orders(self) -> StudyTable:
        if not self.spans and not self.seams_per_span:
            msg = 'spans: there are none; write spans = ["48 in", ...] or seams_per_span = [1, 2, ...]'
            raise ValueError(msg)
        if max(self.spans, default=0.0) > LONGEST:
            msg = f"spans: the largest is over {LONGEST:g} m; a rail of a row has shorter ones"
            raise ValueError(msg)
        return self


def _listed(value: Any) -> Any:
    return value if isinstance(value, list) else [value]


Spacings = Annotated[list[Spacing], BeforeValidator(_listed)]


class StudyPanel(PanelTable):
    """Standing-seam panel, on one seam spacing or on several."""

    seam_spacing: Spacings = Field(  # type: ignore[assignment]
        min_length=1, max_length=20, description="Distance from seam to seam; a table for each of a list."
    )

    def on(self, spacing: float) -> PanelTable:
        """The panel with this seam spacing. [m]."""
        return PanelTable.model_construct(**{**self.model_dump(), "seam_spacing": spacing})


class NamedRail(RailTable):
    """A rail of the study."""

    name: Line = Field(min_length=1, max_length=60, description="For tables.")


class SpanFile(Table):
    """A whole span study."""

    study: StudyTable
    panel: StudyPanel
    clamp: ClampTable
    rail: list[NamedRail] = Field(min_length=1, max_length=200)
    design: Design
