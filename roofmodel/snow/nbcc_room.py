"""Room below eaves, NBCC 2020 4.1.6.2.(6): snow cannot slide off completely where it fills the step below."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from roofmodel.snow import nbcc2020 as nbcc
from roofmodel.snow.cases import Value
from roofmodel.snow.nbcc_drifted import slid_peak
from roofmodel.snow.nbcc_peaks import drift_at
from roofmodel.snow.nbcc_roof import NbccRoof, with_factors
from roofmodel.snow.regions import TOWARD_EDGE, left_normal, with_uphill
from roofmodel.surface import FLAT_SLOPE

FILLED = (
    "snow on the roof below fills the step at its eave, so it cannot slide off completely (4.1.6.2.(6);"
    " judgment: C_a0 C_b S_s and the snow of 4.1.6.11 add up to the eave)"
)
SLID = {
    False: "depth of the snow of 4.1.6.11 at the wall",
    True: "depth of all snow of the slope at the wall",
}
HELD = (
    "snow on {below}, which {why}, fills the step at its eave: what slides there stays, so it cannot"
    " slide off completely (4.1.6.2.(6); judgment: C_a0 C_b S_s and all snow of the slope, not only the half"
    " of 4.1.6.11, add up to the eave)"
)


def with_filled_steps(known: NbccRoof) -> NbccRoof:
    """The same roof with no slippery reduction above steps that snow fills (judgment).

    At the wall of the lower roof lie C_a0 C_b S_s and the snow of 4.1.6.11, both of density gamma. Where the
    lower plane is obstructed or level, all of the upper slope's snow stays on it. Planes that this obstructs
    may hold the snow of planes above them in turn.
    """
    while True:
        more = _filled_once(known)
        if more is known:
            return known
        known = more


def _filled_once(known: NbccRoof) -> NbccRoof:
    steps, plan, site = known.roof.steps, known.plan, known.site
    if not steps.count or not site.slippery:
        return known
    room = dict(known.room)
    blocked: dict[int, str] = {}
    fall = np.sum(plan.fall[steps.upper] * left_normal(steps.start, steps.end), axis=1)
    for i in np.flatnonzero(fall > TOWARD_EDGE):
        upper, wall = int(steps.upper[i]), float(steps.wall[i].min())
        basic = float(known.calm[steps.lower[i]])
        drifted = drift_at(known, int(i)).peak * basic * site.ground_snow / known.weight_density
        below = int(steps.lower[i])
        too_flat = float(known.roof.planes.slope[below]) < FLAT_SLOPE
        held = below in known.obstructed or too_flat
        share = 1.0 / nbcc.SLIDE_SHARE if held else 1.0
        slid = share * slid_peak(known, int(i)) / known.importance / known.weight_density
        if drifted + slid >= wall * (1.0 - 1e-9) and upper not in room:
            room[upper] = (
                Value("h drift", drifted, "m", "depth of C_a0 C_b S_s at the wall"),
                Value("h slid", slid, "m", SLID[held]),
                Value("h eave", wall, "m", "least height of the eave above the lower roof"),
            )
            if upper not in known.obstructed:
                name = known.roof.planes.name[below]
                why = "is obstructed" if below in known.obstructed else "is too flat to shed it"
                blocked[upper] = HELD.format(below=name, why=why) if held else FILLED
    if not blocked:
        return known
    obstructed = with_uphill(known.roof, plan, {**known.obstructed, **blocked}, "is obstructed")
    free = np.array([i not in obstructed for i in range(known.roof.planes.count)], dtype=bool)
    factor = nbcc.slope_factor(known.roof.planes.slope, free)
    return with_factors(replace(known, obstructed=obstructed, room=room), factor)
