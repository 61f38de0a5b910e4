"""Rails that would lie below the grip of their clamps: a slip in `clamp.height`."""

from __future__ import annotations

from roofmodel.hardware import Rail
from roofmodel.units import UnitSystem

LOWEST_AXIS = 0.01  # a rail's axis lies higher above the grip on the seam than this (judgment) [m]


def below_axis(rail: Rail) -> float:
    """How far a rail reaches below its axis; the least it may where its outline is not known. [m]."""
    return rail.section.lowest_top if rail.profile is None else float(-rail.profile.reach[1, 0])


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
    low = {name: one for name, one in reach.items() if height < max(LOWEST_AXIS, one - 1e-6)}
    if not low:
        return []
    name = max(low, key=lambda one: low[one])
    under = low[name] - height
    sinks = f": its underside would lie {units.text(under, 'size')} below the grip" if under > 0.0 else ""
    return [
        f"clamp.height, {units.text(height, 'size')}, puts the rail's axis nearly at the grip "
        f"({name} reaches {units.text(low[name], 'size')} below its axis{sinks}): CHECK IT and its unit. "
        "Clamps look stronger than they are where the height is too small."
    ]
