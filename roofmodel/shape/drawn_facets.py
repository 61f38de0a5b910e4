"""Facets of drawn domes and vaults that bend so little that tolerances for rough meshes would join them.

Where every two neighboring faces either lie in one plane to the rounding of a file or plainly bend, the mesh
was drawn, and each of its planes is meant.
"""

from __future__ import annotations

import numpy as np

from roofmodel.shape.cleaning import lengths
from roofmodel.shape.regions import Mesh, components, face_distance, fit_planes, make_mesh, plane_regions
from roofmodel.surface import IntArray

ROUNDED = 1e-3  # corners nearer to a plane lie in it: files round to a millimeter [m]
PLAIN_BEND = np.radians(0.3)  # neighbors in two planes bend by more; less is a warped plane
GENTLE = np.radians(10.0)  # a mesh that nowhere bends by less holds no curve
NARROW = 0.1  # facets of less area per length of their longest edge are details, or a fine curve [m]
MOST = 400  # facets; more are a fine curve
IN_PAIRS = 1.0 / 3.0  # of the faces at least share their plane with a neighbor, which no rough mesh shows


def drawn_facets(mesh: Mesh) -> IntArray:
    """Planes of the masses of a mesh that are drawn in facets.

    Parameters
    ----------
    mesh : Mesh

    Returns
    -------
    (m,) int
        Facet of each face, connected over edges; -1 for all faces of masses that are rough, finely curved,
        or nowhere bend gently.
    """
    half = np.flatnonzero(mesh.twin > np.arange(mesh.twin.size))
    pairs = np.stack([half, mesh.twin[half]], axis=1) // 3
    corner = mesh.faces[pairs[:, ::-1], (np.stack([mesh.twin[half], half], axis=1) % 3 + 2) % 3]
    foot = mesh.points[mesh.faces.ravel()[half]]
    normal = mesh.normal[pairs]
    away = np.abs(np.einsum("ksx,ksx->ks", mesh.points[corner] - foot[:, None], normal)).min(axis=1)
    bend = np.arctan2(
        lengths(np.cross(*normal.swapaxes(0, 1))), np.einsum("kx,kx->k", *normal.swapaxes(0, 1))
    )
    flat = away <= ROUNDED
    if not (~flat & (bend < GENTLE)).any():
        return np.full(len(mesh.faces), -1)
    masses, mass = components(len(mesh.faces), pairs)
    count, facet = components(len(mesh.faces), pairs[flat])
    owner = np.zeros(count, dtype=np.int64)
    owner[facet] = mass

    every = np.arange(len(mesh.faces))
    off = face_distance(mesh, every, facet, *fit_planes(mesh, every, facet, count))
    edge = mesh.points[mesh.faces] - np.roll(mesh.points[mesh.faces], 1, axis=1)
    longest = np.zeros(count)
    np.maximum.at(longest, facet, np.linalg.norm(edge, axis=2).max(axis=1))
    narrow = np.bincount(facet, mesh.area, count) < NARROW * longest
    paired = np.zeros(len(mesh.faces), dtype=bool)
    paired[pairs[flat]] = True

    taken = np.bincount(owner, minlength=masses) <= MOST
    taken &= np.bincount(mass, paired, masses) >= IN_PAIRS * np.bincount(mass, minlength=masses)
    gentle = np.zeros(masses, dtype=bool)
    gentle[mass[pairs[~flat & (bend < GENTLE), 0]]] = True
    taken &= gentle
    taken[mass[pairs[~flat & (bend < PLAIN_BEND), 0]]] = False
    taken[mass[off > ROUNDED]] = False
    taken[owner[narrow]] = False
    number = np.cumsum(taken[owner]) - 1
    return np.where(taken[mass], number[facet], -1)


def drawn_regions(mesh: Mesh, angle_tolerance: float, distance_tolerance: float) -> IntArray:
    """Group faces into planes: facets where they are drawn, by `plane_regions` elsewhere.

    Parameters and result are those of `plane_regions`.
    """
    region = drawn_facets(mesh)
    rest = np.flatnonzero(region < 0)
    if len(rest) == len(region):
        return plane_regions(mesh, angle_tolerance, distance_tolerance)
    if len(rest):
        other = make_mesh(mesh.points, mesh.faces[rest])
        found = plane_regions(other, angle_tolerance, distance_tolerance)
        region[rest] = np.where(found >= 0, found + region.max() + 1, -1)
    return region
