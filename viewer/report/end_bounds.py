"""What lies beyond the ends of partial rows: the upper bound next to a hand sum of it."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
import shapely

from fea.analysis import Analysis
from roofmodel.sliding.end_reach import SHORT, end_reaches, end_wedge, lodges
from roofmodel.sliding.ends import end_parts
from roofmodel.snow.cases import linear_integral
from roofmodel.units import UnitSystem
from viewer.quantities import as_given, column
from viewer.report.tables import Table
from viewer.report.working_ends import held_by, own_plane

ROUNDED = 5e-3  # of the hand sum; less is left of cells that the spread cuts [-]
PLAIN = 0.02  # hand sum and bound that agree this well are one plain wedge [-]


@dataclass(frozen=True)
class Spread:
    """Part of a row's own plane from which a blanket may lean on one end of the row.

    Attributes
    ----------
    name, case : str
    bound : float
        Upper bound that the flow over the roof gives. [N]
    area : float
        On plan. [m^2]
    pressure : float
        Mean over the area, vertical, per plan area. [Pa]
    slope : float
        [rad]
    hand : float
        Pressure × area × (sin − friction × cos). [N]
    passing : float
        Part of it that no row holds. [N]
    held : tuple of (str, float)
        Rows that hold the rest, and how much. [N]
    """

    name: str
    case: str
    bound: float
    area: float
    pressure: float
    slope: float
    hand: float
    passing: float
    held: tuple[tuple[str, float], ...]

    @property
    def plain(self) -> bool:
        """Whether the hand sum is the bound."""
        return abs(self.hand - self.bound) <= PLAIN * self.bound


def spreads(analysis: Analysis) -> tuple[Spread, ...]:
    """Spread of every row end that has a bound, in its worst case."""
    layout, bound = analysis.project.layout, analysis.force.end_bound
    found = []
    for row, name in enumerate(layout.row_name):
        for end, word in enumerate(("left end", "right end")):
            case = int(np.argmax(bound[:, row, end]))
            if bound[case, row, end] > 0.0:
                found.append(_spread(analysis, f"{name}, {word}", row, end, case))
    return tuple(found)


def _spread(analysis: Analysis, name: str, row: int, end: int, case: int) -> Spread:
    project = analysis.project
    roof, layout, options = project.roof, project.layout, project.slide
    plane = int(layout.row_plane[row])
    outline = roof.planes.outline[plane]
    reach = end_reaches(roof, layout, analysis.graph, *options.end_spreads)[row][end]
    wedge = end_wedge(layout, (row, end), reach)
    above = shapely.intersection(outline, wedge)
    plan = shapely.transform(above, lambda uv: roof.planes.to_world(plane, uv)[:, :2])
    area, weight = float(plan.area), 0.0
    for zone in analysis.snow.cases[case].zones:
        if zone.plane == plane:
            piece = np.array([shapely.intersection(zone.polygon, plan)], dtype=object)
            weight += float(linear_integral(piece, zone.pressure)[0])
    slope = float(roof.planes.slope[plane])
    snow = analysis.force.node_weight[case]
    parts = end_parts(roof, layout, analysis.graph, (row, end), snow, options.end_spreads)
    passing = (
        own_plane(analysis, case, parts.cell, parts.share).force(options.friction) if len(parts.cell) else 0.0
    )
    return Spread(
        name=name,
        case=analysis.snow.cases[case].name,
        bound=float(analysis.force.end_bound[case, row, end]),
        area=area,
        pressure=weight / area if area > 0.0 else 0.0,
        slope=slope,
        hand=weight * max(math.sin(slope) - options.friction * math.cos(slope), 0.0),
        passing=passing,
        held=tuple(held_by(analysis, case, parts.held)),
    )


def _rows_words(spread: Spread) -> str:
    """Rows that hold more than a twentieth of the product, at most three."""
    names = [name for name, value in spread.held if value > 0.05 * spread.hand]
    return ", ".join(names[:3]) + (" and others" if len(names) > 3 else "") or "none"


def partial_table(analysis: Analysis, units: UnitSystem) -> Table | None:
    """Upper bound of what a coherent blanket brings to the ends of rows, with the hand sum."""
    found = spreads(analysis)
    if not found:
        return None
    friction = analysis.project.slide.friction
    turn = "(sin θ − μ cos θ)" if friction > 0.0 else "sin θ"
    n = len(found)
    forces = (
        [s.hand for s in found],
        [s.hand - s.passing for s in found],
        [s.bound - s.passing for s in found],
    )
    # What the sliding mesh rounds is no snow of anybody's.
    cut = [[v if v > ROUNDED * s.hand else 0.0 for v, s in zip(part, found, strict=True)] for part in forces]
    said = column([*itertools.chain(*cut), *(s.bound for s in found)], "force", units)
    rows = tuple(
        zip(
            [s.name for s in found],
            column([s.area for s in found], "area", units),
            column([s.pressure for s in found], "pressure", units),
            column([s.slope for s in found], "angle", units),
            *(said[k * n : (k + 1) * n] for k in range(4)),
            [_rows_words(s) for s in found],
            [s.case for s in found],
            strict=True,
        )
    )
    heads = (
        "Row end",
        f"A, spread on plan {units.label('area')}",
        f"p, mean over it {units.label('pressure')}",
        "θ, slope °",
        f"p A {turn} {units.label('force')}",
        f"less held by rows {units.label('force')}",
        f"plus other planes {units.label('force')}",
        f"Upper bound B {units.label('force')}",
        "Rows that hold it",
        "Case",
    )
    angle = f"{math.degrees(analysis.project.slide.spread_angle):.3g}°"
    gap, twice = (as_given(k * SHORT, "length", units) for k in (1.0, 2.0))
    near, far = (
        as_given(k * lodges(analysis.project.slide.valley_spread), "length", units) for k in (1.0, 2.0)
    )
    note = (
        f"A is all of the row's own plane within {angle} of the fall line up from the row's end: its true "
        f"area times cos θ. From an end less than {gap} short of its plane's edge, A begins at that edge "
        f"and has the gap in it too (judgment; less and less of it up to {twice}). Up to {near} square from "
        "a valley, A reaches to the valley, and B has its streams of both sides in it that no row closes, as "
        f"a row that reaches it would hold them (judgment; less and less of them up to {far}). B acts on the "
        "rail's overhang, spread evenly from its tip to the end clamp; the hand check says what share of it "
        "reaches a clamp."
    )
    if not all(s.plain for s in found):
        note += (
            " Rows named hold part of that snow, the most of it first: if one is left out or lets go, "
            "its part leans on this end too. Snow of other planes comes through the spread."
        )
    caption = "Extra force at the ends of partial rows, before load factors, on the rail beyond the end clamp"
    return Table(caption, heads, "tnnnnnnntt", rows, note=note)
