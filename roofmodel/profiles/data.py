"""A profile as data: outline, walls and properties, SI.

Axes of an outline: first coordinate up the slope, second away from the roof, as the rail is built in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.hardware import Section

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Walls:
    """Plates that a profile is made of, by the middle line of their flat part.

    Attributes
    ----------
    start, end : (n, 2) float
        From the centroid. [m]
    thickness : (n,) float
        [m]
    free : (n, 2) bool
        Whether nothing holds the wall at its start and end.
    lip : (n, 2) int
        Wall that alone stiffens the start and end, as a lip does a flange; -1 for none.
    web : (n,) int
        Of a wall with a lip the one that holds its other end; -1 for others.
    known : bool
        Whether all that may buckle was recognized.
    """

    start: Array
    end: Array
    thickness: Array
    free: NDArray[np.bool_]
    lip: NDArray[np.int64]
    web: NDArray[np.int64]
    known: bool

    @property
    def width(self) -> Array:
        """Length of the flat parts, (n,). [m]."""
        return np.asarray(np.linalg.norm(self.end - self.start, axis=1))


@dataclass(frozen=True)
class Net:
    """What the holes leave: area and moduli of the weakest cross-section through them. [m^2, m^3]."""

    area: float
    W_y: float
    W_z: float


@dataclass(frozen=True)
class Profile:
    """A profile and everything that follows from its shape.

    Attributes
    ----------
    outline : Polygon
        About its centroid. [m]
    section : Section
    walls : Walls
    plastic : (2,) float
        Plastic moduli about y and z. [m^3]
    principal : (2,) float
        Second moments, larger first. [m^4]
    angle : float
        From y to the axis of the larger one, counter-clockwise. [rad]
    radius : (2,) float
        Of gyration about the principal axes. [m]
    one_sided : (2,) float
        Monosymmetry constants of bending about the principal axes,
        (1/I) int v (u^2 + v^2) dA - 2 v_s with v square to the axis. [m]
    reach : (2, 2) float
        Least and largest coordinate along y and z. [m]
    elements : int
        Finite elements behind torsion, warping and shear.
    net : Net or None
        With holes.
    closed : bool
        Whether it has cells.
    """

    outline: Polygon
    section: Section
    walls: Walls
    plastic: Array
    principal: Array
    angle: float
    radius: Array
    one_sided: Array
    reach: Array
    elements: int
    net: Net | None
    closed: bool
