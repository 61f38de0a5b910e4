"""From a triangle mesh of roof faces to planes, edges and steps."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roofmodel.errors import InputError
from roofmodel.memory import Memory
from roofmodel.shape.assembly import make_surface
from roofmodel.shape.attached import without_attached
from roofmodel.shape.boxes import with_boxes
from roofmodel.shape.cleaning import AT_CROWDED, clean_mesh, distinct, face_vectors, looking_down
from roofmodel.shape.covering import exposed_parts
from roofmodel.shape.creases import cut_at_creases
from roofmodel.shape.curves import find_curves
from roofmodel.shape.drawn_facets import drawn_regions
from roofmodel.shape.facets import with_facets
from roofmodel.shape.gaps import close_gaps
from roofmodel.shape.junctions import divide_at_junctions
from roofmodel.shape.measured_outlines import measured_outlines
from roofmodel.shape.measured_planes import first_planes, measured_planes
from roofmodel.shape.outlines import points_on_planes, region_planes, region_rings, surveyed_planes
from roofmodel.shape.parapets import parapets_of_planes
from roofmodel.shape.planes import lifted
from roofmodel.shape.regions import SLIVER, Mesh, make_mesh
from roofmodel.shape.standing import standing_groups, with_standing, with_unexplained
from roofmodel.shape.survey import SHEETS_UP, noise_notes, sheets_down, survey_normals, without_rim_slivers
from roofmodel.shape.survey_regions import survey_regions
from roofmodel.shape.triangulation import triangulate
from roofmodel.surface import FLAT_SLOPE, Array, IntArray, RoofSurface

STEEPEST = np.radians(75.0)  # steeper is a wall [rad]
CORNER = 1e-4  # outline corners nearer than this to a straight line are removed [m]
COVER = "The outlines cover"
MANY, SCRAP = 400, 0.3  # more pieces, half of them smaller, are no roof [m^2]
SCRAPS = 0.01  # steep regions up to this share of the area are left out [-]
PINHOLE = 0.25  # smaller holes of a surveyed plane are gaps of the survey [m^2]
MOVED_NOTE = 1e-3  # vertices moved by more than this are mentioned [m]


def recognize(
    points: ArrayLike,
    faces: ArrayLike,
    *,
    offset: ArrayLike = (0.0, 0.0, 0.0),
    notes: Sequence[str] = (),
    angle_tolerance: float = np.radians(3.0),
    distance_tolerance: float = 0.03,
    ground: float | None = None,
    boxes: bool = True,
    memory: Memory | None = None,
) -> RoofSurface:
    """Recognize planes, edges and steps of a mesh of roof faces.

    Parameters
    ----------
    points : (n, 3) float
        Vertices, z up, local coordinates. [m]
    faces : (m, 3) int
        Triangles of the roof only, any orientation; the mesh may be open and in several parts.
    offset : (3,) float
        Map coordinates of the local origin. [m]
    notes : sequence of str
        What was assumed before.
    angle_tolerance : float
        Neighboring faces within this angle may be one plane. [rad]
    distance_tolerance : float
        No vertex of a plane lies farther from it; also the distance up to which edges of two planes are
        one, and the least height of a wall. [m]
    ground : float, optional
        Ground level in local coordinates. [m]
    boxes : bool
        Whether small tops with walls all around are obstructions, narrow ones parapets, and thin sheets
        and gutters left out, instead of planes; see `with_boxes`, `parapets_of_planes`, `without_attached`.
    memory : Memory, optional
        What was found of the points before, as `RoofFaces.memory`.

    Returns
    -------
    RoofSurface
        Vertices are moved onto the planes they belong to; the largest move is in the notes.

    Raises
    ------
    InputError
        In one line, with the numbers.
    """
    raw = np.array(points, dtype=float)
    at, drawn = np.asarray(offset, dtype=float), np.array(faces, dtype=np.int64)
    turned = memory is not None and memory.known(SHEETS_UP)
    welded, faces_up, told = _repaired(raw, drawn, at, _none_down if turned else sheets_down, memory)
    surveyed = survey_normals(welded, faces_up, memory)
    lenient = looking_down(welded, faces_up).any() or any(AT_CROWDED in words for words in told)
    if surveyed is None and lenient:
        welded, faces_up, told = _repaired(raw, drawn, at, looking_down, memory)
    if surveyed is not None:
        normal, noise = surveyed
        told += noise_notes(noise)
        keep, words = without_rim_slivers(welded, faces_up)
        told += words
        normal, mesh = normal[keep], make_mesh(welded, faces_up[keep])
        normal *= np.where(normal[:, 2:] < 0.0, -1.0, 1.0)  # folds lie on the same planes
        distance_tolerance = max(distance_tolerance, 3.0 * noise)
        region = survey_regions(replace(mesh, normal=normal), noise)
    else:
        mesh = make_mesh(welded, faces_up)
        region = drawn_regions(mesh, angle_tolerance, distance_tolerance)
    if region.max() < 0:
        message = f"No face group of the mesh is larger than {SLIVER:.2f} m2: is this a roof in meters?"
        raise InputError(message)
    normals = mesh.normal if surveyed is None else normal
    curves = find_curves(replace(mesh, normal=normals), region, 0.0 if surveyed is None else surveyed[1])
    facets = None
    if curves:
        mesh, region, normal, centroid, words = with_facets(mesh, region, curves)
        facets = (normal, centroid)
        told += words
    elif surveyed is None:
        mesh, region, words = cut_at_creases(mesh, region, distance_tolerance)
        told += words
    else:
        told = [*notes, *told]
        made = _of_survey(mesh, region, surveyed[1], at, told, ground, boxes)
        if made is not None:
            return with_unexplained(made, mesh, surveyed[1])
    made = surface_of_regions(
        mesh,
        region,
        facets=facets,
        offset=at,
        notes=(*notes, *told),
        distance_tolerance=distance_tolerance,
        ground=ground,
        surveyed=surveyed is not None,
    )
    if boxes and surveyed is not None:
        made = with_boxes(made, distance_tolerance)
    elif boxes:
        bare = without_attached(made, distance_tolerance)
        made = parapets_of_planes(with_boxes(bare, distance_tolerance), distance_tolerance)
        made = replace(made, attached=bare.attached)
    return made if surveyed is None or curves else with_unexplained(made, mesh, surveyed[1])


def _none_down(_points: Array, faces: IntArray) -> NDArray[np.bool_]:
    """No face is to be turned: that was done before."""
    return np.zeros(len(faces), dtype=bool)


def _repaired(
    points: Array,
    faces: IntArray,
    offset: Array,
    turned: Callable[[Array, IntArray], NDArray[np.bool_]],
    memory: Memory | None,
) -> tuple[Array, IntArray, list[str]]:
    """A clean mesh whose edges are divided where corners stand on them, and words for what was done."""
    ragged = turned is not looking_down
    welded, faces_up, told = clean_mesh(points, faces, offset, turned, ragged, memory)
    faces_up, divided = divide_at_junctions(welded, faces_up)
    if divided:
        told.append(f"{divided} edges were divided where corners of neighbors stand on them.")
    return welded, faces_up, told


def _of_survey(
    mesh: Mesh,
    region: IntArray,
    noise: float,
    offset: Array,
    notes: Sequence[str],
    ground: float | None,
    boxes: bool,
) -> RoofSurface | None:
    """Surface of a surveyed mesh with straight edges, None where its outlines cannot be made."""
    state = first_planes(mesh, region, noise)
    standing = standing_groups(mesh, state)
    state = measured_planes(mesh, state, standing.vertex if boxes else (), standing.out)
    outlines = measured_outlines(mesh, state, PINHOLE)
    if outlines is None:
        return None
    plan, plane = outlines
    level = state.normal[:, 2] > np.cos(FLAT_SLOPE)
    normal, point = np.where(level[:, None], [0.0, 0.0, 1.0], state.normal)[plane], state.centroid[plane]
    rings = [lifted(one, n, p) for one, n, p in zip(plan, normal, point, strict=True)]
    points, faces, face_plane = triangulate(rings)
    tolerance = max(3.0 * noise, 0.03)
    made = make_surface(
        normal,
        point,
        rings,
        points,
        faces,
        face_plane,
        match_tolerance=tolerance,
        corner_tolerance=CORNER,
        wall_tolerance=2.0 * tolerance,
        offset=offset,
        notes=notes,
        ground=ground,
    )
    if not boxes:
        return made
    spacing = float(np.sqrt(mesh.area.sum() / len(distinct(mesh.faces))))
    return with_standing(with_boxes(made, tolerance), mesh.points, standing.vertex, spacing)


def surface_of_regions(
    mesh: Mesh,
    region: IntArray,
    *,
    offset: Array,
    notes: Sequence[str],
    distance_tolerance: float,
    ground: float | None,
    names: Sequence[str] | None = None,
    surveyed: bool = False,
    facets: tuple[Array, Array] | None = None,
) -> RoofSurface:
    """Planes, edges and steps of a mesh whose faces are grouped already.

    Parameters
    ----------
    mesh : Mesh
    region : (m,) int
        Plane of each face, each hanging together over edges; -1 for faces that are left out.
    offset, notes, distance_tolerance, ground
        See `recognize`.
    names : sequence of str, optional
        Name of each plane; by compass direction where there are none.
    surveyed : bool
        Fit planes by what lies inside them, and close small holes.
    facets : (p, 3) and (p, 3) float, optional
        Unit normals and points of regions whose planes are known already; NaN of the others. [m]

    Raises
    ------
    InputError
        A plane is a wall, or none has an outline.
    """
    fit = surveyed_planes if surveyed else region_planes
    normal, centroid = _with_known(*fit(mesh, region), facets)
    region, kept_planes = _without_steep_scraps(mesh, region, normal)
    if not kept_planes.all():
        facets = None if facets is None else (facets[0][kept_planes], facets[1][kept_planes])
        normal, centroid = _with_known(*fit(mesh, region), facets)
    moved = points_on_planes(mesh, region, normal, centroid, 2.0 * distance_tolerance)
    kept = region >= 0
    moves = np.linalg.norm(moved - mesh.points, axis=1)[mesh.faces[kept]]
    told = _repair_notes(mesh.area[~kept], moves)
    rings = region_rings(mesh, moved, region, normal, 0.5 * distance_tolerance)
    if surveyed:
        rings = [[*group[:1], *(hole for hole in group[1:] if _ring_area(hole) > PINHOLE)] for group in rings]
    whole = np.array([len(ring) > 0 for ring in rings])
    if not whole.any():
        message = "No plane of the mesh has an outline: all its faces are slivers."
        raise InputError(message)
    _reject_scraps(np.bincount(region[kept], mesh.area[kept])[whole])
    number = np.where(whole, np.cumsum(whole) - 1, -1)
    plane = np.where(kept, number[region], -1)
    pieces = _Pieces(
        normal[whole],
        centroid[whole],
        [ring for ring in rings if ring],
        moved,
        mesh.faces[plane >= 0],
        plane[plane >= 0],
        None if names is None else [one for one, there in zip(names, whole, strict=True) if there],
    )
    if not surveyed:
        pieces, closed = _without_gaps(pieces, distance_tolerance)
        told += closed
    pieces, cut = _without_hidden(pieces, distance_tolerance)
    surface = make_surface(
        pieces.normal,
        pieces.point,
        pieces.rings,
        pieces.points,
        pieces.faces,
        pieces.face_plane,
        match_tolerance=distance_tolerance,
        corner_tolerance=CORNER,
        wall_tolerance=distance_tolerance,
        offset=offset,
        notes=(*notes, *told, *cut),
        ground=ground,
        names=pieces.names,
    )
    area = 0.5 * float(np.linalg.norm(face_vectors(pieces.points, pieces.faces), axis=1).sum())
    return _with_area_note(surface, area + float(mesh.area[~kept].sum()))


@dataclass(frozen=True)
class _Pieces:
    """Planes with their outlines and faces, as `make_surface` takes them."""

    normal: Array
    point: Array
    rings: list[list[Array]]
    points: Array
    faces: IntArray
    face_plane: IntArray
    names: list[str] | None


def _without_gaps(pieces: _Pieces, tolerance: float) -> tuple[_Pieces, list[str]]:
    """Planes extended to where they meet, and words for it."""
    rings, changed, notes = close_gaps(pieces.normal, pieces.point, pieces.rings, tolerance)
    if not changed.any():
        return pieces, []
    which = np.flatnonzero(changed)
    points, faces, face_plane = triangulate([rings[index] for index in which])
    keep = ~changed[pieces.face_plane]
    result = replace(
        pieces,
        rings=rings,
        points=np.vstack([pieces.points, points]),
        faces=np.concatenate([pieces.faces[keep], faces + len(pieces.points)]),
        face_plane=np.concatenate([pieces.face_plane[keep], which[face_plane]]),
    )
    return result, notes


def _without_hidden(pieces: _Pieces, tolerance: float) -> tuple[_Pieces, list[str]]:
    """Planes without what lies below others that rise from them, and words for it."""
    seen = exposed_parts(pieces.normal, pieces.point, pieces.rings, tolerance)
    if seen is None:
        return pieces, []
    normal, point = pieces.normal[seen.owner], pieces.point[seen.owner]
    rings = [
        lifted(plan, n, p) if seen.cut[owner] else pieces.rings[owner]
        for plan, n, p, owner in zip(seen.plan, normal, point, seen.owner, strict=True)
    ]
    own = np.full(len(pieces.normal), -1)
    own[seen.owner] = np.arange(len(seen.owner))
    keep = ~seen.cut[pieces.face_plane] & (own[pieces.face_plane] >= 0)
    changed = np.flatnonzero(seen.cut[seen.owner])
    points, faces, face_plane = (
        np.zeros((0, 3)),
        np.zeros((0, 3), dtype=np.int64),
        np.zeros(0, dtype=np.int64),
    )
    if len(changed):
        points, faces, face_plane = triangulate([rings[index] for index in changed])
    names = pieces.names
    if names is not None:
        again = np.arange(len(seen.owner)) - np.searchsorted(seen.owner, seen.owner)
        names = [names[o] + (f"-{k + 1}" if k else "") for o, k in zip(seen.owner, again, strict=True)]
    note = (
        f"{seen.lost:.2f} m2 (on plan) of planes below others that rise from them were cut away: dormers "
        "drawn over a whole roof, or sheets drawn twice."
    )
    result = _Pieces(
        normal,
        point,
        rings,
        np.vstack([pieces.points, points]),
        np.concatenate([pieces.faces[keep], faces + len(pieces.points)]),
        np.concatenate([own[pieces.face_plane[keep]], changed[face_plane]]),
        names,
    )
    return result, [note]


def _reject_scraps(area: Array) -> None:
    """Reject a mesh that falls to pieces, of which no roof could be made in any time."""
    if len(area) > MANY and np.median(area) < SCRAP:
        message = (
            f"The mesh falls into {len(area)} pieces, half of them smaller than {np.median(area):.2f} m2: "
            "its faces do not hang together as a roof does (a larger tolerance may join them)."
        )
        raise InputError(message)


def _ring_area(ring: Array) -> float:
    """Area of a closed ring (k, 3). [m^2]."""
    spokes = ring - ring[0]
    return 0.5 * float(np.linalg.norm(np.cross(spokes[1:-1], spokes[2:]).sum(axis=0)))


def _with_known(normal: Array, centroid: Array, facets: tuple[Array, Array] | None) -> tuple[Array, Array]:
    """Fitted planes, and those that are known in their place."""
    if facets is None:
        return normal, centroid
    fitted = np.isnan(facets[0])
    return np.where(fitted, normal, facets[0]), np.where(fitted, centroid, facets[1])


def _without_steep_scraps(mesh: Mesh, region: IntArray, normal: Array) -> tuple[IntArray, NDArray[np.bool_]]:
    """Regions without those steeper than a roof, where these are scraps; and which are kept."""
    area = np.bincount(region[region >= 0], mesh.area[region >= 0], len(normal))
    slope = np.arctan2(np.hypot(normal[:, 0], normal[:, 1]), np.abs(normal[:, 2]))
    steep = slope > STEEPEST
    if not steep.any():
        return region, ~steep
    if area[steep].sum() > SCRAPS * area.sum():
        worst = int(np.argmax(np.where(steep, area, -1.0)))
        message = (
            f"{steep.sum()} planes are steeper than 75 degrees, the largest has {area[worst]:.2f} m2 at "
            f"{np.degrees(slope[worst]):.1f} degrees: that is a wall, not a roof."
        )
        raise InputError(message)
    number = np.where(steep, -1, np.cumsum(~steep) - 1)
    return np.where(region >= 0, number[region], -1), ~steep


def _repair_notes(lost: np.ndarray, moves: np.ndarray) -> list[str]:
    notes = []
    if len(lost):
        notes.append(
            f"{len(lost)} sliver faces with {lost.sum():.4f} m2 in all belong to no plane and were left out."
        )
    if moves.max() > MOVED_NOTE:
        notes.append(f"Vertices were moved onto their planes by up to {moves.max() * 1e3:.0f} mm.")
    return notes


def _with_area_note(surface: RoofSurface, area: float) -> RoofSurface:
    """Say so when the outlines do not cover what the faces covered."""
    outlined = float(surface.planes.true_area.sum())
    if abs(outlined - area) <= 0.005 * area:
        return surface
    note = f"{COVER} {outlined:.2f} m2, the faces {area:.2f} m2: faces overlap or are very ragged."
    return replace(surface, notes=(*surface.notes, note))
