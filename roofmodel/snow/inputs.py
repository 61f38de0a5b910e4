"""What a person must say about the site, SI, and the checks on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from roofmodel.errors import InputError
from roofmodel.snow import asce7_16, asce7_22, en1991_1_3, nbcc2020
from roofmodel.snow.cases import LoadLevel

GROUND_SNOW_LIMIT = 50e3  # no inhabited place has more [Pa]


@dataclass(frozen=True, kw_only=True)
class AsceBase:
    """What every edition of ASCE/SEI 7 asks.

    Attributes
    ----------
    ground_snow : float
        p_g. [Pa]
    risk_category : str
        "I", "II", "III" or "IV".
    slippery : bool
        Whether the covering is slippery in the sense of 7.4 (smooth metal is).
    terrain, exposure : str
        For C_e, Table 7.3-1.
    exposure_factor : float or None
        C_e in place of terrain and exposure.
    thermal : str
        For C_t, Table 7.3-2.
    roof_r_value : float or None
        The number after R-. [h ft^2 F/Btu]
    thermal_factor : float or None
        C_t in place of thermal.
    simple_rafters : bool
        Simply supported prismatic rafters from ridge to eave: 7.6.1 then gives W <= 20 ft a plainer rule.
    upper_roof_retained : bool
        Leave out snow that slides from upper planes that carry rows.
    light_density : float or None
        Density for the depth of snow at the rows, the lightest to be expected; Eq. 7.7-1 by default.
        [kg/m^3]
    """

    ground_snow: float
    risk_category: str
    slippery: bool
    terrain: str = "C"
    exposure: str = "partially exposed"
    exposure_factor: float | None = None
    thermal: str = "unheated"
    roof_r_value: float | None = None
    thermal_factor: float | None = None
    simple_rafters: bool = False
    upper_roof_retained: bool = False
    light_density: float | None = None


@dataclass(frozen=True, kw_only=True)
class AsceSite(AsceBase):
    """Site for ASCE/SEI 7-22; p_g of the risk category, strength level.

    Attributes
    ----------
    winter_wind : float
        W_2, 0.1 to 0.9.
    """

    standard: ClassVar[str] = "ASCE/SEI 7-22"
    winter_wind: float


@dataclass(frozen=True, kw_only=True)
class Asce16Site(AsceBase):
    """Site for ASCE/SEI 7-16; p_g nominal (50 years), raised by I_s of the risk category.

    Attributes
    ----------
    ventilated : bool
        Whether the roof is ventilated, for the R-value of 7.4.1.
    """

    standard: ClassVar[str] = "ASCE/SEI 7-16"
    ventilated: bool = False


@dataclass(frozen=True, kw_only=True)
class NbccSite:
    """Site for NBCC 2020.

    Attributes
    ----------
    ground_snow, associated_rain : float
        S_s and S_r, 1 in 50 years. [Pa]
    importance : str
        "low", "normal", "high" or "post-disaster".
    slippery : bool
        Whether the covering is slippery in the sense of 4.1.6.2.(6) (smooth metal is).
    wind_factor : float
        C_w: 1.0, or 0.75 or 0.5 where 4.1.6.2.(4) allows it.
    basic_factor : float or None
        C_b in place of that of the roof's size; 1.0 for roofs close to the ground.
    upper_roof_retained : bool
        Leave out snow that slides from upper planes that carry rows.
    light_density : float or None
        Density for the depth of snow at the rows, the lightest to be expected; 4.1.6.13 by default.
        [kg/m^3]
    """

    standard: ClassVar[str] = "NBCC 2020"
    ground_snow: float
    associated_rain: float
    importance: str
    slippery: bool
    wind_factor: float = 1.0
    basic_factor: float | None = None
    upper_roof_retained: bool = False
    light_density: float | None = None


@dataclass(frozen=True)
class EnSite:
    """Site for EN 1991-1-3; national choices are inputs.

    Attributes
    ----------
    ground_snow : float
        s_k, characteristic. [Pa]
    topography : str
        "windswept", "normal" or "sheltered", for C_e.
    exposure_factor : float or None
        C_e in place of topography.
    thermal_factor : float
        C_t.
    drift_weight : float
        Weight density of 5.3.6. [N/m^3]
    exceptional_coefficient : float or None
        C_esl of 4.3 where the national annex asks for exceptional loads.
    annex_b : bool
        Whether the national annex asks for exceptional drifts by Annex B.
    return_period, variation : float or None
        n in place of 50 years [a], and the coefficient of variation of yearly largest loads, for Annex D.
    upper_roof_retained : bool
        Leave out snow that slides from upper planes that carry rows.
    light_density : float or None
        Density for the depth of snow at the rows, the lightest to be expected; `en1991_1_3.SETTLED` by
        default. [kg/m^3]
    """

    standard: ClassVar[str] = "EN 1991-1-3"
    ground_snow: float
    topography: str = "normal"
    exposure_factor: float | None = None
    thermal_factor: float = 1.0
    drift_weight: float = 2000.0
    exceptional_coefficient: float | None = None
    annex_b: bool = False
    return_period: float | None = None
    variation: float | None = None
    upper_roof_retained: bool = False
    light_density: float | None = None


@dataclass(frozen=True)
class SnowLayer:
    """A layer: depth [m] and its lightest and heaviest density [kg/m^3].

    `band` is the stretch that it covers, from the left end of its plane, None for all of it. [m]
    """

    depth: float
    light: float
    heavy: float
    band: tuple[float, float] | None = None


@dataclass(frozen=True)
class DirectSite:
    """Snow given directly, for investigations and local rulings.

    Attributes
    ----------
    layers : tuple of SnowLayer
        Bottom first, on every plane without its own.
    plane_layers : mapping of str to tuple of SnowLayer
        Layers of single planes, by plane name; an empty tuple means bare.
    square_to_roof : bool
        Depths measured square to the roof, else vertically.
    level : LoadLevel
        What the load stands for.
    """

    standard: ClassVar[str] = "measured"
    layers: tuple[SnowLayer, ...]
    plane_layers: Mapping[str, tuple[SnowLayer, ...]] = field(default_factory=dict)
    square_to_roof: bool = False
    level: LoadLevel = LoadLevel.MEASURED


Site = AsceSite | Asce16Site | EnSite | NbccSite | DirectSite


def validate_asce(site: AsceSite) -> tuple[float, float]:
    """Check an ASCE/SEI 7-22 site and return C_e and C_t.

    Raises
    ------
    InputError
        One line with field, value and what would be right.
    """
    exposure = _asce_exposure(site)
    _inside("winter_wind", site.winter_wind, 0.1, 0.9)
    if site.thermal_factor is not None:
        return exposure, _inside("thermal_factor", site.thermal_factor, 0.8, 1.4)
    _one_of("thermal", site.thermal, (*asce7_22.THERMAL, "heated"))
    if site.thermal != "heated":
        return exposure, asce7_22.THERMAL[site.thermal]
    if site.roof_r_value is None:
        message = 'site.roof_r_value is missing: thermal "heated" needs the R-value for Table 7.3-3.'
        raise InputError(message)
    return exposure, float(asce7_22.thermal_factor_heated(site.ground_snow, _r_value(site.roof_r_value)))


def validate_asce_16(site: Asce16Site) -> tuple[float, float]:
    """Check an ASCE/SEI 7-16 site and return C_e and C_t.

    Raises
    ------
    InputError
        One line with field, value and what would be right.
    """
    exposure = _asce_exposure(site)
    if site.roof_r_value is not None:
        _r_value(site.roof_r_value)
    if site.thermal_factor is not None:
        return exposure, _inside("thermal_factor", site.thermal_factor, 0.8, 1.4)
    _one_of("thermal", site.thermal, asce7_16.THERMAL)
    return exposure, asce7_16.THERMAL[site.thermal]


def _asce_exposure(site: AsceBase) -> float:
    """Check what the editions share and return C_e."""
    _inside("ground_snow", site.ground_snow, 0.0, GROUND_SNOW_LIMIT, "Pa", open_low=True)
    _one_of("risk_category", site.risk_category, asce7_22.MINIMUM_CAP)
    _light(site.light_density)
    if site.exposure_factor is not None:
        return _inside("exposure_factor", site.exposure_factor, 0.5, 1.5)
    _one_of("terrain", site.terrain, asce7_22.EXPOSURE)
    _one_of("exposure", site.exposure, asce7_22.EXPOSURE_COLUMNS)
    exposure = asce7_22.exposure_factor(site.terrain, site.exposure)
    if np.isnan(exposure):
        message = f'site.exposure "sheltered" does not exist for terrain "{site.terrain}" (Table 7.3-1).'
        raise InputError(message)
    return exposure


def _r_value(value: float) -> float:
    return _inside("roof_r_value", value, 0.0, 100.0, "h ft^2 F/Btu", open_low=True)


def validate_nbcc(site: NbccSite) -> float:
    """Check an NBCC 2020 site and return I_s for ultimate limit states.

    Raises
    ------
    InputError
        One line with field, value and what would be right.
    """
    _inside("ground_snow", site.ground_snow, 0.0, GROUND_SNOW_LIMIT, "Pa", open_low=True)
    _inside("associated_rain", site.associated_rain, 0.0, 5e3, "Pa")
    _one_of("importance", site.importance, nbcc2020.IMPORTANCE)
    _inside("wind_factor", site.wind_factor, 0.5, 1.0)
    if site.wind_factor < 1.0 and site.importance not in nbcc2020.WIND_REDUCTION:
        message = (
            f'site.wind_factor is {site.wind_factor:g}: importance "{site.importance}" needs 1.0 '
            "(4.1.6.2.(4) allows less in the low and normal categories only)."
        )
        raise InputError(message)
    if site.basic_factor is not None:
        _inside("basic_factor", site.basic_factor, 0.8, 2.0)
    _light(site.light_density)
    return nbcc2020.IMPORTANCE[site.importance]


def validate_en(site: EnSite) -> float:
    """Check an EN 1991-1-3 site and return C_e.

    Raises
    ------
    InputError
        One line with field, value and what would be right.
    """
    _inside("ground_snow", site.ground_snow, 0.0, GROUND_SNOW_LIMIT, "Pa", open_low=True)
    _inside("thermal_factor", site.thermal_factor, 0.5, 1.2)
    _inside("drift_weight", site.drift_weight, 500.0, 9000.0, "N/m^3")
    _light(site.light_density)
    if (site.return_period is None) != (site.variation is None):
        message = "site.return_period and site.variation go together (Annex D): give both or none."
        raise InputError(message)
    if site.return_period is not None and site.variation is not None:
        _inside("return_period", site.return_period, 5.0, 1e5)
        _inside("variation", site.variation, 0.05, 2.0)
    if site.exceptional_coefficient is not None:
        _inside("exceptional_coefficient", site.exceptional_coefficient, 1.0, 4.0)
    if site.exposure_factor is not None:
        return _inside("exposure_factor", site.exposure_factor, 0.5, 1.5)
    _one_of("topography", site.topography, en1991_1_3.EXPOSURE)
    return en1991_1_3.EXPOSURE[site.topography]


def validate_direct(site: DirectSite, plane_names: tuple[str, ...]) -> None:
    """Check layers given directly.

    Raises
    ------
    InputError
        One line with field, value and what would be right.
    """
    if not site.layers and not site.plane_layers:
        message = "site.layers is empty: give at least one layer with depth and density."
        raise InputError(message)
    for name in site.plane_layers:
        _one_of("plane_layers", name, plane_names)
    for layer in (*site.layers, *(one for stack in site.plane_layers.values() for one in stack)):
        _inside("layers.depth", layer.depth, 0.0, 20.0, "m")
        _inside("layers.light", layer.light, 10.0, 917.0, "kg/m^3")
        _inside("layers.heavy", layer.heavy, layer.light, 917.0, "kg/m^3")


def _light(density: float | None) -> None:
    if density is not None:
        _inside("light_density", density, 30.0, 900.0, "kg/m^3")


def _inside(
    name: str, value: float, low: float, high: float, unit: str = "", *, open_low: bool = False
) -> float:
    above = value > low if open_low else value >= low
    if not (above and value <= high):
        lower = f"above {low:g}" if open_low else f"from {low:g}"
        message = f"site.{name} is {value:g} {unit}: it must be {lower} to {high:g} {unit}."
        raise InputError(message.replace(" :", ":").replace(" .", "."))
    return value


def _one_of(name: str, value: str, known: Mapping[str, object] | tuple[str, ...]) -> None:
    if value not in known:
        options = ", ".join(f'"{one}"' for one in known)
        message = f'site.{name} "{value}" is unknown: use one of {options}.'
        raise InputError(message)
