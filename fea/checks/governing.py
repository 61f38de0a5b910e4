"""Which limit, target and case govern."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fea.checks.limits import Limit
from fea.checks.strips import panel_strips
from fea.checks.ties import EQUAL, first_largest, first_largest_of_each
from roofmodel.project.load import Project


@dataclass(frozen=True)
class Governing:
    """The worst of one kind: which limit, target and case, and how much of the limit is used."""

    limit: int
    target: int
    case: int
    utilization: float


def worst_of(limits: tuple[Limit, ...], which: range | list[int]) -> tuple[Governing | None, ...]:
    """Largest known utilization of each case, None where nothing is loaded."""
    best: list[Governing | None] = [None] * len(limits[0].utilization)
    for index in which:
        use = np.nan_to_num(limits[index].utilization, nan=0.0)
        if not use.shape[1]:
            continue
        targets = first_largest_of_each(use)
        for case, (target, value) in enumerate(zip(targets, use[np.arange(len(use)), targets], strict=True)):
            known = best[case]
            # Of equals the later limit counts: "clamp combined" says more than one direction.
            if value > 0.0 and (known is None or value >= known.utilization * (1.0 - EQUAL)):
                best[case] = Governing(index, int(target), case, float(value))
    return tuple(best)


def worst_of_cases(found: Iterable[Governing | None]) -> Governing | None:
    """Worst over the cases; the first of equals."""
    known = [g for g in found if g is not None]
    return known[first_largest(np.array([g.utilization for g in known]))] if known else None


def worst_attachment(limits: tuple[Limit, ...]) -> Governing | None:
    """Worst clamp or panel strip over all cases."""
    attachments = [i for i, limit in enumerate(limits) if limit.target in ("clamp", "panel strip")]
    return worst_of_cases(worst_of(limits, attachments))


def governing_row(analysis_limits: tuple[Limit, ...], governing: Governing, project: Project) -> int:
    """Row that a governing clamp, span, strip or row belongs to."""
    layout = project.layout
    limit = analysis_limits[governing.limit]
    if limit.target == "clamp":
        return int(layout.clamp_row[governing.target])
    if limit.target == "row":
        return governing.target
    if limit.target == "panel strip":
        strip, _ = panel_strips(layout)
        return int(layout.clamp_row[np.flatnonzero(strip == governing.target)[0]])
    first = np.searchsorted(layout.clamp_row, np.arange(len(layout.row_name))) + np.arange(
        len(layout.row_name)
    )
    return int(np.searchsorted(first, governing.target, side="right")) - 1
