"""Unknowns and springs of a model as a CalculiX deck takes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.model.calculix_parts import Modes, Substitution, contact_modes, stiffness_modes, tie_modes
from fea.model.contact import OneWayLinks
from fea.model.data import Model, node_dof
from fea.model.ties import eliminate

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Motions:
    """What moves in the deck.

    Attributes
    ----------
    model : Model
    transform : (d, f) sparse, offset : (d,) float
        u = transform q + offset.
    dof_place : (d, 2) int
        Node and direction in the deck of every degree of freedom.
    place : (f, 2) int
        Those of each q.
    tied : (t,) int
        Degrees of freedom of shell nodes that follow others or are given.
    modes : Modes
        Springs, beams and contacts.
    iterate : bool
        Whether the program has to iterate.
    substitutions : tuple of Substitution
    """

    model: Model
    transform: sparse.csr_array
    offset: Array
    dof_place: IntArray
    place: IntArray
    tied: IntArray
    modes: Modes
    iterate: bool
    substitutions: tuple[Substitution, ...]

    @property
    def on_shell(self) -> BoolArray:
        """Nodes that shells hold, (n,)."""
        return _on_shell(self.model)


def _on_shell(model: Model) -> NDArray[np.bool_]:
    held = np.zeros(len(model.xyz), dtype=bool)
    for group in model.shells:
        held[group.node.ravel()] = True
    return held


def _dof_place(model: Model) -> IntArray:
    """Node and direction in the deck of every degree of freedom, (d, 2).

    Rotations of nodes without shells, and warping, become translations of companion nodes.
    """
    n, w = len(model.xyz), model.warp_count
    node = np.repeat(np.arange(1, n + 1)[:, None], 6, axis=1)
    direction = np.tile(np.arange(1, 7), (n, 1))
    alone = ~_on_shell(model)
    node[alone, 3:] += n
    direction[alone, 3:] -= 3
    warp = np.arange(w)
    place = np.stack([node, direction], axis=-1).reshape(-1, 2)
    return np.concatenate([place, np.stack([2 * n + 1 + warp // 3, 1 + warp % 3], axis=1)])


def _unit(dof: IntArray, count: int) -> sparse.csr_array:
    """Rows that pick degrees of freedom."""
    k = len(dof)
    return sparse.coo_array((np.ones(k), (np.arange(k), dof)), shape=(k, count)).tocsr()


def _loosen(model: Model, transform: sparse.csr_array, offset: Array, master: IntArray,
            turned: IntArray) -> tuple[sparse.csr_array, Array, Modes]:  # fmt: skip
    """Make tied rotations unknowns of their own, held by stiff springs."""
    held = tie_modes(model, turned, transform[turned] @ _unit(master, model.dof_count), offset[turned])
    stays = ~np.isin(np.arange(model.dof_count), turned)
    kept = sparse.diags_array(stays, dtype=float) @ transform
    return (
        sparse.hstack([kept, _unit(turned, model.dof_count).T], format="csr"),
        np.where(stays, offset, 0.0),
        held,
    )


def eliminated(model: Model, links: Sequence[OneWayLinks] = ()) -> Motions:
    """Unknowns of a deck after its ties, and everything that acts between them but shells.

    Parameters
    ----------
    model : Model
    links : sequence of OneWayLinks

    Returns
    -------
    Motions

    Raises
    ------
    InputError
        Ties that contradict each other.
    """
    ties = eliminate(model)
    transform, master, offset = ties.matrix, ties.free, ties.offset
    transform.eliminate_zeros()
    dof_place = _dof_place(model)
    tied = np.setdiff1d(node_dof(np.flatnonzero(_on_shell(model))).ravel(), master)
    modes, words = stiffness_modes(model)
    push, more = contact_modes(model, links)
    modes, words = modes.join(push), [*words, *more]
    follows = np.diff(transform.indptr)[tied] > 0
    constants = (offset[tied][follows] != 0.0).any() or (offset[modes.rows.indices] != 0.0).any()
    iterate = bool(modes.one_way.any() or constants)
    turned = tied[follows & (tied % 6 >= 3)]
    if iterate and len(turned):
        transform, offset, held = _loosen(model, transform, offset, master, turned)
        modes = modes.join(held)
        master, tied = np.concatenate([master, turned]), np.setdiff1d(tied, turned)
        how = "springs of a million times the sheet's bending stiffness"
        words.append(Substitution("tied rotations of shell nodes", how, 1e-4))
    return Motions(
        model=model,
        transform=transform,
        offset=offset,
        dof_place=dof_place,
        place=dof_place[master],
        tied=tied,
        modes=modes,
        iterate=iterate,
        substitutions=tuple(words),
    )
