"""Rows of some spans on the bench: what of them may lead, and how much of every limit a load uses.

Clamps and stations that lead nowhere are left out while searching; what is found is proved on all of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import clamp_samples
from fea.checks.member import (
    CRUSHING,
    bending_at_clamps,
    crushing,
    end_bearings,
    has_crushing,
    uneven_at_clamps,
)
from fea.checks.member_strength import (
    HOLES,
    LATERAL,
    LOCAL,
    WELDS,
    MemberStrength,
    member_strength,
    station_use,
)
from fea.checks.rail_section import rail_stress
from fea.checks.screws import screws_worst
from fea.spans.lines import Line
from fea.spans.rows import (
    Hardware,
    Rows,
    bracket_use,
    clamp_forces,
    clamp_use,
    deflection_use,
    most_along,
    rail_forces,
    rail_use,
    solve_rows,
    strip_use,
)
from roofmodel.layout import SpliceKind
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LIMITS = (
    "clamp combined", "panel anchorage", "rail stress", "rail deflection",
    LOCAL, LATERAL, HOLES, WELDS, CRUSHING, "screws",
)  # fmt: skip
CLAMP, ANCHORAGE, STRESS, DEFLECTION = range(4)
CRUSHED, SCREWS = LIMITS.index(CRUSHING), LIMITS.index("screws")
MEMBER = tuple(LIMITS.index(kind) for kind in (LOCAL, LATERAL, HOLES, WELDS))
NUMBERS_AT_ONCE = 100_000  # of clamps or stations times loads, about what a cache holds
SCANNED = (50.0, 50e3)  # line loads between which leaders are looked for [N/m]
MARGIN = 0.9  # clamps that use less than this part of their leader at all loads scanned are left out


@dataclass(frozen=True)
class Bench:
    """Rows of some spans, the same lines for each: row k belongs to span k modulo `spans`.

    `clamps` (of every limit at clamps or strips, by its number) and `stations` (of every limit at stations
    that there is) are those that may lead, rising; `counts_clamp` and `counts_station` those that the lines
    speak of.
    """

    rows: Rows
    hardware: Hardware
    spans: int
    counts_clamp: NDArray[np.bool_]
    counts_station: NDArray[np.bool_]
    clamps: dict[int, IntArray]
    stations: dict[int, IntArray]
    member: MemberStrength | None

    def there(self, limit: int) -> bool:
        """Whether a limit of `LIMITS` is asked for, or belongs to this rail."""
        rail = self.hardware.rail
        if limit == ANCHORAGE:
            return not np.isnan(self.hardware.panel.anchorage)
        if limit == DEFLECTION:
            return not np.isnan(rail.deflection_ratio)
        if limit == SCREWS:
            return self.hardware.clamp.screws is not None
        if limit == CRUSHED:
            return self.member is not None and has_crushing(rail)
        return limit not in MEMBER or (self.member is not None and LIMITS[limit] in self.member.kinds)

    def whole(self) -> Bench:
        """With nothing left out."""
        every = np.flatnonzero(self.counts_station)
        clamps = np.arange(len(self.counts_clamp))
        return replace(
            self,
            clamps=dict.fromkeys(self.clamps, clamps),
            stations=dict.fromkeys(self.stations, every),
        )


def bench_of(
    roof: RoofSurface, shapes: list[Line], spans: Array, hardware: Hardware, splice: SpliceKind | None
) -> Bench:
    """Solve every shape at every span and find what may lead."""
    lines = [line for line in shapes for _ in spans]
    rows = solve_rows(roof, lines, np.tile(spans, len(shapes)), hardware, splice)
    clamps = np.concatenate([line.counts_clamp for line in lines])
    pieces = np.concatenate([line.counts_piece for line in lines])
    bench = Bench(
        rows=rows,
        hardware=hardware,
        spans=len(spans),
        counts_clamp=clamps,
        counts_station=pieces[rows.piece],
        clamps={},
        stations={},
        member=member_strength(hardware.rail, hardware.form, rows.piece_length),
    )
    kinds = [kind for kind in (STRESS, DEFLECTION, *MEMBER) if bench.there(kind)]
    return replace(
        bench, clamps=_leading_clamps(bench), stations={kind: _leading(bench, kind) for kind in kinds}
    )


def _leading_clamps(bench: Bench) -> dict[int, IntArray]:
    """Clamps that come near the most used one of their span at some load, by the limit.

    The most loaded clamp of their row stays with them, for what counts as loaded is measured by it.
    """
    rows = bench.rows
    row = rows.layout.clamp_row
    group, count = row % bench.spans, int(row.max()) + 1
    every = np.arange(len(row))
    kinds = [kind for kind in (CLAMP, ANCHORAGE, SCREWS) if bench.there(kind)]
    keep = {kind: np.zeros(len(row), dtype=bool) for kind in kinds}
    first = np.zeros(len(row), dtype=bool)
    for at in np.geomspace(*SCANNED, 7):
        load = np.full((1, len(rows.layout.row_name)), at)
        for kind in kinds:
            found = _use_of_clamps(bench, kind, load, every)
            use = np.where(bench.counts_clamp, np.nan_to_num(found[0], nan=np.inf), 0.0)
            keep[kind] |= use >= MARGIN * _by_group(use[None], group, bench.spans)[0][group]
        for size in most_along(rows, load, bench.hardware):
            first |= size >= (1.0 - 1e-9) * _by_group(size[None], row, count)[0][row]
    for kind in kinds:
        if kind != ANCHORAGE:
            used = np.zeros(count, dtype=bool)
            used[row[keep[kind]]] = True
            keep[kind] |= first & used[row]
    return {kind: np.flatnonzero(kept) for kind, kept in keep.items()} | (
        {CRUSHED: every} if bench.there(CRUSHED) else {}
    )


def _by_group(values: Array, group: IntArray, count: int) -> Array:
    """Largest of (m, k) values in each group, (m, count), 0 for empty ones; unknown if one is."""
    out = np.zeros((len(values), count))
    if len(group):
        order = np.argsort(group, kind="stable")
        present, first = np.unique(group[order], return_index=True)
        out[:, present] = np.maximum.reduceat(values[:, order], first, axis=1)
    return out


def limit_use(bench: Bench, load: Array) -> Array:
    """Utilization (l, m, n) of every limit at its own loads (l, m, n), worst of the lines; NaN for none."""
    out = np.full(load.shape, np.nan)
    for kind, clamps in bench.clamps.items():
        out[kind] = _clamps_at(bench, kind, clamps, load[kind])
    for kind, stations in bench.stations.items():
        out[kind] = _stations_at(bench, kind, stations, load[kind])
    return out


def _clamps_at(bench: Bench, kind: int, clamps: IntArray, load: Array) -> Array:
    """Utilization (m, n) of a limit of clamps or strips at loads (m, n)."""
    rows, n = bench.rows, bench.spans
    lines = len(rows.layout.row_name) // n
    group, counts = rows.layout.clamp_row[clamps] % n, bench.counts_clamp[clamps]
    step = max(NUMBERS_AT_ONCE // (len(group) * len(rows.basis.readings)), 1)
    out = np.empty(load.shape)
    for at in range(0, len(load), step):
        use = _use_of_clamps(bench, kind, np.tile(load[at : at + step], lines), clamps)
        out[at : at + step] = _by_group(np.where(counts, use, 0.0), group, n)
    return out


def _use_of_clamps(bench: Bench, kind: int, load: Array, clamps: IntArray) -> Array:
    """Utilization (m, k) of a limit at some clamps or strips at line loads (m, r)."""
    rows, hardware = bench.rows, bench.hardware
    if kind == CLAMP:
        return clamp_use(rows, load, hardware, clamps)[-1].utilization
    if kind == ANCHORAGE:
        return strip_use(rows, load, hardware, clamps).utilization
    if kind == SCREWS:
        return screws_worst(bracket_use(rows, load, hardware, clamps))
    assert bench.member is not None
    there = clamp_samples(rows.result, rows.layout).ravel()
    force = rail_forces(rows, load, there)
    bend, uneven = bending_at_clamps(bench.member, force, rows.piece[there]), uneven_at_clamps(force)
    push, at_end = np.abs(clamp_forces(rows, load)[..., [0, 2]]), end_bearings(rows.layout, hardware.rail)
    return np.asarray(crushing(push, bend, uneven, at_end, hardware.rail, hardware.form).max(axis=1))


def _stations_at(bench: Bench, kind: int, stations: IntArray, load: Array) -> Array:
    """Utilization (m, n) of a limit of the rail at loads (m, n)."""
    rows, hardware, n = bench.rows, bench.hardware, bench.spans
    lines = len(rows.layout.row_name) // n
    pieces, at_piece = np.unique(rows.piece[stations], return_index=True)
    own = rows.sample_row[stations[at_piece]] % n
    step = max(NUMBERS_AT_ONCE // (len(stations) * len(rows.basis.readings)), 1)
    out = np.empty(load.shape)
    for at in range(0, len(load), step):
        each = np.tile(load[at : at + step], lines)
        if kind in MEMBER:
            assert bench.member is not None
            force = rail_forces(rows, each, stations)
            use = station_use(bench.member, LIMITS[kind], force, rows.piece[stations]).max(axis=1)
            out[at : at + step] = _by_group(use, rows.sample_row[stations] % n, n)
            continue
        found = rail_use if kind == STRESS else deflection_use
        limit = found(rows, each, hardware, stations)
        out[at : at + step] = _by_group(limit.utilization[:, pieces], own, n)
    return out


def _leading(bench: Bench, kind: int) -> IntArray:
    """Stations that may lead their span's rows at some load of `SCANNED`.

    Utilizations of stations are convex in the load, so they lie below their chords, and the largest of them
    lies above the chords on both sides drawn on; a station whose chord stays below those never leads.
    """
    rows = bench.rows
    place = np.array([0.0, *np.geomspace(*SCANNED, 7), 1.5 * SCANNED[1]])
    use = np.where(bench.counts_station, _stations_use(bench, place, kind), 0.0)
    if not np.isfinite(use).all():  # not known, or beyond what can be held: nothing to compare
        return np.flatnonzero(bench.counts_station)
    group = rows.sample_row % bench.spans
    top = _by_group(use, group, bench.spans)[:, group]
    keep = np.zeros(len(group), dtype=bool)
    if LIMITS[kind] == LATERAL:  # compression makes bending grow, which may not be convex: a margin as well
        keep |= (use >= MARGIN * top).any(axis=0)
    for k in range(1, len(place) - 2):
        wide = place[k + 1] - place[k]
        left = (top[k] - top[k - 1]) / (place[k] - place[k - 1])
        right = (top[k + 2] - top[k + 1]) / (place[k + 2] - place[k + 1])
        gap = top[k] - (top[k + 1] - right * wide)
        kink = np.where(
            right > left, np.clip(gap / np.where(right > left, right - left, 1.0), 0.0, wide), 0.0
        )
        for x in (np.zeros_like(kink), kink, np.full_like(kink, wide)):
            floor = np.maximum(top[k] + left * x, top[k + 1] - right * (wide - x))
            keep |= use[k] + (use[k + 1] - use[k]) * x / wide >= floor * (1.0 - 1e-9)
    return np.flatnonzero(keep & bench.counts_station)


def _stations_use(bench: Bench, place: Array, kind: int) -> Array:
    """Stress, or deflection over length, of every station at some loads, (k, t)."""
    rows = bench.rows
    if kind == STRESS:
        values = (rows.still.rail + x * rows.grows.rail for x in place)
        return np.stack([rail_stress(one, bench.hardware.rail).max(axis=0) for one in values])
    if kind in MEMBER:
        assert bench.member is not None
        values = (rows.still.rail + x * rows.grows.rail for x in place)
        return np.stack(
            [
                station_use(bench.member, LIMITS[kind], one, rows.piece, always=True).max(axis=0)
                for one in values
            ]
        )
    length = rows.piece_length[rows.piece]
    moved = (rows.still.moved + x * rows.grows.moved for x in place)
    size = np.stack([np.linalg.norm(one, axis=-1).max(axis=0) for one in moved])
    return size / np.where(length > 0.0, length, np.inf)
