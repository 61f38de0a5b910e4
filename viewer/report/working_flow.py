"""Steps of the hand check from a clamp's own strip to all the snow that reaches it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.sliding.arrival import stream_shares
from roofmodel.sliding.cells import Cells
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.levels import against_flow
from roofmodel.sliding.short_stations import evened
from roofmodel.sliding.thrust import ValleyThrust, valley_factor
from roofmodel.surface import shown_origin
from roofmodel.units import SYSTEMS
from viewer.quantities import quantity
from viewer.report.working_parts import ClampAt, Expression, Feeder, Number, Step

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

EVEN = 1e-6  # two numbers that differ by less are one [-]
GRID = 1e-3  # cells this near touch [m]
WHOLE = 0.01  # cells that send less of their snow are not drawn into a region [-]
CORNERS = 8  # a region with more is told by its extent
IN_FULL = "Each thrust counts in full, whatever its direction: the upper bound (scalar sum)."
SAME = 2e-3  # so much may a stream differ from the hand sum of the planes that feed it [-]


def flow_steps(analysis: Analysis, at: ClampAt, own: float, ends: tuple[float, float]) -> tuple[Step, ...]:
    """From the hand sum T_0 of the clamp's own strip to T, the flow over the roof.

    Parameters
    ----------
    analysis : Analysis
    at : ClampAt
    own : float
        T_0. [N]
    ends : (float, float)
        Stretch of rail of the clamp. [m]
    """
    total = float(analysis.tributary[at.case, at.clamp])
    if abs(total - own) <= EVEN * max(total, 1.0):
        note = (
            "No snow of other planes reaches this clamp, and the flow over the roof agrees with the hand sum."
        )
        return (_total("Against the flow over the roof", "T_0", (Number(own, "force"),), total, note),)
    steps, names, parts = list[Step](), ["T_0"], [own]
    layout = analysis.project.layout
    row = int(layout.clamp_row[at.clamp])
    on, node, mixed, streams = _stations(analysis, at.case, row)
    span = analysis.force.span[on]
    width = np.clip(np.minimum(span[:, 1], ends[1]) - np.maximum(span[:, 0], ends[0]), 0.0, None)
    here = np.flatnonzero(width > 0.0)
    share, line = (width / (span[:, 1] - span[:, 0]))[here], np.zeros(len(here))
    cells = mixed[here] @ analysis.force.cell_thrust[at.case, node]
    parted = share @ mixed[here]  # of what each cell brings
    some = np.flatnonzero(parted > 0.0)
    above, valleys = list[Feeder](), list[Feeder]()
    plane, friction = int(analysis.project.layout.row_plane[row]), analysis.project.slide.friction
    straight = feeders(analysis, at.case, node[some], parted[some], valleys=False)
    through = feeders(analysis, at.case, node[some], parted[some], valleys=True)
    hand = sum(one.force(friction) for one in [*straight, *through])
    if abs(hand - cells @ share) <= SAME * max(float(cells @ share), 1.0):
        above = [one for one in straight if one.plane != plane]
        valleys = [one for one in through if one.force(friction) > EVEN * max(total, 1.0)]
    for k, one in enumerate(here.tolist()):
        brings = mixed[one, some]
        over = feeders(analysis, at.case, node[some], brings, valleys=False) if above else []
        out = feeders(analysis, at.case, node[some], brings, valleys=True) if valleys else []
        beside = [*(f for f in over if f.plane != plane), *out]
        line[k] = (cells[k] - sum(f.force(friction) for f in beside)) / np.ptp(span[one])
    strips = float(line @ width[here])
    if abs(strips - own) > EVEN * max(total, 1.0):
        steps.append(_strip_step(line, width[here], strips, whole=bool(above or valleys)))
        names, parts = ["T_s"], [strips]
    if above:
        steps.append(
            feeding_step(
                analysis,
                above,
                ("Snow of higher planes over pitch breaks", "T_B"),
                "drains to this stretch",
                "Thrust keeps its size over a change of pitch.",
            )
        )
        names.append("T_B")
        parts.append(steps[-1].result.value)
    if valleys:
        note = "It comes onto the row's plane where the valley ends. Rows across the valley hold their part."
        if analysis.project.slide.valley is not ValleyThrust.VECTOR:
            note = f"{IN_FULL} {note}"
        what = ("Snow out of a valley farther up", "T_U")
        steps.append(feeding_step(analysis, valleys, what, "comes to this stretch through a valley", note))
        names.append("T_U")
        parts.append(steps[-1].result.value)
    for end, (pieces, force) in enumerate(streams):
        if not len(pieces):
            continue
        # A strip that the stream meets in part carries its part evenly.
        catch = int(np.flatnonzero(analysis.graph.catch_node == pieces[0])[0])
        shares = stream_shares(layout, analysis.graph, catch, analysis.force.row[on], span)
        spread = min(analysis.project.slide.valley_spread, float(layout.row_length[row]))
        part = float(shares[here] @ share)
        arrives = force * part
        if abs(arrives) <= EVEN * max(total, 1.0):
            continue
        letter = f"T_V{end + 1}" if all(len(n) for n, _ in streams) else "T_V"
        steps += _stream_steps(analysis, at, pieces, force, letter)
        steps.append(_arrival_step(letter, force, spread, part * spread, arrives))
        names.append(letter)
        parts.append(arrives)
    rest = total - sum(parts)
    if abs(rest) > EVEN * max(total, 1.0):
        names.append("ΔT")
        parts.append(rest)
    expression: list[str | Number] = []
    for value in parts:
        expression += [*([" + "] if expression else []), Number(value, "force")]
    title = (
        "With the snow of valleys" if any(n.startswith("T_V") for n in names) else "By the flow over the roof"
    )
    note = "ΔT is what the sliding mesh shifts between neighboring strips." if "ΔT" in names else ""
    formula = " + ".join(names)
    return (*steps, _total(title, formula, tuple(expression), total, note))


def _total(title: str, formula: str, expression: Expression, total: float, note: str) -> Step:
    source = "flow of the snow over the roof, conserved (see self-audit)"
    return Step(title, "T", formula, expression, Number(total, "force"), source, note)


def _stations(
    analysis: Analysis, case: int, row: int
) -> tuple[IntArray, IntArray, Array, tuple[tuple[IntArray, float], tuple[IntArray, float]]]:
    """Stations of a row, their cells, and the valley streams at its ends: nodes, force [N].

    The third says which part of each cell's force comes to each station, (k, k).
    """
    graph, force = analysis.graph, analysis.force
    n = graph.cells.count
    cell = np.flatnonzero(graph.catch_node < n)
    order = cell[np.lexsort((graph.catch_span[cell, 0], graph.catch_row[cell]))]
    on = np.flatnonzero(force.row == row)
    node = graph.catch_node[order][on]
    mixed = evened(force.row[on], graph.catch_span[order][on], (np.eye(len(on)),))[1][0]
    brought = -force.thrust[case, on, 1] - mixed @ force.cell_thrust[case, node]
    valley = np.flatnonzero((graph.catch_node >= n) & (graph.catch_row == row))
    left = graph.catch_end[valley] == 0
    nodes = [graph.catch_node[valley[left]], graph.catch_node[valley[~left]]]
    length = float(analysis.project.layout.row_length[row])
    near = force.span[on].mean(axis=1) < 0.5 * length
    if len(nodes[0]) and len(nodes[1]):
        sums = [float(brought[near].sum()), float(brought[~near].sum())]
    else:
        sums = [
            float(brought.sum()) if len(nodes[0]) else 0.0,
            float(brought.sum()) if len(nodes[1]) else 0.0,
        ]
    return on, node, mixed, ((nodes[0], sums[0]), (nodes[1], sums[1]))


def _strip_step(line: Array, width: Array, strips: float, *, whole: bool) -> Step:
    parts: list[str | Number] = []
    for value, wide in zip(line.tolist(), width.tolist(), strict=True):
        parts += [*([" + "] if parts else []), Number(value, "line"), " × ", Number(wide, "length")]
    return Step(
        "The same by the strips of the sliding mesh",
        "T_s",
        "Σ f_i w_i",
        tuple(parts),
        Number(strips, "force"),
        "f_i: mean p b sin θ of strip i of the sliding mesh"
        + ("" if whole else ", with what comes over pitch breaks if any does")
        + "; w_i: its width on the stretch",
        "Strips are at most analysis.strip_width wide; where the run changes along the row, means shift "
        "force between neighboring clamps, not in all. T_s replaces T_0 from here.",
    )


def _arrival_step(letter: str, force: float, spread: float, reach: float, arrives: float) -> Step:
    return Step(
        "Its part of the valley's stream",
        letter,
        f"V{letter.removeprefix('T_V')} / a × w",
        (Number(force, "force"), " / ", Number(spread, "length"), " × ", Number(reach, "length")),
        Number(arrives, "force"),
        "judgment: the stream arrives evenly over a of rail at the valley (analysis.valley_spread)",
        "w: part of a on the stretch of this clamp, by whole strips of the sliding mesh; a gap between rail "
        "and valley is in that of the overhang.",
    )


def _stream_steps(analysis: Analysis, at: ClampAt, pieces: IntArray, force: float, letter: str) -> list[Step]:
    """The stream V from the planes that drain into it, where that sum is the flow."""
    row = int(analysis.project.layout.clamp_row[at.clamp])
    found = feeders(analysis, at.case, pieces)
    if analysis.project.slide.valley is ValleyThrust.VECTOR:
        found = [
            replace(one, part=one.part * _down_the_slope(analysis, int(pieces[0]), row)) for one in found
        ]
    hand = sum(one.force(analysis.project.slide.friction) for one in found)
    if not found or abs(hand - force) > SAME * abs(force):
        return []
    end = letter.removeprefix("T_V")
    title = (
        f"Stream of the valley at the row's {'left' if end == '1' else 'right'} end"
        if end
        else ("Stream of the valley at the row")
    )
    note = IN_FULL
    if analysis.project.slide.valley is ValleyThrust.VECTOR:
        note = "Vector sum: the last factor is the part of a thrust along the valley and then down the slope."
    return [feeding_step(analysis, found, (title, f"V{end}"), "drains into it above the row", note)]


def _down_the_slope(analysis: Analysis, piece: int, row: int) -> float:
    """Part of a valley stream's thrust that pushes a row down its plane's slope."""
    graph, planes = analysis.graph, analysis.project.roof.planes
    plane = int(analysis.project.layout.row_plane[row])
    down = graph.valley_way[piece - graph.cells.count]
    way = np.array([down @ planes.across[plane], down @ planes.upslope[plane]])
    return float(-way[1] / np.linalg.norm(way))


def feeding_step(
    analysis: Analysis, found: list[Feeder], what: tuple[str, str], where: str, note: str
) -> Step:
    """Force of planes by their drained areas.

    Parameters
    ----------
    analysis : Analysis
    found : list of Feeder
    what : (str, str)
        Title and symbol.
    where : str
        What that snow does.
    note : str
        Stands before where the areas lie.
    """
    friction = analysis.project.slide.friction
    parts: list[str | Number] = []
    for one in found:
        angle = Number(one.slope, "angle")
        turn: Expression = ("sin ", angle)
        if friction > 0.0:
            turn = ("(sin ", angle, " − ", Number(friction, "factor"), " × cos ", angle, ")")
        parts += [" + "] if parts else []
        parts += [Number(one.pressure, "pressure"), " × ", Number(one.area, "area"), " × ", *turn]
        parts += [" × ", Number(one.part)] if one.part < 1.0 - EVEN else []
    names = ", ".join(analysis.project.roof.planes.name[one.plane] for one in found)
    return Step(
        what[0],
        what[1],
        "Σ p A_p (sin θ − μ cos θ)" if friction > 0.0 else "Σ p A_p sin θ",
        tuple(parts),
        Number(sum(one.force(friction) for one in found), "force"),
        f"A_p: what of {names} {where}, on plan; p: mean there",
        note,
        tuple(found),
        _regions(analysis, found),
    )


def _regions(analysis: Analysis, found: list[Feeder]) -> str:
    """Where the areas of feeders lie, so that they can be measured again."""
    units = SYSTEMS[analysis.project.table.project.units]
    origin = shown_origin(analysis.project.roof.offset)
    told = []
    for one in found:
        ring = shapely.get_coordinates(getattr(one.region, "exterior", None))[:-1]
        name = analysis.project.roof.planes.name[one.plane]
        part = ""
        if abs(one.region.area - one.area) > 0.02 * one.area and one.region.area > 0.0:
            size = quantity(float(one.region.area), "area", units)
            share = 100.0 * one.area / one.region.area
            part = f" ({size}, of which {share:.0f} % comes here; the rest goes to what is beside)"
            if share > 100.0:
                rest = f"the rest of A_p is {100.0 * WHOLE:.0f} % or less of each place beside it"
                part = f" ({size}; {rest}, not drawn)"
        if 3 <= len(ring) <= CORNERS:
            places = units.convert(1.0, "length") * (ring + origin)
            told.append(f"{name}: corners {', '.join(f'({x:.2f}, {y:.2f})' for x, y in places)}{part}")
        elif not one.region.is_empty:
            x0, y0, x1, y1 = (units.convert(v, "length") for v in one.region.bounds + np.tile(origin, 2))
            told.append(f"{name}: inside {x0:.2f} to {x1:.2f} by {y0:.2f} to {y1:.2f}{part}")
    return (
        f"A_p on {'; '.join(told)} ({units.label('length')} east and north, in the coordinates of "
        "roof.png and of the project file)."
    )


def feeders(
    analysis: Analysis,
    case: int,
    node: IntArray,
    start: Array | float = 1.0,
    *,
    valleys: bool | None = None,
) -> list[Feeder]:
    """Planes whose snow passes nodes of the flow graph, each with a part `start`; the largest first.

    With `valleys` only what comes there through a valley, or only what does not.
    """
    graph, roof = analysis.graph, analysis.project.roof
    cells, factor = graph.cells, valley_factor(roof, graph, analysis.project.slide.valley)[0]
    share, thrust = (
        _by_way(graph, node, kept, start, valleys)[: cells.count] for kept in (np.ones_like(factor), factor)
    )
    weight = analysis.force.cell_pressure[case] * cells.plan_area
    found = []
    for plane in np.unique(cells.plane[share * weight > 0.0]).tolist():
        on = cells.plane == plane
        area, brought = float(share[on] @ cells.plan_area[on]), float(share[on] @ weight[on])
        part = float(thrust[on] @ weight[on]) / brought
        region = region_of(cells, np.flatnonzero(on & (share > WHOLE)))
        found.append(Feeder(plane, area, brought / area, float(roof.planes.slope[plane]), part, region))
    return sorted(found, key=lambda one: -one.pressure * one.area * np.sin(one.slope))


def region_of(cells: Cells, which: IntArray) -> shapely.Polygon | shapely.MultiPolygon:
    """Where on plan cells lie, without the seams between them. [m]."""
    region = shapely.union_all(shapely.buffer(cells.plan[which], GRID, join_style="mitre"))
    return shapely.simplify(shapely.buffer(region, -GRID, join_style="mitre"), 10.0 * GRID)


def _by_way(
    graph: FlowGraph, node: IntArray, factor: Array, start: Array | float, valleys: bool | None
) -> Array:
    """`passing`, all of it, or the part that goes through a valley or through none."""
    if valleys is None:
        return passing(graph, node, factor, start)
    none = passing(graph, node, np.zeros_like(factor), start)
    return none if not valleys else np.maximum(passing(graph, node, factor, start) - none, 0.0)


def passing(graph: FlowGraph, node: IntArray, factor: Array, start: Array | float = 1.0) -> Array:
    """Part of what each node sends that passes the nodes `node`, (node_count,), without friction or boxes.

    Parameters
    ----------
    graph : FlowGraph
    node : (k,) int
    factor : (m,) float
        Part of what cells feed into each valley piece that goes on.
    start : (k,) float or float
        What a unit that passes the nodes counts.
    """
    n, part = graph.cells.count, np.zeros(graph.node_count)
    part[node] = start
    feeding = (graph.source < n) & (graph.target >= n)
    kept = graph.share.copy()
    kept[feeding] *= factor[graph.target[feeding] - n]
    return against_flow(part, graph.source, graph.target, kept, graph.level)
