"""Triangles with six nodes over an outline."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import Delaunay, QhullError
from shapely import Polygon

from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST = 15_000  # triangles
MOST_POINTS = 100_000  # beyond which memory and time run out: slits by the hundred
TRIES = 6  # with ever smaller edges
SPLITS = 8  # halvings of edges that no triangle has, each
FITS = 1e-7  # area of the triangles against the outline's [-]


def triangles(outline: Polygon, size: float) -> tuple[Array, IntArray]:
    """Mesh of an outline.

    Parameters
    ----------
    outline : Polygon
        [m]
    size : float
        Wanted length of edges; less where the outline's own edges are shorter. [m]

    Returns
    -------
    xy : (n, 2) float
    node : (m, 6) int
        Corners counter-clockwise, then the middles of the edges 0-1, 1-2, 2-0.

    Raises
    ------
    InputError
        An outline with gaps too narrow or too many to mesh.

    Notes
    -----
    Delaunay triangles of points on the outline and of a grid inside; those outside are dropped. Edges of the
    outline that are in none, as in narrow gaps, are halved until they are, which the area tells.
    """
    size = max(size, float(np.sqrt(outline.area / (0.43 * MOST))))
    for _ in range(TRIES):
        rings, grid = _points(outline, size)
        for _ in range(SPLITS):
            points = np.concatenate([*rings, grid])
            if len(points) > MOST_POINTS:
                break
            try:
                found = Delaunay(points).simplices.astype(np.int64)
            except QhullError:
                break
            corners = points[found]
            side = corners[:, 1:] - corners[:, :1]
            twice = side[:, 0, 0] * side[:, 1, 1] - side[:, 0, 1] * side[:, 1, 0]
            middle = corners.mean(axis=1)
            keep = (np.abs(twice) > 1e-9 * size**2) & shapely.contains_xy(outline, *middle.T)
            if abs(0.5 * np.abs(twice[keep]).sum() / outline.area - 1.0) < FITS:
                found = np.where((twice < 0.0)[:, None], found[:, ::-1], found)[keep]
                return _with_middles(points, found)
            before, rings = rings, _split(rings, found)
            if sum(map(len, rings)) == sum(map(len, before)):
                break
        size *= 0.7
    message = "profile: its outline cannot be meshed; mend gaps and steps far smaller than its walls"
    raise InputError(message)


def _points(outline: Polygon, size: float) -> tuple[list[Array], Array]:
    """Points on the rings of an outline, and those of a grid inside."""
    rings = shapely.get_rings(shapely.segmentize(outline, size))
    edge = [shapely.get_coordinates(ring)[:-1] for ring in rings]
    left, low, right, high = outline.bounds
    columns = np.arange(left, right + size, size)
    rows = np.arange(low, high + size, 0.866 * size)
    x, y = np.meshgrid(columns, rows)
    x = x + 0.5 * size * (np.arange(len(rows)) % 2)[:, None]
    grid = np.stack([x.ravel(), y.ravel()], axis=1)
    core = outline.buffer(-0.45 * size)
    return edge, grid[shapely.contains_xy(core, *grid.T)]


def _split(rings: list[Array], found: IntArray) -> list[Array]:
    """Rings with a point more in the middle of each edge that no triangle has."""
    many = int(found.max()) + 1
    side = np.sort(np.stack([found, np.roll(found, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    there = np.unique(side @ [many, 1])
    split, first = [], 0
    for ring in rings:
        n = first + np.arange(len(ring))
        first += len(ring)
        after = np.roll(n, -1)
        missing = ~np.isin(np.minimum(n, after) * many + np.maximum(n, after), there)
        middle = 0.5 * (ring + np.roll(ring, -1, axis=0))[missing]
        split.append(np.insert(ring, np.flatnonzero(missing) + 1, middle, axis=0))
    return split


def _with_middles(points: Array, corner: IntArray) -> tuple[Array, IntArray]:
    used, corner = np.unique(corner, return_inverse=True)
    points, corner = points[used], corner.reshape(-1, 3)
    pair = np.sort(np.stack([corner, np.roll(corner, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    edge, at = np.unique(pair, axis=0, return_inverse=True)
    middle = points[edge].mean(axis=1)
    node = np.concatenate([corner, len(points) + at.reshape(-1, 3)], axis=1)
    return np.concatenate([points, middle]), node
