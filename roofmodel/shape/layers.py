"""Where on plan a mesh lies in one layer, so that nothing can hide anything: told from its free edges alone.

All faces turn the same way on plan. So the number of faces over a point is the winding number of the edges
that no two of them share, around it: a sum over few edges in place of a search among all faces.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.counting import within
from roofmodel.shape.cleaning import Edges, ordered_edges
from roofmodel.surface import Array, IntArray

CELLS = 1_000_000  # of the grid on plan, about
FINEST = 0.01  # cells, larger than what welding moves [m]
MARKS = 4_000_000  # places along edges; more of them cross all of the grid, and nothing is told


def in_one_layer(
    points: Array, faces: IntArray, spots: Array, folds: bool = False, ordered: Edges | None = None
) -> NDArray[np.bool_]:
    """Whether spots on plan surely lie under or on one face and no other.

    Parameters
    ----------
    points : (n, 3) float
        Welded. [m]
    faces : (m, 3) int
        None vertical, counter-clockwise from above.
    spots : (k, 2) float
        [m]
    folds : bool
        Whether a sheet folded over, so that some of its faces are clockwise, is one layer.
    ordered : tuple, optional
        Edges of the faces as `ordered_edges` gives them.

    Returns
    -------
    (k,) bool
        False also where it cannot be told: near free edges.
    """
    from scipy.ndimage import binary_dilation

    start, end, times = _free_edges(points, faces, folds, ordered)
    low = points[:, :2].min(axis=0)
    size = np.ptp(points[:, :2], axis=0) + 1e-6
    cell = max(float(np.sqrt(size.prod() / CELLS)), FINEST)
    shape = np.ceil(size / cell).astype(np.int64) + 1
    ends = (np.stack([start, end]) - low) / cell
    pieces = np.ceil(np.abs(ends[1] - ends[0]).max(axis=1)).astype(np.int64) + 1
    if pieces.sum() > MARKS or shape.prod() > 4 * CELLS:
        return np.zeros(len(spots), dtype=bool)
    edge = np.repeat(np.arange(len(pieces)), pieces)
    share = within(pieces) / (pieces - 1)[edge].clip(1)
    mark = np.floor(ends[0, edge] + share[:, None] * (ends[1] - ends[0])[edge]).astype(np.int64)
    near = np.zeros(shape, dtype=bool)
    near[tuple(mark.T)] = True
    near = binary_dilation(near, np.ones((3, 3), dtype=bool))
    sure = ~near & (_windings(ends, times, shape) == 1)
    at = np.floor((spots - low) / cell).astype(np.int64)
    return np.asarray(sure[tuple(at.T)])


def faces_around(corner: Array, spots: Array) -> IntArray:
    """Triangles (m, 3, 2), by number, whose boxes reach a grid cell that one of some spots (k, 2) lies in."""
    if not len(spots):
        return np.zeros(0, dtype=np.int64)
    low = spots.min(axis=0)
    cell = max(float(np.sqrt((np.ptp(spots, axis=0) + 1e-6).prod() / CELLS)), FINEST)
    at = np.floor((spots - low) / cell).astype(np.int64)
    shape = at.max(axis=0) + 1
    if shape.prod() > 4 * CELLS:
        return np.arange(len(corner))
    until = np.zeros(shape + 1, dtype=np.int64)  # spots in all cells before one
    np.add.at(until, tuple(at.T + 1), 1)
    until = until.cumsum(axis=0).cumsum(axis=1)
    box = []
    for axis in range(2):
        a, b, c = corner[:, :, axis].T
        first, last = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
        for side, more in ((first, 0), (last, 1)):
            box.append(np.clip(np.floor((side - low[axis]) / cell) + more, 0, shape[axis]).astype(np.int64))
    x0, x1, y0, y1 = box
    return np.flatnonzero(until[x1, y1] - until[x0, y1] - until[x1, y0] + until[x0, y0])


def _free_edges(
    points: Array, faces: IntArray, folds: bool, ordered: Edges | None
) -> tuple[Array, Array, IntArray]:
    """Ends (e, 2) of edges that faces on their two sides do not share, and how often they count."""
    x, y = (axis[faces].T for axis in points[:, :2].T)
    turned = (x[1] - x[0]) * (y[2] - y[0]) < (x[2] - x[0]) * (y[1] - y[0])
    directed, key, order = ordered_edges(faces, len(points)) if ordered is None else ordered
    sign = np.where(directed[:, 0] < directed[:, 1], 1, -1)
    first = np.flatnonzero(np.r_[True, key[order[1:]] != key[order[:-1]]])
    total = np.add.reduceat(sign[order], first)
    free = total != 0
    half = order[first[free]]
    times = total[free] * sign[half]
    if turned.any() and not folds:  # welding turned slivers over: nothing is told near them
        more = np.flatnonzero(np.repeat(turned, 3))
        half, times = (
            np.concatenate([half, more]),
            np.concatenate([times, np.zeros(len(more), dtype=np.int64)]),
        )
    ends = points[directed[half], :2]
    return ends[:, 0], ends[:, 1], times


def _windings(ends: Array, times: IntArray, shape: IntArray) -> IntArray:
    """Winding number of edges (2, e, 2) around the middle of each cell of a grid of unit cells."""
    (x0, y0), (x1, y1) = (one.T for one in ends)
    first = np.ceil(np.minimum(y0, y1) - 0.5).astype(np.int64)
    rows = np.maximum(np.ceil(np.maximum(y0, y1) - 0.5).astype(np.int64) - first, 0)
    edge = np.repeat(np.arange(len(rows)), rows)
    row = within(rows) + first[edge]
    share = (row + 0.5 - y0[edge]) / (y1 - y0)[edge]
    x = x0[edge] + share * (x1 - x0)[edge]
    # An edge that goes up counts once for all that lies left of it.
    column = np.clip(np.ceil(x - 0.5).astype(np.int64), 0, shape[0])
    change = np.zeros((shape[0] + 1, shape[1]), dtype=np.int64)
    np.add.at(change, (column, row), np.where(y1 > y0, times, -times)[edge])
    right = np.cumsum(change[::-1], axis=0)[::-1]
    return np.asarray(right[1:])
