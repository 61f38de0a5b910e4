"""Splices of rails as links of the condensed rows: what parts when a rail becomes two.

A splice passes on some of six forces (`PARTS`): all of them where it is continuous, no bending where it is a
hinge, no pull along the rail either where it slides. Each of them is a link whose jump opens the rail there,
an end displacement of the span beside the splice, so that a parted splice is a set of links that flow at no
force: the same low-rank change of the condensed rows as a lost clamp.

A splice is left out, and never parts, where a piece of rail beside it has too few clamps to stand by itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.elements.beams import beam_stiffness, rail_stiffness
from fea.rails.frame import solve_frame
from fea.rails.loads import FrameResult, RailLoads
from fea.rails.rows import NODE_TOLERANCE, Frame, build_frame, grip_map, loose_rows
from fea.solvers.direct import factorize
from fea.solvers.links import LinkForm, link_form
from roofmodel.hardware import Clamp, Rail, SpliceTorsion
from roofmodel.layout import Layout, SpliceKind

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

PARTS = ("pull", "shear", "lift", "torsion", "bending up", "bending along")
PULL, SHEAR, LIFT, TORSION, BENDING_Y = 0, 1, 2, 3, 4
PASSES = {
    SpliceKind.CONTINUOUS: (0, 1, 2, 3, 4, 5),
    SpliceKind.HINGE: (0, 1, 2, 3),
    SpliceKind.SLIDING: (1, 2, 3),
}


@dataclass(frozen=True)
class Splices:
    """Parts of s splices, k in all, beside the c clamps of the rows.

    Attributes
    ----------
    origin : (s,) int
        Splice of the layout.
    row : (s,) int
    place : (s,) int
        First clamp right of it.
    of : (k,) int
        Splice of each part, ascending.
    part : (k,) int
        Of `PARTS`.
    Z : (k, c + k) float
        Drop of the forces of the parts for unit slips of the clamps, then unit jumps of the parts. [N/m, N]
    own : (k,) float
        Stiffness of the structure's own size. [N/m, N m]
    """

    origin: IntArray
    row: IntArray
    place: IntArray
    of: IntArray
    part: IntArray
    Z: Array
    own: Array

    @property
    def bends(self) -> NDArray[np.bool_]:
        """Parts that are moments about the rail's two axes, (k,)."""
        return self.part >= BENDING_Y

    @property
    def between(self) -> IntArray:
        """Clamps left and right of every part, (2, k)."""
        return np.stack([self.place[self.of] - 1, self.place[self.of]])

    def pieces(self, row: IntArray) -> IntArray:
        """Piece of each clamp (c,), of rows that are cut at all splices, as `part_rows` numbers them."""
        cuts = (self.place[:, None] <= np.arange(len(row))).sum(axis=0)
        return np.asarray(row + cuts, dtype=np.int64)


@dataclass(frozen=True)
class Sites:
    """Where the parts of splices are read off a frame: span (k,), and its end degree of freedom (k,)."""

    span: IntArray
    end: IntArray


def part_row(layout: Layout, splice: int) -> Layout:
    """The layout with a row cut in two at one of its splices; clamps keep their order and names."""
    row, s = int(layout.splice_row[splice]), float(layout.splice_s[splice])
    start, end = layout.row_start[row], layout.row_end[row]
    cut = start + (end - start) * s / layout.row_length[row]

    def twice(values: NDArray[Any]) -> NDArray[Any]:
        return np.insert(values, row, values[row], axis=0)

    starts, ends, full = (twice(v).copy() for v in (layout.row_start, layout.row_end, layout.row_full))
    starts[row + 1], ends[row] = cut, cut
    full[row, 1] = full[row + 1, 0] = True  # nothing comes from beyond the cut
    beyond = (layout.clamp_row > row) | ((layout.clamp_row == row) & (layout.clamp_s > s))
    right = (layout.clamp_row == row) & (layout.clamp_s > s)
    kept = np.arange(len(layout.splice_s)) != splice
    on_right = (layout.splice_row == row) & (layout.splice_s > s)
    names = (
        *layout.row_name[: row + 1],
        f"{layout.row_name[row]} beyond",
        *layout.row_name[row + 1 :],
    )
    return replace(
        layout,
        row_name=names,
        row_plane=twice(layout.row_plane),
        row_start=starts,
        row_end=ends,
        row_full=full,
        clamp_row=layout.clamp_row + beyond,
        clamp_s=layout.clamp_s - np.where(right, s, 0.0),
        seam_angle=twice(layout.seam_angle),
        splice_row=(layout.splice_row + ((layout.splice_row > row) | on_right))[kept],
        splice_s=(layout.splice_s - np.where(on_right, s, 0.0))[kept],
        splice_kind=tuple(k for k, there in zip(layout.splice_kind, kept, strict=True) if there),
    )


def part_rows(layout: Layout, splices: IntArray) -> Layout:
    """The layout with rows cut at some of its splices."""
    for splice in sorted(splices.tolist(), reverse=True):  # from the last on: numbers before it stay
        layout = part_row(layout, splice)
    return layout


def can_part(layout: Layout, rail: Rail, clamp: Clamp) -> IntArray:
    """Splices of which both pieces stand by themselves with every splice parted, (s,), row after row."""
    order = np.lexsort((layout.splice_s, layout.splice_row))
    left = clamps_before(layout)[order]
    first = np.searchsorted(layout.clamp_row, layout.splice_row[order], side="left")
    last = np.searchsorted(layout.clamp_row, layout.splice_row[order], side="right")
    held = (left > first) & (left < last)
    held[1:] &= (left[1:] > left[:-1]) | (layout.splice_row[order][1:] != layout.splice_row[order][:-1])
    held[:-1] &= (left[1:] > left[:-1]) | (layout.splice_row[order][1:] != layout.splice_row[order][:-1])
    found = order[held]
    apart = part_rows(layout, found)
    cuts = np.bincount(layout.splice_row[found], minlength=len(layout.row_name))
    loose = np.array([bool(words) for words in loose_rows(apart, rail, clamp)])
    first_piece = np.cumsum(np.r_[0, cuts + 1])[:-1]  # of each row
    nth = np.arange(len(found)) - np.searchsorted(layout.splice_row[found], layout.splice_row[found])
    piece = first_piece[layout.splice_row[found]] + nth
    return np.asarray(found[~(loose[piece] | loose[piece + 1])], dtype=np.int64)


def clamps_before(layout: Layout) -> IntArray:
    """First clamp right of each splice of the layout; one at the same place counts as left of it."""
    before = layout.clamp_row[:, None] < layout.splice_row
    same = layout.clamp_row[:, None] == layout.splice_row
    return np.asarray(
        (before | (same & (layout.clamp_s[:, None] <= layout.splice_s + NODE_TOLERANCE))).sum(axis=0),
        dtype=np.int64,
    )


def find_sites(layout: Layout, frame: Frame, splices: IntArray) -> tuple[Sites, IntArray, IntArray]:
    """Sites of the parts of some splices, the number of the splice (k,), and the part (k,).

    The end of the longer span is opened; a clamp at the splice stays with the left piece.
    """
    span, end, of, part = [], [], [], []
    turns = frame.rail.splice_torsion is SpliceTorsion.FREE
    for number, splice in enumerate(splices.tolist()):
        on_row = np.flatnonzero(frame.node_row == layout.splice_row[splice])
        near = np.abs(frame.node_s[on_row] - layout.splice_s[splice])
        node = int(on_row[near.argmin()])  # the left one of two
        right = node + int(layout.splice_kind[splice] is not SpliceKind.CONTINUOUS)
        before = int(np.flatnonzero(frame.span_node[:, 1] == node)[0])
        after = int(np.flatnonzero(frame.span_node[:, 0] == right)[0])
        clamped = bool((frame.clamp_node == node).any())
        side = int(not clamped and frame.span_length[before] > frame.span_length[after])
        for one in PASSES[layout.splice_kind[splice]]:
            if one == TORSION and turns and layout.splice_kind[splice] is not SpliceKind.CONTINUOUS:
                continue
            span.append(before if side else after)
            end.append(6 * side + one)
            of.append(number)
            part.append(one)
    found = (np.array(values, dtype=np.int64) for values in (span, end, of, part))
    where, which, number_of, part_of = found
    return Sites(where, which), number_of, part_of


def splice_links(layout: Layout, rail: Rail, clamp: Clamp) -> tuple[Splices, LinkForm]:
    """Splices that can part, and the form of the clamps down the slope and then the parts.

    Parameters
    ----------
    layout : Layout
    rail : Rail
        Without warping.
    clamp : Clamp

    Raises
    ------
    InputError
        As `build_frame`.
    """
    chosen = can_part(layout, rail, clamp)
    frame = build_frame(layout, rail, clamp)
    sites, of, part = find_sites(layout, frame, chosen)
    c, k, size = len(layout.clamp_s), len(of), frame.matrix.shape[0]
    K = beam_stiffness(frame.span_length, rail_stiffness(rail))
    dof = frame.span_dof
    columns = K[sites.span, :, sites.end]  # (k, 12)
    row = dof[sites.span].ravel()
    opens = sparse.coo_array((columns.ravel(), (row, np.repeat(np.arange(k), 12))), shape=(size, k))
    grips = grip_map(frame.clamp_grip, frame.dof[frame.clamp_node, :6], size)
    slip = frame.clamp_stiffness[:, :, 0]  # forces of a clamp held fast on its rail for a unit slip
    at = (np.arange(6 * c), np.repeat(np.arange(c), 6))
    slips = grips.T @ sparse.coo_array((slip.ravel(), at), shape=(6 * c, c)).tocsr()
    U = np.asarray(factorize(frame.matrix)(np.concatenate([slips.toarray(), opens.toarray()], axis=1)))
    ends = np.einsum("kd,kdq->kq", columns, U[dof[sites.span]])
    same = sites.span[:, None] == sites.span
    ends[:, c:] -= np.where(same, K[sites.span[:, None], sites.end[:, None], sites.end], 0.0)
    moved = (grips @ U).reshape(c, 6, c + k)
    held = np.einsum("cd,cdq->cq", slip, moved)
    held[np.arange(c), np.arange(c)] -= slip[:, 0]
    Z = -np.concatenate([held, ends])
    own = K[sites.span, sites.end, sites.end]
    form = link_form(Z, np.concatenate([slip[:, 0], own]))
    splice_row = layout.splice_row[chosen]
    rows = np.concatenate([layout.clamp_row, splice_row[of]])
    Z = np.where(rows[:, None] == rows, form.Z, 0.0)
    links = Splices(
        origin=chosen,
        row=np.asarray(splice_row, dtype=np.int64),
        place=clamps_before(layout)[chosen],
        of=of,
        part=part,
        Z=np.ascontiguousarray(Z[c:]),
        own=own,
    )
    return links, LinkForm(Z, form.own, form.floor)


def nearest_clamps(layout: Layout, splices: Splices) -> IntArray:
    """Clamp nearest to each splice, (s,)."""
    apart = np.abs(layout.clamp_s - layout.splice_s[splices.origin][:, None])
    other = layout.clamp_row != splices.row[:, None]
    return np.asarray(np.where(other, np.inf, apart).argmin(axis=1), dtype=np.int64)


def loose_splices(layout: Layout, splices: Splices | None) -> tuple[str, ...]:
    """Names of the splices of a layout that are not among those that can part."""
    followed = np.zeros(0, dtype=np.int64) if splices is None else splices.origin
    names = []
    for k in np.setdiff1d(np.arange(len(layout.splice_s)), followed).tolist():
        row, s = int(layout.splice_row[k]), float(layout.splice_s[k])
        own = np.flatnonzero(layout.clamp_row == row)
        near = own[np.abs(layout.clamp_s[own] - s).argmin()] if len(own) else -1
        names.append(f"splice at {layout.clamp_name[near] if near >= 0 else layout.row_name[row]}")
    return tuple(names)


def link_forces(layout: Layout, rail: Rail, clamp: Clamp, loads: RailLoads, splices: Splices | None) -> Array:
    """Forces (b, c + k) of clamps down the slope and parts of splices, nothing parted. [N, N m]."""
    frame = build_frame(layout, rail, clamp)
    result = solve_frame(frame, loads)
    held = result.clamp_force[:, :, 0]
    if splices is None or not len(splices.of):
        return held
    sites, _, _ = find_sites(layout, frame, splices.origin)
    return np.concatenate([held, _end_forces(result, sites)], axis=1)


def _end_forces(result: FrameResult, sites: Sites) -> Array:
    """Forces of the nodes on the ends of spans, (b, k)."""
    order = np.lexsort((result.sample_s, result.sample_span))
    own = result.sample_span[order]
    first = order[np.searchsorted(own, sites.span, side="left")]
    last = order[np.searchsorted(own, sites.span, side="right") - 1]
    right = sites.end >= 6
    at, sign = np.where(right, last, first), np.where(right, 1.0, -1.0)
    return np.asarray(sign * result.rail_force[:, at, sites.end % 6])
