"""What plan polygons share with many small ones: areas and first moments, without building the overlaps."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.counting import within
from roofmodel.shape.envelopes import areal

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# Overlays of shapes that share edges to rounding can go wrong without a grid. [m]
GRID = 1e-10
SIDES = 8  # convex polygons of at most so many sides are cut along their sides
SHORT = 1e-9  # sides below this have no direction worth cutting along [m]
TOGETHER = 200_000  # corners worked on at once: bounds the memory


def shared_moments(
    shapes: NDArray[np.object_], polygons: NDArray[np.object_], pairs: tuple[IntArray, IntArray]
) -> tuple[Array, Array]:
    """Area and first moments that pairs of shapes have in common.

    Parameters
    ----------
    shapes : (s,) shapely Polygon or MultiPolygon
        Any valid ones, with holes or in parts. [m]
    polygons : (n,) shapely geometry
        Convex ones of few sides are fast; any others are overlaid. [m]
    pairs : (m,) int, (m,) int
        Of which shape, of which polygon.

    Returns
    -------
    area : (m,) float
        [m^2]
    moment : (m, 2) float
        About the origin. [m^3]

    Notes
    -----
    A ring is cut along each side of the convex polygon in turn (Sutherland and Hodgman, 1974). Of a ring
    that is not convex this leaves seams along the sides that are passed to and fro and so enclose nothing:
    area and moments, integrals along the ring, are exact.
    """
    shape, polygon = pairs
    area, moment = np.zeros(len(shape)), np.zeros((len(shape), 2))
    corners, easy = _convex(polygons)
    rings = _Rings(shapes)
    fast = easy[polygon]
    at = np.flatnonzero(fast)
    size = np.cumsum(rings.size[shape[at]])
    for some in np.split(
        at, np.searchsorted(size, np.arange(TOGETHER, size[-1], TOGETHER)) if len(at) else []
    ):
        area[some], moment[some] = _cut_moments(rings, shape[some], corners[polygon[some]])
    rest = np.flatnonzero(~fast)
    others = np.array([areal(one) for one in polygons[polygon[rest]]], dtype=object)
    common = shapely.intersection(shapes[shape[rest]], others, grid_size=GRID)
    area[rest] = shapely.area(common)
    moment[rest] = area[rest, None] * centroids(common)
    return area, moment


def centroids(polygons: NDArray[np.object_]) -> Array:
    """Centroids (n, 2), the origin for empty shapes. [m]."""
    full = ~shapely.is_empty(polygons)
    centers = np.zeros((len(polygons), 2))
    centers[full] = shapely.get_coordinates(shapely.centroid(polygons[full]))
    return centers


class _Rings:
    """Corners of the rings of shapes one after another, and the way round that makes their area count."""

    def __init__(self, shapes: NDArray[np.object_]) -> None:
        parts, of_part = shapely.get_parts(shapes, return_index=True)
        rings, of_ring = shapely.get_rings(parts, return_index=True)
        outer = np.r_[True, of_ring[1:] != of_ring[:-1]][: len(rings)]
        self.corners, of_corner = shapely.get_coordinates(rings, return_index=True)
        last = np.r_[of_corner[1:] != of_corner[:-1], True][: len(of_corner)]  # repeats the first corner
        start = np.searchsorted(of_corner, np.arange(len(rings)))
        following = np.arange(1, len(of_corner) + 1)
        following[last] = start
        ahead = self.corners[following % max(len(following), 1)]
        turn = np.bincount(of_corner, _cross(self.corners, ahead), len(rings))
        sign = np.where(outer, 1.0, -1.0) * np.where(turn < 0.0, -1.0, 1.0)
        keep = ~last
        self.corners, self.ring, self.sign = self.corners[keep], of_corner[keep], sign
        owner = of_part[of_ring[self.ring]]
        self.size = np.bincount(owner, minlength=len(shapes))
        self.first = np.cumsum(self.size) - self.size


def _convex(polygons: NDArray[np.object_]) -> tuple[Array, BoolArray]:
    """Corners (n, SIDES, 2) counterclockwise, the first again and again, and whether they are convex."""
    count = shapely.get_num_coordinates(polygons) - 1
    easy = (shapely.get_type_id(polygons) == shapely.GeometryType.POLYGON) & (count <= SIDES) & (count > 2)
    easy &= shapely.get_num_interior_rings(polygons) == 0
    corners = np.zeros((len(polygons), SIDES, 2))
    flat, owner = shapely.get_coordinates(polygons[easy], return_index=True)
    place = np.arange(len(flat)) - np.searchsorted(owner, owner)
    which = np.flatnonzero(easy)[owner]
    for k in range(SIDES):  # closed rings repeat their first corner, which fills the places that are left
        on = place == np.minimum(k, count[which])
        corners[which[on], k] = flat[on]
    side = np.roll(corners, -1, axis=1) - corners
    turn = np.sum(_cross(corners - corners[:, :1], side), axis=1)
    clockwise = turn < 0.0
    corners[clockwise] = corners[clockwise, ::-1]
    side = np.roll(corners, -1, axis=1) - corners
    length = np.linalg.norm(side, axis=2)
    way = np.where((length > SHORT)[..., None], side / np.maximum(length, SHORT)[..., None], 0.0)
    offset = corners[:, None] - corners[:, :, None]
    inside = _cross(way[:, :, None], offset) >= -SHORT
    return corners, np.asarray(easy & inside.all(axis=(1, 2)))


def _cut_moments(rings: _Rings, shape: IntArray, cutter: Array) -> tuple[Array, Array]:
    """Area (m,) and moments (m, 2) of shapes cut along the sides of convex polygons (m, k, 2)."""
    count = rings.size[shape]
    owner = np.repeat(np.arange(len(shape)), count)
    corner = within(count) + rings.first[shape[owner]]
    origin = cutter[:, 0]
    ring = rings.ring[corner]
    at = rings.corners[corner] - origin[owner]
    side = np.roll(cutter, -1, axis=1) - cutter
    for k in range(cutter.shape[1]):
        long = np.linalg.norm(side[:, k], axis=1) > SHORT
        if not long.any():
            continue
        above = _cross(side[owner, k], at - (cutter[:, k] - origin)[owner])
        above[~long[owner]] = 1.0
        following = _following(owner, ring)
        ahead = above[following]
        stays = above >= 0.0
        crosses = stays != (ahead >= 0.0)
        part = np.where(crosses, above, 0.0) / np.where(crosses, above - ahead, 1.0)
        both = np.stack([at, at + part[:, None] * (at[following] - at)], axis=1)
        keep = np.stack([stays, crosses], axis=1)
        at = both[keep]
        owner, ring = (np.repeat(known, 2).reshape(-1, 2)[keep] for known in (owner, ring))
    ahead_at = at[_following(owner, ring)]
    cross = rings.sign[ring] * _cross(at, ahead_at)
    area = 0.5 * np.bincount(owner, cross, len(shape))
    third = cross[:, None] * (at + ahead_at) / 6.0
    moment = np.stack([np.bincount(owner, third[:, i], len(shape)) for i in (0, 1)], axis=1)
    return np.asarray(area), np.asarray(moment + area[:, None] * origin)


def _following(owner: IntArray, ring: IntArray) -> IntArray:
    """Index of the next corner of the same ring of the same pair."""
    following = np.arange(1, len(owner) + 1)
    if len(owner):
        change = np.r_[(owner[1:] != owner[:-1]) | (ring[1:] != ring[:-1]), True]
        start = np.r_[0, np.flatnonzero(change)[:-1] + 1]
        following[change] = start
    return following


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
