"""What half-loaded spans would do to rails, beside the checks under full snow.

The clauses on partial loading (ASCE/SEI 7 7.5, NBCC 4.1.6.3) speak of roof members. A rail is a continuous
beam too, so what their patterns would bring is told row by row; the checks themselves take full snow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.continuous import Spans, beam_forces
from fea.checks.limits import Limit
from fea.checks.purlins import PARTIAL
from roofmodel.layout import Layout
from roofmodel.snow.cases import SnowCase

Array = NDArray[np.float64]

WINDOW, SHARED = 160, 20  # clamps looked at together, and shared by neighbors: farther spans do not matter
NEAR = 0.5  # no pattern doubles what a clamp uses (judgment)
SAME_PLACE = 1e-4  # clamps nearer than this are one support [m]


@dataclass(frozen=True)
class RailPartial:
    """Ratios to even load on all spans, on firm supports, splices as if continuous.

    Attributes
    ----------
    clamp : (c,) float
        Largest force of each clamp, 1 at least. [-]
    moment : (r,) float
        Largest moment of each row. [-]
    """

    clamp: Array
    moment: Array


def rail_partial(layout: Layout, standard: str) -> RailPartial | None:
    """Ratios of every clamp and row; None where the standard has no such clause."""
    rule = PARTIAL.get(standard)
    if rule is None:
        return None
    clamp, moment = np.ones(len(layout.clamp_row)), np.ones(len(layout.row_name))
    for row, length in enumerate(layout.row_length.tolist()):
        mine = np.flatnonzero(layout.clamp_row == row)
        for first in range(0, max(len(mine) - SHARED, 1), WINDOW - SHARED):
            some = mine[first : first + WINDOW]
            place = layout.clamp_s[some]
            if len(some) < 2 or np.diff(place).min() < SAME_PLACE:
                continue
            start = 0.0 if first == 0 else place[0]
            end = length if some[-1] == mine[-1] else place[-1]
            edges = np.unique(np.concatenate([[min(start, place[0]), max(end, place[-1])], place]))
            beam = Spans(edges, place)
            factor = rule(len(beam.loaded))[0][:, np.searchsorted(beam.loaded, beam.span)]
            found = beam_forces(beam, factor * np.diff(edges))
            # Even load: a clamp that its neighbors relieve is measured by half of its tributary length.
            near = np.diff(np.concatenate([[edges[0]], 0.5 * (place[1:] + place[:-1]), [edges[-1]]]))
            even = np.maximum(found.reaction[0], 0.5 * near)
            clamp[some] = np.maximum(clamp[some], (found.reaction / even).max(axis=0))
            largest = np.maximum(found.sagging, found.hogging)
            moment[row] = max(moment[row], float((largest / largest[0]).max()))
    return RailPartial(clamp, moment)


def partial_cautions(
    layout: Layout, cases: tuple[SnowCase, ...], together: Limit, standard: str
) -> tuple[str, ...]:
    """A caution where a clamp keeps its limit under full snow and would not with spans half loaded."""
    balanced = np.array([case.name.startswith("balanced") for case in cases], dtype=bool)
    kept = np.all(together.utilization <= 1.0, axis=0)
    if not balanced.any() or not np.any(kept & (together.utilization[balanced].max(axis=0) > NEAR)):
        return ()
    found = rail_partial(layout, standard)
    if found is None:
        return ()
    use = together.utilization[balanced].max(axis=0) * found.clamp
    over = np.flatnonzero(kept & (use > 1.0))
    if not len(over):
        return ()
    worst = int(over[np.argmax(use[over])])
    clause = "4.1.6.3" if standard.startswith("NBCC") else "7.5"
    return (
        f"With balanced snow left at half on some spans of the rail ({clause}, written for roof members), "
        f"{len(over)} of {len(use)} clamps would use more than their strength, {layout.clamp_name[worst]} "
        f"{100.0 * use[worst]:.0f} %: the checks take full snow on all spans.",
    )
