"""What is settled, in one word and of whom: the same law for terminal, page and data."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fea.evidence.causes import AND, AS_DESIGNED, OF_SNOW, OPEN_SPLICE
from fea.evidence.families import SNOW_ALONE, Family
from fea.evidence.few import FEW
from fea.evidence.fit import Fit
from fea.evidence.unexplained import UNLIKELY, Miss
from viewer.history.findings import load_at
from viewer.investigate.case import CaseFindings
from viewer.investigate.families import FIRM, KINDS, SETTLED, family_words
from viewer.investigate.heap import heap_caution, heap_question
from viewer.investigate.looks import unsettled
from viewer.investigate.places import drift_excluded
from viewer.investigate.shares import share

SETTLED_, POINTS, NOT = "Settled", "Points to", "Not settled"
LOOSE = 1.5  # times as loosely as the doubt from which nothing is settled
SERIOUS = (
    0.1 * UNLIKELY
)  # chance of a reading at or below which it keeps the first from being settled (judgment)
LIKELY = 0.6  # share below which what was found does not decide


@dataclass(frozen=True)
class Verdict:
    """One word, and of whom.

    Attributes
    ----------
    word : str
        `SETTLED_`, `POINTS` or `NOT`.
    text : str
        What stands behind it.
    of : Fit, Family or None
        Whom it is said of; None for nobody.
    """

    word: str
    text: str
    of: Fit | Family | None = None

    @property
    def words(self) -> str:
        """As a sentence without its full stop."""
        return f"{self.word}: {self.text}"


def own_family(found: CaseFindings) -> Family | None:
    """The first explanation with whatever else was wrong beside it.

    Never "more snow, alone or with a flaw", which would leave the flaw out.
    """
    first = found.fits[0]
    parts = set(first.cause.split(AND)) - {*OF_SNOW, AS_DESIGNED}
    own = [one for one in found.families if one.name in parts and first.cause in one.causes]
    return max(own, key=lambda one: one.low, default=None)


def together_if_firmer(found: CaseFindings) -> Family | None:
    """The first with whatever else was wrong beside it, where that is firm and the first alone is not."""
    own = own_family(found)
    return own if own is not None and own.low >= FIRM > found.fits[0].low else None


def candidates(found: CaseFindings) -> list[Fit | Family]:
    """Whom a verdict can be of, what tells most first: the first, it with others beside it, its kinds.

    A flaw's kind comes before snow.
    """
    first, own = found.fits[0], own_family(found)
    kinds = [one for one in found.families if one.name in KINDS and first.cause in one.causes]
    kinds.sort(key=lambda one: one.name == SNOW_ALONE)
    return [first, *([] if own is None else [own]), *kinds]


def verdict(found: CaseFindings) -> Verdict:
    """The word of a verdict, whom it is of, and why it is no firmer."""
    caution = heap_caution(found)
    if caution:
        return Verdict(NOT, caution)
    if not sum(one.near for one in found.fits):
        return Verdict(NOT, "add samples, look for what is not among them, or for what was told wrong")
    told = [one for one in candidates(found) if one.near >= FEW and one.tells >= FEW]
    look = unsettled(found, firm=any(one.low >= FIRM for one in told))
    for least in (SETTLED,) if splices_open(found) else (SETTLED, FIRM):
        firm = next((one for one in told if one.low >= least), None)
        if firm is None:
            continue
        kind = isinstance(firm, Family) and firm.name in KINDS
        short = _short_of_settled(found, "" if kind else look)
        word = SETTLED_ if least == SETTLED and not short else POINTS
        text = family_words(firm) if isinstance(firm, Family) else f'"{firm.cause}", {share(firm)}'
        if least == SETTLED and short:
            text += f". It would be settled but that {short}"
        return Verdict(word, f"{text}{f'. To tell more, look at {look}' if look else ''}", firm)
    few = few_words(found)
    best = max(candidates(found), key=lambda one: one.posterior)
    if few:
        text = f"{few}, too few to rank by"
    elif splices_open(found):
        text = "a splice leads before any was looked at"
    elif best.posterior >= LIKELY:
        of = family_words(best) if isinstance(best, Family) else f'"{best.cause}", {share(best)}'
        text = f"{of}, too few samples tell"
    else:
        text = "what was found does not decide between them"
    return Verdict(NOT, f"{text}{f'. Look next at {look}' if look else ''}")


def few_words(found: CaseFindings) -> str:
    """That next to no samples stand behind the first; empty where enough do."""
    first, near = found.fits[0], sum(one.near for one in found.fits)
    if near < FEW:
        return f"only {near:.0f} samples come near what was found"
    if first.near < FEW:
        return f'only {first.near:.0f} samples of "{first.cause}" come near what was found'
    if first.tells < FEW:
        return f'"{first.cause}" stands on the weight of only {max(first.tells, 1.0):.0f} samples'
    return ""


def _short_of_settled(found: CaseFindings, look: str) -> str:
    """Why a share that is firm is not called settled; empty where it is."""
    first = found.fits[0]
    if any(serious(miss) for miss in first.unexplained):
        return "it leaves unexplained what is told below"
    if first.loose >= LOOSE:
        return "clamps had to be compared loosely"
    if heap_question(found):
        return "the snow entered for the roof is doubted"
    if weather_differs(found):
        return "the snow measured is not that of the weather"
    if drift_open(found):
        return "drift was not tried"
    return "a look that tells much is left" if look else ""


def serious(miss: Miss) -> bool:
    """Whether what is unexplained keeps the first from being settled.

    Of a dozen readings one in fifty comes by chance; splices and screws say what a flaw must have left.
    """
    return bool(np.isnan(miss.told) or miss.chance <= SERIOUS)


def splices_open(found: CaseFindings) -> bool:
    """Whether a splice leads before the screws of any were looked at: nobody is pointed to then."""
    parts = set(found.fits[0].cause.split(AND))
    return bool(parts & set(OPEN_SPLICE)) and not found.evidence.splice_screws


def drift_open(found: CaseFindings) -> bool:
    """Whether drift was not tried and no depth along the row excludes it."""
    return any(cause == "drift" for cause, _ in found.cannot) and not drift_excluded(found.evidence)


def weather_differs(found: CaseFindings) -> bool:
    """Whether the snow measured on the roof is not what the weather gives."""
    if found.history is None or found.evidence.table.case.day is None:
        return False
    load = load_at(found.history, found.evidence.table.case.day)
    measured, wide = found.evidence.load
    return bool(
        load is not None and np.isfinite(measured) and not load[0] - wide <= measured <= load[2] + wide
    )
