"""Rows that end a little short of the edge of their plane, and the snow that passes there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.project.load import Project
from roofmodel.project.row_edges import AT_IT, edge_at
from roofmodel.sliding.end_reach import LEVEL, SHORT, EndReach, end_reaches
from roofmodel.sliding.ends import gap_snow, stop_heights
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.thrust import RowForce
from roofmodel.surface import EdgeKind, RoofSurface
from roofmodel.units import SYSTEMS, UnitSystem

Array = NDArray[np.float64]

REACH = 3.0  # a row that stops less than this short of a valley is pointed out [m]
TOUCH = 1e-3  # and one this near to an edge ends there [m]
LEAST = 10.0  # a kilogram, below which nothing is told (judgment) [N]
NAMED = 6  # row ends named in a caution


@dataclass(frozen=True)
class _End:
    """One row end short of an edge, -1 for one without a name, and the place on the edge."""

    row: int
    which: int
    reach: EndReach
    edge: int
    place: Array

    @property
    def gap(self) -> float:
        """Along the row's line. [m]."""
        return self.reach.gap


def short_end_words(project: Project, graph: FlowGraph, force: RowForce) -> list[str]:
    """Sentences on rows that stop short of a valley, and on what passes beside other short ends."""
    roof, layout, units = project.roof, project.layout, SYSTEMS[project.table.project.units]
    stops = stop_heights(roof, layout, graph)
    found, beside = [], []
    for end in _short(project, graph):
        valley = end.edge >= 0 and roof.edges.kind[end.edge] is EdgeKind.VALLEY
        if valley and end.gap > AT_IT:
            words = _at_valley(layout, graph, force, end, stops, roof, units)
            if words:
                found.append(words)
                continue
        if end.gap > 2.0 * SHORT:
            continue
        cell, share = gap_snow(roof, layout, graph, (end.row, end.which), end.gap)
        weight = float(((force.cell_pressure * graph.cells.plan_area)[:, cell] @ share).max(initial=0.0))
        if weight >= LEAST:
            at = "the edge" if end.edge < 0 else roof.edges.name[end.edge]
            beside.append(
                f"{layout.row_name[end.row]} {_gap(end.gap, units)} short of {at}, "
                f"{units.text(weight, 'force')}"
            )
    if beside:
        more = f" and {len(beside) - NAMED} more" if len(beside) > NAMED else ""
        found.append(
            f"Snow passes beside row ends: {'; '.join(beside[:NAMED])}{more} (weight, worst case). The "
            "checks count it on the ends too; a row that reaches the edge holds it."
        )
    return found


def _short(project: Project, graph: FlowGraph) -> list[_End]:
    """Row ends that are near to the edge of their plane, not at it, or take part of a valley's stream."""
    roof, layout, found = project.roof, project.layout, []
    for row, reaches in enumerate(end_reaches(roof, layout, graph, *project.slide.end_spreads)):
        plane, way = int(layout.row_plane[row]), layout.row_end[row] - layout.row_start[row]
        for which, reach in enumerate(reaches):
            if not (TOUCH < reach.gap <= REACH or (reach.part > 0.0 and reach.gap > TOUCH)):
                continue
            tip = (layout.row_start, layout.row_end)[which][row]
            place = tip + (2.0 * which - 1.0) * reach.gap / layout.row_length[row] * way
            place = roof.planes.to_world(plane, place)
            found.append(_End(row, which, reach, edge_at(roof, plane, place), place))
    return found


def _gap(gap: float, units: UnitSystem) -> str:
    return units.text(gap, "length" if gap > AT_IT else "size")


def _at_valley(
    layout: Layout,
    graph: FlowGraph,
    force: RowForce,
    end: _End,
    stops: Array,
    roof: RoofSurface,
    units: UnitSystem,
) -> str:
    """What comes down the valley that a row stops short of; empty where it does not meet the row."""
    head = (
        f"Row {layout.row_name[end.row]} ends {_gap(end.gap, units)} short of {roof.edges.name[end.edge]}: "
    )
    n = graph.cells.count
    if _runs_past(graph, stops, end.edge, end.place):
        part = end.reach.part if end.reach.edge == end.edge else 0.0
        if part >= 1.0:
            return (
                f"{head}the snow that comes down the valley is counted on that end, as a row that reaches it "
                "would hold it, but may run past it. Bring the row to the valley."
            )
        rest = "the valley's snow"
        if part > 0.0:
            rest = f"{100.0 * part:.0f} % of the valley's snow is counted on that end, the rest"
        return (
            f"{head}in this check {rest} runs past it. Bring the "
            "row to the valley, or hold that snow another way."
        )
    closed = np.flatnonzero((graph.catch_node >= n) & (graph.catch_row == end.row))
    closed = closed[graph.valley_edge[graph.catch_node[closed] - n] == end.edge]
    weight = float(force.node_weight[:, graph.catch_node[closed]].sum(axis=1).max(initial=0.0))
    if weight < LEAST:
        return ""
    return (
        f"{head}the {units.text(weight, 'force')} of snow that come down the valley (weight, worst case) are "
        "counted on the row, but may run past its end. Bring the row to the valley."
    )


def _runs_past(graph: FlowGraph, stops: Array, edge: int, place: Array) -> bool:
    """Whether a stream that comes down a valley to a place on it is not closed there."""
    above = (graph.valley_edge == edge) & (graph.valley_middle[:, 2] >= place[2])
    for side in np.unique(graph.valley_plane[above]).tolist():
        pieces = np.flatnonzero(above & (graph.valley_plane == side))
        nearest = pieces[np.argmin(np.linalg.norm(graph.valley_middle[pieces] - place, axis=1))]
        if stops[nearest] < place[2] - LEVEL:
            return True
    return False
