"""Clauses of the standards, one by one: each is in a case, or listed with why it is not.

Numbers and titles of ASCE/SEI 7 and EN 1991-1-3 are from memory; those of NBCC 2020 follow public reprints,
4.1.6.14 and on from memory.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from roofmodel.snow.cases import SnowCase

Skipped = Sequence[tuple[str, str]]
# Clause, what it is about, and why it is in no case where none names it.
Clause = tuple[str, str, str]

USER = "the user's input; local code governs"
_ASCE = (
    ("7.2", "ground snow", USER),
    ("7.4.3", "balanced snow on curved roofs", "the roof has no barrel vault and no dome"),
    ("7.4.4", "folded plates and saw-teeth", "no level valley between parallel ridges and no saw-tooth"),
    ("7.4.5", "ice along eaves", "a case of the building on overhangs, not of rows"),
    ("7.5", "partial loading", "no continuous member is part of the snow cases"),
    ("7.6.1", "unbalanced snow on hips and gables", "the roof has no ridge and no hip"),
    ("7.6.2", "unbalanced snow on curved roofs", "the roof has no barrel vault"),
    ("7.6.3", "unbalanced snow on folded plates", "no level valley and no saw-tooth"),
    ("7.6.4", "unbalanced snow on domes", "the roof has no dome and no cone"),
    ("7.7.1", "drift on lower roofs", "no roof meets a wall below a higher roof"),
    ("7.7.2", "roofs that stand apart", "no lower roof lies across a gap from a higher one"),
    ("7.7.3", "drifts that meet", "no two drifts lie on the same ground"),
    ("7.8", "projections and parapets", "the project names none"),
    ("7.9", "sliding snow", "no upper plane stands above a lower one"),
    ("7.10", "rain on snow", "no plane is flat enough, or there is too much snow"),
    ("7.11", "ponding", "a matter of the structure below"),
    ("7.12", "existing roofs", "what a new roof does to those beside it: put both into one project"),
)
_ASCE_BEYOND = (
    ("7.13", "open-frame equipment", "no roof: pipes, racks and platforms by hand, from memory"),
    (
        "7.14",
        "other procedures",
        "no tests or simulation in place of clauses, from memory",
    ),
)
ASCE_22: tuple[Clause, ...] = (
    *_ASCE,
    ("7.3.3", "minimum load", "no plane is below 15 degrees"),
    *_ASCE_BEYOND,
)
ASCE_16: tuple[Clause, ...] = (
    *_ASCE,
    ("7.3.4", "minimum load", "no plane is below 15 degrees"),
    *_ASCE_BEYOND,
)
NBCC: tuple[Clause, ...] = (
    ("4.1.6.1", "rain in place of snow", "rain of 4.1.6.4 does not slide; the greater counts, by hand"),
    ("4.1.6.2.(8)", "accumulation", "C_a = 1.0 wherever no article asks for more"),
    ("4.1.6.3", "partial load", "no plane is flat enough"),
    ("4.1.6.4", "rain load", "it does not slide; check ponding and drainage by hand"),
    ("4.1.6.5", "roofs at several levels", "no roof meets a wall below a higher roof"),
    ("4.1.6.6", "gap below a higher roof", "no lower roof lies across a gap from a higher one"),
    ("4.1.6.7", "projections", "the project names none"),
    ("4.1.6.8", "drift at corners", "no wall or projection with drift has an outside corner"),
    ("4.1.6.9", "gables", "the roof has no ridge and no hip"),
    (
        "4.1.6.10.(1)",
        "arches, full and partial load",
        "full load is the balanced case; half of it on the rest raises no row's greatest force",
    ),
    ("4.1.6.10.(3)", "arches to 30 degrees", "the roof has no barrel vault that flat with h / b above 0.05"),
    ("4.1.6.10.(4)", "steeper arches", "the roof has no barrel vault that steep"),
    ("4.1.6.10.(5)", "curved roofs that are no arches", "taken as arches where a circle fits them"),
    (
        "4.1.6.10.(6)",
        "curved roofs steeper than 10 degrees at their peak",
        "a vault that is recognized is level at its crown; a curve with a sharper peak counts as the planes"
        " that it is made of, by 4.1.6.9 with their slopes in place of the mean one: check by hand",
    ),
    ("4.1.6.10.(7)", "domes", "the roof has no dome, or it is too flat"),
    ("4.1.6.11", "sliding snow", "no upper plane stands above a lower one"),
    ("4.1.6.12", "valleys", "no valley between slopes above 10 degrees"),
    ("4.1.6.13", "weight of snow", "no drift asks for it"),
    ("4.1.6.14", "snow removal", "no load is reduced because snow may be melted or carried off"),
    ("4.1.6.15", "ice on lattice structures", "no roof; by hand"),
    (
        "4.1.6.16",
        "roofs with solar panels",
        "arrays hold snow and take no slippery reduction; their own drift is by hand, from memory",
    ),
)
EN: tuple[Clause, ...] = (
    ("4.1", "ground snow", USER),
    ("4.2", "other representative values", "combinations take them from EN 1990, not from here"),
    ("4.3", "exceptional snow", "no C_esl given"),
    ("5.2(5)", "snow that is moved or cleared", "loads of heaps and half-cleared roofs by hand"),
    (
        "5.2(6)",
        "rain on snow, melting and freezing",
        "the national annex may ask for more snow where drains can be blocked: raise ground_snow by hand",
    ),
    ("5.3.2", "monopitch roofs", "the roof has no plane with snow"),
    (
        "5.3.3(4)",
        "drifted loads of national annexes",
        "some national annexes put more on the lee slope than mu_1, such as 1.2 at 30 degrees in the UK, from"
        " memory: by hand",
    ),
    ("5.3.3", "pitched roofs", "no two planes fall away from a common ridge or hip roof"),
    ("5.3.4", "roofs of several spans", "no valley, and no plane falls toward a wall"),
    ("5.3.5", "cylindrical roofs", "the roof has no barrel vault"),
    ("5.3.6", "roofs beside taller ones", "no roof meets a wall below a higher roof"),
    ("6.2", "projections and obstructions", "the project names none"),
    ("6.3", "snow that hangs over the eave", "does not slide; a case of the building on overhangs"),
    ("6.4", "guards", "is no case: check gives each row's force of undrifted snow beside that with drift"),
    ("Annex A", "design situations", "the user's choice of exceptional loads and Annex B"),
    (
        "B2",
        "exceptional drifts in valleys",
        "no valley between two sloping planes; a plane that falls toward a wall is none, since B2 shows a"
        " ridge on each side: the exceptional drift there is that of B3",
    ),
    ("B3", "exceptional drifts at taller roofs", "no roof meets a wall below a higher roof"),
    ("B4", "exceptional drifts at obstructions", "the project names none"),
    ("Annex C", "maps of ground snow", USER),
    ("Annex D", "other return periods", "return_period is not given"),
)


def unnamed(clauses: Sequence[Clause], cases: Sequence[SnowCase], skipped: Skipped) -> list[tuple[str, str]]:
    """Clauses that no zone, value, note or listed reason names, with why they are in no case.

    Parameters
    ----------
    clauses : sequence of clause, subject and reason
    cases : sequence of SnowCase
    skipped : sequence of (str, str)
        What is listed already.
    """
    zones = {id(zone): zone for case in cases for zone in case.zones}.values()
    texts = {zone.clause for zone in zones} | {note for case in cases for note in case.notes}
    texts |= {value.note for zone in zones for value in zone.values}
    said = "\n".join([*texts, *(f"{name} {why}" for name, why in skipped)])
    return [(subject, f"{why} ({clause})") for clause, subject, why in clauses if not _names(said, clause)]


def _names(text: str, clause: str) -> bool:
    """Whether a text names a clause, or a part of it."""
    return re.search(rf"(?<![\w.]){re.escape(clause)}(?!\.?\d)", text) is not None
