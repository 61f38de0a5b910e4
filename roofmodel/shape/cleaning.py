"""Weld, orient and check a raw triangle mesh of roof faces; every repair is told."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from roofmodel.errors import InputError
from roofmodel.memory import Memory
from roofmodel.surface import Array, IntArray

WELD = 1e-3  # vertices nearer than this are one [m]
NEEDLE = 1e-9  # triangles with less area are degenerate [m^2]
VERTICAL = np.cos(np.radians(89.9))  # |n_z| below this faces neither up nor down
CROWDED = 1e-3  # edges of three or more faces in a survey, per face, that are left out
AT_CROWDED = "at edges that three or more share"
ONE_SHEET = np.cos(np.radians(3.0))  # faces on one side of an edge within this angle are one sheet
SMALLEST = 1.0  # [m^2]
LARGEST = 5_000.0  # [m]
BLOCK = 16_384  # faces worked on at once, so that they stay in the nearest memory
Edges = tuple[IntArray, IntArray, IntArray]
MORTON = {8: 0x00FF00FF, 4: 0x0F0F0F0F, 2: 0x33333333, 1: 0x55555555}  # masks that part bits
FEW = 500  # points whose pairs are all looked at
BEYOND = 1e8  # no map has coordinates as large, two and a half times around the earth [m]


def check_arrays(points: Array, faces: IntArray) -> None:
    """Reject what is not a finite, correctly indexed triangle mesh of plausible size."""
    if points.ndim != 2 or points.shape[1] != 3 or faces.ndim != 2 or faces.shape[1] != 3:
        message = f"A mesh needs points (n, 3) and triangles (m, 3), got {points.shape} and {faces.shape}."
        raise InputError(message)
    if len(faces) == 0:
        msg = "The mesh has no faces with three corners (polygons that cross themselves have none either)."
        raise InputError(msg)
    check_indices(points, faces)
    used = np.zeros(len(points), dtype=bool)
    used[faces.ravel()] = True
    check_places(points, used)


def check_indices(points: Array, faces: IntArray) -> None:
    """Reject faces (m, 3) that name vertices which are not among the points (n, 3)."""
    if len(faces) and (faces.min() < 0 or faces.max() >= len(points)):
        message = (
            f"A face names vertex {faces.max()} (lowest {faces.min()}), but there are {len(points)} vertices."
        )
        raise InputError(message)


def check_places(points: Array, used: NDArray[np.bool_] | None = None) -> None:
    """Reject coordinates that lie on no map; of one building's points also a size that no building has.

    Parameters
    ----------
    points : (n, 3) float
        [m]
    used : (n,) bool, optional
        Points of the one building; without, all points of a file with many.

    Raises
    ------
    InputError
        One line that names the first such vertex, or the size.
    """
    number = np.arange(len(points)) if used is None else np.flatnonzero(used)
    counted = points[number]
    if len(counted) and not np.abs(counted).max() <= BEYOND:
        _refuse_places(counted, number)
    extent = np.ptp(counted, axis=0) if len(counted) else np.zeros(3)
    if used is not None and extent.max() > LARGEST:
        message = (
            f"The model is {extent.max():.4g} m across, more than {LARGEST:.0f} m: check its unit (mm "
            f"would make {1e-3 * extent.max():.4g} m) and that it is one building."
        )
        raise InputError(message)


def _refuse_places(counted: Array, number: IntArray) -> None:
    """Name the first of some points, with their numbers, that lies on no map."""
    finite = np.isfinite(counted).all(axis=1)
    far = finite & (np.abs(counted) > BEYOND).any(axis=1)
    for bad, what in (
        (~finite, "have coordinates that are not finite"),
        (far, f"lie more than {BEYOND / 1e3:,.0f} km from the origin, farther than any map reaches"),
    ):
        if bad.any():
            first = int(np.argmax(bad))
            message = f"{bad.sum()} vertices {what}, the first is number {number[first]}."
            raise InputError(message)


def distinct(numbers: IntArray) -> IntArray:
    """Distinct whole numbers of any shape, none negative, in order (k,).

    Counted where they are many, as the corners of faces: `np.unique` takes up to 70 times as long.
    """
    flat = np.ravel(numbers)
    if not len(flat) or 8 * len(flat) < int(flat.max()):
        return np.unique(flat)
    return np.flatnonzero(np.bincount(flat))


def weld(
    points: Array, faces: IntArray, tolerance: float = WELD, memory: Memory | None = None
) -> tuple[Array, IntArray]:
    """Join vertices that lie within `tolerance`, whatever their order.

    Parameters
    ----------
    points : (n, 3) float
    faces : (m, 3) int
    tolerance : float
        [m]
    memory : Memory, optional
        Keeps which points have others near them, as fewer faces of the same points may be welded later.

    Returns
    -------
    points : (k, 3) float
        Means of the joined vertices, only those that faces use. [m]
    faces : (m, 3) int
    """
    used = np.zeros(len(points), dtype=bool)
    used[faces.ravel()] = True
    known = None if memory is None else memory.known(("near others", tolerance))
    asked = used if known is None or not np.array_equal(known[0], points) else used & known[1]
    some = np.flatnonzero(asked)
    places, label = _joined(points[some], tolerance, points[used].min(axis=0))
    head = np.zeros(len(places), dtype=np.int64)
    head[label[::-1]] = some[::-1]  # of each group the first
    moved = points.copy()
    moved[head] = places
    goes = np.arange(len(points))
    goes[some] = head[label]
    used[some] = False
    used[head] = True
    if memory is not None and known is None:
        near = np.zeros(len(points), dtype=bool)
        near[some] = np.bincount(label, minlength=1)[label] > 1
        memory.recall(("near others", tolerance), lambda: (points, near))
    return moved[used], (np.cumsum(used) - 1)[goes].take(faces)


def _joined(points: Array, tolerance: float, low: Array) -> tuple[Array, IntArray]:
    """Means (k, 3) of points that lie within a tolerance, in the order of the first, and the mean of each."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if not len(points):
        return points, np.zeros(0, dtype=np.int64)
    key = np.round((points - low) * (64.0 / tolerance)).astype(np.int64).astype(np.uint64)
    mixed = key @ np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], dtype=np.uint64)
    _, first, inverse = np.unique(mixed, return_index=True, return_inverse=True)
    own = np.arange(len(points))
    if len(first) < len(key) and np.array_equal(key, key[first[inverse]]):
        kept = np.zeros(len(key), dtype=bool)  # in the order they came: what lies together stays so
        kept[first] = True
        points, own = points[kept], (np.cumsum(kept) - 1)[first[inverse]]
    pairs = _near(points, tolerance)
    if not len(pairs):
        return points, own
    ones = np.ones(len(pairs), dtype=np.int8)
    graph = coo_array((ones, (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2)
    count, group = connected_components(graph, directed=False)
    label = group.astype(np.int64)
    size = np.bincount(label, minlength=count)
    return np.stack([np.bincount(label, axis, count) / size for axis in points.T], axis=1), label[own]


def _near(points: Array, tolerance: float) -> IntArray:
    """Pairs (k, 2) of points that lie within a tolerance."""
    if len(points) <= FEW:  # a tree costs more to import than it saves
        way = points[:, None] - points
        return np.argwhere(np.triu(np.einsum("nmx,nmx->nm", way, way) <= tolerance**2, k=1))
    from scipy.spatial import cKDTree

    pairs: IntArray = cKDTree(points, balanced_tree=False).query_pairs(tolerance, output_type="ndarray")
    return pairs


def in_order(points: Array, faces: IntArray) -> tuple[IntArray, IntArray]:
    """Order of points (n,) and of faces (m,) in which those that lie together on plan come together.

    Files of scanners and programs come in any order; work over a million faces then waits for memory.
    """
    low, size = points[:, :2].min(axis=0), np.maximum(np.ptp(points[:, :2], axis=0), 1e-9)
    cell = ((points[:, :2] - low) * (1023.0 / size)).astype(np.int64)
    for shift in (8, 4, 2, 1):  # bits of both in turn: a curve that passes cell after cell
        cell = (cell | (cell << shift)) & MORTON[shift]
    order = stable_order(cell[:, 0] | (cell[:, 1] << 1))
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.arange(len(order))
    return order, stable_order(number[faces].min(axis=1))


def face_vectors(points: Array, faces: IntArray) -> Array:
    """Normals (m, 3) with the length of twice the area. [m^2]."""
    x, y, z = np.ascontiguousarray(points.T)
    vector = np.zeros((len(faces), 3))
    for low in range(0, len(faces), BLOCK):
        a, b, c = np.ascontiguousarray(faces[low : low + BLOCK].T)
        x0, y0, z0 = x.take(a), y.take(a), z.take(a)
        x1, y1, z1 = x.take(b) - x0, y.take(b) - y0, z.take(b) - z0
        x2, y2, z2 = x.take(c) - x0, y.take(c) - y0, z.take(c) - z0
        part = vector[low : low + BLOCK]
        part[:, 0], part[:, 1], part[:, 2] = y1 * z2 - z1 * y2, z1 * x2 - x1 * z2, x1 * y2 - y1 * x2
    return vector


def lengths(vectors: Array) -> Array:
    """Lengths (n,) of vectors (n, k)."""
    return np.asarray(np.sqrt(np.einsum("nx,nx->n", vectors, vectors)))


def looking_down(points: Array, faces: IntArray) -> NDArray[np.bool_]:
    """Which faces (m, 3) look down."""
    return np.asarray(face_vectors(points, faces)[:, 2] < 0.0)


def clean_mesh(
    points: Array,
    faces: IntArray,
    offset: Array,
    turned: Callable[[Array, IntArray], NDArray[np.bool_]] = looking_down,
    ragged: bool = False,
    memory: Memory | None = None,
) -> tuple[Array, IntArray, list[str]]:
    """Weld, remove degenerate and duplicate faces, turn faces up, reject what is no roof.

    Parameters
    ----------
    points : (n, 3) float
        [m]
    faces : (m, 3) int
    offset : (3,) float
        Of the local origin, so that messages name places as the file does. [m]
    turned : callable
        Which of faces (m, 3) over points (n, 3) are to be turned over.
    ragged : bool
        Leave out a few faces that share an edge with two or more others, as in surveys, rather than reject.
    memory : Memory, optional
        See `weld`.

    Returns
    -------
    points, faces
        Cleaned; all faces point up.
    notes : list of str
        Every repair.

    Raises
    ------
    InputError
        Bad arrays, extents, areas, vertical faces, or edges of three or more faces.
    """
    check_arrays(points, faces)
    notes: list[str] = []
    count = int(np.count_nonzero(np.bincount(faces.ravel())))
    points, faces = weld(points, faces, memory=memory)
    if len(points) < count:
        notes.append(f"{count - len(points)} vertices within {WELD * 1e3:.0f} mm of another were joined.")
    vector = face_vectors(points, faces)
    double = lengths(vector)
    needle = double < 2.0 * NEEDLE
    if needle.all():
        msg = "The mesh has no area: all faces are degenerate."
        raise InputError(msg)
    vertical = ~needle & (np.abs(vector[:, 2]) < VERTICAL * double)
    if (vertical | needle).all():
        msg = "All faces are vertical: these are walls, not a roof (or the up axis is not z)."
        raise InputError(msg)
    if needle.any():
        notes.append(f"{needle.sum()} degenerate faces (less than {NEEDLE:.0e} m2) were removed.")
    faces = faces[~needle]
    down = turned(points, faces) & ~vertical[~needle]
    faces[down] = faces[down][:, ::-1]
    faces, doubles = _without_duplicates(faces, len(points))
    if doubles:
        notes.append(f"{doubles} faces that repeat another were removed.")
    area = 0.5 * lengths(face_vectors(points, faces)).sum()
    if area < SMALLEST:
        msg = f"The roof's area is {area:.3g} m2, less than 1 m2: are the units meters?"
        raise InputError(msg)
    faces, crowded = _without_crowded(points, faces, offset, CROWDED * len(faces) if ragged else 0.0)
    if crowded:
        notes.append(f"{crowded} faces {AT_CROWDED} were left out.")
    return points, faces, notes


def _without_duplicates(faces: IntArray, count: int) -> tuple[IntArray, int]:
    """Faces without repetitions of the same three vertices."""
    a, b, c = np.ascontiguousarray(faces.T)
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    middle, outer = a + b + c - low - high, low * count + high
    ranked = np.sort(outer)
    if not (ranked[1:] == ranked[:-1]).any():
        return faces, 0
    order = np.lexsort([middle, outer])
    same = np.zeros(len(faces), dtype=bool)
    same[order[1:]] = (outer[order[1:]] == outer[order[:-1]]) & (middle[order[1:]] == middle[order[:-1]])
    return faces[~same], int(same.sum())


def edge_keys(faces: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Directed edges (3 m, 2) face by face, and one key per undirected edge."""
    start, end = faces.reshape(-1), faces[:, [1, 2, 0]].reshape(-1)
    key = np.minimum(start, end) * count
    key += np.maximum(start, end)
    return np.stack([start, end]).T, key


def ordered_edges(faces: IntArray, count: int) -> Edges:
    """As `edge_keys`, and the order of the keys, equal ones as they come (3 m,)."""
    directed, key = edge_keys(faces, count)
    return directed, key, stable_order(key)


def stable_order(key: IntArray) -> IntArray:
    """Order (n,) of whole numbers that are not negative, equal ones as they come.

    As a stable `np.argsort`, in a tenth of its time: key and place are sorted as one number where they fit.
    """
    bits = len(key).bit_length()
    if not len(key) or int(key.max()).bit_length() + bits > 63:
        return np.argsort(key, kind="stable")
    ranked = key << bits
    ranked |= np.arange(len(key))
    ranked.sort()
    ranked &= (1 << bits) - 1
    return ranked


def _without_crowded(points: Array, faces: IntArray, offset: Array, most: float) -> tuple[IntArray, int]:
    """Faces without those at edges of three or more, unless on each side they are one sheet, drawn twice.

    More than `most` such edges are rejected. Also the number of faces that were left out.
    """
    directed, key, order = ordered_edges(faces, len(points))
    ranked = key[order]
    third = np.flatnonzero(ranked[2:] == ranked[:-2])
    if not len(third):
        return faces, 0
    crowded = order[np.isin(ranked, ranked[third])]
    unit = face_vectors(points, faces[crowded // 3])
    unit /= np.maximum(lengths(unit), 1e-300)[:, None]
    side = 2 * key[crowded] + (directed[crowded, 0] > directed[crowded, 1])
    _, first, group = np.unique(side, return_index=True, return_inverse=True)
    apart = np.einsum("kx,kx->k", unit, unit[first][group]) < ONE_SHEET
    edges = np.unique(key[crowded[apart]])
    if len(edges) <= most:
        keep = ~np.isin(key, edges).reshape(-1, 3).any(axis=1) if len(edges) else np.ones(len(faces), bool)
        return faces[keep], int((~keep).sum())
    middle = points[directed[np.argmax(key == edges[0])]].mean(axis=0) + offset
    message = (
        f"{len(edges)} edges are shared by three or more roof faces, the first at "
        f"({middle[0]:.2f}, {middle[1]:.2f}, {middle[2]:.2f}) m: separate the roof from other faces."
    )
    raise InputError(message)
