"""Parts of a model that are no roof, such as trees and cars: told, and left out where the user says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from roofmodel.errors import InputError
from roofmodel.obstacles import some_of
from roofmodel.shape.regions import components, make_mesh
from roofmodel.surface import FLAT_SLOPE, IntArray, RoofSurface

APART = 0.6  # on plan; what is nearer may stand on the other or belong to it, as below an overhang [m]
SMALL = 0.15  # of the plan area of the largest; what is larger is a building of its own (judgment)
NAMED = 8
LOW = 1.0  # above ground; flat parts no higher are floors or paving (judgment) [m]


def plane_parts(surface: RoofSurface) -> IntArray:
    """Part of each plane (p,); planes of a part hang together over edges, 0 is the part of most plan area."""
    edges = surface.edges.plane[(surface.edges.plane >= 0).all(axis=1)]  # faces need not meet at these
    count, label = components(surface.planes.count, np.vstack([surface.face_plane[_pairs(surface)], edges]))
    order = np.argsort(-np.bincount(label, surface.planes.plan_area, count), kind="stable")
    return np.asarray(np.argsort(order)[label])


def _pairs(surface: RoofSurface) -> IntArray:
    """Faces that meet at an edge, (k, 2)."""
    return make_mesh(surface.points, surface.faces).pairs


def clutter_words(surface: RoofSurface) -> str:
    """Parts that seem to be no roof, as the project file would leave them out; "" for none.

    Small ones that stand apart from it, and flat ones that lie on the ground.
    """
    part, planes = plane_parts(surface), surface.planes
    if not part.any():
        return ""
    floors = _floors(surface, part)
    found = _small_parts(surface, part)
    small = found[~np.isin(found, floors)]
    if not len(small) and not len(floors):
        return ""
    first = [planes.name[int(np.argmax(part == one))] for one in [*floors.tolist(), *small.tolist()]]
    names = ", ".join(f'"{name}"' for name in first[:NAMED]) + (", ..." if len(first) > NAMED else "")
    told = []
    if len(small):
        told.append(
            f"{int(np.isin(part, small).sum())} of {planes.count} planes, in {len(small)} small "
            f"part{'s' if len(small) > 1 else ''}, stand apart from the roof."
        )
    if len(floors):
        low = ", ".join(first[: len(floors)])
        told.append(f"Flat and close to the ground, as a floor slab is: {low}.")
    told.append(
        f"If they are no roof (trees, cars, floors), leave them out: leave_out = [{names}] under [roof] "
        "in the project."
    )
    return " ".join(told)


def _floors(surface: RoofSurface, part: IntArray) -> IntArray:
    """Parts whose planes are all flat and lie low over the ground that the model shows."""
    planes, known = surface.planes, np.unique(part)
    if surface.ground_assumed:
        return known[:0]
    slab = (planes.slope < FLAT_SLOPE) & (planes.origin[:, 2] - surface.ground < LOW)
    return known[[bool(slab[part == one].all()) for one in known]]


def _small_parts(surface: RoofSurface, part: IntArray) -> IntArray:
    """Parts that are small and stand apart from all others."""
    planes = surface.planes
    plan = [
        shapely.Polygon(planes.to_world(i, shapely.get_coordinates(outline.exterior))[:, :2]).buffer(0.0)
        for i, outline in enumerate(planes.outline)
    ]
    near = shapely.STRtree(plan).query(plan, predicate="dwithin", distance=APART).T
    site = components(len(plan), np.vstack([near, surface.face_plane[_pairs(surface)]]))[1]
    area = np.bincount(site, planes.plan_area)
    return np.unique(part[(area < SMALL * area.max())[site]])


def _lies_below(surface: RoofSurface, part: IntArray) -> bool:
    """Whether the largest part is lower than all of the next one: ground or a slab, and no roof."""
    height = surface.points[surface.faces, 2]
    own = part[surface.face_plane]
    return bool((own == 1).any() and height[own == 0].max() < height[own == 1].min())


def without_parts(surface: RoofSurface, names: Sequence[str], numbers: Sequence[int]) -> tuple[IntArray, str]:
    """Planes that stay where parts are left out, and words for it.

    Parameters
    ----------
    surface : RoofSurface
    names : sequence of str
        As the user gives them.
    numbers : sequence of int
        A plane of each part.

    Raises
    ------
    InputError
        The largest part, which is the roof, unless it lies below all of the next one, as the ground does.
    """
    part = plane_parts(surface)
    for name, number in zip(names, numbers, strict=True):
        if part[number] == 0 and not _lies_below(surface, part):
            others = [surface.planes.name[i] for i in np.flatnonzero(part == 0) if i != number]
            message = (
                f'leave_out: "{name}" hangs together with {", ".join(others[:6]) or "nothing"}, the largest '
                "part of the roof; only parts that stand apart can be left out."
            )
            raise InputError(message)
    gone = np.isin(part, part[list(numbers)])
    area = float(surface.planes.plan_area[gone].sum())
    told = ", ".join(dict.fromkeys(names))
    return np.flatnonzero(~gone), (
        f"{told} and what hangs together with them ({int(gone.sum())} planes, {area:.2f} m2 on plan) were "
        "left out, as given."
    )


def kept_curves(before: RoofSurface, after: RoofSurface) -> RoofSurface:
    """The surface with the vaults and domes of another one whose planes it still has, by their names."""
    number = {name: i for i, name in enumerate(after.planes.name)}
    names = before.planes.name

    def moved(one: object) -> IntArray | None:
        known = [number.get(names[i]) for i in one.plane]  # type: ignore[attr-defined]
        return None if None in known else np.array(known)

    return replace(
        after,
        vaults=tuple(replace(v, plane=at) for v in before.vaults if (at := moved(v)) is not None),
        domes=tuple(replace(d, plane=at) for d in before.domes if (at := moved(d)) is not None),
    )


def on_planes(surface: RoofSurface, kept: IntArray) -> RoofSurface:
    """The surface without obstructions on planes that go."""
    found = (
        some_of(surface.found, np.isin(surface.found.plane, kept)) if surface.found.count else surface.found
    )
    return replace(surface, found=found, obstacles=found)
