"""Plates that go on into each other as one wall: tapers, steps of thickness, slight bends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.counting import within
from roofmodel.profiles.joints import BEND, BULB, directions, free_ends, meeting, together
from roofmodel.profiles.plates import TAPER, Plates, faces_of

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

STRAIGHT = np.cos(np.radians(TAPER))  # plates of one wall that turn more from its chord: a curve
THICKER = 3.0  # plates this many times thicker hold the thinner one they go on into (judgment)
PLATE = 3.0  # lengths over thickness from which such a thick one is no lump at the edge
BETWEEN = np.array([0.01, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99])  # shares of the thickness where metal links ends
LUMP = 5.0  # a lump of this many thicknesses within a wall holds it, as a stiffener does (judgment)
RIB = (
    0.2  # a rib with a free edge holds a wall from this share of its width on (EN 1993-1-3 5.2, from memory)
)


@dataclass(frozen=True)
class Chains:
    """Walls made of one or more plates.

    Attributes
    ----------
    start, end : (n, 2) float
        [m]
    thick : (n, 2) float
        At start and end. [m]
    least : (n,) float
        Least thickness. [m]
    split : (n,) bool
        Whether all plates lie beside a cell.
    thicker : (n, 2) bool
        Ends where a wall goes on into one that holds nothing of it: a much thinner one, or a thick edge.
    lost : (k, 4) float
        Curves, as `Walls.lost`.
    """

    start: Array
    end: Array
    thick: Array
    least: Array
    split: BoolArray
    thicker: BoolArray
    lost: Array


def chains_of(outline: Polygon, plates: Plates, rest: list[BaseGeometry], size: Array) -> Chains:
    """Walls of plates, those that go on into each other without a fold or a third wall as one.

    Parameters
    ----------
    outline : Polygon
    plates : Plates
    rest : list of (k) polygons
        What no plate covers.
    size : (k,) float
        Their widest circles. [m]
    """
    n = len(plates.split)
    if not n:
        none = np.zeros((0, 2))
        empty = np.zeros(0, dtype=bool)
        return Chains(none, none, none, np.zeros(0), empty, np.zeros((0, 2), dtype=bool), np.zeros((0, 4)))
    free = free_ends(outline, plates.start, plates.end, plates.thick)
    goes_on = _going_on(outline, plates, rest, size, free)
    thick = plates.thick.reshape(-1)
    mean = np.repeat(plates.thick.mean(axis=1), 2)
    much = mean[:, None] > THICKER * mean[None]
    far_loose = (free & ~plates.split[:, None])[:, ::-1].reshape(-1)
    slab = np.repeat(plates.length > PLATE * plates.thick.mean(axis=1), 2)
    edge = much & (far_loose & slab)[:, None]  # a thick plate with a free edge moves with the thin one
    apart = (much & ~edge) | (much & ~edge).T
    # Its own end at the thin one is an edge that nothing holds; a small thick edge holds nothing of the thin.
    ends = (goes_on & much & apart).any(axis=1)
    ends |= (
        goes_on & much.T & apart & (far_loose & ~slab)[None] & (thick[None] < BULB * thick[:, None])
    ).any(axis=1)
    return _linked(outline, plates, goes_on & ~apart, ends.reshape(-1, 2))


def _going_on(
    outline: Polygon, plates: Plates, rest: list[BaseGeometry], size: Array, free: BoolArray
) -> BoolArray:
    """Which ends (2n, 2n) go on into which, straight or by a slight bend."""
    way = directions(plates.start, plates.end)
    thick, width = plates.thick.reshape(-1), np.repeat(plates.length, 2)
    tip = np.stack([plates.start, plates.end], axis=1).reshape(-1, 2)
    owner = np.repeat(np.arange(len(width) // 2), 2)
    other = owner[:, None] != owner[None]
    opposite = (way @ way.T <= -BEND) & other
    touches = together(plates.start, plates.end, plates.thick, rest)
    near = meeting(touches)
    between = tip[None] - tip[:, None]
    along = np.einsum("abd,ad->ab", between, way)
    aside = np.abs(np.einsum("abd,ad->ab", between, np.stack([-way[:, 1], way[:, 0]], axis=1)))
    wide = thick[:, None] + thick[None]
    most = np.maximum(thick[:, None], thick[None])
    inline = (aside <= 0.5 * wide + 0.25 * np.maximum(along, 0.0)) & (along > -0.25 * wide)
    abut = (np.abs(along) <= 0.1 * wide) & (aside <= 0.5 * wide)
    small = (touches * size) @ touches.T.astype(float)
    over = (near | _close(outline, plates, tip, wide, opposite & inline)) & inline & (small < LUMP * most)
    folded = near & (np.abs(way @ way.T) <= BEND) & other
    rib = free[:, ::-1].reshape(-1)[None] & (width[None] < RIB * width[:, None])
    held = (folded & ~rib).any(axis=1)
    return np.asarray(opposite & (abut | (over & ~(held[:, None] | held[None]))))


def _close(outline: Polygon, plates: Plates, tip: Array, wide: Array, asked: BoolArray) -> BoolArray:
    """Pairs of nearest ends with metal between, nearer than both are thick: joints too small for a lump.

    Metal anywhere across their thickness: a groove may leave one side only.
    """
    apart = np.where(asked, np.linalg.norm(tip[None] - tip[:, None], axis=2), np.inf)
    nearest = apart <= (1.0 + 1e-9) * apart.min(axis=1, keepdims=True)
    found = nearest & nearest.T & (apart <= wide)
    a, b = np.nonzero(found)
    right, left = (plates.corner[:, which].reshape(-1, 2) for which in ([1, 3], [0, 2]))  # looking outward
    one = left[a, None] + (right - left)[a, None] * BETWEEN[:, None]
    two = right[b, None] + (left - right)[b, None] * BETWEEN[:, None]
    between = np.asarray(shapely.linestrings(np.stack([one, two], axis=2)))
    found[a, b] = np.asarray(shapely.covers(outline, between), dtype=bool).any(axis=1)
    return found


def _linked(outline: Polygon, plates: Plates, link: BoolArray, ends: BoolArray) -> Chains:
    """Walls of plates that are linked end to end."""
    n = len(plates.split)
    link = link | link.T
    walls = np.asarray(link.reshape(n, 2, n, 2).any(axis=(1, 3)))
    count, label = connected_components(walls, directed=False)
    outer = ~link.any(axis=1)  # ends of plates that end their wall
    tip = np.stack([plates.start, plates.end], axis=1).reshape(-1, 2)
    thick, least = plates.thick.reshape(-1), plates.thick.min(axis=1)
    whole = np.bincount(np.repeat(label, 2), outer, count) == 2
    whole &= np.bincount(np.repeat(label, 2), link.sum(axis=1) > 1, count) == 0
    kept, found = np.ones(n, dtype=bool), []
    lost = [np.zeros((0, 4))]
    way = (plates.end - plates.start) / plates.length[:, None]
    for k in np.flatnonzero(np.bincount(label, minlength=count) > 1).tolist():
        member = np.flatnonzero(label == k)
        at = np.flatnonzero(outer & (np.repeat(label, 2) == k))
        chord = tip[at[-1]] - tip[at[0]] if whole[k] else np.zeros(2)
        straight = np.abs(way[member] @ chord) >= STRAIGHT * np.linalg.norm(chord)
        if not (whole[k] and straight.all()):
            place = 0.5 * (plates.start + plates.end)[member[len(member) // 2]]
            lost.append(np.array([[*place, least[member].min(), plates.length[member].sum()]]))
            continue
        kept[member] = False
        thin = min(float(least[member].min()), _thinnest(outline, plates, member, tip[at[0]], chord))
        found.append(
            (tip[at[0]], tip[at[1]], thick[at], thin, plates.split[member].all(), ends.reshape(-1)[at])
        )
    return Chains(
        start=np.concatenate([plates.start[kept], np.array([f[0] for f in found]).reshape(-1, 2)]),
        end=np.concatenate([plates.end[kept], np.array([f[1] for f in found]).reshape(-1, 2)]),
        thick=np.concatenate([plates.thick[kept], np.array([f[2] for f in found]).reshape(-1, 2)]),
        least=np.concatenate([least[kept], np.array([f[3] for f in found])]),
        split=np.concatenate([plates.split[kept], np.array([f[4] for f in found], dtype=bool)]),
        thicker=np.concatenate([ends[kept], np.array([f[5] for f in found], dtype=bool).reshape(-1, 2)]),
        lost=np.concatenate(lost),
    )


def _thinnest(outline: Polygon, plates: Plates, member: IntArray, first: Array, chord: Array) -> float:
    """Least thickness of a wall between its plates, where grooves may be. [m]."""
    long = float(np.linalg.norm(chord))
    way = chord / long
    turn = np.column_stack([way, [-way[1], way[0]]])  # to along the chord and across
    tips = (np.concatenate([plates.start[member], plates.end[member]]) - first) @ turn
    tips = tips[np.argsort(tips[:, 0])]
    thin, wide = float(plates.thick[member].min()), float(plates.thick[member].max())
    edge = (faces_of(outline)[0] - first) @ turn
    corner = edge[:, 0]
    beside = np.abs(corner[:, 1] - np.interp(corner[:, 0], *tips.T)) <= 3.0 * wide
    at = np.unique(np.concatenate([corner[beside, 0], np.linspace(0.0, long, 41)]))
    at = at[np.diff(at, prepend=-np.inf) > 1e-7 * long]  # no cut runs along the flank of a groove
    at = np.unique(np.concatenate([at - 1e-6 * long, at + 1e-6 * long, 0.5 * (at[1:] + at[:-1])]))
    at = at[(at > 0.5 * wide) & (at < long - 0.5 * wide)]  # a cut nearer to a free end leaves through its tip
    cut, across = _crossed(edge, at)
    middle = np.interp(at, *tips.T)[cut]
    near = np.maximum(across[:, 0] - middle, middle - across[:, 1]) < 0.499 * thin  # what a groove leaves
    left = np.zeros(len(at))
    np.maximum.at(left, cut[near], np.diff(across[near])[:, 0])  # not the sliver beside a flank
    return float(left.min(where=left > 0.0, initial=np.inf))


def _crossed(edge: Array, at: Array) -> tuple[IntArray, Array]:
    """Where lines x = `at` (m,), ascending, run in metal: line (k,) and from and to (k, 2).

    Of edges (n, 2, 2) of closed rings; one that ends on a line counts for those beyond it, so that each
    line crosses an even number.
    """
    x, y = edge[..., 0], edge[..., 1]
    first, last = np.searchsorted(at, x.min(axis=1)), np.searchsorted(at, x.max(axis=1))
    count = last - first
    one = np.repeat(np.arange(len(edge)), count)
    line = first[one] + within(count)
    share = (at[line] - x[one, 0]) / (x[one, 1] - x[one, 0])
    place = y[one, 0] + share * (y[one, 1] - y[one, 0])
    order = np.lexsort((place, line))
    return line[order][::2], place[order].reshape(-1, 2)
