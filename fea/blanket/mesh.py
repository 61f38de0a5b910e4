"""Rectangles over a plane: a grid through the levels of rows, cut by the outline."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

THIN = 1e-3  # part of a rectangle on the plane that is left out with its snow handed to a neighbor [-]


def grid_lines(low: float, high: float, through: Sequence[float], step: float) -> Array:
    """Grid lines from low to high, no further apart than `step`, through the places that have room. [m].

    Parameters
    ----------
    low, high : float
        [m]
    through : sequence of float
        Places wanted; those nearer than a third of a step to another one are left out. [m]
    step : float
        [m]
    """
    marks = [low]
    for place in sorted(through):
        if place - marks[-1] > step / 3.0 and high - place > step / 3.0:
            marks.append(place)
    marks.append(high)
    parts = [
        np.linspace(a, b, int(np.ceil((b - a) / step - 1e-9)) + 1)[:-1] for a, b in itertools.pairwise(marks)
    ]
    return np.concatenate([*parts, [high]])


def cover(outline: Polygon | BaseGeometry, u: Array, v: Array) -> tuple[IntArray, Array, Array]:
    """Rectangles of a grid that lie on a plane.

    Parameters
    ----------
    outline : shapely Polygon
        [m]
    u, v : (a,), (b,) float
        Grid lines. [m]

    Returns
    -------
    cell : (m, 2) int
        Column and row in the grid.
    share : (m,) float
        Part of each rectangle inside.
    middle : (m, 2) float
        Centroid of that part. [m]
    """
    column, row = np.meshgrid(np.arange(len(u) - 1), np.arange(len(v) - 1), indexing="ij")
    cell = np.stack([column.ravel(), row.ravel()], axis=1)
    low = np.stack([u[cell[:, 0]], v[cell[:, 1]]], axis=1)
    high = np.stack([u[cell[:, 0] + 1], v[cell[:, 1] + 1]], axis=1)
    share, middle = np.zeros(len(cell)), 0.5 * (low + high)
    shapely.prepare(outline)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    inside = shapely.contains_properly(outline, boxes)
    share[inside] = 1.0
    edge = np.flatnonzero(~inside & shapely.intersects(outline, boxes))
    cut = shapely.intersection(outline, boxes[edge])
    share[edge] = shapely.area(cut) / np.prod(high[edge] - low[edge], axis=1)
    full = edge[share[edge] > THIN]
    middle[full] = shapely.get_coordinates(shapely.centroid(cut[share[edge] > THIN]))
    kept = share > THIN
    return cell[kept], np.minimum(share[kept], 1.0), middle[kept]


def corner_shares(place: Array) -> Array:
    """Shape functions (k, 4) at places (k, 2) from 0 to 1 in a rectangle."""
    x, y = place[:, 0], place[:, 1]
    return np.stack([(1 - x) * (1 - y), x * (1 - y), x * y, (1 - x) * y], axis=1)
