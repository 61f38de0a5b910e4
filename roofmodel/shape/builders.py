"""Roofs built exactly from a footprint and pitches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.errors import InputError
from roofmodel.shape.assembly import make_surface
from roofmodel.shape.broken_pitches import (
    SQUARE,
    STEEPEST,
    dome_cells,
    half_hip_cells,
    saltbox_cells,
    saw_tooth_cells,
)
from roofmodel.shape.dormers import Dormer, with_dormers
from roofmodel.shape.envelopes import SAME_POINT, SLIVER, Cell, edge_planes, lowest, merged, union
from roofmodel.shape.planes import without_collinear
from roofmodel.shape.skeleton import skeleton_cells
from roofmodel.shape.triangulation import triangulate
from roofmodel.shape.vaults import vault_cells
from roofmodel.surface import Array, RoofSurface

FAR = 10_000.0  # footprints farther out are moved to a local origin [m]
LARGEST = 5_000.0  # [m]
SMALLEST = 1.0  # [m^2]
NOTHING = 1e-3  # of a part, left uncovered by the others
COURTYARDS = ("hip", "mansard", "flat")  # shapes that may have courtyards


@dataclass(frozen=True)
class RoofPart:
    """One part of a roof over its own footprint.

    Attributes
    ----------
    shape : str
        A key of `SHAPE_CELLS`.
    footprint : (k, 2) float
        Plan outline of the roof (eaves included), either direction round. [m]
    pitches : (k,) float
        Pitch above footprint edge i, from point i to point i + 1; nan for a gable edge. A shed takes
        one pitch; a flat roof none. [rad]
    eave_height : float
        Height of all eaves above ground (z = 0); of the lowest point for a shed or saw-tooth; of the front
        eave for a saltbox. [m]
    fall_azimuth : float
        Direction a shed, a saw-tooth or the rear of a saltbox falls to, clockwise from north. [rad]
    name : str
        For messages.
    rise : float
        Of a vault's or dome's crown above its springings. [m]
    facets : int
        Of a vault.
    rings : int
        Of a dome.
    upper_pitch, break_height : float
        Of a gambrel or mansard: pitch above the break, and height of the break above the eaves. [rad], [m]
    clip_height, clip_pitch : float
        Of a half-hip: height above the eaves at which its cut-off ends start, and their pitch. [m], [rad]
    rear_eave_height : float
        Of a saltbox, above ground. [m]
    teeth : int
        Of a saw-tooth.
    courtyards : tuple of (k, 2) float
        Openings in the footprint, in either direction round. [m]
    courtyard_pitch : float
        Of the slopes that fall into the courtyards. [rad]
    """

    shape: str
    footprint: Array
    pitches: Array = field(default_factory=lambda: np.zeros(0))
    eave_height: float = 0.0
    fall_azimuth: float = float("nan")
    name: str = ""
    rise: float = float("nan")
    facets: int = 12
    rings: int = 6
    upper_pitch: float = float("nan")
    break_height: float = float("nan")
    clip_height: float = float("nan")
    clip_pitch: float = float("nan")
    rear_eave_height: float = float("nan")
    teeth: int = 3
    courtyards: tuple[Array, ...] = ()
    courtyard_pitch: float = float("nan")


def regular_footprint(center: Array, radius: float, sides: int) -> Array:
    """Corners (sides, 2) of a regular polygon around a circle, counter-clockwise; its edges touch it. [m]."""
    angle = 2.0 * np.pi * (np.arange(sides) - 0.5) / sides - 0.5 * np.pi
    reach = radius / np.cos(np.pi / sides)
    return np.asarray(center + reach * np.stack([np.cos(angle), np.sin(angle)], axis=1))


def build_roof(parts: Sequence[RoofPart], dormers: Sequence[Dormer] = ()) -> RoofSurface:
    """Build the roof of one building from its parts, exactly.

    Where parts overlap on plan the higher surface is the roof: a lower part ends at the outline of the
    higher one, below which the wall is taken to stand (a step), and surfaces that cross meet in valleys.

    Parameters
    ----------
    parts : sequence of RoofPart
    dormers : sequence of Dormer
        On planes that bear the names which the roof without dormers gives them.

    Returns
    -------
    RoofSurface
        Ground is z = 0.

    Raises
    ------
    InputError
        Names the part and the value.
    """
    if len(parts) == 0:
        msg = "The roof has no parts: give at least one part with a footprint."
        raise InputError(msg)
    labels = [part.name or f"part {index + 1}" for index, part in enumerate(parts)]
    checked = [_checked(part, label) for part, label in zip(parts, labels, strict=True)]
    corners = np.concatenate([part.footprint for part in checked])
    low, high = corners.min(axis=0), corners.max(axis=0)
    if (high - low).max() > LARGEST:
        message = (
            f"The roof is {(high - low).max():.0f} m across, more than {LARGEST:.0f} m: are the units meters?"
        )
        raise InputError(message)
    shift = np.round(0.5 * (low + high)) if np.abs(corners).max() > FAR else np.zeros(2)
    notes = (
        ["The footprint lies far from the map origin: it was moved to a local origin."] if shift.any() else []
    )
    cells: list[Cell] = []
    every = [
        SHAPE_CELLS[part.shape](_moved(part, shift), label)
        for part, label in zip(checked, labels, strict=True)
    ]
    for own in every:
        cells = union(cells, own) if cells else own
    notes += _vanished(every, cells, labels)
    cells, offset = merged(cells), np.array([*shift, 0.0])
    surface = _surface(cells, offset, notes)
    return _surface(with_dormers(surface.planes, cells, dormers), offset, notes) if dormers else surface


def _vanished(every: Sequence[Sequence[Cell]], cells: Sequence[Cell], labels: Sequence[str]) -> list[str]:
    """Sentences about parts of which other parts leave next to nothing."""
    left: dict[int, float] = {}  # area by the plane of a cell, which the overlay hands on
    for plane, area in cells:
        left[id(plane)] = left.get(id(plane), 0.0) + area.area
    notes = []
    for own, label in zip(every, labels, strict=True):
        whole = sum(area.area for _, area in own)
        seen = sum(left.get(key, 0.0) for key in {id(plane) for plane, _ in own})
        if seen <= NOTHING * whole:
            notes.append(
                f"{label} lies wholly below or within other parts: it is not in the roof and is not checked."
            )
    return notes


def _moved(part: RoofPart, shift: Array) -> RoofPart:
    courtyards = tuple(ring - shift for ring in part.courtyards)
    return replace(part, footprint=part.footprint - shift, courtyards=courtyards)


def _checked(part: RoofPart, label: str) -> RoofPart:
    """Validated copy with the footprint counter-clockwise and float arrays."""
    if part.shape not in SHAPE_CELLS:
        msg = f"{label}: shape {part.shape!r} is not known; it should be one of {', '.join(SHAPE_CELLS)}."
        raise InputError(msg)
    footprint = np.array(part.footprint, dtype=float)
    pitches = np.atleast_1d(np.array(part.pitches, dtype=float))
    if footprint.ndim != 2 or footprint.shape[1] != 2 or len(footprint) < 3:
        message = f"{label}: footprint has shape {footprint.shape}; it needs at least 3 points of x and y."
        raise InputError(message)
    if not np.isfinite(footprint).all() or not np.isfinite(part.eave_height):
        msg = f"{label}: footprint and eave_height must be finite numbers."
        raise InputError(msg)
    if np.array_equal(footprint[0], footprint[-1]):
        message = f"{label}: the last footprint point repeats the first; give each corner once."
        raise InputError(message)
    if Polygon(footprint).convex_hull.area < SLIVER:
        message = f"{label}: the footprint has no area; its points lie on one line."
        raise InputError(message)
    ring = shapely.LinearRing(footprint)
    if not ring.is_simple:
        msg = f"{label}: the footprint crosses or touches itself."
        raise InputError(msg)
    area = Polygon(footprint).area
    if area < SMALLEST:
        msg = f"{label}: the footprint's area is {area:.3g} m2, less than 1 m2: are the units meters?"
        raise InputError(msg)
    _check_pitches(part.shape, pitches, len(footprint), label)
    if not ring.is_ccw:
        footprint = footprint[::-1]
        if len(pitches) == len(footprint):
            pitches = np.roll(pitches[::-1], -1)
    courtyards = _checked_courtyards(part, footprint, label)
    return replace(part, footprint=footprint, pitches=pitches, name=label, courtyards=courtyards)


def _checked_courtyards(part: RoofPart, footprint: Array, label: str) -> tuple[Array, ...]:
    """Courtyards clockwise."""
    if len(part.courtyards) and part.shape not in COURTYARDS:
        msg = f"{label}: a {part.shape} part takes no courtyards; use {', '.join(COURTYARDS)}."
        raise InputError(msg)
    if len(part.courtyards) and part.shape != "flat" and not 0.0 < part.courtyard_pitch < STEEPEST:
        msg = f"{label}: courtyards need courtyard_pitch above 0 and below 75 degrees."
        raise InputError(msg)
    rings: list[Array] = []
    free: BaseGeometry = Polygon(footprint)
    for number, given in enumerate(part.courtyards):
        ring = np.array(given, dtype=float)
        if not shapely.LinearRing(ring).is_simple or not free.contains_properly(Polygon(ring)):
            msg = f"{label}: courtyard {number + 1} does not lie inside the footprint, apart from all others."
            raise InputError(msg)
        free = free.difference(Polygon(ring))
        rings.append(ring[::-1] if shapely.LinearRing(ring).is_ccw else ring)
    return tuple(rings)


def _check_pitches(shape: str, pitches: Array, sides: int, label: str) -> None:
    if shape in ("flat", "vault", "dome"):
        if np.any(pitches[np.isfinite(pitches)] != 0.0):
            msg = f"{label}: a {shape} part has no pitch; leave it out."
            raise InputError(msg)
        return
    known = pitches[~np.isnan(pitches)]
    if np.any((known < 0.0) | (known >= STEEPEST)):
        bad = np.degrees(known[(known < 0.0) | (known >= STEEPEST)][0])
        msg = f"{label}: pitch {bad:.4g} degrees is outside 0 to below 75 degrees."
        raise InputError(msg)
    if shape in ("shed", "saw-tooth"):
        if len(known) == 0 or np.ptp(known) > 0.0:
            msg = f"{label}: a {shape} takes one pitch, got {np.degrees(known).tolist()} degrees."
            raise InputError(msg)
        return
    if len(pitches) != sides:
        message = (
            f"{label}: {len(pitches)} pitches for {sides} footprint edges; give one per edge (nan: gable)."
        )
        raise InputError(message)
    if np.any(known == 0.0):
        msg = f"{label}: a {shape} part needs pitches above 0 degrees (nan for a gable edge)."
        raise InputError(msg)


def _flat_cells(part: RoofPart, label: str) -> list[Cell]:
    return [(np.array([0.0, 0.0, part.eave_height]), Polygon(part.footprint, part.courtyards))]


def _shed_cells(part: RoofPart, label: str) -> list[Cell]:
    if not np.isfinite(part.fall_azimuth):
        msg = f"{label}: a shed needs fall_azimuth, the compass direction it falls to."
        raise InputError(msg)
    pitch = float(part.pitches[~np.isnan(part.pitches)][0])
    up = -np.tan(pitch) * np.array([np.sin(part.fall_azimuth), np.cos(part.fall_azimuth)])
    lowest = (part.footprint @ up).min()
    return [(np.array([*up, part.eave_height - lowest]), Polygon(part.footprint))]


def _check_gables(part: RoofPart, label: str) -> None:
    step = np.roll(part.footprint, -1, axis=0) - part.footprint
    unit = step / np.linalg.norm(step, axis=1)[:, None]
    if len(unit) != 4 or np.abs(np.sum(unit * np.roll(unit, -1, axis=0), axis=1)).max() > SQUARE:
        other = "mansard" if part.shape == "gambrel" else "hip"
        msg = f"{label}: a {part.shape} part needs a rectangle of 4 points; use {other} for other footprints."
        raise InputError(msg)
    gable = np.isnan(part.pitches)
    if gable.tolist() not in ([True, False, True, False], [False, True, False, True]):
        message = (
            f"{label}: a {part.shape} part needs nan pitch on two opposite edges, got "
            f"{np.degrees(part.pitches)}."
        )
        raise InputError(message)


def _gable_cells(part: RoofPart, label: str) -> list[Cell]:
    _check_gables(part, label)
    return lowest(Polygon(part.footprint), edge_planes(part.footprint, part.pitches, part.eave_height))


def _turns(ring: Array) -> Array:
    """Sine of the turn at each corner, positive to the left."""
    after = np.roll(ring, -1, axis=0) - ring
    before = ring - np.roll(ring, 1, axis=0)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(cross / np.linalg.norm(before, axis=1) / np.linalg.norm(after, axis=1))


def _edges(part: RoofPart) -> tuple[list[Array], Array]:
    """Rings of a part and the pitches of their edges."""
    inner = sum(len(ring) for ring in part.courtyards)
    return [part.footprint, *part.courtyards], np.append(part.pitches, np.full(inner, part.courtyard_pitch))


def _hip_cells(part: RoofPart, label: str) -> list[Cell]:
    rings, pitches = _edges(part)
    if np.isnan(pitches).all():
        msg = f"{label}: a hip part needs a pitch on at least one edge."
        raise InputError(msg)
    if part.courtyards or _turns(part.footprint).min() < -1e-9:
        return skeleton_cells(rings[0], pitches, part.eave_height, label, rings[1:])
    return lowest(Polygon(rings[0]), edge_planes(rings[0], pitches, part.eave_height))


def _two_pitch_cells(part: RoofPart, label: str) -> list[Cell]:
    if part.shape == "gambrel":
        _check_gables(part, label)
    if not (0.0 <= part.upper_pitch < STEEPEST and part.break_height > 0.0):
        msg = (
            f"{label}: a {part.shape} part needs upper_pitch (0 to below 75 degrees) and break_height above "
            "0."
        )
        raise InputError(msg)
    rings, pitches = _edges(part)
    upper = (part.break_height, part.upper_pitch)
    return skeleton_cells(rings[0], pitches, part.eave_height, label, rings[1:], upper)


def _half_hip_cells(part: RoofPart, label: str) -> list[Cell]:
    _check_gables(part, label)
    if not (part.clip_height > 0.0 and 0.0 < part.clip_pitch < STEEPEST):
        msg = (
            f"{label}: a half-hip part needs clip_height above 0 and clip_pitch above 0 and below 75 degrees."
        )
        raise InputError(msg)
    return half_hip_cells(
        part.footprint, part.pitches, part.eave_height, part.clip_height, part.clip_pitch, label
    )


def _saltbox_cells(part: RoofPart, label: str) -> list[Cell]:
    _check_gables(part, label)
    if not (np.isfinite(part.fall_azimuth) and np.isfinite(part.rear_eave_height)):
        msg = f"{label}: a saltbox part needs rear_eave_height, and fall_azimuth of its rear slope."
        raise InputError(msg)
    return saltbox_cells(
        part.footprint, part.pitches, part.eave_height, part.rear_eave_height, part.fall_azimuth, label
    )


def _saw_tooth_cells(part: RoofPart, label: str) -> list[Cell]:
    pitch = float(part.pitches[~np.isnan(part.pitches)][0])
    if not np.isfinite(part.fall_azimuth) or pitch == 0.0 or part.teeth < 1:
        msg = f"{label}: a saw-tooth part needs fall_azimuth, a pitch above 0 and at least one tooth."
        raise InputError(msg)
    return saw_tooth_cells(part.footprint, pitch, part.eave_height, part.fall_azimuth, part.teeth, label)


def _dome_cells(part: RoofPart, label: str) -> list[Cell]:
    return dome_cells(part.footprint, part.eave_height, part.rise, part.rings, label)


def _l_cells(part: RoofPart, label: str) -> list[Cell]:
    """L plan: min(a, f, max(min(b, c), min(d, e))) with c, d the edges at the inner corner.

    The roof is the boolean formula of the footprint's half-planes with "and" read as the lower and
    "or" as the higher of the planes.
    """
    turns = _turns(part.footprint)
    if len(turns) != 6 or np.abs(np.abs(turns) - 1.0).max() > SQUARE**2 or (turns < 0.0).sum() != 1:
        msg = f"{label}: an L part needs 6 corners with right angles, one of them an inner corner."
        raise InputError(msg)
    inner = int(np.flatnonzero(turns < 0.0)[0])
    planes = np.roll(
        edge_planes(part.footprint, part.pitches, part.eave_height), 2 - inner, axis=0
    )  # planes[1], planes[2] meet at the inner corner
    far_left, left, right, far_right = planes[0], planes[1], planes[2], planes[3]
    outer = [planes[4], planes[5]]
    area = Polygon(part.footprint)
    wings = [np.array([far_left, left, *outer]), np.array([right, far_right, *outer])]
    if any(np.isinf(wing[:, 2]).all() for wing in wings):
        msg = f"{label}: each wing of an L part needs a pitch on at least one of its edges."
        raise InputError(msg)
    if np.isinf(left[2]) or np.isinf(right[2]):
        msg = f"{label}: the two edges at the inner corner of an L part cannot be gables."
        raise InputError(msg)
    return union(lowest(area, wings[0]), lowest(area, wings[1]))


def _vault_cells(part: RoofPart, label: str) -> list[Cell]:
    return vault_cells(part.footprint, part.eave_height, part.rise, part.facets, label)


SHAPE_CELLS = {
    "flat": _flat_cells,
    "vault": _vault_cells,
    "shed": _shed_cells,
    "gable": _gable_cells,
    "hip": _hip_cells,
    "gambrel": _two_pitch_cells,
    "mansard": _two_pitch_cells,
    "half-hip": _half_hip_cells,
    "saltbox": _saltbox_cells,
    "saw-tooth": _saw_tooth_cells,
    "dome": _dome_cells,
    "L": _l_cells,
}


def _surface(cells: Sequence[Cell], offset: Array, notes: Sequence[str]) -> RoofSurface:
    """Rings, triangles and the recognized surface of exact cells."""
    rings_xy = [
        [shapely.get_coordinates(ring)[:-1] for ring in (shape.exterior, *shape.interiors)]
        for shape in (shapely.orient_polygons(cell) for _, cell in cells)
    ]
    rings = []
    for (plane, _), group in zip(cells, rings_xy, strict=True):
        lifted = [without_collinear(ring, SAME_POINT) for ring in group]
        rings.append([np.column_stack([ring, ring @ plane[:2] + plane[2]]) for ring in lifted])
    planes = np.array([plane for plane, _ in cells])
    normal = np.column_stack([-planes[:, :2], np.ones(len(planes))])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    point = np.array([group[0][0] for group in rings])
    points, faces, face_plane = triangulate(rings)
    return make_surface(
        normal,
        point,
        rings,
        points,
        faces,
        face_plane,
        match_tolerance=1e-6,
        corner_tolerance=SAME_POINT,
        wall_tolerance=1e-3,
        offset=offset,
        notes=notes,
        ground=0.0,
    )
