"""Unbalanced snow on hips and gables, ASCE/SEI 7 7.6.1, one case for each wind over a crest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.asce7_22 import FOOT
from roofmodel.snow.asce_folded import valley_zones
from roofmodel.snow.asce_roof import AsceRoof, balanced_zones, slope_notes
from roofmodel.snow.cases import SnowCase, Value, Zone
from roofmodel.snow.envelope import larger
from roofmodel.snow.fetches import fetch, slope_run
from roofmodel.snow.patches import spread
from roofmodel.snow.regions import SAME_WAY, band, compass, crest_segments, uniform, wind_directions

Array = NDArray[np.float64]

NARROW = 20.0 * FOOT  # 7.6.1 [m]


@dataclass(frozen=True)
class Crest:
    """A ridge or hip over which a wind blows onto a plane: ends with the leeward plane to the left."""

    plane: int
    across: int
    start: Array
    end: Array
    windward_run: float


def unbalanced_cases(known: AsceRoof) -> tuple[list[SnowCase], list[tuple[str, str]]]:
    """Unbalanced cases, and winds for which there is none with the reason."""
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    directions = wind_directions(known.roof, known.plan, domes=True)
    if not directions:
        skipped.append(("unbalanced", "the roof has no ridge and no hip (7.6.1)"))
    for wind in directions:
        name = f"unbalanced, wind toward {compass(wind)}"
        crests = _crests(known, wind)
        fit = [c for c in crests if drift.unbalanced_applies(known.roof.planes.slope[c.plane])]
        if fit:
            cases.append(_case(known, name, wind, fit))
        elif crests:
            names = ", ".join(sorted({known.roof.planes.name[c.plane] for c in crests}))
            skipped.append((name, f"slope of {names} outside 2.38 to 30.2 degrees (7.6.1)"))
        else:
            skipped.append((name, "no ridge or hip parts a slope that faces this way from others (7.6.1)"))
    return cases, skipped


def _crests(known: AsceRoof, wind: Array) -> list[Crest]:
    """Crests with a leeward plane on one side only."""
    plan = known.plan
    along = plan.fall @ wind
    found = []
    for plane, across, start, end in crest_segments(known.roof, domes=True):
        if along[plane] <= SAME_WAY or along[across] > SAME_WAY:
            continue
        run = max(float(plan.run[across]), slope_run(plan, across, start, end, plan.fall[across]))
        if along[across] >= -SAME_WAY:
            top = start if start[2] > end[2] else end
            run = max(run, fetch(plan.drift_outline[plan.drift_level[plane]], top, top, -wind))
        found.append(Crest(plane, across, start, end, run))
    return found


def _case(known: AsceRoof, name: str, wind: Array, crests: list[Crest]) -> SnowCase:
    planes = known.roof.planes
    along = np.round(known.plan.fall @ wind, 4)  # facets at 60 degrees, to 32 bits, are on neither side
    share = np.ones(planes.count)
    narrow = known.site.simple_rafters and all(crest.windward_run <= NARROW for crest in crests)
    windward = {c.across for c in crests if along[c.across] < -SAME_WAY}
    share[list(windward)] = 0.0 if narrow else drift.WINDWARD_SHARE
    leeward = sorted({crest.plane for crest in crests})
    if narrow:
        share[leeward] = 0.0
        surcharge = [_narrow_zone(known, plane) for plane in leeward]
    else:
        strips = spread(known.plan, [_strip(known, crest) for crest in crests])
        surcharge = larger([zone for zone in strips if along[zone.plane] > SAME_WAY])
    notes = slope_notes(known)
    if any(c.across not in windward for c in crests):
        notes.append(
            "The standard's figure shows a gable. Here planes beside the wind keep the balanced load; hips"
            " take the strip of a ridge, measured square to them on plan, with W measured along the wind up"
            " to the hip's upper end where that is longer than the run of the plane across."
        )
    return known.case(name, balanced_zones(known, share) + surcharge, notes)


def _narrow_zone(known: AsceRoof, plane: int) -> Zone:
    return Zone(
        f"leeward snow on {known.roof.planes.name[plane]}",
        plane,
        known.plan.polygon[plane],
        uniform(known.rules.narrow_load),
        f"{known.rules.code} 7.6.1",
        known.rules.narrow_formula,
        known.rules.ground,
    )


def _strip(known: AsceRoof, crest: Crest) -> Zone:
    """Surcharge strip below a crest; it may reach across a pitch break to the next leeward plane."""
    slope = float(known.roof.planes.slope[crest.plane])
    height = known.rules.ridge_height(crest.windward_run)
    strip = drift.unbalanced_surcharge(height, known.rules.weight_density, slope)
    values = (
        *known.rules.drift_values,
        Value("W", crest.windward_run, "m", f"windward side, {known.roof.planes.name[crest.across]}"),
        *known.rules.ridge_heights(crest.windward_run),
        Value("theta", slope, "rad", "slope, leeward side"),
        Value("S", float(1.0 / np.tan(slope)), "", "run for a rise of one", "1 / tan(theta)"),
        Value("extent", float(strip.end), "m", "plan, from the crest", "(8 / 3) h_d sqrt(S)"),
        Value("surcharge", float(strip.pressure), "Pa", "on top of p_s, over the extent"),
    )
    return Zone(
        f"leeward surcharge behind {known.roof.planes.name[crest.across]}",
        crest.plane,
        band(crest.start[:2], crest.end[:2], 0.0, float(strip.end)),
        uniform(float(strip.pressure)),
        f"{known.rules.code} 7.6.1",
        "surcharge = h_d gamma / sqrt(S)",
        values,
    )


def folded_case(known: AsceRoof) -> SnowCase | str:
    """Snow blown into level valleys between parallel ridges and to the feet of teeth, 7.6.3; or why not."""
    rules = known.rules
    zones = valley_zones(known.roof, known.plan, rules.flat, rules.density, rules.code)
    if not zones:
        return "no level valley between parallel ridges and no saw-tooth (7.6.3, from memory)"
    share = np.ones(known.roof.planes.count)
    share[[zone.plane for zone in zones]] = 0.0
    notes = [
        *slope_notes(known),
        "Slopes above level valleys and feet of teeth carry 7.6.3 (from memory) in place of balanced snow,"
        " up to their ridge or crown; where a slope has several valleys the larger load counts. Outer slopes"
        " keep p_f.",
    ]
    name = "unbalanced, snow in level valleys"
    return known.case(name, balanced_zones(known, share) + larger(zones), notes)
