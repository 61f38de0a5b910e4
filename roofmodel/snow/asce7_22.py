"""ASCE/SEI 7-22 chapter 7, clause by clause: flat, minimum and sloped roof loads, rain on snow.

The standard's formulas are in psf and ft; arguments and results here are SI, converted inside with exact
constants. Clause values were checked against second-hand transcriptions and published examples, not
against the standard itself; a docstring says "from memory" where not even that was available.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

FOOT = 0.3048  # [m]
PSF = 4.4482216152605 / FOOT**2  # pound-force per square foot [Pa]
PCF = PSF / FOOT  # pound-force per cubic foot [N/m^3]

LOW_SLOPE = np.radians(15.0)  # 7.3.3: the minimum load applies below this [rad]
RAIN_ON_SNOW = 8.0 * PSF  # 7.10 [Pa]

EXPOSURE = {  # Table 7.3-1: fully exposed, partially exposed, sheltered
    "B": (0.9, 1.0, 1.2),
    "C": (0.9, 1.0, 1.1),
    "D": (0.8, 0.9, 1.0),
    "above tree line": (0.7, 0.8, np.nan),
    "Alaska without trees": (0.7, 0.8, np.nan),
}
EXPOSURE_COLUMNS = ("fully exposed", "partially exposed", "sheltered")
THERMAL = {"cold ventilated": 1.2, "unheated": 1.2, "freezer": 1.3, "greenhouse": 0.85}  # Table 7.3-2
AT_MOST = 1.0 + 1e-9  # a value that was read from text and converted may be a rounding above a limit
MINIMUM_CAP = {"I": 25.0 * PSF, "II": 30.0 * PSF, "III": 35.0 * PSF, "IV": 40.0 * PSF}  # Table 7.3-4

_R_ROWS = np.array([20.0, 30.0, 40.0, 50.0])
_PG_COLUMNS = np.arange(10.0, 71.0, 10.0)
_CT_HEATED = np.array(
    [
        [1.20, 1.11, 1.05, 1.01, 1.00, 1.00, 1.00],
        [1.20, 1.17, 1.14, 1.13, 1.12, 1.11, 1.10],
        [1.20, 1.19, 1.17, 1.16, 1.16, 1.15, 1.15],
        [1.20, 1.20, 1.19, 1.19, 1.19, 1.18, 1.18],
    ]
)


def exposure_factor(terrain: str, exposure: str) -> float:
    """C_e of ASCE/SEI 7-22 Table 7.3-1.

    Parameters
    ----------
    terrain : str
        A key of `EXPOSURE`.
    exposure : str
        One of `EXPOSURE_COLUMNS`.

    Returns
    -------
    float
        C_e; NaN where the table gives none (sheltered roofs above the tree line).
    """
    return EXPOSURE[terrain][EXPOSURE_COLUMNS.index(exposure)]


def thermal_factor_heated(ground_snow: ArrayLike, r_value: ArrayLike) -> Array:
    """C_t of heated roofs that are not ventilated, ASCE/SEI 7-22 Table 7.3-3, bilinear between entries.

    Parameters
    ----------
    ground_snow : (...) float
        p_g. [Pa]
    r_value : (...) float
        The number after R-. [h ft^2 F/Btu]

    Returns
    -------
    (...) float
        C_t. Outside the table the nearest entry holds; above R-50 it is 1.2.

    Notes
    -----
    The grid is second hand; one newsletter quotes 1.17 for R-30 and 30 psf where it has 1.14.
    """
    pg, r = np.broadcast_arrays(np.asarray(ground_snow, dtype=float) / PSF, np.asarray(r_value, dtype=float))
    column = np.clip(pg / 10.0 - 1.0, 0.0, _PG_COLUMNS.size - 1.0)
    row = np.clip(r / 10.0 - 2.0, 0.0, _R_ROWS.size - 1.0)
    i = np.minimum(row.astype(int), _R_ROWS.size - 2)
    j = np.minimum(column.astype(int), _PG_COLUMNS.size - 2)
    s, t = row - i, column - j
    table = _CT_HEATED
    low = (1.0 - t) * table[i, j] + t * table[i, j + 1]
    high = (1.0 - t) * table[i + 1, j] + t * table[i + 1, j + 1]
    return np.where(r > _R_ROWS[-1], 1.2, (1.0 - s) * low + s * high)


def flat_roof_load(ground_snow: ArrayLike, exposure: ArrayLike, thermal: ArrayLike) -> Array:
    """p_f = 0.7 C_e C_t p_g, ASCE/SEI 7-22 Eq. 7.3-1. [Pa].

    Parameters
    ----------
    ground_snow : (...) float
        p_g for the risk category, strength level. [Pa]
    exposure, thermal : (...) float
        C_e, C_t.
    """
    return 0.7 * np.asarray(exposure) * np.asarray(thermal) * np.asarray(ground_snow)


def minimum_load(ground_snow: ArrayLike, risk_category: str) -> Array:
    """p_m = min(p_g, p_m,max) for low-slope roofs, ASCE/SEI 7-22 7.3.3, Table 7.3-4. [Pa].

    A uniform case of its own: it is not combined with drift, sliding, unbalanced or partial loads.
    """
    return np.minimum(np.asarray(ground_snow, dtype=float), MINIMUM_CAP[risk_category])


def slope_factor(slope: ArrayLike, thermal: ArrayLike, slippery: ArrayLike) -> Array:
    """C_s of ASCE/SEI 7-22 7.4, Fig. 7.4-1.

    Parameters
    ----------
    slope : (...) float
        Roof slope. [rad]
    thermal : (...) float
        C_t: graph (a) to 1.1, (b) between 1.1 and 1.2, (c) from 1.2.
    slippery : (...) bool
        Unobstructed slippery surface that lets the snow slide off the eave (dashed line). A surface with
        snow retention is obstructed and takes the full line.

    Returns
    -------
    (...) float
        1 on gentle slopes, linear to 0 at 70 degrees.

    Notes
    -----
    That 7-22 dropped the R-value gate of graph (a) is second hand.
    """
    degrees, ct, dashed = np.broadcast_arrays(
        np.degrees(np.asarray(slope, dtype=float)),
        np.asarray(thermal, dtype=float),
        np.asarray(slippery, dtype=bool),
    )
    return np.clip((70.0 - degrees) / (70.0 - slope_start(ct, dashed)), 0.0, 1.0)


def slope_start(thermal: ArrayLike, slippery: ArrayLike, warm: float = 1.1) -> Array:
    """Slope where the line of Fig. 7.4-1 leaves 1.0, parameters as `slope_factor`. [degrees].

    `warm` is the largest C_t of graph (a).
    """
    ct = np.asarray(thermal, dtype=float)
    graph = np.where(ct <= warm, 0, np.where(ct < 1.2, 1, 2))
    return np.where(slippery, np.array([5.0, 10.0, 15.0])[graph], np.array([30.0, 37.5, 45.0])[graph])


def sloped_roof_load(flat_load: ArrayLike, slope_factor: ArrayLike) -> Array:
    """p_s = C_s p_f, balanced, ASCE/SEI 7-22 Eq. 7.4-1, per plan area. [Pa]."""
    return np.asarray(slope_factor) * np.asarray(flat_load)


def snow_weight_density(ground_snow: ArrayLike) -> Array:
    """Weight density gamma = 0.13 p_g + 14 <= 30 (pcf, psf), ASCE/SEI 7-22 Eq. 7.7-1.

    Parameters
    ----------
    ground_snow : (...) float
        p_g. [Pa]

    Returns
    -------
    (...) float
        Weight density. [N/m^3]
    """
    return np.minimum(0.13 * np.asarray(ground_snow, dtype=float) / PSF + 14.0, 30.0) * PCF


def rain_on_snow(ground_snow: ArrayLike, slope: ArrayLike, run: ArrayLike, risk_category: str) -> Array:
    """Rain-on-snow surcharge, ASCE/SEI 7-22 7.10, on the balanced load only.

    Parameters
    ----------
    ground_snow : (...) float
        p_g. [Pa]
    slope : (...) float
        [rad]
    run : (...) float
        W, plan distance from eave to ridge. [m]
    risk_category : str
        "I" to "IV".

    Returns
    -------
    (...) float
        8 psf where 0 < p_g <= p_m,max and the slope in degrees is below W / 50 with W in ft, else 0. [Pa]
    """
    pg = np.asarray(ground_snow, dtype=float)
    low = np.degrees(np.asarray(slope, dtype=float)) < np.asarray(run, dtype=float) / FOOT / 50.0
    return np.where((pg > 0.0) & (pg <= MINIMUM_CAP[risk_category] * AT_MOST) & low, RAIN_ON_SNOW, 0.0)
