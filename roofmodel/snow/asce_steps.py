"""Snow beside walls: drifts and slides onto lower roofs, ASCE/SEI 7 7.7 and 7.9."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.asce_roof import AsceRoof, balanced_zones, slope_notes
from roofmodel.snow.asce_working import ADJACENT, leeward_formulas
from roofmodel.snow.cases import SnowCase, Value, Zone
from roofmodel.snow.corners import (
    OUTSIDE,
    Corners,
    WallDrift,
    around_walls,
    drift_of,
    if_around,
    step_corners,
)
from roofmodel.snow.envelope import larger
from roofmodel.snow.fetches import shed_run, slope_sheds
from roofmodel.snow.meeting import Drift
from roofmodel.snow.patches import (
    UPPER_TO_STEP,
    WallGroup,
    buried,
    filled_steps,
    no_rows_above,
    over_ledges,
    roof_before,
    roof_behind,
    spread,
    wall_groups,
)
from roofmodel.snow.regions import CRACK, band, falling_pressure, left_normal, uniform

Array = NDArray[np.float64]
Skipped = list[tuple[str, str]]


@dataclass(frozen=True)
class WallZones:
    """Drift zones of the walls that face one way, and what would be said without any."""

    group: WallGroup
    leeward: list[Zone]
    windward: list[Zone]
    why: tuple[str, str]


def wall_zones(known: AsceRoof) -> list[WallZones]:
    """Leeward and windward drift zones of the walls, for each way that walls face."""
    found = []
    corners = step_corners(known.roof, known.plan)
    for group in wall_groups(known.roof):
        leeward, calm = _group_zones(known, group, corners, leeward=True)
        windward, bare = _group_zones(known, group, corners, leeward=False)
        found.append(WallZones(group, leeward, windward, (calm, bare)))
    return found


def drift_cases(known: AsceRoof, walls: list[WallZones]) -> tuple[list[SnowCase], Skipped]:
    """Leeward and windward drifts, one case for each way that walls face."""
    cases: list[SnowCase] = []
    skipped: Skipped = []
    if not walls:
        skipped.append(("drift", "no roof meets a wall below a higher roof (7.7)"))
    for n, kind in enumerate(("leeward", "windward")):
        for one in walls:
            zones = (one.leeward, one.windward)[n]
            name = _drift_name(known, one.group, kind)
            if zones:
                cases.append(known.case(name, balanced_zones(known) + zones, _drift_notes(known, zones)))
            else:
                skipped.append((name, one.why[n]))
    return cases, skipped


def wall_drifts(known: AsceRoof, walls: list[WallZones]) -> list[Drift]:
    """Leeward and windward drifts of the walls that face each way, of which the larger counts (7.7.1)."""
    both = [larger([*one.leeward, *one.windward]) for one in walls]
    return [
        Drift(True, one.group.toward, "", zones, [], tuple(_drift_notes(known, zones)))
        for one, zones in zip(walls, both, strict=True)
    ]


def _drift_name(known: AsceRoof, group: WallGroup, kind: str) -> str:
    if kind == "leeward":
        return f"leeward drift below {group.uppers(known.roof)}, wind toward {group.toward}"
    return f"windward drift at {group.uppers(known.roof)}, wind toward {group.against}"


def _drift_notes(known: AsceRoof, zones: list[Zone]) -> list[str]:
    return [
        *slope_notes(known),
        "Drift is added to balanced snow, not to unbalanced, minimum, sliding or rain loads; where drifts"
        " overlap the larger counts (7.7.3).",
        "The greatest height of each wall counts, and the longest roof upwind of it.",
        "What reaches past the roof's edge falls off; the drift is not squeezed.",
        *if_around(OUTSIDE, zones),
        *over_ledges(
            known.roof,
            "7.7.2, 7.9; none where it is wide enough to hold the whole drift, nor from 20 ft, 6.1 m, on",
            "l_u",
        ),
        *filled_steps(known.roof, known.depth, "l_u"),
    ]


def _group_zones(
    known: AsceRoof, group: WallGroup, corners: Corners, *, leeward: bool
) -> tuple[list[Zone], str]:
    """Drift zones of the walls that face one way, or the reason why there are none."""
    drifts: list[WallDrift] = []
    why = "no roof upwind of the wall"
    for i in group.steps:
        patch = _leeward_patch(known, i) if leeward else _windward_patch(known, i)
        if isinstance(patch, str):
            why = patch
        else:
            level = float(known.roof.steps.gap[i]) if leeward else 0.0  # 7.7.2: p_d is at the gap's far side
            drifts.append(drift_of(patch, i, level))
    return larger(spread(known.plan, around_walls(drifts, corners))), why


def leeward_shape(known: AsceRoof, i: int, balanced: float) -> tuple[drift.Drift, float, float]:
    """Leeward drift at a step on a balanced load [Pa], its fetch and h_d [m]; 0 where no roof lies upwind."""
    steps, rules = known.roof.steps, known.rules
    length = float(roof_behind(known.roof, known.plan, np.array([i]))[0])
    height = rules.drift_height(length) if length > 0.0 else 0.0
    wall, gap = float(steps.wall[i].max()), float(steps.gap[i])
    if gap > CRACK:
        shape = drift.adjacent_drift(height, balanced, wall, gap, rules.weight_density)
    else:
        shape = drift.leeward_drift(height, balanced, wall, rules.weight_density)
    return shape, length, height


def windward_shape(known: AsceRoof, i: int, balanced: float) -> tuple[drift.Drift, float, float]:
    """Windward drift at a step, as `leeward_shape`."""
    steps, rules = known.roof.steps, known.rules
    length = float(roof_before(known.roof, known.plan, np.array([i]))[0])
    height = rules.drift_height(length) if length > 0.0 else 0.0
    return rules.windward(height, balanced, float(steps.wall[i].max()), rules.weight_density), length, height


def _leeward_patch(known: AsceRoof, i: int) -> Zone | str:
    steps = known.roof.steps
    shape, length, height = leeward_shape(known, i, float(known.balanced[steps.lower[i]]))
    if length <= 0.0:
        return "no roof upwind of the wall"
    if _held_between(known, i, height):
        return "the roof between holds all of the drift (7.7.1)"
    if steps.gap[i] > CRACK:
        clause, formulas = "7.7.2", ADJACENT
    else:
        clause, formulas = "7.7.1", leeward_formulas(height, _clear(known, i))
    name = f"leeward drift below {known.roof.planes.name[int(steps.upper[i])]}"
    return _triangle(known, i, name, (clause, formulas), length, shape, 0.0)


def _held_between(known: AsceRoof, i: int, height: float) -> bool:
    """Whether what lies between is as wide as the whole drift on it, 4 h_d or, uncut, 4 h_d^2 / h_c.

    Open gaps before and behind it are no part of it, and one that sheds holds nothing.
    """
    steps, between = known.roof.steps, int(known.roof.steps.between[i])
    own = (steps.upper == steps.upper[i]) & (steps.lower == between)
    if between < 0 or not own.any() or drift.slides(known.roof.planes.slope[between], known.site.slippery):
        return False
    beyond = (known.plan.level[steps.upper] == known.plan.level[between]) & (steps.lower == steps.lower[i])
    clear = float(steps.wall[own].min()) - float(known.balanced[between]) / known.rules.weight_density
    width = float(steps.gap[i] - steps.gap[own].max() - steps.gap[beyond].max(initial=0.0))
    return width * clear >= 4.0 * height * max(height, clear)


def _clear(known: AsceRoof, i: int) -> float:
    """h_c at a step. [m]."""
    base = float(known.balanced[known.roof.steps.lower[i]]) / known.rules.weight_density
    return max(float(known.roof.steps.wall[i].max()) - base, 0.0)


def _windward_patch(known: AsceRoof, i: int) -> Zone | str:
    steps, rules = known.roof.steps, known.rules
    shape, length, height = windward_shape(known, i, float(known.balanced[steps.lower[i]]))
    if length <= 0.0:
        return "no roof upwind of the wall"
    name = f"windward drift at {known.roof.planes.name[steps.upper[i]]}"
    rule = ("7.7.1", rules.windward_formulas(height, _clear(known, i)))
    return _triangle(known, i, name, rule, length, shape, float(steps.gap[i]))


def _triangle(
    known: AsceRoof,
    i: int,
    name: str,
    rule: tuple[str, tuple[str, str]],
    length: float,
    shape: drift.Drift,
    cut: float,
) -> Zone | str:
    """Zone of a drift whose peak stands `cut` behind the foot of the wall."""
    steps = known.roof.steps
    start, end, lower = steps.start[i], steps.end[i], int(steps.lower[i])
    wall, base = float(steps.wall[i].max()), float(known.balanced[lower]) / known.rules.weight_density
    height, width, peak = (float(x) for x in shape)
    clear = _clear(known, i)
    if width <= cut:
        if clear < drift.NO_DRIFT_RATIO * base:
            return f"h_c / h_b = {clear / base:.2f} is below 0.2 (7.7.1)"
        return "the gap is too wide for the drift (7.7.2)"
    clause, (height_formula, width_formula) = rule
    values = (
        *known.rules.drift_values,
        Value("l_u", length, "m", "longest roof upwind, square to the wall"),
        *known.rules.heights(length),
        Value("h", wall, "m", "greatest height of the wall"),
        Value("s", float(steps.gap[i]), "m", "gap between the roofs on plan"),
        Value("p_s", float(known.balanced[lower]), "Pa", f"balanced snow on {known.roof.planes.name[lower]}"),
        Value("h_b", base, "m", "depth of balanced snow", "p_s / gamma"),
        Value("h_c", clear, "m", "clear height", "h - h_b"),
        Value("height", height, "m", "of the drift at its peak", height_formula),
        Value("w", width, "m", "width of the drift", width_formula),
        Value("p_d", peak, "Pa", "at the peak, on top of p_s", "gamma height"),
    )
    return Zone(
        name,
        lower,
        band(start[:2], end[:2], 0.0, width - cut),
        falling_pressure(start, left_normal(start, end), peak * (1.0 - cut / width), width - cut),
        f"{known.rules.code} {clause}",
        "p_d (1 - x / w)",
        values,
    )


def sliding_cases(known: AsceRoof) -> tuple[list[SnowCase], Skipped]:
    """Snow that slides from each upper plane that falls toward a step, 7.9."""
    steps, planes = known.roof.steps, known.roof.planes
    cases: list[SnowCase] = []
    skipped: Skipped = []
    slid: dict[int, list[Zone]] = {}
    for upper in dict.fromkeys(int(i) for i in steps.upper):
        name = f"sliding from {planes.name[upper]}"
        below = np.flatnonzero(steps.upper == upper).tolist()
        if not any(sheds_over(known, i) for i in below):
            skipped.append((name, "the upper plane is too flat to shed (7.9)"))
        elif known.site.upper_roof_retained and upper in known.retained:
            skipped.append((name, "left out because rows hold it, as the user declared"))
        else:
            zones = [z for i in below if sheds_over(known, i) for z in _slide_zones(known, i)]
            if zones:
                slid[upper] = zones
                cases.append(_sliding_case(known, name, {upper: zones}))
            else:
                skipped.append((name, "no wall lies below its eave within reach (7.9)"))
    if len(slid) > 1:
        cases.append(_sliding_case(known, "sliding from all upper roofs", slid))
    return cases, skipped


def sheds_over(known: AsceRoof, i: int) -> bool:
    """Whether the slope above a step is steep enough for 7.9, its steepest facet on the way (judgment)."""
    return slope_sheds(known.roof, known.plan, i, partial(drift.slides, slippery=known.site.slippery))


def _sliding_case(known: AsceRoof, name: str, slid: dict[int, list[Zone]]) -> SnowCase:
    notes = [
        *slope_notes(known),
        "Sliding snow is added to balanced snow only; what falls past the lower roof's edge is lost.",
    ]
    if len(slid) > 1:
        notes.append("Judgment: all upper roofs shed at once; where their snow overlaps it adds.")
    for upper in slid:
        if upper in known.retained:
            notes.append(
                f"{known.roof.planes.name[upper]} carries snow retention; 7.9 gives no reduction for that, so"
                " its snow is let slide."
            )
        elif known.site.upper_roof_retained:
            notes.append(no_rows_above(known.roof.planes.name[upper]))
    low = [known.roof.planes.name[upper] for upper in slid if _buries(known, upper)]
    notes += [buried(low, "7.9")] if low else []
    zones = [zone for some in slid.values() for zone in some]
    return known.case(name, balanced_zones(known) + zones, notes)


def _buries(known: AsceRoof, upper: int) -> bool:
    """Whether balanced snow is as deep as a step over which a plane sheds."""
    steps = known.roof.steps
    sheds = np.sum(known.plan.fall[steps.upper] * left_normal(steps.start, steps.end), axis=1) > UPPER_TO_STEP
    depth = known.balanced[steps.lower] / known.rules.weight_density
    return bool(np.any(sheds & (steps.upper == upper) & (steps.wall.max(axis=1) <= depth)))


def _slide_zones(known: AsceRoof, i: int) -> list[Zone]:
    steps, plan, names = known.roof.steps, known.plan, known.roof.planes.name
    upper, lower, gap = int(steps.upper[i]), int(steps.lower[i]), float(steps.gap[i])
    start, end, fall = steps.start[i], steps.end[i], plan.fall[upper]
    far = gap > CRACK and steps.between[i] < 0 and steps.wall[i].max() <= gap
    if fall @ left_normal(start, end) < UPPER_TO_STEP or far:
        return []
    run = shed_run(known.roof, plan, i)
    strip = drift.sliding_load(known.rules.flat_load, run, gap)
    if strip.pressure <= 0.0:
        return []
    zone = Zone(
        f"snow that slid from {names[upper]}",
        lower,
        band(start[:2], end[:2], 0.0, float(strip.end - strip.start)),
        uniform(float(strip.pressure)),
        f"{known.rules.code} 7.9",
        "pressure = 0.4 p_f W / 15 ft",
        (
            *known.rules.flat,
            Value("W", run, "m", "plan distance from eave to ridge of the upper roof"),
            Value("s", gap, "m", "gap between the roofs on plan"),
            Value("h step", float(steps.wall[i].max()), "m", "greatest height of the wall"),
            Value("width", float(strip.end - strip.start), "m", "of the lower roof, reached", "15 ft - s"),
            Value("pressure", float(strip.pressure), "Pa", "on top of p_s, over the width"),
        ),
    )
    return spread(plan, [zone])
