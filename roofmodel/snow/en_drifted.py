"""Drifted arrangements of EN 1991-1-3: pitched roofs, valleys, roofs that abut taller works."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.snow import en1991_1_3 as en
from roofmodel.snow.cases import SnowCase, Value, Zone
from roofmodel.snow.en_roof import CODE, EnRoof, balanced_zones, load_values
from roofmodel.snow.patches import UPPER_TO_STEP, WallGroup, larger, no_rows_above, spread, wall_groups
from roofmodel.snow.regions import (
    CRACK,
    EAVE_OVERHANG,
    SAME_WAY,
    band,
    compass,
    crest_segments,
    falling_pressure,
    fetch,
    left_normal,
    polygonal,
    slope_run,
    wind_directions,
)
from roofmodel.surface import EdgeKind

Array = NDArray[np.float64]
Cases = tuple[list[SnowCase], list[tuple[str, str]]]


def pitched_cases(known: EnRoof) -> Cases:
    """Arrangements (ii) and (iii) of 5.3.3: half of mu_1 on one side, one case for each side."""
    names = known.roof.planes.name
    cases: list[SnowCase] = []
    for wind in wind_directions(known.roof, known.plan):
        along = known.plan.fall @ wind
        halved = sorted(
            {
                across
                for plane, across, _, _ in crest_segments(known.roof)
                if along[plane] > SAME_WAY and along[across] < -SAME_WAY
            }
            | set(_opposite_ends(known, along))
        )
        if not halved:
            continue
        share = np.ones(len(names))
        share[halved] = 0.5
        notes = [f"Half of mu_1 on {', '.join(names[i] for i in halved)}, 5.3.3."]
        if any(kind is EdgeKind.HIP for kind in known.roof.edges.kind):
            notes.append(
                "The standard gives no figure for hips: each pair of opposite planes is treated as a duopitch"
                " roof, planes beside the wind keep mu_1."
            )
        cases.append(
            known.case(f"unbalanced, wind toward {compass(wind)}", balanced_zones(known, share), notes)
        )
    if cases:
        return cases, []
    return [], [("unbalanced", "no two planes fall away from a common ridge or hip roof (5.3.3)")]


def _opposite_ends(known: EnRoof, along: Array) -> list[int]:
    """Hip ends that face the wind where a hip end of the same level faces away from it."""
    ends = {
        int(plane)
        for kind, pair in zip(known.roof.edges.kind, known.roof.edges.plane, strict=True)
        if kind is EdgeKind.HIP
        for plane in pair
        if plane >= 0
    }
    level = known.plan.level
    lee = {int(level[i]) for i in ends if along[i] > SAME_WAY}
    return [i for i in ends if along[i] < -SAME_WAY and int(level[i]) in lee]


def valley_cases(known: EnRoof) -> Cases:
    """Arrangement (ii) of 5.3.4, read for the valleys of roofs with wings."""
    zones: list[Zone] = []
    edges = known.roof.edges
    for e, kind in enumerate(edges.kind):
        pair = edges.plane[e]
        if kind is EdgeKind.VALLEY and pair.min() >= 0:
            mean = float(known.roof.planes.slope[pair].mean())
            for plane, start, end in (
                (int(pair[0]), edges.start[e], edges.end[e]),
                (int(pair[1]), edges.end[e], edges.start[e]),
            ):
                zones += _valley_zone(known, plane, start, end, mean)
    if not zones:
        return [], [("snow in the valleys", "the roof has no valley (5.3.4)")]
    notes = [
        "5.3.4 shows valleys between parallel ridges; here mu falls from mu_2 along the valley linearly,"
        " square to it on plan, to mu_1 at the farthest point of each plane beside the valley. Where two"
        " valleys reach the same place the larger counts."
    ]
    return [known.case("snow in the valleys", balanced_zones(known) + larger(zones), notes)], []


def _valley_zone(known: EnRoof, plane: int, start: Array, end: Array, mean: float) -> list[Zone]:
    """What mu_2 adds to mu_1 on one side of a valley, from the valley to the far end of the plane."""
    polygon = known.plan.polygon[plane]
    normal = left_normal(start, end)
    low_x, low_y, high_x, high_y = polygon.bounds
    side = band(start[:2], end[:2], 0.0, float(np.hypot(high_x - low_x, high_y - low_y)))
    part = polygonal(shapely.intersection(side, polygon))
    if part is None:
        return []
    width = float(((shapely.get_coordinates(part) - start[:2]) @ normal).max())
    mu_2 = float(en.mu_2(mean))
    peak = (mu_2 - float(known.shape[plane])) * known.unit_load
    values = (
        *load_values(known, plane),
        Value("alpha mean", mean, "rad", "of the two slopes"),
        Value("mu_2", mu_2, "", "at the valley, Table 5.2"),
        Value("b", width, "m", "plan distance from the valley to the farthest point beside it"),
    )
    return [
        Zone(
            f"valley snow on {known.roof.planes.name[plane]}",
            plane,
            part,
            falling_pressure(start, normal, peak, width),
            f"{CODE} 5.3.4",
            "(mu_2 - mu_1) (1 - x / b) C_e C_t s_k",
            values,
        )
    ]


def abutting_cases(known: EnRoof) -> Cases:
    """Drift and slide at walls below taller roofs, 5.3.6, one case for each way that walls face."""
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    groups = wall_groups(known.roof)
    if not groups:
        skipped.append(("drift at taller roofs", "no roof meets a wall below a higher roof (5.3.6)"))
    for group in groups:
        name = f"drift below {group.uppers(known.roof)}, wall facing {group.toward}"
        zones = larger([zone for i in group.steps for zone in _abutting_zones(known, i)])
        if zones:
            cases.append(known.case(name, balanced_zones(known) + zones, _abutting_notes(known, group)))
        else:
            skipped.append((name, "mu_s + mu_w is not above 0.8, or the gap is wider than l_s (5.3.6)"))
    return cases, skipped


def _abutting_notes(known: EnRoof, group: WallGroup) -> list[str]:
    notes = [
        "Where a wall's height varies, mu_w takes b_1 + b_2 over the least and gamma h and l_s from the"
        " greatest height, which is safe.",
        "mu falls linearly from mu_s + mu_w at the wall to mu_1 of the lower plane at l_s.",
        "mu_s is spread as a triangle over l_s, the usual reading of Fig. 5.7.",
    ]
    steps = known.roof.steps
    gaps = steps.gap[list(group.steps)]
    if gaps.max() > CRACK:
        notes.append("The wall stands apart from the lower roof: the drift begins at the wall.")
    held = {int(steps.upper[i]) for i in group.steps} & known.retained
    if held:
        what = (
            "is left out, as the user declared"
            if known.site.upper_roof_retained
            else "is counted all the same"
        )
        names = ", ".join(known.roof.planes.name[i] for i in sorted(held))
        notes.append(f"{names} carries snow retention; snow that slides from it {what}.")
    free = sorted({int(steps.upper[i]) for i in group.steps if _slide_run(known, i) > 0.0} - known.retained)
    if known.site.upper_roof_retained and free:
        notes.append(no_rows_above(", ".join(known.roof.planes.name[i] for i in free)))
    return notes


def _abutting_zones(known: EnRoof, i: int) -> list[Zone]:
    steps, plan, planes = known.roof.steps, known.plan, known.roof.planes
    start, end, gap = steps.start[i], steps.end[i], float(steps.gap[i])
    upper, lower = int(steps.upper[i]), int(steps.lower[i])
    out = left_normal(start, end)
    b1 = fetch(plan.level_outline[plan.level[upper]], start, end, -out, gap, EAVE_OVERHANG)
    b2 = fetch(plan.level_outline[plan.level[lower]], start, end, out)
    low, high = float(steps.wall[i].min()), float(steps.wall[i].max())
    length = float(en.drift_length(high))
    wind = float(en.mu_wind(b1, b2, low, high, known.site.drift_weight, known.site.ground_snow))
    run = _slide_run(known, i)
    slide = float(en.mu_slide(known.shape[upper], planes.slope[upper], run, length))
    peak = (wind + slide - float(known.shape[lower])) * known.unit_load
    if peak <= 0.0 or gap >= length:
        return []
    values = (
        *load_values(known, lower),
        Value("h", high, "m", "greatest height of the wall"),
        Value("b_1", b1, "m", "upper roof, square to the wall"),
        Value("b_2", b2, "m", "lower roof, square to the wall"),
        Value("gamma", known.site.drift_weight, "N/m**3", "weight density of 5.3.6"),
        Value("mu_w", wind, "", "(b_1 + b_2) / 2 h <= gamma h / s_k, 0.8 to 4"),
        Value("b_s", run, "m", "plan run of the upper slope that sheds here"),
        Value("mu_s", slide, "", "half of the upper slope's load, none up to 15 degrees"),
        Value("l_s", length, "m", "2 h, 5 to 15 m"),
    )
    zone = Zone(
        f"drift below {planes.name[upper]}",
        lower,
        band(start[:2], end[:2], 0.0, length - gap),
        falling_pressure(start, out, peak * (1.0 - gap / length), length - gap),
        f"{CODE} 5.3.6",
        "(mu_s + mu_w - mu_1) (1 - x / l_s) C_e C_t s_k",
        values,
    )
    return spread(plan, zone)


def _slide_run(known: EnRoof, i: int) -> float:
    """Plan run of the upper slope that sheds over a step; 0 where none does."""
    steps, plan = known.roof.steps, known.plan
    upper = int(steps.upper[i])
    fall = plan.fall[upper]
    if fall @ left_normal(steps.start[i], steps.end[i]) < UPPER_TO_STEP:
        return 0.0
    if known.site.upper_roof_retained and upper in known.retained:
        return 0.0
    return slope_run(plan, upper, steps.start[i], steps.end[i], -fall, float(steps.gap[i]), EAVE_OVERHANG)
