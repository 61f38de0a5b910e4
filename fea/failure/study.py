"""Uncertain loads and strengths of a roof's clamps: the chance that a row lets go.

Every batch has random numbers of its own, so that results are the same to the bit on any number of threads.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.failure.cascade import Assembly, FailureSamples, cascade
from fea.sampling.chance import Chance, counted
from fea.sampling.streams import batches, stream
from fea.sampling.variables import Inputs

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Scatter:
    """What differs from clamp to clamp and from roof to roof.

    Attributes
    ----------
    load : Inputs
        Factors on the growing load, all of them multiplied, such as depth and density.
    strength : float
        Coefficient of variation of a clamp's strength about its mean (lognormal). [-]
    together : float
        Correlation of the logarithms of two clamps' strengths, such as by one batch. [-]
    missing, loose : float
        Chance that a clamp is not there, or is loose. [-]
    loose_strength : float
        Share of its strength that a loose clamp has, above 0. [-]
    """

    load: Inputs
    strength: float = 0.0
    together: float = 0.0
    missing: float = 0.0
    loose: float = 0.0
    loose_strength: float = 0.5

    def __post_init__(self) -> None:
        """Refuse what is no scatter.

        Raises
        ------
        ValueError
        """
        for name, value, low, high in (
            ("strength", self.strength, 0.0, 2.0),
            ("together", self.together, 0.0, 1.0),
            ("missing", self.missing, 0.0, 1.0),
            ("loose", self.loose, 0.0, 1.0),
            ("loose_strength", self.loose_strength, 1e-9, 1.0),
        ):
            if not low <= value <= high:
                message = f"{name} = {value:g} must lie between {low:g} and {high:g}"
                raise ValueError(message)


@dataclass(frozen=True)
class RoofCase:
    """One roof and one snow case.

    Attributes
    ----------
    roof : Assembly
    held, load : (c,) float
        Clamp forces as `cascade` takes them, at the snow of the case. [N]
    capacity, residual : (c,) float
        Mean strength, and what is left of it. [N]
    release, impact : float
        As `cascade`.
    """

    roof: Assembly
    held: Array
    load: Array
    capacity: Array
    residual: Array
    release: float = 2.0
    impact: float = 2.0


def sample_batch(
    case: RoofCase, scatter: Scatter, seed: int, batch: int, size: int, target: float = 1.0
) -> FailureSamples:
    """One batch of samples, grown to `target` times each sample's own load."""
    rng = stream(seed, batch, purpose=2)
    c = len(case.load)
    factor = scatter.load.values(rng.standard_normal((size, scatter.load.count))).prod(axis=1)
    shared, own = rng.standard_normal((size, 1)), rng.standard_normal((size, c))
    spread = np.sqrt(np.log1p(scatter.strength**2))
    normal = np.sqrt(scatter.together) * shared + np.sqrt(1.0 - scatter.together) * own
    share = np.exp(spread * normal - 0.5 * spread**2)
    chance = rng.random((size, c))
    missing = chance < scatter.missing
    loose = ~missing & (chance < scatter.missing + (1.0 - scatter.missing) * scatter.loose)
    share = np.where(loose, scatter.loose_strength, 1.0) * share
    return cascade(
        case.roof,
        case.held,
        np.maximum(factor, 0.0)[:, None] * case.load,
        share * case.capacity,
        share * case.residual,
        target=target,
        missing=missing,
        release=case.release,
        impact=case.impact,
    )


def chance_of_failure(
    case: RoofCase,
    scatter: Scatter,
    count: int,
    seed: int = 1,
    target: float = 1.0,
    threads: int | None = None,
) -> Chance:
    """Chance that a row lets go, by Monte Carlo, with its 95 % interval.

    Samples without an answer count as failed.
    """

    def failed(one: tuple[int, int]) -> int:
        return int(sample_batch(case, scatter, seed, *one, target).failed.sum())

    with ThreadPoolExecutor(threads or os.cpu_count() or 1) as pool:
        return counted(sum(pool.map(failed, batches(count))), count)
