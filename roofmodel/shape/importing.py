"""Roofs from files: triangle meshes and city models."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from roofmodel.errors import InputError
from roofmodel.shape.cityjson import read_building
from roofmodel.shape.cleaning import check_indices, check_places
from roofmodel.shape.recognition import recognize
from roofmodel.shape.roof_faces import STEEPEST, RawMesh, pick_roof_faces
from roofmodel.surface import Array, IntArray, RoofSurface

UNITS = {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "ft": 0.3048, "in": 0.0254}  # exact [m]
UNITLESS = (".stl", ".obj", ".ply")
GLTF = (".glb", ".gltf")
CITYJSON = (".json", ".cityjson")
FAR = 10_000.0  # [m]


def import_roof(
    path: str | Path,
    *,
    unit: str | None = None,
    up: str | None = None,
    building: str | None = None,
    steepest: float = STEEPEST,
    angle_tolerance: float = np.radians(3.0),
    distance_tolerance: float = 0.03,
) -> RoofSurface:
    """Read a roof from a file and recognize it.

    Parameters
    ----------
    path : str or Path
        STL, OBJ, PLY, glTF/GLB or CityJSON 1.0 to 2.0, by the ending of the name.
    unit : str, optional
        "m", "mm", "cm", "ft" or "in"; required for STL, OBJ and PLY, which carry no unit.
    up : str, optional
        Axis that points up, "z" or "y"; required for STL, OBJ and PLY.
    building : str, optional
        Id of the building, for city models with several.
    steepest : float
        Faces at least this steep are walls. [rad]
    angle_tolerance, distance_tolerance : float
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
    try:
        _check_file(path)
        if path.suffix.lower() in CITYJSON:
            if unit not in (None, "m") or up not in (None, "z"):
                message = "CityJSON has its own units and axes (m, z up): leave unit and up out."
                raise InputError(message)
            raw = read_building(path, building)
        else:
            if building is not None:
                message = f"building {building!r} was asked for, but only city models hold named buildings."
                raise InputError(message)
            raw = read_mesh(path, unit, up)
        picked = pick_roof_faces(raw, steepest)
        return recognize(
            picked.points,
            picked.faces,
            offset=picked.offset,
            notes=picked.notes,
            angle_tolerance=angle_tolerance,
            distance_tolerance=distance_tolerance,
            ground=picked.ground,
        )
    except InputError as error:
        message = f"{path.name}: {error}"
        raise InputError(message) from error


def _check_file(path: Path) -> None:
    known = (*UNITLESS, *GLTF, *CITYJSON)
    if not path.exists():
        message = f"the file does not exist in {path.parent}."
        raise InputError(message)
    if not path.is_file() or path.stat().st_size == 0:
        message = "the file is empty." if path.is_file() else "this is a folder, not a file."
        raise InputError(message)
    if path.suffix.lower() not in known:
        message = f"the ending {path.suffix!r} is not known; it should be one of {', '.join(known)}."
        raise InputError(message)


def read_mesh(path: Path, unit: str | None, up: str | None) -> RawMesh:
    """Read a triangle mesh and bring it to meters, z up.

    Parameters
    ----------
    path : Path
    unit, up : str or None

    Returns
    -------
    RawMesh
        In meters, z up, nothing left out.

    Raises
    ------
    InputError
        Unreadable, no triangles, or no unit or up axis where the format has none.
    """
    points, faces = _load_triangles(path)
    check_indices(points, faces)
    if unit is not None and unit not in UNITS:
        message = f"unit {unit!r} is not known; it should be one of {', '.join(UNITS)}."
        raise InputError(message)
    if up is not None and up not in ("y", "z"):
        message = f"up {up!r} is not known; it should be z or y."
        raise InputError(message)
    if path.suffix.lower() in GLTF:
        notes = [f"glTF: taken in {unit or 'm'}, {up or 'y'} up" + _own_choice(unit, up)]
        unit, up = unit or "m", up or "y"
    else:
        if unit is None or up is None:
            raise InputError(_size_hint(points[np.unique(faces)], path.suffix, unit, up))
        notes = [f"The file was read in {unit}, {up} up, as given."]
    points = points * UNITS[unit]
    check_places(points[np.unique(faces)])
    if up == "y":
        points = np.stack([points[:, 0], -points[:, 2], points[:, 1]], axis=1)
    far = float(np.abs(points[np.isfinite(points)]).max(initial=0.0))
    if far > FAR and path.suffix.lower() in (".stl", *GLTF):
        step = float(np.spacing(np.float32(far / UNITS[unit]))) * UNITS[unit]
        notes.append(
            f"The file stores 32-bit numbers {far / 1e3:.0f} km from the origin: steps {step * 1e3:.0f} mm."
        )
    return RawMesh(points, faces, tuple(notes))


def _own_choice(unit: str | None, up: str | None) -> str:
    if unit in (None, "m") and up in (None, "y"):
        return ", as its standard says."
    return ", as given (its standard says m, y up)."


def _load_triangles(path: Path) -> tuple[Array, IntArray]:
    """All triangles of a file, scene placements applied."""
    import trimesh

    kind = path.suffix.lower().lstrip(".")
    try:
        scene: Any = trimesh.load_scene(str(path), file_type=kind, process=False)
        meshes = [part for part in scene.dump() if isinstance(part, trimesh.Trimesh)]
    except Exception as error:
        message = f"the file cannot be read as {kind.upper()}; it is damaged, cut short or of another kind."
        raise InputError(message) from error
    meshes = [mesh for mesh in meshes if len(mesh.faces)]
    if not meshes:
        message = f"the file holds no triangles that can be read as {kind.upper()}."
        raise InputError(message)
    base = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes[:-1])])
    points = np.concatenate([np.asarray(mesh.vertices, dtype=float) for mesh in meshes])
    faces = np.concatenate([np.asarray(mesh.faces) + at for mesh, at in zip(meshes, base, strict=True)])
    return points, faces.astype(np.int64)


def _size_hint(points: Array, suffix: str, unit: str | None, up: str | None) -> str:
    """Ask for what the format leaves out, with the size in every unit."""
    extent = np.ptp(points, axis=0)
    sizes = "; ".join(
        f"{name}: {' x '.join(f'{value:.4g}' for value in extent * factor)} m"
        for name, factor in UNITS.items()
    )
    missing = " and ".join(
        ([] if unit else ["unit (m, mm, cm, ft or in)"]) + ([] if up else ["up axis (z or y)"])
    )
    kind = suffix.lstrip(".").upper()
    return f"{kind} files do not say their {missing}; please give it. Size x, y, z read in {sizes}."
