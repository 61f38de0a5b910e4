"""What no clamp does in the record of a test: lone spikes, jumps of force or gauge, a start far from zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from fea.strength_tests.curves import LEAST_POINTS, QUIET, SLIP_DROP, STIFF_RANGE, noise_of
from fea.strength_tests.gaps import gap_of
from fea.strength_tests.jumps import FILTERED, step_up

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

SPIKE = 0.02  # of the largest force, beyond which a value that nothing supports is none (judgment)
JUMP = 0.03  # of the largest force, the least jump up that is doubted (judgment)
STEEPER = 2.0  # times the steepest rise around a step, beyond which it is not the curve's own (judgment)
LED = 3  # loaded readings at least that must lead to a value before it can be said that they do not
AROUND = 4  # readings before and after a step that say what steps the curve makes
NEARBY = 15  # readings whose second differences tell the noise around one
START = 0.05  # of the largest force, from which a start is far from no force (judgment)
GAUGE_STEP = 10.0  # times the steps around, beyond which a gauge jumped (judgment)
GAUGE_WAY = 0.1  # of the way of the record, the least jump of a gauge that is told (judgment)
ENDS = 0.25  # last share of a record that says whether it still rises
RISES = 0.005  # of the largest force by which it does at least (judgment)


@dataclass(frozen=True)
class Record:
    """What is odd in one record; None where nothing is. Places are displacements [m], forces [N].

    Attributes
    ----------
    spikes : (s, 3) float
        Place, value and what counts in its stead of lone values that no neighbor supports.
    jump : tuple or None
        Place, force before, and by how much the force jumps up in its rise to the peak.
    start : float or None
        Force of the first reading where it is far from none.
    gauge : tuple or None
        Place and size of a jump of the displacement without loss of force.
    gap : tuple or None
        Place and width of lost readings, force before and after, and whether it rose beyond its own curve.
    unfailed : bool
        The record ends on its rise.
    """

    spikes: Array
    jump: tuple[float, float, float] | None
    start: float | None
    gauge: tuple[float, float] | None
    unfailed: bool
    gap: tuple[float, float, float, float, bool] | None = None


def readable(displacement: Array, force: Array) -> bool:
    """Whether a record can be looked at; `read_curve` says what is wrong with others."""
    both = np.stack([displacement, force])
    return both.shape[1] >= LEAST_POINTS and bool(np.all(np.isfinite(both))) and float(np.max(force)) > 0.0


def settled(displacement: Array, force: Array) -> tuple[Array, Bools]:
    """Force without its lone spikes, (n,), and which those were, (n,) bool.

    A spike lies above the two readings on either side by more than the noise, and the curve was not rising to
    it: a sharp peak of a coarse record lies where the line of the readings before leads, a spike beside it.
    The larger neighbor counts in its stead.
    """
    n = len(force)
    if n < 2 * AROUND:
        return force, np.zeros(n, dtype=bool)
    before = np.maximum(_shifted(force, 1, -np.inf), _shifted(force, 2, -np.inf))
    after = np.maximum(_shifted(force, -1, -np.inf), _shifted(force, -2, -np.inf))
    rest = float(np.sort(force)[-3])  # a spike must not set its own bound
    bound = np.maximum(SPIKE * rest, QUIET * _local_noise(force))
    step = np.append(0.0, np.maximum(np.diff(displacement), 0.0)) + _count(displacement)
    led = STEEPER * np.append(0.0, _steepest(displacement, force, 1)) * step
    lone = force - np.maximum(before, after) - led > bound
    # A peak that the second or third loaded reading reaches may be one: too few lead to it to say.
    loaded = np.cumsum(force > STIFF_RANGE[0] * rest) > LED
    lone &= loaded | (after < STIFF_RANGE[0] * rest)
    lone[0] = lone[-1] = False  # the last one falls nowhere: see `_jump`
    return np.where(lone, np.maximum(_shifted(force, 1, 0.0), _shifted(force, -1, 0.0)), force), lone


def read_record(displacement: Array, force: Array) -> tuple[Array, Record]:
    """The force that counts, (n,), and what is odd in the record."""
    u = np.asarray(displacement, dtype=float)
    clean, lone = settled(u, np.asarray(force, dtype=float))
    top = int(np.argmax(clean))
    spikes = np.stack([u[lone], np.asarray(force)[lone], clean[lone]], axis=1)
    record = Record(
        spikes=spikes,
        jump=_jump(u, clean, top),
        start=_start(u, clean, top),
        gauge=_gauge(u, clean),
        unfailed=_rising(u, clean, top),
        gap=gap_of(u[: top + 1], clean[: top + 1], _local_noise(clean)[: top + 1]),
    )
    return clean, record


def _shifted(values: Array, by: int, fill: float) -> Array:
    """Value `by` readings before, (n,)."""
    out = np.full(len(values), fill)
    if by > 0:
        out[by:] = values[:-by]
    else:
        out[:by] = values[-by:]
    return out


def _local_noise(force: Array) -> Array:
    """Deviation of the noise around each reading, which may grow with the force, (n,). [N]."""
    second = np.abs(np.diff(force, 2))
    around = median_filter(np.pad(second, 1, mode="edge"), NEARBY, mode="reflect")
    return np.maximum(around / 0.6745 / np.sqrt(6.0), noise_of(force))


def _count(displacement: Array) -> float:
    """One count of a gauge that stands still between readings; 0 for others. [m]."""
    step = np.abs(np.diff(displacement))
    moved = step[step > 0.0]
    return float(moved.min()) if 0 < len(moved) < len(step) else 0.0


def _steepest(displacement: Array, force: Array, over: int) -> Array:
    """Steepest rise of the steps around the one of `over` readings from each reading, (n - over,). [N/m]."""
    du, df = (v[over:] - v[:-over] for v in (displacement, force))
    slope = np.maximum(df, 0.0) / np.maximum(du + _count(displacement), 1e-12)
    slope[du < 0.0] = 0.0
    return _largest_around(slope, over)


def _largest_around(values: Array, over: int) -> Array:
    """Largest of the values around each that share no step with it, (n,)."""
    out = np.zeros(len(values))
    for k in range(over, over + AROUND):
        if k < len(values):
            out = np.maximum(out, np.maximum(_shifted(values, k, 0.0), _shifted(values, -k, 0.0)))
    return out


def _jump(u: Array, f: Array, top: int) -> tuple[float, float, float] | None:
    """The largest jump up to a force not reached before, against noise and the curve's own steps."""
    peak = float(f.max())
    noise = QUIET * _local_noise(f)
    highest = np.maximum.accumulate(f)
    for over in range(1, FILTERED + 1):
        if len(f) < over + 2 * AROUND:
            break
        rise = f[over:] - highest[:-over]  # a regrip up to what was held already is none
        way = np.maximum(u[over:] - u[:-over], 0.0) + _count(u)
        own = STEEPER * np.maximum(_steepest(u, f, over), _stiffness(u, f, top)) * way
        own = np.maximum(own, STEEPER * _largest_around(f[over:] - f[:-over], over))
        least = np.maximum(JUMP * peak, noise[:-over])
        odd = (rise - own > least) & (np.arange(len(rise)) < top)
        if odd.any():
            at = int(np.argmax(np.where(odd, rise, -np.inf)))
            return float(u[at]), float(highest[at]), float(rise[at])
    up = slice(top + 1)
    return step_up(u[up], f[up], _local_noise(f)[up], _count(u))


def _stiffness(u: Array, f: Array, top: int) -> float:
    """Slope between 10 and 40 % of the largest force, whatever jumps there are. [N/m]."""
    low, high = (int(np.argmax(f[: top + 1] >= share * f[top])) for share in STIFF_RANGE)
    slopes = np.diff(f[max(low - 1, 0) : high + 1]) / np.maximum(
        np.diff(u[max(low - 1, 0) : high + 1]), 1e-12
    )
    return float(np.median(slopes)) if len(slopes) else 0.0


def _start(u: Array, f: Array, top: int) -> float | None:
    """Force of a start far from none, which the way of its first reading does not explain."""
    peak, first = float(f[top]), float(f[0])
    own = 3.0 * noise_of(f) + STEEPER * max(_stiffness(u, f, top), 0.0) * max(float(u[0]), 0.0)
    return first if abs(first) > START * peak + own else None


def _gauge(u: Array, f: Array) -> tuple[float, float] | None:
    """The largest jump of the displacement where the force is no less after it."""
    step = np.abs(np.diff(u))
    if len(step) < 2 * AROUND:
        return None
    usual = np.maximum(_largest_around(step, 1), max(float(np.median(step)), _count(u)))
    odd = (step > GAUGE_STEP * usual) & (step > GAUGE_WAY * np.ptp(u)) & (np.diff(f) > -3.0 * noise_of(f))
    if not odd.any():
        return None
    at = int(np.argmax(np.where(odd, step, -np.inf)))
    return float(u[at]), float(u[at + 1] - u[at])


def _rising(u: Array, f: Array, top: int) -> bool:
    """Whether the record ends without a loss, while the force still rises."""
    peak, noise = float(f[top]), noise_of(f)
    if float(f[top:].min()) < peak - max(SLIP_DROP * peak, QUIET * noise):
        return False
    last = slice(-max(int(ENDS * len(f)), AROUND), None)
    if not np.ptp(u[last]) > 0.0:
        return False
    slope, level = np.polyfit(u[last], f[last], 1)
    spread = float(np.std(f[last] - level - slope * u[last]))
    rise = float(slope) * float(u[-1] - u[last][0])
    return rise > max(RISES * peak, 4.0 * spread / np.sqrt(len(f[last])) * np.sqrt(12.0))
