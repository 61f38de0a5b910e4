"""Where the numbers of a sample are drawn more often once some samples have been followed.

Every number that a sample of an explanation is made of is one from 0 to 1, even in its plain distribution.
Samples that came near to what was found say where each of them matters: their histogram, one for each number,
is what part of the next samples are drawn by (population Monte Carlo with the grid of Lepage 1978, J. Comput.
Phys. 27, from memory). The rest is drawn as before, and all samples of all rounds are weighted as one mixture
(balance heuristic; Owen and Zhou 2000, J. Am. Stat. Assoc. 95, from memory): no share changes in the mean,
but for a few percent of itself, as each grid also weights the samples that it was made from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]

BINS = 20  # of a number
FINE = 80  # of a place along all rows
NORMAL = ("snow", "drift", "strength")  # numbers that are those of normal ones, whose ends count
STEP, OUT = 0.25, 3.5  # of their bins, in deviations
BY_GRID = 0.7  # share of the samples of a round that are drawn by its grid
PLAINLY = 0.1  # of these, drawn by no grid: no sample of such a round weighs more than 1 / (their share)
EVEN = 0.15  # of each histogram that stays even, so that no number is left out
TEMPERED = 60.0  # effective samples that a grid is made from
COOLER = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 9.0, 14.0, 20.0, 30.0, 50.0, 100.0)  # times as wide as what was told


@dataclass(frozen=True)
class Grid:
    """Densities of each number over its plain one, by its name, one for each bin of `edges`."""

    of: dict[str, Array] = field(default_factory=dict)

    def inverse(self, name: str, even: Array) -> Array:
        """Numbers with this density from even ones."""
        if name not in self.of:
            return even
        at = edges(name)
        share = self.of[name] * np.diff(at)
        below = np.concatenate([[0.0], np.cumsum(share) / share.sum()])
        return np.interp(even, below, at)

    def over_plain(self, units: dict[str, Array]) -> Array:
        """Density of samples over the plain one, (n,); a number that is not used (NaN) has none."""
        found = np.ones(len(next(iter(units.values()))))
        for name, density in self.of.items():  # a dozen
            unit = units[name]
            at = np.searchsorted(edges(name), np.nan_to_num(unit), side="right") - 1
            found = found * np.where(np.isnan(unit), 1.0, density[np.clip(at, 0, len(density) - 1)])
        return found


def grid_of(units: dict[str, Array], weight: Array, log_chance: Array) -> Grid:
    """Grid by the samples that came near to what was found, the less sharply the fewer did.

    Parameters
    ----------
    units : dict of str to (n,) float
        Numbers of the samples, 0 to 1; NaN where a sample makes no use of one.
    weight : (n,) float
        Plain density over that with which each was drawn.
    log_chance : (n,) float
        Logarithm of the chance of what was found in each; minus infinity for none.
    """
    near = nearest(weight, log_chance)
    if not near.any():
        return Grid()
    return Grid({name: _density(name, value, near) for name, value in units.items()})


def nearest(weight: Array, log_chance: Array) -> Array:
    """Weights (n,) of the samples that come nearest, as many as `TEMPERED` effective ones; 0 for none."""
    there, near = np.isfinite(log_chance), np.zeros(len(weight))
    if not there.any():
        return near
    log = np.where(there, log_chance - log_chance[there].max(), -np.inf)
    for cool in COOLER:  # a dozen
        near = weight * np.exp(log / cool)
        if near.sum() ** 2 >= TEMPERED * (near**2).sum():
            break
    return near


def edges(name: str) -> Array:
    """Ends of the bins of a number: of equal chance, or of equal width where it is a normal one's."""
    last = name.rsplit("/", 1)[-1]
    if last in NORMAL:
        return np.concatenate([[0.0], ndtr(np.arange(-OUT, OUT + 0.5 * STEP, STEP)), [1.0]])
    return np.linspace(0.0, 1.0, (FINE if last == "place" else BINS) + 1)


def _density(name: str, value: Array, near: Array) -> Array:
    at, used = edges(name), ~np.isnan(value)
    near = near[used]
    if not near.sum() > 0.0:
        return np.ones(len(at) - 1)
    near = near / near.max()  # squares of the smallest have no number
    count = float(near.sum() ** 2 / (near**2).sum())
    share = np.histogram(value[used], at, weights=near)[0]
    wide = np.pad(share, 1)  # neighbors of a bin are as likely nearly
    share = 0.25 * wide[:-2] + 0.5 * wide[1:-1] + 0.25 * wide[2:]
    even = max(EVEN, 1.0 / (1.0 + 0.2 * count))  # few samples: more even
    return np.asarray((1.0 - even) * share / share.sum() / np.diff(at) + even)


def mixture_weight(units: dict[str, Array], first: Array, rounds: Sequence[tuple[Grid | None, int]]) -> Array:
    """Weights (n,) of the samples of all rounds together.

    Parameters
    ----------
    units : dict of str to (n,) float
    first : (n,) float
        Plain density over that of samples drawn without a grid.
    rounds : sequence of (Grid or None, int)
        Grid and number of samples of each round.
    """
    total = sum(count for _, count in rounds)
    density = np.zeros(len(first))
    for grid, count in rounds:  # a few
        part = 1.0 / first
        if grid is not None:
            by_grid = (1.0 - PLAINLY) * grid.over_plain(units) + PLAINLY
            part = (1.0 - BY_GRID) * part + BY_GRID * by_grid
        density += count / total * part
    return np.asarray(1.0 / density)
