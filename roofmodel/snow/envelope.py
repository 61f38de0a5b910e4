"""The larger of linear pressures wherever patches of one plane overlap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.snow.cases import Zone
from roofmodel.snow.regions import SLIVER, polygonal
from roofmodel.snow.sharing import GRID

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Shapes = NDArray[np.object_]

# Polygons with more corners, the first counted twice, are not looked at for lines that part them.
QUADS, FEW_CORNERS = 5, 9
TOUCH = 1e-7  # [m]
NOTHING = shapely.Polygon()


def larger(zones: Sequence[Zone], pairs: IntArray | None = None) -> list[Zone]:
    """Keep the larger pressure wherever linear patches of one plane overlap.

    Parameters
    ----------
    zones : sequence of Zone
        Overlapping patches of one or more planes.
    pairs : (m, 2) int, optional
        As `near_pairs` gives them, where these are known.

    Returns
    -------
    list of Zone
        The same patches, cut so that none overlap.
    """
    if not zones:
        return []
    polygons = np.array([zone.polygon for zone in zones], dtype=object)
    plane = np.array([zone.plane for zone in zones], dtype=np.int64)
    pressure = np.array([zone.pressure for zone in zones]).reshape(-1, 3)
    near = near_pairs(polygons, plane) if pairs is None else pairs
    left = _without(polygons, _losses(polygons, pressure, near))
    return [zones[k] if part is polygons[k] else replace(zones[k], polygon=part) for k, part in worth(left)]


def worth(shapes: Shapes) -> list[tuple[int, shapely.Polygon | shapely.MultiPolygon]]:
    """Number and polygons of those of many shapes of which something worth loading is left."""
    some = np.flatnonzero(shapely.area(shapes) > SLIVER)
    whole = shapely.get_type_id(shapes[some]) == shapely.GeometryType.POLYGON
    return [
        (k, part)
        for k, one in zip(some.tolist(), whole.tolist(), strict=True)
        if (part := shapes[k] if one else polygonal(shapes[k])) is not None
    ]


def near_pairs(polygons: Shapes, plane: IntArray) -> IntArray:
    """Pairs (m, 2) of polygons of one plane that no line along an edge of theirs is seen to part."""
    pairs = shapely.STRtree(polygons).query(polygons).T
    pairs = pairs[(pairs[:, 0] < pairs[:, 1]) & (plane[pairs[:, 0]] == plane[pairs[:, 1]])]
    corners, count = _corners(polygons)
    count = np.where(shapely.get_type_id(polygons) == shapely.GeometryType.POLYGON, count, FEW_CORNERS + 1)
    most, apart = count[pairs].max(axis=1), np.zeros(len(pairs), dtype=bool)
    for low, high in ((0, QUADS), (QUADS, FEW_CORNERS)):
        alike = np.flatnonzero((most > low) & (most <= high))
        apart[alike] = _parted(*(corners[pairs[alike, k], : high - 1] for k in (0, 1)))
    return np.asarray(pairs[~apart])


def _corners(polygons: Shapes) -> tuple[Array, IntArray]:
    """Corners (n, k, 2) of polygons, the last repeated where there are fewer, and their number (n,)."""
    count = shapely.get_num_coordinates(polygons).astype(np.int64)
    corners = np.zeros((len(polygons), FEW_CORNERS, 2))
    flat, owner = shapely.get_coordinates(polygons, return_index=True)
    place = np.arange(len(flat)) - np.searchsorted(owner, owner)
    inside = place < FEW_CORNERS
    corners[owner[inside], place[inside]] = flat[inside]
    for k in range(1, FEW_CORNERS):
        short = count <= k
        corners[short, k] = corners[short, k - 1]
    return corners, count


def _parted(one: Array, other: Array) -> BoolArray:
    """Whether a line along an edge of polygons (m, k, 2) parts them from others (m, k, 2)."""
    found = np.zeros(len(one), dtype=bool)
    for first, second in ((one, other), (other, one)):
        edge = np.roll(first, -1, axis=1) - first
        normal = np.stack([edge[..., 1], -edge[..., 0]], axis=-1)
        normal /= np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-300)
        a, b = (normal @ np.swapaxes(points, 1, 2) for points in (first, second))
        gap = np.maximum(a.min(axis=-1) - b.max(axis=-1), b.min(axis=-1) - a.max(axis=-1))
        found |= (np.where(normal.any(axis=-1), gap, -np.inf) > -TOUCH).any(axis=1)
    return found


@dataclass(frozen=True)
class _Losses:
    """What polygons lose (m,): to which other, and a region of which that is all that they share.

    Of the first `plain` it is known already which polygons (n,) are `gone` by them.
    """

    owner: IntArray
    winner: IntArray
    region: Shapes
    plain: int
    gone: BoolArray


def _losses(polygons: Shapes, pressure: Array, pairs: IntArray) -> _Losses:
    """What polygons lose to those with more pressure; ties go to the first."""
    first, second = pairs.T
    more = pressure[second] - pressure[first]
    scale = 1e-9 * (1.0 + np.abs(more[:, 0]))
    low, high = _range_about(polygons, pairs, more)
    to_first = high <= scale
    to_second = (low >= -scale) & ~to_first
    loser = np.concatenate([second[to_first], first[to_second]])
    winner = polygons[np.concatenate([first[to_first], second[to_second]])]
    gone = np.zeros(len(polygons), dtype=bool)
    gone[loser[shapely.covers(winner, polygons[loser])]] = True
    mixed = np.flatnonzero(~to_first & ~to_second & ~gone[first] & ~gone[second])
    one, other, law = first[mixed], second[mixed], more[mixed]
    return _Losses(
        np.concatenate([loser, one, other]),
        np.concatenate([first[to_first], second[to_second], other, one]),
        np.concatenate(
            [
                winner,
                above_zero(polygons[other], law),
                above_zero(polygons[one], -law),
            ]
        ),
        len(loser),
        gone,
    )


def above_zero(shapes: Shapes, law: Array) -> Shapes:
    """What of shapes (n,) lies where linear functions (n, 3) are above zero."""
    corners, count = _corners(shapes)
    side = np.roll(corners, -1, axis=1) - corners
    off = corners[:, None] - corners[:, :, None]
    left = side[:, :, None, 0] * off[..., 1] - side[:, :, None, 1] * off[..., 0]
    one_way = (left >= 0.0).all(axis=(1, 2)) | (left <= 0.0).all(axis=(1, 2))
    convex = one_way & (count <= FEW_CORNERS) & (shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON)
    part = shapes.copy()
    part[convex] = _convex_above_zero(corners[convex], law[convex])
    rest = ~convex
    part[rest] = solid(shapely.intersection(shapes[rest], _halves(shapes[rest], law[rest]), grid_size=GRID))
    return part


def _convex_above_zero(corners: Array, law: Array) -> Shapes:
    """As `above_zero`, of convex polygons (n, k, 2)."""
    value = law[:, None, 0] + np.einsum("nkx,nx->nk", corners, law[:, 1:])
    stays, ahead = value >= 0.0, np.roll(value, -1, axis=1)
    crosses = stays != (ahead >= 0.0)
    share = np.where(crosses, value, 0.0) / np.where(crosses, value - ahead, 1.0)
    cut = corners + share[..., None] * (np.roll(corners, -1, axis=1) - corners)
    both = np.stack([corners, cut], axis=2).reshape(len(corners), 2 * corners.shape[1], 2)
    keep = np.stack([stays, crosses], axis=2).reshape(len(corners), 2 * corners.shape[1])
    latest = np.maximum.accumulate(np.where(keep, np.arange(keep.shape[1]), -1), axis=1)
    latest = np.where(latest < 0, latest[:, -1:], latest)  # what is cut away falls on a corner that stays
    ring = np.take_along_axis(both, np.maximum(latest, 0)[..., None], axis=1)
    there = keep.sum(axis=1) > 2
    part = np.full(len(corners), NOTHING, dtype=object)
    part[there] = shapely.polygons(ring[there])
    return part


def _range_about(polygons: Shapes, pairs: IntArray, law: Array) -> tuple[Array, Array]:
    """Bounds (m,), (m,) of linear functions (m, 3) on what pairs share: on either, and on both boxes."""
    box = shapely.bounds(polygons)
    near = np.maximum(box[pairs[:, 0], :2], box[pairs[:, 1], :2])
    far = np.minimum(box[pairs[:, 0], 2:], box[pairs[:, 1], 2:])
    across = 0.5 * np.sum(np.abs(law[:, 1:]) * (far - near), axis=1)
    middle = law[:, 0] + 0.5 * np.sum(law[:, 1:] * (near + far), axis=1)
    low, high = middle - across, middle + across
    corners, count = _corners(polygons)
    for side in (0, 1):
        few = np.flatnonzero(count[pairs[:, side]] <= FEW_CORNERS)
        at = corners[pairs[few, side]] @ law[few, 1:, None]
        value = law[few, 0, None] + at[..., 0]
        low[few] = np.maximum(low[few], value.min(axis=1))
        high[few] = np.minimum(high[few], value.max(axis=1))
    return low, high


def _halves(regions: Shapes, law: Array) -> Shapes:
    """Squares (n,) that cover what of regions (n,) lies where linear functions (n, 3) are above zero."""
    low_x, low_y, high_x, high_y = shapely.bounds(regions).T
    center = 0.5 * np.stack([low_x + high_x, low_y + high_y], axis=1)
    size = np.linalg.norm(law[:, 1:], axis=1, keepdims=True)
    normal = law[:, 1:] / size
    foot = center - (law[:, :1] + np.sum(law[:, 1:] * center, axis=1, keepdims=True)) / size * normal
    along = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    reach = 2.0 * np.hypot(high_x - low_x, high_y - low_y)[:, None] + 1.0
    ring = [foot - reach * along, foot + reach * along, foot + reach * (along + normal)]
    return np.asarray(shapely.polygons(np.stack([*ring, foot + reach * (normal - along)], axis=1)))


def _without(polygons: Shapes, losses: _Losses) -> Shapes:
    """Polygons without what they lose, the widest of it first.

    What has nothing left takes nothing from others either: whatever lies on it there does.
    """
    left, box = polygons.copy(), shapely.bounds(polygons)
    owner, winner, region, there = losses.owner, losses.winner, losses.region, shapely.bounds(losses.region)
    gone, late = losses.gone, owner[losses.plain :]
    gone[late[shapely.covers(region[losses.plain :], polygons[late])]] = True
    left[gone] = NOTHING
    order = np.lexsort((-np.prod(_shared(box[owner], there), axis=1), owner))
    order = order[~gone[owner[order]] & ~gone[winner[order]]]
    while len(order):
        first = np.r_[True, owner[order[1:]] != owner[order[:-1]]]
        now, which = order[first], owner[order[first]]
        left[which] = _difference(left[which], region[now])
        box[which] = shapely.bounds(left[which])
        gone[which] = shapely.area(left[which]) <= SLIVER
        order = order[~first]
        order = order[~gone[owner[order]] & ~gone[winner[order]]]
        order = order[(_shared(box[owner[order]], there[order]) > TOUCH).all(axis=1)]
        first = np.r_[True, owner[order[1:]] != owner[order[:-1]]][: len(order)]
        meets = ~first
        meets[first] = shapely.intersects(left[owner[order[first]]], region[order[first]])
        order = order[meets]
    return left


def _difference(shapes: Shapes, regions: Shapes) -> Shapes:
    """Shapes (n,) without regions (n,)."""
    return solid(shapely.difference(shapes, regions, grid_size=GRID))


def solid(shapes: Shapes) -> Shapes:
    """Shapes (n,) without the lines and points that touching edges leave in them."""
    kind = shapely.get_type_id(shapes)
    areal = (kind == shapely.GeometryType.POLYGON) | (kind == shapely.GeometryType.MULTIPOLYGON)
    mixed = np.flatnonzero(~areal)
    clean = shapes.copy()
    clean[mixed] = [polygonal(shape) or NOTHING for shape in shapes[mixed]]
    return clean


def _shared(one: Array, other: Array) -> Array:
    """Width and height (n, 2) of what boxes (n, 4) share; negative where they lie apart."""
    return np.minimum(one[:, 2:], other[:, 2:]) - np.maximum(one[:, :2], other[:, :2])
