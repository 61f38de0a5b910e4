"""Room below eaves, ASCE/SEI 7 7.4: a step that snow fills lets nothing slide off the roof above it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.asce_roof import AsceRoof, slope_factors, with_factors
from roofmodel.snow.asce_steps import leeward_shape, sheds_over, windward_shape
from roofmodel.snow.cases import Value
from roofmodel.snow.fetches import shed_run
from roofmodel.snow.regions import TOWARD_EDGE, left_normal, with_uphill

FILLED = (
    "snow on the roof below fills the step at its eave, so it has no room to slide to (7.4; judgment:"
    " p_f, the deeper drift and the snow of 7.9 add up to the eave)"
)


HELD = (
    "snow on {below}, which {why}, fills the step at its eave: what slides there stays, so it has no"
    " room to slide to (7.4; judgment: p_f, the deeper drift and all snow of the slope, p_f W over 15 ft, not"
    " only the 0.4 of 7.9, add up to the eave)"
)


def with_filled_steps(known: AsceRoof) -> AsceRoof:
    """The same roof with no slippery reduction above steps that snow fills.

    On the lower roof lie p_f, the deeper of its leeward and windward drift and the snow of 7.9, all of
    density gamma: their sum is the safe reading of "sufficient space below the eaves". Where the lower plane
    is obstructed or too flat to shed, all of the upper slope's snow stays on it. Planes that this obstructs
    may hold the snow of planes above them in turn.
    """
    while True:
        more = _filled_once(known)
        if more is known:
            return known
        known = more


def _filled_once(known: AsceRoof) -> AsceRoof:
    steps, plan = known.roof.steps, known.plan
    if not steps.count or not known.site.slippery:
        return known
    room = dict(known.room)
    blocked: dict[int, str] = {}
    fall = np.sum(plan.fall[steps.upper] * left_normal(steps.start, steps.end), axis=1)
    for i in np.flatnonzero(fall > TOWARD_EDGE):
        upper, wall = int(steps.upper[i]), float(steps.wall[i].min())
        parts = _snow_below(known, int(i))
        depth = sum(part.value for part in parts)
        if depth >= wall * (1.0 - 1e-9) and upper not in room:
            room[upper] = (
                *parts,
                Value("h eave", wall, "m", "least height of the eave above the lower roof"),
            )
            below = int(steps.lower[i])
            if upper not in known.obstructed:
                name = known.roof.planes.name[below]
                why = "is obstructed" if below in known.obstructed else "is too flat to shed it"
                blocked[upper] = HELD.format(below=name, why=why) if _stays(known, below) else FILLED
    if not blocked:
        return known
    obstructed = with_uphill(known.roof, plan, {**known.obstructed, **blocked}, "is obstructed")
    factor = slope_factors(known.roof, known.rules, known.site, obstructed, known.folded)
    return with_factors(replace(known, obstructed=obstructed, room=room), factor)


def _stays(known: AsceRoof, below: int) -> bool:
    """Whether a lower plane keeps all that lands on it: obstructed, or too flat to shed as 7.9 reads it."""
    slides = drift.slides(known.roof.planes.slope[below], slippery=known.site.slippery)
    return below in known.obstructed or not bool(slides)


def _snow_below(known: AsceRoof, i: int) -> tuple[Value, ...]:
    """Depths of snow at the foot of a step."""
    steps, plan, rules = known.roof.steps, known.plan, known.rules
    gap = float(steps.gap[i])
    gamma, flat = rules.weight_density, rules.flat_load
    shapes = (leeward_shape(known, i, flat)[0], windward_shape(known, i, flat)[0])
    drifted = max(float(shape.height) for shape in shapes)
    clear = float(steps.wall[i].min()) - flat / gamma
    if clear < drift.NO_DRIFT_RATIO * flat / gamma:  # no drift by 7.7.1, since the step is all but full
        drifted = max(clear, 0.0)
    slid, held = 0.0, _stays(known, int(steps.lower[i]))
    if sheds_over(known, i):
        run = shed_run(known.roof, plan, i)
        slid = float(drift.sliding_load(flat, run, gap).pressure) / gamma
        if held:
            slid /= drift.SLIDE_SHARE
    return (
        Value("h flat", flat / gamma, "m", "depth of p_f on the lower roof"),
        Value("h drift", drifted, "m", "of the deeper drift at the wall"),
        Value("h slid", slid, "m", "depth of all snow of the slope" if held else "depth of the snow of 7.9"),
    )
