"""Meshes whose edges do not follow hips and valleys, such as height grids: faces across them are cut there.

The corners of such a face lie on two planes, so its own plane is none of the roof. Where the planes on both
sides are known, so is the line in which they meet: faces are divided along it and their parts join the sides.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.counting import within
from roofmodel.shape.cleaning import NEEDLE, edge_keys, face_vectors, lengths
from roofmodel.shape.regions import Mesh, drop_slivers, face_distance, fit_planes, make_mesh
from roofmodel.surface import Array, IntArray

INNER = 4  # corners inside a plane that make it more than a strip between others
TIGHT = 0.25  # the corners of a plane scatter less than this share of the tolerance; curved ones more [-]
CREASE = np.cos(np.radians(5.0))  # planes that bend less are left to the tolerances
CLEAR = 0.5  # corners that rise over the other plane by less than this share of the tolerance lie on both
CORNER = 0.05  # three planes meet in a point where their least singular value is more [-]
NEAR_END = 0.02  # no cuts within this share of an edge from its ends [-]
STEEPEST = np.cos(np.radians(75.0))  # steeper planes are walls
CELLS = 3.0  # faces across a crease are no longer than so many usual ones [-]
TIMES = 3  # so often edges are divided where a third plane lies between those of their ends
SPREAD = 2  # rounds in which corners learn of the planes around


def cut_at_creases(mesh: Mesh, region: IntArray, tolerance: float) -> tuple[Mesh, IntArray, list[str]]:
    """Divide faces that lie across the crease of two planes, and share their parts out.

    Parameters
    ----------
    mesh : Mesh
    region : (m,) int
        Plane of each face, -1 for none.
    tolerance : float
        A corner belongs to a plane within this distance. [m]

    Returns
    -------
    mesh, region
        The same objects where nothing was cut. A step between planes is no crease and stays.
    notes : list of str
    """
    if region.max() < 1:
        return mesh, region, []
    solid, narrow, normal, centroid = _solid(mesh, region, tolerance)
    strip = (region < 0) | narrow[region]
    longest = _longest(mesh)
    strip &= longest <= CELLS * np.median(longest)
    if solid.sum() < 2 or not strip.any():
        return mesh, region, []
    label = _labels(mesh, region, solid, strip, normal, centroid, tolerance)
    for _ in range(TIMES):
        hidden = _hidden(mesh, label, (normal, centroid), CLEAR * tolerance)
        if hidden is None:
            break
        mesh, owner, label = _bisected(mesh, label, *hidden)
        region, strip = region[owner], strip[owner]
    found = _crossings(mesh, label, normal, centroid, CLEAR * tolerance)
    if found is None or not (strip & (found[0].reshape(-1, 3) >= 0).any(axis=1)).any():
        return mesh, region, []
    cut, points = found
    return _divided(mesh, region, label, cut, points, (normal, centroid), strip, tolerance)


def _longest(mesh: Mesh) -> Array:
    corner = mesh.points[mesh.faces]
    return np.asarray(np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2).max(axis=1))


def _solid(
    mesh: Mesh, region: IntArray, tolerance: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], Array, Array]:
    """Which regions are flat and wide, which a cell wide, and planes through what touches no other."""
    count = int(region.max()) + 1
    owner = np.full(len(mesh.points), -2)
    owner[mesh.faces] = region[:, None]
    alone = owner >= 0
    alone[mesh.faces[owner[mesh.faces] != region[:, None]]] = False
    face = np.flatnonzero((region >= 0) & alone[mesh.faces].all(axis=1))
    normal, centroid = fit_planes(mesh, face, region[face], count)
    away = face_distance(mesh, face, region[face], normal, centroid)
    size = np.bincount(region[face], minlength=count)
    spread = np.sqrt(np.bincount(region[face], away**2, count) / np.maximum(size, 1))
    inside = alone.copy()
    inside[mesh.faces.reshape(-1)[mesh.twin < 0]] = False
    width = np.bincount(owner[inside], minlength=count)
    flat = (spread < TIGHT * tolerance) & (normal[:, 2] > STEEPEST)
    return (np.minimum(width, size) >= INNER) & flat, width == 0, normal, centroid


def _labels(
    mesh: Mesh,
    region: IntArray,
    solid: NDArray[np.bool_],
    strip: NDArray[np.bool_],
    normal: Array,
    centroid: Array,
    tolerance: float,
) -> IntArray:
    """Nearest solid plane of each vertex among those around it, -1 where none is near (n,)."""
    count = len(solid)
    own = np.flatnonzero((region >= 0) & solid[region])
    key = np.unique(mesh.faces[own] * count + region[own, None])
    corner = mesh.faces[strip]
    for _ in range(SPREAD):
        vertex = key // count
        begin, end = np.searchsorted(vertex, corner), np.searchsorted(vertex, corner, side="right")
        times = (end - begin).ravel()
        row = np.repeat(begin.ravel(), times) + within(times)
        plane = key[row] % count
        face = np.repeat(np.arange(len(corner)).repeat(3), times)
        key = np.unique(np.concatenate([key, (corner[face] * count + plane[:, None]).ravel()]))
    vertex, plane = np.divmod(key, count)
    away = np.abs(np.sum((mesh.points[vertex] - centroid[plane]) * normal[plane], axis=1))
    order = np.lexsort([away, vertex])
    first = order[np.r_[True, np.diff(vertex[order]) > 0]]
    first = first[away[first] <= tolerance]
    label = np.full(len(mesh.points), -1)
    label[vertex[first]] = plane[first]
    return label


def _crossings(
    mesh: Mesh, label: IntArray, normal: Array, centroid: Array, clear: float
) -> tuple[IntArray, Array] | None:
    """New vertex of each half-edge that crosses a crease (3 m,), -1 for none; and the new vertices."""
    directed, key = edge_keys(mesh.faces, len(mesh.points))
    side = label[directed]
    half = np.flatnonzero((side >= 0).all(axis=1) & (side[:, 0] != side[:, 1]))
    if not len(half):
        return None
    key, first, back = np.unique(key[half], return_index=True, return_inverse=True)
    ends = directed[half[first]]
    a, b = label[ends].T
    end = mesh.points[ends]
    rise = _height(end, a, normal, centroid) - _height(end, b, normal, centroid)  # (k, 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = rise[:, 0] / (rise[:, 0] - rise[:, 1])
    bent = np.einsum("kx,kx->k", normal[a], normal[b]) < CREASE
    cut = bent & (share > NEAR_END) & (share < 1.0 - NEAR_END) & (np.abs(rise).min(axis=1) > clear)
    if not cut.any():
        return None
    points = end[cut, 0] + share[cut, None] * (end[cut, 1] - end[cut, 0])
    points[:, 2] = _height(points[:, None], a[cut], normal, centroid)[:, 0]
    number = np.where(cut, np.cumsum(cut) - 1, -1)
    result = np.full(3 * len(mesh.faces), -1)
    result[half] = number[back]
    return result, points


def _hidden(
    mesh: Mesh, label: IntArray, planes: tuple[Array, Array], clear: float
) -> tuple[IntArray, Array, IntArray] | None:
    """Edges that cross a third plane between the two of their ends: half-edge, point on it, and that plane.

    One edge for each face, so that all can be divided at once.
    """
    found = _crossings(mesh, label, *planes, clear)
    if found is None:
        return None
    cut, points = found
    half = np.flatnonzero(cut >= 0)
    directed = edge_keys(mesh.faces, len(mesh.points))[0]
    face, place = np.divmod(half, 3)
    third = label[mesh.faces[face, (place + 2) % 3]]
    ends = label[directed[half]]
    at = points[cut[half]]
    own = np.stack([_height(at[:, None], ends[:, k], *planes)[:, 0] for k in (0, 1)])
    # Where the planes of the ends meet from below, as at a hip, the lower plane is the roof; else the higher.
    start = mesh.points[directed[half, 0]][:, None]
    hip = _height(start, ends[:, 0], *planes)[:, 0] < _height(start, ends[:, 1], *planes)[:, 0]
    level = _height(at[:, None], np.maximum(third, 0), *planes)[:, 0]
    over = np.where(hip, own.mean(axis=0) - level, level - own.mean(axis=0))
    there = (third >= 0) & (third != ends[:, 0]) & (third != ends[:, 1]) & (over > clear)
    if not there.any():
        return None
    half, third, at, level = half[there], third[there], at[there], level[there]
    _, first = np.unique(cut[half], return_index=True)
    half, third = half[first], third[first]
    at = np.column_stack([at[first, :2], level[first]])
    taken: set[int] = set()
    keep = []
    for k, (one, other) in enumerate(zip((half // 3).tolist(), (mesh.twin[half] // 3).tolist(), strict=True)):
        if not {one, other} & taken:
            taken |= {one, other} - {-1}
            keep.append(k)
    return half[keep], at[keep], third[keep]


def _bisected(
    mesh: Mesh, label: IntArray, half: IntArray, added: Array, plane: IntArray
) -> tuple[Mesh, IntArray, IntArray]:
    """The mesh with edges divided at new points, the old face of each new one, and labels of all vertices."""
    new = len(mesh.points) + np.arange(len(half))
    twin = mesh.twin[half]
    both = twin >= 0
    side, middle = np.concatenate([half, twin[both]]), np.concatenate([new, new[both]])
    face, place = np.divmod(side, 3)
    a, b, c = (mesh.faces[face, (place + k) % 3] for k in range(3))
    faces = mesh.faces.copy()
    faces[face] = np.column_stack([a, middle, c])
    faces = np.vstack([faces, np.column_stack([middle, b, c])])
    owner = np.concatenate([np.arange(len(mesh.faces)), face])
    points = np.vstack([mesh.points, added])
    return make_mesh(points, faces), owner, np.concatenate([label, plane])


def _height(points: Array, plane: IntArray, normal: Array, centroid: Array) -> Array:
    """Heights (k, c) of planes at points (k, c, 3). [m]."""
    n = normal[plane][:, None]
    shift = points[..., :2] - centroid[plane][:, None, :2]
    return np.asarray(centroid[plane][:, None, 2] - np.sum(shift * n[..., :2], axis=2) / n[..., 2])


def _divided(
    mesh: Mesh,
    region: IntArray,
    label: IntArray,
    cut: IntArray,
    added: Array,
    planes: tuple[Array, Array],
    strip: NDArray[np.bool_],
    tolerance: float,
) -> tuple[Mesh, IntArray, list[str]]:
    """The mesh with cut faces in parts, each with the plane it lies on."""
    edge = np.where(cut >= 0, cut + len(mesh.points), -1).reshape(-1, 3)
    times = (edge >= 0).sum(axis=1)
    points = np.vstack([mesh.points, added])
    three = np.flatnonzero(times == 3)
    middle = _meetings(points, edge[three], label[mesh.faces[three]], *planes)
    parts, owner = [], []
    for number in (1, 2):
        face = np.flatnonzero(times == number)
        odd = np.argmax((edge[face] >= 0) == (number == 1), axis=1)  # the one cut edge, or the one uncut
        turn = (odd[:, None] + np.arange(3)) % 3
        a, b, c = np.take_along_axis(mesh.faces[face], turn, axis=1).T
        ab, bc, ca = np.take_along_axis(edge[face], turn, axis=1).T
        new = [(a, ab, c), (ab, b, c)] if number == 1 else [(a, b, ca), (b, bc, ca), (bc, c, ca)]
        parts += [np.column_stack(one) for one in new]
        owner += [face] * len(new)
    center = len(points) + np.arange(len(three))
    for k in range(3):
        corner, after, before = mesh.faces[three, k], edge[three, k], edge[three, k - 1]
        parts += [np.column_stack([corner, after, center]), np.column_stack([before, corner, center])]
        owner += [three] * 2
    points = np.vstack([points, middle])
    uncut = np.flatnonzero(strip & (times == 0))
    faces, source = np.concatenate([*parts, mesh.faces[uncut]]), np.concatenate([*owner, uncut])
    plane, away = _nearest(points, faces, label[mesh.faces[source]], *planes)
    plane = np.where((times[source] > 0) | (away <= tolerance), plane, region[source])
    whole = (times == 0) & ~strip
    group = np.concatenate([region[whole], plane])
    faces = np.concatenate([mesh.faces[whole], faces])
    points, faces, kept = _joined_corners(points, faces, group, np.unique(np.concatenate(parts)), *planes)
    result, group = make_mesh(points, faces), group[kept]
    drop_slivers(result, group)
    note = (
        f"{(times > 0).sum()} faces lie across hips, ridges or valleys, as those of a height grid do: they "
        "were divided where the planes meet."
    )
    return result, group, [note]


def _joined_corners(
    points: Array, faces: IntArray, group: IntArray, near: IntArray, normal: Array, centroid: Array
) -> tuple[Array, IntArray, NDArray[np.bool_]]:
    """Vertices near cuts that touch three planes, set where these meet and joined there; faces that stay."""
    there = np.flatnonzero(group >= 0)
    key = np.unique(faces[there] * len(normal) + group[there, None])
    vertex, plane = np.divmod(key, len(normal))
    _, begin, times = np.unique(vertex, return_index=True, return_counts=True)
    rows = begin[times == 3][:, None] + np.arange(3)
    rows = rows[np.isin(vertex[rows[:, 0]], near)]
    at, on = vertex[rows[:, 0]], plane[rows]
    move = np.einsum(
        "kxp,kp->kx",
        np.linalg.pinv(normal[on], rcond=CORNER),
        np.sum((centroid[on] - points[at][:, None]) * normal[on], axis=2),
    )
    sharp = np.linalg.svd(normal[on], compute_uv=False)[:, 2] > CORNER
    side = points[faces[np.isin(faces, at).any(axis=1)]]
    cell = float(np.median(np.linalg.norm(side - np.roll(side, 1, axis=1), axis=2))) if len(side) else 0.0
    go = sharp & (lengths(move) < cell)
    moved, number = points.copy(), np.arange(len(points))
    moved[at[go]] += move[go]
    _, first, same = np.unique(on[go], axis=0, return_index=True, return_inverse=True)
    number[at[go]] = at[go][first][same.reshape(-1)]
    joined = number[faces]
    kept = (joined != np.roll(joined, 1, axis=1)).all(axis=1)
    if lengths(face_vectors(moved, joined[kept])).min() < 2.0 * NEEDLE:
        return points, faces, np.ones(len(faces), dtype=bool)
    return moved, joined[kept], kept


def _meetings(points: Array, edge: IntArray, plane: IntArray, normal: Array, centroid: Array) -> Array:
    """Where the three planes around each face meet, between the cuts of its edges (k, 3). [m]."""
    middle = points[edge].mean(axis=1)
    n = normal[plane]
    miss = np.sum((centroid[plane] - middle[:, None]) * n, axis=2)
    move = np.einsum("kxp,kp->kx", np.linalg.pinv(n), miss)
    reach = np.linalg.norm(points[edge] - middle[:, None], axis=2).max(axis=1)
    return np.asarray(np.where(lengths(move)[:, None] < reach[:, None], middle + move, middle))


def _nearest(
    points: Array, faces: IntArray, plane: IntArray, normal: Array, centroid: Array
) -> tuple[IntArray, Array]:
    """Of three planes (k, 3) the nearest to each face, and how far its corners go from it (k,). [m]."""
    n, middle = normal[plane], centroid[plane]  # (k, 3 planes, 3)
    offset = np.einsum("kpx,kpx->kp", n, middle)
    away = np.abs(np.einsum("kcx,kpx->kpc", points[faces], n) - offset[:, :, None]).max(axis=2)
    away = np.where(plane >= 0, away, np.inf)
    best = np.argmin(away, axis=1)[:, None]
    return np.take_along_axis(plane, best, axis=1)[:, 0], np.take_along_axis(away, best, axis=1)[:, 0]
