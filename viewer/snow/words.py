"""What table and page of the snow both say."""

from __future__ import annotations

from roofmodel.snow.cases import LoadLevel
from roofmodel.snow.level_words import level_words
from roofmodel.units import UnitSystem
from viewer.quantities import column, quantity
from viewer.report.tables import number_ranges
from viewer.snow.findings import AGREE, SnowFindings


def pressure_words(findings: SnowFindings) -> tuple[str, ...]:
    """What the pressures mean; which cases where that differs."""
    levels: dict[LoadLevel, list[int]] = {}
    for number, case in enumerate(findings.cases):
        levels.setdefault(case.case.level, []).append(number + 1)
    if len(levels) == 1:
        return (f"The pressures are {level_words(next(iter(levels)))}.",)
    return tuple(
        f"{'Case' if len(cases) == 1 else 'Cases'} {number_ranges(cases)}: {level_words(level)}."
        for level, cases in levels.items()
    )


def pressure_range(low: float, high: float, units: UnitSystem) -> str:
    """One pressure, or the larger and the smaller, such as "5.54 to 0 kN/m²"."""
    if high - low <= 1e-6 * max(abs(high), 1.0):
        return quantity(high, "pressure", units)
    numbers = column([high, max(low, 0.0)], "pressure", units)
    if numbers[0] == numbers[1]:
        return f"{numbers[0]} {units.label('pressure')}"
    least = numbers[1] if numbers[1].strip("0.") else "0"
    return f"{numbers[0]} to {least} {units.label('pressure')}"


def proof_words(findings: SnowFindings) -> str:
    """Whether the two integrals of every case agree."""
    worst = max((case.difference for case in findings.cases), default=0.0)
    if not findings.proven:
        return (
            f"SELF-CHECK FAILED: zones by their corners and planes by the analysis differ by {worst:.1e} of "
            f"a case's total, bar {AGREE:.0e}"
        )
    return (
        f"Self-check: the total of every case by the corners of its zones and by the analysis on the planes "
        f"agrees to {max(worst, 1e-15):.0e} or better"
    )
