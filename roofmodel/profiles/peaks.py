"""Largest shear stress of torsion: that of the walls, without the peaks in their corners."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import Polygon, STRtree

from roofmodel.profiles.data import Walls
from roofmodel.profiles.plates import faces_of
from roofmodel.profiles.torsion import Twisting

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SHARP = np.radians(20.0)  # a re-entrant corner that turns more makes a peak of stress
ROUNDED = 3.0  # thicknesses of inside radius below which a bend makes one too (Bredt's flow within 8 % there)
AT_CORNER = 0.7  # thicknesses from a re-entrant corner whose peak of stress is left out (common practice)
ACROSS = 0.63  # least cosine between the normal of a face and the way to one that lies across the metal


def ring_of(xy: Array, shape: Polygon) -> tuple[IntArray, Array]:
    """Ring that each node (n,) is on, 0 the outer one and -1 none, and area within the inner ones."""
    face, ring = faces_of(shape)
    found = np.full(len(xy), -1)
    near = 1e-7 * float(np.sqrt(shape.area))
    edges = STRtree(np.asarray(shapely.linestrings(face)))
    node, edge = edges.query(np.asarray(shapely.points(xy)), predicate="dwithin", distance=near)
    found[node] = ring[edge]
    cross = face[:, 0, 0] * face[:, 1, 1] - face[:, 0, 1] * face[:, 1, 0]
    return np.asarray(found), np.asarray(-0.5 * np.bincount(ring, cross)[1:])


def peak(twist: Twisting, xy: Array, node: IntArray, shape: Polygon, walls: Walls) -> float:
    """Largest shear stress of a unit torque away from re-entrant corners. [1/m^3].

    Parameters
    ----------
    twist : Twisting
    xy : (n, 2) float
        Nodes. [m]
    node : (m, 6) int
        Those of its elements.
    shape : Polygon
    walls : Walls

    Notes
    -----
    What is left out at a corner reaches no farther than the metal there is thick by the outline itself, so
    that no thin wall is, recognized or not. Where such corners stand close, what the metal holds between is
    by its thickness t: t / J, and with a cell behind q / t of the shear flow q with half of that, as in round
    tubes. Nor is the stress less than the flow between two rings over their distance (equilibrium).
    """
    thin = float(walls.thickness.min()) if len(walls.thickness) else 0.1 * float(np.sqrt(shape.area))
    face, ring = faces_of(shape)
    corner = _re_entrant(face, ring, thin)
    away = np.ones(len(xy), dtype=bool)
    held = [_between_rings(twist.flow, shape)]
    if len(corner):
        at = face[corner, 0]
        thick, other = _across(face, ring, corner)
        reach = np.minimum(_reach(at, walls, thin), thick)
        near = cKDTree(xy).query_ball_point(at, AT_CORNER * reach)
        away[np.concatenate(near).astype(np.int64)] = False
        flow = np.abs(twist.flow[ring[corner]] - twist.flow[other])
        open_ = np.where(ring[corner] == other, 1.0, 0.5) * thick / twist.J
        held.append(np.where(np.isfinite(thick), flow / thick + open_, 0.0).max())
    return float(max(twist.stress[away[node]].max(initial=0.0), *held) or twist.stress.max())


def _reach(at: Array, walls: Walls, thin: float) -> Array:
    """Thickness (k,) of the thickest wall that meets each corner, the thinnest of all where none does."""
    if not len(walls.thickness):
        return np.full(len(at), thin)
    way = walls.end - walls.start
    to = at[:, None] - walls.start
    share = np.clip(np.einsum("kwd,wd->kw", to, way) / walls.width**2, 0.0, 1.0)
    beside = np.linalg.norm(to - share[..., None] * way, axis=2) <= 2.0 * walls.thickness
    return np.maximum(np.where(beside, walls.thickness, 0.0).max(axis=1), thin)


def _between_rings(flow: Array, shape: Polygon) -> float:
    """Largest flow between two rings over their distance. [1/m^3]."""
    one = np.asarray(shapely.get_rings(shape))
    apart = shapely.distance(one[:, None], one[None])
    between = np.abs(flow[:, None] - flow[None])
    return float(np.max(between[apart > 0.0] / apart[apart > 0.0], initial=0.0))


def _across(face: Array, ring: IntArray, corner: IntArray) -> tuple[Array, IntArray]:
    """Thickness (k,) of the metal at corners where faces start, and the ring on its other side."""
    before = _before(ring)
    way = face[:, 1] - face[:, 0]
    length = np.linalg.norm(way, axis=1)
    way = way / length[:, None]
    normal = np.stack([-way[:, 1], way[:, 0]], axis=1)
    to = face[None, :, 0] - face[corner, 0][:, None]
    along = np.clip(-np.einsum("knd,nd->kn", to, way), 0.0, length)
    to = to + along[..., None] * way
    far = np.linalg.norm(to, axis=2)
    ahead = np.maximum(
        np.einsum("knd,kd->kn", to, normal[corner]), np.einsum("knd,kd->kn", to, normal[before[corner]])
    )
    far[ahead < ACROSS * far] = np.inf
    far[np.arange(len(corner)), corner] = far[np.arange(len(corner)), before[corner]] = np.inf
    nearest = far.argmin(axis=1)
    return far[np.arange(len(corner)), nearest], ring[nearest]


def _before(ring: IntArray) -> IntArray:
    """The face (n,) before each one around its ring."""
    first, last = np.searchsorted(ring, ring), np.searchsorted(ring, ring, side="right") - 1
    n = np.arange(len(ring))
    return np.where(n == first, last, n - 1)


def _re_entrant(face: Array, ring: IntArray, thin: float) -> IntArray:
    """Faces that start where a corner sticks into the metal, sharp or rounded by less than `ROUNDED`."""
    found = []
    for one in range(ring[-1] + 1):
        at = np.flatnonzero(ring == one)
        after = face[at, 1] - face[at, 0]
        before = np.roll(after, 1, axis=0)
        cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
        turn = np.arctan2(cross, np.einsum("kd,kd->k", before, after))
        inward = np.maximum(-turn, 0.0)
        along = np.cumsum(np.linalg.norm(before, axis=1))
        s = np.concatenate([along - along[-1], along, along + along[-1]])  # once around on either side
        total = np.concatenate([[0.0], np.cumsum(np.tile(inward, 3))])
        first, last = np.searchsorted(s, along - thin), np.searchsorted(s, along + thin, side="right")
        bends = total[last] - total[first] > 2.0 / ROUNDED  # within a thickness on either side
        found.append(at[(turn < -SHARP) | (bends & (turn < -1e-6))])
    return np.concatenate(found)
