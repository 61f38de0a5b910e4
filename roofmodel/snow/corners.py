"""Drifts that run radially around outside corners of walls: slices of a cone, never below it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.counting import within
from roofmodel.snow.cases import Zone
from roofmodel.snow.higher import Heights, below_top, blocking, plane_heights, united, up_to
from roofmodel.snow.regions import CRACK, LOW_STEP, Plan, left_normal, polygonal
from roofmodel.snow.sharing import GRID
from roofmodel.surface import RoofSurface

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


def face_corners(roof: RoofSurface) -> Corners:
    """Corners of parapets and projections, and free ends of parapets that stop before no higher wall."""
    obstacles, steps = roof.obstacles, roof.steps
    start, end = obstacles.start[:, :2], obstacles.end[:, :2]
    parapet = obstacles.parapet[obstacles.face]
    if not parapet.any():
        return Corners(start, end, outside_corners(start, end))
    walls = shapely.union_all(shapely.linestrings(np.stack([steps.start[:, :2], steps.end[:, :2]], axis=1)))
    ends = shapely.points(np.stack([start, end], axis=1))
    free = parapet[:, None] & ~shapely.dwithin(ends, walls, SAME_CORNER)
    return _with_free_ends(start, end, free)


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


@dataclass(frozen=True)
class Slices:
    """Slices of drifts around outside corners.

    Attributes
    ----------
    owner : (n,) int
        Which of the corners.
    place : (n,) int
        Which slice; a core and what lies beyond it are one.
    polygon : (n,) shapely Polygon
        Triangles, cut in two at `level`. [m]
    pressure : (n, 3) float
        a, b, c of their pressure: along the middle of each the peak, from `level` to `length` falling to 0.
    whole : (m,) shapely Polygon
        All slices of each corner together. [m]
    """

    owner: IntArray
    place: IntArray
    polygon: NDArray[np.object_]
    pressure: Array
    whole: NDArray[np.object_]


def corner_slices(
    corner: Array, first: Array, second: Array, peak: Array, length: Array, level: Array
) -> Slices:
    """Slices of drifts around outside corners.

    Parameters
    ----------
    corner : (m, 2) float
        [m]
    first, second : (m, 2) float
        Unit normals of the two walls of each; the first turns clockwise to the second.
    peak : (m,) float
        At the corner. [Pa]
    length : (m,) float
        Where it is down to 0, in every direction. [m]
    level : (m,) float
        As far as this from the corner the peak stays the same. [m]

    Returns
    -------
    Slices
    """
    turn = np.arccos(np.clip(np.sum(first * second, axis=1), -1.0, 1.0))
    count = np.maximum(np.ceil(turn / SLICE - 1e-9), 1.0).astype(np.int64)
    owner = np.repeat(np.arange(len(corner)), count)
    place = np.arange(len(owner))
    number = within(count)[:, None] + np.array([0.0, 0.5, 1.0])
    step = (turn / count)[owner]
    angle = np.arctan2(first[owner, 1], first[owner, 0])[:, None] - step[:, None] * number
    ray = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    spoke, way = ray[:, ::2] / np.cos(0.5 * step)[:, None, None], ray[:, 1]
    top, near, far = corner[owner], level[owner], length[owner]
    inner = top[:, None] + near[:, None, None] * spoke
    rim = top[:, None] + far[:, None, None] * spoke
    slope = -(peak[owner] / (far - near))[:, None] * way
    high = peak[owner] - np.sum(slope * (top + near[:, None] * way), axis=1)
    law = np.column_stack([high, slope])
    ends = np.cumsum(count)
    fan = np.insert(rim[:, 0], ends, rim[ends - 1, 1], axis=0)
    ring = np.insert(fan, np.cumsum(count + 1) - count - 1, corner, axis=0)
    around = shapely.linearrings(ring, indices=np.repeat(np.arange(len(corner)), count + 2))
    polygon = np.asarray(shapely.polygons(np.stack([top, rim[:, 0], rim[:, 1]], axis=1)), dtype=object)
    cut = np.flatnonzero(near > 0.0)
    polygon[cut] = shapely.polygons(np.concatenate([inner[cut, ::-1], rim[cut]], axis=1))
    core = shapely.polygons(np.concatenate([top[cut, None], inner[cut]], axis=1))
    flat = np.column_stack([peak[owner[cut]], np.zeros((len(cut), 2))])
    order = np.argsort(np.concatenate([place, place[cut]]), kind="stable")
    return Slices(
        np.concatenate([owner, owner[cut]])[order],
        np.concatenate([place, place[cut]])[order],
        np.concatenate([polygon, core])[order],
        np.concatenate([law, flat])[order],
        np.asarray(shapely.polygons(around), dtype=object).reshape(-1),
    )


@dataclass(frozen=True)
class WallDrift:
    """Drift in front of a wall, not yet cut to planes.

    It falls from a peak [Pa] at `level` [m] before the wall to nothing at `length` [m].
    """

    zone: Zone
    wall: int
    peak: float
    length: float
    level: float = 0.0


def drift_of(zone: Zone, wall: int, level: float = 0.0) -> WallDrift:
    """Drift of p_d over w, from `level` in front of a wall on, as the values of its zone say."""
    given = {value.symbol: value.value for value in zone.values}
    return WallDrift(zone, wall, given["p_d"], level + given["w"], level)


def around_walls(drifts: Sequence[WallDrift], corners: Corners) -> list[Zone]:
    """Each drift in front of its wall and around its outside corners, not yet cut to planes."""
    both = zip(in_front(drifts, corners), run_on(drifts, corners), strict=True)
    return [zone for front, around in both for zone in (*front, *around)]


def run_on(drifts: Sequence[WallDrift], corners: Corners) -> list[list[Zone]]:
    """What of each drift runs on around both ends of its wall, not yet cut to planes.

    As `corner_slices`; none at ends that are no outside corners.
    """
    found: list[list[Zone]] = [[] for _ in drifts]
    drift, pair = _turns(np.array([one.wall for one in drifts], dtype=np.int64), corners)
    if not len(drift):
        return found
    sizes = np.array([(one.peak, one.length, one.level) for one in drifts])[drift]
    normal = left_normal(corners.start, corners.end)
    corner = corners.start[pair[:, 1]]
    parts = corner_slices(corner, normal[pair[:, 0]], normal[pair[:, 1]], *sizes.T)
    if corners.heights is not None:
        wall = np.array([drifts[k].wall for k in drift])
        top = corners.top[wall, (pair[:, 0] == wall).astype(np.int64)]
        parts = _free(parts, corners.heights, top, np.asarray(shapely.points(corner)))
    around = [replace(one.zone, name=f"{one.zone.name}{AROUND}") for one in drifts]
    for k, polygon, law in zip(drift[parts.owner].tolist(), parts.polygon, parts.pressure, strict=True):
        found[k].append(replace(around[k], polygon=polygon, pressure=law))
    return found


def _turns(wall: IntArray, corners: Corners) -> tuple[IntArray, IntArray]:
    """Outside corners of the wall of each drift: which drift (n,), and its pair of walls (n, 2)."""
    normal = np.round(left_normal(corners.start, corners.end), 6)
    drift, at = np.nonzero((corners.pairs[None] == wall[:, None, None]).any(axis=2))
    pair = corners.pairs[at]
    turn = np.column_stack([drift, pair[:, 0] == wall[drift], normal[pair].reshape(-1, 4)])
    _, different = np.unique(turn, axis=0, return_index=True)  # a wall may stand over several roofs
    kept = np.sort(different)
    return drift[kept], pair[kept]


def _free(parts: Slices, heights: Heights, top: Array, corner: NDArray[np.object_]) -> Slices:
    """Slices as far from their corner (m,) as no roof stands higher than the wall's top (m,) there."""
    blocked, hiding = blocking(heights, parts.whole, top)
    cut = np.flatnonzero(shapely.is_geometry(blocked)[parts.owner])
    if not len(cut):
        return parts
    place, at = np.unique(parts.place[cut], return_inverse=True)
    sector = united(parts.polygon[cut], at, len(place))
    owner = np.zeros(len(place), dtype=np.int64)
    owner[at] = parts.owner[cut]
    left = up_to(blocked[owner], hiding[owner], sector, corner[owner])
    polygon = parts.polygon.copy()
    polygon[cut] = shapely.intersection(polygon[cut], left[at], grid_size=GRID)
    polygon[cut] = [None if one is None else polygonal(one) for one in polygon[cut]]
    stays = shapely.is_geometry(polygon)
    return replace(
        parts,
        owner=parts.owner[stays],
        place=parts.place[stays],
        polygon=polygon[stays],
        pressure=parts.pressure[stays],
    )


def in_front(drifts: Sequence[WallDrift], corners: Corners) -> list[list[Zone]]:
    """Each drift in front of its wall up to where other planes stand higher than its top; none where all do.

    On the plane that meets the wall the shape of the standard stands whole.
    """
    if corners.heights is None or not drifts:
        return [[one.zone] for one in drifts]
    wall = np.array([one.wall for one in drifts])
    foot = shapely.linestrings(np.stack([corners.start[wall], corners.end[wall]], axis=1))
    patches = np.array([one.zone.polygon for one in drifts], dtype=object)
    plane = np.array([one.zone.plane for one in drifts])
    left = below_top(corners.heights, patches, np.asarray(foot), corners.top[wall].max(axis=1), plane)
    return [
        [] if part is None else [one.zone if part is one.zone.polygon else replace(one.zone, polygon=part)]
        for one, part in zip(drifts, left, strict=True)
    ]
