"""Where drifts of several walls, parapets or projections meet, EN 1991-1-3: one case for all that touch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from roofmodel.snow.cases import SnowCase, Zone
from roofmodel.snow.en_roof import EnRoof, balanced_zones
from roofmodel.snow.patches import larger, overlap

MANY = 4  # titles name fewer than so many
NOTE = (
    "EN 1991-1-3 gives no figure for drifts that meet. Judgment: where they overlap the larger counts, as in"
    " ASCE/SEI 7 7.7.3, since it is the same blown snow; what slides from different roofs is added."
)


@dataclass(frozen=True)
class Drift:
    """Drift of one wind: at what, zones of blown snow (none overlap), of snow that slid, and notes.

    `name` is the way that the walls face, or the obstacles; `wind` where it blows to, "" for walls.
    """

    wall: bool
    name: str
    wind: str
    blown: list[Zone]
    slid: list[Zone]
    notes: tuple[str, ...]


def together(known: EnRoof, drifts: Sequence[Drift]) -> list[SnowCase]:
    """One case for each set of drifts that lie on the same ground, its loads above those of each alone.

    Parameters
    ----------
    known : EnRoof
    drifts : sequence of Drift
    """
    whole = [[*one.blown, *one.slid] for one in drifts]
    there = [k for k, zones in enumerate(whole) if zones]
    pairs = [(i, j) for n, i in enumerate(there) for j in there[n + 1 :] if overlap(whole[i], whole[j])]
    if not pairs:
        return []
    first, second = np.array(pairs).T
    graph = coo_array((np.ones(len(pairs)), (first, second)), shape=(len(drifts), len(drifts)))
    label = connected_components(graph, directed=False)[1]
    sets = [[drifts[k] for k in np.flatnonzero(label == one).tolist()] for one in np.unique(label[first])]
    cases = [_case(known, some) for some in sets]
    names = [case.name for case in cases]
    return [
        replace(case, name=f"{case.name}, place {k + 1}") if names.count(case.name) > 1 else case
        for k, case in enumerate(cases)
    ]


def _case(known: EnRoof, drifts: list[Drift]) -> SnowCase:
    groups = [list(dict.fromkeys(one.name for one in drifts if one.wall is wall)) for wall in (True, False)]
    words = (("walls facing ", "ways"), ("at ", "parapets and projections"))
    who = ", ".join(
        before
        + (" and ".join(names) if len(names) < MANY else f"{names[0]} and {len(names) - 1} other {what}")
        for names, (before, what) in zip(groups, words, strict=True)
        if names
    )
    blown = larger([zone for one in drifts for zone in one.blown])
    slid = [zone for one in drifts for zone in one.slid]
    notes = list(dict.fromkeys(note for one in drifts for note in one.notes))
    return known.case(f"drifts together, {who}", [*balanced_zones(known), *blown, *slid], [NOTE, *notes])


def _listed(names: list[str], what: str) -> str:
    return " and ".join(names) if len(names) < MANY else f"{names[0]} and {len(names) - 1} other {what}"
