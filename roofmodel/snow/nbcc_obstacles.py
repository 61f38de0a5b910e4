"""Drifts at projections and parapets, NBCC 2020 4.1.6.7."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from roofmodel.snow import nbcc2020_drift as drift
from roofmodel.snow.cases import SnowCase, Value, Zone
from roofmodel.snow.corners import Corners, WallDrift, face_corners, run_on
from roofmodel.snow.envelope import larger
from roofmodel.snow.meeting import Drift
from roofmodel.snow.nbcc_roof import (
    CODE,
    DRIFT,
    Cases,
    NbccRoof,
    above_balanced,
    common_values,
    drift_rain,
    notes_of,
    uniform_zones,
)
from roofmodel.snow.nbcc_working import DENSITY
from roofmodel.snow.obstacle_walls import over_ridges, room, wind_groups
from roofmodel.snow.regions import band, falling_pressure, left_normal

NOTES = (
    "C_a falls from C_a0 at the face to 1 at x_d with C_s = C_w = 1.0 and is drawn as what it adds to the"
    " balanced load. Where drifts overlap the larger counts.",
    "The article is written for projections; parapets are taken alike with their length as l_0 (judgment).",
    "Around outside corners each drift runs on radially (4.1.6.8.(1)).",
)


def obstacle_cases(known: NbccRoof, drifts: list[Drift]) -> Cases:
    """Drifts at parapets and on both sides of projections, one case for each wind."""
    if not known.roof.obstacles.count:
        return [], [("drift at projections and parapets", "the project names none (4.1.6.7)")]
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    for one in drifts:
        name = f"drift at {one.name}, wind toward {one.wind}"
        if one.blown:
            cases.append(known.case(name, [*uniform_zones(known), *one.blown], one.notes))
        else:
            skipped.append((name, "C_a0 is not above 1, or l_0 is below 3 m (4.1.6.7)"))
    return cases, skipped


def obstacle_drifts(known: NbccRoof) -> list[Drift]:
    """Drifts at parapets and projections, one for each wind."""
    obstacles = known.roof.obstacles
    drifts = []
    corners = face_corners(known.roof)
    for group in wind_groups(obstacles):
        zones = [zone for face in group.face.tolist() for zone in _face_zones(known, face, corners)]
        names = list(dict.fromkeys(obstacles.name[i] for i in obstacles.face[group.face]))
        who = " and ".join(names) if len(names) < 4 else f"{len(names)} parapets and projections"
        drifts.append(
            Drift(
                False,
                who,
                group.toward,
                larger(zones),
                [],
                (*notes_of(known), *NOTES, *over_ridges(known.roof, zones)),
            )
        )
    return drifts


def _face_zones(known: NbccRoof, face: int, corners: Corners) -> list[Zone]:
    """What the drift in front of one face adds."""
    obstacles, site = known.roof.obstacles, known.site
    which = int(obstacles.face[face])
    start, end, plane = obstacles.start[face], obstacles.end[face], int(obstacles.plane[which])
    own = np.flatnonzero(obstacles.face == which)
    longest = float(np.linalg.norm((obstacles.end[own] - obstacles.start[own])[:, :2], axis=1).max())
    height, basic = float(obstacles.face_height[face]), float(known.calm[plane])
    found = drift.projection_accumulation(site.ground_snow, known.weight_density, basic, height, longest)
    peak, length = float(found.peak), float(found.length)
    if length <= 0.0 or room(obstacles, known.plan, face) <= 0.0:
        return []
    unit = known.importance * basic * site.ground_snow
    rain = drift_rain(known, plane, peak)
    whole = Zone(
        f"drift at {obstacles.name[which]}",
        plane,
        band(start[:2], end[:2], 0.0, length),
        falling_pressure(start, left_normal(start, end), (peak - 1.0) * unit, length),
        f"{CODE} 4.1.6.7",
        DRIFT,
        (
            *common_values(known, plane),
            Value("gamma", known.weight_density, "N/m**3", "4.1.6.13", DENSITY),
            Value("h", height, "m", "greatest height of the face above the roof"),
            Value("l_0", longest, "m", "longest plan size"),
            Value(
                "C_a0", peak, "", "4.1.6.7", "min(0.67 gamma h / (C_b S_s), gamma l_0 / (7.5 C_b S_s) + 1)"
            ),
            Value("x_d", length, "m", "4.1.6.7", "min(3.35 h, 2 l_0 / 3)"),
            rain,
            Value("S face", peak * unit + rain.value, "Pa", "at x = 0", "I_s S_s C_b C_a0 + rain"),
        ),
    )
    zones = above_balanced(known, whole, unit + rain.value)
    quarter = replace(whole, clause=f"{CODE} 4.1.6.8")
    (around,) = run_on([WallDrift(quarter, face, (peak - 1.0) * unit, length)], corners)
    for part in around:
        zones += above_balanced(known, part, unit + rain.value)
    return zones
