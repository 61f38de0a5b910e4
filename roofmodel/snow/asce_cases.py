"""All cases of ASCE/SEI 7 chapter 7 for a recognized roof."""

from __future__ import annotations

from roofmodel.snow.asce_curved import asce_domes, asce_vaults
from roofmodel.snow.asce_obstacles import obstacle_cases, obstacle_drifts
from roofmodel.snow.asce_roof import (
    AsceRoof,
    balanced_case,
    balanced_zones,
    minimum_case,
    prepare,
    rain_case,
    without_reduction,
)
from roofmodel.snow.asce_room import with_filled_steps
from roofmodel.snow.asce_steps import drift_cases, sliding_cases, wall_drifts, wall_zones
from roofmodel.snow.asce_unbalanced import folded_case, unbalanced_cases
from roofmodel.snow.cases import SnowCase, SnowSet
from roofmodel.snow.considered import ASCE_16, ASCE_22, unnamed
from roofmodel.snow.inputs import Asce16Site, AsceSite
from roofmodel.snow.meeting import together
from roofmodel.snow.patches import PARTIAL, UNREDUCED
from roofmodel.surface import RoofSurface

MEETING = (
    "Drifts that meet: the larger counts where they overlap, not the sum (7.7.3), and at each wall the larger"
    " of its leeward and windward drift (7.7.1), both point by point. Judgment: parapets and projections"
    " alike, and all that touch at once."
)
NOT_MODELED = (
    (
        "round roofs of meshes",
        "only spheres and cones that are found as such take 7.6.4; other round roofs count as the planes that"
        " they are made of: add up to 2 p_f C_s / C_e at the lee eave by hand",
    ),
    ("ponding", "a matter of the structure below (7.11)"),
    ("partial loading", f"{PARTIAL} (7.5)"),
    ("snow in sloping valleys", "the standard gives no load for them; what slides there is in the force"),
    ("ice dams at eaves", "they do not slide; a case of the building, on overhangs in [[framing]] (7.4.5)"),
)


def asce_cases(roof: RoofSurface, site: AsceSite | Asce16Site, retained: frozenset[int]) -> SnowSet:
    """All cases of ASCE/SEI 7-22 or 7-16 chapter 7 that straight planes, steps and slides bring about.

    Parameters
    ----------
    roof : RoofSurface
    site : AsceSite or Asce16Site
    retained : frozenset of int
        Planes that carry snow retention.

    Returns
    -------
    SnowSet

    Raises
    ------
    InputError
        For site values outside their range.
    """
    known = with_filled_steps(prepare(roof, site, retained))
    cases = [balanced_case(known)]
    skipped: list[tuple[str, str]] = []
    for name, single in (
        ("minimum", minimum_case(known)),
        ("rain on snow", rain_case(known)),
        ("unbalanced, snow in level valleys", folded_case(known)),
    ):
        if isinstance(single, str):
            skipped.append((name, single))
        else:
            cases.append(single)
    several, without = _arrangements(known)
    cases += several
    skipped += without
    held = without_reduction(known)
    if held is None:
        skipped.append((UNREDUCED, "C_s is 1.0 already wherever something holds snow"))
    else:
        cases += [balanced_case(held), *_arrangements(held)[0]]
    listed = (*skipped, *NOT_MODELED)
    clauses = ASCE_22 if isinstance(site, AsceSite) else ASCE_16
    return SnowSet(tuple(cases), (*listed, *unnamed(clauses, cases, listed)))


def _arrangements(known: AsceRoof) -> tuple[list[SnowCase], list[tuple[str, str]]]:
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    walls = wall_zones(known)
    around, bare = obstacle_drifts(known)
    for several, without in (
        unbalanced_cases(known),
        asce_vaults(known),
        asce_domes(known),
        drift_cases(known, walls),
        obstacle_cases(known, around, bare),
        sliding_cases(known),
    ):
        cases += several
        skipped += without
    drifts = [*wall_drifts(known, walls), *around]
    return cases + together(known.case, balanced_zones(known), drifts, MEETING), skipped
