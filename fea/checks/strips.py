"""Panel strips: which clamps hold on to which, and what else loads their fixed points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.project.load import Project
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.thrust import RowForce

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def panel_strips(layout: Layout) -> tuple[IntArray, tuple[str, ...]]:
    """Panel strip of every clamp (c,), and the names of the strips that carry clamps."""
    plane = layout.row_plane[layout.clamp_row]
    pairs, first, strip = np.unique(
        np.stack([plane, layout.clamp_seam], axis=1), axis=0, return_index=True, return_inverse=True
    )
    names = tuple(
        f"seam {seam + 1} at {layout.row_name[row]}"
        for seam, row in zip(pairs[:, 1], layout.clamp_row[first], strict=True)
    )
    return np.asarray(strip).ravel(), names


def strip_weight(project: Project) -> Array:
    """Own weight of each panel strip down the slope, (s,), as long as its plane is at most. [N]."""
    layout, planes = project.layout, project.roof.planes
    _, first = np.unique(panel_strips(layout)[0], return_index=True)
    plane = layout.row_plane[layout.clamp_row[first]]
    length = np.array([planes.outline[p].bounds[3] for p in plane])
    return project.panel.weight * project.panel.seam_spacing * length * np.sin(planes.slope[plane])


def strip_friction(project: Project, graph: FlowGraph, force: RowForce) -> Array:
    """Friction that the snow may bring to each panel strip with clamps, unfactored, (q, s). [N]."""
    layout = project.layout
    strip, names = panel_strips(layout)
    out = np.zeros((len(force.cell_pressure), len(names)))
    if project.slide.friction == 0.0:
        return out
    for plane in np.unique(layout.row_plane):
        clamps = np.flatnonzero(layout.row_plane[layout.clamp_row] == plane)
        angle = float(layout.seam_angle[layout.clamp_row[clamps[0]]])
        across = np.array([np.cos(angle), -np.sin(angle)])
        zero = float(layout.clamp_uv[clamps[0]] @ across)
        zero -= float(layout.clamp_seam[clamps[0]]) * project.panel.seam_spacing
        out[:, strip[clamps]] = seam_friction(
            project, graph, force, int(plane), angle, zero, layout.clamp_seam[clamps]
        )
    return out


def seam_friction(
    project: Project,
    graph: FlowGraph,
    force: RowForce,
    plane: int,
    angle: float,
    zero: float,
    seams: IntArray,
) -> Array:
    """Friction that the snow may bring to the strips of some seams of a plane, unfactored, (q, seams). [N].

    Parameters
    ----------
    project, graph, force
    plane : int
    angle : float
        Of the seams, from the fall line. [rad]
    zero : float
        Place of seam 0 square to the seams. [m]
    seams : (k,) int
        Seam numbers.
    """
    cells, spacing = graph.cells, project.panel.seam_spacing
    on = np.flatnonzero(cells.plane == plane)
    weight = force.cell_pressure[:, on] * cells.plan_area[on] * np.cos(project.roof.planes.slope[plane])
    across = np.array([np.cos(angle), -np.sin(angle)])
    place = (cells.corners[on] @ across - zero) / spacing + 0.5  # a strip reaches half a bay each way
    low, high = place.min(axis=1), place.max(axis=1)
    first = int(min(np.floor(low.min()), seams.min()))
    size = int(max(np.floor(high.max()), seams.max())) - first + 1
    per_seam = np.zeros((size, len(weight)))
    start = np.floor(low).astype(int)
    for step in range(int(np.ceil((high - low).max())) + 1):
        seam = start + step
        share = np.clip(np.minimum(high, seam + 1) - np.maximum(low, seam), 0.0, None) / (high - low)
        np.add.at(per_seam, np.minimum(seam - first, size - 1), (share * weight).T)
    return project.slide.friction * per_seam[seams - first].T
