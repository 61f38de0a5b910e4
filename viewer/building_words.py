"""What the rows do to the building, in sentences for terminal and report."""

from __future__ import annotations

import math

import numpy as np

from fea.analysis import Analysis
from fea.checks.demands import Demand
from fea.checks.partial_rails import partial_use, rail_partial
from roofmodel.units import UnitSystem
from viewer.quantities import percent, quantity, significant

_PARTS = {"clamp": "clamp", "span": "rail"}
NEXT_TO_NONE = 5e-3  # more moment that rounds to no percent [-]
SHOWN = 4  # demands in one line
SAME = "The rows raise no demand on the building that is computed here."


def ratio_text(demand: Demand) -> str:
    """Such as "× 1.80"; "new" where there was none, "–" where nothing can be compared."""
    if math.isnan(demand.free):
        return "–"
    if demand.free <= 0.0:
        return "new" if demand.held > 0.0 else "–"
    return f"× {significant(demand.held / demand.free)}"


def rising_sentences(analysis: Analysis, units: UnitSystem) -> tuple[str, ...]:
    """One sentence for every plane on which the rows raise demands."""
    planes: dict[str, list[str]] = {}
    for demand in analysis.building.rising:
        free, held = (quantity(value, demand.quantity, units) for value in (demand.free, demand.held))
        planes.setdefault(demand.plane, []).append(
            f"{demand.what} from {free} to {held} ({ratio_text(demand)}, {demand.place}, {demand.case})"
        )
    return tuple(f"{plane}: the rows raise {'; '.join(found)}." for plane, found in planes.items())


def uplift_sentences(analysis: Analysis, units: UnitSystem) -> tuple[str, ...]:
    """What snow lifts off purlins and frames of each plane, with the rows or without."""
    found: dict[str, list[str]] = {}
    for demand in analysis.building.demands:
        if demand.what.startswith("uplift of a purlin") and demand.held > 0.0:
            held = quantity(demand.held, demand.quantity, units)
            found.setdefault(demand.plane, []).append(f"{demand.what} {held} ({demand.place}, {demand.case})")
    return tuple(
        f"{plane}: snow lifts: {'; '.join(told)}. Fasteners and lower flange must take it."
        for plane, told in found.items()
    )


def rising_line(analysis: Analysis) -> str:
    """Which demands rise, in one line for the terminal; "" where there is nothing to compare."""
    known = [demand for demand in analysis.building.demands if not math.isnan(demand.free)]
    if not known:
        return ""
    rising = analysis.building.rising
    if not rising:
        return f"Building: {SAME[0].lower()}{SAME[1:]}"
    worst: dict[str, Demand] = {}
    for demand in rising:
        best = worst.get(demand.what)
        if best is None or _gain(demand) > _gain(best):
            worst[demand.what] = demand
    order = sorted(worst.values(), key=_gain, reverse=True)
    told = ", ".join(f"{demand.what} ({ratio_text(demand)})" for demand in order[:SHOWN])
    told += f" and {len(order) - SHOWN} more" if len(order) > SHOWN else ""
    return f"Building: the rows raise {told}; before load factors, see report.html."


def _gain(demand: Demand) -> float:
    return demand.held / demand.free if demand.free > 0.0 else math.inf


def partial_words(analysis: Analysis) -> tuple[str, ...]:
    """What half-loaded spans would bring to the rails, where the standard knows them."""
    layout = analysis.project.layout
    found = rail_partial(layout, analysis.project.site.standard)
    if found is None or not len(found.clamp):
        return ()
    clamp, row = int(np.argmax(found.clamp)), int(np.argmax(found.moment))
    worst = partial_use(layout, analysis.snow.cases, analysis.limits, found)
    told = [
        f"a {word} would use up to {percent(one.use)} of its strength ({one.limit}, {one.target}; "
        f"{percent(one.full)} with all spans loaded)"
        for word, one in ((word, worst[kind]) for kind, word in _PARTS.items() if kind in worst)
        if one.use > 0.0
    ]
    over = any(one.use > 1.0 >= one.full for one in worst.values())
    end = "That EXCEEDS the strength" if over else "Leave that in hand"
    then = f" So {' and '.join(told)}." if told else ""
    bent = float(found.moment[row]) - 1.0
    rail = "no rail noticeably more moment ("
    if bent >= NEXT_TO_NONE:
        rail = f"a rail up to {percent(bent)} more moment ({layout.row_name[row]}; "
    return (
        "The checks take balanced snow on all spans of a rail. Left at half on some, as roof members must "
        "stand it, it would bring a clamp up to "
        f"{percent(float(found.clamp[clamp]) - 1.0)} more force ({layout.clamp_name[clamp]}) and {rail}firm "
        f"supports, splices as if continuous).{then} {end} where snow may be blown or cleared off in parts.",
    )


def purlin_sentence(analysis: Analysis, units: UnitSystem) -> str:
    """The most used purlin, "" where no strength was given."""
    found, framing = analysis.building, analysis.project.framing
    if framing is None or found.held is None or not np.isfinite(found.use).any():
        return ""
    use = np.nan_to_num(found.use, nan=-1.0)
    case, line = np.unravel_index(int(np.argmax(use)), use.shape)
    plane = int(framing.plane[line])
    return (
        f"{framing.names[line]} on {analysis.project.roof.planes.name[plane]} uses "
        f"{percent(float(use[case, line]))} of its bending strength: "
        f"{quantity(float(found.held.moment[case, line]), 'moment', units)} factored with dead load against "
        f"{quantity(float(framing.strength[plane]), 'moment', units)} ({found.held.cases[case]})"
    )
