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

SLOT = 0.5  # judgment: wider gaps end the way of the wind [m]


@dataclass(frozen=True)
class Slots:
    """Planes with a slot between them: the lower and the higher one (n, 2), and by how much (n,) [m]."""

    pair: IntArray
    rise: Array

    def below(self, limit: Array) -> IntArray:
        """Pairs (k, 2) that rise by no more than the limit (p,) [m] of the lower plane."""
        return self.pair[self.rise <= limit[self.pair[:, 0]]]


def find_slots(roof: RoofSurface, polygons: tuple[Polygon, ...], crack: float) -> Slots:
    """Planes that stand apart on plan by more than a crack [m] and no more than `SLOT`."""
    shapes = np.array(polygons, dtype=object)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=SLOT)
    first, second = first[first < second], second[first < second]
    apart = shapely.distance(shapes[first], shapes[second]) > crack
    first, second = first[apart], second[apart]
    ends = shapely.get_coordinates(shapely.shortest_line(shapes[first], shapes[second])).reshape(-1, 2, 2)
    normal, origin = roof.planes.normal, roof.planes.origin
    height = np.zeros((len(first), 2))
    for side, plane in enumerate((first, second)):
        away = ends[:, side] - origin[plane, :2]
        height[:, side] = origin[plane, 2] - np.sum(away * normal[plane, :2], axis=1) / normal[plane, 2]
    up = height[:, 1] >= height[:, 0]
    pair = np.column_stack([np.where(up, first, second), np.where(up, second, first)])
    return Slots(pair, np.abs(height[:, 1] - height[:, 0]))


def bridged(ray: IntArray, near: Array, far: Array) -> tuple[IntArray, Array, Array]:
    """Pieces of rays (n,), in order, of which those with no more than `SLOT` between them are one."""
    if not len(ray):
        return ray, near, far
    gap = (ray[1:] != ray[:-1]) | (near[1:] - far[:-1] > SLOT)
    first, last = np.concatenate([[True], gap]), np.concatenate([gap, [True]])
    return ray[first], near[first], far[last]
