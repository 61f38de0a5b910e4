"""Inputs that take a kept attachment over its limit within a tenth of them: the check run again."""

from __future__ import annotations

from fea.analysis import Analysis
from fea.moving import on_rigid_seams
from fea.sensitivity import END_SPREAD, GROUND_SNOW, MEASURED_DEPTH, VALLEY_SPREAD, Sway, softer, sway
from roofmodel.errors import InputError

FAR = 0.5  # an attachment used less than this is not taken over its limit by a tenth of anything (judgment)
NEAR = 0.8  # the same for the ground snow, whose drifts grow less than it does (judgment)


def near_limit(analysis: Analysis) -> tuple[Sway, ...]:
    """Ground snow and the spreads chosen by judgment, where 10 % of one takes the answer over its limit.

    The forces on rows are proportional to most inputs, but not to the spreads: strips and streams come in or
    fall out. Whatever else the package's tornado varies is left to that. Runs on rigid seams count
    by `fea.sensitivity.softer`.
    """
    worst = analysis.attachment
    if worst is None or not FAR <= worst.utilization <= 1.0:
        return ()
    kinds = [END_SPREAD] if bool((analysis.force.end_bound > 0.0).any()) else []
    kinds += [VALLEY_SPREAD]
    kinds += [GROUND_SNOW, MEASURED_DEPTH] if worst.utilization >= NEAR else []
    rigid, found = on_rigid_seams(analysis.project), []
    part = softer(analysis, rigid)
    for name in kinds:
        try:
            one = sway(rigid, name, worst.utilization, part)
        except InputError:  # a standard does not go so far
            continue
        if one is not None:
            found.append(one)
    return over_limit(tuple(found))


def over_limit(found: tuple[Sway, ...]) -> tuple[Sway, ...]:
    """Those that take a kept limit over it, the worst first."""
    over = [one for one in found if one.now <= 1.0 < max(one.low, one.high)]
    return tuple(sorted(over, key=lambda one: -max(one.low, one.high)))
