"""Flat shell element with three nodes, six degrees of freedom each, all elements at once.

- Membrane with drilling: the optimal triangle of Felippa's ANDES family (OPT), nine unknowns; pairs of them
  bend in their plane without locking, whatever their side ratio.
- Bending and transverse shear: Katili's discrete Kirchhoff-Mindlin triangle (DKMT). Edges bow, and the bow
  follows from the shear angle along the edge, so that thin sheets do not lock and become the discrete
  Kirchhoff triangle, while thick ones keep their shear.

Every element is a sum of 18 generalized strains: mean membrane strain (3), drilling less the mean rotation
(3), curvatures at the middles of the edges (3 x 3), shear angles along the edges (3).

Sources (from memory): Felippa, CMAME 192 (2003) 2125; Katili, IJNME 36 (1993) 1859.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.elements.quads import SHEAR_FACTOR, plane_stress
from roofmodel.hardware import Material

Array = NDArray[np.float64]

BASIC = 1.5  # how much drilling bows an edge, Allman's value is 1
MIDDLES = np.array([[0.5, 0.5, 0.0], [0.0, 0.5, 0.5], [0.5, 0.0, 0.5]])  # area coordinates, equal weights
CENTER_AND_CORNERS = np.vstack([np.full(3, 1.0 / 3.0), np.eye(3)])
NEXT, LAST = np.array([1, 2, 0]), np.array([2, 0, 1])
BETA = np.array([1.0, 2.0, 1.0, 0.0, 1.0, -1.0, -1.0, -1.0, -2.0])
# Corner by corner: natural strains along the edges 1-2, 2-3, 3-1 (rows) from drilling (columns).
CORNER_STRAIN = np.stack(
    [BETA, BETA[[8, 6, 7, 2, 0, 1, 5, 3, 4]], BETA[[4, 5, 3, 7, 8, 6, 1, 2, 0]]]
).reshape(3, 3, 3)

MEAN, DRILL, CURVATURE, SHEAR = slice(0, 3), slice(3, 6), slice(6, 15), slice(15, 18)


@dataclass(frozen=True)
class Facet:
    """Elements in their planes.

    Attributes
    ----------
    axes : (m, 3, 3) float
        Rows are local x, along the first edge, local y and the normal.
    area : (m,) float
        [m^2]
    slope : (m, 3, 2) float
        Gradients of the area coordinates. [1/m]
    side : (m, 3, 2) float
        Edges 1-2, 2-3, 3-1. [m]
    length : (m, 3) float
        Of the edges. [m]
    """

    axes: Array
    area: Array
    slope: Array
    side: Array
    length: Array


def facets(xyz: Array) -> Facet:
    """Triangles (m, 3, 3) in their planes."""
    x = xyz[:, 1] - xyz[:, 0]
    normal = np.cross(x, xyz[:, 2] - xyz[:, 0])
    twice = np.linalg.norm(normal, axis=1)
    normal = normal / twice[:, None]
    x = x / np.linalg.norm(x, axis=1)[:, None]
    axes = np.stack([x, np.cross(normal, x), normal], axis=1)
    side = (xyz[:, NEXT] - xyz) @ np.swapaxes(axes[:, :2], 1, 2)
    length = np.sqrt((side**2).sum(axis=2))
    return Facet(axes, 0.5 * twice, _turn(side[:, NEXT]) / twice[:, None, None], side, length)


def _turn(vector: Array) -> Array:
    """Normal cross an in-plane vector (..., 2)."""
    return np.stack([-vector[..., 1], vector[..., 0]], axis=-1)


def _strain(vector: Array, gradient: Array) -> Array:
    """Strains xx, yy and shear angle (..., 3) of displacement along `vector` with that gradient."""
    a, b = vector, gradient
    return np.stack(
        [a[..., 0] * b[..., 0], a[..., 1] * b[..., 1], a[..., 0] * b[..., 1] + a[..., 1] * b[..., 0]], axis=-1
    )


def _membrane_rows(facet: Facet) -> Array:
    """Mean strains and drilling less mean rotation, (m, 6, 3, 3), of local ux, uy, rz."""
    rows = np.zeros((len(facet.area), 6, 3, 3))
    rows[:, 0, :, 0] = rows[:, 2, :, 1] = facet.slope[..., 0]
    rows[:, 1, :, 1] = rows[:, 2, :, 0] = facet.slope[..., 1]
    out = _turn(facet.side)
    square = _strain(out, out)
    bow = np.swapaxes(square[:, LAST] - square, 1, 2)  # edges bow between unequal drilling of their ends
    rows[:, MEAN, :, 2] = bow * (BASIC / 12.0 / facet.area)[:, None, None]
    rows[:, DRILL, :, :2] = -0.5 * _turn(facet.slope)[:, None]
    rows[:, DRILL, :, 2] = np.eye(3)
    return rows


def _corner_strain(facet: Facet) -> Array:
    """Strains at the corners, (m, corner, 3, 3), of the three drilling rotations less the mean one."""
    natural = _strain(facet.slope, facet.slope[:, NEXT])  # (m, edge, 3)
    strain = np.swapaxes(natural, 1, 2)[:, None] @ CORNER_STRAIN
    return np.asarray(strain * (-2.0 / 3.0 * facet.area)[:, None, None, None])


def _edge_shear(facet: Facet) -> Array:
    """Mean shear angle along the edges (m, 3, 9) of local w, rx, ry, edges straight."""
    edge = np.zeros((len(facet.length), 3, 3, 3))
    inverse, turned = 1.0 / facet.length, 0.5 * _turn(facet.side) / facet.length[..., None]
    for k in range(3):
        after = (k + 1) % 3
        edge[:, k, k, 0], edge[:, k, after, 0] = -inverse[:, k], inverse[:, k]
        edge[:, k, k, 1:] = edge[:, k, after, 1:] = turned[:, k]
    return edge.reshape(-1, 3, 9)


def _bending_rows(facet: Facet, edge: Array, softness: Array, points: Array) -> Array:
    """Curvatures at area coordinates (p, 3), (m, p, 3, 9), of local w, rx, ry.

    `edge` holds the shear angles of the edges were they straight; `softness` (m, 3) is that of edges in shear
    over that in bending, 12 D / (k G t L^2).
    """
    m = len(softness)
    linear = np.zeros((m, 3, 3, 3))
    linear[:, 0, :, 2] = linear[:, 2, :, 2] = facet.slope[..., 0]
    linear[:, 2, :, 2] = linear[:, 1, :, 1] = facet.slope[..., 1]
    linear[:, 1, :, 1] *= -1.0
    linear[:, 2, :, 1] = -facet.slope[..., 0]
    unit = facet.side / facet.length[..., None]
    here, there = facet.slope[:, None], facet.slope[:, None, NEXT]
    gradient = 4.0 * (points[:, :, None] * there + points[:, NEXT, None] * here)
    bow = _strain(unit[:, None], gradient) * (-1.5 / (1.0 + softness))[:, None, :, None]
    return np.asarray(linear.reshape(m, 1, 3, 9) + np.swapaxes(bow, 2, 3) @ edge[:, None])


def _softness(facet: Facet, thickness: Array, material: Material) -> Array:
    """How soft edges are in shear over bending, (m, 3)."""
    bending = float(plane_stress(material)[0, 0]) * thickness**2 / (SHEAR_FACTOR * material.G)
    return np.asarray(bending[:, None] / facet.length**2)


def _to_global(facet: Facet, membrane: Array, bending: Array) -> Array:
    """Rows on local unknowns, (m, r, 3, 3) each, to rows (m, r1 + r2, 18) on global ones, membrane first."""
    m, first, second = len(facet.area), membrane.shape[1], bending.shape[1]
    rows = np.zeros((m, first + second, 3, 6))
    across, normal = facet.axes[:, None, :2], facet.axes[:, None, None, 2]
    rows[:, :first, :, :3] = (membrane[..., :2].reshape(m, 1, -1, 2) @ across).reshape(m, first, 3, 3)
    rows[:, :first, :, 3:] = membrane[..., 2:] * normal
    rows[:, first:, :, :3] = bending[..., :1] * normal
    rows[:, first:, :, 3:] = (bending[..., 1:].reshape(m, 1, -1, 2) @ across).reshape(m, second, 3, 3)
    return rows.reshape(m, first + second, 18)


def strain_rows(facet: Facet, thickness: Array, material: Material, points: Array) -> Array:
    """Generalized strains of global corner displacements, curvatures at area coordinates (p, 3).

    Returns
    -------
    (m, 6 + 3 p + 3, 18) float
        Mean strain, drilling, curvatures point by point, shear angles of the edges.
    """
    m = len(thickness)
    soft = _softness(facet, thickness, material)
    edge = _edge_shear(facet)
    curvature = _bending_rows(facet, edge, soft, points).reshape(m, -1, 3, 3)
    shear = ((soft / (1.0 + soft))[..., None] * edge).reshape(m, 3, 3, 3)
    return _to_global(facet, _membrane_rows(facet), np.concatenate([curvature, shear], axis=1))


def _shear_field(facet: Facet, points: Array) -> Array:
    """From shear angles along the edges to xz, yz at area coordinates (p, 3), (m, p, 2, 3)."""
    here, there = facet.slope[:, None], facet.slope[:, None, NEXT]
    field = points[:, :, None] * there - points[:, NEXT, None] * here
    return np.swapaxes(field * facet.length[:, None, :, None], 2, 3)


def _drilling_share(material: Material) -> float:
    """Felippa's optimal weight of the drilling strains, 1/2 - 2 nu^2, kept above 0.01."""
    poisson = material.E / (2.0 * material.G) - 1.0
    return 0.75 * max(0.5 - 2.0 * poisson**2, 0.01)


def triangle_stiffness(xyz: Array, thickness: Array, material: Material) -> Array:
    """Stiffness of triangles in global axes.

    Parameters
    ----------
    xyz : (m, 3, 3) float
        Corners. [m]
    thickness : (m,) float
        [m]
    material : Material

    Returns
    -------
    (m, 18, 18) float
        For ux, uy, uz, rx, ry, rz of each corner. [N/m, N, N m]
    """
    facet = facets(xyz)
    rows = strain_rows(facet, thickness, material, MIDDLES)
    m, D = len(thickness), plane_stress(material)
    force = np.empty_like(rows)
    volume = (thickness * facet.area)[:, None, None]
    force[:, MEAN] = D @ rows[:, MEAN] * volume
    strain = (MIDDLES @ _corner_strain(facet).reshape(m, 3, 9)).reshape(m, 9, 3)
    stress = (D @ strain.reshape(m, 3, 3, 3)).reshape(m, 9, 3)
    share = _drilling_share(material) * volume
    force[:, DRILL] = (np.swapaxes(strain, 1, 2) @ stress) @ rows[:, DRILL] * share
    bend = (volume * thickness[:, None, None] ** 2 / 36.0)[..., None]
    force[:, CURVATURE] = (D @ rows[:, CURVATURE].reshape(m, 3, 3, 18) * bend).reshape(m, 9, 18)
    tie = _shear_field(facet, MIDDLES).reshape(m, 6, 3)
    shear = np.swapaxes(tie, 1, 2) @ tie * (SHEAR_FACTOR * material.G / 3.0 * volume)
    force[:, SHEAR] = shear @ rows[:, SHEAR]
    return np.asarray(np.swapaxes(rows, 1, 2) @ force)


def triangle_pressure(xyz: Array, pressure: Array) -> Array:
    """Nodal loads (m, 18, q) of pressure (m, q) along the normal, a third to each corner. [N]."""
    facet = facets(xyz)
    load = np.zeros((len(xyz), 3, 6, pressure.shape[1]))
    share = (facet.area / 3.0)[:, None] * facet.axes[:, 2]
    load[:, :, :3] = share[:, None, :, None] * pressure[:, None, None]
    return load.reshape(len(xyz), 18, -1)


def triangle_body(xyz: Array, thickness: Array, force: Array) -> Array:
    """Nodal loads (m, 18, q) of a force per volume (3, q) in global axes, a third to each corner. [N]."""
    load = np.zeros((len(xyz), 3, 6, force.shape[1]))
    load[:, :, :3] = (facets(xyz).area * thickness / 3.0)[:, None, None, None] * force
    return load.reshape(len(xyz), 18, -1)


def triangle_thermal(xyz: Array, thickness: Array, material: Material, rise: Array, gradient: Array) -> Array:
    """Nodal loads (m, 18, q) that hold a restrained rise (m, q) and gradient (m, q) through the sheet."""
    facet = facets(xyz)
    rows = strain_rows(facet, thickness, material, MIDDLES)
    equal = plane_stress(material)[:, :2].sum(axis=1) * material.alpha
    volume = (thickness * facet.area)[:, None, None]
    stretch = np.einsum("mrd,r->md", rows[:, MEAN], equal)[..., None] * rise[:, None]
    bend = np.einsum("mrd,r->md", rows[:, CURVATURE], np.tile(equal, 3))[..., None] * gradient[:, None]
    return np.asarray(volume * (stretch + thickness[:, None, None] ** 2 / 36.0 * bend))


def triangle_resultants(
    xyz: Array, thickness: Array, material: Material, u: Array
) -> tuple[Array, Array, Array, Array]:
    """Axes, membrane forces, moments and shear forces of triangles; see `fea.elements.shells`.

    Shear forces are right where elements are no larger than a few thicknesses. In thin sheets they are an
    estimate to some tens of percent that no refinement betters: they follow from how single edges bow.
    """
    facet = facets(xyz)
    m, D, points = len(xyz), plane_stress(material), CENTER_AND_CORNERS
    strain = strain_rows(facet, thickness, material, points) @ u
    t = thickness[:, None, None, None]
    # The energy of the drilling strains is a share of what they would do in full, so is their square.
    corner = np.sqrt(3.0 * _drilling_share(material)) * _corner_strain(facet).reshape(m, 3, 9)
    linear = (points @ corner).reshape(m, 4, 3, 3) @ strain[:, None, DRILL]
    shear = _shear_field(facet, points) @ strain[:, None, -3:]
    return (
        facet.axes,
        t * (D @ (strain[:, None, MEAN] + linear)),
        t**3 / 12.0 * (D @ strain[:, DRILL.stop : -3].reshape(m, 4, 3, -1)),
        SHEAR_FACTOR * material.G * t * shear,
    )
