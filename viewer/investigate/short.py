"""The short forms of the terminal."""

from __future__ import annotations

import re

import numpy as np

from viewer.investigate.case import CaseFindings
from viewer.investigate.entries import entries_told
from viewer.investigate.findings import meant, ranking, shown
from viewer.investigate.heap import heap_told
from viewer.investigate.words import sentences
from viewer.report.tables import Table

LISTED = 3  # explanations that are in the short ranking whatever their share
SHORT = 0.01  # least share of an explanation in the short ranking, but for the first few
SOME = 0.05  # share of the others together below which it is only bounded [%]


def ranking_short(found: CaseFindings) -> Table:
    """Explanations that count and the first few, with what fits on a line."""
    whole = ranking(found)
    kept = [
        (cause, share, load, tells.split(" ")[0])
        for i, ((cause, _, share, load, tells), one) in enumerate(zip(whole.rows, shown(found), strict=True))
        if i < LISTED or one.posterior >= SHORT
    ]
    pressure = found.units.label("pressure")
    head = ("explanation", "share (95 %)", f"even snow, {pressure}", "samples")
    return Table("Ranked", head, "nttn", tuple(kept))


def looks_short(lines: tuple[str, ...]) -> tuple[str, ...]:
    """Looks without the tables that take them, which are printed to be pasted."""
    return tuple(re.sub(r" \([^()]{40,}\)", "", line.split("; [")[0]) for line in lines)


def others_below(found: CaseFindings) -> str:
    """Single explanations that a short ranking leaves out; empty for none."""
    rest = [one for one in shown(found)[LISTED:] if one.posterior < SHORT]
    if not rest:
        return ""
    total = 100.0 * sum(one.posterior for one in rest)
    share = f"{total:.1g} % together" if total >= SOME else "below 0.1 % together"
    return f"Besides, {share}: {', '.join(one.cause for one in rest)}."


def found_short(found: CaseFindings) -> tuple[str, ...]:
    """What was found and what the roof would have held, in short."""
    evidence, units = found.evidence, found.units
    known, off = int(evidence.known.sum()), int(evidence.gave_way.sum())
    text = f"{off} of {known} known clamps gave way; {len(entries_told(evidence, units))} entries"
    load, wide = evidence.load
    if np.isfinite(load):
        text += f"; snow without drift {units.text(load, 'pressure')} ± {units.text(wide, 'pressure')}"
    heap = heap_told(found)
    return (f"{text}.", sentences(meant(found))[0], *((sentences(heap)[0],) if heap else ()))
