"""What moves the answer: the tornado as a drawing, missing clamps as a table."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from shapely import box

from fea.analysis import Analysis
from fea.missing import Missing, missing_clamps
from fea.sensitivity import STEP, Sway, Tolerance, out_of_place, tornado
from roofmodel.memory import Memory
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.drawing import Drawing
from viewer.places import beyond, exceeding, joined, untested
from viewer.quantities import as_given, percent
from viewer.report.tables import Table

WIDTH, LEFT, RIGHT, BAR, GAP, TYPE = 760.0, 320.0, 120.0, 20.0, 12.0, 13.0
TOP = 52.0
LESS, MORE = style.ACCENT, style.KEPT_ANCHORS[2]  # dark and light, so that grayscale tells them apart


@dataclass(frozen=True)
class SwayFindings:
    """What moves the answer: utilization now, inputs and those left out, a clamp missing, places."""

    now: float
    inputs: tuple[Sway, ...]
    missing: tuple[Missing, ...]
    place: Tolerance | None = None
    left_out: tuple[str, ...] = ()


def sway_findings(analysis: Analysis) -> SwayFindings | None:
    """Run the check again with other inputs; None where no attachment is loaded."""
    if analysis.attachment is None:
        return None
    memory = Memory()  # all of them run the same roof again
    inputs, left_out = tornado(analysis, memory)
    missing, place = missing_clamps(analysis, memory), out_of_place(analysis, memory=memory)
    return SwayFindings(analysis.attachment.utilization, inputs, missing, place, left_out)


def tornado_drawing(found: tuple[Sway, ...], now: float) -> Drawing:
    """Bars from less to more of each input, about today's utilization; the limit at 1 is marked.

    Parameters
    ----------
    found : tuple of Sway
    now : float
        Utilization of the governing attachment.
    """
    height = TOP + (BAR + GAP) * len(found) + 46.0
    drawing = Drawing((WIDTH, height))
    ends = np.array([[one.low, one.high] for one in found] or [[now, now]])
    low, high = min(float(ends.min()), now, 1.0), max(float(ends.max()), now, 1.0)
    pad = 0.06 * max(high - low, 0.05)
    low, high = max(low - pad, 0.0), high + pad

    def x(use: float) -> float:
        return LEFT + (use - low) / (high - low) * (WIDTH - LEFT - RIGHT)

    foot = TOP + (BAR + GAP) * len(found)
    drawing.write(f"{100.0 * STEP:.0f} % less", x(now) - 24.0, 18.0, TYPE, align="right")
    drawing.write(f"{100.0 * STEP:.0f} % more", x(now) + 24.0, 18.0, TYPE)
    for color, left in ((LESS, -18.0), (MORE, 8.0)):
        drawing.area(box(x(now) + left, 13.0, x(now) + left + 10.0, 23.0), color, style.INK, 0.8)
    for i, one in enumerate(found):
        y = TOP + i * (BAR + GAP)
        drawing.write(one.name.replace("_", ""), LEFT - 12.0, y + 0.5 * BAR, TYPE, align="right")
        for use, color, down in ((one.low, LESS, True), (one.high, MORE, False)):
            a, b = sorted((x(now), x(use)))
            half = (y, y + 0.5 * BAR) if down else (y + 0.5 * BAR, y + BAR)
            if b - a > 0.2:
                drawing.area(box(a, half[0], b, half[1]), color, style.INK, 0.6)
        drawing.write(
            f"{percent(one.low)} / {percent(one.high)}",
            WIDTH - RIGHT + 14.0,
            y + 0.5 * BAR,
            TYPE,
            color=style.MUTED,
        )
    drawing.line(np.array([[x(now), TOP - 10.0], [x(now), foot]]), style.INK, 1.6)
    if low <= 1.0 <= high:
        drawing.line(
            np.array([[x(1.0), TOP - 10.0], [x(1.0), foot]]), style.EXCEEDED_ANCHORS[1], 2.0, (6.0, 4.0)
        )
        drawing.write(
            "limit", x(1.0), foot + 14.0, TYPE, color=style.EXCEEDED_ANCHORS[1], align="center", bold=True
        )
    drawing.write(f"now {percent(now)}", x(now), foot + 32.0, TYPE, align="center", bold=True)
    return drawing


def sway_words(sway: SwayFindings) -> str:
    """The strongest input in a sentence, and the inputs that could not be varied."""
    found, now = sway.inputs, sway.now
    lost = f" Not calculated, since it cannot be: {'; '.join(sway.left_out)}." if sway.left_out else ""
    if not found:
        return f"No attachment is loaded.{lost}"
    one = found[0]
    return (
        f"Of the inputs below, {one.name} moves the most used attachment most: 10 % less of it makes "
        f"{percent(one.low)} ({one.low_at}), 10 % more {percent(one.high)} ({one.high_at}), not "
        f"{percent(now)}. Each line is the whole check run again with one input changed, on rigid seams"
        f"{'' if one.softer == 1.0 else ' and brought in proportion to seams that give way'}; factors of a "
        "standard stop where it does. The shape and the slopes of the roof are not "
        f"varied, nor what only limits of the rail or its height hang on.{lost}"
    )


def place_words(found: SwayFindings, units: UnitSystem) -> str:
    """What rows and clamps out of their places do, as a caution; empty where nothing is loaded."""
    place = found.place
    if place is None:
        return ""
    step, parts = as_given(place.step, "size", units), []
    if not math.isnan(place.rows):
        lost = f"; a seam then misses the end of {', '.join(place.fewer)}" if place.fewer else ""
        parts.append(
            f"rows {step} higher or lower than planned make {percent(place.rows)} ({place.rows_at}{lost})"
            f"{beyond(place.rows_over)}"
        )
    if not math.isnan(place.clamps):
        parts.append(
            f"the clamps beside the governing one {step} farther from it make {percent(place.clamps)} "
            f"({place.clamps_at}){beyond(place.clamps_over)}"
        )
    lost = untested(place, units)
    if not parts:
        return lost
    return joined(
        lost,
        f"Tolerance of place (judgment, measured by the check run again), beside {percent(found.now)} as "
        f"planned: {' and '.join(parts)}.{exceeding(place, found.now)}",
    )


def _without(one: Missing) -> str:
    """What the whole check says without a clamp."""
    if not math.isfinite(one.after):
        return f"LETS GO: {one.newly}"
    return f"EXCEEDED: {one.newly}" if one.newly else "nothing more is exceeded"


def missing_table(found: tuple[Missing, ...]) -> Table:
    """One clamp taken out of each row."""
    rows = tuple(
        (
            one.clamp,
            percent(one.before),
            percent(one.after) if math.isfinite(one.after) else "–",
            one.worst or "–",
            _without(one),
        )
        for one in found
    )
    marks = tuple("exceeded" if one.newly else "" for one in found)
    return Table(
        "If the most used clamp of a row were missing or loose",
        ("Taken out", "Used with it", "Most used without it", "at", "Whole check"),
        "tnntt",
        rows,
        marks,
        "Not a requirement of a standard, but of sound work: one bad clamp should not bring down a row.",
    )
