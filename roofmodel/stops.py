"""Single stops: one clamp each with a short face against the snow, in courses on a plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Stops:
    """Single stops.

    Attributes
    ----------
    name : tuple of str, (n,)
        Such as "A1-03": table, course, number from the left.
    plane : (n,) int
    uv : (n, 2) float
        Middle of the face, in the plane's (u, v). [m]
    width : (n,) float
        Of the face along the eave. [m]
    course : (n,) int
        Courses of all tables, the lowest of a table first.
    table : (n,) int
    seam : (n,) int
        Seam number on the plane.
    lever : float
        Height of the snow's push above the grip. [m]
    """

    name: tuple[str, ...]
    plane: IntArray
    uv: Array
    width: Array
    course: IntArray
    table: IntArray
    seam: IntArray
    lever: float

    @property
    def count(self) -> int:
        """Number of stops."""
        return len(self.name)


def no_stops() -> Stops:
    """A roof without single stops."""
    none = np.zeros(0, dtype=np.int64)
    return Stops((), none, np.zeros((0, 2)), np.zeros(0), none, none, none, 0.0)
