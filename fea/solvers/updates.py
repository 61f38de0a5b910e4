"""Changed and removed springs of a solved system, without another factorization.

(K + B dK B')^-1 F = u - K^-1 B dK (1 + C dK)^-1 B' u with C = B' K^-1 B (Sherman, Morrison, Woodbury; Hager,
SIAM Review 31 (1989) 221, from memory). The change need not be invertible.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from fea.solvers.direct import Factor, SingularError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LOST = 1e-9  # share of its stiffness that a structure must keep in every direction of a change


@dataclass(frozen=True)
class Updated:
    """Displacements of v variants of a system.

    Attributes
    ----------
    displacement : (v, n, q) float
        NaN where a variant does not stand. [m, rad]
    singular : (v,) bool
        The change leaves a mechanism.
    """

    displacement: Array
    singular: BoolArray


def dense_influence(stiffness: Array) -> Array:
    """Displacements (n, n) for unit loads of a condensed system, exactly symmetric.

    Raises
    ------
    SingularError
        The system floats.
    """
    try:
        factor = linalg.cho_factor(stiffness, lower=True, check_finite=False)
    except linalg.LinAlgError as error:
        message = "the condensed stiffness is not positive definite"
        raise SingularError(message) from error
    inverse = linalg.cho_solve(factor, np.eye(len(stiffness)), check_finite=False)
    return np.asarray((inverse + inverse.T) / 2.0)


def influence(factor: Factor, place: IntArray) -> Array:
    """Displacements (n, k) for unit loads on unknowns (k,) of a factorized system."""
    F = np.zeros((factor.upper.shape[0], len(place)))
    F[place, np.arange(len(place))] = 1.0
    return factor(F)


def update(columns: Array, place: IntArray, change: Array, u: Array) -> Updated:
    """Displacements when some stiffness changes, for many variants at once.

    Parameters
    ----------
    columns : (v, n, b) float
        Displacements for unit loads on the unknowns of each change: `influence(factor, place[i])`, or
        `dense_influence(K)[:, place]` moved to this order.
    place : (v, b) int
        Unknowns that each variant changes, such as the six of a clamp.
    change : (v, b, b) float
        Added to the stiffness there; minus a spring's stiffness removes it.
    u : (n, q) float
        Displacements before.

    Returns
    -------
    Updated
    """
    variants, b = place.shape
    C = columns[np.arange(variants)[:, None], place]  # (v, b, b)
    size = np.sqrt(np.abs(np.diagonal(C, axis1=1, axis2=2)))
    scaled = change * size[:, :, None] * size[:, None, :]
    M = np.eye(b) + C / (size[:, :, None] * size[:, None, :]) @ scaled
    values = np.linalg.svd(M, compute_uv=False)
    singular = values[:, -1] <= LOST * np.maximum(values[:, 0], 1.0)
    M[singular] = np.eye(b)
    force = scaled @ np.linalg.solve(M, u[place] / size[:, :, None])
    new = u - columns @ (force / size[:, :, None])
    new[singular] = np.nan
    return Updated(new, singular)
