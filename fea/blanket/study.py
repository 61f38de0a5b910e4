"""The layer on a project's roof: what it brings to every row, clamp and stop, beside the tributary values."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis, analyze
from fea.blanket.data import BOX, ROW, STOP, VALLEY
from fea.blanket.elements import strains
from fea.blanket.setting import Setting, layers, make_setting
from fea.blanket.snow import make_snow, weak_layer
from fea.blanket.views import Bond, Mesh, View, make_mesh, solve_view
from fea.checks.combinations import strength_factors
from fea.checks.limits import clamp_components, clamp_limits, combine, component_utilization, interact
from fea.rails.actions import rail_loads
from fea.rails.frame import solve_frame
from fea.rails.rows import build_frame
from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, DesignFormat
from roofmodel.project.load import Project
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.thrust import RowForce, slide
from roofmodel.sliding.tributary import clamp_shares
from roofmodel.snow.cases import SnowCase
from roofmodel.snow.registry import snow_cases
from roofmodel.units import STANDARD_GRAVITY, SYSTEMS

Array = NDArray[np.float64]
Tell = Callable[[str], None]

BALANCED = 1e-9  # error of the force balance that passes [-]
SETTLED = 0.01  # part of the driving force that the last linear step may shift [-]


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


@dataclass(frozen=True)
class BlanketStudy:
    """The layer on a project's roof for one snow case.

    Attributes
    ----------
    project : Project
    analysis : Analysis or None
        None for a project without rows.
    setting : Setting
    factor : float
        Load factor on snow.
    answers : tuple of Answer
    tributary_line : (k,) float
        Tributary line load on every station. [N/m]
    tributary_clamp : (c,) float
        [N]
    end_bound : (r, 2) float
        What `check` adds at the ends of partial rows. [N]
    notes : tuple of str
    """

    project: Project
    analysis: Analysis | None
    setting: Setting
    factor: float
    answers: tuple[Answer, ...]
    tributary_line: Array
    tributary_clamp: Array
    end_bound: Array
    notes: tuple[str, ...]

    @property
    def worst_use(self) -> Array:
        """Largest utilization of every clamp over all views, (c,); unknown stays unknown."""
        return np.asarray(np.max([answer.use for answer in self.answers], axis=0))

    @property
    def worst_stop(self) -> Array:
        """Largest utilization of every stop over all views, (s,)."""
        return np.asarray(np.max([answer.stop_use for answer in self.answers], axis=0))

    @property
    def most(self) -> Array:
        """Largest force of every clamp over all views, (c,). [N]."""
        return np.asarray(np.max([answer.clamp for answer in self.answers], axis=0))

    @property
    def proven(self) -> bool:
        """Whether forces balance and the laws of the snow are met in every view."""
        return all(
            max(a.balance.error, a.balance.sideways) <= BALANCED and a.view.state.unsettled <= SETTLED
            for a in self.answers
        )

    @property
    def passed(self) -> bool:
        """Whether every clamp and stop is verified and kept, and the self-check met."""
        use = np.concatenate([self.worst_use, self.worst_stop])
        return self.proven and bool(np.all(use <= 1.0))  # NaN is not


def study_blanket(project: Project, tell: Tell | None = None) -> BlanketStudy:
    """Follow the layer of the hardest snow case, or of the one that the project names.

    Parameters
    ----------
    project : Project
    tell : callable, optional
        Is told how far the work has come.

    Returns
    -------
    BlanketStudy

    Raises
    ------
    InputError
        No rows and no stops, an unknown case or plane, a mesh that is too fine.
    """
    try:
        return _study(project, tell or (lambda _: None))
    except InputError as error:
        words = SYSTEMS[project.table.project.units].reworded(str(error))
        message = f"{project.path.name}: {words}"
        raise InputError(message) from None


def _study(project: Project, tell: Tell) -> BlanketStudy:
    if not len(project.layout.row_name) and not project.stops.count:
        message = "row is missing; add [[row]] or [[stops]], what is to hold the snow"
        raise InputError(message)
    _check_bonds(project)
    analysis, cases, flow = _sliding(project)
    q = _case(project, cases, flow[1])
    support = None if analysis is None or not analysis.support.stiffness else analysis.support.stiffness[0]
    setting = make_setting(project, cases[q], q, flow, support)
    form, design = DesignFormat(project.table.design.format), project.table.design
    factors = strength_factors(
        form, cases[q].level, design.snow_factor, design.thermal_factor, cases[q].standard
    )
    tell("laying the snow")
    meshes = tuple(make_mesh(setting, layer) for layer in layers(setting))
    answers = [
        _answer(project, setting, analysis, view, factors.snow)
        for view in _views(setting, meshes, project, tell)
    ]
    rows = len(project.layout.row_name)
    return BlanketStudy(
        project=project,
        analysis=analysis,
        setting=setting,
        factor=factors.snow,
        answers=tuple(answers),
        tributary_line=_tributary_line(setting),
        tributary_clamp=clamp_shares(project.layout, flow[1])[q] if rows else np.zeros(0),
        end_bound=flow[1].end_bound[q] if rows else np.zeros((0, 2)),
        notes=_notes(setting, project),
    )


def _sliding(project: Project) -> tuple[Analysis | None, tuple[SnowCase, ...], tuple[FlowGraph, RowForce]]:
    """Snow cases and sliding force; snow that stops hold takes no slippery reduction either."""
    layout = project.layout
    if len(layout.row_name) and not project.stops.count:
        analysis = analyze(project, beyond=False)
        return analysis, analysis.snow.cases, (analysis.graph, analysis.force)
    held = frozenset(np.concatenate([layout.row_plane, project.stops.plane]).tolist())
    cases = snow_cases(project.roof, project.site, held).cases
    return None, cases, slide(project.roof, cases, layout, project.slide)


def _case(project: Project, cases: tuple[SnowCase, ...], force: RowForce) -> int:
    wanted = project.table.blanket.case
    names = [case.name for case in cases]
    if wanted is not None:
        if wanted not in names:
            known = ", ".join(f'"{name}"' for name in names)
            message = f'blanket.case: there is no case "{wanted}"; this project has {known}'
            raise InputError(message)
        return names.index(wanted)
    size = force.balance.caught if len(project.layout.row_name) else force.balance.driving
    return int(np.argmax(size))


def _check_bonds(project: Project) -> None:
    names = project.roof.planes.name
    for part in project.table.blanket.bonded:
        if part.plane not in names:
            message = (
                f'blanket.bonded.plane: there is no plane "{part.plane}"; this roof has {", ".join(names)}'
            )
            raise InputError(message)


def _views(setting: Setting, meshes: tuple[Mesh, ...], project: Project, tell: Tell) -> list[View]:
    table = project.table.blanket
    lost, tears = "the bond is lost; ", "the layer holds tension up to its strength and cracks beyond it"
    plans: list[tuple[str, str, bool, Bond]] = [
        ("coherent", lost + tears, False, ((), None)),
        ("cracked", lost + "the layer holds next to no tension", True, ((), None)),
    ]
    parts = tuple(table.bonded)
    if parts and table.thaw_from is None:
        plans.append(("bonded", "the bond holds where the project says so", False, (parts, None)))
    elif parts:
        for step in range(table.thaw_steps):
            share = step / table.thaw_steps
            words = f"the bond has thawed over {100.0 * share:.0f} % of the slope, from the {table.thaw_from}"
            front = (str(table.thaw_from), share)
            plans.append((f"thaw {100.0 * share:.0f} %", words, False, (parts, front)))
    found = []
    for name, words, cracked, bond in plans:
        tell(f"following the layer: {name}")
        found.append(solve_view(setting, meshes, name, words, cracked=cracked, bond=bond))
    return found


def station_forces(setting: Setting, view: View) -> Array:
    """Force (k, 2) on every station along (u, v), that of valleys included. [N]."""
    contacts = view.contacts
    on = contacts.kind == ROW
    out = setting.straight.copy()
    push = view.state.contact[on, None] * contacts.way[on]
    np.add.at(out, view.station[on], push)
    return out


def _answer(
    project: Project, setting: Setting, analysis: Analysis | None, view: View, factor: float
) -> Answer:
    layout, stations = setting.layout, setting.stations
    force = station_forces(setting, view)
    width = np.diff(stations.span, axis=1)[:, 0]
    rows = len(layout.row_name)
    down = -force[:, 1]
    row = np.bincount(stations.row, down, rows).astype(float)
    along, use = np.zeros(0), np.zeros(0)
    if rows:
        along, use = _clamps(project, setting, analysis, force)
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
        stop_use=stop_use(factor * stop, setting.clamp, setting.stops.lever),
        bearing=bearing,
        over=over,
        under=under,
        balance=balance(setting, view),
    )


def _clamps(
    project: Project, setting: Setting, analysis: Analysis | None, force: Array
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
    form, design = DesignFormat(project.table.design.format), project.table.design
    case = setting.case
    f = strength_factors(form, case.level, design.snow_factor, design.thermal_factor, case.standard)
    factors = tuple(np.array([x]) for x in (f.snow, f.dead, f.thermal))
    along, use = [], []
    for K in (None,) if support is None or not support.stiffness else support.stiffness:
        response = solve_frame(build_frame(layout, rail, clamp, support=K), loads)
        along.append(response.clamp_force[0, :, 0])
        demands = combine(response, basis, *factors)
        use.append(clamp_limits(demands.clamp, clamp, layout)[-1].utilization[0])
    return np.max(along, axis=0), np.max(use, axis=0)


def stop_use(force: Array, clamp: Clamp, lever: float) -> Array:
    """Utilization (s,) of stops under factored forces (s,) [N] at a height above the grip [m]."""
    if not len(force):
        return np.zeros(0)
    at_grip = np.zeros((len(force), 6))
    at_grip[:, 0], at_grip[:, 4] = force, force * lever
    parts = clamp_components(at_grip, clamp)
    scale = np.full(len(force), float(force.max(initial=0.0)))
    return np.asarray(interact(component_utilization(parts, clamp, scale), clamp.interaction))


def _layer_limits(setting: Setting, view: View, line: Array) -> tuple[Array, Array, Array]:
    """Bearing, flow over and flow under the rail of every row, (r,) each."""
    rows = len(setting.layout.row_name)
    found = np.zeros((3, rows))
    if not rows:
        return found[0], found[1], found[2]
    choice = setting.choice
    strength = make_snow(choice, np.array([choice.density])).strength
    on = np.flatnonzero(view.contacts.kind == ROW)
    # The cell around a contact is the one with its corners.
    cell_of = {tuple(c): i for i, c in enumerate(view.layer.corner.tolist())}
    cell = np.array([cell_of[tuple(c)] for c in view.contacts.corner[on].tolist()], dtype=np.int64)
    depth = view.layer.depth[cell]
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
    strain = strains(state.moved[layer.corner], layer.size)
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


def _tributary_line(setting: Setting) -> Array:
    from fea.blanket.setting import spread

    if not len(setting.stations.row):
        return np.zeros(0)
    force = spread(setting.stations, setting.force, setting.force.thrust[setting.q])
    return np.asarray(-force[:, 1] / np.diff(setting.stations.span, axis=1)[:, 0])


def _notes(setting: Setting, project: Project) -> tuple[str, ...]:
    found = [
        "Stiffness and strength of snow scatter by factors of two to ten; they follow from density and "
        "temperature by fits from memory unless the project gives them.",
        "Both states count: snow that hangs together loads upper rows and row ends, snow without tension "
        "loads lower rows. The larger of this and the tributary value is the safe one.",
        "Ridges and hips cut the layer: it never hangs on the snow beyond them. What other planes send is "
        "taken from the sliding analysis.",
    ]
    if project.roof.arrays.count:
        found.append("Solar arrays are not counted on here: the layer runs over them as over the sheet.")
    if setting.gap > 0.0 and len(setting.layout.row_name):
        found.append(
            "Flow below and over a rail is judged by the shear strength of the layer alone (judgment)."
        )
    return tuple(found)
