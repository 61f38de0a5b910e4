"""What hidden faces show beside what hides them: a roof that runs on below a canopy, a balcony.

How wide and how far below it is, to be roof and not the underside of a slab, is judgment; no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.shape.cleaning import face_vectors
from roofmodel.shape.triangulation import triangulate
from roofmodel.surface import Array, IntArray

GRID = 1e-6  # overlays snap to it [m]
SHOWN = 1.0  # less of a plane that stands out is not looked at [m^2]
NARROW = 0.45  # strips narrower than this are eaves, sills and joints [m]
CLEAR = 0.6  # what hides a roof passes at least this far above it; slabs are thinner [m]


@dataclass(frozen=True)
class StandingOut:
    """What hidden faces show.

    Attributes
    ----------
    points : (k, 3) float
        [m]
    faces : (m, 3) int
        Triangles of the parts that are roof, facing up.
    kept, left : float
        Plan area of these, and of the rest. [m^2]
    lowest : float
        Lowest point of hidden faces that stand out in the rest; infinite where there is none. [m]
    """

    points: Array
    faces: IntArray
    kept: float
    left: float
    lowest: float = np.inf

    @staticmethod
    def nothing(left: float = 0.0, lowest: float = np.inf) -> StandingOut:
        """No part that is roof."""
        return StandingOut(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64), 0.0, left, lowest)


def standing_out(
    points: Array, faces: IntArray, seen: NDArray[np.bool_], part: IntArray, floor: float
) -> StandingOut:
    """Cut hidden faces along what is seen and keep what stands out of them.

    Parameters
    ----------
    points : (n, 3) float
    faces : (m, 3) int
        Counter-clockwise from above.
    seen : (m,) bool
        Faces that are kept whole.
    part : (m,) int
        Number that the faces of one plane share; -1 for those without area.
    floor : float
        What lies no higher is a floor or the ground. [m]
    """
    if seen.all() or not seen.any():
        return StandingOut.nothing()
    flat = np.asarray(shapely.polygons(points[faces][:, :, :2]))
    hidden = np.flatnonzero(~seen & (part >= 0))
    shown, below = (shapely.union_all(flat[some], grid_size=GRID) for some in (seen, hidden))
    free = shapely.difference(below, shown, grid_size=GRID)
    out, all_hidden = float(free.area), hidden
    wide = shapely.union_all(_without_strips(free))
    shapely.prepare(wide)
    hidden = hidden[shapely.intersects(flat[hidden], wide)]
    top = np.full(int(part.max()) + 1, -np.inf)
    np.maximum.at(top, part[hidden], points[faces[hidden], 2].max(axis=1))
    rings: list[list[Array]] = []
    kept = 0.0
    taken: list[Polygon] = []
    for plane in np.argsort(-top, kind="stable")[: int(np.isfinite(top).sum())].tolist():
        own = hidden[part[hidden] == plane]
        found = _without_strips(shapely.intersection(shapely.union_all(flat[own], grid_size=GRID), wide))
        if not found or top[plane] <= floor or _clearance(points, faces, own, np.flatnonzero(seen)) < CLEAR:
            continue
        normal, on = face_vectors(points, faces[own[:1]])[0], points[faces[own[0], 0]]
        for polygon in found:
            loops = [shapely.get_coordinates(ring)[:-1] for ring in (polygon.exterior, *polygon.interiors)]
            rise = [on[2] - (xy - on[:2]) @ normal[:2] / normal[2] for xy in loops]
            rings.append([np.column_stack(pair) for pair in zip(loops, rise, strict=True)])
            kept += polygon.area
        taken += found
        wide = shapely.difference(wide, shapely.union_all(found), grid_size=GRID)
    rest = shapely.difference(free, shapely.union_all(taken), grid_size=GRID)
    lost = all_hidden[shapely.area(shapely.intersection(flat[all_hidden], rest)) > GRID]
    lowest = float(points[faces[lost], 2].min(initial=np.inf))
    if not rings:
        return StandingOut.nothing(out, lowest)
    corners, made, _ = triangulate(rings)
    return StandingOut(corners, made, kept, max(out - kept, 0.0), lowest)


def _without_strips(shape: BaseGeometry) -> list[Polygon]:
    """Polygons of a shape that are wide enough, if they are large enough together."""
    core = shapely.buffer(shape, -0.5 * NARROW, join_style="mitre")
    grown = shapely.buffer(core, 0.5 * NARROW, join_style="mitre")
    whole = shapely.get_parts(shapely.intersection(shape, grown, grid_size=GRID))
    found = [part for part in whole if isinstance(part, Polygon) and part.area > NARROW**2]
    return found if sum(part.area for part in found) > SHOWN else []


def _clearance(points: Array, faces: IntArray, own: IntArray, seen: IntArray) -> float:
    """Middle height of what is seen above some faces; infinite where nothing is. [m]."""
    inside = np.vstack([np.full((1, 3), 1.0 / 3.0), np.full((3, 3), 0.1) + 0.7 * np.eye(3)])
    spot = np.einsum("sc,fcx->sfx", inside, points[faces[own]]).reshape(-1, 3)
    over = points[faces[seen]]
    near = (over[:, :, :2].min(axis=1) <= spot[:, :2].max(axis=0)).all(axis=1)
    near &= (over[:, :, :2].max(axis=1) >= spot[:, :2].min(axis=0)).all(axis=1)
    over, vector = over[near], face_vectors(points, faces[seen[near]])
    tree = shapely.STRtree(np.asarray(shapely.polygons(over[:, :, :2])))
    which, above = tree.query(shapely.points(spot[:, :2]), predicate="intersects")
    away = np.sum((spot[which, :2] - over[above, 0, :2]) * vector[above, :2], axis=1)
    top = np.full(len(spot), -np.inf)
    np.maximum.at(top, which, over[above, 0, 2] - away / vector[above, 2] - spot[which, 2])
    return float(np.median(top[np.isfinite(top)])) if np.isfinite(top).any() else np.inf
