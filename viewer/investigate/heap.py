"""The heap on the ground against the snow of the roof, in words."""

from __future__ import annotations

import numpy as np

from fea.evidence.entered import Above, alike, depth_along, drift_shape, snow_above, too_heavy
from roofmodel.units import STANDARD_GRAVITY
from viewer.history.findings import load_at
from viewer.investigate.case import CaseFindings
from viewer.investigate.words import weight_text

CREST = 2.0  # most of a heap's crest over its mean depth (judgment)
BEYOND = 2.5  # times the snow of the case beyond which the roof's is doubted (judgment)
MUCH = 1.5  # times the snow of the case from which it is asked where it was measured (judgment)
HEAVY = 1.3  # times all the snow above what came off from which the heap's depth may be its crest (judgment)
BORNE_OUT = 0.5  # of the even snow above what came off that a heap weighs which bears it out (judgment)


def _above(found: CaseFindings) -> Above:
    """By the snow that was measured, else by that of the case."""
    evidence = found.evidence
    load = evidence.load[0] if np.isfinite(evidence.load[0]) else found.pressure
    over = depth_along(evidence.project.layout, evidence.along, drift_shape(found.roof))
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
        drift = "snow entered along the rows" if evidence.along else "most drift of the project's cases"
        text += f", with the {drift} {weights[3]}: {_times(fallen, above.even)} and "
        text += f"{_times(fallen, above.drifted)} times as much."
    else:
        text += f": {_times(fallen, above.even)} times as much."
    if evidence.table.snow.heap is not None and fallen > HEAVY * above.drifted:
        text += " Is its depth the mean, not the crest? A crest counts for up to twice the snow that fell."
    return text


def _times(one: float, other: float) -> str:
    return f"{one / other:.2g}" if other > 0.0 else "many"


def heap_caution(found: CaseFindings) -> str:
    """Why the snow entered for the roof cannot be right, by the heap or the case; empty where it can."""
    if not np.isfinite(found.evidence.load[0]):
        return ""
    return _of_heap(found) or _far_beyond(found) or _fell_more(found)


def _of_heap(found: CaseFindings) -> str:
    """Depth and density of the roof that are those of the heap, of its mean or up to its crest."""
    evidence, snow = found.evidence, found.evidence.table.snow
    heap = snow.heap
    if heap is None:
        return ""
    crest = False
    if snow.depth is not None and snow.density is not None:
        dense = alike(snow.density, heap.density)
        same = dense and alike(snow.depth, heap.depth)
        crest = dense and heap.depth < snow.depth <= CREST * heap.depth
    else:
        same = alike(evidence.load[0], heap.depth * heap.density * STANDARD_GRAVITY)
    if not same and not crest:
        return ""
    of = "are those of the heap" if same else "can be those of the heap's crest"
    return (
        f"the depth and density entered for the roof {of}, and a heap is not the roof's depth: measure where "
        "snow lies on the roof as it fell"
    )


def heap_question(found: CaseFindings) -> str:
    """Whether snow well beyond that of the case was measured where it lay; empty where it is borne out."""
    evidence, load = found.evidence, found.evidence.load[0]
    if not np.isfinite(load) or load <= MUCH * found.pressure or _borne_out(found):
        return ""
    day = evidence.table.case.day
    weather = None if found.history is None or day is None else load_at(found.history, day)
    if weather is not None and load <= weather[2] + evidence.load[1]:
        return ""
    return (
        f"Was the snow of the roof ({found.units.text(load, 'pressure')}, {load / found.pressure:.1f} times "
        "that of the case) measured where it lies as it fell, not at the heap or in a drift? Nothing entered "
        "bears it out: enter what fell as snow.heap"
    )


def _borne_out(found: CaseFindings) -> bool:
    """Whether a heap bears the snow entered for the roof out."""
    fallen = found.evidence.fallen[0]
    return bool(np.isfinite(fallen) and fallen >= BORNE_OUT * _above(found).even)


def _far_beyond(found: CaseFindings) -> str:
    """Snow entered for the roof many times that of the case, which no heap bears out."""
    load = found.evidence.load[0]
    if load <= BEYOND * found.pressure or _borne_out(found):
        return ""
    return (
        f"the snow entered for the roof is {load / found.pressure:.1f} times that of the case "
        f"({found.units.text(load, 'pressure')}), as of a heap or a drift: measure depth and density where "
        "snow lies on the roof as it fell, away from drifts, and enter what fell as snow.heap"
    )


def _fell_more(found: CaseFindings) -> str:
    evidence = found.evidence
    if not np.isfinite(evidence.fallen[0]):
        return ""
    above = _above(found)
    if not too_heavy(evidence.fallen, above, evidence.table.snow.doubt):
        return ""
    times = _times(evidence.fallen[0], above.drifted)
    return (
        f"what fell weighs {times} times all the snow above the clamps that came off, as entered and with "
        "the drift of the project, and both cannot be true: measure heap and roof again, take off what came "
        "from below the row, and enter deeper snow as [[snow.along]]"
    )
