"""Shapes of the clamp marks, shared by the 3D picture, its legend and the drawings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from viewer import style

Array = NDArray[np.float64]

MARK_POINTS = {"least": 2.0, "limit": 3.3, "most": 4.6}  # half sizes of the clamp marks [pt]


def mark_layers(mark: style.Mark, sides: int = 28) -> list[tuple[Array, float, str | None]]:
    """Shape, size factor and color (None: by utilization) of each layer, back to front."""
    shape = mark_shape(mark, sides)
    if mark is style.Mark.KEPT:
        return [(shape, 1.26, style.INK), (shape, 1.0, None)]
    if mark is style.Mark.EXCEEDED:
        return [(shape, 1.62, style.PAPER), (shape, 1.40, style.INK), (shape, 1.10, None)]
    sign = [(piece, 1.0, style.PAPER) for piece in question_mark()]
    return [(shape, 1.45, style.PAPER), (shape, 1.20, style.INK), *sign]


def mark_shape(mark: style.Mark, sides: int = 28) -> Array:
    """Outline (k, 2) of a mark of half size 1; `sides` is for the circle."""
    if mark is style.Mark.KEPT:
        turn = np.linspace(0.0, 2.0 * np.pi, sides + 1)[:-1]
        return np.stack([np.cos(turn), np.sin(turn)], axis=1)
    if mark is style.Mark.EXCEEDED:
        return np.array([[0.0, -1.12], [1.12, 0.0], [0.0, 1.12], [-1.12, 0.0]])
    return np.array([[-0.9, -0.9], [0.9, -0.9], [0.9, 0.9], [-0.9, 0.9]])


def question_mark() -> list[Array]:
    """A question mark of half height 1 from four-cornered pieces (4, 2)."""
    turn = np.radians(np.linspace(170.0, -60.0, 9))
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    outer, inner = way * 0.46 + [0.0, 0.28], way * 0.20 + [0.0, 0.28]
    pieces = [np.array([outer[i], outer[i + 1], inner[i + 1], inner[i]]) for i in range(len(way) - 1)]
    pieces.append(np.array([[-0.13, 0.02], [0.13, 0.02], [0.13, -0.32], [-0.13, -0.32]]))
    pieces.append(np.array([[-0.15, -0.48], [0.15, -0.48], [0.15, -0.76], [-0.15, -0.76]]))
    return pieces
