"""Roofs of DXF drawings: 3D faces, polyface meshes and subdivided meshes, blocks unfolded."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Any

import numpy as np

from roofmodel.errors import InputError
from roofmodel.shape.meshes import UNITS, check_unit, in_meters, size_hint
from roofmodel.shape.roof_faces import RawMesh
from roofmodel.shape.surfaces import LISTED, Surface, triangulate_surfaces
from roofmodel.shape.up_axis import doubted_up
from roofmodel.units import shown

Polygon = list[tuple[float, float, float]]

# $INSUNITS by the DXF reference (from memory), of the units that a roof may be drawn in. [m]
INSUNITS = {1: 0.0254, 2: 0.3048, 4: 1e-3, 5: 1e-2, 6: 1.0, 10: 0.9144, 14: 0.1, 21: 1200.0 / 3937.0}


# Entities that blocks may unfold to; each takes a tenth of a millisecond and some memory (judgment).
MOST_UNFOLDED = 200_000


def read_drawing(path: Path, unit: str | None, up: str | None, layers: Sequence[str]) -> RawMesh:
    """Triangles of a drawing.

    Parameters
    ----------
    path : Path
    unit, up : str or None
        In place of what the drawing says ($INSUNITS) and of z.
    layers : sequence of str
        Layers to take; all that are shown where there are none.

    Returns
    -------
    RawMesh
        In meters, z up.

    Raises
    ------
    InputError
        Unreadable, no faces, no such layer, or no unit.
    """
    check_unit(unit, up)
    document, notes = _open(path)
    wanted, hidden = _layers(document, layers)
    polygons, found = _polygons(document, wanted)
    if not polygons:
        kinds = ", ".join(f"{count} {kind}" for kind, count in found.most_common(8)) or "nothing"
        message = (
            "the drawing holds no 3D faces, polyface meshes or meshes on the layers taken (it holds "
            f"{kinds}); turn solids into meshes before saving."
        )
        raise InputError(message)
    if layers:
        notes.append(f"DXF: only the layers {', '.join(layers)} were taken, as given.")
    elif hidden:
        notes.append(f"DXF: layers that are off or frozen were left out: {', '.join(hidden[:LISTED])}.")
    solids = found["3DSOLID"] + found["BODY"] + found["REGION"] + found["SURFACE"]
    if solids:
        notes.append(f"DXF: {solids} solids were left out; turn them into meshes if they belong to the roof.")
    ends = np.cumsum([0, *(len(one) for one in polygons)])
    points = np.array([corner for one in polygons for corner in one], dtype=float)
    surfaces: list[Surface] = [([list(range(low, high))], None) for low, high in itertools.pairwise(ends)]
    faces, lost = triangulate_surfaces(points, surfaces)
    if lost:
        notes.append(f"{lost} faces have no area or an outline that cannot be filled and were left out.")
    if len(faces) == 0:
        message = "the drawing's faces have no area."
        raise InputError(message)
    scale, told = _scale(document, unit)
    if scale is None:
        raise InputError(size_hint(points, path.suffix.lower(), None, up or "z"))
    notes.insert(0, f"DXF: {told}; {up or 'z'} up{', as given' if up else ''}.")
    points = in_meters(points, faces, scale, up or "z")
    return RawMesh(points, faces, (*notes, *doubted_up(points, faces, up or "z")))


def _open(path: Path) -> tuple[Any, list[str]]:
    import ezdxf
    from ezdxf import recover

    try:
        return ezdxf.readfile(path), []
    except Exception:  # damaged, or not a drawing: the careful reader knows
        pass
    try:
        document, auditor = recover.readfile(path)
    except Exception as error:
        message = "the file cannot be read as DXF; it is damaged, cut short or of another kind."
        raise InputError(message) from error
    count = len(auditor.errors)
    return document, [f"DXF: the drawing is damaged ({count} errors); what could be read was taken."]


def _layers(document: Any, layers: Sequence[str]) -> tuple[Callable[[str], bool], list[str]]:
    """Which layers to take, and the names of those that are not shown."""
    known = {str(layer.dxf.name).casefold(): layer for layer in document.layers}
    if not layers:
        hidden = {name for name, layer in known.items() if layer.is_off() or layer.is_frozen()}
        shown_names = sorted(str(known[name].dxf.name) for name in hidden)
        return (lambda name: name not in hidden), shown_names
    entities = (one for one in document.entitydb.values() if one.dxf.hasattr("layer"))
    there = set(known) | {str(one.dxf.layer).casefold() for one in entities}
    missing = next((name for name in layers if name.casefold() not in there), None)
    if missing is not None:
        names = ", ".join(str(layer.dxf.name) for layer in list(known.values())[:LISTED])
        message = f"there is no layer {shown(missing)}; the drawing has {names}."
        raise InputError(message)
    wanted = {name.casefold() for name in layers}
    return (lambda name: name in wanted), []


def _polygons(document: Any, wanted: Callable[[str], bool]) -> tuple[list[Polygon], Counter[str]]:
    """Corners of all faces of the model space, and how many entities of each kind there are."""
    from ezdxf.disassemble import recursive_decompose

    polygons: list[Polygon] = []
    found: Counter[str] = Counter()
    _check_blocks(document)
    try:
        for entity in recursive_decompose(document.modelspace()):
            if wanted(str(entity.dxf.get("layer", "0")).casefold()):
                found[entity.dxftype()] += 1
                polygons += _faces(entity)
    except Exception as error:
        message = f"an entity of the drawing is damaged ({type(error).__name__})."
        raise InputError(message) from error
    return polygons, found


def _check_blocks(document: Any) -> None:
    """Refuse blocks that hold themselves, or that unfold to more than can be read in time."""
    space = document.modelspace().layout_key
    inside = {space: Counter[str](), **{block.layout_key: Counter() for block in document.blocks}}
    named = {str(block.name).casefold(): block.layout_key for block in document.blocks}
    own: Counter[str] = Counter()
    for block in document.blocks:
        for entity in block:
            target = named.get(str(entity.dxf.name).casefold()) if entity.dxftype() == "INSERT" else None
            if target is None:
                own[block.layout_key] += 1
            else:
                inside[block.layout_key][target] += max(int(entity.mcount), 1)
    reached, waiting = {space}, [space]
    while waiting:
        new = set(inside[waiting.pop()]) - reached
        reached |= new
        waiting += new
    try:
        order = list(TopologicalSorter({key: list(inside[key]) for key in reached}).static_order())
    except CycleError as error:
        ring = [next(name for name, key in named.items() if key == one) for one in error.args[1]]
        message = f"the drawing's block {shown(ring[0])} holds itself; take it apart before saving."
        raise InputError(message) from None
    total: dict[str, int] = {}
    for key in order:
        total[key] = own[key] + sum(times * total[one] for one, times in inside[key].items())
    if total[space] - own[space] > MOST_UNFOLDED:
        message = (
            f"the drawing's blocks unfold to {total[space] - own[space]:.3g} entities, more than "
            f"{MOST_UNFOLDED:,} that can be read in time; keep the blocks of the roof only."
        )
        raise InputError(message)


def _faces(entity: Any) -> Iterator[Polygon]:
    from ezdxf.render import MeshBuilder

    kind = entity.dxftype()
    if kind == "3DFACE":
        yield [tuple(corner) for corner in entity.wcs_vertices()]
        return
    if kind == "MESH":
        mesh = MeshBuilder.from_mesh(entity)
    elif kind == "POLYLINE" and (entity.is_poly_face_mesh or entity.is_polygon_mesh):
        mesh = MeshBuilder.from_polyface(entity)
    else:
        return
    for face in mesh.faces:
        yield [tuple(mesh.vertices[index]) for index in face]


def _scale(document: Any, unit: str | None) -> tuple[float | None, str]:
    """Length of the drawing's unit and words for it; None where the drawing does not say. [m]."""
    own = INSUNITS.get(document.header.get("$INSUNITS", 0))
    if unit is not None:
        return UNITS[unit], f"taken in {unit}, as given" + (f" (the drawing says {own:g} m)" if own else "")
    return own, f"one unit is {own:g} m, as the drawing says" if own else ""
