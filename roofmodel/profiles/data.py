"""A profile as data: outline, walls and properties, SI.

Axes of an outline: first coordinate up the slope, second away from the roof, as the rail is built in.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Section:
    """Rail cross-section in axes y (up the slope) and z (away from the roof) through its centroid.

    Attributes
    ----------
    area : float
        [m^2]
    I_y, I_z : float
        Second moments about y (bending away from the roof) and z (bending down the slope). [m^4]
    J : float
        St-Venant torsion constant. [m^4]
    W_y, W_z : float
        Elastic section moduli about y and z, I over the outermost fiber. With I_yz no strength: another
        corner may yield sooner under a moment about one axis alone. [m^3]
    W_t : float
        Torsion modulus: shear stress = T / W_t. [m^3]
    shear_y, shear_z : float
        Shear areas for forces along y and z; infinite for none. [m^2]
    depth_y, depth_z : float
        Outside size along y and z. [m]
    label : str
        For the report, such as "round tube 42 x 3 mm".
    round : bool
        Whether bending about both axes adds up as a vector.
    I_yz : float
        Product of inertia, integral of y z; 0 where y and z are principal. [m^4]
    center_y, center_z : float
        Shear center from the centroid. [m]
    I_w : float
        Warping constant about the shear center, 0 for closed and solid sections. [m^6]
    omega_max : float
        Largest sectorial coordinate, which turns a bimoment into stress B omega / I_w; NaN for not
        given. [m^2]
    kind : str
        "round tube", "round bar", "rectangular tube" or "flat bar" where the shape is one of these; else
        empty.
    wall : float
        Wall of a tube, NaN for others. [m]
    """

    area: float
    I_y: float
    I_z: float
    J: float
    W_y: float
    W_z: float
    W_t: float
    shear_y: float
    shear_z: float
    depth_y: float
    depth_z: float
    label: str
    round: bool = False
    I_yz: float = 0.0
    center_y: float = 0.0
    center_z: float = 0.0
    I_w: float = 0.0
    omega_max: float = np.nan
    kind: str = ""
    wall: float = np.nan

    @property
    def highest_top(self) -> float:
        """Most that the top can stand over the centroid: the outermost fiber I_y / W_y. [m].

        Half the depth in a section that is alike above and below; which way round another one lies is not
        known.
        """
        return min(max(0.5 * self.depth_z, self.I_y / self.W_y), self.depth_z)

    @property
    def lowest_top(self) -> float:
        """Least that the top can stand over the centroid. [m]."""
        return self.depth_z - self.highest_top


@dataclass(frozen=True)
class Walls:
    """Plates that a profile is made of, by the middle line of their flat part and their least thickness.

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
    lost : (m, 4) float
        What was not: place from the centroid, thickness and length. [m]
    account : (2, 4) float
        Shares of the outline's area and perimeter on walls, at joints of walls, on stout lumps, and on
        pieces with something lost; zeros for plain tubes and bars. [-]
    """

    start: Array
    end: Array
    thickness: Array
    free: NDArray[np.bool_]
    lip: NDArray[np.int64]
    web: NDArray[np.int64]
    known: bool
    lost: Array = field(default_factory=lambda: np.zeros((0, 4)))
    account: Array = field(default_factory=lambda: np.zeros((2, 4)))

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
    alone : (2,) float
        Moduli of the worst corner: moment about y or z alone, free to bend askew, over the largest stress;
        W_y and W_z without I_yz. [m^3]
    plastic : (2,) float
        Plastic moduli about y and z, the neutral axis along them. [m^3]
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
    origin : (2,) float
        Where the centroid lies in the outline as given. [m]
    """

    outline: Polygon
    section: Section
    walls: Walls
    alone: Array
    plastic: Array
    principal: Array
    angle: float
    radius: Array
    one_sided: Array
    reach: Array
    elements: int
    net: Net | None
    closed: bool
    origin: Array
