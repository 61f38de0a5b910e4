"""Span tables: largest line loads, and how much of every limit each load uses.

Rows are linear in the load, so one unit load serves all loads. Each limit's largest load is the root of its
utilization less one (regula falsi with halved ends, "Illinois"; Dowell and Jarratt, BIT 11 (1971) 168, from
memory), for all spans at once. Clamps and stations that lead nowhere are left out while searching; what is
found is proved on all of them.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
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
from fea.spans.lines import Arrangement, Line, lines_of
from fea.spans.rows import (
    Hardware,
    Rows,
    clamp_forces,
    clamp_use,
    deflection_use,
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
    LOCAL, LATERAL, HOLES, WELDS, CRUSHING,
)  # fmt: skip
CLAMP, ANCHORAGE, STRESS, DEFLECTION = range(4)
CRUSHED = LIMITS.index(CRUSHING)
MEMBER = tuple(LIMITS.index(kind) for kind in (LOCAL, LATERAL, HOLES, WELDS))
FIRST = 1000.0  # line load that is tried first [N/m]
UNLIMITED = 1e9  # a limit that is not reached here is none [N/m]
EXACT = 1e-11  # distance of a utilization from 1 that ends the search
STEEPEST = 50.0  # utilization beyond which more says nothing to the search
ROWS_AT_ONCE = 1500
NUMBERS_AT_ONCE = 100_000  # of clamps or stations times loads, about what a cache holds
SCANNED = (50.0, 50e3)  # line loads between which leaders are looked for [N/m]
MARGIN = 0.9  # clamps that use less than this part of their leader at all loads scanned are left out
PROVED = 1e-9  # a largest load uses no more than this over 1 with nothing left out


@dataclass(frozen=True)
class Choices:
    """What a span table holds.

    Attributes
    ----------
    spans : (n,) float
        Rising. [m]
    loads : (m,) float
        Line loads down the slope, before factors, rising. [N/m]
    arrangements : tuple of Arrangement, (a,)
    many : int
        Spans of a long row.
    overhang : float
        Beyond end clamps over the span. [-]
    unloaded : float
        Share of the load that stays on spans that a pattern unloads; 1 for no patterns. [-]
    splice : SpliceKind or None
    """

    spans: Array
    loads: Array
    arrangements: tuple[Arrangement, ...]
    many: int = 5
    overhang: float = 0.25
    unloaded: float = 0.0
    splice: SpliceKind | None = None

    def lines(self, arrangement: Arrangement) -> list[Line]:
        """Rows whose worst counts."""
        return lines_of(
            arrangement,
            many=self.many,
            overhang=self.overhang,
            unloaded=self.unloaded,
            splice=self.splice,
        )


@dataclass(frozen=True)
class Capacity:
    """A span table of one rail on one clamp.

    Attributes
    ----------
    load : (n, a, l) float
        Largest line load by span, arrangement and limit (`LIMITS`); infinite where the limit is not
        reached or not asked for, NaN where it is loaded in a direction without a strength. [N/m]
    use : (n, a, m, l) float
        Utilization at each of the loads, worst of the lines.
    """

    load: Array
    use: Array

    @property
    def largest(self) -> Array:
        """Largest line load over all limits, (n, a); a larger span never carries more. [N/m].

        Where a longer span would carry more than a shorter one, the shorter one's load is taken.
        """
        return np.asarray(np.minimum.accumulate(self.load.min(axis=2), axis=0))

    @property
    def governing(self) -> IntArray:
        """Limit that is reached first, (n, a), -1 where none is known; of equals the first of `LIMITS`."""
        least = self.load.min(axis=2)
        known = ~np.isnan(least) & np.isfinite(least)
        reached = self.load <= np.where(known, least, 0.0)[..., None] * (1.0 + PROVED)
        return np.where(known, np.argmax(reached, axis=2), -1)


def largest_spans(spans: Array, largest: Array, loads: Array) -> Array:
    """Largest of the spans that carries each load, (m, a), NaN where none does.

    Parameters
    ----------
    spans : (n,) float
    largest : (n, a) float
        Falling along the spans, as `Capacity.largest`.
    loads : (m,) float
    """
    carries = largest[None] >= loads[:, None, None]
    count = carries.sum(axis=1)
    return np.where(count > 0, spans[np.maximum(count - 1, 0)], np.nan)


def span_table(roof: RoofSurface, hardware: Hardware, choices: Choices) -> Capacity:
    """Largest loads and utilizations of all spans and arrangements.

    Parameters
    ----------
    roof : RoofSurface
        Of one plane, for its slope.
    hardware : Hardware
    choices : Choices

    Raises
    ------
    InputError
        A row that can move freely, such as one cut by a splice that its clamps do not hold.
    """
    n, m = len(choices.spans), len(choices.loads)
    load = np.full((n, len(choices.arrangements), len(LIMITS)), np.inf)
    use = np.zeros((n, len(choices.arrangements), m, len(LIMITS)))
    for a, arrangement in enumerate(choices.arrangements):
        shapes = choices.lines(arrangement)
        step = max(ROWS_AT_ONCE // len(shapes), 1)
        for first in range(0, n, step):
            some = slice(first, first + step)
            bench = bench_of(roof, shapes, choices.spans[some], hardware, choices.splice)
            load[some, a] = _largest(bench).T
            at = np.broadcast_to(choices.loads[:, None], (m, bench.spans))
            use[some, a] = _use(bench, np.broadcast_to(at, (len(LIMITS), *at.shape))).transpose(2, 1, 0)
    return Capacity(load, use)


def span_tables(
    roof: RoofSurface, hardware: tuple[Hardware, ...], choices: Choices, workers: int = 2
) -> list[Capacity]:
    """`span_table` of each, some at a time."""
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(lambda one: span_table(roof, one, choices), hardware))


@dataclass(frozen=True)
class Bench:
    """Rows of some spans, the same lines for each: row k belongs to span k modulo `spans`.

    `clamps`, `strips` and `stations` (of every limit at stations that there is, by its number) are those that
    may lead, rising; `counts_clamp` and `counts_station` those that the lines speak of.
    """

    rows: Rows
    hardware: Hardware
    spans: int
    counts_clamp: NDArray[np.bool_]
    counts_station: NDArray[np.bool_]
    clamps: IntArray
    strips: IntArray
    stations: dict[int, IntArray]
    member: MemberStrength | None

    def there(self, limit: int) -> bool:
        """Whether a limit of `LIMITS` is asked for, or belongs to this rail."""
        rail = self.hardware.rail
        if limit == ANCHORAGE:
            return not np.isnan(self.hardware.panel.anchorage)
        if limit == DEFLECTION:
            return not np.isnan(rail.deflection_ratio)
        if limit == CRUSHED:
            return self.member is not None and has_crushing(rail)
        return limit not in MEMBER or (self.member is not None and LIMITS[limit] in self.member.kinds)

    def whole(self) -> Bench:
        """With nothing left out."""
        every = np.flatnonzero(self.counts_station)
        clamps = np.arange(len(self.counts_clamp))
        return replace(self, clamps=clamps, strips=clamps, stations=dict.fromkeys(self.stations, every))


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
        clamps=np.zeros(0, dtype=np.int64),
        strips=np.zeros(0, dtype=np.int64),
        stations={},
        member=member_strength(hardware.rail, hardware.form, rows.piece_length),
    )
    leading, strips = _leading_clamps(bench)
    kinds = [kind for kind in (STRESS, DEFLECTION, *MEMBER) if bench.there(kind)]
    return replace(
        bench, clamps=leading, strips=strips, stations={kind: _leading(bench, kind) for kind in kinds}
    )


def _leading_clamps(bench: Bench) -> tuple[IntArray, IntArray]:
    """Clamps, and strips, that come near the most used one of their span at some load.

    The most loaded clamp of their row stays with the clamps, for what counts as loaded is measured by it.
    """
    rows, hardware = bench.rows, bench.hardware
    row = rows.layout.clamp_row
    group, count = row % bench.spans, int(row.max()) + 1
    keep = np.zeros((2, len(row)), dtype=bool)
    first = np.zeros(len(row), dtype=bool)
    for at in np.geomspace(*SCANNED, 7):
        load = np.full((1, len(rows.layout.row_name)), at)
        clamp = clamp_use(rows, load, hardware)
        for kept, limit in zip(keep, (clamp[-1], strip_use(rows, load, hardware)), strict=True):
            unknown = np.isnan(limit.utilization[0]) & ~np.isnan(limit.resistance)
            use = np.where(bench.counts_clamp, np.where(unknown, np.inf, limit.demand[0]), 0.0)
            kept |= use >= MARGIN * _by_group(use[None], group, bench.spans)[0][group]
        along = clamp[0].demand
        first |= along[0] >= (1.0 - 1e-9) * _by_group(along, row, count)[0][row]
    used = np.zeros(count, dtype=bool)
    used[row[keep[0]]] = True
    return np.flatnonzero(keep[0] | (first & used[row])), np.flatnonzero(keep[1])


def _by_group(values: Array, group: IntArray, count: int) -> Array:
    """Largest of (m, k) values in each group, (m, count), 0 for empty ones; unknown if one is."""
    out = np.zeros((len(values), count))
    if len(group):
        order = np.argsort(group, kind="stable")
        present, first = np.unique(group[order], return_index=True)
        out[:, present] = np.maximum.reduceat(values[:, order], first, axis=1)
    return out


def _largest(bench: Bench) -> Array:
    """Largest load of every limit and span, (l, n)."""
    found = _roots(bench)
    known = np.isfinite(found) & (found > 0.0)
    proof = _use(bench.whole(), np.where(known, found, 0.0)[:, None])[:, 0]
    if (known & ~(proof <= 1.0 + PROVED)).any():  # a leader was left out, or is not known there
        return _roots(bench.whole())
    return found


def _roots(bench: Bench) -> Array:
    def use(at: Array) -> Array:
        return _use(bench, at[:, None])[:, 0]

    def excess(at: Array, untold: float = 2.0) -> Array:
        """Use less one; what is not known does not hold."""
        return np.minimum(np.nan_to_num(use(at), nan=untold, posinf=STEEPEST), STEEPEST) - 1.0

    shape = (len(LIMITS), bench.spans)
    high = np.full(shape, FIRST)
    unknown = np.isnan(use(high))
    low, f_low = np.zeros(shape), excess(np.zeros(shape), 0.0)
    f_high = excess(high)
    dead = f_low > 0.0
    # What holds the end of the search holds all loads before it, and needs no way there.
    never = (f_high < 0.0) & ~unknown & (excess(np.full(shape, UNLIMITED)) < 0.0)
    while True:
        short = (f_high < 0.0) & (high < UNLIMITED) & ~unknown & ~never
        if not short.any():
            break
        # A convex limit lies above its chord: the chord's end is beyond the root.
        slope = (f_high - f_low) / (high - low)
        ahead = high - f_high / np.where(slope > 0.0, slope, np.inf)
        further = np.where(slope > 0.0, np.clip(1.001 * ahead, 1.01 * high, 8.0 * high), 2.0 * high)
        low, f_low = np.where(short, high, low), np.where(short, f_high, f_low)
        high = np.where(short, further, high)
        f_high = np.where(short, excess(high), f_high)
    none = (f_high < 0.0) | unknown
    best, miss = high.copy(), np.abs(f_high)
    side = np.zeros(shape)
    for _ in range(60):
        going = ~none & ~dead & (miss > EXACT)
        if not going.any():
            break
        width = np.where(going, f_high - f_low, 1.0)
        middle = np.where(going, high - f_high * (high - low) / width, high)
        value = excess(middle)
        better = going & (np.abs(value) < miss)
        best, miss = np.where(better, middle, best), np.where(better, np.abs(value), miss)
        above = value > 0.0
        f_low = np.where(going, np.where(above, np.where(side > 0.0, 0.5 * f_low, f_low), value), f_low)
        f_high = np.where(going, np.where(above, value, np.where(side < 0.0, 0.5 * f_high, f_high)), f_high)
        low, high = np.where(going & ~above, middle, low), np.where(going & above, middle, high)
        side = np.where(above, 1.0, -1.0)
    jump = miss > PROVED  # a limit that sets in at once: the load before it does
    root = np.where(dead, 0.0, np.where(none, np.inf, np.where(jump, low, best)))
    if (jump & ~none & ~dead).any():
        unknown |= jump & ~none & ~dead & np.isnan(use(high))  # or is not known from there on
    for limit in range(len(LIMITS)):
        if bench.there(limit):
            root[limit, unknown[limit]] = np.nan
    return root


def _use(bench: Bench, load: Array) -> Array:
    """Utilization (l, m, n) of every limit at its own loads (l, m, n), worst of the lines; NaN for none."""
    out = np.full(load.shape, np.nan)
    for kind in (CLAMP, ANCHORAGE, CRUSHED):
        if bench.there(kind):
            out[kind] = _clamps_at(bench, kind, load[kind])
    for kind, stations in bench.stations.items():
        out[kind] = _stations_at(bench, kind, stations, load[kind])
    return out


def _clamps_at(bench: Bench, kind: int, load: Array) -> Array:
    """Utilization (m, n) of a limit of clamps or strips at loads (m, n)."""
    rows, hardware, n = bench.rows, bench.hardware, bench.spans
    clamps = {CLAMP: bench.clamps, ANCHORAGE: bench.strips}.get(kind, np.arange(len(bench.counts_clamp)))
    lines = len(rows.layout.row_name) // n
    group, counts = rows.layout.clamp_row[clamps] % n, bench.counts_clamp[clamps]
    at_end = end_bearings(rows.layout, hardware.rail) if kind == CRUSHED else None
    there = clamp_samples(rows.result, rows.layout).ravel() if kind == CRUSHED else clamps
    step = max(NUMBERS_AT_ONCE // (len(group) * len(rows.basis.readings)), 1)
    out = np.empty(load.shape)
    for at in range(0, len(load), step):
        each = np.tile(load[at : at + step], lines)
        if kind == CLAMP:
            use = clamp_use(rows, each, hardware, clamps)[-1].utilization
        elif kind == ANCHORAGE:
            use = strip_use(rows, each, hardware, clamps).utilization
        else:
            assert at_end is not None
            assert bench.member is not None
            push = np.abs(clamp_forces(rows, each)[..., [0, 2]])
            force = rail_forces(rows, each, there)
            bend, uneven = bending_at_clamps(bench.member, force, rows.piece[there]), uneven_at_clamps(force)
            use = crushing(push, bend, uneven, at_end, hardware.rail, hardware.form).max(axis=1)
        out[at : at + step] = _by_group(np.where(counts, use, 0.0), group, n)
    return out


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
