"""Exact integrals over polygons with holes."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import brentq
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

Array = NDArray[np.float64]


def area_moments(shape: BaseGeometry) -> Array:
    """Integrals of 1, x, y, x^2, y^2, x y over polygons, (6,). [m^2 to m^4].

    By Green's theorem over every edge, holes turning the other way; exact for straight edges.
    """
    total = np.zeros(6)
    for part in shapely.get_parts(shapely.orient_polygons(shape)):
        for ring in shapely.get_rings(part):
            (x, y), (u, v) = shapely.get_coordinates(ring)[:-1].T, shapely.get_coordinates(ring)[1:].T
            cross = x * v - u * y
            total += [
                cross.sum() / 2.0,
                ((x + u) * cross).sum() / 6.0,
                ((y + v) * cross).sum() / 6.0,
                ((x * x + x * u + u * u) * cross).sum() / 12.0,
                ((y * y + y * v + v * v) * cross).sum() / 12.0,
                ((x * v + 2.0 * x * y + 2.0 * u * v + u * y) * cross).sum() / 24.0,
            ]
    return total


def central_moments(shape: BaseGeometry) -> tuple[float, Array, Array]:
    """Area, centroid (2,), and int x^2, int y^2, int x y about it, (3,)."""
    m = area_moments(shape)
    c = m[1:3] / m[0]
    return float(m[0]), c, m[3:] - m[0] * np.array([c[0] ** 2, c[1] ** 2, c[0] * c[1]])


def plastic_modulus(outline: Polygon, axis: int) -> float:
    """Plastic modulus of bending in which stress changes with coordinate `axis` (0 or 1). [m^3].

    The line that halves the area is found by bisection, both halves by clipping.
    """
    low, high = outline.bounds[axis], outline.bounds[axis + 2]
    far = 2.0 * max(abs(b) for b in outline.bounds) + 1.0

    def below(at: float) -> BaseGeometry:
        box = [-far, -far, far, far]
        box[axis + 2] = at
        return outline.intersection(shapely.box(box[0], box[1], box[2], box[3]))

    half = 0.5 * outline.area
    at = float(brentq(lambda s: below(s).area - half, low, high, xtol=1e-12, rtol=1e-12))
    lower, whole = area_moments(below(at)), area_moments(outline)
    return float(whole[1 + axis] - 2.0 * lower[1 + axis])
