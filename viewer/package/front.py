"""Page 1 of the package: the answer, what can kill, and the picture as large as the page lets it be."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fea.near_limit import over_limit
from viewer import style
from viewer.caution_lines import CUT, LOUD, shortened, sorted_cautions, strength
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
CAUTION = "Caution: "
WIDE = 130  # letters of a line
LETTERS = WIDE - len(CAUTION)
ROOM = 20  # lines for cautions and what is close to the limit that leave the picture its size
FEWEST = 4  # of the cautions by which the answer may be none, whatever the room
NAMED = 2  # inputs close to the limit
IN_FULL, FULL = "What must be known beside the numbers", "in-full"  # heading, and its label
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
            _cautions(*sorted_cautions(*place, verdict.falling), splices, ROOM - _lines(near, *verdict.more)),
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


def _cautions(
    void: Sequence[str],
    people: Sequence[str],
    others: Sequence[str],
    splices: str = "",
    room: int = ROOM,
) -> str:
    """What comes down on people in full, what voids the answer as far as there is room, a few others short.

    Parameters
    ----------
    void, people, others : sequence of str
        Of `viewer.caution_lines.sorted_cautions`.
    splices : str
        Caution about splices that are missing; stands before the others.
    room : int
        Lines that they may take before the picture is too small.
    """
    most = max(LINES - len(people) - bool(splices), OTHERS)
    order = sorted(range(len(others)), key=lambda k: (not FIRST.search(others[k]), k))
    told = [*([splices] if splices else []), *(others[k] for k in order[:most])]
    short = [shortened(line, LONG) for line in told]
    if _lines(*void, *people, *short) > room:
        short = [shortened(line, LETTERS) for line in told]
    strong = _strong(void, room - _lines(*people, *short))
    shown = [*strong, *people, *short]
    if not shown:
        return ""
    hidden = sorted(void, key=strength)[len(strong) :]
    left = max(len(others) - most, 0) + len(hidden)
    loud = ", ".join(word for word in LOUD if any(word in line for line in hidden))
    more = f"{left} more caution{'s' * (left > 1)}{f' ({loud})' if loud else ''}" if left else ""
    end = f"{more}, and all in full" if more else "All in full" if any(map(_cut, shown)) else ""
    body = t.bullets([f"{CAUTION}{line}" for line in shown])
    note = t.note_with_page(f"{end} under “{IN_FULL}”: page ", FULL) if end else ""
    return f"#[#set text(size: 8.5pt)\n{body}]\n{note}"


def _strong(void: Sequence[str], room: int) -> list[str]:
    """Cautions by which the answer may be none, the worst first: in full, else a line each, else fewer."""
    shown = sorted(void, key=strength)
    for k in reversed(range(len(shown))):
        if _lines(*shown) <= room:
            break
        shown[k] = shortened(shown[k], LETTERS)
    while _lines(*shown) > room and len(shown) > FEWEST:
        shown.pop()
    return shown


def _lines(*words: str) -> int:
    """Lines of page 1 that each of some sentences takes, in all."""
    return sum(math.ceil((len(one) + len(CAUTION)) / WIDE) for one in words if one)


def _cut(line: str) -> bool:
    return line.endswith(CUT)
