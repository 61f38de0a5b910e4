"""Demands on the building with the rows and without: purlins, overhangs, clips, panel anchorage.

All before load factors, for the engineer of the building. "Without" is the snow that the standard lets slide
off a roof that carries no rows, and no force of any row.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.anchorage import strip_demand
from fea.checks.building import BuildingLoads, building_loads, plane_drag
from fea.checks.combinations import LoadFactors
from fea.checks.limits import combine
from fea.checks.overhang import OverhangLoads, overhang_loads
from fea.checks.purlins import LineLoads, line_loads
from fea.checks.strips import panel_strips, strip_friction, strip_weight
from fea.rails.actions import Basis
from fea.rails.loads import FrameResult
from roofmodel.framing import Framing
from roofmodel.project.load import Project
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.thrust import RowForce
from roofmodel.snow.cases import SnowCase, SnowSet, case_pressure_at
from roofmodel.snow.eave_cases import EDGE_STRIP, EaveCases, eave_cases
from roofmodel.snow.inputs import AsceSite, DirectSite
from roofmodel.snow.registry import bare_snow
from roofmodel.snow.standing import REACH

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVER = 0.5  # of the tipping moment of a clamp at its clip, share of the clip spacing (judgment)
RISES = 1e-6  # a smaller rise is rounding [-]


@dataclass(frozen=True)
class Demand:
    """One demand on one plane, the worst over cases and places.

    Attributes
    ----------
    plane : str
    what, place : str
    quantity : str
        Kind of number.
    held, free : float
        With the rows and without; `free` is NaN where snow was measured. [SI]
    case : str
        Of `held`.
    """

    plane: str
    what: str
    place: str
    quantity: str
    held: float
    free: float
    case: str

    @property
    def rises(self) -> bool:
        """Whether the rows raise it."""
        return bool(self.held > self.free * (1.0 + RISES) and self.held > 0.0)


@dataclass(frozen=True)
class BuildingDemands:
    """What the rows do to the building.

    Attributes
    ----------
    planes : BuildingLoads
    demands : tuple of Demand
    held, free : LineLoads or None
        Purlin lines with the rows and without.
    over_held, over_free : OverhangLoads or None
    eave : EaveCases
        With the rows.
    drag : (q, p) float
        Of the rows of each plane in each case of the snow. [N]
    use : (q, l) float
        Factored moment over strength of every purlin line; NaN where one is not given. [-]
    """

    planes: BuildingLoads
    demands: tuple[Demand, ...]
    held: LineLoads | None
    free: LineLoads | None
    over_held: OverhangLoads | None
    over_free: OverhangLoads | None
    eave: EaveCases
    drag: Array
    use: Array

    @property
    def rising(self) -> tuple[Demand, ...]:
        """Demands that the rows raise."""
        return tuple(demand for demand in self.demands if demand.rises)

    @property
    def exceeded(self) -> bool:
        """Whether a purlin exceeds the strength that the user gave."""
        return bool(np.any(self.use > 1.0))


def building_demands(
    project: Project,
    snow: SnowSet,
    flow: tuple[FlowGraph, RowForce],
    solved: tuple[tuple[FrameResult, ...], Basis],
    factors: tuple[LoadFactors, ...],
) -> BuildingDemands:
    """Demands with the rows of a project against those without.

    Parameters
    ----------
    project : Project
    snow : SnowSet
        With the rows, (q,).
    flow : (FlowGraph, RowForce)
    solved : (responses, basis)
        Of the rows.
    factors : tuple of LoadFactors, (q,)
    """
    roof, framing = project.roof, project.framing
    bare = None if isinstance(project.site, DirectSite) else bare_snow(roof, project.site)
    planes = building_loads(project, snow, flow[1], bare)
    overhang = np.full(roof.planes.count, np.nan) if framing is None else framing.overhang
    retained = frozenset(project.layout.row_plane.tolist())
    eave = eave_cases(roof, project.site, retained, overhang, snow.cases[0])
    with_rows = (*snow.cases, *eave.cases)
    without: tuple[SnowCase, ...] | None = None
    if bare is not None:
        standing = eave_cases(roof, project.site, frozenset(), overhang, bare.cases[0], own_slope=True)
        without = (*bare.cases, *standing.cases)
    found: list[Demand] = []
    held = free = over_held = over_free = None
    use = np.full((len(with_rows), 0), np.nan)
    # Both at once, since cases with the rows and without share most of their zones.
    every, here, there = (*with_rows, *(without or ())), slice(0, len(with_rows)), slice(len(with_rows), None)
    if framing is not None:
        marks = _marks(project, framing)
        over = overhang_loads(roof, framing, every, marks)
        over_held = _with_row_couples(project, framing, flow[1], over.some(here))
        over_free = None if without is None else over.some(there)
        found = [*_overhang_demands(project, over_held, over_free), *found]
    if framing is not None and len(framing.plane):
        first = factors[0] if factors else LoadFactors(1.0, 1.0, 1.0, "")
        known = (*factors, *[first] * (len(every) - len(factors)))
        pair = np.array([f.snow for f in known]), np.array([f.dead for f in known])
        lines = line_loads(roof, framing, every, project.site.standard, pair, marks)
        held, free = lines.some(here), None if without is None else lines.some(there)
        use = held.moment / framing.strength[framing.plane]
        found = [*_purlin_demands(project, framing, held, free), *found]
    levers = (_levers(project, held), _levers(project, free))
    found += _row_demands(project, with_rows, without, levers, flow, solved)
    order = np.argsort([roof.planes.name.index(demand.plane) for demand in found], kind="stable")
    drag = plane_drag(project, flow[1])
    return BuildingDemands(
        planes,
        tuple(found[i] for i in order),
        held,
        free,
        over_held,
        over_free,
        eave,
        drag,
        use,
    )


def _marks(project: Project, framing: Framing) -> Array:
    """Where loads on the eaves end, up the slope. [m]."""
    slope = project.roof.planes.slope
    if isinstance(project.site, AsceSite):
        return np.where(np.nan_to_num(framing.overhang) > 0.0, REACH / np.cos(slope), np.nan)
    return EDGE_STRIP / np.cos(slope)


def _levers(project: Project, loads: LineLoads | None) -> Array | None:
    """What sheets that act as levers pull upward at a clip on a purlin, (q, p); None without purlins. [N]."""
    framing = project.framing
    if framing is None or loads is None:
        return None
    pull = np.zeros((len(loads.cases), project.roof.planes.count))
    np.maximum.at(pull.T, framing.plane, loads.lift.T)
    return pull * project.panel.seam_spacing


def _purlin_demands(
    project: Project, framing: Framing, held: LineLoads, free: LineLoads | None
) -> Iterable[Demand]:
    names = framing.names
    for plane in np.unique(framing.plane).tolist():
        on = np.flatnonzero(framing.plane == plane)
        for what, quantity, field in _OF_LINES:
            with_rows = getattr(held, field)[:, on]
            without = None if free is None else getattr(free, field)[:, on]
            lifts = max(float(each.max()) for each in (with_rows, without) if each is not None)
            if np.isnan(with_rows).all() or (field.startswith(_LIFTS) and not lifts > 0.0):
                continue
            yield from _worst_lines(
                (project.roof.planes.name[plane], what, quantity),
                tuple(names[line] for line in on),
                with_rows,
                without,
                held.cases,
            )


_LIFTS = ("lift", "uplift")  # told only where something lifts
_OF_LINES = (
    ("purlin line load", "line", "peak"),
    ("uplift of a purlin line", "line", "lift"),
    ("uplift of a purlin line less dead load", "line", "lift_dead"),
    ("force of a purlin on a frame", "force", "reaction"),
    ("uplift of a purlin at a frame", "force", "uplift"),
    ("uplift of a purlin at a frame less dead load", "force", "uplift_dead"),
    ("sagging moment of a purlin", "moment", "sagging"),
    ("hogging moment of a purlin", "moment", "hogging"),
    ("shear of a purlin", "force", "shear"),
)


def _worst_lines(
    told: tuple[str, str, str],
    names: tuple[str, ...],
    held: Array,
    free: Array | None,
    cases: tuple[str, ...],
) -> Iterable[Demand]:
    """The most loaded line, and before it the one that the rows raise most where that is another."""
    most = held.max(axis=0)
    bare = np.full(len(names), np.nan) if free is None else free.max(axis=0)
    gain = np.nan_to_num(most - bare)
    largest, raised = int(np.argmax(most)), int(np.argmax(gain))
    if gain[largest] >= gain[raised] - RISES * most.max():
        raised = largest
    for line in dict.fromkeys((raised, largest)):
        place = names[line]
        if raised != largest:
            place += ", rises most" if line == raised else ", the largest"
        case = cases[int(np.argmax(held[:, line]))]
        yield Demand(told[0], told[1], place, told[2], float(most[line]), float(bare[line]), case)


def _overhang_demands(project: Project, held: OverhangLoads, free: OverhangLoads | None) -> Iterable[Demand]:
    for plane, name in enumerate(project.roof.planes.name):
        if np.isnan(held.shear[:, plane]).all():
            continue
        for what, kind, with_rows, without in (
            ("shear of the overhang", "line", held.shear, None if free is None else free.shear),
            (
                "moment of the overhang",
                "moment per length",
                held.moment,
                None if free is None else free.moment,
            ),
        ):
            case = int(np.argmax(with_rows[:, plane]))
            bare = np.nan if without is None else float(without[:, plane].max())
            yield Demand(name, what, "eave", kind, float(with_rows[case, plane]), bare, held.cases[case])


def _with_row_couples(
    project: Project, framing: Framing, force: RowForce, loads: OverhangLoads
) -> OverhangLoads:
    """Add what rows that stand on an overhang bring by the height of their rails: F h, hogging."""
    layout, moment = project.layout, loads.moment.copy()
    arm = project.clamp.grip_height + project.clamp.height
    per_length = -(force.thrust + force.aside)[..., 1] / np.diff(force.span, axis=1)[:, 0]
    station_plane = layout.row_plane[force.row]
    up = 0.5 * (layout.row_start + layout.row_end)[force.row, 1]
    on = up < np.nan_to_num(framing.overhang)[station_plane]
    for plane in np.unique(station_plane[on]).tolist():
        mine = on & (station_plane == plane)
        rows = np.unique(force.row[mine])
        peak = sum(per_length[:, mine & (force.row == row)].max(axis=1) for row in rows)
        moment[: len(per_length), plane] += peak * arm
    return OverhangLoads(loads.cases, loads.shear, moment)


def _row_demands(
    project: Project,
    cases: tuple[SnowCase, ...],
    without: tuple[SnowCase, ...] | None,
    levers: tuple[Array | None, Array | None],
    flow: tuple[FlowGraph, RowForce],
    solved: tuple[tuple[FrameResult, ...], Basis],
) -> list[Demand]:
    """Clips and panel anchorage of the planes with rows; temperature left out.

    Of `cases` with the rows, the first ones slide; those on the eaves, which follow, load no row.
    """
    layout, (responses, basis) = project.layout, solved
    if not len(layout.clamp_row):
        return []
    slid = len(flow[1].thrust)
    one, none = np.ones(slid), np.zeros(slid)
    clamp = np.concatenate([combine(r, basis, one, one, none).clamp for r in responses], axis=1)
    found = []
    if not np.isnan(project.panel.clip_spacing):
        found = _clip_demands(project, cases, without, levers, clamp)
    cases = cases[:slid]
    strip, names = panel_strips(layout)
    rest = strip_friction(project, *flow) + strip_weight(project)
    along = clamp[..., 0].reshape(len(cases), -1, len(basis.readings), len(strip))
    zero = np.zeros((len(cases), 1, len(names)))
    demand = strip_demand(along, basis.readings, strip, rest[:, None], zero).max(axis=1)
    strip_plane = np.zeros(len(names), dtype=np.int64)
    strip_plane[strip] = layout.row_plane[layout.clamp_row]
    for plane in np.unique(strip_plane).tolist():
        on = np.flatnonzero(strip_plane == plane)
        case, k = np.unravel_index(int(np.argmax(demand[:, on])), (len(cases), len(on)))
        bare = np.nan if without is None else float(rest[:, on].max())
        found.append(
            Demand(
                project.roof.planes.name[plane],
                "drag on the fixed point of a panel strip",
                names[on[int(k)]],
                "force",
                float(demand[case, on[int(k)]]),
                bare,
                cases[int(case)].name,
            )
        )
    return found


def _clip_demands(
    project: Project,
    cases: tuple[SnowCase, ...],
    without: tuple[SnowCase, ...] | None,
    levers: tuple[Array | None, Array | None],
    clamp: Array,
) -> list[Demand]:
    """Uplift and push at the clip beside a clamp, by statics on the safe side (judgment).

    The clip takes all of the clamp's pull or push, and its tipping moment over half the clip spacing: twice
    what a shell model of the seam of cedar-hollow gives; snow never relieves uplift. Push adds to the
    snow square to the roof on one clip spacing of one strip. Where sheets lift a purlin line as levers, such
    as under ice on a long overhang, their pull on one strip adds to the uplift of the same case.
    """
    layout, planes, panel = project.layout, project.roof.planes, project.panel
    plane = layout.row_plane[layout.clamp_row]
    xy = np.concatenate(
        [planes.to_world(int(p), layout.clamp_uv[plane == p])[:, :2] for p in np.unique(plane)]
    )
    order = np.argsort(np.concatenate([np.flatnonzero(plane == p) for p in np.unique(plane)]))
    xy = xy[order]
    share = np.cos(planes.slope[plane]) ** 2 * panel.clip_spacing * panel.seam_spacing
    tip = np.abs(clamp[..., 4]) / (LEVER * panel.clip_spacing)
    spare = ((0, len(cases) - len(clamp)), (0, 0))
    uplift = np.pad((np.maximum(clamp[..., 2], 0.0) + tip).max(axis=1), spare)
    lifted, lifted_bare = (0.0 if pull is None else pull[:, plane] for pull in levers)
    uplift = uplift + lifted
    pressed = np.array([case_pressure_at(case, xy, plane) for case in cases]) * share
    push = np.pad((np.maximum(-clamp[..., 2], 0.0) + tip).max(axis=1), spare) + pressed
    bare = None
    if without is not None:
        bare = (np.array([case_pressure_at(case, xy, plane) for case in without]) * share).max(axis=0)
    calm = np.max(np.atleast_2d(lifted_bare), axis=0) + np.zeros(len(plane))
    found = []
    for p in np.unique(plane).tolist():
        on = np.flatnonzero(plane == p)
        for what, demand in (("uplift of a clip", uplift), ("push of a clip or bearing", push)):
            case, k = np.unravel_index(int(np.argmax(demand[:, on])), (len(cases), len(on)))
            clip = on[int(k)]
            free = np.nan if bare is None else float((calm if demand is uplift else bare)[clip])
            found.append(
                Demand(
                    planes.name[p],
                    what,
                    layout.clamp_name[clip],
                    "force",
                    float(demand[case, clip]),
                    free,
                    cases[int(case)].name,
                )
            )
    return found
