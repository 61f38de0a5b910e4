"""Drift and slide at walls below taller roofs, EN 1991-1-3 5.3.6."""

from __future__ import annotations

from roofmodel.snow import en1991_1_3 as en
from roofmodel.snow.cases import Bare, SnowCase, Value, Zone
from roofmodel.snow.en_drifted import Cases
from roofmodel.snow.en_roof import CODE, SHAPE, EnRoof, balanced_zones, load_values
from roofmodel.snow.meeting import Drift
from roofmodel.snow.patches import (
    UPPER_TO_STEP,
    WallGroup,
    larger,
    no_rows_above,
    spread,
    wall_groups,
)
from roofmodel.snow.regions import (
    CRACK,
    EAVE_OVERHANG,
    band,
    falling_pressure,
    fetch,
    left_normal,
    slope_run,
)

BOTH, WIND, SLIDE = "both", "wind", "slide"
FORMULAS = {
    BOTH: "(mu_s + mu_w - mu_1) (1 - x / l_s) C_e C_t s_k",
    WIND: "(mu_w - mu_1) (1 - x / l_s) C_e C_t s_k",
    SLIDE: "mu_s (1 - x / l_s) C_e C_t s_k",
}


def abutting_cases(known: EnRoof) -> Cases:
    """Drift and slide at walls, 5.3.6: one case for each way that walls face."""
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    groups = wall_groups(known.roof)
    if not groups:
        skipped.append(("drift at taller roofs", "no roof meets a wall below a higher roof (5.3.6)"))
    for group in groups:
        name = f"drift below {group.uppers(known.roof)}, wall facing {group.toward}"
        zones = _group_zones(known, group, BOTH)
        if zones:
            cases.append(known.case(name, balanced_zones(known) + zones, _notes(known, group)))
        else:
            skipped.append((name, "mu_s + mu_w is not above 0.8, or the gap is wider than l_s (5.3.6)"))
    return cases, skipped


def wall_drifts(known: EnRoof) -> list[Drift]:
    """Drifts at walls, what is blown and what slid apart, one for each way that walls face."""
    return [
        Drift(
            True,
            group.toward,
            "",
            _group_zones(known, group, WIND),
            _group_zones(known, group, SLIDE),
            tuple(_notes(known, group)),
        )
        for group in wall_groups(known.roof)
    ]


def _group_zones(known: EnRoof, group: WallGroup, part: str) -> list[Zone]:
    """Zones of the walls that face one way; the larger where a bent wall makes two of them overlap."""
    return larger([zone for i in group.steps for zone in _wall_zones(known, i, part)])


def _notes(known: EnRoof, group: WallGroup) -> list[str]:
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
    free = sorted({int(steps.upper[i]) for i in group.steps if _lengths(known, i)[2] > 0.0} - known.retained)
    if known.site.upper_roof_retained and free:
        notes.append(no_rows_above(", ".join(known.roof.planes.name[i] for i in free)))
    return notes


def _wall_zones(known: EnRoof, i: int, part: str) -> list[Zone]:
    """What the drift of one step adds to mu_1: all of it, or what the wind brings or what slides."""
    steps, plan, planes = known.roof.steps, known.plan, known.roof.planes
    start, end, gap = steps.start[i], steps.end[i], float(steps.gap[i])
    upper, lower = int(steps.upper[i]), int(steps.lower[i])
    out = left_normal(start, end)
    b1, b2, run = _lengths(known, i)
    low, high = float(steps.wall[i].min()), float(steps.wall[i].max())
    length = float(en.drift_length(high))
    wind = float(en.mu_wind(b1, b2, low, high, known.site.drift_weight, known.site.ground_snow))
    slide = float(en.mu_slide(known.shape[upper], planes.slope[upper], run, length))
    blown = wind - float(known.shape[lower])
    peak = {BOTH: blown + slide, WIND: blown, SLIDE: slide}[part] * known.unit_load
    if peak <= 0.0 or gap >= length:
        return []
    values = (
        *load_values(known, lower),
        Value("h", high, "m", "greatest height of the wall"),
        Value("b_1", b1, "m", "upper roof, square to the wall"),
        Value("b_2", b2, "m", "lower roof, square to the wall"),
        Value("gamma", known.site.drift_weight, "N/m**3", "weight density of 5.3.6"),
        Value("h_min", max(low, 1e-6), "m", "least height of the wall"),
        Value(
            "mu_w",
            wind,
            "",
            "5.3.6, from 0.8 to 4",
            "max(0.8, min((b_1 + b_2) / (2 h_min), gamma h / s_k, 4))",
        ),
        Value("b_s", run, "m", "plan run of the upper slope that sheds here"),
        Value("l_s", length, "m", "5.3.6, 5 to 15 m", "max(5 m, min(2 h, 15 m))"),
        *_slide_values(known, upper, slide),
    )
    what = "snow that slid from" if part == SLIDE else "drift below"
    zone = Zone(
        f"{what} {planes.name[upper]}",
        lower,
        band(start[:2], end[:2], 0.0, length - gap),
        falling_pressure(start, out, peak * (1.0 - gap / length), length - gap),
        f"{CODE} 5.3.6",
        FORMULAS[part],
        values,
    )
    return spread(plan, zone)


def _slide_values(known: EnRoof, upper: int, slide: float) -> tuple[Value, ...]:
    """mu_s and what it takes; 0 where nothing slides."""
    slope, shape = float(known.roof.planes.slope[upper]), float(known.shape[upper])
    if slide <= 0.0:
        return (Value("mu_s", slide, "", "nothing slides here; none up to 15 degrees"),)
    formula: Bare | str = "" if upper in known.held else Bare(SHAPE.us.replace("alpha", "alpha_u"))
    why = "not below 0.8, held" if upper in known.held else "Table 5.2"
    return (
        Value("alpha_u", slope, "rad", "slope of the upper plane, above 15 degrees"),
        Value("mu_1,u", shape, "", f"of the upper plane, {why}", formula),
        Value("mu_s", slide, "", "half of the upper slope's load as a triangle over l_s", "mu_1,u b_s / l_s"),
    )


def _lengths(known: EnRoof, i: int) -> tuple[float, float, float]:
    """b_1, b_2 and the run that sheds at one step, found once for all cases. [m]."""
    if i not in known.lengths:
        steps, plan = known.roof.steps, known.plan
        start, end = steps.start[i], steps.end[i]
        out = left_normal(start, end)
        upper, lower = (plan.level_outline[plan.level[p]] for p in (steps.upper[i], steps.lower[i]))
        b1 = fetch(upper, start, end, -out, float(steps.gap[i]), EAVE_OVERHANG)
        known.lengths[i] = (b1, fetch(lower, start, end, out), _slide_run(known, i))
    return known.lengths[i]


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
