"""All arrangements of EN 1991-1-3 for a recognized roof."""

from __future__ import annotations

from dataclasses import replace

from roofmodel.snow.cases import SnowCase, SnowSet
from roofmodel.snow.considered import EN, unnamed
from roofmodel.snow.en_abutting import abutting_cases, wall_drifts
from roofmodel.snow.en_annex_b import exceptional_drifts
from roofmodel.snow.en_drifted import pitched_cases, valley_cases
from roofmodel.snow.en_obstacles import obstacle_cases, obstacle_drifts
from roofmodel.snow.en_roof import EnRoof, balanced_case, balanced_zones, exceptional, prepare
from roofmodel.snow.en_room import with_filled_steps
from roofmodel.snow.inputs import EnSite
from roofmodel.snow.meeting import together
from roofmodel.snow.vault_cases import en_vaults
from roofmodel.surface import RoofSurface

MEETING = (
    "EN 1991-1-3 gives no figure for drifts that meet. Judgment: where they overlap the larger counts, as in"
    " ASCE/SEI 7 7.7.3, since it is the same blown snow; what slides from different roofs is added."
)
DOME = "EN 1991-1-3 has no clause for domes: each facet takes the snow of a plane roof (judgment)."
NOT_MODELED = (
    (
        "domes",
        "5.3.5 is for cylinders and the standard has no clause for domes: taken as the planes that they are"
        " made of, the undrifted load and half of it on one side; the national annex may say more",
    ),
    (
        "snow overhanging the eave",
        "does not slide; a case of the building on overhangs in [[framing]] (6.3)",
    ),
)


def en_cases(
    roof: RoofSurface, site: EnSite, retained: frozenset[int], *, own_slope: bool = False
) -> SnowSet:
    """All arrangements of EN 1991-1-3 clause 5.3 that straight planes, valleys and steps bring about.

    Parameters
    ----------
    roof : RoofSurface
    site : EnSite
    retained : frozenset of int
        Planes that carry rows.
    own_slope : bool
        True gives each plane mu_1 of its own slope unless a parapet or obstruction of its own holds its snow:
        the judgments by which snow below holds it are left out.

    Returns
    -------
    SnowSet

    Raises
    ------
    InputError
        For site values outside their range.
    """
    filled = (lambda known: known) if own_slope else with_filled_steps
    bare = prepare(roof, site, retained, uphill=not own_slope)
    known = filled(bare)
    cases, skipped = _arrangements(known)
    if site.exceptional_coefficient is None:
        skipped.append(("exceptional", "no C_esl given (4.3)"))
    else:
        cases += _arrangements(filled(exceptional(bare, site.exceptional_coefficient)))[0]
    if site.annex_b:
        several, without = exceptional_drifts(known)
        cases += several
        skipped += without
    else:
        skipped.append(
            (
                "exceptional drifts",
                "annex_b is not set: the national annex does not ask for Annex B (B2, B3, B4)",
            )
        )
    if any(not dome.pitch for dome in roof.domes):
        cases = [replace(case, notes=(*case.notes, DOME)) for case in cases]
    listed = (*skipped, *NOT_MODELED)
    return SnowSet(tuple(cases), (*listed, *unnamed(EN, cases, listed)))


def _arrangements(known: EnRoof) -> tuple[list[SnowCase], list[tuple[str, str]]]:
    cases, skipped = [balanced_case(known)], []
    arrangements = (pitched_cases, en_vaults, valley_cases, abutting_cases)
    around = obstacle_drifts(known)
    for several, without in (*(found(known) for found in arrangements), obstacle_cases(known, around)):
        cases += several
        skipped += without
    drifts = [*wall_drifts(known), *around]
    return cases + together(known.case, balanced_zones(known), drifts, MEETING), skipped
