"""Roofs of the project file that are built from parts and dormers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from roofmodel.errors import InputError
from roofmodel.project.part_schema import BuiltRoof, DormerTable, Part
from roofmodel.shape.builders import RoofPart, build_roof, regular_footprint
from roofmodel.shape.dormers import Dormer
from roofmodel.surface import RoofSurface

NAN = float("nan")
ROUND = ("cone", "dome")
FALLING = ("shed", "saw-tooth", "saltbox")

# Fields that only some shapes have: which must give them, which may.
_NEEDED = {
    "rise": ("vault", "dome"),
    "upper_pitch": ("gambrel", "mansard"),
    "break_height": ("gambrel", "mansard"),
    "clip_height": ("half-hip",),
    "rear_eave_height": ("saltbox",),
    "center": ROUND,
    "radius": ROUND,
}
_ALLOWED = {
    "facets": ("vault", *ROUND),
    "rings": ("dome",),
    "clip_pitch": ("half-hip",),
    "teeth": ("saw-tooth",),
    "courtyards": ("hip", "mansard", "flat"),
    "courtyard_pitch": ("hip", "mansard"),
}


def built_roof(table: BuiltRoof) -> RoofSurface:
    """Build the roof of a project file.

    Raises
    ------
    InputError
        Names the part or dormer and the field.
    """
    parts = [_part(part, index) for index, part in enumerate(table.part)]
    dormers = [_dormer(dormer, index) for index, dormer in enumerate(table.dormer)]
    try:
        return build_roof(parts, dormers)
    except InputError as error:
        raise InputError(_named(str(error), parts, dormers)) from None


def _named(message: str, parts: Sequence[RoofPart], dormers: Sequence[Dormer]) -> str:
    """Message of the builder with the name of the part or dormer as the project file has it."""
    for field, tables in (("roof.dormer", dormers), ("roof.part", parts)):
        name = next((t.name for t in tables if message.startswith(f"{t.name}: ")), None)
        if name is not None:
            return f'{field} "{name}": {message.removeprefix(f"{name}: ")}'
    return f"roof: {message}"


def _dormer(table: DormerTable, index: int) -> Dormer:
    name = table.name or f"dormer {index + 1}"
    if table.pitch == "gable":
        message = f'roof.dormer "{name}".pitch: "gable" is a kind; give the pitch of its roof, like "30 deg"'
        raise InputError(message)
    return Dormer(
        plane=table.plane,
        across=table.across,
        up=table.up,
        width=table.width,
        height=table.height,
        pitch=float(table.pitch),
        kind=table.kind,
        name=name,
    )


def _part(part: Part, index: int) -> RoofPart:
    name = part.name or f"part {index + 1}"
    wrong = _field_slip(part) or _pitch_slip(part)
    if wrong:
        message = f'roof.part "{name}"{wrong}'
        raise InputError(message)
    footprint = _footprint(part)
    clip = part.pitch if part.clip_pitch is None else part.clip_pitch
    inner = part.pitch if part.courtyard_pitch is None else part.courtyard_pitch
    return RoofPart(
        shape="hip" if part.shape == "cone" else part.shape,
        footprint=footprint,
        pitches=_pitches(part, footprint),
        eave_height=part.eave_height,
        fall_azimuth=_number(part.fall),
        name=name,
        rise=_number(part.rise),
        facets=part.facets,
        rings=part.rings,
        upper_pitch=_number(part.upper_pitch),
        break_height=_number(part.break_height),
        clip_height=_number(part.clip_height),
        clip_pitch=_number(clip),
        rear_eave_height=_number(part.rear_eave_height),
        teeth=part.teeth,
        courtyards=tuple(np.array(ring) for ring in part.courtyards),
        courtyard_pitch=_number(inner),
    )


def _number(value: float | str | None) -> float:
    return NAN if value is None or isinstance(value, str) else float(value)


def _footprint(part: Part) -> np.ndarray[Any, Any]:
    if part.shape in ROUND:
        return regular_footprint(np.array(part.center), _number(part.radius), part.facets)
    return np.array(part.footprint)


def _pitches(part: Part, footprint: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    if part.shape in ("flat", "vault", "dome"):
        return np.zeros(0)
    if part.pitches is not None:
        return np.array([np.nan if p == "gable" else p for p in part.pitches], dtype=float)
    if part.shape in ("shed", "saw-tooth"):
        return np.array([part.pitch], dtype=float)
    if part.shape == "saltbox":
        return _saltbox_pitches(footprint, _number(part.pitch), _number(part.fall))
    if part.shape in ("gable", "gambrel", "half-hip"):
        return _gable_pitches(footprint, _number(part.pitch))
    return np.full(len(footprint), _number(part.pitch))


def _some(shapes: Sequence[str]) -> str:
    *first, last = (f'"{shape}"' for shape in shapes)
    return f"{', '.join(first)} or {last}" if first else last


def _field_slip(part: Part) -> str:
    """What is missing for the shape, or belongs to another one, to be said behind the part's name."""
    shape = part.shape
    if (part.footprint is None) != (shape in ROUND):
        if part.footprint is None:
            return (
                ".footprint is missing; add it (plan outline of the roof, eave line to eave line, in order)"
            )
        return f".footprint: a {shape} has none; give center and radius"
    for field, shapes in _NEEDED.items():
        given = getattr(part, field) is not None
        if given and shape not in shapes:
            return f".{field}: is for shape {_some(shapes)} only"
        if not given and shape in shapes:
            return f".{field} is missing; a {shape} needs it"
    for field, shapes in _ALLOWED.items():
        if field in part.model_fields_set and shape not in shapes:
            return f".{field}: is for shape {_some(shapes)} only"
    wrong = next(
        (f for f in ("upper_pitch", "clip_pitch", "courtyard_pitch") if getattr(part, f) == "gable"), ""
    )
    if wrong:
        return f'.{wrong}: "gable" is for single edges of the footprint; give a pitch, like "30 deg"'
    if part.courtyard_pitch is not None and not part.courtyards:
        return ".courtyard_pitch: there are no courtyards; leave it out, or give courtyards"
    for field, wanted in (("clip_pitch", shape == "half-hip"), ("courtyard_pitch", bool(part.courtyards))):
        if wanted and shape != "flat" and getattr(part, field) is None and part.pitch is None:
            return f".{field} is missing; it is needed where pitches are given one by one"
    return ""


def _pitch_slip(part: Part) -> str:
    """What is wrong with pitch, pitches and fall of a part, to be said behind its name; else empty."""
    shape = part.shape
    given = [part.pitch] if part.pitches is None else part.pitches
    if shape in ("flat", "vault", "dome") and (part.pitch is not None or part.pitches is not None):
        return f'.pitch: a {shape} part has none; leave it out, or use shape "shed"'
    if part.fall is not None and shape not in FALLING:
        return f'.fall: is for sheds only; leave it out, or use shape "shed" in place of "{shape}"'
    if shape in ("flat", "vault", "dome"):
        return ""
    if (part.pitch is None) == (part.pitches is None):
        return ": give either pitch (one for all edges) or pitches (one per edge)"
    if part.pitch == "gable":
        return '.pitch: "gable" is for single edges; use pitches'
    if shape in FALLING and part.fall is None:
        return f".fall is missing; a {shape} needs the compass direction it falls to"
    if shape in ("shed", "saw-tooth", "cone") and part.pitches is not None:
        return f".pitches: a {shape} has one pitch; use pitch"
    sides = 0 if part.footprint is None else len(part.footprint)
    if part.pitches is not None and len(part.pitches) != sides:
        return (
            f".pitches: {len(part.pitches)} pitches for {sides} footprint edges; give one for each edge in "
            'order, "gable" for an upright end'
        )
    if shape != "shed" and any(pitch == 0.0 for pitch in given):
        return f': a pitch of 0 makes no {shape} roof; give more, or use shape "flat"'
    ends = [pitch == "gable" for pitch in given]
    ended = shape in ("gable", "gambrel", "half-hip", "saltbox")
    if ended and part.pitches is not None and sides == 4 and ends not in _GABLE_ENDS:
        return f'.pitches: a {shape} part has "gable" on two opposite edges and pitches on the others'
    return ""


_GABLE_ENDS = ([True, False, True, False], [False, True, False, True])


def _gable_pitches(footprint: np.ndarray[Any, Any], pitch: float) -> np.ndarray[Any, Any]:
    """Equal pitches over the two long edges, gables over the short ones."""
    if len(footprint) != 4:
        return np.full(len(footprint), pitch)
    length = np.linalg.norm(np.roll(footprint, -1, axis=0) - footprint, axis=1)
    long = length[0] + length[2] >= length[1] + length[3]
    return np.where(np.arange(4) % 2 == (0 if long else 1), pitch, np.nan)


def _saltbox_pitches(footprint: np.ndarray[Any, Any], pitch: float, fall: float) -> np.ndarray[Any, Any]:
    """Equal pitches over the edges that the fall is square to, gables over the others."""
    if len(footprint) != 4:
        return np.full(len(footprint), pitch)
    along = np.roll(footprint, -1, axis=0) - footprint
    share = np.abs(along @ [np.sin(fall), np.cos(fall)]) / np.linalg.norm(along, axis=1)
    return np.where(np.arange(4) % 2 == int(np.argmin(share[:2])), pitch, np.nan)
