"""Rows at other distances from the eave, for what such a change does to the answer."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from roofmodel.errors import InputError
from roofmodel.project.load import Project, with_rows
from roofmodel.project.placement import line_pieces
from roofmodel.project.row_edges import end_on_edge
from roofmodel.project.schema import RowTable

Ups = Sequence[float]
NO_SPLICES: dict[str, object] = {"splice": [], "splice_every": None, "splice_even": False}


def moved_rows(project: Project, ways: Sequence[Ups]) -> tuple[list[Project], dict[str, str]]:
    """The project with its rows at each of several distances from the eave.

    A row that cannot stand at one of them, such as one that would meet a dormer, stays where it is in all.

    Parameters
    ----------
    project : Project
    ways : sequence of (n_rows,) sequences of float
        Distances of all rows from the eave. [m]

    Returns
    -------
    list of Project, dict of str to str
        One for each way; rows that stay by name, and why.

    Raises
    ------
    InputError
        No row can be moved, or they cannot stand there together.
    """
    try:
        return [with_ups(project, ups) for ups in ways], {}
    except InputError as error:
        together = error
    now = [row.up for row in project.table.row]
    why: dict[int, str] = {}
    for i in range(len(now)):
        try:
            for ups in ways:
                with_ups(project, [*now[:i], ups[i], *now[i + 1 :]])
        except InputError as error:
            why[i] = str(error)
    if len(why) in (0, len(now)):
        raise together
    left = [[now[i] if i in why else up for i, up in enumerate(ups)] for ups in ways]
    return [with_ups(project, ups) for ups in left], {project.table.row[i].name: why[i] for i in why}


def with_ups(project: Project, ups: Sequence[float]) -> Project:
    """Rows at other distances from the eave, cut where the plane is narrower there. [m].

    Their splices keep their shares of the rail: no splice and no stub comes or goes with its length.
    """
    moved = []
    for row, up in zip(project.table.row, ups, strict=True):
        ends: dict[str, float | None] = {"start": row.start, "end": row.end}
        if row.plane is not None and (row.start is not None or row.end is not None):
            plane = project.roof.planes.name.index(row.plane)
            pieces = line_pieces(project.roof, plane, up)
            left = pieces[0][0] if pieces else 0.0
            ends |= _cut_to(_at_edge(project, row, plane, up, pieces), left, row)
        moved.append(row.model_copy(update={"up": up, **ends, **NO_SPLICES}))
    placed = with_rows(project, moved)
    if not len(project.layout.splice_s):
        return placed
    share = placed.layout.row_length / project.layout.row_length
    spliced = [
        after.model_copy(
            update={
                "splice": [one.model_copy(update={"at": one.at * part}) for one in row.splice],
                "splice_every": None if row.splice_every is None else row.splice_every * part,
                "splice_even": row.splice_even,
            }
        )
        for row, after, part in zip(project.table.row, moved, share.tolist(), strict=True)
    ]
    return with_rows(project, spliced)


def _at_edge(
    project: Project, row: RowTable, plane: int, up: float, pieces: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Of the pieces of a plane at a height, the one that ends at the edge that a row stays at; else all."""
    line = np.array([0.0, up]), np.array([1.0, 0.0])
    for side, name in enumerate((row.start_at, row.end_at)):
        if name is not None and pieces:
            field = f'row "{row.name}".{("start_at", "end_at")[side]}'
            place = end_on_edge(project.roof, plane, line, [piece[side] for piece in pieces], name, field)
            return [piece for piece in pieces if piece[side] == place]
    return pieces


def _cut_to(pieces: Sequence[tuple[float, float]], left: float, row: RowTable) -> dict[str, float | None]:
    """Ends of a row within the piece of plane that holds most of it, counted from the first piece. [m]."""
    if not pieces:
        return {}
    start, end, edge = row.start, row.end, row.edge_distance
    low, high = -np.inf if start is None else left + start, np.inf if end is None else left + end
    a, b = max(pieces, key=lambda piece: min(high, piece[1]) - max(low, piece[0]))
    return {
        "start": None if start is None else max(start, a + edge - left),
        "end": None if end is None else min(end, b - edge - left),
    }
