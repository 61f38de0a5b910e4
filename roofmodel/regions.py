"""Planar regions of a triangle mesh, robust to triangulation, noise and gentle curvature.

Neighboring faces join by angle; every region must then fit its own least-squares plane, so that a chain of
small angles over a curved surface cannot pass as one plane. Regions that fail are tried with smaller angles,
and last by looking for the plane that most of the area lies on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from roofmodel.cleaning import edge_keys, face_vectors
from roofmodel.surface import Array, IntArray

SMALL_AREA = 0.5  # smaller regions first try to join a neighbor [m^2]
SLIVER = 0.01  # smaller regions that fit no neighbor are left out [m^2]
JOIN_COSINE = np.cos(np.radians(45.0))  # a face may lie askew in its plane by this much (noise)
CASCADE = (1.0, 0.3, 0.1, 0.03)  # shares of the angle tolerance
NORMAL_BIN = 0.05  # bin of the plane search over normals
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
    double = np.linalg.norm(vector, axis=1)
    directed, key = edge_keys(faces, len(points))
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order[1:]] == key[order[:-1]])
    first, second = order[same], order[same + 1]
    opposed = directed[first, 0] == directed[second, 1]
    first, second = first[opposed], second[opposed]
    twin = np.full(len(key), -1)
    twin[first], twin[second] = second, first
    pairs = np.stack([first // 3, second // 3], axis=1)
    return Mesh(points, faces, vector / double[:, None], 0.5 * double, pairs, twin)


def fit_planes(mesh: Mesh, face: IntArray, label: IntArray, count: int) -> tuple[Array, Array]:
    """Least-squares planes through labelled faces, weighted by area.

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
    corner = mesh.points[mesh.faces[face]]
    total = np.bincount(label, weight, count)
    middle = corner.mean(axis=1)
    centroid = np.stack([np.bincount(label, weight * x, count) for x in middle.T], axis=1) / total[:, None]
    corner = corner - centroid[label][:, None]
    middle = middle - centroid[label]
    moment = np.zeros((count, 3, 3))
    for i in range(3):
        for j in range(i, 3):
            product = np.sum(corner[:, :, i] * corner[:, :, j], axis=1) + 9.0 * middle[:, i] * middle[:, j]
            moment[:, i, j] = moment[:, j, i] = np.bincount(label, weight * product, count)
    normal = np.linalg.eigh(moment)[1][:, :, 0]
    mean = np.stack([np.bincount(label, weight * n, count) for n in mesh.normal[face].T], axis=1)
    normal *= np.where(np.sum(normal * mean, axis=1) < 0.0, -1.0, 1.0)[:, None]
    return normal, centroid


def face_distance(mesh: Mesh, face: IntArray, normal: Array, centroid: Array) -> Array:
    """Largest distance (k,) of each face's corners from its plane, given per face. [m]."""
    away = np.zeros(len(face))
    for corner in range(3):
        delta = mesh.points[mesh.faces[face, corner]] - centroid
        away = np.maximum(away, np.abs(np.sum(delta * normal, axis=1)))
    return away


def components(count: int, pairs: IntArray) -> tuple[int, IntArray]:
    """Connected components of `count` things joined by pairs."""
    ones = np.ones(len(pairs), dtype=np.int8)
    graph = coo_array((ones, (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    number, label = connected_components(graph, directed=False)
    return int(number), label.astype(np.int64)


def _sub_components(faces: NDArray[np.bool_], pairs: IntArray) -> tuple[IntArray, int, IntArray]:
    """Faces of a mask, and their components over pairs that lie inside the mask."""
    face = np.flatnonzero(faces)
    number = np.cumsum(faces) - 1
    inside = pairs[faces[pairs].all(axis=1)]
    count, label = components(len(face), number[inside])
    return face, count, label


def _checked(mesh: Mesh, face: IntArray, count: int, label: IntArray, tolerance: float) -> NDArray[np.bool_]:
    """Which regions lie within `tolerance` of their own plane."""
    normal, centroid = fit_planes(mesh, face, label, count)
    worst = np.zeros(count)
    np.maximum.at(worst, label, face_distance(mesh, face, normal[label], centroid[label]))
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
    region = np.full(len(mesh.faces), -1)
    cosine = np.sum(mesh.normal[mesh.pairs[:, 0]] * mesh.normal[mesh.pairs[:, 1]], axis=1)
    small = min(SMALL_AREA, 0.02 * mesh.area.sum())
    active = np.ones(len(region), dtype=bool)
    for share in CASCADE:
        face, count, label = _sub_components(active, mesh.pairs[cosine >= np.cos(share * angle_tolerance)])
        good = _checked(mesh, face, count, label, distance_tolerance)
        big = np.bincount(label, mesh.area[face], count) >= small
        number = np.cumsum(good & big) - 1 + region.max() + 1
        settled = (good & big)[label]
        region[face[settled]] = number[label[settled]]
        active[face[good[label]]] = False
        if not active.any():
            break
    if (region < 0).any():
        _absorb(mesh, region, distance_tolerance)
        _settle_rest(mesh, region, cosine >= np.cos(angle_tolerance), distance_tolerance, small)
        _trade_borders(mesh, region, distance_tolerance)
        _drop_slivers(mesh, region)
        _absorb(mesh, region, distance_tolerance, least_cosine=-1.0)
        _merge_coplanar(mesh, region, angle_tolerance, distance_tolerance)
        _drop_slivers(mesh, region)
    return region


def _absorb(mesh: Mesh, region: IntArray, tolerance: float, least_cosine: float = JOIN_COSINE) -> None:
    """Let unsettled faces join a neighboring plane they lie on, front by front (in place)."""
    if region.max() < 0:
        return
    face = np.flatnonzero(region >= 0)
    normal, centroid = fit_planes(mesh, face, region[face], int(region.max()) + 1)
    both = np.concatenate([mesh.pairs, mesh.pairs[:, ::-1]])
    both = both[region[both[:, 0]] < 0]
    while True:
        both = both[region[both[:, 0]] < 0]
        front = both[region[both[:, 1]] >= 0]
        target = region[front[:, 1]]
        away = face_distance(mesh, front[:, 0], normal[target], centroid[target])
        aligned = np.sum(mesh.normal[front[:, 0]] * normal[target], axis=1) > least_cosine
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
    near[maybe] = face_distance(mesh, second, mesh.normal[first], middle) <= 0.5 * tolerance
    face, count, label = _sub_components(rest, mesh.pairs[near])
    if count == 0:
        return
    good = _checked(mesh, face, count, label, tolerance)
    settled = good[label]
    region[face[settled]] = region.max() + 1 + (np.cumsum(good) - 1)[label[settled]]
    for part in np.flatnonzero(~good):
        _search_planes(mesh, region, face[label == part], tolerance, small)
    if (region < 0).any():
        _absorb(mesh, region, tolerance)
    face, count, label = _sub_components(region < 0, mesh.pairs[aligned])
    region[face] = region.max() + 1 + label


def _search_planes(mesh: Mesh, region: IntArray, face: IntArray, tolerance: float, small: float) -> None:
    """Take the plane that most area lies on, again and again (in place)."""
    for _ in range(SEARCHES):
        face = face[region[face] < 0]
        if mesh.area[face].sum() < small:
            return
        found = _main_plane(mesh, face, tolerance)
        if len(found) == 0:
            return
        inside = np.zeros(len(region), dtype=bool)
        inside[found] = True
        part, count, label = _sub_components(inside, mesh.pairs)
        area = np.bincount(label, mesh.area[part], count)
        keep = area >= min(small, area.max())
        taken = keep[label]
        region[part[taken]] = region.max() + 1 + (np.cumsum(keep) - 1)[label[taken]]


def _main_plane(mesh: Mesh, face: IntArray, tolerance: float) -> IntArray:
    """Faces on the plane with most area: mode of the normals, mode of the offsets, then refits."""
    normal, weight = mesh.normal[face], mesh.area[face]
    half = int(np.ceil(1.0 / NORMAL_BIN)) + 1
    bins = np.floor(normal[:, :2] / NORMAL_BIN).astype(np.int64) + half
    grid = np.bincount(bins[:, 0] * 2 * half + bins[:, 1], weight, (2 * half) ** 2).reshape(
        2 * half, 2 * half
    )
    peak = np.unravel_index(np.argmax(uniform_filter(grid, 3, mode="constant")), grid.shape)
    near = (np.abs(bins - np.array(peak)) <= 1).all(axis=1)
    mean = (weight[near, None] * normal[near]).sum(axis=0)
    mean /= np.linalg.norm(mean)
    aligned = np.flatnonzero(normal @ mean > JOIN_COSINE)
    offset = mesh.points[mesh.faces[face[aligned]]].mean(axis=1) @ mean
    slot = np.floor((offset - offset.min()) / tolerance).astype(np.int64)
    histogram = uniform_filter(np.bincount(slot, weight[aligned]), 3, mode="constant")
    inlier = face[aligned[np.abs(slot - np.argmax(histogram)) <= 1]]
    for _ in range(6):
        plane, center = fit_planes(mesh, inlier, np.zeros(len(inlier), dtype=np.int64), 1)
        away = face_distance(mesh, face, plane, center)
        new = face[(away <= tolerance) & (normal @ plane[0] > JOIN_COSINE)]
        if len(new) == 0 or np.array_equal(new, inlier):
            break
        inlier = new
    return inlier


def _trade_borders(mesh: Mesh, region: IntArray, tolerance: float) -> None:
    """Give faces at borders to the neighboring plane they lie nearer to (in place)."""
    for _ in range(20):
        face = np.flatnonzero(region >= 0)
        normal, centroid = fit_planes(mesh, face, region[face], int(region.max()) + 1)
        both = np.concatenate([mesh.pairs, mesh.pairs[:, ::-1]])
        both = both[(region[both[:, 0]] != region[both[:, 1]]) & (region[both] >= 0).all(axis=1)]
        own, target = region[both[:, 0]], region[both[:, 1]]
        away = face_distance(mesh, both[:, 0], normal[own], centroid[own])
        other = face_distance(mesh, both[:, 0], normal[target], centroid[target])
        aligned = np.sum(mesh.normal[both[:, 0]] * normal[target], axis=1) > JOIN_COSINE
        better = np.flatnonzero((other < 0.9 * away - 1e-4) & (other <= tolerance) & aligned)
        if len(better) == 0:
            return
        better = better[np.lexsort([target[better], other[better], both[better, 0]])]
        first = np.r_[True, np.diff(both[better, 0]) > 0]
        region[both[better[first], 0]] = target[better[first]]
        region[:] = np.unique(region, return_inverse=True)[1] - int((region < 0).any())


def _merge_coplanar(mesh: Mesh, region: IntArray, angle: float, tolerance: float) -> None:
    """Join neighboring regions of which each lies on the other's plane (in place)."""
    face = np.flatnonzero(region >= 0)
    count = int(region.max()) + 1
    normal, centroid = fit_planes(mesh, face, region[face], count)
    sides = np.sort(region[mesh.pairs], axis=1)
    sides = np.unique(sides[(sides[:, 0] >= 0) & (sides[:, 0] != sides[:, 1])], axis=0)
    sides = sides[np.sum(normal[sides[:, 0]] * normal[sides[:, 1]], axis=1) >= np.cos(angle)]
    order = np.argsort(region, kind="stable")
    begin = np.searchsorted(region[order], np.arange(count + 1))
    joined = []
    for a, b in sides.tolist():
        members = [order[begin[i] : begin[i + 1]] for i in (a, b)]
        away = [
            face_distance(mesh, members[0], normal[b], centroid[b]).max(),
            face_distance(mesh, members[1], normal[a], centroid[a]).max(),
        ]
        if max(away) <= tolerance:
            joined.append((a, b))
    _, group = components(count, np.array(joined, dtype=np.int64).reshape(-1, 2))
    merged = group[region[face]]
    good = _checked(mesh, face, int(group.max()) + 1, merged, tolerance)
    take = good[merged]
    region[face[take]] = count + merged[take]


def _drop_slivers(mesh: Mesh, region: IntArray) -> None:
    """Number the regions that hang together over edges from 0; slivers get -1 (in place)."""
    same = region[mesh.pairs[:, 0]] == region[mesh.pairs[:, 1]]
    count, label = components(len(region), mesh.pairs[same])
    keep = (np.bincount(label, mesh.area, count) >= SLIVER)[label] & (region >= 0)
    number = np.unique(label[keep], return_inverse=True)[1]
    region[:] = -1
    region[keep] = number
