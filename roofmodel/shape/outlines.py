"""Outlines of mesh regions: boundary chains shared by neighbors, simplified once for both."""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.shape.cleaning import distinct
from roofmodel.shape.regions import Mesh, components, fit_planes
from roofmodel.surface import Array, IntArray

PARALLEL = 0.02  # singular values below this share are ignored when a corner is set on its planes
ALONG_CREASE = 5.0  # how much farther vertices of a ragged crease may go to its line
FITTED = 6_000  # faces whose points are enough to fit a plane to
REFITS, FEW, OUTLIER = 5, 12, 3.0  # rounds; points that make a plane; multiples of the usual distance
ALMOST_PARALLEL = 0.4  # the same, for corners that would move too far


def points_on_planes(mesh: Mesh, region: IntArray, normal: Array, centroid: Array, farthest: float) -> Array:
    """Move every vertex by the least distance onto all planes it belongs to.

    Parameters
    ----------
    mesh : Mesh
    region : (m,) int
        Plane of each face, -1 for none.
    normal, centroid : (p, 3) float
        The planes. [m]
    farthest : float
        Vertices that would move farther (on a crease of two planes, five times as far) go between their
        planes instead. [m]

    Returns
    -------
    (n, 3) float
        On up to three planes exactly, on more in the least-squares sense; vertices of no plane stay. [m]
    """
    points = mesh.points.copy()
    face = np.flatnonzero(region >= 0)
    corner = mesh.faces[face]
    single = np.full(len(points), -1)
    single[corner] = region[face, None]
    shared = np.zeros(len(points), dtype=bool)
    shared[corner[single[corner] != region[face, None]]] = True
    alone = np.flatnonzero((single >= 0) & ~shared)
    on = single[alone]
    points[alone] += np.sum((centroid[on] - points[alone]) * normal[on], axis=1)[:, None] * normal[on]
    key = distinct((corner * len(normal) + region[face, None])[shared[corner]])
    vertex, plane = np.divmod(key, len(normal))
    _, begin, times = np.unique(vertex, return_index=True, return_counts=True)
    for count in np.unique(times):
        rows = begin[times == count][:, None] + np.arange(count)
        at, on = vertex[rows[:, 0]], plane[rows]
        n = normal[on]
        miss = np.sum((centroid[on] - points[at][:, None]) * n, axis=2)
        move = np.einsum("kxp,kp->kx", np.linalg.pinv(n, rcond=PARALLEL), miss)
        far = np.linalg.norm(move, axis=1) > farthest * (ALONG_CREASE if count == 2 else 1.0)
        move[far] = np.einsum("kxp,kp->kx", np.linalg.pinv(n[far], rcond=ALMOST_PARALLEL), miss[far])
        points[at] += move
    return points


def boundary_cycles(mesh: Mesh, region: IntArray) -> tuple[IntArray, IntArray, IntArray, NDArray[np.bool_]]:
    """Walk around every region.

    Parameters
    ----------
    mesh : Mesh
    region : (m,) int

    Returns
    -------
    half : (b,) int
        Boundary half-edges, cycle by cycle, each cycle in walking order (the region on the left).
    cycle : (b,) int
        Cycle of each.
    neighbor : (b,) int
        Region on the other side, -1 for none.
    junction : (b,) bool
        Whether a chain starts here: the neighbor changes, the boundary touches itself, or the cycle begins.
    """
    owner = np.repeat(region, 3)
    across = np.where(mesh.twin >= 0, owner[mesh.twin], -1)
    edge = np.flatnonzero((owner >= 0) & (across != owner))
    following = _next_boundary(mesh, edge, across == owner)
    position = np.full(len(owner), -1)
    position[edge] = np.arange(len(edge))
    after = position[following]
    neighbor = across[edge]
    start = mesh.faces.reshape(-1)[edge]
    special = np.zeros(len(mesh.points), dtype=bool)
    special[start[after[neighbor != neighbor[after]]]] = True
    keys = np.sort(start * (int(region.max()) + 1) + owner[edge])
    special[keys[1:][keys[1:] == keys[:-1]] // (int(region.max()) + 1)] = True
    count, cycle = components(len(edge), np.column_stack([np.arange(len(edge)), after]))
    root = _roots(mesh.points[start], cycle, count, special[start])
    order = np.lexsort([_ranks(after, root), cycle])
    begins = np.zeros(len(edge), dtype=bool)
    begins[root] = True
    return edge[order], cycle[order], neighbor[order], (begins | special[start])[order]


def _next_boundary(mesh: Mesh, edge: IntArray, inner: NDArray[np.bool_]) -> IntArray:
    """Next boundary half-edge after each, turning through the faces around the vertex."""
    current = edge - edge % 3 + (edge + 1) % 3
    turning = np.flatnonzero(inner[current])
    while len(turning):
        other = mesh.twin[current[turning]]
        current[turning] = other - other % 3 + (other + 1) % 3
        turning = turning[inner[current[turning]]]
    return current


def _roots(xyz: Array, cycle: IntArray, count: int, special: NDArray[np.bool_]) -> IntArray:
    """One start per cycle: a junction, else the point farthest from the cycle's middle."""
    size = np.bincount(cycle, minlength=count)
    middle = np.stack([np.bincount(cycle, x, count) / size for x in xyz.T], axis=1)
    far = np.linalg.norm(xyz - middle[cycle], axis=1)
    order = np.lexsort([-np.round(far, 6), ~special, cycle])
    return order[np.searchsorted(cycle[order], np.arange(count))]


def _ranks(after: IntArray, root: IntArray) -> IntArray:
    """Steps from the root of each cycle, by pointer doubling."""
    before = np.zeros(len(after), dtype=np.int64)
    before[after] = np.arange(len(after))
    before[root] = root
    rank = np.ones(len(after), dtype=np.int64)
    rank[root] = 0
    while True:
        rank = rank + rank[before]
        jumped = before[before]
        if np.array_equal(jumped, before):
            return rank
        before = jumped


def region_rings(
    mesh: Mesh, points: Array, region: IntArray, normal: Array, tolerance: float
) -> list[list[Array]]:
    """Corner rings of all regions.

    Parameters
    ----------
    mesh : Mesh
    points : (n, 3) float
        Vertices set on their planes. [m]
    region : (m,) int
    normal : (p, 3) float
    tolerance : float
        Chains between junctions are simplified by this much, once for both sides. [m]

    Returns
    -------
    list (p) of lists of (k, 3) float
        The outer ring first, then holes; empty for a region that vanishes. [m]
    """
    half, cycle, neighbor, junction = boundary_cycles(mesh, region)
    owner = region[half // 3]
    start = mesh.faces.reshape(-1)[half]
    end = mesh.faces.reshape(-1)[half - half % 3 + (half + 1) % 3]
    helper = np.where(np.abs(normal[:, :1]) < 0.7, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
    e1 = np.cross(helper, normal)
    e1 /= np.linalg.norm(e1, axis=1, keepdims=True)
    e2 = np.cross(normal, e1)
    chain = np.cumsum(junction) - 1
    keep = np.zeros(len(points), dtype=bool)
    keep[start[junction]] = True
    once = (neighbor < 0) | (owner < neighbor)
    keep[_simplified(points, start, end, chain, once, e1[owner], e2[owner], tolerance)] = True
    corner = keep[start]
    xyz = points[start[corner]]
    ring_of, ring_owner = cycle[corner], owner[corner]
    u, v = np.sum(xyz * e1[ring_owner], axis=1), np.sum(xyz * e2[ring_owner], axis=1)
    cuts = np.flatnonzero(np.diff(ring_of)) + 1
    groups: list[list[tuple[float, Array]]] = [[] for _ in normal]
    for xyz_part, u_part, v_part, who in zip(
        np.split(xyz, cuts), np.split(u, cuts), np.split(v, cuts), ring_owner[np.r_[0, cuts]], strict=True
    ):
        u_part, v_part = u_part - u_part[0], v_part - v_part[0]
        area = 0.5 * float(np.sum(u_part * np.roll(v_part, -1) - v_part * np.roll(u_part, -1)))
        if len(xyz_part) >= 3:
            groups[who].append((area, xyz_part))
    rings = []
    for group in groups:
        outer = max(group, key=lambda ring: ring[0], default=(0.0, np.zeros((0, 3))))
        holes = [ring for area, ring in group if area < 0.0]
        rings.append([outer[1], *holes] if outer[0] > 0.0 else [])
    return rings


def _simplified(
    points: Array,
    start: IntArray,
    end: IntArray,
    chain: IntArray,
    once: NDArray[np.bool_],
    e1: Array,
    e2: Array,
    tolerance: float,
) -> IntArray:
    """Vertices that remain when the chains are simplified in their planes."""
    last = np.r_[np.diff(chain) > 0, True]
    used = np.flatnonzero(once)
    tail = np.flatnonzero(once & last)
    vertex = np.concatenate([start[used], end[tail]])
    frame = np.concatenate([used, tail])
    number = np.concatenate([2 * used, 2 * tail + 1])
    order = np.argsort(number)
    vertex, frame = vertex[order], frame[order]
    uv = np.stack(
        [np.sum(points[vertex] * e1[frame], axis=1), np.sum(points[vertex] * e2[frame], axis=1)], axis=1
    )
    _, index = np.unique(chain[frame], return_inverse=True)
    lines = shapely.linestrings(np.column_stack([uv, vertex]), indices=index)
    kept = shapely.get_coordinates(shapely.simplify(lines, tolerance), include_z=True)
    return kept[:, 2].astype(np.int64)


def region_planes(mesh: Mesh, region: IntArray) -> tuple[Array, Array]:
    """Least-squares planes of all regions through their faces: unit normals and points on them."""
    face = np.flatnonzero(region >= 0)
    return fit_planes(mesh, face, region[face], int(region.max()) + 1)


def surveyed_planes(mesh: Mesh, region: IntArray) -> tuple[Array, Array]:
    """Least-squares planes of all regions through measured points, each counted once, on the nearest plane.

    Faces across a crease lie on neither plane, points do.

    Returns
    -------
    normal, centroid : (p, 3) float
        Unit normals that point up, and points on the planes. [m]
    """
    face = np.flatnonzero(region >= 0)
    stride = np.maximum(np.bincount(region[face]) // FITTED, 1)
    face = face[np.arange(len(face)) % stride[region[face]] == 0]
    count = int(region.max()) + 1
    normal, centroid = fit_planes(mesh, face, region[face], count)
    key = distinct(mesh.faces[face] * count + region[face, None])
    vertex, plane = np.divmod(key, count)
    for _ in range(REFITS):
        off = (mesh.points[vertex] - centroid[plane]) * normal[plane]
        away = np.abs(off[:, 0] + off[:, 1] + off[:, 2])
        order = np.lexsort([away, vertex])
        first = np.r_[True, np.diff(vertex[order]) > 0]
        mine = order[first]
        number = np.bincount(plane[mine], minlength=count)
        usual = np.sqrt(np.bincount(plane[mine], away[mine] ** 2, count) / np.maximum(number, 1))
        mine = mine[away[mine] <= OUTLIER * usual[plane[mine]] + 1e-9]
        xyz, on = mesh.points[vertex[mine]], plane[mine]
        number = np.bincount(on, minlength=count)
        enough = number >= FEW
        middle = np.stack([np.bincount(on, x, count) for x in xyz.T], axis=1) / np.maximum(number, 1)[:, None]
        delta = xyz - middle[on]
        moment = np.zeros((count, 3, 3))
        for i, j in itertools.combinations_with_replacement(range(3), 2):
            moment[:, i, j] = moment[:, j, i] = np.bincount(on, delta[:, i] * delta[:, j], count)
        fitted = np.linalg.eigh(moment)[1][:, :, 0]
        fitted *= np.where(np.sum(fitted * normal, axis=1) < 0.0, -1.0, 1.0)[:, None]
        normal = np.where(enough[:, None], fitted, normal)
        centroid = np.where(enough[:, None], middle, centroid)
    return normal, centroid
