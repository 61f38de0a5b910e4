"""Where samples are drawn more often because of what was found; weights undo it (importance sampling).

A roof of a hundred clamps has so many places for a flaw that few samples of the plain distributions put it
where the clamps came off. Here most of them do, and each sample carries its plain density over that it was
drawn with (Owen, Monte Carlo theory, methods and examples, chapter 9, from memory). A share of all samples
is drawn plainly (a defensive mixture), so that no weight exceeds about 1 / `PLAIN` to the
power of what is aimed at once: snow, place, height, of each explanation of a pair.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

PLAIN = 0.3  # share of the samples that are drawn as if nothing was found
WIDER = 1.3  # times the deviation that snow is drawn with, so that its weights stay small
BROADER = 1.6  # the same about what was measured alone, for its ends where such snow is rare
HIGH = 0.7  # upper part of a range where something is looked for that must be large to matter
DENSE = 0.7  # of the clamps between the first and the last that gave way, from which they are one stretch
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


def draw_place(rng: np.random.Generator, near: NDArray[np.bool_], size: int) -> tuple[IntArray, Array]:
    """One of k places in each sample, evenly in the plain distribution, and the weights, both (size,)."""
    k, there = len(near), np.flatnonzero(near)
    if not 0 < len(there) < k:
        return rng.integers(0, k, size), np.ones(size)
    plain = rng.random(size) < PLAIN
    at = np.where(plain, rng.integers(0, k, size), there[rng.integers(0, len(there), size)])
    drawn = PLAIN / k + (1.0 - PLAIN) * near[at] / len(there)
    return at, 1.0 / (k * drawn)


def draw_stretch(
    rng: np.random.Generator, aim: Aim, least: int, most: int, size: int
) -> tuple[IntArray, IntArray, Array]:
    """Place of the middle of a stretch and its clamps, both even in the plain distribution, and the weights.

    Where one stretch gave way, part of the samples have it in the inner half of that, a quarter to one and a
    half times as long. All (size,).
    """
    k, lengths = len(aim.near), most - least + 1
    at, weight = draw_place(rng, aim.near, size)
    long = rng.integers(least, most + 1, size)
    if aim.span is None or not 0 < aim.near.sum() < k:
        return at, long, weight
    n = aim.span[1] - aim.span[0] + 1
    low, high = aim.span[0] + n // 4, aim.span[1] - n // 4
    short = min(max(least, n // 4), most)
    longest = max(min(most, n + n // 2), short)
    inner = rng.random(size) < 0.5 * (1.0 - PLAIN)
    at = np.where(inner, rng.integers(low, high + 1, size), at)
    long = np.where(inner, rng.integers(short, longest + 1, size), long)
    within = (at >= low) & (at <= high) & (long >= short) & (long <= longest)
    usual = (PLAIN / k + (1.0 - PLAIN) * aim.near[at] / aim.near.sum()) / lengths
    core = within / ((high - low + 1.0) * (longest - short + 1.0))
    share = 0.5 * (1.0 - PLAIN)
    return at, long, 1.0 / (k * lengths * ((1.0 - share) * usual + share * core))


def draw_high(
    rng: np.random.Generator, low: float, high: float, size: int, *, aimed: bool
) -> tuple[Array, Array]:
    """Even numbers from low to high, most of the upper `HIGH` of the range if aimed, and weights."""
    value = rng.uniform(low, high, size)
    if not aimed:
        return value, np.ones(size)
    from_ = high - HIGH * (high - low)
    value = np.where(rng.random(size) < PLAIN, value, rng.uniform(from_, high, size))
    return value, np.asarray(1.0 / (PLAIN + (1.0 - PLAIN) * (value >= from_) / HIGH))


def draw_snow(
    rng: np.random.Generator, size: int, middle: float, spread: float, load: tuple[float, float]
) -> tuple[Array, Array]:
    """Lognormal snow about `middle`, most of it where it was measured too, and the weights, (size,).

    Of that half is drawn by both, half by the measurement alone: the load at which an explanation fits does
    not ask how much snow is usual (`fea.evidence.fit.load_range`).
    """
    m = np.log(middle)
    z = rng.standard_normal(size)
    value, deviation = load
    if not (np.isfinite(value) and value > 0.0 and np.isfinite(deviation)):
        return np.exp(m + spread * z), np.ones(size)
    told = deviation / value  # normal noise about as lognormal; only where to draw, weights make it right
    narrow = 1.0 / (1.0 / spread**2 + 1.0 / told**2)
    to = narrow * (m / spread**2 + np.log(value) / told**2)
    wide = WIDER * np.sqrt(narrow)
    at, broad = np.log(value), BROADER * told
    which = rng.random(size)
    aimed = np.where(which < 0.5 + 0.5 * PLAIN, to + wide * z, at + broad * z)
    log = np.where(which < PLAIN, m + spread * z, aimed)
    plain = 0.5 * ((log - m) / spread) ** 2
    by_both = np.exp(plain - 0.5 * ((log - to) / wide) ** 2) * spread / wide
    alone = np.exp(plain - 0.5 * ((log - at) / broad) ** 2) * spread / broad
    return np.exp(log), 1.0 / (PLAIN + 0.5 * (1.0 - PLAIN) * (by_both + alone))


def together(*loads: tuple[float, float]) -> tuple[float, float]:
    """Mean of measurements by their variances, and its deviation; NaN where there is none."""
    there = np.array([one for one in loads if np.isfinite(one).all() and min(one) > 0.0]).reshape(-1, 2)
    if not len(there):
        return np.nan, np.nan
    share = 1.0 / there[:, 1] ** 2
    return float(share @ there[:, 0] / share.sum()), float(share.sum() ** -0.5)
