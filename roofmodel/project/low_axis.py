"""Rails that would lie below the grip of their clamps, or in the seams: a slip in `clamp.height`."""

from __future__ import annotations

from collections.abc import Iterable

from roofmodel.hardware import Clamp, Rail
from roofmodel.units import UnitSystem

LOWEST_AXIS = 0.01  # a rail's axis lies higher above the grip on the seam than this (judgment) [m]
LEAST_SUNK = 1e-6  # [m]


def below_axis(rail: Rail) -> float:
    """How far a rail reaches below its axis; the least it may where its outline is not known. [m]."""
    return rail.section.lowest_top if rail.profile is None else float(-rail.profile.reach[1, 0])


def sunk(height: float, rails: Iterable[Rail]) -> bool:
    """Whether the underside of a rail would lie below the grip, in the seams that it crosses; height in m."""
    return any(below_axis(one) - height > LEAST_SUNK for one in rails)


def low_axis_words(height: float, rails: dict[str, Rail], units: UnitSystem) -> list[str]:
    """One sentence on rails whose underside lies below the grip.

    Parameters
    ----------
    height : float
        Of the rail's axis above the grip, the least. [m]
    rails : dict of Rail
        By what to call them.
    units : UnitSystem
    """
    reach = {name: below_axis(rail) for name, rail in rails.items()}
    low = {name: one for name, one in reach.items() if height < max(LOWEST_AXIS, one - LEAST_SUNK)}
    if not low:
        return []
    name = max(low, key=lambda one: low[one])
    under = low[name] - height
    sinks = ""
    if under > 0.0:
        deep = units.text(under, "size")
        sinks = f": its underside would lie {deep} below the grip, in the seams that it crosses"
    return [
        f"clamp.height, {units.text(height, 'size')}, puts the rail's axis nearly at the grip "
        f"({name} reaches {units.text(low[name], 'size')} below its axis{sinks}): CHECK IT and its unit. "
        "Clamps look stronger than they are where the height is too small."
    ]


def crossing_words(clamp: Clamp, rails: dict[str, Rail], seam_height: float, units: UnitSystem) -> list[str]:
    """One sentence on rails that lie above the grip, but not above the seams that they cross.

    Parameters
    ----------
    clamp : Clamp
    rails : dict of Rail
        By what to call them.
    seam_height : float
        Over the pan. [m]
    units : UnitSystem
    """
    if sunk(clamp.height, rails.values()) or not rails:
        return []
    top = seam_height - clamp.grip_height
    name = max(rails, key=lambda one: below_axis(rails[one]))
    under = top - (clamp.height - below_axis(rails[name]))
    if under <= LEAST_SUNK:
        return []
    own, high, grip = (units.text(h, "size") for h in (under, seam_height, clamp.grip_height))
    return [
        f"clamp.height, {units.text(clamp.height, 'size')}, puts the underside of {name} {own} below the top "
        f"of the seams ({high} high, gripped at {grip}: clamp.grip_height): CHECK both, unless the rail is "
        "notched there. Clamps look stronger than they are where the height is too small."
    ]
