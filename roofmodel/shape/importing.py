"""Roofs from files: triangle meshes, city models, building models and drawings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from roofmodel.errors import InputError
from roofmodel.shape import citygml, cityjson
from roofmodel.shape.meshes import (
    FIELDS,
    GLTF,
    PACKAGE,
    UNITLESS,
    UNITS,
    check_unit,
    in_meters,
    read_mesh,
    rotated,
)
from roofmodel.shape.roof_faces import STEEPEST, RawMesh, pick_roof_faces
from roofmodel.shape.surfaces import building_mesh
from roofmodel.shape.understanding import ANGLE, TOLERANCE, understood
from roofmodel.surface import RoofSurface

CITYJSON = (".json", ".cityjson")
IFC = ".ifc"
DXF = ".dxf"
CITYGML = (".gml", ".citygml", ".xml")


@dataclass(frozen=True)
class ReadOptions:
    """What a user may say about a file that the file does not, or in its place.

    Attributes
    ----------
    unit : str or None
        "m", "mm", "cm", "ft" or "in"; STL, OBJ, PLY, OFF and analysis meshes carry none.
    up : str or None
        Axis that points up, "z" or "y".
    building : str or None
        Id of the building in a city or building model, or "all".
    lod : str or None
        Level of detail of a city model; the finest by default.
    layers : tuple of str
        Layers of a drawing; all by default.
    marks : bool
        False to set aside which surfaces the file marks as roof.
    ground : float or None
        Ground level in the file's own heights. [m]
    north : float or None
        Compass direction of the file's y axis (of its negative z axis where y is up), clockwise from
        north; 0 by default, or as the file says. [rad]
    """

    unit: str | None = None
    up: str | None = None
    building: str | None = None
    lod: str | None = None
    layers: tuple[str, ...] = ()
    marks: bool = True
    ground: float | None = None
    north: float | None = None


def import_roof(
    path: str | Path,
    *,
    unit: str | None = None,
    up: str | None = None,
    building: str | None = None,
    lod: str | None = None,
    layers: tuple[str, ...] = (),
    marks: bool = True,
    ground: float | None = None,
    north: float | None = None,
    steepest: float = STEEPEST,
    angle_tolerance: float = ANGLE,
    distance_tolerance: float = TOLERANCE,
    boxes: bool = True,
) -> RoofSurface:
    """Read a roof from a file and recognize it.

    Parameters
    ----------
    path : str or Path
        By the ending of the name: STL, OBJ, PLY, OFF, 3MF, glTF/GLB, MSH, VTK, VTU, CityJSON 1.0 to 2.0,
        CityGML 1 to 3, IFC 2x3 and 4, DXF.
    unit, up, building, lod, layers, marks, ground, north
        See `ReadOptions`.
    steepest : float
        Faces at least this steep are walls. [rad]
    angle_tolerance, distance_tolerance, boxes
        See `recognize`. [rad, m]

    Returns
    -------
    RoofSurface
        Every assumption and everything left out is in the notes.

    Raises
    ------
    InputError
        One line that names the file.
    """
    path = Path(path)
    options = ReadOptions(unit, up, building, lod, tuple(layers), marks, ground, north)
    try:
        picked = pick_roof_faces(read_raw(path, options), steepest)
        return understood(picked, angle_tolerance, distance_tolerance, boxes)
    except InputError as error:
        message = f"{path.name}: {error}"
        raise InputError(message) from error


def read_raw(path: Path, options: ReadOptions) -> RawMesh:
    """Triangles of a file in meters, z up, before the roof is picked.

    Raises
    ------
    InputError
        Unreadable, of an unknown kind, or with options that do not go with its kind.
    """
    reader = _reader(path)
    raw = reader(path, options)
    if options.north is not None:
        note = f"The y axis of the file is taken to point {np.degrees(options.north):g} degrees from north."
        raw = replace(raw, points=rotated(raw.points, -options.north), notes=(*raw.notes, note))
    if options.ground is not None:
        note = "The ground level is taken as given."
        raw = replace(raw, ground=options.ground, stated=True, notes=(*raw.notes, note))
    return raw


def _reader(path: Path) -> Callable[[Path, ReadOptions], RawMesh]:
    if not path.exists():
        message = f"the file does not exist in {path.parent}."
        raise InputError(message)
    if not path.is_file() or path.stat().st_size == 0:
        message = "the file is empty." if path.is_file() else "this is a folder, not a file."
        raise InputError(message)
    ending = path.suffix.lower()
    if ending not in READERS:
        message = f"the ending {path.suffix!r} is not known; it should be one of {', '.join(READERS)}."
        raise InputError(message)
    return READERS[ending]


def _refuse(options: ReadOptions, kind: str, *names: str) -> None:
    """Reject options that do not go with a kind of file."""
    where = {
        "building": ("only city models and building models hold named buildings", options.building),
        "lod": ("only city models have levels of detail", options.lod),
        "layers": ("only drawings have layers", ", ".join(options.layers) or None),
        "up": (f"{kind} is z up by its standard; leave up out", options.up if options.up != "z" else None),
    }
    for name in names:
        why, value = where[name]
        if value is not None:
            message = f"{name} {value!r} was asked for, but {why}."
            raise InputError(message)


def _mesh(path: Path, options: ReadOptions) -> RawMesh:
    _refuse(options, "", "building", "lod", "layers")
    return read_mesh(path, options.unit, options.up)


def _city_model(path: Path, options: ReadOptions) -> RawMesh:
    """CityJSON or CityGML; meters and z up unless a unit is given."""
    json = path.suffix.lower() in CITYJSON
    kind = "CityJSON" if json else "CityGML"
    _refuse(options, kind, "up", "layers")
    check_unit(options.unit, options.up)
    reader = cityjson.read_building if json else citygml.read_building
    raw = building_mesh(reader(path, options.building, options.lod), options.marks)
    if options.unit in (None, "m"):
        return replace(raw, notes=(f"{kind}: taken in m, z up.", *raw.notes))
    scale = UNITS[options.unit]
    note = f"{kind}: taken in {options.unit}, as given, z up."
    ground = None if raw.ground is None else raw.ground * scale
    points = in_meters(raw.points, raw.faces, scale, "z")
    return replace(raw, points=points, notes=(note, *raw.notes), ground=ground)


def _building_model(path: Path, options: ReadOptions) -> RawMesh:
    """IFC; its own unit and north unless others are given."""
    from roofmodel.shape.ifc import read_ifc, turn_to_north

    _refuse(options, "IFC", "up", "lod", "layers")
    check_unit(options.unit, options.up)
    model, raw, own = read_ifc(path, options.building, options.marks)
    scale = 1.0 if options.unit is None else UNITS[options.unit] / own
    said = f"as given (the model says {own:g} m)" if options.unit else "as the model says"
    note = f"IFC: one unit of length is {own * scale:g} m, {said}; z up."
    raw = replace(raw, points=raw.points * scale, notes=(note, *raw.notes))
    return raw if options.north is not None else turn_to_north(model, raw, own * scale)


def _drawing(path: Path, options: ReadOptions) -> RawMesh:
    from roofmodel.shape.drawing import read_drawing

    _refuse(options, "", "building", "lod")
    return read_drawing(path, options.unit, options.up, options.layers)


READERS: dict[str, Callable[[Path, ReadOptions], RawMesh]] = {
    **dict.fromkeys((*UNITLESS, *GLTF, *PACKAGE, *FIELDS), _mesh),
    **dict.fromkeys((*CITYJSON, *CITYGML), _city_model),
    IFC: _building_model,
    DXF: _drawing,
}
