"""Triangles cut along a line, their neighbors with them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.shape.cleaning import edge_keys
from roofmodel.surface import Array, IntArray


def cut_triangles(
    points: Array, faces: IntArray, side: Array, chosen: NDArray[np.bool_] | None = None
) -> tuple[Array, IntArray, IntArray]:
    """Cut triangles where a function of the vertices is zero.

    Parameters
    ----------
    points : (n, 3) float
        [m]
    faces : (m, 3) int
    side : (n,) float
        Taken as linear along edges; vertices where it is 0 lie on the cut.
    chosen : (m,) bool, optional
        Triangles to cut, all by default; others are divided only where a neighbor's cut ends on their edge.

    Returns
    -------
    points : (k, 3) float
        The same, the cuts behind them.
    faces : (j, 3) int
        None crosses the cut; the same surface and the same sides up.
    parent : (j,) int
        Triangle that each is a part of.
    """
    corner = side[faces]
    crossed = np.flatnonzero((corner.min(axis=1) < 0.0) & (corner.max(axis=1) > 0.0))
    directed, key = edge_keys(faces[crossed], len(points))
    through = side[directed[:, 0]] * side[directed[:, 1]] < 0.0
    wanted = through if chosen is None else through & np.repeat(chosen[crossed], 3)
    cut, first = np.unique(key[wanted], return_index=True)
    if len(cut) == 0:
        return points, faces, np.arange(len(faces))
    a, b = np.sort(directed[wanted][first], axis=1).T  # one order, whichever face asks
    share = (side[a] / (side[a] - side[b]))[:, None]
    made = points[a] * (1.0 - share) + points[b] * share
    place = np.minimum(np.searchsorted(cut, key), len(cut) - 1)
    middle = np.where(through & (cut[place] == key), len(points) + place, -1).reshape(-1, 3)
    count = (middle >= 0).sum(axis=1)
    keep = np.ones(len(faces), dtype=bool)
    keep[crossed[count > 0]] = False
    parts, parents = [faces[keep]], [np.flatnonzero(keep)]
    one, two = np.flatnonzero(count == 1), np.flatnonzero(count == 2)
    # A triangle with one cut edge begins there; one with two at the corner between them.
    for which, begin in ((one, np.argmax(middle[one], axis=1)), (two, np.argmin(middle[two], axis=1) + 2)):
        turn = (begin[:, None] + np.arange(3)) % 3
        p, q, r = np.take_along_axis(faces[crossed[which]], turn, axis=1).T
        first_cut, _, last_cut = np.take_along_axis(middle[which], turn, axis=1).T
        pieces = [(p, first_cut, r), (first_cut, q, r)]
        if which is two:
            pieces = [(p, first_cut, last_cut), (first_cut, q, r), (first_cut, r, last_cut)]
        parts += [np.stack(piece, axis=1) for piece in pieces]
        parents += [crossed[which]] * len(pieces)
    return np.vstack([points, made]), np.concatenate(parts), np.concatenate(parents)
