"""Room below eaves, NBCC 2020 4.1.6.2.(6): snow cannot slide off completely where it fills the step below."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from roofmodel.snow import nbcc2020 as nbcc
from roofmodel.snow.cases import Value
from roofmodel.snow.nbcc_drifted import slid_peak
from roofmodel.snow.nbcc_peaks import drift_at
from roofmodel.snow.nbcc_roof import NbccRoof
from roofmodel.snow.regions import TOWARD_EDGE, left_normal, with_uphill

FILLED = (
    "snow on the roof below fills the step at its eave, so it cannot slide off completely (4.1.6.2.(6);"
    " judgment: C_a0 C_b S_s and the snow of 4.1.6.11 add up to the eave)"
)


def with_filled_steps(known: NbccRoof) -> NbccRoof:
    """The same roof with no slippery reduction above steps that snow fills (judgment).

    At the wall of the lower roof lie C_a0 C_b S_s and the snow of 4.1.6.11, both of density gamma.
    """
    steps, plan, site = known.roof.steps, known.plan, known.site
    if not steps.count or not site.slippery:
        return known
    room: dict[int, tuple[Value, ...]] = {}
    fall = np.sum(plan.fall[steps.upper] * left_normal(steps.start, steps.end), axis=1)
    for i in np.flatnonzero(fall > TOWARD_EDGE):
        upper, wall = int(steps.upper[i]), float(steps.wall[i].min())
        basic = float(known.calm[steps.lower[i]])
        drifted = drift_at(known, int(i)).peak * basic * site.ground_snow / known.weight_density
        slid = slid_peak(known, int(i)) / known.importance / known.weight_density
        if drifted + slid >= wall * (1.0 - 1e-9) and upper not in room:
            room[upper] = (
                Value("h drift", drifted, "m", "depth of C_a0 C_b S_s at the wall"),
                Value("h slid", slid, "m", "depth of the snow of 4.1.6.11 at the wall"),
                Value("h eave", wall, "m", "least height of the eave above the lower roof"),
            )
    blocked = {plane: FILLED for plane in room if plane not in known.obstructed}
    if not blocked:
        return known
    obstructed = with_uphill(known.roof, plan, {**known.obstructed, **blocked}, "is obstructed")
    free = np.array([i not in obstructed for i in range(known.roof.planes.count)], dtype=bool)
    factor = nbcc.slope_factor(known.roof.planes.slope, free)
    return replace(known, obstructed=obstructed, slope_factor=factor, room=room)
