"""First planes of surveyed meshes: found where they are plain, then grown over what lies between."""

from __future__ import annotations

import numpy as np

from roofmodel.shape.regions import (
    SAMPLE,
    Mesh,
    absorb,
    borders,
    components,
    drop_slivers,
    fit_planes,
    join_larger,
    number_from_zero,
    search_planes,
    sub_components,
    trade_borders,
    working_planes,
)
from roofmodel.surface import IntArray

SURVEYED = 3.0  # smaller regions share themselves out among neighbors [m^2]
OWN = 0.5  # scraps with less area that fit no plane are left out [m^2]
FAR_NOISE = 8.0  # faces across a crease lie within so many times the noise of a plane beside it
SHARINGS = 3
ALIKE = np.cos(np.radians(3.0))  # neighbors within this angle may be one plane
MISSES = 8  # small planes in a row after which no more are searched


def survey_regions(mesh: Mesh, noise: float) -> IntArray:
    """Group faces of a surveyed mesh into planes.

    No measured point lies just on a ridge or valley: the faces across it belong to no plane, and to either.
    So planes are first found where they are plain, and then share out what lies between them.

    Parameters
    ----------
    mesh : Mesh
        With normals that hold for the points around each face.
    noise : float
        Standard deviation of the points. [m]

    Returns
    -------
    (m,) int
        As `plane_regions`.
    """
    near, far = 3.0 * noise, FAR_NOISE * noise
    least = min(SURVEYED, 0.1 * mesh.area.sum())
    region = np.full(len(mesh.faces), -1)
    search_planes(mesh, region, np.arange(len(region)), near, least, MISSES)
    for _ in range(SHARINGS):
        if region.max() < 0:
            break
        absorb(mesh, region, far, least_cosine=-1.0)
        trade_borders(mesh, region, far)
        join_larger(mesh, region, near)
        _join_alike(mesh, region, noise)
        same = region[mesh.pairs[:, 0]] == region[mesh.pairs[:, 1]]
        count, label = components(len(region), mesh.pairs[same])
        scrap = (np.bincount(label, mesh.area, count) < least)[label]
        region[scrap] = -1
        number_from_zero(region)
    if region.max() >= 0:
        absorb(mesh, region, far, least_cosine=-1.0)
    face, count, label = sub_components(region < 0, mesh.pairs)
    own = (np.bincount(label, mesh.area[face], count) >= min(OWN, least))[label]
    region[face[own]] = region.max() + 1 + label[own]  # too far from all others: planes of their own
    drop_slivers(mesh, region)
    return region


def _join_alike(mesh: Mesh, region: IntArray, noise: float) -> None:
    """Let neighbors join whose points lie on one plane but for outliers of the noise (in place)."""
    number_from_zero(region)
    normal, centroid = working_planes(mesh, region)
    face = np.flatnonzero(region >= 0)
    size, area = np.bincount(region[face]), np.bincount(region[face], mesh.area[face])
    sides = borders(mesh, region)
    while len(sides):
        low, high = np.minimum(*sides.T), np.maximum(*sides.T)
        key = np.unique((low * len(size) + high)[low < high])
        sides = np.stack(np.divmod(key, len(size)), axis=1)
        alike = np.einsum("kx,kx->k", normal[sides[:, 0]], normal[sides[:, 1]]) > ALIKE
        for a, b in sides[alike].tolist():
            big, little = (a, b) if area[a] >= area[b] else (b, a)
            mine = np.flatnonzero(region == little)
            middle = mesh.points[mesh.faces[mine]].mean(axis=1)
            away = (middle - centroid[big]) @ normal[big]
            if np.sqrt(np.average(away**2, weights=mesh.area[mine])) < 1.5 * noise:
                region[mine] = big
                sides[sides == little] = big
                size[big] += size[little]
                area[big] += area[little]
                some = face[:: max(int(size[big]) // SAMPLE, 1)]
                some = some[region[some] == big]
                normal[big], centroid[big] = (
                    one[0] for one in fit_planes(mesh, some, np.zeros(len(some), dtype=np.int64), 1)
                )
                break
        else:
            break
    number_from_zero(region)
