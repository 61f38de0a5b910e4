"""Reads formulas as they stand in books: products without signs, sums, functions, and words between."""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from roofmodel.snow.cases import short_numbers
from roofmodel.units import registry
from viewer.report.working_parts import Expression, Number

_FREE = "x"  # plan distance from the line of the peak
_OPERATORS = {"+": " + ", "-": " − ", "/": " / ", "*": " × "}
_FUNCTIONS: dict[str, tuple[str, Callable[..., Any]]] = {
    "sqrt": ("√", lambda q: q**0.5),
    "min": ("min", lambda *q: min(q)),
    "max": ("max", lambda *q: max(q)),
    "exp": ("exp", np.exp),
    "ln": ("ln", np.log),
    "cos": ("cos", np.cos),
    "sin": ("sin", np.sin),
    "tan": ("tan", np.tan),
    "asin": ("asin", np.arcsin),
}
_LITERAL_UNITS = {"psf": "psf", "pcf": "lbf/ft^3", "ft": "ft", "in": "inch", "m": "m", "kPa": "kPa"}
# What bare numbers of a formula count in, by dimension.
BARE = {
    "US": {"[pressure]": "psf", "[length]": "ft", "[force]/[length]**3": "lbf/ft^3"},
    "SI": {"[pressure]": "kN/m^2", "[length]": "m", "[force]/[length]**3": "kN/m^3"},
}
_BARE_NAMES = {"lbf/ft^3": "pcf", "kN/m^2": "kN/m²", "kN/m^3": "kN/m³"}
# Dimension in pint, kind for people.
ROUNDED = 1e-4  # nearer to the peak is at the peak but for corners that a file rounds, and shown so [m]
_KINDS = {
    "[pressure]": "pressure",
    "[length]": "length",
    "[force]/[length]": "line",
    "[force]/[length]**3": "unit_weight",
    "[mass]/[length]**3": "density",
    "[mass]/[length]**2": "mass per area",
    "[force]": "force",
    "[]": "ratio",
}
_ROOT = re.compile(r"\(1/(\d)\)")
_TOKEN = re.compile(r"\s*(?P<number>\d+\.?\d*)|\s*(?P<word>[^\W\d]\w*(?:,\w+)*)|\s*(?P<mark><=|>=|\S)")


@dataclass(frozen=True)
class Symbols:
    """What symbols stand for, as pint quantities; their SI units as they were given; and x [m].

    `bare` is "US" or "SI" where the formula holds between bare numbers in these units, else "".
    """

    known: dict[str, Any]
    units: dict[str, str]
    x: float
    bare: str = ""


@dataclass(frozen=True)
class Piece:
    """Part of a formula that can be evaluated, or words between such parts."""

    shown: Expression
    value: Any = None  # pint quantity; None for words


def si_number(value: Any) -> Number:
    """A pint quantity in SI with its kind."""
    kind = next((name for dimension, name in _KINDS.items() if value.check(dimension)), "ratio")
    return Number(float(value.to_base_units().magnitude), kind)


def bare_number(value: Any, system: str, *, angle: bool) -> tuple[float, str]:
    """Number of a pint quantity in the units of a system, and the name of the unit; angles in degrees."""
    if angle:
        return float(np.degrees(value.magnitude)), "degrees"
    for dimension, unit in BARE[system].items():
        if value.check(dimension):
            return float(value.to(unit).magnitude), _BARE_NAMES.get(unit, unit)
    return float(value.to_base_units().magnitude), ""


class Reader:
    """Reads products, sums and functions of known symbols; whatever it does not know is words.

    After `pieces`, `governing` holds which argument each min and max took, and `counted` the units of bare
    numbers.
    """

    def __init__(self, text: str, symbols: Symbols) -> None:
        self.text, self.at = text, 0
        self.known, self.units, self.x, self.bare = symbols.known, symbols.units, symbols.x, symbols.bare
        self.governing: list[str] = []
        self.counted: dict[str, None] = {}
        self.inside: list[str] = []
        # Symbols such as "sum(rho d)" are not expressions.
        self.odd = sorted((s for s in self.known if not re.fullmatch(r"[\w,]+", s)), key=len, reverse=True)

    def pieces(self) -> list[Piece]:
        """Parts that can be evaluated and the words between them, in order."""
        found: list[Piece] = []
        while self.at < len(self.text.rstrip()):
            begun, said = self.at, len(self.governing)
            try:
                shown, value = self._sum()
                if len(shown) == 1 and isinstance(shown[0], str) and shown[0] != "0":
                    raise _NotAnExpressionError  # a number alone, such as in "30 degrees"
                found.append(Piece(shown, value))
            except _NotAnExpressionError:
                self.at = begun
                del self.governing[said:]
                word = re.compile(r"\s*\S+").match(self.text, begun)
                assert word is not None
                self.at = word.end()
                before = "".join(str(part) for part in found.pop().shown) if _is_words(found) else " "
                found.append(Piece((f"{before}{word[0].strip().replace('<=', '≤').replace('>=', '≥')} ",)))
        return found

    def _look(self) -> tuple[str, str, int]:
        for symbol in self.odd:
            start = self.at + len(self.text[self.at :]) - len(self.text[self.at :].lstrip())
            if self.text.startswith(symbol, start):
                return "symbol", symbol, start + len(symbol)
        match = _TOKEN.match(self.text, self.at)
        if match is None or match.lastgroup is None:
            return "end", "", self.at
        return match.lastgroup, match[match.lastgroup], match.end()

    def _sum(self) -> tuple[Expression, Any]:
        shown, value = self._product()
        while True:
            _, mark, end = self._look()
            if mark not in ("+", "-"):
                return shown, value
            self.at = end
            more, other = self._product()
            shown = (*shown, _OPERATORS[mark], *more)
            value = self._try(operator.add if mark == "+" else operator.sub, value, other)

    def _product(self) -> tuple[Expression, Any]:
        shown, value = self._power()
        while True:
            begun = self.at
            _, mark, end = self._look()
            divide = mark == "/"
            if divide or mark == "*":
                self.at = end
            try:
                more, other = self._power()
            except _NotAnExpressionError:
                if divide or mark == "*":
                    raise
                self.at = begun
                return shown, value
            shown = (*shown, _OPERATORS["/" if divide else "*"], *more)
            value = self._try(operator.truediv if divide else operator.mul, value, other)

    def _power(self) -> tuple[Expression, Any]:
        shown, value = self._atom()
        _, mark, end = self._look()
        if mark != "^":
            return shown, value
        self.at = end
        root = _ROOT.match(self.text, end)
        if root is not None:
            self.at = root.end()
            raised, power = f"^(1/{root[1]})", 1.0 / float(root[1])
        else:
            kind, number, self.at = self._at_end(end)
            if kind != "number":
                raise _NotAnExpressionError
            raised, power = {"2": "²", "3": "³"}.get(number, f"^{number}"), float(number)
        closed = shown[0] == "(" and shown[-1] == ")"
        return (*(shown if closed else ("(", *shown, ")")), raised), value**power

    def _at_end(self, end: int) -> tuple[str, str, int]:
        self.at = end
        return self._look()

    def _atom(self) -> tuple[Expression, Any]:
        kind, text, end = self._look()
        if kind == "number":
            self.at = end
            _, unit, after = self._look()
            if unit == "°":
                self.at = after
                return (Number(float(np.radians(float(text))), "angle"),), registry().Quantity(
                    float(np.radians(float(text))), ""
                )
            if unit in _LITERAL_UNITS and unit not in self.known:
                self.at = after
                value = registry().Quantity(float(text), _LITERAL_UNITS[unit])
                return (si_number(value),), value
            return (short_numbers(text),), registry().Quantity(float(text), "")
        if text in ("(", "["):
            parts, values = self._inside()
            return ("(", *parts[0], ")"), values[0]
        if text in self.known:
            self.at = end
            return self._symbol(text)
        if text == _FREE:
            self.at = end
            value = registry().Quantity(self.x, "m")
            return (si_number(value) if abs(self.x) > ROUNDED else "0",), value
        if text in _FUNCTIONS and self.text[end : end + 1] == "(":
            self.at = end
            parts, values = self._inside()
            name, function = _FUNCTIONS[text]
            inner: list[str | Number] = [*parts[0]]
            for part in parts[1:]:
                inner += [", ", *part]
            value = self._try(function, *values)
            if text in ("min", "max") and len(values) > 1:
                first = next(k for k, one in enumerate(values) if one == value)
                self.governing.append(self.inside[first])
            return (f"{name}(", *inner, ")"), value
        raise _NotAnExpressionError

    def _symbol(self, symbol: str) -> tuple[Expression, Any]:
        value, unit = self.known[symbol], self.units.get(symbol, "")
        if self.bare:
            number, counted = bare_number(value, self.bare, angle=unit == "rad")
            if counted:
                self.counted[counted] = None
            return (Number(number),), registry().Quantity(number, "")
        return (Number(float(value.magnitude), "angle") if unit == "rad" else si_number(value),), value

    def _inside(self) -> tuple[list[Expression], list[Any]]:
        """Expressions between a parenthesis and its end."""
        self.at = self._look()[2]
        shown, values = [], []
        texts: list[str] = []
        while True:
            begun = self.at
            part, value = self._sum()
            texts.append(self.text[begun : self.at].strip())
            shown.append(part)
            values.append(value)
            _, mark, end = self._look()
            self.at = end
            if mark in (")", "]"):
                self.inside = texts
                return shown, values
            if mark != ",":
                raise _NotAnExpressionError

    @staticmethod
    def _try(work: Callable[..., Any], *values: Any) -> Any:
        """Evaluate; units that do not fit mean that the text was not an expression."""
        try:
            return work(*values)
        except (ValueError, TypeError, ZeroDivisionError, ArithmeticError):
            raise _NotAnExpressionError from None


class _NotAnExpressionError(Exception):
    """The text at hand is words."""


def _is_words(pieces: Sequence[Piece]) -> bool:
    return bool(pieces) and pieces[-1].value is None
