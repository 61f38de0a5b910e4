"""Exact straight Timoshenko beams in space.

Element axes: x along the beam, y and z principal. Degrees of freedom of an end: translations along x, y, z
and rotations about x, y, z by the right-hand rule. With no distributed bending moments the shape functions
below solve the beam's own equations, so stiffness, nodal loads and recovery are exact for any length.

Sources: Przemieniecki, Theory of Matrix Structural Analysis, 5.6; Friedman and Kosmatka, Computers and
Structures 47 (1993) 473 (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.hardware import Rail

Array = NDArray[np.float64]

# Degrees of freedom of the two bending planes, each as (v1, r1, v2, r2), and the sign that turns a rotation
# about y or z into the slope of the deflection: u_y' = +r_z, u_z' = -r_y for a beam without shear strain.
PLANE_DOF = np.array([[1, 5, 7, 11], [2, 4, 8, 10]])
PLANE_SIGN = np.array([1.0, -1.0])


@dataclass(frozen=True)
class Stiff:
    """Section stiffness: EA [N], GJ [N m^2], bending EI and shear compliance 1/GA_s of the planes xy, xz.

    `bending` is (EI_z, EI_y) and `shear` (1/GA_y, 1/GA_z): by plane, not by axis. `alpha` is the thermal
    expansion. [1/K]
    """

    axial: float
    torsion: float
    bending: Array
    shear: Array
    alpha: float


@dataclass(frozen=True)
class BeamStiffness:
    """Section stiffness of a beam in its own axes through the centroid.

    Attributes
    ----------
    axial : float
        EA. [N]
    bending : (2, 2) float
        [[EI_y, EI_yz], [EI_yz, EI_z]] with I_yz = integral of y z. [N m^2]
    shear : (2,) float
        Compliances 1/(G A_y), 1/(G A_z) of forces along y and z, 0 for none. [1/N]
    torsion : float
        GJ. [N m^2]
    warping : float
        EI_w, 0 for none. [N m^4]
    center : (2,) float
        Shear center (y, z) from the centroid. [m]
    alpha : float
        Thermal expansion. [1/K]
    mass : float
        Per length. [kg/m]
    """

    axial: float
    bending: Array
    shear: Array
    torsion: float
    warping: float
    center: Array
    alpha: float
    mass: float = 0.0


def rail_stiffness(rail: Rail) -> Stiff:
    """Section stiffness of a rail."""
    section, material = rail.section, rail.material
    return Stiff(
        axial=material.E * section.area,
        torsion=material.G * section.J,
        bending=material.E * np.array([section.I_z, section.I_y]),
        shear=1.0 / (material.G * np.array([section.shear_y, section.shear_z])),
        alpha=material.alpha,
    )


def shear_parameter(L: Array, stiff: Stiff) -> Array:
    """Ratio 12 EI / (GA_s L^2) of elements in both planes, (m, 2). [-]."""
    return np.asarray(12.0 * stiff.bending * stiff.shear / L[:, None] ** 2)


def beam_stiffness(L: Array, stiff: Stiff) -> Array:
    """Stiffness matrices.

    Parameters
    ----------
    L : (m,) float
        Lengths. [m]
    stiff : Stiff

    Returns
    -------
    (m, 12, 12) float
        [N/m, N, N m]
    """
    K = np.zeros((len(L), 12, 12))
    for first, value in ((0, stiff.axial / L), (3, stiff.torsion / L)):
        pair = np.array([first, first + 6])
        K[:, pair[:, None], pair] = value[:, None, None] * np.array([[1.0, -1.0], [-1.0, 1.0]])
    phi = shear_parameter(L, stiff)
    for plane, (dof, sign) in enumerate(zip(PLANE_DOF, PLANE_SIGN, strict=True)):
        p = phi[:, plane]
        k = stiff.bending[plane] / ((1.0 + p) * L**3)
        near, far, arm = (4.0 + p) * L**2, (2.0 - p) * L**2, sign * 6.0 * L
        twelve = np.full_like(L, 12.0)
        rows = [
            [twelve, arm, -twelve, arm],
            [arm, near, -arm, far],
            [-twelve, -arm, twelve, -arm],
            [arm, far, -arm, near],
        ]
        K[:, dof[:, None], dof] = k[:, None, None] * np.moveaxis(np.array(rows), 2, 0)
    return K


def shape_functions(xi: Array, L: Array, phi: Array) -> tuple[Array, Array]:
    """Deflection and rotation of a bending plane for unit values of (v1, r1, v2, r2).

    Parameters
    ----------
    xi : (m,) float
        Position over the length, 0 to 1.
    L : (m,) float
        [m]
    phi : (m,) float
        Shear parameter of the plane.

    Returns
    -------
    deflection, rotation : (m, 4) float
        For the sign of the plane xy; in xz the values of the rotations change sign.
    """
    scale = 1.0 / (1.0 + phi)
    bow = xi - xi**2
    deflection = [
        1.0 - 3.0 * xi**2 + 2.0 * xi**3 + phi * (1.0 - xi),
        L * (xi * (1.0 - xi) ** 2 + phi / 2.0 * bow),
        3.0 * xi**2 - 2.0 * xi**3 + phi * xi,
        L * (-(xi**2) * (1.0 - xi) - phi / 2.0 * bow),
    ]
    rotation = [
        -6.0 * bow / L,
        1.0 - 4.0 * xi + 3.0 * xi**2 + phi * (1.0 - xi),
        6.0 * bow / L,
        3.0 * xi**2 - 2.0 * xi + phi * xi,
    ]
    return scale[:, None] * np.stack(deflection, axis=1), scale[:, None] * np.stack(rotation, axis=1)


def point_load_vectors(x: Array, L: Array, stiff: Stiff) -> Array:
    """Nodal loads that unit point loads inside elements are worth.

    Parameters
    ----------
    x : (m,) float
        Positions from the elements' starts. [m]
    L : (m,) float
        Lengths of the elements. [m]
    stiff : Stiff

    Returns
    -------
    (m, 12, 6) float
        Nodal loads of the element for unit forces and moments along and about x, y, z.
    """
    vectors = np.zeros((len(x), 12, 6))
    xi, phi = x / L, shear_parameter(L, stiff)
    for component in (0, 3):
        vectors[:, component, component] = 1.0 - xi
        vectors[:, component + 6, component] = xi
    for plane, (dof, sign) in enumerate(zip(PLANE_DOF, PLANE_SIGN, strict=True)):
        deflection, rotation = shape_functions(xi, L, phi[:, plane])
        turn = np.array([1.0, sign, 1.0, sign])
        vectors[:, dof, dof[0]] = deflection * turn
        vectors[:, dof, dof[1]] = rotation * turn * sign
    return vectors


def line_load_vectors(a: Array, b: Array, L: Array, stiff: Stiff) -> Array:
    """Nodal loads of unit uniform loads on part of an element.

    Parameters
    ----------
    a, b : (m,) float
        Ends of the loaded part from the elements' starts. [m]
    L : (m,) float
        Lengths of the elements. [m]
    stiff : Stiff

    Returns
    -------
    (m, 12, 4) float
        Nodal loads for unit line loads along x, y, z and unit torsion about x per meter.

    Notes
    -----
    The shape functions are cubic, so two Gauss points integrate them exactly.
    """
    middle, half = (a + b) / 2.0, (b - a) / 2.0
    offset = half / np.sqrt(3.0)
    total = point_load_vectors(middle - offset, L, stiff) + point_load_vectors(middle + offset, L, stiff)
    return half[:, None, None] * total[:, :, :4]


def end_forces(L: Array, stiff: Stiff, displacement: Array) -> Array:
    """Forces that the nodes put on the elements' starts for given end displacements.

    Parameters
    ----------
    L : (m,) float
        [m]
    stiff : Stiff
    displacement : (m, 12, q) float
        [m, rad]

    Returns
    -------
    (m, 6, q) float
        [N, N m]

    Notes
    -----
    The rigid motion of the start is taken out first, so that a stiff short element on soft clamps
    loses no digits to its travel.
    """
    start, end = displacement[:, :6], displacement[:, 6:]
    strain = end - start
    length = L[:, None]
    strain[:, 1] -= length * start[:, 5]
    strain[:, 2] += length * start[:, 4]
    return np.asarray(beam_stiffness(L, stiff)[:, :6, 6:] @ strain)
