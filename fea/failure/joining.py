"""Clamps and parts of splices as one list of links, row after row and from left to right, for the kernel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fea.failure.assembled import Assembly, SpliceLoads
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Links:
    """What the kernel walks over: c clamps and k parts of splices.

    Attributes
    ----------
    place : (c + k,) int
        Where each clamp, then each part stands in the list.
    begins : (s,) int
        First part of each splice.
    splice : (c + k,) int
        Splice of each link in the list, -1 for clamps.
    loads, holds : two (n, c + k) float
    bends : (s,) bool
        Whether a splice passes on moments.
    others
        As `fea.failure.cascade.cascade`, in the order of the list.
    """

    place: IntArray
    begins: IntArray
    splice: IntArray
    Z: Array
    first: IntArray
    row: IntArray
    own: Array
    loads: tuple[Array, Array]
    holds: tuple[Array, Array]
    gone: BoolArray
    path: Array
    impact: Array
    lands: Array
    piece: IntArray
    seam: IntArray
    unzip: Array
    takes: IntArray
    bends: BoolArray


def join_links(
    roof: Assembly,
    n: int,
    clamps: tuple[Array, Array, Array, Array, BoolArray],
    path: Array,
    impact: Array,
    splices: SpliceLoads | None,
) -> Links:
    """Clamps (held, load, capacity, residual, missing) with the splices.

    Raises
    ------
    InputError
        Splices that the roof does not have, or sizes that do not fit.
    """
    c = len(roof.row)
    if splices is None:
        none = np.zeros(0, dtype=np.int64)
        return Links(
            np.arange(c), none, np.full(c, -1), roof.Z, roof.first, roof.row, roof.own, clamps[:2],
            clamps[2:4], clamps[4], path, impact, roof.lands, roof.piece, roof.seam, roof.unzip,
            np.zeros(c, dtype=np.int64), np.zeros(0, dtype=bool),
        )  # fmt: skip
    own = roof.splices
    if own is None:
        message = "cascade: splices are given, and the roof has none that can part."
        raise InputError(message)
    k, s = len(own.of), len(own.origin)
    list_ = np.argsort(np.concatenate([2 * np.arange(c) + 1, 2 * own.place[own.of]]), kind="stable")
    place = np.empty(c + k, dtype=np.int64)
    place[list_] = np.arange(c + k)
    parted = np.zeros(s, dtype=bool) if splices.parted is None else np.asarray(splices.parted, dtype=bool)
    try:
        more = [
            np.broadcast_to(np.asarray(a, dtype=float), (n, k))
            for a in (splices.held, splices.load, splices.capacity, splices.residual)
        ]
        open_ = np.broadcast_to(parted, (n, s))[:, own.of]
    except ValueError:
        message = f"cascade: splices must be ({n}, {k}) or ({k},), and parted ({n}, {s}) or ({s},)."
        raise InputError(message) from None
    if not (np.isfinite(more[0]).all() and np.isfinite(more[1]).all() and (more[2] > 0.0).all()):
        message = "cascade: forces of splices must be numbers, and their capacity positive."
        raise InputError(message)
    if not ((more[3] >= 0.0) & (more[3] <= more[2])).all():
        message = "cascade: residual of a splice must lie between 0 and its capacity."
        raise InputError(message)

    def joined(of_clamps: NDArray[Any], of_parts: NDArray[Any]) -> NDArray[Any]:
        return np.ascontiguousarray(np.concatenate([of_clamps, of_parts], axis=-1)[..., list_])

    Z = np.block([[roof.Z, own.Z[:, :c].T], [own.Z]])
    row = joined(roof.row, own.row[own.of])
    rows, pieces = roof.rows, len(roof.lands)
    along = path[:, own.between].mean(axis=1) if splices.path is None else splices.path
    held, load, capacity, residual = (joined(a, b) for a, b in zip(clamps[:4], more, strict=True))
    bends = np.zeros(s, dtype=bool)
    bends[own.of[own.bends]] = True
    none_ = np.zeros(k, dtype=np.int64)
    return Links(
        place=place,
        begins=np.searchsorted(own.of, np.arange(s)),
        splice=joined(np.full(c, -1), own.of),
        Z=np.ascontiguousarray(Z[np.ix_(list_, list_)]),
        first=np.searchsorted(row, np.arange(rows + 1)).astype(np.int64),
        row=row,
        own=joined(roof.own, own.own),
        loads=(held, load),
        holds=(capacity, residual),
        gone=joined(clamps[4], open_),
        path=joined(path, np.asarray(along, dtype=float)),
        impact=joined(impact, np.zeros((pieces, k))),
        lands=joined(roof.lands, np.zeros((pieces, k))),
        piece=joined(roof.piece, roof.piece[own.place[own.of]]),
        seam=joined(roof.seam, none_ - 1),
        unzip=joined(roof.unzip, np.zeros(k)),
        takes=joined(np.zeros(c, dtype=np.int64), splices.takes),
        bends=bends,
    )


def first_of(order: NDArray[np.int16], begins: IntArray) -> NDArray[np.int16]:
    """Place of the first event of each group of columns, (n, s); -1 without one."""
    if not len(begins):
        return np.zeros((len(order), 0), dtype=np.int16)
    late = np.where(order >= 0, order, np.iinfo(np.int16).max)
    found = np.minimum.reduceat(late, begins, axis=1)
    return np.where(found == np.iinfo(np.int16).max, -1, found).astype(np.int16)
