"""Drifts that run radially around outside corners of walls: slices of a cone, never below it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Point, Polygon

from roofmodel.snow.cases import Zone
from roofmodel.snow.higher import Heights, below_top, blocking, plane_heights, up_to
from roofmodel.snow.regions import CRACK, LOW_STEP, Plan, falling_pressure, left_normal, polygonal, uniform
from roofmodel.snow.sharing import GRID
from roofmodel.surface import Obstacles, RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SAME_CORNER = 0.05  # ends of two walls closer than this on plan are one corner [m]
LEAST_TURN = np.sin(np.radians(5.0))  # walls that turn by less face the same way


def outside_note(code: str, falls: str, clauses: str = "") -> str:
    """What is said of drifts around outside corners; `falls` how they fall from the corner."""
    return (
        f"Judgment: around an outside corner each drift runs on radially, from {falls};"
        " where the drifts of both walls are there, the greater counts. At each distance the quadrant lies"
        f" between the two. {code} shows no shape for it{clauses and f' ({clauses})'};"
        " a drift cut off there leaves it bare. That of a wall ends where roof stands higher than its top."
    )


OUTSIDE = outside_note("ASCE/SEI 7", "p_d at the corner to nothing at w")
AROUND = ", around a corner"  # ends the names of such zones
SLICE = np.radians(15.0)  # the cone is overstated by 0.6 percent, 0.9 at most


def if_around(note: str, zones: Sequence[Zone]) -> list[str]:
    """The note where any of the zones runs on around a corner."""
    return [note] if any(zone.name.endswith(AROUND) for zone in zones) else []


@dataclass(frozen=True)
class Corners:
    """Walls that drifts run on around.

    Attributes
    ----------
    start, end : (w, 2) float
        Ends of their tops on plan. [m]
    pairs : (n, 2) int
        As `outside_corners`.
    top : (s, 2) float
        Height of the tops at start and end, of steps alone. [m]
    heights : Heights, optional
        Of the planes that may stand higher; without, nothing ends a drift.
    """

    start: Array
    end: Array
    pairs: IntArray
    top: Array = field(default_factory=lambda: np.zeros((0, 2)))
    heights: Heights | None = None


def step_corners(roof: RoofSurface, plan: Plan) -> Corners:
    """Corners and free ends of the upper edges of steps: there the drift begins, whatever lies before it."""
    steps, edges = roof.steps, roof.edges
    apart = np.flatnonzero((steps.gap > CRACK) & (steps.upper_edge >= 0))
    origin = edges.start[steps.upper_edge[apart], :2]
    way = edges.end[steps.upper_edge[apart], :2] - origin
    way = way / np.linalg.norm(way, axis=1)[:, None]
    ends = []
    for foot in (steps.start, steps.end):
        top = foot[:, :2].copy()
        top[apart] = origin + np.sum((top[apart] - origin) * way, axis=1)[:, None] * way
        ends.append(top)
    found = _with_free_ends(ends[0], ends[1], steps.wall > LOW_STEP)
    foot = np.stack([steps.start[:, 2], steps.end[:, 2]], axis=1)
    return replace(found, top=foot + steps.wall, heights=plane_heights(roof, plan))


def _with_free_ends(start: Array, end: Array, tall: NDArray[np.bool_]) -> Corners:
    """Outside corners of walls (w, 2), and those at tall ends (w, 2) from which no other wall goes on.

    Roof may lie around such an end though none lies in front of the building's next side: there a wall is
    added, 1 m long and square to the one that ends.
    """
    pairs, count = outside_corners(start, end), len(start)
    if not count:
        return Corners(start, end, pairs)
    along = (end - start) / np.linalg.norm(end - start, axis=1)[:, None]
    turned = np.stack([along[:, 1], -along[:, 0]], axis=1)
    last = np.flatnonzero(~_near(end, start) & tall[:, 1])
    first = np.flatnonzero(~_near(start, end) & tall[:, 0])
    after = np.column_stack([last, count + np.arange(len(last))])
    before = np.column_stack([count + len(last) + np.arange(len(first)), first])
    return Corners(
        np.concatenate([start, end[last], (start + turned)[first]]),
        np.concatenate([end, (end + turned)[last], start[first]]),
        np.concatenate([pairs, after, before]),
    )


def _near(place: Array, others: Array) -> NDArray[np.bool_]:
    """Whether each place (n, 2) is one corner with any of others (m, 2)."""
    tree = shapely.STRtree(np.asarray(shapely.points(others)))
    there = tree.query(shapely.points(place), predicate="dwithin", distance=SAME_CORNER)[0]
    return np.bincount(there, minlength=len(place)) > 0


def face_corners(obstacles: Obstacles) -> Corners:
    """Corners of parapets and projections."""
    start, end = obstacles.start[:, :2], obstacles.end[:, :2]
    return Corners(start, end, outside_corners(start, end))


def outside_corners(start: Array, end: Array) -> IntArray:
    """Pairs (n, 2) of walls of which the first ends, and the second begins, at an outside corner.

    Parameters
    ----------
    start, end : (w, 2 or 3) float
        Feet of walls, the roof in front of them on the left. [m]
    """
    if len(start) < 2:
        return np.zeros((0, 2), dtype=np.int64)
    feet = shapely.STRtree(np.asarray(shapely.points(start[:, :2])))
    pair = feet.query(shapely.points(end[:, :2]), predicate="dwithin", distance=SAME_CORNER).T
    normal = left_normal(start, end)
    first, second = normal[pair[:, 0]], normal[pair[:, 1]]
    turn = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    return pair[turn < -LEAST_TURN]


def corner_slices(
    corner: Array, first: Array, second: Array, peak: float, length: float, level: float = 0.0
) -> list[tuple[Polygon, Array]]:
    """Slices of a drift around an outside corner.

    Parameters
    ----------
    corner : (2,) float
        [m]
    first, second : (2,) float
        Unit normals of the two walls; the first turns clockwise to the second.
    peak : float
        At the corner. [Pa]
    length : float
        Where it is down to 0, in every direction. [m]
    level : float
        As far as this from the corner the peak stays the same. [m]

    Returns
    -------
    list of polygon and (3,) float
        Triangles, cut in two at `level`, and a, b, c of their pressure: along the middle of each the peak,
        from `level` to `length` falling to 0.
    """
    whole = float(np.arccos(np.clip(first @ second, -1.0, 1.0)))
    count = max(int(np.ceil(whole / SLICE - 1e-9)), 1)
    begin = np.arctan2(first[1], first[0])
    angle = begin - np.linspace(0.0, whole, count + 1)
    spokes = np.stack([np.cos(angle), np.sin(angle)], axis=1) / np.cos(0.5 * whole / count)
    inner, rim = corner[:2] + level * spokes, corner[:2] + length * spokes
    middle = 0.5 * (angle[:-1] + angle[1:])
    ways = np.stack([np.cos(middle), np.sin(middle)], axis=1)
    laws = [falling_pressure(corner[:2] + level * way, way, peak, length - level) for way in ways]
    top = np.repeat(corner[None, :2], count, axis=0)
    if level <= 0.0:
        slice_ = _polygons(np.stack([top, rim[:-1], rim[1:]], axis=1))
        return list(zip(slice_, laws, strict=True))
    outer = _polygons(np.stack([inner[1:], inner[:-1], rim[:-1], rim[1:]], axis=1))
    core = _polygons(np.stack([top, inner[:-1], inner[1:]], axis=1))
    pairs = zip(zip(outer, laws, strict=True), ((one, uniform(peak)) for one in core), strict=True)
    return [part for both in pairs for part in both]


def _polygons(corners: Array) -> list[Polygon]:
    return list(np.asarray(shapely.polygons(corners), dtype=object))


def slices(zone: Zone, wall: int, corners: Corners, level: float = 0.0) -> list[Zone]:
    """Drift of p_d over w, from `level` in front of one wall on, run on around its outside corners.

    Not yet cut to planes.
    """
    given = {value.symbol: value.value for value in zone.values}
    return run_on(zone, given["p_d"], level + given["w"], wall, corners, level)


def run_on(
    zone: Zone, peak: float, length: float, wall: int, corners: Corners, level: float = 0.0
) -> list[Zone]:
    """Slices of a drift with a peak [Pa] and length [m] at both ends of a wall, not yet cut to planes.

    As `corner_slices`; none at ends that are no outside corners.
    """
    normal = left_normal(corners.start, corners.end)
    zone = replace(zone, name=f"{zone.name}{AROUND}")
    pairs = corners.pairs[(corners.pairs == wall).any(axis=1)]
    turn = np.column_stack([pairs[:, 0] == wall, np.round(normal[pairs].reshape(-1, 4), 6)])
    _, different = np.unique(turn, axis=0, return_index=True)  # a wall may stand over several roofs
    return [
        replace(zone, polygon=polygon, pressure=law)
        for a, b in pairs[np.sort(different)]
        for polygon, law in _free(
            corner_slices(corners.start[b], normal[a], normal[b], peak, length, level),
            corners,
            wall,
            corners.start[b],
            int(a == wall),
        )
    ]


def _free(
    parts: list[tuple[Polygon, Array]], corners: Corners, wall: int, corner: Array, end: int
) -> list[tuple[Polygon | MultiPolygon, Array]]:
    """Slices of the drift at an end of a wall, as far from the corner as no roof stands higher than that."""
    if corners.heights is None:
        return list(parts)
    top, foot = float(corners.top[wall, end]), Point(corner)
    whole = polygonal(shapely.union_all([polygon for polygon, _ in parts], grid_size=GRID))
    blocked = None if whole is None else blocking(corners.heights, whole, top)
    if blocked is None:
        return list(parts)
    found: list[tuple[Polygon | MultiPolygon, Array]] = []
    for same in _slice_by_slice(parts):
        sector = polygonal(shapely.union_all([polygon for polygon, _ in same], grid_size=GRID))
        left = None if sector is None else up_to(blocked, sector, foot)
        if left is None:
            continue
        for polygon, law in same:
            part = polygonal(shapely.intersection(polygon, left, grid_size=GRID))
            found += [(part, law)] if part is not None else []
    return found


def _slice_by_slice(parts: list[tuple[Polygon, Array]]) -> list[list[tuple[Polygon, Array]]]:
    """The parts of each slice of `corner_slices` together: one or, cut at a level, two."""
    each = 1 if all(law[1:].any() for _, law in parts) else 2
    return [parts[k : k + each] for k in range(0, len(parts), each)]


def in_front(zone: Zone, wall: int, corners: Corners) -> list[Zone]:
    """The drift in front of a wall up to where other planes stand higher than its top; none where all do.

    On the plane that meets the wall the shape of the standard stands whole.
    """
    if corners.heights is None:
        return [zone]
    foot = LineString([corners.start[wall], corners.end[wall]])
    left = below_top(corners.heights, zone.polygon, foot, float(corners.top[wall].max()), zone.plane)
    return [] if left is None else [zone if left is zone.polygon else replace(zone, polygon=left)]
