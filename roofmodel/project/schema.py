"""The project file: every field, its meaning, and what is refused.

Quantities are text with a unit and become SI numbers here. The same descriptions feed
`eavewright fields` and the comments of `eavewright new`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Discriminator, Field, Tag, model_validator

from roofmodel.project.array_schema import SolarTable
from roofmodel.project.base import StrengthKind, Table
from roofmodel.project.blanket_schema import BlanketTable, StopsTable
from roofmodel.project.clamp_schema import ClampTable
from roofmodel.project.field_types import (
    AnyLength,
    AnySize,
    Area,
    Elasticity,
    Force,
    Holding,
    Inertia,
    Length,
    Length0,
    Line,
    Modulus,
    Moment,
    Product,
    SeamAngle,
    SeamHeight,
    Sectorial,
    Sheet,
    Size,
    Spacing,
    Spread,
    Step,
    Stress,
    Strip,
    Warmth,
    Warping,
    Words,
)
from roofmodel.project.framing_schema import FramingTable
from roofmodel.project.import_schema import ImportedRoof
from roofmodel.project.metal_schema import MetalsTable
from roofmodel.project.obstacle_schema import ObstructionTable, ParapetTable
from roofmodel.project.part_schema import BuiltRoof
from roofmodel.project.plan_schema import PlanTable, ProtectTable
from roofmodel.project.profile_schema import ProfileTable
from roofmodel.project.seam_schema import SeamTable
from roofmodel.project.site_schema import FORMATS, AnySite
from roofmodel.project.thaw_schema import ThawTable
from roofmodel.project.uncertainty_schema import UncertaintyTable

STARTING_NAME = "New project"  # of projects that `new` writes; their numbers are examples


class Project(Table):
    """What the calculation is about."""

    name: Line = Field(min_length=1, max_length=120, description="Title for pictures and report.")
    units: Literal["SI", "US"] = Field("SI", description="Unit system of everything that is printed.")
    revision: Line = Field("", max_length=40, description="Revision mark for the report.")
    client: Line = Field("", max_length=120, description="Who ordered the calculation, for the title block.")
    project_number: Line = Field("", max_length=60, description="Number of the project, for the title block.")
    engineer: Line = Field("", max_length=120, description="Who is responsible, for the title block.")
    checked_by: Line = Field("", max_length=120, description="Who checked it, for the title block.")


def _roof_tag(value: Any) -> str:
    return "imported" if isinstance(value, dict) and "file" in value else "built"


RoofTable = Annotated[
    Annotated[BuiltRoof, Tag("built")] | Annotated[ImportedRoof, Tag("imported")],
    Discriminator(_roof_tag),
]


class RoofFile(Table):
    """Title and roof of a project file, whatever else it holds."""

    model_config = ConfigDict(extra="ignore", frozen=True, strict=True, allow_inf_nan=False)

    builds_on: Line | None = None
    project: Project
    roof: RoofTable


class PlaneChoice(Table):
    """Choices for one plane."""

    name: str = Field(description='Plane name, such as "S1".')
    seam_angle: SeamAngle = Field(
        0.0,
        description="Seam direction from the fall line, positive to the right going up.",
    )
    first_seam: AnyLength | None = Field(
        None,
        description="Offset of the first seam from the left end of the plane; half a spacing by default.",
    )


class Surface(Table):
    """Roof covering as the snow feels it."""

    slippery: bool = Field(description="Smooth metal sheds snow: true.")
    friction: float = Field(
        0.0, ge=0.0, lt=1.0, description="Friction coefficient counted on; EN 1991-1-3 6.4 says 0."
    )
    friction_reason: Words = Field("", description="Why friction may be counted on; needed above 0, printed.")

    @model_validator(mode="after")
    def _justified(self) -> Surface:
        if self.friction > 0.0 and not self.friction_reason.strip():
            msg = f"friction {self.friction:g} needs friction_reason, a sentence why it may be counted on"
            raise ValueError(msg)
        return self


class PanelTable(Table):
    """Standing-seam panel."""

    metal: Literal["steel", "aluminum", "copper", "zinc", "stainless steel"] = Field(
        description="Sheet metal."
    )
    seam_spacing: Spacing = Field(description="Distance from seam to seam.")
    seam_height: SeamHeight = Field(description="Height of the seam above the pan.")
    thickness: Sheet = Field(description="Sheet thickness.")
    substrate: Line = Field("", description="What it lies on; compared with clamp.tested.substrate.")
    clip_spacing: Step | None = Field(None, description="Distance between clips along the seam.")
    anchorage: Holding | None = Field(
        None, description="Strength of the fixed point of one panel strip against drag down the slope."
    )
    anchorage_kind: StrengthKind = Field("nominal", description="What the anchorage strength is.")
    anchorage_factor: float | None = Field(
        None, gt=0, le=10, description="ASD safety factor, LRFD resistance factor or EN partial factor."
    )


class RailTable(Table):
    """Rail: a shape with sizes, or section values."""

    shape: Literal["round tube", "round bar", "rectangular tube", "flat bar", "values", "profile"] = Field(
        description='Section shape; "values" takes area, I, J and W; "profile" the table rail.profile.'
    )
    profile: ProfileTable | None = Field(None, description="Profile: any outline.")
    diameter: Size | None = Field(None, description="Outside diameter (round).")
    wall: Size | None = Field(None, description="Wall thickness (tubes).")
    width: Size | None = Field(None, description="Size along the slope (rectangular tube, flat bar, values).")
    depth: Size | None = Field(
        None, description="Size square to the roof (rectangular tube, flat bar, values)."
    )
    area: Area | None = Field(None, description="Values: area.")
    I_slope: Inertia | None = Field(
        None,
        description="Values: second moment for bending down the slope (about the axis square to the roof).",
    )
    I_normal: Inertia | None = Field(
        None, description="Values: second moment for bending away from the roof."
    )
    J: Inertia | None = Field(None, description="Values: St-Venant torsion constant.")
    W_slope: Modulus | None = Field(
        None, description="Values: elastic section modulus of the outermost fiber, bending down the slope."
    )
    W_normal: Modulus | None = Field(
        None,
        description="Values: elastic section modulus of the outermost fiber, bending away from the roof.",
    )
    W_torsion: Modulus | None = Field(None, description="Values: torsion modulus, stress = T / W_torsion.")
    I_product: Product | None = Field(
        None,
        description="Values: integral of y z dA, y up the slope, z away from the roof; 0 by default.",
    )
    shear_center_slope: AnySize | None = Field(
        None, description="Values: shear center up the slope from the centroid; 0 by default."
    )
    shear_center_normal: AnySize | None = Field(
        None, description="Values: shear center away from the roof, from the centroid; 0 by default."
    )
    I_warping: Warping | None = Field(
        None, description="Values: warping constant of an open section; none for closed ones."
    )
    omega_max: Sectorial | None = Field(
        None, description="Values: largest sectorial coordinate, for the stress from warping."
    )
    material: Literal["steel", "stainless steel", "aluminum"] = Field(description="Rail metal.")
    yield_strength: Stress = Field(description="Yield or 0.2 % proof strength; welded zone value if welded.")
    alloy: Line = Field("", description="Alloy and temper, such as EN AW-6082 T6; buckling_class A wants it.")
    buckling_class: Literal["A", "B"] = Field(
        "B",
        description="Aluminum, format EN: class of alloy and temper by EN 1999-1-1 table 3.2; B is safe for "
        "all.",
    )
    ultimate_strength: Stress | None = Field(
        None, description="Profile: tensile strength; needed with holes."
    )
    weld_strength: Stress | None = Field(
        None, description="Profile: yield strength beside welds, taken to be anywhere along the rail."
    )
    moment_slope: Moment | None = Field(
        None, description="Profile: tested moment down the slope, in place of calculated local buckling."
    )
    moment_normal: Moment | None = Field(None, description="Profile: tested moment away from the roof.")
    moment_kind: StrengthKind = Field("nominal", description="What the tested moments are.")
    moment_factor: float | None = Field(
        None, gt=0, le=10, description="Omega, phi or gamma_M of the tested moments."
    )
    bearing_length: Size | None = Field(
        None, description="Profile, rectangular tube: of the rail on a clamp, for the crushing of its walls."
    )
    bearing_strength: Force | None = Field(
        None, description="Profile, tubes: design strength against crushing by a clamp, from tests."
    )
    E: Elasticity | None = Field(None, description="Young's modulus, if not the usual one of the metal.")
    resistance_factor: float | None = Field(
        None, gt=0, le=5, description="ASD Omega, LRFD phi or EN gamma_M for yield, if not the usual one."
    )
    deflection_ratio: float | None = Field(
        None, ge=10, le=2000, description="n of the deflection limit span / n under snow as it lies."
    )
    splice_gap: Size | None = Field(
        None, description="Change of length that a sliding splice lets pass, from its middle position."
    )
    splice_torsion: Literal["passed", "free", "unknown"] = Field(
        "unknown",
        description='Torsion at splices "hinge" and "sliding": "passed" where the sleeve is screwed or keyed '
        'to both pieces, "free" where they can turn in it; "unknown" solves both, and the worse counts for '
        "every clamp and span.",
    )
    stock_length: Length | None = Field(
        None,
        description="Length that rails are bought in; for the bill of quantities, and for the splices of "
        "planned rows where neither plan nor row says splice_every.",
    )
    temperature_change: Warmth = Field(
        0.0,
        description="Rail temperature less that at installation; it counts both ways.",
    )


class Splice(Table):
    """Splice of a rail."""

    at: Length = Field(description="Distance from the left end of the rail.")
    kind: Literal["hinge", "continuous", "sliding"] = Field(
        "hinge",
        description="hinge passes shear and force along the rail on, no bending; sliding no force along the "
        "rail either; continuous passes everything. Torsion: rail.splice_torsion.",
    )


class RowTable(Table):
    """One retention row."""

    name: Line = Field(min_length=1, max_length=60, description="Row name.")
    plane: str | None = Field(None, description="Plane that carries the row (a level row).")
    eave: str | None = Field(None, description="Eave the row runs parallel to, in place of plane.")
    up: Length0 = Field(description="Distance up the slope from the eave.")
    start: AnyLength | None = Field(
        None, description="Left end, from the left end of the plane at the row's height; its edge by default."
    )
    end: AnyLength | None = Field(
        None,
        description="Right end, from the left end of the plane at the row's height; its edge by default.",
    )
    start_at: Line | None = Field(
        None,
        description="In place of start: the edge of the plane that the rail's left end stays at when the row "
        'moves, such as "S1|W1 valley".',
    )
    end_at: Line | None = Field(
        None, description="In place of end: the edge of the plane that the rail's right end stays at."
    )
    edge_distance: Length0 = Field(0.0, description="Distance the rail stays back from the plane's edges.")
    clamp_edge_distance: Length0 = Field(
        0.0,
        description="Seams nearer than this to an edge of the plane get no clamp; half of clamp.grip_length "
        "keeps every grip on its sheet. The rail runs on.",
    )
    every: int = Field(1, ge=1, le=50, description="Clamp every n-th seam.")
    first: int = Field(
        1, ge=1, le=50, description="Seam under the row that gets the first clamp, counted from the left."
    )
    cantilever: Length0 | None = Field(
        None, description="Cut the rail to end this far beyond its outermost clamps."
    )
    splice: list[Splice] = Field(default_factory=list, description="Splices one by one.")
    splice_every: Length | None = Field(None, description="Or a splice at every this much from the left end.")
    splice_kind: Literal["hinge", "continuous", "sliding"] = Field(
        "hinge", description="Kind for splice_every, as splice.kind."
    )
    splice_even: bool = Field(
        False, description="Pieces of one length, as few as can be, none longer than splice_every."
    )

    @model_validator(mode="after")
    def _where(self) -> RowTable:
        if (self.plane is None) == (self.eave is None):
            msg = 'give either plane or eave, such as plane = "S1"'
            raise ValueError(msg)
        for end in ("start", "end"):
            if getattr(self, end) is not None and getattr(self, f"{end}_at") is not None:
                msg = f"give either {end} or {end}_at"
                raise ValueError(msg)
        if self.splice_even and self.splice_every is None:
            msg = "splice_even goes with splice_every, the longest piece"
            raise ValueError(msg)
        return self


class AsBuilt(Table):
    """Clamps where they were found on site."""

    file: str = Field(
        min_length=1,
        description='CSV file beside the project with columns row and along, such as "along [m]": the '
        "distance of each clamp from the left end of its rail.",
    )


class Design(Table):
    """How demand meets resistance."""

    format: Literal["ASD", "LRFD", "EN"] = Field(
        description="Allowable strength, load and resistance factors, or EN partial factors."
    )
    snow_factor: float | None = Field(
        None, ge=0.5, le=3, description="Factor on snow, in place of the standard's own."
    )
    snow_factor_reason: Words = Field(
        "", description="Why snow takes this factor; needed with snow_factor, printed."
    )
    thermal_factor: float = Field(1.0, ge=0.0, le=2, description="Factor on restrained temperature.")
    rail_height_ratio: float | None = Field(
        None,
        gt=0,
        le=2,
        description="Least height of the rail's top over the roof, as a part of the snow's depth there; both "
        "square to the roof: 0.06 asks for 60 mm under 1 m of snow. No standard gives it: it is the maker's, "
        "from tests, or the engineer's judgment.",
    )
    upper_roof_retained: bool = Field(
        False, description="Leave out snow that slides from upper roofs because rows there hold it."
    )

    @model_validator(mode="after")
    def _justified(self) -> Design:
        if self.snow_factor is not None and not self.snow_factor_reason.strip():
            msg = "snow_factor needs snow_factor_reason, a sentence that says why this factor holds"
            raise ValueError(msg)
        return self


class Analysis(Table):
    """Numerical choices; the defaults suit nearly every roof."""

    strip_width: Strip = Field(0.5, description='Widest strip of the sliding mesh; "0.5 m".')
    spread_angle: Spread = Field(
        0.7853981633974483,
        description="Spread of a coherent blanket toward the ends of a partial row; 45 deg (judgment).",
    )
    valley_thrust: Literal["scalar", "vector"] = Field(
        "scalar", description="Thrusts that meet in a valley: scalar sum (safe) or vector sum."
    )
    valley_spread: Strip = Field(
        1.0,
        description="Length of row over which a valley stream arrives, and how near to a valley a row closes "
        'it; "1 m" (judgment).',
    )
    panel_flexibility: bool = Field(
        False, description="Let seams, sheet and clips give way under the clamps; needs the table seam."
    )
    beyond_first_failure: bool = Field(
        False,
        description="Follow the row that governs past its first failure: what gives way next, and when it "
        "lets go.",
    )
    solver: Literal["auto", "cholmod", "superlu", "pardiso"] = Field("auto", description="Sparse solver.")


class ProjectFile(Table):
    """A whole project."""

    builds_on: Line | None = Field(
        None,
        description="Another project file, relative to this one: tables that this file lacks are its. A "
        "table given here counts as a whole; `protect = []` takes a list away.",
    )
    project: Project
    site: AnySite
    roof: RoofTable
    plane: list[PlaneChoice] = Field(default_factory=list)
    parapet: list[ParapetTable] = Field(default_factory=list)
    obstruction: list[ObstructionTable] = Field(default_factory=list)
    solar: list[SolarTable] = Field(default_factory=list)
    framing: list[FramingTable] = Field(default_factory=list)
    surface: Surface
    panel: PanelTable
    seam: SeamTable | None = None
    rail: RailTable
    clamp: ClampTable
    row: list[RowTable] = Field(default_factory=list)
    stops: list[StopsTable] = Field(default_factory=list)
    as_built: AsBuilt | None = None
    metals: MetalsTable | None = None
    design: Design
    analysis: Analysis = Field(default_factory=Analysis)
    thaw: ThawTable | None = None
    blanket: BlanketTable = Field(default_factory=BlanketTable)
    protect: list[ProtectTable] = Field(default_factory=list)
    plan: PlanTable = Field(default_factory=PlanTable)
    uncertainty: UncertaintyTable | None = None

    @model_validator(mode="after")
    def _agree(self) -> ProjectFile:
        right = FORMATS[self.site.standard]
        if self.design.format not in right:
            msg = (
                f'design.format: "{self.design.format}" does not go with {self.site.standard}; '
                f"use {' or '.join(right)}"
            )
            raise ValueError(msg)
        if self.analysis.panel_flexibility and self.seam is None:
            msg = "analysis.panel_flexibility: needs the table [seam]: fold, clips and bearing"
            raise ValueError(msg)
        if self.seam is not None and self.panel.clip_spacing is None:
            msg = "panel.clip_spacing is missing; the table [seam] needs it"
            raise ValueError(msg)
        names = [row.name for row in self.row]
        twice = next((n for n in names if names.count(n) > 1), None)
        if twice is not None:
            msg = f'row.name: "{twice}" is used twice; every row needs its own name'
            raise ValueError(msg)
        marks = [mark.name for mark in self.protect]
        twice = next((n for n in marks if marks.count(n) > 1), None)
        if twice is not None:
            msg = f'protect.name: "{twice}" is used twice; everything protected needs its own name'
            raise ValueError(msg)
        return self
