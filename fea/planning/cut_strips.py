"""Parts of strips whose snow comes down on something protected, so that no answer hangs on strip bounds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.planning.threats import exit_strips, on_stretch, protected_place
from roofmodel.project.load import Project
from roofmodel.project.plan_schema import ProtectTable
from roofmodel.sliding.cells import aside
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.landing import exit_lips, exit_ways
from roofmodel.sliding.levels import against_flow
from roofmodel.sliding.split import snow_within
from roofmodel.snow.cases import SnowCase
from roofmodel.surface import RoofSurface
from roofmodel.upper_faces import upper_faces

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

WHOLE = 1e-9  # all but this part of a strip is all of it [-]
ALONG = 1e-6  # a lip closer to its snow's way than this has no width to part [-]


@dataclass(frozen=True)
class Reaching:
    """Which part of the snow of cells (n,) leaves where it comes down on something protected.

    Attributes
    ----------
    even : (n,) float
        Part of what lies anywhere on a cell. [-]
    straight : (n,) float
        Part of what lies in `strips` on a cell, beside that. [-]
    strips : dict of int to shapely geometry
        By plane, in its (u, v): what goes straight down the fall line onto it, of strips that do in part. [m]
    """

    even: Array
    straight: Array
    strips: dict[int, BaseGeometry]


def reaching_parts(
    project: Project, graph: FlowGraph, throw: dict[int, float], mark: ProtectTable, hits: BoolArray
) -> Reaching:
    """Parts of all cells' snow that leave by hit exits, within what is protected along their lips.

    Snow that came down its own strip is taken where it lies; what came over a break of pitch is even over the
    lip. What ran down a valley, or parted at a box, hits with all of it where its exit hits in part, wherever
    the stream runs out: the safe reading. A box may part its snow or not: the worse counts.

    Parameters
    ----------
    project : Project
    graph : FlowGraph
    throw : dict of int to float
        How far snow is thrown from each edge. [m]
    mark : ProtectTable
    hits : (x,) bool
        Exits of `threatening`.
    """
    cells, n = graph.cells, graph.cells.count
    spans = _spans(project, graph, throw, mark, hits)
    wide = spans[:, 1] - spans[:, 0]
    even = _over_lips(project.roof, graph, reaching(graph, hits), wide * hits)
    cut = np.flatnonzero(hits & (wide < 1.0 - WHOLE) & (graph.exit_node < n) & np.isnan(graph.exit_slope))
    if not len(cut):
        return Reaching(even, np.zeros(n), {})
    strip = _strips(graph)
    inner = (graph.source < n) & (graph.target < n)
    inner[inner] = strip[graph.source[inner]] == strip[graph.target[inner]]
    links = (graph.source[inner], graph.target[inner], graph.share[inner], graph.level)
    own = np.zeros((2, graph.node_count))
    for part, weight in zip(own, (np.ones(len(cut)), wide[cut]), strict=True):
        np.add.at(part, graph.exit_node[cut], graph.exit_share[cut] * weight)
    whole, parted = (against_flow(part, *links)[:n] for part in own)
    node = graph.exit_node[cut]
    left, right = cells.corners[node, 0, 0], cells.corners[node, 1, 0]
    low, high = (left + t * (right - left) for t in spans[cut].T)
    strips = {}
    for plane in np.unique(cells.plane[node]).tolist():
        on = cells.plane[node] == plane
        _, bottom, _, top = project.roof.planes.outline[plane].bounds
        strips[plane] = shapely.union_all(shapely.box(low[on], bottom - 1.0, high[on], top + 1.0))
    return Reaching(np.maximum(even - parted, 0.0), whole, strips)


def _over_lips(roof: RoofSurface, graph: FlowGraph, full: Array, exits: Array) -> Array:
    """Part of cells' snow (n,) that hits: exits as given (x,), streams with their whole (nodes,). [-]."""
    cells, n = graph.cells, graph.cells.count
    part = np.zeros(graph.node_count)
    np.add.at(part, graph.exit_node, graph.exit_share * exits)
    into, stays = ((graph.source < n) & one for one in (graph.target >= n, graph.target < n))
    np.add.at(part, graph.source[into], graph.share[into] * full[graph.target[into]])
    links = (graph.source[stays], graph.target[stays], graph.share[stays], graph.level)
    even = against_flow(part, *links)[:n]
    faces = upper_faces(roof)
    face, cell, share = aside(cells, faces)
    if not len(face):
        return even
    parted, sent = np.bincount(face, share, faces.count), np.bincount(face, share * full[cell], faces.count)
    above = np.flatnonzero(cells.lower_face >= 0)
    box = cells.lower_face[above]
    part[above] += np.maximum(sent[box] - parted[box] * even[above], 0.0)
    return np.minimum(against_flow(part, *links)[:n], 1.0)


def landing_snow(
    project: Project,
    graph: FlowGraph,
    cases: Sequence[SnowCase],
    each: tuple[Array, Array],
    reached: Reaching,
    below: dict[int, BaseGeometry],
) -> tuple[Array, Array]:
    """Vertical weight of each cell's snow that comes down on it, and its part from below rows, (q, n). [N].

    Parameters
    ----------
    project : Project
    graph : FlowGraph
    cases : sequence of SnowCase, (q,)
    each : ((q, n) float, (q, n) float)
        Snow of whole cells, and of it what lies below rows. [N]
    reached : Reaching
    below : dict of int to shapely geometry
        What lies below rows, by plane in its (u, v). [m]
    """
    falls, near = each[0] * reached.even, each[1] * reached.even
    if not reached.strips:
        return falls, near
    both = {p: shapely.intersection(strip, below[p]) for p, strip in reached.strips.items() if p in below}
    for total, region in ((falls, reached.strips), (near, both)):
        total += reached.straight * snow_within(project.roof, graph.cells, cases, each[0], region)
    return falls, near


def reaching(graph: FlowGraph, exits: NDArray[np.bool_] | Array) -> Array:
    """Part of each node's flow that leaves by the given exits or parts of them (x,), (nodes,). [-]."""
    part = np.zeros(graph.node_count)
    np.add.at(part, graph.exit_node, graph.exit_share * exits)
    return against_flow(part, graph.source, graph.target, graph.share, graph.level)


def _spans(
    project: Project, graph: FlowGraph, throw: dict[int, float], mark: ProtectTable, hits: BoolArray
) -> Array:
    """From where to where along its lip, left to right of 0 to 1, the snow of each exit hits, (x, 2). [-].

    What lies between two parts that hit counts as hitting.
    """
    spans = np.tile([0.0, 1.0], (len(hits), 1))
    if mark.planes is not None:
        return spans
    if mark.eave is not None:
        u, (low, high) = on_stretch(project.roof, graph, project.roof.edges.name.index(mark.eave), mark)
        wide = np.maximum(u[:, 1] - u[:, 0], 1e-12)[:, None]
        found = np.clip((np.array([low, high]) - u[:, :1]) / wide, 0.0, 1.0)
        # A lip that came straight across flat roof may run from right to left: its width alone counts.
    else:
        found = _met(project, graph, exit_strips(project, graph, throw), protected_place(project, mark))
    own = hits & (graph.exit_node < graph.cells.count) & (graph.exit_edge >= 0)
    return np.where(own[:, None], found, spans)


def _met(project: Project, graph: FlowGraph, strips: NDArray[np.object_], place: BaseGeometry) -> Array:
    """Bounds along each exit's lip (x, 2) of where its strip on plan meets a place. [-]."""
    lip = exit_lips(project.roof, graph, project.slide.valley_spread)[..., :2]
    down, along = exit_ways(project.roof, graph), lip[:, 1] - lip[:, 0]
    across = along[:, 0] * down[:, 1] - along[:, 1] * down[:, 0]
    wide = np.abs(across) > ALONG * np.maximum(np.linalg.norm(along, axis=1), 1e-12)
    met = shapely.intersection(strips, place)
    at, of = shapely.get_coordinates(met, return_index=True)
    off = at - lip[of, 0]
    t = (off[:, 0] * down[of, 1] - off[:, 1] * down[of, 0]) / np.where(wide, across, 1.0)[of]
    found = np.tile([np.inf, -np.inf], (len(strips), 1))
    np.minimum.at(found[:, 0], of, t)
    np.maximum.at(found[:, 1], of, t)
    return np.where((wide & (found[:, 1] >= found[:, 0]))[:, None], np.clip(found, 0.0, 1.0), [0.0, 1.0])


def _strips(graph: FlowGraph) -> IntArray:
    """Number of the strip of each cell (n,): cells of a plane between the same two fall lines."""
    ends = np.column_stack([graph.cells.plane, graph.cells.corners[:, :2, 0]])
    return np.asarray(np.unique(ends, axis=0, return_inverse=True)[1]).reshape(-1)
