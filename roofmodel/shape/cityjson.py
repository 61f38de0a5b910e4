"""Building geometry from CityJSON 1.0 to 2.0 files."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from roofmodel.errors import InputError
from roofmodel.shape.cleaning import check_places
from roofmodel.shape.roof_faces import RawMesh
from roofmodel.surface import Array, IntArray
from roofmodel.units import shown

VERSIONS = ("1.0", "1.1", "2.0")
DEPTH = {
    "MultiSurface": 0,
    "CompositeSurface": 0,
    "Solid": 1,
    "MultiSolid": 2,
    "CompositeSolid": 2,
}  # nesting of surfaces below "boundaries"
LISTED = 30  # ids shown in messages

Surface = tuple[list[list[int]], str | None]  # rings of vertex numbers, semantic type


def read_building(path: Path, building: str | None) -> RawMesh:
    """Triangles of one building.

    Where surfaces are marked as roof only these are taken, and the rest of the building says where the
    ground is; else all surfaces are, to be told apart by what is seen from above.

    Parameters
    ----------
    path : Path
    building : str or None
        Id; may be left out when there is one building only.

    Returns
    -------
    RawMesh
        Map coordinates.

    Raises
    ------
    InputError
        Not CityJSON, no such building (the message lists the ids with roof sizes), no surfaces.
    """
    city = _load(path)
    objects: Mapping[str, Any] = city["CityObjects"]
    points = _vertices(city)
    chosen = _choose(objects, points, building)
    surfaces, notes = _surfaces(objects, chosen, len(points))
    if not surfaces:
        message = f"building {chosen!r} has no surfaces."
        raise InputError(message)
    named = np.zeros(len(points), dtype=bool)
    named[[index for rings, _ in surfaces for ring in rings for index in ring]] = True
    check_places(points, named)
    roofs = [surface for surface in surfaces if surface[1] == "RoofSurface"]
    if roofs:
        notes.append(f"Building {chosen}: {len(roofs)} surfaces that the file marks as roof were taken.")
    else:
        notes.append(
            f"Building {chosen}: no surface is marked as roof; the roof was found by what is seen from above."
        )
    faces, lost = triangulate_surfaces(points, roofs or surfaces)
    if lost:
        kind = "surfaces that the file marks as roof" if roofs else "surfaces"
        notes.append(f"{lost} {kind} have no area or an outline that cannot be filled and were left out.")
    if len(faces) == 0:
        message = f"building {chosen!r} has no roof surface with an area."
        raise InputError(message)
    return RawMesh(points, faces, tuple(notes), float(points[named, 2].min()))


def _load(path: Path) -> dict[str, Any]:
    try:
        city = json.loads(path.read_text(encoding="utf-8"))
    except json.JSONDecodeError as error:
        message = (
            f"the file is not JSON: it cannot be read from line {error.lineno}, column {error.colno} on."
        )
        raise InputError(message) from error
    except UnicodeDecodeError as error:
        message = f"the file is not JSON: byte {error.start} is no UTF-8 text."
        raise InputError(message) from error
    except RecursionError as error:
        message = (
            "the file is not CityJSON: its lists stand deeper inside each other than any geometry needs."
        )
        raise InputError(message) from error
    except ValueError as error:
        message = "the file is not CityJSON: it holds a number with far too many digits."
        raise InputError(message) from error
    if not isinstance(city, dict) or city.get("type") != "CityJSON":
        message = "the file is JSON, but not CityJSON (its type is not 'CityJSON')."
        raise InputError(message)
    version = str(city.get("version", ""))
    if not version.startswith(VERSIONS):
        known = ", ".join(VERSIONS)
        message = (
            f"CityJSON version {shown(city.get('version', ''))} is not known; it should be one of {known}."
        )
        raise InputError(message)
    if not isinstance(city.get("CityObjects"), dict) or not isinstance(city.get("vertices"), list):
        message = "CityJSON needs 'CityObjects' and 'vertices'."
        raise InputError(message)
    for name, item in city["CityObjects"].items():
        if not _is_object(item):
            message = f"the entry of {name!r} is damaged (its type, geometry, children or parents)."
            raise InputError(message)
    return city


def _is_object(item: object) -> bool:
    """Whether an entry has the outer form of a city object."""
    if not isinstance(item, dict) or not isinstance(item.get("type"), str):
        return False
    relatives = [*_list_of(item, "children"), *_list_of(item, "parents")]
    return all(isinstance(name, str) for name in relatives) and all(
        isinstance(part, dict) for part in _list_of(item, "geometry")
    )


def _list_of(item: Mapping[str, Any], key: str) -> list[Any]:
    """Entries of a list that may be left out; something else gives one entry of no use."""
    value = item.get(key, [])
    return value if isinstance(value, list) else [None]


def _vertices(city: Mapping[str, Any]) -> Array:
    try:
        points = np.array(city["vertices"], dtype=float).reshape(-1, 3)
        transform = city.get("transform")
        if transform is not None:
            scale, translate = (np.array(transform[key], dtype=float) for key in ("scale", "translate"))
            with np.errstate(over="ignore", invalid="ignore"):  # told below
                points = points * scale.reshape(3) + translate.reshape(3)
    except (ValueError, KeyError, TypeError, OverflowError) as error:
        message = (
            "the vertices are damaged: each must be three numbers, and 'transform', where there is one, must"
            " hold three numbers as 'scale' and three as 'translate'."
        )
        raise InputError(message) from error
    check_places(points)
    return points


def building_ids(objects: Mapping[str, Any]) -> list[str]:
    """Ids of the buildings that are no part of another."""
    return [
        name
        for name, item in objects.items()
        if item.get("type") == "Building" or (item.get("type") == "BuildingPart" and not item.get("parents"))
    ]


def _choose(objects: Mapping[str, Any], points: Array, building: str | None) -> str:
    ids = building_ids(objects)
    if building is not None and building in objects:
        return building
    if not ids:
        message = "the file holds no buildings."
        raise InputError(message)
    if building is None and len(ids) == 1:
        return ids[0]
    sizes = [f"{name} ({_roof_area(objects, points, name):.0f} m2)" for name in ids[:LISTED]]
    more = f" and {len(ids) - LISTED} more" if len(ids) > LISTED else ""
    what = "give the id of one building" if building is None else f"there is no building {building!r}"
    message = f"{what}; the file has (roof size): {', '.join(sizes)}{more}."
    raise InputError(message)


def _roof_area(objects: Mapping[str, Any], points: Array, name: str) -> float:
    surfaces, _ = _surfaces(objects, name, len(points))
    roofs = [surface for surface in surfaces if surface[1] == "RoofSurface"]
    vectors = np.array(
        [sum(newell(points, ring) for ring in rings) for rings, _ in roofs or surfaces]
    ).reshape(-1, 3)
    if not roofs:
        vectors = vectors[vectors[:, 2] > 0.26 * np.linalg.norm(vectors, axis=1)]
    return float(np.linalg.norm(vectors, axis=1).sum())


def _surfaces(objects: Mapping[str, Any], name: str, vertices: int) -> tuple[list[Surface], list[str]]:
    """Surfaces of a building and its parts, from the finest level of detail of each."""
    surfaces: list[Surface] = []
    notes: list[str] = []
    queue, done = [name], set()
    while queue:
        current = queue.pop(0)
        if current in done or current not in objects:
            continue
        done.add(current)
        item = objects[current]
        queue.extend(item.get("children", []))
        given = item.get("geometry", [])
        usable = [part for part in given if part.get("type") in tuple(DEPTH)]
        if item.get("type") not in ("Building", "BuildingPart"):
            if given:
                notes.append(f"{current} is a {item.get('type')}: its {len(given)} geometries were left out.")
            continue
        if len(usable) < len(given):
            notes.append(
                f"{current}: {len(given) - len(usable)} geometries that hold no surfaces (of"
                f" {', '.join(DEPTH)}) were left out."
            )
        if not usable:
            continue
        finest = max(usable, key=lambda part: _lod(part.get("lod")))
        same = [part for part in usable if _lod(part.get("lod")) == _lod(finest.get("lod"))]
        if len(usable) > len(same):
            notes.append(
                f"{current}: level of detail {finest.get('lod')} of {len(usable)} geometries was taken."
            )
        for part in same:
            surfaces.extend(_flatten(part, current, vertices))
    return surfaces, notes


def _lod(value: object) -> float:
    try:
        return float(str(value))
    except ValueError:
        return -1.0


def _flatten(geometry: Mapping[str, Any], name: str, vertices: int) -> list[Surface]:
    """Surfaces of one geometry with their semantic types."""
    depth = DEPTH[geometry["type"]]
    try:
        semantics = geometry.get("semantics") or {}
        kinds = [str(entry["type"]) for entry in semantics.get("surfaces", [])]
        rings = list(_at_depth(geometry["boundaries"], depth))
        numbers = list(_values_at_depth(semantics.get("values"), geometry["boundaries"], depth))
        result: list[Surface] = []
        for surface, number in zip(rings, numbers, strict=True):
            corners = [[int(index) for index in ring] for ring in surface]
            result.append((corners, None if number is None else kinds[_counted(number)]))
    except (AttributeError, KeyError, IndexError, TypeError, ValueError, OverflowError) as error:
        message = (
            f"the geometry of {name!r} is damaged: its boundaries must be nested as in a {geometry['type']},"
            " with whole vertex numbers, and its semantics must name one of their surfaces for each boundary."
        )
        raise InputError(message) from error
    named = [index for surface, _ in result for ring in surface for index in ring]
    if named and (min(named) < 0 or max(named) >= vertices):
        message = f"a surface of {name!r} names a vertex that is not among the {vertices} of the file."
        raise InputError(message)
    return result


def _counted(number: int) -> int:
    """The number of a semantic surface, counted from 0."""
    if number < 0:
        raise IndexError
    return number


def _at_depth(nested: Sequence[Any], depth: int) -> Iterator[Any]:
    for item in nested:
        if depth == 0:
            yield item
        else:
            yield from _at_depth(item, depth - 1)


def _values_at_depth(values: Any, nested: Sequence[Any], depth: int) -> Iterator[int | None]:
    """Semantic numbers beside surfaces; null stands for all below it."""
    for index, item in enumerate(nested):
        value = None if values is None else values[index]
        if depth == 0:
            yield value
        else:
            yield from _values_at_depth(value, item, depth - 1)


def newell(points: Array, ring: Sequence[int]) -> Array:
    """Area vector (3,) of a ring, by Newell's method. [m^2]."""
    xyz = points[np.asarray(ring, dtype=np.int64)]
    xyz = xyz - xyz[0]
    return np.asarray(0.5 * np.cross(xyz, np.roll(xyz, -1, axis=0)).sum(axis=0))


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
        if np.linalg.norm(vector) < 1e-6:
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
