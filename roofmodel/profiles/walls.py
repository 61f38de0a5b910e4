"""Plates that an outline is made of, found by pairs of edges that face each other through the metal."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.profiles.data import Walls

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

PARALLEL = np.cos(np.radians(4.0))  # faces of a wall that tapers less count as parallel
SHORTEST = 1.0  # walls shorter than this many thicknesses cannot buckle
BEYOND = 0.75  # metal this many thicknesses past the end of a wall holds it
BEND = np.cos(np.radians(30.0))  # a fold by less does not hold the edges of its walls (judgment)
STOCKY = 8.0  # what no wall covers counts as a lump up to this many squares of its inscribed circle


def walls_of(outline: Polygon, thickness: float | None = None) -> Walls:
    """Walls of an outline.

    Parameters
    ----------
    outline : Polygon
        [m]
    thickness : float, optional
        Largest that counts as a wall's; by default three times that of the thinnest. [m]
    """
    start, end, wall, split = _pairs(*_faces(outline), outline)
    if len(wall):
        most = 3.0 * wall.min() if thickness is None else thickness
        slender = np.linalg.norm(end - start, axis=1) >= SHORTEST * wall
        keep = (wall <= most * (1.0 + 1e-9)) & slender
        start, end, wall, split = start[keep], end[keep], wall[keep], split[keep]
    rest = _rest(outline, start, end, wall)
    together = _together(start, end, wall, rest)
    free = _free(outline, start, end, wall) & ~split[:, None] & ~_joined(start, end, together)
    lip, web = _lips(together, free)
    known = all(_stocky(lump) for lump in rest) and not _runs_on(start, end, wall)
    return Walls(start, end, wall, free, lip, web, known)


def _faces(outline: Polygon) -> tuple[Array, IntArray]:
    """Edges (n, 2, 2) with the metal on their left, and the ring (n,) that each belongs to."""
    size = np.sqrt(outline.area)
    flat = shapely.orient_polygons(shapely.simplify(outline, 1e-5 * size))
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(flat)]
    edges = [np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings]
    return np.concatenate(edges), np.repeat(np.arange(len(edges)), [len(one) for one in edges])


def _pairs(face: Array, ring: IntArray, outline: Polygon) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Start, end and thickness of the metal between faces that look at each other, and whether of two rings.

    Faces of two rings meet around no end: such a wall lies between a cell and the outside or another cell,
    and metal goes on at both its ends.
    """
    length = np.linalg.norm(face[:, 1] - face[:, 0], axis=1)
    way = (face[:, 1] - face[:, 0]) / length[:, None]
    inward = np.stack([-way[:, 1], way[:, 0]], axis=1)
    i, j = np.nonzero(np.triu(way @ way.T < -PARALLEL, 1))
    middle = face[j].mean(axis=1)
    thick = np.einsum("kd,kd->k", middle - face[i, 0], inward[i])
    ends = np.einsum("ked,kd->ke", face[j] - face[i, :1], way[i])
    low, high = np.maximum(ends.min(axis=1), 0.0), np.minimum(ends.max(axis=1), length[i])
    keep = (thick > 0.0) & (high - low > 0.25 * thick)
    split = ring[i[keep]] != ring[j[keep]]
    i, thick, low, high = i[keep], thick[keep], low[keep], high[keep]
    if not len(i):
        return np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0), np.zeros(0, dtype=bool)
    shares = np.array([0.02, 0.25, 0.5, 0.75, 0.98])
    foot = (
        face[i, None, 0] + (low[:, None] + (high - low)[:, None] * shares)[..., None] * way[i, None]
    )  # across the wall, short of both faces
    across = inward[i, None] * thick[:, None, None]
    through = shapely.linestrings(np.stack([foot + 0.02 * across, foot + 0.98 * across], axis=2))
    solid = np.asarray(shapely.covers(outline, through)).all(axis=1)
    i, thick, low, high, split = i[solid], thick[solid], low[solid], high[solid], split[solid]
    line = face[i, 0] + 0.5 * thick[:, None] * inward[i]
    return line + low[:, None] * way[i], line + high[:, None] * way[i], thick, split


def _free(outline: Polygon, start: Array, end: Array, wall: Array) -> NDArray[np.bool_]:
    if not len(wall):
        return np.zeros((0, 2), dtype=bool)
    way = (end - start) / np.linalg.norm(end - start, axis=1)[:, None]
    past = BEYOND * wall[:, None] * way
    tips = np.stack([start - past, end + past], axis=1)
    return np.asarray(~shapely.intersects_xy(outline, tips[..., 0], tips[..., 1]))


def _together(start: Array, end: Array, wall: Array, joints: list[BaseGeometry]) -> NDArray[np.bool_]:
    """Which ends of walls, start and end of each in turn, (2n, 2n), touch one joint."""
    tip = np.stack([start, end], axis=1).reshape(-1, 2)
    if not (len(tip) and joints):
        return np.zeros((len(tip), len(tip)), dtype=bool)
    rest = np.array(joints, dtype=object)
    shapely.prepare(rest)  # with an index of their edges
    reach: Any = 0.1 * np.repeat(wall, 2)[:, None]  # an array, which the library's types leave out
    near = shapely.dwithin(rest, np.asarray(shapely.points(tip))[:, None], reach)
    touches = near.astype(np.float32)  # products of whole numbers are slow
    return np.asarray(touches @ touches.T > 0.0)


def _joined(start: Array, end: Array, together: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Ends (n, 2) where a wall that goes another way holds this one, however thin it is."""
    way = np.repeat((end - start) / np.linalg.norm(end - start, axis=1)[:, None], 2, axis=0)
    folded = np.abs(way @ way.T) <= BEND
    return np.asarray((together & folded).any(axis=1).reshape(-1, 2))


def _lips(together: NDArray[np.bool_], free: NDArray[np.bool_]) -> tuple[IntArray, IntArray]:
    """Ends of walls that only a wall with a free edge holds, and the wall at their other end."""
    n = len(free)
    lip, web = np.full((n, 2), -1), np.full(n, -1)
    if not together.any():
        return lip, web
    owner = np.repeat(np.arange(n), 2)
    near = together & (owner[:, None] != owner[None])
    held = near.sum(axis=1)
    partner = np.where(held == 1, near.argmax(axis=1), 0)
    other_free = free.ravel()[partner ^ 1]
    stiffened = (held == 1) & other_free & ~free.ravel()[np.arange(2 * n) ^ 1] & ~free.ravel()
    at = np.flatnonzero(stiffened)
    lip[owner[at], at % 2] = owner[partner[at]]
    far = at ^ 1
    web[owner[at]] = np.where(held[far] > 0, owner[near[far].argmax(axis=1)], -1)
    return lip, web


def _runs_on(start: Array, end: Array, wall: Array) -> bool:
    """Whether walls go on into each other without a fold or a third wall: facets of a curve, steps."""
    n = len(wall)
    if n < 2:
        return False
    tip = np.stack([start, end], axis=1).reshape(-1, 2)
    owner = np.repeat(np.arange(n), 2)
    way = ((end - start) / np.linalg.norm(end - start, axis=1)[:, None])[owner]
    thick = np.maximum(wall[owner][:, None], wall[owner][None])
    apart = np.linalg.norm(tip[:, None] - tip[None], axis=2)
    other = owner[:, None] != owner[None]
    straight = (apart <= 2.0 * thick) & other & (np.abs(way @ way.T) > BEND)
    third = ((apart <= 2.0 * thick) & other & (np.abs(way @ way.T) <= BEND)).any(axis=1)
    return bool((straight & ~(third[:, None] | third[None])).any())


def _rest(outline: Polygon, start: Array, end: Array, wall: Array) -> list[BaseGeometry]:
    """What no wall covers: joints and lumps."""
    rest: BaseGeometry = outline
    if len(wall):
        lines = shapely.linestrings(np.stack([start, end], axis=1))
        plates = shapely.union_all(shapely.buffer(lines, 0.5005 * wall, cap_style="flat"))
        rest = outline.difference(plates).buffer(-1e-3 * wall.min()).buffer(1e-3 * wall.min())
    return [part for part in shapely.get_parts(rest) if part.area > 1e-4 * outline.area]


def _stocky(lump: BaseGeometry) -> bool:
    """Whether a lump is too stocky to buckle."""
    radius = shapely.length(shapely.maximum_inscribed_circle(lump, tolerance=1e-2 * np.sqrt(lump.area)))
    return bool(lump.area <= STOCKY * (2.0 * radius) ** 2)
