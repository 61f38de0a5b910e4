"""A bay as links: clamp parts and hinges of the rail, seen from one factorization of the frame.

The frame stays linear. A clamp part that moves on is a travel of the rail against its grip, a plastic hinge a
kink of the rail; both act on the frame like loads, so that forces, flexibilities and displacements of all
events come from one set of right-hand sides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.elements.beams import beam_stiffness, rail_stiffness
from fea.rails.frame import build_frame, solve_frame
from fea.rails.loads import FrameResult, RailLoads
from fea.rails.row_events import (
    Sites,
    hinge_sites,
    kink_forces,
    link_forces,
    node_loads,
    span_places,
    with_places,
)
from fea.rails.rows import Frame
from fea.solvers.laws import Laws, join, plastic, slip
from fea.solvers.links import LinkForm, link_form
from roofmodel.hardware import Clamp, Rail
from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Places = tuple[IntArray, Array]  # row and s

BOOLE = np.array([7.0, 32.0, 12.0, 32.0, 7.0]) / 90.0  # exact up to the fifth power
PLACES = 3  # hinges in every span besides those at clamps and at the largest moments
NEAR = 15e-3  # places nearer than this to another, a clamp or an end are one: short pieces cost digits [m]
SURE = 10.0  # times the rounding that is seen in rigid motions, up to which stiffness is none


@dataclass(frozen=True)
class Bay:
    """A bay and its links.

    Attributes
    ----------
    layout : Layout
    rail : Rail
    clamp : Clamp
    loads : RailLoads
        Two right-hand sides: what is held, and what grows.
    frame : Frame
        With a clamp of no stiffness at every place where a hinge may form.
    link_clamp, link_part : (c,) int
        -1 for hinges.
    link_node : (c,) int
        Node of the frame.
    mix : (c, k) float
        From right-hand sides of unit jumps to links.
    units : RailLoads
        Unit jumps as k right-hand sides.
    form : LinkForm
    laws : Laws
    q : (2, c) float
        Forces of the links while nothing jumps. [N, N m]
    elastic : FrameResult
        Of both loads.
    site : Sites
        Of the hinges among the unit jumps.
    facets, capacity, bends
        Of hinges, as `hinge_facets`, and the axes about which the rail can kink.
    probe : (r, c) float
        Forces of the links under the growing load of each row by itself, without its torsion: by Betti's
        theorem the work of that load on the displacements by unit jumps. [N, N m]
    work : (r, 2) float
        Work of the growing load of each row on the displacements by both loads. [J]
    """

    layout: Layout
    rail: Rail
    clamp: Clamp
    loads: RailLoads
    frame: Frame
    link_clamp: IntArray
    link_part: IntArray
    link_node: IntArray
    mix: Array
    units: RailLoads
    form: LinkForm
    laws: Laws
    q: Array
    elastic: FrameResult
    site: Sites
    facets: Array
    capacity: float
    bends: IntArray
    probe: Array
    work: Array

    @property
    def bears(self) -> NDArray[np.bool_]:
        """Clamps that may bear once they are off, (c,): where nothing couples the parts of their grips."""
        alone = not np.any(self.clamp.stiffness - np.diag(np.diag(self.clamp.stiffness)))
        holds = alone and self.frame.support is None and self.clamp.stiffness[2, 2] > 0.0
        return np.full(len(self.layout.clamp_s), holds)

    @property
    def link_row(self) -> IntArray:
        """Row of each link, (c,)."""
        return self.frame.node_row[self.link_node]

    @property
    def link_s(self) -> Array:
        """Place of each link along its row, (c,). [m]."""
        return self.frame.node_s[self.link_node]


def hinge_facets(moment: tuple[float, float], joint: bool) -> tuple[Array, float]:
    """Directions (f, 2) in the plane of M_y and M_z, and the capacity of all of them, for M_y, M_z alone.

    An octagon within the circle of round sections, which gives bending about one axis all of it and never
    more than the circle; the line |M_y| / M_y0 + |M_z| / M_z0 = 1 for all others, which is first yield of a
    rectangle. [N m]
    """
    m_y, m_z = moment
    if not np.isfinite(moment).all():
        return np.eye(2)[np.isfinite(moment)], float(np.nanmin(np.where(np.isfinite(moment), moment, np.nan)))
    if joint:
        angle = np.radians([22.5, 67.5, 112.5, 157.5])
        return np.stack([np.cos(angle), np.sin(angle)], axis=1), float(min(moment) * np.cos(np.radians(22.5)))
    return np.array([[m_z / m_y, 1.0], [-m_z / m_y, 1.0]]), m_z


def _places(
    layout: Layout, loads: RailLoads, found: FrameResult, more: Places | None, hinges: bool
) -> Places:
    """Where hinges may form: evenly in the spans, at elastic peaks, at ends of loads, and more."""
    bend = np.linalg.norm(found.rail_force[:, :, 4:6], axis=2).sum(axis=0)
    order = np.lexsort((found.sample_s, found.sample_span))
    span, size = found.sample_span[order], bend[order]
    peak = np.zeros(len(order), dtype=bool)
    peak[1:-1] = (size[1:-1] >= size[:-2]) & (size[1:-1] >= size[2:]) & (span[:-2] == span[2:])
    tops = order[peak]
    given = [
        *((span_places(layout, PLACES), (found.sample_row[tops], found.sample_s[tops])) if hinges else ()),
        (loads.row, loads.s0),
        (loads.row, loads.s1),
        (loads.point_row, loads.point_s),
        *(() if more is None else (more,)),
    ]
    row, s = (np.concatenate([one[i] for one in given]) for i in (0, 1))
    clear = (s > NEAR) & (s < layout.row_length[row] - NEAR)
    for known_row, known_s in ((layout.clamp_row, layout.clamp_s), (layout.splice_row, layout.splice_s)):
        clear &= ~((np.abs(s[:, None] - known_s) < NEAR) & (row[:, None] == known_row)).any(axis=1)
    row, s = row[clear], s[clear]
    keep: list[int] = []
    for i in np.lexsort((s, row)).tolist():
        if not keep or row[i] != row[keep[-1]] or s[i] - s[keep[-1]] >= NEAR:
            keep.append(i)
    return row[keep].astype(np.int64), s[keep]


def _jumps(frame: Frame, clamps: int, every: Array, site: Sites) -> tuple[RailLoads, IntArray, IntArray]:
    """Unit jumps as right-hand sides: clamp parts, then kinks; clamp and part of the first."""
    clamp, part = np.nonzero(_held(frame, clamps))
    span, a, h = site[0], len(clamp), len(site[0])
    travel = np.zeros((a + h, len(frame.clamp_s), 6))
    travel[np.arange(a), clamp, part] = 1.0
    load = np.zeros((a + h, len(frame.node_s), 6))
    kink = kink_forces(every, site)
    for end in (0, 1):
        load[a + np.arange(h), frame.span_node[span, end]] += kink[:, 6 * end : 6 * end + 6]
    return replace(node_loads(frame, load), travel=travel), clamp, part


def _held(frame: Frame, clamps: int) -> NDArray[np.bool_]:
    """Parts of clamps that hold something, (c, 6)."""
    return np.asarray(_support(frame).diagonal().reshape(-1, 6)[:clamps] > 0.0)


def _support(frame: Frame) -> sparse.csr_array:
    if frame.support is not None:
        return frame.support
    return sparse.csr_array(sparse.block_diag(list(frame.clamp_stiffness)))


def _own(frame: Frame, every: Array, site: Sites, clamp: IntArray, part: IntArray) -> Array:
    """Stiffness of unit jumps against themselves while no node moves, (k, k)."""
    span, side, axis = site
    a, k = len(clamp), len(clamp) + len(span)
    own = np.zeros((k, k))
    at = 6 * clamp + part
    own[:a, :a] = _support(frame)[at][:, at].toarray()
    own[a:, a:] = np.where(span[:, None] == span, kink_forces(every, site)[:, 6 * side + 4 + axis], 0.0)
    return own


def make_bay(
    layout: Layout,
    rail: Rail,
    clamp: Clamp,
    loads: RailLoads,
    moment: tuple[float, float],
    *,
    support: sparse.csr_array | None = None,
    more: Places | None = None,
    hinges: bool = True,
) -> Bay:
    """Condense rows of rail to their links.

    Parameters
    ----------
    layout : Layout
    rail : Rail
        Its warping stiffness is left out.
    clamp : Clamp
    loads : RailLoads
        Two right-hand sides: held, growing.
    moment : (float, float)
        At which the rail bends on about its y and z axes; infinite for no hinges. [N m]
    support : sparse (6 c, 6 c), optional
        As `build_frame`.
    more : (k,) int and (k,) float, optional
        Row and s of further places where hinges may form. [m]
    hinges : bool
        False leaves all of them out, to see whether any is needed.

    Raises
    ------
    InputError
        As `build_frame` and `solve_frame`.
    """
    plain = replace(rail, section=replace(rail.section, I_w=0.0))
    bends = np.flatnonzero(np.isfinite(moment))
    alone = solve_frame(build_frame(layout, plain, clamp, support=support), loads)
    wide, scale = with_places(layout, _places(layout, loads, alone, more, hinges))
    clamps, added = len(layout.clamp_s), len(wide.clamp_s) - len(layout.clamp_s)
    if support is not None:
        support = sparse.csr_array(sparse.block_diag([support, sparse.csr_array((6 * added, 6 * added))]))
    frame = build_frame(wide, plain, clamp, clamp_scale=scale, support=support)
    if loads.travel is not None:
        still = np.zeros((loads.count, added, 6))
        loads = replace(loads, travel=np.concatenate([loads.travel, still], axis=1))
    every = beam_stiffness(frame.span_length, rail_stiffness(plain))
    site = _sites(frame, clamps, every, bends if hinges else bends[:0])
    units, link_clamp, link_part = _jumps(frame, clamps, every, site)
    response, elastic = solve_frame(frame, units), solve_frame(frame, loads)
    probes = _probes(loads, len(layout.row_name))
    probed = solve_frame(frame, probes)
    own = _own(frame, every, site, link_clamp, link_part)
    raw = -link_forces(response, link_clamp, link_part, site)
    a = len(link_clamp)
    raw[a:, a:] += own[a:, a:]
    facets, capacity = hinge_facets(moment, plain.section.round) if len(bends) else (np.zeros((0, 2)), 1.0)
    mix, node = _mix(a, frame, site, facets, bends if hinges else bends[:0])
    kinks = len(mix) - a
    none = np.full(kinks, -1)
    stiff = np.diag(mix @ own @ mix.T)
    laws = join(
        [
            slip(stiff[:a], np.inf, np.inf),
            plastic(np.full(kinks, np.inf), capacity),
        ]
    )
    return Bay(
        layout=layout,
        rail=plain,
        clamp=clamp,
        loads=loads,
        frame=frame,
        link_clamp=np.concatenate([link_clamp, none]),
        link_part=np.concatenate([link_part, none]),
        link_node=np.concatenate([frame.clamp_node[link_clamp], node]),
        mix=mix,
        units=units,
        form=link_form(mix @ raw @ mix.T, stiff, SURE * _rounding(frame, raw, own, link_clamp, link_part)),
        laws=laws,
        q=link_forces(elastic, link_clamp, link_part, site) @ mix.T,
        elastic=elastic,
        site=site,
        facets=facets,
        capacity=capacity,
        bends=bends,
        probe=link_forces(probed, link_clamp, link_part, site) @ mix.T,
        work=_work(frame, probes, elastic),
    )


def _rounding(frame: Frame, raw: Array, own: Array, clamp: IntArray, part: IntArray) -> float:
    """Stiffness that rounding gives to rigid motions of rows, which have none, over the links' own. [-]."""
    row = frame.clamp_row[clamp]
    node = frame.clamp_node[clamp]
    worst = 0.0
    size = np.sqrt(np.diag(own))[: len(clamp)]
    for axis in range(6):
        motion = np.zeros((len(clamp), 6))
        motion[:, axis] = 1.0
        s = frame.node_s[node]
        motion[:, 2] -= np.where(axis == 4, s, 0.0)
        motion[:, 1] += np.where(axis == 5, s, 0.0)
        own_motion = np.einsum("kj,kj->k", frame.clamp_grip[clamp, part], motion)
        each = np.where(row == np.arange(len(frame.row_name))[:, None], own_motion, 0.0).T
        left = np.linalg.norm((raw[:, : len(clamp)] @ each) / np.sqrt(np.diag(own))[:, None], axis=0)
        moved = np.linalg.norm(each * size[:, None], axis=0)
        worst = max(worst, float((left[moved > 0.0] / moved[moved > 0.0]).max(initial=0.0)))
    return worst


def _sites(frame: Frame, clamps: int, K_span: Array, bends: IntArray) -> Sites:
    """Sites of hinges for every axis that bends, axis by axis and alike, also where one of them cannot kink.

    Where a clamp holds no moment about an axis both its sides have the same one, and one kink is enough.
    """
    span, side, _ = hinge_sites(frame, clamps, K_span, bends)
    places = np.unique(np.stack([span, side]), axis=1)
    n = places.shape[1]
    return np.tile(places[0], len(bends)), np.tile(places[1], len(bends)), np.repeat(bends, n)


def _mix(a: int, frame: Frame, site: Sites, facets: Array, bends: IntArray) -> tuple[Array, IntArray]:
    """From unit jumps to links, and the node of every hinge link; sites stand axis by axis, alike."""
    span, side, _ = site
    sites, axes = len(span) // max(len(bends), 1), len(bends)
    node = frame.span_node[span[:sites], side[:sites]]
    mix = np.zeros((a + len(facets) * sites, a + axes * sites))
    mix[:a, :a] = np.eye(a)
    for f, facet in enumerate(facets):
        for axis in range(axes):
            at = np.arange(sites)
            mix[a + f * sites + at, a + axis * sites + at] = facet[axis] if axes == 2 else 1.0
    return mix, np.tile(node, len(facets))


def _probes(loads: RailLoads, rows: int) -> RailLoads:
    """The growing load on each row by itself, without its torsion, as `rows` right-hand sides."""
    line = np.where((loads.row == np.arange(rows)[:, None])[..., None], loads.line[1], 0.0)
    line[..., 3] = 0.0
    point = np.where((loads.point_row == np.arange(rows)[:, None])[..., None], loads.point[1], 0.0)
    point[..., 3:] = 0.0
    return replace(loads, line=line, point=point, thermal=np.zeros(rows), travel=None)


def _work(frame: Frame, probes: RailLoads, result: FrameResult) -> Array:
    """Work (r, q) of the probes on the displacements of a result. [J].

    By Boole's rule over pieces between nodes, where line loads are even and deflections at most of the
    fourth power: exact, as nodes stand at all ends of loads.
    """
    s0, s1 = frame.span_s.T
    key = (
        2.0 * result.sample_span
        + (result.sample_s - s0[result.sample_span]) / frame.span_length[result.sample_span]
    )
    order = np.argsort(key, kind="stable")
    mean = np.zeros((len(result.deflection), len(s0), 3))
    for weight, share in zip(BOOLE, (0.0, 0.25, 0.5, 0.75, 1.0), strict=True):
        at = np.searchsorted(key[order], 2.0 * np.arange(len(s0)) + share - 1e-7)
        mean += weight * result.deflection[:, order[at]]
    middle = 0.5 * (s0 + s1)
    on = (
        (probes.row[:, None] == frame.span_row)
        & (probes.s0[:, None] <= middle)
        & (middle <= probes.s1[:, None])
    )
    line = np.einsum("rkd,ke->red", probes.line[:, :, :3], on.astype(float))
    work = np.einsum("red,qed,e->rq", line, mean, frame.span_length)
    if len(probes.point_row):
        node = np.array([int(np.argmin(np.abs(frame.node_s - s) + 1e6 * (frame.node_row != row)))
                         for row, s in zip(probes.point_row, probes.point_s, strict=True)])  # fmt: skip
        span = np.searchsorted(frame.span_node[:, 1], node).clip(max=len(s0) - 1)
        end = np.where(frame.span_node[span, 1] == node, 1.0, 0.0)
        at = order[np.searchsorted(key[order], 2.0 * span + end - 1e-7)]
        work += np.einsum("rjd,qjd->rq", probes.point[:, :, :3], result.deflection[:, at])
    return work


def state_of(bay: Bay, share: Array, jump: Array) -> FrameResult:
    """Clamps and rail at shares (t, 2) of both loads and jumps (t, c) of the links, as t right-hand sides.

    Solved anew, so that stations stand where the moments peak. Inside kinked pieces the deflection is off.
    """
    raw = jump @ bay.mix
    loads, units = bay.loads, bay.units
    assert units.travel is not None
    travel = np.tensordot(raw, units.travel, axes=1)
    if loads.travel is not None:
        travel = travel + np.tensordot(share, loads.travel, axes=1)
    both = RailLoads(
        row=loads.row,
        s0=loads.s0,
        s1=loads.s1,
        line=np.tensordot(share, loads.line, axes=1),
        point_row=np.concatenate([loads.point_row, units.point_row]),
        point_s=np.concatenate([loads.point_s, units.point_s]),
        point=np.concatenate(
            [np.tensordot(share, loads.point, axes=1), np.tensordot(raw, units.point, axes=1)], axis=1
        ),
        thermal=share @ loads.thermal,
        travel=travel,
    )
    found = solve_frame(bay.frame, both)
    span = bay.site[0]
    kink = raw[:, raw.shape[1] - len(span) :]
    every = beam_stiffness(bay.frame.span_length, rail_stiffness(bay.rail))
    column = kink_forces(every, bay.site)
    ends = np.zeros((len(bay.frame.span_length), len(raw), 6))
    np.add.at(ends, span, column[:, None, :6] * kink.T[:, :, None])  # what made the kinks is no rail force
    at = found.sample_span
    x = found.sample_s - bay.frame.span_s[at, 0]
    extra = ends[at].swapaxes(0, 1)
    force = found.rail_force + extra
    force[:, :, 4] += x * extra[:, :, 2]
    force[:, :, 5] -= x * extra[:, :, 1]
    return replace(found, rail_force=force)


def rail_use(bay: Bay, state: FrameResult) -> Array:
    """Largest moments at all stations over what the rail bends on at; over 1 where a hinge lacks. [-]."""
    if not len(bay.bends):
        return np.zeros(len(state.sample_s))
    facets = bay.facets if len(bay.bends) == 2 else np.eye(2)[bay.bends]
    return np.asarray(np.abs(state.rail_force[:, :, 4:6] @ facets.T).max(axis=(0, 2)) / bay.capacity)


def missing_places(result: FrameResult, use: Array, over: float) -> Places | None:
    """The station of each span that is used most, where it is used more than `over`; None for none."""
    order = np.lexsort((use, result.sample_span))
    last = np.append(result.sample_span[order][1:] != result.sample_span[order][:-1], True)
    top = order[last]
    top = top[use[top] > over]
    return (result.sample_row[top], result.sample_s[top]) if len(top) else None
