"""NBCC 2020 4.1.6.5 to 4.1.6.7 and 4.1.6.11: drifts at steps and projections, and sliding snow."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roofmodel.snow.nbcc2020 import F_CAP, SLIDE_SHARE, SLIDE_SLOPE, SLOPE_LENGTH

Array = NDArray[np.float64]


class Accumulation(NamedTuple):
    """C_a0 at the wall and x_d [m], where C_a is down to 1."""

    peak: Array
    length: Array


def step_accumulation(
    ground_snow: ArrayLike,
    weight_density: ArrayLike,
    basic: ArrayLike,
    source: ArrayLike,
    wall: ArrayLike,
    share: ArrayLike,
    *,
    parapet: ArrayLike = 0.0,
    capped: ArrayLike = True,
) -> Accumulation:
    """C_a0 and x_d of a drift on a roof beside a higher one, NBCC 2020 4.1.6.5.

    Parameters
    ----------
    ground_snow : (...) float
        S_s. [Pa]
    weight_density : (...) float
        gamma. [N/m^3]
    basic : (...) float
        C_b of the lower roof.
    source : (...) float
        l_cs, characteristic length of the roof that the snow is blown from. [m]
    wall : (...) float
        h, height of the upper roof's edge above the lower roof. [m]
    share : (...) float
        beta, 1.0 in case I (from the upper roof), 0.67 in cases II and III (from the lower).
    parapet : (...) float
        h_p of the source; 0 unless all its edges have parapets. [m]
    capped : (...) bool
        Whether F stops at 5, as it does where C_w of the source is 1.0.

    Returns
    -------
    Accumulation
        min(beta gamma h / (C_b S_s), F / C_b) with F = 0.35 beta sqrt(gamma (l_cs - 5 h_p') / S_s) + C_b,
        not below 1; x_d = 5 (C_b S_s / gamma) (C_a0 - 1).
    """
    ss, gamma = np.asarray(ground_snow, dtype=float), np.asarray(weight_density, dtype=float)
    cb, beta, reach = np.asarray(basic, dtype=float), np.asarray(share), np.asarray(source, dtype=float)
    shelter = np.clip(np.asarray(parapet) - 0.8 * ss / gamma, 0.0, reach / 5.0)
    full = 0.35 * beta * np.sqrt(gamma * (reach - 5.0 * shelter) / ss) + cb
    full = np.where(capped, np.minimum(full, F_CAP), full)
    peak = np.maximum(np.minimum(beta * gamma * np.asarray(wall, dtype=float) / (cb * ss), full / cb), 1.0)
    return Accumulation(peak, SLOPE_LENGTH * cb * ss / gamma * (peak - 1.0))


def projection_accumulation(
    ground_snow: ArrayLike, weight_density: ArrayLike, basic: ArrayLike, height: ArrayLike, width: ArrayLike
) -> Accumulation:
    """C_a0 and x_d beside a projection, NBCC 2020 4.1.6.7.

    Parameters
    ----------
    ground_snow, weight_density, basic : (...) float
        S_s [Pa], gamma [N/m^3], C_b.
    height, width : (...) float
        h, and l_0, the longest plan size of the projection. [m]

    Returns
    -------
    Accumulation
        min(0.67 gamma h / (C_b S_s), gamma l_0 / (7.5 C_b S_s) + 1) and min(3.35 h, 2 l_0 / 3); 1 and 0
        where l_0 is below 3 m.
    """
    h, size = np.asarray(height, dtype=float), np.asarray(width, dtype=float)
    unit = np.asarray(weight_density) / (np.asarray(basic) * np.asarray(ground_snow))
    peak = np.minimum(0.67 * unit * h, unit * size / 7.5 + 1.0)
    counts = (size >= 3.0) & (peak > 1.0)
    return Accumulation(
        np.where(counts, peak, 1.0), np.where(counts, np.minimum(3.35 * h, 2.0 * size / 3.0), 0.0)
    )


def sliding_peak(upper_load: ArrayLike, run: ArrayLike, length: ArrayLike) -> Array:
    """Pressure at the wall of snow that slid from an upper roof, NBCC 2020 4.1.6.11, from memory. [Pa].

    Parameters
    ----------
    upper_load : (...) float
        Specified load of the upper roof with C_a = 1. [Pa]
    run : (...) float
        Plan length of the upper slope. [m]
    length : (...) float
        x_d, over which it falls to 0. [m]

    Returns
    -------
    (...) float
        The triangle weighs half of what the slope carries.
    """
    return 2.0 * SLIDE_SHARE * np.asarray(upper_load) * np.asarray(run) / np.asarray(length)


def slides(slope: ArrayLike, *, slippery: bool) -> NDArray[np.bool_]:
    """Whether an upper roof of this slope [rad] sheds onto lower roofs, NBCC 2020 4.1.6.11, from memory.

    Slippery roofs of any slope, others above 20 degrees.
    """
    return np.asarray(slope, dtype=float) > SLIDE_SLOPE[slippery]
