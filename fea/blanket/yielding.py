"""Strength of snow in the plane: the nearest allowed stress, its energy and its tangent.

The mean a = (s1 + s2) / 2 and the half difference b = (s1 - s2) / 2 of the principal stresses must keep

    a + b <= tension,    b + slope a <= shear,    b - a <= compression

(tension cut-off, Coulomb with slope = sin(phi), crushing). The stress is the allowed one nearest to the
elastic one in the norm of the elastic energy (Hencky; Simo and Hughes, Computational Inelasticity, 2.2 and
2.6, from memory), so that the layer has a convex energy and one equilibrium, however it is loaded.

Every point branches its own way, so the points are followed one by one in compiled code.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Strength:
    """Strength of snow, one value for each cell (m,).

    Attributes
    ----------
    tension, shear, compression : (m,) float
        In pure tension, shear and compression; positive sizes. [Pa]
    slope : (m,) float
        Shear strength gained by mean pressure, the sine of the angle of internal friction. [-]
    """

    tension: Array
    shear: Array
    compression: Array
    slope: Array


@dataclass(frozen=True)
class Response:
    """Stress, energy and tangent at the points of cells.

    Attributes
    ----------
    stress : (m, k, 3) float
        x, y and shear, tension positive. [Pa]
    energy : (m, k) float
        [J/m^3]
    tangent : (m, k, 6) float
        xx, xy, xs, yy, ys, ss of the symmetric tangent. [Pa]
    yielding : (m, k) bool
        Whether the elastic stress is beyond the strength.
    """

    stress: Array
    energy: Array
    tangent: Array
    yielding: NDArray[np.bool_]


def respond(strain: Array, young: Array, poisson: float, strength: Strength) -> Response:
    """What the layer answers to strains in its plane (plane stress).

    Parameters
    ----------
    strain : (m, k, 3) float
        x, y and engineering shear at k points of every cell. [-]
    young : (m,) float
        [Pa]
    poisson : float
        [-]
    strength : Strength

    Returns
    -------
    Response
    """
    from fea.blanket.kernel import answer

    shape = strain.shape[:2]
    stress, energy = np.empty((*shape, 3)), np.empty(shape)
    tangent, yielding = np.empty((*shape, 6)), np.empty(shape, dtype=np.bool_)
    limits = np.stack([strength.tension, strength.shear, strength.compression, strength.slope], axis=1)
    answer(np.ascontiguousarray(strain), young, poisson, limits, stress, energy, tangent, yielding)
    return Response(stress, energy, tangent, yielding)
