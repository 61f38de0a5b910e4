"""Page 1 of the package: the answer, what can kill, and the picture as large as the page lets it be."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fea.near_limit import over_limit
from viewer import style
from viewer.caution_lines import sorted_cautions
from viewer.package import typeset as t
from viewer.places import margin_line, place_over
from viewer.quantities import percent
from viewer.report.page import ROW_NUMBERS

if TYPE_CHECKING:
    from fea.analysis import Analysis
    from roofmodel.units import UnitSystem
    from viewer.package.sway import SwayFindings

LINES, OTHERS = 4, 2  # short cautions on page 1, and how many at least that are not about people
LONG = 260  # letters of a short one
NAMED = 2  # inputs close to the limit
IN_FULL = "What must be known beside the numbers"
FIRST = re.compile(r"falls|lands|strength is not known|lets? go")  # of the others


def front(
    content: Mapping[str, Any],
    splices: str,
    sway: SwayFindings | None,
    place: tuple[Analysis, UnitSystem],
    *,
    drawn: bool,
) -> str:
    """Title block, answer, what is close to the limit, cautions in short lines, and the picture.

    Parameters
    ----------
    content : mapping
        Of the report.
    splices : str
        Caution about splices that are missing.
    sway : SwayFindings or None
    place : (Analysis, UnitSystem)
        For the tolerance of place.
    drawn : bool
        Whether there is a picture.
    """
    verdict = content["verdict"]
    mark = "" if verdict.passed else "exceeded" if "exceeded" in verdict.marks else "open"
    title = [pair for pair in content["title"] if pair[0] != "Input SHA-256"]
    digest = next(value for word, value in content["title"] if word == "Input SHA-256")
    near = " ".join(
        filter(None, [near_words(sway), place_over(None if sway is None else sway.place, *place)])
    )
    return "".join(
        [
            f'#text(size: 9pt, fill: rgb("{style.MUTED}"))[Snow retention on a metal roof: calculation]\n\n',
            f'#text(size: 21pt, weight: "semibold")[{t.text(content["name"])}]\n#v(2pt)\n',
            t.facts(title, 3),
            f'#text(size: 7.5pt, fill: rgb("{style.MUTED}"))[Input SHA-256 {t.text(digest)}]\n#v(4pt)\n',
            t.box(_answer(verdict.words, verdict.sentence), mark=mark),
            t.paragraph(near) if near else "",
            t.bullets(verdict.more),
            _cautions(*sorted_cautions(*place, verdict.falling), splices),
            t.filling("roof.png", content["picture_alt"], ROW_NUMBERS, width="100%") if drawn else "",
        ]
    )


def _answer(words: tuple[str, ...], sentence: str) -> str:
    """Words of the verdict and its sentence; words that the sentence holds are not said twice."""
    said = ", ".join(word for word in words if word not in sentence)
    return f"{said[:1].upper()}{said[1:]}. {sentence}" if said else sentence


def near_words(sway: SwayFindings | None) -> str:
    """Inputs of which a tenth takes a kept limit over it, in a line, and how much of the worst does."""
    found = () if sway is None else over_limit(sway.inputs)
    if not found:
        return ""
    parts = [f"{one.name} ({percent(max(one.low, one.high))})" for one in found[:NAMED]]
    more = f" and {len(found) - NAMED} more" if len(found) > NAMED else ""
    return (
        f"CLOSE TO THE LIMIT: 10 % of an input takes {percent(found[0].now)} over it, {', '.join(parts)}"
        f"{more}. {margin_line(found[0], 'the first')} See What moves the answer."
    )


def _cautions(void: Sequence[str], people: Sequence[str], others: Sequence[str], splices: str = "") -> str:
    """What voids the answer and what comes down on people in full, then a few others in short lines.

    Parameters
    ----------
    void, people, others : sequence of str
        Of `viewer.caution_lines.sorted_cautions`.
    splices : str
        Caution about splices that are missing; stands before the others.
    """
    most = max(LINES - len(people) - bool(splices), OTHERS)
    order = sorted(range(len(others)), key=lambda k: (not FIRST.search(others[k]), k))
    told = [*([splices] if splices else []), *(others[k] for k in order[:most])]
    short = [_short(line) for line in told]
    shown = [*void, *people, *short]
    if not shown:
        return ""
    left, cut = max(len(others) - most, 0), any(line.endswith("…") for line in short)
    rest = f"{left} more, and all" if left else "All" if cut else ""
    end = f"{rest} in full under “{IN_FULL}”." if rest else ""
    body = t.bullets([f"Caution: {line}" for line in shown])
    note = t.paragraph(end, note=True) if end else ""
    return f"#[#set text(size: 8.5pt)\n{body}]\n{note}"


def _short(line: str) -> str:
    """The first sentence, which tells the danger; of a very long one the whole parts that two lines take."""
    first = re.split(r"(?<=[a-z0-9)%])\. (?=[A-Z])", line, maxsplit=1)[0].rstrip(".")
    whole = first == line.rstrip(".")
    if len(first) > LONG:
        start = first[:LONG]
        end = max(start.rfind(mark) for mark in (", ", "; ", ": "))
        first, whole = start[: end if end > 0 else start.rfind(" ")], False
    return f"{first}." if whole else f"{first} …"
