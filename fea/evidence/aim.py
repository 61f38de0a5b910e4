"""Where samples are drawn more often because of what was found; weights undo it (importance sampling).

A roof of a hundred clamps has so many places for a flaw that few samples of the plain distributions put it
where the clamps came off. Here most of them do, and each sample carries its plain density over that it was
drawn with (Owen, Monte Carlo theory, methods and examples, chapter 9, from memory). A share of all samples
is drawn plainly (a defensive mixture), so that no weight exceeds about 1 / `PLAIN` to the
power of what is aimed at once: snow, place, height, of each explanation of a pair.
What is `given` is a number from 0 to 1, even in the plain distribution, by which a sample is drawn instead,
NaN for the aim (`fea.evidence.grids`); the weight is that of the aim alone all the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

PLAIN = 0.3  # share of the samples that are drawn as if nothing was found
WIDER = 1.3  # times the deviation that snow is drawn with, so that its weights stay small
BROADER = 1.6  # the same about what was measured alone, for its ends where such snow is rare
HIGH = 0.7  # upper part of a range where something is looked for that must be large to matter
DENSE = 0.7  # of the clamps between the first and the last that gave way, from which they are one stretch
LEAST_UNIT = 1e-12  # of a number between 0 and 1 whose normal one is taken
REACH = 3  # clamps beside those that gave way where a flaw is looked for too


@dataclass(frozen=True)
class Aim:
    """What samples are aimed at.

    Attributes
    ----------
    near : (c,) bool
        Clamps that gave way and those beside them; none or all of them for no aim.
    load : (float, float)
        Snow without drift over that of the case, and its deviation; NaN for not measured.
    span : (int, int) or None
        First and last clamp that gave way where most of a row did, if nearly all between them did too.
    """

    near: NDArray[np.bool_]
    load: tuple[float, float] = (np.nan, np.nan)
    span: tuple[int, int] | None = None


def aim_at(gave_way: NDArray[np.bool_], row: IntArray, load: tuple[float, float]) -> Aim:
    """Aim at the clamps that gave way (c,) and `REACH` of the same row to both sides."""
    at = np.flatnonzero(gave_way)
    place = np.arange(len(row))
    beside = (np.abs(place[:, None] - at) <= REACH) & (row[:, None] == row[at])
    if not len(at):
        return Aim(beside.any(axis=1), load)
    own = at[row[at] == np.bincount(row[at]).argmax()]
    first, last = int(own[0]), int(own[-1])
    dense = len(own) > 1 and len(own) >= DENSE * (last - first + 1)
    return Aim(beside.any(axis=1), load, (first, last) if dense else None)


def draw_place(
    rng: np.random.Generator, near: NDArray[np.bool_], given: Array
) -> tuple[IntArray, Array, Array]:
    """One of k places in each sample, evenly in the plain distribution, the weights, and its number, (n,)."""
    k, there, size = len(near), np.flatnonzero(near), len(given)
    at, within = rng.integers(0, k, size), rng.random(size)
    aimed = 0 < len(there) < k
    if aimed:
        plain = rng.random(size) < PLAIN
        at = np.where(plain, at, there[rng.integers(0, len(there), size)])
    unit = np.where(np.isnan(given), (at + within) / k, given)
    at = np.minimum((unit * k).astype(np.int64), k - 1)
    if not aimed:
        return at, np.ones(size), unit
    drawn = PLAIN / k + (1.0 - PLAIN) * near[at] / len(there)
    return at, 1.0 / (k * drawn), unit


def length_chances(least: int, most: int) -> Array:
    """Plain chances (k,) of a stretch of `least` to `most` clamps, as 1 / length: no length is usual.

    Even lengths would make a long roof's stretches long ones (judgment).
    """
    share = 1.0 / np.arange(least, most + 1)
    return np.asarray(share / share.sum())


def draw_stretch(
    rng: np.random.Generator, aim: Aim, least: int, most: int, given: tuple[Array, Array]
) -> tuple[tuple[IntArray, IntArray], Array, tuple[Array, Array]]:
    """Place of the middle of a stretch and its clamps, the weights, and the numbers of both.

    The place is even in the plain distribution, the length as `length_chances`. Where one stretch gave way,
    part of the samples have it in the inner half of that, a quarter to one and a half times as long; (n,).
    """
    k, chance, size = len(aim.near), length_chances(least, most), len(given[0])
    below = np.concatenate([[0.0], np.cumsum(chance)])
    at, weight, unit = draw_place(rng, aim.near, given[0])
    lengths = np.where(np.isnan(given[1]), rng.random(size), given[1])
    long = least + _bin(below, lengths)
    if aim.span is None or not 0 < aim.near.sum() < k:
        return (at, long), weight, (unit, lengths)
    n = aim.span[1] - aim.span[0] + 1
    low, high = aim.span[0] + n // 4, aim.span[1] - n // 4
    short = min(max(least, n // 4), most)
    longest = max(min(most, n + n // 2), short)
    inner = (rng.random(size) < 0.5 * (1.0 - PLAIN)) & np.isnan(given[0])
    at = np.where(inner, rng.integers(low, high + 1, size), at)
    long = np.where(inner, rng.integers(short, longest + 1, size), long)
    within = rng.random((2, size))
    unit = np.where(inner, (at + within[0]) / k, unit)
    from_ = below[long - least]
    lengths = np.where(inner, from_ + within[1] * chance[long - least], lengths)
    core = (at >= low) & (at <= high) & (long >= short) & (long <= longest)
    drawn = (PLAIN / k + (1.0 - PLAIN) * aim.near[at] / aim.near.sum()) * chance[long - least]
    even = core / ((high - low + 1.0) * (longest - short + 1.0))
    share = 0.5 * (1.0 - PLAIN)
    weight = chance[long - least] / (k * ((1.0 - share) * drawn + share * even))
    return (at, long), weight, (unit, lengths)


def _bin(below: Array, unit: Array) -> IntArray:
    found = np.searchsorted(below, unit, side="right") - 1
    return np.clip(found, 0, len(below) - 2).astype(np.int64)


def draw_high(
    rng: np.random.Generator, low: float, high: float, given: Array, *, aimed: bool
) -> tuple[Array, Array, Array]:
    """Even numbers from low to high, most of the upper `HIGH` of the range if aimed, weights, numbers."""
    size = len(given)
    unit = rng.random(size)
    if aimed:
        unit = np.where(rng.random(size) < PLAIN, unit, rng.uniform(1.0 - HIGH, 1.0, size))
    unit = np.where(np.isnan(given), unit, given)
    value = low + (high - low) * unit
    if not aimed:
        return value, np.ones(size), unit
    return value, np.asarray(1.0 / (PLAIN + (1.0 - PLAIN) * (unit >= 1.0 - HIGH) / HIGH)), unit


def draw_snow(
    rng: np.random.Generator, given: Array, middle: float, spread: float, load: tuple[float, float]
) -> tuple[Array, Array, Array]:
    """Lognormal snow about `middle`, most of it where it was measured too, the weights and numbers, (n,).

    Of that half is drawn by both, half by the measurement alone: the load at which an explanation fits does
    not ask how much snow is usual (`fea.evidence.fit.load_range`).
    """
    m, size = np.log(middle), len(given)
    z = rng.standard_normal(size)
    by_unit = ndtri(np.clip(given, LEAST_UNIT, 1.0 - LEAST_UNIT))
    value, deviation = load
    if not (np.isfinite(value) and value > 0.0 and np.isfinite(deviation)):
        z = np.where(np.isnan(given), z, by_unit)
        return np.exp(m + spread * z), np.ones(size), ndtr(z)
    told = deviation / value  # normal noise about as lognormal; only where to draw, weights make it right
    narrow = 1.0 / (1.0 / spread**2 + 1.0 / told**2)
    to = narrow * (m / spread**2 + np.log(value) / told**2)
    wide = WIDER * np.sqrt(narrow)
    at, broad = np.log(value), BROADER * told
    which = rng.random(size)
    aimed = np.where(which < 0.5 + 0.5 * PLAIN, to + wide * z, at + broad * z)
    log = np.where(which < PLAIN, m + spread * z, aimed)
    log = np.where(np.isnan(given), log, m + spread * by_unit)
    plain = 0.5 * ((log - m) / spread) ** 2
    by_both = np.exp(plain - 0.5 * ((log - to) / wide) ** 2) * spread / wide
    alone = np.exp(plain - 0.5 * ((log - at) / broad) ** 2) * spread / broad
    weight = 1.0 / (PLAIN + 0.5 * (1.0 - PLAIN) * (by_both + alone))
    return np.exp(log), weight, ndtr((log - m) / spread)


def together(*loads: tuple[float, float]) -> tuple[float, float]:
    """Mean of measurements by their variances, and its deviation; NaN where there is none."""
    there = np.array([one for one in loads if np.isfinite(one).all() and min(one) > 0.0]).reshape(-1, 2)
    if not len(there):
        return np.nan, np.nan
    share = 1.0 / there[:, 1] ** 2
    return float(share @ there[:, 0] / share.sum()), float(share.sum() ** -0.5)
