"""Meshes over vaults, domes and cones, with points anywhere, drawn exactly or measured with noise."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.spatial import Delaunay

from tests.geometry.shapes import turned

EAVE = 4.0
VAULT = {"length": 16.0, "span": 10.0, "rise": 2.5}  # [m]
ROUND = {"radius": 6.0, "rise": 2.5, "pitch": np.radians(35.0)}  # dome and cone [m, rad]


def circle_of(span, rise):
    """Radius of the circle over a span. [m]."""
    return (0.25 * span**2 + rise**2) / (2.0 * rise)


def outline(kind):
    if kind == "vault":
        return shapely.box(0.0, 0.0, VAULT["length"], VAULT["span"])
    return shapely.Point(0.0, 0.0).buffer(ROUND["radius"], quad_segs=32)


def height(kind, xy):
    if kind == "vault":
        radius = circle_of(VAULT["span"], VAULT["rise"])
        across = xy[:, 1] - 0.5 * VAULT["span"]
        return EAVE + VAULT["rise"] - radius + np.sqrt(radius**2 - across**2)
    reach = np.hypot(*xy.T)
    if kind == "cone":
        return EAVE + (ROUND["radius"] - reach) * np.tan(ROUND["pitch"])
    radius = circle_of(2.0 * ROUND["radius"], ROUND["rise"])
    return EAVE + ROUND["rise"] - radius + np.sqrt(radius**2 - reach**2)


def points_over(area, density, seed):
    """Plan points (n, 2) inside an area and along its rim."""
    rng = np.random.default_rng(seed)
    low, high = np.array(area.bounds).reshape(2, 2)
    xy = rng.uniform(low, high, (int(density * np.prod(high - low)), 2))
    rim = shapely.line_interpolate_point(area.exterior, np.arange(0.0, area.length, 0.35))
    ring = np.vstack([shapely.get_coordinates(rim), shapely.get_coordinates(area.exterior)[:-1]])
    return np.vstack([xy[shapely.contains_xy(area.buffer(-0.05), *xy.T)], ring])


def triangles(points, area):
    """Triangles on plan, without slivers at the rim that noise would set upright."""
    faces = Delaunay(points[:, :2]).simplices.astype(np.int64)
    corner = points[faces][:, :, :2]
    side = corner - np.roll(corner, 1, axis=1)
    thin = np.abs(side[:, 1, 0] * side[:, 2, 1] - side[:, 1, 1] * side[:, 2, 0])
    thin /= np.linalg.norm(side, axis=2).max(axis=1)
    at_rim = shapely.distance(shapely.points(corner.mean(axis=1)), area.exterior) < 0.2
    inside = shapely.contains_xy(area, *corner.mean(axis=1).T)
    return faces[inside & ((thin > 0.06) | ~at_rim)]


def curved_mesh(kind, density=8.0, noise=0.0, seed=0, turn=0.0, shift=(0.0, 0.0)):
    """Points (n, 3) and triangles (m, 3) over a vault, dome or cone."""
    area = outline(kind)
    xy = points_over(area, density, seed)
    points = np.column_stack([xy, height(kind, xy)])
    points += np.random.default_rng(seed + 100).normal(0.0, noise, points.shape) if noise else 0.0
    faces = triangles(points, area)
    return turned(points, turn, shift), faces
