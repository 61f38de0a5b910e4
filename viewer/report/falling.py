"""Tables of what leaves the roof and of what stands in its way."""

from __future__ import annotations

import numpy as np

from fea.analysis import Analysis
from roofmodel.units import UnitSystem
from viewer.quantities import column
from viewer.report.tables import EDGES_SHOWN, Table
from viewer.unheld import CRUMB, leaving_weight


def falling_table(analysis: Analysis, units: UnitSystem) -> Table | None:
    """Edges over which snow goes, largest over the cases, and where it lands."""
    force, edges, landing = analysis.force, analysis.project.roof.edges, analysis.landing
    if not len(force.exit_edge):
        return None
    leaving = leaving_weight(force)
    worst, weight = np.argmax(leaving, axis=0), leaving.max(axis=0)
    order = np.argsort(-weight)[:EDGES_SHOWN]
    order = order[weight[order] >= CRUMB]
    rows = tuple(
        zip(
            [_above(analysis, int(force.exit_edge[i])) for i in order],
            column(weight[order], "force", units),
            column(landing.line.max(axis=0)[order], "line", units),
            column(landing.volume.max(axis=0)[order], "volume", units),
            column(edges.height[force.exit_edge[order]], "length", units),
            column(landing.speed[order], "speed", units),
            column(landing.throw[order], "length", units),
            [analysis.snow.cases[worst[i]].name for i in order],
            strict=True,
        )
    )
    if not rows:
        return None
    length = units.label("length")
    heads = (
        "Edge",
        f"Weight of snow {units.label('force')}",
        f"Largest {units.label('line')}",
        f"Volume {units.label('volume')}",
        f"Edge height {length}",
        f"Speed {units.label('speed')}",
        f"Lands up to {length} out",
        "Case of the weight",
    )
    friction = analysis.project.slide.friction
    note = (
        "Nothing holds this snow: whoever stands below is in danger. Largest: of any meter of the edge. "
        "Height of the edge's lower end. Volume "
        "at the density of the case. Speed v of snow that comes down the whole run behind the edge, v^2 = 2 "
        "g "
        + (f"(h - {friction:g} b), h height and b plan run" if friction else "h, h height")
        + "; from there it flies without drag to the ground, from the top of the snow at the edge, on plan "
        "down the fall line (work and energy, free flight), as if no lower roof and no wall were in the way. "
        "How far it "
        "rolls or splashes is not in it."
    )
    return Table("Snow that no row holds, and where it lands", heads, "tnnnnnnt", rows, note=note)


def lower_table(analysis: Analysis, units: UnitSystem) -> Table | None:
    """What of the falling snow lands on lower roofs, largest over the cases, and what flies beyond."""
    lower, force = analysis.landing.lower, analysis.force
    roof = analysis.project.roof
    weight = lower.weight.max(axis=0, initial=0.0)
    order = np.argsort(-weight, kind="stable")[:EDGES_SHOWN]
    order = order[weight[order] > 0.0]
    if not len(order):
        return None
    worst = lower.weight[:, order].argmax(axis=0)
    edge = force.exit_edge[lower.edge[order]]
    rows = tuple(
        zip(
            [roof.edges.name[e] if e >= 0 else "an open edge" for e in edge],
            [roof.planes.name[p] for p in lower.plane[order]],
            column(weight[order], "force", units),
            column(lower.line.max(axis=0)[order], "line", units),
            column(lower.volume.max(axis=0)[order], "volume", units),
            column(lower.reach[order], "length", units),
            column(lower.beyond[worst, lower.edge[order]], "force", units),
            [analysis.snow.cases[i].name for i in worst],
            strict=True,
        )
    )
    heads = (
        "Edge",
        "Lands on",
        f"Weight of snow {units.label('force')}",
        f"Largest {units.label('line')}",
        f"Volume {units.label('volume')}",
        f"Up to {units.label('length')} out",
        f"Flies on to the ground {units.label('force')}",
        "Case of the weight",
    )
    note = (
        "Free flight onto the first plane below, of snow that starts from every height behind the edge alike "
        "(judgment). Rows, panels and frames down there carry of it only what the snow cases bring as "
        "sliding snow: neither its impact nor all of its weight. What rolls on from there is not in it."
    )
    return Table("Snow that lands on lower roofs", heads, "ttnnnnnt", rows, note=note)


def heap_table(analysis: Analysis, units: UnitSystem) -> Table | None:
    """What of the falling snow meets a wall before it lands, and lies at its foot, largest over the cases."""
    heaps, force, roof = analysis.landing.lower.heaps, analysis.force, analysis.project.roof
    weight = heaps.weight.max(axis=0, initial=0.0)
    order = np.argsort(-weight, kind="stable")[:EDGES_SHOWN]
    order = order[weight[order] > 0.0]
    if not len(order):
        return None
    edge = force.exit_edge[heaps.edge[order]]
    worst = heaps.weight[:, order].argmax(axis=0)
    rows = tuple(
        zip(
            [roof.edges.name[e] if e >= 0 else "an open edge" for e in edge],
            [roof.edges.name[e] for e in heaps.wall[order]],
            [roof.planes.name[p] if p >= 0 else "the ground" for p in heaps.plane[order]],
            column(weight[order], "force", units),
            column(heaps.line.max(axis=0)[order], "line", units),
            column(heaps.volume.max(axis=0)[order], "volume", units),
            column(heaps.high[order], "length", units),
            [analysis.snow.cases[i].name for i in worst],
            strict=True,
        )
    )
    heads = (
        "Edge",
        "Wall below",
        "Lies on",
        f"Weight of snow {units.label('force')}",
        f"Largest {units.label('line')}",
        f"Volume {units.label('volume')}",
        f"Hits up to {units.label('length')} above",
        "Case of the weight",
    )
    note = (
        "Free flight as above. A wall is taken to stand below every edge with nothing beyond it, down to the "
        "roof or the ground (judgment): where there is none, as below a canopy, snow flies on. What windows, "
        "doors and the wall suffer is not in it, nor what rolls on. It counts in the tables above too."
    )
    return Table("Snow that walls stop, and that lies at their foot", heads, "tttnnnnt", rows, note=note)


def _above(analysis: Analysis, edge: int) -> str:
    """Name of an edge, and of the lower planes that its snow lands on first."""
    roof = analysis.project.roof
    lower = sorted({roof.planes.name[p] for p in roof.steps.lower[roof.steps.upper_edge == edge]})
    return f"{roof.edges.name[edge]} (above {', '.join(lower)})" if lower else roof.edges.name[edge]


def obstruction_table(analysis: Analysis, units: UnitSystem) -> Table | None:
    """Force of the blanket on each box, largest over the cases; None without boxes."""
    force, known = analysis.force, analysis.project.roof.obstacles
    if not len(force.obstacle):
        return None
    push = force.obstacle_push
    worst = np.argmax(push, axis=0)
    planes = analysis.project.roof.planes.name
    rows = tuple(
        zip(
            [known.name[i] for i in force.obstacle],
            [planes[known.plane[i]] for i in force.obstacle],
            column(push.max(axis=0), "force", units),
            column(force.obstacle_held.max(axis=0), "force", units),
            [analysis.snow.cases[i].name for i in worst],
            strict=True,
        )
    )
    unit = units.label("force")
    heads = ("Obstruction", "Plane", f"Force on it {unit}", f"Counted on {unit}", "Case")
    note = (
        "Down the slope, before load factors: snow above its width, less what rows and obstructions above it "
        "hold; and what comes straight across flat roof from a slope behind, along its own way. "
        "Its fastening must carry this, and nothing here checks that. Rows below are loaded as if it "
        "were not there, less what is counted on (obstruction.strength), of which what comes straight across "
        "takes its part first. Beside this, what passes it may "
        "part and come down along its sides: half to each side, within half its width (judgment), added to "
        "the rows as an upper bound."
    )
    return Table("Snow that leans on obstructions", heads, "ttnnt", rows, note=note)
