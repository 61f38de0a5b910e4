"""How far rows stand apart on each plane, by every stretch across it: what `plan.most_spacing` allows.

The levels of a group keep the rule where every plane has a row on each of them. Single pieces may not be
there: no room for one, or left out since the rest passes without. So it is measured on the rows as placed.
"""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.project.load import Project
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]

NARROW = 0.05  # stretches across a plane that are less wide do not count [m]
HAIR = 1e-6  # [m]


class Gap(NamedTuple):
    """Rows next to one another on a stretch of a plane; `upper` is -1 for the top of the plane. [m]."""

    plane: int
    lower: int
    upper: int
    height: float
    width: float


def gaps(project: Project, layout: Layout) -> list[Gap]:
    """All distances up the slope from a row to the next one above it, or to where its plane ends.

    Parameters
    ----------
    project : Project
    layout : Layout
        Rows as placed.

    Returns
    -------
    list of Gap
        One for each stretch across a plane on which the same rows follow one another.
    """
    up = np.minimum(layout.row_start[:, 1], layout.row_end[:, 1])
    found = []
    for plane, middle, width, chain in _stretches(layout):
        for lower, upper in zip(chain, [*chain[1:], -1], strict=True):
            height = _reach(project, plane, middle, float(up[lower]))
            if upper >= 0 and height < up[upper] - up[lower] - HAIR:
                continue  # an opening between them
            height = float(up[upper] - up[lower]) if upper >= 0 else height
            found.append(Gap(plane, lower, upper, height, width))
    return found


def most_rows(layout: Layout) -> int:
    """Largest number of rows one above the other."""
    return max((len(chain) for *_, chain in _stretches(layout)), default=0)


def _stretches(layout: Layout) -> list[tuple[int, float, float, list[int]]]:
    """Plane, middle and width of each stretch across it with the same rows, and these from below. [m]."""
    ends = np.sort(np.stack([layout.row_start[:, 0], layout.row_end[:, 0]], axis=1), axis=1)
    up = np.minimum(layout.row_start[:, 1], layout.row_end[:, 1])
    found = []
    for plane in np.unique(layout.row_plane).tolist():
        rows = np.flatnonzero(layout.row_plane == plane)
        for a, b in itertools.pairwise(np.unique(ends[rows]).tolist()):
            if b - a < NARROW:
                continue
            middle = 0.5 * (a + b)
            over = rows[(ends[rows, 0] < middle) & (ends[rows, 1] > middle)]
            found.append((plane, middle, b - a, over[np.argsort(up[over])].tolist()))
    return found


def _reach(project: Project, plane: int, across: float, up: float) -> float:
    """How far the plane goes on straight up the slope. [m]."""
    outline = project.roof.planes.outline[plane]
    top = outline.bounds[3] + 1.0
    cut = shapely.intersection(outline, shapely.LineString([(across, up), (across, top)]))
    for part in shapely.get_parts(cut):
        v = shapely.get_coordinates(part)[:, 1]
        if v.min() <= up + HAIR:
            return float(v.max() - up)
    return 0.0


def too_far(project: Project, layout: Layout) -> float:
    """By how much rows stand farther apart than `plan.most_spacing`, over the widths where they do. [m^2]."""
    most = project.table.plan.most_spacing
    if most is None:
        return 0.0
    return sum(max(one.height - most, 0.0) * one.width for one in gaps(project, layout))


def wide_gaps(project: Project, layout: Layout) -> list[Gap]:
    """Rows farther apart than `plan.most_spacing`, the widest stretch of each pair."""
    most = project.table.plan.most_spacing
    if most is None:
        return []
    found: dict[tuple[int, int], Gap] = {}
    for one in gaps(project, layout):
        known = found.get((one.lower, one.upper))
        if one.upper >= 0 and one.height > most + HAIR and (known is None or one.height > known.height):
            found[one.lower, one.upper] = one
    return list(found.values())


def too_wide_words(project: Project) -> tuple[str, ...]:
    """Rows that stand farther apart than the table plan allows, in words."""
    found = wide_gaps(project, project.layout)
    if not found:
        return ()
    units, names = SYSTEMS[project.table.project.units], project.layout.row_name
    most = units.text(project.table.plan.most_spacing or 0.0, "length")
    parts = [f"{names[g.lower]} to {names[g.upper]} {units.text(g.height, 'length')}" for g in found]
    return (
        f"plan.most_spacing ({most}) is NOT KEPT: {', '.join(parts)}. No row has room, holds or is needed "
        "between them for the limits; place one by hand where the rule must hold.",
    )
