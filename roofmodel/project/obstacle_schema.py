"""The tables [[parapet]] and [[obstruction]] of the project file."""

from __future__ import annotations

from pydantic import Field

from roofmodel.project.base import Table
from roofmodel.project.field_types import Force, Length, Length0, Line


class ParapetTable(Table):
    """Parapet along an edge of a plane, against which snow drifts."""

    edge: Line = Field(
        min_length=1, max_length=80, description='Edge it stands on, by name, such as "F1 rake 2".'
    )
    height: Length = Field(description="Height above the roof, at its lowest.")


class ObstructionTable(Table):
    """Chimney, skylight or other box on a plane, against which snow drifts and slides."""

    name: Line = Field(min_length=1, max_length=60, description="Name.")
    plane: Line = Field(min_length=1, max_length=60, description="Plane it stands on.")
    across: Length0 = Field(description="Its middle, from the left end of the plane, looking up the slope.")
    up: Length0 = Field(description="Its middle, up the slope from the plane's lowest point.")
    width: Length = Field(description="Size along the eave.")
    depth: Length = Field(description="Size up the slope, measured on the roof.")
    height: Length = Field(description="Height above the roof, at its lowest; its top counts as level.")
    clear: Length0 = Field(0.0, description="Free height below it, for equipment on legs.")
    strength: Force | None = Field(
        None,
        description="Force down the slope that it and its fastening may be counted on to hold, allowable "
        "(before load factors); none by default, and then it relieves no row.",
    )
