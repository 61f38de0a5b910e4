"""Formulas of ASCE/SEI 7 chapter 7 in symbols, for a reader who does them again by hand.

US texts are the standard's own, in psf, ft and pcf; SI texts are those with exactly converted constants,
which the standard's own SI forms round. The clauses are cited where the values are made.
"""

from __future__ import annotations

from roofmodel.snow.asce7_22 import FOOT, PCF, PSF
from roofmodel.snow.cases import Bare, Value

_PSF, _PCF = PSF / 1000.0, PCF / 1000.0  # in kN/m^2 and kN/m^3
_H22 = 1.5 * FOOT * (_PSF**-0.74 * FOOT**-0.70 * _PCF) ** 0.5
_H16 = 0.43 * FOOT ** (2.0 / 3.0) * _PSF**-0.25

DENSITY = Bare("min(0.13 p_g + 14, 30)", f"min({0.13 / FOOT:.9f} p_g + {14.0 * _PCF:.9f}, {30.0 * _PCF:.9f})")


def slope_formula(start: float, slope: str = "theta") -> Bare:
    """C_s of Fig. 7.4-1, its line starting at so many degrees."""
    return Bare(f"max(0, min(1, (70 - {slope}) / (70 - {start:g})))")


def height_22(length: str) -> Bare:
    """h_d of Eq. 7.6-1 in 7-22 with a symbol for its length."""
    tail = f"sqrt(p_g^0.74 {length}^0.70 W_2^1.7 / gamma)"
    return Bare(f"1.5 {tail}", f"{_H22:.9f} {tail}")


def heights_16(length: float, least: float, height_at_least: float, height: float) -> tuple[Value, ...]:
    """h_d of Fig. 7.6-1 in 7-16 for l_u; below the least fetch, that of the least beside it. [m]."""
    source = "Fig. 7.6-1"
    if length >= least:
        return (Value("h_d", height, "m", source, _height_16("l_u", "l_u")),)
    return (
        Value("h_d,20", height_at_least, "m", f"{source} with 20 ft", _height_16("20", f"{20.0 * FOOT:.4f}")),
        Value("h_d", height, "m", f"{source}, l_u below 20 ft", "min(h_d,20, sqrt(I_s p_g l_u / (4 gamma)))"),
    )


def _height_16(us: str, si: str) -> Bare:
    return Bare(
        f"sqrt(I_s) (0.43 {us}^(1/3) (p_g + 10)^(1/4) - 1.5)",
        f"sqrt(I_s) ({_H16:.9f} {si}^(1/3) (p_g + {10.0 * _PSF:.9f})^(1/4) - {1.5 * FOOT:.4f})",
    )


def leeward_formulas(height: float, clear: float, times: str = "h_d") -> tuple[str, str]:
    """Height and width of a leeward drift of 7.7.1 with h_d and h_c [m]; `times` is what stands for h_d."""
    width = f"4 {times}" if height <= clear else f"min(4 {times}^2 / h_c, 8 h_c)"
    return f"min({times.strip('()')}, h_c)", width


def windward_formulas_22(height: float, clear: float) -> tuple[str, str]:
    """Height and width of a windward drift of 7.7.1 in 7-22 with 0.75 h_d and h_c [m]."""
    width = "8 (0.75 h_d)" if 0.75 * height <= clear else "8 (0.75 h_d)^2 / h_c"
    return "min(0.75 h_d, h_c)", width


def windward_formulas_16(height: float, clear: float) -> tuple[str, str]:
    """Height and width of a windward drift of 7.7.1 in 7-16, that of a leeward one of 0.75 h_d."""
    return leeward_formulas(0.75 * height, clear, "(0.75 h_d)")


ADJACENT = ("min(h_d, (6 h - s) / 6, h_c)", "min(6 h_d, 6 h - s)")  # 7.7.2
