"""Whether two records of load tests are one, by forces at fixed shares of the way to their peak."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NEAR = 0.98  # of the largest force, up to which a record is looked at
PLACES = 12  # up to there, evenly by displacement, whose forces tell a record from every other
SAME = 1e-4  # of the largest: a copy that went through other units
NEARLY = 5e-3  # of the largest: a copy that was cut off, thinned out or scaled a little (judgment)

# Readings that two records must share before their noise can be compared, and their share of the shorter one.
# Of white noise with 64 to 1,000 readings no pair of 17,000 correlated by more than 0.75, shifts counted.
SHARED, COMMON = 60, 0.5
COPIED = 0.85  # correlation of noise from where one record is a copy of the other (judgment)
CUT = 3.0  # deviations that a loss or spike counts as at most
SWINGS = -0.4  # correlation of neighbors below which fourth differences are mostly noise
LEAST_NOISE = 1e-6  # of the largest force, below which there is none


def record_print(displacement: Array, force: Array) -> dict[str, Any]:
    """Where a record first comes near its largest force, and its force on even shares of the way. [m, N].

    What comes later and how many readings there are say nothing of whose record it is, and where a flat top
    is highest hangs on its last digits.
    """
    near = int(np.argmax(force >= NEAR * force.max()))
    way = np.maximum.accumulate(displacement[: near + 1])  # gauges jitter
    way, first = np.unique(way, return_index=True)
    most = np.maximum.reduceat(force[: near + 1], first)
    at = way[0] + np.arange(1, PLACES + 1) / PLACES * (way[-1] - way[0])
    return {"near_peak_at": float(way[-1]), "force": np.interp(at, way, most).tolist()}


def is_same_record(one: Mapping[str, Any], other: Mapping[str, Any], within: float = SAME) -> bool:
    """Whether two of `record_print` are of one record, within a share of force and displacement."""
    a, b = (np.asarray(some["force"], dtype=float) for some in (one, other))
    ends = np.array([one["near_peak_at"], other["near_peak_at"]])
    if len(a) != len(b) or abs(np.diff(ends)[0]) > within * np.abs(ends).max():
        return False
    return bool(np.abs(a - b).max() <= within * max(np.abs(a).max(), np.abs(b).max()))


def noise_print(force: Array) -> Array | None:
    """Noise of a record, (n - 4,), in deviations of its own; None for too short a record, or one without any.

    Fourth differences leave nothing of a smooth curve, and of white noise a series that swings back: its
    neighbors correlate by -0.8. A series that does not is the curve's own shape, which scaled curves share.
    Losses and spikes are cut to what noise reaches, as they would stand for all the rest.
    """
    if len(force) < SHARED + 4:
        return None
    fourth = np.diff(force, 4)
    deviation = float(np.median(np.abs(fourth))) / 0.6745
    if not deviation > LEAST_NOISE * float(np.abs(force).max()):
        return None
    noise = np.clip(fourth / deviation, -CUT, CUT)
    swings = float(noise[1:] @ noise[:-1]) < SWINGS * float(noise @ noise)
    return noise if swings else None


def shared_noise(one: Array, other: Array) -> float:
    """Largest correlation of two of `noise_print` at any shift of readings with enough in common."""
    from scipy.signal import correlate

    def along(a: Array, b: Array) -> Array:
        return np.asarray(correlate(a, b, mode="full", method="fft"))

    count = along(np.ones(len(one)), np.ones(len(other)))
    energy = along(one**2, np.ones(len(other))) * along(np.ones(len(one)), other**2)
    enough = count > max(SHARED, COMMON * min(len(one), len(other))) - 0.5
    if not enough.any():
        return 0.0
    return float((along(one, other)[enough] / np.sqrt(np.maximum(energy[enough], 1e-12))).max())
