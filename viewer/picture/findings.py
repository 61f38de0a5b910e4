"""What pictures show of the results: the case, the worst of each clamp, what is called out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.limits import Limit
from fea.checks.strips import panel_strips
from fea.checks.ties import first_largest
from viewer.picture.standing import clamp_lines

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def clamp_utilization(analysis: Analysis) -> Array:
    """Worst utilization of each clamp over all cases and directions, (c,).

    NaN where a loaded direction has no strength, unless a known direction exceeds its limit already: then
    the clamp has failed whatever the missing strength may be.
    """
    together = [limit.utilization for limit in analysis.limits if limit.target == "clamp"]
    use = np.concatenate(together) if together else np.zeros((1, len(analysis.project.layout.clamp_name)))
    known = np.nan_to_num(use, nan=0.0).max(axis=0)
    return np.where(np.isnan(use).any(axis=0) & (known <= 1.0), np.nan, known)


def clamp_cases(analysis: Analysis) -> IntArray:
    """Case that gives each clamp its `clamp_utilization`, of equals the first, (c,)."""
    use = np.stack([limit.utilization for limit in analysis.limits if limit.target == "clamp"])
    known = np.nan_to_num(use, nan=0.0).max(axis=0)
    # What is not known comes before all that is kept, and after what is exceeded.
    unknown = np.isnan(use).any(axis=0) & (known <= 1.0)
    return np.argmax(np.where(unknown, np.nextafter(1.0, 2.0), known), axis=0)


def solar_limit(analysis: Analysis) -> Limit | None:
    """The limit of the clamps of solar arrays, line by line of clamps; None without arrays."""
    return next((limit for limit in analysis.limits if limit.target == "solar clamp"), None)


def solar_utilization(analysis: Analysis) -> Array:
    """Worst utilization over all cases of the hardest clamp on each one's seam, as `array_clamps`, (s,).

    NaN where a loaded one has no strength.
    """
    limit = solar_limit(analysis)
    if limit is None:
        return np.zeros(0)
    return np.asarray(limit.utilization.max(axis=0, initial=0.0)[clamp_lines(analysis.project.roof)])


def open_demand(limit: Limit) -> tuple[float, str]:
    """Largest demand among the targets without a resistance, and its name."""
    demand = np.where(np.isnan(limit.utilization), limit.demand, -np.inf).max(axis=0)
    unknown = np.flatnonzero(np.isnan(demand))
    target = int(unknown[0]) if len(unknown) else first_largest(demand)
    return float(demand[target]), limit.target_name[target]


def shown_case(analysis: Analysis) -> int:
    """Case of the governing attachment, else of the governing limit, else the heaviest."""
    governing = analysis.attachment or analysis.governing
    if governing is not None:
        return governing.case
    return int(np.argmax(analysis.force.cell_pressure @ analysis.graph.cells.plan_area))


def called_clamp(analysis: Analysis) -> int:
    """Clamp to point at: the governing one, or the one in the governing strip's name; -1 for none loaded."""
    governing = analysis.attachment
    if governing is None or analysis.limits[governing.limit].target == "clamp":
        return -1 if governing is None else governing.target
    strip, _ = panel_strips(analysis.project.layout)
    return int(np.flatnonzero(strip == governing.target)[0])


def row_case(analysis: Analysis, row: int) -> int:
    """Case with the largest known utilization of a row's clamps; the shown case where nothing is known."""
    on = analysis.project.layout.clamp_row == row
    use = [limit.utilization[:, on] for limit in analysis.limits if limit.target == "clamp"]
    worst = np.nan_to_num(np.concatenate(use, axis=1), nan=0.0).max(axis=1, initial=0.0)
    shown = shown_case(analysis)
    # The shown case first among equals, so that drawings agree with the picture.
    return shown if worst[shown] >= worst.max() * (1.0 - 1e-9) else int(np.argmax(worst))
