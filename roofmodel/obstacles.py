"""What stands on the planes and catches drifting snow: parapets, chimneys, roof-lights, cheeks of dormers."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Obstacles:
    """Parapets and projections, and the upright faces against which snow drifts.

    Attributes
    ----------
    name : tuple of str, (k,)
    parapet : (k,) bool
        Parapets stand on an edge and have one face; projections stand on a plane and have four.
    plane : (k,) int
    height : (k,) float
        Above the roof, square to the level, at its lowest. [m]
    clear : (k,) float
        Free height between the roof and the underside of a projection that stands on legs; 0 for none. [m]
    face : (f,) int
        Obstacle of every face.
    start, end : (f, 3) float
        Foot of the face on the roof; the snow that drifts against it lies to the left of start -> end.
        Local roof coordinates. [m]
    strength : (k,) float, or (0,) where nobody gave any
        Force down the slope that the obstacle may be counted on to hold, before load factors; NaN for none.
        [N]
    """

    name: tuple[str, ...] = ()
    parapet: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    plane: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    height: Array = field(default_factory=lambda: np.zeros(0))
    clear: Array = field(default_factory=lambda: np.zeros(0))
    face: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    start: Array = field(default_factory=lambda: np.zeros((0, 3)))
    end: Array = field(default_factory=lambda: np.zeros((0, 3)))
    strength: Array = field(default_factory=lambda: np.zeros(0))

    @property
    def count(self) -> int:
        """Number of obstacles."""
        return len(self.name)
