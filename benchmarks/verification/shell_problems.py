"""What a shell problem is, and the meshes, loads and readings that the obstacle course is made of.

Problems are given for so many elements along a side and for both elements: triangles cut each quad in two.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from fea.elements.shells import shell_resultants
from fea.model.assembly import build_system
from fea.model.data import Array, IntArray, Model, Shells, Ties
from fea.model.solution import solve_model
from roofmodel.hardware import Material

QUADS, TRIANGLES = "quads", "triangles"
KINDS = (QUADS, TRIANGLES)
X, Y, Z, RX, RY, RZ = range(6)
Place = tuple[Array, Array, Array | float]  # x, y, z of points


@dataclass(frozen=True)
class Setup:
    """A model, its load (d,), and what is read off its displacements (d,)."""

    model: Model
    load: Array
    read: Callable[[Array], float]

    def value(self) -> float:
        """Solve and read."""
        u = solve_model(build_system(self.model), self.load[:, None]).displacement
        return self.read(u[:, 0])


@dataclass(frozen=True)
class Problem:
    """A verification problem.

    Attributes
    ----------
    name, source, unit : str
        `source` says "from memory" where the text was not at hand.
    reference : float
    build : function of (n, kind) to Setup
    sides : tuple of int
        Numbers of elements along a side to run; what a side is, `mesh` says.
    mesh : str
    bars : mapping of kind to pairs (n, bar)
        Largest relative error at that mesh; a kind without one is shown, but held to nothing.
    order : float
        Slope of the error against n that theory lets expect.
    """

    name: str
    source: str
    reference: float
    build: Callable[[int, str], Setup]
    sides: tuple[int, ...] = (4, 8, 16, 32)
    mesh: str = "n x n"
    unit: str = ""
    bars: Mapping[str, tuple[tuple[int, float], ...]] = field(default_factory=dict)
    order: float = 2.0


def bars(*both: tuple[int, float]) -> dict[str, tuple[tuple[int, float], ...]]:
    """The same bars for both elements."""
    return dict.fromkeys(KINDS, both)


def metal(E: float, poisson: float) -> Material:
    """An elastic material in the units of a problem."""
    return Material("test", E=E, G=E / (2.0 * (1.0 + poisson)), alpha=0.0, density=1.0, yield_strength=np.inf)


@dataclass(frozen=True)
class Grid:
    """Nodes xyz and their numbers (nx + 1, ny + 1) along the two directions of a mapped rectangle."""

    xyz: Array
    number: IntArray

    def elements(self, kind: str) -> IntArray:
        """Corners (m, 4) or (m, 3)."""
        i = self.number
        quads = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1).reshape(-1, 4)
        return cut(self.xyz, quads, kind)


def grid(nx: int, ny: int, surface: Callable[[Array, Array], Place]) -> Grid:
    """Mesh of a surface over the unit square, `surface(u, v)` -> x, y, z."""
    u, v = np.meshgrid(np.linspace(0.0, 1.0, nx + 1), np.linspace(0.0, 1.0, ny + 1), indexing="ij")
    xyz = np.stack([np.broadcast_to(c, u.shape) for c in surface(u, v)], axis=-1)
    return Grid(xyz.reshape(-1, 3), np.arange((nx + 1) * (ny + 1)).reshape(nx + 1, ny + 1))


def cut(xyz: Array, quads: IntArray, kind: str) -> IntArray:
    """Quads as they are, or cut in two along the shorter diagonal, the first one of equals."""
    if kind == QUADS:
        return quads
    first, second = (np.linalg.norm(xyz[quads[:, k]] - xyz[quads[:, k + 2]], axis=1) for k in (0, 1))
    start = np.where(second < first * (1.0 - 1e-6), 1, 0)[:, None]
    turned = np.take_along_axis(quads, (np.arange(4) + start) % 4, axis=1)
    return turned[:, [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3)


def dof(nodes: IntArray, *components: int) -> IntArray:
    """Degrees of freedom of nodes."""
    return np.asarray((6 * np.asarray(nodes).ravel()[:, None] + np.array(components)).ravel())


def shell_model(xyz: Array, node: IntArray, thickness: float, material: Material, *fixed: IntArray) -> Model:
    """Shells of one thickness, some degrees of freedom held."""
    held = np.unique(np.concatenate(fixed))
    shells = Shells("shell", node, np.full(len(node), thickness), material)
    return Model(xyz, shells=(shells,), ties=Ties(held, np.zeros(len(held))))


def no_load(model: Model) -> Array:
    """Zero forces (d,)."""
    return np.zeros(model.dof_count)


def edge_load(model: Model, nodes: IntArray, force: Array) -> Array:
    """A total force (3,) spread evenly over the length of a line of nodes, (d,)."""
    length = np.linalg.norm(np.diff(model.xyz[nodes], axis=0), axis=1)
    share = 0.5 * (np.append(length, 0.0) + np.insert(length, 0, 0.0)) / length.sum()
    load = no_load(model)
    load[dof(nodes, X, Y, Z)] = (share[:, None] * force).ravel()
    return load


def global_membrane(model: Model, u: Array, at: int) -> Array:
    """Membrane forces (3, 3), global, at a node of a flat part, from the elements around it.

    Quads give them at their corners. Of triangles the mean is best: a plane is fitted through those of two
    rings of elements (Zienkiewicz and Zhu 1992, from memory).
    """
    shells = model.shells[0]
    element, corner = np.nonzero(shells.node == at)
    if shells.node.shape[1] == 4:
        return np.asarray(_tensors(model, u, element)[np.arange(len(element)), corner + 1].mean(axis=0))
    for _ in range(2):
        element = np.flatnonzero(np.isin(shells.node, shells.node[element]).any(axis=1))
    middle = model.xyz[shells.node[element]].mean(axis=1) - model.xyz[at]
    tensor = _tensors(model, u, element)[:, 0]
    flat = np.abs(middle @ _normal(model, np.nonzero(shells.node == at)[0][0])) < 1e-9
    terms = np.column_stack([np.ones(flat.sum()), middle[flat]])
    fit = np.linalg.lstsq(terms, tensor[flat].reshape(-1, 9), rcond=None)[0]
    return np.asarray(fit[0].reshape(3, 3))


def _normal(model: Model, element: int) -> Array:
    a, b, c = model.xyz[model.shells[0].node[element][:3]]
    normal = np.cross(b - a, c - a)
    return np.asarray(normal / np.linalg.norm(normal))


def _tensors(model: Model, u: Array, element: IntArray) -> Array:
    """Membrane forces (m, p, 3, 3) of elements in global axes, in the middle, then at the corners."""
    shells = model.shells[0]
    node = shells.node[element]
    local = u[6 * node[..., None] + np.arange(6)].reshape(len(node), -1, 1)
    found = shell_resultants(model.xyz[node], shells.thickness[element], shells.material, local)
    force = found.membrane[..., 0][..., [0, 2, 2, 1]]
    axes = found.axes[:, None, :2]
    return np.asarray(np.swapaxes(axes, 2, 3) @ force.reshape(*force.shape[:2], 2, 2) @ axes)
