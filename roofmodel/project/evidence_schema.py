"""The file of an investigation: what was found on a roof whose clamps or rows let go."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from roofmodel.project.base import Table
from roofmodel.project.field_types import Density, Depth, Force, GroundSnow, Length, Line
from roofmodel.units import shown

Doubt = float


def _day(value: object) -> object:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    msg = f"{shown(value)} must be a day, without quotes and without the time: day = 2026-02-03"
    raise ValueError(msg)


Day = Annotated[date, BeforeValidator(_day)]


class CaseTable(Table):
    """Which roof, and when."""

    name: Line = Field(min_length=1, max_length=120, description="Title.")
    project: Line = Field(min_length=1, description="Project file of the roof as it was meant to be.")
    day: Day | None = Field(None, description="Day of the event, without quotes: 2026-02-03.")
    by: Line = Field("", max_length=120, description="Who looked at the roof.")
    case: Line | None = Field(
        None, description="Snow case of the project that is like the day's; the one that uses clamps most."
    )


class FoundTable(Table):
    """What was found of some clamps."""

    clamps: Line = Field(
        min_length=1, description='Names, such as "eave-12..eave-25", "eave-03, eave-07" or "row eave".'
    )
    state: Literal["off", "slipped", "bent", "stands", "unknown"] = Field(
        description="How they were found: off is not in its place on the seam, torn off or never there; "
        "slipped and bent clamps count as given way too."
    )
    doubt: Doubt = Field(0.005, ge=0.0, le=0.5, description="Chance that one of them is told wrong.")
    note: Line = Field("", max_length=300, description="For the report.")


class RailFound(Table):
    """What was found of a rail at one of its splices, or away from them."""

    near: Line = Field(min_length=1, description='Clamp nearest to the splice, such as "eave-24".')
    at: Literal["splice", "span"] = Field(
        "splice",
        description="Whether this is told of the splice nearest to that clamp, or of the rail at the clamp, "
        "away from splices: bent or whole. A rail is bent in 50 % where a loss ends, in 30 % within it, in "
        "2 % where all stands (judgment).",
    )
    state: Literal["parted", "bent", "whole"] = Field(
        description="How the splice was found. Bent is seen in 55 % beside clamps that gave way, in 20 % at "
        "a splice that parted, in 4 % where all stands; whole in 30, 0 and 95 %, parted in 15, "
        "80 and 1 % (judgment)."
    )
    fresh: bool | None = Field(
        None,
        description="Of a parted one, if it can be told: whether the break is fresh (bright metal) or old "
        "(rust, dirt, worn edges in it).",
    )
    screws: bool | None = Field(
        None,
        description="Whether the screws of the splice had been set: false for empty or undrilled holes, as "
        "of one that was never screwed; true for screws that are there or sheared off.",
    )
    doubt: Doubt = Field(0.05, ge=0.0, le=0.5, description="Chance that this is told wrong.")
    note: Line = Field("", max_length=300, description="For the report.")

    @model_validator(mode="after")
    def _parted(self) -> RailFound:
        if self.at == "span" and (self.state == "parted" or self.screws is not None):
            what = 'state = "parted"' if self.state == "parted" else "screws"
            msg = f'{what} tells of a splice; away from splices (at = "span") a rail is "bent" or "whole"'
            raise ValueError(msg)
        if self.fresh is not None and self.state != "parted":
            msg = f'fresh tells of the break of a splice that is "parted", not of one that is "{self.state}"'
            raise ValueError(msg)
        return self


class HeapTable(Table):
    """Snow that lies on the ground; a heap is not the roof's depth."""

    length: Length = Field(
        description="Of the heap, along the eave. Take off what no row held, as from below the lowest row."
    )
    width: Length = Field(description="Of the heap.")
    depth: Depth = Field(
        description="Mean depth of the heap; of one with a ridge about half to two thirds of its height."
    )
    density: Density = Field(description="Of the heap.")
    doubt: Doubt = Field(0.3, gt=0.0, le=1.0, description="Standard deviation of its weight, as a share.")


class DepthFound(Table):
    """Snow at one place along a row, by what still lies there or its mark, against snow that lies even."""

    near: Line = Field(min_length=1, description='Clamp nearest to the place, such as "low-50".')
    over: float = Field(
        gt=0.0, le=10.0, description="Depth there over that where the same snow lies even, away from drifts."
    )
    doubt: Doubt = Field(0.2, gt=0.0, le=1.0, description="Standard deviation of it, as a share.")
    note: Line = Field("", max_length=300, description="For the report.")


class ScrewsFound(Table):
    """Clamps whose screws or grip were looked at, on the roof or on the ground: those in the heap too."""

    clamps: Line = Field(min_length=1, description='Names, as in found, such as "low-50..low-60".')
    loose: int = Field(
        ge=0,
        description="How many of them were loose, by torque or the marks of their grip; 0 if all were tight.",
    )
    doubt: Doubt = Field(0.05, ge=0.0, le=0.5, description="Chance that one of them is told wrong.")
    note: Line = Field("", max_length=300, description="For the report.")


class MarksFound(Table):
    """Seams that were looked at for marks of clamps: scratches, prints of the grip, holes."""

    clamps: Line = Field(min_length=1, description='Names, as in found, such as "low-34..low-39".')
    none: int = Field(
        ge=0, description="How many of them left no mark, as if they were never there; 0 if all left one."
    )
    doubt: Doubt = Field(0.05, ge=0.0, le=0.5, description="Chance that one of them is told wrong.")
    note: Line = Field("", max_length=300, description="For the report.")


class TypesFound(Table):
    """Clamps whose type was checked: stamp, size or part number against what this seam needs."""

    clamps: Line = Field(min_length=1, description='Names, as in found, such as "low-50..low-60".')
    wrong: int = Field(
        ge=0, description="How many of them were not of the type made for this seam; 0 if all were."
    )
    doubt: Doubt = Field(0.05, ge=0.0, le=0.5, description="Chance that one of them is told wrong.")
    note: Line = Field("", max_length=300, description="For the report.")


class PulledFound(Table):
    """Clamps pulled along a seam until they gave way: on the roof as they stood, or in a laboratory."""

    clamps: Line = Field(min_length=1, description='Names, as in found, such as "low-02, low-50".')
    mean: Force | None = Field(None, description="Mean of what they held along the seam; or each.")
    each: list[Force] | None = Field(
        None,
        min_length=2,
        description="What each of them held, in any order, so that their scatter tells too.",
    )
    doubt: Doubt = Field(0.08, gt=0.0, le=0.5, description="Standard deviation of the mean, as a share.")
    tightened: bool | None = Field(
        None,
        description="Whether they were tightened as they should be before the pull, as in a laboratory: "
        "what they held then says nothing of loose screws. False if not given; clamps that came off always "
        "were.",
    )
    kept: float | None = Field(
        None,
        gt=0.0,
        le=1.0,
        description="For clamps that gave way: share of its strength that such a clamp keeps after it was "
        "torn off, such as 0.85 by tests of torn and new ones; 1 for clamps that look unhurt.",
    )
    note: Line = Field("", max_length=300, description="For the report.")

    @model_validator(mode="after")
    def _one(self) -> PulledFound:
        if (self.mean is None) == (self.each is None):
            msg = "give mean, or each clamp's own strength in each"
            raise ValueError(msg)
        return self


class SnowFound(Table):
    """What is known of the snow."""

    load: GroundSnow | None = Field(
        None, description="Load where snow still lies without drift, per plan area; or depth and density."
    )
    depth: Depth | None = Field(None, description="Depth on the roof, vertical, without drift.")
    density: Density | None = Field(None, description="Density on the roof.")
    doubt: Doubt = Field(0.2, gt=0.0, le=1.0, description="Standard deviation of the load, as a share.")
    heap: HeapTable | None = Field(None, description="Snow on the ground below.")
    fallen: Force | None = Field(
        None,
        description="Weight of the snow that came down, in place of heap: what lay above the lost stretch "
        "of a row, up to the next; snow below the lowest row that no row held is not in it.",
    )
    fallen_doubt: Doubt = Field(0.3, gt=0.0, le=1.0, description="Standard deviation of it, as a share.")
    along: list[DepthFound] = Field(default_factory=list)

    @model_validator(mode="after")
    def _one(self) -> SnowFound:
        if self.load is not None and (self.depth is not None or self.density is not None):
            msg = "give load, or depth and density, not both"
            raise ValueError(msg)
        if (self.depth is None) != (self.density is None):
            msg = "depth needs density and density needs depth; neither alone is a load"
            raise ValueError(msg)
        if self.heap is not None and self.fallen is not None:
            msg = "give heap or fallen, not both"
            raise ValueError(msg)
        return self


CAUSES = Literal[
    "more snow",
    "drift",
    "uneven snow",
    "weak batch",
    "loose clamps",
    "missing clamps",
    "wrong clamp",
    "row ends",
    "bond of one plane",
    "splice parted",
    "splice never screwed",
    "as designed",
]


class ExplanationTable(Table):
    """How likely an explanation was before anything was found; equal for those not named."""

    cause: CAUSES = Field(description="Which one.")
    prior: float = Field(gt=0.0, le=100.0, description="Weight against 1 for the others.")
    reason: Line = Field(min_length=1, max_length=300, description="Why; printed.")


class SamplingTable(Table):
    """How much is calculated."""

    samples: int = Field(
        30_000,
        ge=500,
        le=200_000,
        description="Most samples of each explanation; rounds of 3,000 end where enough of them tell.",
    )
    seed: int = Field(1, ge=0, le=2**32 - 1, description="The same seed gives the same digits.")
    strength_mean: float = Field(
        1.2,
        gt=0.1,
        le=5.0,
        description="Mean over nominal strength, if uncertainty.strength is not given.",
    )
    interval: float = Field(
        0.1,
        ge=0.01,
        le=0.5,
        description="Width of the 95 % interval that is wanted for the first explanation; how many samples "
        "that takes is told.",
    )
    pairs: Literal["when needed", "always", "never"] = Field(
        "when needed",
        description="Whether two explanations at once are tried too: by default where none alone explains "
        "what was found.",
    )
    strength_scatter: float = Field(0.15, ge=0.0, le=1.0, description="Coefficient of variation then.")


class EvidenceFile(Table):
    """A whole investigation."""

    case: CaseTable
    snow: SnowFound = Field(default_factory=SnowFound)
    found: list[FoundTable] = Field(min_length=1)
    rail: list[RailFound] = Field(default_factory=list)
    screws: list[ScrewsFound] = Field(default_factory=list)
    marks: list[MarksFound] = Field(default_factory=list)
    type: list[TypesFound] = Field(default_factory=list)
    pulled: list[PulledFound] = Field(default_factory=list)
    explanation: list[ExplanationTable] = Field(default_factory=list)
    sampling: SamplingTable = Field(default_factory=SamplingTable)
    weather: Line | None = Field(None, description="CSV file of the weather before, for the history.")

    @model_validator(mode="after")
    def _causes(self) -> EvidenceFile:
        causes = [one.cause for one in self.explanation]
        twice = next((c for c in causes if causes.count(c) > 1), None)
        if twice is not None:
            msg = f'explanation.cause: "{twice}" is there twice'
            raise ValueError(msg)
        return self
