"""Outlines of surveyed planes: straight edges, and creases just where planes meet.

Measured points lie on no edge, so that outlines of faces are ragged. Here the plan is cut by straight lines:
the straightened rim, the lines in which neighboring planes meet, and lines fitted where they stand apart in
height. Every cell of the plan goes to the plane that its points lie on. So planes share their edges exactly.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, LineString, Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.counting import within
from roofmodel.shape.cleaning import distinct
from roofmodel.shape.measured_planes import POOR, Measured, away, neighbors
from roofmodel.shape.regions import Mesh, components
from roofmodel.surface import Array, IntArray

GRID = 1e-5  # lines are noded on this grid [m]
STEP = 4.0  # neighbors farther apart in height at both ends of an edge, in times the noise, stand apart
REACH, ONWARD = 0.6, 0.1  # lines go on beyond the points of their planes [m, -]
SNAP = np.sin(np.radians(5.0))  # edges nearer than this to level, or to the fall line, are made so
SLOPING = np.sin(np.radians(2.0))  # planes flatter than this have no fall to follow
ONE_LINE = np.cos(np.radians(15.0))  # neighbors of a rim within this angle may be one line
FAIR = 0.1  # planes with a smaller share of a cell's points do not ask for it
SCRAP = 0.4  # smaller pieces of a plane go to its neighbors [m^2]
FEW = 3  # cells with fewer points go with their neighbors
SHORT = 0.6  # sides of a rim shorter than this, or than 1.5 spacings of the points, are its raggedness [m]
MANY = 60_000  # points that are enough to share out the cells
MOST_PLANES = 150  # beyond, outlines of faces are kept


@dataclass(frozen=True)
class Line:
    """A straight line on plan: a point, a unit direction, and the ends along it. [m]."""

    point: Array
    along: Array
    low: float
    high: float

    def at(self, place: float) -> Array:
        """Point at a place along the line. [m]."""
        return np.asarray(self.point + place * self.along)


def measured_outlines(mesh: Mesh, state: Measured, pinhole: float) -> tuple[list[Polygon], IntArray] | None:
    """Outlines on plan that share their edges.

    Parameters
    ----------
    mesh : Mesh
    state : Measured
    pinhole : float
        Smaller holes of the survey are closed. [m^2]

    Returns
    -------
    plan : list of Polygon
        [m]
    plane : (k,) int
        Plane of each.

    None where the survey has too many planes, or its rim crosses itself.
    """
    if len(state.normal) > MOST_PLANES:
        return None
    used = distinct(mesh.faces)
    used = used[state.label[used] >= 0]
    label = state.label[used]
    spacing = float(np.sqrt(np.abs(_plan_areas(mesh)).sum() / len(used)))
    parts, rim = _rim(mesh, state, spacing, pinhole)
    if rim is None:
        return None
    both = state.label[state.edges]
    joint = replace(state, edges=state.edges[both[:, 0] != both[:, 1]])
    lines = [line for pair in neighbors(joint).tolist() for line in _between(mesh, joint, pair, spacing)]
    cuts = [LineString([line.at(line.low), line.at(line.high)]) for line in lines]
    work: list[BaseGeometry] = [shapely.boundary(rim), *parts, *cuts]
    shared = _shared_out(rim, work, mesh.points[used], label, state)
    if shared is None:
        return None
    lost = np.setdiff1d(distinct(label), shared[1])
    frames = _frames(mesh.points[used], label, lost, state, spacing)
    if frames:
        shared = _shared_out(rim, [*work, *frames], mesh.points[used], label, state) or shared
    cells, owner = shared
    plan, plane = [], []
    for index in distinct(owner[owner >= 0]).tolist():
        whole = shapely.union_all(cells[owner == index], grid_size=GRID)
        for part in shapely.get_parts(whole):
            if part.geom_type == "Polygon" and part.area > SCRAP * 0.5:
                plan.append(part)
                plane.append(index)
    return (plan, np.array(plane, dtype=np.int64)) if plan else None


def _shared_out(
    rim: BaseGeometry, work: list[BaseGeometry], points: Array, label: IntArray, state: Measured
) -> tuple[NDArray[np.object_], IntArray] | None:
    """Cells that lines cut the plan into, and the plane of each; None where there are none."""
    noded = shapely.union_all(np.array(work, dtype=object), grid_size=GRID)
    cells = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    cells = cells[shapely.covers(shapely.buffer(rim, 1e-3), cells)]
    if len(cells) == 0:
        return None
    stride = max(len(points) // MANY, 1)
    owner = _owners(cells, points[::stride], label[::stride], state)
    return cells, _without_scraps(cells, owner)


def _frames(
    points: Array, label: IntArray, lost: IntArray, state: Measured, spacing: float
) -> list[BaseGeometry]:
    """Rectangles around small planes that no lines close in, as by points too far apart along their walls.

    Along the fall of the plane beside with most points; wider by half a spacing, as no point shows the edges.
    Planes of one small roof get one together. Rough ones are none, nor is what lies below: a pit.
    """
    fits = [
        one
        for one in lost.tolist()
        if np.sqrt(np.mean(away(points[label == one], state.normal[one], state.centroid[one]) ** 2))
        < POOR * state.noise
    ]
    pairs = neighbors(state)
    size = np.bincount(label, minlength=len(state.normal))
    among = pairs[np.isin(pairs, fits).all(axis=1)]
    _, group = components(len(state.normal), among)
    frames: list[BaseGeometry] = []
    for one in dict.fromkeys(group[fits].tolist()):
        mine = [plane for plane in fits if group[plane] == one]
        beside = np.setdiff1d(pairs[np.isin(pairs, mine).any(axis=1)], mine)
        if not len(beside):
            continue
        host = beside[np.argmax(size[beside])]
        place = points[np.isin(label, mine)]
        if np.median(away(place, state.normal[host], state.centroid[host])) < 0.0:
            continue
        fall = state.normal[host, :2]
        length = float(np.linalg.norm(fall))
        down = fall / length if length > SLOPING else np.array([0.0, 1.0])
        axes = np.array([down, [-down[1], down[0]]])
        place = place[:, :2] @ axes.T
        (a, b), (c, d) = place.min(axis=0) - 0.5 * spacing, place.max(axis=0) + 0.5 * spacing
        frames.append(LinearRing(np.array([[a, b], [c, b], [c, d], [a, d]]) @ axes))
    return frames


def _plan_areas(mesh: Mesh) -> Array:
    return np.asarray(mesh.area * mesh.normal[:, 2])


def _rim(
    mesh: Mesh, state: Measured, spacing: float, pinhole: float
) -> tuple[list[BaseGeometry], BaseGeometry | None]:
    """Edges of each part of the survey on plan, and the straight outline of all without larger holes."""
    open_edge = np.flatnonzero(mesh.twin < 0)
    start = mesh.faces.reshape(-1)[open_edge]
    end = mesh.faces.reshape(-1)[open_edge - open_edge % 3 + (open_edge + 1) % 3]
    rings = _rings(start, end)
    outer: list[tuple[IntArray, float]] = []
    holes: list[tuple[IntArray, float]] = []
    for ring, area in zip(rings, _signed_areas(mesh.points, rings).tolist(), strict=True):
        (outer if area > 0.0 else holes).append((ring, abs(area)))
    whole: list[BaseGeometry] = []
    for ring, area in outer:
        if area > SCRAP:
            whole.append(_straightened(mesh.points, state, ring, spacing))
    if not whole:
        return [], None
    parts = [shapely.boundary(part) for part in whole] if len(whole) > 1 else []  # they may abut
    rim = shapely.union_all(whole, grid_size=GRID)
    for ring, area in holes:
        if area > pinhole:
            rim = shapely.difference(rim, _straightened(mesh.points, state, ring, spacing), grid_size=GRID)
    return parts, rim if rim.area > 0.0 else None


def _signed_areas(points: Array, rings: list[IntArray]) -> Array:
    """Plan areas of closed walks over points (n, 3), positive where they run counter-clockwise. [m^2]."""
    if not rings:
        return np.zeros(0)
    size = np.array([len(ring) for ring in rings])
    begin = np.cumsum(size) - size
    x, y = points[np.concatenate(rings), :2].T
    x, y = x - np.repeat(x[begin], size), y - np.repeat(y[begin], size)
    onward = np.arange(1, len(x) + 1)
    onward[begin + size - 1] = begin
    return np.asarray(0.5 * np.add.reduceat(x * y[onward] - x[onward] * y, begin))


def _rings(start: IntArray, end: IntArray) -> list[IntArray]:
    """Closed walks over directed edges, none twice through a vertex: what hangs at one is another."""
    leaving: dict[int, list[int]] = {}
    for one, other in zip(start.tolist(), end.tolist(), strict=True):
        leaving.setdefault(one, []).append(other)
    rings = []
    for first, ways in leaving.items():
        while ways:
            walk, place = [first], {first: 0}
            while leaving.get(walk[-1]):
                spot = leaving[walk[-1]].pop()
                at = place.get(spot)
                if at is None:
                    place[spot] = len(walk)
                    walk.append(spot)
                    continue
                if len(walk) - at >= 3:
                    rings.append(np.array(walk[at:], dtype=np.int64))
                for gone in walk[at + 1 :]:
                    del place[gone]
                del walk[at + 1 :]
    return rings


def _straightened(points: Array, state: Measured, ring: IntArray, spacing: float) -> BaseGeometry:
    """Polygon of straight sides through the points of a ragged ring; the ring itself where that fails."""
    xy = points[ring, :2]
    plain = _polygons(shapely.make_valid(Polygon(xy)))
    tolerance = max(4.0 * state.noise, 0.8 * spacing, 0.2)
    sides = _sides(xy, tolerance)
    found = [_side_line(points, state, ring[one], spacing) for one in sides]
    lines = [line for line in found if line is not None]
    if len(lines) < 3:
        return _polygons(shapely.simplify(plain, tolerance))
    lines = _one_line_each(lines, tolerance)
    if len(lines) < 3:
        return _polygons(shapely.simplify(plain, tolerance))
    corners: list[Array] = []
    for one, other in zip(lines, [*lines[1:], lines[0]], strict=True):
        corners += _corner(one, other, 6.0 * tolerance)
    made: BaseGeometry = Polygon(corners)
    if not made.is_valid:
        made = _polygons(shapely.make_valid(made))
    if abs(made.area - plain.area) > 0.05 * plain.area + 0.25 * tolerance * plain.length:
        return _polygons(shapely.simplify(plain, tolerance))
    return made


def _polygons(shape: BaseGeometry) -> BaseGeometry:
    """What of a shape has area."""
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def _one_line_each(lines: list[Line], tolerance: float) -> list[Line]:
    """Lines of neighboring sides that are one but for raggedness, the longer for both."""
    turns = [one.along @ other.along for one, other in zip([lines[-1], *lines[:-1]], lines, strict=True)]
    first = int(np.argmin(turns))
    result: list[Line] = []
    for line in [*lines[first:], *lines[:first]]:
        last = result[-1] if result else None
        if last is not None and last.along @ line.along > ONE_LINE:
            longer, other = sorted((last, line), key=lambda one: one.high - one.low, reverse=True)
            shift = other.at(0.5 * (other.low + other.high)) - longer.point
            if abs(longer.along[0] * shift[1] - longer.along[1] * shift[0]) < tolerance:
                place = [
                    float((other.at(at) - longer.point) @ longer.along) for at in (other.low, other.high)
                ]
                low, high = min(longer.low, *place), max(longer.high, *place)
                result[-1] = Line(longer.point, longer.along, low, high)
                continue
        result.append(line)
    return result


def _sides(xy: Array, tolerance: float) -> list[IntArray]:
    """Places of a ring's points along each of its straight sides."""
    far = int(np.argmax(np.sum((xy - xy.mean(axis=0)) ** 2, axis=1)))
    turn = np.roll(np.arange(len(xy)), -far)
    closed = np.append(turn, turn[0])
    line = shapely.linestrings(np.column_stack([xy[closed], np.arange(len(closed))]))
    kept = shapely.get_coordinates(shapely.simplify(line, tolerance), include_z=True)[:, 2].astype(np.int64)
    spans = [closed[a : b + 1] for a, b in itertools.pairwise(kept.tolist())]
    merged = True
    while merged and len(spans) > 3:
        merged = False
        for index in range(len(spans)):
            one, other = spans[index - 1], spans[index]
            both = np.concatenate([one, other[1:]])
            a, b = xy[one[-1]] - xy[one[0]], xy[other[-1]] - xy[other[0]]
            straight = a @ b > ONE_LINE * np.linalg.norm(a) * np.linalg.norm(b)
            if straight and _scatter(xy[both]) < 0.6 * tolerance:
                spans[index - 1 if index else len(spans) - 1] = both
                del spans[index]
                merged = True
                break
    return spans


def _scatter(xy: Array) -> float:
    delta = xy - xy.mean(axis=0)
    return float(np.sqrt(max(np.linalg.eigvalsh(delta.T @ delta / len(xy))[0], 0.0)))


def _fit_line(xy: Array) -> tuple[Array, Array]:
    """Middle and direction of points."""
    middle = xy.mean(axis=0)
    return middle, np.linalg.eigh((xy - middle).T @ (xy - middle))[1][:, 1]


def _side_line(points: Array, state: Measured, ring: IntArray, spacing: float) -> Line | None:
    """Line through one side, level or along the fall where it nearly is; None for what is too short."""
    xy = points[ring, :2]
    way = xy[-1] - xy[0]
    length = float(np.linalg.norm(way))
    if length < max(1.5 * spacing, SHORT):
        return None
    inner = slice(1, -1) if len(xy) > 4 else slice(None)
    middle, along = (xy.mean(axis=0), way / length) if len(xy) < 4 else _fit_line(xy[inner])
    along = along if along @ way > 0.0 else -along
    label = state.label[ring]
    label = label[label >= 0]
    if len(label):
        along = _along_fall(along, state.normal[np.bincount(label).argmax()])
    place = (xy - middle) @ along
    return Line(middle, along, float(place.min()), float(place.max()))


def _along_fall(along: Array, normal: Array) -> Array:
    """Direction on plan, turned level or along the fall of a plane where it nearly is."""
    size = float(np.linalg.norm(normal[:2]))
    if size < SLOPING:
        return along
    fall = normal[:2] / size
    for way in (fall, np.array([-fall[1], fall[0]])):
        if abs(along[0] * way[1] - along[1] * way[0]) < SNAP:
            return np.asarray(way if way @ along > 0.0 else -way)
    return along


def _corner(one: Line, other: Line, reach: float) -> list[Array]:
    """Corners between two sides: where they cross, or a short side between them."""
    cross = one.along[0] * other.along[1] - one.along[1] * other.along[0]
    ends = [one.at(one.high), other.at(other.low)]
    if abs(cross) > np.sin(np.radians(15.0)):
        gap = other.point - one.point
        place = (gap[0] * other.along[1] - gap[1] * other.along[0]) / cross
        spot = one.at(place)
        if min(np.linalg.norm(spot - ends[0]), np.linalg.norm(spot - ends[1])) < reach:
            return [spot]
    middle = 0.5 * (ends[0] + ends[1])
    return [
        one.at(float((middle - one.point) @ one.along)),
        other.at(float((middle - other.point) @ other.along)),
    ]


def _between(mesh: Mesh, state: Measured, pair: list[int], spacing: float) -> list[Line]:
    """Lines that part two neighbors: where they meet, and where one stands above the other."""
    a, b = pair
    sides = state.label[state.edges]
    edge = state.edges[(sides == [a, b]).all(axis=1) | (sides == [b, a]).all(axis=1)]
    flip = state.label[edge[:, 0]] == b
    edge[flip] = edge[flip][:, ::-1]
    ends = mesh.points[edge, :2]
    planes = [(-state.normal[p, :2] / state.normal[p, 2], state.centroid[p]) for p in (a, b)]
    steep = planes[0][0] - planes[1][0]
    size = float(np.linalg.norm(steep))
    height = [(ends - base[:2]) @ rise + base[2] for rise, base in planes]
    above = height[0] - height[1]
    meets = (above.prod(axis=1) <= 0.0) | (np.abs(above).min(axis=1) < STEP * state.noise)
    found = []
    reach = 2.0 * spacing + REACH
    if size > 1e-6 and meets.sum() >= FEW:
        spot = ends[meets].mean(axis=1)
        foot = spot - (above[meets].mean(axis=1) / size**2)[:, None] * steep
        along = np.array([-steep[1], steep[0]]) / size
        place = (foot - foot[0]) @ along
        reach += ONWARD * float(np.ptp(place))
        found.append(Line(foot[0], along, float(place.min()) - reach, float(place.max()) + reach))
    middle = mesh.points[edge].mean(axis=1)
    if (~meets).sum() >= FEW:
        found += _step_lines(middle[~meets, :2], [state.normal[p] for p in (a, b)], spacing)
    return found


def _step_lines(spots: Array, normals: list[Array], spacing: float) -> list[Line]:
    """Lines through the places where planes stand apart: runs of them, level or along the fall of a plane."""
    places = np.asarray(shapely.points(spots))
    near = shapely.STRtree(places).query(places, predicate="dwithin", distance=3.0 * spacing)
    count, run = components(len(spots), near.T)
    sloping = [n for n in normals if np.linalg.norm(n[:2]) > SLOPING]
    lines = []
    for index in range(count):
        lines += _straight_runs(spots[run == index], sloping, spacing, 4)
    return lines


def _straight_runs(spots: Array, normals: list[Array], spacing: float, depth: int) -> list[Line]:
    """Straight lines through places, one side after the other."""
    if len(spots) < FEW or depth == 0:
        return []
    ways = [np.linalg.eigh(np.cov(spots.T) if len(spots) > 1 else np.eye(2))[1][:, 1]]
    for normal in normals:
        fall = normal[:2] / np.linalg.norm(normal[:2])
        ways += [fall, np.array([-fall[1], fall[0]])]
    width = max(0.75 * spacing, 0.1)
    best: tuple[int, Array, float] | None = None
    for along in [*ways[1:], ways[0]]:
        off = spots @ np.array([-along[1], along[0]])
        ordered = np.sort(off)
        inside = np.searchsorted(ordered, ordered + 2.0 * width) - np.arange(len(off))
        top = int(np.argmax(inside))
        if best is None or inside[top] > 1.15 * best[0]:
            within = ordered[top : top + int(inside[top])]
            best = (int(inside[top]), along, float(within.mean()))
    assert best is not None
    number, along, offset = best
    if number < FEW:
        return []
    across = np.array([-along[1], along[0]])
    on = np.abs(spots @ across - offset) <= width
    place = spots[on] @ along
    if on.sum() < FEW or np.ptp(place) < SHORT:
        return _straight_runs(spots[~on], normals, spacing, depth - 1)
    reach = spacing + REACH
    line = Line(offset * across, along, float(place.min()) - reach, float(place.max()) + reach)
    return [line, *_straight_runs(spots[~on], normals, spacing, depth - 1)]


def _owners(cells: NDArray[np.object_], points: Array, label: IntArray, state: Measured) -> IntArray:
    """Plane of each cell: of those that several of its points are on, the one they lie nearest to."""
    spot, cell = shapely.STRtree(cells).query(shapely.points(points[:, :2]), predicate="intersects")
    count, many = len(cells), len(state.normal)
    number = np.bincount(cell, minlength=count)
    key, times = np.unique(cell * many + label[spot], return_counts=True)
    at, plane = np.divmod(key, many)
    fair = times >= np.maximum(FAIR * number[at], 1)
    at, plane = at[fair], plane[fair]
    order = np.argsort(cell, kind="stable")
    begin = np.searchsorted(cell[order], np.arange(count + 1))
    length = (begin[1:] - begin[:-1])[at]
    which = np.repeat(np.arange(len(at)), length)
    inside = order[np.repeat(begin[at], length) + within(length)]
    off = away(points[spot[inside]], state.normal[plane[which]], state.centroid[plane[which]])
    cost = np.bincount(which, np.minimum(off**2, (4.0 * state.noise) ** 2), len(at))
    owner = np.full(count, -1)
    best = np.lexsort([cost, at])
    first = best[np.r_[True, np.diff(at[best]) > 0]] if len(best) else best
    owner[at[first]] = plane[first]
    owner[number < FEW] = -1
    return owner


def _without_scraps(cells: NDArray[np.object_], owner: IntArray) -> IntArray:
    """Cells with few points, and small pieces of planes, go to the plane they have the longest edge with."""
    first, second = shapely.STRtree(cells).query(cells, predicate="intersects")
    once = first < second
    first, second = first[once], second[once]
    common = shapely.length(shapely.intersection(cells[first], cells[second], grid_size=GRID))
    keep = common > 10.0 * GRID
    pairs = np.column_stack([first[keep], second[keep]])
    common = common[keep]
    area = shapely.area(cells)
    owner = owner.copy()
    for _ in range(4):
        owner = _filled(pairs, common, owner)
        same = owner[pairs[:, 0]] == owner[pairs[:, 1]]
        count, part = components(len(cells), pairs[same])
        small = (np.bincount(part, area, count) < SCRAP)[part]
        if not small.any() or small.all():
            break
        owner[small] = -1
    return _filled(pairs, common, owner)


def _filled(pairs: IntArray, common: Array, owner: IntArray) -> IntArray:
    """Give cells without an owner that of the neighbor with the longest common edge, front by front."""
    owner = owner.copy()
    both = np.concatenate([pairs, pairs[:, ::-1]])
    length = np.concatenate([common, common])
    while True:
        front = np.flatnonzero((owner[both[:, 0]] < 0) & (owner[both[:, 1]] >= 0))
        if len(front) == 0:
            return owner
        key, place = np.unique(
            np.column_stack([both[front, 0], owner[both[front, 1]]]), axis=0, return_inverse=True
        )
        total = np.bincount(place.ravel(), length[front], len(key))
        order = np.lexsort([-total, key[:, 0]])
        best = order[np.r_[True, np.diff(key[order, 0]) > 0]]
        owner[key[best, 0]] = key[best, 1]
