"""What no clamp on a seam shows: more force than its seam holds, a load higher than any rail, much play."""

from __future__ import annotations

import numpy as np

from fea.strength_tests.results import CampaignResult
from roofmodel.project.tested import sheet_text
from roofmodel.units import SYSTEMS, UnitSystem

# Tensile strength of common sheets where nobody gave their yield strength; handbooks, from memory. [Pa]
TENSILE = {"steel": 400e6, "stainless steel": 600e6, "aluminum": 220e6, "copper": 270e6, "zinc": 170e6}
OVER_YIELD = 1.25  # tensile over yield strength, about that of steel S280 GD (EN 10346, from memory)
DEVELOPED = 4.0  # times its height that a folded seam has of sheet, a double lock with its hems (judgment)
HIGHEST = 0.25  # of a load above the grip; beyond it is no rail of snow retention (judgment) [m]
PLAY = (0.5e-3, 3.0)  # play that is told, and times the usual one of the others (judgment) [m, -]


def seam_strength(found: CampaignResult) -> float:
    """Force at which the seam itself would tear along its line, more than any clamp passes into it. [N].

    Whatever a clamp does to a seam, its force goes on in the folded sheet: that tears at its developed
    width x thickness x tensile strength. Clamps fail long before: they slide, or the seam folds.
    """
    one = found.campaign.table.specimen
    used = [test.yield_strength for test in found.campaign.tests if test.yield_strength is not None]
    strongest = max([one.yield_strength or 0.0, *used])
    tensile = max(OVER_YIELD * strongest, 0.0) or TENSILE[one.metal]
    thickest = max([one.thickness, *(t.thickness for t in found.campaign.tests if t.thickness is not None)])
    return DEVELOPED * one.seam_height * thickest * tensile


def unlikely(found: CampaignResult) -> list[str]:
    """Why the whole campaign is doubted, one clause each; empty for nothing."""
    units, one = SYSTEMS[found.campaign.table.campaign.units], found.campaign.table.specimen
    mean, most, reasons = found.justified.sample.mean, seam_strength(found), []
    if mean > most:
        reasons.append(
            f"the mean, {units.text(mean, 'force')}, is more than the seam itself holds: a fold "
            f"{units.text(one.seam_height, 'size')} high of {one.metal} {sheet_text(one.thickness, units)} "
            f"tears at about {units.text(most, 'force')} (developed width x thickness x tensile strength, "
            "judgment); check the unit of the forces, as kip for kN, and specimen.thickness"
        )
    if one.load_height is not None and one.load_height > HIGHEST:
        reasons.append(
            f"specimen.load_height, {units.text(one.load_height, 'size')}, is higher above the grip than any "
            f"rail of snow retention ({units.text(HIGHEST, 'size')}, judgment): clamps would count as tested "
            "for moments that they never had; check its unit"
        )
    return reasons


def play_notes(found: CampaignResult) -> list[str]:
    """Specimens that moved much before they took load, which the stiffness leaves out and a roof does not."""
    units = SYSTEMS[found.campaign.table.campaign.units]
    play = np.array([np.nan if one is None else one.seating for one in found.readings])
    known = play[~np.isnan(play)]
    if not len(known):
        return []
    usual = float(np.median(known))
    odd = np.flatnonzero(play > max(PLAY[0], PLAY[1] * usual))
    if not len(odd) and usual > PLAY[0]:
        return [
            f"The specimens moved by {_way(usual, units)} (middle) before they took load: play and "
            "seating, which stiffness leaves out. A rail on the roof moves by it too."
        ]
    if not len(odd):
        return []
    each = ", ".join(f"{found.campaign.tests[i].name} by {_way(float(play[i]), units)}" for i in odd)
    return [
        f"CHECK THE PLAY: {each} before it took load, the others by {_way(usual, units)}. "
        "Stiffness leaves it out; a clamp that was not closed, or a rig with slack, looks so. Find the cause."
    ]


def _way(value: float, units: UnitSystem) -> str:
    return sheet_text(round(max(value, 0.0), 5), units)
