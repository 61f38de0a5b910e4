"""Edges that roof polygons of a city model share as they are drawn, to be held against what is recognized."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from roofmodel.surface import Array, IntArray

DIGITS = 2  # corners are one where they round to the same centimeter
EMPTY = 1e-4  # polygons with less area count for nothing [m^2]
LEVEL = 0.02  # edges that rise no more along their length are level [-]
ONE_PLANE = np.cos(np.radians(1.5))  # polygons within this angle are one plane


@dataclass(frozen=True)
class MarkedEdges:
    """Edges that exactly two polygons share, by kind.

    Attributes
    ----------
    ridges, hips, valleys : int
        Level and both planes below it; sloping and so; sloping and both planes above it.
    """

    ridges: int = 0
    hips: int = 0
    valleys: int = 0


def marked_edges(points: Array, polygons: Sequence[Sequence[Sequence[int]]]) -> MarkedEdges:
    """Count the edges that polygons share.

    Where dormers or parts share no edges with the plane that they stand on nothing is counted, and an edge in
    two pieces counts twice: the numbers of a file, not of its roof.

    Parameters
    ----------
    points : (n, 3) float
        [m]
    polygons : sequence of rings of vertex numbers
        Outer ring first.

    Returns
    -------
    MarkedEdges
    """
    rings = [[np.asarray(ring, dtype=np.int64) for ring in one if len(ring) >= 3] for one in polygons]
    rings = [one for one in rings if one]
    if not rings:
        return MarkedEdges()
    start = np.concatenate([ring for one in rings for ring in one])
    end = np.concatenate([np.append(ring[1:], ring[0]) for one in rings for ring in one])
    owner = np.repeat(np.arange(len(rings)), [sum(len(ring) for ring in one) for one in rings])
    vector = _areas(points, start, end, owner)
    size = np.linalg.norm(vector, axis=1)
    normal = vector / np.maximum(size, EMPTY)[:, None]
    normal *= np.where(normal[:, 2] < 0.0, -1.0, 1.0)[:, None]
    middle = np.array([points[one[0]].mean(axis=0) for one in rings])
    corner = np.unique(np.round(points, DIGITS), axis=0, return_inverse=True)[1].ravel()
    low, high = np.sort([corner[start], corner[end]], axis=0)
    real = (low != high) & (size[owner] > EMPTY)
    start, end, owner = start[real], end[real], owner[real]
    key, many = np.unique(low[real] * len(points) + high[real], return_inverse=True, return_counts=True)[1:]
    order = np.argsort(key, kind="stable")
    pair = order[np.isin(key[order], np.flatnonzero(many == 2))].reshape(-1, 2)
    one, other = owner[pair].T
    way = (points[end] - points[start])[pair[:, 0]]
    level = np.abs(way[:, 2]) <= LEVEL * np.linalg.norm(way, axis=1)
    bent = (one != other) & (np.einsum("kx,kx->k", normal[one], normal[other]) < ONE_PLANE)
    below = np.einsum("kx,kx->k", normal[one], middle[other] - points[start[pair[:, 0]]]) < 0.0
    return MarkedEdges(
        int(np.count_nonzero(bent & below & level)),
        int(np.count_nonzero(bent & below & ~level)),
        int(np.count_nonzero(bent & ~below & ~level)),
    )


def _areas(points: Array, start: IntArray, end: IntArray, owner: IntArray) -> Array:
    """Area vectors (n, 3) of polygons with edges (e,) between points, by Newell's method. [m^2]."""
    first = points[start[np.searchsorted(owner, np.arange(owner[-1] + 1))]][owner]
    cross = np.cross(points[start] - first, points[end] - first)
    return np.stack([0.5 * np.bincount(owner, axis) for axis in cross.T], axis=1)
