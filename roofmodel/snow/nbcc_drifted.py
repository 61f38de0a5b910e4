"""NBCC 2020 on a recognized roof: valleys 4.1.6.12, steps 4.1.6.5, gaps 4.1.6.6, sliding 4.1.6.11."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.snow import nbcc2020 as nbcc
from roofmodel.snow import nbcc2020_drift as drift
from roofmodel.snow.cases import SnowCase, Value, Zone
from roofmodel.snow.corners import Corners, WallDrift, in_front, run_on, step_corners
from roofmodel.snow.envelope import larger
from roofmodel.snow.fetches import shed_run, slope_sheds
from roofmodel.snow.meeting import Drift
from roofmodel.snow.nbcc_peaks import drift_at, peak_values
from roofmodel.snow.nbcc_roof import (
    CODE,
    DRIFT,
    FORMULA,
    Cases,
    NbccRoof,
    above_balanced,
    drift_rain,
    drifted_values,
    notes_of,
    uniform_zones,
)
from roofmodel.snow.patches import (
    UPPER_TO_STEP,
    WallGroup,
    buried,
    filled_steps,
    no_rows_above,
    over_ledges,
    spread,
    wall_groups,
)
from roofmodel.snow.regions import (
    CRACK,
    band,
    falling_pressure,
    left_normal,
    polygonal,
    uniform,
)
from roofmodel.surface import EdgeKind

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVEL_VALLEY = 0.01  # ends of a level valley differ by less [m]
LEAST_SLIDE = 1.0  # judgment: sliding snow lies at least this far from the wall [m]


def valley_cases(known: NbccRoof) -> Cases:
    """Cases II and III of 4.1.6.12."""
    edges, slope = known.roof.edges, known.roof.planes.slope
    valleys = [
        e
        for e, kind in enumerate(edges.kind)
        if kind is EdgeKind.VALLEY
        and edges.plane[e].min() >= 0
        and np.all(slope[edges.plane[e]] > nbcc.VALLEY_SLOPE)
    ]
    if not valleys:
        return [], [("valley snow", "no valley between slopes above 10 degrees (4.1.6.12)")]
    level = {
        int(plane)
        for e in valleys
        if abs(edges.start[e, 2] - edges.end[e, 2]) < LEVEL_VALLEY
        for plane in edges.plane[e]
    }
    share = np.ones(known.roof.planes.count)
    share[list(level)] = 0.0
    cases = []
    for case in ("II", "III"):
        strips: list[Zone] = []
        for e in valleys:
            first, second = (int(plane) for plane in edges.plane[e])
            strips += _valley_strip(known, first, edges.start[e], edges.end[e], case, level)
            strips += _valley_strip(known, second, edges.end[e], edges.start[e], case, level)
        zones = [_beyond_strip(known, plane, case) for plane in sorted(level)] + larger(strips)
        notes = [
            *notes_of(known),
            "C_a beside the valley with C_s = C_w = 1.0, drawn as what it adds to the snow of the rest of the"
            " plane. b is twice the plan distance from the valley, square to it, to the farthest point of the"
            " plane beside it. Planes at sloping valleys keep C_a = 1.0 outside the strip in place of"
            " 0.5 / C_b, which is safe (judgment).",
        ]
        name = f"valley snow, case {case} of 4.1.6.12"
        cases.append(known.case(name, uniform_zones(known, share=share) + zones, notes))
    return cases, []


def _beyond_strip(known: NbccRoof, plane: int, case: str) -> Zone:
    """Snow of a plane at a level valley outside the strip."""
    outer = float(nbcc.valley_factors(known.calm[plane], case)[2])
    return Zone(
        f"snow away from the valley on {known.roof.planes.name[plane]}",
        plane,
        known.plan.polygon[plane],
        uniform(known.drifted(plane, outer)),
        f"{CODE} 4.1.6.12",
        FORMULA,
        (*drifted_values(known, plane, outer, "4.1.6.12", "0.5 / C_b"), known.light_density),
    )


def _valley_strip(
    known: NbccRoof, plane: int, start: Array, end: Array, case: str, level: set[int]
) -> list[Zone]:
    """What the strip beside a valley carries on top of the rest of its plane."""
    polygon = known.plan.polygon[plane]
    low_x, low_y, high_x, high_y = polygon.bounds
    across = band(start[:2], end[:2], 0.0, float(np.hypot(high_x - low_x, high_y - low_y)))
    side = polygonal(shapely.intersection(across, polygon))
    if side is None:
        return []
    width = 2.0 * float(((shapely.get_coordinates(side) - start[:2]) @ left_normal(start, end)).max())
    share, inner, outer = nbcc.valley_factors(known.calm[plane], case)
    strip = polygonal(shapely.intersection(band(start[:2], end[:2], 0.0, share * width), polygon))
    load = known.drifted(plane, float(inner))
    rest = known.drifted(plane, float(outer)) if plane in level else known.load(plane, 1.0)
    if strip is None or load <= rest:
        return []
    name = known.roof.planes.name[plane]
    under = "away from the valley" if plane in level else "in the balanced case"
    values = (
        *drifted_values(known, plane, float(inner), "4.1.6.12", "1 / C_b" if case == "II" else "1.5 / C_b"),
        Value("b", width, "m", "twice the plan distance from the valley to the farthest point"),
        Value("width", share * width, "m", "of the strip", "b / 4" if case == "II" else "b / 8"),
        Value("S rest", rest, "Pa", f"already there: snow on {name} {under}"),
    )
    return [
        Zone(
            f"valley snow on {name}",
            plane,
            strip,
            uniform(load - rest),
            f"{CODE} 4.1.6.12",
            "S - S rest",
            values,
        )
    ]


def step_cases(known: NbccRoof) -> Cases:
    """Drift, and drift with sliding snow, for each way that walls face."""
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    groups = wall_groups(known.roof)
    if not groups:
        skipped.append(("drift", "no roof meets a wall below a higher roof (4.1.6.5)"))
    for group, zones in _blown(known):
        name = f"drift below {group.uppers(known.roof)}, wall facing {group.toward}"
        if zones:
            cases.append(known.case(name, uniform_zones(known) + zones, _drift_notes(known)))
        else:
            skipped.append((name, "C_a0 is not above 1, or the gap is above 5 m or wider than x_d (4.1.6.5)"))
        several, without = _sliding(known, group, zones)
        cases += several
        skipped += without
    return cases, skipped


def wall_drifts(known: NbccRoof) -> list[Drift]:
    """Drifts at walls, what is blown and what slid apart, one for each way that walls face."""
    drifts = []
    for group, zones in _blown(known):
        slid = {u: some for u in _uppers(known, group) if (some := _shed(known, group, u))}
        notes = [*_drift_notes(known), *(_slide_notes(known, group, list(slid)) if slid else [])]
        slides = [zone for some in slid.values() for zone in some]
        drifts.append(Drift(True, group.toward, "", zones, slides, tuple(notes)))
    return drifts


def _blown(known: NbccRoof) -> list[tuple[WallGroup, list[Zone]]]:
    """Drift of the walls that face each way."""
    corners = step_corners(known.roof, known.plan)
    return [
        (group, larger([zone for i in group.steps for zone in _drift_zones(known, i, corners)]))
        for group in wall_groups(known.roof)
    ]


def _uppers(known: NbccRoof, group: WallGroup) -> list[int]:
    """Planes above the walls of a group."""
    return list(dict.fromkeys(int(known.roof.steps.upper[i]) for i in group.steps))


def _shed(known: NbccRoof, group: WallGroup, upper: int) -> list[Zone]:
    """What slides from one plane over the walls of a group."""
    site = known.site
    if site.upper_roof_retained and upper in known.retained:
        return []
    return [z for i in _below(known, group, upper) if sheds_over(known, i) for z in _slide_zones(known, i)]


def _below(known: NbccRoof, group: WallGroup, upper: int) -> list[int]:
    """Steps of a group below one plane."""
    return [i for i in group.steps if known.roof.steps.upper[i] == upper]


def sheds_over(known: NbccRoof, i: int) -> bool:
    """Whether the slope above a step sheds by 4.1.6.11, its steepest facet on the way (judgment)."""
    return slope_sheds(known.roof, known.plan, i, partial(drift.slides, slippery=known.site.slippery))


def _drift_notes(known: NbccRoof) -> list[str]:
    return [
        *notes_of(known),
        "C_a falls from C_a0 at the wall to 1 at x_d with C_s = C_w = 1.0 and is drawn as what it adds to the"
        " balanced load. The greatest height of each wall counts; w and l of both sources are those of the"
        " smallest rectangle around each roof level; parapets count as none. Around outside corners each"
        " drift runs on radially (4.1.6.8.(1), which lets the lesser of the two do), up to where the roof"
        " stands higher than the wall's top; where drifts overlap the larger counts, also at inside corners"
        " (4.1.6.8.(2)). What reaches past the roof's edge falls off.",
        *over_ledges(known.roof, "4.1.6.6"),
        *filled_steps(known.roof, known.depth, "l_cs"),
    ]


def _drift_zones(known: NbccRoof, i: int, corners: Corners) -> list[Zone]:
    steps, planes, site = known.roof.steps, known.roof.planes, known.site
    lower, gap = int(steps.lower[i]), float(steps.gap[i])
    at = drift_at(known, i)
    if (gap > nbcc.GAP_LIMIT and steps.between[i] < 0) or at.length <= gap:
        return []
    start, end = steps.start[i], steps.end[i]
    unit = known.importance * known.calm[lower] * site.ground_snow
    top = (at.peak - 1.0) * unit
    rain = drift_rain(known, lower, at.peak)
    values = (
        *peak_values(known, i, at),
        Value("a", gap, "m", "gap between the roofs on plan (4.1.6.6)"),
        rain,
        Value("S wall", at.peak * unit + rain.value, "Pa", "at x = 0", "I_s S_s C_b C_a0 + rain"),
    )
    whole = Zone(
        f"drift below {planes.name[int(steps.upper[i])]}",
        lower,
        band(start[:2], end[:2], 0.0, at.length - gap),
        falling_pressure(start, left_normal(start, end), top * (1.0 - gap / at.length), at.length - gap),
        f"{CODE} {'4.1.6.6' if gap > CRACK else '4.1.6.5'}",
        DRIFT,
        values,
    )
    zones = []
    quarter = replace(whole, clause=f"{CODE} 4.1.6.8")
    drift_at_wall = WallDrift(whole, i, top, at.length)
    (front,), (around,) = (
        in_front([drift_at_wall], corners),
        run_on([replace(drift_at_wall, zone=quarter)], corners),
    )
    for part in (*front, *around):
        zones += above_balanced(known, part, unit + rain.value)
    return zones


def _sliding(known: NbccRoof, group: WallGroup, drifted: list[Zone]) -> Cases:
    """Snow that slides from each upper plane above the walls of a group, and from all, on their drift."""
    planes, site = known.roof.planes, known.site
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    slid: dict[int, list[Zone]] = {}
    base = uniform_zones(known) + drifted
    for upper in _uppers(known, group):
        name = f"sliding from {planes.name[upper]}, wall facing {group.toward}"
        zones = _shed(known, group, upper)
        if zones:
            slid[upper] = zones
            notes = [*_drift_notes(known), *_slide_notes(known, group, [upper])]
            cases.append(known.case(name, base + zones, notes))
        elif not any(sheds_over(known, i) for i in _below(known, group, upper)):
            skipped.append((name, "the upper plane is too flat to shed (4.1.6.11)"))
        elif site.upper_roof_retained and upper in known.retained:
            skipped.append((name, "left out because rows hold it, as the user declared"))
        else:
            skipped.append((name, "no wall lies below its eave within reach (4.1.6.11)"))
    if len(slid) > 1:
        zones = [zone for some in slid.values() for zone in some]
        notes = [*_drift_notes(known), *_slide_notes(known, group, list(slid))]
        notes.append("Judgment: all upper roofs shed at once; where their snow overlaps it adds.")
        cases.append(
            known.case(f"sliding from all upper roofs, wall facing {group.toward}", base + zones, notes)
        )
    return cases, skipped


def _slide_notes(known: NbccRoof, group: WallGroup, uppers: list[int]) -> list[str]:
    names = known.roof.planes.name
    notes = [
        "Half of the upper slope's specified load, taken with C_s = 1.0, lies on the drift as a"
        " triangle over x_d (4.1.6.11, from memory), not shorter than 1 m (judgment). The article"
        " names no least height of a step: all of it counts even where snow buries the step.",
    ]
    steps = known.roof.steps
    depth = known.depth
    low = [
        names[steps.upper[i]]
        for i in group.steps
        if steps.upper[i] in uppers and steps.wall[i].max() <= depth[steps.lower[i]]
    ]
    notes += [buried(low, "4.1.6.11")] if low else []
    for upper in uppers:
        if upper in known.retained:
            notes.append(f"{names[upper]} carries snow retention; its snow is let slide all the same.")
        elif known.site.upper_roof_retained:
            notes.append(no_rows_above(names[upper]))
    return notes


def _slide_lengths(known: NbccRoof, i: int) -> tuple[float, float]:
    """Plan run of the upper slope above a step, 0 where nothing slides there, and x_d. [m]."""
    steps, plan = known.roof.steps, known.plan
    upper, gap = int(steps.upper[i]), float(steps.gap[i])
    start, end, fall = steps.start[i], steps.end[i], plan.fall[upper]
    length = max(drift_at(known, i).length, LEAST_SLIDE)
    if (
        fall @ left_normal(start, end) < UPPER_TO_STEP
        or (gap > nbcc.GAP_LIMIT and steps.between[i] < 0)
        or length <= gap
    ):
        return 0.0, length
    return shed_run(known.roof, plan, i), length


def slid_peak(known: NbccRoof, i: int) -> float:
    """Pressure of slid snow at the lower roof's edge below a step; 0 where none slides. [Pa]."""
    upper, gap = int(known.roof.steps.upper[i]), float(known.roof.steps.gap[i])
    if not sheds_over(known, i):
        return 0.0
    run, length = _slide_lengths(known, i)
    full = float(drift.sliding_peak(known.drifted(upper, 1.0), run, length))
    return full * max(1.0 - gap / length, 0.0)


def _slide_zones(known: NbccRoof, i: int) -> list[Zone]:
    steps, plan, names = known.roof.steps, known.plan, known.roof.planes.name
    upper, lower, gap = int(steps.upper[i]), int(steps.lower[i]), float(steps.gap[i])
    start, end = steps.start[i], steps.end[i]
    run, length = _slide_lengths(known, i)
    load = known.drifted(upper, 1.0)
    peak = float(drift.sliding_peak(load, run, length))
    if peak <= 0.0:
        return []
    values = (
        *drifted_values(known, upper, 1.0, "upper roof", ""),
        Value("run", run, "m", "plan length of the upper slope"),
        Value("x_d", length, "m", f"of the drift below {names[upper]}, not below 1 m"),
        Value("a", gap, "m", "gap between the roofs on plan"),
        Value("h step", float(steps.wall[i].max()), "m", "greatest height of the wall"),
        Value("peak", peak, "Pa", "at the wall, on top of the drift", "2 (0.5 S run) / x_d"),
    )
    zone = Zone(
        f"snow that slid from {names[upper]}",
        lower,
        band(start[:2], end[:2], 0.0, length - gap),
        falling_pressure(start, left_normal(start, end), slid_peak(known, i), length - gap),
        f"{CODE} 4.1.6.11",
        "peak (1 - x / x_d)",
        values,
    )
    return spread(plan, [zone])
