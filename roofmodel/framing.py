"""What carries the roof below the panels: purlin lines, frames, eave overhangs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Framing:
    """Framing of the planes it is known for.

    Attributes
    ----------
    overhang : (p,) float
        Eave beyond the line that carries it, up the slope, 0 for none, NaN where nothing was said. [m]
    plane : (l,) int
        Plane of each purlin line; lines of one plane follow each other, lowest first.
    up : (l,) float
        Up the slope, plane coordinate v. [m]
    ends : (l, 2) float
        Ends of the line, plane coordinate u. [m]
    held : (l, 2) bool
        Whether an end rests on a hip, valley or wall.
    frames : tuple of (n,) float, (p,)
        Places u of the frames of each plane; empty where not given. [m]
    strength : (p,) float
        Design resistance of a purlin against bending, NaN for not given. [N m]
    dead : (p,) float
        Dead load per area of slope, NaN for not given. [Pa]
    """

    overhang: Array
    plane: IntArray
    up: Array
    ends: Array
    held: NDArray[np.bool_]
    frames: tuple[Array, ...]
    strength: Array
    dead: Array

    @property
    def names(self) -> tuple[str, ...]:
        """Number of each line on its plane, such as "purlin 1" at the eave, (l,)."""
        first = np.searchsorted(self.plane, self.plane)
        return tuple(f"purlin {k + 1}" for k in (np.arange(len(self.plane)) - first).tolist())
