"""Surveyed meshes: how rough they are, and normals from many measured points in place of three."""

from __future__ import annotations

import itertools
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import numpy as np
from numpy.typing import NDArray

from roofmodel.memory import Memory, recall
from roofmodel.shape.cleaning import BLOCK, Edges, distinct, edge_keys, face_vectors, lengths, stable_order
from roofmodel.shape.regions import components, neighbor_edges
from roofmodel.surface import Array, IntArray

FEWEST = 300  # faces; smaller meshes are drawn, not surveyed
ROUGH = np.radians(2.0)  # half of a surveyed mesh's edges bend by more
PLAIN, FEW_PLAIN = np.radians(0.5), 0.12  # of drawn planes more edges than this bend less
BOTH_WAYS = 0.5  # a curved roof bends one way: ridges less valleys over all edges
PLENTY = 100_000  # edges that are enough to tell
RUN = 5000  # faces that come one after the other
AROUND = 24  # points that make a local plane
CELL, IN_CELL = 0.15, 1.5  # with more points in a cell on average all of it counts as one of them [m, -]
MOSTLY = 0.98  # with so many of the points the planes around them are the same
CHUNK = 20_000  # vertices worked on at once
LEAST, MOST = 4e-3, 0.15  # less noise is left to the tolerances; more is none, but shape [m]

SHEETS_UP = "sheets look up"  # in a memory: they were turned already
SHEET = 0.1  # a sheet of a survey looks one way with more than this of its plan, folds taken off [-]
LONG, SLIM = 3.0, 0.15  # faces of the rim longer than usual edges and narrower than long only close the hull
TILTED = np.cos(np.radians(50.0))  # of these only steep ones; others cover the roof
RIM = 0.03  # where they make more than this share of the plan, they are left [-]


def noise_notes(noise: float) -> list[str]:
    """Say that a mesh was taken as surveyed, and what a survey may hide."""
    return [
        f"The mesh is rough like a survey, by about {noise * 1e3:.0f} mm: planes were fitted through many "
        "points, and small ones were shared out among their neighbors.",
        "What a survey may hide: planes of fewer than some 25 points, such as small dormers and the ends of "
        "small hips, may be taken with their neighbors or left out; trees over the roof, and some chimneys "
        "with a ridge, for planes; a sheet over most of a slope (four fifths or more) for the roof. Hold the "
        "picture against the roof.",
    ]


def survey_normals(
    points: Array, faces: IntArray, memory: Memory | None = None
) -> tuple[Array, float] | None:
    """Normals of the faces of a surveyed mesh, and its noise.

    Parameters
    ----------
    points : (n, 3) float
        [m]
    faces : (m, 3) int
    memory : Memory, optional
        Keeps the planes around points that are asked for again.

    Returns
    -------
    normal : (m, 3) float
        Unit normals on the side of each face's own, from planes through the points around.
    noise : float
        Standard deviation of the points from those planes, the median over the mesh. [m]

    None where the mesh is not rough, that is drawn, or smooth like a curved roof.
    """
    if len(faces) < FEWEST or not _is_rough(points, faces):
        return None
    used = distinct(faces)
    number = np.zeros(len(points), dtype=np.int64)
    number[used] = np.arange(len(used))
    around = points[used]
    normal, spread = _known_planes(around, memory)
    noise = float(np.median(spread))
    if not LEAST < noise < MOST:
        return None
    unit = face_vectors(points, faces)
    for low in range(0, len(faces), BLOCK):
        own = unit[low : low + BLOCK]
        mean = np.zeros(own.shape)
        for corner in np.ascontiguousarray(faces[low : low + BLOCK].T):
            around_it = normal.take(number.take(corner), axis=0)
            around_it[np.einsum("fx,fx->f", around_it, own) < 0.0] *= -1.0
            mean += around_it
        plain = lengths(mean) > 1e-6
        own[plain] = mean[plain]
        own /= np.maximum(lengths(own), 1e-300)[:, None]
    return unit, noise


def sheets_down(
    points: Array, faces: IntArray, rough: bool | None = None, ordered: Edges | None = None
) -> NDArray[np.bool_]:
    """Which faces to turn over so that the sheets of a survey look up.

    Noise as large as the spacing of the points folds faces over. Turned one by one these would tear the
    sheet; a sheet that mostly looks one way is turned as a whole, so that its folds stay folds.

    Parameters
    ----------
    points : (n, 3) float
        Welded. [m]
    faces : (m, 3) int
    rough : bool, optional
        Whether the mesh is surveyed, where that is known.
    ordered : tuple, optional
        Edges of the faces as `ordered_edges` gives them.

    Returns
    -------
    (m,) bool
        Of a drawn mesh the faces that look down.
    """
    rise = face_vectors(points, faces)[:, 2]
    down = rise < 0.0
    if len(faces) < FEWEST or not down.any() or not (rough or _is_rough(points, faces)):
        return down
    first, second = neighbor_edges(faces, len(points), ordered)
    count, part = components(len(faces), np.stack([first // 3, second // 3], axis=1))
    total, size = np.bincount(part, rise, count), np.bincount(part, np.abs(rise), count)
    sheet = np.abs(total) > SHEET * size
    return np.where(sheet[part], (total < 0.0)[part], down)


def without_rim_slivers(points: Array, faces: IntArray) -> tuple[NDArray[np.bool_], list[str]]:
    """Faces of a survey but the long, narrow ones at its rim, that only close the hull of the points.

    Parameters
    ----------
    points : (n, 3) float
        [m]
    faces : (m, 3) int

    Returns
    -------
    keep : (m,) bool
    notes : list of str
        How much was left out.
    """
    vector = face_vectors(points, faces)
    plan = 0.5 * np.abs(vector[:, 2])
    a, b, c = (points.take(corner, axis=0) for corner in np.ascontiguousarray(faces.T))
    across = np.stack([(way[:, 0] ** 2 + way[:, 1] ** 2) for way in (b - a, c - b, a - c)])
    side = across + np.stack([(b - a)[:, 2] ** 2, (c - b)[:, 2] ** 2, (a - c)[:, 2] ** 2])
    longest = np.maximum(np.maximum(side[0], side[1]), side[2])
    sliver = longest > LONG**2 * np.median(side)
    sliver &= 2.0 * plan < SLIM * np.maximum(np.maximum(across[0], across[1]), across[2])
    sliver &= 2.0 * plan < TILTED * lengths(vector)
    keep = np.ones(len(faces), dtype=bool)
    if not sliver.any():
        return keep, []
    theirs = np.zeros(len(points), dtype=bool)
    theirs[faces[sliver]] = True
    one, two, three = theirs.take(faces.T)
    near = np.flatnonzero((one & two) | (two & three) | (three & one))  # all faces at edges of slivers
    edge = np.unique(edge_keys(faces[near], len(points))[1], return_inverse=True)[1].reshape(-1, 3)
    there = np.ones(len(near), dtype=bool)
    while True:
        open_edge = np.bincount(edge[there].ravel(), minlength=int(edge.max()) + 1) == 1
        peel = there & sliver[near] & open_edge[edge].any(axis=1)
        if not peel.any():
            break
        there &= ~peel
    keep[near] = there
    lost = float(plan[~keep].sum())
    if keep.all() or lost > RIM * plan.sum():
        return np.ones(len(faces), dtype=bool), []
    note = (
        f"{(~keep).sum()} long, narrow faces along the rim of the survey were left out ({lost:.2f} m2 on "
        "plan): they join points far apart and show no roof."
    )
    return keep, [note]


def _is_rough(points: Array, faces: IntArray) -> bool:
    """Whether most edges bend, and both ways about as much."""
    if len(faces) > 4 * PLENTY:  # in runs, as those that come together mostly lie together
        run = np.arange(0, len(faces) - RUN, len(faces) * RUN // PLENTY)
        some = faces[(run[:, None] + np.arange(RUN)).ravel()]
        faces = some if 2 * len(neighbor_edges(some, len(points))[0]) > len(some) else faces
    _, key = edge_keys(faces, len(points))
    order = stable_order(key)
    ranked = key[order]
    same = np.flatnonzero(ranked[1:] == ranked[:-1])
    same = same[:: max(len(same) // PLENTY, 1)]
    a, b = faces[order[same] // 3], faces[order[same + 1] // 3]
    if len(a) == 0:
        return False
    one, other = face_vectors(points, a), face_vectors(points, b)
    one /= np.maximum(lengths(one), 1e-300)[:, None]
    other /= np.maximum(lengths(other), 1e-300)[:, None]
    bend = np.arccos(np.clip(np.einsum("kx,kx->k", one, other), -1.0, 1.0))
    if np.median(bend) < ROUGH or np.mean(bend < PLAIN) > FEW_PLAIN:
        return False
    apart = sum(points[corner] for corner in b.T) - sum(points[corner] for corner in a.T)
    hollow = np.sign(np.einsum("kx,kx->k", one - other, apart))
    small = bend < np.radians(60.0)
    return bool(abs(np.sum(hollow[small] * bend[small])) < BOTH_WAYS * np.sum(bend[small]))


def _known_planes(points: Array, memory: Memory | None) -> tuple[Array, Array]:
    """As `_local_planes`, taken from those made first where nearly all of the points are among theirs."""
    old, normal, spread = recall(memory, "local planes", lambda: (points, *_local_planes(points)))
    if old is points or np.array_equal(old, points):
        return normal, spread
    if MOSTLY * len(old) < len(points) <= len(old):
        order = np.argsort(old[:, 0], kind="stable")
        at = order[np.minimum(np.searchsorted(old[order, 0], points[:, 0]), len(old) - 1)]
        other = np.flatnonzero((old[at] != points).any(axis=1))
        if len(other) < (1.0 - MOSTLY) * len(points):
            if len(other):
                from scipy.spatial import cKDTree

                at[other] = cKDTree(old, balanced_tree=False).query(points[other])[1]
            return normal[at], spread[at]
    again: tuple[Array, Array] = recall(
        memory, ("local planes", points.tobytes()), partial(_local_planes, points)
    )
    return again


def _local_planes(points: Array) -> tuple[Array, Array]:
    """Normals (n, 3) and spreads (n,) of planes through the points around each. [m]."""
    from scipy.sparse import csr_array
    from scipy.spatial import cKDTree

    cell = _cells(points)
    size = np.bincount(cell).astype(float)
    count = len(size)
    middle = np.stack([np.bincount(cell, x, count) / size for x in points.T], axis=1)
    place = (points - points.mean(axis=0)).T
    first = [np.bincount(cell, x, count) for x in place]
    second = [
        np.bincount(cell, place[i] * place[j], count)
        for i, j in itertools.combinations_with_replacement(range(3), 2)
    ]
    sums = np.column_stack([size, *first, *second])
    tree = cKDTree(middle, balanced_tree=False)
    near = min(AROUND, count)
    normal, spread = np.zeros((count, 3)), np.zeros(count)

    def fit(low: int) -> None:
        part = slice(low, low + CHUNK)
        beside = np.asarray(tree.query(middle[part], near)[1]).reshape(-1, near)
        near_it = (np.ones(beside.size), beside.ravel(), np.arange(0, beside.size + 1, near))
        total, *around = (csr_array(near_it, shape=(len(beside), count)) @ sums).T
        moment = np.zeros((len(beside), 3, 3))
        pairs = itertools.combinations_with_replacement(range(3), 2)
        for (i, j), product in zip(pairs, around[3:], strict=True):
            moment[:, i, j] = moment[:, j, i] = product - around[i] * around[j] / total
        value, vector = np.linalg.eigh(moment)
        normal[part] = vector[:, :, 0]
        spread[part] = np.sqrt(np.maximum(value[:, 0], 0.0) / np.maximum(total - 3.0, 1.0))

    with ThreadPoolExecutor() as threads:  # all of it lets go of the interpreter
        list(threads.map(fit, range(0, count, CHUNK)))
    return normal[cell], spread[cell]


def _cells(points: Array) -> IntArray:
    """Cell (n,) of each point that goes on with those beside it; each its own where they are not dense.

    Noise as large as the spacing of the points hides which way the nearest few lie.
    """
    at = np.floor((points - points.min(axis=0)) / CELL).astype(np.int64)
    width = at.max(axis=0) + 1
    key = (at[:, 0] * width[1] + at[:, 1]) * width[2] + at[:, 2]
    order = stable_order(key)
    number = np.empty(len(key), dtype=np.int64)
    number[order] = np.cumsum(np.r_[0, np.diff(key[order]) > 0])
    dense = len(key) > IN_CELL * (number[order[-1]] + 1)
    return number if dense else np.arange(len(key))
