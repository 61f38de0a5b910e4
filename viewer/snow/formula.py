"""Formulas of snow zones with their numbers put in, shown only where they give the stated result."""

from __future__ import annotations

import contextlib
import math
import operator
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from pint import UndefinedUnitError

from roofmodel.snow.cases import Zone
from roofmodel.units import STANDARD_GRAVITY, registry
from viewer.report.working_parts import Expression, Number

AGREE = 1e-6  # a result is shown only if it meets a stated value this closely
_FREE = "x"  # distance from the line of the peak, 0 there
_OPERATORS = {"+": " + ", "-": " − ", "/": " / ", "*": " × "}
_FUNCTIONS: dict[str, tuple[str, Callable[..., Any]]] = {
    "sqrt": ("√", lambda q: q**0.5),
    "min": ("min", lambda *q: min(q)),
    "max": ("max", lambda *q: max(q)),
    "cos": ("cos", np.cos),
    "sin": ("sin", np.sin),
    "tan": ("tan", np.tan),
}
_LITERAL_UNITS = {"psf": "psf", "pcf": "lbf/ft^3", "ft": "ft", "in": "inch", "m": "m", "kPa": "kPa"}
# Dimension in pint, kind for people.
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
_TOKEN = re.compile(r"\s*(?P<number>\d+\.?\d*)|\s*(?P<word>[^\W\d]\w*(?:,\w+)*)|\s*(?P<mark><=|>=|\S)")


@dataclass(frozen=True)
class Worked:
    """One line of a formula with numbers.

    Attributes
    ----------
    symbols : str
        As the zone gives it, such as "p_s = C_s p_f".
    numbers : tuple of str and Number
        The same with numbers; empty where they do not give the stated result.
    results : tuple of str and Number
        What it comes to.
    """

    symbols: str
    numbers: Expression = ()
    results: Expression = ()


@dataclass(frozen=True)
class _Piece:
    """Part of a formula that can be evaluated, or words between such parts."""

    shown: Expression
    value: Any = None  # pint quantity; None for words


def worked(zone: Zone) -> tuple[Worked, ...]:
    """Formula of a zone, in the order of its calculation, with numbers where these are proven.

    Parameters
    ----------
    zone : Zone

    Returns
    -------
    tuple of Worked
        A line gets numbers only if one of its results is a stated value of the zone or the largest or
        smallest pressure in it, within `AGREE`.
    """
    known = {"g": registry().Quantity(STANDARD_GRAVITY, "m/s^2")}
    for value in zone.values:
        with contextlib.suppress(UndefinedUnitError):
            known[value.symbol] = registry().Quantity(value.value, value.unit.replace("**", "^"))
    kinds = {v.symbol: v.unit for v in zone.values}
    return tuple(_line(clause, zone, known, kinds) for clause in _in_order(_clauses(zone.formula)))


def _clauses(formula: str) -> list[str]:
    """Parts between commas outside of parentheses."""
    depth, parts, begun = 0, [], 0
    for at, letter in enumerate(formula):
        depth += (letter in "([") - (letter in ")]")
        if depth == 0 and formula.startswith(", ", at):
            parts.append(formula[begun:at])
            begun = at + 2
    return [*parts, formula[begun:]]


def _in_order(clauses: list[str]) -> list[str]:
    """Clauses after those that give what they use, else as they stand."""
    waiting, done = list(clauses), []
    while waiting:
        ready = [c for c in waiting if not any(_uses(c, other) for other in waiting if other is not c)]
        done.append((ready or waiting)[0])
        waiting.remove(done[-1])
    return done


def _uses(clause: str, other: str) -> bool:
    """Whether the right side of a clause holds the symbol that another one gives."""
    symbol, equals, _ = other.partition(" = ")
    right = clause.partition(" = ")[2] or clause
    return bool(equals) and re.search(rf"(?<![\w,]){re.escape(symbol)}(?![\w,])", right) is not None


def _line(clause: str, zone: Zone, known: dict[str, Any], units: dict[str, str]) -> Worked:
    left, equals, right = clause.partition(" = ")
    if not equals:
        left, right = "", clause
    plain, where, condition = right.partition(" where ")
    pieces = _Reader(plain, known, units).pieces()
    found = [piece.value for piece in pieces if piece.value is not None]
    if not found:
        return Worked(clause)
    tail: Expression = (f"{where}{condition}",) if where else ()
    numbers = tuple(part for piece in pieces for part in piece.shown) + tail
    results = tuple(part for piece in pieces for part in _result(piece))
    spread = _spread(pieces)
    if spread is not None:
        found, results = [spread], (_number(spread),)
    if left in known:
        met = any(_agree(value, known[left]) for value in found)
    else:
        met = any(_agree(value, other) for value in found for other in _pressures(zone))
        done = [piece.value for piece in pieces if piece.value is not None and len(piece.shown) > 1]
        met |= any(_agree(value, other) for value in done for other in known.values())
    if not met or any(_torn(piece) for piece in pieces):
        return Worked(clause)
    if len(pieces) == 1 and len(pieces[0].shown) == 1:
        return Worked(clause, results + tail)
    return Worked(clause, numbers, results)


def _spread(pieces: Sequence[_Piece]) -> Any:
    """Pressure of a line load "over" a length; None where the formula is none such."""
    if len(pieces) < 3 or [part for part in pieces[1].shown if isinstance(part, str)] != [" over "]:
        return None
    load, length = pieces[0].value, pieces[2].value
    if (
        load is not None
        and length is not None
        and load.check("[force]/[length]")
        and length.check("[length]")
    ):
        return load / length
    return None


def _torn(piece: _Piece) -> bool:
    """Whether words hold a sign of calculation: then a part of the formula was not understood."""
    return piece.value is None and any(sign in str(part) for part in piece.shown for sign in "+*/^=()[]")


def _result(piece: _Piece) -> Expression:
    return piece.shown if piece.value is None else (_number(piece.value),)


def _number(value: Any) -> Number:
    kind = next((name for dimension, name in _KINDS.items() if value.check(dimension)), "ratio")
    return Number(float(value.to_base_units().magnitude), kind)


def _agree(value: Any, other: Any) -> bool:
    if value.dimensionality != other.dimensionality:
        return False
    a, b = (float(q.to_base_units().magnitude) for q in (value, other))
    return math.isclose(a, b, rel_tol=AGREE, abs_tol=1e-12)


def _pressures(zone: Zone) -> list[Any]:
    corners = shapely.get_coordinates(zone.polygon)
    values = zone.pressure[0] + corners @ zone.pressure[1:]
    return [registry().Quantity(float(p), "Pa") for p in (values.min(), values.max())]


class _Reader:
    """Reads products, sums and functions of known symbols; whatever it does not know is words."""

    def __init__(self, text: str, known: dict[str, Any], units: dict[str, str]) -> None:
        self.text, self.known, self.units, self.at = text, known, units, 0
        # Symbols such as "sum(rho d)" are not expressions.
        self.odd = sorted((s for s in known if not re.fullmatch(r"[\w,]+", s)), key=len, reverse=True)

    def pieces(self) -> list[_Piece]:
        found: list[_Piece] = []
        while self.at < len(self.text.rstrip()):
            begun = self.at
            try:
                shown, value = self._sum()
                found.append(_Piece(shown, value))
            except _NotAnExpressionError:
                self.at = begun
                word = re.compile(r"\s*\S+").match(self.text, begun)
                assert word is not None
                self.at = word.end()
                before = "".join(str(part) for part in found.pop().shown) if _is_words(found) else " "
                found.append(_Piece((f"{before}{word[0].strip().replace('<=', '≤').replace('>=', '≥')} ",)))
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
        kind, power, end = self._look()
        if kind != "number":
            raise _NotAnExpressionError
        self.at = end
        raised = {"2": "²", "3": "³"}.get(power, f"^{power}")
        closed = shown[0] == "(" and shown[-1] == ")"
        return (*(shown if closed else ("(", *shown, ")")), raised), value ** float(power)

    def _atom(self) -> tuple[Expression, Any]:
        kind, text, end = self._look()
        if kind == "number":
            self.at = end
            _, unit, after = self._look()
            if unit in _LITERAL_UNITS and unit not in self.known:
                self.at = after
                value = registry().Quantity(float(text), _LITERAL_UNITS[unit])
                return (_number(value),), value
            return (text,), registry().Quantity(float(text), "")
        if text in ("(", "["):
            parts, values = self._inside()
            return ("(", *parts[0], ")"), values[0]
        if text in self.known:
            self.at = end
            value = self.known[text]
            return (_symbol(value, self.units.get(text, "")),), value
        if text == _FREE:
            self.at = end
            return ("0",), registry().Quantity(0.0, "m")
        if text in _FUNCTIONS and self.text[end : end + 1] == "(":
            self.at = end
            parts, values = self._inside()
            name, function = _FUNCTIONS[text]
            inner: list[str | Number] = [*parts[0]]
            for part in parts[1:]:
                inner += [", ", *part]
            return (f"{name}(", *inner, ")"), self._try(function, *values)
        raise _NotAnExpressionError

    def _inside(self) -> tuple[list[Expression], list[Any]]:
        """Expressions between a parenthesis and its end."""
        self.at = self._look()[2]
        shown, values = [], []
        while True:
            part, value = self._sum()
            shown.append(part)
            values.append(value)
            _, mark, end = self._look()
            self.at = end
            if mark in (")", "]"):
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


def _is_words(pieces: Sequence[_Piece]) -> bool:
    return bool(pieces) and pieces[-1].value is None


def _symbol(value: Any, unit: str) -> Number:
    if unit == "rad":
        return Number(float(value.magnitude), "angle")
    return _number(value)
