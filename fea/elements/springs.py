"""Springs with a full 6 x 6 stiffness between coincident nodes or to the ground."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def _turned(axes: Array) -> Array:
    turn = np.zeros((len(axes), 6, 6))
    turn[:, :3, :3] = turn[:, 3:, 3:] = axes
    return turn


def spring_stiffness(stiffness: Array, axes: Array) -> Array:
    """Stiffness (m, 12, 12) in global axes of springs (m, 6, 6) with axes (m, 3, 3). [N/m, N, N m]."""
    turn = _turned(axes)
    K = np.swapaxes(turn, 1, 2) @ stiffness @ turn
    return np.concatenate([np.concatenate([K, -K], axis=2), np.concatenate([-K, K], axis=2)], axis=1)


def spring_forces(stiffness: Array, axes: Array, stretch: Array) -> Array:
    """Forces (m, 6, q) of springs in their own axes for u(second) - u(first) (m, 6, q), pull positive."""
    return np.asarray(stiffness @ (_turned(axes) @ stretch))
