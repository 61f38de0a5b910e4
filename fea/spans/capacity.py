"""Span tables: largest line loads, and how much of every limit each load uses.

Rows are linear in the load, so one unit load serves all loads. Each limit's largest load is the root of its
utilization less one (regula falsi with halved ends, "Illinois"; Dowell and Jarratt, BIT 11 (1971) 168, from
memory), for all spans at once. Clamps and stations that lead nowhere are left out while searching; what is
found is proved on all of them.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fea.rails.rows import rails_to_solve
from fea.spans.bench import CLAMP, LIMITS, Bench, bench_of, limit_use
from fea.spans.lines import Arrangement, Line, lines_of
from fea.spans.rows import Hardware
from roofmodel.layout import SpliceKind
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

FIRST = 1000.0  # line load that is tried first [N/m]
UNLIMITED = 1e9  # a limit that is not reached here is none [N/m]
EXACT = 1e-11  # distance of a utilization from 1 that ends the search
STEEPEST = 50.0  # utilization beyond which more says nothing to the search
ROWS_AT_ONCE = 1500
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
    clamp : (f, n, a) float
        Largest line load by the clamp alone, with its strengths times each row of some factors; infinite
        where it is not reached. [N/m]
    """

    load: Array
    use: Array
    clamp: Array = field(default_factory=lambda: np.zeros((0, 0, 0)))

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


def span_table(
    roof: RoofSurface, hardware: Hardware, choices: Choices, factors: Array | None = None
) -> Capacity:
    """Largest loads and utilizations of all spans and arrangements.

    Parameters
    ----------
    roof : RoofSurface
        Of one plane, for its slope.
    hardware : Hardware
    choices : Choices
    factors : (f, 6) float, optional
        On the strengths of the clamp, for its loads alone: rows are solved once, as no strength changes how
        they share.

    Raises
    ------
    InputError
        A row that can move freely, such as one cut by a splice that its clamps do not hold.
    """
    kinds = () if choices.splice is None else (choices.splice,)
    found = [
        _table(roof, replace(hardware, rail=rail), choices, np.ones((0, 6)) if factors is None else factors)
        for rail in rails_to_solve(kinds, hardware.rail)
    ]
    load, use, clamp = (np.stack([getattr(one, name) for one in found]) for name in ("load", "use", "clamp"))
    return Capacity(load.min(axis=0), use.max(axis=0), clamp.min(axis=0))


def _table(roof: RoofSurface, hardware: Hardware, choices: Choices, factors: Array) -> Capacity:
    """The same with splices that pass torsion on or not."""
    n, m = len(choices.spans), len(choices.loads)
    load = np.full((n, len(choices.arrangements), len(LIMITS)), np.inf)
    use = np.zeros((n, len(choices.arrangements), m, len(LIMITS)))
    clamp = np.full((len(factors), n, len(choices.arrangements)), np.inf)
    for a, arrangement in enumerate(choices.arrangements):
        shapes = choices.lines(arrangement)
        step = max(ROWS_AT_ONCE // len(shapes), 1)
        for first in range(0, n, step):
            some = slice(first, first + step)
            bench = bench_of(roof, shapes, choices.spans[some], hardware, choices.splice)
            load[some, a] = _largest(bench).T
            at = np.broadcast_to(choices.loads[:, None], (m, bench.spans))
            use[some, a] = limit_use(bench, np.broadcast_to(at, (len(LIMITS), *at.shape))).transpose(2, 1, 0)
            if len(factors):
                clamp[:, some, a] = _clamp_loads(bench.whole(), factors)
    return Capacity(load, use, clamp)


def _clamp_loads(whole: Bench, factors: Array) -> Array:
    """Largest loads by the clamp alone, (f, n), its strengths times each row of (f, 6) factors. [N/m]."""
    hardware, clamp = whole.hardware, whole.hardware.clamp
    out = []
    for factor in factors:
        stronger = replace(clamp, strength=clamp.strength * factor, nominal=clamp.nominal * factor)
        bench = replace(
            whole, hardware=replace(hardware, clamp=stronger), chosen={CLAMP: whole.chosen[CLAMP]}
        )
        out.append(_roots(bench)[CLAMP])
    return np.array(out)


def span_tables(
    roof: RoofSurface,
    hardware: tuple[Hardware, ...],
    choices: Choices,
    factors: Array | None = None,
    workers: int = 2,
) -> list[Capacity]:
    """`span_table` of each, some at a time."""
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(lambda one: span_table(roof, one, choices, factors), hardware))


def _largest(bench: Bench) -> Array:
    """Largest load of every limit and span, (l, n)."""
    found = _roots(bench)
    known = np.isfinite(found) & (found > 0.0)
    proof = limit_use(bench.whole(), np.where(known, found, 0.0)[:, None])[:, 0]
    if (known & ~(proof <= 1.0 + PROVED)).any():  # a leader was left out, or is not known there
        return _roots(bench.whole())
    return found


def _roots(bench: Bench) -> Array:
    def use(at: Array, where: NDArray[np.bool_] | None = None) -> Array:
        """Use at loads, of the limits that are wanted anywhere."""
        asked = range(len(LIMITS)) if where is None else np.flatnonzero(where.any(axis=1)).tolist()
        return limit_use(bench, at[:, None], asked)[:, 0]

    def excess(found: Array, untold: float = 2.0) -> Array:
        """Use less one; what is not known does not hold."""
        return np.minimum(np.nan_to_num(found, nan=untold, posinf=STEEPEST), STEEPEST) - 1.0

    shape = (len(LIMITS), bench.spans)
    high = np.full(shape, FIRST)
    first = use(high)
    unknown, f_high = np.isnan(first), excess(first)
    low = np.zeros(shape)
    f_low = excess(use(low), 0.0)
    dead = f_low > 0.0
    # What holds the end of the search holds all loads before it, and needs no way there.
    never = (f_high < 0.0) & ~unknown & (excess(use(np.full(shape, UNLIMITED))) < 0.0)
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
        f_high = np.where(short, excess(use(high, short)), f_high)
    none = (f_high < 0.0) | unknown
    best, miss = high.copy(), np.abs(f_high)
    side = np.zeros(shape)
    for _ in range(60):
        going = ~none & ~dead & (miss > EXACT)
        if not going.any():
            break
        width = np.where(going, f_high - f_low, 1.0)
        middle = np.where(going, high - f_high * (high - low) / width, high)
        value = excess(use(middle, going))
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
