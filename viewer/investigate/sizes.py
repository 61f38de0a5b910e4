"""How large the causes are that fit, in words."""

from __future__ import annotations

import numpy as np

from fea.evidence.few import FEW
from fea.evidence.fit import Fit
from fea.evidence.sizes import SIZES, Size, sizes_of
from viewer.investigate.case import CaseFindings

COUNTED = 0.05  # posterior from which the size of an explanation is told
WORDS = {
    "weak clamps": "weak clamps on the roof",
    "weak hold": "of its strength that each of them holds",
    "weak together": "side by side",
    "loose clamps": "loose clamps on the roof",
    "loose hold": "of its strength that each of them holds",
    "loose together": "side by side",
    "missing clamps": "clamps that were never there",
    "heap top": "snow at the top of the heap over even snow",
    "heap along": "deviation of the heap along the row",
    "heap one row": "above one row alone",
    "wrong clamps": "wrong clamps on the roof",
    "wrong hold": "of its strength that each of them holds",
    "pry hold": "of its strength that a clamp beside the splice holds",
    "drift": "drift over that of the standard",
    "ends": "snow on row ends over the bound",
    "held elsewhere": "of the pull that the bond of the other planes held",
    "snow torn": "snow above the clamps that came off, in their mean",
    "snow torn most": "at the most loaded of them",
}
EVEN = 0.02  # most by which the snow at the most loaded clamp can exceed the mean and not be told


def size_words(found: CaseFindings) -> str:
    """Size of the first explanation; empty where too few tell or it has none."""
    first = found.fits[0]
    words = _of(found, first, snow=False)
    return f"How large, 5 to 95 %: {words}." if words and first.near >= FEW else ""


def load_words(found: CaseFindings) -> str:
    """Even snow at which the first fits and the snow above what came off; empty where few tell."""
    first = found.fits[0]
    low, middle, high = first.mass * found.pressure
    by = {size.name: size for size in sizes_of(found.bank(first.cause), first)}
    if first.near < FEW or not np.isfinite(middle) or "snow torn" not in by:
        return ""
    units = found.units

    def ends(low: float, high: float) -> str:
        if low <= 0.0 and np.isinf(high):
            return " (not bounded by what was found)"
        if not np.isfinite(low + high):
            return "" if np.isnan(low + high) else f" (at least {units.text(low, 'pressure')})"
        if low <= 0.0:
            return f" (at most {units.text(high, 'pressure')})"
        return f" ({units.text(low, 'pressure').split(' ')[0]} to {units.text(high, 'pressure')})"

    above = by["snow torn"]
    torn = [value * found.pressure for value in (above.low, above.middle, above.high)]
    return (
        f"At which load, 5 to 95 %: {units.text(middle, 'pressure')}{ends(low, high)} of even snow; "
        f"{units.text(torn[1], 'pressure')}{ends(torn[0], torn[2])} above the clamps that came off, in their "
        "mean: quote this for what they let go under."
    )


def sizes_told(found: CaseFindings) -> tuple[str, ...]:
    """A line for each explanation that counts."""
    lines = []
    for one in found.fits:
        words = _of(found, one) if one.posterior >= COUNTED and one.near >= FEW else ""
        if words:
            lines.append(f'"{one.cause}", 5 to 95 %: {words}.')
    return tuple(lines)


def _of(found: CaseFindings, one: Fit, *, snow: bool = True) -> str:
    sizes = [
        size
        for size in sizes_of(found.bank(one.cause), one)
        if np.isfinite(size.middle) and (snow or SIZES[size.name] != "snow")
    ]
    by = {size.name: size for size in sizes}
    if (
        "snow torn most" in by
        and "snow torn" in by
        and by["snow torn most"].middle < (1.0 + EVEN) * by["snow torn"].middle
    ):
        sizes.remove(by["snow torn most"])
    return "; ".join(_size(found, size) for size in sizes)


def _size(found: CaseFindings, size: Size) -> str:
    units, unit, words = found.units, SIZES[size.name], WORDS[size.name]

    def value(number: float) -> str:
        return {
            "clamps": lambda: f"{number:.0f}",
            "share": lambda: f"{100.0 * number:.0f} %",
            "times": lambda: f"{number:.2g}",
            "m": lambda: units.text(number, "length"),
            "snow": lambda: units.text(number * found.pressure, "pressure"),
        }[unit]()

    if unit == "chance":
        return f"{words} in {100.0 * size.middle:.0f} % of the samples near"
    ends = f" ({value(size.low).split(' ')[0]} to {value(size.high)})" if np.isfinite(size.low) else ""
    about = "" if ends else "about "
    if unit in ("clamps", "share"):
        return f"{about}{value(size.middle)}{ends} {words}"
    return f"{words} {about}{value(size.middle)}{ends}"


def sizes_data(found: CaseFindings, one: Fit) -> list[dict[str, object]]:
    """The sizes of an explanation as plain data, SI."""
    data = []
    for size in sizes_of(found.bank(one.cause), one):
        unit = SIZES[size.name]
        times = found.pressure if unit == "snow" else 1.0
        ends = {"low": size.low * times, "middle": size.middle * times, "high": size.high * times}
        data.append({"what": size.name, "unit": "Pa" if unit == "snow" else unit, **ends})
    return data
