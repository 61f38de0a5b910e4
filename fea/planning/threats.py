"""Whose snow comes down on what the user wants to protect, where nothing holds it.

All snow is let go without rows and followed over planes, valleys and steps to where it leaves the roof and
lands (`roofmodel.sliding.landing`). What lands within the margin of something protected threatens it, and
so does all snow on its way there. With nothing marked every edge that snow leaves over counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from roofmodel.errors import InputError
from roofmodel.layout import no_rows
from roofmodel.project.load import Project
from roofmodel.project.plan_schema import ProtectTable
from roofmodel.project.protected import marked_place
from roofmodel.sliding.flow import Exit, FlowGraph
from roofmodel.sliding.landing import exit_lips, exit_ways, landing
from roofmodel.sliding.lower_roofs import LowerRoofs
from roofmodel.sliding.thrust import RowForce, slide
from roofmodel.snow.cases import SnowCase
from roofmodel.snow.registry import snow_cases
from roofmodel.surface import FLAT_SLOPE, STOREY, RoofSurface
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LEVEL = 0.02  # an edge that falls less than this within a strip is level [m]
BESIDE = 1.0  # what lands so near to snow that threatens does too (judgment) [m]
TOUCH = 0.01  # snow that reaches no farther over a row is not above it [m]
EVERYTHING = "everything below the roof"


@dataclass(frozen=True)
class Eave:
    """A level edge that threatening snow leaves over: its plane, height up the plane, and stretch. [m]."""

    plane: int
    v: float
    u: tuple[float, float]


@dataclass(frozen=True)
class Threats:
    """What threatens something protected where there are no rows.

    Attributes
    ----------
    planes : tuple of int
        Planes that need rows.
    spans : dict of int to (k, 3) float
        Snow that threatens on each of these planes, in strips: from where to where across the plane, and up
        to where. [m]
    eaves : tuple of Eave
        Where it leaves, one for each height of edge of a plane.
    groups : tuple of tuple of int
        Planes that hand snow to one another, so that their rows belong together.
    by : tuple of (str, tuple of str)
        Everything protected, and the planes whose snow comes down on it.
    spans_by : tuple of dict
        `spans` of the snow that comes down on each of these.
    throw : dict of int to float
        How far snow is thrown from each edge. [m]
    weight : float
        Of the snow that threatens, in the case that brings most. [N]
    share : dict of int to float
        Most that each plane has of the snow that threatens, over the cases. [-]
    notes : tuple of str
        What a plan cannot hold, and what was assumed.
    """

    planes: tuple[int, ...]
    spans: dict[int, Array]
    eaves: tuple[Eave, ...]
    groups: tuple[tuple[int, ...], ...]
    by: tuple[tuple[str, tuple[str, ...]], ...]
    spans_by: tuple[dict[int, Array], ...]
    throw: dict[int, float]
    weight: float
    share: dict[int, float]
    notes: tuple[str, ...]

    def reach(self, plane: int, up: float, low: float, high: float) -> tuple[float, float] | None:
        """From where to where snow threatens above a level line of a plane, between two places on it.

        None where it does not: a plane may reach past what is protected, or lie on both sides of a wing. [m].
        """
        return _reach(self.spans[plane], up, low, high)

    def protects(self, plane: int, up: float, low: float, high: float) -> tuple[str, ...]:
        """What the snow above a level line would come down on."""
        return tuple(
            name
            for (name, _), spans in zip(self.by, self.spans_by, strict=True)
            if plane in spans and _reach(spans[plane], up, low, high)
        )


def find_threats(project: Project) -> Threats:
    """Planes that need rows, and how far these must reach.

    Parameters
    ----------
    project : Project
        Its rows do not count.

    Returns
    -------
    Threats

    Raises
    ------
    InputError
        Nothing slides onto what is protected.
    """
    roof = project.roof
    marks = project.table.protect
    snow = snow_cases(roof, project.site, range(roof.planes.count))
    graph, force = slide(roof, snow.cases, no_rows(), project.slide)
    asked: list[ProtectTable | None] = [*marks] or [None]
    found = [_follow(project, snow.cases, asked, *flow) for flow in force.flows(graph)]
    edges = {edge for one in found for edge in one.throw}
    throw = {edge: max(one.throw.get(edge, 0.0) for one in found) for edge in edges}
    cell = np.any([one.cell for one in found], axis=0)
    sources = np.any([one.sources for one in found], axis=0)
    by = tuple(
        (name, _names(roof, graph.cells.plane[one]))
        for name, one in zip([mark.name for mark in marks] or [EVERYTHING], sources, strict=True)
    )
    if not cell.any():
        units = SYSTEMS[project.table.project.units]
        far = units.text(max(throw.values(), default=0.0), "length")
        taken = f", with the ground taken {units.text(STOREY, 'length')} below the roof: give roof.ground"
        message = (
            f"protect: no snow slides onto {', '.join(name for name, _ in by)}; it needs no rows, or check "
            f"where it lies (snow lands up to {far} out from the edges{taken if roof.ground_assumed else ''})"
        )
        raise InputError(message)
    flows = [(one.graph, one.threatens) for one in found]
    eaves, notes = _eaves(project, flows)
    planes = _planes_with_rows(roof, [one.graph for one in found], cell, eaves)
    each = force.cell_pressure * graph.cells.plan_area
    weight = each[:, cell].sum(axis=1)
    of_plane = {p: each[:, cell & (graph.cells.plane == p)].sum(axis=1) for p in planes}
    return Threats(
        planes=planes,
        spans=_spans(graph, cell),
        eaves=tuple(e for e in eaves if e.plane in planes),
        groups=_groups(roof, flows, planes),
        by=by,
        spans_by=tuple(_spans(graph, one) for one in sources),
        throw=throw,
        weight=float(weight.max()),
        share={p: float((w / np.maximum(weight, 1e-9)).max()) for p, w in of_plane.items()},
        notes=notes,
    )


class _Followed(NamedTuple):
    """All snow let go without rows, by one reading of planes that may turn it aside.

    Cells that threaten, and for each thing to be protected those whose snow comes down on it (m, n).
    """

    graph: FlowGraph
    threatens: BoolArray
    throw: dict[int, float]
    cell: BoolArray
    sources: BoolArray


def _follow(
    project: Project,
    cases: tuple[SnowCase, ...],
    asked: Sequence[ProtectTable | None],
    graph: FlowGraph,
    force: RowForce,
) -> _Followed:
    roof, n = project.roof, graph.cells.count
    flown = landing(roof, graph, force, cases, project.slide)
    throw = dict(zip(force.exit_edge.tolist(), flown.throw.tolist(), strict=True))
    moves = force.cell_thrust.max(axis=0) > 0.0
    hits = [threatening(project, graph, throw, mark, moves) for mark in asked]
    hit = np.any(hits, axis=0)
    threatens = _with_upper_roofs(graph, hit, moves, _falls(roof, graph, force.exit_edge, flown.lower))
    sources = np.array([upstream(graph, one)[:n] & moves for one in hits])
    return _Followed(graph, threatens, throw, threatens[:n] & moves, sources)


def threatening(
    project: Project, graph: FlowGraph, throw: dict[int, float], mark: ProtectTable | None, moves: BoolArray
) -> BoolArray:
    """Exits (x,) of a flow graph whose snow comes down on something protected; all where nothing is marked.

    Parameters
    ----------
    project : Project
    graph : FlowGraph
    throw : dict of int to float
        How far snow is thrown from each edge. [m]
    mark : ProtectTable or None
    moves : (n,) bool
        Cells that snow leaves.
    """
    roof, cells, n = project.roof, graph.cells, graph.cells.count
    node, edge = graph.exit_node, graph.exit_edge
    own = np.minimum(node, n - 1)
    leaves = (graph.exit_kind == Exit.EDGE) & ((node >= n) | moves[own])
    if mark is None:
        return leaves
    if mark.planes is not None:
        chosen = np.zeros(graph.node_count, dtype=bool)
        numbers = [roof.planes.name.index(name) for name in mark.planes]
        chosen[:n] = np.isin(cells.plane, numbers) & moves
        straight = (edge >= 0) & ~np.isnan(graph.exit_slope) & np.isin(roof.edges.plane[edge, 0], numbers)
        return leaves & (downstream(graph, chosen)[node] | straight)
    if mark.eave is not None:
        number = roof.edges.name.index(mark.eave)
        u, (low, high) = on_stretch(roof, graph, number, mark)
        return leaves & (edge == number) & (u[:, 1] > low) & (u[:, 0] < high)
    met = shapely.intersects(exit_strips(project, graph, throw), protected_place(project, mark))
    if mark.onto is not None:
        lower = [roof.planes.name.index(name) for name in mark.onto]
        own_plane = np.where(node < n, cells.plane[own], -1)
        return leaves & met & ~np.isin(own_plane, lower)
    return leaves & (met | (edge < 0))


def protected_place(project: Project, mark: ProtectTable) -> BaseGeometry:
    """Area, line or lower planes that are protected, on plan, with the margin around. [m]."""
    roof = project.roof
    if mark.onto is None:
        return shapely.buffer(marked_place(mark, roof), mark.margin)
    lower = [_plane_plan(roof, roof.planes.name.index(name)) for name in mark.onto]
    return shapely.buffer(shapely.union_all(lower), mark.margin)


def on_stretch(
    roof: RoofSurface, graph: FlowGraph, edge: int, mark: ProtectTable
) -> tuple[Array, tuple[float, float]]:
    """Ends (x, 2) of all exits along an eave's plane, and its stretch widened by the margin. [m]."""
    cells, n = graph.cells, graph.cells.count
    plane = int(roof.edges.plane[edge, 0])
    ends = roof.planes.to_plane(plane, np.stack([roof.edges.start[edge], roof.edges.end[edge]]))
    left = float(ends[:, 0].min())
    low = -np.inf if mark.start is None else left + mark.start - mark.margin
    high = np.inf if mark.end is None else left + mark.end + mark.margin
    own = np.minimum(graph.exit_node, n - 1)
    u = cells.corners[own, :2, 0]
    straight = np.flatnonzero(~np.isnan(graph.exit_slope))  # from another plane: where it comes to the eave
    lip = roof.planes.to_plane(plane, graph.exit_lip[straight].reshape(-1, 3)).reshape(-1, 2, 2)
    u[straight] = np.sort(lip[..., 0], axis=1)
    return u, (low, high)


def exit_strips(project: Project, graph: FlowGraph, throw: dict[int, float]) -> NDArray[np.object_]:
    """Strip on plan (x,) that the snow of each exit comes down on: from the edge as far as it is thrown."""
    roof = project.roof
    lip = exit_lips(roof, graph, project.slide.valley_spread)[..., :2]
    down = exit_ways(roof, graph)
    far = np.array([throw.get(int(e), 0.0) for e in graph.exit_edge])[:, None] * down
    ring = np.stack([lip[:, 0], lip[:, 1], lip[:, 1] + far, lip[:, 0] + far], axis=1)
    return np.asarray(shapely.convex_hull(shapely.multipoints(ring)))


def _plane_plan(roof: RoofSurface, plane: int) -> BaseGeometry:
    rings = [np.asarray(roof.planes.outline[plane].exterior.coords)]
    return shapely.Polygon(roof.planes.to_world(plane, rings[0])[:, :2])


def upstream(graph: FlowGraph, exits: BoolArray) -> BoolArray:
    """Nodes whose flow reaches one of the exits (x,)."""
    found = np.zeros(graph.node_count, dtype=bool)
    found[graph.exit_node[exits]] = True
    return _spread(found, graph.target, graph.source)


def downstream(graph: FlowGraph, nodes: BoolArray) -> BoolArray:
    """Nodes that flow from the given ones reaches, and these themselves."""
    return _spread(nodes.copy(), graph.source, graph.target)


def _spread(found: BoolArray, known: IntArray, new: IntArray) -> BoolArray:
    while True:
        fresh = new[found[known]]
        if found[fresh].all():
            return found
        found[fresh] = True


def _falls(
    roof: RoofSurface, graph: FlowGraph, exit_edge: IntArray, lower: LowerRoofs
) -> tuple[IntArray, IntArray]:
    """From which edges (k,) snow falls onto which cells (k,) of lower roofs, with those close to them."""
    steps, cells = roof.steps, graph.cells
    foot = shapely.linestrings(np.stack([steps.start[:, :2], steps.end[:, :2]], axis=1))
    which = np.array([one[:2] for one in lower.touched], dtype=np.int64).reshape(-1, 2)
    edge = np.concatenate([steps.upper_edge, exit_edge[which[:, 0]]])
    plane = np.concatenate([steps.lower, which[:, 1]])
    place = np.concatenate([np.asarray(foot), np.array([one[2] for one in lower.touched], dtype=object)])
    where, cell = shapely.STRtree(cells.plan).query(place, predicate="dwithin", distance=BESIDE)
    own = plane[where] == cells.plane[cell]
    return edge[where[own]], cell[own]


def _with_upper_roofs(
    graph: FlowGraph, hit: BoolArray, moves: BoolArray, falls: tuple[IntArray, IntArray]
) -> BoolArray:
    """Nodes that threaten, also by way of lower roofs: what falls where snow threatens does too.

    `falls` says from which edges snow falls onto which cells.
    """
    n = graph.cells.count
    own = np.minimum(graph.exit_node, n - 1)
    leaves = (graph.exit_kind == Exit.EDGE) & ((graph.exit_node >= n) | moves[own])
    while True:
        found = upstream(graph, hit)
        edges = falls[0][found[falls[1]]]
        more = hit | (leaves & np.isin(graph.exit_edge, edges[edges >= 0]))
        if (more == hit).all():
            return found
        hit = more


def _names(roof: RoofSurface, planes: IntArray) -> tuple[str, ...]:
    return tuple(roof.planes.name[p] for p in np.unique(planes))


def _eaves(
    project: Project, flows: Sequence[tuple[FlowGraph, BoolArray]]
) -> tuple[list[Eave], tuple[str, ...]]:
    """Level edges under threatening snow, by plane and height; what leaves over sloping ones in words."""
    roof, cells = project.roof, flows[0][0].cells
    units = SYSTEMS[project.table.project.units]
    pairs = []
    for graph, threatens in flows:
        over = (graph.exit_kind == Exit.EDGE) & (graph.exit_node < cells.count)
        over[over] = threatens[graph.exit_node[over]]
        pairs.append(np.stack([graph.exit_node[over], graph.exit_edge[over]], axis=1))
    cell, edge = np.unique(np.concatenate(pairs), axis=0).T
    use = roof.planes.slope[cells.plane[cell]] > FLAT_SLOPE
    cell, edge = cell[use], edge[use]
    wide, fall = np.abs(np.diff(cells.corners[cell, :2], axis=1))[:, 0].T
    sloping = edge[fall > LEVEL]
    notes = tuple(
        f"Snow also leaves over {roof.edges.name[e]}, which is not level: rows of this plan run level and "
        "leave part of it; place a row there by hand."
        for e in np.unique(sloping[sloping >= 0])
        if float(fall[edge == e].sum()) > 0.25 and float(wide[edge == e].sum()) > TOUCH
    )
    cell = cell[fall <= LEVEL]
    found: list[Eave] = []
    for plane in np.unique(cells.plane[cell]).tolist():
        on = cell[cells.plane[cell] == plane]
        height = cells.corners[on, :2, 1].max(axis=1)
        order = np.argsort(height, kind="stable")
        parts = np.split(order, np.flatnonzero(np.diff(height[order]) > LEVEL) + 1)
        for part in parts:
            u = cells.corners[on[part], :2, 0]
            if np.ptp(u) < TOUCH:  # rounding of a file: a rake a hair off the fall line
                continue
            found.append(Eave(plane, float(height[part].max()), (float(u.min()), float(u.max()))))
    if not found:
        message = "protect: what slides onto it leaves over no level edge, so no level row can hold it"
        raise InputError(message)
    steep = [e for e in found if e.v > 0.0 and sum(o.plane == e.plane for o in found) > 1]
    if steep:
        names = ", ".join(dict.fromkeys(roof.planes.name[e.plane] for e in steep))
        notes += (
            f"{names}: edges at several heights, the lowest rows stand "
            f"{units.text(project.table.plan.eave_distance, 'length')} above each.",
        )
    return found, notes


def _planes_with_rows(
    roof: RoofSurface, graphs: Sequence[FlowGraph], cell: BoolArray, eaves: list[Eave]
) -> tuple[int, ...]:
    """Planes over an eave that counts, and planes that shed onto them over a break of pitch."""
    cells, n = graphs[0].cells, graphs[0].cells.count
    chosen = {eave.plane for eave in eaves}
    on = [graph.crossing & (graph.source < n) & (graph.target < n) for graph in graphs]
    source = np.concatenate([graph.source[here] for graph, here in zip(graphs, on, strict=True)])
    target = np.concatenate([graph.target[here] for graph, here in zip(graphs, on, strict=True)])
    upper, lower = cells.plane[source], cells.plane[target]
    while True:
        more = chosen | set(np.unique(upper[np.isin(lower, list(chosen)) & cell[source]]).tolist())
        if more == chosen:
            break
        chosen = more
    return tuple(sorted(p for p in chosen if roof.planes.slope[p] > FLAT_SLOPE))


def _spans(graph: FlowGraph, cells: BoolArray) -> dict[int, Array]:
    """Cells of each plane: from where to where across it, and up to where, (k, 3). [m]."""
    plane, corners = graph.cells.plane[cells], graph.cells.corners[cells]
    known = np.column_stack(
        [corners[:, :2, 0].min(axis=1), corners[:, :2, 0].max(axis=1), corners[..., 1].max(axis=1)]
    )
    return {int(p): known[plane == p] for p in np.unique(plane)}


def _reach(spans: Array, up: float, low: float, high: float) -> tuple[float, float] | None:
    on = (spans[:, 0] < high - TOUCH) & (spans[:, 1] > low + TOUCH) & (spans[:, 2] > up + TOUCH)
    if not on.any():
        return None
    return max(float(spans[on, 0].min()), low), min(float(spans[on, 1].max()), high)


def _groups(
    roof: RoofSurface, flows: Sequence[tuple[FlowGraph, BoolArray]], planes: tuple[int, ...]
) -> tuple[tuple[int, ...], ...]:
    """Planes joined by valleys or breaks of pitch that threatening snow passes."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    pairs = []
    for graph, threatens in flows:
        on = graph.crossing & threatens[graph.source]
        node_plane = np.concatenate([graph.cells.plane, graph.valley_plane])
        pairs.append(np.stack([node_plane[graph.source[on]], node_plane[graph.target[on]]], axis=1))
        sides = roof.edges.plane[np.unique(graph.valley_edge[threatens[graph.cells.count :]])]
        pairs.append(sides[(sides >= 0).all(axis=1)])
    a, b = np.concatenate(pairs).T
    size = roof.planes.count
    joined = coo_array((np.ones(len(a)), (a, b)), shape=(size, size))
    label = connected_components(joined, directed=False)[1]
    wanted = list(dict.fromkeys(int(label[p]) for p in planes))
    return tuple(tuple(p for p in planes if label[p] == number) for number in wanted)
