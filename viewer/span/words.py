"""Span tables in words and numbers, loads and spans always rounded down."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from fea.spans.bench import LIMITS
from fea.spans.study import RailTableau, StudyResult, tableau_name
from roofmodel.units import SYSTEMS, UnitSystem
from viewer.report.tables import Table

CAUTIONS = (
    "A licensed engineer must review this table; the local code governs how it may be used.",
    "It is no better than the clamp's strengths: they must come from tests on this seam and sheet.",
    "It says nothing about the roof that carries the rails. Check the project of every roof.",
    "Falling snow and ice can kill. Work at height can kill.",
)

GUESS = "?: NOT VERIFIED (hangs on an untested direction of the clamp)."
NO_GAIN = 0.02  # share of every load by which a table of more tests tells nothing
BESIDE = 6  # rails that one table compares


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


def span_text(span: float, units: UnitSystem) -> str:
    """A span with four digits, never rounded up: a longer one has another load."""
    return f"{float(down(span, 'length', units, 4)):.4g}"


def _named(found: StudyResult, rail: RailTableau, units: UnitSystem) -> str:
    return tableau_name(found.study, rail.rail, rail.seam, units.name)


def load_rows(
    found: StudyResult, rail: RailTableau, span: Callable[[float], str], cell: Callable[[int, int], str]
) -> tuple[tuple[str, ...], ...]:
    """A line for every span, from the words of a span and of the load at a span and arrangement."""
    columns = range(len(found.choices.arrangements))
    return tuple((span(one), *(cell(i, a) for a in columns)) for i, one in enumerate(rail.spans.tolist()))


def loads_table(found: StudyResult, rail: RailTableau, units: UnitSystem) -> Table:
    """Largest line load of every span and arrangement, with the limit that governs."""
    banded = bool(found.study.ranges)

    def cell(i: int, a: int) -> str:
        text = down(float(rail.low[i, a]), "line", units)
        high = down(float(rail.high[i, a]), "line", units)
        if banded and math.isfinite(rail.high[i, a]) and high != text:
            text += f" to {high}"
        text += doubt_mark(rail, i, a)
        limit = int(rail.governing[i, a])
        return text if limit < 0 else f"{text} {LIMITS[limit]}"

    return Table(
        f"{_named(found, rail, units)}: largest line load, {units.label('line')}, and what governs",
        (f"span, {units.label('length')}", *map(str, found.choices.arrangements)),
        "n" * (1 + len(found.choices.arrangements)),
        load_rows(found, rail, lambda span: span_text(span, units), cell),
        note=GUESS if rail.guess.any() else "",
        plain_note=True,
    )


def doubt_mark(rail: RailTableau, span: int, arrangement: int) -> str:
    """What stands behind a load that hangs on a guess."""
    return " ?" if rail.guess[span, arrangement] else ""


def more_table(found: StudyResult, rail: RailTableau, units: UnitSystem) -> Table | None:
    """Largest line loads after three more tests of each direction; None where nobody said, or for no gain."""
    more = rail.more
    if more is None:
        return None

    with np.errstate(divide="ignore", invalid="ignore"):
        change = np.nan_to_num(more.load / rail.low - 1.0, nan=0.0, posinf=0.0, neginf=0.0)
    if (np.abs(change) < NO_GAIN).all():
        return None

    def cell(i: int, a: int) -> str:
        load, today, limit = float(more.load[i, a]), float(rail.low[i, a]), int(more.governing[i, a])
        text = f"{down(load, 'line', units)}{_change(load, today)}"
        return text if limit < 0 else f"{text} {LIMITS[limit]}"

    return Table(
        f"{_named(found, rail, units)}: largest line load with three more tests, {units.label('line')}",
        (f"span, {units.label('length')}", *map(str, found.choices.arrangements)),
        "n" * (1 + len(found.choices.arrangements)),
        load_rows(found, rail, lambda span: span_text(span, units), cell),
        note="NOT to be used before the tests are done: each direction at its own median, all together less "
        "often; what one campaign in ten falls below, the notes say. In brackets: against today, rounded "
        "down.",
        plain_note=True,
    )


def compared(found: StudyResult, units: UnitSystem) -> tuple[Table, ...]:
    """Up to `BESIDE` rails side by side on spans that two of them have, each arrangement's loads."""
    # One rail on several seam spacings carries the same on the same span: no news.
    if len(found.study.table.rail) < 2 or len(found.rails) > BESIDE:
        return ()
    names = tuple(_named(found, rail, units) for rail in found.rails)
    tables = []
    for a, arrangement in enumerate(found.choices.arrangements):
        rows = []
        for span in found.choices.spans:
            own = [np.flatnonzero(np.abs(rail.spans - span) < 1e-9) for rail in found.rails]
            loads = [
                float(rail.low[at[0], a]) if len(at) else None
                for rail, at in zip(found.rails, own, strict=True)
            ]
            cells = ["" if load is None else down(load, "line", units) for load in loads]
            for k, (rail, at) in enumerate(zip(found.rails, own, strict=True)):
                cells[k] += doubt_mark(rail, int(at[0]), a) if len(at) else ""
                if k and found.verified_rail(rail.rail) and found.verified_rail(found.rails[0].rail):
                    cells[k] += _change(loads[k], loads[0])
                if len(at) and (limit := int(rail.governing[at[0], a])) >= 0:
                    cells[k] += f" {LIMITS[limit]}"
            if sum(load is not None for load in loads) > 1:  # one alone stands beside nothing
                rows.append((span_text(float(span), units), *cells))
        if not rows:
            continue
        title = (
            f"Rails side by side, {arrangement}: largest line load, {units.label('line')}, and what governs"
        )
        heads = (f"span, {units.label('length')}", *names)
        told = any("(" in cell for row in rows for cell in row[1:])
        note = f"In brackets: more or less than {names[0]}, rounded down." if told else ""
        tables.append(Table(title, heads, "n" * len(heads), tuple(rows), note=note, plain_note=True))
    return tuple(tables)


def _change(load: float | None, first: float | None) -> str:
    """Gain or loss against the first rail's load in brackets, never too good; empty where there is none."""
    if load is None or first is None or not (math.isfinite(load) and 0.0 < first < math.inf):
        return ""
    return f" ({math.floor(100.0 * (load / first - 1.0) + 1e-6):+d} %)".replace("-", "−").replace("+0", "±0")


def spans_table(found: StudyResult, rail: RailTableau, units: UnitSystem) -> Table:
    """Largest span of the study that carries every line load."""
    places = np.argmin(np.abs(np.nan_to_num(rail.span)[..., None] - rail.spans), axis=2)
    rows = [
        (
            f"{units.convert(float(load), 'line'):.4g}",
            *(
                "none" if math.isnan(x) else f"{span_text(float(x), units)}{doubt_mark(rail, int(at), a)}"
                for a, (x, at) in enumerate(zip(rail.span[m], places[m], strict=True))
            ),
        )
        for m, load in enumerate(found.choices.loads)
    ]
    return Table(
        f"{_named(found, rail, units)}: largest span of those above, {units.label('length')}",
        (f"line load, {units.label('line')}", *map(str, found.choices.arrangements)),
        "n" * (1 + len(found.choices.arrangements)),
        tuple(rows),
    )


def units_of(found: StudyResult) -> UnitSystem:
    """Those of the study."""
    return SYSTEMS[found.study.table.study.units]
