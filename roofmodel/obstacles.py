"""What stands on the planes and catches drifting snow: parapets, chimneys, skylights, cheeks of dormers."""

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

    @property
    def face_height(self) -> Array:
        """Greatest height (f,) of each face above the roof: tops of projections count as level. [m]."""
        top = np.full(self.count, -np.inf)
        foot = np.stack([self.start[:, 2], self.end[:, 2]])
        np.maximum.at(top, self.face, foot.max(axis=0))
        over = np.where(self.parapet[self.face], 0.0, top[self.face] - foot.min(axis=0))
        return np.asarray(self.height[self.face] + over)


def together(first: Obstacles, second: Obstacles) -> Obstacles:
    """Obstacles of two sources, those of the first before the others.

    Parameters
    ----------
    first, second : Obstacles

    Returns
    -------
    Obstacles
    """
    if not first.count or not second.count:
        return first if first.count else second
    strength = [one.strength if len(one.strength) else np.full(one.count, np.nan) for one in (first, second)]
    return Obstacles(
        name=first.name + second.name,
        parapet=np.concatenate([first.parapet, second.parapet]),
        plane=np.concatenate([first.plane, second.plane]),
        height=np.concatenate([first.height, second.height]),
        clear=np.concatenate([first.clear, second.clear]),
        face=np.concatenate([first.face, second.face + first.count]),
        start=np.concatenate([first.start, second.start]),
        end=np.concatenate([first.end, second.end]),
        strength=np.concatenate(strength),
    )


def some_of(known: Obstacles, keep: NDArray[np.bool_]) -> Obstacles:
    """Those obstacles that a mask (k,) keeps."""
    face = keep[known.face]
    number = np.cumsum(keep) - 1
    return Obstacles(
        name=tuple(name for name, kept in zip(known.name, keep, strict=True) if kept),
        parapet=known.parapet[keep],
        plane=known.plane[keep],
        height=known.height[keep],
        clear=known.clear[keep],
        face=number[known.face[face]],
        start=known.start[face],
        end=known.end[face],
        strength=known.strength[keep] if len(known.strength) else known.strength,
    )
