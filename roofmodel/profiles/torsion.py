"""Torsion, warping and shear of any cross-section by finite elements.

Saint-Venant's warping function and the shear functions of a Timoshenko beam, triangles with six nodes;
equations after Pilkey, Analysis and Design of Elastic Beams (2002), ch. 6 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Six points, exact to the fourth degree: Dunavant, Int. J. Numer. Meth. Eng. 21 (1985) 1129.
_A, _B = 0.445948490915965, 0.091576213509771
_POINTS = np.array([[p, p, 1 - 2 * p] for p in (_A, _B)])
_AREA = np.concatenate([[np.roll(p, k) for k in range(3)] for p in _POINTS])
_WEIGHT = np.repeat([0.223381589678011, 0.109951743655322], 3)


def _shape(L: Array) -> tuple[Array, Array]:
    """Values (p, 6) and derivatives by the area coordinates (p, 6, 3) at points (p, 3)."""
    a, b, c = L.T
    value = np.stack([a * (2 * a - 1), b * (2 * b - 1), c * (2 * c - 1), 4 * a * b, 4 * b * c, 4 * c * a], 1)
    slope = np.zeros((len(L), 6, 3))
    for i in range(3):
        slope[:, i, i] = 4.0 * L[:, i] - 1.0
        j = (i + 1) % 3
        slope[:, 3 + i, i], slope[:, 3 + i, j] = 4.0 * L[:, j], 4.0 * L[:, i]
    return value, slope


@dataclass(frozen=True)
class Elements:
    """Integration points of all triangles.

    Place (m, p, 2), weight (m, p), values (p, 6), slopes there (m, p, 2, 6) and at the nodes (m, 6, 2, 6).
    """

    xy: Array
    node: IntArray
    at: Array
    weight: Array
    value: Array
    slope: Array
    node_slope: Array


def elements(xy: Array, node: IntArray) -> Elements:
    """Integration points of triangles with straight edges."""
    value, by_area = _shape(_AREA)
    corner = xy[node[:, :3]]
    side = np.roll(corner, -1, axis=1) - np.roll(corner, 1, axis=1)  # opposite corner i
    twice = side[:, 0, 0] * side[:, 1, 1] - side[:, 0, 1] * side[:, 1, 0]
    grad = np.stack([side[..., 1], -side[..., 0]], axis=1) / twice[:, None, None]  # (m, 2, 3)
    slope = np.einsum("mdi,pni->mpdn", grad, by_area)
    ends = np.eye(3)
    at_nodes = _shape(np.concatenate([ends, 0.5 * (ends + np.roll(ends, -1, axis=0))]))[1]
    node_slope = np.einsum("mdi,pni->mpdn", grad, at_nodes)
    at = np.einsum("pi,mid->mpd", _AREA, corner)
    return Elements(xy, node, at, 0.5 * twice[:, None] * _WEIGHT, value, slope, node_slope)


@dataclass(frozen=True)
class Twisting:
    """What torsion and shear make of a section, about its centroid.

    Attributes
    ----------
    J : float
        [m^4]
    center : (2,) float
        Shear center (Trefftz). [m]
    I_w : float
        About the shear center. [m^6]
    omega : (n,) float
        Sectorial coordinate about the shear center at the nodes. [m^2]
    shear : (2,) float
        Shear areas for forces along x and y. [m^2]
    stress : (m, 6) float
        Shear stress at the nodes of each element for a unit torque. [1/m^3]
    flow : (r,) float
        Stress function on the rings of the outline for a unit torque, 0 on the outer one: the shear flow
        between two of them is the difference. [1/m^2]
    third : (2, 2) float
        int x (x^2 + y^2) and int y (x^2 + y^2). [m^5]
    """

    J: float
    center: Array
    I_w: float
    omega: Array
    shear: Array
    stress: Array
    flow: Array
    third: Array


def twisting(mesh: Elements, poisson: float, ring: IntArray, cell: Array) -> Twisting:
    """Torsion, warping and shear of a mesh about its centroid.

    Parameters
    ----------
    mesh : Elements
        Its origin is the centroid.
    poisson : float
        [-]
    ring : (n,) int
        Ring of the outline that each node is on, 0 the outer one, -1 none.
    cell : (r - 1,) float
        Area within the inner rings. [m^2]
    """
    x, y = mesh.at[..., 0], mesh.at[..., 1]
    w, n = mesh.weight, len(mesh.xy)

    def scatter(local: Array) -> Array:
        return np.asarray(np.bincount(mesh.node.ravel(), weights=local.ravel(), minlength=n), dtype=float)

    def gradient_load(g: Array) -> Array:
        return scatter(np.einsum("mp,mpdn,mpd->mn", w, mesh.slope, g))

    def value_load(f: Array) -> Array:
        return scatter(np.einsum("mp,pn,mp->mn", w, mesh.value, f))

    def gradient(u: Array) -> Array:
        return np.einsum("mpdn,mn->mpd", mesh.slope, u[mesh.node])

    stiff = np.einsum("mp,mpdi,mpdj->mij", w, mesh.slope, mesh.slope)
    row, column = np.repeat(mesh.node, 6, axis=1).ravel(), np.tile(mesh.node, (1, 6)).ravel()
    K = sparse.coo_array((stiff.ravel(), (row, column)), shape=(n, n)).tocsc()
    solve = _factored(K[1:, 1:])

    xx, yy, xy = (w * x * x).sum(), (w * y * y).sum(), (w * x * y).sum()
    area = w.sum()
    det = xx * yy - xy**2
    r, q = x * x - y * y, 2.0 * x * y
    turn = np.stack([y, -x], axis=-1)
    d = np.stack([yy * r - xy * q, xy * r + yy * q], axis=-1)
    h = np.stack([-xy * r + xx * q, -xx * r - xy * q], axis=-1)
    torsion = gradient_load(turn)
    along = 0.5 * poisson * gradient_load(d) + 2.0 * (1.0 + poisson) * value_load(yy * x - xy * y)
    across = 0.5 * poisson * gradient_load(h) + 2.0 * (1.0 + poisson) * value_load(xx * y - xy * x)
    found = np.zeros((n, 3))
    found[1:] = solve(np.stack([torsion, along, across], axis=1)[1:])
    warp, psi, phi = found.T
    J = xx + yy - warp @ torsion
    one, by_x, by_y = (value_load(f) @ warp for f in (np.ones_like(x), x, y))
    slope_x, slope_y = np.linalg.solve([[xx, xy], [xy, yy]], [by_x, by_y])
    # Turning about the shear center adds y_s x - x_s y to the warping: what is left is square to x and y.
    center = np.array([-slope_y, slope_x])
    omega = warp - one / area - slope_x * mesh.xy[:, 0] - slope_y * mesh.xy[:, 1]
    squared = np.einsum("pn,mn->mp", mesh.value, omega[mesh.node]) ** 2
    shear = [
        (2.0 * (1.0 + poisson) * det) ** 2 / (w[..., None] * (gradient(u) - 0.5 * poisson * g) ** 2).sum()
        for u, g in ((psi, d), (phi, h))
    ]
    own = mesh.xy[mesh.node]
    at_nodes = np.einsum("mqdn,mn->mqd", mesh.node_slope, warp[mesh.node])
    stress = np.linalg.norm(at_nodes - np.stack([own[..., 1], -own[..., 0]], axis=-1), axis=-1) / J
    third = np.array([(w * x * (x * x + y * y)).sum(), (w * y * (x * x + y * y)).sum()])
    flow = _flow(K, 2.0 * value_load(np.ones_like(x)), ring, cell)
    return Twisting(float(J), center, float((w * squared).sum()), omega, np.array(shear), stress, flow, third)


def _factored(K: sparse.csc_array) -> Callable[[Array], Array]:
    solve: Callable[[Array], Array] = splu(K, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0).solve
    return solve


def _flow(K: sparse.csc_array, load: Array, ring: IntArray, cell: Array) -> Array:
    """Prandtl's stress function on the rings for a unit torque, (r,): one value each, 0 on the outer."""
    if not len(cell):
        return np.zeros(1)
    free = np.flatnonzero(ring < 0)
    held = np.flatnonzero(ring > 0)
    column = np.concatenate([np.arange(len(free)), len(free) + ring[held] - 1])
    tie = sparse.csc_array(
        (np.ones(len(column)), (np.concatenate([free, held]), column)),
        shape=(len(ring), len(free) + len(cell)),
    )
    load = np.asarray(tie.T @ load)
    load[len(free) :] += 2.0 * cell
    found = _factored((tie.T @ K @ tie).tocsc())(load)
    return np.concatenate([[0.0], found[len(free) :] / (load @ found)])
