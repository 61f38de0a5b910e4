"""Clamps of planned rows only where their grips lie on the sheet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fea.checks.grip_edges import grips_at_edges
from fea.planning.places import Levels
from roofmodel.project.load import Project
from roofmodel.project.placement import place_rows
from roofmodel.units import SYSTEMS

LEAST_SEAMS = 2  # that a row must keep to stand


def with_grips_on_sheets(project: Project, levels: Levels) -> Levels:
    """Places that leave out seams where a grip would reach over an edge, or nearly (`fea.checks.grip_edges`).

    A row that would keep fewer than two seams stays as it is; the check tells of its grips.

    Parameters
    ----------
    project : Project
    levels : Levels

    Returns
    -------
    Levels
    """
    plain = {"every": 1, "cantilever": None}
    rows = [place.row.model_copy(update=plain) for level in levels.places for place in level]
    units = SYSTEMS[project.table.project.units]
    layout = place_rows(project.roof, rows, project.table.plane, project.panel, units)
    bad = np.logical_or(*grips_at_edges(replace(project, layout=layout)))
    count = np.bincount(layout.clamp_row, minlength=len(rows))
    over = np.bincount(layout.clamp_row, weights=bad, minlength=len(rows)).astype(np.int64)
    clears = iter(((over > 0) & (count - over >= LEAST_SEAMS)).tolist())
    unit = 0.0254 if project.table.project.units == "US" else 0.001
    away = float(np.ceil(0.5 * project.clamp.grip_length / unit - 1e-6) * unit)
    places = tuple(
        tuple(
            replace(place, row=place.row.model_copy(update={"clamp_edge_distance": away}))
            if next(clears)
            else place
            for place in level
        )
        for level in levels.places
    )
    return replace(levels, places=places)
