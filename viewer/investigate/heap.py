"""The heap on the ground against the snow of the roof, in words."""

from __future__ import annotations

import numpy as np

from fea.evidence.entered import Above, alike, depth_along, snow_above, too_heavy
from roofmodel.units import STANDARD_GRAVITY
from viewer.investigate.case import CaseFindings
from viewer.investigate.words import weight_text


def _above(found: CaseFindings) -> Above:
    """By the snow that was measured, else by that of the case."""
    evidence = found.evidence
    load = evidence.load[0] if np.isfinite(evidence.load[0]) else found.pressure
    over = depth_along(evidence.project.layout, evidence.along)
    return snow_above(found.roof, evidence.gave_way, load / found.pressure, over)


def heap_told(found: CaseFindings) -> str:
    """What fell against what lay above the clamps that came off; empty where nobody told what fell."""
    evidence = found.evidence
    fallen, wide = evidence.fallen
    if not np.isfinite(fallen):
        return ""
    above = _above(found)
    who = "The heap weighs" if evidence.table.snow.heap is not None else "The snow that fell weighs"
    measured = bool(np.isfinite(evidence.load[0]))
    what = "even snow" if measured else "even snow of the case (none was measured)"
    weights = weight_text(found.units, fallen, wide, above.even, above.drifted)
    text = (
        f"{who} {weights[0]} ± {weights[1]}; the {what} above the clamps that came off, up to the next row "
        f"or the ridge, {weights[2]}"
    )
    if above.drifted > 1.005 * above.even:
        text += f", with the drift entered {weights[3]}: {_times(fallen, above.even)} and "
        return f"{text}{_times(fallen, above.drifted)} times as much."
    return f"{text}: {_times(fallen, above.even)} times as much."


def _times(one: float, other: float) -> str:
    return f"{one / other:.2g}" if other > 0.0 else "many"


def heap_caution(found: CaseFindings) -> str:
    """Why the heap and the roof's snow cannot both be as entered; empty where they can."""
    evidence, snow = found.evidence, found.evidence.table.snow
    if not (np.isfinite(evidence.fallen[0]) and np.isfinite(evidence.load[0])):
        return ""
    heap = snow.heap
    if heap is not None:
        if snow.depth is not None and snow.density is not None:
            same = alike(snow.depth, heap.depth) and alike(snow.density, heap.density)
        else:
            same = alike(evidence.load[0], heap.depth * heap.density * STANDARD_GRAVITY)
        if same:
            return (
                "the depth and density entered for the roof are those of the heap, and a heap is not the "
                "roof's depth: measure where snow lies on the roof as it fell"
            )
    above = _above(found)
    if not too_heavy(evidence.fallen, above, snow.doubt):
        return ""
    times = _times(evidence.fallen[0], above.drifted)
    return (
        f"what fell weighs {times} times all the snow entered above the clamps that came off, and both "
        "cannot be true: measure heap and roof again, take off what came from below the row, and enter "
        "deeper snow as [[snow.along]]"
    )
