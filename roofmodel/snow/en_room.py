"""Room below eaves, EN 1991-1-3 5.3.2(2): snow cannot slide off where it fills the step below."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from roofmodel.snow import en1991_1_3 as en
from roofmodel.snow.cases import Value
from roofmodel.snow.en_abutting import shed_path, step_lengths
from roofmodel.snow.en_roof import EnRoof, with_held
from roofmodel.snow.regions import TOWARD_EDGE, left_normal, obstructed_planes, with_uphill
from roofmodel.units import STANDARD_GRAVITY

FILLED = (
    "snow on the roof below fills the step at its eave, so it is prevented from sliding off (5.3.2(2);"
    " judgment: the snow of mu_w and mu_s of 5.3.6 adds up to the eave)"
)
HELD = (
    "snow on {below}, which {why}, fills the step at its eave: what slides there stays, so it is prevented"
    " from sliding off (5.3.2(2); judgment: the snow of mu_w and all that falls on the slope, mu_1 = 0.8, not"
    " only the half of 5.3.6, add up to the eave)"
)


def with_filled_steps(known: EnRoof) -> EnRoof:
    """The same roof with mu_1 not below 0.8 above steps that snow fills (judgment).

    At the wall of the lower roof lies the snow of mu_w and mu_s. Where the lower plane holds what lands on
    it, or is too flat for 5.3.6 to let it slide, all of the upper slope's snow stays there. Planes that this
    holds may hold the snow of planes above them in turn.
    """
    if not known.roof.steps.count:
        return known
    stays = obstructed_planes(known.roof, known.plan, known.retained)
    while True:
        more = _filled_once(known, stays)
        if more is known:
            return known
        known = more


def _filled_once(known: EnRoof, stays: dict[int, str]) -> EnRoof:
    steps, plan = known.roof.steps, known.plan
    room = dict(known.room)
    blocked: dict[int, str] = {}
    fall = np.sum(plan.fall[steps.upper] * left_normal(steps.start, steps.end), axis=1)
    for i in np.flatnonzero(fall > TOWARD_EDGE).tolist():
        upper, below, wall = int(steps.upper[i]), int(steps.lower[i]), float(steps.wall[i].min())
        flat = float(known.roof.planes.slope[below]) <= en.SLIDE_SLOPE
        all_stays = flat or below in known.held or below in stays
        parts = _snow_below(known, i, all_stays=all_stays)
        if sum(part.value for part in parts) < wall * (1.0 - 1e-9) or upper in room:
            continue
        room[upper] = (*parts, Value("h eave", wall, "m", "least height of the eave above the lower roof"))
        if upper not in known.held:
            why = "is obstructed" if below in known.held or below in stays else "is too flat to shed it"
            name = known.roof.planes.name[below]
            blocked[upper] = HELD.format(below=name, why=why) if all_stays else FILLED
    if not blocked:
        return known
    held = with_uphill(known.roof, plan, {**known.held, **blocked}, "holds it")
    return with_held(replace(known, room=room), held)


def _snow_below(known: EnRoof, i: int, *, all_stays: bool) -> tuple[Value, ...]:
    """Depths of snow at the foot of a step, by the lighter of the two densities that the site gives."""
    steps, site, planes = known.roof.steps, known.site, known.roof.planes
    lengths, high = step_lengths(known, i), float(steps.wall[i].max())
    low, shape = float(steps.wall[i].min()), float(known.shape[steps.lower[i]])
    length = float(en.drift_length(high))
    near = max(1.0 - float(steps.gap[i]) / length, 0.0)
    wind = float(en.mu_wind(lengths.upper, lengths.lower, low, high, site.drift_weight, site.ground_snow))
    facets, runs = shed_path(known, i)
    shapes = np.maximum(known.shape[facets], en.MU_RETAINED) if all_stays else known.shape[facets]
    slide = float(en.mu_slide(shapes, planes.slope[facets], runs, length)) * (2.0 if all_stays else 1.0)
    depth = known.unit_load / min(site.drift_weight, known.light_density.value * STANDARD_GRAVITY)
    said = "all snow of the slope, 2 mu_s with mu_1 = 0.8" if all_stays else "mu_s"
    return (
        Value("h drift", depth * (shape + max(wind - shape, 0.0) * near), "m", "depth of the snow of mu_w"),
        Value("h slid", depth * slide * near, "m", f"depth of the snow of {said}"),
    )
