"""Clamps whose grip reaches over the edge of the sheet, or nearly."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.project.load import Project
from roofmodel.project.row_edges import ends_of_sheet
from roofmodel.units import SYSTEMS

SLACK = 1e-3  # a grip that ends at the edge by less than this does not reach over it [m]
NAMED = 4  # clamps of a row named one by one


def grips_at_edges(project: Project) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Clamps at edges where the sheet ends: all but pitch breaks, which sheets may run over.

    Judgment, no source: tests are made on seams that run on, so a grip must lie on the sheet with its whole
    length, and as far from an edge beside it as from one at its end.

    Returns
    -------
    over : (c,) bool
        The grip, `clamp.grip_length` along the seam about its middle, crosses an edge.
    near : (c,) bool
        It does not, but its middle is nearer to an edge than half of that length.
    """
    roof, layout, half = project.roof, project.layout, 0.5 * project.clamp.grip_length
    plane = layout.row_plane[layout.clamp_row]
    angle = layout.seam_angle[layout.clamp_row]
    reach = (half - SLACK) * np.stack([np.sin(angle), np.cos(angle)], axis=1)
    away, cut = np.full(len(plane), np.inf), np.zeros(len(plane), dtype=bool)
    for one in np.unique(plane).tolist():
        on, edges = plane == one, ends_of_sheet(roof, one)
        uv = layout.clamp_uv[on]
        grip = shapely.linestrings(np.stack([uv - reach[on], uv + reach[on]], axis=1))
        away[on] = shapely.distance(shapely.points(uv), edges)
        cut[on] = shapely.intersects(grip, edges)
    over = cut | (away < SLACK)
    return over, (away < half - SLACK) & ~over


def grip_words(project: Project) -> list[str]:
    """One sentence on clamps at edges of the sheet; none where all grips lie well on it."""
    over, near = grips_at_edges(project)
    units, grip = SYSTEMS[project.table.project.units], project.clamp.grip_length
    length, half = units.text(grip, "size"), units.text(0.5 * grip, "size")
    parts = [
        f"{words} {_named(project, which)}"
        for which, words in (
            (over, "reaches over it at"),
            (near, "stands nearer to it than half its length at"),
        )
        if which.any()
    ]
    if not parts:
        return []
    shifts = any(row.every > 1 or row.first > 1 for row in project.table.row)
    counted = "every and first count from there on, so that all clamps may move; " if shifts else ""
    return [
        "Clamps at the edge of their sheet, where their strength is not known, as they are tested on seams "
        f"that run on: the grip, {length} long, {'; it '.join(parts)}. Give these rows "
        f'clamp_edge_distance = "{half}" (no clamp on seams nearer to an edge; {counted}and check again: the '
        "rail then hangs out farther), or move them."
    ]


def _named(project: Project, which: NDArray[np.bool_]) -> str:
    layout, found = project.layout, []
    for row in np.unique(layout.clamp_row[which]).tolist():
        on = layout.clamp_row == row
        names = [layout.clamp_name[i] for i in np.flatnonzero(which & on)]
        many = f"{len(names)} of {int(on.sum())} clamps of {layout.row_name[row]}"
        found.append(many if len(names) > NAMED else ", ".join(names))
    return ", ".join(found)
