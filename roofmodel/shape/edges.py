"""Edges of recognized planes: matched by overlap, so that T-junctions need no special care."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely

from roofmodel.surface import FLAT_SLOPE, Array, EdgeKind, IntArray, Planes

LEVEL = np.sin(np.radians(2.0))  # rise over length up to which a ridge counts as level
ALONG_FALL = np.sin(np.radians(10.0))  # a free edge nearer than this to the fall line is a rake
NO_FALL = np.tan(np.radians(0.25))  # fall across an edge below which a plane neither falls to nor from it


@dataclass(frozen=True)
class Pieces:
    """Straight pieces of plane outlines, each with one neighbor or none.

    Attributes
    ----------
    start, end : (e, 3) float
        ``plane[:, 0]`` lies to the left of start -> end seen from above. [m]
    plane : (e, 2) int
        Plane and neighbor, -1 for none.
    """

    start: Array
    end: Array
    plane: IntArray

    @property
    def length(self) -> Array:
        """True lengths, (e,). [m]."""
        return np.asarray(np.linalg.norm(self.end - self.start, axis=1))


def outline_segments(planes: Planes) -> Pieces:
    """All outline segments in 3D, no neighbors yet."""
    start, end, owner = [np.zeros((0, 3))], [np.zeros((0, 3))], [np.zeros(0, dtype=np.int64)]
    for index, polygon in enumerate(planes.outline):
        for ring in (polygon.exterior, *polygon.interiors):
            corner = planes.to_world(index, shapely.get_coordinates(ring))
            start.append(corner[:-1])
            end.append(corner[1:])
            owner.append(np.full(len(corner) - 1, index))
    plane = np.concatenate(owner)
    return Pieces(
        np.concatenate(start), np.concatenate(end), np.column_stack([plane, np.full(len(plane), -1)])
    )


def overlap_pairs(segments: Pieces, tolerance: float) -> tuple[IntArray, IntArray, Array]:
    """Pairs of opposed segments of different planes that run along each other.

    Parameters
    ----------
    segments : Pieces
    tolerance : float
        Largest 3D distance at both ends of the common stretch. [m]

    Returns
    -------
    first, second : (k,) int
    stretch : (k, 2) float
        Start and end of the common stretch along the first segment. [m]
    """
    ends = np.stack([segments.start[:, :2], segments.end[:, :2]], axis=1)
    lines = np.asarray(shapely.linestrings(ends))
    first, second = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=tolerance)
    length = np.maximum(segments.length, 1e-300)
    direction = (segments.end - segments.start) / length[:, None]
    opposed = np.sum(direction[first] * direction[second], axis=1) < -0.9
    keep = opposed & (segments.plane[first, 0] != segments.plane[second, 0])
    first, second = first[keep], second[keep]
    t = np.stack(
        [
            np.sum((segments.end[second] - segments.start[first]) * direction[first], axis=1),
            np.sum((segments.start[second] - segments.start[first]) * direction[first], axis=1),
        ],
        axis=1,
    )
    low, high = np.maximum(t[:, 0], 0.0), np.minimum(t[:, 1], length[first])
    span = np.maximum(t[:, 1] - t[:, 0], 1e-300)
    distance = np.zeros(len(first))
    for at in (low, high):
        on_first = segments.start[first] + at[:, None] * direction[first]
        share = ((at - t[:, 0]) / span)[:, None]
        on_second = segments.end[second] + share * (segments.start[second] - segments.end[second])
        distance = np.maximum(distance, np.linalg.norm(on_first - on_second, axis=1))
    keep = (high - low > tolerance) & (distance <= tolerance)
    return first[keep], second[keep], np.stack([low, high], axis=1)[keep]


def split_interval(
    length: float, stretches: list[tuple[float, float, int]], tolerance: float
) -> list[tuple[float, float, int]]:
    """Cut [0, length] at stretches that carry a label; what is left gets the label -1.

    Stretches earlier in the list win; pieces shorter than `tolerance` are absorbed by what lies before
    or after them. [m]
    """
    marks = sorted({0.0, length, *(min(max(s[k], 0.0), length) for s in stretches for k in (0, 1))})
    cuts = [0.0, *(high for low, high in itertools.pairwise(marks) if high - low > tolerance)]
    if len(cuts) > 1 and length - cuts[-1] <= tolerance:
        cuts[-1] = length
    result: list[tuple[float, float, int]] = []
    for low, high in itertools.pairwise(cuts):
        middle = 0.5 * (low + high)
        label = next((s[2] for s in stretches if s[0] - tolerance <= middle <= s[1] + tolerance), -1)
        if result and result[-1][2] == label:
            result[-1] = (result[-1][0], high, label)
        else:
            result.append((low, high, label))
    return result


def match_edges(planes: Planes, tolerance: float) -> Pieces:
    """Split the outlines where the neighbor changes; each shared edge once, with its lower plane index first.

    Parameters
    ----------
    planes : Planes
    tolerance : float
        Distance up to which two outlines are one edge. [m]

    Returns
    -------
    Pieces
    """
    segments = outline_segments(planes)
    first, second, stretch = overlap_pairs(segments, tolerance)
    length = segments.length
    found: list[list[tuple[float, float, int]]] = [[] for _ in length]
    for index in np.argsort(stretch[:, 0] - stretch[:, 1], kind="stable"):
        neighbor = int(segments.plane[second[index], 0])
        found[first[index]].append((float(stretch[index, 0]), float(stretch[index, 1]), neighbor))
    rows = [
        (segment, low, high, neighbor)
        for segment, stretches in enumerate(found)
        for low, high, neighbor in split_interval(float(length[segment]), stretches, tolerance)
        if high - low > tolerance and (neighbor < 0 or segments.plane[segment, 0] < neighbor)
    ]
    table = np.array(rows, dtype=float).reshape(-1, 4)
    owner = table[:, 0].astype(np.int64)
    direction = (segments.end - segments.start)[owner] / length[owner, None]
    start = segments.start[owner] + table[:, 1:2] * direction
    whole = table[:, 2] == length[owner]
    end = np.where(whole[:, None], segments.end[owner], segments.start[owner] + table[:, 2:3] * direction)
    plane = np.column_stack([segments.plane[owner, 0], table[:, 3].astype(np.int64)])
    return Pieces(start, end, plane)


def fall_toward(planes: Planes, plane: IntArray, direction: Array) -> Array:
    """Fall (n,) of planes per plan length toward the right-hand side of plan directions (n, 2)."""
    right = np.stack([direction[:, 1], -direction[:, 0]], axis=1)
    right /= np.maximum(np.linalg.norm(right, axis=1, keepdims=True), 1e-300)
    normal = planes.normal[plane]
    return np.asarray(np.sum(normal[:, :2] / normal[:, 2:] * right, axis=1))


def edge_kinds(planes: Planes, pieces: Pieces) -> tuple[EdgeKind, ...]:
    """Kinds of edges by which way the planes fall; feet of walls are told apart in `steps`.

    Parameters
    ----------
    planes : Planes
    pieces : Pieces

    Returns
    -------
    tuple of EdgeKind, (e,)
        An edge along the fall of a sloping plane counts as valley or hip by whether it is hollow; a
        shared edge of a flat plane is a pitch break.
    """
    step = pieces.end - pieces.start
    length = np.maximum(pieces.length, 1e-300)
    first, second = pieces.plane.T
    shared = second >= 0
    toward_first = fall_toward(planes, first, step[:, :2])
    toward_second = -fall_toward(planes, np.where(shared, second, first), step[:, :2])
    flat = (planes.slope[first] < FLAT_SLOPE) | (planes.slope[second] < FLAT_SLOPE)
    signs = np.stack([toward_first, toward_second])
    signs = np.where(np.abs(signs) < NO_FALL, 0.0, np.sign(signs))
    bend = toward_first + toward_second
    total = np.where(flat & (signs.prod(axis=0) == 0.0), 0.0, signs.sum(axis=0))
    total = np.where(~flat & (total == 0.0) & (signs[0] == 0.0), np.sign(bend), total)
    level = np.abs(step[:, 2]) / length < LEVEL
    along = np.sum(step * planes.across[first], axis=1) / length
    kinds = np.select(
        [
            ~shared & (along > ALONG_FALL),
            ~shared & (along < -ALONG_FALL),
            ~shared,
            total > 0.0,
            (total < 0.0) & level,
            total < 0.0,
        ],
        [EdgeKind.EAVE, EdgeKind.HEAD, EdgeKind.RAKE, EdgeKind.VALLEY, EdgeKind.RIDGE, EdgeKind.HIP],
        EdgeKind.BREAK,
    )
    return tuple(EdgeKind(kind) for kind in kinds)


def edge_names(planes: Planes, plane: IntArray, kind: tuple[EdgeKind, ...]) -> tuple[str, ...]:
    """Names such as "S1 eave" and "S1|E1 valley", numbered where there are several."""
    plain = [
        f"{'|'.join(planes.name[index] for index in pair if index >= 0)} {word.value}"
        for pair, word in zip(plane.tolist(), kind, strict=True)
    ]
    seen: dict[str, int] = {}
    names = []
    for name in plain:
        seen[name] = seen.get(name, 0) + 1
        names.append(f"{name} {seen[name]}" if plain.count(name) > 1 else name)
    return tuple(names)
