"""Loads on straight beams in element axes as nodal loads, exact by the exact shape functions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.elements.beam_data import BeamStiffness
from fea.elements.beam_torsion import torque_vectors, twist_functions
from fea.elements.beams import PLANE_DOF, PLANE_SIGN, TWIST_DOF, odd_bending, to_shear_center

Array = NDArray[np.float64]


def _bending(x: Array, L: Array, stiff: BeamStiffness) -> tuple[Array, Array]:
    """Deflections and slopes at places x of the line of shear centers in both planes.

    Returns
    -------
    deflection, slope : (m, 2, w)
        Of each plane for unit displacements of the ends. A pair of equal end slopes over the chord bends a
        beam by P x (L - x) (L - 2 x) / 6 L with P = EI^-1 times `odd_bending`; opposite ones by
        x (L - x) / 2 L.
    """
    m = len(x)
    deflection, slope = np.zeros((2, m, 2, stiff.width))
    curve = np.linalg.inv(stiff.plane_bending) @ odd_bending(L, stiff)
    xi, even = x / L, 0.5 * x * (1.0 - x / L)
    odd, odd_slope = even * (L - 2.0 * x) / 3.0, -2.0 * even
    for i, j in ((0, 0), (1, 1), (0, 1), (1, 0)) if stiff.coupled else ((0, 0), (1, 1)):
        own, sign, P = float(i == j), PLANE_SIGN[j], curve[:, i, j]
        rise, turn = P * odd, own + P * odd_slope
        rows = [
            own * (1.0 - xi) + rise / L,
            0.5 * rise + own * even,
            own * xi - rise / L,
            0.5 * rise - own * even,
        ]
        deflection[:, i, PLANE_DOF[j]] = np.stack(rows, axis=1) * [1.0, sign, 1.0, sign]
        swing = (turn - own) / L
        rows = [swing, 0.5 * turn - own * (xi - 0.5), -swing, 0.5 * turn + own * (xi - 0.5)]
        slope[:, i, PLANE_DOF[j]] = np.stack(rows, axis=1) * [1.0, sign, 1.0, sign]
    return deflection, slope


def _moved(vectors: Array, stiff: BeamStiffness) -> Array:
    """From loads and displacements at the line of shear centers to those at the centroids."""
    if not stiff.eccentric:
        return vectors
    y, z = stiff.center
    moved = to_shear_center(vectors, stiff.center)
    moved[:, :, 1] += z * moved[:, :, 3]
    moved[:, :, 2] -= y * moved[:, :, 3]
    return moved


def _unit_loads(x: Array, L: Array, stiff: BeamStiffness) -> Array:
    """Nodal loads of unit point loads at the line of shear centers, the twist of open sections left out."""
    vectors = np.zeros((len(x), stiff.width, 6))
    xi = x / L
    vectors[:, 0, 0], vectors[:, 6, 0] = 1.0 - xi, xi
    if stiff.warping == 0.0:
        vectors[:, 3, 3], vectors[:, 9, 3] = 1.0 - xi, xi
    deflection, slope = _bending(x, L, stiff)
    for plane, sign in enumerate(PLANE_SIGN):
        vectors[:, :, 1 + plane] = deflection[:, plane]
        vectors[:, :, 5 - plane] = slope[:, plane] * sign
    return vectors


def point_load_vectors(x: Array, L: Array, stiff: BeamStiffness) -> Array:
    """Nodal loads that unit point loads inside elements are worth.

    Parameters
    ----------
    x : (m,) float
        Positions from the elements' starts. [m]
    L : (m,) float
        Lengths of the elements. [m]
    stiff : BeamStiffness

    Returns
    -------
    (m, w, 6 or 7) float
        Nodal loads of the element for unit forces at the centroid along x, y, z and moments about them,
        and with warping for a unit bimoment.
    """
    vectors = _unit_loads(x, L, stiff)
    if stiff.warping > 0.0:
        twist = twist_functions(x, L, stiff.torsion, stiff.warping)
        vectors = np.concatenate([vectors, np.zeros((len(x), stiff.width, 1))], axis=2)
        vectors[:, TWIST_DOF, 3], vectors[:, TWIST_DOF, 6] = twist.value, twist.slope
    return _moved(vectors, stiff)


def linear_load_vectors(a: Array, b: Array, L: Array, stiff: BeamStiffness) -> Array:
    """Nodal loads of line loads that change in proportion to x on part of an element.

    Parameters
    ----------
    a, b : (m,) float
        Ends of the loaded part from the elements' starts. [m]
    L : (m,) float
        Lengths of the elements. [m]
    stiff : BeamStiffness

    Returns
    -------
    (m, w, 4, 2) float
        For loads along x, y, z at the centroid and torsion about x, 1 per meter at a falling to 0 at b,
        then the reverse.

    Notes
    -----
    Deflections are cubic, so three Gauss points integrate them exactly; twist of open sections has its
    own integrals.
    """
    point, weight = np.polynomial.legendre.leggauss(3)
    vectors = np.zeros((len(a), stiff.width, 4, 2))
    for share, part in zip(0.5 * (1.0 + point), 0.5 * weight, strict=True):
        value = _unit_loads(a + share * (b - a), L, stiff)[:, :, :4]
        value *= (part * (b - a))[:, None, None]
        vectors[..., 0] += (1.0 - share) * value
        vectors[..., 1] += share * value
    if stiff.warping > 0.0:
        vectors[:, TWIST_DOF, 3] = torque_vectors(a, b, L, stiff.torsion, stiff.warping)
    return _moved(vectors, stiff)


def line_load_vectors(a: Array, b: Array, L: Array, stiff: BeamStiffness) -> Array:
    """Nodal loads (m, w, 4) of unit uniform loads on part of an element, as `linear_load_vectors`."""
    if stiff.warping > 0.0:
        return np.asarray(linear_load_vectors(a, b, L, stiff).sum(axis=3))
    middle, half = (a + b) / 2.0, (b - a) / 2.0
    offset = half / np.sqrt(3.0)
    total = point_load_vectors(middle - offset, L, stiff) + point_load_vectors(middle + offset, L, stiff)
    return np.asarray(half[:, None, None] * total[:, :, :4])
