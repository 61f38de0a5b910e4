"""Roofs of building models (IFC 2x3, 4 and 4.3), by the optional package ifcopenshell."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.errors import InputError
from roofmodel.shape.cleaning import face_vectors
from roofmodel.shape.meshes import rotated
from roofmodel.shape.roof_faces import RawMesh
from roofmodel.shape.surfaces import ALL, LISTED
from roofmodel.surface import Array, IntArray
from roofmodel.units import shown

Mesh = tuple[Array, IntArray]

SHEETS = ("IfcSlab", "IfcPlate", "IfcCovering")  # thin bodies, of which the upper face counts
BARS = ("IfcBeam", "IfcMember", "IfcRailing", "IfcFastener")  # parts of a roof that carry no snow
STANDING = ("IfcWall", "IfcChimney", "IfcBuildingElementProxy", "IfcWindow")  # may rise above a roof
MOST = 2000  # of them are looked at
MANY_FACES = 2000  # bodies of so many faces are no plain slabs
SIDE_WIDTH = 0.8  # a slab is no thicker [m]
SQUARE = np.sin(np.radians(10.0))  # sides stand square to the face within this
SAME_WAY = np.cos(np.radians(20.0))  # faces of a sheet within this angle are one face
FIRST_WORD, LAST_WORD, TAIL = b"ISO-10303-21", b"END-ISO-10303-21", 4096  # sought in so many bytes
QUOTED = re.compile(rb"'[^']*'|/\*.*?\*/", re.DOTALL)
DEEPEST = 1000  # elements within each other (judgment; models have tens)
UNCOVERED = 1.0  # other slabs open to the sky by more than this are mentioned [m^2]


def read_ifc(path: Path, building: str | None, marks: bool = True) -> tuple[Any, RawMesh, float]:
    """Triangles of the roof of a building model.

    Taken are roofs with a shape, the parts of roofs without one, slabs of the type ROOF and coverings of the
    type ROOFING; where there are none, or `marks` is False, all elements of the building.

    Parameters
    ----------
    path : Path
    building : str or None
        Name or GlobalId; may be left out when there is one building only; "all" for all of them.
    marks : bool

    Returns
    -------
    model : ifcopenshell file
    mesh : RawMesh
        In the model's own axes, z up. [m]
    unit : float
        The model's own unit of length. [m]

    Raises
    ------
    InputError
        No ifcopenshell, unreadable, no such building, no shapes.
    """
    model = _open(path)
    scale = _unit(model)
    chosen, notes = _elements_of(model, building)
    roof = _roof_elements(chosen) if marks else []
    if roof:
        notes.append(f"IFC: {_listed(roof)} were taken as the roof.")
    else:
        why = "the model marks no roof" if marks else "the model's marks were set aside, as asked"
        notes.append(f"IFC: {why}; the roof was found by what is seen from above.")
    solid = [one for one in (roof or _whole(chosen)) if not _is(one, BARS)]
    meshes, lost = _shapes(solid)
    if lost:
        notes.append(f"The shapes of {len(lost)} elements could not be built ({_listed(lost)}).")
    if not meshes:
        message = "the model holds no element with a shape that could be a roof."
        raise InputError(message)
    upright: list[Mesh] = []
    if roof:
        kept = [_upper(mesh) if _is(one, SHEETS) else mesh for one, mesh in meshes]
        notes += _other_slabs(chosen, roof, kept)
        upright = _standing(chosen, roof, notes)
    else:
        kept = [mesh for _, mesh in meshes]
    points, faces = _joined([*kept, *upright])
    own = sum(len(one) for _, one in kept)
    return model, RawMesh(points, faces[:own], tuple(notes), beside=faces[own:]), scale


def _open(path: Path) -> Any:
    try:
        import ifcopenshell
    except ImportError as error:
        message = "IFC files need the package ifcopenshell; install it with: pip install 'eavewright[ifc]'"
        raise InputError(message) from error
    if _cut_short(path):
        message = "the file does not end with END-ISO-10303-21: it was cut short; write or copy it again."
        raise InputError(message)
    _check_references(path.read_bytes())
    try:
        model = ifcopenshell.open(str(path))
        found = bool(model.by_type("IfcProject"))
    except Exception as error:
        message = "the file cannot be read as IFC; it is damaged, cut short or of another kind."
        raise InputError(message) from error
    if not found:
        message = "the file holds no IFC project; it is damaged, cut short or of another kind."
        raise InputError(message)
    return model


def _cut_short(path: Path) -> bool:
    """Whether a STEP file lacks the last line its standard (ISO 10303-21) asks for."""
    with path.open("rb") as file:
        if FIRST_WORD not in file.read(TAIL):
            return False
        file.seek(max(path.stat().st_size - TAIL, 0))
        return LAST_WORD not in file.read()


def _check_references(data: bytes) -> None:
    """Refuse what the reader, which follows references as deep as they go, would crash on.

    In a sound model no element refers to itself, by however many others (from memory of the schema); levels
    of elements are taken off from below until none is left.
    """
    names, defined = _marks(QUOTED.sub(b"", data))
    starts = np.cumsum(defined) - 1  # statement that each mark stands in
    names, at = np.unique(names, return_inverse=True)
    held = ~defined & (starts >= 0)
    source, target = at[defined][starts[held]], at[held]
    for _ in range(DEEPEST):
        busy = np.zeros(len(names), dtype=bool)
        busy[source] = True
        if not busy.any():
            return
        kept = busy[target]
        if kept.all():
            break
        source, target = source[kept], target[kept]
    message = f"the model is damaged: #{names[source[0]]} leads to an element that refers to itself."
    raise InputError(message)


def _marks(data: bytes) -> tuple[IntArray, NDArray[np.bool_]]:
    """Numbers behind every # of a STEP file, and whether the element of that number is defined there."""
    text = np.frombuffer(data + b" " * 32, dtype=np.uint8)
    at = np.flatnonzero(text[:-32] == ord("#")) + 1
    number = np.zeros(len(at), dtype=np.int64)
    digit = text[at] - np.uint8(ord("0"))
    for _ in range(18):
        more = digit < 10
        number = np.where(more, 10 * number + digit, number)
        at = at + more
        digit = text[at] - np.uint8(ord("0"))
    for _ in range(4):
        at = at + (text[at] == ord(" "))
    return number, text[at] == ord("=")


def _unit(model: Any) -> float:
    import ifcopenshell.util.unit

    try:
        return float(ifcopenshell.util.unit.calculate_unit_scale(model))
    except Exception as error:
        message = "the model's length unit cannot be read."
        raise InputError(message) from error


def _elements_of(model: Any, building: str | None) -> tuple[list[Any], list[str]]:
    """Elements of the building asked for."""
    import ifcopenshell.util.element

    kind = "IfcBuiltElement" if model.schema.startswith("IFC4X3") else "IfcBuildingElement"
    everything = list(model.by_type(kind))
    buildings = list(model.by_type("IfcBuilding"))
    if building == ALL or (building is None and len(buildings) <= 1):
        return everything, []
    named = [one for one in buildings if building in (one.GlobalId, one.Name)]
    if len(named) != 1:
        listed = ", ".join(f"{shown(one.Name or '')} ({one.GlobalId})" for one in buildings[:LISTED])
        what = (
            "give the name or id of one building" if building is None else f"no single building {building!r}"
        )
        message = f"{what}; the file has: {listed}; or {ALL!r} for all of them."
        raise InputError(message)
    inside = {one.id() for one in ifcopenshell.util.element.get_decomposition(named[0])}
    chosen = [one for one in everything if one.id() in inside]
    return chosen, [f"IFC: building {shown(named[0].Name or named[0].GlobalId)} was taken."]


def _is(element: Any, kinds: Sequence[str]) -> bool:
    return any(element.is_a(kind) for kind in kinds)


def _roof_elements(elements: Iterable[Any]) -> list[Any]:
    """Roofs with a shape, parts of roofs without one, roof slabs and roofings; each once."""
    found: dict[int, Any] = {}
    for element in elements:
        typed = str(getattr(element, "PredefinedType", "") or "")
        if element.is_a("IfcRoof") or (element.is_a("IfcSlab") and typed == "ROOF") or typed == "ROOFING":
            for one in _with_shape(element, set()):
                found[one.id()] = one
    return list(found.values())


def _with_shape(element: Any, seen: set[int]) -> list[Any]:
    """The element where it has a shape of its own, else its parts, whatever their type."""
    if element.id() in seen:
        return []
    seen.add(element.id())
    if getattr(element, "Representation", None) is not None:
        return [element]
    parts = [part for relation in element.IsDecomposedBy or () for part in relation.RelatedObjects]
    return [one for part in parts for one in _with_shape(part, seen)]


def _whole(elements: Iterable[Any]) -> list[Any]:
    return [one for one in elements if getattr(one, "Representation", None) is not None]


def _listed(elements: Sequence[Any]) -> str:
    names = [f"{one.is_a()} {shown(one.Name or one.GlobalId)}" for one in elements[:6]]
    return ", ".join(names) + (f" and {len(elements) - 6} more" if len(elements) > 6 else "")


def _shapes(elements: Sequence[Any]) -> tuple[list[tuple[Any, Mesh]], list[Any]]:
    """Triangles of every element in meters, and the elements that gave none."""
    import ifcopenshell.geom

    settings = ifcopenshell.geom.settings()
    settings.set("use-world-coords", True)
    meshes: list[tuple[Any, Mesh]] = []
    lost: list[Any] = []
    for element in elements:
        try:
            shape = ifcopenshell.geom.create_shape(settings, element)
            points = np.array(shape.geometry.verts, dtype=float).reshape(-1, 3)
            faces = np.array(shape.geometry.faces, dtype=np.int64).reshape(-1, 3)
        except Exception:  # the kernel raises many kinds; the element is named in the notes
            lost.append(element)
            continue
        if len(faces):
            meshes.append((element, (points, faces)))
    return meshes, lost


def _upper(mesh: Mesh) -> Mesh:
    """The faces of a thin body that look up, without its narrow sides (cut square, they may look up too)."""
    points, faces = mesh
    vector = face_vectors(points, faces)
    double = np.linalg.norm(vector, axis=1)
    up = np.flatnonzero(vector[:, 2] > 1e-9 * np.maximum(double, 1e-300))
    if len(up) == 0:
        return mesh
    if len(up) > MANY_FACES:
        return points, faces[up]
    unit = vector[up] / double[up, None]
    same = unit @ unit.T > SAME_WAY
    area = 0.5 * same @ double[up]
    largest = unit[np.argmax(area)]
    reach = np.linalg.norm(np.ptp(points, axis=0))
    narrow = (area < reach * SIDE_WIDTH) & (area < 0.5 * area.max())
    side = narrow & (np.abs(unit @ largest) < SQUARE)
    return points, faces[up[~side]]


def _joined(meshes: Sequence[Mesh]) -> Mesh:
    base = np.cumsum([0, *(len(points) for points, _ in meshes[:-1])])
    faces = [faces + at for (_, faces), at in zip(meshes, base, strict=True)]
    return np.concatenate([points for points, _ in meshes]), np.concatenate(faces)


def _plan(mesh: Mesh) -> Any:
    points, faces = mesh
    corner = points[faces][:, :, :2]
    return shapely.union_all(shapely.make_valid(shapely.polygons(corner)), grid_size=1e-3)


def _standing(chosen: Iterable[Any], roof: Sequence[Any], notes: list[str]) -> list[Mesh]:
    """Shapes of walls, chimneys and skylights, which may stand above the roof; adds to the notes."""
    taken = {one.id() for one in roof}
    there = [one for one in _whole(chosen) if _is(one, STANDING) and one.id() not in taken]
    if len(there) > MOST:
        notes.append(
            f"IFC: of {len(there)} walls, chimneys and skylights the first {MOST} were looked at: others "
            "may stand above the roof."
        )
    return [mesh for _, mesh in _shapes(there[:MOST])[0]]


def _other_slabs(chosen: Iterable[Any], roof: Sequence[Any], kept: Sequence[Mesh]) -> list[str]:
    """Say which slabs lie open to the sky beside the roof: balconies, or roofs with a wrong mark."""
    taken = {one.id() for one in roof}
    slabs = [one for one in chosen if one.is_a("IfcSlab") and one.id() not in taken]
    slabs = [one for one in slabs if getattr(one, "Representation", None) is not None]
    if not slabs:
        return []
    covered = shapely.union_all([_plan(mesh) for mesh in kept])
    notes = []
    for element, mesh in _shapes(slabs)[0]:
        open_area = shapely.difference(_plan(_upper(mesh)), covered).area
        if open_area > UNCOVERED:
            notes.append(
                f"{_listed([element])} is not marked as roof and was left out, though {open_area:.1f} m2 of "
                "it lie outside the roof (take all elements by marks = false)."
            )
    return notes


def turn_to_north(model: Any, raw: RawMesh, scale: float) -> RawMesh:
    """Put a mesh on the map where the model says how, else turn it so that y is true north.

    Parameters
    ----------
    model : ifcopenshell file
    raw : RawMesh
    scale : float
        Unit of length of the model. [m]
    """
    points, note = raw.points, "IFC: the y axis is taken as north."
    conversion = [] if model.schema == "IFC2X3" else list(model.by_type("IfcMapConversion"))
    if conversion:
        one = conversion[0]
        turn = np.arctan2(one.XAxisOrdinate or 0.0, 1.0 if one.XAxisAbscissa is None else one.XAxisAbscissa)
        shift = np.array([one.Eastings, one.Northings, one.OrthogonalHeight], dtype=float)
        points = rotated(points, turn) + shift * _map_unit(one, scale)
        note = f"IFC: placed on the map as the model says (turned by {np.degrees(turn):.2f} degrees)."
    else:
        contexts = model.by_type("IfcGeometricRepresentationContext", include_subtypes=False)
        north = next((one.TrueNorth.DirectionRatios for one in contexts if one.TrueNorth is not None), (0, 1))
        turn = np.arctan2(north[0], north[1])
        if abs(turn) > 1e-9:
            points = rotated(points, turn)
            note = f"IFC: turned by {np.degrees(turn):.2f} degrees, so that y is the model's true north."
    return replace(raw, points=points, notes=(*raw.notes, note))


def _map_unit(conversion: Any, scale: float) -> float:
    """Unit of the map coordinates: that of the target system, else the project's. [m]."""
    unit = getattr(conversion.TargetCRS, "MapUnit", None)
    if unit is None:
        return scale
    import ifcopenshell.util.unit

    prefix = getattr(unit, "Prefix", None)
    return float(ifcopenshell.util.unit.convert(1.0, prefix, unit.Name, None, "METRE"))
