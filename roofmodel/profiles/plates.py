"""Straight pieces of metal between two faces of an outline that look at each other, also tapered ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

TAPER = 12.0  # faces at a smaller angle make one piece; a thickness that grows by 1 in 5 is 11.3 [deg]
SHORTEST = 1.0  # pieces shorter than this many thicknesses cannot buckle
ALONG = np.array([0.02, 0.25, 0.5, 0.75, 0.98])  # stations where a piece must be solid, ends left out
GLANCES = (0.5, 0.118, 0.736, 0.354, 0.972, 0.59, 0.208, 0.827)  # shares of its thickness, in no rhythm
FOLD = np.radians(20.0)  # a re-entrant corner that turns more ends a wall
SQUARE = np.radians(85.0)  # outer corners that turn less are obtuse
FARTHEST = 2.0  # thicknesses that the inner corner may lie past the outer one
FINE = 1e-5  # share of the root of the area by which corners may be off a straight face
ROUNDED = 1.5e-6  # the same for points rounded to 1 um: half a diagonal at the point and at both ends [m]
LEAST = 1e-6  # thinner than this share of the longest side: faces that only touch


@dataclass(frozen=True)
class Plates:
    """Pieces of metal between two faces.

    Attributes
    ----------
    corner : (n, 4, 2) float
        At the start on the right and left face, at the end on the left and right face; at a corner of walls
        up to the inner one, where the outer face may end before. [m]
    split : (n,) bool
        Whether both faces belong to different rings of the outline: a piece beside a cell.
    """

    corner: Array
    split: NDArray[np.bool_]

    @property
    def start(self) -> Array:
        """Middle of the start, (n, 2). [m]."""
        return np.asarray(self.corner[:, :2].mean(axis=1))

    @property
    def end(self) -> Array:
        """Middle of the end, (n, 2). [m]."""
        return np.asarray(self.corner[:, 2:].mean(axis=1))

    @property
    def length(self) -> Array:
        """Of the middle lines, (n,). [m]."""
        return np.asarray(np.linalg.norm(self.end - self.start, axis=1))

    @property
    def thick(self) -> Array:
        """Thickness at start and end, (n, 2). [m]."""
        across = self.corner[:, [1, 2]] - self.corner[:, [0, 3]]
        return np.asarray(np.linalg.norm(across, axis=2))

    def where(self, keep: NDArray[np.bool_]) -> Plates:
        """Some of them."""
        return Plates(self.corner[keep], self.split[keep])


def plates_of(outline: Polygon) -> Plates:
    """Pieces of an outline that are at least as long as they are thick.

    Parameters
    ----------
    outline : Polygon
        [m]

    Notes
    -----
    Faces of two rings meet around no end: such a piece lies between a cell and the outside or another cell,
    and metal goes on at both its ends.
    """
    face, ring = faces_of(shapely.simplify(outline, max(FINE * np.sqrt(outline.area), ROUNDED)))
    i, j, span, at = _facing(face)
    shapely.prepare(outline)
    for share in GLANCES:  # points are looked up faster than lines, and few of very many pairs are left
        corner = _quads(face, i, j, span, at)
        right, left = corner[:, [0, 3]].mean(axis=1), corner[:, 1:3].mean(axis=1)
        metal = np.flatnonzero(shapely.intersects_xy(outline, *(right + share * (left - right)).T))
        i, j, span, at = i[metal], j[metal], span[metal], at[metal]
    corner = _quads(face, i, j, span, at)
    foot = corner[:, None, 0] + (corner[:, 3] - corner[:, 0])[:, None] * ALONG[:, None]
    head = corner[:, None, 1] + (corner[:, 2] - corner[:, 1])[:, None] * ALONG[:, None]
    across = head - foot
    through = shapely.linestrings(np.stack([foot + 0.02 * across, foot + 0.98 * across], axis=2))
    solid = np.flatnonzero(np.asarray(shapely.covers(outline, through)).all(axis=1))
    middle = corner.mean(axis=1, keepdims=True)
    inside = np.asarray(shapely.polygons((middle + 0.98 * (corner - middle))[solid]))
    solid = solid[np.asarray(shapely.covers(outline, inside), dtype=bool)]
    i, j, span, at = i[solid], j[solid], span[solid], at[solid]
    span = _inner(face, ring, i, j, span, at)
    return Plates(_quads(face, i, j, span, at), ring[i] != ring[j])


def faces_of(outline: Polygon) -> tuple[Array, IntArray]:
    """Edges (n, 2, 2) with the metal on their left, and the ring (n,) that each is of, the outer one 0."""
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(shapely.orient_polygons(outline))]
    edges = [np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings]
    return np.concatenate(edges), np.repeat(np.arange(len(edges)), [len(one) for one in edges])


def _facing(face: Array) -> tuple[IntArray, IntArray, Array, Array]:
    """Pairs i, j of faces that look at each other, whether or not there is metal between them.

    Where they do along their common line, (k, 2), and where both ends of i and of j are on it, (k, 4).
    """
    length = np.linalg.norm(face[:, 1] - face[:, 0], axis=1)
    way = (face[:, 1] - face[:, 0]) / length[:, None]
    i, j = np.nonzero(np.triu(way @ way.T < -np.cos(np.radians(TAPER)), 1))
    line = way[i] - way[j]
    line = line / np.linalg.norm(line, axis=1, keepdims=True)
    ends = np.stack([face[i], face[j]], axis=1).reshape(-1, 4, 2) - face[i, :1]
    at = np.einsum("ked,kd->ke", ends, line)
    span = np.stack([np.maximum(at[:, 0], at[:, 3]), np.minimum(at[:, 1], at[:, 2])], axis=1)
    least = LEAST * float(np.ptp(face.reshape(-1, 2), axis=0).max())
    keep = span[:, 1] - span[:, 0] > least
    i, j, span, at, line = i[keep], j[keep], span[keep], at[keep], line[keep]
    corner = _quads(face, i, j, span, at)
    inward = np.stack([-line[:, 1], line[:, 0]], axis=1)
    thick = np.einsum("ked,kd->ke", corner[:, [1, 2]] - corner[:, [0, 3]], inward)
    mean = thick.mean(axis=1)
    long = span[:, 1] - span[:, 0] >= SHORTEST * mean
    keep = (thick.min(axis=1) > -least) & (mean > least) & long
    return i[keep], j[keep], span[keep], at[keep]


def _quads(face: Array, i: IntArray, j: IntArray, span: Array, at: Array) -> Array:
    """Corners (k, 4, 2) of pieces as in `Plates`, on the lines of their faces."""
    right = [face[i, 0] + _share(at[:, 0], at[:, 1], s) * (face[i, 1] - face[i, 0]) for s in span.T]
    left = [face[j, 0] + _share(at[:, 2], at[:, 3], s) * (face[j, 1] - face[j, 0]) for s in span.T]
    return np.stack([right[0], left[0], left[1], right[1]], axis=1)


def _inner(face: Array, ring: IntArray, i: IntArray, j: IntArray, span: Array, at: Array) -> Array:
    """Span (k, 2) of pieces up to the re-entrant corner where one of both faces ends in such a corner.

    At an obtuse corner with a thinner wall the outer face ends first; the flat wall does not.
    """
    n = np.arange(len(ring))
    first, last = np.searchsorted(ring, ring), np.searchsorted(ring, ring, side="right") - 1
    before, after = np.where(n == first, last, n - 1), np.where(n == last, first, n + 1)
    way = face[:, 1] - face[:, 0]
    turn = np.arctan2(
        way[:, 0] * way[after, 1] - way[:, 1] * way[after, 0], np.einsum("nd,nd->n", way, way[after])
    )  # at the end of each face
    corner = _quads(face, i, j, span, at)
    far = FARTHEST * np.linalg.norm(corner[:, [1, 2]] - corner[:, [0, 3]], axis=2)
    found = span.copy()
    for k, one, other, tip, sign in (
        (0, turn[before[i]], turn[j], at[:, [0, 3]], -1.0),
        (1, turn[i], turn[before[j]], at[:, [1, 2]], 1.0),
    ):
        for inner, outer, to in ((one, other, tip[:, 0]), (other, one, tip[:, 1])):
            past = sign * (to - span[:, k])
            obtuse = (inner < -FOLD) & (outer > FOLD) & (outer < SQUARE)
            found[:, k] = np.where(obtuse & (past > 0.0) & (past < far[:, k]), to, found[:, k])
    return found


def _share(a: Array, b: Array, s: Array) -> Array:
    return np.asarray(((s - a) / (b - a))[:, None])
