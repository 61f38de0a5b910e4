"""Plan areas with a plane over each: lower and upper envelopes, exactly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.surface import Array, IntArray

SAME_POINT = 1e-7  # corners nearer than this are one [m]
FINE = 1e-10  # overlays snap to this, without it coinciding edges can give wrong areas [m]
GRID = 1e-8  # corners nearer than this are joined to close slits [m]
SLIVER = 1e-7  # smaller plane pieces are left out [m^2]

Cell = tuple[Array, Polygon]  # (a, b, c) of z = a x + b y + c, and where it is the roof


def edge_planes(footprint: Array, pitches: Array, eave: float | Array) -> Array:
    """Planes (k, 3) rising from the edges of a footprint as z = a x + b y + c; gable edges give +inf in c."""
    along = np.roll(footprint, -1, axis=0) - footprint
    inward = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    gable = np.isnan(pitches)
    gradient = np.where(gable[:, None], 0.0, np.tan(np.where(gable, 0.0, pitches))[:, None] * inward)
    level = eave - np.sum(gradient * footprint, axis=1)
    return np.column_stack([gradient, np.where(gable, np.inf, level)])


def where_below(area: BaseGeometry, lower: Array, upper: Array) -> BaseGeometry:
    """Part of a plan area where one plane lies below (or at) another."""
    if np.isinf(upper[2]):
        return area
    a, b, c = lower - upper
    norm = np.hypot(a, b)
    if norm < 1e-12:
        return area if c <= SAME_POINT else Polygon()
    x0, y0, x1, y1 = area.bounds if not area.is_empty else (0.0, 0.0, 1.0, 1.0)
    center = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1)])
    direction = np.array([a, b]) / norm
    beyond = float(a * center[0] + b * center[1] + c) / norm
    reach = 2.0 * np.hypot(x1 - x0, y1 - y0) + 1.0
    if abs(beyond) > reach:  # planes that hardly differ cross far away from the area
        return area if beyond < 0.0 else Polygon()
    foot = center - beyond * direction
    far = abs(beyond) + reach
    side = np.array([-direction[1], direction[0]]) * reach
    half = Polygon([foot - side, foot + side, foot + side - far * direction, foot - side - far * direction])
    return areal(shapely.intersection(area, half, grid_size=FINE))


def areal(shape: BaseGeometry) -> BaseGeometry:
    """Polygons of a shape; overlays of collections with stray lines in them go wrong."""
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    return MultiPolygon([part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"])


def lowest(area: Polygon, planes: Array) -> list[Cell]:
    """Lower envelope of planes over a plan area."""
    cells = []
    for index in np.flatnonzero(np.isfinite(planes[:, 2])):
        others = [planes[other] for other in range(len(planes)) if other != index]
        cell: BaseGeometry = area
        for other in others:
            cell = where_below(cell, planes[index], other)
        cells.append((planes[index], cell))
    return split(cells)


def split(cells: Sequence[tuple[Array, BaseGeometry]]) -> list[Cell]:
    """Cells as single polygons, slivers left out."""
    return [
        (plane, part)
        for plane, shape in cells
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon" and part.area > SLIVER
    ]


def union(first: Sequence[Cell], second: Sequence[Cell]) -> list[Cell]:
    """Upper envelope of two surfaces, each of which may cover its own plan area."""
    result: list[tuple[Array, BaseGeometry]] = []
    for own, other in ((first, second), (second, first)):
        strict = own is second
        for plane, cell in own:
            visible: BaseGeometry = cell
            for rival, shape in other:
                if visible.is_empty or not shapely.intersects(visible, shape):
                    continue
                common = areal(shapely.intersection(visible, shape, grid_size=FINE))
                hidden = where_below(common, plane, rival) if strict else _above_only(common, plane, rival)
                visible = areal(shapely.difference(visible, hidden, grid_size=FINE))
            result.append((plane, visible))
    return split(result)


def _above_only(common: BaseGeometry, plane: Array, rival: Array) -> BaseGeometry:
    """Part of a plan area where the rival lies above the plane; nothing where they coincide."""
    if np.abs(plane - rival).max() < SAME_POINT:
        return Polygon()
    return where_below(common, plane, rival)


def merged(cells: Sequence[Cell]) -> list[Cell]:
    """Join touching cells of the same plane and give neighbors the same corners.

    The boundaries of all cells are noded on a fine grid, which closes slits and removes spikes of
    rounding width; every corner then goes back to a corner of the input, to the last digit.
    """
    shapes = np.array([cell for _, cell in cells])
    planes = np.array([plane for plane, _ in cells])
    group = _groups(planes)
    lines = shapely.union_all(shapely.boundary(shapes), grid_size=GRID)
    pieces = np.asarray(shapely.get_parts(shapely.polygonize(shapely.get_parts(lines).tolist())))
    piece, owner = shapely.STRtree(shapes).query(shapely.point_on_surface(pieces), predicate="intersects")
    first = np.unique(piece, return_index=True)[1]
    pieces, of = pieces[piece[first]], group[owner[first]]
    corners = shapely.get_coordinates(shapes)
    tree = shapely.STRtree(np.asarray(shapely.points(corners)))

    def restore(xy: Array) -> Array:
        index = tree.nearest(shapely.points(xy))
        near = np.linalg.norm(corners[index] - xy, axis=1) < SAME_POINT
        return np.where(near[:, None], corners[index], xy)

    return split(
        [
            (planes[number], shapely.transform(shapely.union_all(pieces[of == number]), restore))
            for number in np.unique(of)
        ]
    )


def _groups(planes: Array) -> IntArray:
    """Number of the first plane that equals each plane."""
    same = np.abs(planes[:, None] - planes).max(axis=2) < 1e-9
    return np.argmax(same, axis=1)
