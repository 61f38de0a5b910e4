"""Building geometry from CityJSON 1.0 to 2.0 files."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from roofmodel.errors import InputError
from roofmodel.shape.cleaning import check_places
from roofmodel.shape.map_units import degrees_note, degrees_to_meters, is_geographic
from roofmodel.shape.surfaces import (
    ALL,
    LISTED,
    LOOKED_AT,
    STANDING,
    Building,
    Surface,
    level_note,
    own_points,
    roof_area,
    which_building,
)
from roofmodel.surface import Array
from roofmodel.units import shown

ON_BUILDINGS = ("BuildingInstallation", "BuildingConstructiveElement")
VERSIONS = ("1.0", "1.1", "2.0")
DEPTH = {
    "MultiSurface": 0,
    "CompositeSurface": 0,
    "Solid": 1,
    "MultiSolid": 2,
    "CompositeSolid": 2,
}  # nesting of surfaces below "boundaries"


def read_building(path: Path, building: str | None, lod: str | None = None) -> Building:
    """One building, or all of them as one.

    Parameters
    ----------
    path : Path
    building : str or None
        Id, or "all"; may be left out when there is one building only.
    lod : str, optional
        Level of detail to take; the finest of each part by default.

    Returns
    -------
    Building
        With its parts.

    Raises
    ------
    InputError
        Not CityJSON, no such building (the message lists the ids with roof sizes).
    """
    city = _load(path)
    objects: Mapping[str, Any] = city["CityObjects"]
    points, told = _vertices(city)
    found = _building(objects, points, _choose(objects, points, building, lod), lod)
    return replace(found, notes=(*told, *found.notes))


def city_buildings(path: Path, lod: str | None = None) -> Iterator[Building]:
    """Every building of a file in turn; arguments as for `read_building`."""
    city = _load(path)
    points, _ = _vertices(city)
    for name in building_ids(city["CityObjects"]):
        yield _building(city["CityObjects"], points, [name], lod)


def tile_buildings(path: Path, lod: str | None = None) -> Iterator[tuple[str, Building | InputError]]:
    """Id of every building with the building, its own points only, or with the reason why it cannot be read.

    Only what spoils the whole file is raised. Of entries with one id the later ones get a number.
    """
    city = _load(path, strict=False)
    points, _ = _vertices(city, strict=False)
    objects = city["CityObjects"]
    for name in building_ids(objects):
        try:
            for member in _family(objects, name):
                if not _is_object(objects[member]):
                    message = f"the entry of {member!r} is damaged (its type, geometry, children or parents)."
                    raise InputError(message)
            yield name, own_points(_building(objects, points, [name], lod))
        except InputError as error:
            yield name, error


def levels(path: Path) -> list[float]:
    """Levels of detail of all buildings of a file, in order."""
    objects = [one for one in _load(path, strict=False)["CityObjects"].values() if _is_object(one)]
    parts = [
        part
        for one in objects
        if one.get("type") in ("Building", "BuildingPart")
        for part in one.get("geometry", [])
        if isinstance(part, dict) and part.get("type") in tuple(DEPTH)
    ]
    return sorted({_lod(part.get("lod")) for part in parts})


def _family(objects: Mapping[str, Any], name: str) -> list[str]:
    """A building and everything below it that is there."""
    found, queue = {}, [name]
    while queue:
        current = queue.pop()
        if current in found or current not in objects:
            continue
        found[current] = True
        item = objects[current]
        children = _list_of(item, "children") if isinstance(item, dict) else []
        queue.extend(child for child in children if isinstance(child, str))
    return list(found)


def _both(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A table in which nothing gets lost where a key stands twice."""
    table: dict[str, Any] = {}
    for key, value in pairs:
        number, name = 1, key
        while name in table and isinstance(value, dict):
            number += 1
            name = f"{key} ({number})"
        table[name] = value
    return table


def _load(path: Path, strict: bool = True) -> dict[str, Any]:
    try:
        text = path.read_text(encoding="utf-8")
        city = json.loads(text) if strict else json.loads(text, object_pairs_hook=_both)
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
        if strict and not _is_object(item):
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


def _numbers(rows: Sequence[Any], strict: bool) -> Array:
    """Vertices (n, 3) as the file has them; what is damaged is NaN unless strict."""
    try:
        return np.array(rows, dtype=float).reshape(len(rows), 3)
    except (ValueError, TypeError, OverflowError):
        if strict:
            raise
    if len(rows) == 1:
        return np.full((1, 3), np.nan)
    middle = len(rows) // 2  # halving finds few damaged rows in few steps
    return np.concatenate([_numbers(rows[:middle], strict), _numbers(rows[middle:], strict)])


def _vertices(city: Mapping[str, Any], strict: bool = True) -> tuple[Array, list[str]]:
    """Vertices (n, 3) in meters, and what was assumed."""
    try:
        points = _numbers(city["vertices"], strict)
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
    if strict:
        check_places(points)
    data = city.get("metadata")
    reference = str(data.get("referenceSystem", "")) if isinstance(data, dict) else ""
    if not is_geographic(reference) or len(points) == 0:
        return points, []
    origin = np.round(points[np.isfinite(points).all(axis=1), :2].mean(axis=0), 2)
    return degrees_to_meters(points, reference, origin), [degrees_note(reference, origin)]


def building_ids(objects: Mapping[str, Any]) -> list[str]:
    """Ids of the buildings that are no part of another."""
    return [
        name
        for name, item in objects.items()
        if isinstance(item, dict)
        if item.get("type") == "Building" or (item.get("type") == "BuildingPart" and not item.get("parents"))
    ]


def _choose(objects: Mapping[str, Any], points: Array, building: str | None, lod: str | None) -> list[str]:
    ids = building_ids(objects)
    if building is not None and building in objects:
        return [building]
    if not ids:
        message = "the file holds no buildings."
        raise InputError(message)
    if building == ALL or (building is None and len(ids) == 1):
        return ids
    sizes = [(name, roof_area(_building(objects, points, [name], lod))) for name in ids[:LISTED]]
    raise which_building(building, sizes, len(ids))


def _building(objects: Mapping[str, Any], points: Array, names: Sequence[str], lod: str | None) -> Building:
    """Buildings of these names as one, numbered so that each vertex is named once."""
    surfaces: list[Surface] = []
    notes: list[str] = []
    for name in names:
        own, told = _surfaces(objects, name, len(points), lod)
        surfaces.extend(own)
        notes.extend(told)
    return Building(names[0] if len(names) == 1 else ALL, points, tuple(surfaces), tuple(notes))


def _surfaces(
    objects: Mapping[str, Any], name: str, vertices: int, lod: str | None
) -> tuple[list[Surface], list[str]]:
    """Surfaces of a building and its parts, from the level of detail asked for or the finest of each."""
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
        if item.get("type") in ON_BUILDINGS and usable:
            best = max(_lod(part.get("lod")) for part in usable)
            own = [
                one
                for part in usable
                if _lod(part.get("lod")) == best
                for one in _flatten(part, current, vertices)
            ]
            surfaces.extend((rings, STANDING) for rings, _ in own)
            notes.append(f"{current} is a {item.get('type')}: it is no roof; {LOOKED_AT}.")
            continue
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
        there = sorted({_lod(part.get("lod")) for part in usable})
        wanted = there[-1] if lod is None else _lod(lod)
        same = [part for part in usable if _lod(part.get("lod")) == wanted]
        if len(usable) > len(same):
            notes.append(level_note(current, wanted, there))
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
