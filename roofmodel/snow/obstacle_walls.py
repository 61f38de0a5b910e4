"""Faces of parapets and projections, sorted by wind, and how far the snow comes from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.obstacles import Obstacles
from roofmodel.snow.cases import SnowCase, Zone
from roofmodel.snow.corners import AROUND
from roofmodel.snow.fetches import fetch
from roofmodel.snow.regions import EAVE_OVERHANG, SAME_WIND, Plan, compass, left_normal
from roofmodel.surface import EdgeKind, RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

PARAPET = 0.05  # shorter stretches of parapet above a wall do not count [m]
RAISED_NOTE = (
    "A parapet on the upper roof's edge counts as part of the wall: h reaches to its top (judgment where the"
    " standard's figure shows none). It lowers nothing: the upper roof's snow is blown and slides as"
    " without it."
)

BEYOND_RIDGE = (
    "the clause says nothing of ridges, and snow blown over one may lie less deep beyond it. Nothing is taken"
    " off there (safe side)."
)
NAMED = 4  # drifts that such a note names


def with_parapets(roof: RoofSurface) -> RoofSurface:
    """Roof whose walls reach to the top of the parapets on their upper edges, for the drift rules only.

    `Steps.wall` of such a step then holds the least height without and the greatest with the parapet, also
    where the parapet stands on a part of the wall only: what each rule takes from it stays safe.
    """
    extra = _parapet_above(roof)
    if not extra.any():
        return roof
    low, high = roof.steps.wall.min(axis=1), roof.steps.wall.max(axis=1) + extra
    wall = np.where(extra[:, None] > 0.0, np.stack([low, high], axis=1), roof.steps.wall)
    return replace(roof, steps=replace(roof.steps, wall=wall))


def _parapet_above(roof: RoofSurface) -> Array:
    """Height (s,) of the tallest parapet on the upper edge of each step; 0 for none. [m]."""
    steps, obstacles = roof.steps, roof.obstacles
    faces = np.flatnonzero(obstacles.parapet[obstacles.face])
    extra = np.zeros(steps.count)
    if not steps.count or not len(faces):
        return extra
    owner = obstacles.face[faces]
    walls = shapely.linestrings(np.stack([steps.start[:, :2], steps.end[:, :2]], axis=1))
    edges = shapely.linestrings(np.stack([obstacles.start[faces, :2], obstacles.end[faces, :2]], axis=1))
    reach = shapely.buffer(walls, steps.gap + EAVE_OVERHANG, cap_style="flat")
    shared = shapely.length(shapely.intersection(np.asarray(reach)[:, None], np.asarray(edges)[None, :]))
    # The parapet's snow lies on the upper roof, behind the wall that the lower roof faces.
    facing = (
        left_normal(steps.start, steps.end) @ -left_normal(obstacles.start[faces], obstacles.end[faces]).T
    )
    on = (steps.upper[:, None] == obstacles.plane[owner][None, :]) & (facing > SAME_WIND) & (shared > PARAPET)
    return np.asarray(np.where(on, obstacles.height[owner][None, :], 0.0).max(axis=1))


def say_raised(case: SnowCase, roof: RoofSurface, raised: RoofSurface) -> SnowCase:
    """A case with a note where its drifts count a parapet as part of the wall."""
    changed = raised.steps.wall.max(axis=1) > roof.steps.wall.max(axis=1)
    tall = np.unique(raised.steps.wall[changed].max(axis=1))
    used = {
        value.value
        for zone in case.zones
        for value in zone.values
        if value.symbol == "h" and np.isclose(value.value, tall).any()
    }
    if not used:
        return case
    return replace(case, notes=(*case.notes, RAISED_NOTE))


@dataclass(frozen=True)
class WindGroup:
    """Faces that drift in one wind: parapets that face it, and both sides of projections across it.

    Attributes
    ----------
    face : (f,) int
    facing : (2,) float
        From the parapets onto the roof, against the wind.
    """

    face: IntArray
    facing: Array

    @property
    def toward(self) -> str:
        """Compass name of where the wind blows to."""
        return compass(-self.facing)


def wind_groups(obstacles: Obstacles) -> list[WindGroup]:
    """Winds square to the faces, and which faces drift in each."""
    if not obstacles.count:
        return []
    normals = left_normal(obstacles.start, obstacles.end)
    parapet = obstacles.parapet[obstacles.face]
    winds: list[Array] = []
    for facing, low in zip(normals, parapet, strict=True):
        seen = [facing @ other for other in winds]
        # The wind back along the same line drifts the same faces of projections.
        known = max(seen, default=-1.0) > SAME_WIND if low else max(map(abs, seen), default=0.0) > SAME_WIND
        if not known:
            winds.append(facing)
    along = [normals @ facing for facing in winds]
    picks = [np.flatnonzero(np.where(parapet, a, np.abs(a)) > SAME_WIND) for a in along]
    return [WindGroup(pick, facing) for pick, facing in zip(picks, winds, strict=True)]


def upwind_length(obstacles: Obstacles, plan: Plan, face: int) -> float:
    """Roof length from which snow drifts against a face. [m].

    For a parapet the roof in front of it; for a projection the greater of the roofs before and behind it.
    """
    outline = plan.drift_outline[plan.drift_level[obstacles.plane[obstacles.face[face]]]]
    first, out = obstacles.start[face], left_normal(obstacles.start[face], obstacles.end[face])
    here = fetch(outline, first, obstacles.end[face], out)
    if obstacles.parapet[obstacles.face[face]]:
        return here
    own = np.flatnonzero(obstacles.face == obstacles.face[face])
    across = own[(np.flatnonzero(own == face)[0] + 2) % 4]
    return max(here, fetch(outline, obstacles.start[across], obstacles.end[across], -out))


def room(obstacles: Obstacles, plan: Plan, face: int) -> float:
    """Roof length in front of a face. [m]."""
    outline = plan.drift_outline[plan.drift_level[obstacles.plane[obstacles.face[face]]]]
    start, end = obstacles.start[face], obstacles.end[face]
    return fetch(outline, start, end, left_normal(start, end))


def over_ridges(roof: RoofSurface, zones: Sequence[Zone]) -> tuple[str, ...]:
    """Note on drifts at obstacles that go on over a ridge or hip of the plane on which these stand."""
    kinds = (EdgeKind.RIDGE, EdgeKind.HIP)
    crest = roof.edges.plane[np.array([kind in kinds for kind in roof.edges.kind], dtype=bool)]
    pairs = {frozenset(pair) for pair in crest.tolist()}
    stands = dict(zip(roof.obstacles.name, roof.obstacles.plane.tolist(), strict=True))
    names = roof.planes.name
    found = dict.fromkeys(
        f"that at {who} onto {names[zone.plane]}"
        for zone in zones
        if (who := zone.name.partition("drift at ")[2].removesuffix(AROUND)) in stands
        and frozenset((stands[who], zone.plane)) in pairs
    )
    if not found:
        return ()
    told = ", ".join(list(found)[:NAMED]) + (", ..." if len(found) > NAMED else "")
    return (f"Drifts go on over the ridge or hip, {told}: {BEYOND_RIDGE}",)
