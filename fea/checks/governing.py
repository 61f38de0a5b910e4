"""Which limit, target and case govern."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fea.checks.limits import Limit
from fea.checks.strips import panel_strips
from fea.checks.ties import EQUAL, first_largest
from roofmodel.project.load import Project


@dataclass(frozen=True)
class Governing:
    """The worst of one kind: which limit, target and case, and how much of the limit is used."""

    limit: int
    target: int
    case: int
    utilization: float


def worst_of(limits: tuple[Limit, ...], which: range | list[int], case: int) -> Governing | None:
    """Largest known utilization of one case."""
    best: Governing | None = None
    for index in which:
        use = np.nan_to_num(limits[index].utilization[case], nan=0.0)
        if not len(use):
            continue
        target = first_largest(use)
        # Of equals the later limit counts: "clamp combined" says more than one direction.
        if use[target] > 0.0 and (best is None or use[target] >= best.utilization * (1.0 - EQUAL)):
            best = Governing(index, target, case, float(use[target]))
    return best


def worst_of_cases(found: Iterable[Governing | None]) -> Governing | None:
    """Worst over the cases; the first of equals."""
    known = [g for g in found if g is not None]
    return known[first_largest(np.array([g.utilization for g in known]))] if known else None


def worst_attachment(limits: tuple[Limit, ...]) -> Governing | None:
    """Worst clamp or panel strip over all cases."""
    attachments = [i for i, limit in enumerate(limits) if limit.target in ("clamp", "panel strip")]
    cases = range(max((len(limits[i].utilization) for i in attachments), default=0))
    return worst_of_cases(worst_of(limits, attachments, q) for q in cases)


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
