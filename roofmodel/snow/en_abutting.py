"""Drift and slide at walls below taller roofs, EN 1991-1-3 5.3.6."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow import en1991_1_3 as en
from roofmodel.snow.cases import Bare, SnowCase, Value, Zone
from roofmodel.snow.corners import WallDrift, if_around, in_front, outside_note, run_on, step_corners
from roofmodel.snow.en_drifted import Cases
from roofmodel.snow.en_roof import (
    CODE,
    SHAPE,
    EnRoof,
    StepDrift,
    StepLengths,
    balanced_zones,
    load_values,
)
from roofmodel.snow.envelope import larger
from roofmodel.snow.fetches import slide_paths
from roofmodel.snow.meeting import Drift
from roofmodel.snow.patches import (
    UPPER_TO_STEP,
    WallGroup,
    filled_steps,
    no_rows_above,
    over_ledges,
    roof_before,
    roof_behind,
    spread_each,
    wall_groups,
)
from roofmodel.snow.regions import (
    CRACK,
    band,
    falling_pressure,
    left_normal,
)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

BENT = (
    "Snow slides along all facets of a bent upper slope: mu_1 b_s is summed over them where the steepest is"
    " above 15 degrees (judgment; 5.3.6 shows a plane slope)."
)
OUTSIDE = outside_note("EN 1991-1-3", "mu - mu_1 at the corner to nothing at l_s", "5.3.6 and 6.2")
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
        zones = larger(_group_zones(known, group, BOTH))
        if zones:
            cases.append(known.case(name, balanced_zones(known) + zones, _notes(known, group, zones)))
        else:
            skipped.append((name, "mu_s + mu_w is not above 0.8, or the gap is wider than l_s (5.3.6)"))
    return cases, skipped


def wall_drifts(known: EnRoof) -> list[Drift]:
    """Drifts at walls, what is blown and what slid apart, one for each way that walls face."""
    found = []
    for group in wall_groups(known.roof):
        blown, slid = (_group_zones(known, group, part) for part in (WIND, SLIDE))
        found.append(Drift(True, group.toward, "", blown, larger(slid), tuple(_notes(known, group, blown))))
    return found


def _group_zones(known: EnRoof, group: WallGroup, part: str) -> list[Zone]:
    """Zones of the walls that face one way, the larger of which counts where two of them overlap."""
    return [zone for i in group.steps for zone in _wall_zones(known, i, part)]


def _notes(known: EnRoof, group: WallGroup, zones: list[Zone]) -> list[str]:
    notes = [
        "Where a wall's height varies, mu_w takes b_1 + b_2 over the least and gamma h and l_s from the"
        " greatest height, which is safe.",
        "mu falls linearly from mu_s + mu_w at the wall to mu_1 of the lower plane at l_s.",
        "mu_s is spread as a triangle over l_s, the usual reading of Fig. 5.7.",
    ]
    steps = known.roof.steps
    notes += over_ledges(known.roof, "5.3.6", "b_1")
    notes += filled_steps(known.roof, known.depth, "b_1, b_2")
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
    sheds = {i for i in group.steps if len(step_lengths(known, i).planes)}
    if any(len(step_lengths(known, i).planes) > 1 for i in sheds):
        notes.append(BENT)
    notes += if_around(OUTSIDE, zones)
    free = sorted({int(steps.upper[i]) for i in sheds} - known.retained)
    if known.site.upper_roof_retained and free:
        notes.append(no_rows_above(", ".join(known.roof.planes.name[i] for i in free)))
    return notes


def _wall_zones(known: EnRoof, i: int, part: str) -> list[Zone]:
    """What the drift of one step adds to mu_1: all of it, or what the wind brings or what slides."""
    if not known.drifts:
        known.drifts.update(_step_drifts(known))
    drift = known.drifts[i]
    peak = {BOTH: drift.blown + drift.slid, WIND: drift.blown, SLIDE: drift.slid}[part] * known.unit_load
    if peak <= 0.0:
        return []
    upper = known.roof.planes.name[int(known.roof.steps.upper[i])]
    name = f"{'snow that slid from' if part == SLIDE else 'drift below'} {upper}"
    zones = [
        Zone(name, one.plane, one.polygon, peak * one.pressure, one.clause, FORMULAS[part], one.values)
        for one in drift.front
    ]
    if part == SLIDE or drift.blown <= 0.0:
        return zones
    return zones + [
        replace(one, pressure=drift.blown * known.unit_load * one.pressure) for one in drift.around
    ]


def _step_drifts(known: EnRoof) -> dict[int, StepDrift]:
    """Sizes and places of the drifts of all steps, cut to planes together."""
    found = [_step_drift(known, i) for i in range(known.roof.steps.count)]
    corners = step_corners(known.roof, known.plan)
    there = [drift for _, _, drift in found if drift is not None]
    blown = [drift for blown, _, drift in found if drift is not None and blown > 0.0]
    front = dict(zip((one.wall for one in there), in_front(there, corners), strict=True))
    around = dict(zip((one.wall for one in blown), run_on(blown, corners), strict=True))
    pieces = {"front": _cut(known, front), "around": _cut(known, around)}
    return {
        i: StepDrift(blown, slid, *(some.get(i, []) for some in pieces.values()))
        for i, (blown, slid, _) in enumerate(found)
    }


def _cut(known: EnRoof, zones: dict[int, list[Zone]]) -> dict[int, list[Zone]]:
    """Zones of each step cut to planes."""
    cut = spread_each(known.plan, [zone for some in zones.values() for zone in some])
    parts = iter(cut)
    return {i: [part for _ in some for part in next(parts)] for i, some in zones.items()}


def _step_drift(known: EnRoof, i: int) -> tuple[float, float, WallDrift | None]:
    """What wind and slide add to mu_1 at a step, and its drift; none where the gap is as long as it."""
    steps, planes = known.roof.steps, known.roof.planes
    start, end, gap = steps.start[i], steps.end[i], float(steps.gap[i])
    upper, lower = int(steps.upper[i]), int(steps.lower[i])
    lengths = step_lengths(known, i)
    b1, b2 = lengths.upper, lengths.lower
    low, high = float(steps.wall[i].min()), float(steps.wall[i].max())
    length = float(en.drift_length(high))
    wind = float(en.mu_wind(b1, b2, low, high, known.site.drift_weight, known.site.ground_snow))
    facets, runs = shed_path(known, i)
    slide = float(en.mu_slide(known.shape[facets], planes.slope[facets], runs, length))
    blown = wind - float(known.shape[lower])
    if gap >= length:
        return blown, slide, None
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
        Value("l_s", length, "m", "5.3.6, 5 to 15 m", "max(5 m, min(2 h, 15 m))"),
        *_slide_values(known, facets, runs, slide),
    )
    zone = Zone(
        f"drift below {planes.name[upper]}",
        lower,
        band(start[:2], end[:2], 0.0, length - gap),
        falling_pressure(start, left_normal(start, end), 1.0 - gap / length, length - gap),
        f"{CODE} 5.3.6",
        FORMULAS[WIND],
        values,
    )
    return blown, slide, WallDrift(zone, i, 1.0, length)


def _slide_values(known: EnRoof, facets: IntArray, runs: Array, slide: float) -> tuple[Value, ...]:
    """b_s, mu_s and what they take, facets of one slope and mu_1 together; mu_s = 0 where nothing slides."""
    run = float(runs.sum())
    if slide <= 0.0:
        none = "nothing slides here; none up to 15 degrees, and none where mu_1 is 0"
        return (
            Value("b_s", run, "m", "plan run of the upper slope that sheds here"),
            Value("mu_s", slide, "", none),
        )
    kinds: dict[tuple[float | None, float, bool], float] = {}
    curved = {int(plane) for vault in known.roof.vaults for plane in vault.plane}
    for facet, length in zip(facets.tolist(), runs.tolist(), strict=True):
        plain = facet not in known.held and facet not in curved
        slope = round(float(known.roof.planes.slope[facet]), 6) if plain else None
        kind = (slope, round(float(known.shape[facet]), 9), facet in known.held)
        kinds[kind] = kinds.get(kind, 0.0) + length
    values: list[Value] = []
    terms: list[str] = []
    for k, ((slope, shape, held), length) in enumerate(kinds.items()):
        n = "" if len(kinds) == 1 else f"{k + 1}"
        which = "the upper slope" if len(kinds) == 1 else f"part {n} of the upper slope"
        why = "not below 0.8, held" if held else "5.3.5" if slope is None else "Table 5.2"
        formula: Bare | str = ""
        if slope is not None:
            values.append(Value(f"alpha_u{n}", slope, "rad", f"of {which}"))
            formula = Bare(SHAPE.us.replace("alpha", f"alpha_u{n}"))
        values += [
            Value(f"b_s{n}", length, "m", f"plan run of {which} that sheds here"),
            Value(f"mu_1,u{n}", shape, "", f"of {which}, {why}", formula),
        ]
        terms.append(f"mu_1,u{n} b_s{n}")
    whole = terms[0] if len(terms) == 1 else f"({' + '.join(terms)})"
    said = "half of the upper slope's load as a triangle over l_s, where it is steeper than 15 degrees"
    return (*values, Value("mu_s", slide, "", said, f"{whole} / l_s"))


def step_lengths(known: EnRoof, i: int) -> StepLengths:
    """What one step was measured to be; all are found at once, for all cases."""
    if not known.lengths:
        steps = np.arange(known.roof.steps.count)
        behind, before = (found(known.roof, known.plan, steps) for found in (roof_behind, roof_before))
        paths = _slide_paths(known)
        both = zip(behind.tolist(), before.tolist(), strict=True)
        known.lengths.update({k: StepLengths(*two, *paths[k]) for k, two in enumerate(both)})
    return known.lengths[i]


def shed_path(known: EnRoof, i: int) -> tuple[IntArray, Array]:
    """Facets that shed over a step and their plan runs, of the fall line that brings the most. [m]."""
    lengths = step_lengths(known, i)
    if not len(lengths.planes):
        return lengths.planes, np.zeros(0)
    runs: Array = lengths.runs
    steepest = np.max(known.roof.planes.slope[lengths.planes] * (runs > CRACK), axis=1)
    brought = (runs @ known.shape[lengths.planes]) * (steepest > en.SLIDE_SLOPE + 1e-12)
    most = runs[int(np.lexsort((runs.sum(axis=1), np.round(brought, 9)))[-1])]
    return lengths.planes[most > CRACK], most[most > CRACK]


def _slide_paths(known: EnRoof) -> list[tuple[IntArray, Array]]:
    """Facets of the slope above each step that shed over it, and runs on each; none where nothing does."""
    steps, plan = known.roof.steps, known.plan
    found = [(np.zeros(0, dtype=np.int64), np.zeros((0, 0)))] * steps.count
    toward = np.sum(plan.fall[steps.upper] * left_normal(steps.start, steps.end), axis=1)
    sheds = toward >= UPPER_TO_STEP
    if known.site.upper_roof_retained:
        sheds &= ~np.isin(steps.upper, list(known.retained))
    some = np.flatnonzero(sheds)
    paths = slide_paths(plan, steps.upper[some], steps.start[some], steps.end[some], steps.gap[some])
    for i, path in zip(some.tolist(), paths, strict=True):
        found[i] = path
    return found
