"""Patches of drifted and slid snow: beside walls, over several planes, all that lie on the same ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from roofmodel.shape.envelopes import areal
from roofmodel.snow.cases import Zone
from roofmodel.snow.envelope import worth
from roofmodel.snow.fetches import Lines, fetches
from roofmodel.snow.regions import (
    EAVE_OVERHANG,
    FILLED,
    LOW_STEP,
    SAME_WIND,
    Plan,
    compass,
    filled,
    left_normal,
    passed,
)
from roofmodel.snow.sharing import GRID
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

FEW = 8  # pairs of patches looked at before all others
UPPER_TO_STEP = 0.17  # cosine: a plane whose fall is within 80 degrees of the wall's face sheds over it

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


def roof_behind(roof: RoofSurface, plan: Plan, which: IntArray) -> Array:
    """Longest roof upwind of steps (n,), and of what lies between; 0 where none does, (n,). [m]."""
    steps = roof.steps
    pair = np.column_stack([steps.upper[which], steps.lower[which]])
    upper, lower = plan.drift_level[pair].T
    joined = upper == lower
    lines = _lines(roof, which, -1.0, np.where(joined, 0.0, EAVE_OVERHANG))
    length = fetches(np.array(plan.drift_outline, dtype=object)[upper], lines)
    upper, lower = plan.level[pair].T
    own = np.flatnonzero(joined & (upper != lower))  # joined elsewhere: its own eave counts all the same
    if len(own):
        eave = replace(lines.some(own), overhang=np.full(len(own), EAVE_OVERHANG))
        there = fetches(np.array(plan.level_outline, dtype=object)[upper[own]], eave)
        length[own] = np.maximum(length[own], there)
    return np.where((steps.between[which] >= 0) & (length > 0.0), length + steps.gap[which], length)


def roof_before(roof: RoofSurface, plan: Plan, which: IntArray) -> Array:
    """Longest roof in front of steps (n,), (n,). [m]."""
    level = plan.drift_level[roof.steps.lower[which]]
    none = np.zeros(len(which))
    lines = replace(_lines(roof, which, 1.0, none), gap=none)
    return fetches(np.array(plan.drift_outline, dtype=object)[level], lines)


def _lines(roof: RoofSurface, which: IntArray, side: float, overhang: Array) -> Lines:
    steps = roof.steps
    start, end = steps.start[which], steps.end[which]
    return Lines(start, end, side * left_normal(start, end), steps.gap[which], overhang)


def spread(plan: Plan, zones: Sequence[Zone]) -> list[Zone]:
    """Cut patches to the planes that each crosses on the level of its plane; the rest falls off the roof.

    Where an eave hangs over a lower roof that snow joins to it, a patch from below lies on that roof alone,
    and one from above on the eave alone.
    """
    return [part for parts in spread_each(plan, zones) for part in parts]


def spread_each(plan: Plan, zones: Sequence[Zone]) -> list[list[Zone]]:
    """As `spread`, what becomes of each zone apart."""
    if not zones:
        return []
    plane = np.array([zone.plane for zone in zones])
    own = np.where(np.isin(plane, plan.over), plane, -1)  # all others of a level are cut alike
    at = zip(plan.drift_level[plane].tolist(), own.tolist(), zones, strict=True)
    keys = [(level, one, zone.polygon.wkb) for level, one, zone in at]
    new = {key: zone.polygon for key, zone in zip(keys, zones, strict=True) if key not in plan.pieces}
    if new:
        _cut(plan, new)
    return [
        [replace(zone, plane=plane, polygon=part) for plane, part in plan.pieces[key]]
        for zone, key in zip(zones, keys, strict=True)
    ]


def _cut(plan: Plan, patches: dict[tuple[int, int, bytes], Polygon | MultiPolygon]) -> None:
    """Find what patches cover of each plane of their level, for `Plan.pieces`."""
    keys, polygons = list(patches), np.array(list(patches.values()), dtype=object)
    patch, plane = plan.tree.query(polygons)
    same = np.array([key[0] for key in keys])[patch] == plan.drift_level[plane]
    order = np.lexsort((plane[same], patch[same]))
    patch, plane = patch[same][order], plane[same][order]
    part = polygons[patch]
    cut = ~shapely.covers(plan.shapes[plane], part)
    part[cut] = shapely.intersection(part[cut], plan.shapes[plane[cut]], grid_size=GRID)
    own = np.array([key[1] for key in keys])[patch]
    porch = np.isin(own, plan.over[:, 0])
    level = plan.drift_level[plan.over]
    for lower, upper in plan.over[level[:, 0] == level[:, 1]].tolist():
        higher = np.append(plan.over[plan.over[:, 0] == upper, 1], upper)
        below = porch & ~np.isin(own, higher)  # from a porch under that eave, of however many planes
        for where, other, those in ((upper, lower, below), (lower, upper, ~below)):
            at = np.flatnonzero((plane == where) & those)
            part[at] = [
                shapely.difference(areal(cut), plan.shapes[other], grid_size=GRID) for cut in part[at]
            ]
    plan.pieces.update((key, []) for key in keys)
    for k, one in worth(part):
        plan.pieces[keys[patch[k]]].append((int(plane[k]), one))


def overlapping(polygons: NDArray[np.object_], owner: IntArray, count: int, pairs: IntArray) -> IntArray:
    """Number (n,) that sets of patches share which lie on the same ground, directly or by way of others.

    Parameters
    ----------
    polygons : (z,) shapely geometry
        Of all patches. [m]
    owner : (z,) int
        Set of each patch.
    count : int
        Number of sets.
    pairs : (m, 2) int
        Patches that may overlap, as `near_pairs` gives them.
    """
    group = np.arange(count)
    first, second = pairs[owner[pairs[:, 0]] != owner[pairs[:, 1]]].T
    pair, which = np.unique(np.stack([owner[first], owner[second]]), axis=1, return_inverse=True)
    for k, (one, other) in enumerate(pair.T):
        if group[one] == group[other]:
            continue
        on = np.flatnonzero(which.ravel() == k)
        for some in np.split(on, [1, FEW]):  # most often the first ones overlap already
            if worth(shapely.intersection(polygons[first[some]], polygons[second[some]], grid_size=GRID)):
                group[group == group[other]] = group[one]
                break
    return group


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
