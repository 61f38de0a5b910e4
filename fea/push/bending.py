"""On which moments a rail bends on in a virtual test, and whether it can at all."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fea.checks.limits import piece_lengths, rail_resistance
from fea.checks.member_strength import FULL, MemberStrength, member_strength, station_use
from fea.checks.rail_section import yield_moments
from fea.sections.effective import effective
from roofmodel.hardware import DesignFormat, Rail
from roofmodel.layout import Layout

# Yield stress at which the walls of a section that turns as a hinge would still not buckle, over its own:
# slenderness limits of class 3 over class 1, squared. EN 1993-1-1 table 5.2 and EN 1999-1-1 table 6.2, from
# memory; outstands of steel (14/9)^2, aluminum (6/3)^2.
STOUT = {"aluminum": 4.0}
STOUT_STEEL = 2.5


@dataclass(frozen=True)
class Bending:
    """What a rail bends on at.

    Attributes
    ----------
    moment : (float, float)
        About its y and z axes. [N m]
    share : (float, float)
        Of the yield moment, least of the check's limits of buckling, holes and welds; NaN where walls are not
        known.
    brittle : str
        Why it lets go instead of bending on; empty where it bends on.
    """

    moment: tuple[float, float]
    share: tuple[float, float]
    brittle: str


def rail_bending(rail: Rail, layout: Layout, form: DesignFormat) -> Bending:
    """Moments at which the check's limits are reached by bending about one axis.

    Parameters
    ----------
    rail : Rail
    layout : Layout
        Whose pieces from clamp to clamp, and overhangs, may buckle sideways.
    form : DesignFormat
    """
    plain = yield_moments(rail_resistance(rail, form), rail.section)
    given = np.where(np.isfinite(rail.moment), rail.moment, np.inf)
    member = member_strength(rail, form, piece_lengths(layout))
    if member is None:
        least = np.minimum(plain, given)
        return Bending((least[0], least[1]), (np.nan, np.nan), "its walls are not known")
    force = np.zeros((2, len(member.sideways), 6))
    force[0, :, 4], force[1, :, 5] = plain
    pieces = np.arange(len(member.sideways))
    use = np.stack([station_use(member, kind, force, pieces).max(axis=1) for kind in member.kinds])
    used = np.maximum(use.max(axis=0), 1.0)
    least = np.fmin(plain / used, given)
    brittle = ""
    if np.isnan(used).any():
        brittle = "local buckling of its walls is not known"
    elif (used > 1.0 / FULL).any() and np.isnan(rail.moment).any():
        brittle = "it buckles, or breaks at holes or welds, before it yields"
    elif not _stout(member):
        brittle = "its walls are too slender to turn as a hinge"
    return Bending((float(least[0]), float(least[1])), (float(1.0 / used[0]), float(1.0 / used[1])), brittle)


def _stout(member: MemberStrength) -> bool:
    """Whether the walls stand the turning of a plastic hinge."""
    metal = member.rail.material
    more = replace(metal, yield_strength=STOUT.get(metal.name, STOUT_STEEL) * metal.yield_strength)
    found = effective(member.profile, more, member.form, welded=member.rail.welded)
    return bool(found.share[1:].min() >= FULL)
