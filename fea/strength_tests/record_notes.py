"""What must be said of odd records, and which of them may have raised the strengths."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.strength_tests.copies import copy_notes, copy_words
from fea.strength_tests.curve_notes import swapped, unlike
from fea.strength_tests.curves import SLIP_DROP
from fea.strength_tests.likely import unlikely
from fea.strength_tests.records import Record
from fea.strength_tests.results import CampaignResult
from fea.strength_tests.unit_notes import heads_doubt
from roofmodel.project.tested import sheet_text
from roofmodel.units import SYSTEMS, UnitSystem

Array = NDArray[np.float64]

FAILED = 0.5  # of the peak, below which a specimen has failed (judgment)
# A rise after that is told from so many readings and this share of the record on, by this share of the peak,
# and where it is so many times its own spread (judgment).
AFTER, TAIL, RISEN, STEADY = 20, 0.15, 0.05, 5.0
GIVE = "give what it surely held as strength in place of its curve"


def doubts(found: CampaignResult) -> list[str]:
    """Why no strength is to be pasted into a project before it is known what is wrong; empty for nothing."""
    reasons, one, rig = (
        [f"odd record of {reason}" for reason in raised(found)],
        found.calibration,
        found.campaign.rig,
    )
    # Without a rail each clamp was loaded alone: its strength does not depend on the model.
    if one is not None and not one.fits and rig is not None and rig.rail is not None:
        reasons.append("the model does not fit")
    reasons += [*unsound(found), *copy_words(found)]
    if odd := unlike(found):
        reasons.append(
            f"far stiffer or softer than the other curves: {_named(found, odd)}; correct the heads. Where "
            "they are right, give the strength of that test in place of its curve: leaving it out would "
            "lose what it held"
        )
    if wrong := swapped(found):
        reasons.append(
            f"columns of {_named(found, wrong)} contradict their heads: a force in even steps over a "
            "displacement in uneven ones, stiffer the nearer to its loss; swap the heads. Where they are "
            "right, give the strength of those tests in place of their curves"
        )
    return reasons


def raised(found: CampaignResult) -> list[str]:
    """Why strengths may be too high, one clause for each kind of odd record; empty for nothing."""
    kinds = (
        ("force jumps up", _jumps),
        ("force rises across lost readings", _lost),
        ("starts far above no force", _high),
        ("gauge jumps", _proofs),
    )
    return [f"{_named(found, some)}: {what}" for what, pick in kinds if (some := pick(found))]


def unsound(found: CampaignResult) -> list[str]:
    """Why the whole campaign is doubted, one clause each; empty for nothing."""
    return [*unlikely(found), *filter(None, (heads_doubt(found),))]


def raised_words(found: CampaignResult) -> str:
    """The same as a sentence for the head of a result, with what no clamp shows; empty for nothing."""
    reasons, odd = raised(found), [*unsound(found), *copy_words(found)]
    if odd:
        return f"DO NOT RELY ON THESE STRENGTHS: {'; '.join([*odd, *reasons])}."
    if not reasons:
        return ""
    return f"DO NOT RELY ON THESE STRENGTHS, they may be TOO HIGH: odd records ({'; '.join(reasons)})."


def record_notes(found: CampaignResult) -> list[str]:
    """Spikes, jumps, zeros and records without an end, each with its tests and what to do."""
    units = SYSTEMS[found.campaign.table.campaign.units]
    text, notes = units.text, []
    for i, one in _records(found):
        name = found.campaign.tests[i].name
        if len(one.spikes):
            u, high, _ = one.spikes[int(np.argmax(one.spikes[:, 1]))].tolist()
            many = f" ({len(one.spikes)} such readings, this is the largest)" if len(one.spikes) > 1 else ""
            notes.append(
                f"CHECK THE RECORD of {name}: one reading of {text(high, 'force')} at {sheet_text(u, units)} "
                f"stands alone{many}, nothing around it supports it. It does not count; the largest force "
                f"of the test is {text(_peak(found, i), 'force')} without it. If the specimen did hold "
                "it, only readings taken more often can show it."
            )
        if i in _jumps(found) and one.jump is not None:
            u, low, up = one.jump
            notes.append(
                f"CHECK THE RECORD of {name}: its force jumps up by {text(up, 'force')} from "
                f"{text(low, 'force')} at {sheet_text(u, units)}, more than noise and the curve's own steps "
                "explain. What it held after that may be TOO HIGH. Find the cause (amplifier, load cell, two "
                f"records joined) and correct the record, or {GIVE}."
            )
        if one.gap is not None and one.jump is None and (one.gauge is None or one.gap[4]):
            notes.append(_gap(name, one.gap, units))
        if one.gauge is not None:
            u, way = one.gauge
            notes.append(
                f"CHECK THE GAUGE of {name}: the displacement jumps by {sheet_text(way, units)} at "
                f"{sheet_text(u, units)} without loss of force. Was the gauge touched, are readings missing, "
                "or did the clamp slip under a hung weight? The peak does not depend on it; stiffness, proof "
                "load and where it slipped do."
            )
    return [
        *notes,
        *copy_notes(found),
        *_zeros(found),
        *_unfailed(found),
        *_no_proof(found),
        *_drifting(found),
    ]


def _gap(name: str, gap: tuple[float, float, float, float, bool], units: UnitSystem) -> str:
    u, way, before, after, rose = gap
    words = (
        f"CHECK THE RECORD of {name}: readings are missing over {sheet_text(way, units)} from "
        f"{sheet_text(u, units)}, with {units.text(before, 'force')} before and {units.text(after, 'force')} "
        "after. "
    )
    if not rose:
        return f"{words}The curve on both sides explains that; what happened between nobody knows."
    return (
        f"{words}The curve beside them does not rise so much: what it held after may be TOO HIGH (another "
        f"range or zero of the load cell, two records joined). Correct the record, or {GIVE}."
    )


def _zeros(found: CampaignResult) -> list[str]:
    text, notes = SYSTEMS[found.campaign.table.campaign.units].text, []
    starts = {i: one.start for i, one in _records(found) if one.start is not None}
    for above in (True, False):
        some = [i for i, start in starts.items() if (start > 0.0) == above]
        if not some:
            continue
        most = max(some, key=lambda i: abs(starts[i]) / _peak(found, i))
        notes.append(
            f"CHECK THE ZERO of {_named(found, some)}: the record starts at {text(starts[most], 'force')}"
            f"{f' ({found.campaign.tests[most].name})' if len(some) > 1 else ''}, "
            f"{100.0 * abs(starts[most]) / _peak(found, most):.0f} % of its peak, far from no force. If the "
            f"zero was not set, the strength is {'TOO HIGH' if above else 'too low'} by as much: take it off "
            f"every reading. If it was a real preload, {GIVE}."
        )
    return notes


def _unfailed(found: CampaignResult) -> list[str]:
    """Tests whose strength that counts is the end of a record that still rose."""
    some = [i for i, one in _records(found) if one.unfailed and _taken(found, i) >= _ended(found, i)]
    if not some:
        return []
    one = len(some) == 1
    bound = "its strength is a lower bound" if one else "their strengths are lower bounds"
    return [
        f"{_named(found, some)} did not fail: {'its record ends' if one else 'their records end'} while the "
        f"force still rises, so {bound}. Safe by itself, but the scatter is not that of failures; "
        "pull such a specimen until it fails."
    ]


def _no_proof(found: CampaignResult) -> list[str]:
    """Tests whose peak counts where a proof load was asked for, as they never moved so far for good."""
    method = found.campaign.table.method
    if method.take != "proof":
        return []
    some = [
        i
        for i, one in enumerate(found.readings)
        if one is not None and found.counted[i] and one.proof >= one.peak and one.proof_at >= one.at_peak
    ]
    if not some:
        return []
    units = SYSTEMS[found.campaign.table.campaign.units]
    return [
        f"CHECK THE PROOF LOAD of {_named(found, some)}: no offset of {sheet_text(method.offset, units)} "
        "before the peak, so the PEAK counts. Is the unit of displacement right, and the offset that of the "
        "clamp? A specimen that breaks before it slides does so too."
    ]


def _drifting(found: CampaignResult) -> list[str]:
    """Tests whose force rises steadily after they failed, to the end of the record."""
    some = [
        i
        for i, curve in enumerate(found.campaign.curves)
        if curve is not None and found.counted[i] and found.readings[i] is not None and rises_again(curve[1])
    ]
    if not some:
        return []
    return [
        f"CHECK THE DRIFT of {_named(found, some)}: the force rises steadily to the end of the record after "
        "the specimen failed. A zero that drifts by time does so, and the strength is then off by what came "
        "together up to its peak: hold the last reading, unloaded, against zero. A clamp that meets "
        "something and grips again does so too."
    ]


def rises_again(force: Array) -> bool:
    """Whether a force that had fallen far rises from there to the end of the record, on a line."""
    peak, top = float(force.max()), int(np.argmax(force))
    if len(force) - top < AFTER or not force[top:].min() < FAILED * peak:
        return False
    last = force[top + int(np.argmin(force[top:])) :]
    if len(last) < max(AFTER, TAIL * len(force)):
        return False
    at = np.arange(len(last), dtype=float)
    slope, level = np.polyfit(at, last, 1)
    spread = float(np.std(last - level - slope * at))
    rise = float(slope) * (len(last) - 1)
    return rise > max(RISEN * peak, STEADY * spread)


def _jumps(found: CampaignResult) -> list[int]:
    """Tests whose force jumps up on the way to the strength that counts.

    Any jump moves the range in which stiffness is read, and with it the proof load.
    """
    if found.campaign.table.method.take == "proof":
        return [i for i, one in _records(found) if one.jump is not None]
    return [i for i, one in _records(found) if one.jump is not None and one.jump[1] < _taken(found, i)]


def _lost(found: CampaignResult) -> list[int]:
    """Tests whose force rose unexplained while readings were lost, on the way to the strength that counts."""
    proof = found.campaign.table.method.take == "proof"
    return [
        i
        for i, one in _records(found)
        if one.gap is not None and one.gap[4] and (proof or one.gap[2] < _taken(found, i))
    ]


def _high(found: CampaignResult) -> list[int]:
    return [i for i, one in _records(found) if one.start is not None and one.start > 0.0]


def _proofs(found: CampaignResult) -> list[int]:
    """A gauge that jumps while stiffness is read makes the line soft that gives the proof load."""
    if found.campaign.table.method.take != "proof":
        return []
    return [i for i, one in _records(found) if one.gauge is not None]


def _records(found: CampaignResult) -> list[tuple[int, Record]]:
    """Records of the tests that count."""
    pairs = enumerate(zip(found.records, found.counted, strict=True))
    return [(i, one) for i, (one, on) in pairs if on and one is not None]


def _taken(found: CampaignResult, test: int) -> float:
    """Force on the rig that counts as the test's strength. [N]."""
    return float(getattr(found.readings[test], found.campaign.table.method.take))


def _peak(found: CampaignResult, test: int) -> float:
    one = found.readings[test]
    assert one is not None
    return one.peak


def _ended(found: CampaignResult, test: int) -> float:
    return (1.0 - SLIP_DROP) * _peak(found, test)


def _named(found: CampaignResult, some: list[int]) -> str:
    return ", ".join(found.campaign.tests[i].name for i in some)
