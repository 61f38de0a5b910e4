"""Exceptional snow drifts, EN 1991-1-3 Annex B, where the national annex asks for them.

Clauses from memory; values checked against a published design guide and a book of verification examples.
Drifts of Annex B stand alone: no other snow lies on the roof with them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow.cases import Bare, LoadLevel, SnowCase, Value, Zone
from roofmodel.snow.corners import AROUND, WallDrift, around_walls, face_corners, outside_note, step_corners
from roofmodel.snow.en_annex_b_valleys import PER_KILONEWTON, exceptional_shape, valley_drifts
from roofmodel.snow.en_roof import CODE, EnRoof, snow_values
from roofmodel.snow.envelope import larger
from roofmodel.snow.fetches import slope_run
from roofmodel.snow.obstacle_walls import over_ridges, room, wind_groups
from roofmodel.snow.patches import over_ledges, roof_before, roof_behind, spread, wall_groups
from roofmodel.snow.regions import Plan, band, falling_pressure, left_normal, with_snow

Array = NDArray[np.float64]
Cases = tuple[list[SnowCase], list[tuple[str, str]]]

WALL_CAP, OBSTRUCTION_CAP = 8.0, 5.0  # B3, B4
SHARE = Bare("max(0, min(1, (30 - alpha) / (30 - 15)))")
REACH = 15.0  # B3, B4: l_s at most [m]
SLOPES = np.radians([15.0, 30.0])  # B3: reduced from the first, none from the second [rad]
# B4 names no reduction by slope in the text at hand; none is taken, which is safe.
SHARE_WORDS = {
    "B3": "slope of the lower roof: 1 to 15 degrees, 0 from 30; 1 where snow is held",
    "B4": "no reduction by slope (B4)",
}
SMALL = 1.0  # obstructions up to this height take no account of the roof's length, B4 [m]
NOTES = (
    "Exceptional drift of Annex B, an accidental action: load factor 1.0, s = mu_1 s_k without C_e and C_t.",
    "No other snow lies on the roof with it (Annex B).",
    "What reaches past the roof's edge falls off. Walls and parapets that meet drift in winds of their own,"
    " not together (judgment).",
)
AROUND_NOTE = outside_note("EN 1991-1-3", "mu_1 s_k at the corner to nothing at l_s", "B3, B4")


def exceptional_drifts(known: EnRoof) -> Cases:
    """Cases of B2 in valleys, B3 at walls and B4 at parapets and obstructions, one for each way they face."""
    bare = with_snow(known.plan, known.roof, np.zeros(known.roof.planes.count))
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    for name, zones, notes in valley_drifts(known, bare):
        _add(cases, skipped, known, name, zones, notes)
    obstacles = known.roof.obstacles
    corners = step_corners(known.roof, known.plan)
    for group in wall_groups(known.roof):
        found = [one for i in group.steps if (one := _wall_drift(known, bare, i)) is not None]
        zones = spread(known.plan, around_walls(found, corners))
        name = f"exceptional drift below {group.uppers(known.roof)}, wall facing {group.toward}"
        _add(cases, skipped, known, name, zones, tuple(over_ledges(known.roof, "B3", "b_1 and b_2")))
    corners = face_corners(known.roof)
    for wind in wind_groups(obstacles):
        found = [one for i in wind.face.tolist() if (one := _face_drift(known, bare, i)) is not None]
        zones = spread(known.plan, around_walls(found, corners))
        _add(
            cases,
            skipped,
            known,
            f"exceptional drift at obstacles, wind toward {wind.toward}",
            zones,
            over_ridges(known.roof, zones),
        )
    if not cases and not skipped:
        skipped.append(("exceptional drifts", "no valley, wall, parapet or obstruction (Annex B)"))
    return cases, skipped


def _add(
    cases: list[SnowCase],
    skipped: list[tuple[str, str]],
    known: EnRoof,
    name: str,
    zones: list[Zone],
    notes: tuple[str, ...] = (),
) -> None:
    if zones:
        density = known.light_density.value
        around = any(zone.name.endswith(AROUND) for zone in zones)
        said = (*NOTES, *((AROUND_NOTE,) if around else ()), *notes)
        cases.append(SnowCase(name, CODE, LoadLevel.STRENGTH, tuple(larger(zones)), density, said))
    else:
        skipped.append((name, "the lower roof is too steep, or no roof lies in front (Annex B)"))


def _wall_drift(known: EnRoof, bare: Plan, i: int) -> WallDrift | None:
    steps, gap = known.roof.steps, float(known.roof.steps.gap[i])
    lower, upper = int(steps.lower[i]), int(steps.upper[i])
    height, one = float(steps.wall[i].max()), np.array([i])
    front, more = (float(roof_before(known.roof, plan, one)[0]) for plan in (bare, known.plan))
    if steps.between[i] >= 0:
        front, more = front + gap, more + gap
    behind = max(float(roof_behind(known.roof, known.plan, one)[0]), more if more > front else 0.0)
    name = f"exceptional drift below {known.roof.planes.name[upper]}"
    feet = steps.start, steps.end, i
    return _drift(known, lower, feet, name, "B3", height, (front, behind), gap, WALL_CAP)


def _face_drift(known: EnRoof, bare: Plan, face: int) -> WallDrift | None:
    obstacles = known.roof.obstacles
    which = int(obstacles.face[face])
    plane, height = int(obstacles.plane[which]), float(obstacles.face_height[face])
    start, end = obstacles.start[face], obstacles.end[face]
    ahead, more = room(obstacles, bare, face), room(obstacles, known.plan, face)
    feet = obstacles.start, obstacles.end, face
    name = f"exceptional drift at {obstacles.name[which]}"
    if obstacles.parapet[which]:
        out = left_normal(start, end)
        run = slope_run(bare, plane, start, end, out) if bare.fall[plane].any() else ahead
        return _drift(known, plane, feet, name, "B4", height, (run, more), 0.0, WALL_CAP)
    own = np.flatnonzero(obstacles.face == which)
    behind = room(obstacles, known.plan, int(own[(np.flatnonzero(own == face)[0] + 2) % 4]))
    longer = np.inf if height <= SMALL else max(behind, more)
    return _drift(known, plane, feet, name, "B4", height, (ahead, longer), 0.0, OBSTRUCTION_CAP)


def _drift(
    known: EnRoof,
    plane: int,
    feet: tuple[Array, Array, int],
    name: str,
    clause: str,
    height: float,
    lengths: tuple[float, float],
    gap: float,
    cap: float,
) -> WallDrift | None:
    """Triangle in front of one face of several; lengths are b_1 and b_2. None where there is no drift."""
    starts, ends, face = feet
    start, end = starts[face], ends[face]
    reach = min(5.0 * height, lengths[0], REACH)
    if reach <= gap:
        return None
    ground, slope = known.site.ground_snow, float(known.roof.planes.slope[plane])
    share = 1.0 if clause == "B4" or plane in known.held else float(np.interp(slope, SLOPES, [1.0, 0.0]))
    shape = share * float(exceptional_shape(height, max(lengths), reach, ground, cap))
    if shape <= 0.0:
        return None
    longer = "max(b_1, b_2)" if np.isfinite(lengths[1]) else ""
    terms = ["gamma_B h / s_k", *([f"2 {longer} / l_s"] if longer else []), f"{cap:g}"]
    values = (
        *snow_values(known),
        Value("gamma_B", PER_KILONEWTON, "N/m**3", "2 of 2 h / s_k in m and kN/m^2"),
        Value("h", height, "m", "greatest height of the face"),
        Value("b_1", lengths[0], "m", "roof in front of the face"),
        *(
            (Value("b_2", lengths[1], "m", "roof behind it, or whole roof, across steps that snow fills"),)
            if np.isfinite(lengths[1])
            else ()
        ),
        Value("l_s", reach, "m", clause, "min(5 h, b_1, 15 m)"),
        Value("alpha", slope, "rad", "slope"),
        Value(
            "share",
            share,
            "",
            SHARE_WORDS[clause],
            "" if clause == "B4" or plane in known.held else SHARE,
        ),
        Value("mu_1", shape, "", clause, f"share min({', '.join(terms)})"),
    )
    zone = Zone(
        name,
        plane,
        band(start[:2], end[:2], 0.0, reach - gap),
        falling_pressure(start, left_normal(start, end), shape * ground * (1.0 - gap / reach), reach - gap),
        f"{CODE} {clause}",
        "mu_1 (1 - x / l_s) s_k",
        values,
    )
    return WallDrift(zone, face, shape * ground, reach)
