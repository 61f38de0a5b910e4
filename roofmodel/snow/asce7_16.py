"""ASCE/SEI 7-16 chapter 7, clause by clause, where it differs from 7-22; nominal (50-year) ground snow.

Table 7.3-1, density, unbalanced, leeward, adjacent and sliding rules are those of `asce7_22` and
`asce7_22_drift`. SI in and out, the standard's psf and ft are converted inside with exact constants. Clause
values are second hand or from memory as each docstring says.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roofmodel.snow.asce7_22 import AT_MOST, FOOT, PSF, slope_start
from roofmodel.snow.asce7_22_drift import Drift, leeward_drift

Array = NDArray[np.float64]

IMPORTANCE = {"I": 0.8, "II": 1.0, "III": 1.1, "IV": 1.2}  # Table 1.5-2
THERMAL = {  # Table 7.3-2
    "heated": 1.0,
    "kept above freezing": 1.1,
    "cold ventilated": 1.1,
    "unheated": 1.2,
    "freezer": 1.3,
    "greenhouse": 0.85,
}
MINIMUM_STEP = 20.0 * PSF  # 7.3.4 and 7.10 [Pa]
RAIN_ON_SNOW = 5.0 * PSF  # 7.10 [Pa]
LEAST_FETCH = 20.0 * FOOT  # Fig. 7.6-1 and 7.6.1 [m]
WARM = 1.0  # largest C_t of graph (a) of Fig. 7.4-1
WARM_R = {False: 30.0, True: 20.0}  # 7.4.1 by ventilated [h ft^2 F/Btu]


def flat_roof_load(
    ground_snow: ArrayLike, exposure: ArrayLike, thermal: ArrayLike, importance: ArrayLike
) -> Array:
    """p_f = 0.7 C_e C_t I_s p_g, ASCE/SEI 7-16 Eq. 7.3-1. [Pa].

    Parameters
    ----------
    ground_snow : (...) float
        p_g, nominal. [Pa]
    exposure, thermal, importance : (...) float
        C_e, C_t, I_s.
    """
    return 0.7 * np.asarray(exposure) * np.asarray(thermal) * np.asarray(importance) * np.asarray(ground_snow)


def minimum_load(ground_snow: ArrayLike, importance: ArrayLike) -> Array:
    """p_m = I_s min(p_g, 20 psf) for low-slope roofs, ASCE/SEI 7-16 7.3.4. [Pa].

    A uniform case of its own: it is not combined with drift, sliding, unbalanced or partial loads.
    """
    return np.asarray(importance) * np.minimum(np.asarray(ground_snow, dtype=float), MINIMUM_STEP)


def warm_slippery_allowed(thermal: float, r_value: float | None, *, ventilated: bool) -> bool:
    """Whether a slippery roof may take the dashed line of Fig. 7.4-1a, ASCE/SEI 7-16 7.4.1.

    Parameters
    ----------
    thermal : float
        C_t; above 1.0 the cold graphs hold, which ask for no insulation.
    r_value : float or None
        The number after R-; None where nobody gave it, which allows nothing. [h ft^2 F/Btu]
    ventilated : bool
        Whether the roof is ventilated: R-20 is then enough in place of R-30.
    """
    return thermal > 1.0 or (r_value is not None and r_value >= WARM_R[ventilated])


def slope_factor(slope: ArrayLike, thermal: ArrayLike, slippery: ArrayLike) -> Array:
    """C_s of ASCE/SEI 7-16 7.4.1 and 7.4.2, Fig. 7.4-1.

    Parameters
    ----------
    slope : (...) float
        Roof slope. [rad]
    thermal : (...) float
        C_t: graph (a) to 1.0, (b) above 1.0 and below 1.2, (c) from 1.2.
    slippery : (...) bool
        Unobstructed slippery surface (dashed line) that `warm_slippery_allowed` lets count as one.

    Returns
    -------
    (...) float
        1 on gentle slopes, linear to 0 at 70 degrees.
    """
    degrees, ct, dashed = np.broadcast_arrays(
        np.degrees(np.asarray(slope, dtype=float)),
        np.asarray(thermal, dtype=float),
        np.asarray(slippery, dtype=bool),
    )
    return np.clip((70.0 - degrees) / (70.0 - slope_start(ct, dashed, WARM)), 0.0, 1.0)


def drift_height(ground_snow: ArrayLike, fetch: ArrayLike, importance: ArrayLike) -> Array:
    """h_d = sqrt(I_s) (0.43 l_u^(1/3) (p_g + 10)^(1/4) - 1.5) (ft, psf), ASCE/SEI 7-16 Fig. 7.6-1.

    Parameters
    ----------
    ground_snow : (...) float
        p_g, nominal. [Pa]
    fetch : (...) float
        l_u, length of the roof upwind of the drift. [m]
    importance : (...) float
        I_s.

    Returns
    -------
    (...) float
        Drift height, not below 0. Below 20 ft of fetch that of 20 ft, so far as it is not above
        sqrt(I_s p_g l_u / (4 gamma)) with the fetch itself. [m]
    """
    pg, length, factor = np.broadcast_arrays(
        np.asarray(ground_snow, dtype=float) / PSF,
        np.asarray(fetch, dtype=float) / FOOT,
        np.asarray(importance, dtype=float),
    )
    least = LEAST_FETCH / FOOT
    height = np.sqrt(factor) * (0.43 * np.cbrt(np.maximum(length, least)) * (pg + 10.0) ** 0.25 - 1.5)
    gamma = np.minimum(0.13 * pg + 14.0, 30.0)
    short = np.sqrt(factor * pg * length / (4.0 * gamma))
    return np.maximum(np.where(length < least, np.minimum(height, short), height), 0.0) * FOOT


def unbalanced_height(ground_snow: ArrayLike, run: ArrayLike, importance: ArrayLike) -> Array:
    """h_d behind a ridge, ASCE/SEI 7-16 7.6.1: l_u = W, not below 20 ft. [m].

    Parameters
    ----------
    ground_snow : (...) float
        p_g, nominal. [Pa]
    run : (...) float
        W of the windward side. [m]
    importance : (...) float
        I_s.
    """
    return drift_height(ground_snow, np.maximum(run, LEAST_FETCH), importance)


def windward_drift(
    height: ArrayLike, balanced: ArrayLike, wall: ArrayLike, weight_density: ArrayLike
) -> Drift:
    """Windward drift on a lower roof, ASCE/SEI 7-16 7.7.1: 0.75 h_d, else as a leeward drift.

    Parameters as `leeward_drift`, with l_u = length of the lower roof. Parapets and projections take the
    same (7.8).
    """
    return leeward_drift(0.75 * np.asarray(height, dtype=float), balanced, wall, weight_density)


def rain_on_snow(ground_snow: ArrayLike, slope: ArrayLike, run: ArrayLike) -> Array:
    """Rain-on-snow surcharge, ASCE/SEI 7-16 7.10, on the balanced load only.

    Parameters
    ----------
    ground_snow : (...) float
        p_g, nominal. [Pa]
    slope : (...) float
        [rad]
    run : (...) float
        W, plan distance from eave to ridge. [m]

    Returns
    -------
    (...) float
        5 psf where 0 < p_g <= 20 psf and the slope in degrees is below W / 50 with W in ft, else 0. [Pa]
    """
    pg = np.asarray(ground_snow, dtype=float)
    low = np.degrees(np.asarray(slope, dtype=float)) < np.asarray(run, dtype=float) / FOOT / 50.0
    return np.where((pg > 0.0) & (pg <= MINIMUM_STEP * AT_MOST) & low, RAIN_ON_SNOW, 0.0)
