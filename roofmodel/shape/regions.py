"""Planar regions of a triangle mesh, robust to triangulation, noise and gentle curvature.

Neighbors join by angle; every region must then fit its own least-squares plane, so that a chain of small
angles over a curve is not one plane. Those that fail try smaller angles, then the plane with most area.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roofmodel.shape.cleaning import Edges, face_vectors, lengths, ordered_edges, stable_order
from roofmodel.surface import Array, IntArray

SMALL_AREA = 0.5  # smaller regions first try to join a neighbor [m^2]
SLIVER = 0.01  # smaller regions that fit no neighbor are left out [m^2]
JOIN_COSINE = np.cos(np.radians(45.0))  # a face may lie askew in its plane by this much (noise)
CASCADE = (1.0, 0.3, 0.1, 0.03)  # shares of the angle tolerance
NORMAL_BIN = 0.05  # bin of the plane search over normals
RAGGED = 0.1  # with more than this share of the area in no plane the mesh is taken as noisy or curved
SMOOTHING = 16  # passes over the normals of such a mesh
SAMPLE = 5000  # faces of a region that are enough to place its plane while regions still change
SEARCHED = 50_000  # faces that are enough to look for a plane
MOST_INT32 = 2**31
SEARCHES = 400  # planes looked for in one connected mass of curved or noisy faces


@dataclass(frozen=True)
class Mesh:
    """Faces with what region growing asks for.

    Attributes
    ----------
    points : (n, 3) float
    faces : (m, 3) int
    normal : (m, 3) float
        Unit normals.
    area : (m,) float
        [m^2]
    pairs : (k, 2) int
        Faces that share an edge and lie on its two sides.
    twin : (3 m,) int
        Half-edge on the other side of half-edge 3 f + i (corner i to i + 1 of face f), -1 for none.
    """

    points: Array
    faces: IntArray
    normal: Array
    area: Array
    pairs: IntArray
    twin: IntArray


def make_mesh(points: Array, faces: IntArray) -> Mesh:
    """Normals, areas and neighbors; faces folded over an edge are no neighbors."""
    vector = face_vectors(points, faces)
    double = lengths(vector)
    first, second = neighbor_edges(faces, len(points))
    twin = np.full(faces.size, -1)
    twin[first], twin[second] = second, first
    pairs = np.stack([first // 3, second // 3], axis=1)
    return Mesh(points, faces, vector / double[:, None], 0.5 * double, pairs, twin)


def neighbor_edges(faces: IntArray, count: int, ordered: Edges | None = None) -> tuple[IntArray, IntArray]:
    """Half-edges (k,) that run along each other to and fro, of faces (m, 3) over so many points."""
    directed, key, order = ordered_edges(faces, count) if ordered is None else ordered
    ranked = key[order]
    same = np.flatnonzero(ranked[1:] == ranked[:-1])
    first, second = order[same], order[same + 1]
    opposed = directed[:, 0].take(first) == directed[:, 1].take(second)
    once = np.ones(len(first), dtype=bool)  # of a sheet drawn twice only one face gets the neighbor
    if not opposed.all():
        same, first, second, once = same[opposed], first[opposed], second[opposed], once[opposed]
    once[1:] = np.diff(same) > 1  # three in a row have one key
    twice = np.flatnonzero(~once)
    once[twice] = ranked[same[twice]] != ranked[same[twice - 1]]
    return (first, second) if not len(twice) else (first[once], second[once])


def fit_planes(mesh: Mesh, face: IntArray, label: IntArray, count: int) -> tuple[Array, Array]:
    """Least-squares planes through labeled faces, weighted by area.

    Parameters
    ----------
    mesh : Mesh
    face : (k,) int
    label : (k,) int
        Region 0..count-1 of each face.
    count : int

    Returns
    -------
    normal, centroid : (count, 3) float
        Unit normals that point up, and points on the planes. [m]
    """
    weight = mesh.area[face]
    total = np.maximum(np.bincount(label, weight, count), 1e-300)
    if 3 * len(face) < len(mesh.points):
        xyz = list(np.ascontiguousarray(mesh.points[mesh.faces[face]].transpose(2, 1, 0)))
    else:
        corners = np.ascontiguousarray(mesh.faces[face].T)
        xyz = [axis[corners] for axis in np.ascontiguousarray(mesh.points.T)]
    three = [a + b + c for a, b, c in xyz]
    first = [np.bincount(label, weight * x, count) / (3.0 * total) for x in three]
    centroid = np.stack(first, axis=1)
    for axis, middle in zip(xyz, centroid.T, strict=True):
        shift = middle[label]
        for corner in axis:
            corner -= shift
    three = [a + b + c for a, b, c in xyz]
    moment = np.zeros((count, 3, 3))
    for i, j in itertools.combinations_with_replacement(range(3), 2):
        product = sum(a * b for a, b in zip(xyz[i], xyz[j], strict=True)) + three[i] * three[j]
        moment[:, i, j] = moment[:, j, i] = np.bincount(label, weight * product, count)
    normal = np.linalg.eigh(moment)[1][:, :, 0]
    mean = np.stack([np.bincount(label, weight * n, count) for n in mesh.normal[face].T], axis=1)
    normal *= np.where(np.sum(normal * mean, axis=1) < 0.0, -1.0, 1.0)[:, None]
    return normal, centroid


def face_distance(mesh: Mesh, face: IntArray, on: IntArray, normal: Array, centroid: Array) -> Array:
    """Largest distance of each face's corners from the plane it is held against.

    Parameters
    ----------
    mesh : Mesh
    face : (k,) int
    on : (k,) int
        Plane of each face.
    normal, centroid : (p, 3) float

    Returns
    -------
    (k,) float
        [m]
    """
    offset = np.einsum("px,px->p", normal, centroid)
    corners = np.ascontiguousarray(mesh.faces[face].T)
    away = np.zeros(len(face))
    if len(normal) == 1 and 3 * len(face) > len(mesh.points):
        distance = np.abs(mesh.points @ normal[0] - offset[0])
        for corner in corners:
            np.maximum(away, distance[corner], out=away)
        return away
    direction, shift = normal.take(on, axis=0), offset[on]
    for corner in corners:
        distance = np.einsum("fx,fx->f", mesh.points.take(corner, axis=0), direction) - shift
        np.maximum(away, np.abs(distance), out=away)
    return away


def components(count: int, pairs: IntArray) -> tuple[int, IntArray]:
    """Connected components of `count` things joined by pairs."""
    if not len(pairs):
        return count, np.arange(count)
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    first, second = np.asarray(pairs, dtype=np.int32).T if count < MOST_INT32 else pairs.T
    graph = coo_array((np.ones(len(pairs)), (first, second)), shape=(count, count))
    graph.has_canonical_format = True  # repeated pairs need not be summed: that takes as long as the rest
    number, label = connected_components(graph, directed=False)
    return int(number), label.astype(np.int64)


def sub_components(faces: NDArray[np.bool_], pairs: IntArray) -> tuple[IntArray, int, IntArray]:
    """Faces of a mask, and their components over pairs that lie inside the mask."""
    face = np.flatnonzero(faces)
    number = np.cumsum(faces) - 1
    inside = pairs[faces[pairs[:, 0]] & faces[pairs[:, 1]]]
    count, label = components(len(face), number[inside])
    return face, count, label


def _checked(mesh: Mesh, face: IntArray, count: int, label: IntArray, tolerance: float) -> NDArray[np.bool_]:
    """Which regions lie within `tolerance` of their own plane."""
    normal, centroid = fit_planes(mesh, face, label, count)
    worst = np.zeros(count)
    np.maximum.at(worst, label, face_distance(mesh, face, label, normal, centroid))
    return worst <= tolerance


def plane_regions(mesh: Mesh, angle_tolerance: float, distance_tolerance: float) -> IntArray:
    """Group faces into planes.

    Parameters
    ----------
    mesh : Mesh
    angle_tolerance : float
        Neighbors within this angle join. [rad]
    distance_tolerance : float
        No corner of a region lies farther from its plane. [m]

    Returns
    -------
    (m,) int
        Region of each face, connected over edges; -1 for slivers that fit nowhere.
    """
    small = min(SMALL_AREA, 0.02 * mesh.area.sum())
    region, cosine = _grow(mesh, angle_tolerance, distance_tolerance, small)
    if mesh.area[region < 0].sum() > RAGGED * mesh.area.sum():
        mesh = replace(mesh, normal=_smoothed_normals(mesh))
        region, cosine = _grow(mesh, angle_tolerance, distance_tolerance, small)
    if (region < 0).any():
        absorb(mesh, region, distance_tolerance)
        _settle_rest(mesh, region, cosine >= np.cos(angle_tolerance), distance_tolerance, small)
        join_larger(mesh, region, distance_tolerance)
        trade_borders(mesh, region, distance_tolerance)
        drop_slivers(mesh, region)
        absorb(mesh, region, distance_tolerance, least_cosine=-1.0)
        join_larger(mesh, region, distance_tolerance)
        drop_slivers(mesh, region)
    return region


def _at_borders(mesh: Mesh, region: IntArray) -> NDArray[np.bool_]:
    """Which pairs of faces lie in two regions."""
    one, other = region[mesh.pairs[:, 0]], region[mesh.pairs[:, 1]]
    return np.asarray((one != other) & (one >= 0) & (other >= 0))


def borders(mesh: Mesh, region: IntArray) -> IntArray:
    """Regions (k, 2) on the two sides of each edge between them."""
    return region[mesh.pairs[_at_borders(mesh, region)]]


def number_from_zero(region: IntArray) -> None:
    """Close gaps in the numbers of regions (in place)."""
    there = region >= 0
    kept = region[there]
    used = np.bincount(kept) > 0
    if not used.all():
        region[there] = (np.cumsum(used) - 1)[kept]


def _grow(
    mesh: Mesh, angle_tolerance: float, distance_tolerance: float, small: float
) -> tuple[IntArray, Array]:
    """Regions of neighbors within ever smaller angles that fit a plane; and the cosines of all pairs."""
    region = np.full(len(mesh.faces), -1)
    cosine = np.einsum("kx,kx->k", mesh.normal[mesh.pairs[:, 0]], mesh.normal[mesh.pairs[:, 1]])
    active = np.ones(len(region), dtype=bool)
    for share in CASCADE:
        face, count, label = sub_components(active, mesh.pairs[cosine >= np.cos(share * angle_tolerance)])
        good = _checked(mesh, face, count, label, distance_tolerance)
        big = np.bincount(label, mesh.area[face], count) >= small
        number = np.cumsum(good & big) - 1 + region.max() + 1
        settled = (good & big)[label]
        region[face[settled]] = number[label[settled]]
        active[face[good[label]]] = False
        if not active.any():
            break
    return region, cosine


def _smoothed_normals(mesh: Mesh) -> Array:
    """Normals averaged with their neighbors again and again, against noise of the vertices."""
    from scipy.sparse import coo_array

    both = np.concatenate([mesh.pairs, mesh.pairs[:, ::-1]])
    graph = coo_array((mesh.area[both[:, 1]], (both[:, 0], both[:, 1])), shape=(len(mesh.faces),) * 2).tocsr()
    normal = mesh.normal
    for _ in range(SMOOTHING):
        normal = graph @ normal + mesh.area[:, None] * normal
        normal = normal / np.maximum(lengths(normal), 1e-300)[:, None]
    return normal


def working_planes(mesh: Mesh, region: IntArray) -> tuple[Array, Array]:
    """Planes of the regions so far; of large regions an even sample of the faces is enough."""
    face = np.flatnonzero(region >= 0)
    size = np.bincount(region[face])
    stride = np.maximum(size // SAMPLE, 1).astype(np.int32)
    face = face[np.arange(len(face), dtype=np.int32) % stride.take(region[face]) == 0]
    return fit_planes(mesh, face, region[face], len(size))


def absorb(mesh: Mesh, region: IntArray, tolerance: float, least_cosine: float = JOIN_COSINE) -> None:
    """Let unsettled faces join a neighboring plane they lie on, front by front (in place)."""
    if region.max() < 0:
        return
    normal, centroid = working_planes(mesh, region)
    one, other = (mesh.pairs[region[side] < 0] for side in mesh.pairs.T)
    both = np.concatenate([one, other[:, ::-1]])
    while True:
        both = both[region[both[:, 0]] < 0]
        front = both[region[both[:, 1]] >= 0]
        target = region[front[:, 1]]
        away = face_distance(mesh, front[:, 0], target, normal, centroid)
        aligned = np.einsum("kx,kx->k", mesh.normal[front[:, 0]], normal[target]) > least_cosine
        fits = np.flatnonzero((away <= tolerance) & aligned)
        if len(fits) == 0:
            return
        fits = fits[np.lexsort([target[fits], away[fits], front[fits, 0]])]
        first = np.r_[True, np.diff(front[fits, 0]) > 0]
        region[front[fits[first], 0]] = target[fits[first]]


def _settle_rest(
    mesh: Mesh, region: IntArray, aligned: NDArray[np.bool_], tolerance: float, small: float
) -> None:
    """Small planes of their own, and planes hidden in noisy or curved masses (in place)."""
    rest = region < 0
    near = aligned.copy()
    maybe = np.flatnonzero(rest[mesh.pairs].all(axis=1) & ~aligned)
    first, second = mesh.pairs[maybe].T
    middle = mesh.points[mesh.faces[first]].mean(axis=1)
    near[maybe] = (
        face_distance(mesh, second, np.arange(len(first)), mesh.normal[first], middle) <= 0.5 * tolerance
    )
    face, count, label = sub_components(rest, mesh.pairs[near])
    if count == 0:
        return
    big = np.bincount(label, mesh.area[face], count) >= small
    good = _checked(mesh, face, count, label, tolerance)
    settled = (good & big)[label]
    region[face[settled]] = region.max() + 1 + (np.cumsum(good & big) - 1)[label[settled]]
    for part in np.flatnonzero(~good & big):
        search_planes(mesh, region, face[label == part], tolerance, small)
    absorb(mesh, region, tolerance)
    face, count, label = sub_components(region < 0, mesh.pairs[aligned])
    region[face] = region.max() + 1 + label


def search_planes(
    mesh: Mesh, region: IntArray, face: IntArray, tolerance: float, small: float, misses: int = SEARCHES
) -> None:
    """Take the plane that most area lies on, again and again, until many were small (in place)."""
    missed, pairs = 0, mesh.pairs
    for _ in range(SEARCHES):
        face = face[region[face] < 0]
        if mesh.area[face].sum() < small or missed >= misses:
            return
        found = _main_plane(mesh, face, tolerance)
        if len(found) == 0:
            return
        inside = np.zeros(len(region), dtype=bool)
        inside[found] = True
        part, count, label = sub_components(inside, pairs)
        area = np.bincount(label, mesh.area[part], count)
        missed = 0 if area.max() >= small else missed + 1
        keep = area >= min(small, area.max())
        taken = keep[label]
        region[part[taken]] = region.max() + 1 + (np.cumsum(keep) - 1)[label[taken]]
        if 5 * len(found) > len(face):
            free = region < 0
            pairs = pairs[free[pairs[:, 0]] & free[pairs[:, 1]]]


def _main_plane(mesh: Mesh, face: IntArray, tolerance: float) -> IntArray:
    """Faces on the plane with most area: mode of the normals, mode of the offsets, then refits."""
    from scipy.ndimage import uniform_filter

    many = face[:: max(len(face) // SEARCHED, 1)]
    normal, weight = mesh.normal.take(many, axis=0), mesh.area[many]
    half = int(np.ceil(1.0 / NORMAL_BIN)) + 1
    bins = np.floor(normal[:, :2] / NORMAL_BIN).astype(np.int64) + half
    grid = np.bincount(bins[:, 0] * 2 * half + bins[:, 1], weight, (2 * half) ** 2)
    crowd = uniform_filter(grid.reshape(2 * half, 2 * half), 3, mode="constant")
    peak = np.unravel_index(np.argmax(crowd), crowd.shape)
    near = (np.abs(bins[:, 0] - peak[0]) <= 1) & (np.abs(bins[:, 1] - peak[1]) <= 1)
    mean = (weight[near, None] * normal[near]).sum(axis=0)
    mean /= np.linalg.norm(mean)
    aligned = np.flatnonzero(normal @ mean > JOIN_COSINE)
    if len(aligned) == 0:
        return face[:0]
    corners = mesh.points.take(mesh.faces.take(many, axis=0).T, axis=0)
    offset = (corners @ mean).sum(axis=0)[aligned] / 3.0
    slot = np.floor((offset - offset.min()) / tolerance).astype(np.int64)
    histogram = uniform_filter(np.bincount(slot, weight[aligned]), 3, mode="constant")
    inlier = aligned[np.abs(slot - np.argmax(histogram)) <= 1]
    for _ in range(6):
        some = many[inlier[:: max(len(inlier) // SAMPLE, 1)]]
        plane, center = fit_planes(mesh, some, np.zeros(len(some), dtype=np.int64), 1)
        on = np.abs(corners @ plane[0] - center[0] @ plane[0]) <= tolerance
        new = np.flatnonzero(on[0] & on[1] & on[2] & (normal @ plane[0] > JOIN_COSINE))
        if len(new) == 0 or np.array_equal(new, inlier):
            break
        inlier = new
    return many[inlier] if len(many) == len(face) else _on_plane(mesh, face, plane, center, tolerance)


def _on_plane(mesh: Mesh, face: IntArray, plane: Array, center: Array, tolerance: float) -> IntArray:
    """Those of some faces that lie on one plane (1, 3)."""
    face = face[mesh.normal.take(face, axis=0) @ plane[0] > JOIN_COSINE]
    on = np.zeros(len(face), dtype=np.int64)
    return face[face_distance(mesh, face, on, plane, center) <= tolerance]


def trade_borders(mesh: Mesh, region: IntArray, tolerance: float) -> None:
    """Give faces at borders to the neighboring plane they lie nearer to (in place)."""
    normal, centroid = working_planes(mesh, region)
    both = mesh.pairs[_at_borders(mesh, region)]
    both = np.concatenate([both, both[:, ::-1]])
    for _ in range(20):
        own, target = region[both[:, 0]], region[both[:, 1]]
        away = face_distance(mesh, both[:, 0], own, normal, centroid)
        other = face_distance(mesh, both[:, 0], target, normal, centroid)
        aligned = np.einsum("kx,kx->k", mesh.normal.take(both[:, 0], axis=0), normal[target]) > JOIN_COSINE
        better = np.flatnonzero((other < 0.9 * away - 1e-4) & (other <= tolerance) & aligned)
        if len(better) == 0:
            return
        better = better[np.lexsort([target[better], other[better], both[better, 0]])]
        first = np.r_[True, np.diff(both[better, 0]) > 0]
        traded = both[better[first], 0]
        region[traded] = target[better[first]]
        across = mesh.twin.reshape(-1, 3)[traded].ravel()  # borders move only around what was traded
        fresh = np.column_stack([np.repeat(traded, 3), across // 3])[across >= 0]
        both = np.concatenate([both, fresh, fresh[:, ::-1]])
        one, two = region[both[:, 0]], region[both[:, 1]]
        both = both[(one != two) & (one >= 0) & (two >= 0)]


def join_larger(mesh: Mesh, region: IntArray, tolerance: float) -> None:
    """Let regions join a larger neighbor when all their faces lie on its plane (in place)."""
    while region.max() > 0:
        number_from_zero(region)
        count = int(region.max()) + 1
        normal, centroid = working_planes(mesh, region)
        area = np.bincount(region[region >= 0], mesh.area[region >= 0], count)
        one, other = borders(mesh, region).T
        key = np.unique(np.concatenate([one * count + other, other * count + one]))
        sides = np.stack(np.divmod(key, count), axis=1)
        aligned = np.einsum("kx,kx->k", normal[sides[:, 0]], normal[sides[:, 1]]) > JOIN_COSINE
        place = np.argsort(np.argsort(-area, kind="stable"))
        sides = sides[aligned & (place[sides[:, 0]] < place[sides[:, 1]])]
        sides = sides[np.argsort(place[sides[:, 0]], kind="stable")]
        order = stable_order(region + 1)
        begin = np.searchsorted(region[order], np.arange(count + 1))
        target = np.arange(count)
        for big, little in sides.tolist():
            if target[little] != little or target[big] != big:
                continue
            members = order[begin[little] : begin[little + 1]]
            for some in (members[:: max(len(members) // SAMPLE, 1)], members):  # few tell that most do not
                on = np.full(len(some), big)
                if face_distance(mesh, some, on, normal, centroid).max() > tolerance:
                    break
            else:
                target[little] = big
        if np.array_equal(target, np.arange(count)):
            return
        region[region >= 0] = target[region[region >= 0]]


def drop_slivers(mesh: Mesh, region: IntArray) -> None:
    """Number the regions that hang together over edges from 0; slivers get -1 (in place)."""
    same = region[mesh.pairs[:, 0]] == region[mesh.pairs[:, 1]]
    count, label = components(len(region), mesh.pairs[same])
    keep = (np.bincount(label, mesh.area, count) >= SLIVER)[label] & (region >= 0)
    region[:] = np.where(keep, label, -1)
    number_from_zero(region)
