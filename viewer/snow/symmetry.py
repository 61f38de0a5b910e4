"""Cases of round roofs that are one another turned: one of them stands for all."""

from __future__ import annotations

import numpy as np

from roofmodel.surface import RoofSurface
from viewer.report.tables import number_ranges
from viewer.snow.findings import CaseFinding, SnowFindings

SAME = 0.01  # of the largest pressure, of the load and of that on any plane
FEWEST = 3  # cases that are told as one
_WIND = ", wind toward "


def dome_planes(roof: RoofSurface) -> frozenset[int]:
    """Facets of domes and cones."""
    return frozenset(int(plane) for dome in roof.domes for plane in dome.plane)


def stands_for(findings: SnowFindings) -> dict[int, tuple[int, ...]]:
    """Cases that are drawn and worked out, and others which are those turned about the crown.

    Returns
    -------
    dict of int to tuple of int
        Indices of cases, in order; the one with the greatest load stands for the rest.
    """
    cases = findings.cases
    groups: list[list[int]] = []
    by_name: dict[str, list[list[int]]] = {}
    for index, case in enumerate(cases):
        if not findings.project.roof.domes or _WIND not in case.case.name:
            groups.append([index])
            continue
        known = by_name.setdefault(_stem(case), [])
        group = next((one for one in known if _alike(cases[one[0]], case)), None)
        if group is None:
            group = []
            known.append(group)
            groups.append(group)
        group.append(index)
    found: dict[int, tuple[int, ...]] = {}
    for group in groups:
        if len(group) < FEWEST:
            found |= dict.fromkeys(group, ())
            continue
        best = max(group, key=lambda index: (round(cases[index].total, 3), -index))
        found[best] = tuple(index for index in group if index != best)
    return dict(sorted(found.items()))


def turned_words(findings: SnowFindings, others: tuple[int, ...]) -> str:
    """That other cases are one turned, by their winds; empty for none."""
    if not others:
        return ""
    names = (findings.cases[index].case.name for index in others)
    winds = ", ".join(name.partition(_WIND)[2].partition(",")[0] for name in names)
    return f"By symmetry also toward {winds} (cases {number_ranges([index + 1 for index in others])})."


def _stem(case: CaseFinding) -> str:
    before, _, after = case.case.name.partition(_WIND)
    return before + "".join(after.partition(",")[1:])


def _alike(one: CaseFinding, other: CaseFinding) -> bool:
    loads = np.sort(one.plane_force), np.sort(other.plane_force)
    return bool(
        abs(one.largest - other.largest) <= SAME * one.largest
        and abs(one.total - other.total) <= SAME * one.total
        and np.abs(loads[0] - loads[1]).max() <= SAME * loads[0].max()
    )
