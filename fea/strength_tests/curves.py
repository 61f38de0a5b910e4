"""Reading force-displacement curves: peak, stiffness, first slip, proof load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

STIFF_RANGE = (0.1, 0.4)  # shares of the peak between which stiffness is read (judgment)
SLIP_DROP = 0.03  # a sudden loss of more than this share of the force reached so far is a slip (judgment)
LEAST_DROP = 0.01  # share by which the force itself must fall in a loss against the trend (judgment)
QUIET = 7.0  # times the noise of the record that a loss must exceed
STILL = 0.75  # steps of a record that change at most where its resolution shows
COARSEST = 0.02  # of the peak, beyond which steps are none of the resolution
LEAST_POINTS = 8
BACK = 0.1  # share of its way by which no displacement falls back while the force is no less (judgment)
LEVELS = 50  # of force at which that is looked at
AT_ONCE = (2, 0.02)  # points, and share of the way so far, within which a loss is sudden (judgment)
GOES_ON = 1.5  # times what the next points lose, from which a loss within few points is sudden (judgment)


@dataclass(frozen=True)
class CurveReading:
    """What a curve says, SI.

    Attributes
    ----------
    peak : float
        Largest force. [N]
    at_peak : float
        Displacement there, seating taken off. [m]
    stiffness : float
        Slope of the line through the points between 10 and 40 % of the peak on the way up. [N/m]
    toe : float
        Displacement where that line meets no force. [m]
    seating : float
        Play and seating, taken off: `toe`, where the curve does not begin beyond it, as that of a clamp that
        softens does. [m]
    slip : float
        Force before the first sudden loss (`first_fall`); the peak where there is none. [N]
    slip_at : float
        [m]
    proof : float
        Force where the curve first meets the stiffness line moved by the offset; the peak where it never
        does before it. [N]
    proof_at : float
        [m]
    work : float
        Area below the curve up to the peak. [J]
    """

    peak: float
    at_peak: float
    stiffness: float
    toe: float
    seating: float
    slip: float
    slip_at: float
    proof: float
    proof_at: float
    work: float


def read_curve(displacement: ArrayLike, force: ArrayLike, offset: float = 0.5e-3) -> CurveReading:
    """Read one curve.

    Parameters
    ----------
    displacement, force : (n,) float
        In the order of the test, pull positive. [m, N]
    offset : float
        Permanent displacement at the proof load. [m]

    Raises
    ------
    ValueError
        Says what is wrong with the curve.
    """
    u, f = np.asarray(displacement, dtype=float), np.asarray(force, dtype=float)
    if len(u) < LEAST_POINTS or len(u) != len(f):
        message = f"{len(u)} points are too few to read a curve (at least {LEAST_POINTS})"
        raise ValueError(message)
    if not np.all(np.isfinite(u)) or not np.all(np.isfinite(f)):
        message = "has points that are no numbers"
        raise ValueError(message)
    top = int(np.argmax(f))
    peak = float(f[top])
    below = -float(np.sort(f)[2])  # two readings that stand alone are none of the sign
    if below > max(peak, 0.0):
        message = (
            f"has forces down to -{below / 1e3:.4g} kN and none above {max(peak, 0.0) / 1e3:.4g} kN: the "
            "sign of the column is the other one; the load of a test must be positive, whatever its direction"
        )
        raise ValueError(message)
    if peak <= 0.0 or top < 3:
        message = "does not rise to a peak; give force and displacement of a pull, from zero"
        raise ValueError(message)
    up, load = u[: top + 1], f[: top + 1]
    first = int(np.argmax(load >= STIFF_RANGE[1] * peak))
    on = np.flatnonzero(
        (load[: first + 1] >= STIFF_RANGE[0] * peak) & (load[: first + 1] <= STIFF_RANGE[1] * peak)
    )
    if len(on) < 2:
        on = np.array([max(int(np.argmax(load >= STIFF_RANGE[0] * peak)) - 1, 0), first])
    if np.ptp(up[on]) <= 0.0:
        message = "rises without displacement; check the column of displacement"
        raise ValueError(message)
    stiffness, start = (float(v) for v in np.polyfit(up[on], load[on], 1))
    back = _fallen_back(up, load)
    if back > BACK and up[-1] > up[0]:  # else it is a sign
        message = (
            f"falls back by {100.0 * back:.0f} % of its displacement while the force is no less, as no "
            "specimen does: the columns of displacement and force look swapped; check the heads. If they are "
            "right, the gauge jumped, was set back or moved before it touched: leave such points out"
        )
        raise ValueError(message)
    if stiffness <= 0.0:
        message = "falls where it should rise, between 10 and 40 % of its peak; check signs and columns"
        raise ValueError(message)
    toe = -start / stiffness
    seating = max(toe, float(u[0] - max(f[0], 0.0) / stiffness))
    slip, slip_at = _first_loss(up, load)
    proof, proof_at = _proof(up - toe, load, stiffness, offset)
    return CurveReading(
        peak=peak,
        at_peak=float(up[-1] - seating),
        stiffness=stiffness,
        toe=toe,
        seating=seating,
        slip=slip,
        slip_at=slip_at - seating,
        proof=proof,
        proof_at=proof_at + toe - seating,
        work=float(np.trapezoid(load, up)),
    )


def _fallen_back(displacement: Array, force: Array) -> float:
    """Largest fall of the displacement to a point of no less force, over its way; 0 for none. [-].

    A specimen that unloads goes back with its force, one that slips goes on as it loses it; where columns are
    swapped, a slip is a "displacement" that falls at once under a growing "force".
    """
    way, worst = float(np.ptp(displacement)), 0.0
    for level in np.linspace(0.0, float(force.max()), LEVELS):
        reached = np.maximum.accumulate(np.where(force <= level, displacement, -np.inf))
        fall = np.where(force >= level, reached - displacement, -np.inf)
        worst = max(worst, float(fall.max()))
    return worst / way if way > 0.0 else 0.0


def noise_of(force: Array) -> float:
    """Deviation of a record's noise, from the median of its second differences and its resolution. [N]."""
    second = np.abs(np.diff(force, 2))
    spread = np.median(second) / 0.6745 / np.sqrt(6.0) if len(second) else 0.0
    return float(np.hypot(spread, _count(force) / np.sqrt(12.0)))


def _count(force: Array) -> float:
    """One count of a coarse digital record, which stands still between them; 0 for others. [N]."""
    step, top = np.abs(np.diff(force)), float(np.abs(force).max(initial=0.0))
    moved = step[step > 1e-6 * top]
    if not len(moved) or len(moved) > STILL * len(step) or moved.min() > COARSEST * top:
        return 0.0
    counts = step / moved.min()
    return float(moved.min()) if np.allclose(counts, np.round(counts), rtol=0.0, atol=0.05) else 0.0


def first_fall(force: Array) -> int:
    """Index of the first point of the first sudden loss, -1 where there is none.

    A loss is measured on the force reached so far, not on the peak, which a clamp that slips early and grips
    again reaches much later; and on where the curve was heading, as it may climb again before the next point
    is taken. Below a tenth of the peak specimens seat themselves: no loss counts there.
    """
    highest = np.maximum.accumulate(force)
    bound = np.maximum(SLIP_DROP * highest, QUIET * noise_of(force))
    before = np.append(highest[0], highest[:-1])
    step = (_steps(force) > bound) & (before - force > LEAST_DROP * before)
    low = np.flatnonzero(
        ((highest - force > bound) | step) & (highest >= STIFF_RANGE[0] * float(force.max()))
    )
    return int(low[0]) if len(low) else -1


def is_sudden(displacement: Array, force: Array, fall: int) -> bool:
    """Whether the loss that `first_fall` found comes at once, not by a slow descent from a rounded peak."""
    last = fall - 1
    near = float(force[:fall].max()) - np.maximum(LEAST_DROP * float(force[:fall].max()), noise_of(force))
    while last > 0 and force[last] < near:
        last -= 1
    way = abs(float(displacement[fall] - displacement[last]))
    if way <= AT_ONCE[1] * abs(float(displacement[last] - displacement[0])):
        return True
    # Few points may lie far apart: they are a slow descent where the next ones go on as steeply.
    first, then = np.minimum(last + AT_ONCE[0] * np.array([1, 2]), len(force) - 1)
    goes_on = force[last] - force[first] < GOES_ON * (force[first] - force[then])
    return fall - last <= AT_ONCE[0] and not bool(goes_on)


def _steps(force: Array) -> Array:
    """Loss at each point against the lines through the four points before and the four from it on, (n,).

    Both lines are taken half a point beyond their ends, where they would meet; none near a record's ends.
    """
    weight = 0.25 + 2.0 * np.array([-1.5, -0.5, 0.5, 1.5]) / 5.0  # least squares, at 2 from the middle
    found, n = np.zeros(len(force)), len(weight)
    if len(force) >= 2 * n:
        ends = np.convolve(force, weight[::-1], mode="valid")  # line of force[i:i + 4] beyond its last point
        starts = np.convolve(force, weight, mode="valid")  # before its first
        found[n : len(force) - n + 1] = ends[: len(force) - 2 * n + 1] - starts[n:]
    return found


def _first_loss(u: Array, f: Array) -> tuple[float, float]:
    """Largest force before the first sudden loss, and where; the peak without one."""
    fall = first_fall(f)
    at = len(f) - 1 if fall < 0 else int(np.argmax(f[: fall + 1]))
    return float(f[at]), float(u[at])


def _proof(u: Array, f: Array, stiffness: float, offset: float) -> tuple[float, float]:
    """First crossing with the line stiffness (u - offset), from above, and where; the peak without one."""
    gap = f - stiffness * (u - offset)
    below = np.flatnonzero((gap[1:] <= 0.0) & (gap[:-1] > 0.0))
    if not len(below):
        return float(f.max()), float(u[-1])
    i = int(below[0])
    share = gap[i] / (gap[i] - gap[i + 1])
    # What was held before counts: a curve may dip before it meets the line.
    force = float(min(max(f[i] + share * (f[i + 1] - f[i]), 0.0), f.max()))
    return force, float(u[i] + share * (u[i + 1] - u[i]))
