"""Element matrices into 6 x 6 blocks between nodes, the upper ones, with no loop over elements.

The pattern depends on nodes only and can be used again when values change. Elements are worked off in
chunks that stay in the cache, on all processors; no more than a few chunks of element matrices exist at a
time.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.elements.beam_data import Beams
from fea.elements.beams import beam_matrices
from fea.elements.shells import shell_stiffness
from fea.elements.springs import spring_stiffness
from fea.model.data import GROUND, Model, Shells, Springs, node_dof
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SAME = 1e-11  # difference in shape, over the largest element's size, that is rounding
CHUNK = 1024  # elements worked off together; about five megabytes


@dataclass(frozen=True)
class Group:
    """Elements of one kind: nodes (m, k) and their matrices (c, 6 k, 6 k), a slice at a time."""

    node: IntArray
    matrices: Callable[[slice], Array]


@dataclass(frozen=True)
class Pattern:
    """Which pairs of nodes share an element.

    Attributes
    ----------
    start : (n + 1,) int
        First block of each node's row; the block on the diagonal comes first.
    column : (b,) int
        Second node of each block, not smaller than the first.
    place : tuple of (m, p) int
        For every group of elements, the block that each pair of corners adds to.
    """

    start: NDArray[np.int32]
    column: NDArray[np.int32]
    place: tuple[NDArray[np.int32], ...]


def _alike(xyz: Array, thickness: Array) -> tuple[IntArray, IntArray]:
    """First element of every kind (k,), and the kind of each (m,): equal but for where they stand."""
    arm = (xyz - xyz[:, :1]).reshape(len(xyz), -1)
    size = np.abs(arm).max(initial=0.0)
    shape = np.round(np.column_stack([arm, thickness]) / (SAME * max(size, 1e-300))).astype(np.int64)
    order = np.lexsort(shape.T)
    new = np.ones(len(order), dtype=bool)
    new[1:] = (shape[order[1:]] != shape[order[:-1]]).any(axis=1)
    kind = np.empty(len(order), dtype=np.int64)
    kind[order] = np.cumsum(new) - 1
    return order[new], kind


def _shell_group(model: Model, s: Shells) -> Group:
    """Elements of one shape, as in strips of equal panels, are worked out once a chunk."""

    def matrices(chunk: slice) -> Array:
        xyz, thickness = model.xyz[s.node[chunk]], s.thickness[chunk]
        first, kind = _alike(xyz, thickness)
        if 2 * len(first) > len(xyz):
            return shell_stiffness(xyz, thickness, s.material)
        return np.asarray(shell_stiffness(xyz[first], thickness[first], s.material)[kind])

    return Group(s.node, matrices)


def _spring_groups(spring: Springs) -> Iterator[Group]:
    K = spring_stiffness(spring.stiffness, spring.axes)
    loose = spring.node[:, 1] != GROUND
    between, grounded = K[loose], K[~loose][:, :6, :6]
    yield Group(spring.node[loose], lambda c: between[c])
    yield Group(spring.node[~loose, :1], lambda c: grounded[c])


def _beam_group(model: Model, beam: Beams) -> Group:
    K = beam_matrices(model.xyz[beam.node], beam)[:, :12, :12]
    return Group(beam.node, lambda c: K[c])


def element_groups(model: Model) -> list[Group]:
    """All elements of a model by their six degrees of freedom a node; warping comes apart."""
    groups = [_shell_group(model, s) for s in model.shells]
    groups += [g for spring in model.springs for g in _spring_groups(spring)]
    return groups + [_beam_group(model, beam) for beam in model.beams]


def warping_part(model: Model) -> sparse.coo_array:
    """The part of the stiffness (d, d) that has to do with warping, upper triangle."""
    first, parts = 6 * len(model.xyz), []
    for beam in model.beams:
        if beam.warp.max(initial=-1) < 0:
            continue
        K = beam_matrices(model.xyz[beam.node], beam)
        warp = np.where(beam.warp >= 0, first + beam.warp, -1)
        dof = np.concatenate([node_dof(beam.node).reshape(-1, 12), warp], axis=1)
        row, col = np.broadcast_arrays(dof[:, :, None], dof[:, None, :])
        use = (col >= first) & (row >= 0) & (row <= col)
        parts.append((K[use], row[use], col[use]))
    shape = (model.dof_count, model.dof_count)
    if not parts:
        return sparse.coo_array(shape)
    value, rows, cols = (np.concatenate(x) for x in zip(*parts, strict=True))
    return sparse.coo_array((value, (rows, cols)), shape=shape)


def corner_pairs(corners: int) -> tuple[IntArray, IntArray]:
    """Corners a <= b of the blocks that an element adds."""
    a, b = np.triu_indices(corners)
    return a, b


def _check_nodes(model: Model, groups: list[Group]) -> None:
    for g in groups:
        bad = np.flatnonzero(((g.node < 0) | (g.node >= len(model.xyz))).any(axis=1))
        if len(bad):
            message = (
                f"model: an element has nodes {g.node[bad[0]].tolist()}; nodes run from 0 to "
                f"{len(model.xyz) - 1}."
            )
            raise InputError(message)
        ordered = np.sort(g.node, axis=1)
        bad = np.flatnonzero((ordered[:, 1:] == ordered[:, :-1]).any(axis=1))
        if len(bad):
            message = f"model: an element has the same node twice: {g.node[bad[0]].tolist()}."
            raise InputError(message)


def build_pattern(model: Model, groups: list[Group] | None = None) -> Pattern:
    """Pairs of nodes that share an element.

    Raises
    ------
    InputError
        An element names a node that is not there, or one twice.
    """
    groups = element_groups(model) if groups is None else groups
    _check_nodes(model, groups)
    n = len(model.xyz)
    keys = [np.arange(n, dtype=np.int64) * (n + 1)]  # every node has its own block
    for g in groups:
        a, b = corner_pairs(g.node.shape[1])
        first, second = g.node[:, a], g.node[:, b]
        keys.append((np.minimum(first, second) * n + np.maximum(first, second)).ravel())
    known, inverse = np.unique(np.concatenate(keys), return_inverse=True)
    bounds = np.cumsum([len(k) for k in keys])
    place = tuple(
        inverse[low:high].astype(np.int32).reshape(len(g.node), g.node.shape[1] * (g.node.shape[1] + 1) // 2)
        for g, low, high in zip(groups, bounds[:-1], bounds[1:], strict=True)
    )
    row, col = np.divmod(known, max(n, 1))
    start = np.searchsorted(row, np.arange(n + 1))
    return Pattern(start.astype(np.int32), col.astype(np.int32), place)


def _chunk_sum(group: Group, chunk: slice, place: NDArray[np.int32]) -> tuple[NDArray[np.int32], Array]:
    """Blocks of a chunk summed over equal places, and these places."""
    a, b = corner_pairs(group.node.shape[1])
    K = group.matrices(chunk)
    cut = K.reshape(len(K), group.node.shape[1], 6, -1, 6)
    block = np.empty((len(K), len(a), 6, 6))
    for pair, (first, second) in enumerate(zip(a, b, strict=True)):  # ten for a quad
        block[:, pair] = cut[:, first, :, second]
    node = group.node[chunk]
    flip = node[:, a] > node[:, b]
    block[flip] = np.swapaxes(block[flip], 1, 2)
    index, local = np.unique(place[chunk].ravel(), return_inverse=True)
    count = len(local)
    collect = sparse.coo_array((np.ones(count), (local, np.arange(count))), shape=(len(index), count))
    return index, np.asarray(collect.tocsr() @ block.reshape(count, 36))


def sum_blocks(groups: list[Group], pattern: Pattern) -> Array:
    """Sums (b, 6, 6) of all elements' blocks."""
    blocks = np.zeros((len(pattern.column), 36))
    workers = min(os.cpu_count() or 1, 8)
    with ThreadPoolExecutor(max_workers=workers) as pool:
        for g, place in zip(groups, pattern.place, strict=True):
            chunks = iter([slice(i, i + CHUNK) for i in range(0, len(g.node), CHUNK)])
            waiting = [pool.submit(_chunk_sum, g, c, place) for c in islice(chunks, 2 * workers)]
            while waiting:
                index, total = waiting.pop(0).result()
                waiting += [pool.submit(_chunk_sum, g, c, place) for c in islice(chunks, 1)]
                blocks[index] += total
    return blocks.reshape(-1, 6, 6)
