"""Span tables in words and numbers, loads and spans always rounded down."""

from __future__ import annotations

import math

from fea.spans.bench import LIMITS
from fea.spans.study import RailTableau, StudyResult
from roofmodel.units import SYSTEMS, UnitSystem
from viewer.report.tables import Table

CAUTIONS = (
    "A licensed engineer must review this table; the local code governs how it may be used.",
    "It is no better than the clamp's strengths: they must come from tests on this seam and sheet.",
    "It says nothing about the roof that carries the rails. Check the project of every roof.",
    "Falling snow and ice can kill. Work at height can kill.",
)


def down(value: float, kind: str, units: UnitSystem, digits: int = 3) -> str:
    """A load or span with so many digits, never rounded up."""
    if math.isnan(value):
        return "not verified"
    if math.isinf(value):
        return "unlimited"
    number = units.convert(value, kind)
    if number <= 0.0:
        return "0"
    places = max(digits - 1 - math.floor(math.log10(number)), 0)
    # A whole number of thousandths must not fall by rounding of its own digits.
    return f"{math.floor(number * 10**places * (1.0 + 1e-9)) / 10**places:.{places}f}"


def loads_table(found: StudyResult, rail: RailTableau, units: UnitSystem) -> Table:
    """Largest line load of every span and arrangement, with the limit that governs."""
    rows = []
    banded = bool(found.study.ranges)
    for i, span in enumerate(rail.spans):
        cells = []
        for a in range(len(found.choices.arrangements)):
            text = down(float(rail.low[i, a]), "line", units)
            high = down(float(rail.high[i, a]), "line", units)
            if banded and math.isfinite(rail.high[i, a]) and high != text:
                text += f" to {high}"
            limit = int(rail.governing[i, a])
            cells.append(text if limit < 0 else f"{text} {LIMITS[limit]}")
        rows.append((f"{units.convert(float(span), 'length'):.4g}", *cells))
    return Table(
        f"{rail.name}: largest line load, {units.label('line')}, and what governs",
        (f"span, {units.label('length')}", *map(str, found.choices.arrangements)),
        "n" * (1 + len(found.choices.arrangements)),
        tuple(rows),
    )


def spans_table(found: StudyResult, rail: RailTableau, units: UnitSystem) -> Table:
    """Largest span of the study that carries every line load."""
    rows = [
        (
            f"{units.convert(float(load), 'line'):.4g}",
            *("none" if math.isnan(x) else f"{units.convert(float(x), 'length'):.4g}" for x in rail.span[m]),
        )
        for m, load in enumerate(found.choices.loads)
    ]
    return Table(
        f"{rail.name}: largest span of those above, {units.label('length')}",
        (f"line load, {units.label('line')}", *map(str, found.choices.arrangements)),
        "n" * (1 + len(found.choices.arrangements)),
        tuple(rows),
    )


def units_of(found: StudyResult) -> UnitSystem:
    """Those of the study."""
    return SYSTEMS[found.study.table.study.units]
