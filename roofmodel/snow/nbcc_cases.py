"""All cases of NBCC 2020 subsection 4.1.6 for a recognized roof."""

from __future__ import annotations

from roofmodel.snow.cases import SnowCase, SnowSet
from roofmodel.snow.considered import NBCC, unnamed
from roofmodel.snow.inputs import NbccSite
from roofmodel.snow.meeting import together
from roofmodel.snow.nbcc_domes import nbcc_domes
from roofmodel.snow.nbcc_drifted import step_cases, valley_cases, wall_drifts
from roofmodel.snow.nbcc_obstacles import obstacle_cases, obstacle_drifts
from roofmodel.snow.nbcc_roof import (
    NbccRoof,
    balanced_case,
    gable_cases,
    prepare,
    uniform_zones,
    without_reduction,
)
from roofmodel.snow.nbcc_room import with_filled_steps
from roofmodel.snow.patches import PARTIAL, UNREDUCED
from roofmodel.snow.vault_cases import nbcc_vaults
from roofmodel.surface import RoofSurface

MEETING = (
    "Drifts that meet: the larger counts where they overlap (4.1.6.8.(2)); what slides from different roofs"
    " is added. Judgment: parapets and projections alike, and all that touch at once."
)
NOT_MODELED = (
    ("half load on parts of a plane", f"{PARTIAL} (4.1.6.3)"),
    (
        "round roofs of meshes",
        "only spheres that are found as such take 4.1.6.10; others count as the planes they are made of",
    ),
    ("rain alone", "the rain load of 4.1.6.4 does not slide; check ponding and drainage by hand"),
)


def nbcc_cases(roof: RoofSurface, site: NbccSite, retained: frozenset[int]) -> SnowSet:
    """All cases of NBCC 2020 that straight planes, valleys, steps and slides bring about.

    Parameters
    ----------
    roof : RoofSurface
    site : NbccSite
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
    cases, skipped = _arrangements(known)
    held = without_reduction(known)
    if held is None:
        skipped.append((UNREDUCED, "C_s is 1.0 already wherever something holds snow"))
    else:
        cases += _arrangements(held)[0]
    listed = (*skipped, *NOT_MODELED)
    return SnowSet(tuple(cases), (*listed, *unnamed(NBCC, cases, listed)))


def _arrangements(known: NbccRoof) -> tuple[list[SnowCase], list[tuple[str, str]]]:
    cases: list[SnowCase] = [balanced_case(known)]
    skipped: list[tuple[str, str]] = []
    arrangements = (gable_cases, nbcc_vaults, nbcc_domes, valley_cases, step_cases)
    around = obstacle_drifts(known)
    for several, without in (*(found(known) for found in arrangements), obstacle_cases(known, around)):
        cases += several
        skipped += without
    drifts = [*wall_drifts(known), *around]
    return cases + together(known.case, uniform_zones(known), drifts, MEETING), skipped
