"""Where the loss ends along its rows: splices there, told or not yet looked at."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from fea.evidence.explanations import Bank
from fea.evidence.few import FEW
from fea.evidence.fit import Fit
from fea.evidence.looks import beside
from roofmodel.layout import Layout
from roofmodel.project.evidence import Evidence
from viewer.investigate.case import CaseFindings
from viewer.investigate.sizes import COUNTED

IntArray = NDArray[np.int64]

AT_END = 1  # clamps between the end of a stretch and the clamp nearest to a splice that lies there
MOST = 0.5  # share of an explanation's weight with the splice parted before, from which it accounts for it


def stretches(evidence: Evidence) -> list[IntArray]:
    """Clamps that gave way side by side, those whose state is unknown between them too."""
    row, off = evidence.project.layout.clamp_row, evidence.gave_way | ~evidence.known
    at = np.flatnonzero(off)
    parts = np.split(at, np.flatnonzero((np.diff(at) > 1) | (np.diff(row[at]) != 0)) + 1)
    lost = [part[evidence.gave_way[part]] for part in parts]
    return [part for part in lost if len(part)]


def end_splices(evidence: Evidence) -> tuple[int, ...]:
    """Clamps nearest to the splice that lies nearest to each end of a stretch that gave way."""
    layout, found = evidence.project.layout, set()
    for part in stretches(evidence):  # a few
        row = layout.clamp_row[part[0]]
        splices, own = layout.splice_s[layout.splice_row == row], np.flatnonzero(layout.clamp_row == row)
        for end in (part[0], part[-1]) if len(splices) else ():
            place = splices[np.abs(splices - layout.clamp_s[end]).argmin()]
            found.add(int(own[np.abs(layout.clamp_s[own] - place).argmin()]))
    return tuple(sorted(found))


def breaks_at_ends(evidence: Evidence) -> tuple[int, ...]:
    """Clamps nearest to the splices that were found with an old break where the loss ends."""
    row = evidence.project.layout.clamp_row
    ends = np.array([end for part in stretches(evidence) for end in (part[0], part[-1])])
    return tuple(
        at
        for at, _, _, fresh in evidence.rails
        if fresh is False and ((np.abs(ends - at) <= AT_END) & (row[ends] == row[at])).any()
    )


def accounts(layout: Layout, bank: Bank, one: Fit, at: int) -> bool:
    """Whether the splice at a clamp had parted before in most of the weight of an explanation."""
    total = float(one.weight.sum())
    here = (bank.parted >= 0) & beside(layout, at)[bank.parted]
    return total > 0.0 and float(one.weight[here].sum()) >= MOST * total


def breaks_left(evidence: Evidence, fits: Sequence[Fit], bank: Callable[[str], Bank]) -> tuple[int, ...]:
    """Those of `breaks_at_ends` for which no explanation that counts accounts."""
    layout = evidence.project.layout
    counts = [one for one in fits if one.posterior >= COUNTED and one.near >= FEW]
    return tuple(
        at
        for at in breaks_at_ends(evidence)
        if not any(accounts(layout, bank(one.cause), one, at) for one in counts)
    )


def old_breaks(found: CaseFindings) -> tuple[str, ...]:
    """A sentence for each old break where the loss ends that the first explanation does not account for."""
    evidence, first, layout, lines = found.evidence, found.fits[0], found.evidence.project.layout, []
    left = breaks_left(evidence, found.fits, found.bank)
    for at in breaks_at_ends(evidence):
        if accounts(layout, found.bank(first.cause), first, at):
            continue
        others = ", nor does any other that counts" if at in left else ", another does"
        lines.append(
            f"The old break of the splice at {layout.clamp_name[at]} lies where the loss ends: "
            f'"{first.cause}" does not account for it{others}'
        )
    return tuple(lines)
