"""A strip is its own mirror image: two halves, one that moves alike and one against, in place of the whole.

With u = (a + b, S (a - b)) for both sides and S the signs of a mirror across y, stiffness falls apart into
that of a and that of b, each on one side only. Each is condensed by itself, in a quarter of the work.

Source: symmetric and antisymmetric parts: Przemieniecki, Theory of Matrix Structural Analysis (from memory).
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.model.assembly import System
from fea.panel.model import PanelField
from fea.solvers.trailing import schur_complement

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SIGNS = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])  # of displacements in a mirror across y
ALIKE = 1e-9  # difference of both sides that counts as none, of the largest entry [-]


def images(field: PanelField, number: IntArray, count: int) -> tuple[IntArray, Array]:
    """Unknown on the other side of the seam (f,) for each, itself for those of a clamp, and its sign (f,)."""
    nodes = np.arange(len(field.model.xyz))
    line, point = np.divmod(nodes, field.width)
    other = np.where(nodes < len(field.mesh.x) * field.width, (line + 1) * field.width - 1 - point, nodes)
    there = (6 * other[:, None] + np.arange(6)).ravel()
    free = np.flatnonzero(number >= 0)
    image, sign = np.empty(count, dtype=np.int64), np.empty(count)
    image[number[free]] = number[there[free]]
    sign[number[free]] = SIGNS[free % 6]
    return image, sign


def mirrored_schur(field: PanelField, system: System, kept: IntArray) -> Array:
    """Stiffness (k, k) of some unknowns of a single strip; the image of each is among them.

    Parameters
    ----------
    field : PanelField
        One strip.
    system : System
    kept : (k,) int
        Unknowns, in the order wanted.

    Returns
    -------
    (k, k) float
        Exactly symmetric.
    """
    image, sign = images(field, system.ties.number, system.ties.count)
    size = system.upper.diagonal()
    if np.abs(size - size[image]).max(initial=0.0) > ALIKE * size.max(initial=0.0):
        return schur_complement(system.upper, kept, system.order)
    own = image == np.arange(len(image))
    side = np.arange(len(image)) <= image  # one of each pair, and those of clamps
    K = sparse.coo_array(system.matrix[np.flatnonzero(side)])
    rows = np.flatnonzero(side)[K.row]
    near = np.where(side, np.arange(len(image)), image)[K.col]
    mixed = np.where(own[rows] != own[near], np.where(own[rows], np.sqrt(0.5), np.sqrt(2.0)), 1.0)
    first, alone = kept[side[kept] & ~own[kept]], kept[own[kept]]
    n = len(first)
    halves, parts = [], [first, image[first]]
    for way in (1.0, -1.0):
        # Unknowns of clamps move only one way; of a pair only one side stays.
        use = side & (~own | (sign == way))
        number = np.cumsum(use) - 1
        value = K.data * mixed * np.where(side[K.col], 1.0, way * sign[K.col])
        pick = use[rows] & use[near] & (number[rows] <= number[near])
        half = sparse.coo_array(
            (value[pick], (number[rows[pick]], number[near[pick]])), shape=(int(use.sum()),) * 2
        ).tocsr()
        parts.append(alone[use[alone]])
        stays = number[np.concatenate([first, parts[-1]])]
        order = None if system.order is None else number[system.order[use[system.order]]]
        halves.append(schur_complement(half, stays, order))
    return _joined(halves, n, sign[first], parts, kept)


def _joined(halves: list[Array], n: int, turn: Array, parts: list[IntArray], kept: IntArray) -> Array:
    """Both halves as one, (k, k): n unknowns of one side, their images, and those of clamps both ways."""
    a, b = halves
    ends = np.cumsum([0, *(len(part) for part in parts)])
    one, other, alike, against = (slice(*pair) for pair in itertools.pairwise(ends))
    out = np.zeros((ends[-1], ends[-1]))
    out[one, one] = 0.5 * (a[:n, :n] + b[:n, :n])
    out[one, other] = 0.5 * (a[:n, :n] - b[:n, :n]) * turn
    out[other, other] = turn[:, None] * out[one, one] * turn
    out[one, alike], out[one, against] = np.sqrt(0.5) * a[:n, n:], np.sqrt(0.5) * b[:n, n:]
    out[other, alike] = turn[:, None] * out[one, alike]
    out[other, against] = -turn[:, None] * out[one, against]
    out[alike, alike], out[against, against] = a[n:, n:], b[n:, n:]
    for above, below in ((one, other), (one, alike), (one, against), (other, alike), (other, against)):
        out[below, above] = out[above, below].T
    place = np.empty(int(kept.max()) + 1, dtype=np.int64)
    place[np.concatenate(parts)] = np.arange(len(out))
    at = place[kept]
    return out[np.ix_(at, at)]
