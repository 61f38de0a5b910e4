"""Layouts of rows by their paths, and what the full check says about them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from fea.analysis import check_limits
from fea.checks.limits import Limit
from fea.checks.strips import panel_strips
from fea.moving import Prepared
from fea.planning.ladder import Checked, Ladder, Path
from roofmodel.layout import Layout
from roofmodel.project.load import Project, with_rows
from roofmodel.project.schema import RowTable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

HEIGHT = "rail height"

Changes = Mapping[int, int | None]  # spacing of a place by its id; None leaves it out
NONE: Changes = {}


def path_rows(
    project: Project,
    choices: Sequence[Ladder],
    every: Sequence[int],
    paths: Sequence[Path],
    changes: Changes = NONE,
) -> tuple[tuple[RowTable, ...], list[tuple[int, int]]]:
    """Rows of one path for each group, named by plane and counted from below.

    `changes` leaves out single places, or gives them a spacing other than their option's.

    Returns
    -------
    tuple of RowTable
    list of (int, int)
        Group of each row, and which row of its path it belongs to.
    """
    rows: list[RowTable] = []
    home: list[tuple[int, int]] = []
    count: dict[tuple[int, int], int] = {}
    for group, (ladder, path) in enumerate(zip(choices, paths, strict=True)):
        for step, (level, option) in enumerate(path):
            kept = [place for place in ladder.places[level] if changes.get(id(place), 0) is not None]
            for place in kept:
                name = project.roof.planes.name[place.plane]
                number = count.setdefault((place.plane, level), 1 + sum(p == place.plane for p, _ in count))
                pieces = [p for p in kept if p.plane == place.plane]
                letter = "" if len(pieces) == 1 else "abcdefghijklmnopqrstuvwxyz"[pieces.index(place) % 26]
                spacing = changes.get(id(place), ladder.spacings[option, ladder.planes.index(place.plane)])
                update = {"name": f"{name}-{number}{letter}", "every": place.closer or every[spacing]}
                rows.append(place.row.model_copy(update=update))
                home.append((group, step))
    return tuple(rows), home


def checked(
    prepared: Prepared,
    choices: Sequence[Ladder],
    every: Sequence[int],
    paths: Sequence[Path],
    changes: Changes = NONE,
) -> list[Checked]:
    """Full check of one path for each group.

    Parameters
    ----------
    prepared : Prepared
    choices : sequence of Ladder
    every : sequence of int
        Clamp spacings.
    paths : sequence of Path
    changes : mapping, optional
        As for `path_rows`.

    Returns
    -------
    list of Checked
    """
    project = prepared.project
    rows, home = path_rows(project, choices, every, paths, changes)
    placed = with_rows(project, rows)
    limits, target = check_limits(placed, prepared.memory, stiff=True), project.table.plan.target
    use = row_use(limits, placed.layout, target)
    strips = strip_use(limits, placed.layout, target)
    by_limit = _limit_use(limits, placed.layout, target, np.array([g for g, _ in home]), len(choices))
    found = []
    for group, (ladder, path) in enumerate(zip(choices, paths, strict=True)):
        own = np.zeros((len(path), len(ladder.planes)))
        for u, (g, step), p in zip(use, home, placed.layout.row_plane, strict=True):
            if g == group:
                number = ladder.planes.index(int(p))
                own[step, number] = max(own[step, number], u)
        parts = tuple(tuple(map(float, one)) for one in own) if len(ladder.planes) > 1 else ()
        most = tuple(map(float, own.max(axis=1)))
        found.append(Checked(most, max(strips.get(p, 0.0) for p in ladder.planes), parts, by_limit[group]))
    return found


def row_use(limits: Sequence[Limit], layout: Layout, target: float) -> Array:
    """Largest share of its target that each row uses, (r,); what nobody gave a resistance for counts as 0.

    Solar arrays are left out: no row mends them. Limits of strength may use `target` of their resistance;
    those of service and the rail's height all of it.
    """
    use = np.zeros(len(layout.row_name))
    for limit in limits:
        if limit.target == "panel strip" or limit.target.startswith("solar"):
            continue
        worst = np.nan_to_num(limit.utilization, nan=0.0).max(axis=0, initial=0.0)
        np.maximum.at(use, target_rows(limit, layout), worst / allowed_share(limit, target))
    return use


def _limit_use(
    limits: Sequence[Limit], layout: Layout, target: float, group: IntArray, groups: int
) -> list[dict[str, float]]:
    """Largest share of its target that each limit uses in each group of rows, by its name."""
    found: list[dict[str, float]] = [{} for _ in range(groups)]
    for limit in limits:
        if limit.target.startswith("solar"):
            continue
        use = np.zeros(groups)
        worst = np.nan_to_num(limit.utilization, nan=0.0).max(axis=0, initial=0.0)
        np.maximum.at(use, group[target_rows(limit, layout)], worst / allowed_share(limit, target))
        for own, share in zip(found, use.tolist(), strict=True):
            own[limit.name] = max(own.get(limit.name, 0.0), share)
    return found


def allowed_share(limit: Limit, target: float) -> float:
    """Part of its resistance that a limit may use: all of it for service and the rail's height. [-]."""
    return 1.0 if limit.service or limit.name == HEIGHT else target


def target_rows(limit: Limit, layout: Layout) -> IntArray:
    """Row of each target of a limit; for a panel strip the first of its rows."""
    rows = np.arange(len(layout.row_name))
    if limit.target == "clamp":
        return layout.clamp_row
    if limit.target == "row":
        return rows
    if limit.target == "span":
        return np.repeat(rows, np.bincount(layout.clamp_row, minlength=len(rows)) + 1)
    first = np.unique(panel_strips(layout)[0], return_index=True)[1]
    return np.asarray(layout.clamp_row[first])


def strip_use(limits: Sequence[Limit], layout: Layout, target: float) -> dict[int, float]:
    """Largest share of its target that the panel strips of each plane use."""
    limit = next(one for one in limits if one.target == "panel strip")
    plane = layout.row_plane[target_rows(limit, layout)]
    worst = np.nan_to_num(limit.utilization, nan=0.0).max(axis=0, initial=0.0) / target
    return {int(p): float(worst[plane == p].max()) for p in np.unique(plane)}
