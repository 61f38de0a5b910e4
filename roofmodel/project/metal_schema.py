"""The table [metals]: which metals touch, for a judgment of the couples."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from roofmodel.project.base import Table

Metal = Literal[
    "aluminum",
    "cast aluminum",
    "brass",
    "bare steel",
    "bronze",
    "copper",
    "lead",
    "stainless steel",
    "stainless steel, chromium only",
    "tin",
    "zinc",
    "zinc-coated steel",
    "aluminum-zinc coated steel",
]


class MetalsTable(Table):
    """Metals at the surfaces that touch; a coat of paint is no barrier where a screw or edge cuts it."""

    sheet: Metal = Field(description="Of the roof's sheet.")
    clamp: Metal = Field(description="Of the clamp's body.")
    screw: Metal = Field(description="Of the clamp's screws.")
    rail: Metal = Field(description="Of the rail.")
    place: Literal["coast", "outdoors", "dry"] = Field(
        "outdoors", description="Salt in the air, plain weather, or dry."
    )
