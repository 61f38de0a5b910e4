"""Cautions beside an answer: in full what kills, all others short, one way on terminal and paper."""

from __future__ import annotations

import re

from rich.text import Text

from fea.analysis import Analysis
from fea.cautions import little_snow
from fea.off_place import OVER, UNTESTED
from fea.still_falling import LEAST, falling_words, out_of_reach
from roofmodel.project.schema import STARTING_NAME
from roofmodel.shape.up_axis import doubts
from roofmodel.units import UnitSystem

CAUTION_STYLE = "bold black on yellow3"
MARK = " CAUTION "
CUT = " ..."
UNCHECKED = re.compile(r"\b(no check|is checked|nothing|by hand)\b")  # what no shortening may take away
SENTENCE = re.compile(r"(?<=[a-z0-9)%])\. (?=[A-Z])")  # end of one
PARTS = (", ", "; ", ": ")  # ends of a part of a sentence
LOUD = (  # in cautions by which the numbers are not to be used as they stand, the worst first
    *("NO SAFETY FACTOR", "UNSAFE", "UNSUPPORTED", "DO NOT RELY", "CONTRADICTS", "NOT VERIFIED"),
    *("CHECK IT", "MORE THAN IT HOLDS", "TOO HIGH", "BELOW THE DESIGN STRENGTH", "not a design"),
    *(OVER, UNTESTED),
)


def caution_text(words: str) -> Text:
    """A caution with its mark."""
    return Text(MARK, style=CAUTION_STYLE).append(f" {words}", style="bold")


def protected_line(analysis: Analysis, units: UnitSystem) -> tuple[str, tuple[str, ...]]:
    """What still comes down on everything protected in one sentence, and the cautions that it stands for.

    Only where rows hold all but a little and there is more than one; each planes' names are in the report.
    """
    known = [one for one in analysis.protected if one.kept and one.weight >= LEAST]
    if len(known) < 2:
        return "", ()
    parts = [
        f"{units.text(one.weight, 'force')} on {one.name}"
        + (f" ({units.text(one.unheld, 'force')} of it past the rows)" if one.unheld >= LEAST else "")
        for one in known
    ]
    return (
        f"Snow from below the lowest rows still comes down on what is to be protected: {', '.join(parts)} "
        "(weight of snow, worst case)."
    ), tuple(falling_words(one, units) for one in known)


def sorted_cautions(
    analysis: Analysis, units: UnitSystem, falling: str = ""
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Cautions by which the answer may be none, those about what falls on people, and all others, in full.

    Parameters
    ----------
    analysis : Analysis
    units : UnitSystem
    falling : str
        Snow that no row holds, in a sentence.
    """
    merged, replaced = protected_line(analysis, units)
    protected, project = {falling_words(one, units) for one in analysis.protected}, analysis.project
    doubted = {*doubts(project.roof), *little_snow(project.table.site, units)}
    doubted |= set(out_of_reach(project, units))
    void = tuple(
        c
        for c in analysis.cautions
        if c in doubted or f"“{STARTING_NAME}" in c or any(word in c for word in LOUD)
    )
    own = [c for c in analysis.cautions if c in protected and c not in replaced]
    said = {*void, *protected}
    people = tuple(filter(None, [falling, merged, *own]))
    return void, people, tuple(c for c in analysis.cautions if c not in said)


def split_cautions(
    analysis: Analysis, units: UnitSystem, falling: str = ""
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """`sorted_cautions`, those that void the answer and those about people together."""
    void, people, others = sorted_cautions(analysis, units, falling)
    return (*void, *people), others


def strength(caution: str) -> int:
    """Place of a caution that voids the answer among all such, the worst first."""
    return next((k for k, word in enumerate(LOUD, 1) if word in caution), 0)


def first_words(caution: str, width: int) -> str:
    """As much of a caution as one line of a terminal takes, with its mark."""
    return shortened(caution, max(width - len(MARK) - 1, 20))


def shortened(caution: str, room: int) -> str:
    """As much of a caution as a number of letters takes: its first sentence, which tells the danger, or part.

    All of it where the rest says that something is not checked, or has the word that makes it loud.
    """
    whole = " ".join(caution.split())
    if len(whole) <= room:
        return whole
    short = SENTENCE.split(whole, maxsplit=1)[0]
    if len(short) + len(CUT) > room:
        start = short[: room - len(CUT) + 1]
        end = max(start.rfind(mark) for mark in PARTS)
        end = end if end > room // 2 else start.rfind(" ")
        short = start[: end if end > 0 else room - len(CUT)].rstrip(",;: ")
    lost = any(word in whole and word not in short for word in LOUD)
    return whole if lost or UNCHECKED.search(whole[len(short) :]) else f"{short}{CUT}"
