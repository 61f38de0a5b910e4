"""The layer, what holds it, and how it answers, as arrays; SI.

Motions and forces in the plane of the roof are along its (u, v); all planes stand in one system.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.blanket.yielding import Strength

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Layer:
    """Rectangles of snow with their weight.

    Attributes
    ----------
    node : (n, 2) float
        Place in the (u, v) of its plane. [m]
    node_plane : (n,) int
    corner : (m, 4) int
        Nodes of the cells: (low, low), (high, low), (high, high), (low, high).
    plane : (m,) int
    low : (m, 2) float
        Lower left corner of the whole rectangle. [m]
    size : (m, 2) float
        Its sides. [m]
    share : (m,) float
        Part of the rectangle that lies on the plane. [-]
    depth : (m,) float
        Of the snow, square to the roof. [m]
    weight : (m,) float
        Vertical, of the part on the plane. [N]
    force : (n, 2) float
        What drives the nodes: weight down the slope, and what arrives from other planes. [N]
    pressing : (n,) float
        Weight square to the roof. [N]
    area : (n,) float
        Of the roof that belongs to the node. [m^2]
    """

    node: Array
    node_plane: IntArray
    corner: IntArray
    plane: IntArray
    low: Array
    size: Array
    share: Array
    depth: Array
    weight: Array
    force: Array
    pressing: Array
    area: Array

    @property
    def volume(self) -> Array:
        """Snow at each integration point of the cells, (m,). [m^3]."""
        return np.asarray(0.25 * self.size[:, 0] * self.size[:, 1] * self.share * self.depth)

    @property
    def center(self) -> Array:
        """Middles of the rectangles, (m, 2). [m]."""
        return np.asarray(self.low + 0.5 * self.size)

    @property
    def mean_depth(self) -> float:
        """Depth of the cells by their area. [m]."""
        return float(np.average(self.depth, weights=self.size.prod(axis=1)))


@dataclass(frozen=True)
class Snow:
    """Stiffness and strength of the cells (m,); `poisson` [-], `young` [Pa], `density` [kg/m^3]."""

    young: Array
    poisson: float
    strength: Strength
    density: Array


@dataclass(frozen=True)
class Interface:
    """What the roof itself holds at each node, a spring up to a limit (Coulomb and adhesion).

    Attributes
    ----------
    stiffness : (n,) float
        Before it slips. [N/m]
    limit : (n,) float
        Most that it holds, friction and bond together. [N]
    bond : (n,) float
        Part of the limit that is adhesion and is lost once it gives. [N]
    """

    stiffness: Array
    limit: Array
    bond: Array


@dataclass(frozen=True)
class Contacts:
    """Points at which the layer leans on something; they push and never pull.

    Attributes
    ----------
    corner : (k, 4) int
        Nodes of the cell around the point.
    share : (k, 4) float
        Shape functions there.
    way : (k, 2) float
        Unit vector in which the snow pushes.
    stiffness : (k,) float
        [N/m]
    cap : (k,) float
        Most that the point holds, infinite for no limit. [N]
    dof : (k,) int
        Unknown of the structure that gives way, -1 for what stands still.
    lever : (k,) float
        Motion of the point along `way` per motion of that unknown. [-]
    kind : (k,) int
        A member of `Kind`.
    item : (k,) int
        Row, stop, edge or obstacle.
    """

    corner: IntArray
    share: Array
    way: Array
    stiffness: Array
    cap: Array
    dof: IntArray
    lever: Array
    kind: IntArray
    item: IntArray


ROW, STOP, VALLEY, BOX = 0, 1, 2, 3  # kinds of contacts


@dataclass(frozen=True)
class Structure:
    """Rails on their clamps and single stops as springs.

    Attributes
    ----------
    matrix : sparse (d, d)
        Symmetric.
    load : (d,) float
        What acts on it directly. [N, N m]
    group : (d,) int
        Unknowns that belong to one place.
    place : (g, 2) float
        Where, in the plane's (u, v). [m]
    plane : (g,) int
    """

    matrix: sparse.csr_array
    load: Array
    group: IntArray
    place: Array
    plane: IntArray


@dataclass(frozen=True)
class State:
    """Equilibrium of the layer.

    Attributes
    ----------
    moved : (n, 2) float
        [m]
    structure : (d,) float
        Motions of the structure. [m, rad]
    stress : (m, 4, 3) float
        At the integration points, tension positive. [Pa]
    yielding : (m, 4) bool
    held : (n, 2) float
        What bond and friction hold, against the motion. [N]
    contact : (k,) float
        Pressure of the snow on each contact. [N]
    left : (n, 2) float
        Driving force that nothing holds: this snow leaves. [N]
    energy : (4,) float
        Stored in the layer, in the interface, in contacts with the structure, and in the weak bed. [J]
    work : float
        Of the loads. [J]
    unsettled : float
        Force that the last linear step had to shift, over the driving force; how far the laws of the snow are
        from being met everywhere. [-]
    steps : int
    """

    moved: Array
    structure: Array
    stress: Array
    yielding: NDArray[np.bool_]
    held: Array
    contact: Array
    left: Array
    energy: Array
    work: float
    unsettled: float
    steps: int
