"""Tolerance of place in a line: what rows and clamps a little out of their places do to the answer."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from fea.analysis import Analysis
from fea.planning.steady import row_steps
from roofmodel.units import UnitSystem
from viewer.quantities import as_given, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fea.newly_over import Over
    from fea.planning.steady import Trouble
    from fea.sensitivity import Sway, Tolerance

NAMED = 3  # inputs told one by one


def place_line(place: Tolerance | None, analysis: Analysis, units: UnitSystem) -> str:
    """Such as "Tolerance of place: rows 1 in higher or lower make 65 % into 96 % (N-high-34).".

    Empty where nothing is loaded.
    """
    worst = analysis.attachment
    if place is None or worst is None:
        return ""
    step, now, parts = as_given(place.step, "size", units), percent(worst.utilization), []
    steps = tested_steps(analysis)
    if steps:  # a row alone bears less than all together, whose ends keep their levels
        parts.append(f"one row alone off its place takes an attachment to {_at(steps[0])}, see its caution")
    if not math.isnan(place.rows):
        rows, into = f"all rows together {step} higher or lower", percent(place.rows)
        stay = f"{rows} leave the most used attachment at {now}"
        told = stay if into == now else f"{rows} make {now} into {into} ({place.rows_at})"
        parts.append(f"{told}{beyond(place.rows_over)}")
    if not math.isnan(place.clamps):
        into = percent(place.clamps) if parts else f"{now} into {percent(place.clamps)}"
        beside = f"clamps beside the governing one {step} farther off make {into}"
        parts.append(f"{beside} ({place.clamps_at}){beyond(place.clamps_over)}")
    said = (
        f"Tolerance of place: {'; '.join(parts)}.{exceeding(place, worst.utilization, steps)}"
        if parts
        else ""
    )
    return joined(untested(place, units), said)


def tested_steps(analysis: Analysis) -> tuple[Trouble, ...]:
    """What one row alone does that is off past a step, where that can be calculated, the worst first."""
    return tuple(one for one in row_steps(analysis) if math.isfinite(one.use))


def beyond(over: Sequence[Over]) -> str:
    """Such as " and take rail deflection to 103 % (W-2 left of W-2-01)"; empty for no such limit."""
    each = ", ".join(f"{one.limit} to {percent(one.use)} ({one.at})" for one in over)
    return f" and take {each}" if each else ""


def untested(place: Tolerance | None, units: UnitSystem) -> str:
    """What of the tolerance of place could not be calculated, as a warning; empty where all was."""
    if place is None or not place.failed:
        return ""
    which = " and ".join(place.stay) if place.stay else "rows"
    return (
        f"NOT TESTED out of place: {which} {as_given(place.step, 'size', units)} higher or lower cannot be "
        f"calculated ({place.failed.rstrip('.')}). Whether they keep their limits there is not known: put "
        "them exactly in their places, or move them and check again."
    )


def near_line(found: Sequence[Sway]) -> str:
    """Such as "WITHIN 10 % OF AN INPUT the limit is exceeded: ..."; empty where none does that.

    Parameters
    ----------
    found : sequence of Sway
        Inputs of which 10 % take a kept limit over it (`fea.near_limit.over_limit`), the worst first.
    """
    if not found:
        return ""
    parts = []
    for one in found[:NAMED]:
        less = one.low >= one.high
        use, at, way = (one.low, one.low_at, "less") if less else (one.high, one.high_at, "more")
        parts.append(f"{one.name} 10 % {way} makes {percent(use)} ({at})")
    more = f"; {len(found) - NAMED} more" if len(found) > NAMED else ""
    head = f"CLOSE TO THE LIMIT, 10 % of an input takes it from {percent(found[0].now)} over"
    return f"{head}: {'; '.join(parts)}{more}. {margin_line(found[0], 'the first')}"


def margin_line(one: Sway, name: str) -> str:
    """How far an input may err before the limit, read from the runs with a tenth of it and without."""
    less = one.low >= one.high
    use, way = (one.low, "less") if less else (one.high, "more")
    part = 10.0 * (1.0 - one.now) / (use - one.now)
    far = f"{part:.1f}" if part >= 0.1 else "less than 0.1"
    seams = "" if one.softer == 1.0 else "seams rigid in them, brought to yours in proportion; "
    return (
        f"Limits are kept for the inputs as given only: {name} may be about {far} % {way} before one is "
        f"reached (straight line between the runs; {seams}it can come in a step, so earlier)."
    )


def place_over(place: Tolerance | None, analysis: Analysis, units: UnitSystem) -> str:
    """The tolerance of place where it takes a kept limit over it or is not known; else empty."""
    worst = analysis.attachment
    if place is None or worst is None:
        return ""
    if not (place.failed or exceeding(place, worst.utilization, tested_steps(analysis))):
        return ""
    return place_line(place, analysis, units)


def near_short(found: Sequence[Sway]) -> tuple[str, float]:
    """The worst one in a few words, such as "10 % more ground snow: 108 %", and that utilization."""
    one = found[0]
    way, use = ("less", one.low) if one.low >= one.high else ("more", one.high)
    return f"10 % {way} {one.name.split(' (')[0]}: {percent(use)}", min(use, 1e6)


def joined(*lines: str) -> str:
    """Lines below the verdict as one."""
    return " ".join(line for line in lines if line)


def place_short(place: Tolerance | None, units: UnitSystem) -> tuple[str, float]:
    """Such as "1 in out of place: 96 %", and that utilization: NaN where not tested, 0 where nothing is."""
    known = [] if place is None else [use for use in (place.rows, place.clamps) if not math.isnan(use)]
    if place is not None and place.failed and not _over(place):
        return f"{as_given(place.step, 'size', units)} out of place: NOT TESTED", math.nan
    if place is None or not known:
        return "", 0.0
    over = max((*place.rows_over, *place.clamps_over), default=None)
    if over is not None and over.use > max(known):
        off = as_given(place.step, "size", units)
        return f"{off} out of place: {over.limit} {percent(over.use)}", min(over.use, 1e6)
    return f"{as_given(place.step, 'size', units)} out of place: {percent(max(known))}", min(max(known), 1e6)


def out_of_place_words(found: Sequence[Trouble]) -> str:
    """What rows do not bear, such as "EXCEEDED a little out of place: 107 % (S-08)"; empty for nothing."""
    if not found:
        return ""
    tested = [one for one in found if math.isfinite(one.use)]
    return f"EXCEEDED a little out of place: {_at(tested[0])}" if tested else "NOT TESTED out of place"


def _at(one: Trouble) -> str:
    return f"{f'{one.limit} ' if one.limit else ''}{percent(one.use)} ({one.at})"


def exceeding(place: Tolerance, now: float, steps: Sequence[Trouble] = ()) -> str:
    """Sentence for a tolerance that takes a kept limit over it; else empty."""
    others = place.rows_over or place.clamps_over  # are kept as planned, whatever attachments are
    over = others or (now <= 1.0 and (steps or _over(place)))
    return " That EXCEEDS the limit: check the places on site." if over else ""


def _over(place: Tolerance) -> bool:
    """Whether anything is over its limit out of place; NaN is not."""
    return bool(place.rows_over or place.clamps_over) or any(use > 1.0 for use in (place.rows, place.clamps))


def place_data(place: Tolerance | None) -> dict[str, Any] | None:
    """For results.json, SI."""
    if place is None:
        return None
    return {
        "step": place.step,
        "rows": place.rows,
        "rows_at": place.rows_at,
        "clamps": place.clamps,
        "clamps_at": place.clamps_at,
        "other_limits": [
            {"limit": one.limit, "at": one.at, "utilization": one.use, "moved": moved}
            for moved, over in (("rows", place.rows_over), ("clamps", place.clamps_over))
            for one in over
        ],
        "rows_with_fewer_clamps": place.fewer,
        "not_calculated": place.failed,
    }
