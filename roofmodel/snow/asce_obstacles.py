"""Drifts against parapets and roof projections, ASCE/SEI 7 7.8."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow.asce7_22 import FOOT
from roofmodel.snow.asce_roof import AsceRoof, balanced_zones, slope_notes
from roofmodel.snow.cases import SnowCase, Value, Zone
from roofmodel.snow.corners import AROUND, OUTSIDE, WallDrift, around_walls, drift_of, face_corners
from roofmodel.snow.envelope import larger
from roofmodel.snow.meeting import Drift
from roofmodel.snow.obstacle_walls import over_ridges, upwind_length, wind_groups
from roofmodel.snow.patches import spread
from roofmodel.snow.regions import band, falling_pressure, left_normal

IntArray = NDArray[np.int64]

SHORT_SIDE = 15.0 * FOOT  # 7.8: no drift at sides of projections shorter than this [m]
CLEAR_BELOW = 2.0 * FOOT  # 7.8: none where so much stays free between balanced snow and projection [m]
NOTES = (
    "Drift is added to balanced snow only; where drifts overlap the larger counts (7.7.3).",
    OUTSIDE,
)


def obstacle_cases(
    known: AsceRoof, drifts: list[Drift], skipped: list[tuple[str, str]]
) -> tuple[list[SnowCase], list[tuple[str, str]]]:
    """Windward drifts at parapets and on both sides of projections, one case for each wind."""
    if not known.roof.obstacles.count:
        return [], [("drift at parapets and projections", "the project names none (7.8)")]
    cases = [
        known.case(
            f"drift at {one.name}, wind toward {one.wind}", [*balanced_zones(known), *one.blown], one.notes
        )
        for one in drifts
    ]
    return cases, skipped


def obstacle_drifts(known: AsceRoof) -> tuple[list[Drift], list[tuple[str, str]]]:
    """Drifts at parapets and projections, one for each wind, and faces without one with the reason."""
    obstacles = known.roof.obstacles
    corners = face_corners(known.roof)
    notes = (*slope_notes(known), *NOTES)
    drifts: list[Drift] = []
    skipped: dict[tuple[str, str], None] = {}
    for group in wind_groups(obstacles):
        found: list[WallDrift] = []
        for face in group.face.tolist():
            zone = _face_zone(known, face)
            if isinstance(zone, str):
                skipped[f"drift at {_named(known, face)}, wind toward {group.toward}", zone] = None
            else:
                found.append(drift_of(zone, face))
        zones = spread(known.plan, around_walls(found, corners))
        if zones:
            drifts.append(
                Drift(
                    False,
                    _who(zones),
                    group.toward,
                    larger(zones),
                    [],
                    (*notes, *over_ridges(known.roof, zones)),
                )
            )
    return drifts, list(skipped)


def _named(known: AsceRoof, face: int) -> str:
    return known.roof.obstacles.name[known.roof.obstacles.face[face]]


def _who(zones: list[Zone]) -> str:
    names = list(dict.fromkeys(zone.name.removeprefix("drift at ").removesuffix(AROUND) for zone in zones))
    return " and ".join(names) if len(names) < 4 else f"{len(names)} parapets and projections"


def _face_zone(known: AsceRoof, face: int) -> Zone | str:
    """Drift in front of one face, or why there is none."""
    obstacles, rules = known.roof.obstacles, known.rules
    which = int(obstacles.face[face])
    start, end, plane = obstacles.start[face], obstacles.end[face], int(obstacles.plane[which])
    height, clear = float(obstacles.face_height[face]), float(obstacles.clear[which])
    side, base = float(np.hypot(*(end - start)[:2])), float(known.balanced[plane]) / rules.weight_density
    if not obstacles.parapet[which]:
        if side < SHORT_SIDE:
            return "its side is shorter than 15 ft (7.8)"
        if clear - base >= CLEAR_BELOW:
            return "2 ft or more stay free below it (7.8)"
    length = upwind_length(obstacles, known.plan, face)
    if length <= 0.0:
        return "no roof in front of it"
    full = rules.drift_height(length)
    shape = rules.windward(full, float(known.balanced[plane]), height, rules.weight_density)
    tall, width, peak = (float(x) for x in shape)
    free = max(height - base, 0.0)
    if width <= 0.0 or peak <= 0.0:
        return f"h_c / h_b = {free / base:.2f} is below 0.2 (7.7.1)"
    height_formula, width_formula = rules.windward_formulas(full, free)
    where = "in front of the parapet" if obstacles.parapet[which] else "before or behind it, the greater"
    return Zone(
        f"drift at {obstacles.name[which]}",
        plane,
        band(start[:2], end[:2], 0.0, width),
        falling_pressure(start, left_normal(start, end), peak, width),
        f"{rules.code} 7.8",
        "p_d (1 - x / w)",
        (
            *rules.drift_values,
            Value("l_u", length, "m", f"roof length {where}"),
            *rules.heights(length),
            Value("h", height, "m", "greatest height of the face above the roof"),
            Value("p_s", float(known.balanced[plane]), "Pa", "balanced snow beside it"),
            Value("h_b", base, "m", "depth of balanced snow", "p_s / gamma"),
            Value("h_c", free, "m", "clear height", "h - h_b"),
            Value("height", tall, "m", "of the drift at its peak", height_formula),
            Value("w", width, "m", "width of the drift", width_formula),
            Value("p_d", peak, "Pa", "at the peak, on top of p_s", "gamma height"),
        ),
    )
