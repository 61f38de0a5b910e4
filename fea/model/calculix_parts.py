"""Shells, springs, beams and contacts in the words of a CalculiX deck."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph

from fea.elements.beam_data import Beams
from fea.elements.beams import beam_matrices
from fea.model.contact import OneWayLinks, as_links, stretch_matrix
from fea.model.data import GROUND, Model, Springs, node_dof
from roofmodel.errors import InputError
from roofmodel.hardware import Material

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

RANK = 1e-13  # share of the largest stiffness of a scaled element matrix that is rounding
TIE = 1e6  # stiffness of a tied rotation over the bending stiffness E t^3 / 12 of the sheet
# Of forces, and of displacements on fine meshes. In a clamped plate US3 is 3 to 5% stiff at 16 x 16 elements
# and 0.5 to 1% at 32 x 32; where sheets bend between elements 36 times wider than thick, 25%.
SHELL_TOLERANCE = 0.05


@dataclass(frozen=True)
class Substitution:
    """Something that another program carries in another way.

    Attributes
    ----------
    what : str
    how : str
    tolerance : float
        Relative difference of displacements and reactions that it may cost, 0 for exact. [-]
    """

    what: str
    how: str
    tolerance: float


@dataclass(frozen=True)
class Modes:
    """Springs on auxiliary motions s = rows u + constant.

    Attributes
    ----------
    rows : (k, d) sparse
        Nodal forces are rows' times the forces of the springs.
    constant : (k,) float
    one_way : (k,) bool
        Whether the spring only pushes, with `one_way_stiffness`; others have the stiffness 1.
    one_way_stiffness : (k,) float
        [N/m]
    tie : (k,) bool
        Whether the spring stands for a condition, so that its force is no force of an element.
    """

    rows: sparse.csr_array
    constant: Array
    one_way: NDArray[np.bool_]
    one_way_stiffness: Array
    tie: NDArray[np.bool_]

    def join(self, other: Modes) -> Modes:
        """Both, one after the other."""
        return Modes(
            rows=sparse.vstack([self.rows, other.rows], format="csr"),
            constant=np.concatenate([self.constant, other.constant]),
            one_way=np.concatenate([self.one_way, other.one_way]),
            one_way_stiffness=np.concatenate([self.one_way_stiffness, other.one_way_stiffness]),
            tie=np.concatenate([self.tie, other.tie]),
        )


def square_roots(K: Array) -> Array:
    """Rows C with K = C' C of symmetric positive semi-definite matrices.

    Parameters
    ----------
    K : (m, k, k) float

    Returns
    -------
    (m, k, k) float
        Rows that are zero stand for motions without stiffness.

    Notes
    -----
    Scaled by the diagonal first, so that soft rotations beside stiff translations keep their digits.
    """
    size = np.sqrt(np.maximum(np.einsum("mii->mi", K), 0.0))
    safe = np.where(size > 0.0, size, 1.0)
    value, vector = np.linalg.eigh(K / (safe[:, :, None] * safe[:, None, :]))
    value = np.where(value > RANK * value.max(axis=1, initial=0.0)[:, None], value, 0.0)
    return np.asarray(np.sqrt(value)[:, :, None] * np.swapaxes(vector, 1, 2) * size[:, None, :])


def _spring_rows(springs: Springs) -> tuple[Array, IntArray]:
    """Rows (m, 6, 12) and their degrees of freedom (m, 12), -1 for the ground."""
    root = square_roots(springs.stiffness)
    turn = np.zeros((len(springs.axes), 6, 6))
    turn[:, :3, :3] = turn[:, 3:, 3:] = springs.axes
    row = root @ turn
    dof = node_dof(springs.node)
    dof[springs.node == GROUND] = -1
    return np.concatenate([-row, row], axis=2), dof.reshape(-1, 12)


def _beam_rows(model: Model, beams: Beams) -> tuple[Array, IntArray]:
    """Rows (m, 14, 14) and their degrees of freedom (m, 14), -1 for warping that is free."""
    root = square_roots(beam_matrices(model.xyz[beams.node], beams))
    warp = np.where(beams.warp >= 0, 6 * len(model.xyz) + beams.warp, -1)
    return root, np.concatenate([node_dof(beams.node).reshape(-1, 12), warp], axis=1)


def _gather(parts: list[tuple[Array, IntArray]], count: int) -> Modes:
    blocks = []
    for row, dof in parts:
        m, k, width = row.shape
        column = np.repeat(dof[:, None, :], k, axis=1)
        value = np.where(column >= 0, row, 0.0)
        index = np.repeat(np.arange(m * k), width), np.maximum(column, 0).ravel()
        block = sparse.coo_array((value.ravel(), index), shape=(m * k, count)).tocsr()
        block.eliminate_zeros()
        blocks.append(block[np.diff(block.indptr) > 0])
    rows = sparse.vstack([sparse.csr_array((0, count)), *blocks], format="csr")
    k = rows.shape[0]
    return Modes(rows, np.zeros(k), np.zeros(k, dtype=bool), np.zeros(k), np.zeros(k, dtype=bool))


def stiffness_modes(model: Model) -> tuple[Modes, list[Substitution]]:
    """Springs and beams as unit springs on auxiliary motions, exact.

    Parameters
    ----------
    model : Model

    Returns
    -------
    modes : Modes
    substitutions : list of Substitution
    """
    parts, words = [], []
    for springs in model.springs:
        parts.append(_spring_rows(springs))
        how = "its 6 x 6 stiffness as one-direction springs on combined motions"
        words.append(Substitution(f'springs "{springs.name}"', how, 0.0))
    for beams in model.beams:
        parts.append(_beam_rows(model, beams))
        more = " with its warping" if beams.stiffness.warping > 0.0 else ""
        how = f"its own stiffness matrix{more} as springs on combined motions: no second opinion on the beam"
        words.append(Substitution(f'beams "{beams.name}"', how, 0.0))
    return _gather(parts, model.dof_count), words


def contact_modes(model: Model, links: Sequence[OneWayLinks] = ()) -> tuple[Modes, list[Substitution]]:
    """One-way bearing and links as springs that only push.

    Parameters
    ----------
    model : Model
    links : sequence of OneWayLinks
        Beside the contacts of the model.

    Returns
    -------
    modes : Modes
        s = share (gap - stretch) with share^2 = stiffness over the largest of the group.
    substitutions : list of Substitution
    """
    every = [*map(as_links, model.contacts), *map(as_links, links)]
    groups = [group for group in every if len(group.node)]
    count = model.dof_count
    rows, constant, stiffness, words = [sparse.csr_array((0, count))], [np.zeros(0)], [np.zeros(0)], []
    for group in groups:
        top = float(group.stiffness.max())
        share = np.sqrt(group.stiffness / top)
        rows.append(sparse.csr_array(-sparse.diags_array(share) @ stretch_matrix([group], count)))
        constant.append(share * group.gap)
        stiffness.append(np.full(len(share), top))
        how = "springs that only push, without a force outside 5 m of travel"
        words.append(Substitution(f'contacts "{group.name}"', how, 0.0))
    block = sparse.vstack(rows, format="csr")
    flags = np.zeros(block.shape[0], dtype=bool)
    return Modes(block, np.concatenate(constant), ~flags, np.concatenate(stiffness), flags), words


def tie_modes(model: Model, dof: IntArray, rows: sparse.csr_array, constant: Array) -> Modes:
    """Conditions u[dof] = rows u + constant on rotations of shell nodes as stiff springs.

    Parameters
    ----------
    model : Model
    dof : (k,) int
    rows : (k, d) sparse
    constant : (k,) float

    Returns
    -------
    Modes
        With `TIE` times the largest bending stiffness of the sheets.
    """
    bend = max(float((g.thickness**3).max(initial=0.0)) * g.material.E / 12.0 for g in model.shells)
    share = np.sqrt(TIE * bend)
    k = len(dof)
    unit = sparse.coo_array((np.ones(k), (np.arange(k), dof)), shape=rows.shape).tocsr()
    flags = np.zeros(k, dtype=bool)
    return Modes((share * (unit - rows)).tocsr(), -share * constant, flags, np.zeros(k), ~flags)


def _poisson(material: Material) -> float:
    nu = material.E / (2.0 * material.G) - 1.0
    if not -1.0 < nu < 0.5:
        message = (
            f"material {material.name}: E = {material.E:g} Pa and G = {material.G:g} Pa give a Poisson "
            f"ratio of {nu:.3g}; an isotropic sheet needs one between -1 and 0.5."
        )
        raise InputError(message)
    return nu


def _even_nodes(model: Model) -> NDArray[np.bool_]:
    """Nodes an even number of element edges away from one node of each sheet, (n,)."""
    n = len(model.xyz)
    quads = [group.node for group in model.shells if group.node.shape[1] == 4]
    node = np.concatenate(quads) if quads else np.zeros((0, 4), dtype=np.int64)
    pair = node.ravel(), np.roll(node, -1, axis=1).ravel()
    edges = sparse.coo_array((np.ones(node.size), pair), shape=(n, n)).tocsr()
    _, part = csgraph.connected_components(edges, directed=False)
    _, first = np.unique(part, return_index=True)
    way = csgraph.dijkstra(edges, directed=False, indices=first, unweighted=True, min_only=True)
    return np.asarray(way % 2.0 == 0.0)


def _triangles(node: IntArray, even: NDArray[np.bool_]) -> IntArray:
    """Triangles (k, 3) of quadrilaterals (m, 4), first both halves of one, then those of the next."""
    if node.shape[1] == 3:
        return node
    start = np.where(even[node[:, 0]] | even[node[:, 2]], 0, 1)
    turned = np.take_along_axis(node, (start[:, None] + np.arange(4)) % 4, axis=1)
    return turned[:, [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3)


def shell_lines(model: Model) -> tuple[list[str], list[Substitution], int]:
    """Element, material and section cards of the shells, and the next free element number.

    A quadrilateral is split along the diagonal between its even corners, so that diagonals alternate where
    the mesh allows it.

    Parameters
    ----------
    model : Model

    Returns
    -------
    lines : list of str
    substitutions : list of Substitution
    next_element : int
    """
    lines: list[str] = []
    words: list[Substitution] = []
    element = 1
    even = _even_nodes(model)
    if model.shells:
        lines.append("*USER ELEMENT,TYPE=US3,NODES=3,INTEGRATION POINTS=3,MAXDOF=6")
    for part, group in enumerate(model.shells):
        material = f"SHEET{part + 1}"
        lines.append(f"** shells: {' '.join(group.name.encode('ascii', 'replace').decode().split())}")
        lines += [
            f"*MATERIAL,NAME={material}",
            "*ELASTIC",
            f"{group.material.E:.12e},{_poisson(group.material):.12e}",
        ]
        for k, thickness in enumerate(np.unique(group.thickness).tolist()):
            node = _triangles(group.node[group.thickness == thickness], even) + 1
            lines.append(f"*ELEMENT,TYPE=US3,ELSET={material}T{k + 1}")
            lines += [f"{element + i},{a},{b},{c}" for i, (a, b, c) in enumerate(node.tolist())]
            lines.append(f"*USER SECTION,ELSET={material}T{k + 1},MATERIAL={material},CONSTANTS=1")
            lines.append(f"{thickness:.12e}")
            element += len(node)
        split = "split in two along alternating diagonals to " if group.node.shape[1] == 4 else ""
        how = f"{split}US3, a triangle with six freedoms a node, stiffer in bending on coarse meshes"
        words.append(Substitution(f'shells "{group.name}"', how, SHELL_TOLERANCE))
    return lines, words, element
