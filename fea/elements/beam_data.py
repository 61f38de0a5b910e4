"""Beams as plain data: their section's stiffness, their ends, axes and releases."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class BeamStiffness:
    """Section stiffness of a beam in its own axes through the centroid.

    Attributes
    ----------
    axial : float
        EA. [N]
    bending : (2, 2) float
        [[EI_y, EI_yz], [EI_yz, EI_z]] with I_yz = integral of y z. [N m^2]
    shear : (2,) float
        Compliances 1/(G A_y), 1/(G A_z) of forces along y and z, 0 for none. [1/N]
    torsion : float
        GJ. [N m^2]
    warping : float
        EI_w, 0 for none. [N m^4]
    center : (2,) float
        Shear center (y, z) from the centroid. [m]
    alpha : float
        Thermal expansion. [1/K]
    mass : float
        Per length. [kg/m]
    """

    axial: float
    bending: Array
    shear: Array
    torsion: float
    warping: float
    center: Array
    alpha: float
    mass: float = 0.0

    @property
    def width(self) -> int:
        """Degrees of freedom of an element: 12, or 14 with warping."""
        return 14 if self.warping > 0.0 else 12

    @property
    def plane_bending(self) -> Array:
        """Bending stiffness by plane, [[EI_z, EI_yz], [EI_yz, EI_y]]. [N m^2]."""
        return np.asarray(self.bending)[::-1, ::-1]

    @property
    def coupled(self) -> bool:
        """Whether bending in one plane bends the other too."""
        return bool(self.bending[0][1] != 0.0)

    @property
    def eccentric(self) -> bool:
        """Whether the shear center lies off the centroid."""
        return bool(np.any(np.asarray(self.center) != 0.0))


@dataclass(frozen=True)
class Beams:
    """Straight beams of one section.

    Attributes
    ----------
    name : str
    node : (m, 2) int
    stiffness : BeamStiffness
    axis_y : (m, 3) float
        A vector in the plane of local x and y, not along the beam; local z = x cross y.
    offset : (m, 2, 3) float
        From each node to the beam's end by a rigid arm, global axes. [m]
    release : (m, 2, 7) bool
        Local end forces that are zero: N, V_y, V_z, T, M_y, M_z, bimoment.
    warp : (m, 2) int
        Warping degree of freedom of each end, numbered from 0 over the model, -1 for none (St Venant).
    """

    name: str
    node: IntArray
    stiffness: BeamStiffness
    axis_y: Array
    offset: Array
    release: BoolArray
    warp: IntArray
