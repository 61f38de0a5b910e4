"""Corners that stand in the middle of a neighbor's edge: the edge is divided there."""

from __future__ import annotations

import numpy as np
import shapely

from roofmodel.shape.cleaning import distinct, ordered_edges
from roofmodel.surface import Array, IntArray

ON_EDGE = 5e-3  # a corner nearer than this to an edge stands on it [m]
PASSES = 12  # a triangle may be divided on all its sides, and its parts again


def divide_at_junctions(points: Array, faces: IntArray, tolerance: float = ON_EDGE) -> tuple[IntArray, int]:
    """Divide triangles whose free edges pass through corners of others.

    Parameters
    ----------
    points : (n, 3) float
        Welded. [m]
    faces : (m, 3) int
    tolerance : float
        [m]

    Returns
    -------
    faces : (k, 3) int
        The same surface, up to the tolerance; neighbors share their whole edges.
    count : int
        Edges that were divided.
    """
    total = 0
    for _ in range(PASSES):
        half, vertex, share = _on_free_edges(points, faces, tolerance)
        if len(half) == 0:
            break
        faces, divided = _fans(faces, half, vertex, share)
        total += divided
    return faces, total


def _on_free_edges(points: Array, faces: IntArray, tolerance: float) -> tuple[IntArray, IntArray, Array]:
    """Half-edges with free corners on them: half-edge, corner, its place along (0 to 1)."""
    directed, key, order = ordered_edges(faces, len(points))
    ranked = key[order]
    alone = np.ones(len(key), dtype=bool)
    alone[1:] &= ranked[1:] != ranked[:-1]
    alone[:-1] &= ranked[:-1] != ranked[1:]
    free = np.sort(order[alone])
    corners = distinct(directed[free])
    ends = points[directed[free]]
    lines = np.asarray(shapely.linestrings(ends[:, :, :2]))
    spots = np.asarray(shapely.points(points[corners, :2]))
    spot, line = shapely.STRtree(lines).query(spots, predicate="dwithin", distance=tolerance)
    vertex, half = corners[spot], free[line]
    way = ends[line, 1] - ends[line, 0]
    length = np.linalg.norm(way, axis=1)
    delta = points[vertex] - ends[line, 0]
    along = np.sum(delta * way, axis=1) / np.maximum(length, 1e-300)
    away = np.linalg.norm(delta - (along / np.maximum(length, 1e-300))[:, None] * way, axis=1)
    inside = (along > tolerance) & (along < length - tolerance) & (away <= tolerance)
    inside &= (vertex[:, None] != faces[half // 3]).all(axis=1)
    return half[inside], vertex[inside], along[inside] / length[inside]


def _fans(faces: IntArray, half: IntArray, vertex: IntArray, share: Array) -> tuple[IntArray, int]:
    """Triangles in place of those whose edge is divided; one edge of each triangle at a time."""
    face = half // 3
    chosen = np.full(len(faces), 3 * len(faces))
    np.minimum.at(chosen, face, half)
    mine = half == chosen[face]
    half, vertex, share, face = half[mine], vertex[mine], share[mine], face[mine]
    order = np.lexsort([share, face])
    half, vertex, face = half[order], vertex[order], face[order]
    owner, begin, count = np.unique(face, return_index=True, return_counts=True)
    side = half[begin] - 3 * owner
    a, b, c = (faces[owner, (side + turn) % 3] for turn in range(3))
    # The chain a, corners, b of every triangle, one after the other.
    length = count + 2
    start = np.cumsum(length) - length
    chain = np.zeros(int(length.sum()), dtype=np.int64)
    chain[start], chain[start + length - 1] = a, b
    middle = np.ones(len(chain), dtype=bool)
    middle[start] = middle[start + length - 1] = False
    chain[middle] = vertex
    step = np.ones(len(chain), dtype=bool)
    step[start + length - 1] = False
    low = np.flatnonzero(step)
    apex = np.repeat(c, length - 1)
    fans = np.column_stack([chain[low], chain[low + 1], apex])
    keep = np.ones(len(faces), dtype=bool)
    keep[owner] = False
    return np.concatenate([faces[keep], fans]), len(owner)
