"""What is wrong with a model that cannot be solved, in words: which part floats, and in which direction."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from fea.elements.beam_data import Beams
from fea.model.assembly import System
from fea.model.data import Model, Shells, Springs, node_dof
from fea.model.ties import dof_words
from fea.solvers.direct import Factor, SingularError, factorize_upper
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SHIFT = 1e-10  # makes the scaled matrix solvable; far above rounding, far below what resists
SOFT = 1e-12  # scaled stiffness of a motion that nothing resists
MODES = 12  # motions looked for at once: two floating parts
NOISE = 1e-4  # share of a motion that rounding may add
AXES = ("x", "y", "z")
MOST = 3  # parts named


class FloatingError(InputError, SingularError):
    """A structure that is not held, told in one line."""


def condition(factor: Factor) -> float:
    """Estimate from below of the condition of a factorized matrix scaled to a unit diagonal. [-].

    Two steps of inverse iteration (Golub and Van Loan, Matrix Computations, 7.6.1, from memory).
    """
    if not factor.upper.shape[0]:
        return 1.0
    scale = np.sqrt(factor.upper.diagonal())[:, None]
    vector = np.random.default_rng(0).normal(size=scale.shape)
    growth = 1.0
    for _ in range(2):
        vector /= np.linalg.norm(vector)
        vector = scale * factor.backsolve(scale * vector)
        growth = float(np.linalg.norm(vector))
        if not np.isfinite(growth):
            return float("inf")
    upper = factor.upper
    size = sparse.csr_array((np.abs(upper.data), upper.indices, upper.indptr), shape=upper.shape)
    rows = (size @ (1.0 / scale) + size.T @ (1.0 / scale)) / scale - 1.0
    return growth * float(rows.max())


def _groups(model: Model) -> list[Shells | Beams | Springs]:
    return [*model.shells, *model.beams, *model.springs]


def connected_bodies(model: Model) -> IntArray:
    """Number of the body of each node (n,): what elements, links and equations join."""
    n = len(model.xyz)
    pairs = [np.zeros((0, 2), dtype=np.int64)]
    for group in _groups(model):
        first, other = np.broadcast_arrays(group.node[:, :1], group.node[:, 1:])
        pairs.append(np.stack([first.ravel(), other.ravel()], axis=1))
    ties = model.ties
    pairs.append(np.stack([ties.rigid_main, ties.rigid_node], axis=1))
    lead, other = np.broadcast_arrays(ties.equation_dof[:, :1], ties.equation_dof[:, 1:])
    pairs.append(np.stack([lead.ravel(), other.ravel()], axis=1) // 6)
    pair = np.concatenate(pairs)
    pair = pair[((pair >= 0) & (pair < n)).all(axis=1)]
    graph = sparse.coo_array((np.ones(len(pair), dtype=np.int8), (pair[:, 0], pair[:, 1])), shape=(n, n))
    return connected_components(graph.tocsr(), directed=False)[1].astype(np.int64)


def part_name(model: Model, inside: NDArray[np.bool_]) -> str:
    """Name of the group of elements, or else the set, that has most of the nodes inside."""
    groups = [(g.name, g.node[g.node >= 0]) for g in _groups(model)]
    found = [(int(inside[np.unique(nodes)].sum()), name) for name, nodes in groups]
    best = max(found, default=(0, ""), key=lambda f: f[0])
    if best[0] == 0:
        best = max(((int(inside[nodes].sum()), name) for name, nodes in model.sets.items()), default=(0, ""))
    return f"part '{best[1]}'" if best[0] else f"node {int(np.argmax(inside))}"


def softest_motions(system: System) -> tuple[Array, Array]:
    """Scaled stiffness (k,), increasing, and displacements (d, k) of the motions that are resisted least."""
    upper = system.upper
    diagonal = upper.diagonal()
    scale = sparse.diags_array(1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0)))
    scaled = sparse.csr_array(scale @ upper @ scale)
    f = scaled.shape[0]
    vectors = np.random.default_rng(0).normal(size=(f, min(MODES, f)))
    shift = SHIFT
    while True:
        try:
            factor = factorize_upper(sparse.csr_array(scaled + shift * sparse.eye_array(f)))
            break
        except SingularError:
            shift *= 100.0
            if shift > 1.0:
                raise
    for _ in range(4):
        vectors = np.linalg.qr(factor.backsolve(vectors))[0]
    ritz, turn = np.linalg.eigh(
        vectors.T @ (scaled @ vectors + scaled.T @ vectors - vectors * scaled.diagonal()[:, None])
    )
    motion = system.expand(scale @ (vectors @ turn)) - system.offset[:, None]
    return ritz, motion


def _directions(space: Array, noise: float) -> list[str]:
    """Words for a space of vectors (3, k): axes inside it, or its own directions."""
    left, size, _ = np.linalg.svd(space, full_matrices=False)
    basis = left[:, size > noise]
    share = np.linalg.norm(basis, axis=1)
    words = [AXES[i] for i in range(3) if share[i] > 1.0 - NOISE]
    if len(words) == basis.shape[1]:
        return words
    rest = basis - np.diag((share > 1.0 - NOISE).astype(float)) @ basis
    left, size, _ = np.linalg.svd(rest, full_matrices=False)
    for vector in left[:, size > 0.5].T:
        turned = vector * np.sign(vector[np.argmax(np.abs(vector))])
        words.append("(" + ", ".join(f"{x + 0.0:.2f}" for x in turned) + ")")
    return words


def _rigid_words(coefficient: Array) -> str:
    """Words for rigid motions (6, k): translations of the middle and turns about it, same units."""
    left, size, _ = np.linalg.svd(coefficient, full_matrices=False)
    basis = left[:, size > NOISE * size[0]]
    _, turn_size, right = np.linalg.svd(basis[3:])
    still = right[np.concatenate([turn_size, np.zeros(basis.shape[1])])[: len(right)] < 10.0 * NOISE]
    words = []
    if len(still):
        words.append("move along " + " and ".join(_directions(basis[:3] @ still.T, 10.0 * NOISE)))
    if turn_size.max(initial=0.0) > 10.0 * NOISE:
        words.append("turn about " + " and ".join(_directions(basis[3:], 10.0 * NOISE)))
    return " and ".join(words)


def _body_words(model: Model, inside: NDArray[np.bool_], motion: Array) -> str:
    """What one body does in the motions (n, 6, k) that nothing resists."""
    nodes = np.flatnonzero(inside)
    arm = model.xyz[nodes] - model.xyz[nodes].mean(axis=0)
    size = float(np.linalg.norm(arm, axis=1).max()) or 1.0
    rigid = np.zeros((len(nodes), 6, 6))
    rigid[:, np.arange(6), np.arange(6)] = 1.0
    rigid[:, :3, 3:] = np.swapaxes(np.cross(np.eye(3), arm[:, None, :] / size), 1, 2)
    own = motion[nodes] * np.array([1.0, 1.0, 1.0, size, size, size])[:, None]
    flat, base = own.reshape(-1, own.shape[2]), rigid.reshape(-1, 6)
    fit = np.linalg.lstsq(base, flat, rcond=None)[0]
    left = np.linalg.norm(flat - base @ fit) / np.linalg.norm(flat)
    name = part_name(model, inside)
    if left < 10.0 * NOISE:
        return f"{name} is not held: it can {_rigid_words(fit)}"
    loose = flat - base @ fit
    node, axis = np.unravel_index(int(np.argmax(np.abs(loose).max(axis=1))), (len(nodes), 6))
    where = np.zeros(len(model.xyz), dtype=bool)
    where[nodes[node]] = True
    kind = "move along" if axis < 3 else "turn about"
    return f"{part_name(model, where)} is a mechanism: node {nodes[node]} can {kind} {AXES[axis % 3]}"


def diagnose(system: System) -> str:
    """Say which parts of a model move without resistance, and how; empty when none does."""
    model = system.model
    bare = np.flatnonzero(system.upper.diagonal() <= 0.0)
    if len(bare):
        dof = int(system.ties.free[bare[0]])
        six = (
            system.ties.number[node_dof(np.array(dof // 6))] if dof < 6 * len(model.xyz) else np.zeros(0, int)
        )
        if len(six) and np.isin(six, bare).all():
            return f"node {dof // 6} belongs to no element and is not tied; leave it out or fix it"
        return f"{dof_words(model, dof)} has no stiffness; fix it or leave it out"
    value, motion = softest_motions(system)
    free = value < SOFT
    if not free.any():
        return ""
    nodal = motion[: 6 * len(model.xyz), free].reshape(len(model.xyz), 6, -1)
    body = connected_bodies(model)
    strength = np.sqrt(np.bincount(body, weights=(nodal**2).sum(axis=(1, 2))))
    moving = np.flatnonzero(strength > NOISE * strength.max())
    words = [_body_words(model, body == b, nodal) for b in moving[:MOST]]
    if len(moving) > MOST:
        words.append(f"and {len(moving) - MOST} parts more")
    return "; ".join(words)


def refuse(system: System, reason: str) -> FloatingError:
    """The error for a system that cannot be solved: what floats, or else that it is too uneven."""
    try:
        words = diagnose(system)
    except SingularError:
        words = ""
    if words:
        return FloatingError(f"model: {words}.")
    return FloatingError(f"model: stiffnesses differ too much to be solved ({reason}); check their units.")
