"""The layer on a project's roof: what it brings to every row, clamp and stop, beside the tributary values."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis, analyze
from fea.blanket.answers import Answer, answer_of
from fea.blanket.comparing import Comparison, compare
from fea.blanket.setting import Setting, layers, make_setting, spread
from fea.blanket.snow import weak_layer
from fea.blanket.views import Bond, Mesh, View, make_mesh, solve_view
from fea.checks.combinations import project_factors
from fea.checks.screw_strength import project_rule
from fea.checks.screws import with_screws_use
from fea.unknowns import one_end_words, worse_words
from fea.verdict import Finding, ranked
from roofmodel.errors import InputError
from roofmodel.project.load import Project
from roofmodel.project.screw_tables import screw_notes
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.thrust import RowForce, slide
from roofmodel.sliding.tributary import clamp_shares
from roofmodel.snow.cases import SnowCase
from roofmodel.snow.registry import snow_cases
from roofmodel.surface import EdgeKind
from roofmodel.units import STANDARD_GRAVITY, SYSTEMS

Array = NDArray[np.float64]
Tell = Callable[[str], None]

BALANCED = 1e-9  # error of the force balance that passes [-]
COARSER_STEP = 2.0  # cells of the comparison of stops with a row over those of the layer [-]
SETTLED = 0.01  # part of the driving force that the last linear step may shift [-]


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
    comparison : Comparison or None
        Stops beside a row on the same seams; None without stops.
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
    comparison: Comparison | None

    @property
    def worst_use(self) -> Array:
        """Largest utilization of every clamp over all views, (c,); unknown stays unknown."""
        return np.asarray(np.max([answer.use for answer in self.answers], axis=0))

    @property
    def check_use(self) -> Array:
        """Utilization of every clamp by `check` in the same case, (c,); empty without an analysis."""
        if self.analysis is None:
            return np.zeros(0)
        analysis, clamp = self.analysis, self.project.clamp
        together = next(one for one in analysis.limits if one.name == "clamp combined").utilization
        rule = project_rule(self.project)
        return with_screws_use(together, analysis.clamp_force, clamp, rule)[self.setting.q]

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
    def findings(self) -> tuple[Finding, ...]:
        """What keeps it from passing, the worst first: of clamps and stops here and by `check`."""
        use = np.concatenate([self.worst_use, self.worst_stop, self.check_use])
        return ranked(
            {
                Finding.EXCEEDED: bool((use > 1.0).any()),
                Finding.NOT_VERIFIED: bool(np.isnan(use).any()),
                Finding.AUDIT_FAILED: not self.proven,
            }
        )

    @property
    def passed(self) -> bool:
        """Whether every clamp and stop is verified and kept, here and by `check`, and the self-check met."""
        return not self.findings


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
    factors = project_factors(project, cases[q])
    tell("laying the snow")
    meshes = tuple(make_mesh(setting, layer) for layer in layers(setting))
    answers = [
        answer_of(project, setting, analysis, view, factors)
        for view in _views(setting, meshes, project, tell)
    ]
    comparison = None
    if project.stops.count:
        tell("comparing the stops with a row")
        comparison = compare(project, cases[q], COARSER_STEP * setting.step)
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
        comparison=comparison,
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
        what = f"following the layer: {name}, {len(meshes[-1].layer.corner):,} cells"
        tell(what)
        count = partial(_told, tell, what)
        found.append(solve_view(setting, meshes, name, words, cracked=cracked, bond=bond, tell=count))
    return found


def _told(tell: Tell, what: str, done: int) -> None:
    tell(f"{what}, step {done}")


def _tributary_line(setting: Setting) -> Array:
    if not len(setting.stations.row):
        return np.zeros(0)
    force = spread(setting.stations, setting.force, setting.force.thrust[setting.q])
    return np.asarray(-force[:, 1] / np.diff(setting.stations.span, axis=1)[:, 0])


def _notes(setting: Setting, project: Project) -> tuple[str, ...]:
    found = [
        *one_end_words(project, "the layer leans on"),
        *worse_words(project, "are tried where its force is shared out to clamps, and the worse counts"),
        "Stiffness and strength of snow scatter by factors of two to ten; they follow from density and "
        "temperature by fits from memory unless the project gives them.",
        "Both states count: snow that hangs together loads upper rows and row ends, snow without tension "
        "loads lower rows. The larger of this and the tributary value is the safe one.",
        "Ridges and hips cut the layer: it never hangs on the snow beyond them. What other planes send is "
        "taken from the sliding analysis.",
    ]
    if any(kind is EdgeKind.VALLEY for kind in setting.roof.edges.kind):
        found.append(
            "In a valley the layer leans on the snow of the other side, which counts as standing still. On "
            "planes with rows, streams down a valley are the layer's own, not those of the sliding analysis."
        )
    if project.roof.arrays.count:
        found.append("Solar arrays are not counted on here: the layer runs over them as over the sheet.")
    if len(setting.layout.row_name) and np.abs(setting.force.aside[setting.q]).max(initial=0.0) > 0.0:
        found.append(
            "What lands from higher roofs above the rows, and what boxes send aside, is not in the layer; "
            "`check` adds both as bounds."
        )
    if setting.gap > 0.0 and len(setting.layout.row_name):
        found.append(
            "Flow below and over a rail is judged by the shear strength of the layer alone (judgment)."
        )
    if setting.stops.count and project.table.analysis.panel_flexibility:
        found.append("Beside single stops, seams count as rigid here.")
    if setting.stops.count:
        found.append(_flanks(setting, project))
    found += screw_notes(project.table.clamp, project.table.panel)
    return tuple(found)


def _flanks(setting: Setting, project: Project) -> str:
    """How wide a gap between stops the flanks of a plug hold by shear alone, and how wide it is."""
    units, stops = SYSTEMS[project.table.project.units], setting.stops
    slope = float(setting.roof.planes.slope[stops.plane].max())
    # A plug of width b and depth d over any run: weight rho g d b sin against 2 c d, whatever the depth.
    pull = setting.choice.density * STANDARD_GRAVITY * (np.sin(slope) - setting.friction * np.cos(slope))
    holds = 2.0 * weak_layer(setting.choice) / max(pull, 1e-9)
    gap = 0.0
    for table in np.unique(stops.table):
        for plane in np.unique(stops.plane[stops.table == table]):
            on = (stops.table == table) & (stops.plane == plane)
            u = np.unique(np.round(stops.uv[on, 0], 4))
            gap = max(gap, float(np.diff(u).max(initial=0.0)) - float(stops.width[on].min()))
    return (
        "By shear along its flanks alone, as the shear frame measures it and without arching, snow holds "
        f"over gaps up to {units.text(holds, 'length')}; the widest gap between stops, courses together, is "
        f"{units.text(max(gap, 0.0), 'length')}" + (": it may slip through." if gap > holds else ".")
    )
