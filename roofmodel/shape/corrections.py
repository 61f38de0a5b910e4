"""What a user corrects about a recognized roof: planes merged, split or renamed, edges retyped."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from roofmodel.errors import InputError
from roofmodel.obstacles import some_of
from roofmodel.shape.assembly import FLAT, NO_GROUND, OVERHANGS
from roofmodel.shape.boxes import TAKEN_AS, with_found
from roofmodel.shape.clutter import kept_curves, on_planes, without_parts
from roofmodel.shape.cutting import cut_triangles
from roofmodel.shape.edges import edge_names
from roofmodel.shape.parapets import with_names
from roofmodel.shape.recognition import COVER, surface_of_regions
from roofmodel.shape.regions import components, face_distance, fit_planes, make_mesh
from roofmodel.surface import Array, EdgeKind, IntArray, RoofSurface, local_places
from roofmodel.units import shown
from roofmodel.words import shortlist

FARTHEST = 0.25  # planes that lie farther from their common plane than this are not one [m]
ON_LINE = 1e-4  # corners nearer than this to a line that splits a plane lie on it [m]
FREE = (EdgeKind.EAVE, EdgeKind.RAKE, EdgeKind.HEAD)
SHARED = (EdgeKind.RIDGE, EdgeKind.HIP, EdgeKind.VALLEY, EdgeKind.BREAK)


@dataclass(frozen=True)
class Corrections:
    """Changes in the order in which they are made; names are those that hold at that point.

    Attributes
    ----------
    leave_out : tuple of str
        A plane of each part that is no roof; all that hangs together with it over edges goes.
    merge : tuple of tuple of str
        Planes that are one; the name of the first stays.
    split : tuple of (plane, (2, 2) float)
        Line on plan, local coordinates, taken on beyond its ends; what lies to its left gets the name with
        "a", the rest with "b", and further pieces the letters after. [m]
    rename : tuple of (plane, new name)
    retype : tuple of (edge, kind)
    not_curved : tuple of str
        A facet of each vault, dome or cone that is none.
    not_standing : tuple of str
        Obstructions and parapets that are none, by name.
    """

    leave_out: tuple[str, ...] = ()
    merge: tuple[tuple[str, ...], ...] = ()
    split: tuple[tuple[str, Array], ...] = ()
    rename: tuple[tuple[str, str], ...] = ()
    retype: tuple[tuple[str, EdgeKind], ...] = ()
    not_curved: tuple[str, ...] = ()
    not_standing: tuple[str, ...] = ()


def correct(surface: RoofSurface, wanted: Corrections, tolerance: float = 0.03) -> RoofSurface:
    """Apply a user's corrections.

    Parameters
    ----------
    surface : RoofSurface
    wanted : Corrections
    tolerance : float
        As in `recognize`. [m]

    Returns
    -------
    RoofSurface
        Edges and steps follow the planes; every correction is in the notes.

    Raises
    ------
    InputError
        A name that is not there, planes that do not touch or are not one plane, a line that misses its
        plane, a name that is taken, or a kind that an edge cannot be.
    """
    surface = _without(surface, wanted.leave_out, tolerance)
    names = list(surface.planes.name)
    points, faces, region = surface.points, surface.faces, surface.face_plane.copy()
    told = [_merge(points, faces, region, names, group) for group in wanted.merge]
    for name, line in wanted.split:
        points, faces, region, note = _split(
            points, faces, region, names, name, local_places(line, surface.offset)
        )
        told.append(note)
    for name, new in wanted.rename:
        if new in names:
            message = f"rename: the name {shown(new)} is taken; give another to {shown(name)}."
            raise InputError(message)
        names[_plane(names, name, "rename")] = new
        told.append(f"Plane {name} was renamed {new}, as given.")
    if told:
        surface = _rebuilt(surface, points, faces, region, names, told, tolerance)
    surface = with_names(_retyped(surface, wanted.retype))
    return _flattened(_cleared(surface, wanted.not_standing), wanted.not_curved)


def _without(surface: RoofSurface, wanted: Sequence[str], tolerance: float) -> RoofSurface:
    """The surface without the parts that the user says are no roof."""
    if not wanted:
        return surface
    numbers = [_plane(surface.planes.name, name, "leave_out") for name in wanted]
    kept, told = without_parts(surface, wanted, numbers)
    face = np.isin(surface.face_plane, kept)
    made = _rebuilt(
        on_planes(surface, kept),
        surface.points,
        surface.faces[face],
        surface.face_plane[face],
        surface.planes.name,
        [told],
        tolerance,
    )
    return kept_curves(surface, _forgotten(surface, made))


def _forgotten(surface: RoofSurface, made: RoofSurface) -> RoofSurface:
    """The surface without notes on obstructions that were left out with their planes."""
    gone = set(surface.found.name) - set(made.found.name)
    starts = tuple(f"{TAKEN_AS} {name} on " for name in gone)
    return replace(
        made, notes=tuple(note for note in made.notes if not starts or not note.startswith(starts))
    )


def _cleared(surface: RoofSurface, wanted: Sequence[str]) -> RoofSurface:
    """The surface without what the user says does not stand there."""
    names = surface.found.name
    for name in wanted:
        if name not in names:
            there = _near(name, names) if names else "; the file shows none"
            message = f"not_standing: there is no obstruction or parapet {shown(name)}{there}."
            raise InputError(message)
    if not wanted:
        return surface
    found = some_of(surface.found, ~np.isin(names, wanted))
    notes = [f"{name} was left out, as given." for name in wanted]
    return replace(surface, found=found, obstacles=found, notes=(*surface.notes, *notes))


def _flattened(surface: RoofSurface, wanted: Sequence[str]) -> RoofSurface:
    """The surface without curved regions that the user takes for planes."""
    for name in wanted:
        number = _plane(surface.planes.name, name, "not_curved")
        vaults = tuple(one for one in surface.vaults if number not in one.plane)
        domes = tuple(one for one in surface.domes if number not in one.plane)
        if len(vaults) + len(domes) == len(surface.vaults) + len(surface.domes):
            message = f"not_curved: plane {shown(name)} is no facet of a vault, dome or cone."
            raise InputError(message)
        note = f"The curved region of {name} was taken as plane facets, as given."
        surface = replace(surface, vaults=vaults, domes=domes, notes=(*surface.notes, note))
    return surface


def _plane(names: Sequence[str], name: str, what: str) -> int:
    if name not in names:
        message = f"{what}: there is no plane {shown(name)}{_near(name, names)}."
        raise InputError(message)
    return list(names).index(name)


def _near(name: str, names: Sequence[str]) -> str:
    """Names that may be meant."""
    known = [one for one in names if one]
    close = difflib.get_close_matches(name, known, 1, 0.5)
    if close:
        return f" (did you mean {shown(close[0])}?)"
    return f"; this roof has {shortlist(known, 12)}"


def _merge(points: Array, faces: IntArray, region: IntArray, names: list[str], group: Sequence[str]) -> str:
    """Make the planes of a group one (in place); words for it."""
    numbers = [_plane(names, name, "merge") for name in group]
    if len(set(numbers)) < 2:
        message = f"merge: {', '.join(map(shown, group))} is one plane; give two or more."
        raise InputError(message)
    face = np.flatnonzero(np.isin(region, numbers))
    mesh = make_mesh(points, faces)
    inside = np.isin(mesh.pairs, face).all(axis=1)
    place = np.full(len(faces), -1)
    place[face] = np.arange(len(face))
    label = components(len(face), place[mesh.pairs[inside]])[1]
    if label.max() > 0:
        apart = sorted({names[region[one]] for one in face[label == label[-1]]})
        message = f"merge: {', '.join(group)} do not all touch along edges ({', '.join(apart)} lies apart)."
        raise InputError(message)
    one = np.zeros(len(face), dtype=np.int64)
    normal, middle = fit_planes(mesh, face, one, 1)
    away = float(face_distance(mesh, face, one, normal, middle).max())
    if away > FARTHEST:
        message = (
            f"merge: {', '.join(group)} lie up to {away:.2f} m from their common plane, more than "
            f"{FARTHEST:g} m: they are not one plane."
        )
        raise InputError(message)
    region[face] = numbers[0]
    for number in numbers[1:]:
        names[number] = ""
    them = f"{', '.join(group[:-1])} and {group[-1]}"
    return f"Planes {them} were merged into {group[0]}, as given; they lie within {away * 1e3:.0f} mm of it."


def _split(
    points: Array, faces: IntArray, region: IntArray, names: list[str], name: str, line: Array
) -> tuple[Array, IntArray, IntArray, str]:
    """Cut a plane along a line on plan; names are added in place."""
    number = _plane(names, name, "split")
    way = line[1] - line[0]
    length = float(np.linalg.norm(way))
    if length < ON_LINE:
        message = f"split: the line for plane {shown(name)} has no length; give two points apart."
        raise InputError(message)
    left = np.array([-way[1], way[0]]) / length
    side = (points[:, :2] - line[0]) @ left
    side[np.abs(side) < ON_LINE] = 0.0
    mine = np.flatnonzero(region == number)
    new_points, pieces, _ = cut_triangles(points, faces[mine], side)
    middle = new_points[pieces].mean(axis=1)
    on_left = (middle[:, :2] - line[0]) @ left > 0.0
    if on_left.all() or not on_left.any():
        message = f"split: the line for plane {shown(name)} does not cross it."
        raise InputError(message)
    rest = np.flatnonzero(region != number)
    all_faces = np.concatenate([faces[rest], pieces])
    mesh = make_mesh(new_points, pieces)
    same = on_left[mesh.pairs[:, 0]] == on_left[mesh.pairs[:, 1]]
    count, label = components(len(pieces), mesh.pairs[same])
    first = np.array([np.argmax(label == one) for one in range(count)])
    area = np.bincount(label, mesh.area, count)
    order = np.lexsort([-area, ~on_left[first]])
    letters = [
        f"{name}{chr(ord('a') + place)}" if place < 26 else f"{name}-{place}" for place in range(count)
    ]
    taken = next((letter for letter in letters if letter in names), None)
    if taken is not None:
        message = f"split: the name {shown(taken)} is taken; rename that plane first."
        raise InputError(message)
    place = np.argsort(order)
    names[number] = ""
    new_region = np.concatenate([region[rest], len(names) + place[label]])
    names.extend(letters)
    return new_points, all_faces, new_region, f"Plane {name} was split into {', '.join(letters)}, as given."


def _rebuilt(
    surface: RoofSurface,
    points: Array,
    faces: IntArray,
    region: IntArray,
    names: Sequence[str],
    told: Sequence[str],
    tolerance: float,
) -> RoofSurface:
    """The surface anew from its faces and their planes."""
    used, number = np.unique(region, return_inverse=True)
    own = [note for note in surface.notes if not any(words in note for words in (FLAT, OVERHANGS, COVER))]
    made = surface_of_regions(
        make_mesh(points, faces),
        number,
        offset=surface.offset,
        notes=(*(note for note in own if note != NO_GROUND), *told),
        distance_tolerance=tolerance,
        ground=None if surface.ground_assumed else surface.ground,
        names=[names[index] for index in used],
    )
    return with_found(made, surface.found)


def _retyped(surface: RoofSurface, retype: Sequence[tuple[str, EdgeKind]]) -> RoofSurface:
    """Edges with other kinds; their names follow."""
    edges, kinds, told = surface.edges, list(surface.edges.kind), []
    for name, kind in retype:
        if name not in edges.name:
            message = f"retype: there is no edge {shown(name)}{_near(name, edges.name)}."
            raise InputError(message)
        at = edges.name.index(name)
        possible = SHARED if edges.plane[at, 1] >= 0 else FREE
        if kinds[at] == EdgeKind.STEP or kind not in possible:
            why = (
                "is the foot of a wall, which the planes decide"
                if kinds[at] == EdgeKind.STEP
                else f"can be {', '.join(one.value for one in possible[:-1])} or {possible[-1].value}"
            )
            message = f"retype: edge {shown(name)} cannot be {shown(kind.value)}; it {why}."
            raise InputError(message)
        kinds[at] = kind
        told.append(f"Edge {name} was taken as {kind.value}, as given.")
    if not told:
        return surface
    renamed = edge_names(surface.planes, edges.plane, tuple(kinds))
    changed = replace(edges, kind=tuple(kinds), name=renamed)
    return replace(surface, edges=changed, notes=(*surface.notes, *told))
