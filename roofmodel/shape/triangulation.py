"""Triangles of planar polygons."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from roofmodel.shape.envelopes import SAME_POINT
from roofmodel.surface import Array, IntArray


def triangulate(rings: Sequence[Sequence[Array]]) -> tuple[Array, IntArray, IntArray]:
    """Triangles of planar polygons with shared corners.

    Parameters
    ----------
    rings : sequence (p) of sequences of (k, 3) float
        Outer ring, then holes; none vertical. [m]

    Returns
    -------
    points : (n, 3) float
        Corners, coinciding ones once. [m]
    faces : (m, 3) int
        Triangles, facing up.
    face_plane : (m,) int
        Polygon of each triangle.
    """
    import mapbox_earcut

    corners, faces, owner, base = [], [], [], 0
    for index, group in enumerate(rings):
        ring = np.concatenate(group)
        ends = np.cumsum([len(part) for part in group]).astype(np.uint32)
        local = mapbox_earcut.triangulate_float64(np.ascontiguousarray(ring[:, :2]), ends).reshape(-1, 3)
        corners.append(ring)
        faces.append(local.astype(np.int64) + base)
        owner.append(np.full(len(local), index))
        base += len(ring)
    points, face = np.concatenate(corners), np.concatenate(faces)
    first = _first_of_same(points)
    kept, index_of = np.unique(first, return_inverse=True)
    points, face = points[kept], index_of[face]
    a, b, c = (points[face[:, corner], :2] for corner in range(3))
    turn = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    face[turn < 0.0] = face[turn < 0.0][:, ::-1]
    solid = np.abs(turn) > 0.0
    return points, face[solid], np.concatenate(owner)[solid]


def _first_of_same(points: Array) -> IntArray:
    """Number of the first point that coincides with each point."""
    first, plan = np.arange(len(points)), np.asarray(shapely.points(points[:, :2]))
    one, other = shapely.STRtree(plan).query(plan, predicate="dwithin", distance=SAME_POINT)
    near = np.linalg.norm(points[one] - points[other], axis=1) <= SAME_POINT
    np.minimum.at(first, one[near], other[near])
    return first
