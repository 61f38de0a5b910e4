"""The roof of an investigation: its case, that with the most drift, and rails with a splice parted."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.evidence.explanations import Roof, drift_share
from fea.failure.condense import condense
from fea.failure.roof_case import (
    Chosen,
    Laws,
    choose_case,
    hardest_reading,
    split_drift,
    stretch_of,
    undrifted,
    unit_forces,
    unwarped,
)
from fea.failure.study import RoofCase
from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.snow.cases import case_pressure_at

Array = NDArray[np.float64]

SPLICES = 8  # that are tried: those near what gave way first, the others spread evenly for the rest


def evidence_roof(
    analysis: Analysis, name: str | None, laws: Laws, near: NDArray[np.bool_] | None = None
) -> tuple[Roof, Chosen]:
    """Everything that explanations are drawn on.

    Parameters
    ----------
    analysis : Analysis
    name : str or None
        Snow case; the one that uses clamps most.
    laws : Laws
        Mean strength over nominal, what clamps hold past it, how hard snow runs onto lower rows.
    near : (c,) bool, optional
        Clamps whose splices are tried first.

    Raises
    ------
    InputError
        As `choose_case`.
    """
    layout = analysis.project.layout
    chosen = choose_case(analysis, name, laws)
    near = np.zeros(len(layout.clamp_name), dtype=bool) if near is None else near
    parted, parted_at, stands_for = _parted(analysis, chosen, laws, near)
    drifted = _most_drift(analysis, chosen, laws)
    return Roof(
        case=chosen.roof,
        drifted=drifted.roof,
        deeper=np.stack([_deeper(analysis, one.case) for one in (chosen, drifted)]),
        parted=parted,
        parted_at=parted_at,
        parted_share=stands_for,
        layout=layout,
        plane=layout.row_plane[layout.clamp_row],
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


def _parted(
    analysis: Analysis, chosen: Chosen, laws: Laws, near: NDArray[np.bool_]
) -> tuple[tuple[RoofCase, ...], tuple[str, ...], Array]:
    """The case with one splice parted each, the clamp nearest to it, and the share it stands for."""
    layout, project = analysis.project.layout, analysis.project
    beside = _clamp_beside(layout)
    count, is_near = len(layout.splice_s), near[beside] if len(beside) else np.zeros(0, dtype=bool)
    first = _evenly(np.flatnonzero(is_near), SPLICES - min(2, int((~is_near).sum())))
    rest = _evenly(np.flatnonzero(~is_near), SPLICES - len(first))
    tried = [
        (int(splice), len(group) / max(len(some), 1))
        for some, group in ((first, np.flatnonzero(is_near)), (rest, np.flatnonzero(~is_near)))
        for splice in some
    ]
    cases, names, share = [], [], []
    for splice, stands_for in sorted(tried):  # a handful
        row = int(layout.splice_row[splice])
        own = np.flatnonzero(layout.clamp_row == row)
        left = layout.clamp_s[own] < layout.splice_s[splice]
        if left.sum() < 2 or (~left).sum() < 2:
            continue
        apart = part_row(layout, splice)
        try:
            parts = undrifted(analysis.snow.cases[chosen.case]), analysis.snow.cases[chosen.case]
            held, found, _, ends = unit_forces(analysis, parts, chosen.roof.friction, chosen.reading, apart)
            lands = np.insert(chosen.roof.roof.lands, row, chosen.roof.roof.lands[row], axis=0)
            assembly = condense(apart, unwarped(project.rail), project.clamp, lands=lands, unzip=laws.unzip)
        except InputError:
            continue  # a piece that cannot stand by itself
        impact = np.asarray(chosen.roof.impact)
        cases.append(
            replace(
                chosen.roof,
                roof=assembly,
                held=held,
                snow=split_drift(found),
                stretch=stretch_of(apart),
                impact=np.insert(impact, row, impact[row], axis=0) if impact.ndim else chosen.roof.impact,
                ends=ends,
            )
        )
        names.append(layout.clamp_name[beside[splice]])
        share.append(stands_for / count)
    found = np.array(share)
    return tuple(cases), tuple(names), found / found.sum() if len(found) else found


def _clamp_beside(layout: Layout) -> NDArray[np.int64]:
    """Clamp nearest to each splice, (s,)."""
    apart = np.abs(layout.clamp_s - layout.splice_s[:, None])
    other = layout.clamp_row != np.asarray(layout.splice_row)[:, None]
    return np.asarray(np.where(other, np.inf, apart).argmin(axis=1)) if apart.size else np.zeros(0, dtype=int)


def _evenly(of: NDArray[np.int64], most: int) -> NDArray[np.int64]:
    """At most so many of them, spread evenly."""
    if not len(of) or most < 1:
        return of[:0]
    return of[np.unique(np.linspace(0, len(of) - 1, min(len(of), most)).round().astype(int))]


def part_row(layout: Layout, splice: int) -> Layout:
    """The layout with a row cut in two at one of its splices; clamps keep their order and names."""
    row, s = int(layout.splice_row[splice]), float(layout.splice_s[splice])
    start, end = layout.row_start[row], layout.row_end[row]
    cut = start + (end - start) * s / layout.row_length[row]

    def twice(values: NDArray[Any]) -> NDArray[Any]:
        return np.insert(values, row, values[row], axis=0)

    starts, ends, full = (twice(v).copy() for v in (layout.row_start, layout.row_end, layout.row_full))
    starts[row + 1], ends[row] = cut, cut
    full[row, 1] = full[row + 1, 0] = True  # nothing comes from beyond the cut
    beyond = (layout.clamp_row > row) | ((layout.clamp_row == row) & (layout.clamp_s > s))
    right = (layout.clamp_row == row) & (layout.clamp_s > s)
    kept = np.arange(len(layout.splice_s)) != splice
    on_right = (layout.splice_row == row) & (layout.splice_s > s)
    names = (
        *layout.row_name[: row + 1],
        f"{layout.row_name[row]} beyond",
        *layout.row_name[row + 1 :],
    )
    return replace(
        layout,
        row_name=names,
        row_plane=twice(layout.row_plane),
        row_start=starts,
        row_end=ends,
        row_full=full,
        clamp_row=layout.clamp_row + beyond,
        clamp_s=layout.clamp_s - np.where(right, s, 0.0),
        seam_angle=twice(layout.seam_angle),
        splice_row=(layout.splice_row + ((layout.splice_row > row) | on_right))[kept],
        splice_s=(layout.splice_s - np.where(on_right, s, 0.0))[kept],
        splice_kind=tuple(k for k, there in zip(layout.splice_kind, kept, strict=True) if there),
    )
