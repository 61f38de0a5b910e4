"""Stiffness of a clamp that is not what its tests gave, in a project or in a span study."""

from __future__ import annotations

from collections.abc import Mapping

from roofmodel.project.clamp_schema import ClampTable
from roofmodel.units import UnitSystem

NEAR = 0.002  # of a stiffness with four digits
NAMES = ("along", "across", "pull")


def typed_stiffness(
    clamp: ClampTable, units: UnitSystem, given: Mapping[str, tuple[float, float]] | None = None
) -> list[str]:
    """What was typed beside, beyond or within the stiffness that tests gave, in one sentence each.

    Parameters
    ----------
    clamp : ClampTable
    units : UnitSystem
    given : mapping of str to (float, float), optional
        Ends of the ranges of a span study, by direction; the numbers of `clamp` by default. [N/m]
    """
    tested = clamp.tested
    if tested is None or not any(one.stiffness for one in tested.series):
        return []
    told = {one.direction: one.stiffness for one in tested.series if one.stiffness}
    if "pull" not in told and "push" in told:
        told["pull"] = told["push"]

    def text(ends: tuple[float, float]) -> str:
        return " to ".join(dict.fromkeys(units.text(end, "stiffness") for end in ends))

    odd, narrow = [], []
    for name in NAMES:
        alone = float(getattr(clamp.stiffness, name))
        own = (alone, alone) if given is None else given[name]
        words = f"clamp.stiffness.{name}, {text(own)},"
        if name not in told:
            odd.append(f"{words} has no test behind it")
            continue
        low, high = (1.0 - NEAR) * told[name][0], (1.0 + NEAR) * told[name][-1]
        ends = text((told[name][0], told[name][-1]))
        near_low, near_high = own[0] <= (1.0 + NEAR) * told[name][0], own[1] >= (1.0 - NEAR) * told[name][-1]
        if near_low and near_high:
            continue  # the whole of it
        if low <= own[0] and own[1] <= high:
            narrow.append(f"{words} is a part of what its tests gave, {ends}")
        else:
            odd.append(f"{words} is not what its tests gave, {ends}")
    found = []
    if odd:
        found.append(
            f"Typed by hand: {'; '.join(odd)} ([[clamp.tested.series]]). Stiffness says how clamps share a "
            "load, and moves these loads either way: have it tested, or give a range whose worse end counts."
        )
    if narrow:
        found.append(
            f"Typed by hand: {'; '.join(narrow)} ([[clamp.tested.series]]). A span file takes the worse end "
            "with the tested range; a project takes one number: check it with both ends."
        )
    return found
