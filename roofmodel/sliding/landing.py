"""Where snow that no row holds comes down: speed at the edge, throw to the ground, and the strip it lands on.

Snow that has slid down a height h over a plan run b against friction mu has v^2 = 2 g (h - mu b) (work and
energy). It then flies without drag: down H, the way of a body thrown down at the slope of the roof. H counts
from the top of the snow at the edge, the part that flies farthest. This is elementary mechanics and an upper
bound: nothing is lost at changes of pitch or on flat roof that snow crosses, and snow breaks up in the air.
How far it rolls or splashes is not in it. `lower_roofs` says what of it stays on lower roofs on its way, its
weight by flights from the roof's surface.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.memory import Memory
from roofmodel.sliding.flow import Exit, FlowGraph, exit_ends
from roofmodel.sliding.lower_roofs import LowerRoofs, Throws, lower_roofs
from roofmodel.sliding.thrust import RowForce, SlideOptions
from roofmodel.sliding.together import most_together
from roofmodel.snow.cases import SnowCase
from roofmodel.surface import EdgeKind, RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Landing:
    """Landing of snow from each edge of `RowForce.exit_edge`, x of them.

    Attributes
    ----------
    line : (q, x) float
        Largest weight over a meter of the edge. [N/m]
    volume : (q, x) float
        Of all snow from the edge, at the case's density. [m^3]
    speed : (x,) float
        Largest speed at the edge; 0 where nothing slides. [m/s]
    fall : (x,) float
        Height of the edge's upper end, or of a valley's foot, above the ground. [m]
    throw : (x,) float
        Farthest landing, from the top of the snow at the edge, on plan, down the fall line. [m]
    zone : (x, 4, 3) float
        Corners of the strip on the ground: below the edge, or across the foot of a valley, and as far as snow
        is thrown if no roof is in the way; NaN for the edge of a plane that has none. [m]
    lower : LowerRoofs
        What of it lands on lower roofs, and what does not.
    """

    line: Array
    volume: Array
    speed: Array
    fall: Array
    throw: Array
    zone: Array
    lower: LowerRoofs


def throw(speed: Array, slope: Array, fall: Array) -> Array:
    """Plan distance that a body flies when it leaves an edge down a slope.

    Parameters
    ----------
    speed : float array
        [m/s]
    slope : float array
        Below the horizontal. [rad]
    fall : float array
        Height of the edge above the ground. [m]

    Returns
    -------
    float array
        [m] From H = v sin(slope) t + g t^2 / 2 and x = v cos(slope) t.
    """
    down = speed * np.sin(slope)
    time = (np.sqrt(down**2 + 2.0 * STANDARD_GRAVITY * np.maximum(fall, 0.0)) - down) / STANDARD_GRAVITY
    return np.asarray(speed * np.cos(slope) * time)


def landing(
    roof: RoofSurface,
    graph: FlowGraph,
    force: RowForce,
    cases: tuple[SnowCase, ...],
    options: SlideOptions,
    memory: Memory | None = None,
    *,
    lower: bool = True,
) -> Landing:
    """Where the snow of every edge lands.

    Parameters
    ----------
    roof : RoofSurface
    graph : FlowGraph
    force : RowForce
        Of the same graph.
    cases : tuple of SnowCase, (q,)
    options : SlideOptions
        Friction, and the length over which a valley's stream leaves.
    memory : Memory, optional
        Keeps the flights from edges that snow leaves as before.
    lower : bool
        False to leave out which lower roofs catch it, nearly all of the work: `Landing.lower` has no edges.

    Returns
    -------
    Landing
    """
    cells, n = graph.cells, graph.cells.count
    over = graph.exit_kind == Exit.EDGE
    node, edge = graph.exit_node[over], graph.exit_edge[over]
    at = np.searchsorted(force.exit_edge, edge)
    count = len(force.exit_edge)
    is_cell = node < n
    own = np.minimum(node, n - 1)
    piece = np.maximum(node - n, 0)
    slope = roof.planes.slope[cells.plane[own]]
    if len(graph.valley_edge):
        slope = np.where(is_cell, slope, np.arcsin(np.clip(-graph.valley_way[piece, 2], 0.0, 1.0)))
    slope = np.where(np.isnan(graph.exit_slope[over]), slope, graph.exit_slope[over])
    ends = exit_lips(roof, graph, options.valley_spread)[over]
    line = most_together(count, at, ends, force.node_weight[:, node].T * graph.exit_share[over, None])
    density = np.array([case.density for case in cases])
    start, end, down = _lips(roof, graph, force.exit_edge, options.valley_spread)
    fall = np.maximum(start[:, 2], end[:, 2]) - roof.ground
    fall[force.exit_edge < 0] = np.nan
    foot = _feet(roof, graph)
    lips = graph.exit_lip[over, :, 2].mean(axis=1)
    head = _heads(roof, graph, options.friction, foot)[node]
    head = head + np.where(np.isnan(lips), 0.0, np.maximum(foot[own] - lips, 0.0))
    moves = np.asarray((force.exit_thrust > 0.0).any(axis=0))
    v = np.where(moves[at], np.sqrt(2.0 * STANDARD_GRAVITY * head), 0.0)
    speed, far = np.zeros(count), np.zeros(count)
    np.maximum.at(speed, at, v)
    depth = _depths(roof, graph, force, density, over)
    np.maximum.at(far, at, np.nan_to_num(throw(v, slope, fall[at] + depth)))
    throws = Throws(
        at=at,
        ends=ends,
        down=exit_ways(roof, graph)[over],
        slope=slope,
        head=np.where(moves[at], head, 0.0),
        weight=force.node_weight[:, node] * graph.exit_share[over],
        depth=depth,
    )
    return Landing(
        line=line.T,
        volume=force.exit_weight / (density[:, None] * STANDARD_GRAVITY),
        speed=speed,
        fall=fall,
        throw=far,
        zone=_zones(start, end, far[:, None] * down, roof.ground, force.exit_edge < 0),
        lower=lower_roofs(roof, throws, count if lower else 0, density, memory),
    )


def _depths(
    roof: RoofSurface, graph: FlowGraph, force: RowForce, density: Array, over: NDArray[np.bool_]
) -> Array:
    """Largest depth of snow at exits (n,) over the cases, upright; of the deeper side of valleys. [m].

    Snow that came straight across flat roof leaves over what lies there, if that is deeper.
    """
    cells, node = graph.cells, graph.exit_node[over]
    each = (force.cell_pressure / (density[:, None] * STANDARD_GRAVITY)).max(axis=0, initial=0.0)
    depth = each[np.minimum(node, cells.count - 1)]
    straight = ~np.isnan(graph.exit_slope[over])
    plane = np.zeros(roof.planes.count)
    np.maximum.at(plane, cells.plane, each)
    there = plane[roof.edges.plane[graph.exit_edge[over], 0]]
    depth = np.where(straight, np.maximum(depth, there), depth)
    stream = node >= cells.count
    if stream.any():
        edge = graph.valley_edge[node[stream] - cells.count]
        deepest = np.zeros(max(int(graph.valley_edge.max()), int(cells.lower_edge.max())) + 1)
        bound = cells.lower_edge >= 0
        np.maximum.at(deepest, cells.lower_edge[bound], each[bound])
        depth[stream] = deepest[edge]
    return depth


def _feet(roof: RoofSurface, graph: FlowGraph) -> Array:
    """Height of the lower end of each cell, (n,). [m]."""
    cells = graph.cells
    ends = roof.planes.to_world(np.repeat(cells.plane, 2), cells.corners[:, :2].reshape(-1, 2))
    return np.asarray(ends[:, 2].reshape(-1, 2).mean(axis=1))


def _heads(roof: RoofSurface, graph: FlowGraph, friction: float, foot: Array) -> Array:
    """Largest height less friction's share that snow has behind it at the foot of each node. [m].

    Cells and pieces of valley that meet at an angle overlap in height, so no node gets more than the height
    of the highest point that snow comes to it from over its own foot.
    """
    cells, n = graph.cells, graph.cells.count
    run = cells.corners[:, 2:, 1].max(axis=1) - cells.corners[:, :2, 1].min(axis=1)
    slope = roof.planes.slope[cells.plane]
    gain = np.zeros(graph.node_count)
    gain[:n] = run * (np.sin(slope) - friction * (cells.array < 0) * np.cos(slope))
    gain[n:] = graph.valley_drop
    head = np.zeros(graph.node_count)
    corner = roof.planes.to_world(np.repeat(cells.plane, 4), cells.corners.reshape(-1, 2))[:, 2].reshape(
        -1, 4
    )
    low = np.concatenate([corner.min(axis=1), graph.valley_middle[:, 2] - 0.5 * graph.valley_drop])
    highest = np.concatenate([corner.max(axis=1), np.full(len(graph.valley_drop), -np.inf)])
    # What went straight across flat roof has come down that too.
    cross = np.flatnonzero(graph.crossing & (graph.source < n) & (graph.target < n))
    top = foot + run * np.sin(slope)
    fall = np.zeros(len(graph.source))
    fall[cross] = np.maximum(foot[graph.source[cross]] - top[graph.target[cross]], 0.0)
    order = np.argsort(graph.level[graph.source], kind="stable")
    nodes = np.argsort(graph.level, kind="stable")
    steps = np.arange(graph.level.max() + 2)
    links = np.searchsorted(graph.level[graph.source][order], steps)
    bounds = np.searchsorted(graph.level[nodes], steps)
    for level in range(len(steps) - 1):
        here = nodes[bounds[level] : bounds[level + 1]]
        head[here] = np.clip(head[here] + gain[here], 0.0, np.maximum(highest[here] - low[here], 0.0))
        on = order[links[level] : links[level + 1]]
        np.maximum.at(highest, graph.target[on], highest[graph.source[on]])
        np.maximum.at(head, graph.target[on], head[graph.source[on]] + fall[on])
    return head


def _lips(roof: RoofSurface, graph: FlowGraph, edge: IntArray, spread: float) -> tuple[Array, Array, Array]:
    """Ends of the lines that snow leaves over, and its direction on plan, (x, 3) each. [m].

    A stream in a valley or along a wall leaves at its foot, over the spread, down the valley or wall. An edge
    that only snow leaves over which came straight across flat roof has its way.
    """
    start, end = roof.edges.start[edge], roof.edges.end[edge]
    down = -roof.planes.upslope[roof.edges.plane[edge, 0]] * [1.0, 1.0, 0.0]
    straight = ~np.isnan(graph.exit_slope)
    own = graph.exit_edge[~straight & (graph.exit_kind == Exit.EDGE)]
    straight = np.flatnonzero(
        straight & (graph.exit_kind == Exit.EDGE) & ~np.isin(graph.exit_edge, own[own >= 0])
    )
    at = np.searchsorted(edge, graph.exit_edge[straight])
    down[at] = 0.0
    np.add.at(down[:, :2], at, graph.exit_way[straight])
    valley = np.array([roof.edges.kind[e] is EdgeKind.VALLEY for e in edge], dtype=bool)
    valley = (valley | np.isin(edge, graph.valley_edge))[:, None]
    falls = (start[:, 2] >= end[:, 2])[:, None]
    foot, top = np.where(falls, end, start), np.where(falls, start, end)
    down = np.where(valley, (foot - top) * [1.0, 1.0, 0.0], down)
    down /= np.maximum(np.linalg.norm(down, axis=1, keepdims=True), 1e-12)
    half = 0.5 * spread * np.stack([-down[:, 1], down[:, 0], 0.0 * down[:, 0]], axis=1)
    return np.where(valley, foot - half, start), np.where(valley, foot + half, end), down


def exit_lips(roof: RoofSurface, graph: FlowGraph, spread: float) -> Array:
    """Line that each exit sends its snow over, (x, 2, 3). [m].

    Its cell's lower end, the foot of its valley over the spread, or where it comes straight across flat roof.
    """
    cell = graph.exit_node < graph.cells.count
    piece = graph.exit_node[~cell] - graph.cells.count
    both = np.stack([roof.edges.start, roof.edges.end], axis=1)[graph.valley_edge[piece]]
    foot = both[np.arange(len(both)), np.argmin(both[..., 2], axis=1)]
    way = graph.valley_way[piece]
    side = np.stack([-way[:, 1], way[:, 0], 0.0 * way[:, 0]], axis=1)
    half = 0.5 * spread * side / np.linalg.norm(side, axis=1, keepdims=True).clip(1e-12)
    ends = np.zeros((len(cell), 2, 3))
    ends[cell], ends[~cell] = exit_ends(roof, graph, cell), np.stack([foot - half, foot + half], axis=1)
    return ends


def exit_ways(roof: RoofSurface, graph: FlowGraph) -> Array:
    """Unit direction on plan in which snow goes at every exit of a flow graph, (x, 2)."""
    node, n = graph.exit_node, graph.cells.count
    way = -roof.planes.upslope[graph.cells.plane[np.minimum(node, n - 1)], :2]
    if len(graph.valley_edge):
        way = np.where((node < n)[:, None], way, graph.valley_way[np.maximum(node - n, 0), :2])
    way = np.where(np.isnan(graph.exit_way), way, graph.exit_way)
    return np.asarray(way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12))


def _zones(start: Array, end: Array, reach: Array, ground: float, unknown: NDArray[np.bool_]) -> Array:
    """Strips on the ground below edges, (x, 4, 3). [m]."""
    zone = np.stack([start, end, end + reach, start + reach], axis=1)
    zone[..., 2] = ground
    zone[unknown] = np.nan
    return zone
