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
from roofmodel.units import SI, US, UnitSystem
from viewer.picture.drawing import Drawing
from viewer.report.tables import Table
from viewer.section.picture import section_drawing
from viewer.section.read import study_rail
from viewer.span.chart import LETTERS
from viewer.span.conditions import both, conditions, rail_conditions
from viewer.span.words import down, span_text, units_of

# Notes that must not be missed: what is open, and what the strengths hold for alone.
LOUD = re.compile(
    r"\b(?:UNSUPPORTED|UNSAFE|NOT VERIFIED|NOT RELY|NO SAFETY FACTOR|NOT COUNTED|NOT in the)\b"
    r"|^Tests, | only\.$"
)
SHOWN = ("Slope", "Seams", "Sheet", "Panel anchorage", "Clamp", "Screws", "Test basis", "Loads", "Rows")


@dataclass(frozen=True)
class Sheet:
    """One rail's data sheet: section (None without an outline), facts, tables, notes not to be missed."""

    name: str
    section: Drawing | None
    facts: tuple[tuple[str, str], ...]
    tables: tuple[Table, ...]
    loud: tuple[str, ...]


def sheets(found: StudyResult) -> list[Sheet]:
    """One for every rail of the study."""
    facts = [row for row in conditions(found) if row[0] in SHOWN]
    loud = tuple(note for note in found.notes if LOUD.search(note))
    return [
        Sheet(
            rail.name,
            _section(found.study, number),
            (("Rail", rail_conditions(found, number)), *facts),
            (tests_table(found), *(_loads(found, one) for one in found.rails if one.rail == number)),
            tuple(note for note in loud if not _of_another(note, found, rail.name)),
        )
        for number, rail in enumerate(found.study.table.rail)
    ]


def _of_another(note: str, found: StudyResult, name: str) -> bool:
    return (
        any(f" of {one.name}:" in note for one in found.study.table.rail if one.name != name)
        and f" of {name}:" not in note
    )


def _section(study: SpanStudy, number: int) -> Drawing | None:
    try:
        return section_drawing(study_rail(study, number))
    except InputError:  # a rail that is given by its values alone
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
        rows.append(
            (
                name,
                behind[0],
                *behind[1:3],
                _down(given[i], kind, units),
                _down(usable[i], kind, units),
                behind[3],
            )
        )
    divided = "" if clamp.factor is None else f", factor {clamp.factor:g}"
    return Table(
        "Strengths of the clamp and the tests behind them",
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
    )


def _down(value: float, kind: str, units: UnitSystem) -> str:
    other = US if units is SI else SI
    # Thousands are parted as elsewhere.
    numbers = [down(float(value), kind, one) for one in (units, other)]
    grouped = [f"{int(text):,}" if text.isdigit() else text for text in numbers]
    own, second = (f"{text} {one.label(kind)}" for text, one in zip(grouped, (units, other), strict=True))
    return f"{own} ({second})"


def _loads(found: StudyResult, rail: RailTableau) -> Table:
    """Largest line loads in both unit systems, what governs as a letter."""
    units = units_of(found)
    other = US if units is SI else SI
    rows, seen = [], set[int]()
    for i, span in enumerate(rail.spans.tolist()):
        cells = []
        for low, limit in zip(rail.low[i].tolist(), rail.governing[i].tolist(), strict=True):
            text = down(low, "line", units)
            if math.isfinite(low):
                text += f" ({down(low, 'line', other)})"
            if limit >= 0:
                seen.add(limit)
                text += f" {LETTERS[limit]}"
            cells.append(text)
        rows.append((f"{span_text(span, units)} ({span_text(span, other)})", *cells))
    legend = ", ".join(f"{LETTERS[k]} {LIMITS[k]}" for k in sorted(seen))
    return Table(
        f"{rail.name}: largest line load, {units.label('line')} ({other.label('line')})",
        (f"span, {units.label('length')} ({other.label('length')})", *map(str, found.choices.arrangements)),
        "n" * (1 + len(found.choices.arrangements)),
        tuple(rows),
        note=f"What governs: {legend}. Rounded down; a span between two gets what the longer one carries.",
        plain_note=True,
    )
