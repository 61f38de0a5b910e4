"""The hand check of the governing attachment, step by step, as data.

Every step is an expression of quantities in SI whose value is the step's result, so that it can be printed
in any unit system and checked by anyone with a pocket calculator. The frame supplies what a hand check
cannot (how continuity shares the force); those numbers are marked as coming from the frame.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.analysis import Analysis
from fea.checks.governing import Governing
from fea.checks.strips import panel_strips
from roofmodel.sliding.tributary import row_catchment
from roofmodel.snow.cases import Zone, linear_integral
from roofmodel.snow.inputs import EnSite
from viewer.report.plain_beam import beam_words
from viewer.report.working_ends import end_steps
from viewer.report.working_flow import flow_steps
from viewer.report.working_parts import ClampAt, Expression, Feeder, Number, Step, force_steps
from viewer.report.working_screws import is_screw_limit, screw_steps
from viewer.report.working_steps import anchorage_steps, clamp_at, moment_steps, use_steps

Array = NDArray[np.float64]


@dataclass(frozen=True)
class StripZone:
    """A zone above the clamp: mean pressure [Pa] over the strip, mean plan run [m] it covers there.

    Pieces of one formula with the same values, such as those of a drift around a corner, are one zone.
    """

    pieces: tuple[Zone, ...]
    pressure: float
    run: float

    @property
    def zone(self) -> Zone:
        """The first piece, for what all of them share."""
        return self.pieces[0]


@dataclass(frozen=True)
class Working:
    """The hand check of one clamp.

    Attributes
    ----------
    target, clamp, limit, case : str
        What governs and the clamp that is followed.
    line : str
        Where the sliding force acts on the rail, "axis" or "top", whichever is worse.
    zones : tuple of StripZone
    steps : tuple of Step
    unverified : tuple of str
        Directions that are loaded without a strength, in words.
    own : Feeder
        The plane straight above the clamp's stretch of rail.
    """

    target: str
    clamp: str
    limit: str
    case: str
    line: str
    zones: tuple[StripZone, ...]
    steps: tuple[Step, ...]
    unverified: tuple[str, ...]
    own: Feeder


def hand_check(analysis: Analysis, chosen: Governing | None = None) -> Working | None:
    """Work out a clamp or panel strip, by default the governing one; None where no attachment is loaded.

    For a panel strip its hardest pulling clamp is followed and the strip's sum ends the check.
    """
    governing = chosen or analysis.attachment
    if governing is None:
        return None
    limit = analysis.limits[governing.limit]
    clamp = governing.target if limit.target == "clamp" else _strip_clamp(analysis, governing)
    at = clamp_at(analysis, clamp, governing.case, limit.name)
    zones, width, strip_plan = _strip(analysis, clamp, governing.case)
    tributary = _tributary_steps(analysis, at, zones, width)
    force = force_steps(analysis, at, end_steps, beam_words)
    moment = moment_steps(analysis, at)
    use, unverified = use_steps(analysis, at)
    strip = anchorage_steps(analysis, governing) if limit.target == "panel strip" else ()
    screws = screw_steps(analysis, at, limit.name) if is_screw_limit(limit.name) else ()
    return Working(
        target=limit.target_name[governing.target],
        clamp=analysis.project.layout.clamp_name[clamp],
        limit=limit.name,
        case=analysis.snow.cases[governing.case].name,
        line="top" if at.top else "axis",
        zones=zones,
        steps=(*tributary, *force, *moment, *use, *strip, *screws),
        unverified=unverified,
        own=_own(analysis, clamp, zones, strip_plan, width),
    )


def _strip_clamp(analysis: Analysis, governing: Governing) -> int:
    strip, _ = panel_strips(analysis.project.layout)
    on = np.flatnonzero(strip == governing.target)
    pull = analysis.clamp_force[governing.case][:, on, 0].max(axis=0)
    return int(on[np.argmax(pull)])


def tributary_ends(analysis: Analysis, clamp: int) -> tuple[float, float]:
    """Ends of a clamp's stretch of rail, half span to half span, along its row. [m]."""
    layout = analysis.project.layout
    row = layout.clamp_row[clamp]
    s = layout.clamp_s[layout.clamp_row == row]
    here = int(clamp - np.searchsorted(layout.clamp_row, row))
    low = 0.0 if here == 0 else 0.5 * (s[here - 1] + s[here])
    high = float(layout.row_length[row]) if here == len(s) - 1 else 0.5 * (s[here] + s[here + 1])
    return float(low), float(high)


def _strip(analysis: Analysis, clamp: int, case: int) -> tuple[tuple[StripZone, ...], float, BaseGeometry]:
    """Zones of the clamp's own plane straight above its stretch of rail, its level width, and the strip."""
    project = analysis.project
    roof, layout = project.roof, project.layout
    row = int(layout.clamp_row[clamp])
    plane = int(layout.row_plane[row])
    way = (layout.row_end[row] - layout.row_start[row]) / layout.row_length[row]
    left, right = (float(layout.row_start[row][0] + s * way[0]) for s in tributary_ends(analysis, clamp))
    _, low, _, high = roof.planes.outline[plane].bounds
    band = shapely.box(left, low - 1.0, right, high + 1.0)
    above = shapely.intersection(row_catchment(roof, layout, row), band)
    plan = shapely.transform(above, lambda uv: roof.planes.to_world(plane, uv)[:, :2])
    width = right - left
    found: dict[object, list[tuple[Zone, float, float]]] = {}
    for zone in analysis.snow.cases[case].zones:
        if zone.plane != plane:
            continue
        piece = np.array([shapely.intersection(zone.polygon, plan)], dtype=object)
        area = float(shapely.area(piece[0]))
        if area > 1e-6 * width:
            weight = float(linear_integral(piece, zone.pressure)[0])
            found.setdefault(alike(zone), []).append((zone, weight, area))
    zones = []
    for pieces in found.values():
        weight, area = sum(w for _, w, _ in pieces), sum(a for *_, a in pieces)
        zones.append(StripZone(tuple(part[0] for part in pieces), weight / area, area / width))
    return tuple(zones), width, plan


def alike(zone: Zone) -> object:
    """Equal for pieces of one formula with the same values, as printed."""
    values = tuple((v.symbol, f"{v.value:.5g}", v.note) for v in zone.values)
    return zone.name, zone.clause, zone.formula, values


def _own(
    analysis: Analysis, clamp: int, zones: tuple[StripZone, ...], plan: BaseGeometry, width: float
) -> Feeder:
    """The clamp's own strip as an area among those from beside it."""
    project = analysis.project
    plane = int(project.layout.row_plane[project.layout.clamp_row[clamp]])
    weight, area = sum(zone.pressure * zone.run for zone in zones) * width, float(plan.area)
    slope = float(project.roof.planes.slope[plane])
    return Feeder(plane, area, weight / area if area > 0.0 else 0.0, slope, 1.0, plan)


def _tributary_steps(
    analysis: Analysis, at: ClampAt, zones: tuple[StripZone, ...], width: float
) -> tuple[Step, ...]:
    """Sliding force per meter, on the stretch, and what else the sliding mesh brings."""
    project = analysis.project
    row = int(project.layout.clamp_row[at.clamp])
    slope = float(project.roof.planes.slope[project.layout.row_plane[row]])
    friction = project.slide.friction
    parts: list[str | Number] = []
    for zone in zones:
        parts += [
            " + " if parts else "",
            Number(zone.pressure, "pressure"),
            " × ",
            Number(zone.run, "length"),
        ]
    angle = Number(slope, "angle")
    turn: Expression = ("sin ", angle)
    formula = "Σ p b sin θ"
    if friction > 0.0:
        turn = ("(sin ", angle, " − ", Number(friction, "factor"), " × cos ", angle, ")")
        formula = "Σ p b (sin θ − μ cos θ)"
    clause = "EN 1991-1-3 6.4 and " if isinstance(project.site, EnSite) else ""
    pull = math.sin(slope) - friction * math.cos(slope)
    line = sum(zone.pressure * zone.run for zone in zones) * pull
    steps = []
    own = 0.0
    if zones:
        own = line * width
        steps = [
            Step(
                "Sliding force per unit length of rail",
                "f",
                formula,
                ("(", *parts, ") × ", *turn),
                Number(line, "line"),
                f"{clause}equilibrium; p vertical on plan, b plan run, both means over the strip",
            ),
            Step(
                "Its own strip, half span to half span",
                "T_0",
                "f w",
                (Number(line, "line"), " × ", Number(width, "length")),
                Number(own, "force"),
                "tributary width w of rail, measured level",
            ),
        ]
    return (*steps, *flow_steps(analysis, at, own, tributary_ends(analysis, at.clamp)))
