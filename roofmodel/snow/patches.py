"""Patches of drifted and slid snow: beside walls, over several planes, the larger where they overlap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from roofmodel.snow.cases import Zone
from roofmodel.snow.regions import (
    EAVE_OVERHANG,
    FILLED,
    LOW_STEP,
    SAME_WIND,
    SLIVER,
    Plan,
    compass,
    fetch,
    filled,
    left_normal,
    passed,
    polygonal,
)
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

UPPER_TO_STEP = 0.17  # cosine: a plane whose fall is within 80 degrees of the wall's face sheds over it

FEW_CORNERS = 9  # polygons with more are not looked at for lines that part them; the first counts twice
TOUCH = 1e-7  # [m]

UNREDUCED = "held snow not reduced for slope"
UNREDUCED_NOTE = (
    "Judgment beside the standard: C_s = 1.0 on {names}, since snow that something holds may not slide off a"
    " slope that would shed it."
)

PARTIAL = (
    "full load gives each row as a whole its greatest force; half of it on some spans can give single clamps"
    " and a continuous rail more: the report of a check gives the share of its own rows and names those that"
    " would not keep their limit"
)


@dataclass(frozen=True)
class WallGroup:
    """Steps that face the same way: their indices and the plan direction from wall to lower roof."""

    steps: tuple[int, ...]
    facing: Array

    def uppers(self, roof: RoofSurface) -> str:
        """Names of the planes above, for titles."""
        names = dict.fromkeys(roof.planes.name[roof.steps.upper[i]] for i in self.steps)
        return " and ".join(names) if len(names) < 4 else "the upper roofs"

    @property
    def toward(self) -> str:
        """Compass name of the direction the walls face."""
        return compass(self.facing)

    @property
    def against(self) -> str:
        """Compass name of the opposite direction."""
        return compass(-self.facing)


def wall_groups(roof: RoofSurface) -> list[WallGroup]:
    """Sort the steps by the way they face."""
    normals = left_normal(roof.steps.start, roof.steps.end)
    groups: list[tuple[list[int], Array]] = []
    for i, normal in enumerate(normals):
        for members, facing in groups:
            if normal @ facing > SAME_WIND:
                members.append(i)
                break
        else:
            groups.append(([i], normal))
    return [WallGroup(tuple(members), facing) for members, facing in groups]


def over_ledges(roof: RoofSurface, clauses: str, length: str = "") -> list[str]:
    """What is said of drifts across roofs between a wall and a lower roof; nothing where there are none.

    `length` is the symbol that the width of what lies between is added to.
    """
    if not (roof.steps.between >= 0).any():
        return []
    return [
        "Judgment: a roof, canopy or gutter between a wall and a lower roof hides neither from the other. It"
        " has its own drift, and the lower roof the larger of that and of the higher one's drift across a gap"
        f" as wide as it is{length and f', added to {length}'} ({clauses}), around corners too.",
    ]


def filled_steps(roof: RoofSurface, depth: Array, length: str) -> list[str]:
    """What is said where balanced snow of a depth (p,) [m] on each plane fills a step above that plane.

    `length` is what the standards call the roof upwind, which goes on across it.
    """
    steps = roof.steps
    there = filled(roof, depth) & (steps.wall.max(axis=1, initial=0.0) > LOW_STEP + 1e-6)
    if not there.any():
        return []
    names = " and ".join(dict.fromkeys(roof.planes.name[i] for i in steps.upper[there]))
    whole = np.repeat(steps.wall.max(axis=1, initial=0.0)[:, None], 2, axis=1)
    part = "" if passed(whole, steps.lower, depth)[there].all() else ", or a part of its length"
    return [
        f"Balanced snow fills the step below {names}{part}: {length} and slides go on across it (judgment;"
        f" lower than {FILLED:g} h_b, as ASCE/SEI 7 7.7.1 has no drift there)."
    ]


def roof_behind(roof: RoofSurface, plan: Plan, i: int) -> float:
    """Longest roof upwind of a step, and of what lies between; 0 where none does. [m]."""
    steps = roof.steps
    start, end, gap = steps.start[i], steps.end[i], float(steps.gap[i])
    upper, lower = (int(plan.drift_level[plane]) for plane in (steps.upper[i], steps.lower[i]))
    before = EAVE_OVERHANG if upper != lower else 0.0
    length = fetch(plan.drift_outline[upper], start, end, -left_normal(start, end), gap, before)
    upper, other = (int(plan.level[plane]) for plane in (steps.upper[i], steps.lower[i]))
    if before == 0.0 and upper != other:  # joined elsewhere: its own eave counts all the same
        own = fetch(plan.level_outline[upper], start, end, -left_normal(start, end), gap, EAVE_OVERHANG)
        length = max(length, own)
    return length + gap if steps.between[i] >= 0 and length > 0.0 else length


def roof_before(roof: RoofSurface, plan: Plan, i: int) -> float:
    """Longest roof in front of a step. [m]."""
    steps = roof.steps
    start, end = steps.start[i], steps.end[i]
    return fetch(plan.drift_outline[plan.drift_level[steps.lower[i]]], start, end, left_normal(start, end))


def spread(plan: Plan, zone: Zone) -> list[Zone]:
    """Cut a patch to the planes that it crosses on the level of its plane; the rest falls off the roof."""
    level = int(plan.drift_level[zone.plane])
    key = (level, zone.polygon.wkb)
    if key not in plan.pieces:
        planes = np.flatnonzero(plan.drift_level == level)
        cut = shapely.intersection(zone.polygon, np.array(plan.polygon)[planes])
        plan.pieces[key] = [(int(planes[k]), part) for k, part in _polygonal(cut)]
    return [replace(zone, plane=plane, polygon=part) for plane, part in plan.pieces[key]]


def _polygonal(shapes: NDArray[np.object_]) -> list[tuple[int, Polygon | MultiPolygon]]:
    """Number and polygons of those of many shapes of which something worth loading is left."""
    some = np.flatnonzero(shapely.area(shapes) > SLIVER).tolist()
    return [(k, part) for k in some if (part := polygonal(shapes[k])) is not None]


def overlapping(patches: Sequence[Sequence[Zone]]) -> IntArray:
    """Number (n,) that sets of patches share which lie on the same ground, directly or by way of others."""
    zones = [zone for some in patches for zone in some]
    owner = np.repeat(np.arange(len(patches)), [len(some) for some in patches])
    group = np.arange(len(patches))
    if not zones:
        return group
    plane = np.array([zone.plane for zone in zones], dtype=np.int64)
    polygons = np.array([zone.polygon for zone in zones], dtype=object)
    first, second = _touching(zones, zones).T
    there = (owner[first] < owner[second]) & (plane[first] == plane[second])
    first, second = first[there], second[there]
    pair, which = np.unique(np.stack([owner[first], owner[second]]), axis=1, return_inverse=True)
    for k, (one, other) in enumerate(pair.T):
        if group[one] == group[other]:
            continue
        on = which.ravel() == k
        if _polygonal(shapely.intersection(polygons[first[on]], polygons[second[on]])):
            group[group == group[other]] = group[one]
    return group


def _touching(zones: Sequence[Zone], others: Sequence[Zone]) -> IntArray:
    """Index pairs (n, 2) of patches that touch, one of each set."""
    first, second = (np.array([zone.polygon for zone in some], dtype=object) for some in (zones, others))
    return shapely.STRtree(second).query(first, predicate="intersects").T


@dataclass(frozen=True)
class Overlaps:
    """Pairs (n,) of patches and what they have in common, which their pressures have no part in."""

    first: IntArray
    second: IntArray
    common: NDArray[np.object_]


def overlaps(zones: Sequence[Zone], source: Sequence[int] = ()) -> Overlaps:
    """Where patches of one plane lie on one another; parameters as `larger`."""
    polygons = np.array([zone.polygon for zone in zones], dtype=object)
    plane = np.array([zone.plane for zone in zones], dtype=np.int64)
    pairs = _touching(zones, zones)
    pairs = pairs[(pairs[:, 0] < pairs[:, 1]) & (plane[pairs[:, 0]] == plane[pairs[:, 1]])]
    if len(source):
        pairs = pairs[np.asarray(source)[pairs[:, 0]] != np.asarray(source)[pairs[:, 1]]]
    first, second = pairs[~_apart(polygons, pairs)].T
    common = shapely.intersection(polygons[first], polygons[second])
    some = shapely.area(common) > SLIVER
    return Overlaps(first[some], second[some], common[some])


def larger(zones: Sequence[Zone], source: Sequence[int] = (), met: Overlaps | None = None) -> list[Zone]:
    """Keep the larger pressure wherever linear patches of one plane overlap.

    Parameters
    ----------
    zones : sequence of Zone
        Overlapping patches of one or more planes.
    source : sequence of int
        Where each comes from; patches of one source do not overlap. Nothing is known without.
    met : Overlaps, optional
        Theirs, where known already.

    Returns
    -------
    list of Zone
        The same patches, cut so that none overlap.
    """
    polygons = np.array([zone.polygon for zone in zones], dtype=object)
    met = overlaps(zones, source) if met is None else met
    owner, lost = _losses(np.array([zone.pressure for zone in zones]).reshape(-1, 3), met)
    return [
        zones[k] if part is polygons[k] else replace(zones[k], polygon=part)
        for k, part in _polygonal(_without(polygons, owner, lost))
    ]


def _apart(polygons: NDArray[np.object_], pairs: IntArray) -> NDArray[np.bool_]:
    """Whether a line along an edge parts both polygons, for pairs (n, 2) of simple ones."""
    count = shapely.get_num_coordinates(polygons)
    simple = (count <= FEW_CORNERS)[pairs].all(axis=1)
    corners = np.zeros((len(polygons), FEW_CORNERS, 2))
    flat, owner = shapely.get_coordinates(polygons, return_index=True)
    place = np.arange(len(flat)) - np.searchsorted(owner, owner)
    inside = place < FEW_CORNERS
    corners[owner[inside], place[inside]] = flat[inside]
    for k in range(1, FEW_CORNERS):  # the last corner again and again
        short = count <= k
        corners[short, k] = corners[short, k - 1]
    found = np.zeros(len(pairs), dtype=bool)
    one, other = corners[pairs[simple, 0]], corners[pairs[simple, 1]]
    parted = np.zeros(len(one), dtype=bool)
    for first, second in ((one, other), (other, one)):
        edge = np.diff(first, axis=1)
        normal = np.stack([edge[..., 1], -edge[..., 0]], axis=-1)
        normal /= np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-300)
        a, b = (np.einsum("nec,nkc->nek", normal, points) for points in (first, second))
        gap = np.maximum(a.min(axis=-1) - b.max(axis=-1), b.min(axis=-1) - a.max(axis=-1))
        parted |= (np.where(normal.any(axis=-1), gap, -np.inf) > -TOUCH).any(axis=1)
    found[simple] = parted
    return found


def _losses(pressure: Array, met: Overlaps) -> tuple[IntArray, NDArray[np.object_]]:
    """What polygons lose to those with more pressure: index and region (m,); ties go to the first."""
    first, second, common = met.first, met.second, met.common
    more = pressure[second] - pressure[first]
    corners, owner = shapely.get_coordinates(common, return_index=True)
    value = more[owner, 0] + np.sum(more[owner, 1:] * corners, axis=1)
    start = np.searchsorted(owner, np.arange(len(common)))
    scale = 1e-9 * (1.0 + np.abs(more[:, 0]))
    if not len(common):
        return np.zeros(0, dtype=np.int64), common
    high, low = np.maximum.reduceat(value, start), np.minimum.reduceat(value, start)
    to_first = high <= scale  # also equals
    to_second = (low >= -scale) & ~to_first
    mixed = np.flatnonzero(~to_first & ~to_second)
    half = _halves(common[mixed], more[mixed])
    above = shapely.intersection(common[mixed], half)
    below = shapely.difference(common[mixed], half)
    return (
        np.concatenate([second[to_first], first[to_second], first[mixed], second[mixed]]),
        np.concatenate([common[to_first], common[to_second], above, below]),
    )


def _halves(regions: NDArray[np.object_], law: Array) -> NDArray[np.object_]:
    """Squares (n,) that cover what of regions (n,) lies where linear functions (n, 3) are above zero."""
    low_x, low_y, high_x, high_y = shapely.bounds(regions).T
    center = 0.5 * np.stack([low_x + high_x, low_y + high_y], axis=1)
    size = np.linalg.norm(law[:, 1:], axis=1, keepdims=True)
    normal = law[:, 1:] / size
    foot = center - (law[:, :1] + np.sum(law[:, 1:] * center, axis=1, keepdims=True)) / size * normal
    along = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    reach = 2.0 * np.hypot(high_x - low_x, high_y - low_y)[:, None] + 1.0
    ring = [foot - reach * along, foot + reach * along, foot + reach * (along + normal)]
    return np.asarray(shapely.polygons(np.stack([*ring, foot + reach * (normal - along)], axis=1)))


def _without(
    polygons: NDArray[np.object_], owner: IntArray, lost: NDArray[np.object_]
) -> NDArray[np.object_]:
    """Polygons without all that they lose, made one before it is taken off: faster than in turn."""
    left = polygons.copy()
    parts, of = shapely.get_parts(lost, return_index=True)
    solid = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    parts, of = parts[solid], owner[of[solid]]
    order = np.argsort(of, kind="stable")
    which, group = np.unique(of[order], return_inverse=True)
    if len(which):
        together = shapely.multipolygons(parts[order], indices=group)
        whole = shapely.union_all(together[:, None], axis=1)
        left[which] = shapely.difference(polygons[which], whole)
    return left


def buried(names: Sequence[str], clause: str) -> str:
    """Say that snow slides in full over steps that balanced snow buries."""
    return (
        f"Balanced snow alone is as deep as the step below {' and '.join(dict.fromkeys(names))}. {clause}"
        " names no least height, so all that slides from there is counted (safe), and this load is there at"
        " once with the least step, while planes that join without one have none. Where there is no step to"
        " speak of, make the planes meet: a pitch break, over which the snow above pushes on the snow below."
    )


def no_rows_above(planes: str) -> str:
    """Say that what the user declared about upper roofs does not hold these planes."""
    return (
        f"upper_roof_retained had no effect here: no row stands on {planes}, so snow that slides from there"
        " is counted."
    )
