"""What an investigation should look at next, and how many samples would sharpen it."""

from __future__ import annotations

import numpy as np

from fea.evidence.causes import AS_DESIGNED
from fea.evidence.compare import ENOUGH
from fea.evidence.few import FEW
from fea.evidence.fit import Measurement
from fea.evidence.looks import beside
from fea.evidence.rounds import FIRST, IN_ALL, TIMES
from roofmodel.project.evidence import Evidence
from viewer.investigate.case import CaseFindings
from viewer.investigate.ends import end_splices
from viewer.investigate.places import depth_enough, depth_look, drift_enough, drift_look

CLEAR = 2.0  # times the share of the next explanation, from where "as designed" leads clearly (judgment)
MEASURE = {
    "snow": "depth and density where snow lies as it fell, on this roof or one beside it",
    "drift": "depth in the drift against depth away from it",
    "uneven": "depth every few meters along the rows where snow lies, and its mark on walls and dormers",
    "standing": "pull tests of some clamps that still stand, to failure",
    "torn": "laboratory tests of some clamps that came off, tightened first",
    "loose": "the screws of the clamps that stand: torque, marks of creeping",
    "loose gone": "the clamps that came off: whether their screws were tight, the marks of their grip",
    "never there": "seams in the gap: whether clamps were ever there (scratches, screw marks)",
    "wrong": "whether the clamps of each row are the ones made for this seam",
    "splice": "the splices: parted before, old breaks",
    "splice screws": "the splices: whether their screws were ever set",
    "held elsewhere": "which other planes still hold their snow",
    "ends": "scratches and snow beside the ends of partial rows",
}
TAKES = {  # tables of found.toml that take what a look tells
    "snow": "[snow], depth and density",
    "drift": "[[snow.along]] at clamps in the drift",
    "uneven": "[[snow.along]]",
    "standing": "[[pulled]]",
    "torn": "[[pulled]], with kept",
    "loose": "[[screws]]",
    "loose gone": "[[screws]]",
    "never there": "[[marks]]",
    "splice": "[[rail]], with fresh for one that is parted",
    "splice screws": "[[rail]], with screws",
    "wrong": "[[type]]",
}
OF_CAUSE = {"drift": "drift", "ends": "row ends", "held elsewhere": "bond of one plane"}  # signs of one alone
OF_FLAWS = frozenset(
    ("standing", "torn", "loose", "loose gone", "never there", "wrong", "splice", "splice screws")
)
FIRST_LOOKS = 3  # that are told by themselves, before all others
WORTH = 0.02  # least information of a measurement that is named [bit]
OPEN = 0.1  # the same where nothing is firm (judgment) [bit]
TELLING = 0.3  # information of a look from which nothing is settled without it (judgment) [bit]
PULLED = 5  # clamps pulled, from which no more pull tests are asked for (judgment)
ABOUT = 1.3  # times the interval that is wanted that is near enough to it
MOST_SAMPLES = 200_000  # that sampling.samples takes
SPLICES_NAMED, UNLIKELY = 4, 0.1  # most splices named, and how much less likely than the first they can be
NO_FLAW = (
    "No flaw fits better than the rows as they were drawn, so that nobody is sent up to look for one: run "
    "eavewright check on the project, and strengthen the rows before the next snow; flaws can be there too"
)
BY_HAND = "no entry in this file: weigh it by hand, prior of an [[explanation]] with its reason"


def more_samples(found: CaseFindings) -> tuple[str, ...]:
    """How many samples would sharpen the ranking, and to what; empty where those there are do."""
    first, sampling = found.fits[0], found.evidence.table.sampling
    lines = []
    if first.loose > 1.0:
        takes = _takes(found, ENOUGH / max(first.strict, 1e-9), "to compare as closely as the doubt")
        lines.append(
            "Few samples lose clamps as near as the doubt of what was found; they were compared "
            f"{first.loose:g} times as loosely, which blunts the ranking and is not in the intervals. "
            f"{takes}".rstrip()
        )
    if first.near >= FEW > first.tells:
        lines.append(
            f'What was measured leaves "{first.cause}" on the weight of {first.tells:.0f} of them. '
            f"{_takes(found, FEW / max(first.tells, 1e-9), f'for {FEW:.0f}')}".rstrip()
        )
    wide = first.high - first.low
    if first.near >= FEW and wide > ABOUT * sampling.interval:
        narrow = f"{_percents(wide)} to {_percents(sampling.interval)} (sampling.interval)"
        aim = f'to bring the width of the interval of "{first.cause}" from {narrow}'
        closer = ENOUGH / max(first.strict, 1e-9) if first.loose > 1.0 else 1.0  # samples go into that first
        takes = _takes(found, closer * (wide / sampling.interval) ** 2, aim)
        lines += [takes] if takes else []
    return tuple(lines)


def _percents(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _takes(found: CaseFindings, times: float, aim: str) -> str:
    """How many samples of each explanation something takes; empty for more than are drawn.

    Intervals shrink with their root.
    """
    now = found.evidence.table.sampling.samples
    bank = found.bank(found.fits[0].cause)
    if len(bank.rounds) < 2:  # later ones tell more than their number
        return (
            f"Samples {aim}: more rounds, which are drawn where the first came near, such as "
            f"{10 * FIRST:,} of each explanation (sampling.samples, now {now:,})."
        )
    need = times * len(bank.mass)
    if need <= now:  # the number of all together ended it, which grows with that of each
        need = times * max(now, IN_ALL // TIMES)
    if need > MOST_SAMPLES:
        return ""
    rounded = int(np.ceil(need / 1000.0) * 1000)
    return f"Samples {aim}: about {rounded:,} of each explanation (sampling.samples, now {now:,})."


def open_looks(found: CaseFindings) -> tuple[Measurement, ...]:
    """Looks that would still tell something and were not told in full, the most telling first."""
    not_here = {cause for cause, _ in found.cannot}
    out = _looked_at(found.evidence) | {sign for sign, cause in OF_CAUSE.items() if cause in not_here}
    if no_flaw_leads(found):
        out |= OF_FLAWS
    left = tuple(one for one in found.further if one.information >= WORTH and one.sign not in out)
    return tuple(one for one in left if one.sign != "drift" or not drift_enough(found))


def no_flaw_leads(found: CaseFindings) -> bool:
    """Whether the roof as drawn clearly ranks first: then no flaw is looked for on the roof."""
    first, *others = found.fits
    next_ = max((one.posterior for one in others), default=0.0)
    return bool(first.cause == AS_DESIGNED and first.near >= FEW and first.posterior >= CLEAR * next_)


def unsettled(found: CaseFindings, *, firm: bool) -> str:
    """The look that tells much more, or tells anything where nothing is `firm`, in words; empty for none."""
    least = TELLING if firm else OPEN
    best = next((one for one in open_looks(found) if one.information >= least), None)
    if best is None:
        return ""
    takes = TAKES.get(best.sign, "which no entry takes: weigh it by the prior of an [[explanation]]")
    words = _look(found, best.sign).split(" (")[0].replace(": ", ", ")
    return f"{words} ({best.information:.2f} bit, {takes})"


def _look(found: CaseFindings, sign: str) -> str:
    """What is looked at; for splices and depth, those places that are left."""
    if sign == "uneven":
        return depth_look(found.evidence)
    if sign == "drift":
        return drift_look(found)
    if sign not in ("splice", "splice screws"):
        return MEASURE[sign]
    left = _splices_left(found, sign)
    about = f"the splices at {', '.join(left)}" if left else "the splices"
    return f"{about}: {MEASURE[sign].split(': ', 1)[1]}"


def splices_told(evidence: Evidence) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Clamps at splices whose state is told, the break of a parted one too, and at those whose screws are.

    One that never had screws has no break to be fresh or old.
    """
    bare = {at for at, screws, _ in evidence.splice_screws if not screws}
    states = tuple(
        at for at, state, _, fresh in evidence.rails if state != "parted" or fresh is not None or at in bare
    )
    return states, tuple(at for at, _, _ in evidence.splice_screws)


def _splices_left(found: CaseFindings, sign: str) -> list[str]:
    """Names of the clamps at splices that were not looked at in full and may be as `sign` says."""
    layout, screws = found.evidence.project.layout, sign == "splice screws"
    told = splices_told(found.evidence)[int(screws)]
    share = np.zeros(len(layout.clamp_name))
    for one in found.fits:
        bank = found.bank(one.cause)
        some = (bank.parted >= 0) & (bank.unscrewed == screws)
        total = float(one.weight.sum())
        if total > 0.0:
            share += one.posterior / total * np.bincount(bank.parted[some], one.weight[some], len(share))
    for clamp in told:
        share[beside(layout, clamp)] = 0.0
    most = np.argsort(-share, kind="stable")[:SPLICES_NAMED]
    return [layout.clamp_name[c] for c in sorted(most.tolist()) if share[c] > UNLIKELY * share.max()]


def end_splices_left(evidence: Evidence) -> tuple[str, ...]:
    """Names of the clamps at splices nearest to where the loss ends that were not told in full."""
    layout = evidence.project.layout
    told = [beside(layout, at) for at in splices_told(evidence)[0]]
    return tuple(layout.clamp_name[at] for at in end_splices(evidence) if not any(near[at] for near in told))


def next_splices(found: CaseFindings, sign: str) -> tuple[str, ...]:
    """Names of the clamps at splices that a look at splices or their screws names."""
    return tuple(_splices_left(found, sign))


def first_signs(found: CaseFindings) -> tuple[str, ...]:
    """Signs of the looks to begin with."""
    before = bool(looks(found)) and len(looks(found)) - len(open_looks(found))
    return tuple(one.sign for one in open_looks(found)[: max(FIRST_LOOKS - before, 0)])


def _splices_at_ends(evidence: Evidence) -> tuple[str, ...]:
    """The look at splices that lie nearest to where the loss ends, whatever it is expected to tell."""
    left = end_splices_left(evidence)
    if not left:
        return ()
    splices = f"splice at {left[0]}" if len(left) == 1 else f"splices at {', '.join(left)}"
    return (
        f"On the first day, the {splices}, nearest to where the loss ends: whole, bent or parted, the "
        f"break old or fresh, screws ever set; [[rail]], with fresh for one that is parted, and screws",
    )


def looks(found: CaseFindings) -> tuple[str, ...]:
    """Looks at the roof that would tell something, what is first first."""
    return (
        *((NO_FLAW,) if no_flaw_leads(found) else _splices_at_ends(found.evidence)),
        *(
            f"{_look(found, one.sign)}: {one.information:.2f} bit expected; {TAKES.get(one.sign, BY_HAND)}"
            for one in open_looks(found)
        ),
    )


def _level(found: CaseFindings) -> tuple[str, ...]:
    """How much likelier the second would have to be before; empty without a second."""
    first = found.fits[0]
    second = found.fits[1] if len(found.fits) > 1 else None
    if second is None or not second.posterior > 0.0:
        return ()
    level = first.posterior / second.posterior
    times = f"{level:.1f}" if level < 100.0 else "more than 100"
    return (
        f'Were "{second.cause}" {times} times as likely as now before anything was found, it would '
        "rank level with the first.",
    )


def changes(found: CaseFindings) -> tuple[str, ...]:
    """What would change the answer."""
    return (*more_samples(found), *looks(found), *_level(found))


def first_and_later(found: CaseFindings) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The few looks to begin with, and all else that would change the answer."""
    all_looks, others = looks(found), (*more_samples(found), *_level(found))
    if not all_looks:
        return others, ()
    return all_looks[:FIRST_LOOKS], (*all_looks[FIRST_LOOKS:], *others)


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
    off = [bool(evidence.gave_way[clamps].any()) for clamps, *_ in evidence.pulled]
    pulled = [
        sum(len(one[0]) for one, torn in zip(evidence.pulled, off, strict=True) if torn == so)
        for so in (False, True)
    ]
    rows = {int(r) for clamps, _, _ in evidence.kinds for r in evidence.project.layout.clamp_row[clamps]}
    told |= {"wrong"} if rows and len(rows) == len(evidence.project.layout.row_name) else set()
    told |= {"uneven"} if depth_enough(evidence) else set()
    return told | {name for name, count in zip(("standing", "torn"), pulled, strict=True) if count >= PULLED}
