"""What holds the ends of walls: other walls, lumps, nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

BEYOND = 0.75  # metal this many thicknesses past the end of a wall holds it
BEND = np.cos(np.radians(30.0))  # a fold by less does not hold the edges of its walls (judgment)
# A lump alone at an edge holds it from this many thicknesses on: the rib that makes an outstand as good as a
# plate held at both edges (EN 1999-1-1 6.1.4.3, eta of 5 / 18, rib of 12 t; from memory) has the second
# moment of a square of 8 t.
BULB = 8.0


def directions(start: Array, end: Array) -> Array:
    """Outward direction of the ends, start and end of each wall in turn, (2n, 2)."""
    way = (end - start) / np.linalg.norm(end - start, axis=1)[:, None]
    return np.stack([-way, way], axis=1).reshape(-1, 2)


def free_ends(outline: Polygon, start: Array, end: Array, thick: Array) -> BoolArray:
    """Ends (n, 2) beyond which there is no metal; `thick` (n, 2) there."""
    if not len(start):
        return np.zeros((0, 2), dtype=bool)
    tips = np.stack([start, end], axis=1)
    past = tips + BEYOND * thick[..., None] * directions(start, end).reshape(-1, 2, 2)
    return np.asarray(~shapely.intersects_xy(outline, past[..., 0], past[..., 1]))


def together(start: Array, end: Array, thick: Array, rest: list[BaseGeometry]) -> BoolArray:
    """Which ends, start and end of each wall in turn, (2n, k), touch which lump of the rest."""
    tip = np.stack([start, end], axis=1).reshape(-1, 2)
    if not (len(tip) and rest):
        return np.zeros((len(tip), len(rest)), dtype=bool)
    reach: Any = 0.1 * thick.reshape(-1)  # an array, which the library's types leave out
    index = shapely.STRtree(rest)
    end, lump = index.query(np.asarray(shapely.points(tip)), predicate="dwithin", distance=reach)
    found = np.zeros((len(tip), len(rest)), dtype=bool)
    found[end, lump] = True
    return found


def meeting(touches: BoolArray) -> BoolArray:
    """Which ends (n, n) touch the same lump, of `touches` (n, k)."""
    one = touches.astype(np.float32)  # products of whole numbers are slow
    return np.asarray(one @ one.T > 0.0)


def joined(start: Array, end: Array, near: BoolArray) -> BoolArray:
    """Ends (n, 2) where a wall that goes another way holds this one, however thin it is."""
    way = directions(start, end)
    folded = np.abs(way @ way.T) <= BEND
    return np.asarray((near & folded).any(axis=1).reshape(-1, 2))


def lone_lump(touches: BoolArray, thick: Array, size: Array) -> BoolArray:
    """Ends (n, 2) at lumps that no other wall touches and that are too small to hold an edge."""
    alone = touches & (touches.sum(axis=0) == 1)
    only = alone.any(axis=1) & (touches.sum(axis=1) == 1)
    across = (alone * size[None]).max(axis=1, initial=0.0).reshape(-1, 2)
    return np.asarray(only.reshape(-1, 2) & (across < BULB * thick))


def widest_circle(lump: BaseGeometry) -> float:
    """Diameter of the largest circle in a lump. [m]."""
    circle = shapely.maximum_inscribed_circle(lump, tolerance=1e-2 * np.sqrt(lump.area))
    return 2.0 * float(shapely.length(circle))


def lips(near: BoolArray, free: BoolArray) -> tuple[IntArray, IntArray]:
    """Ends of walls that only a wall with a free edge holds, and the wall at their other end."""
    n = len(free)
    lip, web = np.full((n, 2), -1), np.full(n, -1)
    if not near.any():
        return lip, web
    owner = np.repeat(np.arange(n), 2)
    near = near & (owner[:, None] != owner[None])
    held = near.sum(axis=1)
    partner = np.where(held == 1, near.argmax(axis=1), 0)
    other_free = free.ravel()[partner ^ 1]
    stiffened = (held == 1) & other_free & ~free.ravel()[np.arange(2 * n) ^ 1] & ~free.ravel()
    at = np.flatnonzero(stiffened)
    lip[owner[at], at % 2] = owner[partner[at]]
    far = at ^ 1
    web[owner[at]] = np.where(held[far] > 0, owner[near[far].argmax(axis=1)], -1)
    return lip, web
