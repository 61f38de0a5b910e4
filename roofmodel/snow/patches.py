"""Patches of drifted and slid snow: beside walls, over several planes, the larger where they overlap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.snow.cases import Zone
from roofmodel.snow.regions import SAME_WIND, SLIVER, Plan, compass, left_normal, polygonal
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

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


def spread(plan: Plan, zone: Zone) -> list[Zone]:
    """Cut a patch to the planes that it crosses on the level of its plane; the rest falls off the roof."""
    planes = np.flatnonzero(plan.level == plan.level[zone.plane])
    cut = shapely.intersection(zone.polygon, np.array(plan.polygon)[planes])
    parts = ((plane, polygonal(part)) for plane, part in zip(planes, cut, strict=True))
    return [replace(zone, plane=int(plane), polygon=part) for plane, part in parts if part is not None]


def overlap(zones: Sequence[Zone], others: Sequence[Zone]) -> bool:
    """Whether any two patches of the two sets lie on the same ground."""
    return any(
        zones[i].plane == others[j].plane
        and polygonal(shapely.intersection(zones[i].polygon, others[j].polygon)) is not None
        for i, j in _touching(zones, others)
    )


def _touching(zones: Sequence[Zone], others: Sequence[Zone]) -> IntArray:
    """Index pairs (n, 2) of patches that touch, one of each set."""
    first, second = (np.array([zone.polygon for zone in some], dtype=object) for some in (zones, others))
    return shapely.STRtree(second).query(first, predicate="intersects").T


def larger(zones: Sequence[Zone]) -> list[Zone]:
    """Keep the larger pressure wherever linear patches of one plane overlap.

    Parameters
    ----------
    zones : sequence of Zone
        Overlapping patches of one or more planes.

    Returns
    -------
    list of Zone
        The same patches, cut so that none overlap.
    """
    polygons = np.array([zone.polygon for zone in zones], dtype=object)
    plane = np.array([zone.plane for zone in zones], dtype=np.int64)
    pairs = _touching(zones, zones)
    pairs = pairs[(pairs[:, 0] < pairs[:, 1]) & (plane[pairs[:, 0]] == plane[pairs[:, 1]])]
    shared = shapely.intersection(polygons[pairs[:, 0]], polygons[pairs[:, 1]])
    near: list[dict[int, BaseGeometry]] = [{} for _ in zones]
    for k in np.flatnonzero(shapely.area(shared) > SLIVER).tolist():
        i, j = pairs[k].tolist()
        near[i][j] = near[j][i] = shared[k]
    kept = []
    for i, zone in enumerate(zones):
        polygon: Polygon | MultiPolygon | None = zone.polygon
        for j in sorted(near[i]):
            common = polygonal(near[i][j])
            if common is None or polygon is None:
                continue
            region = _not_below(zones[j].pressure - zone.pressure, common, tie=j < i)
            if region is not None:
                polygon = polygonal(shapely.difference(polygon, region))
        if polygon is not None:
            kept.append(replace(zone, polygon=polygon))
    return kept


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


def _not_below(difference: Array, common: shapely.Geometry, *, tie: bool) -> shapely.Geometry | None:
    """Part of a region where a linear function is positive, or zero for the first of equals."""
    corners = shapely.get_coordinates(common)
    values = difference[0] + corners @ difference[1:]
    scale = 1e-9 * (1.0 + np.abs(difference[0]))
    if np.all(np.abs(values) <= scale):
        return common if tie else None
    if np.all(values >= -scale):
        return common
    if np.all(values <= scale):
        return None
    size = np.linalg.norm(difference[1:])
    normal = difference[1:] / size
    center = corners.mean(axis=0)
    foot = center - (difference[0] + center @ difference[1:]) / size * normal
    along = np.array([-normal[1], normal[0]])
    reach = 2.0 * float(np.linalg.norm(np.ptp(corners, axis=0))) + 1.0
    half = Polygon(
        [
            foot - reach * along,
            foot + reach * along,
            foot + reach * (along + normal),
            foot + reach * (normal - along),
        ]
    )
    return shapely.intersection(common, half)
