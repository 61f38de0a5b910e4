"""Rectangles of the layer: gradients, forces and tangents of all elements at once.

Four nodes, bilinear, 2 x 2 Gauss points; corners run (low, low), (high, low), (high, high), (low, high).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

_G = 0.5 + np.array([-0.5, 0.5]) / np.sqrt(3.0)
_XI = np.array([_G[0], _G[1], _G[1], _G[0]])
_ETA = np.array([_G[0], _G[0], _G[1], _G[1]])
SHAPE = np.stack([(1 - _XI) * (1 - _ETA), _XI * (1 - _ETA), _XI * _ETA, (1 - _XI) * _ETA], axis=1)
_DX = np.stack([_ETA - 1, 1 - _ETA, _ETA, -_ETA], axis=1)  # (point, node)
_DY = np.stack([_XI - 1, -_XI, _XI, 1 - _XI], axis=1)
UPPER = np.triu_indices(8)


def strains(moved: Array, corner: IntArray, size: Array) -> Array:
    """Strains (m, 4, 3) at the points of cells of sides (m, 2) [m] whose nodes moved (n, 2) [m]."""
    from fea.blanket import cells

    out = np.empty((len(corner), 4, 3))
    cells.strain(np.ascontiguousarray(moved), corner, size, _DX, _DY, out)
    return out


def forces(stress: Array, weight: Array, corner: IntArray, size: Array, nodes: int) -> Array:
    """Forces (nodes, 2) of stresses (m, 4, 3) [Pa], `weight` the volume at each point [m^3]. [N]."""
    from fea.blanket import cells

    out = np.zeros((nodes, 2))
    cells.force(stress, weight, corner, size, _DX, _DY, out)
    return out


def add_stiffness(tangent: Array, weight: Array, size: Array, slot: IntArray, data: Array) -> None:
    """Add the stiffness of cells to the entries of a matrix.

    `tangent` (m, 4, 6) [Pa], `slot` (m, 36) the entries that the upper triangles, rows of `UPPER`, add to.
    """
    from fea.blanket import cells

    cells.stiffness(tangent, weight, size, _DX, _DY, slot, data)
