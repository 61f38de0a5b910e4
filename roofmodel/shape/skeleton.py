"""Roofs over any footprint with a pitch for each edge: the weighted straight skeleton.

The eaves move inward as a wavefront, each at the pace that its pitch sets, and height takes the place of
time. Where an edge shrinks to nothing, or a corner that points inward runs into another edge, the wavefront
changes; the ways of its corners are the ridges, hips and valleys. Gable edges stand still.

Source: Aichholzer et al., A novel type of skeleton for polygons, J. Univ. Comput. Sci. 1 (1995) 752; Eppstein
and Erickson, Discrete Comput. Geom. 22 (1999) 569 (both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from roofmodel.errors import InputError
from roofmodel.surface import Array, IntArray

BoolArray = NDArray[np.bool_]

NEAR = 1e-9  # of the footprint's size: events this close are one
PARALLEL = 1e-9  # sine below which two edges count as parallel
GRID = 1e-8  # ways of corners are joined on this grid [m]
COVER = 1e-6  # share of the footprint that may be lost or covered twice


@dataclass
class _Corner:
    """A corner of the wavefront between two edges, on its way since `time`."""

    place: Array
    time: float
    left: int
    right: int
    before: int = -1
    after: int = -1
    pace: Array | None = None  # None between edges that lie on each other


@dataclass
class _Front:
    """The wavefront: edges with inward normal, offset and pace; corners linked in loops; ways they went."""

    normal: Array
    offset: Array
    pace: Array
    near: float
    corners: list[_Corner] = field(default_factory=list)
    alive: set[int] = field(default_factory=set)
    ways: list[tuple[Array, Array, int, int]] = field(default_factory=list)

    def add(self, place: Array, time: float, left: int, right: int) -> int:
        corner = _Corner(place, time, left, right)
        corner.pace = self.pace_of(left, right)
        self.corners.append(corner)
        self.alive.add(len(self.corners) - 1)
        return len(self.corners) - 1

    def pace_of(self, left: int, right: int) -> Array | None:
        """Velocity of a corner between two edges; None where they lie on each other."""
        a, b = self.normal[left], self.normal[right]
        cross = a[0] * b[1] - a[1] * b[0]
        if abs(cross) > PARALLEL:
            return np.asarray(np.linalg.solve(np.stack([a, b]), self.pace[[left, right]]))
        if a @ b > 0.0:
            return np.asarray(a * 0.5 * (self.pace[left] + self.pace[right]))
        return None

    def at(self, number: int, time: float) -> Array:
        corner = self.corners[number]
        return corner.place if corner.pace is None else corner.place + corner.pace * (time - corner.time)

    def link(self, before: int, after: int) -> None:
        self.corners[before].after, self.corners[after].before = after, before

    def end(self, number: int, place: Array) -> None:
        corner = self.corners[number]
        self.alive.discard(number)
        self.ways.append((corner.place, place, corner.left, corner.right))


def skeleton_cells(
    footprint: Array,
    slopes: Array,
    eave: float,
    label: str,
    courtyards: Sequence[Array] = (),
    upper: tuple[float, float] | None = None,
) -> list[tuple[Array, Polygon]]:
    """Roof planes over a footprint.

    Parameters
    ----------
    footprint : (k, 2) float
        Counter-clockwise, simple. [m]
    slopes : (e,) float
        Pitch above each edge, from point i to point i + 1, first of the footprint, then of the courtyards;
        NaN for a gable edge. [rad]
    eave : float
        Height of the eaves. [m]
    label : str
        For messages.
    courtyards : sequence of (j, 2) float
        Openings in the footprint, clockwise. [m]
    upper : (float, float), optional
        Height above the eaves at which all slopes change, and their pitch from there; 0 for a level top.
        [m], [rad]

    Returns
    -------
    list of (a, b, c) and polygon
        Planes z = a x + b y + c over their plan, for each edge that has a pitch.

    Raises
    ------
    InputError
        All edges are gables, neighbors on one line have different pitches, the slopes meet below the change,
        or the wavefront came to no end.
    """
    rings = [footprint, *courtyards]
    start = np.concatenate(rings)
    end = np.concatenate([np.roll(ring, -1, axis=0) for ring in rings])
    along = end - start
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    gable = np.isnan(slopes)
    if gable.all():
        message = f"{label}: every edge is a gable; give at least one edge a pitch."
        raise InputError(message)
    pace = np.where(gable, 0.0, 1.0 / np.tan(np.where(gable, 1.0, slopes)))
    size = float(np.ptp(footprint, axis=0).max())
    front = _Front(normal, np.sum(normal * start, axis=1), pace, NEAR * size)
    first = 0
    for ring in rings:
        number = first + np.arange(len(ring))
        before, after = np.roll(number, 1), np.roll(number, -1)
        _check_straight(normal, pace, number, before, label)
        for i, left in zip(number.tolist(), before.tolist(), strict=True):
            front.add(start[i], 0.0, left, i)
        for i, j in zip(number.tolist(), after.tolist(), strict=True):
            front.link(i, j)
        first += len(ring)
    if upper is None:
        _run(front, label)
        cells = _cells(front, [(start[i], end[i], i) for i in range(len(start))], gable, eave)
    else:
        bases = [(start[i], end[i], i) for i in range(len(start))]
        cells = _two_stages(front, bases, gable, eave, upper, label)
    _check_cover(cells, Polygon(footprint, courtyards).area, label)
    return cells


def _two_stages(
    front: _Front,
    bases: list[tuple[Array, Array, int]],
    gable: BoolArray,
    eave: float,
    upper: tuple[float, float],
    label: str,
) -> list[tuple[Array, Polygon]]:
    """Cells of a roof all of whose slopes change at one height."""
    rise, pitch = upper
    _run(front, label, until=rise)
    if not front.alive:
        top = max(front.corners[i].time for i in range(len(front.corners)))
        message = (
            f"{label}: break_height {rise:.4g} m is not below the top of the lower slopes, {top:.4g} m above "
            "the eaves."
        )
        raise InputError(message)
    alive = sorted(front.alive)
    place = {i: front.at(i, rise) for i in alive}
    line = [(place[i], place[front.corners[i].after], front.corners[i].right) for i in alive]
    above = _Front(front.normal, front.offset, front.pace, front.near)
    number = {i: above.add(place[i], rise, front.corners[i].left, front.corners[i].right) for i in alive}
    rings = _loops(front, place)
    for i in alive:
        front.end(i, place[i])
    lower = _cells(front, [*bases, *line], gable, eave)
    if pitch == 0.0:
        return lower + [(np.array([0.0, 0.0, eave + rise]), part) for part in _level_top(rings)]
    above.pace = np.where(gable, 0.0, 1.0 / np.tan(pitch))
    above.offset = front.offset + (front.pace - above.pace) * rise
    for i in alive:
        corner = above.corners[number[i]]
        corner.pace = above.pace_of(corner.left, corner.right)
        above.link(number[i], number[front.corners[i].after])
    _run(above, label, now=rise)
    return lower + _cells(above, line, gable, eave)


def _loops(front: _Front, place: dict[int, Array]) -> list[Array]:
    """Rings of the wavefront."""
    rings, left = [], set(place)
    while left:
        first = i = min(left)
        ring = []
        while i in left:
            left.discard(i)
            ring.append(place[i])
            i = front.corners[i].after
        if i == first and len(ring) > 2:
            rings.append(np.array(ring))
    return rings


def _level_top(rings: list[Array]) -> list[Polygon]:
    """Inside of counter-clockwise rings less that of clockwise ones."""
    shapes = [Polygon(ring) for ring in rings]
    outer = shapely.union_all([s for s in shapes if s.exterior.is_ccw], grid_size=GRID)
    holes = shapely.union_all([s for s in shapes if not s.exterior.is_ccw], grid_size=GRID)
    parts = shapely.get_parts(shapely.difference(outer, holes, grid_size=GRID))
    return [part for part in parts if part.geom_type == "Polygon" and part.area > GRID]


def _check_straight(normal: Array, pace: Array, edge: IntArray, before: IntArray, label: str) -> None:
    a, b = normal[edge], normal[before]
    straight = (np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) < PARALLEL) & (np.sum(a * b, axis=1) > 0.0)
    bad = np.flatnonzero(straight & (np.abs(pace[edge] - pace[before]) > PARALLEL))
    if len(bad):
        message = (
            f"{label}: footprint edges {before[bad[0]] + 1} and {edge[bad[0]] + 1} lie on one line, but "
            "have different pitches; give them one pitch or set them apart."
        )
        raise InputError(message)


def _run(front: _Front, label: str, now: float = 0.0, until: float = np.inf) -> None:
    """Move the wavefront until nothing is left of it, or to a height."""
    for _ in range(20 * len(front.normal) + 50):
        _close_small(front, now)
        if not front.alive:
            return
        shot = next((i for i in sorted(front.alive) if front.corners[i].pace is None), None)
        if shot is not None:
            _shoot(front, shot, now)
            continue
        shrink, split = _next_shrink(front, now), _next_split(front, now)
        if min(event[0] for event in (shrink, split, (np.inf,)) if event is not None) > until:
            return
        if shrink is None and split is None:
            break
        if split is None or (shrink is not None and shrink[0] <= split[0] + front.near):
            assert shrink is not None
            now = max(now, shrink[0])
            _merge(front, shrink[1], now)
        else:
            now = max(now, split[0])
            _part(front, split[1], split[2], now)
    message = f"{label}: no roof was found over this footprint; build it from several parts."
    raise InputError(message)


def _close_small(front: _Front, now: float) -> None:
    """End loops of one or two corners."""
    for i in sorted(front.alive):
        if i not in front.alive:
            continue
        j = front.corners[i].after
        if j == i:
            front.end(i, front.at(i, now))
        elif front.corners[j].after == i:
            a, b = front.at(i, now), front.at(j, now)
            front.end(i, a)
            front.end(j, b)
            front.ways.append((a, b, front.corners[i].left, front.corners[i].right))


def _shoot(front: _Front, number: int, now: float) -> None:
    """A corner between edges that have come to lie on each other runs along them to the nearer end."""
    corner = front.corners[number]
    back, ahead = front.at(corner.before, now), front.at(corner.after, now)
    here = corner.place
    nearer = corner.before if np.linalg.norm(back - here) <= np.linalg.norm(ahead - here) else corner.after
    target = back if nearer == corner.before else ahead
    front.end(number, target)
    other = front.corners[nearer]
    front.end(nearer, target)
    if nearer == corner.before:
        new = front.add(target, now, other.left, corner.right)
        front.link(other.before, new)
        front.link(new, corner.after)
    else:
        new = front.add(target, now, corner.left, other.right)
        front.link(corner.before, new)
        front.link(new, other.after)


def _next_shrink(front: _Front, now: float) -> tuple[float, int] | None:
    """Time and first corner of the edge that is the next to shrink to nothing."""
    best: tuple[float, int] | None = None
    for i in sorted(front.alive):
        corner = front.corners[i]
        edge = np.array([front.normal[corner.right][1], -front.normal[corner.right][0]])
        other = front.corners[corner.after]
        if corner.pace is None or other.pace is None:
            continue
        length = float((front.at(corner.after, now) - front.at(i, now)) @ edge)
        rate = float((other.pace - corner.pace) @ edge)
        if length <= front.near and rate <= 0.0:
            when = now
        elif rate < 0.0:
            when = now + max(length, 0.0) / -rate
        else:
            continue
        if best is None or when < best[0] - 1e-15:
            best = (when, i)
    return best


def _next_split(front: _Front, now: float) -> tuple[float, int, int] | None:
    """Time, inward corner and first corner of the edge that it is the next to run into."""
    best: tuple[float, int, int] | None = None
    alive = sorted(front.alive)
    first = np.array(alive)
    after = np.array([front.corners[i].after for i in alive])
    edge = np.array([front.corners[i].right for i in alive])
    start, end = (np.array([front.at(i, now) for i in group.tolist()]) for group in (first, after))
    run = np.array([front.corners[i].pace for i in first.tolist()])
    run_end = np.array([front.corners[i].pace for i in after.tolist()])
    way = np.stack([front.normal[edge, 1], -front.normal[edge, 0]], axis=1)
    for number in alive:
        corner = front.corners[number]
        a, b = front.normal[corner.left], front.normal[corner.right]
        if a[0] * b[1] - a[1] * b[0] >= -PARALLEL or corner.pace is None:  # turns left: not inward
            continue
        here = front.at(number, now)
        gap = front.normal[edge] @ here - (front.offset[edge] + front.pace[edge] * now)
        rate = front.normal[edge] @ corner.pace - front.pace[edge]
        usable = (rate < -1e-12) & (gap >= -front.near)
        usable &= (edge != corner.left) & (edge != corner.right)
        with np.errstate(divide="ignore", invalid="ignore"):
            wait = np.where(usable, np.maximum(gap, 0.0) / -rate, np.inf)
        spot = here + corner.pace * np.where(usable, wait, 0.0)[:, None]
        low = np.sum((spot - start - run * np.where(usable, wait, 0.0)[:, None]) * way, axis=1)
        high = np.sum((end + run_end * np.where(usable, wait, 0.0)[:, None] - spot) * way, axis=1)
        usable &= (low >= -front.near) & (high >= -front.near)
        if usable.any():
            pick = int(np.argmin(np.where(usable, wait, np.inf)))
            if best is None or now + wait[pick] < best[0] - 1e-15:
                best = (now + float(wait[pick]), number, int(first[pick]))
    return best


def _merge(front: _Front, number: int, now: float) -> None:
    """The edge behind a corner has shrunk to nothing."""
    corner = front.corners[number]
    other = front.corners[corner.after]
    place = 0.5 * (front.at(number, now) + front.at(corner.after, now))
    before, after = corner.before, other.after
    front.end(number, place)
    front.end(corner.after, place)
    if before == corner.after:
        return
    new = front.add(place, now, corner.left, other.right)
    front.link(before, new)
    front.link(new, after)


def _part(front: _Front, number: int, first: int, now: float) -> None:
    """An inward corner runs into the edge behind `first` and parts the loop, or joins two."""
    corner, edge_start = front.corners[number], front.corners[first]
    edge, edge_end, place = edge_start.right, edge_start.after, front.at(number, now)
    before, after = corner.before, corner.after
    front.end(number, place)
    one = front.add(place, now, corner.left, edge)
    two = front.add(place, now, edge, corner.right)
    front.link(before, one)
    front.link(one, edge_end)
    front.link(first, two)
    front.link(two, after)


def _cells(
    front: _Front, bases: list[tuple[Array, Array, int]], gable: BoolArray, eave: float
) -> list[tuple[Array, Polygon]]:
    """Planes and plans of the faces, from the ways of the corners and the level lines around each."""
    cells: list[tuple[Array, Polygon]] = []
    for i in np.flatnonzero(~gable):
        lines = [
            LineString([a, b])
            for a, b, left, right in front.ways
            if i in (left, right) and left != right and np.linalg.norm(b - a) > GRID
        ]
        lines += [LineString([a, b]) for a, b, edge in bases if edge == i and np.linalg.norm(b - a) > GRID]
        noded = shapely.union_all(lines, grid_size=GRID)
        parts = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded).tolist()))
        grade = front.normal[i] / front.pace[i]
        plane = np.array([*grade, eave - front.offset[i] / front.pace[i]])
        cells += [(plane, part) for part in parts]
    return cells


def _check_cover(cells: list[tuple[Array, Polygon]], area: float, label: str) -> None:
    covered = sum(cell.area for _, cell in cells)
    whole = shapely.union_all([cell for _, cell in cells], grid_size=GRID).area if cells else 0.0
    if abs(covered - area) > COVER * area or abs(whole - area) > COVER * area:
        message = f"{label}: no roof was found over this footprint; build it from several parts."
        raise InputError(message)
