"""Pick the roof out of a whole-building mesh: what is seen from above and is no wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.cleaning import NEEDLE, face_vectors, weld
from roofmodel.errors import InputError
from roofmodel.regions import components, make_mesh
from roofmodel.surface import Array, IntArray

STEEPEST = np.radians(75.0)  # steeper faces are walls [rad]
CLEARANCE = 2e-3  # a face this far above hides what is below [m]
MANY = 20_000  # from here on one sample per face is fine enough
SEEN_SAMPLES = 2  # of seven; a face seen in so many places is roof
PLATE = 1.0  # a plate that lies no higher above the lowest point may be ground [m]
AROUND = 0.9  # share of the building that a ground plate lies around


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
        Lowest point of the whole building in local coordinates, where more than the roof was there. [m]
    notes : tuple of str
    """

    points: Array
    faces: IntArray
    offset: Array
    ground: float | None
    notes: tuple[str, ...]


def pick_roof_faces(points: Array, faces: IntArray, steepest: float = STEEPEST) -> RoofFaces:
    """Drop walls, floors, undersides and ground; move to a local origin.

    Parameters
    ----------
    points : (n, 3) float
        z up. [m]
    faces : (m, 3) int
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
    used = np.unique(faces)
    bad = used[~np.isfinite(points[used]).all(axis=1)]
    if len(bad):
        message = f"{len(bad)} vertices have coordinates that are not finite, the first is number {bad[0]}."
        raise InputError(message)
    low, high = points[used].min(axis=0), points[used].max(axis=0)
    offset = np.array([*np.round(0.5 * (low + high)[:2]), np.floor(low[2])])
    local = points - offset
    vector = face_vectors(local, faces)
    double = np.linalg.norm(vector, axis=1)
    solid = double > 2.0 * NEEDLE
    wall = solid & (np.abs(vector[:, 2]) <= np.cos(steepest) * double)
    notes = []
    if wall.any():
        area = 0.5 * double[wall].sum()
        notes.append(
            f"{wall.sum()} faces ({area:.1f} m2) steeper than {np.degrees(steepest):.0f} degrees were taken as "
            "walls and left out."
        )
    keep = np.flatnonzero(solid & ~wall)
    if len(keep) == 0:
        message = (
            f"No face is flatter than {np.degrees(steepest):.0f} degrees: the file has no roof (is z up?)."
        )
        raise InputError(message)
    seen = seen_from_above(local, faces[keep])
    if not seen.all():
        area = 0.5 * double[keep[~seen]].sum()
        notes.append(
            f"{(~seen).sum()} faces ({area:.1f} m2) hidden below others (floors, undersides) were left out."
        )
    whole = bool(wall.any() or not seen.all())
    keep = keep[seen]
    if whole:
        plate = _ground_plate(local, faces[keep], float(low[2] - offset[2]))
        if plate.any():
            area = 0.5 * double[keep[plate]].sum()
            notes.append(f"{plate.sum()} faces ({area:.1f} m2) low around the building were taken as ground.")
            keep = keep[~plate]
        notes.append("The ground level is taken at the lowest point of the model.")
    return RoofFaces(local, faces[keep], offset, float(low[2] - offset[2]) if whole else None, tuple(notes))


def seen_from_above(points: Array, faces: IntArray) -> NDArray[np.bool_]:
    """Whether faces are seen from straight above.

    Parameters
    ----------
    points : (n, 3) float
    faces : (m, 3) int
        None vertical.

    Returns
    -------
    (m,) bool
        Large faces are probed in seven places, small ones at their middle.
    """
    corner = points[faces]
    vector = face_vectors(points, faces)
    triangles = shapely.polygons(corner[:, :, :2])
    tree = shapely.STRtree(triangles)
    seen = np.zeros(len(faces), dtype=np.int64)
    weights = _sample_weights() if len(faces) < MANY else np.full((1, 3), 1.0 / 3.0)
    for weight in weights:
        sample = np.einsum("c,fcx->fx", weight, corner)
        probe, above = tree.query(shapely.points(sample[:, :2]), predicate="intersects")
        delta = sample[probe, :2] - corner[above, 0, :2]
        rise = -np.sum(delta * vector[above, :2], axis=1) / vector[above, 2]
        hidden = corner[above, 0, 2] + rise > sample[probe, 2] + CLEARANCE
        seen += ~np.isin(np.arange(len(faces)), probe[hidden])
    return seen >= min(SEEN_SAMPLES, len(weights))


def _sample_weights() -> Array:
    """Barycentric weights of the middle, near the corners and near the middles of the sides."""
    near = np.full((3, 3), 0.1) + 0.7 * np.eye(3)
    side = np.full((3, 3), 0.45) - 0.35 * np.eye(3)
    return np.vstack([np.full((1, 3), 1.0 / 3.0), near, side])


def _ground_plate(points: Array, faces: IntArray, lowest: float) -> NDArray[np.bool_]:
    """Faces of low plates that lie around a higher rest."""
    welded, joined = weld(points, faces)
    keep = np.linalg.norm(face_vectors(welded, joined), axis=1) > 0.0
    mesh = make_mesh(welded, joined[keep])
    count, label = components(int(keep.sum()), mesh.pairs)
    top = np.full(count, -np.inf)
    np.maximum.at(top, label, welded[joined[keep]][:, :, 2].max(axis=1))
    low = top < lowest + PLATE
    ground = np.zeros(len(faces), dtype=bool)
    if not low.any() or low.all():
        return ground
    rest = _plan_hull(welded, joined[keep][~low[label]])
    for part in np.flatnonzero(low):
        own = _plan_hull(welded, joined[keep][label == part])
        if shapely.intersection(own, rest).area >= AROUND * rest.area:
            ground[np.flatnonzero(keep)[label == part]] = True
    return ground


def _plan_hull(points: Array, faces: IntArray) -> shapely.Geometry:
    return shapely.convex_hull(shapely.multipoints(points[np.unique(faces), :2]))
