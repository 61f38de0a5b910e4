"""Rows condensed to their clamps, and what acts on their splices: the data of a cascade."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fea.failure.splices import Splices
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

ALONE, OPENS, PARTS = range(3)  # what a part of a splice does that reaches its limit; see `SpliceLoads`


@dataclass(frozen=True)
class Assembly:
    """Rows condensed to their clamps, and how they meet one another.

    Attributes
    ----------
    Z : (c, c) float
        Drop of the clamps' forces down the slope for unit slips; zero between rows. [N/m]
    row : (c,) int
        Row of each clamp, ascending.
    own : (c,) float
        Stiffness of each clamp. [N/m]
    floor : float
        As `fea.solvers.links.LinkForm`.
    lands : (p, c) float
        Push at rest that comes onto each clamp when a piece of a row lets go, over what the piece held;
        beyond 1 in all where it lands on a steeper roof. [-]
    piece : (c,) int
        Piece of each clamp, ascending: rows, cut at the splices that can part.
    seam : (c,) int
        Clamps with the same number share a seam; -1 for none.
    unzip : (c,) float
        Share of strength that the other clamps of a seam lose when this one breaks. [-]
    splices : Splices, optional
        Those that can part; none by default.
    """

    Z: Array
    row: IntArray
    own: Array
    floor: float
    lands: Array
    piece: IntArray
    seam: IntArray
    unzip: Array
    splices: Splices | None = None

    @property
    def rows(self) -> int:
        """Number of rows."""
        return int(self.row.max(initial=-1)) + 1

    @property
    def first(self) -> IntArray:
        """First clamp of each row, and the number of clamps, (r + 1,)."""
        return np.searchsorted(self.row, np.arange(self.rows + 1)).astype(np.int64)


def assembly(
    Z: Array,
    row: ArrayLike,
    own: ArrayLike,
    floor: float,
    *,
    lands: Array | None = None,
    seam: ArrayLike | None = None,
    splices: Splices | None = None,
    unzip: ArrayLike = 0.0,
) -> Assembly:
    """Rows that are given by their clamps; without `lands` and `seam` each row is by itself.

    Raises
    ------
    InputError
        Sizes that do not fit, rows that are not in order or feel one another.
    """
    numbers = np.asarray(row, dtype=np.int64)
    c = len(numbers)
    Z = np.ascontiguousarray(Z, dtype=float)
    stiff = np.broadcast_to(np.asarray(own, dtype=float), (c,)).copy()
    if Z.shape != (c, c) or not np.isfinite(Z).all() or not (stiff > 0.0).all():
        message = (
            f"cascade: Z has shape {Z.shape}; {c} clamps need ({c}, {c}), finite, on positive stiffness."
        )
        raise InputError(message)
    rows = int(numbers.max(initial=-1)) + 1
    if (np.diff(numbers) < 0).any() or len(np.unique(numbers)) != rows:
        message = "cascade: clamps must stand row after row, rows numbered from 0 without a gap."
        raise InputError(message)
    apart = numbers[:, None] != numbers
    if np.abs(np.where(apart, Z, 0.0)).max(initial=0.0) > 1e-9 * np.abs(Z).max(initial=0.0):
        message = "cascade: rows must not feel one another through Z."
        raise InputError(message)
    piece = numbers if splices is None else splices.pieces(numbers)
    pieces = int(piece.max(initial=-1)) + 1
    onto = np.zeros((pieces, c)) if lands is None else np.ascontiguousarray(lands, dtype=float)
    if onto.shape != (pieces, c) or not (np.isfinite(onto) & (onto >= 0.0)).all():
        message = f"cascade: lands must be ({pieces}, {c}), finite and 0 or more."
        raise InputError(message)
    share = np.broadcast_to(np.asarray(unzip, dtype=float), (c,)).copy()
    if not ((share >= 0.0) & (share < 1.0)).all():
        message = (
            f"cascade: unzip = {share[~((share >= 0.0) & (share < 1.0))][0]:g} must be from 0 to below 1."
        )
        raise InputError(message)
    seams = np.full(c, -1, dtype=np.int64) if seam is None else np.asarray(seam, dtype=np.int64)
    return Assembly(Z, numbers, stiff, float(floor), onto, piece, seams, share, splices)


@dataclass(frozen=True)
class SpliceLoads:
    """What acts on the k parts of s splices, and what they hold.

    Attributes
    ----------
    held, load : (k,) or (n, k) float
        Forces with nothing parted, as those of the clamps. [N, N m]
    capacity, residual : (k,) or (n, k) float
        As those of the clamps, either sense; infinite for what never gives way. [N, N m]
    takes : (k,) int
        What goes with a part that reaches its limit: `ALONE` nothing, so that its residual counts, `OPENS`
        the moments of its splice, `PARTS` all of it.
    parted : (s,) or (n, s) bool, optional
        Splices that had parted before.
    path : (parts, k) float, optional
        As that of the clamps; the mean of the clamps beside it by default.
    """

    held: ArrayLike
    load: ArrayLike
    capacity: ArrayLike
    residual: ArrayLike
    takes: IntArray
    parted: ArrayLike | None = None
    path: Array | None = None
