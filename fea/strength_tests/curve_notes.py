"""What the curves of a campaign say against its strengths."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.strength_tests.curves import STIFF_RANGE, CurveReading
from fea.strength_tests.fractiles import odd_ones, suspects
from fea.strength_tests.results import CampaignResult
from roofmodel.project.tested import sheet_text
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]

SLIPPED = 0.97  # a first slip below this share of the peak is one [-]
LEAST = 3  # slips that can be held against each other
UNLIKE = 2.5  # times the stiffness of the others, either way, from where a curve is doubted (judgment)
FIRM = (0.005e-3, 5e-3)  # what a metal clamp gives way by at 40 % of what it holds (judgment) [m]
LATE = (0.6, 0.95)  # shares of the force before the first loss between which it is read late
OFF = 1.15  # times the stiffness of the others, from where an odd one is told (judgment)
# Share of a column's steps that are alike, and by how much, where a rig set them (judgment).
EVEN = (0.9, 0.05)
MUCH = 1.6  # early stiffness over that of the fit, from where softening is doubted (judgment)
STIFFER = 1.5  # stiffness near the first loss over that from 10 to 40 % that no clamp shows (judgment)


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
    return [
        *_columns(found), *hidden, *_sliding(found), *_bare(found), *_bent(found), *_falling(found),
    ]  # fmt: skip


def unlike(found: CampaignResult) -> list[int]:
    """Tests that count whose curves are far stiffer or softer than those of the others."""
    on = [i for i, one in enumerate(found.readings) if one is not None and found.counted[i]]
    if len(on) < LEAST:
        return []
    stiff = np.array([one.stiffness for i in on if (one := found.readings[i]) is not None])
    ratio = stiff / np.median(stiff)
    return [i for i, r in zip(on, ratio.tolist(), strict=True) if not 1.0 / UNLIKE < r < UNLIKE]


def swapped(found: CampaignResult) -> list[int]:
    """Tests that count whose columns contradict their heads.

    Rigs read at even steps, mostly of displacement, and clamps soften. A force in even steps over a
    displacement in none, on a curve that stiffens up to its loss, is a displacement below the wrong head.
    """
    return [
        i
        for i, (one, on) in enumerate(zip(found.readings, found.counted, strict=True))
        if on
        and (curve := found.campaign.curves[i]) is not None
        and one is not None
        and _even(curve[1])
        and not _even(curve[0])
        and _stiffening(found, i) > STIFFER
    ]


def _even(values: Array) -> bool:
    """Whether a column goes on in steps of one size."""
    step = np.diff(values)
    usual = float(np.median(step))
    return usual > 0.0 and float(np.mean(np.abs(step - usual) <= EVEN[1] * usual)) >= EVEN[0]


def _odd_stiffness(found: CampaignResult, read: dict[int, CurveReading]) -> list[str]:
    """Curves, two at most, that do not belong by their stiffness, such as ones whose forces were scaled."""
    logs, tests = np.log([one.stiffness for one in read.values()]), list(read)
    odd = odd_ones(logs)
    ratio = np.exp(logs - np.delete(logs, odd).mean())
    told = [
        (tests[at], float(ratio[at]))
        for at in odd
        if not 1.0 / OFF < ratio[at] < OFF and tests[at] not in unlike(found)
    ]
    if not told:
        return []
    times = " and ".join(f"{one:.2f}" for _, one in told)
    return [
        f"CHECK THE SCALE of {_named(found, [test for test, _ in told])}: {times} times as stiff as the "
        "other curves, more than scatter explains (Rosner's test of logarithms for two at most, 5 %). "
        "Another range of the load cell, another specimen or mounting looks so; its strength is then off by "
        "as much. It counts until you exclude it with a reason."
    ]


def _columns(found: CampaignResult) -> list[str]:
    """Curves that look as if a head named the wrong unit or the wrong column."""
    units = SYSTEMS[found.campaign.table.campaign.units]
    text = units.text
    read = {
        i: one
        for i, (one, on) in enumerate(zip(found.readings, found.counted, strict=True))
        if on and one is not None
    }
    if not read:
        return []
    middle = float(np.median([one.stiffness for one in read.values()]))
    odd = unlike(found)
    notes = [
        f"CHECK THE UNITS of {_named(found, [i])}: {read[i].stiffness / middle:.3g} times as stiff as the "
        f"middle of the curves ({text(read[i].stiffness, 'stiffness')} to {text(middle, 'stiffness')}). "
        "Specimens of one clamp do not differ so: a head may name a wrong unit, or the wrong column."
        for i in odd
    ]
    gives = {
        i: found.share * STIFF_RANGE[1] * one.peak / _of_clamp(found, i, one.stiffness)
        for i, one in read.items()
        if i not in odd
    }
    far = [i for i, way in gives.items() if not FIRM[0] < way < FIRM[1]]
    if far:
        ends = " to ".join(sheet_text(way, units) for way in FIRM)
        notes.append(
            f"CHECK THE HEADS of {_named(found, far)}: at 40 % of its peak a clamp has given way by "
            f"{sheet_text(gives[far[0]], units)}; clamps on metal seams "
            f"give way by {ends}. Is the unit of displacement right, and is each column below its head?"
        )
    notes += _odd_stiffness(found, read)
    bent = [i for i in read if _stiffening(found, i) > STIFFER]
    if 2 * len(bent) > len(read):
        notes.append(
            f"CHECK THE HEADS of {_named(found, bent)}: stiffer near the first loss than from 10 to 40 % of "
            "the peak, where clamps soften. Curves whose displacement and force are swapped look so."
        )
    return notes


def _of_clamp(found: CampaignResult, test: int, stiffness: float) -> float:
    """Stiffness of one clamp by its rig where that is known, else that of the curve. [N/m]."""
    one = found.calibration
    at = [] if one is None else np.flatnonzero(one.test == test).tolist()
    own = np.nan if one is None or not at else one.fit[at[0]].early_stiffness
    return float(own) if np.isfinite(own) else stiffness


def _stiffening(found: CampaignResult, test: int) -> float:
    """Stiffness from 60 to 95 % of the force before the first loss over the early one; 0 where not known."""
    curve, one = found.campaign.curves[test], found.readings[test]
    assert curve is not None
    assert one is not None
    u, f = curve
    end = int(np.argmax(f >= one.slip)) + 1
    on = (f[:end] >= LATE[0] * one.slip) & (f[:end] <= LATE[1] * one.slip)
    if on.sum() < LEAST or not np.ptp(u[:end][on]) > 0.0:
        return 0.0
    return float(np.polyfit(u[:end][on], f[:end][on], 1)[0]) / one.stiffness


def _bent(found: CampaignResult) -> list[str]:
    """Clamps whose stiffness is a range, as their curves are no straight lines; single curves by name."""
    one = found.calibration
    if one is None:
        return []
    notes, text = [], SYSTEMS[found.campaign.table.campaign.units].text
    much = [(int(i), fit.early) for i, fit in zip(one.test, one.fit, strict=True) if fit.early > MUCH]
    if much:
        times = ", ".join(f"{found.campaign.tests[i].name} ({ratio:.2f} times)" for i, ratio in much)
        notes.append(
            f"CHECK THE CURVES of {times}: so much stiffer between 10 and 40 % of the peak than all of the "
            "curve is much for a clamp that softens. One that yields before it slips does so; a specimen "
            "that was loaded before, a gauge that sticks or a rig that gives way look so too."
        )
    low, high = one.between
    if not one.fits or not low < high:
        return notes
    either = (
        "Stiff clamps share less and peak more, soft ones let the rail move more: either alone may be unsafe."
    )
    if not one.curved:
        odd = [int(i) for i, fit in zip(one.test, one.fit, strict=True) if fit.curved]
        return [
            *notes,
            f"The curves are straight on average, but not {_named(found, odd)}: the stiffness of a clamp is "
            f"given as a range, {text(low, 'stiffness')} to {text(high, 'stiffness')}, with the ends of "
            f"{'this curve' if len(odd) == 1 else 'these curves'}. {either}",
        ]
    whole, early = (text(v, "stiffness") for v in (one.stiffness.value, one.early.value))
    return [
        *notes,
        f"The clamp {'softens' if one.early.value > one.stiffness.value else 'stiffens'} as it is loaded: "
        f"{early} between 10 and 40 % of the peak, {whole} by the line fitted to the whole curve. {either}",
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
    take, at = found.campaign.table.method.take, _slid(found)
    if not at:
        return []
    curves = sum(one is not None and bool(on) for one, on in zip(found.readings, found.counted, strict=True))
    some = [one for i in at if (one := found.readings[i]) is not None]
    share = float(np.mean([one.proof / getattr(one, take) for one in some]))
    every = "All tests" if curves == int(found.counted.sum()) else "All tests with curves"
    return [
        f"{every if len(at) == curves else _named(found, at)}: moved for good, by the offset of the "
        "proof load, before any sudden loss: a clamp that gives way without a knock, at "
        f"{100.0 * share:.0f} % of its {take} on average. {_early(found)}"
        'take = "proof" is the safe reading, and right unless tests show that it does not creep on under '
        f'loads between both; only then "{take}".'
    ]


def _slid(found: CampaignResult) -> list[int]:
    """Tests that count by slip or peak and had moved for good, without a loss, before it."""
    if found.campaign.table.method.take == "proof":
        return []
    return [
        i
        for i, (one, on) in enumerate(zip(found.readings, found.counted, strict=True))
        if on and one is not None and one.proof_at < one.slip_at and one.proof < SLIPPED * one.slip
    ]


def lower_by_proof(found: CampaignResult) -> float | None:
    """Characteristic strength by proof loads where clamps moved for good before peaks that count. [N].

    By the tests with curves. None where they did not or these are too few, or where it is no lower.
    """
    if not found.early or not _slid(found):
        return None
    proof = found.early["proof"].characteristic
    least = min(found.early["peak"].characteristic, found.justified.characteristic)
    return proof if proof < least else None


def _early(found: CampaignResult) -> str:
    """That peaks may be too high, and by how much where the tests with curves tell."""
    if found.campaign.table.method.take != "peak":
        return ""
    proof = lower_by_proof(found)
    if not proof:
        return "UNSAFE if it creeps. "
    now, text = found.early["peak"].characteristic, SYSTEMS[found.campaign.table.campaign.units].text
    used, curves = int(found.counted.sum()), found.early["peak"].sample.count
    those = "" if curves == used else f" (of the {curves} tests with curves)"
    return (
        f"UNSAFE if it creeps: the characteristic strength by peaks, {text(now, 'force')}, is "
        f"{100.0 * (now / proof - 1.0):.0f} % above that by proof loads, {text(proof, 'force')}{those}. "
    )


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
