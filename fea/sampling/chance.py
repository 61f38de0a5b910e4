"""The chance that a margin falls to zero or below, with the interval it is known within."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from fea.sampling.streams import BATCH, batches, latin_batch, normal_batch, stream

Array = NDArray[np.float64]
Margin = Callable[[Array], Array]  # standard normal numbers (n, d) -> margin (n,), failure at 0 or below

CONFIDENCE = 0.95
SHARE = 0.1  # of the samples of a level that go on, in subset sampling (Au and Beck 2001)
MOST_LEVELS = 30
FEW = 30  # failures, or samples that held, below which batches do not scatter like normal numbers
SPREAD = 0.8  # correlation of a chain's step at first (Papaioannou et al. 2015 adapt it)


@dataclass(frozen=True)
class Chance:
    """A probability with its interval.

    Attributes
    ----------
    value, low, high : float
        Estimate and its 95 % confidence interval.
    calls : int
        Margins that were calculated.
    method : str
    """

    value: float
    low: float
    high: float
    calls: int
    method: str


def crude(margin: Margin, inputs: int, count: int, seed: int = 1) -> Chance:
    """Plain Monte Carlo; interval of Clopper and Pearson 1934, never too short."""
    failed = sum(
        int((margin(normal_batch(seed, batch, size, inputs)) <= 0.0).sum()) for batch, size in batches(count)
    )
    return counted(failed, count)


def counted(failed: int, count: int) -> Chance:
    """Chance from failures counted among independent samples."""
    tail = 0.5 * (1.0 - CONFIDENCE)
    low = 0.0 if failed == 0 else float(stats.beta.ppf(tail, failed, count - failed + 1))
    high = 1.0 if failed == count else float(stats.beta.ppf(1.0 - tail, failed + 1, count - failed))
    return Chance(failed / count, low, high, count, "Monte Carlo")


def latin(margin: Margin, inputs: int, count: int, seed: int = 1) -> Chance:
    """Latin hypercubes of `BATCH` samples each; interval from the scatter of the batches (Student's t).

    At least ten batches are taken.
    """
    sizes = [size for _, size in batches(max(count, 10 * BATCH)) if size == BATCH]
    return latin_chance(
        np.array([(margin(latin_batch(seed, b, size, inputs)) <= 0.0).mean() for b, size in enumerate(sizes)])
    )


def latin_chance(share: Array) -> Chance:
    """Chance from the shares of failures in hypercubes of `BATCH` samples each.

    Counts too small for Student's t take the interval of plain counts, which layers only narrow.
    """
    count, found = len(share) * BATCH, share.mean()
    failed = round(float(share.sum()) * BATCH)
    if failed < FEW or count - failed < FEW:
        rare = counted(failed, count)
        return Chance(rare.value, rare.low, rare.high, count, "Latin hypercube")
    half = stats.t.ppf(0.5 + 0.5 * CONFIDENCE, len(share) - 1) * share.std(ddof=1) / np.sqrt(len(share))
    return Chance(
        float(found), float(max(found - half, 0.0)), float(min(found + half, 1.0)), count, "Latin hypercube"
    )


def design_point(margin: Margin, inputs: int, steps: int = 60, h: float = 1e-3) -> tuple[Array, int]:
    """The most likely point of failure in standard normal space, and the number of calls.

    The iteration of Hasofer, Lind, Rackwitz and Fiessler (1978) with halved steps.
    """
    u, calls = np.zeros(inputs), 0
    value = float(margin(u[None])[0])
    calls += 1
    scale = max(abs(value), 1e-12)
    for _ in range(steps):
        near = u + h * np.concatenate([np.eye(inputs), -np.eye(inputs)])
        around = margin(near)
        calls += len(near)
        slope = (around[:inputs] - around[inputs:]) / (2.0 * h)
        size = float(slope @ slope)
        if size <= 1e-24 * scale**2:
            break
        goal = (slope @ u - value) * slope / size
        way, step = goal - u, 1.0
        weight = 2.0 * np.linalg.norm(u) / np.sqrt(size) + 10.0
        merit = 0.5 * float(u @ u) + weight * abs(value)
        for _ in range(12):
            trial = u + step * way
            now = float(margin(trial[None])[0])
            calls += 1
            if 0.5 * float(trial @ trial) + weight * abs(now) < merit:
                break
            step *= 0.5
        moved = step * float(np.linalg.norm(way))
        u, value = u + step * way, now
        if moved < 1e-4 and abs(value) < 1e-6 * scale:
            break
    return u, calls


def importance(margin: Margin, inputs: int, count: int, seed: int = 1) -> Chance:
    """Sampling about the most likely point of failure; interval from the scatter of the weighted samples.

    Good where one such point governs; others would be missed, which `subset` does not do.
    """
    center, calls = design_point(margin, inputs)
    total, square = 0.0, 0.0
    for batch, size in batches(count):
        z = normal_batch(seed, batch, size, inputs)
        u = center + z
        weight = np.exp(-u @ center + 0.5 * center @ center) * (margin(u) <= 0.0)
        total, square = total + float(weight.sum()), square + float((weight**2).sum())
    mean = total / count
    deviation = np.sqrt(max(square / count - mean**2, 0.0) / count)
    half = stats.norm.ppf(0.5 + 0.5 * CONFIDENCE) * deviation
    return Chance(mean, max(mean - half, 0.0), min(mean + half, 1.0), calls + count, "importance sampling")


def subset(margin: Margin, inputs: int, count: int = 2000, seed: int = 1, repeats: int = 16) -> Chance:
    """Subset simulation for small chances.

    Parameters
    ----------
    margin : callable
    inputs : int
    count : int
        Samples of one level.
    seed : int
    repeats : int
        Independent runs; their scatter gives the interval, which so holds whatever the chains share.

    Returns
    -------
    Chance
        Mean of the runs; interval of its logarithm by Student's t.

    Notes
    -----
    Au and Beck 2001; chains by conditional sampling in standard normal space with an adapted step
    (Papaioannou, Betz, Zwirglmaier and Straub 2015).
    """
    return subset_chance([subset_run(margin, inputs, count, seed, run) for run in range(repeats)])


def subset_chance(found: Sequence[tuple[float, int]]) -> Chance:
    """Chance from the values and calls of independent runs."""
    repeats = len(found)
    value = np.array([one for one, _ in found])
    calls = sum(n for _, n in found)
    mean = float(value.mean())
    if mean == 0.0:
        return Chance(0.0, 0.0, SHARE**MOST_LEVELS, calls, "subset simulation")
    spread = float(value.std(ddof=1)) / (mean * np.sqrt(repeats))
    half = float(stats.t.ppf(0.5 + 0.5 * CONFIDENCE, repeats - 1)) * spread
    return Chance(mean, mean * np.exp(-half), min(mean * np.exp(half), 1.0), calls, "subset simulation")


def subset_run(margin: Margin, inputs: int, count: int, seed: int, run: int) -> tuple[float, int]:
    """One independent run of `subset`: its chance and its calls."""
    rng = stream(seed, run, purpose=1)
    u = rng.standard_normal((count, inputs))
    value = margin(u)
    calls, chance = count, 1.0
    seeds = int(SHARE * count)
    for _ in range(MOST_LEVELS):
        order = np.argsort(value, kind="stable")
        bound = float(value[order[seeds - 1]])
        if bound <= 0.0:
            return chance * float((value <= 0.0).mean()), calls
        chance *= SHARE
        chosen = order[:seeds]
        u, value = _chains(margin, rng, u[chosen], value[chosen], bound, count // seeds)
        calls += len(u) - seeds
    return 0.0, calls


def _chains(
    margin: Margin, rng: np.random.Generator, u: Array, value: Array, bound: float, length: int
) -> tuple[Array, Array]:
    """Samples given that the margin is at most `bound`: chains from every seed, all of them at once."""
    points, values = [u], [value]
    spread = 1.0 - SPREAD
    for _ in range(length - 1):
        rho = np.sqrt(max(1.0 - spread**2, 0.0))
        trial = rho * u + spread * rng.standard_normal(u.shape)
        now = margin(trial)
        taken = now <= bound
        u = np.where(taken[:, None], trial, u)
        value = np.where(taken, now, value)
        points.append(u)
        values.append(value)
        spread = float(np.clip(np.exp(np.log(spread) + taken.mean() - 0.44), 0.02, 1.0))
    return np.concatenate(points), np.concatenate(values)
