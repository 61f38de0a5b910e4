"""What snow that lands on lower roofs adds to the rows there.

Snow that slides over an edge and lands on a lower plane weighs there what it weighed above: its part down
that slope goes on to the rows below it. It comes beside what the snow cases bring as sliding snow, so that
some counts twice: an upper bound, the safe reading. Friction holds none of it; its impact is not in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache, partial

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.memory import Memory
from roofmodel.sliding.flow import Exit, FlowGraph
from roofmodel.sliding.landing import Landing, landing
from roofmodel.sliding.propagation import propagate
from roofmodel.sliding.thrust import RowForce, SlideOptions, slide, stations_of, valley_factor
from roofmodel.snow.cases import SnowCase
from roofmodel.surface import FLAT_SLOPE, RoofSurface

Array = NDArray[np.float64]

SPREAD = 0.05  # around where it lands, so that it lands on some area [m]
LEAST = 1e-6  # of the landed snow that goes on to a further roof: less is nothing [-]
HIGHER = 0.02  # edges no higher above a plane's foot drop nothing on it [m]


def slid(
    roof: RoofSurface,
    cases: tuple[SnowCase, ...],
    layout: Layout,
    options: SlideOptions,
    memory: Memory | None = None,
) -> tuple[FlowGraph, RowForce, Callable[[], Landing]]:
    """Send every case down the roof, with what lands on lower ones: routes, force, and how it lands.

    Parameters
    ----------
    roof : RoofSurface
    cases : tuple of SnowCase, (q,)
    layout : Layout
    options : SlideOptions
    memory : Memory, optional
        Keeps the last one, as it hangs on no hardware.
    """

    def make() -> tuple[FlowGraph, RowForce, Callable[[], Landing]]:
        graph, force = slide(roof, cases, layout, options, memory)
        lands = cache(partial(landing, roof, graph, force, cases, options, memory))
        return graph, with_landed(roof, layout, graph, force, cases, options, lands), lands

    return make() if memory is None else memory.latest("slid", (roof, cases, layout, options), make)


def with_landed(
    roof: RoofSurface,
    layout: Layout,
    graph: FlowGraph,
    force: RowForce,
    cases: tuple[SnowCase, ...],
    options: SlideOptions,
    lands: Callable[[], Landing] | None = None,
) -> RowForce:
    """The force with the bound `aside` raised by what lands above the rows.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
    graph : FlowGraph
    force : RowForce
        Of the same graph.
    cases : tuple of SnowCase, (q,)
    options : SlideOptions
    lands : callable, optional
        Gives the landing of this force, where it is known or asked for again.

    Notes
    -----
    Where planes that turn snow aside have another reading, the one that brings each station more counts.
    """
    first = _of_reading(roof, layout, graph, force, cases, options, lands)
    if force.other is None:
        return first
    second = _of_reading(roof, layout, *force.other, cases, options, None)
    if second.landed is None:
        return first
    none = np.zeros_like(force.aside)
    before = none if first.landed is None else first.landed
    more = np.minimum(second.landed - before, 0.0) * [0.0, 1.0]
    return replace(first, aside=first.aside + more, landed=before + more)


def _of_reading(
    roof: RoofSurface,
    layout: Layout,
    graph: FlowGraph,
    force: RowForce,
    cases: tuple[SnowCase, ...],
    options: SlideOptions,
    lands: Callable[[], Landing] | None,
) -> RowForce:
    """`with_landed` of one reading."""
    known = force.exit_edge[force.exit_edge >= 0]
    top = np.maximum(roof.edges.start[known, 2], roof.edges.end[known, 2]).max(initial=-np.inf)
    sloping = roof.planes.slope > FLAT_SLOPE
    if not len(force.row) or top <= roof.planes.origin[sloping, 2].min(initial=np.inf) + HIGHER:
        return force
    lower = (lands() if lands else landing(roof, graph, force, cases, options)).lower
    use = np.flatnonzero(sloping[lower.plane])
    if not len(use):
        return force
    cells, n = graph.cells, graph.cells.count
    spread = np.stack([on_cells(graph, int(lower.plane[k]), lower.patch[k]) for k in use])  # (m, n)
    leaves = force.exit_weight[:, lower.edge[use]]
    share = np.divide(lower.weight[:, use], leaves, out=np.zeros_like(leaves), where=leaves > 0.0)
    share = np.where(force.exit_thrust[:, lower.edge[use]] > 0.0, share, 0.0)
    over = graph.exit_kind == Exit.EDGE
    node, at = graph.exit_node[over], np.searchsorted(force.exit_edge, graph.exit_edge[over])
    factor = valley_factor(roof, graph, options.valley)[0]
    slope = np.sin(roof.planes.slope[cells.plane])[:, None]
    zero, landed, bound = np.zeros((n, len(cases))), leaves * share, force.aside.copy()
    for _ in range(roof.planes.count):
        weight = spread.T @ landed.T
        flow = propagate(graph, weight * slope, zero, weight, factor)
        bound += stations_of(roof, layout, graph, flow, valley=options.valley)[2]
        gone = np.zeros((len(force.exit_edge), len(cases)))
        np.add.at(gone, at, flow.weight[node] * graph.exit_share[over, None])
        further = gone.T[:, lower.edge[use]] * share
        if further.sum() <= LEAST * max(landed.sum(), 1e-9):
            break
        landed = further
    return replace(force, aside=bound, landed=bound - force.aside)


def on_cells(graph: FlowGraph, plane: int, patch: shapely.Geometry) -> Array:
    """Parts of what lands on a patch of a plane that each cell (n,) takes.

    Parameters
    ----------
    graph : FlowGraph
    plane : int
    patch : shapely Geometry
        On plan. [m]
    """
    own = np.flatnonzero(graph.cells.plane == plane)
    area = shapely.area(shapely.intersection(graph.cells.plan[own], shapely.buffer(patch, SPREAD)))
    if not area.sum() > 0.0:
        area = 1.0 / np.maximum(shapely.distance(graph.cells.plan[own], shapely.centroid(patch)), 1e-3) ** 4
    share = np.zeros(graph.cells.count)
    share[own] = area / area.sum()
    return share
