"""What the curves of a campaign say against its strengths."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.strength_tests.fractiles import suspects
from fea.strength_tests.results import CampaignResult
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]

SLIPPED = 0.97  # a first slip below this share of the peak is one [-]
LEAST = 3  # slips that can be held against each other


def slips(found: CampaignResult) -> Array:
    """First slip of one clamp at nominal sheet, (n,); NaN where a test has none before its peak. [N]."""
    out = np.full(len(found.measured), np.nan)
    for i, reading in enumerate(found.readings):
        if reading is not None and reading.slip < SLIPPED * reading.peak:
            out[i] = reading.slip
    return np.asarray(out * found.share * found.nominal / found.measured)


def hidden_slips(found: CampaignResult) -> list[int]:
    """Tests that count by their peak and slipped below the design strength that the peaks give."""
    if found.campaign.table.method.take != "peak":
        return []
    return [int(i) for i in np.flatnonzero(found.counted & (slips(found) < found.justified.design))]


def hidden_words(found: CampaignResult) -> str:
    """The tests of `hidden_slips` with their forces; empty without any."""
    text, slip = SYSTEMS[found.campaign.table.campaign.units].text, slips(found)
    low = hidden_slips(found)
    if not low:
        return ""
    return (
        f"{_named(found, low)} slipped at {text(slip[low].min(), 'force')}"
        f"{' and above' if len(low) > 1 else ''}, BELOW THE DESIGN STRENGTH of "
        f"{text(found.justified.design, 'force')} that the peaks give"
    )


def curve_notes(found: CampaignResult) -> list[str]:
    """Slips that peaks hide, clamps that slide before they slip, strengths that have no curve."""
    take = found.campaign.table.method.take
    hidden = _hidden(found) if take == "peak" else []
    return [*hidden, *_sliding(found), *_bare(found), *_bent(found), *_falling(found)]


def _bent(found: CampaignResult) -> list[str]:
    """Clamps whose stiffness is a range, as their curves are no straight lines."""
    one = found.calibration
    if one is None or not one.fits or not one.between[0] < one.between[1]:
        return []
    text = SYSTEMS[found.campaign.table.campaign.units].text
    whole, early = (text(v, "stiffness") for v in (one.stiffness.value, one.early.value))
    return [
        f"The clamp {'softens' if one.early.value > one.stiffness.value else 'stiffens'} as it is loaded: "
        f"{early} between 10 and 40 % of the peak, {whole} by the line fitted to the whole curve. Stiff "
        "clamps share less and peak more, soft ones let the rail move more: either alone may be unsafe."
    ]


def _falling(found: CampaignResult) -> list[str]:
    """Curves that end before their force has settled."""
    one = found.calibration
    if one is None:
        return []
    some = [int(i) for i, fit in zip(one.test, one.fit, strict=True) if fit.falling]
    if not some:
        return []
    which = "every curve" if len(some) == len(one.fit) else _named(found, some)
    return [
        f"The record of {which} ends while the force still falls: it says nothing of what a clamp keeps once "
        "it slips (clamp.slip_residual)."
    ]


def _hidden(found: CampaignResult) -> list[str]:
    slip = np.where(found.counted, slips(found), np.nan)
    on = np.flatnonzero(~np.isnan(slip))
    if not len(on):
        return []
    text, notes = SYSTEMS[found.campaign.table.campaign.units].text, []
    first, curves = (
        int(on[np.argmin(slip[on])]),
        sum(
            one is not None and bool(counts)
            for one, counts in zip(found.readings, found.counted, strict=True)
        ),
    )
    notes.append(
        f"{len(on)} of {curves} curves lose force before their peak, {_named(found, [first])} the first at "
        f"{text(slip[first], 'force')}: a clamp that has slipped has marked the sheet. "
        'take = "slip" is the safe reading.'
    )
    low = hidden_words(found)
    if low:
        notes.append(f'{low}: DO NOT USE IT before it is known why; take = "slip" counts these slips.')
    if len(on) >= LEAST:
        distance, limit = suspects(slip[on])
        odd = int(np.argmax(distance))
        if distance[odd] > limit:
            notes.append(
                f"The first slip of {_named(found, [int(on[odd])])} may not belong: {distance[odd]:.2f} "
                f"deviations from the mean slip, more than {limit:.2f} (Grubbs, 5 %), which its peak does "
                "not show; look for a cause in the laboratory."
            )
    return notes


def _sliding(found: CampaignResult) -> list[str]:
    """Clamps that reach the proof load earlier than they slip, by displacement."""
    if found.campaign.table.method.take != "slip":
        return []
    at = [
        i
        for i, (one, on) in enumerate(zip(found.readings, found.counted, strict=True))
        if on and one is not None and one.proof_at < one.slip_at and one.proof < SLIPPED * one.slip
    ]
    if not at:
        return []
    return [
        f"{_named(found, at)}: moved for good, by the offset of the proof load, before any sudden loss: "
        'a clamp that slides without a knock. take = "proof" is the safe reading.'
    ]


def _bare(found: CampaignResult) -> list[str]:
    """Tests without a curve where not the largest force counts."""
    take = found.campaign.table.method.take
    bare = [int(i) for i in np.flatnonzero(found.counted) if found.readings[i] is None]
    if take == "peak" or not bare:
        return []
    what = {"slip": "forces at first slip", "proof": "proof loads"}[take]
    return [
        f"{_named(found, bare)}: without a curve, so the strengths count as given, as {what}. If they are "
        "largest forces, the strengths below are TOO HIGH."
    ]


def _named(found: CampaignResult, some: list[int]) -> str:
    return ", ".join(found.campaign.tests[i].name for i in some)
