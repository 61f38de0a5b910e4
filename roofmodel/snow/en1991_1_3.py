"""EN 1991-1-3:2003 with A1, clause by clause, for straight roofs.

SI in and out. Values marked "from memory" were not read in the standard; the others were checked against
published worked examples.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

EXPOSURE = {"windswept": 0.8, "normal": 1.0, "sheltered": 1.2}  # Table 5.1, from memory
MU_RETAINED = 0.8  # 5.3.2(2), 5.3.3(2)
SETTLED = (
    200.0  # settled snow, Annex E (2 kN/m^3), from memory; fresh snow is lighter, old snow heavier [kg/m^3]
)
DRIFT_LENGTH = (5.0, 15.0)  # 5.3.6(1), recommended limits of l_s [m]
OBSTRUCTION = (0.8, 2.0)  # 6.2(2), limits of mu_2
CYLINDER_STEEPEST = np.radians(60.0)  # 5.3.5: no snow where the tangent is steeper [rad]
SLIDE_SLOPE = np.radians(15.0)  # 5.3.6(1): no mu_s up to this slope of the upper roof [rad]


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


def period_factor(years: ArrayLike, variation: ArrayLike) -> Array:
    """s_n / s_k for a mean recurrence of n years, EN 1991-1-3 Eq. D.1, from memory.

    Parameters
    ----------
    years : (...) float
        n, more than 5.
    variation : (...) float
        V, coefficient of variation of the yearly largest loads.
    """
    rare = np.log(-np.log(1.0 - 1.0 / np.asarray(years, dtype=float))) + 0.57722
    V = np.asarray(variation, dtype=float)
    return np.asarray((1.0 - V * np.sqrt(6.0) / np.pi * rare) / (1.0 + 2.5923 * V))


def mu_cylinder(rise: ArrayLike, span: ArrayLike) -> Array:
    """mu_3 = 0.2 + 10 h / b, at most 2.0, of cylindrical roofs, EN 1991-1-3 5.3.5, from memory.

    Parameters
    ----------
    rise, span : (...) float
        h, b. [m]
    """
    return np.minimum(0.2 + 10.0 * np.asarray(rise, dtype=float) / np.asarray(span, dtype=float), 2.0)


def mu_obstruction(height: ArrayLike, weight_density: ArrayLike, ground_snow: ArrayLike) -> Array:
    """mu_2 = gamma h / s_k, within 0.8 and 2.0, at obstructions, EN 1991-1-3 6.2(2), from memory.

    Parameters
    ----------
    height : (...) float
        Of the obstruction above the roof. [m]
    weight_density : (...) float
        gamma, 2 kN/m^3 recommended. [N/m^3]
    ground_snow : (...) float
        s_k. [Pa]
    """
    shape = np.asarray(weight_density) * np.asarray(height, dtype=float) / np.asarray(ground_snow)
    return np.clip(shape, *OBSTRUCTION)


def mu_wind(
    upper_length: ArrayLike,
    lower_length: ArrayLike,
    least_wall: ArrayLike,
    greatest_wall: ArrayLike,
    weight_density: ArrayLike,
    ground_snow: ArrayLike,
) -> Array:
    """mu_w = (b_1 + b_2) / 2 h <= gamma h / s_k, within 0.8 and 4, EN 1991-1-3 Eq. 5.8.

    Parameters
    ----------
    upper_length, lower_length : (...) float
        b_1, b_2 square to the wall. [m]
    least_wall, greatest_wall : (...) float
        h, equal for a level eave; else the least governs the spread and the greatest the cap, which is
        safe. [m]
    weight_density : (...) float
        gamma, 2 kN/m^3. [N/m^3]
    ground_snow : (...) float
        s_k. [Pa]

    Returns
    -------
    (...) float
        Coefficient at the wall. Away from it mu_2 = mu_s + mu_w falls linearly to 0.8 at l_s; where the
        lower roof ends earlier the line is cut there, the interpolation that 5.3.6 asks for.
    """
    least = np.maximum(np.asarray(least_wall, dtype=float), 1e-6)
    spread = (np.asarray(upper_length, dtype=float) + np.asarray(lower_length, dtype=float)) / (2.0 * least)
    cap = np.asarray(weight_density, dtype=float) * np.asarray(greatest_wall) / np.asarray(ground_snow)
    return np.clip(np.minimum(spread, cap), 0.8, 4.0)


def mu_slide(upper_mu: ArrayLike, upper_slope: ArrayLike, upper_run: ArrayLike, length: ArrayLike) -> Array:
    """mu_s of snow that slides from the taller roof, EN 1991-1-3 5.3.6(1).

    Half of the largest load of the adjacent upper slope, where it is steeper than 15 degrees, laid as a
    triangle over l_s: mu_s = mu_1 b_s / l_s. The triangle is the usual reading of Fig. 5.7, from memory.
    Where the slope is bent, mu_1 b_s is summed over its facets and the steepest of them counts (judgment).

    Parameters
    ----------
    upper_mu : (...) float, or (..., facets)
        mu_1 of the upper slope.
    upper_slope : (...) float, or (..., facets)
        [rad]
    upper_run : (...) float, or (..., facets)
        b_s, plan length of the upper slope; 0 where a facet is not on the way. [m]
    length : (...) float
        l_s. [m]

    Returns
    -------
    (...) float
        Coefficient at the wall.
    """
    mu, slope, run = (np.atleast_1d(np.asarray(x, dtype=float)) for x in (upper_mu, upper_slope, upper_run))
    peak = np.sum(mu * run, axis=-1) / np.asarray(length)
    return np.where(np.any((slope > SLIDE_SLOPE + 1e-12) & (run > 0.0), axis=-1), peak, 0.0)


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
