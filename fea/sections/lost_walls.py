"""What of a rail's outline is on which wall, and what is on none, in words."""

from __future__ import annotations

import numpy as np

from roofmodel.profiles.data import Profile
from roofmodel.units import UnitSystem

NAMED = 3  # stretches that are named, the longest for their thickness first


def lost_words(profile: Profile, units: UnitSystem, tested: bool = False) -> list[str]:
    """Where, how thick and how long what was not recognized is, and what follows; or nothing.

    Places are in the outline as built in, as its centroid is told. Moments that are `tested` leave torsion.
    """
    lost = profile.walls.lost
    if not len(lost):
        return []
    lost = lost[np.argsort(-lost[:, 3] / np.maximum(lost[:, 2], 1e-9), kind="stable")]
    places = [
        f"{units.text(thick, 'size')} thick and {units.text(long, 'size')} long around "
        f"({units.text(y, 'size')} up the slope, {units.text(z, 'size')} away from the roof)"
        for (y, z), (thick, long) in zip(lost[:NAMED, :2] + profile.origin, lost[:NAMED, 2:], strict=True)
    ]
    more = f"; and {len(lost) - NAMED} more" if len(lost) > NAMED else ""
    what = (
        "Torsion is doubtful there: it may buckle by shear, which tested moments do not show"
        if tested
        else "It may buckle, in torsion too, and what it then holds nobody has calculated"
    )
    way = "draw its two sides as straight lines where it is flat"
    if profile.closed:
        way += ", a round hollow as the octagon around its circle (less metal)"
    more_way = "" if tested else ", or give tested moments (rail.moment_slope and moment_normal)"
    return [
        f"Not recognized as walls, by the outline as built in: {'; '.join(places)}{more}. {what}: "
        f"{way}{more_way}."
    ]


def account_words(profile: Profile) -> list[str]:
    """One sentence on how much of the outline is on walls, at joints, and on lumps; or none."""
    account = profile.walls.account
    if profile.section.round or not account.any():
        return []
    names = ("on walls", "at their joints", "on stout lumps", "on pieces that were not recognized")
    parts = [
        f"{100.0 * area:.0f} % and {100.0 * edge:.0f} % {name}"
        for name, area, edge in zip(names, *account, strict=True)
        if max(area, edge) >= 0.005  # less is shown as 0 %
    ]
    count = len(profile.walls.thickness)
    return [
        f"Walls looked at for local buckling: {count}. Of the outline's area and edge {', '.join(parts)}."
    ]
