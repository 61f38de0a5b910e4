"""End faces of slabs: bodies cut square to their slope have one that looks up, and is no roof.

How thick a slab may be is judgment; no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.shape.cleaning import NEEDLE, edge_keys, face_vectors, weld
from roofmodel.shape.regions import components
from roofmodel.surface import Array, IntArray

THICKEST = 0.8  # a slab is no thicker [m]
ONE_PLANE = np.cos(np.radians(1.0))  # faces within this angle are one face of a body
SQUARE = np.sin(np.radians(10.0))  # ends stand square to the slab within this
PARALLEL = np.cos(np.radians(3.0))  # so do upper and lower face to each other


def slab_ends(points: Array, faces: IntArray, seen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which faces are ends of slabs, between an upper face and the underside parallel to it.

    Parameters
    ----------
    points : (n, 3) float
        [m]
    faces : (m, 3) int
        Without walls, any orientation.
    seen : (m,) bool
        Whether each is seen from above; without undersides there are no slabs.

    Returns
    -------
    (m,) bool
        All of them seen.
    """
    result = np.zeros(len(faces), dtype=bool)
    if seen.all() or not seen.any():
        return result
    welded, joined = weld(points, faces)
    vector = face_vectors(welded, joined)
    double = np.linalg.norm(vector, axis=1)
    unit = vector / np.maximum(double, NEEDLE)[:, None]
    pair, length = _neighbors(welded, joined)
    turn = np.abs(np.einsum("kx,kx->k", unit[pair[:, 0]], unit[pair[:, 1]]))
    count, side = components(len(faces), pair[turn > ONE_PLANE])
    area = 0.5 * np.bincount(side, double, count)
    shown = 0.5 * np.bincount(side, double * seen, count) > 0.5 * area
    normal = unit[np.unique(side, return_index=True)[1]]
    # Of every side the edges that it has with sides square to it, the longest with one above and one below.
    both = side[pair[turn < SQUARE]]
    both, length = np.concatenate([both, both[:, ::-1]]), np.tile(length[turn < SQUARE], 2)
    one, at = np.unique(both[:, 0] * count + both[:, 1], return_inverse=True)
    own, other, shared = one // count, one % count, np.bincount(at, length)
    upper, above = _longest(own[shown[other]], other[shown[other]], shared[shown[other]], count)
    lower, below = _longest(own[~shown[other]], other[~shown[other]], shared[~shown[other]], count)
    end = (above > 0.0) & (below > 0.0) & (area < np.minimum(area[upper], area[lower]))
    end &= area < THICKEST * np.minimum(above, below)
    end &= np.abs(np.einsum("kx,kx->k", normal[upper], normal[lower])) > PARALLEL
    return np.asarray(end[side] & seen)


def _neighbors(points: Array, faces: IntArray) -> tuple[IntArray, Array]:
    """Faces that share an edge, two by two, and its length; any orientation."""
    directed, key = edge_keys(faces, len(points))
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order[1:]] == key[order[:-1]])
    edge = directed[order[same]]
    pair = np.stack([order[same], order[same + 1]], axis=1) // 3
    return pair, np.linalg.norm(points[edge[:, 1]] - points[edge[:, 0]], axis=1)


def _longest(own: IntArray, other: IntArray, length: Array, count: int) -> tuple[IntArray, Array]:
    """Of each of `count` sides the other one with the longest common edge, and that length, 0 for none."""
    order = np.lexsort((length, own))
    best, most = np.zeros(count, dtype=np.int64), np.zeros(count)
    best[own[order]], most[own[order]] = other[order], length[order]
    return best, most
