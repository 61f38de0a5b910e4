"""How much of the snow that threatens runs past the rows."""

from __future__ import annotations

import numpy as np
import shapely

from fea.analysis import Analysis
from fea.planning.threats import Threats, threatening, upstream
from roofmodel.project.plan_schema import ProtectTable
from roofmodel.sliding.split import snow_within
from roofmodel.surface import FLAT_SLOPE


def passing_by(analysis: Analysis, threats: Threats) -> float:
    """Part of the threatening snow that runs past the rows, from above the lowest of its plane. [-].

    Rows count as one seam longer at each end than they are, as for `Layout.row_full`.
    """
    project, graph = analysis.project, analysis.graph
    cells, layout = graph.cells, project.layout
    moves = np.ones(cells.count, dtype=bool)
    marks: list[ProtectTable | None] = [*project.table.protect] or [None]
    reached = np.zeros(cells.count, dtype=bool)
    for flow, _ in analysis.force.flows(graph):
        hits = np.any([threatening(project, flow, threats.throw, mark, moves) for mark in marks], axis=0)
        reached |= upstream(flow, hits)[: cells.count]
    planes, spacing = project.roof.planes, project.panel.seam_spacing
    line = np.full(planes.count, -np.inf)
    for eave in threats.eaves:
        line[eave.plane] = max(line[eave.plane], eave.v)
    ends = np.stack([layout.row_start, layout.row_end], axis=1)
    first = np.full(planes.count, np.inf)
    np.minimum.at(first, layout.row_plane, ends[..., 1].min(axis=1))
    line = np.where(np.isfinite(first), np.maximum(first, line), line)
    regions = {}
    for plane in np.unique(cells.plane[reached & (planes.slope[cells.plane] > FLAT_SLOPE)]).tolist():
        u_low, v_low, u_high, v_high = planes.outline[plane].bounds
        own = ends[layout.row_plane == plane]
        left, right = own[..., 0].min(axis=1) - spacing, own[..., 0].max(axis=1) + spacing
        held = shapely.box(left, own[..., 1].min(axis=1), right, v_high + 1.0)
        above = shapely.box(u_low - 1.0, max(line[plane], v_low - 1.0), u_high + 1.0, v_high + 1.0)
        regions[plane] = shapely.difference(above, shapely.union_all(held))
    each = analysis.force.cell_pressure * cells.plan_area
    passing = snow_within(project.roof, cells, analysis.snow.cases, each, regions)
    return float(passing[:, reached].sum(axis=1).max(initial=0.0)) / threats.weight
