"""Where drifts of several walls, parapets or projections meet: one case for all that touch, any standard."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from roofmodel.snow.cases import SnowCase, Zone
from roofmodel.snow.envelope import larger, near_pairs
from roofmodel.snow.patches import overlapping

MANY = 12  # a note names fewer than so many


@dataclass(frozen=True)
class Drift:
    """Drift at walls that face one way, or at obstacles in one wind.

    Zones of blown snow, of which the larger counts where they overlap; of snow that slid, which adds; notes.
    `name` is the way that the walls face, or the obstacles; `wind` where it blows to, "" for walls.
    """

    wall: bool
    name: str
    wind: str
    blown: list[Zone]
    slid: list[Zone]
    notes: tuple[str, ...]


def together(
    case: Callable[[str, list[Zone], list[str]], SnowCase],
    base: Sequence[Zone],
    drifts: Sequence[Drift],
    note: str,
) -> list[SnowCase]:
    """One case for each set of drifts that lie on the same ground, its loads above those of each alone.

    Parameters
    ----------
    case : function of name, zones and notes
        Assembles a case of the standard.
    base : sequence of Zone
        Balanced snow, on which the drifts lie.
    drifts : sequence of Drift
    note : str
        What the standard says of drifts that meet.
    """
    each = [(k, zone) for k, one in enumerate(drifts) for zone in (*one.blown, *one.slid)]
    if not each:
        return []
    owner = np.array([k for k, _ in each])
    wind = np.array([n < len(one.blown) for one in drifts for n in range(len(one.blown) + len(one.slid))])
    polygons = np.array([zone.polygon for _, zone in each], dtype=object)
    pairs = near_pairs(polygons, np.array([zone.plane for _, zone in each], dtype=np.int64))
    group = overlapping(polygons, owner, len(drifts), pairs)
    cases = []
    for one_set in dict.fromkeys(group.tolist()):
        some = [drifts[k] for k in np.flatnonzero(group == one_set).tolist()]
        if len(some) < 2:
            continue
        its = wind & (group[owner] == one_set)
        number = np.cumsum(its) - 1
        blown = larger([each[k][1] for k in np.flatnonzero(its)], number[pairs[its[pairs].all(axis=1)]])
        slid = [zone for one in some for zone in one.slid]
        notes = [f"The drifts that meet: {_who(some)}.", note]
        notes += dict.fromkeys(said for one in some for said in one.notes)
        cases.append(case("drifts together", [*base, *blown, *slid], notes))
    if len(cases) < 2:
        return cases
    return [replace(one, name=f"{one.name}, place {k + 1}") for k, one in enumerate(cases)]


def _who(drifts: list[Drift]) -> str:
    groups = [list(dict.fromkeys(one.name for one in drifts if one.wall is wall)) for wall in (True, False)]
    words = (("at the walls facing ", "ways"), ("at ", "parapets and projections"))
    return ", ".join(
        before
        + (" and ".join(names) if len(names) < MANY else f"{names[0]} and {len(names) - 1} other {what}")
        for names, (before, what) in zip(groups, words, strict=True)
        if names
    )
