"""Exact straight Timoshenko beams in space, of any section, with warping torsion where it is open.

Element axes: x along the beam through the centroids, y and z those of the section. Degrees of freedom of an
end: translations along x, y, z of the centroid and rotations about x, y, z by the right-hand rule; an open
section adds the rate of twist of each end, so that the twelve are followed by two (`BeamStiffness.width`).
Bending acts on the line of shear centers, y and z coupled by the product of inertia; torsion about
that line is St Venant's and Vlasov's (`beam_torsion`). The shape functions solve the beam's own equations, so
stiffness, nodal loads and recovery are exact for any length.

The force of a rate of twist c is the bimoment B = EI_w c'; forces, moments and bimoments count as positive on
the piece to the left of a cut.

Sources: Przemieniecki, Theory of Matrix Structural Analysis, 5.6; Friedman and Kosmatka, Computers and
Structures 47 (1993) 473 (both from memory); coupled planes by the same derivation with 2 x 2 matrices.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.elements.beam_data import Beams, BeamStiffness
from fea.elements.beam_torsion import torsion_stiffness
from roofmodel.errors import InputError
from roofmodel.hardware import Rail

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# Degrees of freedom of the two bending planes, each as (v1, r1, v2, r2), and the sign that turns a rotation
# about y or z into the slope of the deflection: u_y' = +r_z, u_z' = -r_y for a beam without shear strain.
PLANE_DOF = np.array([[1, 5, 7, 11], [2, 4, 8, 10]])
PLANE_SIGN = np.array([1.0, -1.0])
TWIST_DOF = np.array([3, 12, 9, 13])  # twist and its rate at the start, then at the end
END_WORDS = ("N", "V_y", "V_z", "T", "M_y", "M_z", "bimoment")
LOOSE = 1e-12  # stiffness of what a release lets go, over that of its parts, that counts as none


def rail_stiffness(rail: Rail) -> BeamStiffness:
    """Section stiffness of a rail."""
    section, material = rail.section, rail.material
    E, G = material.E, material.G
    return BeamStiffness(
        axial=E * section.area,
        bending=E * np.array([[section.I_y, section.I_yz], [section.I_yz, section.I_z]]),
        shear=1.0 / (G * np.array([section.shear_y, section.shear_z])),
        torsion=G * section.J,
        warping=E * section.I_w,
        center=np.array([section.center_y, section.center_z]),
        alpha=material.alpha,
        mass=section.area * material.density,
    )


def odd_bending(L: Array, stiff: BeamStiffness) -> Array:
    """Stiffness (m, 2, 2) of equal moments at both ends against equal slopes over the chord. [N m]."""
    flexible = L[:, None, None] / 6.0 * np.linalg.inv(stiff.plane_bending)
    flexible += 2.0 / L[:, None, None] * np.diag(stiff.shear)
    if stiff.coupled:
        return np.linalg.inv(flexible)
    odd = np.zeros_like(flexible)
    odd[:, [0, 1], [0, 1]] = 1.0 / flexible[:, [0, 1], [0, 1]]
    return odd


def to_shear_center(K: Array, center: Array) -> Array:
    """Rows of (m, w, ...) that belong to displacements of the shear center, for those of the centroid.

    The shear center moves by v - z t and w + y t when the centroid moves by v, w and twists by t.
    """
    y, z = center
    moved = K.copy()
    for end in (0, 6):
        moved[:, end + 3] += y * K[:, end + 2] - z * K[:, end + 1]
    return moved


def beam_stiffness(L: Array, stiff: BeamStiffness) -> Array:
    """Stiffness matrices in element axes.

    Parameters
    ----------
    L : (m,) float
        Lengths. [m]
    stiff : BeamStiffness

    Returns
    -------
    (m, w, w) float
        w = `stiff.width`. [N/m, N, N m and times m for rates of twist]
    """
    K = np.zeros((len(L), stiff.width, stiff.width))
    pair = np.array([[1.0, -1.0], [-1.0, 1.0]])
    K[:, [[0], [6]], [0, 6]] = (stiff.axial / L)[:, None, None] * pair
    if stiff.warping > 0.0:
        K[:, TWIST_DOF[:, None], TWIST_DOF] = torsion_stiffness(L, stiff.torsion, stiff.warping)
    else:
        K[:, [[3], [9]], [3, 9]] = (stiff.torsion / L)[:, None, None] * pair
    odd, even = odd_bending(L, stiff), stiff.plane_bending
    for i, j in ((0, 0), (1, 1), (0, 1), (1, 0)) if stiff.coupled else ((0, 0), (1, 1)):
        si, sj, k = PLANE_SIGN[i], PLANE_SIGN[j], odd[:, i, j]
        move, turn, side = 2.0 * k / L**2, even[i, j] / L, k / L
        near, far = si * sj * (0.5 * k + turn), si * sj * (0.5 * k - turn)
        rows = [
            [move, sj * side, -move, sj * side],
            [si * side, near, -si * side, far],
            [-move, -sj * side, move, -sj * side],
            [si * side, far, -si * side, near],
        ]
        K[:, PLANE_DOF[i][:, None], PLANE_DOF[j]] = np.moveaxis(np.array(rows), 2, 0)
    if stiff.eccentric:
        half = np.swapaxes(to_shear_center(K, stiff.center), 1, 2)
        K = np.swapaxes(to_shear_center(half, stiff.center), 1, 2)
    return K


def strains(L: Array, displacement: Array) -> Array:
    """Motion of the end over the rigid motion of the start, and the rates of twist, (m, w - 6, q).

    Taken out first, so that a stiff short element on soft supports loses no digits to its travel.
    """
    start, strain = displacement[:, :6], displacement[:, 6:].copy()
    strain[:, :6] -= start
    length = L[:, None]
    strain[:, 1] -= length * start[:, 5]
    strain[:, 2] += length * start[:, 4]
    return strain


def start_forces(L: Array, stiff: BeamStiffness, displacement: Array) -> Array:
    """Forces that the nodes put on the elements' starts for given end displacements.

    Parameters
    ----------
    L : (m,) float
        [m]
    stiff : BeamStiffness
    displacement : (m, w, q) float
        [m, rad, rad/m]

    Returns
    -------
    (m, 6, q) float
        [N, N m]
    """
    return np.asarray(beam_stiffness(L, stiff)[:, :6, 6:] @ strains(L, displacement))


def check_beams(ends: Array, beams: Beams) -> None:
    """Refuse beams that are none.

    Raises
    ------
    InputError
        A length that is not positive, a y axis along the beam, a stiffness that is not positive, a
        warping degree of freedom of a section that has no warping stiffness.
    """
    stiff, name = beams.stiffness, beams.name
    values = [
        stiff.axial,
        stiff.torsion,
        stiff.warping,
        *np.ravel(stiff.bending),
        *stiff.shear,
        *stiff.center,
    ]
    if not np.isfinite(values).all():
        message = f'beams "{name}": a section stiffness is not a number.'
        raise InputError(message)
    if not (stiff.axial > 0.0 and (stiff.torsion > 0.0 or (stiff.torsion == 0.0 and stiff.warping > 0.0))):
        message = f'beams "{name}": EA = {stiff.axial:g} N and GJ = {stiff.torsion:g} N m^2 must be positive.'
        raise InputError(message)
    b = np.asarray(stiff.bending, dtype=float)
    if not (b[0, 0] > 0.0 and b[0, 0] * b[1, 1] > b[0, 1] ** 2 and np.isclose(b[0, 1], b[1, 0], rtol=1e-9)):
        message = f'beams "{name}": EI_y and EI_z must be positive, and EI_yz^2 less than their product.'
        raise InputError(message)
    if stiff.warping < 0.0 or np.min(stiff.shear) < 0.0:
        message = f'beams "{name}": EI_w and shear compliances must not be negative.'
        raise InputError(message)
    if stiff.warping == 0.0 and (beams.warp >= 0).any():
        message = f'beams "{name}": a section with EI_w = 0 has no warping degrees of freedom; use -1.'
        raise InputError(message)
    run = ends[:, 1] - ends[:, 0] + beams.offset[:, 1] - beams.offset[:, 0]
    size = np.linalg.norm(run, axis=1)
    bad = np.flatnonzero(~(size > 0.0) | ~np.isfinite(size))
    if len(bad):
        message = f'beams "{name}": element {bad[0]} has no length.'
        raise InputError(message)
    side, given = np.linalg.norm(np.cross(run, beams.axis_y), axis=1), np.linalg.norm(beams.axis_y, axis=1)
    bad = np.flatnonzero(~(side > 1e-6 * size * given))
    if len(bad):
        message = f'beams "{name}": axis_y of element {bad[0]} must not be zero or along the beam.'
        raise InputError(message)


@dataclass(frozen=True)
class LocalBeams:
    """Beams in their own axes, ready for loads and forces.

    Attributes
    ----------
    stiff : BeamStiffness
        Without warping where no element keeps any.
    length : (m,) float
        Between the ends of the arms. [m]
    axes : (m, 3, 3) float
        Rows are local x, y, z.
    turn : (m, w, w) float
        From displacements of the nodes, global, to those of the ends, local.
    K : (m, w, w) float
        Stiffness in local axes before releases.
    slack : (m, w, w) float
        Displacement of the released parts for unit forces on them, zero elsewhere.
    """

    stiff: BeamStiffness
    length: Array
    axes: Array
    turn: Array
    K: Array
    slack: Array


def _axes(run: Array, axis_y: Array) -> Array:
    x = run / np.linalg.norm(run, axis=1)[:, None]
    z = np.cross(x, axis_y)
    z /= np.linalg.norm(z, axis=1)[:, None]
    return np.stack([x, np.cross(z, x), z], axis=1)


def _turn(axes: Array, offset: Array, width: int) -> Array:
    """From global displacements of nodes to local ones of the ends of rigid arms."""
    turn = np.zeros((len(axes), width, width))
    for end in (0, 1):
        i, x, y, z = 6 * end, *np.moveaxis(offset[:, end], 1, 0)
        zero = np.zeros_like(x)
        lever = np.moveaxis(np.array([[zero, z, -y], [-z, zero, x], [y, -x, zero]]), 2, 0)
        turn[:, i : i + 3, i : i + 3] = turn[:, i + 3 : i + 6, i + 3 : i + 6] = axes
        turn[:, i : i + 3, i + 3 : i + 6] = axes @ lever
    for rate in range(12, width):
        turn[:, rate, rate] = 1.0
    return turn


def _slack(K: Array, released: BoolArray, name: str) -> Array:
    """Flexibility of the released parts, by pattern of releases."""
    slack = np.zeros_like(K)
    patterns, member = np.unique(released, axis=0, return_inverse=True)
    for number, pattern in enumerate(patterns):
        dof = np.flatnonzero(pattern)
        if not len(dof):
            continue
        element = np.flatnonzero(member.ravel() == number)
        part = K[element[:, None, None], dof[:, None], dof]
        scale = np.sqrt(np.diagonal(part, axis1=1, axis2=2))
        unit = part / (scale[:, :, None] * scale[:, None])
        loose = element[np.linalg.eigvalsh(unit)[:, 0] < LOOSE]
        if len(loose):
            where = ", ".join(
                f"{END_WORDS[d % 6] if d < 12 else END_WORDS[6]} at end {d // 6 + 1 if d < 12 else d - 11}"
                for d in dof
            )
            message = f'beams "{name}": element {loose[0]} moves freely between its releases ({where}).'
            raise InputError(message)
        free = np.linalg.inv(unit) / (scale[:, :, None] * scale[:, None])
        slack[element[:, None, None], dof[:, None], dof] = free
    return slack


def local_beams(ends: Array, beams: Beams) -> LocalBeams:
    """Beams in their own axes.

    Parameters
    ----------
    ends : (m, 2, 3) float
        Nodes. [m]
    beams : Beams

    Raises
    ------
    InputError
        As `check_beams`, and releases that let an element move freely.
    """
    check_beams(ends, beams)
    stiff = beams.stiffness
    if (beams.warp < 0).all() and stiff.torsion > 0.0:
        stiff = replace(stiff, warping=0.0)  # no warping is carried over any node: St Venant
    run = ends[:, 1] - ends[:, 0] + beams.offset[:, 1] - beams.offset[:, 0]
    length, axes = np.linalg.norm(run, axis=1), _axes(run, beams.axis_y)
    released = np.concatenate(
        [beams.release[:, 0, :6], beams.release[:, 1, :6], beams.release[:, :, 6] | (beams.warp < 0)], axis=1
    )[:, : stiff.width]
    K = beam_stiffness(length, stiff)
    return LocalBeams(
        stiff=stiff,
        length=length,
        axes=axes,
        turn=_turn(axes, beams.offset, stiff.width),
        K=K,
        slack=_slack(K, released, beams.name),
    )


def beam_matrices(ends: Array, beams: Beams) -> Array:
    """Stiffness matrices of beams with arms and releases in global axes.

    Parameters
    ----------
    ends : (m, 2, 3) float
        Nodes. [m]
    beams : Beams
        An end with the warping number -1 is free to warp.

    Returns
    -------
    (m, 14, 14) float
        Six of the first node, six of the second, then the rates of twist of both; rows of rates that
        are not there are zero.

    Raises
    ------
    InputError
        As `local_beams`.
    """
    local = local_beams(ends, beams)
    K = local.K
    if local.slack.any():
        K = K - K @ local.slack @ K
        K = 0.5 * (K + np.swapaxes(K, 1, 2))
    full = np.zeros((len(K), 14, 14))
    width = local.stiff.width
    full[:, :width, :width] = np.swapaxes(local.turn, 1, 2) @ K @ local.turn
    return full
