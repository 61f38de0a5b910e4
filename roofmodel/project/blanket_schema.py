"""The tables [blanket] and [[stops]] of the project file."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from roofmodel.project.base import Table
from roofmodel.project.field_types import (
    Angle,
    AnyLength,
    Density,
    Length,
    Length0,
    Line,
    Size,
    SnowModulus,
    SnowStrength,
    Strip,
    Warmth,
)


class BondTable(Table):
    """Part of a plane where the bond between snow and sheet still holds; elsewhere it is lost."""

    plane: Line = Field(min_length=1, max_length=60, description="Plane.")
    strength: SnowStrength = Field(description="Shear strength of the bond.")
    low: Length0 = Field(0.0, description="Lower end, up the slope from the plane's lowest point.")
    high: Length | None = Field(None, description="Upper end; the top of the plane by default.")
    left: AnyLength | None = Field(None, description="Left end, from the left end of the plane.")
    right: AnyLength | None = Field(None, description="Right end, from the left end of the plane.")


class BlanketTable(Table):
    """The snow as a layer, for `eavewright blanket`; what is left out follows from density and cold."""

    mesh: Strip = Field(0.1, description='Largest cell of the layer; "0.1 m".')
    case: Line | None = Field(
        None, description="Snow case by name; the one that pushes hardest on rows and stops by default."
    )
    density: Density | None = Field(
        None,
        description="Of the snow; as measured, or 300 kg/m^3 or the case's where that is more.",
    )
    below_freezing: Warmth = Field(
        0.0, description='How far the snow is below its melting point; "3 K". At 0 it is wet.'
    )
    creep_hours: float = Field(
        0.0, ge=0.0, le=5000.0, description="How long the snow has crept; 0 for a sudden load."
    )
    poisson: float = Field(0.2, ge=0.0, le=0.45, description="Poisson's ratio of the snow.")
    friction_angle: Angle | None = Field(
        None,
        description="Of internal friction; by default such that pure shear and compression fit their "
        "strengths.",
    )
    young: SnowModulus | None = Field(None, description="Young's modulus of the snow.")
    tensile_strength: SnowStrength | None = Field(None, description="Of the snow.")
    shear_strength: SnowStrength | None = Field(None, description="Of the snow, in pure shear.")
    compressive_strength: SnowStrength | None = Field(None, description="Of the snow.")
    bonded: list[BondTable] = Field(default_factory=list, description="Where the bond still holds.")
    thaw_from: Literal["eave", "ridge"] | None = Field(
        None, description="Follow a thaw front over the bonded parts from here."
    )
    thaw_steps: int = Field(4, ge=1, le=20, description="Positions of the thaw front.")

    @model_validator(mode="after")
    def _something_thaws(self) -> BlanketTable:
        if self.thaw_from is not None and not self.bonded:
            msg = "thaw_from needs blanket.bonded, the parts where the bond holds before it thaws"
            raise ValueError(msg)
        return self


class StopsTable(Table):
    """Single stops on clamps, in courses up the slope; for `eavewright blanket`, they relieve no row."""

    name: Line = Field(min_length=1, max_length=60, description="Name.")
    plane: Line = Field(min_length=1, max_length=60, description="Plane that carries them.")
    up: Length0 = Field(description="Distance of the lowest course up the slope from the eave.")
    courses: int = Field(1, ge=1, le=50, description="Number of courses.")
    course_spacing: Length = Field(1.0, description="From course to course up the slope.")
    every: int = Field(1, ge=1, le=50, description="A stop on every n-th seam of a course.")
    first: int = Field(1, ge=1, le=50, description="Seam that gets the first stop, from the left.")
    stagger: int = Field(
        0, ge=0, le=49, description="Seams by which every other course is moved to the right."
    )
    start: AnyLength | None = Field(None, description="Left end, as of a row; the plane's edge by default.")
    end: AnyLength | None = Field(None, description="Right end, as of a row.")
    width: Size = Field(description="Of the face that one stop turns to the snow.")
