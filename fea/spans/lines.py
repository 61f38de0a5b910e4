"""Rows of rail in units of the span: arrangements, loading patterns, splices, missing clamps."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import SpliceKind

Array = NDArray[np.float64]

SPLICE_PLACES = (0.0, 0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875)  # tried in every span, over its length


class Arrangement(StrEnum):
    """Where a span lies along its row."""

    SINGLE = "single span"  # two clamps
    TWO = "two spans"  # three clamps
    END = "end span"  # a long row that begins and ends at a clamp, all of it
    INNER = "inner span"  # its middle, two spans or more away from the row's ends
    OVERHANG = "with overhangs"  # a long row whose rail runs on over both end clamps
    MISSING = "one clamp missing"  # a long row with the worst clamp left out


@dataclass(frozen=True)
class Line:
    """One row under one pattern of load, lengths over the span.

    Attributes
    ----------
    arrangement : Arrangement
    edges : (m + 1,) float
        Both ends of the rail and the clamps between, bounds of the loaded pieces.
    clamps : (c,) float
    share : (m,) float
        Part of the line load on every piece.
    splice : float
        Place of the splice, NaN for none.
    counts_clamp : (c,) bool
        Clamps that the arrangement speaks of.
    counts_piece : (c + 1,) bool
        Pieces of rail that it speaks of, as `fea.checks.limits.span_names`: left overhang, spans, right one.
    words : str
        Pattern, missing clamp and splice.
    """

    arrangement: Arrangement
    edges: Array
    clamps: Array
    share: Array
    splice: float
    counts_clamp: NDArray[np.bool_]
    counts_piece: NDArray[np.bool_]
    words: str


def patterns(pieces: int, unloaded: float, *, mirrors: bool = False) -> list[tuple[Array, str]]:
    """Shares of load on the pieces of a row that are worst for spans, clamps and moments over clamps.

    All pieces; every other one; two neighbors and every other one beyond (influence lines of continuous
    beams, any textbook; Mueller-Breslau).

    Parameters
    ----------
    pieces : int
    unloaded : float
        Share of the load that stays where a pattern takes it away; 1 for no patterns.
    mirrors : bool
        Whether mirror images count: for rows that a splice or a missing clamp makes different from both ends.

    Returns
    -------
    list of ((pieces,) float, str)
    """
    found = [(np.ones(pieces, dtype=bool), "all pieces loaded")]
    place = np.arange(pieces)
    if unloaded < 1.0 and pieces > 1:
        for first in (0, 1):
            on = place % 2 == first
            found.append((on, "loaded: " + _numbers(on)))
        for left in range(pieces - 1):
            on = np.where(place <= left, (left - place) % 2 == 0, (place - left - 1) % 2 == 0)
            found.append((on, "loaded: " + _numbers(on)))
    kept: dict[tuple[bool, ...], str] = {}
    for on, words in found:
        if mirrors or tuple(on[::-1].tolist()) not in kept:
            kept.setdefault(tuple(on.tolist()), words)
    return [(np.where(on, 1.0, unloaded), words) for on, words in kept.items()]


def _numbers(on: NDArray[np.bool_]) -> str:
    numbers = ", ".join(str(i + 1) for i in np.flatnonzero(on))
    return f"{'pieces' if on.sum() > 1 else 'piece'} {numbers} of {len(on)}"


def lines_of(
    arrangement: Arrangement, *, many: int, overhang: float, unloaded: float, splice: SpliceKind | None
) -> list[Line]:
    """All rows that an arrangement takes the worst of.

    Parameters
    ----------
    arrangement : Arrangement
    many : int
        Spans of a long row, 5 or more.
    overhang : float
        Of the rail beyond the end clamps over the span. [-]
    unloaded : float
        See `patterns`.
    splice : SpliceKind or None
        One splice at the worst of `SPLICE_PLACES` in any span; None, or a single span, for rails without.
    """
    spans = {Arrangement.SINGLE: 1, Arrangement.TWO: 2}.get(arrangement, many)
    beyond = overhang if arrangement is Arrangement.OVERHANG else 0.0
    all_clamps = beyond + np.arange(spans + 1.0)
    length = float(all_clamps[-1] + beyond)
    gone = [-1]
    if arrangement is Arrangement.MISSING:
        gone = list(range(spans // 2 + 1))
    places = [np.nan]
    if splice is not None and splice is not SpliceKind.CONTINUOUS and spans > 1:
        half = spans if arrangement is Arrangement.MISSING else (spans + 1) // 2
        places += [beyond + span + x for span in range(half) for x in SPLICE_PLACES]
        places += [beyond + half] if spans % 2 == 0 and half < spans else []  # over the middle clamp
    found = []
    for missing, at in itertools.product(gone, places):
        clamps = np.delete(all_clamps, missing) if missing >= 0 else all_clamps
        if at <= clamps[0] or at >= clamps[-1]:  # an end of rail beyond the clamps that a hinge lets go
            continue
        edges = np.unique(np.concatenate([[0.0, length], clamps]))
        beside, inside = _counted(arrangement, len(clamps))
        alike = np.isnan(at) and np.allclose(clamps, length - clamps[::-1])
        for share, words in patterns(len(edges) - 1, unloaded, mirrors=not alike):
            more = f"; clamp {missing + 1} missing" if missing >= 0 else ""
            more += "" if np.isnan(at) else f"; {splice} splice at {at:g} spans from the left end"
            found.append(Line(arrangement, edges, clamps, share, at, beside, inside, words + more))
    return found


def _counted(arrangement: Arrangement, clamps: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Clamps and pieces that an arrangement speaks of."""
    clamp, piece = np.ones(clamps, dtype=bool), np.ones(clamps + 1, dtype=bool)
    if arrangement is Arrangement.INNER:
        clamp[:2] = clamp[-2:] = False
        piece[:3] = piece[-3:] = False
    return clamp, piece
