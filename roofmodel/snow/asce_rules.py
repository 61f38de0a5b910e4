"""What the editions of ASCE/SEI 7 chapter 7 do differently, made ready for one site."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow import asce7_16, asce7_22
from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.asce_working import (
    DENSITY,
    height_22,
    heights_16,
    windward_formulas_16,
    windward_formulas_22,
)
from roofmodel.snow.cases import LoadLevel, Value
from roofmodel.snow.inputs import Asce16Site, AsceSite, validate_asce, validate_asce_16

Array = NDArray[np.float64]


@dataclass(frozen=True)
class AsceRules:
    """One edition at one site: its numbers, its clause functions and how it names them.

    Attributes
    ----------
    code : str
        Standard and edition.
    level : LoadLevel
    ground : tuple of Value
        p_g, and I_s where the edition has it.
    flat : tuple of Value
        All that p_f takes, and p_f.
    density : Value
        gamma and its formula.
    exposure, thermal : float
        C_e, C_t.
    flat_load : float
        p_f. [Pa]
    slope_factor : callable
        C_s of slopes (p,) [rad] and whether each takes the slippery line (p,).
    slope_start : callable
        Where that line leaves 1.0. [degrees]
    slippery_bar : str
        Why no surface may take the slippery line here, "" where it may.
    minimum_load, minimum_clause, minimum_formula, minimum_values
        p_m. [Pa]
    drift_height, ridge_height : callable
        h_d of a fetch and behind a ridge of a windward run. [m to m]
    drift_values : tuple of Value
        What h_d takes beside the fetch.
    heights, ridge_heights : callable
        h_d with its formula, and what it takes beside `drift_values` and l_u, or W; of a length. [m]
    windward, windward_formulas
        Drift of h_d, balanced load, wall and gamma; formulas of its height and width from h_d and h_c.
    narrow_load, narrow_formula
        Leeward load of narrow roofs, 7.6.1. [Pa]
    rain : callable
        Surcharge of slopes [rad] and runs [m], (p,). [Pa]
    rain_formula : str
    rain_bar : str
        Why there is none at this ground snow, "" where there may be.
    """

    code: str
    level: LoadLevel
    ground: tuple[Value, ...]
    flat: tuple[Value, ...]
    density: Value
    exposure: float
    thermal: float
    flat_load: float
    slope_factor: Callable[[Array, Array], Array]
    slope_start: Callable[[bool], float]
    slippery_bar: str
    minimum_load: float
    minimum_clause: str
    minimum_formula: str
    minimum_values: tuple[Value, ...]
    drift_height: Callable[[float], float]
    ridge_height: Callable[[float], float]
    drift_values: tuple[Value, ...]
    heights: Callable[[float], tuple[Value, ...]]
    ridge_heights: Callable[[float], tuple[Value, ...]]
    windward: Callable[[float, float, float, float], drift.Drift]
    windward_formulas: Callable[[float, float], tuple[str, str]]
    narrow_load: float
    narrow_formula: str
    rain: Callable[[Array, Array], Array]
    rain_formula: str
    rain_bar: str

    @property
    def weight_density(self) -> float:
        """Gamma. [N/m^3]."""
        return self.density.value


def asce_rules(site: AsceSite | Asce16Site) -> AsceRules:
    """Rules of the edition that the site names.

    Raises
    ------
    InputError
        For site values outside their range.
    """
    return _rules_22(site) if isinstance(site, AsceSite) else _rules_16(site)


def _rules_22(site: AsceSite) -> AsceRules:
    exposure, thermal = validate_asce(site)
    pg, category = site.ground_snow, site.risk_category
    cap = asce7_22.MINIMUM_CAP[category]
    ground = (Value("p_g", pg, "Pa", "ground snow, strength level, from the user"),)

    def height(fetch: float) -> float:
        return float(drift.drift_height(pg, fetch, site.winter_wind))

    def heights(length: float, symbol: str = "l_u") -> tuple[Value, ...]:
        return (Value("h_d", height(length), "m", "Eq. 7.6-1", height_22(symbol)),)

    flat, density = float(asce7_22.flat_roof_load(pg, exposure, thermal)), _density(pg)
    return AsceRules(
        code=site.standard,
        level=LoadLevel.STRENGTH,
        ground=ground,
        flat=_flat_values(site, ground, exposure, thermal, flat, "0.7 C_e C_t p_g"),
        density=density,
        exposure=exposure,
        thermal=thermal,
        flat_load=flat,
        slope_factor=lambda slope, free: asce7_22.slope_factor(slope, thermal, free),
        slope_start=lambda free: float(asce7_22.slope_start(thermal, free)),
        slippery_bar="",
        minimum_load=float(asce7_22.minimum_load(pg, category)),
        minimum_clause="7.3.3",
        minimum_formula="p_m = min(p_g, p_m,max)",
        minimum_values=(*ground, Value("p_m,max", cap, "Pa", "Table 7.3-4")),
        drift_height=height,
        ridge_height=height,
        drift_values=(
            *ground,
            Value("W_2", site.winter_wind, "", "winter wind, from the user"),
            density,
        ),
        heights=heights,
        ridge_heights=lambda run: heights(run, "W"),
        windward=drift.windward_drift,
        windward_formulas=windward_formulas_22,
        narrow_load=pg,
        narrow_formula="p_g where W <= 20 ft and rafters are simply supported",
        rain=lambda slope, run: asce7_22.rain_on_snow(pg, slope, run, category),
        rain_formula="8 psf where theta < W / 50",
        rain_bar=f"p_g is above p_m,max = {cap / asce7_22.PSF:.0f} psf of risk category {category} (7.10)"
        if pg > cap * asce7_22.AT_MOST
        else "",
    )


def _rules_16(site: Asce16Site) -> AsceRules:
    exposure, thermal = validate_asce_16(site)
    pg, factor = site.ground_snow, asce7_16.IMPORTANCE[site.risk_category]
    importance = Value("I_s", factor, "", f"Table 1.5-2, risk category {site.risk_category}")
    ground = (Value("p_g", pg, "Pa", "ground snow, nominal, from the user"), importance)
    warm = asce7_16.warm_slippery_allowed(thermal, site.roof_r_value, ventilated=site.ventilated)
    need = asce7_16.WARM_R[site.ventilated]
    flat, density = float(asce7_16.flat_roof_load(pg, exposure, thermal, factor)), _density(pg)
    least = asce7_16.LEAST_FETCH

    def height(length: float) -> float:
        return float(asce7_16.drift_height(pg, length, factor))

    def heights(length: float) -> tuple[Value, ...]:
        return heights_16(length, least, height(least), height(length))

    def ridge_heights(run: float) -> tuple[Value, ...]:
        length = max(run, least)
        return (Value("l_u", length, "m", "not below 20 ft (7.6.1)", "max(W, 20 ft)"), *heights(length))

    return AsceRules(
        code=site.standard,
        level=LoadLevel.CHARACTERISTIC,
        ground=ground,
        flat=_flat_values(site, ground, exposure, thermal, flat, "0.7 C_e C_t I_s p_g"),
        density=density,
        exposure=exposure,
        thermal=thermal,
        flat_load=flat,
        slope_factor=lambda slope, free: asce7_16.slope_factor(slope, thermal, free),
        slope_start=lambda free: float(asce7_22.slope_start(thermal, free, asce7_16.WARM)),
        slippery_bar="" if warm else f"a warm roof takes the slippery line only with R-{need:.0f} (7.4.1)",
        minimum_load=float(asce7_16.minimum_load(pg, factor)),
        minimum_clause="7.3.4",
        minimum_formula="p_m = I_s min(p_g, 20 psf)",
        minimum_values=ground,
        drift_height=height,
        ridge_height=lambda run: float(asce7_16.unbalanced_height(pg, run, factor)),
        drift_values=(*ground, density),
        heights=heights,
        ridge_heights=ridge_heights,
        windward=asce7_16.windward_drift,
        windward_formulas=windward_formulas_16,
        narrow_load=factor * pg,
        narrow_formula="I_s p_g where W <= 20 ft and rafters are simply supported",
        rain=lambda slope, run: asce7_16.rain_on_snow(pg, slope, run),
        rain_formula="5 psf where theta < W / 50",
        rain_bar="p_g is above 20 psf (7.10)" if pg > asce7_16.MINIMUM_STEP else "",
    )


def _density(ground_snow: float) -> Value:
    weight = float(asce7_22.snow_weight_density(ground_snow))
    return Value("gamma", weight, "N/m**3", "Eq. 7.7-1", DENSITY)


def _flat_values(
    site: AsceSite | Asce16Site,
    ground: tuple[Value, ...],
    exposure: float,
    thermal: float,
    flat_load: float,
    formula: str,
) -> tuple[Value, ...]:
    """p_f and what it takes, with the rows and columns of the tables."""
    table = "Table 7.3-2"
    if site.thermal == "heated" and isinstance(site, AsceSite):
        table = f"Table 7.3-3, R-{site.roof_r_value or 0.0:g}, linear between its p_g and R"
    how = "given" if site.thermal_factor is not None else f"{table}, {site.thermal}"
    where = "given" if site.exposure_factor is not None else f"Table 7.3-1, {site.terrain}, {site.exposure}"
    return (
        *ground,
        Value("C_e", exposure, "", where),
        Value("C_t", thermal, "", how),
        Value("p_f", flat_load, "Pa", "Eq. 7.3-1", formula),
    )
