"""Where the snow of a piece of a row comes down once the piece is gone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.failure.splices import Splices, part_rows
from roofmodel.layout import Layout, rows_alone
from roofmodel.sliding.landed import with_landed
from roofmodel.sliding.thrust import RowForce, slide
from roofmodel.sliding.tributary import clamp_shares
from roofmodel.snow.cases import SnowCase

Array = NDArray[np.float64]

TINY = 1e-9  # share of what a piece held that is rounding


def landing_shares(
    analysis: Analysis, cases: tuple[SnowCase, ...], forces: tuple[RowForce, ...], splices: Splices | None
) -> list[Array]:
    """Push at rest on each clamp when a piece of a row is gone over what it held, (p, c) for each case.

    Pieces are rows, cut at the splices that can part: what a piece held comes onto what is below it, not
    along its whole row. The slide of the cases without the piece against the slide with it, the other rows
    whole. What goes over an edge and lands on a lower roof pushes there with its part down that slope
    (`with_landed`).
    """
    project = analysis.project
    options, c = project.slide, len(project.layout.clamp_s)
    rows = len(project.layout.row_name)
    row_of = (
        np.arange(rows)
        if splices is None
        else np.repeat(np.arange(rows), 1 + np.bincount(splices.row, minlength=rows))
    )
    shares = np.zeros((len(cases), len(row_of), c))

    def pushes(layout: Layout) -> Array:
        graph, force = slide(project.roof, cases, layout, options)
        return _pushes(layout, with_landed(project.roof, layout, graph, force, cases, options))

    as_is = np.stack([_pushes(project.layout, force)[-1] for force in forces])
    for row in range(rows) if rows > 1 else ():
        layout, with_all = project.layout, as_is
        pieces = np.flatnonzero(row_of == row)
        if splices is not None and len(pieces) > 1:
            layout = part_rows(layout, splices.origin[splices.row == row])
            with_all = pushes(layout)
        for nth, piece in enumerate(pieces):  # one slide for each
            gone = row + nth
            own = layout.clamp_row == gone
            fewer = pushes(rows_alone(layout, np.arange(len(layout.row_name)) != gone))
            more = np.maximum(fewer - with_all[:, ~own], 0.0)
            was = with_all[:, own].sum(axis=1)
            share = np.divide(more, was[:, None], out=np.zeros_like(more), where=was[:, None] > 0.0)
            share[share < TINY] = 0.0
            shares[:, piece, ~own] = share
    return list(shares)


def _pushes(layout: Layout, force: RowForce) -> Array:
    """Tributary force of every clamp with what lands above it, (q, c). [N]."""
    return clamp_shares(layout, replace(force, thrust=force.thrust + force.aside))
