"""Lost readings in a record, and whether the force rose more across them than the curve beside them does."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WIDER = 5.0  # times the steps around and the usual one, beyond which readings are lost (judgment)
LEAST_WAY = 0.01  # of the way to the peak, the least gap that is told (judgment)
LOADED = 0.1  # of the peak
AROUND = 4  # steps before and after that say what steps the record makes
LINE = (6, 60)  # readings of the line on either side, at least and at most
NEAR = 1.0  # widths of the gap within which readings make the line on either side
SURE = 5.0  # deviations of a rise that is none of the noise
RISE = 0.03  # of the peak, the least rise that is doubted (judgment)


def gap_of(u: Array, f: Array, noise: Array) -> tuple[float, float, float, float, bool] | None:
    """The gap across which the force rose most beyond its own curve, or the widest where none did so.

    A clamp softens, so that the force across a gap rises by no more than the steeper of the lines on either
    side says. Each line takes the readings within the gap's own width of it.

    Parameters
    ----------
    u, f : (n,) float
        Displacement and force up to the peak. [m, N]
    noise : (n,) float
        Deviation of the noise around each reading. [N]

    Returns
    -------
    tuple or None
        Place and width [m], force before and after [N], and whether the curve does not explain the rise.
    """
    step = np.diff(u)
    if len(step) < 2 * LINE[0] or not u[-1] > u[0]:
        return None
    usual = np.full(len(step), float(np.median(np.abs(step))))
    for k in range(1, AROUND + 1):
        usual[k:] = np.maximum(usual[k:], step[:-k])
        usual[:-k] = np.maximum(usual[:-k], step[k:])
    wide = (step > WIDER * usual) & (step > LEAST_WAY * (u[-1] - u[0])) & (f[1:] > LOADED * f[-1])
    wide &= np.diff(f) > -3.0 * noise[1:]  # a loss that moves the gauge is a slip
    found = [(*_beyond(u, f, float(noise[k]), k), k) for k in np.flatnonzero(wide).tolist()]
    if not found:
        return None
    beyond, least, k = max(
        found, key=lambda one: (one[0] > one[1], one[0] if one[0] > one[1] else step[one[2]])
    )
    return float(u[k]), float(step[k]), float(f[k]), float(f[k + 1]), bool(beyond > least)


def _beyond(u: Array, f: Array, noise: float, k: int) -> tuple[float, float]:
    """Rise across the gap after reading k that the lines beside it leave open, and what noise may make."""
    way = float(u[k + 1] - u[k])
    ends, slopes, doubt = [], [], 0.0
    for side in (slice(max(k + 1 - LINE[1], 0), k + 1), slice(k + 1, k + 1 + LINE[1])):
        at = u[k] if side.stop == k + 1 else u[k + 1]
        near = np.abs(u[side] - at) <= NEAR * way
        if near.sum() < LINE[0]:
            near = np.abs(np.arange(len(near)) - (len(near) - 1 if side.stop == k + 1 else 0)) < LINE[0]
        x, y = u[side][near], f[side][near]
        spread = float(((x - x.mean()) ** 2).sum())
        if len(x) < 3 or not spread > 0.0:  # too few readings for a line: the force itself
            ends.append(float(f[k] if side.stop == k + 1 else f[k + 1]))
            doubt += noise**2
            continue
        slopes.append(float(((x - x.mean()) * (y - y.mean())).sum()) / spread)
        ends.append(float(y.mean()) + slopes[-1] * float(at - x.mean()))
        doubt += noise**2 * (1.0 / len(x) + (abs(float(at - x.mean())) + way) ** 2 / spread)
    own = max([0.0, *slopes]) * way
    return ends[1] - ends[0] - own, max(RISE * float(f[-1]), SURE * float(np.sqrt(doubt)))
