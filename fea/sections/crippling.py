"""Crushing of the walls that stand on a clamp (web crippling)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.hardware import DesignFormat, Material
from roofmodel.profiles.data import Walls

Array = NDArray[np.float64]

UPRIGHT = np.cos(np.radians(30.0))  # walls leaning less than this against the force carry it


def bearing_resistance(
    walls: Walls, axis: int, length: float, metal: Material, form: DesignFormat, *, end: bool
) -> float:
    """Design force that the walls along one axis carry over a clamp; NaN without such walls. [N].

    Parameters
    ----------
    walls : Walls
    axis : int
        0 for a force along the slope, 1 for one square to the roof.
    length : float
        Of the bearing along the rail. [m]
    metal, form
    end : bool
        Within 1.5 wall heights of an end of the rail.

    Notes
    -----
    Steel: EN 1993-1-3:2006 6.1.7.2, one load, unstiffened; AISI S100-16 G5, single webs, not fastened.
    Aluminum: EN 1999-1-4:2007 6.1.7 (categories 1 and 2); Aluminum Design Manual 2020 J.9.1. Inside radius of
    bends taken as two thicknesses. All from memory.
    """
    way = np.abs(walls.end - walls.start)[:, axis] / np.maximum(walls.width, 1e-12)
    on = way > UPRIGHT
    if not on.any() or not walls.known:
        return float("nan")
    t, h = walls.thickness[on], walls.width[on]
    fy, E, r = metal.yield_strength, metal.E, 2.0
    sine = way[on]
    if metal.name == "aluminum":
        if form is DesignFormat.EN:
            bear, alpha = (0.010, 0.075) if end else (length, 0.15)
            force = alpha * t**2 * np.sqrt(fy * E) * (1.0 - 0.1 * np.sqrt(r))
            force = force * (0.5 + np.sqrt(0.02 * bear / t)) * (2.4 + (np.arcsin(sine) / (np.pi / 2.0)) ** 2)
            return float(force.sum() / 1.10)
        strength = t**2 * sine * (0.46 * fy + 0.02 * np.sqrt(E * fy))
        angle = np.arcsin(sine)
        spread = 0.0102 + r * t * (1.0 - np.cos(angle))
        nominal = 1.2 * strength * (length + 0.033) / spread if end else strength * (length + 0.137) / spread
        nominal = np.minimum(nominal, fy * t * (length + 5.0 * t))
        return float(nominal.sum() * (1.0 / 1.65 if form is DesignFormat.ASD else 0.90))
    slender, bear = h / t, np.minimum(length / t, 60.0)
    if form is DesignFormat.EN:
        k = fy / 228e6
        k1, k2 = 1.33 - 0.33 * k, min(max(1.15 - 0.15 * r, 0.50), 1.0)
        k3 = 0.7 + 0.3 * (np.arcsin(sine) / (np.pi / 2.0)) ** 2
        core = (9.04 - slender / 60.0) * (1.0 + 0.01 * bear)
        if not end:
            core = (14.7 - slender / 49.5) * (1.0 + 0.007 * bear)
        return float(np.maximum(max(k1, 0.3) * k2 * k3 * core * t**2 * fy, 0.0).sum())
    C, C_R, C_N, C_h = (4.0, 0.14, 0.35, 0.02) if end else (13.0, 0.23, 0.14, 0.01)
    shares = (1.0 - C_R * np.sqrt(r)) * (1.0 + C_N * np.sqrt(bear)) * (1.0 - C_h * np.sqrt(slender))
    nominal = np.maximum(C * t**2 * fy * sine * shares, 0.0)
    omega, phi = (1.85, 0.80) if end else (1.65, 0.90)
    return float(nominal.sum() * (1.0 / omega if form is DesignFormat.ASD else phi))
