"""What an analysis says of each row, for report, terminal, workbook and app alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.limits import Limit
from fea.checks.strips import panel_strips
from roofmodel.units import UnitSystem
from viewer.undrifted import undrifted_forces

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

NEARLY = 0.9  # of the largest force per meter acts on all of the stretch that is told for it [-]
ALL_ALONG = 0.9  # of a row, from where such a stretch is the row [-]
HAIR = 1e-6  # places closer than this are one [m]
SLIGHT = 1e-3  # of a row's force, below which what comes from beyond its ends is not told [-]

OVER = 0.1  # shortest stretch that a force per meter is told over (judgment): a shorter one is no load [m]

PEAK_NOTE = (
    "on that stretch of the row only (at least 90 % of it; told over no less than 0.1 m, 4 in), no load to "
    "design the row by"
)


@dataclass(frozen=True)
class RowLine:
    """Force on one row and the worst that belongs to it, SI.

    `peak` and `peak_case` are the largest force per meter over any `OVER` of the row; it acts from
    `peak_at[0]` to `peak_at[1]` along the row (nearly, see `NEARLY`) and is no load of the whole row.
    `total`, `mean`, `own` and `total_case` are those of the case with the largest total; `own` comes from the
    row's own plane. `undrifted` and `drifted` are the largest totals of undrifted snow (EN 1991-1-3 6.4) and
    of all other cases, NaN by other standards. `beyond` is the most that may come from beyond the ends, on
    top of any of these.
    """

    name: str
    plane: str
    length: float
    clamps: int
    peak: float
    peak_case: str
    peak_at: tuple[float, float]
    total: float
    mean: float
    own: float
    total_case: str
    worst: str
    utilization: float
    unverified: bool
    undrifted: float
    drifted: float
    beyond: float


def target_rows(analysis: Analysis, limit: Limit) -> tuple[IntArray, IntArray]:
    """Targets of a limit and the rows they belong to, in pairs; a panel strip belongs to every row on it."""
    layout = analysis.project.layout
    rows = np.arange(len(layout.row_name))
    if limit.target == "clamp":
        owner = np.asarray(layout.clamp_row)
    elif limit.target == "span":
        owner = np.repeat(rows, np.bincount(layout.clamp_row, minlength=len(rows)) + 1)
    elif limit.target == "panel strip":
        return panel_strips(layout)[0], np.asarray(layout.clamp_row)
    elif limit.target.startswith("solar"):
        return rows[:0], rows[:0]
    else:
        owner = rows
    return np.arange(len(owner)), owner


def line_force(analysis: Analysis) -> Array:
    """Force down the slope per meter of every station of the rows, unfactored, (q, k). [N/m]."""
    force = analysis.force
    return np.asarray(-force.thrust[..., 1] / (force.span[:, 1] - force.span[:, 0]))


def row_lines(analysis: Analysis) -> tuple[RowLine, ...]:
    """Force and worst utilization of every row."""
    layout, force, cases = analysis.project.layout, analysis.force, analysis.snow.cases
    per_meter = line_force(analysis)
    worst, unverified = _worst_of_rows(analysis)
    undrifted, drifted = undrifted_forces(analysis)
    lines = []
    for row, name in enumerate(layout.row_name):
        here = np.flatnonzero(force.row == row)
        totals = -force.thrust[:, here, 1].sum(axis=1)
        case = int(np.argmax(totals))
        peak, peak_case, window = _peak(per_meter[:, here], force.span[here])
        lines.append(
            RowLine(
                name=name,
                plane=analysis.project.roof.planes.name[layout.row_plane[row]],
                length=float(layout.row_length[row]),
                clamps=int((layout.clamp_row == row).sum()),
                peak=peak,
                peak_case=cases[peak_case].name,
                peak_at=_stretch(per_meter[peak_case, here], force.span[here], window, peak),
                total=float(totals[case]),
                mean=float(totals[case] / layout.row_length[row]),
                own=float(force.own[case, row]),
                total_case=cases[case].name,
                worst=worst[row][1],
                utilization=worst[row][0],
                unverified=bool(unverified[row]),
                undrifted=undrifted[row],
                drifted=drifted[row],
                beyond=float(force.end_bound[:, row].sum(axis=1).max()),
            )
        )
    return tuple(lines)


def _peak(line: Array, span: Array) -> tuple[float, int, tuple[float, float]]:
    """Largest mean of (q, k) over any stretch `OVER` long, its case, and its ends. [N/m, m]."""
    knots = np.append(span[:, 0], span[-1, 1])
    total = np.concatenate([np.zeros((len(line), 1)), np.cumsum(line * np.diff(span)[:, 0], axis=1)], axis=1)
    over = min(OVER, float(knots[-1] - knots[0]))
    low = np.clip(np.concatenate([knots, knots - over]), knots[0], knots[-1] - over)
    mean = np.array([np.interp(low + over, knots, one) - np.interp(low, knots, one) for one in total]) / over
    case, best = np.unravel_index(int(np.argmax(mean)), mean.shape)
    return float(mean[case, best]), int(case), (float(low[best]), float(low[best] + over))


def _stretch(line: Array, span: Array, window: tuple[float, float], peak: float) -> tuple[float, float]:
    """Ends of the stretch around a window whose stations (k,) carry nearly as much per meter. [m]."""
    weak = line < NEARLY * peak
    low = span[weak & (span[:, 1] <= window[0] + HAIR), 1].max(initial=float(span[0, 0]))
    high = span[weak & (span[:, 0] >= window[1] - HAIR), 0].min(initial=float(span[-1, 1]))
    return min(float(low), window[0]), max(float(high), window[1])


def peak_places(rows: Sequence[RowLine], units: UnitSystem) -> list[str]:
    """From where to where along each row its largest force per meter acts, such as "0.20 to 0.64"."""
    found = []
    for row in rows:
        low, high = row.peak_at
        if not row.peak > 0.0 or high - low >= ALL_ALONG * row.length:
            found.append("all along" if row.peak > 0.0 else "–")
            continue
        ends = (units.text(at, "length").removesuffix(units.label("length")).strip() for at in (low, high))
        found.append(" to ".join(ends))
    return found


def _worst_of_rows(analysis: Analysis) -> tuple[list[tuple[float, str]], NDArray[np.bool_]]:
    """Worst utilization of each row with what it is, and whether something on it is not verified."""
    layout = analysis.project.layout
    count = len(layout.row_name)
    worst = [(0.0, "nothing loaded")] * count
    unverified = np.zeros(count, dtype=bool)
    for limit in analysis.limits:
        target, owner = target_rows(analysis, limit)
        unverified[owner[limit.unverified[target]]] = True
        use = np.nan_to_num(limit.utilization, nan=0.0).max(axis=0)
        for row in np.unique(owner):
            here = target[owner == row]
            best = int(here[np.argmax(use[here])])
            if use[best] > 0.0 and use[best] >= worst[row][0]:
                name = limit.target_name[best]
                words = limit.name if name == layout.row_name[row] else f"{limit.name}, {name}"
                worst[row] = (float(use[best]), words)
    return worst, unverified
