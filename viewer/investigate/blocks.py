"""Tables of found.toml for looks that are to be made, with the clamps of the case, ready to be filled in.

What is to be read on the roof is a question mark: a block that is pasted and not filled in is refused.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout
from viewer.investigate.case import CaseFindings
from viewer.investigate.looks import (
    PULLED,
    end_splices_left,
    first_signs,
    next_splices,
)
from viewer.investigate.places import depth_places, drift_place, standing_beside

IntArray = NDArray[np.int64]

BLOCKS = 2  # of one kind, so that a screen holds them
ASK = "?"


def clamp_words(layout: Layout, at: Sequence[int] | IntArray) -> str:
    """Names of clamps as found.toml takes them, those side by side as a range."""
    at = np.unique(np.asarray(at, dtype=np.int64))
    row, name = layout.clamp_row, layout.clamp_name
    parts = np.split(at, np.flatnonzero((np.diff(at) > 1) | (np.diff(row[at]) != 0)) + 1) if len(at) else []
    return ", ".join(name[p[0]] if len(p) == 1 else f"{name[p[0]]}..{name[p[-1]]}" for p in parts)


def blocks(found: CaseFindings) -> tuple[str, ...]:
    """Text of the tables that the first looks go into, a line each."""
    lines: list[str] = []
    splices = [*end_splices_left(found.evidence)]
    for sign in first_signs(found):
        if sign in ("splice", "splice screws"):
            splices += next_splices(found, sign)
        else:
            lines += _block(found, sign)
    at_splices = [line for at in list(dict.fromkeys(splices))[:BLOCKS] for line in _splice(at)]
    return (*at_splices, *lines)


def _splice(name: str) -> list[str]:
    return [
        "[[rail]]",
        f'near = "{name}"',
        f'state = "{ASK}"  # whole, bent, parted (then also fresh = true or false)',
        f"screws = {ASK}  # true, false: none was ever set",
    ]


def _block(found: CaseFindings, sign: str) -> list[str]:
    """Lines of the table that one look goes into; none where no entry takes it."""
    evidence, layout = found.evidence, found.evidence.project.layout
    gone = np.flatnonzero(evidence.known & evidence.gave_way)
    stands = standing_beside(evidence)
    length, dense = ("ft", "lb/ft^3") if found.units.name == "US" else ("m", "kg/m^3")
    force = "lbf" if found.units.name == "US" else "kN"

    def some(at: IntArray) -> str:
        return clamp_words(layout, at[np.linspace(0, len(at) - 1, min(PULLED, len(at))).round().astype(int)])

    def group(table: str, at: IntArray, field: str, words: str) -> list[str]:
        clamps = f'clamps = "{clamp_words(layout, at)}"'
        return [f"[[{table}]]", clamps, f"{field} = {ASK}  # {words} of these {len(at)}"] if len(at) else []

    def depth(name: str) -> list[str]:
        return ["[[snow.along]]", f'near = "{name}"', f"over = {ASK}  # depth there over that of even snow"]

    if sign == "uneven":
        return [line for name in depth_places(evidence)[:BLOCKS] for line in depth(name)]
    if sign == "drift":
        name = drift_place(found)
        return depth(name) if name else []
    if sign == "snow":
        return ["[snow]", f'depth = "{ASK} {length}"', f'density = "{ASK} {dense}"']
    if sign in ("standing", "torn"):
        at = gone if sign == "torn" else stands
        kept = [f"kept = {ASK}  # share of its strength that a torn one keeps, 1 if unhurt"]
        return [
            "[[pulled]]",
            f'clamps = "{some(at)}"',
            f'mean = "{ASK} {force}"',
            *(kept if sign == "torn" else []),
        ] if len(at) else []  # fmt: skip
    return {
        "loose gone": lambda: group("screws", gone, "loose", "how many were loose"),
        "loose": lambda: group("screws", stands, "loose", "how many are loose"),
        "never there": lambda: group("marks", gone, "none", "how many seams without a mark"),
        "wrong": lambda: group("type", gone, "wrong", "how many not made for this seam"),
    }.get(sign, list)()
