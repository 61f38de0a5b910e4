"""The roof of an investigation: its case, that with the most drift, and the splices of its rails."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.rail_section import yield_moments
from fea.evidence.causes import Roof, drift_share
from fea.failure.assembled import PARTS
from fea.failure.roof_case import (
    Chosen,
    Laws,
    choose_case,
    hardest_reading,
    split_drift,
    undrifted,
    unit_forces,
)
from fea.failure.splice_laws import SpliceStrength
from fea.failure.splices import Splices, nearest_clamps
from roofmodel.hardware import Rail
from roofmodel.layout import Layout
from roofmodel.snow.cases import case_pressure_at

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOMENT_SHARE = 0.25  # of the rail's yield moment beside a clamp's strength, where neither is known [-]


def evidence_roof(analysis: Analysis, name: str | None, laws: Laws) -> tuple[Roof, Chosen]:
    """Everything that explanations are drawn on.

    Parameters
    ----------
    analysis : Analysis
    name : str or None
        Snow case; the one that uses clamps most.
    laws : Laws
        Mean strength over nominal, what clamps and splices hold past it, how hard snow runs onto lower rows.

    Raises
    ------
    InputError
        As `choose_case`.
    """
    project, layout = analysis.project, analysis.project.layout
    known = laws.splices is not None
    if not known:
        strength = laws.mean_strength * float(project.clamp.nominal[0])
        laws = replace(laws, splices=unknown_splices(project.rail, strength))
    chosen = choose_case(analysis, name, laws)
    splices = chosen.roof.roof.splices
    drifted = _most_drift(analysis, chosen, laws)
    return Roof(
        case=chosen.roof,
        drifted=drifted.roof,
        deeper=np.stack([_deeper(analysis, one.case) for one in (chosen, drifted)]),
        splice_at=np.zeros(0, dtype=np.int64) if splices is None else nearest_clamps(layout, splices),
        may_part=np.zeros(0, dtype=bool) if splices is None else _firm(layout, splices),
        splices_known=known,
        layout=layout,
        plane=layout.row_plane[layout.clamp_row],
        partial=bool(np.any(analysis.force.end_bound > 0.0)),
    ), chosen


def _deeper(analysis: Analysis, case: int) -> Array:
    """What the drift of a case adds to the depth at each clamp, over the depth without it, (c,)."""
    layout, snow = analysis.project.layout, analysis.snow.cases[case]
    plane = layout.row_plane[layout.clamp_row]
    still, whole = (case_pressure_at(one, layout.clamp_xy, plane) for one in (undrifted(snow), snow))
    return np.asarray(np.divide(whole - still, still, out=np.zeros_like(still), where=still > 0.0))


def _most_drift(analysis: Analysis, chosen: Chosen, laws: Laws) -> Chosen:
    """The case that drifts most onto the rows, one of a few that have more zones than layers."""
    best, most = None, drift_share(chosen.roof.usual_snow)
    for q, case in enumerate(analysis.snow.cases):  # cases of one roof
        still = undrifted(case)
        if q == chosen.case or len(still.zones) == len(case.zones):
            continue
        reading, _ = hardest_reading(analysis, q)
        _, found, _, _ = unit_forces(analysis, (still, case), chosen.roof.friction, reading)
        share = drift_share(split_drift(found)[0])
        if share > most:
            best, most = case.name, share
    if best is None:
        return chosen
    return choose_case(analysis, best, laws)


def unknown_splices(rail: Rail, clamp_strength: float) -> SpliceStrength:
    """Splices of which the project says nothing: what `SPLICE_SHARE` of the explanations is taken of.

    A clamp's mean strength for forces, and the moment at which the rail yields.
    """
    moment = yield_moments(rail.material.yield_strength, rail.section)
    capacity = np.concatenate([np.full(3, clamp_strength), [np.inf], MOMENT_SHARE * moment])
    return SpliceStrength(capacity, np.zeros(6), np.full(6, PARTS, dtype=np.int64), 0.0)


def _firm(layout: Layout, splices: Splices) -> NDArray[np.bool_]:
    """Splices with two clamps or more on both sides, (s,): others would have been noticed."""
    first = np.searchsorted(layout.clamp_row, splices.row, side="left")
    last = np.searchsorted(layout.clamp_row, splices.row, side="right")
    return np.asarray((splices.place - first >= 2) & (last - splices.place >= 2))
