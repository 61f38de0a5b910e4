"""Splices that rails need and the project does not have: lengths that bars come in and that can be hauled."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout, SpliceKind, rail_lengths

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

ALIKE = 5e-4  # pieces that differ by less are cut to one length [m]
HAUL = 6.5  # longest piece that a common truck and two people carry (judgment) [m]
USUAL_BAR = {"SI": 6.0, "US": 20.0 * 0.3048}  # where nobody gave a length (common practice, no source) [m]


class Cut(IntEnum):
    """Where the splices of a rail stand that is too long."""

    EVEN = 0  # pieces of one length
    LEFT = 1  # whole bars from the left end
    RIGHT = 2  # whole bars from the right end


@dataclass(frozen=True)
class MissingSplices:
    """Splices that the rails need and the project does not have.

    Attributes
    ----------
    pieces : (k,) int
        Pieces that are too long, as `rail_lengths` numbers them.
    per_row : (r,) int
        Further splices of each row, at least.
    longest : float
        What a piece may have: the stock length, or what can be hauled. [m]
    given : bool
        Whether that is the project's stock length.
    """

    pieces: IntArray
    per_row: IntArray
    longest: float
    given: bool

    @property
    def count(self) -> int:
        """Of all rows."""
        return int(self.per_row.sum())


def missing_splices(layout: Layout, stock: float | None) -> MissingSplices:
    """Pieces that no bar of this length gives, or, where none is given, that can hardly be hauled."""
    row, length = rail_lengths(layout)
    most = HAUL if stock is None else stock
    long = np.flatnonzero(length > most + ALIKE)
    more = _cuts(length[long], most)  # at least so many: equal parts that the bar gives
    per_row = np.bincount(row[long], more, minlength=len(layout.row_name)).astype(np.int64)
    return MissingSplices(long, per_row, most, stock is not None)


def hinged(layout: Layout, missing: MissingSplices, bar: float, cut: Cut) -> Layout:
    """The layout with its missing splices as hinges.

    Parameters
    ----------
    layout : Layout
    missing : MissingSplices
    bar : float
        Length of the bars. [m]
    cut : Cut
        Of each piece that is too long.
    """
    row, length = rail_lengths(layout)
    first = np.concatenate([[True], np.diff(row) != 0])
    start = np.cumsum(length) - length
    start = (start - np.maximum.accumulate(np.where(first, start, 0.0)))[missing.pieces]
    long, own = length[missing.pieces], row[missing.pieces]
    count = _cuts(long, bar)
    step = long / (count + 1) if cut is Cut.EVEN else np.full(len(long), bar)
    each = np.repeat(np.arange(len(long)), count)
    number = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + 1
    along = number * step[each]
    along = long[each] - along if cut is Cut.RIGHT else along
    splice_row = np.concatenate([layout.splice_row, own[each]])
    splice_s = np.concatenate([layout.splice_s, start[each] + along])
    kinds = (*layout.splice_kind, *[SpliceKind.HINGE] * len(each))
    order = np.lexsort((splice_s, splice_row))
    return replace(
        layout,
        splice_row=splice_row[order],
        splice_s=splice_s[order],
        splice_kind=tuple(kinds[i] for i in order.tolist()),
    )


def _cuts(length: Array, bar: float) -> IntArray:
    """Splices that each length needs at least."""
    return np.asarray(np.ceil((length - ALIKE) / bar).astype(np.int64) - 1)
