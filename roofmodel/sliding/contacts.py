"""Stretches of edges that cells border, and which of them lie beside one another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.counting import within
from roofmodel.sliding.cells import Cells
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

TOUCH = 1e-6  # less of a cell's bound than this is rounding, not contact [-]


@dataclass(frozen=True)
class Contacts:
    """Cells that border edges: cell, edge, and the part of the edge as fractions of its length."""

    cell: IntArray
    edge: IntArray
    t: Array


def take(contacts: Contacts, mask: NDArray[np.bool_]) -> Contacts:
    """Some of the contacts."""
    return Contacts(contacts.cell[mask], contacts.edge[mask], contacts.t[mask])


def contacts_of(roof: RoofSurface, cells: Cells, edge: IntArray, ends: Array) -> Contacts:
    """Cells bordering an edge, with the stretch of the edge they take (fractions, rising)."""
    cell = np.flatnonzero(edge >= 0)
    e = edge[cell]
    start, way = roof.edges.start[e], roof.edges.end[e] - roof.edges.start[e]
    plane = np.repeat(cells.plane[cell], 2)
    world = roof.planes.to_world(plane, ends[cell].reshape(-1, 2)).reshape(-1, 2, 3)
    t = np.einsum("nij,nj->ni", world - start[:, None], way) / np.sum(way * way, axis=1)[:, None]
    return Contacts(cell, e, np.clip(np.sort(t, axis=1), 0.0, 1.0))


def overlaps(a: Contacts, edge: IntArray, t: Array) -> tuple[IntArray, IntArray, Array]:
    """Overlaps of stretches a with stretches (edge, t): index in a, index in t, share of what a overlaps.

    A contact that overlaps none, as at corners that surveyed planes do not quite share, takes the nearest
    of its edge; shares of a contact add up to one, or there are none where its edge has no stretch.
    """
    if not len(a.cell) or not len(edge):
        empty = np.zeros(0, dtype=np.int64)
        return empty, empty, np.zeros(0)
    order = np.lexsort((t[:, 0], edge))
    start = 2.0 * edge[order] + t[order, 0]
    end = 2.0 * edge[order] + t[order, 1]
    low = np.searchsorted(end, 2.0 * a.edge + a.t[:, 0], side="right")
    high = np.searchsorted(start, 2.0 * a.edge + a.t[:, 1], side="left")
    count = np.maximum(high - low, 0)
    i = np.repeat(np.arange(len(count)), count)
    j = order[within(count) + low[i]]
    length = np.minimum(a.t[i, 1], t[j, 1]) - np.maximum(a.t[i, 0], t[j, 0])
    share = length / np.maximum(a.t[i, 1] - a.t[i, 0], 1e-15)
    keep = (share > TOUCH) & (a.edge[i] == edge[j])
    i, j, share = i[keep], j[keep], share[keep]
    alone = np.setdiff1d(np.flatnonzero(np.isin(a.edge, edge)), i)
    i, j = np.concatenate([i, alone]), np.concatenate([j, order[_nearest(a, alone, start, end)]])
    share = np.concatenate([share, np.ones(len(alone))])
    return i, j, share / np.bincount(i, share, len(a.cell))[i]


def _nearest(a: Contacts, index: IntArray, start: Array, end: Array) -> IntArray:
    """Nearest of the sorted stretches (2 edge + t) to contacts whose edge has one."""
    place = 2.0 * a.edge[index] + a.t[index].mean(axis=1)
    after = np.searchsorted(start, place)
    before = np.maximum(after - 1, 0)
    after = np.minimum(after, len(start) - 1)
    first = np.abs(place - end[before]) <= np.abs(start[after] - place)
    return np.where(first, before, after)


def side_of(roof: RoofSurface, cells: Cells, contacts: Contacts) -> IntArray:
    """Whether a cell lies on the first (0) or second (1) plane of the edge it borders."""
    return (cells.plane[contacts.cell] == roof.edges.plane[contacts.edge, 1]).astype(np.int64)
