"""Parts of planes that lie below other planes which rise from them: dormers drawn over a whole roof."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.shape.regions import components
from roofmodel.surface import Array, IntArray

GRID = 1e-6  # overlays snap to it [m]
NARROW = 0.02  # overlaps narrower than twice this come from rounding [m]
ROOTED = 0.10  # a cover that comes so near to a plane rises from it; others are overhangs [m]
SMOOTH = 1e-3  # corners nearer than this to a straight line go where a plane was cut [m]
MEET = 2e-3  # pieces nearer than twice this meet [m]
LEAST = 0.01  # pieces with less area are dropped [m^2]

Geometries = NDArray[np.object_]


@dataclass(frozen=True)
class Exposed:
    """Planes after hidden parts are cut away.

    Attributes
    ----------
    owner : (k,) int
        Plane that each piece belongs to, in rising order.
    plan : (k,) object
        Pieces on plan, shapely Polygons. [m]
    cut : (p,) bool
        Planes that lost something.
    lost : float
        Area cut away, on plan. [m^2]
    """

    owner: IntArray
    plan: Geometries
    cut: NDArray[np.bool_]
    lost: float


def exposed_parts(
    normal: Array, point: Array, rings: Sequence[Sequence[Array]], tolerance: float
) -> Exposed | None:
    """Cut away what lies below a plane that rises from it.

    Parameters
    ----------
    normal, point : (p, 3) float
        Unit normals that point up, and one point on each plane. [m]
    rings : sequence (p) of sequences of (k, 3) float
        Corners of the outer ring, then of the holes; none for a plane that vanished. [m]
    tolerance : float
        Planes that overlap within it are one sheet, drawn twice; the smaller gives way. [m]

    Returns
    -------
    Exposed or None
        None where nothing is covered. Covers that stay clear of a plane are overhangs and hide nothing, so
        that its load is not lost.
    """
    plan = np.array([_polygon(group) for group in rings], dtype=object)
    cover = _covers(normal, point, plan, tolerance)
    rooted = _rooted(cover)
    cut = np.asarray(shapely.get_num_geometries(plan) > 1)
    exposed = plan.copy()
    for index in np.unique(cover.lower[rooted]):
        above = shapely.union_all(cover.piece[rooted & (cover.lower == index)], grid_size=GRID)
        if not shapely.is_empty(shapely.buffer(above, -NARROW)):
            cut[index] = True
            exposed[index] = _opened(shapely.difference(plan[index], above, grid_size=GRID))
    if not cut.any():
        return None
    exposed = polygonal(exposed)
    parts, owner = shapely.get_parts(exposed, return_index=True)
    solid = (shapely.get_type_id(parts) == 3) & (shapely.area(parts) > LEAST)
    solid &= ~cut[owner] | ~shapely.is_empty(shapely.buffer(parts, -0.5 * NARROW))
    lost = float(shapely.area(plan).sum() - shapely.area(parts[solid]).sum())
    return Exposed(owner[solid].astype(np.int64), parts[solid], cut, lost)


def _opened(shape: shapely.Geometry) -> shapely.Geometry:
    """The same without strips and corners so narrow that they come from rounding."""
    shape = polygonal(np.array([shape], dtype=object))[0]
    less = shapely.buffer(shape, -0.5 * NARROW, join_style="mitre", mitre_limit=50.0)
    again = shapely.buffer(less, 0.5 * NARROW, join_style="mitre", mitre_limit=50.0)
    return shapely.simplify(shapely.intersection(shape, again, grid_size=GRID), SMOOTH)


def _polygon(group: Sequence[Array]) -> shapely.Geometry:
    """A plane's outline on plan; several where its rings cross themselves."""
    if not group:
        return Polygon()
    polygon: BaseGeometry = Polygon(group[0][:, :2], [hole[:, :2] for hole in group[1:] if len(hole) >= 3])
    if not polygon.is_valid:
        parts = shapely.get_parts(shapely.get_parts(shapely.make_valid(polygon)))
        solid = [part for part in parts if part.geom_type == "Polygon" and part.area > LEAST]
        polygon = solid[0] if len(solid) == 1 else MultiPolygon(solid)
    return shapely.set_precision(polygon, GRID)


def polygonal(geometry: Geometries) -> Geometries:
    """The same (n,) without the points and lines that overlays leave where outlines touch."""
    result = np.array(geometry, dtype=object)
    for index in np.flatnonzero(~np.isin(shapely.get_type_id(result), (3, 6))):
        parts = shapely.get_parts(shapely.get_parts(result[index]))
        result[index] = MultiPolygon([part for part in parts if part.geom_type == "Polygon"])
    return result


@dataclass(frozen=True)
class _Cover:
    """Pieces of planes that lie below another.

    Attributes
    ----------
    lower, upper : (k,) int
    piece : (k,) object
        On plan. [m]
    clear : (k,) float
        Least clearance. [m]
    rise, base : (p, 2), (p,) float
        Height of the planes: base + x rise[0] + y rise[1]. [-, m]
    """

    lower: IntArray
    upper: IntArray
    piece: Geometries
    clear: Array
    rise: Array
    base: Array


def _covers(normal: Array, point: Array, plan: Geometries, tolerance: float) -> _Cover:
    """All pieces of planes that lie below another."""
    first, second = shapely.STRtree(plan).query(plan, predicate="intersects")
    first, second = first[first < second], second[first < second]
    overlap = polygonal(shapely.intersection(plan[first], plan[second], grid_size=GRID))
    wide = ~shapely.is_empty(shapely.buffer(overlap, -NARROW))
    first, second, overlap = first[wide], second[wide], overlap[wide]
    rise = -normal[:, :2] / normal[:, 2:]
    base = point[:, 2] - np.sum(rise * point[:, :2], axis=1)
    slope, shift = rise[first] - rise[second], base[first] - base[second]
    coords, owner = shapely.get_coordinates(overlap, return_index=True)
    above = np.sum(coords * slope[owner], axis=1) + shift[owner]
    top, low = np.full(len(first), -np.inf), np.full(len(first), np.inf)
    np.maximum.at(top, owner, above)
    np.minimum.at(low, owner, above)
    one_sheet = np.maximum(top, -low) <= tolerance
    upper = _above(overlap, slope, shift)
    parts = [upper, polygonal(shapely.difference(overlap, upper, grid_size=GRID))]
    for part in parts:
        part[one_sheet] = Polygon()
    area = shapely.area(plan)
    smaller = np.where(area[first] < area[second], first, second)[one_sheet]
    lower = np.concatenate([second, first, smaller]).astype(np.int64)
    upper_plane = np.concatenate([first, second, (first + second)[one_sheet] - smaller]).astype(np.int64)
    piece = np.concatenate([*parts, overlap[one_sheet]])
    sign = np.repeat([1.0, -1.0], len(first))
    clear = _least(piece[: len(sign)], np.tile(slope, (2, 1)) * sign[:, None], np.tile(shift, 2) * sign)
    clear = np.concatenate([clear, np.zeros(int(one_sheet.sum()))])
    there = ~shapely.is_empty(piece)
    return _Cover(lower[there], upper_plane[there], piece[there], clear[there], rise, base)


def _above(overlap: Geometries, slope: Array, shift: Array) -> Geometries:
    """Parts of the overlaps where the first plane lies above the second."""
    steep = np.linalg.norm(slope, axis=1)
    middle = shapely.get_coordinates(shapely.centroid(overlap))
    height = np.sum(middle * slope, axis=1) + shift
    parallel = steep < 1e-9
    way = slope / np.where(parallel, 1.0, steep)[:, None]
    on_line = middle - (height / np.where(parallel, 1.0, steep))[:, None] * way
    box = shapely.bounds(overlap)
    reach = 2.0 * (np.hypot(box[:, 2] - box[:, 0], box[:, 3] - box[:, 1]) + 1.0)[:, None]
    # The line may lie far away from the overlap: bring its nearest point close, or the half plane misses it.
    along = np.column_stack([-way[:, 1], way[:, 0]])
    distance = np.clip(np.sum((on_line - middle) * way, axis=1), -reach[:, 0], reach[:, 0])
    foot = middle + distance[:, None] * way
    corners = [foot - reach * along, foot + reach * along]
    ring = np.stack([*corners, corners[1] + 2.0 * reach * way, corners[0] + 2.0 * reach * way], axis=1)
    half = polygonal(shapely.intersection(overlap, shapely.polygons(ring), grid_size=GRID))
    half[parallel] = overlap[parallel]
    half[parallel & (height <= 0.0)] = Polygon()
    return half


def _least(piece: Geometries, slope: Array, shift: Array) -> Array:
    """Least height of a linear function over each piece, infinite for empty ones. [m]."""
    coords, owner = shapely.get_coordinates(piece, return_index=True)
    least = np.full(len(piece), np.inf)
    np.minimum.at(least, owner, np.sum(coords * slope[owner], axis=1) + shift[owner])
    return least


def _rooted(cover: _Cover) -> NDArray[np.bool_]:
    """Pieces that hang together with one that touches the plane below it.

    Pieces hang together where they meet on plan and both their upper and their lower planes go on there.
    """
    near = cover.clear < ROOTED
    if not near.any():
        return near
    wide = np.asarray(shapely.buffer(cover.piece, MEET, join_style="mitre"))
    first, second = shapely.STRtree(wide).query(wide, predicate="intersects")
    first, second = first[first < second], second[first < second]
    place = shapely.get_coordinates(shapely.centroid(shapely.intersection(wide[first], wide[second])))
    keep = np.ones(len(first), dtype=bool)
    for plane in (cover.lower, cover.upper):
        a, b = plane[first], plane[second]
        height = [np.sum(place * cover.rise[one], axis=1) + cover.base[one] for one in (a, b)]
        keep &= (a == b) | (np.abs(height[0] - height[1]) < ROOTED)
    count, label = components(len(near), np.column_stack([first[keep], second[keep]]))
    touches = np.bincount(label, near, count) > 0
    return np.asarray(touches[label])
