"""Page 1 of the package: the answer, what can kill, and the picture as large as the page lets it be."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fea.near_limit import over_limit
from viewer import style
from viewer.package import typeset as t
from viewer.places import margin_line, place_over
from viewer.quantities import percent
from viewer.report.page import ROW_NUMBERS

if TYPE_CHECKING:
    from fea.analysis import Analysis
    from roofmodel.units import UnitSystem
    from viewer.package.sway import SwayFindings

LINES = 4  # cautions on page 1
LONG = 150  # letters of one
NAMED = 2  # inputs close to the limit
IN_FULL = "What must be known beside the numbers"
PEOPLE = re.compile(r"is to be protected|falls|lands|protect|strength is not known|let go|lets go")


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
            _cautions([verdict.falling, splices, *verdict.cautions]),
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


def _cautions(lines: Sequence[str]) -> str:
    """The first cautions in short lines, those about people first; all stand in full farther on."""
    said = [line for line in lines if line]
    if not said:
        return ""
    order = sorted(range(len(said)), key=lambda k: (not PEOPLE.search(said[k]), k))
    shown = [_short(said[k]) for k in order[:LINES]]
    left, cut = len(said) - len(shown), any(line.endswith("…") for line in shown)
    rest = f"{left} more, and all" if left else "All" if cut else ""
    end = f" {rest[:1].upper()}{rest[1:]} in full under “{IN_FULL}”." if rest else ""
    body = t.bullets([f"Caution: {line}" for line in shown])
    note = t.paragraph(end.strip(), note=True) if end else ""
    return f"#[#set text(size: 8.5pt)\n{body}]\n{note}"


def _short(line: str) -> str:
    """The first sentence, or as much of it as goes on a line."""
    first = re.split(r"(?<=[a-z)])\. (?=[A-Z])", line, maxsplit=1)[0].rstrip(".")
    whole = first == line.rstrip(".")
    if len(first) > LONG:
        first, whole = first[:LONG].rsplit(" ", 1)[0].rstrip(",;:"), False
    return f"{first}." if whole else f"{first} …"
