"""What an investigation says, in words and tables; one set for terminal, page, picture and files."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.evidence.causes import (
    AND,
    CHANGES,
    DRIFTS,
    PAIRS,
    SPLICES_USUAL,
    USUAL,
    Roof,
    Strengths,
    drift_share,
)
from fea.evidence.explanations import HIGHEST, Bank, Course, as_meant
from fea.evidence.fit import ENOUGH, FEW, Fit, Measurement
from fea.evidence.looks import beside
from fea.evidence.unexplained import Miss
from fea.failure.assembled import PARTS
from fea.failure.inputs import law_words
from fea.failure.roof_case import Chosen, mean_pressure
from roofmodel.project.evidence import Evidence
from roofmodel.units import SYSTEMS, UnitSystem
from viewer.history.findings import HistoryFindings, load_at, said, until
from viewer.investigate.entries import entries_told, rail_state
from viewer.report.tables import Table

IntArray = NDArray[np.int64]

CAUTIONS = (
    "An aid to judgment. It ranks the explanations that were tried on what was found; the true one may not "
    "be among them.",
    "A licensed engineer must review this; local code governs; strengths must come from tests.",
    "Falling snow and ice can kill. Work at height can kill: secure yourself before you measure on the roof.",
)
MEASURE = {
    "snow": "depth and density where snow lies as it fell, on this roof or one beside it",
    "drift": "depth in the drift against depth away from it",
    "uneven": "depth every few meters along the rows where snow lies, and its mark on walls and dormers",
    "standing": "pull tests of some clamps that still stand, to failure",
    "loose": "the screws of the clamps that stand: torque, marks of creeping",
    "loose gone": "the clamps that came off: whether their screws were tight, the marks of their grip",
    "never there": "seams in the gap: whether clamps were ever there (scratches, screw marks)",
    "wrong": "whether the clamps of each row are the ones made for this seam",
    "splice": "the splices: parted before, screws sheared or never set",
    "held elsewhere": "which other planes still hold their snow",
    "ends": "scratches and snow beside the ends of partial rows",
}
TAKES = {  # tables of found.toml that take what a look tells
    "snow": "[snow], depth and density",
    "drift": "[[snow.along]] at clamps in the drift",
    "uneven": "[[snow.along]]",
    "standing": "[[pulled]]",
    "loose": "[[screws]]",
    "loose gone": "[[screws]]",
    "never there": "[[marks]]",
    "splice": "[[rail]]",
}
OF_CAUSE = {"drift": "drift", "ends": "row ends", "held elsewhere": "bond of one plane"}  # signs of one alone
BY_HAND = "no entry in this file: weigh it by hand, prior of an [[explanation]] with its reason"
CERTAIN, LIKELY = 0.9, 0.6
CLEAR = 2.0  # deviations of the measured snow beyond which it is called more or less
MOST_SAMPLES = 200_000  # that sampling.samples takes
PAIR_SHOWN, PAIRS_SHOWN = 0.01, 6  # least posterior of a pair that is listed, and most of them
PULLED = 5  # clamps pulled, from which no more pull tests are asked for (judgment)
NOTHING, SMALL = 0.005, 0.1  # shares that round to 0 %, and that few samples do not tell from it
WORTH = 0.02  # least information of a measurement that is named [bit]


@dataclass(frozen=True)
class CaseFindings:
    """All that an investigation found."""

    evidence: Evidence
    analysis: Analysis
    chosen: Chosen
    roof: Roof
    strengths: Strengths
    strength_note: str
    banks: tuple[Bank, ...]
    fits: tuple[Fit, ...]
    cannot: tuple[tuple[str, str], ...]
    further: tuple[Measurement, ...]
    course: Course
    history: HistoryFindings | None = None

    @property
    def units(self) -> UnitSystem:
        """Of the project."""
        return SYSTEMS[self.evidence.project.table.project.units]

    @property
    def case_name(self) -> str:
        """Snow case."""
        return self.analysis.snow.cases[self.chosen.case].name

    @cached_property
    def pressure(self) -> float:
        """Mean load of the case without drift on the planes with rows. [Pa]."""
        return mean_pressure(self.analysis.snow.cases[self.chosen.case], self.roof.plane)

    def bank(self, cause: str) -> Bank:
        """Samples of an explanation."""
        return next(bank for bank in self.banks if bank.cause == cause)


def answer(found: CaseFindings) -> str:
    """The main sentence; never one explanation without the others."""
    first, second = found.fits[0], found.fits[1] if len(found.fits) > 1 else None
    near = sum(one.near for one in found.fits)
    if not near:
        return (
            "No sample of any explanation comes near what was found: none can be ranked. Add samples, look "
            "for what is not among them, or for what was told wrong."
        )
    few = near < FEW or first.near < FEW
    far = first.low >= CERTAIN and not few
    sure = "fits best by far" if far else "fits best"
    text = f'"{first.cause}" {sure}, {share(first)}'
    if second is not None:
        text += f'; next "{second.cause}", {share(second)}'
    if first.posterior < LIKELY:
        text += ". What was found does not decide between them"
    if first.unexplained and not few:
        text += f". It leaves unexplained: {misses(found, first)}"
    if few:
        text += f". Only {near:.0f} samples come near what was found, too few to rank by: add samples"
    return f"{text}."


def share(one: Fit) -> str:
    """A posterior with its interval; where next to nothing is known of it, only what it is below."""
    few = one.near < FEW
    least = one.low < NOTHING and one.posterior < (SMALL if few else NOTHING)
    if not one.near or least:
        return f"below {_bound(100.0 * max(one.high, 0.001))} %"
    words = ", few samples" if few else ""
    return f"{100.0 * one.posterior:.0f} % ({100.0 * one.low:.0f} to {100.0 * one.high:.0f} %{words})"


def _bound(value: float) -> str:
    """Two digits, rounded up."""
    step = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return f"{np.ceil(value / step - 1e-9) * step:.2g}" if value < 99.0 else "100"


def weight_text(units: UnitSystem, *values: float) -> tuple[str, ...]:
    """Weights of snow to three digits of the largest, none below nothing; they are known no better."""
    largest = max(abs(units.convert(one, "force")) for one in values)
    digits = max(2 - int(np.floor(np.log10(largest))), 0) if largest > 0.0 else 0
    label = units.label("force")
    return tuple(f"{max(units.convert(one, 'force'), 0.0):,.{digits}f} {label}" for one in values)


def told(found: CaseFindings) -> tuple[str, ...]:
    """What was found, in sentences."""
    evidence, layout, units = found.evidence, found.evidence.project.layout, found.units
    lines = entries_told(evidence, units)
    known, off = int(evidence.known.sum()), int(evidence.gave_way.sum())
    lines.append(
        f"{off} of {known} known clamps gave way; {len(layout.clamp_name) - known} are unknown. Clamps of a "
        "row are counted from its left end, looking up the roof."
    )
    load, fallen = evidence.load, evidence.fallen
    if np.isfinite(load[0]):
        lines.append(
            f"Snow without drift: {units.text(load[0], 'pressure')} ± {units.text(load[1], 'pressure')}, "
            f"{load[0] / found.pressure:.2f} times that of the case."
        )
    lines.append(meant(found))
    if np.isfinite(fallen[0]):
        weight, wide = weight_text(units, *fallen)
        lines.append(f"Snow that fell: {weight} ± {wide}.")
    return tuple(lines)


def meant(found: CaseFindings) -> str:
    """What the roof would have held as it was meant to be, against the snow of the day."""
    units, at = found.units, as_meant(found.roof)
    if not np.isfinite(at):
        return f"As it was meant to be, the roof holds {HIGHEST:g} times the snow of the case."
    drifted = drift_share(found.roof.case.usual_snow) > DRIFTS
    text = (
        "As it was meant to be, every clamp at its mean strength and no bond left"
        f"{', with the drift of the case' if drifted else ''}, the first clamp gives way "
        f"at {units.text(at * found.pressure, 'pressure')}, {at:.2f} times the case"
    )
    load, wide = found.evidence.load
    if not np.isfinite(load):
        return f"{text}; what lay that day was not measured."
    over = (load - at * found.pressure) / wide
    if over > CLEAR:
        return f"{text}: less than what lay that day. If the bond let go, it needed no flaw to fail."
    if over < -CLEAR:
        return (
            f"{text}: more than what lay that day, so that this snow on clamps of mean strength does not "
            "explain it. The weakest of many clamps holds less than the mean without being a flaw."
        )
    return f"{text}: about what lay that day; with it, bond and scatter of the clamps decide."


def misses(found: CaseFindings, one: Fit) -> str:
    """What an explanation leaves unexplained, in words."""
    return "; ".join(_miss(found, miss) for miss in one.unexplained)


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
        return f"{number:.{ {'pulled': 2, 'depth': 1}.get(miss.what, 0) }f}"

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
        rail = evidence.table.rail[int(miss.about)]
        name = layout.clamp_name[evidence.rails[int(miss.about)][0]]
        return f"splice at {name}: {rail_state(rail)} found, expected so in {100.0 * miss.chance:.1g} %"
    if about is None:
        number = int(miss.about)
        about = {
            "depth": lambda: f"depth at {evidence.table.snow.along[number].near} over even snow",
            "loose": lambda: f"loose screws of {evidence.table.screws[number].clamps}",
            "never": lambda: f"seams without a mark at {evidence.table.marks[number].clamps}",
            "absent": lambda: "clamps never there of those that were seen",
            "pulled": lambda: f"strength of {evidence.table.pulled[number].clamps} over the mean as meant",
        }[miss.what]()
    numbers = (miss.told, miss.low, miss.high)
    was, low, high = weight_text(units, *numbers) if miss.what == "fallen" else map(value, numbers)
    return f"{about}: {was} found, {low} to {high} expected"


def unexplained(found: CaseFindings) -> tuple[str, ...]:
    """A line for each explanation that leaves something unexplained, and what the check does not see."""
    lines = [
        f'"{one.cause}" leaves unexplained: {misses(found, one)}.' for one in found.fits if one.unexplained
    ]
    blind = [f'"{one.cause}"' for one in found.fits if one.posterior >= WORTH and one.near < FEW]
    if blind:
        lines.append(f"Too few samples tell what is left unexplained by {', '.join(blind)}.")
    if any(AND in one.cause for one in found.fits):
        lines.append(
            "Two explanations at once were tried too: all pairs together were taken as "
            f"{PAIRS:g} times as likely before as all single ones (judgment). {_pairs_left(found)}"
        )
    elif not lines:
        lines.append("Nothing that was found is out of what the explanations that count lead to expect.")
    return tuple(lines)


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
        measured, wide = found.evidence.load
        if np.isfinite(measured) and not load[0] - wide <= measured <= load[2] + wide:
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
        found.strength_note,
        f"{table.sampling.samples:,} samples of each explanation, seed {table.sampling.seed}; all of these "
        "distributions are judgment.",
        *priors,
        *(f"Not possible here: {cause}, {why}." for cause, why in found.cannot),
        *_as_given(found),
        *found.chosen.notes,
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


def more_samples(found: CaseFindings) -> tuple[str, ...]:
    """How many samples would sharpen the ranking, and to what; empty where those there are do."""
    first, sampling = found.fits[0], found.evidence.table.sampling
    lines = []
    if first.loose > 1.0:
        lines.append(
            "Few samples come as near as the doubt of what was found; they were compared "
            f"{first.loose:g} times as loosely, which blunts the ranking and is not in the intervals. "
            + _takes(found, ENOUGH / max(first.strict, 1e-9), "to compare as closely as the doubt")
        )
    wide = first.high - first.low
    if first.near >= FEW and wide > sampling.interval:
        narrow = f"{_percents(wide)} to {_percents(sampling.interval)} (sampling.interval)"
        aim = f'to bring the width of the interval of "{first.cause}" from {narrow}'
        closer = ENOUGH / max(first.strict, 1e-9) if first.loose > 1.0 else 1.0  # samples go into that first
        lines.append(_takes(found, closer * (wide / sampling.interval) ** 2, aim))
    return tuple(lines)


def _percents(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _takes(found: CaseFindings, times: float, aim: str) -> str:
    """How many samples of each explanation something takes: intervals shrink with their root."""
    now = found.evidence.table.sampling.samples
    need = now * times
    if need > MOST_SAMPLES:
        much = f"more than {MOST_SAMPLES:,}, the most that are drawn" if need < 1e7 else "far too many"
        return f"Samples {aim}: {much}; measuring what is named here decides sooner."
    rounded = int(np.ceil(need / 1000.0) * 1000)
    return f"Samples {aim}: about {rounded:,} of each explanation (sampling.samples, now {now:,})."


def changes(found: CaseFindings) -> tuple[str, ...]:
    """What would change the answer."""
    not_here = {cause for cause, _ in found.cannot}
    out = _looked_at(found.evidence) | {sign for sign, cause in OF_CAUSE.items() if cause in not_here}
    named = [one for one in found.further if one.information >= WORTH and one.sign not in out]
    lines = [
        *more_samples(found),
        *(
            f"{MEASURE[one.sign]}: {one.information:.2f} bit expected; {TAKES.get(one.sign, BY_HAND)}"
            for one in named
        ),
    ]
    first = found.fits[0]
    second = found.fits[1] if len(found.fits) > 1 else None
    if second is not None and second.posterior > 0.0:
        level = first.posterior / second.posterior
        times = f"{level:.1f}" if level < 100.0 else "more than 100"
        lines.append(
            f'Were "{second.cause}" {times} times as likely as now before anything was found, it would '
            "rank level with the first."
        )
    return tuple(lines)


def _looked_at(evidence: Evidence) -> set[str]:
    """Signs of which the file tells all there is to see."""
    seen = np.zeros(len(evidence.known), dtype=bool)
    for clamps, _, _ in evidence.screws:
        seen[clamps] = True
    gone = evidence.known & evidence.gave_way
    stands = evidence.known & ~evidence.gave_way
    marks = np.zeros(len(evidence.known), dtype=bool)
    for clamps, _, _ in evidence.marks:
        marks[clamps] = True
    looks = (("loose gone", gone, seen), ("loose", stands, seen), ("never there", gone, marks))
    told = {name for name, those, all_seen in looks if those.any() and all_seen[those].all()}
    pulled = sum(len(clamps) for clamps, _, _ in evidence.pulled)
    return told | ({"standing"} if pulled >= PULLED else set())


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
        if np.isfinite(middle) and one.near < FEW:
            load = f"about {load}"
        elif low <= 0.0 and np.isinf(high):
            load = "any"
        elif np.isinf(high):
            load = f"at least {ends[0]}"
        elif low <= 0.0:
            load = f"at most {ends[1]}"
        elif np.isfinite(middle):
            load += f" ({ends[0]} to {ends[1]})"
        rows.append((one.cause, f"{100.0 * one.prior:.0f} %", share(one), load, f"{one.near:.0f}"))
    return Table(
        "Explanations, ranked",
        (
            "explanation",
            "before",
            "after (95 %)",
            f"fits at snow of (5 to 95 %), {units.label('pressure')}",
            "samples near",
        ),
        "tnttn",
        tuple(rows),
    )


def sequence(found: CaseFindings) -> tuple[tuple[int, float, str, str, str], ...]:
    """Number, bond left, clamp or splice, row, and how it was found, of all events of the nearest sample."""
    evidence, layout, course = found.evidence, found.evidence.project.layout, found.course
    state = np.where(~evidence.known, "unknown", np.where(evidence.gave_way, "gave way", "stands"))
    splices = [  # as they are compared: a splice is found by what is within a few clamps of it
        (np.flatnonzero(beside(layout, at)), how) for at, how, *_ in evidence.rails
    ]
    events = [
        (place, course.bond_left(c), layout.clamp_name[c], c, str(state[c]))
        for c, place in enumerate(course.order.tolist())
        if place >= 0
    ]
    for s, place in enumerate(course.splice_order.tolist()):
        if place >= 0:
            c = int(course.splice_clamp[s])
            name = f"splice at {layout.clamp_name[c]}"
            how = next((how for near, how in splices if c in near), "unknown")
            events.append((place, course.bond_left_at_splice(s), name, c, how))
    return tuple(
        (number, left, name, layout.row_name[layout.clamp_row[c]], how)
        for number, (_, left, name, c, how) in enumerate(sorted(events), 1)
    )


def torn(found: CaseFindings) -> tuple[tuple[int, int], ...]:
    """Clamp nearest to each splice that parts in the nearest sample, and how many gave way before it."""
    course = found.course
    clamps = course.order[course.order >= 0]
    return tuple(
        (int(course.splice_clamp[s]), int((clamps < place).sum()))
        for s, place in enumerate(course.splice_order.tolist())
        if place >= 0 and course.splice_state[s] == PARTS
    )


def likeliest(found: CaseFindings) -> tuple[int, IntArray]:
    """The sample of the first explanation that is nearest to what was found, and its clamps in order."""
    first = found.fits[0]
    bank = found.bank(first.cause)
    order = bank.order[first.nearest]
    there = np.flatnonzero(order >= 0)
    return first.nearest, there[np.argsort(order[there], kind="stable")]
