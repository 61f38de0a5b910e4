"""The sample of the first explanation that is nearest to what was found, event by event."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.evidence.looks import beside
from fea.failure.assembled import PARTS
from viewer.investigate.case import CaseFindings
from viewer.investigate.entries import rail_state, splices_of

IntArray = NDArray[np.int64]


BEFORE, BARE = "parted before", "never screwed"
DIFFER = 6  # most differences of the nearest sample that are named


def before(found: CaseFindings) -> tuple[int, ...]:
    """Clamp nearest to the splice that had parted before in the nearest sample, if one had."""
    course = found.course
    return () if course.parted < 0 else (int(course.splice_clamp[course.parted]),)


def bare(found: CaseFindings) -> bool:
    """Whether the splice of `before` never had screws."""
    return not found.course.screwed


def numbers_of(found: CaseFindings) -> IntArray:
    """Number in the sequence of each clamp that gave way, in order, (n,)."""
    places = [found.course.order, found.course.splice_order]
    every = np.sort(np.concatenate([place[place >= 0] for place in places]))
    clamps = np.sort(places[0][places[0] >= 0])
    return np.asarray(np.searchsorted(every, clamps) + 1)


def splice_numbers(found: CaseFindings) -> dict[int, int]:
    """Number in the sequence of each splice that parts or yields, by the clamp next to it; 0 before all."""
    course = found.course
    every = np.sort(np.concatenate([one[one >= 0] for one in (course.order, course.splice_order)]))
    parts = course.splice_order >= 0
    numbers = np.searchsorted(every, course.splice_order[parts]) + 1
    later = dict(zip(course.splice_clamp[parts].tolist(), numbers.tolist(), strict=True))
    return dict.fromkeys(before(found), 0) | later


def differing(found: CaseFindings) -> tuple[str, ...]:
    """Known clamps of which one gave way in the nearest sample only, or only as it was found, by name."""
    evidence = found.evidence
    best, _ = likeliest(found)
    made = found.bank(found.fits[0].cause).gave_way[best]
    differ = evidence.known & (made != evidence.gave_way)
    return tuple(evidence.project.layout.clamp_name[c] for c in np.flatnonzero(differ))


def nearest_told(found: CaseFindings) -> str:
    """What nearest means, and where that sample contradicts what was found."""
    layout = found.evidence.project.layout
    apart = _apart(found)
    parts = {c for c, _ in torn(found)} | set(before(found))
    for rail, (at, *_) in zip(splices_of(found.evidence), found.evidence.rails, strict=True):
        near = np.flatnonzero(beside(layout, at))
        made = "parted" if parts & set(near.tolist()) else "did not part"
        if (made == "parted") != (rail.state == "parted"):
            apart.append(f"splice at {layout.clamp_name[at]} found {rail.state}, {made} in it")
    listed = "; ".join(apart[:DIFFER]) + (f"; and {len(apart) - DIFFER} more" if len(apart) > DIFFER else "")
    text = (
        f'The nearest sample of "{found.fits[0].cause}" differs least, of all that were drawn, in number, '
        "middle, spread and groups of the clamps each row lost and in all that was measured; clamp by clamp "
        "it need not agree"
    )
    return f"{text}. It contradicts what was found: {listed}." if apart else f"{text}. Here it does."


def _apart(found: CaseFindings) -> list[str]:
    """Clamps that gave way in the nearest sample or as found, in words, those side by side together."""
    evidence, name = found.evidence, found.evidence.project.layout.clamp_name
    at = np.array([name.index(one) for one in differing(found)], dtype=np.int64)
    row, gone = evidence.project.layout.clamp_row[at], evidence.gave_way[at]
    breaks = np.flatnonzero((np.diff(at) > 1) | (np.diff(row) != 0) | (np.diff(gone.astype(int)) != 0)) + 1
    words = []
    for part in np.split(at, breaks) if len(at) else []:
        who = name[part[0]] if len(part) == 1 else f"{name[part[0]]}..{name[part[-1]]}"
        off = bool(evidence.gave_way[part[0]])
        words.append(f"{who} {'found off, stands' if off else 'found standing, gives way'} in it")
    return words


def sequence(found: CaseFindings) -> tuple[tuple[int, float, str, str, str], ...]:
    """Number, bond left, clamp or splice, row, and how it was found, of all events of the nearest sample.

    Number 0, with all of the bond left, is a splice that had parted before or was never screwed.
    """
    evidence, layout, course = found.evidence, found.evidence.project.layout, found.course
    state = np.where(~evidence.known, "unknown", np.where(evidence.gave_way, "gave way", "stands"))
    splices = [  # as they are compared: a splice is found by what is within a few clamps of it
        (np.flatnonzero(beside(layout, at)), rail_state(rail))
        for rail, (at, *_) in zip(splices_of(evidence), evidence.rails, strict=True)
    ]
    events = [
        (place, course.bond_left(c), layout.clamp_name[c], c, str(state[c]))
        for c, place in enumerate(course.order.tolist())
        if place >= 0
    ]

    def how_found(c: int) -> str:
        return next((how for near, how in splices if c in near), "unknown")

    for s, place in enumerate(course.splice_order.tolist()):
        if place >= 0:
            c = int(course.splice_clamp[s])
            name = f"splice at {layout.clamp_name[c]}"
            events.append((place, course.bond_left_at_splice(s), name, c, how_found(c)))
    first = [
        (
            0,
            1.0,
            f"splice at {name}, {BARE if bare(found) else BEFORE}",
            layout.row_name[layout.clamp_row[c]],
            how_found(c),
        )
        for c, name in ((c, layout.clamp_name[c]) for c in before(found))
    ]
    return (
        *first,
        *(
            (number, left, name, layout.row_name[layout.clamp_row[c]], how)
            for number, (_, left, name, c, how) in enumerate(sorted(events), 1)
        ),
    )


def torn(found: CaseFindings) -> tuple[tuple[int, int], ...]:
    """Clamp nearest to each splice that parts in the nearest sample, and how many gave way before it."""
    course = found.course
    clamps = course.order[course.order >= 0]
    return tuple(
        (int(course.splice_clamp[s]), int((clamps < place).sum()))
        for s, place in enumerate(course.splice_order.tolist())
        if place >= 0 and course.splice_state[s] == PARTS
    )


def likeliest(found: CaseFindings) -> tuple[int, IntArray]:
    """The sample of the first explanation that is nearest to what was found, and its clamps in order."""
    first = found.fits[0]
    bank = found.bank(first.cause)
    order = bank.order[first.nearest]
    there = np.flatnonzero(order >= 0)
    return first.nearest, there[np.argsort(order[there], kind="stable")]
