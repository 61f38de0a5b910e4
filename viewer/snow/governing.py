"""Which zones govern, and their working in plain text."""

from __future__ import annotations

import shapely
from rich.padding import Padding
from rich.text import Text

from roofmodel.units import UnitSystem
from viewer.quantities import quantity
from viewer.report.tables import number_ranges
from viewer.report.working_parts import Expression
from viewer.snow.findings import Patch, SnowFindings
from viewer.snow.formula import Worked, worked

MOST = 6  # zones worked out on the terminal
WIDE = 76  # letters; longer lines put the numbers below the formula


def governing_zones(findings: SnowFindings) -> list[Patch]:
    """Heaviest zone of each clause, by its largest pressure; the first of equal ones.

    Parameters
    ----------
    findings : SnowFindings

    Returns
    -------
    list of Patch
        In the order of their numbers; of more than `MOST` clauses those with the largest pressures.
    """
    worst: dict[str, Patch] = {}
    for patch in findings.patches:
        known = worst.get(patch.zone.clause)
        if known is None or patch.high > known.high * (1.0 + 1e-9):
            worst[patch.zone.clause] = patch
    heaviest = sorted(worst.values(), key=lambda patch: (-patch.high, patch.number))[:MOST]
    return sorted(heaviest, key=lambda patch: patch.number)


def patch_lines(findings: SnowFindings, patch: Patch, system: str) -> tuple[Worked, ...]:
    """Working of a zone; those alike stand beside it where its own pressure does not prove every line."""
    zone = patch.zone
    lines = worked(zone, (), system)
    if all(line.numbers for line in lines):
        return lines
    name, formula = zone.name, zone.formula
    beside = [p.zone for p in findings.patches if p.zone.name == name and p.zone.formula == formula]
    return worked(zone, beside, system)


def plain(parts: Expression, units: UnitSystem) -> str:
    """An expression as text, its quantities in the project's units."""
    return "".join(
        part if isinstance(part, str) else quantity(part.value, part.kind, units, 4) for part in parts
    )


def governing_words(findings: SnowFindings, units: UnitSystem) -> list[Text | Padding]:
    """Formula, numbers and result of every governing zone; what an earlier one has shown is not repeated.

    Parameters
    ----------
    findings : SnowFindings
    units : UnitSystem
        Of the project.
    """
    said: set[str] = set()
    text: list[Text | Padding] = []
    for patch in governing_zones(findings):
        zone = patch.zone
        where = findings.project.roof.planes.name[zone.plane]
        name = zone.name if zone.name.endswith(f" {where}") else f"{zone.name}, on {where}"
        cases = number_ranges([q + 1 for q in patch.cases])
        cases = f"case {cases}" if len(patch.cases) == 1 else f"cases {cases}"
        added = "; added to the snow it lies on" if _lies_on_snow(findings, patch) else ""
        text.append(Text(f"{patch.number}  {name}: {zone.clause}, {cases}{added}", style="bold"))
        words = [_line_words(line, units) for line in patch_lines(findings, patch, units.name)]
        fresh = [one for one in words if one not in said] or ["as above"]
        text += [Padding(Text(one), (0, 0, 0, 3), expand=False) for one in fresh]
        said.update(words)
    return text


def _lies_on_snow(findings: SnowFindings, patch: Patch) -> bool:
    """Whether another zone of its cases lies where it does; a drift of Annex B lies alone."""
    zone = patch.zone
    others = [
        other
        for q in patch.cases
        for other in findings.cases[q].case.zones
        if not patch.base and other is not zone and other.plane == zone.plane and other.name != zone.name
    ]
    below = shapely.intersection(shapely.union_all([one.polygon for one in others]), zone.polygon)
    return bool(below.area > 0.01 * zone.polygon.area)


def _line_words(line: Worked, units: UnitSystem) -> str:
    symbols = line.symbols.replace(" - ", " − ")
    if not line.numbers:
        return f"{symbols}: its numbers stand in snow.html"
    words = f"= {plain(line.numbers, units)}"
    if line.results:
        words += f" = {plain(line.results, units)}"
    if line.taken is not None:
        words += f"; a limit of the clause makes it {plain((line.taken,), units)}"
    return f"{symbols}{' ' if len(symbols) + len(words) < WIDE else chr(10)}{words}"
