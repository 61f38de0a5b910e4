"""What of an outline is on no wall: joints and stout lumps, and slender stretches that must be told."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.profiles.joints import widest_circle

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BENT = 8.0  # thicknesses that a bent stretch may span and be too curved to buckle: screw ports (judgment)
FLAT = 4.0  # lengths over thickness of a nearly straight one: below the limit of outstands (judgment)
SIDES = 1.5  # lengths of a stretch that must lie on the outline, of the two that its sides have
STEP = 1.4  # from one thickness that is looked for to the next
FINEST = 2e-3  # thinnest that is looked for, over the root of the area


def bare(outline: Polygon, corner: Array) -> list[BaseGeometry]:
    """Pieces of an outline that plates (n, 4, 2) do not cover."""
    rest: BaseGeometry = outline
    if len(corner):
        middle = corner.mean(axis=1, keepdims=True)
        thin = float(np.linalg.norm(corner[:, 1] - corner[:, 0], axis=1).min())
        thin = max(thin, 1e-3 * float(np.sqrt(outline.area)))
        cover = shapely.polygons(middle + 1.0005 * (corner - middle))
        rest = outline.difference(shapely.union_all(cover)).buffer(-1e-3 * thin).buffer(1e-3 * thin)
    return [part for part in shapely.get_parts(rest) if part.area > 1e-4 * outline.area]


def lost_in(outline: Polygon, rest: list[BaseGeometry]) -> Array:
    """Slender stretches (k, 4) of what no wall covers: place, thickness, length. [m].

    Notes
    -----
    At each thickness in turn, what a circle of it does not fit into is looked at: a thin neck counts beside
    however stout a lump. Both long sides must be edges of the outline: the corner of a thin wall with a thick
    one is long and thin too, but its inner side lies on a wall.
    """
    least = FINEST * float(np.sqrt(outline.area))
    edge = outline.boundary
    found = [one for lump in rest for one in _slender(lump, least, edge)]
    return np.array(found).reshape(-1, 4)


def _slender(lump: BaseGeometry, least: float, edge: BaseGeometry) -> list[tuple[float, float, float, float]]:
    wide = 1.05 * widest_circle(lump)
    left, found = lump, []
    # A convex piece is slender as a whole or nowhere: its pointed ends open wider than plates do.
    across = wide if lump.area > 0.999 * lump.convex_hull.area else least
    while across < STEP * wide:
        across = min(across * STEP, 1.0001 * STEP * wide)
        opened = lump.buffer(-0.5 * across, quad_segs=4).buffer(0.55 * across, quad_segs=4)
        for part in shapely.get_parts(left.difference(opened)):
            if part.area < across**2 / STEP**2:
                continue
            thick, length = _strip(part)
            box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(part))
            side = np.sort(np.linalg.norm(np.diff(box[:3], axis=0), axis=1))
            flat = side[1] >= 0.85 * length and side[0] <= 1.6 * thick
            slender = length > FLAT * thick if flat else side[1] > BENT * thick
            if slender and edge.intersection(part.buffer(0.02 * thick)).length > SIDES * length:
                place = part.representative_point()
                found.append((place.x, place.y, thick, length))
                left = left.difference(part.buffer(1e-3 * across))
    return found


def _strip(part: BaseGeometry) -> tuple[float, float]:
    """Thickness and length of the strip that has the area and perimeter of a piece. [m]."""
    half = 0.5 * float(shapely.length(part))
    root = np.sqrt(max(0.25 * half**2 - part.area, 0.0))
    length = 0.5 * half + root
    return part.area / length, length


def accounts(outline: Polygon, rest: list[BaseGeometry], touches: BoolArray, lost: Array) -> Array:
    """Shares (2, 4) of area and perimeter on walls, joints of walls, stout lumps, and what is lost.

    Parameters
    ----------
    outline : Polygon
    rest : list of (k) polygons
        What no wall covers.
    touches : (2n, k) bool
        Which ends of walls touch them.
    lost : (m, 4) float
        As `Walls.lost`.
    """
    share = np.zeros((2, 4))
    edge, near = outline.boundary, 1e-4 * float(np.sqrt(outline.area))
    gone = np.zeros(len(rest), dtype=bool)
    if len(lost) and rest:
        spots = np.asarray(shapely.points(lost[:, :2]))
        gone[shapely.STRtree(rest).query(spots, predicate="dwithin", distance=near)[1]] = True
    for k, lump in enumerate(rest):
        column = 3 if gone[k] else 1 if touches[:, k].sum() > 1 else 2
        share[0, column] += lump.area / outline.area
        share[1, column] += edge.intersection(lump.buffer(near)).length / edge.length
    share[:, 0] = 1.0 - share[:, 1:].sum(axis=1)
    return share
