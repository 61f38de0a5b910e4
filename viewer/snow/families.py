"""Slices of one drift around a corner, said and drawn as one zone."""

from __future__ import annotations

from collections.abc import Iterable

from roofmodel.snow.corners import AROUND
from roofmodel.units import UnitSystem
from viewer.quantities import column, significant
from viewer.snow.findings import Patch, SnowFindings


def families(findings: SnowFindings, members: Iterable[int]) -> list[list[int]]:
    """Patches that are told together, heaviest pressure first: slices of one drift on one plane.

    Parameters
    ----------
    findings : SnowFindings
    members : iterable of int
        Indices of patches.

    Returns
    -------
    list of list of int
        In the order of their first members; all that are no slices stand alone.
    """
    groups: dict[object, list[int]] = {}
    for i in members:
        groups.setdefault(family(findings.patches[i], i), []).append(i)
    return [sorted(group, key=lambda i: -findings.patches[i].high) for group in groups.values()]


def family(patch: Patch, index: int) -> object:
    """What slices of one drift share; the index of any other patch."""
    zone = patch.zone
    if not zone.name.endswith(AROUND):
        return index
    return zone.name, zone.plane, zone.clause, zone.formula, zone.values, patch.cases


def told_number(findings: SnowFindings, index: int) -> int:
    """Number under which a patch is told: its own, or that of the first slice of its drift."""
    patch = findings.patches[index]
    key = family(patch, index)
    if key == index:
        return patch.number
    return next(p.number for i, p in enumerate(findings.patches) if family(p, i) == key)


def areas(values: list[float], kind: str, units: UnitSystem) -> list[str]:
    """Areas or loads as a column in which no small one reads as nothing."""
    texts = column(values, kind, units, 4)
    return [
        significant(units.convert(value, kind), 2) if value > 0.0 and not text.strip("0.,") else text
        for value, text in zip(values, texts, strict=True)
    ]
