"""Formulas of NBCC 2020 4.1.6 in symbols, for a reader who does them again by hand.

SI texts are the code's own, in kPa, m and kN/m^3; US texts are those with exactly converted constants. The
articles are cited where the values are made.
"""

from __future__ import annotations

from roofmodel.snow.asce7_22 import FOOT, PCF
from roofmodel.snow.cases import Bare, Value

DENSITY = Bare(
    f"min({0.43 * FOOT:.9f} S_s + {2200.0 / PCF:.9f}, {4000.0 / PCF:.9f})", "min(0.43 S_s + 2.2, 4)"
)
BASIC = Bare(
    f"(1 - (1 - 0.8 C_w) exp(min(70 - {FOOT:.4f} l_c C_w^2, 0) / 100)) / C_w",
    "(1 - (1 - 0.8 C_w) exp(min(70 - l_c C_w^2, 0) / 100)) / C_w",
)
GABLE = Bare("max(1, min(1.25, 0.25 + alpha / 20))")  # C_a of 4.1.6.9, case II, from memory
LOAD = "I_s (S_0 + min(S_r, S_0))"  # 4.1.6.2.(1), the rain no more than the snow that holds it


def slope_formula(slippery: bool, slope: str = "alpha") -> Bare:
    """C_s of 4.1.6.2.(5), or of (6) on unobstructed slippery surfaces."""
    end, start = (60, 15) if slippery else (70, 30)
    return Bare(f"max(0, min(1, ({end} - {slope}) / ({end} - {start})))")


def snow_alone(value: float, *factors: str) -> Value:
    """S_s times its factors. [Pa]."""
    return Value("S_0", value, "Pa", "snow without rain", " ".join(("S_s", *factors)))
