"""Snow that comes down on what the user wants to protect, with the rows as they are."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.planning.threats import threatening
from roofmodel.project.load import Project
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.landing import Landing
from roofmodel.sliding.levels import against_flow
from roofmodel.sliding.thrust import RowForce
from roofmodel.surface import FLAT_SLOPE
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LEAST = 10.0  # a kilogram, below which nothing is told (judgment) [N]
NEAR = 1.5  # of plan.eave_distance: what lies no farther below a row is its eave strip (judgment) [-]
SHARE = 0.01  # of the snow on the planes it comes from, that may pass beside rows untold [-]


def protected_cautions(
    project: Project, graph: FlowGraph, force: RowForce, lands: Landing
) -> tuple[str, ...]:
    """A sentence for everything protected that snow still comes down on.

    What lies close below the lowest row always falls; all other snow is told as not held.

    Parameters
    ----------
    project : Project
    graph : FlowGraph
    force : RowForce
    lands : Landing
        Of the same rows.

    Returns
    -------
    tuple of str
    """
    if not project.table.protect:
        return ()
    units, planes, cells = SYSTEMS[project.table.project.units], project.roof.planes, graph.cells
    throw = dict(zip(force.exit_edge.tolist(), lands.throw.tolist(), strict=True))
    moves = force.cell_thrust.max(axis=0) > 0.0
    each = force.cell_pressure * cells.plan_area
    below = _below_rows(project, graph)
    slides = planes.slope[cells.plane] > FLAT_SLOPE
    found = []
    for mark in project.table.protect:
        hits = threatening(project, graph, throw, mark, moves)
        falls = each * (reaching(graph, hits)[: cells.count] * moves * slides)
        case = int(falls.sum(axis=1).argmax())
        weight, far = falls[case], float(falls[case] @ ~below)
        if weight.sum() < LEAST:
            continue
        of = np.bincount(cells.plane, weights=weight, minlength=planes.count)
        there = np.bincount(cells.plane, weights=each[case], minlength=planes.count)
        names = ", ".join(planes.name[p] for p in np.flatnonzero(of >= 0.5 * LEAST))
        total = units.text(float(weight.sum()), "force")
        if far >= max(LEAST, SHARE * there[of > 0.0].sum()):
            words = f"{total} of snow of {names} come down on it, which no row holds"
        else:
            words = f"{total} of snow from below the lowest rows on {names} still come down on it"
        found.append(f"{mark.name} is to be protected: {words} (weight of snow, worst case).")
    return tuple(found)


def reaching(graph: FlowGraph, exits: BoolArray) -> Array:
    """Part of each node's flow that leaves by the given exits (x,), (nodes,). [-]."""
    part = np.zeros(graph.node_count)
    np.add.at(part, graph.exit_node[exits], graph.exit_share[exits])
    return against_flow(part, graph.source, graph.target, graph.share, graph.level)


def _below_rows(project: Project, graph: FlowGraph) -> BoolArray:
    """Cells (n,) close below a row of their plane; rows count as one seam longer at each end."""
    layout, cells, spacing = project.layout, graph.cells, project.panel.seam_spacing
    ends = np.stack([layout.row_start, layout.row_end], axis=1)
    middle = cells.corners[..., 0].mean(axis=1)[:, None]
    beside = (middle > ends[..., 0].min(axis=1) - spacing) & (middle < ends[..., 0].max(axis=1) + spacing)
    foot = cells.corners[:, :2, 1].mean(axis=1)[:, None]
    line, reach = ends[..., 1].max(axis=1), NEAR * project.table.plan.eave_distance
    under = (cells.plane[:, None] == layout.row_plane) & (foot < line - 1e-6) & (foot > line - reach)
    return np.asarray((beside & under).any(axis=1))
