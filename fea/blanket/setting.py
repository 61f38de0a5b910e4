"""What stays while the layer is looked at in several states: roof, rows, stops, one snow case."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.blanket.data import Layer, Structure
from fea.blanket.holding import Stations, make_stations, make_structure, stop_stiffness
from fea.blanket.laying import arriving, direct, lay
from fea.blanket.snow import USUAL, SnowChoice
from roofmodel.hardware import Clamp, Rail, as_tested
from roofmodel.layout import Layout
from roofmodel.project.load import Project
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.thrust import RowForce
from roofmodel.snow.cases import LoadLevel, SnowCase
from roofmodel.stops import Stops
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

HOUR = 3600.0  # [s]
COARSER = 3.0  # mesh on which it is found out what happens, over the one wanted [-]
SMALL = 4000  # layers of fewer cells take no coarse mesh


@dataclass(frozen=True)
class Setting:
    """Everything but the state of the snow.

    Attributes
    ----------
    roof, layout, rail, clamp, stops
    case : SnowCase
    q : int
        Its number.
    graph, force : FlowGraph, RowForce
        The sliding analysis.
    choice : SnowChoice
    friction : float
        Counted on at the sheet. [-]
    planes : (p,) int
        Planes with rows or stops.
    step : float
        Largest cell. [m]
    stations : Stations
    structure : Structure
    straight : (k, 2) float
        What valleys bring straight to each station. [N]
    face : float
        Height of the face that a rail or stop turns to the snow. [m]
    gap : float
        Free height below a rail. [m]
    softest : float
        Stiffness of what holds, per length of eave, for a first guess. [N/m^2]
    """

    roof: RoofSurface
    layout: Layout
    rail: Rail
    clamp: Clamp
    stops: Stops
    case: SnowCase
    q: int
    graph: FlowGraph
    force: RowForce
    choice: SnowChoice
    friction: float
    planes: IntArray
    step: float
    stations: Stations
    structure: Structure
    straight: Array
    face: float
    gap: float
    softest: float


def make_setting(
    project: Project,
    case: SnowCase,
    q: int,
    flow: tuple[FlowGraph, RowForce],
    support: sparse.csr_array | None = None,
) -> Setting:
    """Rows, stops and snow of a project for one case.

    Parameters
    ----------
    project : Project
    case : SnowCase
    q : int
        Number of the case in the sliding analysis.
    flow : FlowGraph and RowForce
    support : sparse, optional
        Clamps and panels in series.
    """
    table, layout, stops, clamp = project.table.blanket, project.layout, project.stops, project.clamp
    graph, force = flow
    frame, stations = make_stations(layout, project.rail, clamp, table.mesh, support)
    planes = np.unique(np.concatenate([layout.row_plane, stops.plane])).astype(np.int64)
    straight = np.zeros((len(stations.row), 2))
    if frame is not None:
        straight = spread(stations, force, direct(layout, graph, force, q))
    top = clamp.grip_height + clamp.height + project.rail.section.lowest_top
    gap = max(clamp.grip_height + clamp.height - project.rail.section.highest_top, 0.0)
    softest = [as_tested(clamp) * len(layout.clamp_s) / layout.row_length.sum()] if frame else []
    if stops.count:
        wide = max(float(np.ptp(stops.uv[stops.plane == p, 0])) for p in np.unique(stops.plane))
        softest.append(stop_stiffness(clamp, stops) * stops.count / max(wide, 1.0))
    return Setting(
        roof=project.roof,
        layout=layout,
        rail=project.rail,
        clamp=clamp,
        stops=stops,
        case=case,
        q=q,
        graph=graph,
        force=force,
        choice=snow_choice(project, case),
        friction=project.slide.friction,
        planes=planes,
        step=table.mesh,
        stations=stations,
        structure=make_structure(layout, frame, stops, clamp, (stations, straight)),
        straight=straight,
        face=max(top - gap, 0.01),
        gap=gap,
        softest=float(min(softest)),
    )


def snow_choice(project: Project, case: SnowCase) -> SnowChoice:
    """What the project says of its snow."""
    table = project.table.blanket

    def given(value: float | None) -> float:
        return np.nan if value is None else value

    return SnowChoice(
        density=_density(project, case),
        below_freezing=max(table.below_freezing, 0.0),
        poisson=table.poisson,
        slope=np.nan if table.friction_angle is None else float(np.sin(table.friction_angle)),
        creep=table.creep_hours * HOUR,
        young=given(table.young),
        tension=given(table.tensile_strength),
        shear=given(table.shear_strength),
        compression=given(table.compressive_strength),
    )


def _density(project: Project, case: SnowCase) -> float:
    """The user's, or that of measured snow, or the usual one or the case's where that is denser. [kg/m^3]."""
    given = project.table.blanket.density
    if given is not None:
        return given
    return case.density if case.level is LoadLevel.MEASURED else max(case.density, USUAL)


def spread(stations: Stations, force: RowForce, thrust: Array) -> Array:
    """Forces (k, 2) on the stations of the sliding analysis, laid on those of the layer. [N]."""
    out = np.zeros((len(stations.row), 2))
    if not len(force.row):
        return out
    reach = 2.0 * float(max(stations.span.max(), force.span.max())) + 1.0
    knots = (force.row[:, None] * reach + force.span).ravel()
    ends = stations.row[:, None] * reach + stations.span
    for i in range(2):
        total = np.cumsum(thrust[:, i])
        at = np.interp(ends, knots, np.stack([total - thrust[:, i], total], axis=1).ravel())
        out[:, i] = at[:, 1] - at[:, 0]
    return out


def layers(setting: Setting) -> tuple[Layer, ...]:
    """The layer on a coarse and on the wanted mesh, or on this alone where it is small."""
    marks: dict[int, tuple[list[float], list[float]]] = {int(p): ([], []) for p in setting.planes}
    layout, stops = setting.layout, setting.stops
    for r, plane in enumerate(layout.row_plane.tolist()):
        marks[plane][0].extend([float(layout.row_start[r, 0]), float(layout.row_end[r, 0])])
        if abs(layout.row_start[r, 1] - layout.row_end[r, 1]) < 1e-9:
            marks[plane][1].append(float(layout.row_start[r, 1]))
    for plane, v in zip(stops.plane.tolist(), stops.uv[:, 1].tolist(), strict=True):
        marks[plane][1].append(v)
    found = []
    for step in (COARSER * setting.step, setting.step):
        layer = lay(setting.roof, setting.case, setting.planes, marks, step, setting.choice.density)
        more = arriving(
            layer, setting.graph, setting.force, setting.q, setting.roof.planes.slope, setting.friction
        )
        found.append(replace(layer, force=layer.force + more))
    return tuple(found) if len(found[1].corner) > SMALL else (found[1],)
