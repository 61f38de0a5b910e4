"""Sliding force on every row: weight and thrust sent down the flow graph, case by case.

With vertical load p per plan area on a slope theta, a cell of true area A weighs p A cos(theta), thrusts
p A cos(theta) sin(theta) down the slope and can be braked by mu p A cos(theta)^2. Without friction a
plane of plan run b brings p b sin(theta) to each meter of rail, EN 1991-1-3 6.4. Thrust keeps its size
over a change of pitch, like a chain over a pulley; lift at convex breaks and extra pressure at concave
ones are neglected.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.memory import Memory
from roofmodel.sliding.across import turns_aside
from roofmodel.sliding.arrival import stream_shares
from roofmodel.sliding.cells import Cells, aside, build_cells, plane_key
from roofmodel.sliding.end_reach import lodges
from roofmodel.sliding.end_steps import end_steps, lifts
from roofmodel.sliding.ends import end_bound
from roofmodel.sliding.flow import Exit, FlowGraph, build_flow, exit_ends
from roofmodel.sliding.propagation import Flow, propagate
from roofmodel.sliding.short_stations import evened
from roofmodel.sliding.strip_marks import strip_marks
from roofmodel.sliding.together import most_together
from roofmodel.snow.cases import SnowCase, case_forces
from roofmodel.surface import RoofSurface
from roofmodel.upper_faces import Faces, upper_faces

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


class ValleyThrust(StrEnum):
    """How thrusts that meet in a valley add up."""

    SCALAR = "scalar"  # sizes add: the upper bound
    VECTOR = "vector"  # equal cross parts cancel, the part along the valley goes on


@dataclass(frozen=True)
class SlideOptions:
    """Choices for the sliding force.

    Attributes
    ----------
    friction : float
        Friction coefficient counted on. [-]
    strip_width : float
        Widest strip. [m]
    valley : ValleyThrust
    valley_spread : float
        Length of row over which a valley stream arrives. [m]
    spread_angle : float
        Spread of a coherent blanket toward the ends of a partial row, from the fall line. [rad]
    """

    friction: float = 0.0
    strip_width: float = 0.5
    valley: ValleyThrust = ValleyThrust.SCALAR
    valley_spread: float = 1.0
    spread_angle: float = np.pi / 4

    @property
    def end_spreads(self) -> tuple[float, float]:
        """What the bound at row ends goes by: `spread_angle` [rad] and `valley_spread` [m]."""
        return self.spread_angle, self.valley_spread


@dataclass(frozen=True)
class Balance:
    """Where the driving force of each case ends, (q,) each, in N.

    ``driving = caught + friction + over_edges + gutters + canceled + obstructions + walls`` to rounding.
    """

    driving: Array
    caught: Array
    friction: Array
    over_edges: Array
    gutters: Array
    canceled: Array
    obstructions: Array
    walls: Array

    @property
    def error(self) -> Array:
        """Imbalance over the driving force, (q,). [-]."""
        out = self.caught + self.friction + self.over_edges + self.gutters + self.canceled
        out = out + self.obstructions + self.walls
        return np.asarray(np.abs(out - self.driving) / np.maximum(self.driving, 1e-12))


@dataclass(frozen=True)
class RowForce:
    """Sliding force along the rows.

    Attributes
    ----------
    row : (k,) int
        Row of each station; stations cover the rows without overlap, sorted by row and place.
    span : (k, 2) float
        Ends of the station along the row. [m]
    thrust : (q, k, 2) float
        Force on the station along the plane's u and v; down the slope is negative v. [N]
    weight : (q, k) float
        Vertical weight of the snow that feeds the station. [N]
    own : (q, r) float
        Part of each row's thrust that comes from its own plane. [N]
    end_bound : (q, r, 2) float
        Upper bound of what a coherent blanket brings to the row's start and end from beyond them,
        down the slope; not part of `thrust`. [N]
    exit_edge : (x,) int
        Roof edges over which something goes.
    exit_thrust, exit_weight : (q, x) float
        What goes over them. [N]
    node_weight : (q, nodes) float
        Vertical weight of the snow that each node of the flow graph passes on. [N]
    cell_pressure : (q, n) float
        Mean vertical pressure per plan area on each cell. [Pa]
    cell_thrust : (q, n) float
        Thrust that leaves each cell at its lower end. [N]
    valley_cross : (q,) float
        Largest unbalanced cross thrust on a valley, loads the weaker side across its seams. [N]
    balance : Balance
    obstacle : (o,) int
        Boxes in the way: which of the roof's obstacles.
    obstacle_thrust, obstacle_held : (q, o) float
        Force down the slope of the blanket above each box, and what is counted on of it. [N]
    array_held : (q, a) float
        What is counted on of each solar array. [N]
    cell_arriving : (q, n) float
        Thrust that reaches the lower end of each cell, before what a box or array there holds. [N]
    wall_edge : (y,) int
        Roof edges at the foot of walls that hold what slides down to them.
    wall_thrust, wall_line : (q, y) float
        Force on each, down the slope [N], and the largest for each meter [N/m]; no row's part of it.
    aside : (q, k, 2) float
        Upper bound of what boxes above send to the station from beside its own strip, of what may go straight
        on over planes taken to turn it, and by `with_landed` of what lands above it, along u and v of the
        plane; not part of `thrust`. [N]
    landed : (q, k, 2) float or None
        Part of `aside` that lands; None for nothing. [N]
    straight : (q, f) float or None
        Force, along its own way, of what comes straight across flat roof against each box, then each array
        that snow may lean on; not part of `obstacle_thrust`. None for nothing. [N]
    ahead : (q, k, 2) float or None
        Part of `aside` that may go straight on; None for nothing. [N]
    end_beyond : (q, r, 2) float or None
        `end_bound` once rows are a little off their places (`roofmodel.sliding.end_steps`). None where that
        changes nothing. [N]
    other : (FlowGraph, RowForce) or None
        The other reading of planes taken to turn what comes onto them: part of it goes straight on. None
        where that changes nothing.
    """

    row: IntArray
    span: Array
    thrust: Array
    weight: Array
    own: Array
    end_bound: Array
    exit_edge: IntArray
    exit_thrust: Array
    exit_weight: Array
    node_weight: Array
    cell_pressure: Array
    cell_thrust: Array
    valley_cross: Array
    balance: Balance
    obstacle: IntArray
    obstacle_thrust: Array
    obstacle_held: Array
    array_held: Array
    cell_arriving: Array
    wall_edge: IntArray
    wall_thrust: Array
    wall_line: Array
    aside: Array
    landed: Array | None = None
    straight: Array | None = None
    ahead: Array | None = None
    end_beyond: Array | None = None
    other: tuple[FlowGraph, RowForce] | None = None

    def flows(self, graph: FlowGraph) -> tuple[tuple[FlowGraph, RowForce], ...]:
        """Itself with its graph, and the other reading with its own where there is one."""
        return ((graph, self),) if self.other is None else ((graph, self), self.other)

    @property
    def readings(self) -> tuple[RowForce, ...]:
        """Itself, and the other reading where there is one."""
        return (self,) if self.other is None else (self, self.other[1])

    @property
    def obstacle_push(self) -> Array:
        """Force on each box, down the slope and of what comes straight across together, (q, o). [N].

        The larger of both readings.
        """
        boxes = len(self.obstacle)
        each = [
            one.obstacle_thrust + (0.0 if one.straight is None else one.straight[:, :boxes])
            for one in self.readings
        ]
        return np.asarray(np.max(each, axis=0))


def slide(
    roof: RoofSurface,
    cases: tuple[SnowCase, ...],
    layout: Layout,
    options: SlideOptions | None = None,
    memory: Memory | None = None,
    *,
    both: bool = True,
    ends: bool = True,
) -> tuple[FlowGraph, RowForce]:
    """Send every case down the roof.

    Parameters
    ----------
    roof : RoofSurface
    cases : tuple of SnowCase, (q,)
    layout : Layout
    options : SlideOptions, optional
    memory : Memory, optional
        Keeps what belongs to planes whose rows do not move.
    both : bool
        False leaves `RowForce.other` out, and what of it the bounds count.
    ends : bool
        False leaves `RowForce.end_bound` at 0.

    Returns
    -------
    FlowGraph
        The routes, with the cells.
    RowForce
        Force on every row, and the balance.
    """
    options = options or SlideOptions()
    marks = strip_marks(roof, layout, 2.0 * lodges(options.valley_spread))
    cells = build_cells(roof, layout, options.strip_width, marks, memory)
    graph = build_flow(roof, layout, cells, options.valley_spread)
    keys = [
        ("snow", options.strip_width, plane_key(layout, plane, marks[plane]))
        for plane in range(roof.planes.count)
    ]
    vertical = _snow_on_cells(cases, cells, keys, memory)
    force = route(roof, layout, graph, vertical, options, ends=ends)
    if both and turns_aside(roof):
        other = build_flow(roof, layout, cells, options.valley_spread, ahead=True)
        if len(other.across.cell) > len(graph.across.cell):
            force = _or_ahead(force, other, route(roof, layout, other, vertical, options, ends=ends))
    return graph, force


def _or_ahead(force: RowForce, graph: FlowGraph, other: RowForce) -> RowForce:
    """The force with bounds raised where the other reading of planes that turn snow brings more to a row."""
    ends = np.maximum(force.end_bound, other.end_bound)
    whole = np.minimum((other.thrust + other.aside - force.thrust)[..., 1], 0.0)
    beyond = [one.end_bound if one.end_beyond is None else one.end_beyond for one in (force, other)]
    stepped = force.end_beyond is not None or other.end_beyond is not None
    more = np.zeros_like(force.thrust)
    more[..., 1] = np.minimum(whole - force.aside[..., 1], 0.0)
    return replace(
        force,
        aside=force.aside + more,
        end_bound=ends,
        ahead=more if more.any() or (ends != force.end_bound).any() else None,
        end_beyond=np.maximum(*beyond) if stepped else None,
        other=(graph, other),
    )


def _snow_on_cells(
    cases: tuple[SnowCase, ...], cells: Cells, keys: Sequence[Hashable], memory: Memory | None
) -> Array:
    """Vertical snow force of every case on every cell, (q, n), kept by each plane's key. [N]."""
    if memory is None:
        return case_forces(cases, cells.plan, cells.plane)
    found = []
    for plane, key in enumerate(keys):
        on = cells.plane == plane
        plan, number = cells.plan[on], cells.plane[on]
        full = (key, tuple(id(case) for case in cases))
        found.append(memory.recall(full, partial(_forces_and_cases, cases, plan, number))[0])
    return np.concatenate(found, axis=1)


def _forces_and_cases(
    cases: tuple[SnowCase, ...], plan: NDArray[np.object_], plane: IntArray
) -> tuple[Array, tuple[SnowCase, ...]]:
    """Forces for the memory, with the cases, so that none of their ids is given away meanwhile."""
    return case_forces(cases, plan, plane), cases


def route(
    roof: RoofSurface,
    layout: Layout,
    graph: FlowGraph,
    vertical: Array,
    options: SlideOptions,
    *,
    ends: bool = True,
) -> RowForce:
    """Route the vertical snow force (q, n) of the cells [N] down the graph; see `slide`."""
    cells = graph.cells
    slope = roof.planes.slope[cells.plane]
    drive = (vertical * np.sin(slope)).T
    # Glass holds nothing by friction.
    brake = (options.friction * vertical * np.cos(slope) * (cells.array < 0)).T
    factor, canceled_share = valley_factor(roof, graph, options.valley)
    faces = upper_faces(roof)
    flow, pushed, held = _relieved(graph, (drive, brake, vertical.T, factor), faces)
    own = propagate(_within_planes(graph), drive, brake, vertical.T, factor)
    stations = partial(stations_of, roof, layout, graph, valley=options.valley)
    row, span, thrust, weight = stations(flow)
    caught_own = np.zeros((len(layout.row_name), vertical.shape[0]))
    cell_catch = graph.catch_node < cells.count
    np.add.at(caught_own, graph.catch_row[cell_catch], own.out[graph.catch_node[cell_catch]])
    exit_out = flow.out[graph.exit_node] * graph.exit_share[:, None]
    gutter, over = graph.exit_kind == Exit.GUTTER, graph.exit_kind == Exit.EDGE
    edges = np.unique(graph.exit_edge[over])
    exit_thrust, exit_weight = np.zeros((2, len(edges), vertical.shape[0]))
    at = np.searchsorted(edges, graph.exit_edge[over])
    np.add.at(exit_thrust, at, exit_out[over])
    np.add.at(exit_weight, at, (flow.weight[graph.exit_node] * graph.exit_share[:, None])[over])
    wall_edge, wall_thrust, wall_line = _on_walls(roof, graph, exit_out)
    own_thrust = np.maximum(drive - brake, 0.0)
    balance = Balance(
        driving=drive.sum(axis=0),
        caught=flow.out[graph.catch_node].sum(axis=0),
        friction=flow.friction,
        over_edges=exit_out[over].sum(axis=0),
        gutters=exit_out[gutter].sum(axis=0),
        canceled=np.sum(flow.fed * canceled_share[:, None], axis=0),
        obstructions=held.sum(axis=0),
        walls=wall_thrust.sum(axis=0),
    )
    bound, beyond = np.zeros((vertical.shape[0], len(layout.row_name), 2)), None
    if ends:
        at_ends = (roof, layout, graph, own_thrust, flow.out, options.end_spreads)
        bound, steps = end_bound(*at_ends), end_steps(roof, layout, graph)
        beyond = np.maximum(bound, end_bound(*at_ends, lifts(steps))) if steps else None
    box, dam = faces.obstacle >= 0, faces.array >= 0
    array_held = np.zeros((roof.arrays.count, vertical.shape[0]))
    array_held[faces.array[dam]] = held[dam]
    sent = _sent_aside(graph, faces, pushed - held, factor)
    return RowForce(
        row=row,
        span=span,
        thrust=thrust,
        weight=weight,
        own=caught_own.T,
        end_bound=bound,
        exit_edge=edges,
        exit_thrust=exit_thrust.T,
        exit_weight=exit_weight.T,
        node_weight=flow.weight.T,
        cell_pressure=vertical / cells.plan_area,
        cell_thrust=flow.out[: cells.count].T,
        valley_cross=_valley_cross(roof, graph, flow),
        balance=balance,
        obstacle=faces.obstacle[box],
        obstacle_thrust=pushed[box].T,
        obstacle_held=held[box].T,
        array_held=array_held.T,
        cell_arriving=flow.arriving[: cells.count].T,
        wall_edge=wall_edge,
        wall_thrust=wall_thrust.T,
        wall_line=wall_line.T,
        aside=np.zeros_like(thrust) if sent is None else stations(sent)[2],
        straight=_pushed_straight(graph, faces, flow),
        end_beyond=beyond,
    )


def _pushed_straight(graph: FlowGraph, faces: Faces, flow: Flow) -> Array | None:
    """What comes straight across against boxes and arrays, (q, f); None for nothing. [N]."""
    pushes = graph.across.pushes
    if not len(pushes.face):
        return None
    push = np.zeros((faces.count, flow.out.shape[1]))
    np.add.at(push, pushes.face, pushes.share[:, None] * flow.out[pushes.cell])
    return push.T


def _on_walls(roof: RoofSurface, graph: FlowGraph, exit_out: Array) -> tuple[IntArray, Array, Array]:
    """Edges at the foot of walls, force on them and for each meter of them, (y, q)."""
    wall = graph.exit_kind == Exit.WALL
    ends = exit_ends(roof, graph, wall)
    edges, at = np.unique(graph.exit_edge[wall], return_inverse=True)
    thrust = np.zeros((len(edges), exit_out.shape[1]))
    np.add.at(thrust, at, exit_out[wall])
    return edges, thrust, most_together(len(edges), at, ends, exit_out[wall])


def _relieved(
    graph: FlowGraph, terms: tuple[Array, Array, Array, Array], faces: Faces
) -> tuple[Flow, Array, Array]:
    """Flow less what boxes hold, and what reaches and what holds each box (o, q). [N].

    A box's relief lessens what reaches boxes below it, so the shares are found from the top down. What comes
    straight across takes a box's strength first: only the rest relieves what is below.
    """
    above = np.flatnonzero(graph.cells.lower_face >= 0)
    box = graph.cells.lower_face[above]
    share = np.zeros((faces.count, terms[0].shape[1]))
    for _ in range(faces.count + 1):
        keep = np.ones_like(terms[0])
        keep[above] = 1.0 - share[box]
        flow = propagate(graph, *terms, keep=keep)
        pushed = np.zeros_like(share)
        np.add.at(pushed, box, flow.arriving[above])
        straight = _pushed_straight(graph, faces, flow)
        spare = np.maximum(faces.strength[:, None] - (0.0 if straight is None else straight.T), 0.0)
        before, share = share, np.minimum(spare / np.maximum(pushed, 1e-9), 1.0)
        if np.allclose(before, share, rtol=0.0, atol=1e-14):
            break
    return flow, pushed, pushed * before


def _sent_aside(graph: FlowGraph, faces: Faces, passing: Array, factor: Array) -> Flow | None:
    """What boxes (o, q) send down beside them, followed to its end without friction; None for nothing."""
    face, cell, share = aside(graph.cells, faces)
    if not len(face):
        return None
    extra = np.zeros((graph.cells.count, passing.shape[1]))
    np.add.at(extra, cell, share[:, None] * passing[face])
    return propagate(graph, extra, np.zeros_like(extra), np.zeros_like(extra), factor)


def _within_planes(graph: FlowGraph) -> FlowGraph:
    """Restrict the graph to links that stay on their plane."""
    keep = ~graph.crossing
    return replace(graph, source=graph.source[keep], target=graph.target[keep], share=graph.share[keep])


def valley_factor(roof: RoofSurface, graph: FlowGraph, valley: ValleyThrust) -> tuple[Array, Array]:
    """Part of the thrust fed into each valley piece that goes on along it, and the rest, (m,) each."""
    if valley is ValleyThrust.SCALAR:
        ones = np.ones(len(graph.valley_edge))
        return ones, np.zeros_like(ones)
    down = -roof.planes.upslope[graph.valley_plane]
    along = np.clip(np.sum(down * graph.valley_way, axis=1), 0.0, 1.0)
    return along, 1.0 - along


def _valley_cross(roof: RoofSurface, graph: FlowGraph, flow: Flow) -> Array:
    """Largest difference of the cross thrusts of the two sides of one valley, (q,). [N].

    What presses on a wall along its sloping foot is none: the wall takes it.
    """
    if not len(graph.valley_edge):
        return np.zeros(flow.out.shape[1])
    down = -roof.planes.upslope[graph.valley_plane]
    level_way = graph.valley_way * [1.0, 1.0, 0.0]
    square = np.cross([0.0, 0.0, 1.0], level_way / np.linalg.norm(level_way, axis=1, keepdims=True))
    both = roof.edges.plane[graph.valley_edge].min(axis=1) >= 0
    cross = flow.fed * np.where(both, np.sum(down * square, axis=1), 0.0)[:, None]
    edges, index = np.unique(graph.valley_edge, return_inverse=True)
    total = np.zeros((len(edges), flow.out.shape[1]))
    np.add.at(total, index, cross)
    return np.asarray(np.abs(total).max(axis=0))


def stations_of(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, flow: Flow, valley: ValleyThrust
) -> tuple[IntArray, Array, Array, Array]:
    """Force and weight on stations: what cells bring, and valley streams spread over the row's end."""
    n = graph.cells.count
    cell = np.flatnonzero(graph.catch_node < n)
    order = cell[np.lexsort((graph.catch_span[cell, 0], graph.catch_row[cell]))]
    row, span = graph.catch_row[order], graph.catch_span[order]
    thrust = np.zeros((len(row), 2, flow.out.shape[1]))
    thrust[:, 1] = -flow.out[graph.catch_node[order]]
    span, (thrust, weight) = evened(row, span, (thrust, flow.weight[graph.catch_node[order]]))
    for k in np.flatnonzero(graph.catch_node >= n):
        node, target = graph.catch_node[k], graph.catch_row[k]
        shared = stream_shares(layout, graph, int(k), row, span)
        plane = layout.row_plane[target]
        way = np.array([0.0, -1.0])
        if valley is ValleyThrust.VECTOR:
            down = graph.valley_way[node - n]
            way = np.array([down @ roof.planes.across[plane], down @ roof.planes.upslope[plane]])
            way /= np.linalg.norm(way)
        thrust += shared[:, None, None] * way[None, :, None] * flow.out[node]
        weight = weight + shared[:, None] * flow.weight[node]
    return row, span, thrust.transpose(2, 0, 1), weight.T
