"""Numbers for people: significant digits and units, on paper and on screen.

Adds to `roofmodel.units` the kinds of numbers that only hardware has (section properties, moments at a
grip) and writes with significant digits where fixed ones would hide a small number.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cache

from roofmodel.units import STANDARD_GRAVITY, SYSTEMS, UnitSystem, kind_of

LBF = 4.4482216152605  # [N]

_HARDWARE = {
    "SI": {
        "grip moment": ("N*m", "N·m", 1),
        "section area": ("cm^2", "cm²", 2),
        "section modulus": ("cm^3", "cm³", 3),
        "second moment": ("cm^4", "cm⁴", 3),
        "warping constant": ("cm^6", "cm⁶", 3),
        "modulus": ("GPa", "GPa", 1),
        "sheet strength": ("kN/mm^2", "kN/mm²", 3),
        "mass per area": ("kg/m^2", "kg/m²", 0),
        "moment per length": ("kN", "kN·m/m", 3),
    },
    "US": {
        "grip moment": ("lbf*in", "lbf·in", 0),
        "section area": ("in^2", "in²", 3),
        "section modulus": ("in^3", "in³", 4),
        "second moment": ("in^4", "in⁴", 4),
        "warping constant": ("in^6", "in⁶", 5),
        "modulus": ("ksi", "ksi", 0),
        "sheet strength": ("psi", "psi", 0),
        "mass per area": ("lb/ft^2", "lb/ft²", 1),
        "moment per length": ("lbf", "lbf·ft/ft", 1),
    },
}


@cache
def system(name: str) -> UnitSystem:
    """Unit system "SI" or "US" with the kinds of hardware added."""
    base = SYSTEMS[name]
    return UnitSystem(base.name, {**base.units, **_HARDWARE[name]})


def significant(value: float, digits: int = 3) -> str:
    """Number with at least so many significant digits; whole digits are never rounded away.

    Parameters
    ----------
    value : float
    digits : int

    Returns
    -------
    str
        Such as "2,683", "12.3" or "0.00453"; "not given" for NaN and "unlimited" for infinity.
    """
    if math.isnan(value):
        return "not given"
    if math.isinf(value):
        return "unlimited"
    if abs(value) < 1e-12:
        return "0"
    places = _places(value, digits)
    if places > 7:
        return signed(f"{value:.{digits - 1}e}")
    return signed(f"{value:,.{places}f}")


def _places(value: float, digits: int) -> int:
    """Digits after the point that leave so many significant ones."""
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    if round(abs(value), places) >= 10.0 ** (digits - places):
        places = max(0, places - 1)
    return places


def signed(text: str) -> str:
    """Text of a number with a true minus sign, and none before zero."""
    if text.startswith("-"):
        return text[1:] if not text.strip("-0.,") else "−" + text[1:]
    return text


def quantity(value: float, kind: str, units: UnitSystem, digits: int = 3) -> str:
    """SI value as a number with its unit in the system, such as "2.31 kN"."""
    if not math.isfinite(value):
        return significant(value)
    if kind == "factor":
        return signed(f"{value:.6g}")
    unit = units.label(kind)
    gap = "" if unit == "°" else " "
    return f"{significant(units.convert(value, kind), digits)}{gap if unit else ''}{unit}"


def brief(value: float, kind: str, units: UnitSystem) -> str:
    """As `quantity`, for tables: "0" for what is next to nothing, newtons for less than 0.001 kN."""
    if not math.isfinite(value) or kind in ("ratio", "factor"):
        return quantity(value, kind, units)
    shown, label = abs(units.convert(value, kind)), units.label(kind)
    if shown >= 1e-3:
        return quantity(value, kind, units)
    if label.startswith("kN") and shown >= 1e-5:
        return f"{significant(1e3 * units.convert(value, kind), 2)} {label.removeprefix('k')}"
    return "0"


def as_given(value: float, kind: str, units: UnitSystem) -> str:
    """SI value as a person would write it: up to five digits, no trailing zeros, with its unit."""
    number = significant(units.convert(value, kind), 5)
    if "." in number and "e" not in number:
        number = number.rstrip("0").rstrip(".")
    unit = units.label(kind)
    return f"{number}{'' if unit == '°' else ' '}{unit}".strip()


def drawn(value: float, kind: str, units: UnitSystem) -> str:
    """SI length or angle as drawings say it, with the decimals of its unit: "0.80 m", "46.05 ft", "9.0°"."""
    return units.text(value, kind).replace(" °", "°")


def column(
    values: Iterable[float], kind: str, units: UnitSystem, digits: int = 3, *, each: bool = False
) -> list[str]:
    """SI values as numbers without unit, one number of decimals for all, set by the largest.

    With `each` all down to a hundredth of the largest keep their digits, as where they are told alone too.
    """
    shown = [units.convert(v, kind) if math.isfinite(v) else v for v in values]
    sizes = [abs(v) for v in shown if math.isfinite(v)]
    largest = max(sizes, default=0.0)
    leading = min((v for v in sizes if v >= 0.01 * largest), default=0.0) if each else largest
    places = _places(leading, digits) if largest >= 1e-12 else 0
    return [signed(f"{v:,.{places}f}") if math.isfinite(v) else significant(v) for v in shown]


def percent(ratio: float) -> str:
    """Utilization in percent; "100 %" only for just that, so that a reader sees the side it is on."""
    if not math.isfinite(ratio):
        return "not known"
    places = 0
    while ratio != 1.0 and places < 6 and float(f"{100.0 * ratio:.{places}f}") == 100.0:
        places += 1
    return f"{100.0 * ratio:,.{places}f} %"


def kind_for(unit: str) -> str | None:
    """Kind of a unit as the snow cases write it ("N/m**3"); None where it has no kind."""
    plain = unit.replace("**", "^")
    if plain == "kg/m^2":
        return "mass per area"
    kind = kind_of(plain)
    return None if kind == "ratio" and plain else kind


def span_of_forces(low: float, high: float, units: UnitSystem) -> str:
    """Forces in both systems and as weights, such as "4.1 to 5.2 kN (0.92 to 1.2 kip; the weight of ...)"."""
    si = units.name == "SI"
    sizes = [(1e3, "kN"), (LBF * 1e3, "kip"), (STANDARD_GRAVITY, "kg") if si else (LBF, "lb")]
    own, other, weight = ((_ends(low / size, high / size), unit) for size, unit in sizes)
    own, other = (own, other) if si else (other, own)
    return f"{' '.join(own)} ({' '.join(other)}; the weight of {' '.join(weight)})"


def _ends(low: float, high: float) -> str:
    ends = dict.fromkeys(f"{float(f'{one:.2g}'):,g}" for one in (low, high))
    return " to ".join(ends)
