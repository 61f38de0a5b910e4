"""Steps of the hand check for snow from beside a row: each bound by itself, and the clamp's share of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.analysis import Analysis
from fea.rails.actions import rail_loads
from fea.rails.frame import solve_frame
from roofmodel.shape.envelopes import areal
from roofmodel.sliding.cells import aside
from roofmodel.sliding.end_reach import end_reaches, end_wedge, lodges
from roofmodel.sliding.ends import end_parts
from roofmodel.sliding.landed import on_cells
from roofmodel.sliding.thrust import RowForce, valley_factor
from roofmodel.surface import FLAT_SLOPE, SHALLOW, STEEP
from roofmodel.upper_faces import upper_faces
from viewer.quantities import quantity, system
from viewer.report.plain_beam import end_words
from viewer.report.working_flow import SAME, WHOLE, feeders, feeding_step, passing, region_of
from viewer.report.working_parts import ClampAt, Feeder, Number, Step

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

FEW, SMALL = 4, 0.01  # parts told one by one, and the least share of E that one has [-]
LITTLE = 5e-4  # a rest of E below this goes with the largest part [-]
CLOSED = 1e-3  # an end so near to a valley stands at it [m]
Kind = Literal["end", "landed", "boxes", "ahead"]


@dataclass(frozen=True)
class Part:
    """One bound: which row, from where, its size [N] and what of it reaches the clamp [N]."""

    kind: Kind
    row: int
    end: int
    bound: float
    reached: float = 0.0


def bound_parts(analysis: Analysis, case: int, row: int) -> list[Part]:
    """All bounds whose loads a clamp of a row may feel: its own row's, and through panels its plane's."""
    layout, force = analysis.project.layout, analysis.force
    rows = np.array([row])
    if analysis.project.table.analysis.panel_flexibility:
        rows = np.flatnonzero(layout.row_plane == layout.row_plane[row])
    beside = _beside(force)
    found = []
    for one in rows.tolist():
        found += [Part("end", one, end, float(force.end_bound[case, one, end])) for end in (0, 1)]
        on = force.row == one
        found += [Part(kind, one, 0, float(-of[case, on, 1].sum())) for kind, of in beside.items()]
    return [part for part in found if part.bound > 1e-9]


def _beside(force: RowForce) -> dict[Kind, Array]:
    """Parts of `RowForce.aside` by where they come from, (q, k, 2) each. [N]."""
    none = np.zeros_like(force.aside)
    landed, ahead = (none if one is None else one for one in (force.landed, force.ahead))
    return {"landed": landed, "boxes": force.aside - landed - ahead, "ahead": ahead}


def reached(analysis: Analysis, at: ClampAt, parts: list[Part]) -> list[Part]:
    """The parts with what each brings to the clamp along its seam, by the frame under it alone."""
    project, force = analysis.project, analysis.force
    count = len(parts)
    ends, beside = np.zeros((count, *force.end_bound.shape[1:])), np.zeros((count, *force.aside.shape[1:]))
    parted = _beside(force)
    for k, part in enumerate(parts):
        if part.kind == "end":
            ends[k, part.row, part.end] = part.bound
            continue
        on = force.row == part.row
        beside[k, on] = parted[part.kind][at.case, on]
    alone = replace(force, thrust=np.zeros_like(beside), end_bound=ends, aside=beside)
    loads, _ = rail_loads(project.roof, project.layout, project.rail, alone)
    along = solve_frame(analysis.states[at.state].frame(), loads).clamp_force[
        2 * count : 3 * count, at.clamp, 0
    ]
    return [replace(part, reached=float(value)) for part, value in zip(parts, along, strict=True)]


def end_steps(analysis: Analysis, at: ClampAt, ends: float) -> tuple[Step, ...]:
    """E, the clamp's share of every bound, after each bound from the numbers that it comes about from."""
    row = int(analysis.project.layout.clamp_row[at.clamp])
    parts = reached(analysis, at, bound_parts(analysis, at.case, row))
    order = sorted(parts, key=lambda part: -abs(part.reached))
    told = [p for p in order[:FEW] if abs(p.reached) > SMALL * abs(ends)] or order[:1]
    letters = ["B"] if len(told) == 1 else [f"B_{k}" for k in range(1, len(told) + 1)]
    steps = [_bound_step(analysis, at.case, p, letter) for p, letter in zip(told, letters, strict=True)]
    rest = ends - sum(part.reached for part in told)
    if abs(rest) <= LITTLE * abs(ends):  # too little to be told by itself
        told[0] = replace(told[0], reached=told[0].reached + rest)
    expression: list[str | Number] = []
    for part in told:
        expression += [" + "] if expression else []
        expression += [Number(part.reached / part.bound), " × ", Number(part.bound, "force")]
    more = abs(rest) > LITTLE * abs(ends)
    if more:
        expression += [" + ", Number(rest, "force")]
    names = ["k_E" if letter == "B" else letter.replace("B", "k") for letter in letters]
    shares = ", ".join(
        f"{name} = {100.0 * part.reached / part.bound:.3g} %" for name, part in zip(names, told, strict=True)
    )
    notes = []
    if any(part.kind == "end" for part in told):
        notes.append(
            "An extra force at a row's end leans on the rail's overhang, evenly from tip to end clamp."
        )
    if any(part.kind == "end" and part.reached > part.bound for part in told):
        notes.append("More than 100 % is the lever of the overhang.")
    if told[0].kind == "end" and told[0].row == row:
        notes.append(end_words(analysis, at, told[0].end, told[0].reached / told[0].bound))
    if any(part.row != row for part in told):
        notes.append("Those on other rows come through the panels, which give way.")
    if more:
        notes.append("The last number: all other such bounds together.")
    formula = " + ".join(f"{name} {letter}" for name, letter in zip(names, letters, strict=True))
    final = Step(
        "Upper bounds of snow from beside, as far as they reach this clamp",
        "E",
        formula + (" + E_r" if more else ""),
        tuple(expression),
        Number(ends, "force"),
        f"{shares} of it {'reaches' if len(told) == 1 else 'each reach'} this clamp, from the frame",
        " ".join(note for note in notes if note),
    )
    return (*steps, final)


def _bound_step(analysis: Analysis, case: int, part: Part, letter: str) -> Step:
    if part.kind == "end":
        return _end_step(analysis, case, part, letter)
    if part.kind == "ahead":
        return _ahead_step(analysis, part, letter)
    return _brought_step(analysis, case, part, letter)


def _end_step(analysis: Analysis, case: int, part: Part, letter: str) -> Step:
    """Planes, areas and pressures that make up the bound at a row's end, and what other rows hold of it."""
    project, graph = analysis.project, analysis.graph
    layout = project.layout
    spread = project.slide.spread_angle
    weight = analysis.force.node_weight[case]
    taken = end_parts(project.roof, layout, graph, (part.row, part.end), weight, project.slide.end_spreads)
    reach = end_reaches(project.roof, layout, graph, *project.slide.end_spreads)[part.row][part.end]
    wedge = end_wedge(layout, (part.row, part.end), reach)
    found = [own_plane(analysis, case, taken.cell, taken.share, wedge)] if len(taken.cell) else []
    if len(taken.node):
        node, at = np.unique(taken.node, return_inverse=True)
        start = np.bincount(at, taken.start).astype(np.float64)
        found += feeders(analysis, case, node, start)
    name = layout.row_name[part.row]
    title = f"Upper bound at the {('left', 'right')[part.end]} end of row {name}"
    where = f"is within {np.degrees(spread):.3g}° of the fall line from that end and held by no row"
    note = _held_words(analysis, case, part.row, taken.held) + _lodging_words(analysis, part)
    step = feeding_step(analysis, found, (title, letter), where, note)
    rest = part.bound - step.result.value
    if abs(rest) <= SAME * part.bound:
        return replace(step, result=Number(part.bound, "force"))
    own = found[:1] if found and found[0].plane == int(layout.row_plane[part.row]) and len(taken.cell) else []
    step = feeding_step(analysis, own, (title, letter), where, note)
    rest = part.bound - step.result.value
    expression = (*step.expression, " + ", Number(rest, "force")) if own else (Number(part.bound, "force"),)
    return replace(
        step,
        formula=f"{step.formula} + D" if own else "D",
        expression=expression,
        result=Number(part.bound, "force"),
        note=f"{step.note} The last number is what other planes send through the spread, by the flow.",
    )


def own_plane(
    analysis: Analysis, case: int, cell: IntArray, share: Array, wedge: shapely.Polygon | None = None
) -> Feeder:
    """Snow of one plane on parts of its cells; `wedge`, in (u, v), bounds where it lies. [m]."""
    cells, project = analysis.graph.cells, analysis.project
    area = share * cells.plan_area[cell]
    weight = float(area @ analysis.force.cell_pressure[case, cell])
    plane = int(cells.plane[cell[0]])
    region: BaseGeometry = region_of(cells, cell if wedge is not None else cell[share > WHOLE])
    if wedge is not None:
        # The wedge goes far beyond the plane; cut to its size first, it keeps its digits.
        near = shapely.intersection(wedge, project.roof.planes.outline[plane].envelope)
        within = shapely.transform(near, lambda uv: project.roof.planes.to_world(plane, uv)[:, :2])
        region = areal(shapely.intersection(region, within))
    total = float(area.sum())
    return Feeder(plane, total, weight / total, float(project.roof.planes.slope[plane]), 1.0, region)


def held_by(
    analysis: Analysis, case: int, held: dict[int, tuple[IntArray, Array]]
) -> list[tuple[str, float]]:
    """Rows that hold snow within the spread, and the force that each takes off the end, the largest first."""
    project = analysis.project
    found = []
    for row, (cell, share) in held.items():
        one = own_plane(analysis, case, cell, share)
        found.append((project.layout.row_name[row], one.force(project.slide.friction)))
    return sorted(found, key=lambda pair: -pair[1])


def _held_words(analysis: Analysis, case: int, row: int, held: dict[int, tuple[IntArray, Array]]) -> str:
    units = system(analysis.project.table.project.units)
    rows = [(name, value) for name, value in held_by(analysis, case, held) if value > 1.0]
    spread = quantity(analysis.project.slide.spread_angle, "angle", units)
    words = (
        f"The snow beyond this end of the row, out to {spread} from the fall line up from the end, "
        "measured on the slope (on plan, lengths down the slope are shorter by cos θ; "
        "analysis.spread_angle, judgment), less what other rows hold, with what flows into it from other "
        "planes: each area times its pressure times sin θ."
    )
    own = analysis.project.layout.row_name[row]
    others = [(name, value) for name, value in rows if name != own][:FEW]
    if others:
        told = ", ".join(f"{name} {quantity(value, 'force', units)}" for name, value in others)
        words += f" Other rows take snow of the plane in it: {told}; without them it leans here too."
    return words


def _lodging_words(analysis: Analysis, part: Part) -> str:
    """Why the streams of a valley that the end stands near to count; empty for other ends."""
    project = analysis.project
    slide, units = project.slide, system(project.table.project.units)
    reach = end_reaches(project.roof, project.layout, analysis.graph, *slide.end_spreads)[part.row][part.end]
    if reach.part <= 0.0 or reach.gap < CLOSED:
        return ""
    near, far = (quantity(k * lodges(slide.valley_spread), "length", units) for k in (1.0, 2.0))
    how = "whole" if reach.part >= 1.0 else f"{100.0 * reach.part:.0f} %"
    valley = project.roof.edges.name[reach.edge]
    return (
        f" What comes down {valley} and no row closes counts {how}: an end up to "
        f"{near} square from a valley takes what a row that reaches it would hold, less and less up to {far} "
        "(judgment)."
    )


def _ahead_step(analysis: Analysis, part: Part, letter: str) -> Step:
    """What may go straight on over planes that are taken to turn it."""
    return Step(
        f"Upper bound of what may go straight on to row {analysis.project.layout.row_name[part.row]}",
        letter,
        "D",
        (Number(part.bound, "force"),),
        Number(part.bound, "force"),
        f"by the flow over the roof, where planes of {np.degrees(SHALLOW):.0f}° to {np.degrees(STEEP):.0f}° "
        "that slope aside turn snow only in part, the more the steeper they are (judgment), less what comes "
        "to the row where they turn all",
    )


def _brought_step(analysis: Analysis, case: int, part: Part, letter: str) -> Step:
    """What lands above a row off higher roofs, or what obstructions send down beside themselves."""
    project, graph, force = analysis.project, analysis.graph, analysis.force
    roof = project.roof
    on = graph.catch_row == part.row
    reach = passing(graph, graph.catch_node[on], valley_factor(roof, graph, project.slide.valley)[0])
    here = reach[: graph.cells.count]
    terms: list[tuple[str, float, float, float]] = []  # name, force or weight, slope, part
    if part.kind == "landed":
        lower = analysis.landing.lower
        for k, plane in enumerate(lower.plane.tolist()):
            if roof.planes.slope[plane] > FLAT_SLOPE and lower.weight[case, k] > 0.0:
                arrives = float(on_cells(graph, plane, lower.patch[k]) @ here)
                edge = int(force.exit_edge[lower.edge[k]])
                name = roof.edges.name[edge] if edge >= 0 else "an open edge"
                terms.append((name, float(lower.weight[case, k]), float(roof.planes.slope[plane]), arrives))
    else:
        faces = upper_faces(roof)
        face, cell, share = aside(graph.cells, faces)
        kept = np.zeros(faces.count)
        np.add.at(kept, face, share * here[cell])
        box = np.flatnonzero(faces.obstacle >= 0)
        sent = force.obstacle_thrust[case] - force.obstacle_held[case]
        for k, one in enumerate(box.tolist()):
            terms.append(
                (roof.obstacles.name[int(faces.obstacle[one])], float(sent[k]), 0.0, float(kept[one]))
            )
    terms = sorted(
        (term for term in terms if term[1] * term[3] > 1e-6 * part.bound), key=lambda term: -term[1] * term[3]
    )[:FEW]
    expression: list[str | Number] = []
    total = 0.0
    for _, size, slope, arrives in terms:
        turn: tuple[str | Number, ...] = (" × sin ", Number(slope, "angle")) if part.kind == "landed" else ()
        expression += [*([" + "] if expression else []), Number(size, "force"), *turn, " × ", Number(arrives)]
        total += size * arrives * (float(np.sin(slope)) if part.kind == "landed" else 1.0)
    rest = part.bound - total
    more = not terms or abs(rest) > 1e-3 * part.bound
    if more:
        expression += [*([" + "] if expression else []), Number(rest, "force")]
    row, names = project.layout.row_name[part.row], ", ".join(term[0] for term in terms)
    if part.kind == "landed":
        title, formula = f"Upper bound of what lands above row {row} off higher roofs", "Σ W sin θ r"
        source = f"W: weight that slides over {names} and lands, this case; θ: slope it lands on"
    else:
        title, formula = f"Upper bound of what obstructions send down to row {row} beside them", "Σ W r"
        source = f"W: force on {names} less what is counted on of it, this case"
    return Step(
        title,
        letter,
        f"{formula} + D" if more else formula,
        tuple(expression),
        Number(part.bound, "force"),
        f"{source}; r: part that comes to this row, by the flow over the roof",
        "The last number: the rest, by the flow over the roof." if more else "",
    )
