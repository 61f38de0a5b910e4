"""Building geometry from CityGML 1 to 3 files, one building in memory at a time."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np

from roofmodel.errors import InputError
from roofmodel.shape.map_units import degrees_note, degrees_to_meters, is_geographic
from roofmodel.shape.surfaces import (
    ALL,
    LISTED,
    LOOKED_AT,
    STANDING,
    Building,
    level_note,
    roof_area,
    which_building,
)
from roofmodel.surface import Array
from roofmodel.units import shown

Element = ElementTree.Element

LEVEL = re.compile(r"lod[0-4]")
POLYGONS = ("Polygon", "PolygonPatch", "Triangle", "Rectangle")
PARTS = ("Building", "BuildingPart", "BuildingUnit")
# Geometry, not a meaning, though the names end in "Surface".
PLAIN = (
    "Surface",
    "MultiSurface",
    "CompositeSurface",
    "OrientableSurface",
    "TriangulatedSurface",
    "PolyhedralSurface",
)
# Features on a building that may rise above its roof, and words for them.
ON_BUILDINGS = {
    "BuildingInstallation": "installations (chimneys, stairs, balconies, dormers drawn apart)",
    "BuildingConstructiveElement": "constructive elements",
}
# Features inside a building that are no part of its shell, and words for those worth a note.
INSIDE = {
    "ImplicitGeometry": "shapes placed from a library",
    "IntBuildingInstallation": "",
    "BuildingFurniture": "",
    "BuildingRoom": "",
    "Room": "",
    "Storey": "",
    "Window": "",
    "Door": "",
    "WindowSurface": "",
    "DoorSurface": "",
    "Address": "",
    "Appearance": "",
}


@dataclass
class _Patch:
    """One polygon of a part."""

    rings: list[Array]
    kind: str | None


@dataclass
class _Part:
    """What one building or part holds, by level of detail."""

    name: str
    patches: dict[int, list[_Patch]] = field(default_factory=dict)


@dataclass
class _Place:
    """What holds for the elements below one: part, level of detail, meaning, coordinates per corner."""

    part: _Part
    level: int | None = None
    kind: str | None = None
    dimension: int = 3


@dataclass
class _Shell:
    """A building while it is read."""

    name: str
    parts: list[_Part] = field(default_factory=list)
    standing: list[_Part] = field(default_factory=list)
    patches: dict[tuple[int, str], _Patch] = field(default_factory=dict)
    links: list[tuple[str, _Place]] = field(default_factory=list)
    inside: dict[str, int] = field(default_factory=dict)
    beside: dict[str, int] = field(default_factory=dict)


def read_building(path: Path, building: str | None, lod: str | None = None) -> Building:
    """One building, or all of them as one.

    Parameters
    ----------
    path : Path
    building : str or None
        Id (gml:id), or "all"; may be left out when there is one building only.
    lod : str, optional
        Level of detail to take, "1" to "4"; the finest of each part by default.

    Returns
    -------
    Building
        With its parts.

    Raises
    ------
    InputError
        Not CityGML, no such building (the message lists the ids with roof sizes), damaged coordinates.
    """
    found: list[Building] = []
    sizes: list[tuple[str, float]] = []
    count = 0
    for one in city_buildings(path, lod):
        count += 1
        if building in (ALL, one.name):
            found.append(one)
            if building != ALL:
                return one
        elif building is None and count == 1:
            found.append(one)
        if building != ALL and len(sizes) < LISTED:
            sizes.append((one.name, roof_area(one)))
    if count == 0:
        message = "the file holds no buildings."
        raise InputError(message)
    if building == ALL or (building is None and count == 1):
        return found[0] if len(found) == 1 else _together(found)
    raise which_building(building, sizes, count)


def city_buildings(path: Path, lod: str | None = None) -> Iterator[Building]:
    """Every building of a file in turn; arguments as for `read_building`."""
    for _, building in tile_buildings(path, lod):
        if isinstance(building, InputError):
            raise building
        yield building


def tile_buildings(path: Path, lod: str | None = None) -> Iterator[tuple[str, Building | InputError]]:
    """Id of every building with the building, or with the reason why it cannot be read.

    Only what spoils the whole file is raised.
    """
    origin: Array | None = None
    try:
        for number, (element, reference, dimension) in enumerate(_elements(path), 1):
            name = _attribute(element, "id") or f"building {number}"
            try:
                building = _building(element, lod, dimension, name)
            except InputError as error:
                yield name, error
                continue
            own = next((item.get("srsName", "") for item in element.iter() if item.get("srsName")), reference)
            if is_geographic(own) and len(building.points):
                if origin is None:
                    origin = np.round(building.points[:, :2].mean(axis=0), 2)
                building = _in_meters(building, own, origin)
            yield name, building
    except ElementTree.ParseError as error:
        line, column = error.position
        message = f"the file is not XML: it cannot be read from line {line}, column {column + 1} on."
        raise InputError(message) from error
    except RecursionError as error:
        message = "the file is not CityGML: its elements stand deeper inside each other than any geometry."
        raise InputError(message) from error


def _in_meters(building: Building, reference: str, origin: Array) -> Building:
    points = degrees_to_meters(building.points, reference, origin)
    return replace(building, points=points, notes=(*building.notes, degrees_note(reference, origin)))


def _events(file: Any) -> Iterator[tuple[str, Element]]:
    try:
        yield from ElementTree.iterparse(file, events=("start", "end"))
    except (LookupError, ValueError) as error:  # of the encoding that the first line names
        message = "the file is XML in an encoding that cannot be read; save it as UTF-8."
        raise InputError(message) from error


def _elements(path: Path) -> Iterator[tuple[Element, str, int]]:
    """Building elements with the reference system and dimension that hold for them; freed after use."""
    reference, dimension, depth, inside = "", 3, 0, 0
    root: Element | None = None
    with path.open("rb") as file:
        for event, element in _events(file):
            name = _local(element.tag)
            if event == "start":
                if root is None:
                    root = element
                    _check_root(name)
                depth += 1
                inside += name == "Building"
                if name == "Envelope":
                    reference = reference or element.get("srsName", "")
                    dimension = _dimension(element, dimension)
                continue
            depth -= 1
            if name == "Building":
                inside -= 1
                if inside == 0:
                    yield element, reference, dimension
                    element.clear()
            if depth == 1 and root is not None:
                del root[:]


def _check_root(name: str) -> None:
    if name not in ("CityModel", "FeatureCollection"):
        message = f"the file is XML, but not CityGML (it begins with {shown(name)})."
        raise InputError(message)


def _local(tag: Any) -> str:
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def _attribute(element: Element, name: str) -> str:
    return next((value for key, value in element.attrib.items() if _local(key) == name), "")


def levels(path: Path) -> list[float]:
    """Levels of detail that elements of a file speak of, in order."""
    return sorted({float(level) for level in re.findall(rb"lod([1-4])", path.read_bytes())})


def _dimension(element: Element, inherited: int) -> int:
    text = element.get("srsDimension") or element.get("dimension")
    return int(text) if text in ("2", "3") else inherited


def _building(element: Element, lod: str | None, dimension: int, fallback: str) -> Building:
    shell = _Shell(_attribute(element, "id") or fallback)
    by_id = {_attribute(item, "id"): item for item in element.iter()}
    _walk(shell, element, _Place(_Part(shell.name), dimension=dimension))
    done, lost = set(), 0
    for link, place in shell.links:  # grows while targets hold links themselves
        key = (link, id(place.part), place.level, place.kind)
        if key not in done:
            done.add(key)
            lost += link not in by_id
            if link in by_id:
                _walk(shell, by_id[link], place)
    notes = [f"Building {shell.name}: {n} {what} were left out." for what, n in sorted(shell.inside.items())]
    notes += [
        f"Building {shell.name}: {n} {what} are no roof; {LOOKED_AT}."
        for what, n in sorted(shell.beside.items())
    ]
    if lost:
        notes.append(
            f"Building {shell.name}: {lost} surfaces that stand elsewhere in the file were left out."
        )
    return _assembled(shell, lod, notes)


def _walk(shell: _Shell, element: Element, place: _Place) -> None:
    """Collect the polygons below an element, with what holds for them there."""
    tag = _local(element.tag)
    place = replace(place, dimension=_dimension(element, place.dimension))
    if tag in INSIDE:
        if INSIDE[tag]:
            shell.inside[INSIDE[tag]] = shell.inside.get(INSIDE[tag], 0) + 1
        return
    if tag in ON_BUILDINGS:
        shell.beside[ON_BUILDINGS[tag]] = shell.beside.get(ON_BUILDINGS[tag], 0) + 1
        place = replace(place, part=_Part(shell.name), kind=STANDING)
        shell.standing.append(place.part)
    elif tag in PARTS:
        place = replace(place, part=_Part(_attribute(element, "id") or shell.name), kind=None)
        shell.parts.append(place.part)
    elif tag.endswith("Surface") and tag[0].isupper() and tag not in PLAIN and place.kind != STANDING:
        place = replace(place, kind=tag)
    elif LEVEL.match(tag):
        place = replace(place, level=int(tag[3]))
    link = _attribute(element, "href")
    if link.startswith("#") and place.level is not None:
        shell.links.append((link[1:], place))
    if tag in POLYGONS:
        if place.level is not None:
            _add_polygon(shell, element, place)
        return
    for child in element:
        _walk(shell, child, place)


def _add_polygon(shell: _Shell, element: Element, place: _Place) -> None:
    """Add a polygon, or its meaning where it is there already by another way."""
    level, own = place.level or 0, _attribute(element, "id")
    known = shell.patches.get((level, own)) if own else None
    if known is not None:
        known.kind = known.kind or place.kind
        return
    lines = (item for item in element.iter() if _local(item.tag) == "LinearRing")
    rings = [_ring(line, place.dimension, shell.name) for line in lines]
    patch = _Patch(rings, place.kind)
    place.part.patches.setdefault(level, []).append(patch)
    if own:
        shell.patches[level, own] = patch


def _ring(element: Element, dimension: int, name: str) -> Array:
    """Corners (k, 3) of a ring, without the repeated last one."""
    dimension = _dimension(element, dimension)
    parts: list[Array] = []
    for item in element.iter():
        tag, text = _local(item.tag), item.text or ""
        if tag in ("posList", "pos", "coordinates"):
            own = _dimension(item, dimension)
            if own != 3:
                message = f"the surfaces of {name!r} have {own} coordinates per corner and so no heights."
                raise InputError(message)
            parts.append(_numbers(_old_form(item) if tag == "coordinates" else text, name))
    ring = np.concatenate(parts) if parts else np.zeros((0, 3))
    return ring[:-1] if len(ring) > 1 and np.array_equal(ring[0], ring[-1]) else ring


def _old_form(element: Element) -> str:
    """Text of the older `coordinates` element in the form of a posList."""
    text = (element.text or "").replace(element.get("cs", ",") or ",", " ")
    return text.replace(element.get("decimal", ".") or ".", ".")


def _numbers(text: str, name: str) -> Array:
    try:
        return np.array(text.split(), dtype=float).reshape(-1, 3)
    except ValueError as error:
        message = f"a surface of {name!r} is damaged: its corners must be three numbers each."
        raise InputError(message) from error


def _assembled(shell: _Shell, lod: str | None, notes: list[str]) -> Building:
    """Surfaces of all parts at one level of detail each."""
    points, surfaces = [np.zeros((0, 3))], []
    base = 0
    both = [(part, True) for part in shell.parts] + [(part, False) for part in shell.standing]
    for part, of_shell in both:
        there = sorted(level for level in part.patches if level > 0)
        if not there:
            continue
        level = there[-1] if lod is None or not of_shell else _level(lod)
        if of_shell and (len(there) > 1 or level not in there):
            notes.append(level_note(part.name, level, there))
        for patch in part.patches.get(level, []):
            ends = base + np.cumsum([0, *(len(ring) for ring in patch.rings)])
            rings = [list(range(low, high)) for low, high in itertools.pairwise(ends.tolist())]
            surfaces.append((rings, patch.kind))
            points.extend(patch.rings)
            base = int(ends[-1])
    return Building(shell.name, np.concatenate(points), tuple(surfaces), tuple(notes))


def _level(lod: str) -> int:
    if lod not in ("1", "2", "3", "4"):
        message = f"level of detail {shown(lod)} is not known; CityGML has 1 to 4."
        raise InputError(message)
    return int(lod)


def _together(buildings: list[Building]) -> Building:
    """All buildings of a file as one."""
    base = np.cumsum([0, *(len(one.points) for one in buildings[:-1])]).tolist()
    surfaces = tuple(
        ([[index + at for index in ring] for ring in rings], kind)
        for one, at in zip(buildings, base, strict=True)
        for rings, kind in one.surfaces
    )
    notes = dict.fromkeys(note for one in buildings for note in one.notes)
    return Building(ALL, np.concatenate([one.points for one in buildings]), surfaces, tuple(notes))
