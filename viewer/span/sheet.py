"""The data sheet of a rail on its clamp: what an engineer needs of it on one page, in both unit systems."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from fea.spans.bench import LIMITS
from fea.spans.missing import DIRECTIONS
from fea.spans.study import RailTableau, StudyResult
from roofmodel.errors import InputError
from roofmodel.project.span_study import SpanStudy
from roofmodel.project.tested import untested_share
from roofmodel.units import SI, US, UnitSystem
from viewer.picture.drawing import Drawing
from viewer.report.tables import Table
from viewer.section.picture import outline_drawing
from viewer.section.read import study_rail
from viewer.span.chart import LETTERS
from viewer.span.conditions import both, conditions, rail_conditions
from viewer.span.words import GUESS, doubt_mark, down, load_rows, span_text, units_of

SHOWN = (
    "Slope",
    "Seams",
    "Sheet",
    "Panel anchorage",
    "Clamp",
    "Clamp stiffness",
    "Screws",
    "Test basis",
    "Loads",
    "Rows",
)


STRENGTH = 4  # digits of a strength, as in clamp.toml
# Words that no load is to be read without.
LOUD = (
    "NOT VERIFIED",
    "NOT COUNTED",
    "NOT TESTED",
    "NOT in the table",
    "UNSUPPORTED",
    "UNSAFE",
    "NO SAFETY",
    "TOO HIGH",
    "DO NOT",
    "IS NOT USED",
    "CHECK",
    "look stronger",
    "Tested moments",
    "Nobody said",
    "nobody said",
)


@dataclass(frozen=True)
class Sheet:
    """One rail's data sheet: loud notes, tables of its loads, what they hold for, the other notes.

    Loads without any of these notes would be dangerous; the loud ones come before them.
    """

    name: str
    loud: tuple[str, ...]
    rest: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    outline: Drawing | None  # none of a rail that is given by its values
    tables: tuple[Table, ...]


def sheets(found: StudyResult) -> list[Sheet]:
    """One for every rail of the study."""
    facts = [row for row in conditions(found) if row[0] in SHOWN]
    return [
        Sheet(
            rail.name,
            *_parted([_short(note.words) for note in found.told if note.sheet and note.of(number)]),
            (("Rail", rail_conditions(found, number)), *facts),
            _outline(found.study, number),
            (*(_loads(found, one) for one in found.rails if one.rail == number), tests_table(found)),
        )
        for number, rail in enumerate(found.study.table.rail)
    ]


def _short(note: str) -> str:
    """A note of the tests up to its first stop, where it does not warn; the end has all of it."""
    if not note.startswith("Tests, ") or any(word in note for word in LOUD):
        return note
    which, _, words = note.partition(": ")
    for stop in re.finditer(r"[.;:] ", words):
        before = words[: stop.start()]
        if before.count("(") == before.count(")"):
            return f"{which}: {before} …"
    return note


def _parted(notes: list[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Notes that warn in capitals, and the others."""
    loud = tuple(one for one in notes if any(word in one for word in LOUD))
    return loud, tuple(one for one in notes if one not in loud)


def _outline(study: SpanStudy, number: int) -> Drawing | None:
    try:
        return outline_drawing(study_rail(study, number))
    except InputError:
        return None


def tests_table(found: StudyResult) -> Table:
    """Strengths of the clamp by direction, and the tests behind them."""
    clamp, units = found.study.table.clamp, units_of(found)
    variants = found.study.variants
    given, usable = (
        np.min([getattr(one.clamp, name) for one in variants], axis=0) for name in ("nominal", "strength")
    )
    tested = clamp.tested
    series = {one.direction: one for one in (() if tested is None else tested.series)}
    rows = []
    for i, name in enumerate(DIRECTIONS):
        if np.isnan(given[i]):
            continue
        kind, one = "force" if i < 4 else "moment", series.get(name)  # type: ignore[call-overload]
        behind = ("not said", "–", "–", "not said")
        if one is not None:
            ways = "; ".join(one.failures) or "not said"
            if one.excluded:
                ways += f". Not counted: {'; '.join(one.excluded)}"
            mean = "–" if one.mean is None else both(one.mean, "force", units)
            behind = (
                str(one.tests),
                mean,
                "–" if one.scatter is None else f"{100 * one.scatter:.1f} %",
                ways,
            )
        elif tested is not None and name in tested.directions:
            behind = (f"{tested.tests} or more", "–", "–", "not said")
        elif tested is not None:
            behind = ("NOT TESTED", "–", "–", untested_share(clamp, i))
        rows.append(
            (
                name,
                behind[0],
                *behind[1:3],
                _down(given[i], kind, units, STRENGTH),
                _down(usable[i], kind, units, STRENGTH),
                behind[3],
            )
        )
    high = "at the grip"
    if clamp.test_height > 0.0:
        high = f"{both(clamp.test_height, 'size', units)} above the grip"
    divided = "" if clamp.factor is None else f", factor {clamp.factor:g}"
    return Table(
        f"Strengths of the clamp and the tests behind them; along was loaded {high}",
        (
            "Direction",
            "Tests",
            "Mean",
            "Scatter",
            f"Strength, {clamp.strength_kind}{divided}",
            "For design",
            "Failed by",
        ),
        "tnnnnnt",
        tuple(rows),
        note=_measured(found),
        plain_note=True,
    )


def _measured(found: StudyResult) -> str:
    """What was read from each test and how it became a strength, so that it is found in the report."""
    tested, units = found.study.table.clamp.tested, units_of(found)
    how: dict[str, list[str]] = {}  # directions of one method told together
    for one in () if tested is None else tested.series:
        if not one.take or one.as_measured is None:
            continue
        ends = " to ".join(dict.fromkeys(f"{end:.3f}" for end in one.to_nominal))
        down = f" times {ends} to nominal sheet" if ends not in ("", "1.000") else ""
        text = f"{one.direction} {both(one.as_measured, 'force', units)}"
        if one.largest:
            text += f" (largest force of all records {both(one.largest[-1], 'force', units)})"
        how.setdefault(f"{one.take}{down}; mean as measured", []).append(text)
    return " ".join(f"What counts: {what} {'; '.join(some)}." for what, some in how.items())


def _down(value: float, kind: str, units: UnitSystem, digits: int = 3) -> str:
    if math.isnan(value):
        return down(value, kind, units)
    other = US if units is SI else SI
    # Thousands are parted as elsewhere.
    numbers = [down(float(value), kind, one, digits) for one in (units, other)]
    grouped = [f"{int(text):,}" if text.isdigit() else text for text in numbers]
    own, second = (f"{text} {one.label(kind)}" for text, one in zip(grouped, (units, other), strict=True))
    return f"{own} ({second})"


def _loads(found: StudyResult, rail: RailTableau) -> Table:
    """Largest line loads in both unit systems, what governs as a letter."""
    units = units_of(found)
    other = US if units is SI else SI

    def cell(i: int, a: int) -> str:
        low, limit = float(rail.low[i, a]), int(rail.governing[i, a])
        both = f" ({down(low, 'line', other)})" if math.isfinite(low) else ""
        mark = doubt_mark(rail, i, a)
        return f"{down(low, 'line', units)}{both}{f' {LETTERS[limit]}' if limit >= 0 else ''}{mark}"

    guess = f" {GUESS}" if rail.guess.any() else ""
    seen = sorted({int(k) for k in np.unique(rail.governing)} - {-1})
    return Table(
        f"{rail.name}: largest load of snow down the slope per length of rail, {units.label('line')} "
        f"({other.label('line')})",
        (f"span, {units.label('length')} ({other.label('length')})", *map(str, found.choices.arrangements)),
        "n" * (1 + len(found.choices.arrangements)),
        load_rows(found, rail, lambda span: f"{span_text(span, units)} ({span_text(span, other)})", cell),
        note=f"What governs: {', '.join(f'{LETTERS[k]} {LIMITS[k]}' for k in seen) or 'nothing'}. Rounded "
        f"down; a span between two gets what the longer one carries.{guess}",
        plain_note=True,
    )
