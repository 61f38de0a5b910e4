"""What an investigation says, in words and tables; one set for terminal, page, picture and files."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fea.evidence.causes import (
    AND,
    AS_DESIGNED,
    CHANGES,
    DRIFTS,
    OF_SNOW,
    PAIRS,
    SPLICES_USUAL,
    USUAL,
    drift_share,
)
from fea.evidence.entered import depth_along, drift_shape
from fea.evidence.families import Family
from fea.evidence.few import FEW
from fea.evidence.fit import Fit
from fea.evidence.meant import HIGHEST, as_meant, meant_at
from fea.evidence.unexplained import TOLD_BY, Miss
from fea.failure.inputs import law_words
from fea.unknowns import one_end_words
from viewer.history.findings import load_at, said, until
from viewer.investigate.blocks import clamp_words
from viewer.investigate.case import CaseFindings
from viewer.investigate.ends import end_splices, old_breaks
from viewer.investigate.entries import entries_told, rail_state, splices_of
from viewer.investigate.families import together
from viewer.investigate.heap import heap_caution, heap_question, heap_told
from viewer.investigate.looks import WORTH, unsettled
from viewer.investigate.shares import CERTAIN, share
from viewer.investigate.verdict import (
    LOOSE,
    NOT,
    drift_open,
    few_words,
    serious,
    splices_open,
    together_if_firmer,
    verdict,
    weather_differs,
)
from viewer.investigate.words import weight_text
from viewer.report.tables import Table

CAUTIONS = (
    "An aid to judgment. It ranks the explanations that were tried on what was found; the true one may not "
    "be among them.",
    "A licensed engineer must review this; local code governs; strengths must come from tests.",
    "Falling snow and ice can kill. Work at height can kill: secure yourself before you measure on the roof.",
)
BARE = (
    "{what} as found: a fault of workmanship that may not be the only one. What still stands may hang on "
    "such splices: keep people from below it and look at every splice before it is loaded again. "
    '"splice never screwed" knows exactly one such splice.'
)
SAME = 3  # explanations that leave the same unexplained, from which it is said once
OTHERS = (
    "Clamps that were loose, weak, wrong or never there are seldom the only ones: nothing here says that "
    "what still stands is sound. Keep people from below it, and check the screws of every clamp of the roof "
    "before it is loaded again."
)
STANDING = (
    "Loose clamps were found that still stand, among {where}: they and those beside them carry what the lost "
    "ones did. Keep people from below them and do not step below them; tighten or replace them first."
)
FLAWED = 0.2  # share of clamps that held too little from which that is said (judgment)
CLEAR = 2.0  # deviations of the measured snow beyond which it is called more or less
DRIFT_OPEN = (
    "Drift was not tried: nothing stands on the roof of the project that snow drifts at. If anything does (a "
    "ventilator, chimney, dormer, parapet), enter it there as [[obstruction]]; a taller building beside as a "
    "[[roof.part]]; or measure depth beside the loss and enter it as [[snow.along]], near 1.0 for no drift."
)
PAIR_SHOWN, PAIRS_SHOWN = 0.01, 6  # least posterior of a pair that is listed, and most of them
AS_WELL = 0.5  # share over that of the first from which nothing wrong may fit as well (judgment)
DRAWING = " by chance of drawing alone"  # what the interval holds; not the judgment behind the samples


def cautions(found: CaseFindings) -> tuple[str, ...]:
    """What a reader must know beside the ranking."""
    evidence, layout = found.evidence, found.evidence.project.layout
    at = [layout.clamp_name[clamp] for clamp, there, _ in evidence.splice_screws if not there]
    what = f"{'The splice' if len(at) == 1 else 'Splices'} at {', '.join(at)} without screws"
    counts = any(loose for _, loose, _ in evidence.screws) or any(wrong for _, wrong, _ in evidence.kinds)
    loose = [
        clamp_words(layout, clamps[(evidence.known & ~evidence.gave_way)[clamps]])
        for clamps, loose, _ in evidence.screws
        if loose and (evidence.known & ~evidence.gave_way)[clamps].any()
    ]
    stand = (STANDING.format(where=", ".join(loose)),) if loose else ()
    flawed = counts or any(one.name == "clamps" and one.posterior >= FLAWED for one in found.families)
    return (*CAUTIONS, *((BARE.format(what=what),) if at else ()), *stand, *((OTHERS,) if flawed else ()))


def answer(found: CaseFindings) -> str:
    """The main sentence, its verdict behind it; never one explanation without the others."""
    said_ = verdict(found)
    text = f"{_headline(found)}. {said_.words}. "
    question = heap_question(found)
    text = f"{text}{question}. " if question and said_.word != NOT else text
    text += not_tried(found) + _splices_open(found)
    first = found.fits[0]
    if not sum(one.near for one in found.fits):
        return text.rstrip()
    worst = [miss for miss in first.unexplained if serious(miss)]
    if worst:
        rest = len(first.unexplained) - 1
        more = f" (and {rest} more, below)" if rest else ""
        text += f"It leaves unexplained: {misses(found, replace(first, unexplained=(worst[0],)))}{more}. "
    text += "".join(f"{line}. " for line in (*old_breaks(found), *_as_well(found)))
    if first.loose >= LOOSE:
        text += (
            f"Too few samples come near (clamps were compared {first.loose:g} times as loosely as their "
            "doubt): shares are rough. "
        )
    of = said_.of if isinstance(said_.of, Family) else None
    return f"{text}{together(found, of)}".rstrip()


def _headline(found: CaseFindings) -> str:
    """What fits best, with its share, and the next; it with others beside it where that alone is firm."""
    first: Fit | Family = found.fits[0]
    near = sum(one.near for one in found.fits)
    if not near:
        return "No sample of any explanation comes near what was found: none can be ranked"
    own, others = together_if_firmer(found), found.fits[1:]
    who, of = f'"{found.fits[0].cause}"', share(first, DRAWING)
    if own is not None:
        who, of = f'"{own.name}", alone or with another flaw,', share(own, DRAWING)
        others = tuple(one for one in others if one.cause not in own.causes)
        first = own
    doubted = bool(few_words(found) or heap_caution(found))
    far = first.low >= CERTAIN and not unsettled(found, firm=True)
    text = f"{who} {'ranks first' if doubted else 'fits best by far' if far else 'fits best'}, {of}"
    text += _too_weak(found.fits[0])
    return f'{text}; next "{others[0].cause}", {share(others[0])}' if others else text


def not_tried(found: CaseFindings) -> str:
    """A sentence on drift where it was not tried and may have lain there; empty where not."""
    return f"{DRIFT_OPEN} " if drift_open(found) else ""


def _splices_open(found: CaseFindings) -> str:
    """That a splice leads before its screws were looked at; empty where it does not or they were."""
    evidence, layout = found.evidence, found.evidence.project.layout
    if not splices_open(found):
        return ""
    at = [layout.clamp_name[clamp] for clamp in end_splices(evidence)]
    where = f" at {', '.join(at)}" if at else ""
    return (
        "A splice leads before the screws of any were looked at, as losses that end near splices let it: "
        f"blame nobody yet, look at the splice{'s' if len(at) != 1 else ''}{where}. "
    )


def _too_weak(first: Fit) -> str:
    """What it means that the roof as drawn ranks first."""
    if first.cause != AS_DESIGNED:
        return ""
    return ": as it was drawn, too weak for this snow, see eavewright check; no flaw is needed"


def _as_well(found: CaseFindings) -> tuple[str, ...]:
    """That nothing wrong may fit as well as a flaw that is first, which then need not have done anything."""
    first, others = found.fits[0], found.fits[1:]
    drawn_ = next((one for one in others if one.cause == AS_DESIGNED), None)
    if drawn_ is None or drawn_.near < FEW or drawn_.high < first.low or first.cause in OF_SNOW:
        return ()
    if drawn_.posterior < AS_WELL * first.posterior:
        return ()
    return (
        f'With nothing wrong it may fit as well ("{AS_DESIGNED}", {share(drawn_)}): what '
        f'"{first.cause}" changes need not have done anything',
    )


def told(found: CaseFindings) -> tuple[str, ...]:
    """What was found, in sentences."""
    evidence, layout, units = found.evidence, found.evidence.project.layout, found.units
    lines = entries_told(evidence, units)
    known, off = int(evidence.known.sum()), int(evidence.gave_way.sum())
    lines.append(
        f"{off} of {known} known clamps gave way; {len(layout.clamp_name) - known} are unknown. Clamps of a "
        "row are counted from its left end, looking up the roof."
    )
    load = evidence.load
    if np.isfinite(load[0]):
        lines.append(
            f"Snow without drift: {units.text(load[0], 'pressure')} ± {units.text(load[1], 'pressure')}, "
            f"{load[0] / found.pressure:.2f} times that of the case."
        )
    lines.append(meant(found))
    if heap_told(found):
        lines.append(heap_told(found))
    return tuple(lines)


def meant(found: CaseFindings) -> str:
    """What the roof would have held as it was meant to be, against the snow of the day."""
    units, evidence = found.units, found.evidence
    over = depth_along(found.roof.layout, evidence.along, drift_shape(found.roof))
    at, each = as_meant(found.roof, over), meant_at(found.roof, over)
    if not np.isfinite(at):
        return f"As it was meant to be, the roof holds {HIGHEST:g} times the snow of the case."
    drifted = drift_share(found.roof.case.usual_snow) > DRIFTS and np.isnan(over).any()
    text = (
        "As it was meant to be, every clamp at its mean strength and no bond left"
        f"{', with the drift of the case' if drifted else ''}{_along_words(found, over)}, the first clamp "
        f"gives way at {units.text(at * found.pressure, 'pressure')}, {at:.2f} times the case"
        f"{_meant_where(found, each)}"
    )
    load, wide = evidence.load
    if not np.isfinite(load):
        return f"{text}; what lay that day was not measured."
    lost = float(each[evidence.gave_way].min(initial=np.inf))
    at = max(at, lost) if np.isfinite(lost) else at
    apart = (load - at * found.pressure) / wide
    if apart > CLEAR:
        return f"{text}: less than what lay that day. If the bond let go, it needed no flaw to fail."
    if apart < -CLEAR:
        return (
            f"{text}: more than what lay that day, so that this snow on clamps of mean strength does not "
            "explain it. The weakest of many clamps holds less than the mean without being a flaw."
        )
    return f"{text}: about what lay that day; with it, bond and scatter of the clamps decide."


def _meant_where(found: CaseFindings, each: NDArray[np.float64]) -> str:
    """Which clamp that is, and when the first of those that came off would have, where it stands."""
    first, gone = int(each.argmin()), found.evidence.gave_way
    where = f", {found.roof.layout.clamp_name[first]}"
    lost = each[gone].min(initial=np.inf)
    if gone[first] or not np.isfinite(lost):
        return where
    load = found.units.text(float(lost) * found.pressure, "pressure")
    return f"{where}, which did not come off; the first of those that did at {load}, {lost:.2f} times"


def _along_words(found: CaseFindings, over: NDArray[np.float64]) -> str:
    """With which snow along the rows; empty where none was entered."""
    told = ~np.isnan(over)
    if not told.any():
        return ""
    layout = found.roof.layout
    rows = [layout.row_name[r] for r in np.unique(layout.clamp_row[told])]
    return (
        f", with the snow as entered along {' and '.join(rows)} (up to {np.nanmax(over):.2g} times even snow)"
    )


def misses(found: CaseFindings, one: Fit) -> str:
    """What an explanation leaves unexplained, in words."""
    return "; ".join(
        f"{_miss(found, miss)}{' by the clamps alone' if miss.alone else ''}" for miss in one.unexplained
    )


def _pairs_left(found: CaseFindings) -> str:
    listed = {one.cause for one in shown(found)}
    rest = [one.posterior for one in found.fits if one.cause not in listed]
    return f"{len(rest)} pairs that are not listed have {100.0 * sum(rest):.1g} % together."


def _miss(found: CaseFindings, miss: Miss) -> str:
    evidence, units = found.evidence, found.units

    def value(number: float) -> str:
        number = max(number, 0.0)  # the doubt of a reading can reach below nothing, what is read cannot
        if miss.what == "load":
            return units.text(number * found.pressure, "pressure")
        if miss.what in ("middle", "spread"):
            return units.text(number * lengths[miss.about], "length")
        return f"{number:.{ {'pulled': 2, 'scatter': 2, 'depth': 1}.get(miss.what, 0) }f}"

    layout = evidence.project.layout
    lengths = dict(zip(layout.row_name, layout.row_length.tolist(), strict=True))
    about = {
        "count": f"clamps of {miss.about} that gave way",
        "middle": f"their middle along {miss.about}, from its left end",
        "spread": f"how far they are spread along {miss.about} (deviation)",
        "groups": f"groups in which they stand in {miss.about}",
        "load": "snow without drift",
        "fallen": "snow that fell",
    }.get(miss.what)
    if miss.what == "splice":
        rail = splices_of(evidence)[int(miss.about)]
        name = layout.clamp_name[evidence.rails[int(miss.about)][0]]
        return f"splice at {name}: {rail_state(rail)} found, expected so in {100.0 * miss.chance:.1g} %"
    if miss.what in ("screws", "span"):
        looks = evidence.splice_screws if miss.what == "screws" else evidence.spans
        clamp, so, _ = looks[int(miss.about)]
        name, often = layout.clamp_name[clamp], f"expected so in {100.0 * miss.chance:.1g} %"
        if miss.what == "screws":
            return f"splice at {name}: {'its screws set' if so else 'no screws ever set'} found, {often}"
        return f"rail at {name}, away from splices: {'bent' if so else 'whole'} found, {often}"
    if about is None:
        number = int(miss.about)
        about = {
            "depth": lambda: f"depth at {evidence.table.snow.along[number].near} over even snow",
            "loose": lambda: f"loose screws of {evidence.table.screws[number].clamps}",
            "wrong": lambda: f"wrong type of {evidence.table.type[number].clamps}",
            "never": lambda: f"seams without a mark at {evidence.table.marks[number].clamps}",
            "absent": lambda: "clamps never there of those that were seen",
            "pulled": lambda: f"strength of {evidence.table.pulled[number].clamps} over the mean as meant",
            "scatter": lambda: f"scatter of {evidence.table.pulled[number].clamps} over the mean as meant",
        }[miss.what]()
    numbers = (miss.told, miss.low, miss.high)
    was, low, high = weight_text(units, *numbers) if miss.what == "fallen" else map(value, numbers)
    if _goes_on(miss):
        return f"{about}: {was} found, {low} or more expected"
    return f"{about}: {was} found, {low} to {high} expected"


def unexplained(found: CaseFindings) -> tuple[str, ...]:
    """A line for each explanation that leaves something unexplained, and what the check does not see."""
    lines, fits = _stops_sooner(found)
    lines += [f'"{one.cause}" leaves unexplained: {misses(found, one)}.' for one in fits if one.unexplained]
    lines += [f"{line}." for line in old_breaks(found)]
    blind = [
        f'"{one.cause}"'
        for one in found.fits
        if one.posterior >= WORTH and (one.near < FEW or one.tells < TOLD_BY)
    ]
    if blind:
        lines.append(
            f"Too few samples tell all that is left unexplained by {', '.join(blind)}; where they do not, "
            "what was found was held against what the clamps alone lead to expect."
        )
    if any(AND in one.cause for one in found.fits):
        lines.append(
            "Two explanations at once were tried too: all pairs together were taken as "
            f"{PAIRS:g} times as likely before as all single ones (judgment). {_pairs_left(found)}"
        )
    elif not lines:
        lines.append("Nothing that was found is out of what the explanations that count lead to expect.")
    return tuple(lines)


def _stops_sooner(found: CaseFindings) -> tuple[list[str], list[Fit]]:
    """A line for a row of which several explanations expect more to give way, and the fits without it."""
    more: dict[str, list[Miss]] = {}
    for one in found.fits:
        for miss in filter(_goes_on, one.unexplained):
            more.setdefault(miss.about, []).append(miss)
    often = {row: misses_ for row, misses_ in sorted(more.items()) if len(misses_) >= SAME}
    lines = [
        f"{len(misses_)} explanations expect more clamps of {row} to give way than the "
        f"{misses_[0].told:.0f} found ({min(miss.low for miss in misses_):.0f} or more): their losses stop "
        "later. Rails that yield, as no sample's do, can stop one sooner."
        for row, misses_ in often.items()
    ]
    left = [
        replace(one, unexplained=tuple(m for m in one.unexplained if not (_goes_on(m) and m.about in often)))
        for one in found.fits
    ]
    return lines, left


def _goes_on(miss: Miss) -> bool:
    """Whether it is that more of a row was expected to give way: samples are followed no further then."""
    return miss.what == "count" and miss.low > miss.told


def timeline(found: CaseFindings) -> tuple[str, ...]:
    """What the weather says before the day, and what lay then; empty without weather."""
    if found.history is None:
        return ()
    day, units = found.evidence.table.case.day, found.units
    lines = list(said(until(found.history, day)))
    load = None if day is None else load_at(found.history, day)
    if load is not None:
        low, middle, high = (units.text(float(v), "pressure") for v in load)
        lines.append(f"On {day} the weather gives {middle} ({low} to {high}) without drift.")
        if weather_differs(found):
            lines.append("What was measured on the roof does not agree with this: look into both.")
    return tuple(lines)


def assumed(found: CaseFindings) -> tuple[str, ...]:
    """What stands behind the ranking."""
    table = found.evidence.table
    priors = [
        f'"{one.cause}" was {one.prior:g} times as likely as others before: {one.reason}'
        for one in table.explanation
    ]
    return (
        f"Snow case of the project: {found.case_name}, "
        f"{found.units.text(found.pressure, 'pressure')} without drift on the planes with rows.",
        USUAL,
        *((SPLICES_USUAL,) if len(found.roof.splice_at) and not found.roof.splices_known else ()),
        *(
            f"{cause}: {CHANGES[cause][1]}."
            for cause in (fit.cause for fit in found.fits)
            if cause in CHANGES
        ),
        *one_end_words(found.evidence.project, "samples follow rows with"),
        found.strength_note,
        f"{drawn(found)} Seed {table.sampling.seed}; all of these distributions are judgment.",
        *priors,
        *(f"Not possible here: {cause}, {why}." for cause, why in found.cannot),
        *_as_given(found),
        *found.chosen.notes,
    )


def drawn(found: CaseFindings) -> str:
    """How many samples were drawn, and on how many effective ones the first stands."""
    single = [bank for bank in found.banks if AND not in bank.cause]
    count = [len(bank.mass) for bank in single]
    rounds, first = max(len(bank.rounds) for bank in single), found.fits[0]
    each = f"{min(count):,}" if min(count) == max(count) else f"{min(count):,} to {max(count):,}"
    words = (
        f"Drawn: {each} samples of each explanation, in rounds (up to {rounds}) that go on for those that "
        "can count and of which few tell."
    )
    if min(first.near, first.tells) < FEW:
        return words
    return (
        f'{words} "{first.cause}" stands on {first.tells:.0f} effective samples; its share: {share(first)}.'
    )


def _as_given(found: CaseFindings) -> tuple[str, ...]:
    """What the project says of clamps past their strength, and of snow that runs onto a lower row.

    What it does not say of that is worked out in the case's notes.
    """
    given = found.evidence.project.table.uncertainty
    if given is None:
        return ()
    lines = list(law_words(given, found.units))
    if given.impact is not None:
        push = f"Snow that runs onto a lower row pushes {given.impact:g} times as hard as at rest"
        lines.append(f"{push} (uncertainty.impact of the project).")
    elif given.stopping_reason:
        lines.append(f"Stopping distance: {given.stopping_reason}")
    return tuple(lines)


def shown(found: CaseFindings) -> tuple[Fit, ...]:
    """Explanations that are drawn and listed: all single ones, and pairs that count."""
    pairs = [one.cause for one in found.fits if AND in one.cause and one.posterior >= PAIR_SHOWN]
    return tuple(one for one in found.fits if AND not in one.cause or one.cause in pairs[:PAIRS_SHOWN])


def ranking(found: CaseFindings) -> Table:
    """Explanations with their numbers."""
    p, units = found.pressure, found.units
    rows = []
    for one in shown(found):
        low, middle, high = one.mass * p
        load = "none near" if np.isnan(middle) else f"{units.convert(middle, 'pressure'):.3g}"
        ends = [f"{units.convert(end, 'pressure'):.3g}" for end in (low, high)]
        if np.isfinite(middle) and (one.near < FEW or np.isnan(low)):
            load = f"about {load}"
        elif low <= 0.0 and np.isinf(high):
            load = "any"
        elif np.isinf(high):
            load = f"at least {ends[0]}"
        elif low <= 0.0:
            load = f"at most {ends[1]}"
        elif np.isfinite(middle):
            load += f" ({ends[0]} to {ends[1]})"
        rows.append(
            (one.cause, f"{100.0 * one.prior:.0f} %", share(one), load, f"{one.tells:.0f} ({one.near:.0f})")
        )
    return Table(
        "Explanations, ranked",
        (
            "explanation",
            "before",
            "after (95 %)",
            f"fits at snow of (5 to 95 %), {units.label('pressure')}",
            "samples that tell (near)",
        ),
        "tnttn",
        tuple(rows),
    )
