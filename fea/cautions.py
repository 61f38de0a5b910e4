"""What a reader must know beside the numbers, in short sentences."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from fea.checks.combinations import LoadFactors
from fea.checks.durability import couples, rail_movement
from fea.checks.grip_edges import grip_words
from fea.checks.limits import Limit
from fea.checks.rail_unchecked import unchecked_words
from fea.checks.strips import panel_strips
from fea.checks.walls import wall_words
from fea.panel.restraint import restraint_words
from fea.panel.support import PanelSupport
from fea.sections.buckling_class import class_words
from fea.sections.outline_doubts import outline_words
from fea.short_ends import short_end_words
from fea.straight import straight_words
from fea.typed_stiffness import typed_stiffness
from roofmodel.hardware import DesignFormat
from roofmodel.project.as_built import AS_MEASURED
from roofmodel.project.base import Table
from roofmodel.project.load import Project
from roofmodel.project.low_axis import crossing_words, low_axis_words, sunk
from roofmodel.project.moment_doubts import moment_notes
from roofmodel.project.schema import STARTING_NAME
from roofmodel.project.screw_tables import screw_notes
from roofmodel.project.seam_schema import SeamTable
from roofmodel.project.site_schema import AnySite, MeasuredSite, NbccSite
from roofmodel.project.strength_doubts import stiff_notes
from roofmodel.project.tested import (
    bare_notes,
    bond_notes,
    height_notes,
    tested_notes,
    untold_notes,
)
from roofmodel.shape.up_axis import doubts
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.landing import Landing
from roofmodel.sliding.thrust import RowForce
from roofmodel.snow.cases import LoadLevel, SnowSet
from roofmodel.snow.nbcc2020 import snow_weight_density
from roofmodel.surface import FLAT_SLOPE, STOREY, RoofSurface
from roofmodel.units import SYSTEMS, UnitSystem

Array = NDArray[np.float64]

EDGES_NAMED = 4  # edges named in a caution
BOXES_SHOWN = 6  # obstructions named in a caution
AT_IT = 0.05  # shorter pieces of a rail's line in a box are none [m]
LEADING = 1.5  # gamma_Q of a leading temperature, EN 1990 Table A1.2(B), from memory
LITTLE_SNOW = 200.0  # ground snow below this may have got a wrong unit (judgment) [Pa]
CRUMB = 10.0  # a kilogram; lighter snow over an edge is not told, such as over rakes rounded in a file [N]
LEAK = 1e-3  # share of the sliding force that leaves inside the roof, from where it is told [-]


def cautions(
    project: Project,
    snow: SnowSet,
    factors: tuple[LoadFactors, ...],
    graph: FlowGraph,
    force: RowForce,
    lands: Landing,
) -> tuple[str, ...]:
    """Sentences for the head of table and report.

    Parameters
    ----------
    project : Project
    snow : SnowSet
    factors : tuple of LoadFactors
        Strength factors of each case.
    graph : FlowGraph
    force : RowForce
    lands : Landing

    Returns
    -------
    tuple of str
    """
    found = list(doubts(project.roof))
    table = project.table
    units = SYSTEMS[table.project.units]
    if table.project.name.startswith(STARTING_NAME):
        found.append(
            f"The project is still called “{table.project.name}”: its numbers are examples, so the answer "
            "below is no answer for any real roof. Put in your own and give it a name."
        )
    if any(case.level is LoadLevel.MEASURED for case in snow.cases):
        factor = max(f.snow for f in factors)
        found.append(
            f"The snow was measured and counts {factor:g} times, without a load factor for design: "
            "this is an investigation of what lay there, not a design."
        )
    else:
        given: dict[str, Table | None] = {
            "clamp": table.clamp, "clamp.screws": table.clamp.screws, "panel": table.panel,
            "rail": table.rail, "seam": table.seam,
        }  # fmt: skip
        given |= {f"framing[{number}]": one for number, one in enumerate(table.framing, 1)}
        found += bare_notes(table.design.format, given)
    if table.design.snow_factor is not None:
        found.append(
            f"The user put {table.design.snow_factor:g} in place of the standard's factor on snow: "
            f"{table.design.snow_factor_reason}"
        )
    if not isinstance(table.site, MeasuredSite) and table.site.light_density is not None:
        found.append(
            "Snow depth at the rows is taken at the user's "
            f"{units.text(table.site.light_density, 'density')}; denser snow makes the rails look higher."
        )
    found += little_snow(table.site, units)
    if isinstance(table.site, NbccSite):
        found += _close_to_ground(project.roof, table.site, units)
    leading = project.table.design.format == "EN" and project.table.design.thermal_factor < LEADING
    if leading and project.rail.thermal != 0.0:
        found.append(
            f"Temperature goes with snow, {project.table.design.thermal_factor:g} T; a combination that it "
            f"leads (EN 1990 Eq. 6.10: {LEADING:g} T with reduced snow) is not made. design.thermal_factor = "
            f"{LEADING:g} with full snow covers it."
        )
    if project.slide.friction > 0.0:
        found.append(f"Friction of {project.slide.friction:g} is counted on: {table.surface.friction_reason}")
    if project.stops.count:
        found.append(
            f"{project.stops.count} single stops are not checked here and relieve no row: "
            "see `eavewright blanket`."
        )
    found += _obstructions(project, force, units)
    found += wall_words(project.roof, force, units)
    found += straight_words(project.roof, project.layout, graph, force, units)
    found += _arrays(project)
    found += _through_boxes(project)
    if project.roof.ground_assumed and len(force.exit_edge):
        found.append(
            "The file shows nothing below the roof: the ground is taken "
            f"{units.text(STOREY, 'length')} below its lowest point (judgment); where it lies lower, snow "
            "flies farther out. Give roof.ground."
        )
    found += _onto_rows(project, force, lands) + _upper_retained(project)
    found += (*stiff_notes(table.clamp, units), *untold_notes(table.clamp), *height_notes(table.clamp))
    found += grip_words(project)
    if not sunk(project.clamp.height, (project.rail,)):  # else it is a doubt
        found += low_axis_words(project.clamp.height, {"the rail": project.rail}, units)
        found += crossing_words(project.clamp, {"the rail": project.rail}, table.panel.seam_height, units)
    found += moment_notes("the rail", table.rail, project.rail, table.design.format, units)
    found += outline_words(project.rail.profile, units)
    found += class_words("the rail", project.rail, table.rail.alloy, DesignFormat(table.design.format))
    found += tested_notes(table.clamp, table.panel, units, table.design.format)
    found += typed_stiffness(table.clamp, units)
    found += screw_notes(table.clamp, table.panel)
    found += _lasting(project) + _leaks(force)
    if table.as_built is not None:
        found += [note for note in project.roof.notes if note.startswith(AS_MEASURED)]
    if project.rail.section.I_w > 0.0 and np.isnan(project.rail.section.omega_max):
        found.append(
            "The rail is an open section that warps, but nobody gave rail.omega_max: its stress from "
            "bimoments is in no check."
        )
    found += unchecked_words(project)
    held = np.zeros(len(project.layout.row_name))
    np.maximum.at(held, force.row, np.abs(force.thrust).max(axis=(0, 2)))
    idle = [n for n, h in zip(project.layout.row_name, held, strict=True) if h == 0.0]
    if idle:
        found.append(f"No case brings snow to {', '.join(idle)}: nothing was checked there.")
    return (*found, *short_end_words(project, graph, force))


def little_snow(site: AnySite, units: UnitSystem) -> list[str]:
    """Ground snow so light that its unit may be another's, such as psf for kN/m^2."""
    if isinstance(site, MeasuredSite) or site.ground_snow >= LITTLE_SNOW:
        return []
    return [
        f"site.ground_snow, {units.text(site.ground_snow, 'pressure')}, is so little that few build snow "
        f"retention for it (below {units.text(LITTLE_SNOW, 'pressure')}): check the number and its unit."
    ]


def _leaks(force: RowForce) -> list[str]:
    """Snow that leaves inside the roof, where planes of a file do not meet."""
    inside = force.exit_edge < 0
    lost = float(
        (force.exit_thrust[:, inside].sum(axis=1) / np.maximum(force.balance.driving, 1e-9)).max(initial=0.0)
    )
    if lost <= LEAK:
        return []
    return [
        f"{100.0 * lost:.1f} % of the sliding force leaves inside the roof, where its planes do not meet: "
        "rows below may carry more than is shown. Mend the file, or correct the roof in the project."
    ]


def _lasting(project: Project) -> list[str]:
    """Metals that should not touch, bonds of glue, splices too tight for the temperature."""
    table, found = project.table, []
    bad = [] if table.metals is None else [one for one in couples(table.metals) if one.judgment == "avoid"]
    found += [f"Metals: {one.parts[0]} on {one.parts[1]}: {one.why}." for one in bad]
    found += bond_notes(table.clamp)
    gap = table.rail.splice_gap
    if gap is not None:
        moved = rail_movement(project.layout, project.rail.material.alpha, project.rail.thermal, gap)
        rows = [project.layout.row_name[r] for r in np.unique(moved.gap_row[moved.gap > gap])]
        if rows:
            found.append(f"Sliding splices of {', '.join(rows)} must let pass more than rail.splice_gap.")
    return found


def _through_boxes(project: Project) -> list[str]:
    """Rows whose line runs through a box."""
    roof, layout, known = project.roof, project.layout, project.roof.obstacles
    hit: list[str] = []
    for box in np.flatnonzero(~known.parapet):
        plane = int(known.plane[box])
        foot = shapely.Polygon(roof.planes.to_plane(plane, known.start[known.face == box]))
        rows = np.flatnonzero(layout.row_plane == plane)
        lines = [LineString([layout.row_start[row], layout.row_end[row]]) for row in rows]
        crossed = rows[[line.intersection(foot).length > AT_IT for line in lines]] if len(rows) else rows
        hit += [f"{layout.row_name[row]} through {known.name[box]}" for row in crossed]
    arrays = roof.arrays
    for k, low, high in zip(range(arrays.count), arrays.low, arrays.high, strict=True):
        foot = shapely.box(*low, *high)
        for row in np.flatnonzero(layout.row_plane == arrays.plane[k]):
            if LineString([layout.row_start[row], layout.row_end[row]]).intersection(foot).length > AT_IT:
                hit.append(f"{layout.row_name[row]} through {arrays.name[k]}")
    if not hit:
        return []
    named = ", ".join(hit)
    return [
        f"A rail cannot run through what stands on the roof: {named}. Make two rows of it, with start and "
        "end."
    ]


def _upper_retained(project: Project) -> list[str]:
    """Planes whose sliding snow spares the roofs below, because the user says that rows hold it."""
    roof, steps = project.roof, project.roof.steps
    held = np.unique(steps.upper[np.isin(steps.upper, project.layout.row_plane)]).tolist()
    if not project.table.design.upper_roof_retained or not held:
        return []
    names = ", ".join(roof.planes.name[plane] for plane in held)
    return [
        f"Snow that would slide from {names} onto lower roofs is left out, as "
        "design.upper_roof_retained says: this relief holds only while the rows up there hold in every case."
    ]


def _onto_rows(project: Project, force: RowForce, landing: Landing) -> list[str]:
    """Edges whose snow lands on planes with rows below."""
    roof, steps = project.roof, project.roof.steps
    moves = (force.exit_thrust > 0.0) & (force.exit_weight >= CRUMB)
    slides = force.exit_edge[moves.any(axis=0)]
    lands = np.isin(steps.upper_edge, slides[slides >= 0]) & np.isin(steps.lower, project.layout.row_plane)
    lower, weight = landing.lower, landing.lower.weight.max(axis=0, initial=0.0)
    flies = (weight > 0.0) & np.isin(lower.plane, project.layout.row_plane)
    flies &= np.isin(force.exit_edge[lower.edge], slides[slides >= 0])
    if project.table.design.upper_roof_retained or not (lands.any() or flies.any()):
        return []
    over = [*steps.upper_edge[lands], *force.exit_edge[lower.edge[flies]]]
    edges = list(dict.fromkeys(roof.edges.name[e] for e in over))
    planes = list(dict.fromkeys(roof.planes.name[p] for p in [*steps.lower[lands], *lower.plane[flies]]))
    named = ", ".join(edges[:EDGES_NAMED]) + (" and others" if len(edges) > EDGES_NAMED else "")
    return [
        f"Snow that no row holds goes over {named} and lands on {', '.join(planes)}: rows there carry the "
        "part of its weight down the slope, as an upper bound beside what the snow cases bring as sliding "
        "snow, but not its impact."
    ]


def _obstructions(project: Project, force: RowForce, units: UnitSystem) -> list[str]:
    """What leans on boxes, and what it means that one is counted on."""
    if not len(force.obstacle):
        return []
    names = [project.roof.obstacles.name[i] for i in force.obstacle]
    push, held = force.obstacle_push.max(axis=0), force.obstacle_held.max(axis=0)
    order = np.argsort(-push, kind="stable")[:BOXES_SHOWN]
    more = f" and {len(names) - BOXES_SHOWN} more" if len(names) > BOXES_SHOWN else ""
    parts = [f"{names[i]} {units.text(float(push[i]), 'force')}" for i in order]
    found = [
        "Snow leans on obstructions, whose fastening must hold it and is in no check; worst case before load "
        f"factors: {', '.join(parts)}{more}."
    ]
    counted = [name for name, h in zip(names, held, strict=True) if h > 0.0]
    if counted:
        found.append(
            f"Rows are relieved by what {', '.join(counted)} may be counted on to hold (obstruction.strength"
            ", allowable). Load factors and the reserve take this relief as growing with the snow: if it "
            "does not, the rows below carry the difference."
        )
    given = project.roof.obstacles.strength
    allowed = given[force.obstacle] if len(given) else np.full(len(names), np.nan)
    over = [name for name, p, most in zip(names, push, allowed, strict=True) if p > most > 0.0]
    if over:
        found.append(
            f"Snow pushes on {', '.join(over)} with more than may be counted on (obstruction.strength): "
            "whether it stays there is in no check, and if not, the rows below carry its part too."
        )
    return found


def _arrays(project: Project) -> list[str]:
    """What is taken for granted at solar arrays."""
    arrays, slope = project.roof.arrays, project.roof.planes.slope
    if not arrays.count:
        return []
    found = [
        f"Solar arrays ({', '.join(arrays.name)}): rows below carry all snow as if it slid over the glass; "
        "the arrays' clamps carry what snow above and on them and their own weight bring down the slope, "
        "nothing else: no wind, no impact of snow that drops off, no moment from the height of the glass."
    ]
    free = [n for n, dams in zip(arrays.name, arrays.dams, strict=True) if not dams]
    if free:
        found.append(f"The user says that no snow ever leans on or sticks to {', '.join(free)} (solar.snow).")
    under = [n for n, passes in zip(arrays.name, arrays.passes, strict=True) if passes]
    if under:
        found.append(
            f"The user says that snow not deeper than the gap slides through below {', '.join(under)} "
            "(solar.gap_passes); ice or drifted snow in the gap stops it."
        )
    held = [n for n, force in zip(arrays.name, arrays.counted_on, strict=True) if force > 0.0]
    if held:
        found.append(
            f"Rows are relieved by what {', '.join(held)} may be counted on to hold (solar.counted_on, "
            "allowable). Load factors and the reserve take this relief as growing with the snow: if it does "
            "not, the rows below carry the difference."
        )
    flat = [n for n, p in zip(arrays.name, arrays.plane, strict=True) if slope[p] < FLAT_SLOPE]
    if flat:
        found.append(f"{', '.join(flat)}: on a flat plane there is no upper edge for snow to lean on.")
    return found


def _close_to_ground(roof: RoofSurface, site: NbccSite, units: UnitSystem) -> list[str]:
    """Planes that may be too low for the C_b of NBCC 2020 4.1.6.2.(2), which is below 1.0."""
    limit = 1.0 + site.ground_snow / float(snow_weight_density(site.ground_snow))
    outlines = [shapely.get_coordinates(polygon) for polygon in roof.planes.outline]
    heights = [roof.planes.to_world(plane, uv)[:, 2] for plane, uv in enumerate(outlines)]
    middle = np.array([0.5 * (z.min() + z.max()) for z in heights]) + roof.offset[2]
    low = [name for name, z in zip(roof.planes.name, middle, strict=True) if z < limit]
    if site.basic_factor is not None or not low:
        return []
    return [
        f"{', '.join(low)}: less than 1 + S_s / gamma = {units.text(limit, 'length')} above height 0 of the "
        "model. If that is the ground, NBCC 2020 asks for more snow there: set site.basic_factor = 1.0."
    ]


def panel_cautions(project: Project, support: PanelSupport, together: Limit) -> tuple[str, ...]:
    """What is not studied under the clamps, and what panels that are held twice mean for them.

    Parameters
    ----------
    project : Project
    support : PanelSupport
    together : Limit
        All directions of every clamp.
    """
    if project.seam is None:
        return ()
    found: list[str] = []
    use = np.nan_to_num(together.utilization, nan=0.0).max(axis=0, initial=0.0)
    if use.any():
        worst = together.target_name[int(np.argmax(use))]
        found.append(
            "Seam, sheet and clips under the clamps are not part of this check and may fail before what is: "
            f"run eavewright seam with this project, first with --clamp {worst}."
        )
    if project.roof.vaults or project.roof.domes:
        found.append(
            "Every facet of a vault, dome or cone counts as a panel strip of its own, with its own fixed "
            "point. Sheets that run on over the facets are longer: their travel by warmth and their drag "
            "add up, by hand."
        )
    if project.table.analysis.panel_flexibility:
        judged = judged_fields(project.table.seam)
        if judged:
            found.append(
                f"How far the panels give way rests on judgment for what was not given: {', '.join(judged)}. "
                "Try both ends of what these may be before a clamp passes by it."
            )
    if support.restraint is not None:
        names, units = panel_strips(project.layout)[1], SYSTEMS[project.table.project.units]
        found += restraint_words(support.restraint, project.seam, names, units, project.layout.row_name)
    return (*found, *support.notes)


def judged_fields(seam: SeamTable | None) -> list[str]:
    """Fields of the seam that were left to judgment and that its stiffness hangs on."""
    if seam is None:
        return []
    bed = {"deck": "bearing_stiffness", "purlins": "purlin_stiffness"}.get(seam.bearing)
    fields = ["lock_stiffness", "fold_height", "clip_first", *([bed] if bed else [])]
    found = [f"seam.{name}" for name in fields if getattr(seam, name) is None]
    return found + ([] if "fixed_stiffness" in seam.model_fields_set else ["seam.fixed_stiffness"])


def flexibility_cautions(
    support: PanelSupport,
    force: tuple[Array, Array],
    clamps: tuple[Limit, ...],
    rails: tuple[Limit, ...],
) -> tuple[str, ...]:
    """What changes because panels give way, whichever way it goes.

    Parameters
    ----------
    support : PanelSupport
    force : two (q, k, c, 6) float
        Factored forces at the grips, on panels that give way and on rigid ones. [N, N m]
    clamps, rails : tuples of Limit
        All directions of every clamp, and the rail's stress: on rigid panels, then in every state.
    """
    words = []
    for what, limits in (("clamp", clamps), ("piece of rail", rails)):
        use = np.array([np.nan_to_num(limit.utilization, nan=0.0).max(axis=0) for limit in limits])
        if not use.any():
            continue
        names, soft = limits[0].target_name, use[1:].max(axis=0)
        then, now, most = int(use[0].argmax()), int(soft.argmax()), int(np.abs(soft - use[0]).argmax())
        each = "; ".join(
            f"{state}: {_percent(u)}" for state, u in zip(support.states, use[1:].max(axis=1), strict=True)
        )
        words.append(
            f"the {what} that uses most goes from {_percent(use[0, then])} ({names[then]}) to "
            f"{_percent(soft[now])} ({names[now]}; {each})"
            + (
                f", and the largest change is from {_percent(use[0, most])} to {_percent(soft[most])} at "
                f"{names[most]}"
                if most != now or now != then
                else ""
            )
        )
    change, names = along_change(*force), clamps[0].target_name
    low, high = int(np.argmin(change)), int(np.argmax(change))
    words.append(
        f"the largest force along the seam changes by {100.0 * change[low]:+.1f} % at {names[low]} to "
        f"{100.0 * change[high]:+.1f} % at {names[high]}"
    )
    return (f"Seams, sheet and clips give way. Against rigid seams {'; '.join(words)}.",)


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f} %"


def along_change(force: np.ndarray, rigid: np.ndarray) -> np.ndarray:
    """Change of each clamp's largest force along its seam, (c,), of what it is on rigid panels. [-]."""
    now, then = (np.abs(f[..., 0]).max(axis=(0, 1)) for f in (force, rigid))
    return np.asarray(np.divide(now - then, then, out=np.zeros_like(now), where=then > 0.0))
