"""Formulas of snow zones with their numbers put in, shown only where they give the stated result."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from pint import UndefinedUnitError

from roofmodel.snow.cases import Bare, Value, Zone, short_numbers
from roofmodel.units import registry
from roofmodel.usual_units import STANDARD_GRAVITY
from viewer.report.working_parts import Expression, Number
from viewer.snow.reader import BARE, Piece, Reader, Symbols, si_number

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
    governs : tuple of str
        What min and max in the formula took, in symbols, the inner ones first.
    source : str
        Clause or reason of the value, "" where the zone's own clause says it.
    """

    symbols: str
    numbers: Expression = ()
    results: Expression = ()
    taken: Number | None = None
    governs: tuple[str, ...] = ()
    source: str = ""


def worked(zone: Zone, beside: Sequence[Zone] = (), system: str = "SI") -> tuple[Worked, ...]:
    """Formula of a zone, in the order of its calculation, with numbers where these are proven.

    Parameters
    ----------
    zone : Zone
    beside : sequence of Zone
        Zones of the same name, such as on the other facets of a vault, of which the formula may speak.
    system : str
        "SI" or "US", for formulas between bare numbers.

    Returns
    -------
    tuple of Worked
        A line gets numbers only if one of its results is a stated value of the zone or the largest or
        smallest pressure in it or those beside it, within `AGREE`; or if its symbol has another stated
        value, which is then said beside the result.
    """
    pressures = [p for one in (zone, *beside) for p in _pressures(one)]
    lines, _ = _chain(zone, pressures, 0.0, system, trusted=False)
    fall = float(np.linalg.norm(zone.pressure[1:]))
    if fall == 0.0:
        return lines
    # The zone may begin off the line where x is 0: a formula that changes as it does gives the distance.
    begin, beyond = (_chain(zone, pressures, x, system, trusted=True)[1] for x in (0.0, 1.0))
    if begin is None or beyond is None or not begin.check("[pressure]") or not beyond.check("[pressure]"):
        return lines
    first, second = (float(q.to_base_units().magnitude) for q in (begin, beyond))
    if not math.isclose(abs(first - second), fall, rel_tol=AGREE):
        return lines
    place = (first - float(_pressures(zone)[1].magnitude)) / (first - second)
    place = 0.0 if abs(place) < 1e-9 else place
    return _chain(zone, pressures, place, system, trusted=True)[0] if place > -AGREE else lines


def _chain(
    zone: Zone, pressures: list[Any], x: float, system: str, *, trusted: bool
) -> tuple[tuple[Worked, ...], Any | None]:
    """All lines at a distance x from the line of the peak [m], and the value of the last."""
    first, kinds = _from_values(zone.values, zone.formula, system)
    known = dict(first.known)
    sources = {v.symbol: v.note for v in zone.values}
    done, value = dict(first.lines), None
    order = _in_order([*done, *_clauses(zone.formula)])
    for clause in order:
        if clause in done:
            continue
        line, value = _line(clause, pressures, Symbols(known, kinds, x), trusted=trusted)
        left, equals, _ = clause.partition(" = ")
        done[clause] = replace(line, source=sources.get(left, ""))
        if equals and value is not None:
            known.setdefault(left, value)  # what is proven may be used below
    return tuple(done[clause] for clause in order), value


@dataclass(frozen=True)
class _First:
    """What a zone's values give: quantities by symbol, and the lines of those that have a formula."""

    known: dict[str, Any]
    lines: dict[str, Worked]


@lru_cache(maxsize=256)
def _from_values(values: tuple[Value, ...], formula: str, system: str) -> tuple[_First, dict[str, str]]:
    """Lines of all values with a formula that the zone's own does not repeat, and SI units by symbol."""
    known: dict[str, Any] = {"g": registry().Quantity(STANDARD_GRAVITY, "m/s^2")}
    for given in values:
        with contextlib.suppress(UndefinedUnitError):
            known[given.symbol] = registry().Quantity(given.value, given.unit.replace("**", "^"))
    kinds = {v.symbol: v.unit for v in values}
    said = {clause.partition(" = ")[0] for clause in _clauses(formula) if " = " in clause}
    lines: dict[str, Worked] = {}
    for value in values:
        if value.formula and value.symbol not in said:
            bare = isinstance(value.formula, Bare)
            text = value.formula.text(system) if isinstance(value.formula, Bare) else value.formula
            clause = f"{value.symbol} = {text}"
            symbols = Symbols(known, kinds, 0.0, system if bare else "")
            lines[clause] = replace(_line(clause, [], symbols, trusted=False)[0], source=value.note)
    return _First(known, lines), kinds


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
    waiting, done = list(dict.fromkeys(clauses)), []
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
    reader = Reader(plain, symbols)
    pieces = reader.pieces()
    text, governs = short_numbers(clause), tuple(short_numbers(one) for one in reader.governing)
    if symbols.bare and left in known:
        pieces = [_with_unit(piece, known[left], symbols) for piece in pieces]
    angle = symbols.units.get(left) == "rad"
    found = [piece.value for piece in pieces if piece.value is not None]
    if not found:
        return Worked(text), None
    tail: Expression = (f"{where}{condition}",) if where else ()
    if reader.counted:
        tail = (f" (in {', '.join(reader.counted)})", *tail)
    numbers = tuple(part for piece in pieces for part in piece.shown) + tail
    results = tuple(part for piece in pieces for part in _result(piece, angle=angle))
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
        return Worked(text), None
    if not met and not (trusted and left not in known and len(pieces) == 1):
        changed = left in known and len(pieces) == 1 and found[0].dimensionality == known[left].dimensionality
        if not changed:
            return Worked(text), None
        return Worked(text, numbers, results, _number(known[left], angle=angle), governs), known[left]
    value = found[0] if len(pieces) == 1 else None
    if len(pieces) == 1 and len(pieces[0].shown) == 1:
        return Worked(text, results + tail), value
    return Worked(text, numbers, results, None, governs), value


def _with_unit(piece: Piece, like: Any, symbols: Symbols) -> Piece:
    """A result between bare numbers as the quantity that it stands for."""
    if piece.value is None or like.check("[]"):
        return piece
    for dimension, unit in BARE[symbols.bare].items():
        if like.check(dimension):
            return Piece(piece.shown, registry().Quantity(float(piece.value.magnitude), unit))
    return piece


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


def _result(piece: Piece, *, angle: bool) -> Expression:
    return piece.shown if piece.value is None else (_number(piece.value, angle=angle),)


def _number(value: Any, *, angle: bool) -> Number:
    number = si_number(value)
    return Number(number.value, "angle") if angle and number.kind == "ratio" else number


def _agree(value: Any, other: Any) -> bool:
    if value.dimensionality != other.dimensionality:
        return False
    a, b = (float(q.to_base_units().magnitude) for q in (value, other))
    return math.isclose(a, b, rel_tol=AGREE, abs_tol=1e-12)


def _pressures(zone: Zone) -> list[Any]:
    corners = shapely.get_coordinates(zone.polygon)
    values = zone.pressure[0] + corners @ zone.pressure[1:]
    return [registry().Quantity(float(p), "Pa") for p in (values.min(), values.max())]
