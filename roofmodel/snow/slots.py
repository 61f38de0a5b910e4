"""Open slots between planes of about one height: the wind blows snow on across them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Shapes = NDArray[np.object_]

SLOT = 0.5  # judgment: wider gaps end the way of the wind [m]


@dataclass(frozen=True)
class Slots:
    """Planes beside a slot: the lower and the higher one (n, 2), least and greatest rise (n, 2) [m]."""

    pair: IntArray
    rise: Array


def find_slots(roof: RoofSurface, polygons: tuple[Polygon, ...], crack: float) -> Slots:
    """Planes that stand apart on plan by more than a crack [m] and no more than `SLOT`."""
    shapes = np.array(polygons, dtype=object)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=SLOT)
    first, second = first[first < second], second[first < second]
    apart = shapely.distance(shapes[first], shapes[second]) > crack
    pair = np.column_stack([first[apart], second[apart]])
    low, high = np.full(len(pair), np.inf), np.full(len(pair), -np.inf)
    for own, other in ((0, 1), (1, 0)):
        line, which = _across(shapes[pair[:, own]], shapes[pair[:, other]])
        over = _heights(roof, pair[which, other], line[:, 1]) - _heights(roof, pair[which, own], line[:, 0])
        over *= other - own
        np.minimum.at(low, which, over)
        np.maximum.at(high, which, over)
    rise = np.column_stack([np.maximum(low, -high), np.maximum(high, -low)])
    falls = (-low > high)[:, None]
    return Slots(np.where(falls, pair[:, ::-1], pair), np.maximum(rise, 0.0))  # levels that cross: from 0


def _across(shapes: Shapes, others: Shapes) -> tuple[Array, IntArray]:
    """Shortest lines (n, 2, 2) from corners of shapes that are near others, and from the nearest place."""
    beside = shapely.intersection(shapely.boundary(shapes), shapely.buffer(others, SLOT))
    place, which = shapely.get_coordinates(beside, return_index=True)
    corner = shapely.shortest_line(shapely.points(place), others[which])
    line = np.concatenate([corner, shapely.shortest_line(shapes, others)])
    return shapely.get_coordinates(line).reshape(-1, 2, 2), np.r_[which, np.arange(len(shapes))]


def _heights(roof: RoofSurface, plane: IntArray, place: Array) -> Array:
    """Heights (n,) of planes at places (n, 2). [m]."""
    normal, origin = roof.planes.normal[plane], roof.planes.origin[plane]
    away = np.sum((place - origin[:, :2]) * normal[:, :2], axis=1)
    return np.asarray(origin[:, 2] - away / normal[:, 2])


def bridged(ray: IntArray, near: Array, far: Array) -> tuple[IntArray, Array, Array]:
    """Pieces of rays (n,), in order, of which those with no more than `SLOT` between them are one."""
    if not len(ray):
        return ray, near, far
    gap = (ray[1:] != ray[:-1]) | (near[1:] - far[:-1] > SLOT)
    first, last = np.concatenate([[True], gap]), np.concatenate([gap, [True]])
    return ray[first], near[first], far[last]
