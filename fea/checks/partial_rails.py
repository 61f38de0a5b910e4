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


@dataclass(frozen=True)
class PartialUse:
    """The most used clamp or rail with spans half loaded.

    Attributes
    ----------
    use : float
        Of the limit then. [-]
    full : float
        Under balanced snow on all spans. [-]
    limit, target : str
    """

    use: float
    full: float
    limit: str
    target: str


def partial_use(
    layout: Layout, cases: tuple[SnowCase, ...], limits: tuple[Limit, ...], found: RailPartial
) -> dict[str, PartialUse]:
    """The highest use of clamps ("clamp") and of rails ("span") with spans half loaded, under balanced snow.

    As in `partial_cautions`, the whole use grows with the force or the moment.
    """
    balanced = np.array([case.name.startswith("balanced") for case in cases], dtype=bool)
    if not balanced.any():
        return {}
    worst: dict[str, PartialUse] = {}
    pieces = np.repeat(np.arange(len(layout.row_name)), np.bincount(layout.clamp_row) + 1)
    factor = {"clamp": found.clamp, "span": found.moment[pieces]}
    for limit in limits:
        if limit.target not in factor or limit.service or not len(limit.target_name):
            continue
        full = np.nan_to_num(limit.utilization[balanced]).max(axis=0)
        use = full * factor[limit.target]
        k = int(np.argmax(use))
        if limit.target not in worst or use[k] > worst[limit.target].use:
            worst[limit.target] = PartialUse(float(use[k]), float(full[k]), limit.name, limit.target_name[k])
    return worst


def partial_cautions(
    layout: Layout, cases: tuple[SnowCase, ...], limits: tuple[Limit, ...], standard: str
) -> tuple[str, ...]:
    """A caution naming rows that keep a strength limit under full snow and would not with spans half loaded.

    Clamps by the share of each clamp's force, rails by that of their row's moment.
    """
    balanced = np.array([case.name.startswith("balanced") for case in cases], dtype=bool)
    if not balanced.any():
        return ()
    pieces = np.repeat(np.arange(len(layout.row_name)), np.bincount(layout.clamp_row) + 1)
    of_row = {"clamp": layout.clamp_row, "span": pieces}
    looked = [
        (limit, of_row[limit.target], np.all(limit.utilization <= 1.0, axis=0), limit.utilization[balanced])
        for limit in limits
        if limit.target in of_row and not limit.service
    ]
    if not any(np.any(kept & (use.max(axis=0) > NEAR)) for _, _, kept, use in looked):
        return ()
    found = rail_partial(layout, standard)
    if found is None:
        return ()
    worst: dict[int, tuple[float, str]] = {}
    for limit, rows, kept, use in looked:
        share = use.max(axis=0) * (found.clamp if limit.target == "clamp" else found.moment[rows])
        for k in np.flatnonzero(kept & (share > 1.0)).tolist():
            place = f"{limit.name}, {limit.target_name[k]}"
            worst[int(rows[k])] = max(worst.get(int(rows[k]), (0.0, "")), (float(share[k]), place))
    if not worst:
        return ()
    clause = "4.1.6.3" if standard.startswith("NBCC") else "7.5"
    told = "; ".join(
        f"{layout.row_name[row]} {100.0 * share:.0f} % ({place})"
        for row, (share, place) in sorted(worst.items())
    )
    return (
        f"With balanced snow left at half on some spans of the rail ({clause}, written for roof members), "
        f"{len(worst)} of {len(layout.row_name)} rows would use more than their strength: {told}. The checks "
        "take full snow on all spans.",
    )
