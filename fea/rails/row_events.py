"""Rows of rail whose clamps slip or break and whose rail forms plastic hinges, event by event.

The row stays the linear frame of `fea.rails`; a slip of a clamp is a jump between rail and seam, a plastic
hinge a kink. Both act on the frame like loads, so that one factorization gives all that
`fea.solvers.events` needs. Hinges can form on both sides of every clamp and at places chosen in the spans.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.elements.beams import beam_stiffness, rail_stiffness
from fea.rails.frame import build_frame, solve_frame
from fea.rails.loads import FrameResult, RailLoads
from fea.rails.rows import NODE_TOLERANCE, Frame
from fea.solvers.events import EventPath, follow_links
from fea.solvers.laws import Laws, join, plastic, slip
from fea.solvers.links import link_form
from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, Rail
from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Sites = tuple[IntArray, IntArray, IntArray]  # span, side (0 start, 1 end), axis (0 y, 1 z) of hinges

PARTS = ("along", "across", "pull", "tilt", "roll", "twist")
AXES = ("y", "z")  # of the rail, for its bending
TURNS = 1e-6  # rotational stiffness of a clamp over the rail's, up to which moments left and right are equal
OVER = 1e-6  # share of the plastic moment that a section between places may exceed unsaid


@dataclass(frozen=True)
class RowLimits:
    """What clamps and rail hold before they move on.

    Attributes
    ----------
    capacity : (6,) or (c, 6) float
        Of all clamps alike or of each, along, across, pull and about these axes, either sense; NaN or
        infinite for no limit. Each part on its own. [N, N m]
    residual : (6,) or (c, 6) float
        What a clamp holds after it slipped; 0 where it breaks. [N, N m]
    plastic_moment : (2,) float
        Of the rail about its y and z axes, each on its own; infinite for no hinges. [N m]
    """

    capacity: Array
    residual: Array
    plastic_moment: Array


@dataclass(frozen=True)
class RowEvents:
    """A path of events of rows.

    Attributes
    ----------
    path : EventPath
        Its stages are the right-hand sides of the loads.
    link_name : tuple of str, (c,)
        Such as "R1-03 along" or "R1 hinge at 1.200 m about z".
    link_clamp, link_part : (c,) int
        Clamp and part of it (see PARTS), -1 for hinges.
    link_s : (c,) float
        Along the row. [m]
    clamp_force : (c, 6) float
        At the end, as in `FrameResult`. [N, N m]
    result : FrameResult
        Rail at the end, with `clamp_force` as above; deflection NaN inside spans that border on a kink.
    notes : tuple of str
        What is not covered.
    """

    path: EventPath
    link_name: tuple[str, ...]
    link_clamp: IntArray
    link_part: IntArray
    link_s: Array
    clamp_force: Array
    result: FrameResult
    notes: tuple[str, ...]

    def words(self) -> list[str]:
        """One line per event, and how it ended."""
        path = self.path
        end = f"load {path.stage}, factor {path.factor:.6g}: {path.outcome.value}"
        last = f" once {self.link_name[path.critical]} moves on" if path.critical >= 0 else ""
        return [*path.events.words(self.link_name), end + last]


@dataclass(frozen=True)
class _Links:
    """Clamp parts and hinge places as links.

    Clamp (a,) and part (a,) of clamps; span, side (0 start, 1 end) and axis (0 y, 1 z) (h,) of hinges; load
    (c, n, 6) on nodes for unit jumps; stiffness (c, c) against jumps while no node moves.
    """

    clamp: IntArray
    part: IntArray
    span: IntArray
    side: IntArray
    axis: IntArray
    load: Array
    stiffness: Array


def _check(limits: RowLimits) -> None:
    capacity, residual, plastic_moment = limits.capacity, limits.residual, limits.plastic_moment
    limited = np.isfinite(capacity)
    held = (residual >= 0.0) & (residual <= capacity)
    for name, good, right in (
        ("capacity", ~limited | (capacity > 0.0), "must be positive"),
        ("residual", ~limited | held, "must lie between 0 and the capacity"),
        ("plastic_moment", plastic_moment > 0.0, "must be positive"),
    ):
        if not good.all():
            part = int(np.argmin(good))
            message = f"row events: {name}[{part}] = {np.ravel(getattr(limits, name))[part]:g} {right}."
            raise InputError(message)


def with_places(layout: Layout, places: tuple[IntArray, Array]) -> tuple[Layout, Array]:
    """Layout with clamps that hold nothing where hinges may form, and the factor on each clamp."""
    row, s = places
    inside = (row >= 0) & (row < len(layout.row_name))
    if not inside.all():
        message = f"hinge places: row {row[int(np.argmin(inside))]} is none of {len(layout.row_name)} rows."
        raise InputError(message)
    clear = np.ones(len(s), dtype=bool)
    for known_row, known_s in ((layout.clamp_row, layout.clamp_s), (layout.splice_row, layout.splice_s)):
        near = np.abs(s[:, None] - known_s) <= 2.0 * NODE_TOLERANCE
        clear &= ~(near & (row[:, None] == known_row)).any(axis=1)
    length = layout.row_length[row]
    clear &= (s > 2.0 * NODE_TOLERANCE) & (s < length - 2.0 * NODE_TOLERANCE)
    row, s = row[clear], s[clear]
    more = len(s)
    wide = replace(
        layout,
        clamp_name=(*layout.clamp_name, *[""] * more),
        clamp_row=np.concatenate([layout.clamp_row, row]),
        clamp_s=np.concatenate([layout.clamp_s, s]),
        clamp_uv=np.concatenate([layout.clamp_uv, np.zeros((more, 2))]),
        clamp_seam=np.concatenate([layout.clamp_seam, np.zeros(more, dtype=np.int64)]),
    )
    return wide, np.concatenate([np.ones(len(layout.clamp_s)), np.zeros(more)])


def span_places(layout: Layout, count: int = 3) -> tuple[IntArray, Array]:
    """Row and s of `count` even places in every span between clamps, splices and row ends. [m]."""
    row = np.concatenate([np.tile(np.arange(len(layout.row_name)), 2), layout.clamp_row, layout.splice_row])
    s = np.concatenate([np.zeros(len(layout.row_name)), layout.row_length, layout.clamp_s, layout.splice_s])
    order = np.lexsort((s, row))
    row, s = row[order], s[order]
    whole = (row[1:] == row[:-1]) & (np.diff(s) > 4.0 * NODE_TOLERANCE * (count + 1))
    share = np.arange(1, count + 1) / (count + 1)
    at = s[:-1][whole, None] + np.diff(s)[whole, None] * share
    return np.repeat(row[:-1][whole], count).astype(np.int64), at.ravel()


def hinge_sites(frame: Frame, clamps: int, K_span: Array, bends: IntArray) -> Sites:
    """Span, side and axis of every place where the rail can kink.

    At the start of the span behind a node, and also at the end of the one before it when a clamp takes
    moment there; never where a splice passes no bending or at a row end that is free.
    """
    after_splice = np.zeros(len(frame.node_s), dtype=bool)
    after_splice[1:] = frame.dof[1:, 1] == frame.dof[:-1, 1]
    start, end = frame.span_node[:, 0], frame.span_node[:, 1]
    first = np.append(True, frame.span_row[1:] != frame.span_row[:-1])
    grip = frame.clamp_grip[:clamps]
    at_rail = np.swapaxes(grip, 1, 2) @ frame.clamp_stiffness[:clamps] @ grip
    found = []
    for axis in bends:
        turns = at_rail[:, 4 + axis, 4 + axis] > TURNS * K_span[:, 4 + axis, 4 + axis].min()
        stiff = np.zeros(len(frame.node_s), dtype=bool)
        stiff[frame.clamp_node[:clamps][turns]] = True
        for side, where in ((0, ~first | stiff[start]), (1, stiff[end])):
            span = np.flatnonzero(where & ~after_splice[start])
            found.append(np.stack([span, np.full(len(span), side), np.full(len(span), axis)]))
    span, side, axis = np.concatenate([np.zeros((3, 0), dtype=np.int64), *found], axis=1)
    return span, side, axis


def _links(frame: Frame, clamps: int, limits: RowLimits) -> _Links:
    limited = np.isfinite(limits.capacity) & (frame.clamp_stiffness[:clamps, range(6), range(6)] > 0.0)
    clamp, part = np.nonzero(limited)
    bends = np.flatnonzero(np.isfinite(limits.plastic_moment))
    every = beam_stiffness(frame.span_length, rail_stiffness(frame.rail))
    span, side, axis = hinge_sites(frame, clamps, every, bends)
    a, h, n = len(clamp), len(span), len(frame.node_s)
    load = np.zeros((a + h, n, 6))
    K, grip = frame.clamp_stiffness[clamp], frame.clamp_grip[clamp]
    column = np.take_along_axis(K, part[:, None, None], axis=2)
    load[np.arange(a), frame.clamp_node[clamp]] = (np.swapaxes(grip, 1, 2) @ column)[:, :, 0]
    turn, kink = 6 * side + 4 + axis, kink_forces(every, (span, side, axis))
    for end in (0, 1):
        load[a + np.arange(h), frame.span_node[span, end]] += kink[:, 6 * end : 6 * end + 6]
    stiffness = np.zeros((a + h, a + h))
    same = clamp[:, None] == clamp
    stiffness[:a, :a] = np.where(same, K[:, part, :][np.arange(a), :, part].T if a else 0.0, 0.0)
    stiffness[a:, a:] = np.where(span[:, None] == span, kink[:, turn], 0.0)
    return _Links(clamp, part, span, side, axis, load, stiffness)


def kink_forces(K_span: Array, site: Sites) -> Array:
    """Forces (h, 12) on the ends of the spans at hinge sites for kinks of 1 while no node moves."""
    span, side, axis = site
    return np.take_along_axis(K_span[span], (6 * side + 4 + axis)[:, None, None], axis=2)[:, :, 0]


def link_forces(result: FrameResult, clamp: IntArray, part: IntArray, site: Sites) -> Array:
    """Forces (q, c) of clamp parts and moments at hinge sites, without jumps."""
    span, side, axis = site
    order = np.lexsort((result.sample_s, result.sample_span))
    own = result.sample_span[order]
    first = order[np.searchsorted(own, span, side="left")]
    last = order[np.searchsorted(own, span, side="right") - 1]
    at, sign = np.where(side == 0, first, last), np.where(side == 0, -1.0, 1.0)
    moment = sign * result.rail_force[:, at, 4 + axis]
    return np.concatenate([result.clamp_force[:, clamp, part], moment], axis=1)


def _forces(links: _Links, result: FrameResult) -> Array:
    """Forces of all links in every case of a frame without jumps, (q, c)."""
    return link_forces(result, links.clamp, links.part, (links.span, links.side, links.axis))


def node_loads(frame: Frame, load: Array) -> RailLoads:
    """Nodal loads (q, n, 6) as point loads, without those that carry nothing."""
    used = np.flatnonzero(np.abs(load).max(axis=(0, 2), initial=0.0) > 0.0)
    q, none = len(load), np.zeros(0)
    return RailLoads(
        row=np.zeros(0, dtype=np.int64),
        s0=none,
        s1=none,
        line=np.zeros((q, 0, 4)),
        point_row=frame.node_row[used],
        point_s=frame.node_s[used],
        point=load[:, used],
        thermal=np.zeros(q),
    )


def _together(loads: RailLoads, share: Array, jumps: RailLoads) -> RailLoads:
    """Loads times their shares and jumps, as one case."""
    return RailLoads(
        row=loads.row,
        s0=loads.s0,
        s1=loads.s1,
        line=np.tensordot(share, loads.line, axes=1)[None],
        point_row=np.concatenate([loads.point_row, jumps.point_row]),
        point_s=np.concatenate([loads.point_s, jumps.point_s]),
        point=np.concatenate([np.tensordot(share, loads.point, axes=1)[None], jumps.point], axis=1),
        thermal=np.array([share @ loads.thermal]),
        travel=None if loads.travel is None else np.tensordot(share, loads.travel, axes=1)[None],
    )


def _names(layout: Layout, frame: Frame, links: _Links) -> tuple[str, ...]:
    clamps = [f"{layout.clamp_name[c]} {PARTS[p]}" for c, p in zip(links.clamp, links.part, strict=True)]
    node = frame.span_node[links.span, links.side]
    hinges = [
        f"{frame.row_name[frame.node_row[n]]} hinge at {frame.node_s[n]:.3f} m about {AXES[axis]}"
        + (" (left)" if side else "")
        for n, axis, side in zip(node, links.axis, links.side, strict=True)
    ]
    return (*clamps, *hinges)


def _of_each(links: _Links, limits: RowLimits) -> list[Array]:
    """Capacity and residual of each clamp, (c, 6) both."""
    many = int(links.clamp.max(initial=-1)) + 1
    both = limits.capacity, limits.residual
    return [np.broadcast_to(x, (many, 6)) if x.ndim == 1 else x for x in both]


def _laws(links: _Links, limits: RowLimits) -> Laws:
    a = len(links.clamp)
    k = np.diag(links.stiffness)
    return join(
        [
            slip(k[:a], *(held[links.clamp, links.part] for held in _of_each(links, limits))),
            plastic(np.full(len(links.span), np.inf), limits.plastic_moment[links.axis]),
        ]
    )


def follow_rows(
    layout: Layout,
    rail: Rail,
    clamp: Clamp,
    loads: RailLoads,
    limits: RowLimits,
    *,
    targets: Array | None = None,
    places: tuple[IntArray, Array] | None = None,
) -> RowEvents:
    """Follow slip of clamps and plastic hinges of rails while loads grow one after another.

    Parameters
    ----------
    layout : Layout
    rail : Rail
        Of a section without warping.
    clamp : Clamp
    loads : RailLoads
        Each right-hand side is one load: those before are held while the next one grows.
    limits : RowLimits
    targets : (q,) float, optional
        Factor each load grows to; 1 when not given.
    places : (k,) int and (k,) float, optional
        Row and s [m] where hinges may form besides the clamps; three in every span when not given.

    Returns
    -------
    RowEvents

    Raises
    ------
    InputError
        As `build_frame` and `solve_frame`; limits that are none.
    """
    _check(limits)
    clamps = len(layout.clamp_s)
    bends = np.isfinite(limits.plastic_moment).any()
    if places is None:
        places = span_places(layout) if bends else (np.zeros(0, dtype=np.int64), np.zeros(0))
    wide, scale = with_places(layout, places)
    frame = build_frame(wide, rail, clamp, clamp_scale=scale)
    if loads.travel is not None:
        still = np.zeros((loads.count, len(wide.clamp_s) - clamps, 6))
        loads = replace(loads, travel=np.concatenate([loads.travel, still], axis=1))
    if frame.dof.shape[1] != 6:
        message = "row events: rails with warping are not covered; leave the warping constant out."
        raise InputError(message)
    links = _links(frame, clamps, limits)
    if not len(links.load):
        message = (
            "row events: no clamp has a finite capacity and the rail no plastic moment; nothing can happen."
        )
        raise InputError(message)
    q = _forces(links, solve_frame(frame, loads))
    response = _forces(links, solve_frame(frame, node_loads(frame, links.load)))
    form = link_form(links.stiffness - response, np.diag(links.stiffness))
    path = follow_links(form, _laws(links, limits), q, targets=targets)
    jumps = node_loads(frame, np.tensordot(path.jump, links.load, axes=1)[None])
    result = solve_frame(frame, _together(loads, path.share, jumps))
    force = result.clamp_force[0].copy()
    lost = np.take_along_axis(frame.clamp_stiffness[links.clamp], links.part[:, None, None], axis=2)[:, :, 0]
    np.subtract.at(force, links.clamp, lost * path.jump[: len(links.clamp), None])
    result = replace(_kinked(frame, links, path.jump, result), clamp_force=force[None])
    none = np.full(len(links.span), -1)
    return RowEvents(
        path=path,
        link_name=_names(layout, frame, links),
        link_clamp=np.concatenate([links.clamp, none]),
        link_part=np.concatenate([links.part, none]),
        link_s=np.concatenate(
            [layout.clamp_s[links.clamp], frame.node_s[frame.span_node[links.span, links.side]]]
        ),
        clamp_force=force[:clamps],
        result=result,
        notes=_notes(limits, result),
    )


def _kinked(frame: Frame, links: _Links, jump: Array, result: FrameResult) -> FrameResult:
    """Result without the forces that kinks were brought on with; deflection unknown within their spans."""
    a = len(links.clamp)
    spans = len(frame.span_length)
    ends = np.zeros((spans, 6))
    at = np.arange(a, len(links.load)), frame.span_node[links.span, 0]
    both = links.load[at] * jump[a:, None]
    np.add.at(ends, links.span, both)
    span = result.sample_span
    x = result.sample_s - frame.span_s[span, 0]
    force = result.rail_force + ends[span]
    force[:, :, 4] += x * ends[span, 2]
    force[:, :, 5] -= x * ends[span, 1]
    kinked = np.bincount(links.span, np.abs(jump[a:]), minlength=spans) > 0.0
    inside = kinked[span] & (x > 0.0) & (x < frame.span_length[span])
    return replace(result, rail_force=force, deflection=np.where(inside[:, None], np.nan, result.deflection))


def _notes(limits: RowLimits, result: FrameResult) -> tuple[str, ...]:
    notes = ["Parts of a clamp and axes of bending reach their limits each on their own."]
    if np.isfinite(limits.plastic_moment).any():
        ratio = np.abs(result.rail_force[0, :, 4:]) / limits.plastic_moment
        worst = float(ratio.max(initial=0.0))
        if worst > 1.0 + OVER:
            at = int(ratio.max(axis=1).argmax())
            notes.append(
                f"Between the places where hinges may form the rail reaches {worst:.3f} of its plastic "
                f"moment, at {result.sample_s[at]:.3f} m; give more places."
            )
    return tuple(notes)
