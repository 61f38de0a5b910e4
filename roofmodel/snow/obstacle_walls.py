"""Faces of parapets and projections, sorted by wind, and how far the snow comes from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.obstacles import Obstacles
from roofmodel.snow.regions import SAME_WIND, Plan, compass, fetch, left_normal

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


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
    outline = plan.level_outline[plan.level[obstacles.plane[obstacles.face[face]]]]
    first, out = obstacles.start[face], left_normal(obstacles.start[face], obstacles.end[face])
    here = fetch(outline, first, obstacles.end[face], out)
    if obstacles.parapet[obstacles.face[face]]:
        return here
    own = np.flatnonzero(obstacles.face == obstacles.face[face])
    across = own[(np.flatnonzero(own == face)[0] + 2) % 4]
    return max(here, fetch(outline, obstacles.start[across], obstacles.end[across], -out))


def room(obstacles: Obstacles, plan: Plan, face: int) -> float:
    """Roof length in front of a face. [m]."""
    outline = plan.level_outline[plan.level[obstacles.plane[obstacles.face[face]]]]
    start, end = obstacles.start[face], obstacles.end[face]
    return fetch(outline, start, end, left_normal(start, end))
