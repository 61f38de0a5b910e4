"""Kinds of fields of the project file: text with a unit becomes an SI number, in bounds or refused."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import BeforeValidator

from roofmodel.units import EXAMPLES, factor, parse, shown, split


def _read(
    kind: str, low: float = -math.inf, high: float = math.inf, *, zero: bool = False
) -> Callable[[object], float]:
    """Reader of one kind of quantity between two SI values; `zero` lets 0 through below `low`."""

    def read(value: object) -> float:
        number = parse(value, kind)
        example = EXAMPLES[kind][1]
        if low >= 0.0 and number <= 0.0 and not (zero and number == 0.0):
            what = "must not be negative" if zero else "must be greater than zero"
            msg = f"{shown(value)} {what}, like {example}"
            raise ValueError(msg)
        if not low <= number <= high and not (zero and number == 0.0):
            bounds = _range(low, high, split(value, kind)[1], kind)
            msg = f"{shown(value)} is outside {bounds}; check it and its unit"
            raise ValueError(msg)
        return number

    read.kind = kind  # type: ignore[attr-defined]
    return read


def _range(low: float, high: float, unit: str, kind: str) -> str:
    """Both limits in the user's unit, or in a usual one of its system where that makes strange numbers."""
    if not 1e-3 <= max(abs(low), abs(high)) / factor(unit, kind) < 1e7 or 0.0 < low < 1e-3 * factor(
        unit, kind
    ):
        usual = [split(text.strip('"'), kind)[1] for text in EXAMPLES[kind][1].split(" or ")]
        alike = [other for other in usual if bool(_AMERICAN.search(other)) == bool(_AMERICAN.search(unit))]
        unit = (alike or usual)[-1]
    least, most = (_plain(limit / factor(unit, kind)) for limit in (low, high))
    return f"{least} to {most} {unit}"


_AMERICAN = re.compile(r"\b(in|inch(es)?|ft|foot|feet|yd|yards?|miles?|lbf?|kips?|ps[fi]|ksi|pcf|plf)\b")


def _plain(number: float) -> str:
    return f"{number:,.0f}" if abs(number) >= 1000.0 else f"{number:.4g}"


# Limits beyond which a value is a slip of the unit or of a digit, not a part of a roof (judgment).
# The 50 kPa of ground snow and the densities from fresh snow to ice are those of `roofmodel.snow.inputs`.
Length = Annotated[float, BeforeValidator(_read("length", 1e-3, 5e3))]
Length0 = Annotated[float, BeforeValidator(_read("length", 1e-3, 5e3, zero=True))]
AnyLength = Annotated[float, BeforeValidator(_read("length", -5e3, 5e3))]
Size = Annotated[float, BeforeValidator(_read("size", 1e-4, 1.0))]
Grip = Annotated[float, BeforeValidator(_read("size", 0.01, 1.0))]
Size0 = Annotated[float, BeforeValidator(_read("size", 1e-4, 1.0, zero=True))]
OverSeam = Annotated[float, BeforeValidator(_read("size", 1e-4, 0.4, zero=True))]
SeamHeight = Annotated[float, BeforeValidator(_read("size", 5e-3, 0.2))]
Step = Annotated[float, BeforeValidator(_read("length", 0.02, 100.0))]
Sheet = Annotated[float, BeforeValidator(_read("size", 1e-4, 0.02))]
Spacing = Annotated[float, BeforeValidator(_read("size", 0.05, 2.0))]
Strip = Annotated[float, BeforeValidator(_read("length", 0.02, 10.0))]
Depth = Annotated[float, BeforeValidator(_read("length", 1e-3, 20.0))]
Area = Annotated[float, BeforeValidator(_read("area", 1e-6, 1.0))]
Modulus = Annotated[float, BeforeValidator(_read("section_modulus", 1e-10, 1.0))]
Sectorial = Annotated[float, BeforeValidator(_read("area", 1e-8, 1.0))]
AnySize = Annotated[float, BeforeValidator(_read("size", -1.0, 1.0))]
Product = Annotated[float, BeforeValidator(_read("second_moment", -1.0, 1.0))]
Warping = Annotated[float, BeforeValidator(_read("warping_constant", 1e-18, 1e-3))]
Inertia = Annotated[float, BeforeValidator(_read("second_moment", 1e-13, 1.0))]
GroundSnow = Annotated[float, BeforeValidator(_read("pressure", 10.0, 50e3))]
Rain = Annotated[float, BeforeValidator(_read("pressure", 1.0, 5e3, zero=True))]
Stress = Annotated[float, BeforeValidator(_read("stress", 10e6, 3e9))]
Elasticity = Annotated[float, BeforeValidator(_read("stress", 1e9, 1e12))]
Force = Annotated[float, BeforeValidator(_read("force", 1.0, 1e7))]
Holding = Annotated[float, BeforeValidator(_read("force", 10.0, 2e5))]  # of one clamp, clip or strip
Turning = Annotated[float, BeforeValidator(_read("moment", 0.1, 2e4))]  # of one clamp
Moment = Annotated[float, BeforeValidator(_read("moment", 1e-2, 1e6))]
Stiffness = Annotated[float, BeforeValidator(_read("stiffness", 1e3, 1e11))]
LineLoad = Annotated[float, BeforeValidator(_read("line_load", 1.0, 1e6))]
LineStrength = Annotated[float, BeforeValidator(_read("line_load", 10.0, 1e7))]
LineStiffness = Annotated[float, BeforeValidator(_read("line_stiffness", 1e3, 1e11))]
BedStiffness = Annotated[float, BeforeValidator(_read("bed_stiffness", 1e4, 1e13))]
Rotational = Annotated[float, BeforeValidator(_read("rotational_stiffness", 1e-1, 1e9))]
SnowModulus = Annotated[float, BeforeValidator(_read("stress", 1e4, 1e10))]
SnowStrength = Annotated[float, BeforeValidator(_read("pressure", 1.0, 5e6, zero=True))]
Density = Annotated[float, BeforeValidator(_read("density", 10.0, 917.0))]
ArrayWeight = Annotated[float, BeforeValidator(_read("pressure", 1.0, 2e3, zero=True))]
UnitWeight = Annotated[float, BeforeValidator(_read("unit_weight", 500.0, 9000.0))]
Angle = Annotated[float, BeforeValidator(_read("angle", -2.0 * math.pi, 2.0 * math.pi))]
SeamAngle = Annotated[float, BeforeValidator(_read("angle", math.radians(-80.0), math.radians(80.0)))]
WallSlope = Annotated[float, BeforeValidator(_read("angle", math.radians(20.0), math.radians(75.0)))]
Tolerance = Annotated[float, BeforeValidator(_read("size", 2e-3, 0.3))]
Spread = Annotated[float, BeforeValidator(_read("angle", 0.0, math.radians(80.0), zero=True))]
Warmth = Annotated[float, BeforeValidator(_read("temperature_change", -200.0, 200.0))]

STEEPEST = math.radians(75.0)  # steeper is a wall [rad]
LONGEST_OUTLINE = 20_000  # characters
MOST_CORNERS = 200
SMALLEST_ROOF, LARGEST_ROOF = 0.5, 5000.0  # plan size [m]
LEAST_SIDE = 1e-3  # [m]


def _pitch(value: object) -> float | Literal["gable"]:
    if isinstance(value, str) and value.strip().lower() == "gable":
        return "gable"
    if isinstance(value, str) and value.count(":") == 1:
        rise, run = (_ratio_part(part) for part in value.split(":"))
        if not (rise >= 0.0 and run > 0.0):
            msg = f'{shown(value)} is not a pitch; write "6:12" or "25 deg"'
            raise ValueError(msg)
        pitch = math.atan2(rise, run)
    else:
        try:
            pitch = parse(value, "angle")
        except ValueError as error:
            msg = str(error).replace(EXAMPLES["angle"][1], '"25 deg" or "6:12"')
            raise ValueError(msg) from None
    if not 0.0 <= pitch < STEEPEST:
        msg = f'{shown(value)} is outside 0 to below 75 deg (steeper is a wall); write "25 deg" or "6:12"'
        raise ValueError(msg)
    return pitch


def _slope(value: object) -> float:
    pitch = _pitch(value)
    if isinstance(pitch, str):
        msg = f'{shown(value)} is not a slope; write "6:12" or "25 deg"'
        raise ValueError(msg)
    return pitch


def _ratio_part(text: str) -> float:
    """Finite number, or NaN."""
    try:
        number = float(text)
    except ValueError:
        return math.nan
    return number if math.isfinite(number) else math.nan


Pitch = Annotated[float | Literal["gable"], BeforeValidator(_pitch)]
RoofSlope = Annotated[float, BeforeValidator(_slope)]


def _points(value: object) -> list[tuple[float, float]]:
    """Plan points from pairs of lengths, or from "0 0, 12 0, 12 8, 0 8 m"."""
    shape = 'write "0 0, 12 0, 12 8, 0 8 m" or [["0 m", "0 m"], ...]'
    pairs: list[list[object]]
    if isinstance(value, str) and len(value) <= LONGEST_OUTLINE:
        body, _, unit = value.strip().rpartition(" ")
        if not body or (unit[-1].isdigit() and "^" not in unit):
            msg = f"{shown(value)} has no unit at its end; {shape}"
            raise ValueError(msg)
        pairs = [[f"{number} {unit}" for number in pair.split()] for pair in body.split(",")]
    elif isinstance(value, list) and all(isinstance(p, list) for p in value):
        pairs = value
    else:
        msg = f"{shown(value)} is not a list of plan points; {shape}"
        raise ValueError(msg)
    wrong = next((i for i, pair in enumerate(pairs) if len(pair) != 2), None)
    if wrong is not None:
        got = len(pairs[wrong])
        msg = f"{shown(value)}: point {wrong + 1} has {got} number(s) in place of x and y; {shape}"
        raise ValueError(msg)
    if not 3 <= len(pairs) <= MOST_CORNERS:
        msg = f"{shown(value)} has {len(pairs)} points; an outline needs 3 to {MOST_CORNERS}; {shape}"
        raise ValueError(msg)
    try:
        points = [(parse(x, "length"), parse(y, "length")) for x, y in pairs]
    except ValueError as error:
        msg = f"{shown(value)} is not a list of plan points: {error}; {shape}"
        raise ValueError(msg) from None
    across = max(max(one) - min(one) for one in zip(*points, strict=True))
    if not SMALLEST_ROOF <= across <= LARGEST_ROOF:
        msg = (
            f"{shown(value)} is {across:.4g} m across, outside {SMALLEST_ROOF:g} to {LARGEST_ROOF:,.0f} m; "
            "check the numbers and their unit"
        )
        raise ValueError(msg)
    near = next((i for i in range(len(points)) if math.dist(points[i - 1], points[i]) < LEAST_SIDE), None)
    if near is not None:
        msg = f"{shown(value)}: point {near or len(points)} repeats the one beside it; give each corner once"
        raise ValueError(msg)
    return points


Points = Annotated[list[tuple[float, float]], BeforeValidator(_points)]


def _plan_line(value: object) -> list[tuple[float, float]]:
    """Two plan points from "0 0, 5 3 m"."""
    shape = 'write two points, like "0 0, 5 3 m"'
    body, _, unit = value.strip().rpartition(" ") if isinstance(value, str) else ("", "", "")
    pairs = [pair.split() for pair in body.split(",")]
    if len(str(value)) > LONGEST_OUTLINE or len(pairs) != 2 or any(len(pair) != 2 for pair in pairs):
        msg = f"{shown(value)} is not a line on plan; {shape}"
        raise ValueError(msg)
    try:
        points = [(parse(f"{x} {unit}", "length"), parse(f"{y} {unit}", "length")) for x, y in pairs]
    except ValueError as error:
        msg = f"{shown(value)} is not a line on plan: {error}; {shape}"
        raise ValueError(msg) from None
    if math.dist(*points) < LEAST_SIDE:
        msg = f"{shown(value)}: the two points are one; {shape}"
        raise ValueError(msg)
    return points


PlanLine = Annotated[list[tuple[float, float]], BeforeValidator(_plan_line)]


_ORDER = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")  # turn words around on screen


def _plain_words(value: object) -> object:
    if isinstance(value, str) and any(
        c in _ORDER or (unicodedata.category(c) == "Cc" and c not in "\n\r\t") for c in value
    ):
        msg = f"{shown(value)} holds a control character; write plain words"
        raise ValueError(msg)
    return value


def _one_line(value: object) -> object:
    if isinstance(value, str) and any(unicodedata.category(c) in ("Cc", "Zl", "Zp") for c in value):
        msg = f"{shown(value)} holds a line break or control character; write it on one line"
        raise ValueError(msg)
    return _plain_words(value)


Words = Annotated[str, BeforeValidator(_plain_words)]
Line = Annotated[str, BeforeValidator(_one_line)]


def _read_r_value(value: object) -> object:
    """A number as it is; text, such as one with a unit, says what is meant by R here."""
    if isinstance(value, str):
        msg = (
            f"{shown(value)} must be the plain number after R- in US units (h ft^2 F/Btu), in SI projects "
            "too: 5.678 times the value in m^2 K/W"
        )
        raise ValueError(msg)
    return value


RValue = Annotated[float, BeforeValidator(_read_r_value)]
