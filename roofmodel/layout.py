"""Rows, clamps and splices as they stand on the planes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


class SpliceKind(StrEnum):
    """What a splice passes on."""

    HINGE = "hinge"  # axial force and shear, no bending; torsion as `Rail.splice_torsion` says
    CONTINUOUS = "continuous"  # everything
    SLIDING = "sliding"  # as a hinge, without axial force


@dataclass(frozen=True)
class Layout:
    """Everything that is placed on the roof.

    Positions s run along a row from its start, which is its left end looking up the slope.

    Attributes
    ----------
    row_name : tuple of str, (r,)
    row_plane : (r,) int
    row_start, row_end : (r, 2) float
        Rail ends in the plane's (u, v). [m]
    row_full : (r, 2) bool
        Whether the row runs to the edge of its plane at start and end; else it is a partial row.
    clamp_name : tuple of str, (c,)
        Such as "R1-07"; sorted by row, then by s.
    clamp_row : (c,) int
    clamp_s : (c,) float
        [m]
    clamp_uv : (c, 2) float
        Plane coordinates. [m]
    clamp_seam : (c,) int
        Seam number on the plane, 0 for the first seam.
    seam_angle : (r,) float
        Angle from the fall line to the seam direction of the row's plane, positive toward +u going
        up. [rad]
    splice_row : (k,) int
    splice_s : (k,) float
        [m]
    splice_kind : tuple of SpliceKind, (k,)
    """

    row_name: tuple[str, ...]
    row_plane: IntArray
    row_start: Array
    row_end: Array
    row_full: NDArray[np.bool_]
    clamp_name: tuple[str, ...]
    clamp_row: IntArray
    clamp_s: Array
    clamp_uv: Array
    clamp_seam: IntArray
    seam_angle: Array
    splice_row: IntArray
    splice_s: Array
    splice_kind: tuple[SpliceKind, ...]

    @property
    def row_length(self) -> Array:
        """Rail lengths, (r,). [m]."""
        return np.asarray(np.linalg.norm(self.row_end - self.row_start, axis=1))

    @property
    def row_way(self) -> Array:
        """Unit directions on plan from start to end, (r, 2). [-]."""
        return np.asarray((self.row_end - self.row_start) / self.row_length[:, None])

    @property
    def clamp_xy(self) -> Array:
        """Plan points of the clamps, (c, 2). [m]."""
        own = self.row_way[self.clamp_row]
        return np.asarray(self.row_start[self.clamp_row] + self.clamp_s[:, None] * own)


def rail_lengths(layout: Layout, parted: NDArray[np.bool_] | None = None) -> tuple[IntArray, Array]:
    """Lengths of rail from end to splice to end, row by row from the left.

    Parameters
    ----------
    layout : Layout
    parted : (k,) bool, optional
        Splices that part the rail; all of them by default.

    Returns
    -------
    row : (n,) int
    length : (n,) float
        [m]
    """
    chosen = slice(None) if parted is None else parted
    rows = np.arange(len(layout.row_name))
    row = np.concatenate([rows, rows, layout.splice_row[chosen]])
    at = np.concatenate([np.zeros(len(rows)), layout.row_length, layout.splice_s[chosen]])
    order = np.lexsort((at, row))
    row, at = row[order], at[order]
    inside = np.flatnonzero(np.diff(row) == 0)
    return row[inside], np.diff(at)[inside]


def no_rows() -> Layout:
    """Layout of a roof without rows."""
    none, pairs = np.zeros(0, dtype=np.int64), np.zeros((0, 2))
    return Layout(
        row_name=(),
        row_plane=none,
        row_start=pairs,
        row_end=pairs,
        row_full=np.zeros((0, 2), dtype=bool),
        clamp_name=(),
        clamp_row=none,
        clamp_s=np.zeros(0),
        clamp_uv=pairs,
        clamp_seam=none,
        seam_angle=np.zeros(0),
        splice_row=none,
        splice_s=np.zeros(0),
        splice_kind=(),
    )


def without_clamps(layout: Layout, gone: IntArray) -> Layout:
    """The layout without some of its clamps; rails, splices and names of the others stay.

    Parameters
    ----------
    layout : Layout
    gone : (k,) int
        Clamps that are taken out; at least one must stay on every row.
    """
    kept = np.ones(len(layout.clamp_name), dtype=bool)
    kept[gone] = False
    return replace(
        layout,
        clamp_name=tuple(name for name, stays in zip(layout.clamp_name, kept, strict=True) if stays),
        clamp_row=layout.clamp_row[kept],
        clamp_s=layout.clamp_s[kept],
        clamp_uv=layout.clamp_uv[kept],
        clamp_seam=layout.clamp_seam[kept],
    )


def rows_alone(layout: Layout, kept: NDArray[np.bool_]) -> Layout:
    """The layout of some rows, (r,) true, numbered anew in their order."""
    number = np.cumsum(kept) - 1
    clamp, splice = kept[layout.clamp_row], kept[layout.splice_row]

    def of(names: tuple[str, ...], on: NDArray[np.bool_]) -> tuple[str, ...]:
        return tuple(name for name, there in zip(names, on, strict=True) if there)

    return Layout(
        row_name=of(layout.row_name, kept),
        row_plane=layout.row_plane[kept],
        row_start=layout.row_start[kept],
        row_end=layout.row_end[kept],
        row_full=layout.row_full[kept],
        clamp_name=of(layout.clamp_name, clamp),
        clamp_row=number[layout.clamp_row[clamp]],
        clamp_s=layout.clamp_s[clamp],
        clamp_uv=layout.clamp_uv[clamp],
        clamp_seam=layout.clamp_seam[clamp],
        seam_angle=layout.seam_angle[kept],
        splice_row=number[layout.splice_row[splice]],
        splice_s=layout.splice_s[splice],
        splice_kind=tuple(k for k, own in zip(layout.splice_kind, splice, strict=True) if own),
    )
