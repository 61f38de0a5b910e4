"""Solar arrays: what snow and own weight bring to their clamps and to the panel strips under them.

Two readings stand beside each other (judgment): for the rows below, all snow slides over the glass as if it
were not there; for the array, the snow above its upper edge leans on it and that on the glass is frozen to
it. Each takes the whole force, so neither relieves the other, also where both end at one panel strip.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import Limit
from fea.checks.strips import panel_strips, seam_friction
from roofmodel.arrays import SolarArrays
from roofmodel.project.load import Project
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.thrust import RowForce
from roofmodel.snow.cases import SnowCase
from roofmodel.units import STANDARD_GRAVITY
from roofmodel.upper_faces import upper_faces

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class ArrayForces:
    """Force down the slope on solar arrays and their lines of clamps, before load factors. [N].

    Attributes
    ----------
    leaning : (q, l) float
        Of snow above the upper edge, on each line of clamps.
    on_glass : (q, l) float
        Of the snow on the glass.
    weight : (l,) float
        Of the array itself.
    """

    leaning: Array
    on_glass: Array
    weight: Array


def array_forces(
    project: Project, cases: tuple[SnowCase, ...], graph: FlowGraph, force: RowForce
) -> ArrayForces:
    """What every line of clamps gets.

    Parameters
    ----------
    project : Project
    cases : tuple of SnowCase, (q,)
        Their density tells what is deeper than a gap that lets snow pass.
    graph : FlowGraph
    force : RowForce
        Of the same graph; where it has another reading, the larger of both leans on an array.
    """
    roof, cells, arrays = project.roof, graph.cells, project.roof.arrays
    lines = len(arrays.line_array)
    leaning, on_glass = np.zeros((2, len(cases), lines))
    if not lines:
        return ArrayForces(leaning, on_glass, np.zeros(0))
    faces = upper_faces(roof)
    above = np.flatnonzero(np.isin(cells.lower_face, np.flatnonzero(faces.array >= 0)))
    whose = faces.array[cells.lower_face[above]]
    low, high = cells.corners[above, 0, 0], cells.corners[above, 1, 0]
    for line in range(lines):
        reach = arrays.line_reach[line]
        share = np.clip(np.minimum(high, reach[1]) - np.maximum(low, reach[0]), 0.0, None) / (high - low)
        share[whose != arrays.line_array[line]] = 0.0
        leaning[:, line] = np.max([one.cell_arriving[:, above] @ share for one in force.readings], axis=0)
    dams = np.flatnonzero(faces.array >= 0)
    comes = np.zeros((len(force.readings), len(cases), arrays.count))
    for k, one in enumerate(force.readings):
        if one.straight is not None:
            comes[k][:, faces.array[dams]] = one.straight[:, dams]
    leaning += comes.max(axis=0)[:, arrays.line_array] * arrays.line_share
    leaning *= ~_slips_through(project, cases, graph, force)[:, arrays.line_array]
    glass = np.flatnonzero(cells.array >= 0)
    thrust = (
        force.cell_pressure[:, glass] * cells.plan_area[glass] * np.sin(roof.planes.slope[cells.plane[glass]])
    )
    whole = np.zeros((arrays.count, len(cases)))
    np.add.at(whole, cells.array[glass], thrust.T)
    whole *= arrays.dams[:, None]
    own = arrays.weight * np.prod(arrays.high - arrays.low, axis=1) * np.sin(roof.planes.slope[arrays.plane])
    on_glass = whole[arrays.line_array].T * arrays.line_share
    return ArrayForces(leaning, on_glass, own[arrays.line_array] * arrays.line_share)


def _slips_through(
    project: Project, cases: tuple[SnowCase, ...], graph: FlowGraph, force: RowForce
) -> NDArray[np.bool_]:
    """Whether snow above each array is nowhere deeper, square to the roof, than a gap it may pass, (q, a)."""
    arrays, cells, planes = project.roof.arrays, graph.cells, project.roof.planes
    through = np.zeros((len(cases), arrays.count), dtype=bool)
    density = np.array([case.density for case in cases])
    for k in np.flatnonzero(arrays.passes):
        plane = arrays.plane[k]
        over = (cells.plane == plane) & (cells.corners[:, 2, 1] > arrays.high[k, 1])
        over &= (cells.corners[:, 1, 0] > arrays.low[k, 0]) & (cells.corners[:, 0, 0] < arrays.high[k, 0])
        deepest = force.cell_pressure[:, over].max(axis=1, initial=0.0) * np.cos(planes.slope[plane])
        through[:, k] = deepest / (density * STANDARD_GRAVITY) <= arrays.gap[k]
    return through


def clamp_demand(arrays: SolarArrays, forces: ArrayForces, snow: Array, dead: Array) -> Array:
    """Largest force on one clamp of each line, down the slope, (q, l). [N].

    Parameters
    ----------
    arrays : SolarArrays
    forces : ArrayForces
    snow, dead : (q,) float
        Load factors.
    """
    up = arrays.clamps_up[arrays.line_array]
    leaning = np.where(arrays.shared[arrays.line_array], forces.leaning / up, forces.leaning)
    return np.asarray(snow[:, None] * (leaning + forces.on_glass / up) + dead[:, None] * forces.weight / up)


def array_strips(project: Project, forces: ArrayForces) -> tuple[Array, Array]:
    """What arrays bring to the panel strips that carry rows: of snow (q, s) and of own weight (s,). [N]."""
    layout, arrays = project.layout, project.roof.arrays
    strip, names = panel_strips(layout)
    snow, weight = np.zeros((len(names), len(forces.leaning))), np.zeros(len(names))
    known = np.stack([layout.row_plane[layout.clamp_row], layout.clamp_seam])
    line, first = _matches(np.stack([arrays.plane[arrays.line_array], arrays.line_seam]), known)
    np.add.at(snow, strip[first], (forces.leaning + forces.on_glass)[:, line].T)
    np.add.at(weight, strip[first], forces.weight[line])
    return snow.T, weight


def _matches(lines: IntArray, known: IntArray) -> tuple[IntArray, IntArray]:
    """Lines that are among the known seams, and the first of those; both (2, n): plane and seam."""
    seams, first = np.unique(known, axis=1, return_index=True)
    same = np.all(lines[:, :, None] == seams[:, None, :], axis=0)
    line, seam = np.nonzero(same)
    return line, first[seam]


def array_limits(
    project: Project, graph: FlowGraph, force: RowForce, forces: ArrayForces, factors: tuple[Array, Array]
) -> tuple[Limit, ...]:
    """Clamps of the arrays, and the fixed points of panel strips that carry arrays but no row.

    Parameters
    ----------
    project, graph, force, forces
    factors : (q,), (q,) float
        Strength factors on snow and on dead load.
    """
    arrays, planes = project.roof.arrays, project.roof.planes
    if not arrays.count:
        return ()
    snow, dead = factors
    demand = clamp_demand(arrays, forces, snow, dead)
    strength = arrays.strength[arrays.line_array]
    clamps = Limit(
        name="solar clamp",
        target="solar clamp",
        target_name=_names(arrays, np.arange(len(arrays.line_array))),
        demand=demand,
        resistance=strength,
        utilization=np.where(demand <= 0.0, 0.0, demand / strength),
        quantity="force",
        basis="hardest clamp on each seam, down the slope: snow above the array and on its glass, and "
        "its own weight; across and pull-off (wind) are not in it (judgment)",
    )
    lines = np.stack([arrays.plane[arrays.line_array], arrays.line_seam])
    with_rows, _ = _matches(
        lines, np.stack([project.layout.row_plane[project.layout.clamp_row], project.layout.clamp_seam])
    )
    alone = np.setdiff1d(np.arange(lines.shape[1]), with_rows)
    if not len(alone):
        return (clamps,)
    seams, first, strip = np.unique(lines[:, alone], axis=1, return_index=True, return_inverse=True)
    strip = np.asarray(strip).ravel()
    moving, still = np.zeros((seams.shape[1], len(snow))), np.zeros(seams.shape[1])
    np.add.at(moving, strip, (forces.leaning + forces.on_glass)[:, alone].T)
    np.add.at(still, strip, forces.weight[alone])
    length = np.array([planes.outline[p].bounds[3] for p in seams[0]])
    still += project.panel.weight * project.panel.seam_spacing * length * np.sin(planes.slope[seams[0]])
    if project.slide.friction > 0.0:
        for k in np.unique(arrays.line_array[alone]):
            on = np.flatnonzero(arrays.line_array[alone[first]] == k)
            if len(on):
                moving[on] += seam_friction(
                    project, graph, force, int(arrays.plane[k]), arrays.angle[k], arrays.zero[k], seams[1, on]
                ).T
    drag = snow[:, None] * moving.T + dead[:, None] * still
    anchorage = project.panel.anchorage
    return (
        clamps,
        Limit(
            name="panel anchorage at arrays",
            target="solar strip",
            target_name=_names(arrays, alone[first]),
            demand=drag,
            resistance=np.full(len(still), anchorage),
            utilization=np.where(drag <= 0.0, 0.0, drag / anchorage),
            quantity="force",
            basis="panel strips that carry an array but no row: all that its clamps bring, and the strip's "
            "own weight, end at its fixed point (judgment)",
        ),
    )


def _names(arrays: SolarArrays, lines: IntArray) -> tuple[str, ...]:
    return tuple(f"seam {arrays.line_seam[i] + 1} at {arrays.name[arrays.line_array[i]]}" for i in lines)
