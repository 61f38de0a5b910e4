"""What leaves over the same meter of an edge counts together.

Strips of the sliding mesh are as narrow as corners of the roof make them, and all of a valley's stream may
run down one: force or weight over the width of a strip is no result. It is told over a meter (judgment: snow
slides in blankets wider than that), or over what an edge lets go where that is shorter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

OVER = 1.0  # length that loads are told over [m]
LEAST = 0.1  # and the least of it, on short edges [m]
NARROWEST = 0.02  # narrower stretches count as so wide: no mean over `LEAST` needs more [m]


def most_together(count: int, at: IntArray, ends: Array, force: Array) -> Array:
    """Largest mean (count, q) of forces (n, q) [N] over any meter of each edge; `at` (n,) is which. [N/m].

    Stretches (n, 2, 3), each with its force evenly over it, may lie on one another: both streams of a valley,
    own snow and what comes straight across. A force without end is told as such.
    """
    most = np.zeros((count, force.shape[1]))
    if not len(at):
        return most
    endless = ~np.isfinite(force)  # apart: sums run over all edges
    np.maximum.at(most, at, np.where(endless, np.inf, 0.0))
    force = np.where(endless, 0.0, force)
    edges, own = np.unique(at, return_inverse=True)
    order = np.lexsort((-np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1), at))
    first = order[np.searchsorted(at[order], edges)]  # the longest, for its direction
    way = ends[first, 1] - ends[first, 0]
    way = (way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12))[own]
    t = np.sort(np.einsum("nij,nj->ni", ends - ends[first, :1][own], way), axis=1)
    low, high = np.full(len(edges), np.inf), np.full(len(edges), -np.inf)
    np.minimum.at(low, own, t[:, 0])
    np.maximum.at(high, own, t[:, 1])
    wide = np.maximum(t[:, 1] - t[:, 0], NARROWEST)
    first_end = np.maximum(np.minimum(t.mean(axis=1) - 0.5 * wide, high[own] - wide), low[own])
    t = np.stack([first_end, first_end + wide], axis=1)
    load = force / wide[:, None]
    high = np.maximum(high, low + NARROWEST)
    over = np.clip(high - low, LEAST, OVER)
    room = np.cumsum(np.r_[0.0, high - low + 2.0 * OVER])[:-1] + OVER - low  # edges end to end, apart
    place = np.sort(np.concatenate([t[:, 0], t[:, 1]]) + np.tile(room[own], 2))
    t = t + room[own][:, None]
    rate = np.zeros((len(place), force.shape[1]))
    np.add.at(rate, np.searchsorted(place, t[:, 0]), load)
    np.add.at(rate, np.searchsorted(place, t[:, 1]), -load)
    total = np.zeros_like(rate)
    np.cumsum(np.cumsum(rate, axis=0)[:-1] * np.diff(place)[:, None], axis=0, out=total[1:])
    here = np.searchsorted(low + room, place, side="right") - 1
    for start in (place, place - over[here]):  # a mean is largest where either end is at a stretch's
        np.maximum.at(
            most,
            edges[here],
            (_at(place, total, start + over[here]) - _at(place, total, start)) / over[here, None],
        )
    return most


def _at(place: Array, total: Array, s: Array) -> Array:
    """Sums (p, q) at sorted places, between them straight, at other places (n,)."""
    k = np.clip(np.searchsorted(place, s, side="right") - 1, 0, max(len(place) - 2, 0))
    after = np.minimum(k + 1, len(place) - 1)
    part = np.clip((s - place[k]) / np.maximum(place[after] - place[k], 1e-300), 0.0, 1.0)
    return np.asarray(total[k] + part[:, None] * (total[after] - total[k]))
