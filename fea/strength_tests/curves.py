"""Reading force-displacement curves: peak, stiffness, first slip, proof load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

STIFF_RANGE = (0.1, 0.4)  # shares of the peak between which stiffness is read (judgment)
SLIP_DROP = 0.03  # a sudden loss of more than this share of the peak is a slip (judgment)
LEAST_POINTS = 8


@dataclass(frozen=True)
class CurveReading:
    """What a curve says, SI.

    Attributes
    ----------
    peak : float
        Largest force. [N]
    at_peak : float
        Displacement there, from the foot of the straight part. [m]
    stiffness : float
        Slope of the line through the points between 10 and 40 % of the peak on the way up. [N/m]
    toe : float
        Displacement where that line meets no force: play and seating, taken off. [m]
    slip : float
        Force before the first sudden loss; the peak where there is none. [N]
    slip_at : float
        [m]
    proof : float
        Force where the curve first meets the stiffness line moved by the offset; the peak where it never
        does before it. [N]
    work : float
        Area below the curve up to the peak. [J]
    """

    peak: float
    at_peak: float
    stiffness: float
    toe: float
    slip: float
    slip_at: float
    proof: float
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
    if stiffness <= 0.0:
        message = "falls where it should rise, between 10 and 40 % of its peak; check signs and columns"
        raise ValueError(message)
    toe = -start / stiffness
    slip, slip_at = _first_loss(up, load, peak)
    return CurveReading(
        peak=peak,
        at_peak=float(up[-1] - toe),
        stiffness=stiffness,
        toe=toe,
        slip=slip,
        slip_at=slip_at - toe,
        proof=_proof(up - toe, load, stiffness, offset),
        work=float(np.trapezoid(load, up)),
    )


def _first_loss(u: Array, f: Array, peak: float) -> tuple[float, float]:
    """Largest force before the first fall of more than `SLIP_DROP` of the peak, and where."""
    highest = np.maximum.accumulate(f)
    low = np.flatnonzero(highest - f > SLIP_DROP * peak)
    if not len(low):
        return peak, float(u[-1])
    at = int(np.argmax(f[: low[0] + 1]))
    return float(f[at]), float(u[at])


def _proof(u: Array, f: Array, stiffness: float, offset: float) -> float:
    """First crossing with the line stiffness (u - offset), from above."""
    gap = f - stiffness * (u - offset)
    below = np.flatnonzero((gap[1:] <= 0.0) & (gap[:-1] > 0.0))
    if not len(below):
        return float(f.max())
    i = int(below[0])
    share = gap[i] / (gap[i] - gap[i + 1])
    # What was held before counts: a curve may dip before it meets the line.
    return float(min(max(f[i] + share * (f[i + 1] - f[i]), 0.0), f.max()))
