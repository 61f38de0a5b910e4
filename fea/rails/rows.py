"""Rails on clamps as one linear frame.

Every row is straight on its plane, so its own axes (see `fea.rails.loads`) are the degrees of freedom of its
nodes and no rotation of elements is needed. Nodes stand at row ends, clamps and splices. A clamp is a
spring at its grip point, `height` below the rail axis, joined to the rail by a rigid arm.

A splice that is a hinge makes two nodes at one place, left and right: translations are shared, the bending
rotations are not, the twist about the rail unless `Rail.splice_torsion` is free; a sliding splice does not
share the travel along the rail either. A clamp at a splice holds the left node, and the right one through
what is shared.

An open rail has the rate of twist as a seventh degree of freedom: continuous over clamps and continuous
splices, free at both sides of hinges and sliding splices and at the rail's ends, which nothing holds against
warping. A clamp grips the rail's twist and leaves its warping free.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.elements.beams import beam_stiffness, rail_stiffness
from fea.rails.stability import free_motion
from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, Rail, SpliceTorsion
from roofmodel.layout import Layout, SpliceKind

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

NODE_TOLERANCE = 1e-3  # nearer than this, row end, clamp and splice are one node [m]


@dataclass(frozen=True)
class Frame:
    """The structure without its loads.

    Attributes
    ----------
    rail : Rail
    row_name : tuple of str, (r,)
    row_length : (r,) float
        [m]
    node_row : (n,) int
    node_s : (n,) float
        Sorted by row, then along it; the two nodes of a hinge follow each other. [m]
    dof : (n, 6 or 7) int
        Degrees of freedom of each node in row axes, shared where a splice shares them; open rails have the
        rate of twist as the seventh.
    span_node : (e, 2) int
    span_row : (e,) int
    span_s : (e, 2) float
        [m]
    span_support : (e, 2) int
        Clamp at each end, -1 for none.
    clamp_row, clamp_node : (c,) int
    clamp_s : (c,) float
        Where the clamp acts: its node. [m]
    clamp_grip : (c, 6, 6) float
        From displacements of the rail axis in row axes to displacements of the grip point in seam axes.
    clamp_stiffness : (c, 6, 6) float
        At the grip point, seam axes. [N/m, N, N m/rad]
    support : sparse (6 c, 6 c) or None
        Of clamps and panels in series, in place of the clamps alone; it joins clamps on neighboring seams.
    matrix : sparse (d, d)
    """

    rail: Rail
    row_name: tuple[str, ...]
    row_length: Array
    node_row: IntArray
    node_s: Array
    dof: IntArray
    span_node: IntArray
    span_row: IntArray
    span_s: Array
    span_support: IntArray
    clamp_row: IntArray
    clamp_node: IntArray
    clamp_s: Array
    clamp_grip: Array
    clamp_stiffness: Array
    support: sparse.csr_array | None
    matrix: sparse.csr_array

    @property
    def span_length(self) -> Array:
        """Element lengths, (e,). [m]."""
        return np.asarray(self.span_s[:, 1] - self.span_s[:, 0])

    @property
    def span_dof(self) -> IntArray:
        """Degrees of freedom of the elements, (e, 12 or 14), rates of twist last."""
        return _span_dof(self.dof, self.span_node)


def _span_dof(dof: IntArray, span_node: IntArray) -> IntArray:
    """Degrees of freedom of elements: six of each end, then the rates of twist."""
    ends = dof[span_node]
    return np.concatenate([ends[:, :, :6].reshape(-1, 12), ends[:, :, 6:].reshape(len(ends), -1)], axis=1)


def seam_axes(layout: Layout) -> Array:
    """Rotations from row axes to seam axes of each row, (r, 3, 3).

    The rows of each matrix are along (down the slope), across (right looking up) and pull (away from the
    roof), which are right-handed in this order: along x across = pull.
    """
    run = layout.row_end - layout.row_start
    run = run / np.linalg.norm(run, axis=1)[:, None]
    angle = layout.seam_angle
    along = -np.stack([np.sin(angle), np.cos(angle)], axis=1)
    across = np.stack([np.cos(angle), -np.sin(angle)], axis=1)
    side = np.stack([-run[:, 1], run[:, 0]], axis=1)
    axes = np.zeros((len(run), 3, 3))
    for index, axis in enumerate((along, across)):
        axes[:, index, 0] = (axis * run).sum(axis=1)
        axes[:, index, 1] = (axis * side).sum(axis=1)
    axes[:, 2, 2] = 1.0
    return axes


def grip_transform(axes: Array, height: float) -> Array:
    """From rail-axis displacements in row axes to grip displacements in seam axes, (m, 6, 6).

    The rigid arm from grip to rail is `height` along pull: u_grip = u_rail - rotation x arm. Its transpose
    carries grip forces to the rail axis.
    """
    arm = np.array([[0.0, -height, 0.0], [height, 0.0, 0.0], [0.0, 0.0, 0.0]])  # arm x rotation
    transform = np.zeros((len(axes), 6, 6))
    transform[:, :3, :3] = axes
    transform[:, 3:, 3:] = axes
    transform[:, :3, 3:] = arm @ axes
    return transform


def _check(layout: Layout, rail: Rail, clamp: Clamp) -> None:
    material, length = rail.material, layout.row_length
    if not len(layout.row_name):
        message = "layout: it holds no rows; place at least one row of rail."
        raise InputError(message)
    for name, value in (("E", material.E), ("G", material.G)):
        if not (np.isfinite(value) and value > 0.0):
            message = f"rail material {material.name}: {name} = {value:g} Pa must be a positive number."
            raise InputError(message)
    K = np.asarray(clamp.stiffness, dtype=float)
    if K.shape != (6, 6) or not np.isfinite(K).all():
        message = f"clamp: stiffness must hold 6 x 6 finite numbers, not shape {K.shape}; use 0 for none."
        raise InputError(message)
    if not np.allclose(K, K.T, rtol=1e-9, atol=0.0):
        i, j = np.argwhere(~np.isclose(K, K.T, rtol=1e-9, atol=0.0))[0]
        message = (
            f"clamp: stiffness[{i}][{j}] = {K[i, j]:g} and stiffness[{j}][{i}] = {K[j, i]:g} must be equal."
        )
        raise InputError(message)
    size = np.sqrt(np.maximum(np.diag(K), 0.0))
    unit = K / np.outer(size, size).clip(min=np.finfo(float).tiny) if size.any() else K
    if (np.diag(K) < 0.0).any() or (K[size == 0.0] != 0.0).any() or np.linalg.eigvalsh(unit)[0] < -1e-9:
        message = "clamp: stiffness gives energy back for some movement; it must be positive semi-definite."
        raise InputError(message)
    if not np.isfinite(clamp.height):
        message = f"clamp: height = {clamp.height:g} m must be a number."
        raise InputError(message)
    short = np.flatnonzero(~(length > 2.0 * NODE_TOLERANCE))
    if len(short):
        row = int(short[0])
        message = f'row "{layout.row_name[row]}": its length {length[row]:g} m is too short for a rail.'
        raise InputError(message)


def _outside(layout: Layout, row: IntArray, s: Array, what: str, names: tuple[str, ...]) -> None:
    length = layout.row_length[row]
    bad = np.flatnonzero(~((s >= -NODE_TOLERANCE) & (s <= length + NODE_TOLERANCE)))
    if len(bad):
        i = int(bad[0])
        message = (
            f'row "{layout.row_name[row[i]]}": {what} {names[i]} at s = {s[i]:g} m lies off the rail, which '
            f"runs from 0 to {length[i]:g} m."
        )
        raise InputError(message)


def _places(layout: Layout) -> tuple[IntArray, Array, IntArray, IntArray]:
    """Row, s, clamp and splice (-1 for none) of every place that needs a node."""
    rows, clamps, splices = len(layout.row_name), len(layout.clamp_s), len(layout.splice_s)
    row = np.concatenate([np.tile(np.arange(rows), 2), layout.clamp_row, layout.splice_row]).astype(np.int64)
    s = np.concatenate([np.zeros(rows), layout.row_length, layout.clamp_s, layout.splice_s])
    rank = np.repeat([0, 1, 2], [2 * rows, clamps, splices])  # who gives a shared place its position
    item = np.concatenate([np.full(2 * rows, -1), np.arange(clamps), np.arange(splices)]).astype(np.int64)
    order = np.lexsort((s, row))
    row, s, rank, item = row[order], s[order], rank[order], item[order]
    new = np.ones(len(row), dtype=bool)
    new[1:] = (row[1:] != row[:-1]) | (s[1:] - s[:-1] > NODE_TOLERANCE)
    place = np.cumsum(new) - 1
    holder = np.full((3, place[-1] + 1), -1, dtype=np.int64)
    for kind, what in ((0, "row ends"), (1, "clamps"), (2, "splices")):
        member = np.flatnonzero(rank == kind)
        twice = np.flatnonzero(np.diff(place[member]) == 0)
        if len(twice):
            i = member[twice[0]]
            message = (
                f'row "{layout.row_name[row[i]]}": two {what} stand at s = {s[i]:g} m; keep them more than '
                f"{NODE_TOLERANCE * 1000:g} mm apart."
            )
            raise InputError(message)
        holder[kind, place[member]] = member
    at_end = np.flatnonzero((holder[0] >= 0) & (holder[2] >= 0))
    if len(at_end):
        i = holder[2, at_end[0]]
        message = (
            f'row "{layout.row_name[row[i]]}": the splice at s = {s[i]:g} m stands at the end of the rail; '
            f"a splice joins two pieces, so it must lie inside the row."
        )
        raise InputError(message)
    first = np.where(holder[0] >= 0, holder[0], np.where(holder[1] >= 0, holder[1], holder[2]))
    clamp = np.where(holder[1] >= 0, item[holder[1]], -1)
    splice = np.where(holder[2] >= 0, item[holder[2]], -1)
    return row[first], s[first], clamp, splice


def rails_to_solve(kinds: Sequence[SpliceKind], rail: Rail) -> tuple[Rail, ...]:
    """The rail as splices of these kinds may be: with torsion passed on and free where nobody says which."""
    hinged = any(kind is not SpliceKind.CONTINUOUS for kind in kinds)
    if not hinged or rail.splice_torsion is not SpliceTorsion.UNKNOWN:
        return (rail,)
    return tuple(replace(rail, splice_torsion=one) for one in (SpliceTorsion.PASSED, SpliceTorsion.FREE))


def _nodes(
    layout: Layout, splice: IntArray, width: int, *, turns: bool
) -> tuple[IntArray, NDArray[np.bool_], IntArray]:
    """Place of every node, whether it is the right node of a hinge, and its degrees of freedom."""
    kind = np.array([k is not SpliceKind.CONTINUOUS for k in layout.splice_kind], dtype=bool)
    sliding = np.array([k is SpliceKind.SLIDING for k in layout.splice_kind], dtype=bool)
    known = np.maximum(splice, 0)
    hinged = (splice >= 0) & kind[known] if len(kind) else np.zeros(len(splice), dtype=bool)
    slides = (splice >= 0) & sliding[known] if len(kind) else hinged
    place = np.repeat(np.arange(len(splice)), 1 + hinged)
    right = np.zeros(len(place), dtype=bool)
    right[1:] = place[1:] == place[:-1]
    own = np.ones((len(place), width), dtype=bool)
    own[right, :4] = False
    own[right, 0] = slides[place[right]]
    own[right, 3] = turns
    number = (np.cumsum(own.ravel()) - 1).reshape(-1, width)
    left = np.arange(len(place)) - right
    dof = np.where(own, number, number[left])
    return place, right, dof


def _assemble(blocks: list[tuple[IntArray, Array]], count: int) -> sparse.csr_array:
    rows, cols, values = [], [], []
    for dof, block in blocks:
        width = dof.shape[1]
        rows.append(np.repeat(dof, width, axis=1).ravel())
        cols.append(np.tile(dof, (1, width)).ravel())
        values.append(block.ravel())
    index = (np.concatenate(rows), np.concatenate(cols))
    matrix = sparse.coo_array((np.concatenate(values), index), shape=(count, count)).tocsr()
    matrix.eliminate_zeros()
    return matrix


def grip_map(clamp_grip: Array, dof: IntArray, count: int) -> sparse.csr_array:
    """From all degrees of freedom (count) to the six motions of every grip in seam axes, (6 c, count)."""
    row = np.arange(6 * len(dof)).reshape(-1, 6)
    index = (np.repeat(row, 6, axis=1).ravel(), np.tile(dof, (1, 6)).ravel())
    shape = (6 * len(dof), count)
    return sparse.coo_array((clamp_grip.ravel(), index), shape=shape).tocsr()


def build_frame(
    layout: Layout,
    rail: Rail,
    clamp: Clamp,
    *,
    clamp_scale: Array | None = None,
    support: sparse.csr_array | None = None,
    refuse_loose: bool = True,
    doubtful: IntArray | None = None,
) -> Frame:
    """Frame of all rows of a layout.

    Parameters
    ----------
    layout : Layout
    rail : Rail
        Where nobody says so, its splices pass torsion on; `rails_to_solve` gives both.
    clamp : Clamp
    clamp_scale : (c,) float, optional
        Factor on the stiffness of each clamp, 0 for a missing one. [-]
    support : sparse (6 c, 6 c), optional
        Stiffness at the grips of clamps and panels in series, in place of rigid seams. [N/m, N, N m/rad]
    refuse_loose : bool
        Whether a row that can move freely is refused.
    doubtful : (k,) int, optional
        Rows that may move freely; all by default. One is enough of rows that differ only in their scale.

    Returns
    -------
    Frame

    Raises
    ------
    InputError
        Clamp or splice off its rail or on top of another, stiffness that is not physical, a row that can
        move freely.
    """
    _check(layout, rail, clamp)
    names = tuple(str(i + 1) for i in range(len(layout.splice_s)))
    _outside(layout, layout.clamp_row, layout.clamp_s, "clamp", layout.clamp_name)
    _outside(layout, layout.splice_row, layout.splice_s, "splice", names)
    place_row, place_s, place_clamp, splice = _places(layout)
    stiff = rail_stiffness(rail)
    turns = rail.splice_torsion is SpliceTorsion.FREE
    place, right, dof = _nodes(layout, splice, stiff.width // 2, turns=turns)
    node_row, node_s = place_row[place], place_s[place]
    joined = (node_row[1:] == node_row[:-1]) & ~right[1:]
    start = np.flatnonzero(joined)
    span_node = np.stack([start, start + 1], axis=1)
    clamp_node = np.empty(len(layout.clamp_s), dtype=np.int64)
    holding = (place_clamp[place] >= 0) & ~right
    clamp_node[place_clamp[place[holding]]] = np.flatnonzero(holding)
    scale = np.ones(len(clamp_node)) if clamp_scale is None else np.asarray(clamp_scale, dtype=float)
    if scale.shape != clamp_node.shape or not (np.isfinite(scale) & (scale >= 0.0)).all():
        message = f"clamp_scale must hold one factor of 0 or more for each of {len(clamp_node)} clamps."
        raise InputError(message)
    grip = grip_transform(seam_axes(layout), clamp.height)[layout.clamp_row]
    spring = scale[:, None, None] * clamp.stiffness
    at_rail = np.swapaxes(grip, 1, 2) @ spring @ grip
    span_s = node_s[span_node]
    beams = beam_stiffness(span_s[:, 1] - span_s[:, 0], stiff)
    blocks, count = [(_span_dof(dof, span_node), beams)], int(dof.max()) + 1
    if support is None:
        matrix = _assemble([*blocks, (dof[clamp_node, :6], at_rail)], count)
    else:
        grips = grip_map(grip, dof[clamp_node, :6], count)
        matrix = sparse.csr_array(_assemble(blocks, count) + grips.T @ support @ grips)
    frame = Frame(
        rail=rail,
        row_name=layout.row_name,
        row_length=layout.row_length,
        node_row=node_row,
        node_s=node_s,
        dof=dof,
        span_node=span_node,
        span_row=node_row[start],
        span_s=span_s,
        span_support=place_clamp[place[span_node]],
        clamp_row=layout.clamp_row.astype(np.int64),
        clamp_node=clamp_node,
        clamp_s=node_s[clamp_node],
        clamp_grip=grip,
        clamp_stiffness=spring,
        support=support,
        matrix=matrix,
    )
    if refuse_loose:
        rows = np.arange(len(layout.row_name)) if doubtful is None else doubtful
        for row in rows.tolist():
            words = free_motion(*_row_motion(frame, at_rail, row), clamp.height)
            if words:
                name = layout.row_name[row]
                message = f'row "{name}": {words}; add clamps, stiffness or a continuous splice.'
                raise InputError(message)
    return frame


def loose_rows(layout: Layout, rail: Rail, clamp: Clamp) -> tuple[str, ...]:
    """How each row of a layout can move freely, in words; empty for rows that are held.

    Parameters
    ----------
    layout : Layout
    rail : Rail
    clamp : Clamp
    """
    found = [""] * len(layout.row_name)
    for one in rails_to_solve(layout.splice_kind, rail):
        frame = build_frame(layout, one, clamp, refuse_loose=False)
        at_rail = np.swapaxes(frame.clamp_grip, 1, 2) @ frame.clamp_stiffness @ frame.clamp_grip
        found = [known or words for known, words in zip(found, _loose(frame, at_rail, clamp), strict=True)]
    return tuple(found)


def _loose(frame: Frame, at_rail: Array, clamp: Clamp) -> Iterator[str]:
    for row in range(len(frame.row_name)):
        yield free_motion(*_row_motion(frame, at_rail, row), clamp.height)


def _row_motion(frame: Frame, at_rail: Array, row: int) -> tuple[Array, IntArray, IntArray, Array]:
    """Nodes of a row (s and dof, numbered from 0) and its clamps (node and rail-axis stiffness)."""
    nodes = np.flatnonzero(frame.node_row == row)
    clamps = np.flatnonzero(frame.clamp_row == row)
    dof = frame.dof[nodes]
    return frame.node_s[nodes], dof - dof.min(), frame.clamp_node[clamps] - nodes[0], at_rail[clamps]
