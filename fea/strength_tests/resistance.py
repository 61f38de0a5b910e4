"""Resistance and safety factors from tests, and tests against a calculation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fea.strength_tests.fractiles import DESIGN_INDEX, design_factor, fractile_factor

Array = NDArray[np.float64]

LEAST_PROFESSIONAL = 0.065  # least V_P (AISI S100 K2.1.1, from memory)
OMEGA_PHI = 1.6  # Omega times phi (AISI S100 Eq. K2.1.2-1, from memory)


@dataclass(frozen=True)
class Reliability:
    """What AISI S100 K2.1.1 takes besides the tests (LRFD for the United States; from memory).

    Attributes
    ----------
    material, fabrication : (float, float)
        Mean and coefficient of variation of the material factor M and the fabrication factor F
        (Table K2.1.1-1): screws in tilting, bearing and pull-over 1.10, 0.10 and 1.00, 0.10; connections
        that it does not list 1.10, 0.10 and 1.00, 0.15.
    index : float
        Target reliability index beta_0: 3.5 for connections, 2.5 for members.
    load_scatter : float
        V_Q, 0.21.
    calibration : float
        C_phi, 1.52.
    """

    material: tuple[float, float] = (1.10, 0.10)
    fabrication: tuple[float, float] = (1.00, 0.10)
    index: float = 3.5
    load_scatter: float = 0.21
    calibration: float = 1.52


NOT_LISTED = Reliability(fabrication=(1.00, 0.15))


@dataclass(frozen=True)
class FactorFromTests:
    """Factors phi and Omega of AISI S100 K2.1.1 with what made them."""

    phi: float
    omega: float
    professional: float
    professional_scatter: float
    correction: float
    reliability: Reliability


def correction_factor(count: ArrayLike) -> Array:
    """C_P of AISI S100 K2.1.1: 5.7 for three tests, (1 + 1/n) m / (m - 2) with m = n - 1 beyond; from memory.

    Infinite below three tests, which the standard does not take.
    """
    n = np.asarray(count, dtype=float)
    m = n - 1.0
    with np.errstate(divide="ignore"):
        beyond = (1.0 + 1.0 / n) * m / (m - 2.0)
    return np.where(n >= 4, beyond, np.where(n == 3, 5.7, np.inf))


def resistance_factor(
    count: ArrayLike, scatter: ArrayLike, reliability: Reliability, professional: float = 1.0
) -> Array:
    """Factor phi = C_phi M_m F_m P_m exp(-beta_0 sqrt(V_M^2 + V_F^2 + C_P V_P^2 + V_Q^2)).

    AISI S100-16 Eq. K2.1.1-2, from memory. `professional` is P_m, 1 where the strength is the mean of the
    tests itself; `scatter` is V_P, taken as 0.065 at least.
    """
    M, F = reliability.material, reliability.fabrication
    V_P = np.maximum(scatter, LEAST_PROFESSIONAL)
    under = M[1] ** 2 + F[1] ** 2 + correction_factor(count) * V_P**2 + reliability.load_scatter**2
    return np.asarray(
        reliability.calibration * M[0] * F[0] * professional * np.exp(-reliability.index * np.sqrt(under))
    )


def factor_from_tests(
    count: int, scatter: float, reliability: Reliability, professional: float = 1.0
) -> FactorFromTests:
    """`resistance_factor` with what made it, and Omega (AISI S100-16 Eq. K2.1.2-1, from memory)."""
    V_P = max(scatter, LEAST_PROFESSIONAL)
    phi = float(resistance_factor(count, V_P, reliability, professional))
    omega = OMEGA_PHI / phi if phi > 0.0 else np.inf
    return FactorFromTests(phi, omega, professional, V_P, float(correction_factor(count)), reliability)


@dataclass(frozen=True)
class ModelFactor:
    """Tests against calculated strengths (EN 1990 D8.2.2).

    Attributes
    ----------
    slope : float
        b, the least-squares mean of test over calculation.
    errors : (n,) float
        delta_i = r_e / (b r_t).
    scatter : float
        V_delta = sqrt(exp(s^2) - 1), s the deviation of ln delta.
    characteristic, design : float
        What the calculated strength is multiplied by, with the number of tests accounted for.
    """

    slope: float
    errors: Array
    scatter: float
    characteristic: float
    design: float


def model_factor(measured: ArrayLike, calculated: ArrayLike, basic_scatter: float = 0.0) -> ModelFactor:
    """Model factor of EN 1990 D8.2.2.1 to D8.2.2.5, for fewer than 100 tests.

    Parameters
    ----------
    measured, calculated : (n,) float
        Strengths by test and by calculation with the measured sizes and metals; n of at least 3.
    basic_scatter : float
        V_rt, coefficient of variation of the calculated strength from the scatter of its inputs.

    Returns
    -------
    ModelFactor
        Factors b exp(-k_inf alpha_rt Q_rt - k_n alpha_delta Q_delta - Q^2 / 2) of the calculation at mean
        inputs, with k_n of unknown scatter.
    """
    r_e, r_t = np.asarray(measured, dtype=float), np.asarray(calculated, dtype=float)
    b = float((r_e * r_t).sum() / (r_t**2).sum())
    delta = r_e / (b * r_t)
    s = float(np.log(delta).std(ddof=1))
    V_delta = float(np.sqrt(np.expm1(s**2)))
    Q_rt, Q_delta = np.sqrt(np.log1p(basic_scatter**2)), np.sqrt(np.log1p(V_delta**2))
    Q = float(np.hypot(Q_rt, Q_delta))
    count = len(r_e)

    def factor(k_infinite: float, k_n: float) -> float:
        if Q == 0.0:
            return b
        return float(b * np.exp(-k_infinite * Q_rt**2 / Q - k_n * Q_delta**2 / Q - 0.5 * Q**2))

    return ModelFactor(
        slope=b,
        errors=delta,
        scatter=V_delta,
        characteristic=factor(1.6449, float(fractile_factor(count, known=False))),
        design=factor(DESIGN_INDEX, float(design_factor(count, known=False))),
    )


def corrected(
    measured: ArrayLike,
    thickness: tuple[ArrayLike, float] | None = None,
    strength: tuple[ArrayLike, float] | None = None,
    powers: tuple[float, float] = (1.0, 1.0),
) -> Array:
    """Test strengths for nominal sheet: R (t_nom / t)^a (f_nom / f)^b, lowered only.

    Parameters
    ----------
    measured : (n,) float
    thickness, strength : ((n,) float, float), optional
        Measured values of the specimens and the nominal one. A specimen thinner or weaker than nominal keeps
        its strength, as EN 1993-1-3 A.6.2 has it for yield strength (from memory).
    powers : (float, float)
        a and b; 1 where the failure grows in proportion (judgment, by the mode of failure).
    """
    found = np.asarray(measured, dtype=float).copy()
    for pair, power in zip((thickness, strength), powers, strict=True):
        if pair is not None:
            observed = np.asarray(pair[0], dtype=float)
            found *= np.where(np.isnan(observed), 1.0, np.minimum(pair[1] / observed, 1.0)) ** power
    return found
