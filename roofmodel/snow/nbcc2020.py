"""NBCC 2020 subsection 4.1.6, clause by clause: specified load and its factors. SI in and out.

Articles 4.1.6.2, 4.1.6.3, 4.1.6.5, 4.1.6.7, 4.1.6.8, 4.1.6.10 and 4.1.6.13 follow public reprints and
second-hand transcriptions of the code text; a docstring says "from memory" where not even that was available.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

IMPORTANCE = {"low": 0.8, "normal": 1.0, "high": 1.15, "post-disaster": 1.25}  # Table 4.1.6.2.-A, ULS
WIND_REDUCTION = ("low", "normal")  # 4.1.6.2.(4): importance categories that may take C_w below 1.0
SERVICE_IMPORTANCE = 0.9  # Table 4.1.6.2.-A, SLS
LEAST_BASIC = 0.8  # 4.1.6.2.(2): C_b of small roofs
DENSITY_CAP = 4000.0  # 4.1.6.13 [N/m^3]
PARTIAL_SLOPE = np.radians(15.0)  # 4.1.6.3 and 4.1.6.9 [rad]
VALLEY_SLOPE = np.radians(10.0)  # 4.1.6.12, from memory [rad]
GAP_LIMIT = 5.0  # 4.1.6.6 [m]
SLIDE_SHARE = 0.5  # 4.1.6.11, from memory
SLIDE_SLOPE = {True: 0.0, False: np.radians(20.0)}  # 4.1.6.11 by slippery, from memory [rad]
DRIFT_SHARE = {"I": 1.0, "II": 0.67, "III": 0.67}  # beta of 4.1.6.5
F_CAP = 5.0  # 4.1.6.5, where C_ws = 1.0
SLOPE_LENGTH = 5.0  # 4.1.6.5: drift length for a unit of its height


def specified_load(
    ground_snow: ArrayLike, rain: ArrayLike, importance: ArrayLike, *factors: ArrayLike
) -> Array:
    """S = I_s [S_s (C_b C_w C_s C_a) + S_r], NBCC 2020 4.1.6.2.(1). [Pa].

    Parameters
    ----------
    ground_snow, rain : (...) float
        S_s and S_r, 1 in 50 years. [Pa]
    importance : (...) float
        I_s.
    *factors : (...) float
        C_b, C_w, C_s, C_a.

    Returns
    -------
    (...) float
        S_r counts no more than the snow that holds it.
    """
    snow = np.asarray(ground_snow, dtype=float)
    for factor in factors:
        snow = snow * np.asarray(factor, dtype=float)
    return np.asarray(importance) * (snow + np.minimum(rain, snow))


def characteristic_length(width: ArrayLike, length: ArrayLike) -> Array:
    """l_c = 2 w - w^2 / l, NBCC 2020 4.1.6.2.(2), w the smaller and l the larger plan size. [m]."""
    sizes = np.broadcast_arrays(np.asarray(width, dtype=float), np.asarray(length, dtype=float))
    w, long = np.minimum(*sizes), np.maximum(*sizes)
    return 2.0 * w - w**2 / long


def basic_factor(length: ArrayLike, wind: ArrayLike) -> Array:
    """C_b of NBCC 2020 4.1.6.2.(2).

    Parameters
    ----------
    length : (...) float
        l_c. [m]
    wind : (...) float
        C_w.

    Returns
    -------
    (...) float
        0.8 to l_c = 70 / C_w^2, then growing toward 1 / C_w. Roofs whose mean height is below
        1 + S_s / gamma meters take 1.0 in its place.
    """
    cw = np.asarray(wind, dtype=float)
    over = np.maximum(np.asarray(length, dtype=float) * cw**2 - 70.0, 0.0)
    return (1.0 - (1.0 - LEAST_BASIC * cw) * np.exp(-over / 100.0)) / cw


def slope_factor(slope: ArrayLike, slippery: ArrayLike) -> Array:
    """C_s of NBCC 2020 4.1.6.2.(5) and (6).

    Parameters
    ----------
    slope : (...) float
        [rad]
    slippery : (...) bool
        Unobstructed slippery surface from which snow and ice can slide off completely. Retention obstructs.

    Returns
    -------
    (...) float
        1 to 30 degrees, linear to 0 at 70; where slippery 1 to 15 degrees, linear to 0 at 60.
    """
    degrees, smooth = np.broadcast_arrays(
        np.degrees(np.asarray(slope, dtype=float)), np.asarray(slippery, dtype=bool)
    )
    return np.clip(np.where(smooth, (60.0 - degrees) / 45.0, (70.0 - degrees) / 40.0), 0.0, 1.0)


def snow_weight_density(ground_snow: ArrayLike) -> Array:
    """Weight density min(4.0, 0.43 S_s + 2.2) kN/m^3 with S_s in kPa, NBCC 2020 4.1.6.13. [N/m^3]."""
    return np.minimum(0.43 * np.asarray(ground_snow, dtype=float) + 2200.0, DENSITY_CAP)


def gable_factor(slope: ArrayLike) -> Array:
    """C_a on the loaded side of a gable, the other bare, NBCC 2020 4.1.6.9 case II, from memory.

    Parameters
    ----------
    slope : (...) float
        [rad]

    Returns
    -------
    (...) float
        0.25 + alpha / 20 above 15 degrees, 1.25 above 20. To 15 degrees there is no such case: 1.
    """
    return np.clip(0.25 + np.degrees(np.asarray(slope, dtype=float)) / 20.0, 1.0, 1.25)


def arch_factor(x: ArrayLike, rise: float, width: float, basic: float, x_30: float) -> Array:
    """C_a on the loaded side of an arch, the other bare, NBCC 2020 4.1.6.10.(3) and (4).

    Parameters
    ----------
    x : (...) float
        Plan distance from the crown. [m]
    rise, width : float
        h and b. [m]
    basic : float
        C_b.
    x_30 : float
        x where the slope reaches 30 degrees, or the end of the roof. [m]

    Returns
    -------
    (...) float
        h x / (0.06 C_b b x_30) to h / b = 0.12, then 2 x / (C_b x_30); constant beyond x_30; 1 on arches
        with h / b to 0.05, which have no such case. With x_30 = b / 2 this is the h x / (0.03 C_b b^2) and
        4 x / (C_b b) of arches that are nowhere steeper than 30 degrees.
    """
    along = np.minimum(np.asarray(x, dtype=float), x_30) / x_30
    if rise <= 0.05 * width:
        return np.ones_like(along)
    return min(rise / (0.06 * width), 2.0) / basic * along


def dome_factor(x: ArrayLike, y: ArrayLike, reach: float, along: ArrayLike) -> Array:
    """C_a of a dome beside its axis along the wind, NBCC 2020 4.1.6.10.(7), from memory.

    Parameters
    ----------
    x, y : (...) float
        Plan distance from the crown, downwind and across. [m]
    reach : float
        r, radius of the plan. [m]
    along : (...) float
        C_a(x, 0), that of an arch with h and b = 2 r.

    Returns
    -------
    (...) float
        C_a(x, 0) (1 - |y| / r) downwind, 0 upwind.
    """
    across = np.maximum(1.0 - np.abs(np.asarray(y, dtype=float)) / reach, 0.0)
    return np.where(np.asarray(x, dtype=float) < 0.0, 0.0, np.asarray(along, dtype=float) * across)


def valley_factors(basic: ArrayLike, case: str) -> tuple[float, Array, Array]:
    """C_a in a valley between slopes, NBCC 2020 4.1.6.12 cases II and III, from memory.

    Parameters
    ----------
    basic : (...) float
        C_b.
    case : str
        "II" or "III".

    Returns
    -------
    share : float
        Width of the heavy strip on each side, as a share of b (twice the plan distance to the ridge).
    inner, outer : (...) float
        C_a in the strip and from there to b / 2.
    """
    cb = np.asarray(basic, dtype=float)
    return (0.25, 1.0 / cb, 0.5 / cb) if case == "II" else (0.125, 1.5 / cb, 0.5 / cb)
