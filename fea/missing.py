"""What one missing clamp does: the whole check run again without it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis, check_limits
from fea.checks.limits import Limit
from fea.moving import on_rigid_seams
from fea.newly_over import newly_over
from fea.sensitivity import softer, softer_limits
from roofmodel.errors import InputError
from roofmodel.layout import without_clamps
from roofmodel.memory import Memory


@dataclass(frozen=True)
class Missing:
    """The check without one clamp.

    Attributes
    ----------
    clamp : str
        The most used one of its row, taken out.
    before, after : float
        Largest utilization of the row's clamps with it and without; infinite where nothing holds the rail.
    worst : str
        The clamp that is used most then; empty where nothing holds the rail.
    newly : str
        What is exceeded without it and was not before, such as "clamp combined at E-02", or how the rail
        moves then; empty for nothing.
    """

    clamp: str
    before: float
    after: float
    worst: str
    newly: str


def missing_clamps(analysis: Analysis, memory: Memory | None = None) -> tuple[Missing, ...]:
    """Every row without its most used clamp, row by row; rows on one clamp are left out.

    Runs on rigid seams count by `softer`.
    """
    project, memory = on_rigid_seams(analysis.project), memory or Memory()
    part, parts = softer(analysis, project, memory), softer_limits(analysis, project, memory)
    layout = project.layout
    use = _use(analysis.limits)
    found = []
    for row in range(len(layout.row_name)):
        on = np.flatnonzero(layout.clamp_row == row)
        if len(on) < 2 or not use[on].max() > 0.0:
            continue
        gone = int(on[np.argmax(use[on])])
        without = replace(project, layout=without_clamps(layout, np.array([gone])))
        try:
            after = check_limits(without, memory)
        except InputError as error:  # two clamps held the rail, one does not
            how = str(error).split(": ", 1)[-1].split(";")[0]
            name, most = layout.clamp_name[gone], float(use[on].max())
            found.append(Missing(name, most, float("inf"), "", how))
            continue
        left = np.flatnonzero(without.layout.clamp_row == row)
        now, over = _use(after), newly_over(analysis.limits, after, without, parts)
        worst = int(left[np.argmax(now[left])])
        found.append(
            Missing(
                clamp=layout.clamp_name[gone],
                before=float(use[on].max()),
                after=part * float(now[left].max()),
                worst=without.layout.clamp_name[worst],
                newly=f"{over[0].limit} at {over[0].at}" if over else "",
            )
        )
    return tuple(found)


def _use(limits: Sequence[Limit]) -> NDArray[np.float64]:
    """Worst utilization of every clamp over its limits and cases; what is not verified counts as nothing."""
    by = [limit.utilization for limit in limits if limit.target == "clamp"]
    return np.asarray(np.nan_to_num(np.array(by), nan=0.0).max(axis=(0, 1)))
