"""Triangles from mesh files, in meters and z up."""

from __future__ import annotations

import contextlib
import io
import re
import zipfile
from pathlib import Path
from typing import Any

import numpy as np

from roofmodel.errors import InputError
from roofmodel.shape.cleaning import check_indices, check_places, distinct
from roofmodel.shape.roof_faces import RawMesh
from roofmodel.shape.surfaces import Surface, triangulate_surfaces
from roofmodel.shape.up_axis import doubted_up
from roofmodel.surface import Array, IntArray
from roofmodel.units import shown

UNITS = {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "ft": 0.3048, "in": 0.0254}  # exact [m]
UNITLESS = (".stl", ".obj", ".ply", ".off")
FIELDS = (".msh", ".vtk", ".vtu")  # meshes of analysis programs, no unit either
GLTF = (".glb", ".gltf")
PACKAGE = (".3mf",)
# Words of the 3MF core specification for its units (from memory).
PACKAGE_UNITS = {
    "millimeter": "mm",
    "millimeters": "mm",
    "centimeter": "cm",
    "meter": "m",
    "inch": "in",
    "foot": "ft",
}
LARGEST_PACKAGE = 60_000_000  # [bytes] of XML, which takes thirty times that to read
SINGLE = (".stl", *GLTF)  # formats of 32-bit numbers
FAR = 10_000.0  # [m]
FLAT_CELLS = {"triangle": 3, "triangle6": 3, "quad": 4, "quad8": 4, "quad9": 4}  # corners first in meshio
MANY_CORNERS = re.compile(rb"^[ \t]*f(?:[ \t]+\S+){4}", re.MULTILINE)


def read_mesh(path: Path, unit: str | None, up: str | None) -> RawMesh:
    """Read a triangle mesh and bring it to meters, z up.

    Parameters
    ----------
    path : Path
    unit, up : str or None
        Needed where the format has none, else in place of what it says.

    Returns
    -------
    RawMesh
        In meters, z up, nothing left out.

    Raises
    ------
    InputError
        Unreadable, no triangles, or no unit or up axis where the format has none.
    """
    ending = path.suffix.lower()
    points, faces, own, notes = _load(path, ending)
    check_indices(points, faces)
    check_unit(unit, up)
    if ending in (*GLTF, *PACKAGE):
        kind, axis = ("glTF", "y") if ending in GLTF else ("3MF", "z")
        notes.append(f"{kind}: taken in {unit or own}, {up or axis} up" + _own_choice(unit, up, own, axis))
        unit, up = unit or own, up or axis
    elif unit is None or up is None:
        raise InputError(size_hint(points[distinct(faces)], ending, unit, up))
    else:
        notes.append(f"The file was read in {unit}, {up} up, as given.")
    points = in_meters(points, faces, UNITS[unit], up)
    notes += doubted_up(points, faces, up)
    far = float(np.abs(points[np.isfinite(points)]).max(initial=0.0))
    if far > FAR and ending in SINGLE:
        step = float(np.spacing(np.float32(far / UNITS[unit]))) * UNITS[unit]
        notes.append(
            f"The file stores 32-bit numbers {far / 1e3:.0f} km from the origin: steps {step * 1e3:.0f} mm."
        )
    return RawMesh(points, faces, tuple(notes))


def check_unit(unit: str | None, up: str | None) -> None:
    """Reject a unit or up axis that is not known."""
    if unit is not None and unit not in UNITS:
        message = f"unit {unit!r} is not known; it should be one of {', '.join(UNITS)}."
        raise InputError(message)
    if up is not None and up not in ("y", "z"):
        message = f"up {up!r} is not known; it should be z or y."
        raise InputError(message)


def in_meters(points: Array, faces: IntArray, scale: float, up: str) -> Array:
    """Points (n, 3) scaled to meters and turned z up; those that faces use must lie on some map. [m]."""
    with np.errstate(over="ignore", invalid="ignore"):  # told next
        points = points * scale
    check_places(points[distinct(faces)])
    return np.stack([points[:, 0], -points[:, 2], points[:, 1]], axis=1) if up == "y" else points


def rotated(points: Array, turn: float) -> Array:
    """Points (n, 3) turned counter-clockwise about the z axis. [m, rad]."""
    c, s = np.cos(turn), np.sin(turn)
    x, y, z = points.T
    return np.column_stack([c * x - s * y, s * x + c * y, z])


def _own_choice(unit: str | None, up: str | None, own: str, axis: str) -> str:
    if unit in (None, own) and up in (None, axis):
        return ", as its standard says."
    return f", as given (its standard says {own}, {axis} up)."


def _load(path: Path, ending: str) -> tuple[Array, IntArray, str, list[str]]:
    """Points, triangles, the file's own unit ("m" where it has none), and notes."""
    try:
        if ending in FIELDS:
            points, faces, notes = _cells(path)
            return points, faces, "m", notes
        if ending == ".obj" and MANY_CORNERS.search(data := path.read_bytes()):
            return *_polygons(data), "m", []
        return _scene(path, ending)
    except InputError:
        raise
    except ModuleNotFoundError as error:
        message = f"reading {ending[1:].upper()} needs the package {error.name!r}: pip install {error.name}"
        raise InputError(message) from error
    except Exception as error:  # readers raise many kinds
        kind = ending[1:].upper()
        message = f"the file cannot be read as {kind}; it is damaged, cut short or of another kind."
        raise InputError(message) from error


def _scene(path: Path, ending: str) -> tuple[Array, IntArray, str, list[str]]:
    """All triangles of a scene, placements applied."""
    import trimesh

    kind = ending[1:]
    if ending in PACKAGE:
        _check_package(path)
    scene: Any = trimesh.load_scene(str(path), file_type=kind, process=False)
    meshes = [part for part in scene.dump() if isinstance(part, trimesh.Trimesh)]
    meshes = [mesh for mesh in meshes if len(mesh.faces)]
    if not meshes:
        message = f"the file holds no triangles that can be read as {kind.upper()}."
        raise InputError(message)
    base = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes[:-1])])
    points = np.concatenate([np.asarray(mesh.vertices, dtype=float) for mesh in meshes])
    faces = np.concatenate([np.asarray(mesh.faces) + at for mesh, at in zip(meshes, base, strict=True)])
    unit = "m"
    if ending in PACKAGE:
        said = str(scene.units or scene.metadata.get("units", "millimeter"))
        if said not in PACKAGE_UNITS:
            message = f"the file's unit {shown(said)} is none a roof is drawn in; it should be like meter."
            raise InputError(message)
        unit = PACKAGE_UNITS[said]
    return points, faces.astype(np.int64), unit, []


def _check_package(path: Path) -> None:
    """Refuse a package that unpacks to more than memory is good for."""
    with zipfile.ZipFile(path) as package:
        size = sum(one.file_size for one in package.infolist())
    if size > LARGEST_PACKAGE:
        message = (
            f"the package unpacks to {size / 1e6:,.0f} MB, more than {LARGEST_PACKAGE / 1e6:.0f} MB; "
            "save the roof alone."
        )
        raise InputError(message)


def _cells(path: Path) -> tuple[Array, IntArray, list[str]]:
    """Triangles and quadrangles of an analysis mesh; other cells have no surface of their own."""
    import meshio

    # The door to all formats prints and leaves the program when a file is damaged.
    reader = {".msh": meshio.gmsh.read, ".vtk": meshio.vtk.read, ".vtu": meshio.vtu.read}
    with contextlib.redirect_stderr(io.StringIO()) as said:
        mesh = reader[path.suffix.lower()](path)
    warned = dict.fromkeys(line.removeprefix("Warning: ") for line in said.getvalue().splitlines())
    notes = [f"The reader says: {line}" for line in warned if line.strip() and "tag data" not in line]
    points = np.zeros((len(mesh.points), 3))
    points[:, : mesh.points.shape[1]] = mesh.points
    faces = [np.zeros((0, 3), dtype=np.int64)]
    for block in mesh.cells:
        corners = FLAT_CELLS.get(block.type)
        if corners:
            cells = np.asarray(block.data, dtype=np.int64)
            faces += [cells[:, [0, k, k + 1]] for k in range(1, corners - 1)]
    found = np.concatenate(faces)
    if len(found) == 0:
        kinds = ", ".join(sorted({block.type for block in mesh.cells})) or "none"
        message = f"the mesh holds no triangles or quadrangles (its cells: {kinds})."
        raise InputError(message)
    return points, found, notes


def _polygons(data: bytes) -> tuple[Array, IntArray]:
    """OBJ with faces of four or more corners, which may be hollow: filled by their outline, not by a fan."""
    lines = [line.split() for line in data.replace(b"\\\n", b" ").replace(b"\\\r\n", b" ").splitlines()]
    points = np.array([line[1:4] for line in lines if line[:1] == [b"v"]], dtype=float).reshape(-1, 3)
    surfaces: list[Surface] = []
    seen = 0
    for line in lines:
        if line[:1] == [b"v"]:
            seen += 1
        elif line[:1] == [b"f"]:
            numbers = [int(word.partition(b"/")[0]) for word in line[1:]]
            surfaces.append(([[at - 1 if at > 0 else seen + at for at in numbers]], None))
    named = np.array([at for rings, _ in surfaces for at in rings[0]], dtype=np.int64)
    check_indices(points, named.reshape(-1, 1))
    return points, triangulate_surfaces(points, surfaces)[0]


def size_hint(points: Array, ending: str, unit: str | None, up: str | None) -> str:
    """Ask for what the format leaves out, with the size in every unit."""
    extent = np.ptp(points, axis=0)
    sizes = "; ".join(
        f"{name}: {' x '.join(f'{value:.4g}' for value in extent * factor)} m"
        for name, factor in UNITS.items()
    )
    missing = " and ".join(
        ([] if unit else ["unit (m, mm, cm, ft or in)"]) + ([] if up else ["up axis (z or y)"])
    )
    kind = ending.lstrip(".").upper()
    return f"{kind} files do not say their {missing}; please give it. Size x, y, z read in {sizes}."
