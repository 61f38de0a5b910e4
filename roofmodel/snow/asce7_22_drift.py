"""ASCE/SEI 7-22 chapter 7, clause by clause: unbalanced, drift and sliding loads.

SI in and out; the standard's psf and ft are converted inside with exact constants. Clause values are
second hand or from memory as each docstring says.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roofmodel.snow.asce7_22 import FOOT, PSF

Array = NDArray[np.float64]

UNBALANCED_SLOPE = (np.arctan(0.5 / 12.0), np.arctan(7.0 / 12.0))  # 7.6.1: 2.38 to 30.2 degrees [rad]
WINDWARD_SHARE = 0.3  # 7.6.1
FOLDED_SLOPE = np.arctan(0.375 / 12.0)  # 7.6.3: steeper folded plates need unbalanced loads [rad]
NO_DRIFT_RATIO = 0.2  # 7.7.1
ADJACENT_GAP = 20.0 * FOOT  # 7.7.2 [m]
SLIDE_SHARE = 0.4  # 7.9
SLIDE_WIDTH = 15.0 * FOOT  # 7.9 [m]
SLIDE_SLOPE = {True: np.arctan(0.25 / 12.0), False: np.arctan(2.0 / 12.0)}  # 7.9 by slippery [rad]


class Drift(NamedTuple):
    """Triangular surcharge: height at the wall [m], width [m], pressure at the wall [Pa]."""

    height: Array
    width: Array
    pressure: Array


class Strip(NamedTuple):
    """Uniform surcharge: pressure [Pa], where it starts from the edge [m], how far it reaches [m]."""

    pressure: Array
    start: Array
    end: Array


def drift_height(ground_snow: ArrayLike, fetch: ArrayLike, winter_wind: ArrayLike) -> Array:
    """h_d = 1.5 sqrt(p_g^0.74 l_u^0.70 W_2^1.7 / gamma) (ft, psf, pcf), ASCE/SEI 7-22 Eq. 7.6-1.

    Parameters
    ----------
    ground_snow : (...) float
        p_g. [Pa]
    fetch : (...) float
        l_u, length of the roof upwind of the drift. [m]
    winter_wind : (...) float
        W_2, share of winter hours with wind above 10 mph.

    Returns
    -------
    (...) float
        Drift height. [m]
    """
    pg = np.asarray(ground_snow, dtype=float) / PSF
    gamma = np.minimum(0.13 * pg + 14.0, 30.0)
    root = pg**0.74 * (np.asarray(fetch, dtype=float) / FOOT) ** 0.70 * np.asarray(winter_wind) ** 1.7
    return 1.5 * np.sqrt(root / gamma) * FOOT


def unbalanced_applies(slope: ArrayLike) -> NDArray[np.bool_]:
    """Whether a hip or gable of this slope [rad] needs unbalanced loads, ASCE/SEI 7-22 7.6.1.

    From 1/2 on 12 (2.38 degrees) to 7 on 12 (30.2 degrees); the ends are taken as included.
    """
    theta = np.asarray(slope, dtype=float)
    low, high = UNBALANCED_SLOPE
    return (theta >= low - 1e-12) & (theta <= high + 1e-12)


def unbalanced_surcharge(height: ArrayLike, weight_density: ArrayLike, slope: ArrayLike) -> Strip:
    """Surcharge on the leeward side of a hip or gable, ASCE/SEI 7-22 7.6.1.

    h_d gamma / sqrt(S) over (8/3) h_d sqrt(S) from the ridge, S the run for a rise of one, on top of the
    balanced load; it holds (8/3) h_d^2 gamma for each meter of ridge whatever the slope.

    Parameters
    ----------
    height : (...) float
        h_d with l_u = W of the windward side. [m]
    weight_density : (...) float
        gamma. [N/m^3]
    slope : (...) float
        Of the leeward side. [rad]

    Returns
    -------
    Strip
        Starting at the ridge.
    """
    root = np.sqrt(1.0 / np.tan(np.asarray(slope, dtype=float)))
    h = np.asarray(height, dtype=float)
    return Strip(h * np.asarray(weight_density) / root, np.zeros_like(h), 8.0 / 3.0 * h * root)


def folded_load(
    flat_load: ArrayLike, exposure: ArrayLike, weight_density: ArrayLike, rise: ArrayLike
) -> tuple[Array, Array]:
    """Unbalanced load of folded plate and sawtooth roofs, ASCE/SEI 7-22 7.6.3, from memory.

    Parameters
    ----------
    flat_load : (...) float
        p_f. [Pa]
    exposure : (...) float
        C_e.
    weight_density : (...) float
        gamma. [N/m^3]
    rise : (...) float
        Height of the ridge above the valley. [m]

    Returns
    -------
    ridge : (...) float
        0.5 p_f. [Pa]
    valley : (...) float
        2 p_f / C_e, so far as the snow there does not stand above the snow on the ridge. [Pa]
    """
    ridge = 0.5 * np.asarray(flat_load, dtype=float)
    level = ridge + np.asarray(rise) * np.asarray(weight_density)
    return ridge, np.minimum(2.0 * np.asarray(flat_load) / np.asarray(exposure), level)


def leeward_drift(
    height: ArrayLike, balanced: ArrayLike, wall: ArrayLike, weight_density: ArrayLike
) -> Drift:
    """Leeward drift on a lower roof, ASCE/SEI 7-22 7.7.1.

    Parameters
    ----------
    height : (...) float
        h_d with l_u = length of the upper roof. [m]
    balanced : (...) float
        Balanced load of the lower roof. [Pa]
    wall : (...) float
        Height of the upper roof's edge above the lower roof. [m]
    weight_density : (...) float
        gamma. [N/m^3]

    Returns
    -------
    Drift
        h_d and w = 4 h_d, or h_c and w = 4 h_d^2 / h_c <= 8 h_c where the wall is lower; zero where
        h_c / h_b < 0.2. The permission to stop at 60 % of the lower roof's length is not used.
    """
    h, hb, hc, gamma = _clear_height(height, balanced, wall, weight_density)
    capped = np.minimum(h, hc)
    width = np.where(h <= hc, 4.0 * h, np.minimum(4.0 * h**2 / np.maximum(hc, 1e-9), 8.0 * hc))
    return _drift(capped, width, gamma, hc, hb)


def windward_drift(
    height: ArrayLike, balanced: ArrayLike, wall: ArrayLike, weight_density: ArrayLike
) -> Drift:
    """Windward drift on a lower roof, ASCE/SEI 7-22 7.7.1.

    Parameters as `leeward_drift`, with l_u = length of the lower roof.

    Returns
    -------
    Drift
        0.75 h_d and 8 times that as width.

    Notes
    -----
    Doubtful: whether h_c limits the height. Here it does, and the width grows so that the drift keeps its
    weight (w = 8 (0.75 h_d)^2 / h_c), without the 8 h_c limit of the leeward drift, which would drop snow.
    """
    h, hb, hc, gamma = _clear_height(height, balanced, wall, weight_density)
    h = 0.75 * h
    capped = np.minimum(h, hc)
    width = np.where(h <= hc, 8.0 * h, 8.0 * h**2 / np.maximum(hc, 1e-9))
    return _drift(capped, width, gamma, hc, hb)


def adjacent_drift(
    height: ArrayLike, balanced: ArrayLike, wall: ArrayLike, gap: ArrayLike, weight_density: ArrayLike
) -> Drift:
    """Leeward drift on a lower roof that stands apart from the higher one, ASCE/SEI 7-22 7.7.2.

    Parameters
    ----------
    height, balanced, wall, weight_density : (...) float
        As `leeward_drift`. [m, Pa, m, N/m^3]
    gap : (...) float
        s, plan distance between the two. [m]

    Returns
    -------
    Drift
        min(h_d, (6 h - s) / 6) high at the lower roof's edge and min(6 h_d, 6 h - s) wide where s < 20 ft
        and s < 6 h, else zero. The drift is also kept to the clear height, from memory.
    """
    h, hb, hc, gamma = _clear_height(height, balanced, wall, weight_density)
    s, rise = np.asarray(gap, dtype=float), np.asarray(wall, dtype=float)
    reach = np.where((s < ADJACENT_GAP) & (s < 6.0 * rise), 6.0 * rise - s, 0.0)
    return _drift(np.minimum(np.minimum(h, reach / 6.0), hc), np.minimum(6.0 * h, reach), gamma, hc, hb)


def sliding_load(flat_load: ArrayLike, run: ArrayLike, gap: ArrayLike) -> Strip:
    """Snow that slides onto a lower roof, ASCE/SEI 7-22 7.9, on top of the balanced load only.

    Parameters
    ----------
    flat_load : (...) float
        p_f of the upper roof. [Pa]
    run : (...) float
        W, plan distance from eave to ridge of the upper roof. [m]
    gap : (...) float
        Plan distance from the upper eave to the lower roof. [m]

    Returns
    -------
    Strip
        0.4 p_f W per meter of eave over 15 ft from the upper eave. The share of a lower roof that ends
        earlier, or begins behind a gap, falls past it. Distances are from the upper eave.
    """
    pressure = SLIDE_SHARE * np.asarray(flat_load, dtype=float) * np.asarray(run, dtype=float) / SLIDE_WIDTH
    start = np.minimum(np.asarray(gap, dtype=float), SLIDE_WIDTH)
    return Strip(np.where(start < SLIDE_WIDTH, pressure, 0.0), start, np.full_like(start, SLIDE_WIDTH))


def slides(slope: ArrayLike, slippery: bool) -> NDArray[np.bool_]:
    """Whether an upper roof of this slope [rad] sheds onto lower roofs, ASCE/SEI 7-22 7.9.

    Slippery above 1/4 on 12, other surfaces above 2 on 12.
    """
    return np.asarray(slope, dtype=float) > SLIDE_SLOPE[slippery]


def _clear_height(
    height: ArrayLike, balanced: ArrayLike, wall: ArrayLike, weight_density: ArrayLike
) -> tuple[Array, Array, Array, Array]:
    gamma = np.asarray(weight_density, dtype=float)
    base = np.asarray(balanced, dtype=float) / gamma
    clear = np.maximum(np.asarray(wall, dtype=float) - base, 0.0)
    h, base, clear, gamma = np.broadcast_arrays(np.asarray(height, dtype=float), base, clear, gamma)
    return h, base, clear, gamma


def _drift(height: Array, width: Array, gamma: Array, clear: Array, base: Array) -> Drift:
    """Zero where the clear height is below 0.2 of the balanced depth, 7.7.1."""
    exists = (clear > 0.0) & (clear >= NO_DRIFT_RATIO * base) & (height > 0.0) & (width > 0.0)
    return Drift(*(np.where(exists, array, 0.0) for array in (height, width, height * gamma)))
