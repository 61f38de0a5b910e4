"""Zones of the snow, worked out: every formula once with its numbers, all other zones of it in a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from roofmodel.units import UnitSystem
from viewer.package import typeset as t
from viewer.report.tables import Table
from viewer.snow.governing import plain
from viewer.snow.page import zone_chapters
from viewer.snow.study import SnowStudy

MANY = 5  # symbols that have a column each; more are told in the last one
LAST = "Pressure, worked out as there"


def zone_parts(study: SnowStudy, units: UnitSystem) -> str:
    """Formulas in two columns, then the tables of zones that have the same ones."""
    groups = _groups(zone_chapters(study))
    worked = [_worked(group, units) for group in groups]
    tables = [t.table(_others(group, units)) for group in groups if len(group) > 1]
    return "".join([t.columns(worked), *tables])


def _groups(chapters: Sequence[Mapping[str, Any]]) -> list[list[Mapping[str, Any]]]:
    """Chapters by their formulas, each group with the zone that is worked out first: its heaviest."""
    found: dict[tuple[str, ...], list[Mapping[str, Any]]] = {}
    for one in chapters:
        found.setdefault((one["clause"], *(line.symbols for line in one["lines"])), []).append(one)
    groups = []
    for group in found.values():
        first = max(range(len(group)), key=lambda k: (_result(group[k]), -k))
        groups.append([group[first], *group[:first], *group[first + 1 :]])
    return groups


def _result(zone: Mapping[str, Any]) -> float:
    parts = zone["lines"][-1].results if zone["lines"] else ()
    return max((part.value for part in parts if not isinstance(part, str)), default=0.0)


def _worked(group: list[Mapping[str, Any]], units: UnitSystem) -> str:
    zone = group[0]
    head = t.paragraph(f"{zone['number']}  {zone['name']}", bold=True)
    slices = f"; zones {zone['slices']}, worked out where they are heaviest" if zone["slices"] else ""
    more = f"; {len(group) - 1} more with other numbers in the table below" if len(group) > 1 else ""
    head += t.paragraph(f"{zone['clause']}; in case {zone['cases']}{slices}{more}", note=True)
    lines = [t.kept_with_next(head)]
    for line in zone["lines"]:
        equation = t.symbols(line.symbols)
        if line.numbers:
            equation += f" = {t.expression(line.numbers, units)}"
        if line.results:
            equation += f" = #strong[{t.expression(line.results, units)}]"
        lines.append(f"{t.hanging(equation)}\n")
    return "".join(lines)


def _values(zone: Mapping[str, Any], units: UnitSystem) -> dict[str, str]:
    """Every symbol's value as text, given ones first."""
    found = {symbol: value for symbol, value, _ in zone["given"]}
    for line in zone["lines"][:-1]:
        symbol, equals, _ = line.symbols.partition(" = ")
        shown = line.results or line.numbers
        if equals and shown:
            found[symbol] = plain(shown, units)
    return found


def _others(group: list[Mapping[str, Any]], units: UnitSystem) -> Table:
    """What differs from zone to zone, and the last line with its numbers; alike ones share a row."""
    values = [_values(zone, units) for zone in group]
    differ = [s for s in values[0] if any(one.get(s) != values[0][s] for one in values)]
    differ += [s for one in values for s in one if s not in values[0] and s not in differ]
    own = differ if len(differ) <= MANY else []
    rows: dict[tuple[str, ...], list[str]] = {}
    for zone, known in zip(group[1:], values[1:], strict=True):
        last = zone["lines"][-1]
        told = plain(last.numbers or last.results, units)
        if last.results and last.numbers:
            told += f" = {plain(last.results, units)}"
        if not own and differ:
            told = "; ".join(f"{s} = {known.get(s, '–')}" for s in differ) + f"; {told}"
        key = (zone["cases"], *(known.get(symbol, "–") for symbol in own), told)
        number = zone["slices"] or str(zone["number"])
        rows.setdefault(key, []).append(f"{number} {zone['name']}")
    body = tuple((", ".join(names), *key) for key, names in rows.items())
    first = group[0]
    caption = f"By the formulas of zone {first['number']}, {first['name']}: {first['clause']}"
    heads = ("Zones", "Case", *own, LAST)
    return Table(caption, heads, "tt" + "s" * (len(own) + 1), body)
