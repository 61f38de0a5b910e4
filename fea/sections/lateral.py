"""Lateral-torsional and flexural buckling of a rail between its clamps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.hardware import DesignFormat, Material, Rail
from roofmodel.profiles.plain import walls_profile

Array = NDArray[np.float64]

LOAD_C2, SHAPE_C3 = (
    0.46,
    1.0,
)  # of the load's height (uniform load) and of one-sided sections (uniform moment)


def critical_moment(
    length: Array, EI: float, GJ: float, EI_w: float, height: float = 0.0, one_sided: float = 0.0,
    c1: float = 1.0, c2: float = LOAD_C2, c3: float = SHAPE_C3,
) -> Array:  # fmt: skip
    """Elastic critical moment about the strong axis. [N m].

    Parameters
    ----------
    length : (n,) float
        Between places that hold the rail sideways and against twist. [m]
    EI, GJ, EI_w : float
        Of the weak axis, torsion and warping. [N m^2, N m^2, N m^4]
    height : float
        Of the load over the shear center, toward where it comes from. [m]
    one_sided : float
        z_j, half the monosymmetry constant; positive where the larger flange is compressed. [m]
    c1, c2, c3 : float
        1 for a uniform moment, the least; see notes.

    Notes
    -----
    Three-factor formula, ENV 1993-1-1 annex F (from memory), ends free to warp and to turn on plan. For a
    uniform moment and no load height it is Timoshenko's closed form.
    """
    n = np.pi**2 * EI / length**2
    lever = c2 * height - c3 * one_sided
    return np.asarray(c1 * n * (np.sqrt(EI_w / EI + GJ / n + lever**2) - lever))


def rail_critical(rail: Rail, length: Array) -> tuple[Array, Array]:
    """Least critical moment of the strong axis [N m] and force [N] of a rail of free lengths (n,)."""
    profile, metal = walls_profile(rail.section, rail.profile), rail.material
    assert profile is not None
    s = rail.section
    strong, weak = profile.principal
    square = np.array([-np.sin(profile.angle), np.cos(profile.angle)])  # to the strong axis
    corner = np.array(profile.outline.exterior.coords) - [s.center_y, s.center_z]
    tall = float(np.abs(corner @ square).max())
    worst = 0.5 * abs(float(profile.one_sided[0]))
    moment = critical_moment(length, metal.E * weak, metal.G * s.J, metal.E * s.I_w, tall, -worst)
    away = s.center_y**2 + s.center_z**2
    polar = float(strong + weak) / s.area + away
    bend = np.pi**2 * metal.E * weak / length**2
    twist = (metal.G * s.J + np.pi**2 * metal.E * s.I_w / length**2) / polar
    # Flexural-torsional buckling with both modes coupled as strongly as they can be.
    share = max(1.0 - away / polar, 1e-3)
    both = bend + twist
    force = (both - np.sqrt(np.maximum(both**2 - 4.0 * share * bend * twist, 0.0))) / (2.0 * share)
    return moment, force


def lateral_factor(slenderness: Array, metal: Material, form: DesignFormat) -> Array:
    """Share of the first-yield moment by relative slenderness sqrt(M_y / M_cr).

    EN 1993-1-1 6.3.2.2 curve d (other sections), stainless EN 1993-1-4 5.4.3; EN 1999-1-1 6.3.2.2, class 3
    and 4; AISI S100-16 F2.1; Aluminum Design Manual 2020 F.4 with first yield for the plastic moment and the
    lower buckling constants. All from memory.
    """
    x = np.asarray(slenderness, dtype=float)
    if form is DesignFormat.EN or metal.name == "stainless steel":
        alpha, start = (0.20, 0.4) if metal.name == "aluminum" else (0.76, 0.2)
        return _curve(x, alpha, start)
    if metal.name == "aluminum":
        return _adm_moment(x, metal)
    ratio = 1.0 / np.maximum(x, 1e-9) ** 2  # F_cre / F_y
    middle = 10.0 / 9.0 * (1.0 - 10.0 / (36.0 * np.maximum(ratio, 1e-9)))
    return np.where(ratio >= 2.78, 1.0, np.where(ratio > 0.56, middle, ratio))


def column_factor(slenderness: Array, metal: Material, form: DesignFormat, *, welded: bool = False) -> Array:
    """Share of the yield force by sqrt(N_y / N_cr).

    EN 1993-1-1 6.3.1 curve c, EN 1993-1-4 5.4.2 (open, 0.76), EN 1999-1-1 6.3.1 class B; AISI S100-16 E2
    times 1.67 / 1.80 for its larger safety; ADM 2020 E.2 (curve of EN 1999 class B, safer). Aluminum with
    welds along it: times kappa of EN 1999-1-1 table 6.5, class B. From memory.
    """
    x = np.asarray(slenderness, dtype=float)
    if metal.name == "aluminum":
        kappa = 1.0 + 0.04 * (4.0 * x) ** (0.5 - x) - 0.22 * x ** (1.4 * (1.0 - x))
        return _curve(x, 0.32, 0.0) * (np.where(x > 0.2, np.minimum(kappa, 1.0), 1.0) if welded else 1.0)
    if metal.name == "stainless steel":
        return _curve(x, 0.76, 0.2)
    if form is DesignFormat.EN:
        return _curve(x, 0.49, 0.2)
    low = 0.658 ** (x**2)
    return np.where(x <= 1.5, low, 0.877 / np.maximum(x, 1e-9) ** 2) * (1.67 / 1.80)


def _curve(x: Array, alpha: float, start: float) -> Array:
    phi = 0.5 * (1.0 + alpha * (x - start) + x**2)
    found = 1.0 / (phi + np.sqrt(np.maximum(phi**2 - x**2, 0.0)))
    return np.where(x <= start, 1.0, np.minimum(found, 1.0))


def _adm_moment(x: Array, metal: Material) -> Array:
    ksi = 6.894757e6
    F, E = metal.yield_strength / ksi, metal.E / ksi
    B = F * (1.0 + np.sqrt(F / 1000.0))
    D = B / 20.0 * np.sqrt(6.0 * B / E)
    C = 2.0 * B / (3.0 * D)
    slender = np.pi * np.sqrt(E / F) * x
    inelastic = 1.0 - slender / C + np.pi**2 * E * slender / (F * C**3)
    elastic = np.pi**2 * E / (F * np.maximum(slender, 1e-9) ** 2)
    return np.minimum(np.where(slender < C, inelastic, elastic), 1.0)
