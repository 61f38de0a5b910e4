"""Flat shells with three or four nodes: one door to both elements.

Six degrees of freedom a node, ux, uy, uz, rx, ry, rz, global axes. Local axes of an element: its normal by
the right-hand rule from the order of the corners, x and y in its plane. Membrane forces are positive in
tension; a moment is positive when it stretches the face the normal points from (the top).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.elements import quads, triangles
from roofmodel.hardware import Material

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Resultants:
    """Forces and moments per length of shells, local axes, at p points: the middle, then the corners.

    Attributes
    ----------
    axes : (m, 3, 3) float
        Rows are local x, y and the normal in global components.
    membrane : (m, p, 3, q) float
        N_xx, N_yy, N_xy. [N/m]
    moment : (m, p, 3, q) float
        M_xx, M_yy, M_xy, positive with tension on top. [N]
    shear : (m, p, 2, q) float
        Q_xz, Q_yz. [N/m]
    """

    axes: Array
    membrane: Array
    moment: Array
    shear: Array


def shell_stiffness(xyz: Array, thickness: Array, material: Material) -> Array:
    """Stiffness matrices of shells.

    Parameters
    ----------
    xyz : (m, k, 3) float
        Corners, k = 3 or 4. [m]
    thickness : (m,) float
        [m]
    material : Material

    Returns
    -------
    (m, 6 k, 6 k) float
        [N/m, N, N m]
    """
    if xyz.shape[1] == 3:
        return triangles.triangle_stiffness(xyz, thickness, material)
    return quads.quad_stiffness(xyz, thickness, material)


def pressure_load(xyz: Array, pressure: Array) -> Array:
    """Nodal loads (m, 6 k, q) of pressure (m, q) along the normals of shells (m, k, 3). [N, N m]."""
    if xyz.shape[1] == 3:
        return triangles.triangle_pressure(xyz, pressure)
    return quads.quad_pressure(xyz, pressure)


def body_load(xyz: Array, thickness: Array, force: Array) -> Array:
    """Nodal loads (m, 6 k, q) of a force per volume (3, q) [N/m^3] in global axes. [N, N m]."""
    if xyz.shape[1] == 3:
        return triangles.triangle_body(xyz, thickness, force)
    return quads.quad_body(xyz, thickness, force)


def thermal_load(xyz: Array, thickness: Array, material: Material, rise: Array, gradient: Array) -> Array:
    """Nodal loads of a change of temperature.

    Parameters
    ----------
    xyz : (m, k, 3) float
        [m]
    thickness : (m,) float
        [m]
    material : Material
    rise : (m, q) float
        Mean change. [K]
    gradient : (m, q) float
        Change along the normal, top hotter positive. [K/m]

    Returns
    -------
    (m, 6 k, q) float
        Loads that give a free shell its free expansion; take the stress of the same strain from what
        `shell_resultants` finds. [N, N m]
    """
    if xyz.shape[1] == 3:
        return triangles.triangle_thermal(xyz, thickness, material, rise, gradient)
    return quads.quad_thermal(xyz, thickness, material, rise, gradient)


def shell_resultants(xyz: Array, thickness: Array, material: Material, u: Array) -> Resultants:
    """Forces and moments of shells for global corner displacements.

    Parameters
    ----------
    xyz : (m, k, 3) float
        [m]
    thickness : (m,) float
        [m]
    material : Material
    u : (m, 6 k, q) float
        [m, rad]

    Returns
    -------
    Resultants
    """
    work = triangles.triangle_resultants if xyz.shape[1] == 3 else quads.quad_resultants
    return Resultants(*work(xyz, thickness, material, u))


def free_resultants(
    thickness: Array, material: Material, rise: Array, gradient: Array
) -> tuple[Array, Array]:
    """Membrane force and moment (m, q), equal in all directions, of a held change of temperature.

    Subtract them from the resultants of the solved displacements to get the stress. [N/m, N]
    """
    equal = float(quads.plane_stress(material)[0, :2].sum()) * material.alpha
    return equal * thickness[:, None] * rise, equal * thickness[:, None] ** 3 / 12.0 * gradient


def surface_stress(resultants: Resultants, thickness: Array) -> Array:
    """Von Mises stress (m, p, 2, q) on the top and bottom face, without transverse shear. [Pa]."""
    t = thickness[:, None, None, None]
    membrane, bending = resultants.membrane / t, 6.0 * resultants.moment / t**2
    faces = np.stack([membrane + bending, membrane - bending], axis=2)
    x, y, xy = faces[..., 0, :], faces[..., 1, :], faces[..., 2, :]
    return np.asarray(np.sqrt(x**2 - x * y + y**2 + 3.0 * xy**2))
