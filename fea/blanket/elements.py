"""Rectangles of the layer: gradients, forces and tangents of all elements at once.

Four nodes, bilinear, 2 x 2 Gauss points; corners run (low, low), (high, low), (high, high), (low, high).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_G = 0.5 + np.array([-0.5, 0.5]) / np.sqrt(3.0)
_XI = np.array([_G[0], _G[1], _G[1], _G[0]])
_ETA = np.array([_G[0], _G[0], _G[1], _G[1]])
SHAPE = np.stack([(1 - _XI) * (1 - _ETA), _XI * (1 - _ETA), _XI * _ETA, (1 - _XI) * _ETA], axis=1)
_DX = np.stack([_ETA - 1, 1 - _ETA, _ETA, -_ETA], axis=1)  # (point, node)
_DY = np.stack([_XI - 1, -_XI, _XI, 1 - _XI], axis=1)
UPPER = np.triu_indices(8)

# The strain at a point is  L (ux_x, ux_y, uy_x, uy_y)  with reference gradients over the sides.
_GRAD = np.zeros((4, 4, 8))
_GRAD[:, 0, 0::2], _GRAD[:, 1, 0::2], _GRAD[:, 2, 1::2], _GRAD[:, 3, 1::2] = _DX, _DY, _DX, _DY
_PAIRS = np.triu_indices(4)


def _products() -> Array:
    """From the ten entries of a tangent over gradients at four points to the upper triangle, (40, 36)."""
    out = np.zeros((4, 10, 36))
    for k, (i, j) in enumerate(zip(*_PAIRS, strict=True)):
        outer = _GRAD[:, i, :, None] * _GRAD[:, j, None, :]
        both = outer if i == j else outer + outer.swapaxes(1, 2)
        out[:, k] = both[:, UPPER[0], UPPER[1]]
    return out.reshape(40, 36)


_PRODUCTS = _products()


def strains(moved: Array, size: Array) -> Array:
    """Strains (n, 4, 3) at the points of elements of sides (n, 2) [m] whose corners moved (n, 4, 2) [m]."""
    flat = moved.reshape(len(moved), 8)
    g = (flat @ _GRAD.reshape(16, 8).T).reshape(-1, 4, 4)
    x, y = size[:, 0, None], size[:, 1, None]
    return np.stack([g[..., 0] / x, g[..., 3] / y, g[..., 1] / y + g[..., 2] / x], axis=-1)


def forces(stress: Array, weight: Array, size: Array) -> Array:
    """Forces (n, 8) on the corners from stresses (n, 4, 3) [Pa], `weight` the volume at each point [m^3]."""
    x, y = size[:, 0, None], size[:, 1, None]
    g = weight[:, None, None] * np.stack(
        [stress[..., 0] / x, stress[..., 2] / y, stress[..., 2] / x, stress[..., 1] / y], axis=-1
    )
    return np.asarray(g.reshape(-1, 16) @ _GRAD.reshape(16, 8))


def stiffness(tangent: Array, weight: Array, size: Array) -> Array:
    """Upper triangles (n, 36) of the stiffness, rows of `UPPER`, from tangents (n, 4, 6) [Pa]."""
    x, y = 1.0 / size[:, 0, None], 1.0 / size[:, 1, None]
    xx, xy, xs, yy, ys, ss = (tangent[..., k] for k in range(6))
    over = np.stack(
        [
            xx * x * x, xs * x * y, xs * x * x, xy * x * y,
            ss * y * y, ss * x * y, ys * y * y,
            ss * x * x, ys * x * y,
            yy * y * y,
        ],
        axis=-1,
    )  # fmt: skip
    return np.asarray((weight[:, None, None] * over).reshape(-1, 40) @ _PRODUCTS)
