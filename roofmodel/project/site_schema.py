"""The table [site] of the project file, one for each standard."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field, model_validator

from roofmodel.project.base import Table
from roofmodel.project.field_types import (
    Density,
    Depth,
    GroundSnow,
    Length,
    Length0,
    Rain,
    RValue,
    UnitWeight,
)

# Design formats that go with the snow of each standard.
FORMATS = {
    "ASCE/SEI 7-22": ("ASD", "LRFD"),
    "ASCE/SEI 7-16": ("ASD", "LRFD"),
    "EN 1991-1-3": ("EN",),
    "NBCC 2020": ("LRFD",),
    "measured": ("ASD", "LRFD", "EN"),
}


class AsceSite(Table):
    """Site for ASCE/SEI 7-22."""

    standard: Literal["ASCE/SEI 7-22"] = Field(description='"ASCE/SEI 7-22".')
    ground_snow: GroundSnow = Field(
        description="p_g for the risk category, from the authority: strength level."
    )
    risk_category: Literal["I", "II", "III", "IV"] = Field(description="Table 1.5-1.")
    terrain: Literal["B", "C", "D", "above tree line", "Alaska without trees"] = Field(
        "C", description="Surface roughness for C_e, Table 7.3-1."
    )
    exposure: Literal["fully exposed", "partially exposed", "sheltered"] = Field(
        "partially exposed", description="Exposure of the roof for C_e, Table 7.3-1."
    )
    exposure_factor: float | None = Field(
        None, ge=0.5, le=1.5, description="C_e, in place of terrain and exposure."
    )
    thermal: Literal["heated", "cold ventilated", "unheated", "freezer", "greenhouse"] = Field(
        "unheated", description='Thermal condition for C_t; "heated" needs roof_r_value.'
    )
    roof_r_value: RValue | None = Field(
        None,
        gt=0,
        le=100,
        description="The number after R- (h ft^2 F/Btu, in SI projects too) of a heated unventilated roof.",
    )
    thermal_factor: float | None = Field(None, ge=0.8, le=1.4, description="C_t, in place of thermal.")
    simple_rafters: bool = Field(
        False,
        description="Simply supported prismatic rafters from ridge to eave: a plainer load to 20 ft, 7.6.1.",
    )
    light_density: Density | None = Field(
        None,
        description="Lightest density, for the snow depth at the rows; the standard's own by default.",
    )
    winter_wind: float = Field(
        ge=0.1, le=0.9, description="W_2, share of winter hours with wind above 10 mph, from the authority."
    )


class Asce16Site(Table):
    """Site for ASCE/SEI 7-16."""

    standard: Literal["ASCE/SEI 7-16"] = Field(description='"ASCE/SEI 7-16".')
    ground_snow: GroundSnow = Field(
        description="p_g, nominal (50 years), from the standard's map or the authority; not that of 7-22."
    )
    risk_category: Literal["I", "II", "III", "IV"] = Field(description="For I_s, Tables 1.5-1 and 1.5-2.")
    terrain: Literal["B", "C", "D", "above tree line", "Alaska without trees"] = Field(
        "C", description="Surface roughness for C_e, Table 7.3-1."
    )
    exposure: Literal["fully exposed", "partially exposed", "sheltered"] = Field(
        "partially exposed", description="Exposure of the roof for C_e, Table 7.3-1."
    )
    exposure_factor: float | None = Field(
        None, ge=0.5, le=1.5, description="C_e, in place of terrain and exposure."
    )
    thermal: Literal[
        "heated", "kept above freezing", "cold ventilated", "unheated", "freezer", "greenhouse"
    ] = Field("unheated", description="Thermal condition for C_t, Table 7.3-2.")
    roof_r_value: RValue | None = Field(
        None,
        gt=0,
        le=100,
        description="The number after R- (h ft^2 F/Btu, in SI projects too); slippery warm roofs need it for "
        "a lower C_s, 7.4.1.",
    )
    ventilated: bool = Field(False, description="Ventilated roof: R-20 is enough in 7.4.1 in place of R-30.")
    thermal_factor: float | None = Field(None, ge=0.8, le=1.4, description="C_t, in place of thermal.")
    simple_rafters: bool = Field(
        False,
        description="Simply supported prismatic rafters from ridge to eave: a plainer load to 20 ft, 7.6.1.",
    )
    light_density: Density | None = Field(
        None,
        description="Lightest density, for the snow depth at the rows; the standard's own by default.",
    )


class EnSite(Table):
    """Site for EN 1991-1-3; national choices are inputs."""

    standard: Literal["EN 1991-1-3"] = Field(description='"EN 1991-1-3".')
    ground_snow: GroundSnow = Field(description="s_k, characteristic, from the national annex.")
    topography: Literal["windswept", "normal", "sheltered"] = Field(
        "normal", description="For C_e, Table 5.1."
    )
    exposure_factor: float | None = Field(None, ge=0.5, le=1.5, description="C_e, in place of topography.")
    thermal_factor: float = Field(1.0, ge=0.5, le=1.2, description="C_t, 5.2(8).")
    drift_weight: UnitWeight = Field(
        2000.0, description='Weight density for drifts, 5.3.6; default "2 kN/m^3".'
    )
    light_density: Density | None = Field(
        None,
        description="Lightest density, for the snow depth at the rows; the standard's own by default.",
    )
    exceptional_coefficient: float | None = Field(
        None, ge=1.0, le=4.0, description="C_esl where the national annex asks for exceptional loads, 4.3."
    )
    annex_b: bool = Field(
        False, description="Whether the national annex asks for exceptional drifts by Annex B."
    )
    return_period: float | None = Field(
        None, ge=5.0, le=1e5, description="Years, in place of the 50 of s_k, Annex D; needs variation."
    )
    variation: float | None = Field(
        None, ge=0.05, le=2.0, description="Coefficient of variation of the yearly largest snow, Annex D."
    )


class NbccSite(Table):
    """Site for NBCC 2020."""

    standard: Literal["NBCC 2020"] = Field(description='"NBCC 2020".')
    ground_snow: GroundSnow = Field(description="S_s, 1 in 50 years, from the climatic data.")
    associated_rain: Rain = Field(
        description='S_r, 1 in 50 years, from the climatic data; "0 kN/m^2" for none.'
    )
    importance: Literal["low", "normal", "high", "post-disaster"] = Field(
        description="Importance category for I_s, Table 4.1.6.2.-A."
    )
    wind_factor: float = Field(
        1.0, ge=0.5, le=1.0, description="C_w: 1.0, or 0.75 or 0.5 where 4.1.6.2.(4) allows it."
    )
    basic_factor: float | None = Field(
        None,
        ge=0.8,
        le=2.0,
        description="C_b, in place of that of the roof's size; 1.0 for roofs lower than 1 + S_s / gamma m.",
    )
    light_density: Density | None = Field(
        None,
        description="Lightest density, for the snow depth at the rows; the standard's own by default.",
    )


class SnowLayer(Table):
    """A layer that was measured or ruled."""

    depth: Depth = Field(description="Depth of the layer.")
    density: list[Density] = Field(
        min_length=1,
        max_length=2,
        description="Density, or lightest and heaviest: the heavy end loads, the light end overtops.",
    )
    plane: str | None = Field(None, description="Plane the layer lies on; all planes without it.")
    left: Length0 | None = Field(
        None,
        description="Start of a layer that covers a part of its plane, from the plane's left end.",
    )
    right: Length | None = Field(None, description="And where it ends.")

    @model_validator(mode="after")
    def _band(self) -> SnowLayer:
        if (self.left is None) != (self.right is None):
            msg = "give left and right, or neither"
            raise ValueError(msg)
        if self.left is not None and self.right is not None:
            if self.plane is None:
                msg = "left and right need plane, as they count from its left end"
                raise ValueError(msg)
            if not self.left < self.right:
                msg = "left must be less than right"
                raise ValueError(msg)
        return self


class MeasuredSite(Table):
    """Snow given directly, layer by layer, for investigations and local rulings."""

    standard: Literal["measured"] = Field(description='"measured".')
    layers: list[SnowLayer] = Field(min_length=1, description="Layers, bottom first.")
    depth_direction: Literal["vertical", "square to the roof"] = Field(
        "vertical", description="How the depths were measured."
    )
    level: Literal["measured", "characteristic", "strength"] = Field(
        description='What the load stands for: "measured" is not factored (investigations), '
        '"characteristic" is for design by a local ruling, "strength" holds its factor already.'
    )


AnySite = Annotated[AsceSite | Asce16Site | EnSite | NbccSite | MeasuredSite, Field(discriminator="standard")]


def site_models() -> dict[str, type[Table]]:
    """The site's table by the standard that it is for."""
    models = (AsceSite, Asce16Site, EnSite, NbccSite, MeasuredSite)
    return {get_args(model.model_fields["standard"].annotation)[0]: model for model in models}
