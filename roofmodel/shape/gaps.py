"""Gaps between planes that should meet: slabs cut square leave one along ridge and hip; both are extended."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.shape.edges import Pieces, overlap_pairs
from roofmodel.surface import Array, IntArray

RIDGE_REACH = 0.6  # planes that fall away from each other are extended by no more than this [m]
REACH = 0.1  # others by no more than this: a wider slot may be a gutter, or two roofs side by side [m]
COMMON = 0.7  # share of the shorter edge that must run along the other
SHORTEST = 0.3  # [m]
ALMOST_ONE = np.sin(np.radians(3.0))  # planes within this angle have no clear common line
PARALLEL = 0.1  # sine of the angle from which two edges have a clear corner


@dataclass(frozen=True)
class _Sides:
    """All edges of all rings: ends, plane, ring and place in it."""

    start: Array
    end: Array
    plane: IntArray
    ring: IntArray
    place: IntArray


def close_gaps(
    normal: Array, point: Array, rings: Sequence[Sequence[Array]], tolerance: float
) -> tuple[list[list[Array]], NDArray[np.bool_], list[str]]:
    """Extend planes to their common line where only a gap keeps them apart.

    Parameters
    ----------
    normal, point : (p, 3) float
        Unit normals that point up, and one point on each plane. [m]
    rings : sequence (p) of sequences of (k, 3) float
        Corners of the outer ring (counter-clockwise from above), then of the holes. [m]
    tolerance : float
        Edges nearer than this are one anyway. [m]

    Returns
    -------
    rings : list (p) of lists of (k, 3) float
    changed : (p,) bool
    notes : list of str
        What was extended. No plane is ever cut back.
    """
    same = [list(group) for group in rings]
    changed = np.zeros(len(normal), dtype=bool)
    sides = _sides(rings)
    first, second, gap = _pairs(sides, normal, point, tolerance)
    if len(first) == 0:
        return same, changed, []
    lines: dict[int, tuple[Array, Array]] = {}
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        on, way = _common_line(normal, point, sides, np.array([a]), np.array([b]))
        lines[a] = lines[b] = (on[0], way[0])
    by_ring: dict[tuple[int, int], dict[int, tuple[Array, Array]]] = {}
    for side, line in lines.items():
        by_ring.setdefault((int(sides.plane[side]), int(sides.ring[side])), {})[int(sides.place[side])] = line
    for (plane, ring), new in by_ring.items():
        same[plane][ring] = _extended(same[plane][ring], normal[plane], new)
        changed[plane] = True
    length = np.linalg.norm(sides.end - sides.start, axis=1)[first].sum()
    note = (
        f"{len(first)} edges of neighboring planes stood up to {gap.max() * 1e3:.0f} mm apart "
        f"({length:.1f} m in all); both planes were extended to the line where they meet."
    )
    return same, changed, [note]


def _sides(rings: Sequence[Sequence[Array]]) -> _Sides:
    table = [
        (plane, ring, corners) for plane, group in enumerate(rings) for ring, corners in enumerate(group)
    ]
    count = np.array([len(corners) for _, _, corners in table])
    return _Sides(
        start=np.concatenate([corners for _, _, corners in table]),
        end=np.concatenate([np.roll(corners, -1, axis=0) for _, _, corners in table]),
        plane=np.repeat(np.array([plane for plane, _, _ in table]), count),
        ring=np.repeat(np.array([ring for _, ring, _ in table]), count),
        place=np.concatenate([np.arange(n) for n in count]),
    )


def _pairs(sides: _Sides, normal: Array, point: Array, tolerance: float) -> tuple[IntArray, IntArray, Array]:
    """Edges that only a gap keeps apart, each in one pair, and the width of the gap. [m]."""
    pieces = Pieces(sides.start, sides.end, np.column_stack([sides.plane, np.full(len(sides.plane), -1)]))
    matched = np.zeros(len(sides.plane), dtype=bool)
    met = overlap_pairs(pieces, tolerance)
    matched[met[0]] = matched[met[1]] = True
    first, second, stretch = overlap_pairs(pieces, 2.0 * RIDGE_REACH)
    length = pieces.length
    run = stretch[:, 1] - stretch[:, 0]
    keep = (first < second) & ~matched[first] & ~matched[second]
    keep &= (run > SHORTEST) & (run > COMMON * np.minimum(length[first], length[second]))
    first, second = first[keep], second[keep]
    cross = np.linalg.norm(np.cross(normal[sides.plane[first]], normal[sides.plane[second]]), axis=1)
    wide = _widths(sides) > REACH  # lips of gutters and cover strips meet no slope
    keep = (cross > ALMOST_ONE) & wide[sides.plane[first]] & wide[sides.plane[second]]
    first, second = first[keep], second[keep]
    if len(first) == 0:
        return first, second, np.zeros(0)
    on, way = _common_line(normal, point, sides, first, second)
    out = [_outward(sides, normal, side) for side in (first, second)]
    falls = (out[0][:, 2] > 0.0) & (out[1][:, 2] > 0.0)  # both rise toward the gap
    reach = np.where(falls, RIDGE_REACH, REACH)
    fits = np.ones(len(first), dtype=bool)
    for side, outward in zip((first, second), out, strict=True):
        for end in (sides.start[side], sides.end[side]):
            delta = on - end
            move = delta - np.sum(delta * way, axis=1)[:, None] * way
            fits &= np.linalg.norm(move, axis=1) <= reach
            fits &= np.sum(move * outward, axis=1) >= -0.1 * tolerance
    middle = [0.5 * (sides.start[side] + sides.end[side]) for side in (first, second)]
    delta = middle[1] - middle[0]
    gap = np.linalg.norm(delta - np.sum(delta * way, axis=1)[:, None] * way, axis=1)
    chosen: list[int] = []
    taken: set[int] = set()
    for index in np.argsort(gap, kind="stable").tolist():
        pair = {int(first[index]), int(second[index])}
        if fits[index] and not pair & taken:
            chosen.append(index)
            taken |= pair
    return first[chosen], second[chosen], gap[chosen]


def _widths(sides: _Sides) -> Array:
    """Widths (p,) that planes would have as strips: area over half the length around. [m]."""
    outer = sides.ring == 0
    plane, count = sides.plane[outer], int(sides.plane.max()) + 1
    origin = np.zeros((count, 3))
    origin[plane[::-1]] = sides.start[outer][::-1]
    cross = np.cross(sides.start[outer] - origin[plane], sides.end[outer] - origin[plane])
    area = np.stack([np.bincount(plane, cross[:, k], count) for k in range(3)], axis=1)
    around = np.bincount(plane, np.linalg.norm(sides.end - sides.start, axis=1)[outer], count)
    return np.asarray(np.linalg.norm(area, axis=1) / np.maximum(around, 1e-300))


def _common_line(
    normal: Array, point: Array, sides: _Sides, first: IntArray, second: IntArray
) -> tuple[Array, Array]:
    """Lines in which pairs of planes meet: the point nearest the first edge's middle, and direction."""
    a, b = normal[sides.plane[first]], normal[sides.plane[second]]
    way = np.cross(a, b)
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    middle = 0.5 * (sides.start[first] + sides.end[first])
    left = np.stack([a, b, way], axis=1)
    ends = ((a, point[sides.plane[first]]), (b, point[sides.plane[second]]))
    heights = [np.sum(n * (p - middle), axis=1) for n, p in ends]
    right = np.stack([*heights, np.zeros(len(first))], axis=1)
    return middle + np.linalg.solve(left, right[:, :, None])[:, :, 0], way


def _outward(sides: _Sides, normal: Array, side: IntArray) -> Array:
    """Unit vectors in the planes, square to edges and away from the planes."""
    way = sides.end[side] - sides.start[side]
    out = np.cross(way, normal[sides.plane[side]])
    return np.asarray(out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-300))


def _extended(ring: Array, normal: Array, new: dict[int, tuple[Array, Array]]) -> Array:
    """A ring whose edges with a new line lie on it; the others keep theirs and are lengthened."""
    count = len(ring)
    result = ring.copy()
    lines = [new.get(k, (ring[k], ring[(k + 1) % count] - ring[k])) for k in range(count)]
    for k in sorted({corner % count for place in new for corner in (place, place + 1)}):
        (p, d), (q, e) = lines[k - 1], lines[k]
        d, e = d / np.linalg.norm(d), e / np.linalg.norm(e)
        turn = float(np.cross(d, e) @ normal)
        if abs(turn) > PARALLEL:
            result[k] = p + float(np.cross(q - p, e) @ normal) / turn * d
        else:  # one line goes on in the other
            on, way = (q, e) if k in new else (p, d)
            result[k] = on + ((ring[k] - on) @ way) * way
    return result
