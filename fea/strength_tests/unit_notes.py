"""What no bound finds: forces under the head of another unit, and sheets that were measured for nothing."""

from __future__ import annotations

import numpy as np

from fea.strength_tests.resistance import corrected
from fea.strength_tests.results import CampaignResult
from roofmodel.project.campaign_schema import Method

USUAL = tuple(Method.model_fields[f"{name}_power"].default for name in ("thickness", "strength"))
TOLD = 1.005  # times the strength by the usual powers, from where others are told
WORDS = {"us": "inches, pounds or kip", "metric": "metric units"}


def largest_forces(found: CampaignResult) -> tuple[float, float]:
    """Least and most of the largest forces on the load cell, of all tests, counted or not. [N]."""
    peaks = [
        test.strength if one is None else one.peak
        for test, one in zip(found.campaign.tests, found.readings, strict=True)
    ]
    known = np.array(peaks, dtype=float)
    return float(known.min()), float(known.max())


def heads_doubt(found: CampaignResult) -> str:
    """Why heads in other units than seam and sheet keep strengths back; empty for none, or checked ones."""
    other = _other_heads(found)
    if not other or found.campaign.table.method.heads_checked:
        return ""
    what = " and ".join(f"{what} of {named}" for what, named, _ in other)
    return (
        f"{what} under heads in {WORDS[_other(found)]}, seam and sheet in {WORDS[found.campaign.sheet]}: a "
        "wrong head makes strengths up to 4.45 times too high; hold one record against the load cell, then "
        'correct the heads, or say who checked them and how, [method] heads_checked = "..."'
    )


def unit_notes(found: CampaignResult) -> list[str]:
    """Heads in other units than the specimen, and powers that leave measured sheets out."""
    return [*_heads(found), *_powers(found)]


def _heads(found: CampaignResult) -> list[str]:
    """Curves whose heads name units of the other system than seam and sheet do."""
    sheet, other = found.campaign.sheet, _other(found)
    notes = []
    checked = found.campaign.table.method.heads_checked
    for what, named, k in _other_heads(found):
        if checked:
            notes.append(
                f"Heads of {named}: {what} is in {WORDS[other]}, seam and sheet are in {WORDS[sheet]}; "
                f"checked: {checked.rstrip('.')}."
            )
            continue
        slip = "strengths are then 4.45 times" if k else "stiffness is then 1 / 25.4 of"
        if other == "metric":
            slip = "strengths are then 1 / 4.45 of" if k else "stiffness is then 25.4 times"
        notes.append(
            f"CHECK THE UNIT IN THE HEAD of {named}: {what} is in {WORDS[other]}, seam and sheet "
            f"are in {WORDS[sheet]}. UNSAFE if the head is wrong: {slip} what is true."
        )
    return notes


def _other(found: CampaignResult) -> str:
    """The unit system that seam and sheet are not written in."""
    return "metric" if found.campaign.sheet == "us" else "us"


def _other_heads(found: CampaignResult) -> list[tuple[str, str, int]]:
    """Columns whose heads are of the other unit system: what they hold, of which tests, and their number."""
    if not found.campaign.sheet:
        return []
    rows = []
    for k, what in enumerate(("displacement", "force")):
        tests = zip(found.campaign.tests, found.campaign.heads, found.counted, strict=True)
        some = [test.name for test, heads, on in tests if on and heads[k] == _other(found)]
        if some:
            named = "all tests" if len(some) == len(found.campaign.tests) else ", ".join(some)
            rows.append((what, named, k))
    return rows


def _powers(found: CampaignResult) -> list[str]:
    """Powers below the usual ones, where specimens were measured to be thicker or stronger than nominal."""
    method, specimen, tests = found.campaign.table.method, found.campaign.table.specimen, found.campaign.tests
    given = {"thickness_power": method.thickness_power, "strength_power": method.strength_power}
    thickness, metal = (
        np.array([np.nan if (own := getattr(test, name)) is None else own for test in tests])
        for name in ("thickness", "yield_strength")
    )
    pair = None if specimen.yield_strength is None else (metal, specimen.yield_strength)
    usual = corrected(found.measured, (thickness, specimen.thickness), pair, USUAL)
    over = float((found.nominal / usual)[found.counted].max())
    if over < TOLD:
        return []
    least = [
        f"method.{name} = {one:g}" for (name, one), u in zip(given.items(), USUAL, strict=True) if one < u
    ]
    return [
        f"UNSAFE: {' and '.join(least)} leave strengths of specimens thicker or stronger than nominal up to "
        f"{100.0 * (over - 1.0):.0f} % higher than the usual powers {USUAL[0]:g} and {USUAL[1]:g} (EN "
        "1993-1-3 A.6.2, from memory): only tests on sheets of several thicknesses justify that. Leave them "
        "out."
    ]
