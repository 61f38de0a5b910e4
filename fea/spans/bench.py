"""Rows of some spans on the bench: what of them may lead, and how much of every limit a load uses.

Clamps and stations that lead nowhere are left out while searching; what is found is proved on all of them.
"""

from __future__ import annotations

from collections.abc import Iterable
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
    bending_use,
    member_strength,
    station_use,
)
from fea.checks.rail_section import rail_stress
from fea.spans.lines import Line
from fea.spans.rows import (
    Hardware,
    Rows,
    clamp_forces,
    clamps_used,
    deflection_used,
    rail_forces,
    screws_used,
    solve_rows,
    stress_used,
    strips_used,
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
OF_CLAMPS = (CLAMP, ANCHORAGE, CRUSHED, SCREWS)  # the others are at stations
NUMBERS_AT_ONCE = 100_000  # of clamps or stations times loads, about what a cache holds
SCANNED = (50.0, 50e3)  # line loads between which leaders are looked for [N/m]
MARGIN = 0.9  # clamps that use less than this part of their leader at all loads scanned are left out


@dataclass(frozen=True)
class Groups:
    """Which of k values belong together."""

    order: IntArray
    present: IntArray
    first: IntArray
    count: int

    @classmethod
    def of(cls, group: IntArray, count: int) -> Groups:
        """From the group (k,) of each value."""
        order = np.argsort(group, kind="stable")
        present, first = np.unique(group[order], return_index=True)
        return cls(order, present, first, count)

    def largest(self, values: Array) -> Array:
        """Largest of (m, k) values in each group, (m, count), 0 for empty ones; unknown if one is."""
        out = np.zeros((len(values), self.count))
        if len(self.order):
            out[:, self.present] = np.maximum.reduceat(values[:, self.order], self.first, axis=1)
        return out


@dataclass(frozen=True)
class Chosen:
    """Clamps or stations (k,) that are looked at, rising, which of them count, and their spans."""

    at: IntArray
    counts: NDArray[np.bool_]
    of_span: Groups


@dataclass(frozen=True)
class Bench:
    """Rows of some spans, the same lines for each: row k belongs to span k modulo `spans`.

    `chosen` are the clamps or stations of every limit that there is, by its number, that may lead;
    `counts_clamp` and `counts_station` those that the lines speak of.
    """

    rows: Rows
    hardware: Hardware
    spans: int
    counts_clamp: NDArray[np.bool_]
    counts_station: NDArray[np.bool_]
    chosen: dict[int, Chosen]
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
        clamps = self.some_clamps(np.arange(len(self.counts_clamp)))
        stations = self.some_stations(np.flatnonzero(self.counts_station))
        return replace(self, chosen={kind: clamps if kind in OF_CLAMPS else stations for kind in self.chosen})

    def some_clamps(self, at: IntArray) -> Chosen:
        """Some clamps, rising."""
        group = self.rows.layout.clamp_row[at] % self.spans
        return Chosen(at, self.counts_clamp[at], Groups.of(group, self.spans))

    def some_stations(self, at: IntArray) -> Chosen:
        """Some stations, rising."""
        group = self.rows.sample_row[at] % self.spans
        return Chosen(at, self.counts_station[at], Groups.of(group, self.spans))


def solved(
    roof: RoofSurface, shapes: list[Line], spans: Array, hardware: Hardware, splice: SpliceKind | None
) -> tuple[list[Line], Rows]:
    """Every shape at every span, and these rows; a shape's spans follow one another."""
    lines = [line for line in shapes for _ in spans]
    return lines, solve_rows(roof, lines, np.tile(spans, len(shapes)), hardware, splice)


def bench_of(
    roof: RoofSurface, shapes: list[Line], spans: Array, hardware: Hardware, splice: SpliceKind | None
) -> Bench:
    """Solve every shape at every span and find what may lead."""
    lines, rows = solved(roof, shapes, spans, hardware, splice)
    clamps = np.concatenate([line.counts_clamp for line in lines])
    pieces = np.concatenate([line.counts_piece for line in lines])
    bench = Bench(
        rows=rows,
        hardware=hardware,
        spans=len(spans),
        counts_clamp=clamps,
        counts_station=pieces[rows.piece],
        chosen={},
        member=member_strength(hardware.rail, hardware.form, rows.piece_length),
    )
    clamps_of = {kind: bench.some_clamps(at) for kind, at in _leading_clamps(bench).items()}
    stations_of = {kind: bench.some_stations(at) for kind, at in _leading_stations(bench).items()}
    return replace(bench, chosen=clamps_of | stations_of)


def _leading_clamps(bench: Bench) -> dict[int, IntArray]:
    """Clamps that come near the most used one of their span at some load, by the limit.

    The most loaded clamp of their row stays with them, for what counts as loaded is measured by it.
    """
    row = bench.rows.layout.clamp_row
    every = np.arange(len(row))
    of_span, of_row = Groups.of(row % bench.spans, bench.spans), Groups.of(row, int(row.max()) + 1)
    load = np.repeat(np.geomspace(*SCANNED, 7)[:, None], len(bench.rows.layout.row_name), axis=1)
    found = {CRUSHED: every} if bench.there(CRUSHED) else {}
    for kind in filter(bench.there, (CLAMP, ANCHORAGE, SCREWS)):
        if kind == ANCHORAGE:
            use, along = strips_used(bench.rows, load, bench.hardware, every), None
        else:
            used = clamps_used if kind == CLAMP else screws_used
            use, along = used(bench.rows, load, bench.hardware, every)
        use = np.where(bench.counts_clamp, np.nan_to_num(use, nan=np.inf), 0.0)
        keep = (use >= MARGIN * of_span.largest(use)[:, row % bench.spans]).any(axis=0)
        if along is not None:
            first = (along >= (1.0 - 1e-9) * of_row.largest(along)[:, row]).any(axis=0)
            used_rows = np.zeros(of_row.count, dtype=bool)
            used_rows[row[keep]] = True
            keep |= first & used_rows[row]
        found[kind] = np.flatnonzero(keep)
    return found


def limit_use(bench: Bench, load: Array, asked: Iterable[int] = range(len(LIMITS))) -> Array:
    """Utilization (l, m, n) of the limits asked for at their own loads (l, m, n), worst of the lines.

    NaN for none, and for those that are not asked for.
    """
    out = np.full(load.shape, np.nan)
    rows = bench.rows
    lines = len(rows.layout.row_name) // bench.spans
    for kind in set(asked) & set(bench.chosen):
        some = bench.chosen[kind]
        step = max(NUMBERS_AT_ONCE // (len(some.at) * len(rows.basis.readings)), 1)
        for at in range(0, load.shape[1], step):
            use = _used(bench, kind, np.tile(load[kind, at : at + step], lines), some.at)
            out[kind, at : at + step] = some.of_span.largest(np.where(some.counts, use, 0.0))
    return out


def _used(bench: Bench, kind: int, load: Array, at: IntArray) -> Array:
    """Utilization (m, k) of a limit at some clamps or stations at line loads (m, r)."""
    rows, hardware = bench.rows, bench.hardware
    if kind == CLAMP:
        return clamps_used(rows, load, hardware, at)[0]
    if kind == SCREWS:
        return screws_used(rows, load, hardware, at)[0]
    if kind == ANCHORAGE:
        return strips_used(rows, load, hardware, at)
    if kind == STRESS:
        return stress_used(rows, load, hardware, at)
    if kind == DEFLECTION:
        return deflection_used(rows, load, hardware, at)
    assert bench.member is not None
    if kind in MEMBER:
        use = station_use(bench.member, LIMITS[kind], rail_forces(rows, load, at), rows.piece[at])
        return np.asarray(use.max(axis=1))
    there = clamp_samples(rows.result, rows.layout)[:, at].ravel()
    force = rail_forces(rows, load, there)
    bend, uneven = bending_at_clamps(bench.member, force, rows.piece[there]), uneven_at_clamps(force)
    push = np.abs(clamp_forces(rows, load, at)[..., [0, 2]])
    at_end = end_bearings(rows.layout, hardware.rail)[at]
    return np.asarray(crushing(push, bend, uneven, at_end, hardware.rail, hardware.form).max(axis=1))


def _leading_stations(bench: Bench) -> dict[int, IntArray]:
    """Stations that may lead their span's rows at some load of `SCANNED`, by the limit.

    Utilizations of stations are convex in the load, so they lie below their chords, and the largest of them
    lies above the chords on both sides drawn on; a station whose chord stays below those never leads.
    """
    place = np.array([0.0, *np.geomspace(*SCANNED, 7), 1.5 * SCANNED[1]])
    group = bench.rows.sample_row % bench.spans
    of_span = Groups.of(group, bench.spans)
    found = {}
    for kind, values in _scanned(bench, place).items():
        use = np.where(bench.counts_station, values, 0.0)
        keep = np.ones(len(group), dtype=bool)
        if np.isfinite(use).all():  # else not known, or beyond what can be held: nothing to compare
            keep = _may_lead(use, place, group, of_span, convex=LIMITS[kind] != LATERAL)
        found[kind] = np.flatnonzero(keep & bench.counts_station)
    return found


def _may_lead(
    use: Array, place: Array, group: IntArray, of_span: Groups, *, convex: bool
) -> NDArray[np.bool_]:
    """Whether stations with uses (p, t) at loads (p,) may lead their group between the first and last two."""
    top = of_span.largest(use)
    keep = np.zeros(len(group), dtype=bool)
    if not convex:  # compression makes bending grow, which may not be convex: a margin as well
        keep |= (use >= MARGIN * top[:, group]).any(axis=0)
    for k in range(1, len(place) - 2):
        wide = place[k + 1] - place[k]
        left = (top[k] - top[k - 1]) / (place[k] - place[k - 1])
        right = (top[k + 2] - top[k + 1]) / (place[k + 2] - place[k + 1])
        gap = top[k] - (top[k + 1] - right * wide)
        kink = np.where(
            right > left, np.clip(gap / np.where(right > left, right - left, 1.0), 0.0, wide), 0.0
        )
        rise = (use[k + 1] - use[k]) / wide
        for x in (np.zeros_like(kink), kink, np.full_like(kink, wide)):
            floor = np.maximum(top[k] + left * x, top[k + 1] - right * (wide - x)) * (1.0 - 1e-9)
            keep |= use[k] + rise * x[group] >= floor[group]
    return keep


def _scanned(bench: Bench, place: Array) -> dict[int, Array]:
    """Stress or use, or deflection over length, of every station at some loads, (p, t), by the limit."""
    rows, member = bench.rows, bench.member
    kinds = list(filter(bench.there, (STRESS, *MEMBER)))
    found: dict[int, list[Array]] = {kind: [] for kind in kinds}
    for x in place:
        force = rows.still.rail + x * rows.grows.rail
        bend = None if member is None or kinds == [STRESS] else bending_use(member, force)
        for kind in kinds:
            if kind == STRESS:
                use = rail_stress(force, bench.hardware.rail)
            else:
                assert member is not None
                use = station_use(member, LIMITS[kind], force, rows.piece, always=True, bend=bend)
            found[kind].append(use.max(axis=0))
    if bench.there(DEFLECTION):
        length = rows.piece_length[rows.piece]
        moved = (rows.still.moved + x * rows.grows.moved for x in place)
        size = [np.linalg.norm(one, axis=-1).max(axis=0) for one in moved]
        found[DEFLECTION] = [one / np.where(length > 0.0, length, np.inf) for one in size]
    return {kind: np.stack(values) for kind, values in found.items()}
