"""Results of a CalculiX deck read back into the degrees of freedom of its model."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.model.calculix import Deck
from fea.model.calculix_motions import Motions
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

BALANCE = 1e-4  # share of the largest force; seven digits are printed of each

_BLOCK = re.compile(r"^ (displacements|forces) .* for set (\w+) +and time .*$", re.MULTILINE)
_SHORT_EXPONENT = re.compile(r"(?<=\d)([+-]\d{3})(?!\d)")  # Fortran leaves the E out before three digits


@dataclass(frozen=True)
class DeckResult:
    """What the other program found.

    Attributes
    ----------
    displacement : (d, q) float
        [m, rad]
    force : (d, q) float
        Force of the elements on each degree of freedom, K u; NaN for the moments at nodes of shells, which
        that program does not print. [N, N m]
    reaction : (d, q) float
        K u - F where fixings and ties act, the forces of both together, 0 elsewhere. [N, N m]
    contact : (c, q) float
        Forces of contacts and one-way links, 0 or more, all groups in order. [N]
    unbalanced : (q,) float
        Largest sum of forces on an unknown over the largest force, where all of them are printed. [-]
    """

    displacement: Array
    force: Array
    reaction: Array
    contact: Array
    unbalanced: Array


def _table(text: str) -> tuple[IntArray, Array]:
    """Node numbers and values of one printed block."""
    lines = [line for line in text.splitlines() if line.strip()]
    values = np.array([line.split() for line in lines], dtype=float)
    return values[:, 0].astype(np.int64), values[:, 1:]


def _columns(tables: list[tuple[IntArray, Array]], place: IntArray) -> Array:
    """Values at nodes and directions (k, 2) in every step, (k, q)."""
    result = np.empty((len(place), len(tables)))
    for q, (node, value) in enumerate(tables):
        order = np.argsort(node, kind="stable")
        at = order[np.searchsorted(node[order], place[:, 0])]
        result[:, q] = value[at, place[:, 1] - 1]
    return result


def read_results(deck: Deck, text: str) -> DeckResult:
    """Read the .dat file that the deck makes.

    Parameters
    ----------
    deck : Deck
    text : str

    Returns
    -------
    DeckResult

    Raises
    ------
    InputError
        A case is missing, or its forces do not balance: the program has stopped before.
    """
    text = _SHORT_EXPONENT.sub(r"E\1", text)
    heads = list(_BLOCK.finditer(text))
    ends = [*(head.start() for head in heads[1:]), len(text)][: len(heads)]
    found: dict[str, list[tuple[IntArray, Array]]] = {"displacements": [], "forces": []}
    for head, end in zip(heads, ends, strict=True):
        if head.group(2) == "NALL":
            found[head.group(1)].append(_table(text[head.end() : end]))
    ready = {len(tables) for tables in found.values()}
    if ready != {len(deck.cases)}:
        message = f"CalculiX results: {min(ready)} of {len(deck.cases)} cases are there; read its own output."
        raise InputError(message)
    motions = deck.motions
    q = _columns(found["displacements"], motions.place)
    spring = _columns(found["forces"], deck.mode_place)
    element = ~motions.modes.tie
    force = np.asarray(motions.modes.rows[element].T @ spring[element])
    held = np.flatnonzero(motions.on_shell)
    for direction in range(3):
        place = np.stack([held + 1, np.full_like(held, direction + 1)], axis=1)
        force[6 * held + direction] += _columns(found["forces"], place)
        force[6 * held + 3 + direction] = np.nan
    unbalanced = _unbalanced(motions, force, force - deck.load)
    if (unbalanced > BALANCE).any():
        case = int(unbalanced.argmax())
        message = (
            f'CalculiX results: forces of case "{deck.cases[case]}" do not balance ({unbalanced[case]:.1e} '
            f"of the largest); the program has not converged, run it again on one processor."
        )
        raise InputError(message)
    push = motions.modes.rows[motions.modes.one_way]
    share = np.sqrt(np.asarray(push.multiply(push).sum(axis=1)).ravel())
    return DeckResult(
        displacement=motions.transform @ q + motions.offset[:, None],
        force=force,
        reaction=np.where(_tied(motions)[:, None], force - deck.load, 0.0),
        contact=-share[:, None] * spring[motions.modes.one_way],
        unbalanced=unbalanced,
    )


def _unbalanced(motions: Motions, force: Array, left: Array) -> Array:
    """Largest force left on an unknown without tie springs and moments that are not printed, (q,)."""
    tie = np.abs(motions.modes.rows[motions.modes.tie] @ motions.transform).sum(axis=0) > 0.0
    free = np.abs(np.asarray(motions.transform.T @ left))[~np.asarray(tie).ravel()]
    scale = np.nanmax(np.abs(force), axis=0, initial=np.finfo(float).tiny)
    return np.asarray(np.nanmax(free, axis=0, initial=0.0) / scale)


def _tied(motions: Motions) -> NDArray[np.bool_]:
    """Degrees of freedom that ties act on, main ones among them, (d,)."""
    T = motions.transform
    alone = (np.diff(T.indptr) == 1) & (motions.offset == 0.0)
    first = T.indptr[:-1][alone]
    users = np.bincount(T.indices, minlength=T.shape[1])
    tied = ~alone
    tied[alone] = (T.data[first] != 1.0) | (users[T.indices[first]] > 1)
    return tied
