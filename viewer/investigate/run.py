"""From what was found to the ranked explanations."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from fea.evidence.aim import aim_at, together
from fea.evidence.causes import Strengths, pairs_of, possible
from fea.evidence.compare import Found, most_near, told_of
from fea.evidence.explanations import Bank, Looked, course_of, load_by_heap
from fea.evidence.families import Family
from fea.evidence.few import FEW
from fea.evidence.fit import Fit, further, ranking_of
from fea.evidence.roof import evidence_roof
from fea.evidence.rounds import ALWAYS, IN_ALL, TIMES, Ask, Run, draw_rounds, pair_grids
from fea.failure.inputs import laws_of, read_uncertainty
from fea.failure.roof_case import mean_pressure
from roofmodel.errors import InputError
from roofmodel.project.evidence import Evidence
from viewer.analyzing import analyze_project
from viewer.history.findings import find_history
from viewer.investigate.case import CaseFindings
from viewer.investigate.ends import breaks_left
from viewer.investigate.families import FIRM, KINDS, SETTLED
from viewer.investigate.looks import splices_told

PAIRS_FIRST = 1000  # samples of each pair in a round
PAIR_ROUNDS = ALWAYS  # rounds that all pairs together can have, each for all of them
PAIRS_FEWER = 4  # times fewer samples of each pair than of each single explanation
LIKELY, NEARLY = 0.75, 0.9  # shares that are worth more samples, to be firm and to be settled
WIDE = 0.3  # width of an interval that is worth them too
MORE = 4  # sets of rounds besides, of which half before pairs
SETS_IN_ALL = 4  # of them that draw as many samples as all rounds before
TIMES_MORE = 3  # times the most samples of each explanation that they can bring it to
COUNTS = 0.05  # posterior from which an explanation counts


def case_findings(evidence: Evidence, tell: Callable[[str], None]) -> CaseFindings:
    """All that an investigation finds.

    Raises
    ------
    InputError
    """
    project, table = evidence.project, evidence.table
    analysis = analyze_project(project)
    mean, strengths, note = _strengths(evidence)
    try:
        aim = aim_at(evidence.gave_way, project.layout.clamp_row, (np.nan, np.nan))
        roof, chosen = evidence_roof(analysis, table.case.case, laws_of(project, mean))
    except InputError as error:
        message = f"{evidence.path.name}: {str(error).replace('uncertainty.case', 'case.case')}"
        raise InputError(message) from None
    causes, cannot = possible(roof)
    sampling, given = table.sampling, {str(one.cause): one.prior for one in table.explanation}
    out = dict(cannot)
    wrong = next((cause for cause in given if cause in out), None)
    if wrong is not None:
        message = f'{evidence.path.name}: explanation "{wrong}" is not possible here: {out[wrong]}'
        raise InputError(message)
    history = None
    if table.weather is not None:
        history = find_history(project, evidence.path.parent / table.weather, table.weather)
    tell(f"sampling {len(causes)} explanations")
    pressure = mean_pressure(analysis.snow.cases[chosen.case], roof.plane)
    load = (evidence.load[0] / pressure, evidence.load[1] / pressure)
    aim = replace(aim, load=together(load, load_by_heap(roof, evidence.gave_way, evidence.fallen)))
    meant = mean * float(project.clamp.nominal[0])
    found = Found(
        known=evidence.known,
        gave_way=evidence.gave_way,
        doubt=evidence.doubt,
        load=load,
        fallen=evidence.fallen,
        rails=evidence.rails,
        along=tuple((over, wide) for _, over, wide in evidence.along),
        screws=tuple((len(clamps), loose, doubt) for clamps, loose, doubt in evidence.screws),
        marks=tuple((len(clamps), none, doubt) for clamps, none, doubt in evidence.marks),
        pulled=tuple((held / meant, wide / meant) for _, held, wide, *_ in evidence.pulled),
        scatter=tuple(scatter / meant for *_, scatter, _ in evidence.pulled),
        there=tuple((len(clamps), 0, doubt) for clamps, doubt in evidence.there),
        kinds=tuple((len(clamps), wrong, doubt) for clamps, wrong, doubt in evidence.kinds),
        splice_screws=evidence.splice_screws,
        spans=evidence.spans,
    )
    looked = Looked(
        depth=np.array([clamp for clamp, _, _ in evidence.along], dtype=np.int64),
        screws=tuple(clamps for clamps, _, _ in evidence.screws),
        marks=tuple(clamps for clamps, _, _ in evidence.marks),
        pulled=tuple(clamps for clamps, *_ in evidence.pulled),
        tightened=tuple(tightened for *_, tightened in evidence.pulled),
        there=tuple(clamps for clamps, _ in evidence.there),
        kinds=tuple(clamps for clamps, _, _ in evidence.kinds),
        known=evidence.known,
        gave_way=evidence.gave_way,
        most=most_near(project.layout, found),
    )
    ask = Ask(
        roof,
        strengths,
        sampling.seed,
        aim,
        looked,
        found,
        sampling.samples,
        max(IN_ALL, TIMES * sampling.samples),
        interval=sampling.interval,
    )
    priors = [given.get(cause, 1.0) for cause in causes]
    drawn = _begun(ask, causes, priors, tell)
    drawn = _settled(drawn, tell, MORE // 2)
    unsolved = none_explains(drawn.fits) or breaks_left(evidence, drawn.fits, of_banks(drawn.banks))
    if sampling.pairs == "always" or (sampling.pairs == "when needed" and unsolved):
        drawn = _with_pairs(drawn, tell)
    drawn = _settled(drawn, tell, MORE - drawn.more)
    banks, fits, families = drawn.banks, drawn.fits, drawn.families
    first = next(bank for bank in banks if bank.cause == fits[0].cause)
    course = course_of(roof, first, strengths, sampling.seed, fits[0].nearest, aim)
    return CaseFindings(
        evidence, analysis, chosen, roof, strengths, note, banks, fits, cannot,
        further(fits, banks, project.layout, *splices_told(evidence)), course, families,
        history,
    )  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """Samples of all explanations tried so far, what they rank, and how many sets were drawn besides."""

    ask: Ask
    causes: tuple[str, ...]
    priors: tuple[float, ...]
    banks: tuple[Bank, ...]
    fits: tuple[Fit, ...]
    families: tuple[Family, ...]
    more: int = 0


def _begun(ask: Ask, causes: Sequence[str], priors: Sequence[float], tell: Callable[[str], None]) -> Drawn:
    """The single explanations."""
    banks = draw_rounds(ask, causes, priors, _in_threads(tell))
    return _ranked(ask, causes, priors, banks)


def _ranked(
    ask: Ask, causes: Sequence[str], priors: Sequence[float], banks: tuple[Bank, ...], more: int = 0
) -> Drawn:
    fits, families = ranking_of(ask.roof.layout, ask.found, banks, priors, ask.seed)
    return Drawn(ask, tuple(causes), tuple(priors), banks, fits, families, more)


def _settled(drawn: Drawn, tell: Callable[[str], None], sets: int) -> Drawn:
    """Up to so many sets of rounds more, while only want of samples keeps it open."""
    for _ in range(sets):
        kind = short_of(drawn.fits, drawn.families, wide=drawn.more < MORE // 2)
        if not kind:
            return drawn
        tell("too few samples tell: more rounds")
        ask = replace(drawn.ask, most=TIMES_MORE * drawn.ask.most, total=drawn.ask.total // SETS_IN_ALL)
        banks = draw_rounds(
            ask, drawn.causes, drawn.priors, _in_threads(tell), begun=drawn.banks, kind=kind
        )  # fmt: skip
        if sum(len(one.mass) for one in banks) == sum(len(one.mass) for one in drawn.banks):
            return drawn
        drawn = _ranked(drawn.ask, drawn.causes, drawn.priors, banks, drawn.more + 1)
    return drawn


def _with_pairs(drawn: Drawn, tell: Callable[[str], None]) -> Drawn:
    """All pairs besides, begun where the single explanations came near."""
    ask, layout = drawn.ask, drawn.ask.roof.layout
    two, weights = pairs_of(drawn.causes, drawn.priors)
    total = len(two) * PAIRS_FIRST * PAIR_ROUNDS
    tell(f"sampling {len(two)} pairs of explanations, up to {total:,} samples of all")
    most = max(ask.most // PAIRS_FEWER, 500)
    pairs = replace(ask, most=most, total=total, first=PAIRS_FIRST)
    grids = pair_grids(two, drawn.banks, [told_of(layout, ask.found, bank) for bank in drawn.banks])
    causes, priors = (*drawn.causes, *two), (*drawn.priors, *weights)
    banks = draw_rounds(pairs, two, priors, _in_threads(tell), drawn.banks, grids=grids)
    return _ranked(ask, causes, priors, (*drawn.banks, *banks), drawn.more)


def short_of(fits: Sequence[Fit], families: Sequence[Family], *, wide: bool = True) -> frozenset[str]:
    """Explanations whose share only want of samples keeps open; empty where more would not help.

    The first, where few tell of it; else the first alone, or it with others beside it, or a kind with it,
    that leads while its interval says less; or the likeliest, where none is firm and its own is `wide`.
    """
    first = fits[0]
    of = [one for one in families if first.cause in one.causes]
    if first.tells < FEW and not any(one.low >= SETTLED and one.tells >= FEW for one in of):
        return frozenset((first.cause,))
    own: list[Fit | Family] = [first, *(one for one in of if one.name == first.cause)]
    kinds: list[list[Fit | Family]] = [[one] for one in of if one.name in KINDS]
    for group in (own, *kinds):
        best = max(group, key=lambda one: one.low)
        if best.posterior >= LIKELY and best.low < (SETTLED if best.posterior >= NEARLY else FIRM):
            return _causes_of(best)
    most = max((one for group in (own, *kinds) for one in group), key=lambda one: one.posterior)
    none_firm = all(one.low < FIRM for group in (own, *kinds) for one in group)
    return _causes_of(most) if wide and none_firm and most.high - most.low > WIDE else frozenset()


def _causes_of(one: Fit | Family) -> frozenset[str]:
    return frozenset(one.causes if isinstance(one, Family) else (one.cause,))


def _in_threads(tell: Callable[[str], None]) -> Run:
    """Rounds on all cores, each told with the time that is left of it."""
    rounds = 0

    def run(one_bank: Callable[[str], Bank], names: Sequence[str]) -> list[Bank]:
        nonlocal rounds
        rounds += 1
        banks, begun = [], time.monotonic()
        with ThreadPoolExecutor(len(os.sched_getaffinity(0))) as pool:
            for bank in pool.map(one_bank, names):  # some dozens
                banks.append(bank)
                left = (time.monotonic() - begun) * (len(names) - len(banks)) / len(banks)
                rest = f", about {time_words(left)} left of it" if left > 1.0 else ""
                tell(f"round {rounds}: sampled {len(banks)} of {len(names)} explanations{rest}")
        return banks

    return run


def of_banks(banks: Sequence[Bank]) -> Callable[[str], Bank]:
    """Samples by explanation."""
    return {bank.cause: bank for bank in banks}.__getitem__


def time_words(seconds: float) -> str:
    """A time to be waited, rounded up to what one cares for."""
    return f"{np.ceil(seconds / 60.0):.0f} min" if seconds > 90.0 else f"{np.ceil(seconds / 5.0) * 5.0:.0f} s"


def none_explains(fits: tuple[Fit, ...]) -> bool:
    """Whether each explanation that counts leaves something unexplained, or none comes near."""
    counts = [one for one in fits if one.posterior >= COUNTS and one.near >= FEW]
    return not counts or all(one.unexplained for one in counts)


def _strengths(evidence: Evidence) -> tuple[float, Strengths, str]:
    """Mean over nominal, scatter, and where they come from."""
    project, sampling = evidence.project, evidence.table.sampling
    given = project.table.uncertainty
    if given is not None and given.strength is not None:
        found = read_uncertainty(project)
        scatter = Strengths(found.scatter.strength, found.scatter.together)
        return found.mean_strength, scatter, f"Clamps scatter as the project says. {found.notes[0]}"
    mean, scatter_ = sampling.strength_mean, sampling.strength_scatter
    note = (
        f"Clamps hold {mean:g} times their nominal strength in the mean, scatter {scatter_:g} (sampling of "
        "this file; tests of this clamp would tell better)."
    )
    return mean, Strengths(scatter_, 0.2), note
