"""Formulas of snow zones with their numbers put in, shown only where they give the stated result."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from pint import UndefinedUnitError

from roofmodel.snow.cases import Zone
from roofmodel.units import STANDARD_GRAVITY, registry
from viewer.report.working_parts import Expression, Number
from viewer.snow.reader import Piece, Reader, Symbols, si_number

AGREE = 1e-6  # a result is shown only if it meets a stated value this closely


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
    taken : Number or None
        The value that is used in its place, where a limit of the clause changes it.
    """

    symbols: str
    numbers: Expression = ()
    results: Expression = ()
    taken: Number | None = None


def worked(zone: Zone, beside: Sequence[Zone] = ()) -> tuple[Worked, ...]:
    """Formula of a zone, in the order of its calculation, with numbers where these are proven.

    Parameters
    ----------
    zone : Zone
    beside : sequence of Zone
        Zones of the same name, such as on the other facets of a vault, of which the formula may speak.

    Returns
    -------
    tuple of Worked
        A line gets numbers only if one of its results is a stated value of the zone or the largest or
        smallest pressure in it or those beside it, within `AGREE`; or if its symbol has another stated
        value, which is then said beside the result.
    """
    pressures = [p for one in (zone, *beside) for p in _pressures(one)]
    lines, _ = _chain(zone, pressures, 0.0, trusted=False)
    fall = float(np.linalg.norm(zone.pressure[1:]))
    if lines[-1].numbers or fall == 0.0:
        return lines
    # The zone begins off the line of the peak: a formula that falls as the zone does gives its distance.
    begin, beyond = (_chain(zone, pressures, x, trusted=True)[1] for x in (0.0, 1.0))
    if begin is None or beyond is None or not begin.check("[pressure]") or not beyond.check("[pressure]"):
        return lines
    first, second = (float(q.to_base_units().magnitude) for q in (begin, beyond))
    if not math.isclose(first - second, fall, rel_tol=AGREE):
        return lines
    place = (first - float(_pressures(zone)[1].magnitude)) / fall
    return _chain(zone, pressures, place, trusted=True)[0] if place > -AGREE else lines


def _chain(
    zone: Zone, pressures: list[Any], x: float, *, trusted: bool
) -> tuple[tuple[Worked, ...], Any | None]:
    """All lines at a distance x from the line of the peak [m], and the value of the last."""
    known: dict[str, Any] = {"g": registry().Quantity(STANDARD_GRAVITY, "m/s^2")}
    for given in zone.values:
        with contextlib.suppress(UndefinedUnitError):
            known[given.symbol] = registry().Quantity(given.value, given.unit.replace("**", "^"))
    kinds = {v.symbol: v.unit for v in zone.values}
    lines, value = [], None
    for clause in _in_order(_clauses(zone.formula)):
        line, value = _line(clause, pressures, Symbols(known, kinds, x), trusted=trusted)
        lines.append(line)
        left, equals, _ = clause.partition(" = ")
        if equals and value is not None:
            known.setdefault(left, value)  # what is proven may be used below
    return tuple(lines), value


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


def _line(clause: str, pressures: list[Any], symbols: Symbols, *, trusted: bool) -> tuple[Worked, Any | None]:
    """A line, and its value where it has just one that is proven, or trusted if the whole proves itself."""
    known = symbols.known
    left, equals, right = clause.partition(" = ")
    if not equals:
        left, right = "", clause
    plain, where, condition = right.partition(" where ")
    pieces = Reader(plain, symbols).pieces()
    found = [piece.value for piece in pieces if piece.value is not None]
    if not found:
        return Worked(clause), None
    tail: Expression = (f"{where}{condition}",) if where else ()
    numbers = tuple(part for piece in pieces for part in piece.shown) + tail
    results = tuple(part for piece in pieces for part in _result(piece))
    spread = _spread(pieces)
    if spread is not None:
        found, results = [spread], (si_number(spread),)
    if left in known:
        met = any(_agree(value, known[left]) for value in found)
    else:
        met = any(_agree(value, other) for value in found for other in pressures)
        done = [piece.value for piece in pieces if piece.value is not None and len(piece.shown) > 1]
        met |= any(_agree(value, other) for value in done for other in known.values())
    if any(_torn(piece) for piece in pieces):
        return Worked(clause), None
    if not met and not (trusted and left not in known and len(pieces) == 1):
        changed = left in known and len(pieces) == 1 and found[0].dimensionality == known[left].dimensionality
        if not changed:
            return Worked(clause), None
        return Worked(clause, numbers, results, si_number(known[left])), known[left]
    value = found[0] if len(pieces) == 1 else None
    if len(pieces) == 1 and len(pieces[0].shown) == 1:
        return Worked(clause, results + tail), value
    return Worked(clause, numbers, results), value


def _spread(pieces: Sequence[Piece]) -> Any:
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


def _torn(piece: Piece) -> bool:
    """Whether words hold a sign of calculation: then a part of the formula was not understood."""
    return piece.value is None and any(sign in str(part) for part in piece.shown for sign in "+*/^=()[]")


def _result(piece: Piece) -> Expression:
    return piece.shown if piece.value is None else (si_number(piece.value),)


def _agree(value: Any, other: Any) -> bool:
    if value.dimensionality != other.dimensionality:
        return False
    a, b = (float(q.to_base_units().magnitude) for q in (value, other))
    return math.isclose(a, b, rel_tol=AGREE, abs_tol=1e-12)


def _pressures(zone: Zone) -> list[Any]:
    corners = shapely.get_coordinates(zone.polygon)
    values = zone.pressure[0] + corners @ zone.pressure[1:]
    return [registry().Quantity(float(p), "Pa") for p in (values.min(), values.max())]
