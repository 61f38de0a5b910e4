"""Quantities at the edges: text such as "30 psf" in, SI inside, either system out."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from roofmodel.usual_units import STANDARD_GRAVITY, USUAL, VALUE

if TYPE_CHECKING:
    import pint

EXAMPLES = {
    "length": ("m", '"24 in" or "0.61 m"'),
    "size": ("m", '"1.5 in" or "38 mm"'),
    "area": ("m^2", '"3.2 cm^2"'),
    "section_modulus": ("m^3", '"3.1 cm^3"'),
    "second_moment": ("m^4", '"6.2 cm^4"'),
    "warping_constant": ("m^6", '"31 cm^6"'),
    "pressure": ("Pa", '"30 psf" or "1.4 kN/m^2"'),
    "stress": ("Pa", '"35 ksi" or "240 MPa"'),
    "force": ("N", '"650 lbf" or "2.9 kN"'),
    "moment": ("N*m", '"120 N*m" or "90 lbf*ft"'),
    "stiffness": ("N/m", '"2 kN/mm" or "11 kip/in"'),
    "rotational_stiffness": ("N*m/rad", '"5 kN*m/rad"'),
    "line_load": ("N/m", '"8 N/mm" or "46 lbf/in"'),
    "line_stiffness": ("N/m^2", '"10 N/mm^2" or "1500 lbf/in^2"'),
    "bed_stiffness": ("N/m^3", '"0.05 N/mm^3" or "180 lbf/in^3"'),
    "density": ("kg/m^3", '"240 kg/m^3" or "15 lb/ft^3"'),
    "unit_weight": ("N/m^3", '"2 kN/m^3"'),
    "angle": ("rad", '"25 deg"'),
    "temperature_change": ("K", '"40 K" or "72 delta_degF"'),
    "expansion": ("1/K", '"12e-6 / K"'),
}


@cache
def registry() -> pint.UnitRegistry:
    """Unit registry with the few trade units that pint lacks."""
    import pint

    ureg: pint.UnitRegistry = pint.UnitRegistry(cache_folder=None)
    ureg.define("pound_force_per_square_foot = pound_force / foot ** 2 = psf")
    ureg.define("pound_per_cubic_foot = pound / foot ** 3 = pcf")
    ureg.define("pound_force_per_foot = pound_force / foot = plf")
    return ureg


_ANGLES = ("deg", "degree", "degrees", "°", "rad", "radian", "radians")
_TEMPERATURES = ("°F", "degF", "F", "°C", "degC", "C")
_NUMBER = re.compile(
    r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?|[+-]?(?:nan|inf(?:inity)?)(?![a-z])", re.IGNORECASE
)
_NAME = r"[A-Za-z°µμ_]+(?:(?:\^|\*\*)-?\d|[²³⁴])?"
# Anything else, such as powers of powers, would keep a general parser busy for hours.
_UNIT = re.compile(rf"(?:1\s*)?/?\s*\(?{_NAME}\)?(?:\s*[*/·\s]\s*\(?{_NAME}\)?)*")
_FOOT, _INCH = r"(?:ft|foot|feet|['′’])", r"(?:in|inch|inches|[\"″”])"
_OF_INCHES = (
    r"(?:(?P<inches>\d+(?:\.\d+)?)(?:(?:\s+|-)(?P<top>\d+)/(?P<low>\d+))?|(?P<only>\d+)/(?P<under>\d+))"
)
_TAPE = re.compile(
    rf"(?P<sign>[+-]?)\s*(?:(?P<feet>\d+(?:\.\d+)?)\s*{_FOOT})?"
    rf"(?P<both>(?:\s*|-| - ){_OF_INCHES}\s*{_INCH})?",
    re.ASCII,
)
# What tells a length off a tape from a number with its unit: a mark, a fraction, or a number behind feet.
_TAPE_MARKS = re.compile(r"['\"′″’”]|\d\s*/\s*\d|(?:ft|foot|feet)[\s-]*\d")
_PARTS_OF_AN_INCH = (2, 4, 8, 16, 32, 64)
_SHOWN = 60  # characters of a value in a message
_LONGEST = 200  # characters of a quantity


def shown(value: object) -> str:
    """A value as its writer would know it again, in one line of bounded length."""
    if isinstance(value, str):
        # Cut before quoting: values can be megabytes.
        text = " ".join(value[: 4 * _SHOWN].split())
        return f'"{text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    text = str(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


@cache
def factor(unit: str, kind: str) -> float:
    """SI value of one `unit` of the given kind.

    Parameters
    ----------
    unit : str
        As the user wrote it.
    kind : str
        A key of `EXAMPLES`.

    Raises
    ------
    ValueError
        Unknown unit, or a unit of something else; the message shows the right form.
    """
    usual = USUAL.get(kind, {}).get(unit)
    return _known_factor(unit, kind) if usual is None else usual


def _known_factor(unit: str, kind: str) -> float:
    """As `factor`, of any unit that the registry knows."""
    si, example = EXAMPLES[kind]
    if kind == "temperature_change" and unit in _TEMPERATURES:
        msg = f"{shown(unit)} may be read as a temperature; write a difference of temperature like {example}"
        raise ValueError(msg)
    known = _pint_name(unit, kind)
    if known is not None:
        quantity = registry().Quantity(1.0, known)
        per_turn = "rad" in known or "deg" in known
        of_turning = kind in ("moment", "rotational_stiffness")
        if quantity.check(si) and not (of_turning and per_turn != (kind == "rotational_stiffness")):
            return float(quantity.to(si).magnitude)
        if kind == "density" and quantity.check("[force]/[volume]"):
            return float(quantity.to("N/m^3").magnitude) / STANDARD_GRAVITY
        per_gravity = registry().Quantity(1.0, f"({si}) * s^2/m")
        if quantity.check(per_gravity.dimensionality) and kind != "density":
            msg = f"{shown(unit)} is a mass, not a force; write it like {example}"
            raise ValueError(msg)
    msg = f"{shown(unit)} is not a unit of {kind_words(kind)}{_near(unit, kind)}; write it like {example}"
    raise ValueError(msg)


def kind_words(kind: str) -> str:
    """Name of a kind of quantity for people; a size is a length of hardware."""
    return "length" if kind == "size" else kind.replace("_", " ")


def _pint_name(unit: str, kind: str) -> str | None:
    """The unit as pint writes it; None for what is no unit."""
    name = re.sub(r"(?<=[a-z])([234])(?![\d.])", r"^\1", unit.strip())  # mm2 is mm^2
    name = re.sub(r"(?<=[a-z])-(?=[a-z])", "*", name)  # lbf-ft is lbf*ft
    if len(name) > 40 or not _UNIT.fullmatch(name):
        return None
    if kind == "angle":
        return name if name in _ANGLES else None
    name = f"1{name}" if name.startswith("/") else name
    try:
        registry().Quantity(1.0, name)
    except Exception:  # pint raises many kinds
        return None
    return name


def _near(unit: str, kind: str) -> str:
    """Hint for a decimal comma and for letters of the wrong size."""
    if unit.startswith(","):
        return " (write the decimal sign as a point, and large numbers without commas)"
    if unit.startswith("to "):
        return " (only `span` reads ranges; write one end here, and calculate again with the other)"
    small = unit.lower()
    name = _pint_name(small, kind) if small != unit else None
    if name is not None and registry().Quantity(1.0, name).check(EXAMPLES[kind][0]):
        return f' (did you mean "{small}"?)'
    return ""


def parse(value: object, kind: str) -> float:
    """SI number from the user's text.

    Parameters
    ----------
    value : object
        Text with a number and a unit, such as "30 psf".
    kind : str
        A key of `EXAMPLES`.

    Returns
    -------
    float
        SI value; may be negative, callers check the sign.

    Raises
    ------
    ValueError
        No unit, no number, a unit of something else, or not finite.
    """
    number, unit = split(value, kind)
    try:
        result = number * factor(unit, kind)
    except ValueError as error:
        msg = f"{shown(value)}: {error}"
        raise ValueError(msg) from None
    if not math.isfinite(result):
        msg = f"{shown(value)} is not a finite number; write it like {EXAMPLES[kind][1]}"
        raise ValueError(msg)
    return result


def split(value: object, kind: str) -> tuple[float, str]:
    """Number and unit of the user's text; ValueError says what is missing."""
    example = EXAMPLES[kind][1]
    if isinstance(value, int | float) and not isinstance(value, bool):
        msg = f"{shown(value)} has no unit; write it as text with a unit, like {example}"
        raise ValueError(msg)
    if not isinstance(value, str):
        msg = f"{shown(value)} is not a quantity; write text like {example}"
        raise ValueError(msg)
    text = value.strip()
    if kind in ("length", "size") and len(text) <= _LONGEST and _TAPE_MARKS.search(text):
        return _off_a_tape(text)
    found = _NUMBER.match(text[:_LONGEST])
    if found is None or len(text) > _LONGEST:
        msg = f"{shown(value)} does not start with a number; write it like {example}"
        raise ValueError(msg)
    unit = text[found.end() :].strip()
    if not unit:
        msg = f"{shown(value)} has no unit; write it like {example}"
        raise ValueError(msg)
    return float(found.group()), unit


def _off_a_tape(text: str) -> tuple[float, str]:
    """Feet or inches of text such as "2 ft 6 in" or "1 1/2 in"; ValueError where it is unclear."""
    found = _TAPE.fullmatch(text)
    shape = 'write it like "2 ft 6 1/2 in" or "2.5 ft"'
    if found is None or not (found["feet"] or found["both"]):
        msg = f"{shown(text)} is not a length in feet and inches; {shape}"
        raise ValueError(msg)
    top, low = float(found["top"] or found["only"] or 0), int(found["low"] or found["under"] or 1)
    inches, feet = found["inches"] or "0", found["feet"] or "0"
    fraction = found["low"] or found["under"]
    if fraction and (low not in _PARTS_OF_AN_INCH or top >= low or "." in inches):
        msg = f"{shown(text)}: parts of an inch are halves, quarters and so on down to 64ths; {shape}"
        raise ValueError(msg)
    whole = float(inches) + top / low
    if found["feet"] and found["both"] and ("." in feet or whole >= 12.0):
        msg = f"{shown(text)}: beside whole feet stand less than 12 inches; {shape}"
        raise ValueError(msg)
    sign = -1.0 if found["sign"] == "-" else 1.0
    if found["feet"]:
        return sign * (float(feet) + whole / 12.0), "ft"
    return sign * whole, "in"


@dataclass(frozen=True)
class UnitSystem:
    """Units for what a person reads, by kind of number: pint name, label, digits after the point."""

    name: str
    units: dict[str, tuple[str, str, int]]

    def convert(self, value: float, kind: str) -> float:
        """Number in this system's unit of the kind."""
        return value / _out_factor(self.units[kind][0])

    def label(self, kind: str) -> str:
        """Unit label of the kind."""
        return self.units[kind][1]

    def text(self, value: float, kind: str) -> str:
        """Number with unit, such as "2.31 kN"."""
        if math.isnan(value):
            return "not given"
        if math.isinf(value):
            return "unlimited"
        unit, label, digits = self.units[kind]
        number = f"{value / _out_factor(unit):,.{digits}f}"
        if number.startswith("-") and not number.strip("-0.,"):
            number = number[1:]
        return f"{number} {label}".strip()

    def reworded(self, text: str) -> str:
        """Sentence whose lengths are in meters or millimeters, in this system's units; quoted text stays.

        Builders and readers know no units but SI; their sentences are turned where they meet the project.
        """
        if self.units["length"][0] == "m":
            return text
        return _METERS.sub(lambda found: self._lengths(found.group()), text)

    def _lengths(self, words: str) -> str:
        if words.startswith('"'):
            return words
        kind, size = ("size", 1e-3) if words.endswith(" mm") else ("length", 1.0)
        plain = words.removesuffix(" mm").removesuffix(" m")
        numbers = _ONE.sub(lambda found: self._plain(found.group(), kind, size), plain)
        return f"{numbers} {self.label(kind)}"

    def _plain(self, number: str, kind: str, size: float) -> str:
        value = size * float(number.replace(",", ""))
        if kind == "size":
            return f"{self.convert(value, kind):.4g}"  # two decimals are few for the wall of a tube
        return self.text(value, kind).split(" ")[0]


# Quoted input; or numbers, also several of one unit ("3 x 4 m", "1.5 to 5,000 m"), with (milli)meters behind.
_DIGITS = r"-?\d[\d,]*(?:\.\d+)?(?:e[+-]?\d+)?"
_ONE = re.compile(_DIGITS)
_METERS = re.compile(rf'"[^"]*"|(?<![\w.,])(?:{_DIGITS}(?: x | to | and ))*{_DIGITS} mm?(?![\w/²³*^·])')


@cache
def _out_factor(unit: str) -> float:
    if not unit:
        return 1.0
    if unit in VALUE:
        return VALUE[unit]
    return float(registry().Quantity(1.0, unit).to_base_units().magnitude)


SI = UnitSystem(
    "SI",
    {
        "length": ("m", "m", 2),
        "size": ("mm", "mm", 1),
        "area": ("m^2", "m²", 1),
        "volume": ("m^3", "m³", 1),
        "speed": ("m/s", "m/s", 1),
        "pressure": ("kPa", "kN/m²", 2),
        "stress": ("MPa", "MPa", 1),
        "force": ("kN", "kN", 2),
        "moment": ("kN*m", "kN·m", 3),
        "line": ("kN/m", "kN/m", 2),
        "line_load": ("N/mm", "N/mm", 2),
        "line_stiffness": ("N/mm^2", "N/mm²", 2),
        "bed_stiffness": ("N/mm^3", "N/mm³", 3),
        "bend": ("N*m", "N·m", 1),
        "density": ("kg/m^3", "kg/m³", 0),
        "unit_weight": ("kN/m^3", "kN/m³", 2),
        "angle": ("deg", "°", 1),
        "temperature": ("K", "K", 0),
        "stiffness": ("kN/mm", "kN/mm", 2),
        "rotation stiffness": ("kN*m", "kN·m/rad", 2),
        "ratio": ("", "", 3),
    },
)

US = UnitSystem(
    "US",
    {
        "length": ("ft", "ft", 2),
        "size": ("in", "in", 2),
        "area": ("ft^2", "ft²", 0),
        "volume": ("ft^3", "ft³", 0),
        "speed": ("ft/s", "ft/s", 0),
        "pressure": ("psf", "psf", 1),
        "stress": ("ksi", "ksi", 2),
        "force": ("lbf", "lbf", 0),
        "moment": ("lbf*ft", "lbf·ft", 1),
        "line": ("plf", "lbf/ft", 1),
        "line_load": ("lbf/in", "lbf/in", 1),
        "line_stiffness": ("lbf/in^2", "lbf/in²", 0),
        "bed_stiffness": ("lbf/in^3", "lbf/in³", 0),
        "bend": ("lbf*in", "lbf·in", 1),
        "density": ("pcf", "lb/ft³", 1),
        "unit_weight": ("lbf/ft^3", "lbf/ft³", 1),
        "angle": ("deg", "°", 1),
        "temperature": ("delta_degF", "°F", 0),
        "stiffness": ("kip/in", "kip/in", 2),
        "rotation stiffness": ("kip*in", "kip·in/rad", 2),
        "ratio": ("", "", 3),
    },
)

SYSTEMS = {"SI": SI, "US": US}


def kind_of(unit: str) -> str:
    """Kind under which a value with this SI unit is shown ("Pa" -> "pressure")."""
    return {
        "": "ratio",
        "m": "length",
        "Pa": "pressure",
        "N": "force",
        "N*m": "moment",
        "N/m": "line",
        "kg/m^3": "density",
        "N/m^3": "unit_weight",
        "rad": "angle",
        "m^2": "area",
        "K": "temperature",
    }.get(unit, "ratio")
