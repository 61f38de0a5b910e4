"""Drifts at projections, obstructions and parapets, EN 1991-1-3 6.2."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow import en1991_1_3 as en
from roofmodel.snow.cases import SnowCase, Value, Zone
from roofmodel.snow.corners import WallDrift, around_walls, face_corners
from roofmodel.snow.en_abutting import OUTSIDE
from roofmodel.snow.en_roof import CODE, EnRoof, balanced_zones, load_values
from roofmodel.snow.envelope import larger
from roofmodel.snow.meeting import Drift
from roofmodel.snow.obstacle_walls import over_ridges, room, wind_groups
from roofmodel.snow.patches import spread
from roofmodel.snow.regions import band, falling_pressure, left_normal

IntArray = NDArray[np.int64]

NOTES = (
    "mu falls linearly from mu_2 at the face to mu_1 at l_s (6.2); past the roof's edge nothing is.",
    "6.2 is written for nearly level roofs; here it is applied on any slope, on plan.",
    OUTSIDE,
)


def obstacle_cases(known: EnRoof, drifts: list[Drift]) -> tuple[list[SnowCase], list[tuple[str, str]]]:
    """Drifts at parapets and on both sides of projections, one case for each wind."""
    obstacles = known.roof.obstacles
    if not obstacles.count:
        return [], [("drift at projections and parapets", "the project names none (6.2)")]
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    for one in drifts:
        name = f"drift at {one.name}, wind toward {one.wind}"
        if one.blown:
            cases.append(known.case(name, [*balanced_zones(known), *one.blown], one.notes))
        else:
            skipped.append((name, "mu_2 is not above mu_1 (6.2)"))
    return cases, skipped


def obstacle_drifts(known: EnRoof) -> list[Drift]:
    """Drifts at parapets and projections, one for each wind."""
    obstacles = known.roof.obstacles
    corners = face_corners(known.roof)
    drifts = []
    for group in wind_groups(obstacles):
        found = [one for face in group.face.tolist() if (one := _face_drift(known, face)) is not None]
        zones = spread(known.plan, around_walls(found, corners))
        names = list(dict.fromkeys(obstacles.name[i] for i in obstacles.face[group.face]))
        who = " and ".join(names) if len(names) < 4 else f"{len(names)} parapets and projections"
        drifts.append(
            Drift(False, who, group.toward, larger(zones), [], (*NOTES, *over_ridges(known.roof, zones)))
        )
    return drifts


def _face_drift(known: EnRoof, face: int) -> WallDrift | None:
    """What the drift in front of one face adds to mu_1; None where there is none."""
    obstacles = known.roof.obstacles
    which = int(obstacles.face[face])
    start, end, plane = obstacles.start[face], obstacles.end[face], int(obstacles.plane[which])
    height = float(obstacles.face_height[face])
    length = float(en.drift_length(height))
    peak_shape = float(en.mu_obstruction(height, known.site.drift_weight, known.site.ground_snow))
    peak = (peak_shape - float(known.shape[plane])) * known.unit_load
    if peak <= 0.0 or room(obstacles, known.plan, face) <= 0.0:
        return None
    zone = Zone(
        f"drift at {obstacles.name[which]}",
        plane,
        band(start[:2], end[:2], 0.0, length),
        falling_pressure(start, left_normal(start, end), peak, length),
        f"{CODE} 6.2",
        "(mu_2 - mu_1) (1 - x / l_s) C_e C_t s_k",
        (
            *load_values(known, plane),
            Value("h", height, "m", "greatest height of the face above the roof"),
            Value("gamma", known.site.drift_weight, "N/m**3", "weight density of 6.2"),
            Value("mu_2", peak_shape, "", "6.2, 0.8 to 2", "max(0.8, min(gamma h / s_k, 2))"),
            Value("l_s", length, "m", "6.2, 5 to 15 m", "max(5 m, min(2 h, 15 m))"),
        ),
    )
    return WallDrift(zone, face, peak, length)
