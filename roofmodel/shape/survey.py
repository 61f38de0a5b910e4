"""Surveyed meshes: how rough they are, and normals from many measured points in place of three."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from roofmodel.memory import Memory, recall
from roofmodel.shape.cleaning import distinct, edge_keys, face_vectors, lengths, stable_order
from roofmodel.surface import Array, IntArray

FEWEST = 300  # faces; smaller meshes are drawn, not surveyed
ROUGH = np.radians(2.0)  # half of a surveyed mesh's edges bend by more
PLAIN, FEW_PLAIN = np.radians(0.5), 0.12  # of drawn planes more edges than this bend less
BOTH_WAYS = 0.5  # a curved roof bends one way: ridges less valleys over all edges
PLENTY = 100_000  # edges that are enough to tell
AROUND = 24  # points that make a local plane
CHUNK = 20_000  # vertices worked on at once
LEAST, MOST = 4e-3, 0.15  # less noise is left to the tolerances; more is none, but shape [m]

LONG, SLIM = 3.0, 0.15  # faces of the rim longer than usual edges and narrower than long only close the hull
TILTED = np.cos(np.radians(50.0))  # of these only steep ones; others cover the roof
RIM = 0.03  # where they make more than this share of the plan, they are left [-]


def noise_note(noise: float) -> str:
    """Say that a mesh was taken as surveyed."""
    return (
        f"The mesh is rough like a survey, by about {noise * 1e3:.0f} mm: planes were fitted through many "
        "points, and small ones were shared out among their neighbors."
    )


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
    normal, spread = recall(memory, ("local planes", around.tobytes()), partial(_local_planes, around))
    noise = float(np.median(spread))
    if not LEAST < noise < MOST:
        return None
    corner = normal[number[faces]]
    own = face_vectors(points, faces)
    side = np.where(np.einsum("fcx,fx->fc", corner, own) < 0.0, -1.0, 1.0)
    mean = np.einsum("fcx,fc->fx", corner, side)
    size = lengths(mean)
    unit = np.where(size[:, None] > 1e-6, mean, own)
    return unit / np.maximum(lengths(unit), 1e-300)[:, None], noise


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
    corner = points[faces]
    side = lengths((corner - np.roll(corner, 1, axis=1)).reshape(-1, 3)).reshape(-1, 3)
    flat = corner[:, :, :2]
    longest = np.linalg.norm(flat - np.roll(flat, 1, axis=1), axis=2).max(axis=1)
    vector = face_vectors(points, faces)
    plan = 0.5 * np.abs(vector[:, 2])
    sliver = (side.max(axis=1) > LONG * np.median(side)) & (2.0 * plan < SLIM * longest**2)
    sliver &= 2.0 * plan < TILTED * lengths(vector)
    _, key = edge_keys(faces, len(points))
    _, edge = np.unique(key, return_inverse=True)
    edge = edge.reshape(-1, 3)
    keep = np.ones(len(faces), dtype=bool)
    while True:
        open_edge = np.bincount(edge[keep].ravel(), minlength=int(edge.max()) + 1) == 1
        peel = keep & sliver & open_edge[edge].any(axis=1)
        if not peel.any():
            break
        keep &= ~peel
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
    apart = points[b].mean(axis=1) - points[a].mean(axis=1)
    hollow = np.sign(np.einsum("kx,kx->k", one - other, apart))
    small = bend < np.radians(60.0)
    return bool(abs(np.sum(hollow[small] * bend[small])) < BOTH_WAYS * np.sum(bend[small]))


def _local_planes(points: Array) -> tuple[Array, Array]:
    """Normals (n, 3) and spreads (n,) of planes through the points around each. [m]."""
    tree = cKDTree(points)
    count = min(AROUND, len(points))
    normal, spread = np.zeros_like(points), np.zeros(len(points))

    def fit(low: int) -> None:
        part = slice(low, low + CHUNK)
        around = points[tree.query(points[part], count)[1]]
        around = around - around.mean(axis=1, keepdims=True)
        value, vector = np.linalg.eigh(np.einsum("nkx,nky->nxy", around, around))
        normal[part] = vector[:, :, 0]
        spread[part] = np.sqrt(np.maximum(value[:, 0], 0.0) / max(count - 3, 1))

    with ThreadPoolExecutor() as threads:  # all of it lets go of the interpreter
        list(threads.map(fit, range(0, len(points), CHUNK)))
    return normal, spread
