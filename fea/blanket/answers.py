"""What one view of the layer says of rows, clamps and stops, and the sum of all its forces."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.blanket.data import BOX, ROW, STOP, VALLEY
from fea.blanket.elements import strains
from fea.blanket.holding import locate
from fea.blanket.setting import Setting
from fea.blanket.snow import even_snow, weak_layer
from fea.blanket.views import View
from fea.checks.combinations import LoadFactors
from fea.checks.limits import clamp_components, clamp_limits, combine, component_utilization, interact
from fea.checks.screw_strength import ScrewRule, project_rule
from fea.checks.screws import with_screws_use
from fea.rails.actions import rail_loads
from fea.rails.frame import solve_frame
from fea.rails.rows import build_frame, rails_to_solve
from fea.tipping import stiff_end
from roofmodel.hardware import Clamp
from roofmodel.project.load import Project
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Balance:
    """Where the driving force ends, down the slope, and how far the sums miss; N and [-]."""

    driving: float
    rows: float
    stops: float
    friction: float
    bond: float
    valleys: float
    boxes: float
    leaves: float
    error: float
    sideways: float
    virtual_work: float


@dataclass(frozen=True)
class Answer:
    """What one view says.

    Attributes
    ----------
    view : View
    line : (k,) float
        Line load on every station, square to the rail and down the slope. [N/m]
    row : (r,) float
        Force on every row. [N]
    clamp : (c,) float
        Along the seam, unfactored. [N]
    use : (c,) float
        Utilization of the clamps, factored, all directions; NaN for not verified.
    stop, stop_use : (s,) float
        Force on every stop, unfactored [N], and its utilization, factored.
    bearing, over, under : (r,) float
        Of the layer at each row: pressure on the rail's face over the snow's compressive strength; pull of
        the snow above the rail's top and of that below the rail over the shear strength. [-]
    balance : Balance
    """

    view: View
    line: Array
    row: Array
    clamp: Array
    use: Array
    stop: Array
    stop_use: Array
    bearing: Array
    over: Array
    under: Array
    balance: Balance


def station_forces(setting: Setting, view: View) -> Array:
    """Force (k, 2) on every station along (u, v), that of valleys included. [N]."""
    contacts = view.contacts
    on = contacts.kind == ROW
    out = setting.straight.copy()
    push = view.state.contact[on, None] * contacts.way[on]
    np.add.at(out, view.station[on], push)
    return out


def answer_of(
    project: Project, setting: Setting, analysis: Analysis | None, view: View, factors: LoadFactors
) -> Answer:
    """Read one view.

    Parameters
    ----------
    project : Project
    setting : Setting
    analysis : Analysis or None
        For what panels give way; None counts them as rigid.
    view : View
    factors : LoadFactors
    """
    layout, stations = setting.layout, setting.stations
    force = station_forces(setting, view)
    width = np.diff(stations.span, axis=1)[:, 0]
    rows = len(layout.row_name)
    down = -force[:, 1]
    row = np.bincount(stations.row, down, rows).astype(float)
    along, use = np.zeros(0), np.zeros(0)
    if rows:
        along, use = _clamps(project, setting, analysis, force, factors)
    on = view.contacts.kind == STOP
    pushed = np.bincount(view.contacts.item[on], view.state.contact[on], setting.stops.count)
    stop = pushed[: setting.stops.count].astype(float)
    bearing, over, under = _layer_limits(setting, view, down / width)
    return Answer(
        view=view,
        line=down / width,
        row=row,
        clamp=along,
        use=use,
        stop=stop,
        stop_use=stop_use(factors.snow * stop, setting.clamp, setting.stops.lever, project_rule(project)),
        bearing=bearing,
        over=over,
        under=under,
        balance=balance(setting, view),
    )


def _clamps(
    project: Project, setting: Setting, analysis: Analysis | None, force: Array, factors: LoadFactors
) -> tuple[Array, Array]:
    """Force along the seam at every clamp, unfactored, and its utilization, factored; both (c,)."""
    layout, clamp, rail, stations = setting.layout, setting.clamp, setting.rail, setting.stations
    rows, k = len(layout.row_name), len(stations.row)
    line = replace(
        setting.force,
        row=stations.row,
        span=stations.span,
        thrust=force[None],
        weight=np.zeros((1, k)),
        end_bound=np.zeros((1, rows, 2)),
        aside=np.zeros((1, k, 2)),
    )
    support = None if analysis is None else analysis.support
    travel, held = (None, None) if support is None else (support.travel, support.held)
    loads, basis = rail_loads(project.roof, layout, rail, line, travel, held)
    snow, dead, thermal = (np.array([x]) for x in (factors.snow, factors.dead, factors.thermal))
    along, use = [], []
    panels = (None,) if support is None or not support.stiffness else support.stiffness
    firm = stiff_end(project)
    stands = [*((clamp, K) for K in panels), *([] if firm is None else [(firm, None)])]
    for one, (grip, K) in itertools.product(rails_to_solve(layout.splice_kind, rail), stands):
        response = solve_frame(build_frame(layout, one, grip, support=K), loads)
        along.append(response.clamp_force[0, :, 0])
        demands = combine(response, basis, snow, dead, thermal)
        together = clamp_limits(demands.clamp, grip, layout)[-1].utilization
        use.append(with_screws_use(together, demands.clamp, grip, project_rule(project))[0])
    return np.max(along, axis=0), np.max(use, axis=0)


def stop_use(force: Array, clamp: Clamp, lever: float, rule: ScrewRule) -> Array:
    """Utilization (s,) of stops under factored forces (s,) [N] at a height above the grip [m]."""
    if not len(force):
        return np.zeros(0)
    at_grip = np.zeros((len(force), 6))
    at_grip[:, 0], at_grip[:, 4] = force, force * lever
    parts = clamp_components(at_grip, clamp)
    scale = np.full(len(force), float(force.max(initial=0.0)))
    together = interact(component_utilization(parts, clamp, scale), clamp.interaction)
    return with_screws_use(together[None], at_grip[None, None], clamp, rule)[0]


def _layer_limits(setting: Setting, view: View, line: Array) -> tuple[Array, Array, Array]:
    """Bearing, flow over and flow under the rail of every row, (r,) each."""
    rows = len(setting.layout.row_name)
    found = np.zeros((3, rows))
    if not rows:
        return found[0], found[1], found[2]
    choice = setting.choice
    strength = even_snow(choice).strength
    on = np.flatnonzero(view.contacts.kind == ROW)
    uv = view.layer.node[view.contacts.corner[on, 0]]
    point, _, cell = locate(view.layer, setting.layout.row_plane[view.contacts.item[on]], uv)
    on, depth = on[point], view.layer.depth[cell]
    row = view.contacts.item[on]
    sine = np.sin(setting.roof.planes.slope[setting.layout.row_plane[row]])
    top = setting.gap + setting.face
    meets = np.maximum(np.minimum(depth, top) - setting.gap, 0.01)
    unit = choice.density * STANDARD_GRAVITY * sine / weak_layer(choice)
    np.maximum.at(found[0], row, line[view.station[on]] / meets / float(strength.compression[0]))
    np.maximum.at(found[1], row, unit * np.maximum(depth - top, 0.0))
    np.maximum.at(found[2], row, unit * np.minimum(setting.gap, depth))
    return found[0], found[1], found[2]


def balance(setting: Setting, view: View) -> Balance:
    """Sums of all forces on the layer, along and across the slope, and of their virtual work."""
    layer, state, contacts = view.layer, view.state, view.contacts
    straight = setting.straight.sum(axis=0)
    total = layer.force.sum(axis=0) + straight
    push = state.contact[:, None] * contacts.way
    parts = [push[contacts.kind == kind].sum(axis=0) for kind in (ROW, STOP, VALLEY, BOX)]
    parts[0] = parts[0] + straight
    face = view.interface
    bonded = np.divide(face.bond, face.limit, out=np.zeros(len(face.bond)), where=face.limit > 0.0)
    bond = np.sum(state.held * bonded[:, None], axis=0)
    friction = state.held.sum(axis=0) - bond
    left = state.left.sum(axis=0)
    lost = total - sum(parts) - bond - friction - left
    scale = max(float(np.abs(layer.force).sum() + np.abs(setting.straight).sum()), 1e-9)
    strain = strains(state.moved, layer.corner, layer.size)
    inside = float(np.einsum("mki,mki,m->", state.stress, strain, layer.volume))
    moved = np.einsum("kc,kci->ki", contacts.share, state.moved[contacts.corner])
    outside = np.sum(layer.force * state.moved) - np.sum(push * moved)
    outside -= np.sum((state.held + state.left) * state.moved)
    work = abs(inside - float(outside)) / max(float(np.abs(layer.force * state.moved).sum()), 1e-12)
    return Balance(
        driving=-float(total[1]),
        rows=-float(parts[0][1]),
        stops=-float(parts[1][1]),
        friction=-float(friction[1]),
        bond=-float(bond[1]),
        valleys=-float(parts[2][1]),
        boxes=-float(parts[3][1]),
        leaves=-float(left[1]),
        error=float(abs(lost[1])) / scale,
        sideways=float(abs(lost[0])) / scale,
        virtual_work=work,
    )
