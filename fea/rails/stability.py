"""Whether a row is held, judged before any elimination.

Beams resist everything but rigid motion of each piece between splices, so a frame is singular exactly when
some motion of rigid pieces strains no clamp. That is a small and well-scaled question, and its answer can
be told in words.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import eigsh

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

FREE = 1e-13  # stiffness against a rigid motion, over that of its parts taken alone, that counts as none
KNOWN = 256  # rows whose judgment is kept
DENSE_LIMIT = 300  # more unknowns than this go to a sparse eigenvalue solver


def _piece_motions(s: Array, dof: IntArray) -> tuple[Array, IntArray, IntArray, IntArray]:
    """Joints between rigid pieces; piece, group that rolls and group that travels of each node."""
    right = np.zeros(len(s), dtype=bool)
    right[1:] = dof[1:, 1] == dof[:-1, 1]
    slides, rolls = right.copy(), right.copy()
    slides[1:] &= dof[1:, 0] != dof[:-1, 0]
    rolls[1:] &= dof[1:, 3] != dof[:-1, 3]
    joints = np.concatenate([s[:1], s[right], s[-1:]])
    return joints, np.cumsum(right), np.cumsum(rolls), np.cumsum(slides)


def _compatibility(
    s: Array, joints: Array, piece: IntArray, roll: IntArray, axial: IntArray, node: IntArray
) -> sparse.csr_array:
    """From rigid motions to the six displacements of the clamps' nodes.

    Motions: roll of each group that twists as one; travel of each axial group; then y and z of each joint.
    """
    rolls, groups, count = int(roll[-1]) + 1, int(axial[-1]) + 1, len(joints)
    p = piece[node]
    length = joints[p + 1] - joints[p]
    xi = (s[node] - joints[p]) / length
    y, z = rolls + groups + p, rolls + groups + count + p
    base = 6 * np.arange(len(node))
    one = np.ones(len(node))
    entries = [
        (base, rolls + axial[node], one),
        (base + 3, roll[node], one),
        (base + 1, y, 1.0 - xi),
        (base + 1, y + 1, xi),
        (base + 5, y, -1.0 / length),
        (base + 5, y + 1, 1.0 / length),
        (base + 2, z, 1.0 - xi),
        (base + 2, z + 1, xi),
        (base + 4, z, 1.0 / length),
        (base + 4, z + 1, -1.0 / length),
    ]
    rows, cols, values = (np.concatenate(part) for part in zip(*entries, strict=True))
    shape = (6 * len(node), rolls + groups + 2 * count)
    return sparse.coo_array((values, (rows, cols)), shape=shape).tocsr()


def _softest(S: sparse.csr_array) -> tuple[float, Array]:
    """Smallest eigenvalue and its vector."""
    if S.shape[0] <= DENSE_LIMIT:
        values, vectors = np.linalg.eigh(S.toarray())
        return float(values[0]), vectors[:, 0]
    start = np.random.default_rng(0).normal(size=S.shape[0])
    values, vectors = eigsh(S.tocsc(), k=1, sigma=-1e-8, v0=start)
    return float(values[0]), vectors[:, 0]


def _askew(S: sparse.csr_array, *motions: Array) -> Array:
    """Translation of the whole row that meets least resistance."""
    basis = np.stack(motions, axis=1)
    return np.asarray(basis @ np.linalg.eigh(basis.T @ (S @ basis))[1][:, 0])


def _simple_motion(
    S: sparse.csr_array, alone: Array, rolls: int, groups: int, joints: Array, height: float
) -> str:
    """Name of a motion of the whole row as one piece that meets no resistance, empty if there is none."""
    count = len(joints)
    roll, travel, y, z = np.zeros((4, S.shape[0]))
    first = rolls + groups
    roll[:rolls] = 1.0
    travel[rolls:first] = 1.0
    y[first : first + count] = 1.0
    z[first + count :] = 1.0

    def about_center(shift: Array) -> Array:
        turn = shift * np.concatenate([np.zeros(first), joints, joints])
        hold = float(shift @ (S @ shift))
        return turn - shift * (float(shift @ (S @ turn)) / hold if hold > 0.0 else 0.0)

    motions = (
        (travel, "nothing keeps the rail from sliding along its own length"),
        (y, "nothing keeps the rail from moving up and down the slope"),
        (z, "nothing keeps the rail from lifting off the roof"),
        (roll, "nothing keeps the rail from rolling about its own axis"),
        (roll - height * y, "nothing keeps the rail from tipping over about the grips of its clamps"),
        (about_center(y), "nothing keeps the rail from turning in the plane of the roof"),
        (
            about_center(z) - height * travel,
            "nothing keeps one end of the rail from lifting and the other from sinking",
        ),
        (_askew(S, travel, y, z), "nothing keeps the rail from moving askew to its own length"),
    )
    for motion, words in motions:
        if float(motion @ (S @ motion)) <= FREE * float(alone @ motion**2):
            return words
    return ""


def _piece_words(motion: Array, rolls: int, groups: int, joints: Array, height: float) -> str:
    """Say which piece moves most in a mechanism."""
    turn = np.abs(motion[:rolls]) * height
    travel = np.abs(motion[rolls : rolls + groups])
    sway = motion[rolls + groups :].reshape(2, -1)
    size = np.abs(sway).max(axis=0)
    if rolls > 1 and turn.max() > max(travel.max(), size.max()):
        where = _which_piece(int(np.argmax(turn)), rolls)
        return f"nothing keeps {where} from rolling about its own axis, as its splices pass no torsion"
    if travel.max() > size.max():
        where = _which_piece(int(np.argmax(travel)), groups)
        return f"nothing keeps {where} from sliding along the row"
    if len(joints) == 2:
        return "nothing keeps the rail from turning about the grips of its clamps"
    most = int(np.argmax(np.maximum(size[:-1], size[1:])))
    plane = "away from the roof" if np.abs(sway).max(axis=1).argmax() else "in the plane of the roof"
    where = _which_piece(most, len(joints) - 1)
    return f"nothing keeps {where} from swinging {plane} about its splice"


def _which_piece(number: int, count: int) -> str:
    """A piece between splices in words that hold in every system of units."""
    if number in (0, count - 1):
        return f"the {'last' if number else 'first'} piece (of {count}, from its left end)"
    return f"piece {number + 1} (of {count}, from its left end)"


def free_motion(s: Array, dof: IntArray, node: IntArray, spring: Array, height: float) -> str:
    """Find a motion of a row that nothing resists.

    Parameters
    ----------
    s : (n,) float
        Nodes along the row, the two nodes of a hinge one after the other. [m]
    dof : (n, 6) int
        Degrees of freedom, shared at splices.
    node : (c,) int
        Node of each clamp.
    spring : (c, 6, 6) float
        Clamp stiffness at the rail axis in row axes. [N/m, N, N m/rad]
    height : float
        Of the rail axis above the grips. [m]

    Returns
    -------
    str
        The motion in words, empty when the row is held.
    """
    if not len(node):
        return "it has no clamps, so nothing holds it"
    return _free_motion(
        s.tobytes(), (dof.shape, dof.tobytes()), node.tobytes(), (spring.shape, spring.tobytes()), height
    )


@lru_cache(maxsize=KNOWN)
def _free_motion(
    s_bytes: bytes,
    dof_bytes: tuple[tuple[int, ...], bytes],
    node_bytes: bytes,
    spring_bytes: tuple[tuple[int, ...], bytes],
    height: float,
) -> str:
    """`free_motion` of a row with clamps; rows that stay while others move are asked about each time."""
    s, node = np.frombuffer(s_bytes), np.frombuffer(node_bytes, dtype=np.int64)
    dof = np.frombuffer(dof_bytes[1], dtype=np.int64).reshape(dof_bytes[0])
    spring = np.frombuffer(spring_bytes[1]).reshape(spring_bytes[0])
    joints, piece, roll, axial = _piece_motions(s, dof)
    rolls, groups = int(roll[-1]) + 1, int(axial[-1]) + 1
    C = _compatibility(s, joints, piece, roll, axial, node)
    blocks = sparse.bsr_array((spring, np.arange(len(node)), np.arange(len(node) + 1)))
    S = (C.T @ blocks @ C).tocsr()
    diagonal = S.diagonal()
    if not diagonal.max() > 0.0:
        return "its clamps have no stiffness, so nothing holds it"
    # A direction that is free but for rounding must not be blown up to unit stiffness.
    alone = np.where(diagonal > 1e-20 * diagonal.max(), diagonal, diagonal.max())
    scale = 1.0 / np.sqrt(alone)
    unit = S * scale[:, None] * scale[None, :]
    value, vector = _softest(sparse.csr_array(unit))
    if value > FREE:
        return ""
    simple = _simple_motion(S, alone, rolls, groups, joints, height)
    return simple or _piece_words(vector * scale, rolls, groups, joints, height)
