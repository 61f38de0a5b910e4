"""EN 1991-1-3:2003 with A1, clause by clause, for straight roofs.

SI in and out. Values marked "from memory" were not read in the standard; the others were checked against
published worked examples.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

EXPOSURE = {"windswept": 0.8, "normal": 1.0, "sheltered": 1.2}  # Table 5.1, from memory
MU_RETAINED = 0.8  # 5.3.2(2), 5.3.3(2)
DRIFT_LENGTH = (5.0, 15.0)  # 5.3.6(1), recommended limits of l_s [m]
SLIDE_SLOPE = np.radians(15.0)  # 5.3.6(1): no mu_s up to this slope of the upper roof [rad]


class AbuttingDrift(NamedTuple):
    """Shape coefficients at the taller roof's wall and the drift length l_s [m], 5.3.6."""

    wind: Array
    slide: Array
    length: Array


def mu_1(slope: ArrayLike, retained: ArrayLike = False) -> Array:
    """Snow load shape coefficient mu_1, EN 1991-1-3 Table 5.2.

    Parameters
    ----------
    slope : (...) float
        [rad]
    retained : (...) bool
        Whether snow is prevented from sliding: then mu_1 is not below 0.8, 5.3.2(2) and 5.3.3(2).

    Returns
    -------
    (...) float
        0.8 to 30 degrees, linear to 0 at 60 degrees.
    """
    degrees = np.degrees(np.asarray(slope, dtype=float))
    free = 0.8 * np.clip((60.0 - degrees) / 30.0, 0.0, 1.0)
    return np.where(np.asarray(retained, dtype=bool), MU_RETAINED, free)


def mu_2(slope: ArrayLike) -> Array:
    """Snow load shape coefficient mu_2, EN 1991-1-3 Table 5.2, from memory.

    Parameters
    ----------
    slope : (...) float
        Mean slope at the valley. [rad]

    Returns
    -------
    (...) float
        0.8 + 0.8 alpha / 30 to 30 degrees, then 1.6. Above 60 degrees the standard asks for special
        consideration; 1.6 is kept here.
    """
    degrees = np.degrees(np.asarray(slope, dtype=float))
    return 0.8 + 0.8 * np.clip(degrees / 30.0, 0.0, 1.0)


def roof_load(shape: ArrayLike, exposure: ArrayLike, thermal: ArrayLike, ground_snow: ArrayLike) -> Array:
    """Roof load s = mu C_e C_t s_k, EN 1991-1-3 Eq. 5.1, per plan area. [Pa].

    With ground_snow = C_esl s_k it is Eq. 5.2, the exceptional load.
    """
    return np.asarray(shape) * np.asarray(exposure) * np.asarray(thermal) * np.asarray(ground_snow)


def drift_length(wall: ArrayLike) -> Array:
    """l_s = 2 h, within 5 and 15 m, EN 1991-1-3 5.3.6(1), for walls of height h [m]. [m]."""
    return np.clip(2.0 * np.asarray(wall, dtype=float), *DRIFT_LENGTH)


def mu_wind(
    upper_length: ArrayLike,
    lower_length: ArrayLike,
    wall: ArrayLike,
    weight_density: ArrayLike,
    ground_snow: ArrayLike,
) -> Array:
    """mu_w = (b_1 + b_2) / 2 h <= gamma h / s_k, within 0.8 and 4, EN 1991-1-3 Eq. 5.8.

    Parameters
    ----------
    upper_length, lower_length : (...) float
        b_1, b_2 square to the wall. [m]
    wall : (...) float
        h. [m]
    weight_density : (...) float
        gamma, 2 kN/m^3. [N/m^3]
    ground_snow : (...) float
        s_k. [Pa]

    Returns
    -------
    (...) float
        Coefficient at the wall.
    """
    h = np.maximum(np.asarray(wall, dtype=float), 1e-6)
    spread = (np.asarray(upper_length, dtype=float) + np.asarray(lower_length, dtype=float)) / (2.0 * h)
    return np.clip(np.minimum(spread, np.asarray(weight_density) * h / np.asarray(ground_snow)), 0.8, 4.0)


def mu_slide(upper_mu: ArrayLike, upper_slope: ArrayLike, upper_run: ArrayLike, length: ArrayLike) -> Array:
    """mu_s of snow that slides from the taller roof, EN 1991-1-3 5.3.6(1).

    Half of the largest load of the adjacent upper slope, where it is steeper than 15 degrees, laid as a
    triangle over l_s: mu_s = mu_1 b_s / l_s. The triangle is the usual reading of Fig. 5.7, from memory.

    Parameters
    ----------
    upper_mu : (...) float
        mu_1 of the upper slope.
    upper_slope : (...) float
        [rad]
    upper_run : (...) float
        b_s, plan length of the upper slope. [m]
    length : (...) float
        l_s. [m]

    Returns
    -------
    (...) float
        Coefficient at the wall.
    """
    peak = np.asarray(upper_mu) * np.asarray(upper_run) / np.asarray(length)
    return np.where(np.asarray(upper_slope) > SLIDE_SLOPE + 1e-12, peak, 0.0)


def abutting_drift(
    upper_length: ArrayLike,
    lower_length: ArrayLike,
    wall: ArrayLike,
    weight_density: ArrayLike,
    ground_snow: ArrayLike,
    upper_mu: ArrayLike = 0.0,
    upper_slope: ArrayLike = 0.0,
    upper_run: ArrayLike = 0.0,
) -> AbuttingDrift:
    """Drift on a roof that abuts taller works, EN 1991-1-3 5.3.6: mu_2 = mu_s + mu_w at the wall.

    Parameters as `mu_wind` and `mu_slide`. Away from the wall mu falls linearly to 0.8 at l_s; where the
    lower roof ends earlier the line is cut there, which is the interpolation that 5.3.6 asks for.
    """
    length = drift_length(wall)
    return AbuttingDrift(
        mu_wind(upper_length, lower_length, wall, weight_density, ground_snow),
        mu_slide(upper_mu, upper_slope, upper_run, length),
        length,
    )


def obstruction_drift(
    wall: ArrayLike, weight_density: ArrayLike, ground_snow: ArrayLike
) -> tuple[Array, Array]:
    """Drift at a projection or parapet, EN 1991-1-3 6.2, from memory.

    Returns
    -------
    mu_2 : (...) float
        gamma h / s_k within 0.8 and 2.0.
    length : (...) float
        l_s = 2 h within 5 and 15 m. [m]
    """
    h = np.asarray(wall, dtype=float)
    mu = np.clip(np.asarray(weight_density) * h / np.asarray(ground_snow), 0.8, 2.0)
    return mu, drift_length(h)


def overhang_load(roof_load: ArrayLike, weight_density: ArrayLike = 3000.0) -> Array:
    """Snow that hangs over an eave, EN 1991-1-3 6.3: S_e = k s^2 / gamma.

    Parameters
    ----------
    roof_load : (...) float
        s, most onerous undrifted load. [Pa]
    weight_density : (...) float
        gamma, 3 kN/m^3. [N/m^3]

    Returns
    -------
    (...) float
        Load along the eave, k = 3 / d <= d gamma with d = s / gamma in m and gamma in kN/m^3. [N/m]
    """
    s, gamma = np.asarray(roof_load, dtype=float), np.asarray(weight_density, dtype=float)
    depth = s / gamma
    k = np.minimum(3.0 / np.maximum(depth, 1e-12), depth * gamma / 1000.0)
    return k * s**2 / gamma


def guard_force(roof_load: ArrayLike, slope: ArrayLike, run: ArrayLike) -> Array:
    """Force of sliding snow on a guard, EN 1991-1-3 6.4: F_s = s b sin(alpha), without friction.

    Parameters
    ----------
    roof_load : (...) float
        s, most onerous undrifted load of the area that can slide. [Pa]
    slope : (...) float
        [rad]
    run : (...) float
        b, plan distance to the next guard or the ridge. [m]

    Returns
    -------
    (...) float
        Down the slope, for each meter of guard. [N/m]
    """
    return np.asarray(roof_load) * np.asarray(run) * np.sin(np.asarray(slope, dtype=float))


def exceptional_abutting(
    wall: ArrayLike,
    upper_length: ArrayLike,
    lower_length: ArrayLike,
    ground_snow: ArrayLike,
    upper_slope: ArrayLike = 0.0,
) -> tuple[Array, Array]:
    """Exceptional drift on a roof that abuts taller works, EN 1991-1-3 B3, partly from memory.

    Parameters
    ----------
    wall, upper_length, lower_length : (...) float
        h, b_1, b_2. [m]
    ground_snow : (...) float
        s_k. [Pa]
    upper_slope : (...) float
        Reduces mu from 15 to 30 degrees, none above. [rad]

    Returns
    -------
    mu : (...) float
        min(2 h / s_k, 2 b / l_s, 8) at the wall with h / s_k in m per kN/m^2 and b the larger length.
    length : (...) float
        l_s = min(5 h, b_1, 15 m). [m]
    """
    h, b1 = np.asarray(wall, dtype=float), np.asarray(upper_length, dtype=float)
    length = np.minimum(np.minimum(5.0 * h, b1), 15.0)
    b = np.maximum(b1, np.asarray(lower_length, dtype=float))
    mu = np.minimum(np.minimum(2000.0 * h / np.asarray(ground_snow), 2.0 * b / length), 8.0)
    steep = np.clip((30.0 - np.degrees(np.asarray(upper_slope, dtype=float))) / 15.0, 0.0, 1.0)
    return mu * steep, length
