"""The project file's table for a roof that is read from a file."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from roofmodel.project.base import Table
from roofmodel.project.field_types import Angle, AnyLength, Line, PlanLine, Tolerance, WallSlope


class SplitTable(Table):
    """A plane of an imported roof that is two."""

    plane: Line = Field(description="Plane to split, after merging.")
    line: PlanLine = Field(description="Two points on plan as `eavewright roof` shows them; goes on beyond.")


class RenameTable(Table):
    """Another name for a plane of an imported roof."""

    plane: Line = Field(description="Plane to rename, after merging and splitting.")
    to: Line = Field(min_length=1, max_length=40, description="Its new name.")


class RetypeTable(Table):
    """Another kind for an edge of an imported roof."""

    edge: Line = Field(description="Edge, by its name after the corrections above.")
    kind: Literal["eave", "rake", "head", "ridge", "hip", "valley", "pitch break"] = Field(
        description="What the edge is; eave, rake and head are free edges, the others lie between planes."
    )


class ImportedRoof(Table):
    """A roof read from a file."""

    file: str = Field(min_length=1, description="Mesh or city model, relative to the project file.")
    unit: Literal["m", "mm", "cm", "ft", "in"] | None = Field(
        None, description="Length unit of the file; needed for STL, OBJ, PLY, OFF and analysis meshes."
    )
    up: Literal["y", "z"] | None = Field(
        None, description="Up axis; needed where unit is. A house that seems to lie on its side is told."
    )
    building: Line | None = Field(
        None, description='Building id, for city and building models; "all" for all of them as one roof.'
    )
    lod: Line | None = Field(
        None, description='Level of detail of a city model, such as "2" or "2.2"; the finest by default.'
    )
    layers: list[Line] = Field(default_factory=list, description="Layers of a drawing; all by default.")
    marks: bool = Field(
        True, description="Take what the file marks as roof; false to look at all its surfaces."
    )
    ground: AnyLength | None = Field(
        None,
        description="Ground level in the heights of the file; edge heights and falls count from it. Where "
        "neither this nor the file says it, it is the lowest point of a building, or 3 m below a roof alone.",
    )
    north: Angle | None = Field(
        None,
        description="Compass direction of the file's y axis, clockwise from north; 0 or the file's own by "
        "default.",
    )
    wall_slope: WallSlope | None = Field(
        None, description='Faces at least this steep are walls; "75 deg" by default.'
    )
    tolerance: Tolerance | None = Field(
        None,
        description="Vertices of a plane lie within this of it; 30 mm by default, more for surveyed points.",
    )
    boxes: bool = Field(
        True,
        description="Take small tops with walls all around (such as chimneys) as obstructions, narrow ones "
        "along an edge as parapets, and leave out gutters and thin sheets above a slope (such as solar "
        "arrays); false to keep them all as planes.",
    )
    leave_out: list[Line] = Field(
        default_factory=list,
        description="A plane of each part that is no roof, such as a tree or a car: all that hangs together "
        "with it over edges is left out, before the corrections below.",
    )
    merge: list[list[Line]] = Field(
        default_factory=list, description='Planes that are one, such as [["S1", "S2"]]; the first name stays.'
    )
    split: list[SplitTable] = Field(default_factory=list, description="Planes that are two.")
    rename: list[RenameTable] = Field(default_factory=list, description="Other names for planes.")
    retype: list[RetypeTable] = Field(default_factory=list, description="Other kinds for edges.")
    not_standing: list[Line] = Field(
        default_factory=list,
        description="Obstructions and parapets that the file shows and that are none, by the names printed.",
    )
    not_curved: list[Line] = Field(
        default_factory=list,
        description="A facet of each vault, dome or cone that is none: its facets count as planes.",
    )
