"""Jumps of a record's force that noise hides from reading to reading: lines on either side that do not meet.

A jump of a tenth of the peak among noise of a hundredth is seven deviations of one step between two readings.
Lines through several readings before and after it tell it from noise, their slopes from a steep curve. What
cannot be told: jumps within the last readings before the peak, within a dip that a slip left, or where the
curve itself rises by more than about 2 % of its peak from reading to reading.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Readings of each line; deviations beyond which a jump is no noise; scatter about a line over the noise,
# squared, from which it is no line, as where it runs over a slip (99.5 % of chi-square).
WINDOWS = ((4, 7.0, 5.0), (6, 6.0, 3.7), (10, 5.0, 2.7), (16, 5.0, 2.2))
FILTERED = 3  # readings over which a filter may spread a jump
LEAST = 20  # readings above a tenth of the peak, below which lines are too short to say (judgment)
LOADED = 0.1  # of the peak
OWN = 2.0  # times what either line rises over the gap that is the curve's own (judgment)
BENT = 1.0 / 6.0  # of a line's length times the change of slope: what a kink within it moves its end by
SAME = 1.0 + 1e-6  # a tie goes to the narrower gap
RAW = 0.5  # share of the jump that the readings beside it show
SURELY = 1.0  # deviations by which the jump must be beyond the curve's own rise
SIZE = 0.03  # of the peak, the least jump that is doubted (judgment)


def step_up(u: Array, f: Array, noise: Array, count: float) -> tuple[float, float, float] | None:
    """Place [m], force before and size [N] of the largest jump up to a force not reached before, or None.

    Parameters
    ----------
    u, f : (n,) float
        Displacement and force up to the peak. [m, N]
    noise : (n,) float
        Deviation of the noise around each reading. [N]
    count : float
        One count of a gauge that stands still between readings. [m]
    """
    peak = float(f[-1])
    if int((f > LOADED * peak).sum()) < LEAST:
        return None
    highest = np.maximum.accumulate(f)
    best, found = 0.0, None
    for points, deviations, scatter in WINDOWS:
        if len(f) <= 2 * points + FILTERED:
            break
        middle, mean, spread, slope, left_over = _lines(u, f, points)
        for over in range(1, FILTERED + 1):
            last = np.arange(points - 1, len(f) - points - over + 1)  # reading before the jump
            left, right = last - points + 1, last + over
            gap = np.maximum(u[right] - u[last], 0.0) + count
            at = 0.5 * (u[last] + u[right])
            ends = [mean[k] + slope[k] * (at - middle[k]) for k in (left, right)]
            step, rise = ends[1] - ends[0], ends[1] - highest[last]
            level = noise[last] ** 2 * (points - 2)
            fits = (left_over[left] <= scatter * level) & (left_over[right] <= scatter * level)
            variance = np.maximum((left_over[left] + left_over[right]) / (2 * points - 4), noise[last] ** 2)
            share = 2.0 / points + sum((at - middle[k]) ** 2 / spread[k] for k in (left, right))
            bend = np.abs(slope[right] - slope[left])
            way = np.maximum(u[last] - u[left], u[right + points - 1] - u[right])
            own = OWN * np.maximum(np.maximum(slope[left], slope[right]), 0.0) * gap + BENT * bend * way
            doubt = np.sqrt(variance * share)
            odd = fits & (f[right] - f[last] > RAW * step) & (step > deviations * doubt)
            odd &= np.minimum(step, rise) - own > SIZE * peak + SURELY * doubt
            if odd.any():
                k = int(np.argmax(np.where(odd, step, -np.inf)))
                if step[k] > SAME * best:
                    best = float(step[k])
                    found = float(u[last[k]]), float(highest[last[k]]), best
    return found


def _lines(u: Array, f: Array, points: int) -> tuple[Array, Array, Array, Array, Array]:
    """Lines through so many readings from each on: middle, mean, sum of squares, slope, squares left over.

    Where the displacement stands still there is no line, and nothing compares with it.
    """
    x, y = (sliding_window_view(v, points) for v in (u, f))
    middle, mean = x.mean(axis=1), y.mean(axis=1)
    away = x - middle[:, None]
    spread = (away**2).sum(axis=1)
    spread[spread <= 0.0] = np.nan
    slope = (away * y).sum(axis=1) / spread
    rest = ((y - mean[:, None] - slope[:, None] * away) ** 2).sum(axis=1)
    return middle, mean, spread, slope, rest
