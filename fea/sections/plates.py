"""Share of a plate that compression leaves effective, by standard; all formulas from memory.

Stress at yield is taken throughout, on the safe side where a plate is stressed less.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.hardware import DesignFormat, Material

Array = NDArray[np.float64]

# Limits beta_3 / epsilon and C1, C2 of EN 1999-1-1:2007 tables 6.2 and 6.3 by buckling class, B the lower of
# both, and by whether there are welds; plates held at both edges, and at one.
_ALUMINUM = {
    ("A", False): ((22.0, 32.0, 220.0), (6.0, 10.0, 24.0)),
    ("A", True): ((18.0, 29.0, 198.0), (5.0, 9.0, 20.0)),
    ("B", False): ((18.0, 29.0, 198.0), (5.0, 9.0, 20.0)),
    ("B", True): ((15.0, 25.0, 150.0), (4.0, 8.0, 16.0)),
}


def plate_factor(
    ratio: Array, psi: Array, outstand: NDArray[np.bool_], metal: Material, en: bool, *, welded: bool = False
) -> Array:
    """Effective share rho of plates at yield.

    Parameters
    ----------
    ratio : (n,) float
        Width over thickness of the flat part. [-]
    psi : (n,) float
        Stress at the less compressed edge over that at the more compressed one, tension negative. [-]
    outstand : (n,) bool
        Held at one edge only; the free edge is taken as the more compressed one.
    metal : Material
    en : bool
        Eurocodes; else AISI S100 for steel and the Aluminum Design Manual.
    welded : bool
        Whether there are welds, which lower the limits of EN 1999; where they are does not matter.

    Returns
    -------
    (n,) float
        Of the width (steel) or thickness (EN aluminum) or strength (ADM).

    Notes
    -----
    Carbon steel: EN 1993-1-5:2006 4.4; AISI S100-16 1.1 and 1.2. Stainless steel: EN 1993-1-4:2006 5.2.3 in
    every format. Aluminum: EN 1999-1-1:2007 6.1.5, buckling class of the metal; Aluminum Design Manual
    2020 B.5.4, the lower of what the buckling constants of tempers O to T4 and of T5 to T9 give.
    """
    psi = np.clip(psi, -3.0, 1.0)
    k = np.where(outstand, 0.43, _held_coefficient(psi))
    if metal.name == "aluminum":
        if en:
            return _aluminum_en(ratio, psi, outstand, metal, welded=welded)
        return _aluminum_us(ratio, psi, outstand, metal)
    slender = ratio / np.sqrt(k) * np.sqrt(12.0 * (1.0 - 0.3**2) * metal.yield_strength / metal.E) / np.pi
    slender = np.maximum(slender, 1e-9)
    with np.errstate(divide="ignore"):
        if metal.name == "stainless steel":
            rho = np.where(outstand, 1.0 / slender - 0.188 / slender**2, 0.772 / slender - 0.079 / slender**2)
            limit = np.where(outstand, 0.748, 0.651)
        elif en:
            share = np.where(outstand, 0.188, 0.055 * (3.0 + psi))
            rho = (slender - share) / slender**2
            limit = np.where(outstand, 0.748, 0.5 + np.sqrt(np.maximum(0.085 - 0.055 * psi, 0.0)))
        else:
            rho, limit = (1.0 - 0.22 / slender) / slender, np.full_like(slender, 0.673)
    return np.where(slender <= limit, 1.0, np.clip(rho, 0.0, 1.0))


def _held_coefficient(psi: Array) -> Array:
    """Buckling coefficient of a plate held at both edges, EN 1993-1-5 table 4.1."""
    positive = 8.2 / (1.05 + np.maximum(psi, 0.0))
    middle = 7.81 - 6.29 * psi + 9.78 * psi**2
    return np.where(psi >= 0.0, positive, np.where(psi >= -1.0, middle, 5.98 * (1.0 - psi) ** 2))


def _gradient(psi: Array) -> Array:
    """Factor on the slenderness of a held plate under a gradient, EN 1999-1-1 6.1.4.3."""
    return np.where(psi > -1.0, 0.70 + 0.30 * psi, 0.80 / (1.0 - np.minimum(psi, 0.0)))


def _aluminum_en(
    ratio: Array, psi: Array, outstand: NDArray[np.bool_], metal: Material, *, welded: bool
) -> Array:
    beta = np.where(outstand, ratio, ratio * _gradient(psi)) / np.sqrt(250e6 / metal.yield_strength)
    beta = np.maximum(beta, 1e-9)
    limit, c1, c2 = (
        np.where(outstand, b, a) for a, b in zip(*_ALUMINUM[metal.buckling_class, welded], strict=True)
    )
    return np.where(beta <= limit, 1.0, np.clip(c1 / beta - c2 / beta**2, 0.0, 1.0))


def _aluminum_us(ratio: Array, psi: Array, outstand: NDArray[np.bool_], metal: Material) -> Array:
    ksi = 6.894757e6
    F, E = metal.yield_strength / ksi, metal.E / ksi
    slope = np.where(outstand, 5.0, np.where(psi >= 1.0, 1.6, 1.6 * np.maximum(_gradient(psi), 0.4)))
    x = np.maximum(slope * ratio, 1e-9)
    soft, aged = F * (1.0 + (F / 440.0) ** (1.0 / 3.0)), F * (1.0 + (F / 1500.0) ** (1.0 / 3.0))
    constants = (
        (soft, soft / 20.0 * np.sqrt(6.0 * soft / E), 0.50, 2.04),
        (aged, aged / 10.0 * np.sqrt(aged / E), 0.35, 2.27),
    )
    strength = [np.where(x >= k1 * B / D, k2 * np.sqrt(B * E) / x, B - D * x) for B, D, k1, k2 in constants]
    return np.clip(np.minimum(*strength) / F, 0.0, 1.0)


def round_factor(ratio: float, metal: Material, form: DesignFormat, *, welded: bool = False) -> float:
    """Share of the yield strength of a round tube, diameter over wall given; NaN beyond the standard.

    Carbon and stainless steel: EN 1993-1-1 table 5.2, class 3 up to 90 epsilon^2, then EN 1993-1-6 (not
    checked); AISC 360-16 F8, up to 0.31 E/F_y in bending no less than yield, then 0.33 E / (D/t). Aluminum:
    EN 1999-1-1 6.1.4.3 with beta = 3 sqrt(D/t); ADM 2020 B.5.4.5. All from memory.
    """
    E, fy = metal.E, metal.yield_strength
    if metal.name == "aluminum":
        if form is DesignFormat.EN:
            pair = np.array([3.0 * np.sqrt(ratio)]), np.ones(1)
            return float(_aluminum_en(*pair, np.zeros(1, dtype=bool), metal, welded=welded)[0])
        ksi = 6.894757e6
        F = fy / ksi
        B = F * (1.0 + (F / 6500.0) ** 0.2)
        D = B / 3.7 * (B / (E / ksi)) ** (1.0 / 3.0)
        root = np.sqrt(0.5 * ratio)
        elastic = np.pi**2 * E / ksi / (16.0 * root**2 * (1.0 + root / 35.0) ** 2)
        return float(np.clip(min(B - D * root, elastic) / F, 0.0, 1.0))
    if form is DesignFormat.EN:
        return 1.0 if ratio <= 90.0 * 235e6 / fy * E / 210e9 else float("nan")
    if ratio > 0.45 * E / fy:
        return float("nan")
    return 1.0 if ratio <= 0.31 * E / fy else float(min(0.33 * E / ratio / fy, 1.0))


def squeezed_round(ratio: float, metal: Material, form: DesignFormat) -> float:
    """What is left of `round_factor` in compression: AISC 360-16 E7.2 beyond 0.11 E/F_y (from memory)."""
    slender = ratio * metal.yield_strength / metal.E
    if metal.name == "aluminum" or form is DesignFormat.EN or slender <= 0.11:
        return 1.0
    return float(0.038 / slender + 2.0 / 3.0)
