"""What a solution does to the elements, and whether every body of the model is in equilibrium."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from fea.elements.shells import Resultants, free_resultants, shell_resultants, surface_stress
from fea.elements.springs import spring_forces
from fea.model.assembly import System
from fea.model.data import GROUND, Model, node_dof

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

CHUNK = 4096  # shells worked off together
UNLOADED = 1e-6  # share of the model's forces below which a body counts as not loaded


@dataclass(frozen=True)
class ShellStress:
    """Forces, moments and stresses of a group of shells at p points: the middle, then the corners.

    Attributes
    ----------
    resultants : Resultants
        Membrane forces [N/m], moments [N], shear forces [N/m], in the elements' own axes.
    von_mises : (m, p, 2, q) float
        On the top face, the one the normal points to, and on the bottom face. [Pa]
    """

    resultants: Resultants
    von_mises: Array


def shell_stress(
    model: Model, group: int, u: Array, rise: Array | None = None, gradient: Array | None = None
) -> ShellStress:
    """Stress of a group of shells.

    Parameters
    ----------
    model : Model
    group : int
        Index in `model.shells`.
    u : (d, q) float
        Displacements. [m, rad]
    rise, gradient : (q,) float, optional
        Change of temperature that the displacements were solved for. [K, K/m]

    Returns
    -------
    ShellStress
    """
    s = model.shells[group]
    dof = node_dof(s.node).reshape(len(s.node), -1)
    slices = [slice(i, i + CHUNK) for i in range(0, max(len(s.node), 1), CHUNK)]
    parts = [shell_resultants(model.xyz[s.node[c]], s.thickness[c], s.material, u[dof[c]]) for c in slices]
    axes, membrane, moment, shear = (
        np.concatenate([getattr(p, name) for p in parts]) for name in ("axes", "membrane", "moment", "shear")
    )
    if rise is not None or gradient is not None:
        none = np.zeros(u.shape[1])
        warm = [
            np.broadcast_to(none if x is None else x, (len(s.node), u.shape[1])) for x in (rise, gradient)
        ]
        free_force, free_moment = free_resultants(s.thickness, s.material, *warm)
        membrane[:, :, :2] -= free_force[:, None, None]
        moment[:, :, :2] -= free_moment[:, None, None]
    found = Resultants(axes, membrane, moment, shear)
    return ShellStress(found, surface_stress(found, s.thickness))


def spring_force(model: Model, group: int, u: Array) -> Array:
    """Forces (m, 6, q) of a group of springs in their own axes, for displacements (d, q).

    They act on the first node along u(second) - u(first), so that a spring to the ground that is pressed
    towards it along an axis has a negative force there: the ground pushes back. [N, N m]
    """
    s = model.springs[group]
    first = u[node_dof(s.node[:, 0])]
    second = np.where((s.node[:, 1] == GROUND)[:, None, None], 0.0, u[node_dof(s.node[:, 1].clip(0))])
    return spring_forces(s.stiffness, s.axes, second - first)


@dataclass(frozen=True)
class Audit:
    """Equilibrium of the whole model, first, and of each of its bodies.

    A body is what elements join; links and equations between bodies are cut, and their forces applied.

    Attributes
    ----------
    name : tuple of str, length b
        Groups of elements in the body.
    force, moment : (b, q) float
        What is missing, over the sum of the amounts that act on the body; 0 without forces. [-]
    """

    name: tuple[str, ...]
    force: Array
    moment: Array

    @property
    def worst(self) -> float:
        """Largest entry. [-]."""
        return float(max(self.force.max(initial=0.0), self.moment.max(initial=0.0)))


def _element_nodes(model: Model) -> Iterator[tuple[str, IntArray]]:
    """Names and nodes (m, k) of all groups; springs to the ground by their one node."""
    for shells in model.shells:
        yield shells.name, shells.node
    for beams in model.beams:
        yield beams.name, beams.node
    for springs in model.springs:
        loose = springs.node[:, 1] != GROUND
        yield springs.name, springs.node[loose]
        yield springs.name, springs.node[~loose, :1]


def bodies(model: Model) -> tuple[IntArray, tuple[str, ...]]:
    """Body of each node (n,), and the groups of elements in each body as words.

    Nodes without elements are bodies of their own, such as the main node of a rigid link.
    """
    n = len(model.xyz)
    groups = list(_element_nodes(model))
    first = np.concatenate([np.repeat(g[:, 0], g.shape[1]) for _, g in groups] or [np.zeros(0, dtype=int)])
    other = np.concatenate([g.ravel() for _, g in groups] or [np.zeros(0, dtype=int)])
    graph = sparse.coo_array((np.ones(len(first), dtype=np.int8), (first, other)), shape=(n, n))
    count, body = connected_components(graph.tocsr(), directed=False)
    words: list[list[str]] = [[] for _ in range(count)]
    for name, node in groups:
        for b in np.unique(body[node[:, 0]]):
            words[b] += [name] if name not in words[b] else []
    return body.astype(np.int64), tuple(", ".join(w) or "node without elements" for w in words)


def ground_spring_load(model: Model, u: Array) -> Array:
    """Forces (d, q) of the springs to the ground on their nodes, for displacements (d, q). [N, N m]."""
    total = np.zeros_like(u)
    for i, s in enumerate(model.springs):
        ground = s.node[:, 1] == GROUND
        own = spring_force(model, i, u)[ground].reshape(-1, 2, 3, u.shape[1])
        turned = np.swapaxes(s.axes[ground], 1, 2)[:, None] @ own
        np.add.at(total, node_dof(s.node[ground, 0]), turned.reshape(-1, 6, u.shape[1]))
    return total


def _missing(model: Model, body: IntArray, count: int, loads: list[Array]) -> tuple[Array, Array]:
    """Resultants of nodal loads over the sum of their amounts, by body, moments about its center.

    A body that hardly anything acts on is measured by a share of what acts on the model, not by rounding.
    """
    n = len(model.xyz)
    share = sparse.coo_array((np.ones(n), (body, np.arange(n))), shape=(count, n)).tocsr()
    size = np.bincount(body, minlength=count)
    center = np.asarray(share @ model.xyz) / np.maximum(size, 1)[:, None]
    arm = (model.xyz - center[body])[:, :, None]

    def summed(values: Array) -> Array:
        return np.asarray(share @ values.reshape(n, -1))

    q = loads[0].shape[1]
    lost = [np.zeros((count, 3, q)), np.zeros((count, 3, q))]
    amount = [np.zeros((count, q)), np.zeros((count, q))]
    for load in loads:
        nodal = load[: 6 * n].reshape(n, 2, 3, q)
        lever = np.cross(arm, nodal[:, 0], axis=1)
        for part, values in enumerate((nodal[:, 0], nodal[:, 1] + lever)):
            lost[part] += summed(values).reshape(count, 3, q)
        amount[0] += summed(np.linalg.norm(nodal[:, 0], axis=1))
        amount[1] += summed(np.linalg.norm(nodal[:, 1], axis=1) + np.linalg.norm(lever, axis=1))
    amount = [np.maximum(a, UNLOADED * a.sum(axis=0)) for a in amount]
    ratios = [
        np.divide(np.linalg.norm(x, axis=1), a, out=np.zeros_like(a), where=a > 0.0)
        for x, a in zip(lost, amount, strict=True)
    ]
    return ratios[0], ratios[1]


def audit(system: System, u: Array, F: Array, contact: Array | None = None) -> Audit:
    """Equilibrium of every body under loads, supports, springs to the ground, links and contacts.

    Elements do no work in rigid motion, so the sums vanish when elements, ties and solution are right,
    however large the model. What is wrong at one node and right in sum shows in `Solution.residual` instead.

    Parameters
    ----------
    system : System
    u, F : (d, q) float
        Displacements, and the forces they were solved for. [m, rad; N, N m]
    contact : (d, q) float, optional
        Forces of one-way contacts on the nodes. [N]

    Returns
    -------
    Audit
    """
    model = system.model
    support, link = system.tie_forces(u, F if contact is None else F + contact)
    outside = [F, support, ground_spring_load(model, u)] + ([] if contact is None else [contact])
    body, words = bodies(model)
    whole = _missing(model, np.zeros_like(body), 1, outside)
    each = _missing(model, body, len(words), [*outside, link])
    force, moment = (np.concatenate([a, b]) for a, b in zip(whole, each, strict=True))
    return Audit(("whole model", *words), force, moment)
