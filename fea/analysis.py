"""The whole calculation, step by step, from a project to its checks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fea.cautions import cautions, panel_cautions
from fea.checks.anchorage import StripLoads
from fea.checks.arrays import ArrayForces, array_forces, array_limits, array_strips
from fea.checks.audit import Proof, conservation, equilibrium, refinement, second_road
from fea.checks.combinations import LoadFactors, factor_arrays, project_factors, service_factors
from fea.checks.demands import BuildingDemands, building_demands
from fea.checks.governing import Governing, governing_row, worst_attachment, worst_of, worst_of_cases
from fea.checks.limits import Demands, Limit, combine, height_limit, rail_resistance
from fea.checks.member import member_reserve
from fea.checks.partial_rails import partial_cautions
from fea.checks.reserve import snow_reserve
from fea.checks.screw_strength import screw_rule
from fea.checks.screws import screw_reserve
from fea.checks.strips import panel_strips, strip_friction, strip_weight
from fea.checks.structure import structure_limits
from fea.clock import Clock
from fea.doubts import project_doubts
from fea.in_pieces import InPieces, in_pieces, in_pieces_words
from fea.off_place import OffPlace, off_place, off_place_words
from fea.panel.support import PanelSupport, panel_support, with_rails_named
from fea.past_foot import PastFoot, past_foot, past_foot_words
from fea.rails.actions import Basis, Reading, rail_loads
from fea.rails.frame import solve_frame
from fea.rails.loads import FrameResult, RailLoads
from fea.solvers.direct import Solver
from fea.states import State, on_rigid_panels, splice_cautions, structure_states
from fea.still_falling import Falling, protected_cautions, protected_snow
from fea.tipping import Tipping, stiff_end, stiff_force, stiff_limits, tipping
from fea.verdict import Finding, code, ranked
from roofmodel.hardware import DesignFormat
from roofmodel.memory import Memory, recall
from roofmodel.project.load import Project
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.landed import slid
from roofmodel.sliding.landing import Landing
from roofmodel.sliding.thrust import RowForce
from roofmodel.sliding.tributary import clamp_shares, row_depths
from roofmodel.sliding.worse_edges import flown, worse_edges
from roofmodel.snow.cases import SnowSet
from roofmodel.snow.registry import snow_cases

if TYPE_CHECKING:
    from fea.checks.beyond import Beyond
    from fea.panel.groups import Tell

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Analysis:
    """Everything a report or picture needs, SI.

    Attributes
    ----------
    project : Project
    snow : SnowSet
    graph : FlowGraph
    force : RowForce
    tributary : (q, c) float
        Thrust from half span to half span at each clamp, unfactored. [N]
    basis : Basis
    responses : tuple of FrameResult
        Unit responses, one for each state.
    states : tuple of State
        What panels and splices do in each response.
    factors : tuple of LoadFactors, (q,)
        Strength factors of each case.
    service : tuple of LoadFactors, (q,)
    clamp_force : (q, v, c, 6) float
        Factored forces at the grips, seam axes, by `readings`. [N, N m]
    strip_loads : StripLoads
        What loads the strips' fixed points besides the clamps.
    array_forces : ArrayForces
        What solar arrays bring to their clamps.
    support : PanelSupport
        What the clamps stand on.
    rigid_force : (q, v, c, 6) float or None
        Forces at the grips if panels did not give way; None where they count as rigid anyway. [N, N m]
    stiff_force : (q, v, c, 6) float or None
        Forces at the grips of clamps at the stiff end against tipping, as `fea.tipping.stiff_force`. [N, N m]
    limits : tuple of Limit
    depths : (q, r) float
        Snow depth square to the roof above each row. [m]
    case_governing : tuple of Governing or None, (q,)
        Worst limit of each case but those of solar arrays; None where nothing is loaded.
    governing : Governing or None
        Worst limit of all but those of solar arrays.
    attachment : Governing or None
        Worst clamp or panel strip of all.
    reserve : (q,) float
        Factor on the factored snow of each case at the first strength limit. [-]
    proofs : tuple of Proof
    landing : Landing
        Where the snow that no row holds comes down.
    protected : tuple of Falling
        What comes down on everything that is to be protected.
    beyond : Beyond or None
        The governing row past its first failure, if asked for.
    tipping : Tipping or None
        What hangs on the clamps' stiffness against tipping, where nobody gave it or it cannot be as given.
    off_place : tuple of OffPlace
        Row ends at valleys that take another stream once rows stand a little off, the worst first.
    past_foot : tuple of PastFoot
        Rows near the foot of a valley whose clamps carry more on its other side, the worst first.
    in_pieces : InPieces or None
        What the missing splices of rails that are too long would use, if they were hinges.
    cautions : tuple of str
        What a reader must know beside the numbers.
    seconds, kept : dict of str to float
        Time of each stage [s]; what was asked later and takes a run, such as `fea.sensitivity.softer`.
    """

    project: Project
    snow: SnowSet
    graph: FlowGraph
    force: RowForce
    tributary: Array
    basis: Basis
    responses: tuple[FrameResult, ...]
    states: tuple[State, ...]
    factors: tuple[LoadFactors, ...]
    service: tuple[LoadFactors, ...]
    clamp_force: Array
    strip_loads: StripLoads
    array_forces: ArrayForces
    support: PanelSupport
    rigid_force: Array | None
    stiff_force: Array | None
    limits: tuple[Limit, ...]
    depths: Array
    case_governing: tuple[Governing | None, ...]
    governing: Governing | None
    attachment: Governing | None
    reserve: Array
    proofs: tuple[Proof, ...]
    landing: Landing
    protected: tuple[Falling, ...] = ()
    beyond: Beyond | None = None
    tipping: Tipping | None = None
    off_place: tuple[OffPlace, ...] = ()
    past_foot: tuple[PastFoot, ...] = ()
    in_pieces: InPieces | None = None
    cautions: tuple[str, ...] = ()
    seconds: dict[str, float] = field(default_factory=dict)
    kept: dict[str, float] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def response(self) -> FrameResult:
        """Unit responses in the first state."""
        return self.responses[0]

    @property
    def readings(self) -> tuple[Reading, ...]:
        """What `clamp_force` holds along its second axis: the basis's readings, response by response."""
        return self.basis.readings * len(self.responses)

    @cached_property
    def building(self) -> BuildingDemands:
        """What the rows do to the building, found when it is first asked for."""
        return building_demands(
            self.project, self.snow, (self.graph, self.force), (self.responses, self.basis), self.factors
        )

    @property
    def purlins_exceeded(self) -> bool:
        """Whether a purlin exceeds the strength that the user gave."""
        framing = self.project.framing
        return framing is not None and bool(np.isfinite(framing.strength).any()) and self.building.exceeded

    @property
    def exceeded(self) -> bool:
        """Whether any limit is exceeded, or a purlin's strength."""
        return any((limit.utilization > 1.0).any() for limit in self.limits) or self.purlins_exceeded

    @property
    def unverified(self) -> tuple[Limit, ...]:
        """Limits that are loaded but have no resistance from the user."""
        return tuple(limit for limit in self.limits if limit.unverified.any())

    @property
    def unprotected(self) -> tuple[Falling, ...]:
        """What is to be protected and snow comes down on that no row holds."""
        return tuple(one for one in self.protected if not one.kept)

    @property
    def unsettled(self) -> Tipping | None:
        """What stiffer clamps would use, where that exceeds and how they tip is not given or cannot be so."""
        return None if self.tipping is None or self.tipping.settles else self.tipping

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """What keeps the check from passing, the worst first."""
        there = {
            Finding.EXCEEDED: self.exceeded,
            Finding.NOT_PROTECTED: self.unprotected,
            Finding.NOT_SETTLED: self.unsettled,
            Finding.NOT_VERIFIED: self.unverified or project_doubts(self.project, self.limits),
            Finding.AUDIT_FAILED: any(not proof.met for proof in self.proofs),
        }
        return ranked(there)

    @property
    def verdict(self) -> str:
        """The word of data files: the worst finding, or "pass"."""
        return code(self.findings)

    @property
    def passed(self) -> bool:
        """Whether limits are verified and kept, all to be protected is, tipping settled, self-checks met."""
        return not self.findings


def analyze(
    project: Project,
    tell: Tell | None = None,
    memory: Memory | None = None,
    *,
    beyond: bool = True,
    trial: bool = False,
) -> Analysis:
    """Run the main job.

    Parameters
    ----------
    project : Project
        From `roofmodel.project.load.load_project`.
    tell : callable, optional
        Is told in words how far work that takes long has come.
    memory : Memory, optional
        Keeps what stays while rows move; only for projects that differ in nothing but their rows. See
        `fea.moving`.
    beyond : bool
        False leaves out what follows the first failure, also where the project asks for it.
    trial : bool
        True leaves out the self-check with strips of another width, which routes the snow once more: for a
        change that is only tried out.

    Returns
    -------
    Analysis

    Raises
    ------
    InputError
        Where the structure cannot stand or a case cannot be formed.
    """
    clock = Clock()
    roof, layout, clamp, rail = project.roof, project.layout, project.clamp, project.rail
    form = DesignFormat(project.table.design.format)
    found = _checks(project, tell, memory, clock)
    snow, graph, force, support = found.snow, found.graph, found.force, found.support
    basis, responses, limits = found.basis, found.responses, found.limits
    demands, clamp_force, strip_loads = found.demands, found.clamp_force, found.strip_loads
    strength = factor_arrays(found.factors)
    clock.mark("checks")
    hardware = (clamp, rail, rail_resistance(rail, form), project.panel)
    reserve = np.min(
        [
            snow_reserve(response, basis, strength, hardware, layout, strip_loads, own)
            for response, own in zip(responses, demands, strict=True)
        ],
        axis=0,
    )
    reserve = member_reserve(reserve, responses, basis, strength, rail, layout, form)
    rule = screw_rule(form, project.site.standard)
    reserve = screw_reserve(reserve, responses, basis, strength, clamp, layout, rule)
    clock.mark("reserve")
    after = None
    if beyond and project.table.analysis.beyond_first_failure:
        from fea.checks.beyond import hardest_beyond

        rails = tuple(state.project.rail for state in found.states)
        after = hardest_beyond(project, (limits, clamp_force, rails), (found.loads, basis), strength)
        if stiff_end(project) is not None:
            after = replace(after, notes=(*after.notes, "Clamps that tip less are not followed."))
        clock.mark("beyond first failure")
    together = next(limit for limit in limits if limit.name == "clamp combined")
    of_rows = [i for i, limit in enumerate(limits) if not limit.target.startswith("solar")]
    by_case = worst_of(limits, of_rows)
    attachment = worst_attachment(limits)
    proofs = (
        *equilibrium(responses),
        *conservation(roof, graph.cells, snow.cases, force),
        *_row_proofs(project, snow, force, attachment, limits, memory, trial=trial),
    )
    clock.mark("self-audit")
    rigid, softness = on_rigid_panels(
        project, support, found.loads, basis, strength, (clamp_force, found.states, demands, responses)
    )
    flows = flown(roof, (graph, force, found.lands()), snow.cases, project.slide)
    protected = protected_snow(project, snow.cases, flows)
    force, lands = worse_edges(flows)
    clock.mark("rigid seams")
    stiff = stiff_force(project, found.loads, basis, strength)
    tips = tipping(project, limits, stiff_limits(project, stiff))
    clock.mark("clamps that do not tip")
    off = off_place(project, (graph, force), support, found.states, found.factors, limits)
    feet = () if trial else past_foot(project, graph, limits, lambda one: check_limits(one, memory))
    clock.mark("rows off their places")
    apart = None
    if not trial:
        solved = found.loads, basis, support, found.factors, found.service, strip_loads
        apart = in_pieces(project, solved, limits)
    clock.mark("splices that are missing")
    return Analysis(
        project=project,
        snow=snow,
        graph=graph,
        force=force,
        tributary=clamp_shares(layout, force),
        basis=basis,
        responses=responses,
        states=found.states,
        factors=found.factors,
        service=found.service,
        clamp_force=clamp_force,
        strip_loads=strip_loads,
        array_forces=found.array_forces,
        support=support,
        rigid_force=rigid,
        stiff_force=stiff,
        limits=limits,
        depths=found.depths,
        case_governing=by_case,
        governing=worst_of_cases(by_case),
        attachment=attachment,
        reserve=reserve,
        proofs=proofs,
        landing=lands,
        protected=protected,
        beyond=after,
        tipping=tips,
        off_place=off,
        past_foot=feet,
        in_pieces=apart,
        cautions=(
            *in_pieces_words(project, apart),
            *off_place_words(project, off),
            *past_foot_words(project, feet),
            *cautions(project, snow, found.factors, graph, force, lands),
            *protected_cautions(project, protected),
            *((tips.words,) if tips else ()),
            *softness,
            *splice_cautions(project, found.states, demands),
            *panel_cautions(project, support, together),
            *partial_cautions(layout, snow.cases, limits, project.site.standard),
        ),
        seconds=clock.seconds,
    )


@dataclass(frozen=True)
class _Checks:
    """The calculation up to its limits; fields as those of `Analysis`, and what stands behind them."""

    snow: SnowSet
    graph: FlowGraph
    force: RowForce
    lands: Callable[[], Landing]
    support: PanelSupport
    loads: RailLoads
    basis: Basis
    responses: tuple[FrameResult, ...]
    states: tuple[State, ...]
    factors: tuple[LoadFactors, ...]
    service: tuple[LoadFactors, ...]
    demands: tuple[Demands, ...]
    clamp_force: Array
    strip_loads: StripLoads
    array_forces: ArrayForces
    depths: Array
    limits: tuple[Limit, ...]


def check_limits(project: Project, memory: Memory | None = None, *, stiff: bool = False) -> tuple[Limit, ...]:
    """The limits of `analyze` alone: no reserve, no self-audit, nothing beyond the first failure.

    Parameters
    ----------
    project : Project
    memory : Memory, optional
    stiff : bool
        True adds those of clamps at the stiff end against tipping, where nobody gave it or it cannot be.

    Returns
    -------
    tuple of Limit
    """
    found = _checks(project, None, memory, Clock())
    if not stiff:
        return found.limits
    force = stiff_force(project, found.loads, found.basis, factor_arrays(found.factors))
    return found.limits + stiff_limits(project, force)


def _checks(project: Project, tell: Tell | None, memory: Memory | None, clock: Clock) -> _Checks:
    roof, layout, clamp, rail = project.roof, project.layout, project.clamp, project.rail
    form = DesignFormat(project.table.design.format)
    retained = frozenset(layout.row_plane.tolist())
    snow = recall(memory, ("snow cases", retained), lambda: snow_cases(roof, project.site, retained))
    clock.mark("snow cases")
    graph, force, lands = slid(roof, snow.cases, layout, project.slide, memory)
    clock.mark("sliding force")
    support = panel_support(project, tell, memory)
    clock.mark("panels")
    solver = Solver(project.table.analysis.solver)
    loads, basis = rail_loads(roof, layout, rail, force, support.travel, support.held)
    states = structure_states(project, support)
    responses = tuple(solve_frame(state.frame(), loads, solver=solver) for state in states)
    clock.mark("structure")
    design = project.table.design
    factors = tuple(project_factors(project, case) for case in snow.cases)
    service = tuple(service_factors(form, case.level, case.service) for case in snow.cases)
    strength = factor_arrays(factors)
    demands = tuple(combine(response, basis, *strength) for response in responses)
    clamp_force = np.concatenate([d.clamp for d in demands], axis=1)
    warmth = np.concatenate([r.clamp_force[basis.temperatures, :, 0] for r in responses])
    support = with_rails_named(project, support, warmth, memory)
    restrained = 0.0 if support.restraint is None else support.restraint.anchorage
    solar = array_forces(project, snow.cases, graph, force)
    solar_snow, solar_weight = array_strips(project, solar)
    strip_loads = StripLoads(
        snow=(strip_friction(project, graph, force) + solar_snow) * strength[0][:, None],
        weight=(strip_weight(project) + solar_weight) * strength[1][:, None],
        restrained=restrained * strength[2][:, None] + np.zeros(len(panel_strips(layout)[1])),
    )
    depths = np.array([row_depths(roof, layout, force, case) for case in snow.cases])
    ratio = np.nan if design.rail_height_ratio is None else design.rail_height_ratio
    rail_top = clamp.grip_height + clamp.height + rail.section.lowest_top
    limits = (
        *structure_limits(project, (responses, demands), basis, service, strip_loads),
        height_limit(depths, rail_top, ratio, layout),
        *array_limits(project, graph, force, solar, (strength[0], strength[1])),
    )
    return _Checks(
        snow=snow,
        graph=graph,
        force=force,
        lands=lands,
        support=support,
        loads=loads,
        basis=basis,
        responses=responses,
        states=states,
        factors=factors,
        service=service,
        demands=demands,
        clamp_force=clamp_force,
        strip_loads=strip_loads,
        array_forces=solar,
        depths=depths,
        limits=limits,
    )


def _row_proofs(
    project: Project,
    snow: SnowSet,
    force: RowForce,
    governing: Governing | None,
    limits: tuple[Limit, ...],
    memory: Memory | None,
    *,
    trial: bool,
) -> tuple[Proof, ...]:
    if governing is None:
        return ()
    row = governing_row(limits, governing, project)
    case = snow.cases[governing.case]
    roof, layout = project.roof, project.layout
    again = second_road(roof, layout, case, force, governing.case, row, project.slide.friction)
    if trial:
        return (again,)
    return again, refinement(roof, layout, case, force, governing.case, project.slide, memory)
