"""Pick the roof out of a whole-building mesh: what is seen from above and is no wall."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from roofmodel.errors import InputError
from roofmodel.memory import Memory
from roofmodel.shape.cleaning import (
    NEEDLE,
    Edges,
    check_arrays,
    distinct,
    face_vectors,
    in_order,
    lengths,
    looking_down,
    ordered_edges,
    weld,
)
from roofmodel.shape.layers import faces_around, in_one_layer
from roofmodel.shape.partly_hidden import SHOWN, StandingOut, standing_out
from roofmodel.shape.regions import components, make_mesh, neighbor_edges
from roofmodel.shape.slabs import slab_ends
from roofmodel.shape.survey import SHEETS_UP, sheets_down, survey_normals
from roofmodel.surface import Array, IntArray

STEEPEST = np.radians(75.0)  # steeper faces are walls [rad]
CLEARANCE = 2e-3  # a face this far above hides what is below [m]
FOLD = 6.0  # folds of a survey stand out by no more, in times the noise
MANY = 20_000  # from here on one sample per face is fine enough
SEEN_SAMPLES = 2  # of seven; a face seen in so many places is roof
PLATE = 1.0  # a plate that lies no higher above the lowest point may be ground [m]
HEADROOM = 2.0  # a model that reaches less far below its roof does not show the ground (judgment) [m]
MOST_PARTS = 2000  # a mesh of more loose parts is a soup, in which none can be called stray
UPRIGHT = 1e-4  # faces whose normal rises by no more than this share are walls in a survey too
ALONE = 3.0  # groups farther from all others than this stand alone [m]
STRAY, STRAY_SHARE = 4.0, 0.02  # area, and share of the largest group's, below which these are strays [m^2]
SOUP, LOOSE = (
    10.0,
    0.5,
)  # more hidden area, in times the seen, of more loose parts per face, is no roof
FLOORS = 0.1  # with more than this share of its area hidden a mesh is a building, not a roof alone
ONE_PLANE, MOSTLY = np.cos(np.radians(1.0)), 0.5  # a plane of which more is seen is seen
LEAST_HOUSE = 20.0  # what stands on a plate is a building from here on [m^2]
AROUND = 0.9  # share of the building that a ground plate lies around


@dataclass(frozen=True)
class RawMesh:
    """Triangles as a file gives them.

    Attributes
    ----------
    points : (n, 3) float
        z up. [m]
    faces : (m, 3) int
    notes : tuple of str
    ground : float or None
        Ground level where the file tells. [m]
    stated : bool
        Whether the ground is marked or given as such, not only the lowest of what there is.
    beside : (k, 3) int
        Triangles that are no roof by the file's marks: walls, chimneys.
    """

    points: Array
    faces: IntArray
    notes: tuple[str, ...]
    ground: float | None = None
    stated: bool = False
    beside: IntArray = field(default_factory=lambda: np.zeros((0, 3), dtype=np.int64))


@dataclass(frozen=True)
class RoofFaces:
    """Roof faces of a building.

    Attributes
    ----------
    points : (n, 3) float
        Local coordinates. [m]
    faces : (m, 3) int
    offset : (3,) float
        Map coordinates of the local origin. [m]
    ground : float or None
        Ground level in local coordinates: as the file tells, else the lowest point where walls reach far
        enough below the roof; None where nothing does. [m]
    notes : tuple of str
    walls : (k, 3) int
        Faces taken as walls, and those that are none of the roof by the file's marks.
    memory : Memory
        What was found of the points on the way.
    """

    points: Array
    faces: IntArray
    offset: Array
    ground: float | None
    notes: tuple[str, ...]
    walls: IntArray
    memory: Memory = field(default_factory=Memory, compare=False, repr=False)


def pick_roof_faces(raw: RawMesh, steepest: float = STEEPEST) -> RoofFaces:
    """Drop walls, floors, undersides and ground; move to a local origin.

    Parameters
    ----------
    raw : RawMesh
    steepest : float
        Faces at least this steep are walls. [rad]

    Returns
    -------
    RoofFaces
        What was dropped is in the notes.

    Raises
    ------
    InputError
        Nothing of a roof is left.
    """
    check_arrays(raw.points, raw.faces)
    raw = _in_order(raw)
    points, faces = raw.points, raw.faces
    used = distinct(faces)
    low, high = points[used].min(axis=0), points[used].max(axis=0)
    offset = np.array([*np.round(0.5 * (low + high)[:2]), np.floor(low[2])])
    local = points - offset
    notes = list(raw.notes)
    memory = Memory()
    welded, joined = weld(local, faces, memory=memory)
    surveyed = survey_normals(welded, joined, memory)
    keep, dropped = _not_walls(local, faces, None if surveyed is None else surveyed[0], steepest, notes)
    some = joined[keep]
    edges = None if surveyed is None else ordered_edges(some, len(welded))
    down = looking_down(welded, some) if surveyed is None else sheets_down(welded, some, True, edges)
    edges, down = None if down.any() else edges, down[:, None]
    roof, joined = (np.where(down, some[keep][:, ::-1], some[keep]) for some in (faces, joined))
    seen = seen_from_above(local, roof, (welded, joined), 0.0 if surveyed is None else surveyed[1], edges)
    if surveyed is None:  # noise leaves no two faces in one plane
        seen = _whole_planes(welded, joined, seen)
    if not seen.all():
        notes.append(
            f"{_count(local, roof[~seen])} hidden below others (floors, undersides) were left out. If roof "
            "is among them, take what lies above it out of the file."
        )
    ends = np.zeros(len(roof), dtype=bool) if surveyed is not None else slab_ends(local, roof, seen)
    if ends.any():
        notes.append(f"{_count(local, roof[ends])} that are the ends of slabs, cut square, were left out.")
        dropped, keep = np.concatenate([dropped, keep[ends]]), keep[~ends]
        roof, joined, seen = roof[~ends], joined[~ends], seen[~ends]
    size = lengths(face_vectors(local, roof))
    _refuse_soup(local, faces, 0.5 * float(size[seen].sum()), 0.5 * float(size[~seen].sum()))
    out = _shown_parts(local, roof, (welded, joined), seen, low[2] - offset[2] if len(dropped) else -np.inf)
    notes += _words_out(out)
    whole = bool(len(dropped) or size[~seen].sum() > FLOORS * size.sum())
    roof, joined = (
        np.vstack([some[seen], out.faces + len(at)]) for some, at in ((roof, local), (joined, welded))
    )
    local, welded = np.vstack([local, out.points]), np.vstack([welded, out.points])
    parts = _parts(welded, joined)
    ground = None if raw.ground is None else raw.ground - float(offset[2])
    stated, found = raw.stated, whole and ground is None
    if found:
        ground = float(low[2] - offset[2])
        plate = _ground_plate(local, roof, parts, ground)
        if plate.any():
            _refuse_flat_roof(local, roof, plate)
            notes.append(f"{_count(local, roof[plate])} low around the building were taken as ground.")
            ground = float(local[roof[plate]][..., 2].min())  # a plate may have an underside
            roof, stated = roof[~plate], True
            parts = _parts(welded, joined[~plate])
    if surveyed is not None:
        memory.recall(SHEETS_UP, lambda: True)
    stray = _strays(local, roof, parts)
    if stray.any():
        notes.append(
            f"{_count(local, roof[stray])} in small groups more than {ALONE:g} m from the roof were left out."
        )
        roof = roof[~stray]
    low_roof = False
    # Walls from the ground up show it, whatever low thing is beside them, such as a car.
    if ground is not None and not stated and not _tall_walls(local[faces[dropped]], ground):
        least = float(local[roof][..., 2].min())
        if out.left > SHOWN and not _walls_stand(local[faces[dropped], 2], ground):
            least = min(least, out.lowest)
        low_roof = least - ground < HEADROOM
    if low_roof:
        ground = None  # a fascia, the thickness of a slab or a roof alone: nobody walks below it
    elif found:
        where = "on that plate" if stated and not raw.stated else "of the model"
        notes.append(f"The ground level is taken at the lowest point {where}.")
    walls = np.concatenate([faces[dropped], raw.beside])
    return RoofFaces(local, roof, offset, ground, tuple(notes), walls, memory)


def _in_order(raw: RawMesh) -> RawMesh:
    """The same, a large mesh with what lies together on plan together in its arrays."""
    if len(raw.faces) < MANY or not np.isfinite(raw.points).all():
        return raw
    order, face = in_order(raw.points, raw.faces)
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.arange(len(order))
    return replace(raw, points=raw.points[order], faces=number[raw.faces[face]], beside=number[raw.beside])


def _not_walls(
    points: Array, faces: IntArray, surveyed: Array | None, steepest: float, notes: list[str]
) -> tuple[IntArray, IntArray]:
    """Faces with area that are no walls, and walls, by normals of a survey if any; adds to the notes."""
    vector = face_vectors(points, faces)
    double = lengths(vector)
    solid = double > 2.0 * NEEDLE
    if not solid.any():
        message = "All faces are degenerate: the file has no roof."
        raise InputError(message)
    if not solid.all():
        notes.append(f"{np.count_nonzero(~solid)} faces with less area than {NEEDLE:.0e} m2 were left out.")
    upright = np.abs(vector[:, 2]) / np.maximum(double, 1e-300) if surveyed is None else surveyed[:, 2]
    wall = solid & ((np.abs(upright) <= np.cos(steepest)) | (np.abs(vector[:, 2]) <= UPRIGHT * double))
    limit = f"{np.degrees(steepest):.0f} degrees"
    if wall.any():
        notes.append(
            f"{_count(points, faces[wall])} at least {limit} steep (roof.wall_slope) were taken as walls and "
            "left out."
        )
    keep = np.flatnonzero(solid & ~wall)
    if len(keep) == 0:
        message = f"No face is flatter than {limit}: the file has no roof (is the up axis right?)."
        raise InputError(message)
    return keep, np.flatnonzero(wall)


def _count(points: Array, faces: IntArray) -> str:
    """Words for a number of faces and their area."""
    return f"{len(faces)} faces ({0.5 * np.linalg.norm(face_vectors(points, faces), axis=1).sum():.2f} m2)"


def seen_from_above(
    points: Array,
    faces: IntArray,
    welded: tuple[Array, IntArray] | None = None,
    noise: float = 0.0,
    ordered: Edges | None = None,
) -> NDArray[np.bool_]:
    """Whether faces are seen from straight above.

    Parameters
    ----------
    points : (n, 3) float
    faces : (m, 3) int
        None vertical, counter-clockwise from above.
    welded : (k, 3) float, (m, 3) int, optional
        The same with its points joined: what lies in one layer need not be searched for what hides it.
    noise : float
        Of a survey: faces that are clockwise from above are folds of its sheet and hide nothing. [m]
    ordered : tuple, optional
        Edges of the welded faces as `ordered_edges` gives them.

    Returns
    -------
    (m,) bool
        Large faces are probed in seven places, small ones at their middle.
    """
    corner = points.take(faces, axis=0)
    weights, asked, among = _sample_weights(), np.arange(len(faces)), np.arange(len(faces))
    if len(faces) >= MANY:
        weights = np.full((1, 3), 1.0 / 3.0)
        if welded is not None:
            middle = (corner[:, 0, :2] + corner[:, 1, :2] + corner[:, 2, :2]) / 3.0
            asked = np.flatnonzero(~in_one_layer(*welded, middle, noise > 0.0, ordered))
            among = faces_around(corner[:, :, :2], middle[asked])
            if not len(asked):
                return np.ones(len(faces), dtype=bool)
    vector = face_vectors(points, faces[among])
    over = corner[among]
    tree = shapely.STRtree(np.asarray(shapely.polygons(over[:, :, :2])))
    seen = np.full(len(faces), len(weights))
    for weight in weights:
        sample = np.einsum("c,fcx->fx", weight, corner[asked])
        probe, above = tree.query(shapely.points(sample[:, :2]), predicate="intersects")
        delta = sample[probe, :2] - over[above, 0, :2]
        rise = -np.sum(delta * vector[above, :2], axis=1) / vector[above, 2]
        hidden = over[above, 0, 2] + rise > sample[probe, 2] + max(CLEARANCE, FOLD * noise)
        seen[asked[distinct(probe[hidden])]] -= 1
    return seen >= min(SEEN_SAMPLES, len(weights))


def _whole_planes(welded: Array, joined: IntArray, seen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The same, with the hidden faces of planes that are mostly seen.

    What rises from a plane covers some of its triangles or none, by how the plane is divided; what it covers
    is cut away later, by outlines.
    """
    if seen.all() or not seen.any():
        return seen
    label = _plane_parts(welded, joined)
    solid = label >= 0
    size = lengths(face_vectors(welded, joined))[solid]
    shown = np.bincount(label[solid], size * seen[solid])
    result = seen.copy()
    result[solid] |= (shown > MOSTLY * np.bincount(label[solid], size))[label[solid]]
    return result


def _plane_parts(welded: Array, joined: IntArray) -> IntArray:
    """Number (m,) that faces of one plane share which hang together over edges; -1 for those without area."""
    label = np.full(len(joined), -1)
    solid = np.flatnonzero(lengths(face_vectors(welded, joined)) > 0.0)
    mesh = make_mesh(welded, joined[solid])
    flat = np.einsum("kx,kx->k", *(mesh.normal[side] for side in mesh.pairs.T)) > ONE_PLANE
    label[solid] = components(len(solid), mesh.pairs[flat])[1]
    return label


def _shown_parts(
    points: Array,
    faces: IntArray,
    welded: tuple[Array, IntArray],
    seen: NDArray[np.bool_],
    lowest: float,
) -> StandingOut:
    """What hidden faces of drawn meshes show; what is near the lowest point of walls may be the ground."""
    if seen.all() or len(faces) >= MANY:
        return StandingOut.nothing()
    return standing_out(points, faces, seen, _plane_parts(*welded), lowest + PLATE)


def _walls_stand(height: Array, ground: float) -> bool:
    """Whether walls, corners of whose faces are at heights (n, 3), go up from the ground all the way. [m]."""
    level = ground + np.linspace(0.05, 0.95, 19) * HEADROOM
    low, high = height.min(axis=1, initial=np.inf), height.max(axis=1, initial=-np.inf)
    return bool(((low[:, None] <= level) & (level <= high[:, None])).any(axis=0).all())


def _tall_walls(corners: Array, ground: float) -> bool:
    """Whether faces (n, 3, 3) go up from about the ground by more than headroom at one place. [m]."""
    run = np.linalg.norm(np.roll(corners, -1, axis=1)[..., :2] - corners[..., :2], axis=2).max(
        axis=1, initial=0.0
    )
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    chord = np.linalg.norm(np.cross(a, b), axis=1) / np.maximum(run, NEEDLE)  # of an upright triangle
    tall = (chord >= HEADROOM) & (corners[..., 2].min(axis=1) < ground + PLATE)
    return bool(run[tall].sum() > HEADROOM)


def _words_out(out: StandingOut) -> list[str]:
    """Say what hidden faces show."""
    said = []
    if out.kept > 0.0:
        said.append(
            f"{out.kept:.2f} m2 (on plan) of mostly hidden faces stand out below what hides the rest, as of "
            "a roof below a canopy: they were cut along it and kept. What lies below it carries no snow here."
        )
    if out.left > SHOWN:
        said.append(
            f"{out.left:.2f} m2 (on plan) of mostly hidden faces stand out near the ground, in strips or "
            "close below what hides the rest: they are not in this roof. If they are roof, divide their "
            "faces where that ends."
        )
    return said


def _sample_weights() -> Array:
    """Barycentric weights of the middle, near the corners and near the middles of the sides."""
    near = np.full((3, 3), 0.1) + 0.7 * np.eye(3)
    side = np.full((3, 3), 0.45) - 0.35 * np.eye(3)
    return np.vstack([np.full((1, 3), 1.0 / 3.0), near, side])


def _parts(welded: Array, joined: IntArray) -> tuple[int, IntArray]:
    """Parts that hang together over edges: their number, and the part of each face, -1 without area."""
    keep = lengths(face_vectors(welded, joined)) > 0.0
    first, second = neighbor_edges(joined[keep], len(welded))
    count, own = components(int(keep.sum()), np.stack([first // 3, second // 3], axis=1))
    label = np.full(len(joined), -1)
    label[keep] = own
    return count, label


def _ground_plate(
    points: Array, faces: IntArray, parts: tuple[int, IntArray], lowest: float
) -> NDArray[np.bool_]:
    """Faces of low plates that lie around a higher rest."""
    count, label = parts
    there = label >= 0
    top = np.full(count, -np.inf)
    for height in points[:, 2][faces[there].T]:
        np.maximum.at(top, label[there], height)
    low = top < lowest + PLATE
    ground = np.zeros(len(faces), dtype=bool)
    if not low.any() or low.all():
        return ground
    rest = _plan_hull(points, faces[there & ~low[label]])
    for part in np.flatnonzero(low):
        own = _plan_hull(points, faces[label == part])
        if shapely.intersection(own, rest).area >= AROUND * rest.area:
            ground[label == part] = True
    return ground


def _refuse_soup(points: Array, faces: IntArray, seen: float, hidden: float) -> None:
    """Reject faces that hide one another and mostly hang together with no other."""
    if hidden <= SOUP * seen:
        return
    parts = _parts(*weld(points, faces))[0]
    if parts > LOOSE * len(faces):
        message = (
            f"{hidden:.0f} m2 of faces lie hidden below {seen:.0f} m2 that are seen from above, and the "
            f"{len(faces)} faces fall into {parts} loose parts: this is no roof, nor a building with one."
        )
        raise InputError(message)


def _refuse_flat_roof(points: Array, faces: IntArray, plate: NDArray[np.bool_]) -> None:
    """Reject a low plate around so little that it may be the roof itself."""
    size = 0.5 * np.linalg.norm(face_vectors(points, faces), axis=1)
    low, rest = float(size[plate].sum()), float(size[~plate].sum())
    if rest < LEAST_HOUSE and low > rest:
        message = (
            f"A flat plate of {low:.1f} m2 at the lowest level of the model lies around {rest:.1f} m2: it "
            "may be the ground, or a flat roof with something on it; leave the ground out of the file, or "
            "give the level of the ground (ground under [roof] of a project)."
        )
        raise InputError(message)


def _strays(points: Array, faces: IntArray, parts: tuple[int, IntArray]) -> NDArray[np.bool_]:
    """Faces of small groups that stand far from the largest: trees, lamps, cars, what a survey leaves."""
    count, label = parts
    stray = np.zeros(len(faces), dtype=bool)
    if not 2 <= count <= MOST_PARTS:
        return stray
    there = label >= 0
    part = label[there]
    low, high = np.full((2, count), np.inf), np.full((2, count), -np.inf)
    for axis in range(2):
        for place in points[:, axis][faces[there].T]:
            np.minimum.at(low[axis], part, place)
            np.maximum.at(high[axis], part, place)
    boxes = np.asarray(shapely.box(*low, *high))
    near = shapely.STRtree(boxes).query(boxes, predicate="dwithin", distance=ALONE)
    groups, group = components(count, near.T)
    area = np.bincount(part, 0.5 * lengths(face_vectors(points, faces[there])), count)
    size = np.bincount(group, area, groups)
    small = size < min(STRAY, STRAY_SHARE * float(size.max()))
    stray[there] = small[group[part]]
    return stray


def _plan_hull(points: Array, faces: IntArray) -> BaseGeometry:
    return LineString(points[distinct(faces), :2]).convex_hull
