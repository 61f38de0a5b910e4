"""Random numbers in fixed batches, the same to the bit on any number of workers."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BATCH = 1000  # samples of one batch; never depends on the machine


def stream(seed: int, batch: int, purpose: int = 0) -> np.random.Generator:
    """Generator of one batch: a counter-based one whose key is the seed, the batch and what it is for."""
    return np.random.Generator(np.random.Philox(np.random.SeedSequence([seed, purpose, batch])))


def batches(count: int, size: int = BATCH) -> Iterator[tuple[int, int]]:
    """Number and size of each batch of `count` samples."""
    for batch in range(-(-count // size)):
        yield batch, min(size, count - batch * size)


def normal_batch(seed: int, batch: int, size: int, inputs: int) -> Array:
    """Standard normal numbers (size, inputs) of one batch."""
    return stream(seed, batch).standard_normal((size, inputs))


def latin_batch(seed: int, batch: int, size: int, inputs: int) -> Array:
    """As `normal_batch`, by Latin hypercube: every input's range is filled evenly within the batch.

    McKay, Beckman and Conover 1979; one random place in each of `size` cells of equal chance.
    """
    from scipy.stats import norm

    rng = stream(seed, batch)
    order = rng.permuted(np.tile(np.arange(size)[:, None], (1, inputs)), axis=0)
    return np.asarray(norm.ppf((order + rng.random((size, inputs))) / size))
