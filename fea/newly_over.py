"""Limits that a changed check exceeds where the check as it stands keeps them, of every kind."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from fea.checks.governing import Governing, governing_row
from fea.checks.limits import Limit
from roofmodel.project.load import Project

ATTACHMENTS = ("clamp", "panel strip")  # targets of limits


class Over(NamedTuple):
    """A limit that is exceeded at a target where it was kept.

    Attributes
    ----------
    use : float
        Its utilization then. [-]
    limit, at : str
        Its name and the target.
    row : str
        Row that the target is of; empty for arrays.
    before : float
        Largest utilization of that limit as it stands. [-]
    """

    use: float
    limit: str
    at: str
    row: str
    before: float


def newly_over(
    before: Sequence[Limit], after: Sequence[Limit], changed: Project, part: Mapping[str, float]
) -> tuple[Over, ...]:
    """The worst target of every limit that was kept there and is exceeded now, the worst first.

    Parameters
    ----------
    before, after : sequence of Limit
        As it stands and changed, of the same limits in the same order.
    changed : Project
        The project that `after` is of.
    part : mapping of str to float
        Of each limit by name, by which its utilization after counts. [-]
    """
    found = []
    for old, new in zip(before, after, strict=True):
        was = np.nan_to_num(old.utilization).max(axis=0, initial=0.0)
        known = dict(zip(old.target_name, was.tolist(), strict=True))
        use = part[new.name] * np.nan_to_num(new.utilization).max(axis=0, initial=0.0)
        kept = np.array([known.get(name, 0.0) <= 1.0 for name in new.target_name], dtype=bool)
        over = np.where(kept, use, 0.0)
        if not over.max(initial=0.0) > 1.0:
            continue
        target = int(over.argmax())
        row = ""
        if not new.target.startswith("solar"):
            at = governing_row((new,), Governing(0, target, 0, 0.0), changed)
            row = changed.layout.row_name[at]
        worst = float(was.max(initial=0.0))
        found.append(Over(float(over[target]), new.name, new.target_name[target], row, worst))
    return tuple(sorted(found, key=lambda one: -one.use))


def others_over(found: Iterable[Over], limits: Sequence[Limit]) -> tuple[Over, ...]:
    """Of these the worst of each limit that is none of an attachment, the worst first."""
    own = {limit.name for limit in limits if limit.target in ATTACHMENTS}
    worst: dict[str, Over] = {}
    for one in sorted(found, key=lambda one: -one.use):
        if one.limit not in own:
            worst.setdefault(one.limit, one)
    return tuple(worst.values())
