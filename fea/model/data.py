"""A structure as plain data: nodes, shells, beams, springs, one-way contacts and ties.

Node i has the six degrees of freedom 6 i .. 6 i + 5: translations along global x, y, z and rotations about
them, right-handed. Warping degrees of freedom of open beams follow behind those of all nodes, so vectors
have d = 6 n + w entries. Element normals follow from counter-clockwise node order by the right-hand rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fea.elements.beam_data import Beams
from roofmodel.hardware import Material

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

GROUND = -1  # node number of the rigid ground in springs and contacts


@dataclass(frozen=True)
class Shells:
    """Flat shell elements of one sheet metal.

    Attributes
    ----------
    name : str
        Part they belong to, such as "pan", for words and exports.
    node : (m, 4) or (m, 3) int
        Corners, counter-clockwise seen from the side the normal points to.
    thickness : (m,) float
        [m]
    material : Material
    """

    name: str
    node: IntArray
    thickness: Array
    material: Material


@dataclass(frozen=True)
class Springs:
    """Springs with a full 6 x 6 stiffness between coincident nodes, or from a node to the ground.

    Attributes
    ----------
    name : str
    node : (m, 2) int
        The second may be `GROUND`. The spring acts on u(second) - u(first).
    stiffness : (m, 6, 6) float
        In the spring's own axes. [N/m, N, N m/rad]
    axes : (m, 3, 3) float
        Rows are the spring's axes in global components.
    """

    name: str
    node: IntArray
    stiffness: Array
    axes: Array


@dataclass(frozen=True)
class Contacts:
    """One-way bearing of nodes on the rigid ground: force = stiffness x max(0, penetration).

    Attributes
    ----------
    name : str
    node : (m,) int
    normal : (m, 3) float
        Unit direction of the push on the node, away from the ground.
    stiffness : (m,) float
        [N/m]
    gap : (m,) float
        Way against `normal` before the node touches. [m]
    """

    name: str
    node: IntArray
    normal: Array
    stiffness: Array
    gap: Array


@dataclass(frozen=True)
class Ties:
    """Linear conditions between degrees of freedom, eliminated and never penalized.

    Attributes
    ----------
    fixed_dof : (f,) int
    fixed_value : (f,) float
        Prescribed displacement. [m, rad]
    rigid_main, rigid_node : (r,) int
        Node whose motion is rigid with that of a main node.
    rigid_part : (r, 6) bool
        Which of the node's own degrees of freedom follow; translations take the rotation of the main node
        times the arm.
    equation_dof : (e, k) int
        Sum over k of coefficient x displacement = value; -1 for unused. The first entry is eliminated.
    equation_coefficient : (e, k) float
    equation_value : (e,) float
    """

    fixed_dof: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    fixed_value: Array = field(default_factory=lambda: np.zeros(0))
    rigid_main: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    rigid_node: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    rigid_part: BoolArray = field(default_factory=lambda: np.zeros((0, 6), dtype=bool))
    equation_dof: IntArray = field(default_factory=lambda: np.zeros((0, 2), dtype=np.int64))
    equation_coefficient: Array = field(default_factory=lambda: np.zeros((0, 2)))
    equation_value: Array = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True)
class Model:
    """A structure.

    Attributes
    ----------
    xyz : (n, 3) float
        [m]
    shells, beams, springs, contacts
        Groups of elements.
    ties : Ties
    sets : mapping of str to (k,) int
        Nodes by name, such as the nodes of one clip, for reactions, words and exports.
    """

    xyz: Array
    shells: tuple[Shells, ...] = ()
    beams: tuple[Beams, ...] = ()
    springs: tuple[Springs, ...] = ()
    contacts: tuple[Contacts, ...] = ()
    ties: Ties = field(default_factory=Ties)
    sets: Mapping[str, IntArray] = field(default_factory=dict)

    @property
    def warp_count(self) -> int:
        """Number of warping degrees of freedom."""
        return max((int(b.warp.max(initial=-1)) + 1 for b in self.beams), default=0)

    @property
    def dof_count(self) -> int:
        """Number of degrees of freedom before ties."""
        return 6 * len(self.xyz) + self.warp_count


def node_dof(node: IntArray) -> IntArray:
    """The six degrees of freedom of nodes, (..., 6)."""
    return np.asarray(6 * np.asarray(node)[..., None] + np.arange(6))
