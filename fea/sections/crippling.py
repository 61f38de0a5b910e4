"""Crushing of the walls that stand on a clamp (web crippling)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.hardware import DesignFormat, Material
from roofmodel.profiles.data import Walls

Array = NDArray[np.float64]

UPRIGHT = np.cos(np.radians(30.0))  # walls leaning less than this against the force carry it
BEND = 2.0  # inside radius of bends over thickness
NEAR = 2.0  # walls whose ends are nearer than this many thicknesses hold each other
TOGETHER = 1.25  # largest sum of the uses by a clamp's force and by the moment there, of steel

# C, C_R, C_N, C_h, Omega and phi of AISI S100-16 table G5-2, not fastened, one flange loaded, by whether the
# flanges are stiffened and whether the load is near an end.
_AISI = {
    (True, True): (4.0, 0.14, 0.35, 0.02, 1.85, 0.80),
    (True, False): (13.0, 0.23, 0.14, 0.01, 1.65, 0.90),
    (False, True): (4.0, 0.40, 0.60, 0.03, 1.80, 0.85),
    (False, False): (13.0, 0.32, 0.10, 0.01, 1.80, 0.85),
}
# The same of table G5-5 for sections of several webs, by whether the load is near an end.
_AISI_WEBS = {True: (3.0, 0.04, 0.29, 0.028, 2.45, 0.60), False: (8.0, 0.10, 0.17, 0.004, 1.75, 0.85)}


def bearing_resistance(
    walls: Walls, axis: int, length: float, metal: Material, form: DesignFormat, *,
    end: bool, factor: float, uneven: bool = False,
) -> float:  # fmt: skip
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
    factor : float
        The rail's own on yield (`Rail.resistance_factor`): gamma_M of EN; Omega and phi of the others where
        they are the safer ones.
    uneven : bool
        Whether the shear forces on both sides of the clamp differ much (`uneven_shears`).

    Notes
    -----
    Only walls held at both edges are webs: lips, legs and stems with a free edge carry nothing across. Steel:
    EN 1993-1-3:2006 6.1.7.2 for one web and 6.1.7.3 for more, those of hats (category 1 at ends, else 2);
    AISI S100-16 G5, not fastened, single webs, and with two webs or more the less of these and of decks with
    several webs, as it has no table for tubes (judgment). Aluminum: EN 1999-1-4:2007 6.1.7
    (the same categories); Aluminum Design Manual 2020 J.9.1. Inside radius of bends taken as two thicknesses.
    All from memory.
    """
    way = np.abs(walls.end - walls.start)[:, axis] / np.maximum(walls.width, 1e-12)
    on = (way > UPRIGHT) & ~walls.free.any(axis=1)
    if not on.any() or not walls.known:
        return float("nan")
    t, h, sine = walls.thickness[on], walls.width[on], way[on]
    if form is DesignFormat.EN:
        stiff = _stiffened(walls, on)
        force = _eurocode(t, h, sine, length, metal, end=end, stiff=stiff, uneven=uneven)
        return float(force.sum() / factor)
    if metal.name == "aluminum":
        nominal, omega, phi = _aluminum(t, sine, length, metal, end=end), 1.65, 0.90
        return _design(nominal, omega, phi, factor, form)
    found = []
    for C, C_R, C_N, C_h, omega, phi in (
        _AISI[_stiffened(walls, on), end],
        *([_AISI_WEBS[end]] if len(t) > 1 else []),
    ):
        shares = (1.0 - C_R * np.sqrt(BEND)) * (1.0 + C_N * np.sqrt(np.minimum(length / t, 60.0)))
        nominal = C * t**2 * metal.yield_strength * sine * shares * (1.0 - C_h * np.sqrt(h / t))
        found.append(_design(nominal, omega, phi, factor, form))
    return min(found)


def _design(nominal: Array, omega: float, phi: float, factor: float, form: DesignFormat) -> float:
    total = float(np.maximum(nominal, 0.0).sum())
    return total / max(omega, factor) if form is DesignFormat.ASD else total * min(phi, factor)


def uneven_shears(left: Array, right: Array) -> Array:
    """How far shear forces on both sides of clamps are from alike: 0 for alike, 1 where 10 mm bear.

    EN 1993-1-3 and EN 1999-1-4 6.1.7.3, beta_V from 0.2 to 0.3 (from memory); 1 without any shear force.
    """
    left, right = np.abs(left), np.abs(right)
    both = left + right
    beta = np.abs(left - right) / np.where(both > 0.0, both, np.inf)
    return np.asarray(np.where(both > 0.0, np.clip(10.0 * beta - 2.0, 0.0, 1.0), 1.0))


def bearing_and_bending(crush: Array, bend: Array, metal: Material, form: DesignFormat) -> Array:
    """Use of a rail over a clamp by the force there and by the moment there, each alone and both together.

    Steel: both uses add up to 1.25 at most, EN 1993-1-3 6.1.11, in every format (AISI S100-16 H3 asks for
    less). Aluminum: their powers of 1.5 add up to 1, Aluminum Design Manual 2020 J.9.3; EN the rule of steel,
    and that their squares add up to 1 (EN 1999-1-4 6.1.11 asks for a little less). All from memory.
    """
    if metal.name == "aluminum" and form is not DesignFormat.EN:
        return np.asarray((crush**1.5 + bend**1.5) ** (2.0 / 3.0))
    both = (crush + bend) / TOGETHER
    if metal.name == "aluminum":
        return np.asarray(np.maximum(both, np.hypot(crush, bend)))
    return np.asarray(np.maximum(crush, both))


def _stiffened(walls: Walls, on: NDArray[np.bool_]) -> bool:
    """Whether no wall with a free edge stands at an end of the webs."""
    tips = np.stack([walls.start, walls.end], axis=1)
    loose = walls.free.any(axis=1)
    held = tips[loose][~walls.free[loose]]
    apart = np.linalg.norm(tips[on].reshape(-1, 1, 2) - held[None], axis=2)
    return not bool((apart <= NEAR * walls.thickness.max()).any())


def _eurocode(
    t: Array, h: Array, sine: Array, length: float, metal: Material, *, end: bool, stiff: bool, uneven: bool
) -> Array:
    """Forces (n,) of webs before gamma_M. [N]."""
    fy, E = metal.yield_strength, metal.E
    lean = (np.arcsin(sine) / (np.pi / 2.0)) ** 2
    if metal.name == "aluminum" or len(t) > 1:
        alpha = np.array([0.075, 0.15]) if metal.name == "aluminum" else np.array([0.057, 0.115])
        wide = min(length, 0.010) if end or uneven else length
        force = alpha[0 if end else 1] * t**2 * np.sqrt(fy * E) * (1.0 - 0.1 * np.sqrt(BEND))
        return np.asarray(force * (0.5 + np.sqrt(0.02 * wide / t)) * (2.4 + lean))
    k, bear = fy / 228e6, np.minimum(length / t, 60.0)
    k3 = 0.7 + 0.3 * lean
    if end:
        bends = max(1.33 - 0.33 * k, 0.3) * min(max(1.15 - 0.15 * BEND, 0.50), 1.0)
        core = (9.04 - h / t / 60.0) if stiff else (5.92 - h / t / 132.0)
        core = core * (1.0 + 0.01 * bear)
    else:
        bends = max(1.22 - 0.22 * k, 0.3) * min(1.06 - 0.06 * BEND, 1.0)
        core = (14.7 - h / t / 49.5) * (1.0 + 0.007 * bear)
    return np.asarray(np.maximum(bends * k3 * core * t**2 * fy, 0.0))


def _aluminum(t: Array, sine: Array, length: float, metal: Material, *, end: bool) -> Array:
    """Nominal forces (n,) of webs by the Aluminum Design Manual. [N]."""
    fy, E = metal.yield_strength, metal.E
    strength = t**2 * sine * (0.46 * fy + 0.02 * np.sqrt(E * fy))
    spread = 0.0102 + BEND * t * (1.0 - np.cos(np.arcsin(sine)))
    nominal = 1.2 * strength * (length + 0.033) / spread if end else strength * (length + 0.137) / spread
    return np.asarray(np.minimum(nominal, fy * t * (length + 5.0 * t)))
