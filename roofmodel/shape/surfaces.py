"""Polygons of city models, with what each is marked as, to triangles."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from roofmodel.errors import InputError
from roofmodel.shape.cleaning import BEYOND, LARGEST, check_places, distinct
from roofmodel.shape.marked_edges import marked_edges
from roofmodel.shape.roof_faces import STEEPEST, RawMesh
from roofmodel.surface import Array, IntArray

Surface = tuple[list[list[int]], str | None]  # rings of vertex numbers, semantic type

ROOF, GROUND = "RoofSurface", "GroundSurface"
STANDING = "BuildingInstallation"  # all surfaces of chimneys, stairs, balconies, dormers drawn apart
ALL = "all"  # stands for every building of a file
LOOKED_AT = "what of it rises above the planes is looked at"
LISTED = 30  # ids shown in messages
EMPTY = 1e-6  # area of a polygon that has none [m^2]
LEFT_OUT = {
    "OuterCeilingSurface": "soffits",
    "OuterFloorSurface": "floors in the open air (balconies, terraces)",
    None: "surfaces without a mark",
}  # unlike walls and ground these are worth a word


@dataclass(frozen=True)
class Building:
    """One building of a city model.

    Attributes
    ----------
    name : str
        Its id in the file.
    points : (n, 3) float
        Map coordinates; may hold vertices of other buildings. [m]
    surfaces : tuple of (rings, type)
        Rings of vertex numbers, the outer first; type as the standards name it, or None. What is no part
        of the building's shell has `STANDING`.
    notes : tuple of str
    """

    name: str
    points: Array
    surfaces: tuple[Surface, ...]
    notes: tuple[str, ...] = ()


def own_points(building: Building) -> Building:
    """The building with only the points that its surfaces name, in their order."""
    rings = [ring for surface, _ in building.surfaces for ring in surface]
    if not rings:
        return Building(building.name, np.zeros((0, 3)), building.surfaces, building.notes)
    used, number = np.unique(
        np.concatenate([np.asarray(r, dtype=np.int64) for r in rings]), return_inverse=True
    )
    new = iter(np.split(number, np.cumsum([len(ring) for ring in rings])[:-1]))
    surfaces = tuple(([next(new).tolist() for _ in surface], kind) for surface, kind in building.surfaces)
    return Building(building.name, building.points[used], surfaces, building.notes)


def newell(points: Array, ring: Sequence[int]) -> Array:
    """Area vector (3,) of a ring, by Newell's method. [m^2]."""
    x, y, z = (points[np.asarray(ring, dtype=np.int64)] - points[ring[0]]).T
    ahead = [np.concatenate([one[1:], one[:1]]) for one in (x, y, z)]
    products = ((y, z, 1, 2), (z, x, 2, 0), (x, y, 0, 1))
    return np.array([0.5 * (a @ ahead[k] - b @ ahead[i]) for a, b, i, k in products])


def surface_area(points: Array, surfaces: Sequence[Surface]) -> float:
    """Area of surfaces less their holes. [m^2]."""
    return float(
        sum(
            np.linalg.norm(sum((newell(points, ring) for ring in rings if len(ring) >= 3), np.zeros(3)))
            for rings, _ in surfaces
        )
    )


def shell_surfaces(building: Building) -> list[Surface]:
    """Surfaces of a building without what stands on or at it."""
    return [surface for surface in building.surfaces if surface[1] != STANDING]


def roof_area(building: Building) -> float:
    """Area that is marked as roof, else of what faces up; NaN with coordinates off every map. [m^2]."""
    if not (np.abs(building.points) < BEYOND).all():
        return float("nan")
    marked = [surface for surface in building.surfaces if surface[1] == ROOF]
    vectors = np.array(
        [
            sum((newell(building.points, ring) for ring in rings if len(ring) >= 3), np.zeros(3))
            for rings, _ in marked or shell_surfaces(building)
        ]
    ).reshape(-1, 3)
    if not marked:
        vectors = vectors[vectors[:, 2] > 0.26 * np.linalg.norm(vectors, axis=1)]
    return float(np.linalg.norm(vectors, axis=1).sum())


def which_building(wanted: str | None, sizes: Sequence[tuple[str, float]], count: int) -> InputError:
    """One line that asks for one of the buildings of a file.

    Parameters
    ----------
    wanted : str or None
        What was asked for in vain.
    sizes : sequence of (id, roof area)
        The first `LISTED` of them. [m^2]
    count : int
        How many there are.
    """
    listed = ", ".join(
        f"{name} ({'damaged' if np.isnan(area) else f'{area:.0f} m2'})" for name, area in sizes[:LISTED]
    )
    more = f" and {count - LISTED} more" if count > LISTED else ""
    what = "give the id of one building" if wanted is None else f"there is no building {wanted!r}"
    return InputError(
        f"{what}; the file has (roof size): {listed}{more}; or {ALL!r} for all of them as one roof "
        "(`eavewright screen` looks at each by itself and ranks them)."
    )


def level_note(name: str, taken: float, there: Sequence[float]) -> str:
    """Say which level of detail of a part was taken, of those that are there."""
    levels = ", ".join(f"{one:g}" for one in there)
    if taken not in there:
        return f"{name} has no level of detail {taken:g} (it has {levels}) and was left out."
    return f"{name}: level of detail {taken:g} was taken, of {levels}."


def building_mesh(building: Building, marks: bool = True) -> RawMesh:
    """Triangles of a building.

    Where surfaces are marked as roof only these are taken, and the rest of the building says where the
    ground is; else all surfaces are, to be told apart by what is seen from above. Installations are no roof:
    what of them rises above it is found beside.

    Parameters
    ----------
    building : Building
    marks : bool
        False to look at all surfaces whatever their marks.

    Returns
    -------
    RawMesh
        Map coordinates.

    Raises
    ------
    InputError
        No surfaces, or none with an area.
    """
    name, points, surfaces = building.name, building.points, shell_surfaces(building)
    if not surfaces:
        message = f"building {name!r} has no surfaces."
        raise InputError(message)
    named = np.zeros(len(points), dtype=bool)
    named[[index for rings, _ in surfaces for ring in rings for index in ring]] = True
    if name == ALL:
        _check_reach(points[named])
    check_places(points, named)
    roofs = [surface for surface in surfaces if surface[1] == ROOF] if marks else []
    notes = [*building.notes, *_choice_notes(building, roofs, marks)]
    faces, lost = triangulate_surfaces(points, roofs or surfaces)
    if lost:
        kind = "surfaces that the file marks as roof" if roofs else "surfaces"
        notes.append(f"{lost} {kind} have no area or an outline that cannot be filled and were left out.")
    if len(faces) == 0:
        message = f"building {name!r} has no roof surface with an area."
        raise InputError(message)
    stated = any(kind == GROUND for _, kind in surfaces)
    rest = [one for one in surfaces if one[1] not in (ROOF, GROUND)] if roofs else []
    beside = triangulate_surfaces(points, [*rest, *(s for s in building.surfaces if s[1] == STANDING)])[0]
    check_places(points[distinct(beside)])
    return RawMesh(points, faces, tuple(notes), float(points[named, 2].min()), stated, beside)


def _check_reach(points: Array) -> None:
    """Refuse a tile as one roof where its buildings lie farther apart than one roof may reach."""
    check_places(points)
    extent = float(np.ptp(points, axis=0).max())
    if extent > LARGEST:
        message = (
            f"the buildings lie up to {extent:.0f} m apart, more than the {LARGEST:.0f} m that one roof may "
            f"reach: give the id of one building in place of {ALL!r} (left out, they are listed with "
            "their sizes), or use `eavewright screen`, which looks at each by itself."
        )
        raise InputError(message)


def _choice_notes(building: Building, roofs: Sequence[Surface], marks: bool) -> list[str]:
    """Say which surfaces were taken and which others a reader may miss."""
    who = f"Building {building.name}" if building.name != ALL else "All buildings"
    if not roofs:
        why = "no surface is marked as roof" if marks else "the file's marks were set aside, as asked"
        return [f"{who}: {why}; the roof was found by what is seen from above."]
    notes = [f"{who}: {len(roofs)} surfaces that the file marks as roof were taken."]
    shared = marked_edges(building.points, [rings for rings, _ in roofs])
    if any((shared.ridges, shared.hips, shared.valleys)):
        up = [newell(building.points, rings[0]) for rings, _ in roofs if rings]
        walls = sum(
            abs(v[2]) <= np.cos(STEEPEST) * np.linalg.norm(v) for v in up if np.linalg.norm(v) > EMPTY
        )
        steep = (
            f"; {walls} surfaces steeper than {np.degrees(STEEPEST):.0f} degrees, walls here, count as well"
        )
        notes.append(
            f"As drawn they share {_count(shared.ridges, 'ridge')}, {_count(shared.hips, 'hip')} and "
            f"{_count(shared.valleys, 'valley')} "
            f"(corners to the centimeter{steep if walls else ''})."
        )
    counts = Counter(kind for _, kind in building.surfaces)
    for kind, words in LEFT_OUT.items():
        if counts[kind]:
            area = surface_area(building.points, [one for one in building.surfaces if one[1] == kind])
            notes.append(f"{counts[kind]} {words} ({area:.1f} m2) are no roof by the file's marks.")
    return notes


def _count(number: int, one: str) -> str:
    """A number of things in words, such as "1 ridge" or "0 hips"."""
    return f"{number} {one}{'' if number == 1 else 's'}"


def triangulate_surfaces(points: Array, surfaces: Sequence[Surface]) -> tuple[IntArray, int]:
    """Triangles of surfaces with holes.

    Parameters
    ----------
    points : (n, 3) float
        [m]
    surfaces : sequence of (rings, type)

    Returns
    -------
    faces : (m, 3) int
    lost : int
        Surfaces without area, or that gave no triangle.
    """
    import mapbox_earcut

    faces, lost = [np.zeros((0, 3), dtype=np.int64)], 0
    for rings, _ in surfaces:
        rings = [ring for ring in rings if len(ring) >= 3]
        vector = newell(points, rings[0]) if rings else np.zeros(3)
        if np.linalg.norm(vector) < EMPTY:
            lost += 1
            continue
        vertex = np.concatenate([np.asarray(ring, dtype=np.int64) for ring in rings])
        axis = int(np.argmax(np.abs(vector)))
        flat = np.delete(points[vertex] - points[vertex[0]], axis, axis=1)
        ends = np.cumsum([len(ring) for ring in rings]).astype(np.uint32)
        local = mapbox_earcut.triangulate_float64(np.ascontiguousarray(flat), ends)
        lost += len(local) == 0
        faces.append(vertex[local.astype(np.int64)].reshape(-1, 3))
    return np.concatenate(faces), lost
