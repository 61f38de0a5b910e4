"""Planes of surveyed roofs by their points: which plane each point lies on, gentle breaks told from noise.

Regions of faces are the start. Planes whose points all lie on their neighbors (slopes of steps, strips across
a break) go; neighbors of almost one pitch are taken together and broken again where a straight break explains
their points much better than one plane does. Least squares throughout; no source beyond it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roofmodel.shape.cleaning import distinct, edge_keys, stable_order
from roofmodel.shape.outlines import surveyed_planes
from roofmodel.shape.regions import Mesh, components
from roofmodel.surface import Array, IntArray

NEAR = 3.0  # points within so many times the noise lie on a plane
EXPLAINED = 0.85  # a plane of whose points this share lies on its neighbors is none
UPRIGHT = np.cos(np.radians(75.0))  # steeper planes are slopes of steps
GENTLE = np.cos(np.radians(6.0))  # neighbors within this angle are tried as one broken plane
LEAST_BEND = np.tan(np.radians(1.0))  # breaks below this are the noise of a survey, or sag
SURE = 8.0  # a break is taken from so many standard deviations
FEWEST, SMALLEST = 16, 1.2  # points and area on each side of a break [-, m^2]
SIDE = 7  # points on each side of the ridge of a dormer
SAME = 40.0  # planes are one where two fit no better than this, in variances of the noise
DEPTH = 5  # a plane is broken into halves so many times at most
FAR, POOR, MISSED = 4.0, 1.6, 12  # points this far from all planes, planes this rough, in times the noise
PLENTY, INSIDE = 150, 0.5  # with fewer points, or less of its own, away from creases a plane is fitted to all
FITTED = 10_000  # points that are enough to fit a plane to
SOME = 4000  # points that are enough to look for a break
SHARED = 3  # mesh edges that make two planes neighbors


@dataclass(frozen=True)
class Measured:
    """Planes of a survey and what lies on them.

    Attributes
    ----------
    normal, centroid : (p, 3) float
        Unit normals that point up, and points on the planes. [m]
    label : (n,) int
        Plane of every vertex, -1 where no face uses it.
    edges : (e, 2) int
        Vertices joined by mesh edges.
    noise : float
        [m]
    """

    normal: Array
    centroid: Array
    label: IntArray
    edges: IntArray
    noise: float


def away(points: Array, normal: Array, centroid: Array) -> Array:
    """Signed distances (n,) of points (n, 3) from planes (3,) or (n, 3). [m]."""
    part = (points - centroid) * normal
    return np.asarray(part[..., 0] + part[..., 1] + part[..., 2])  # in a third of the time of a sum


def first_planes(mesh: Mesh, region: IntArray, noise: float) -> Measured:
    """Planes of a surveyed mesh as its regions show them, and the plane of each vertex.

    Parameters
    ----------
    mesh : Mesh
    region : (m,) int
        First guess of the plane of each face, -1 for none.
    noise : float
        Standard deviation of the points. [m]

    Returns
    -------
    Measured
    """
    normal, centroid = surveyed_planes(mesh, region)
    directed, key = edge_keys(mesh.faces, len(mesh.points))
    order = stable_order(key)
    edges = directed[order[np.r_[True, np.diff(key[order]) > 0]]]
    label = _first_labels(mesh, region, normal, centroid, edges)
    state = Measured(normal, centroid, label, edges, noise)
    return _without_explained(mesh.points, state)


def measured_planes(
    mesh: Mesh, state: Measured, groups: tuple[IntArray, ...], out: NDArray[np.bool_]
) -> Measured:
    """Planes of a surveyed mesh with those that regions miss, and gentle breaks.

    Parameters
    ----------
    mesh : Mesh
    state : Measured
        From `first_planes`.
    groups : tuple of (k,) int
        Vertices that stand on the planes like chimneys: they get none.
    out : (n,) bool
        Vertices that tell nothing of breaks.

    Returns
    -------
    Measured
    """
    label = state.label.copy()
    for mine in groups:
        label[mine] = -1
    state = _refitted(mesh.points, replace(state, label=label))
    spot = mesh.area.sum() / max(len(distinct(mesh.faces)), 1)
    least = max(FEWEST, int(SMALLEST / spot))
    state = _with_missed(mesh.points, state, least)
    state = _broken(mesh.points, state, least, out)
    state = _without_explained(mesh.points, state, only_steep=True)
    return _fitted_inside(mesh.points, _refitted(mesh.points, state))


def _fitted_inside(points: Array, state: Measured) -> Measured:
    """Planes through the points away from creases, where noise decides which plane a point is given to."""
    label, normal = state.label.copy(), state.normal
    for a, b in neighbors(state).tolist():
        bend = float(np.linalg.norm(np.cross(normal[a], normal[b])))
        if normal[a] @ normal[b] > GENTLE or min(normal[a, 2], normal[b, 2]) < UPRIGHT:
            continue
        rise = -normal[a, :2] / normal[a, 2] + normal[b, :2] / normal[b, 2]
        for one, other in ((a, b), (b, a)):
            mine = np.flatnonzero(state.label == one)
            xy = points[mine, :2]
            height = [
                state.centroid[p, 2] - (xy - state.centroid[p, :2]) @ normal[p, :2] / normal[p, 2]
                for p in (one, other)
            ]
            near = np.abs(height[0] - height[1]) < np.linalg.norm(rise) * NEAR * state.noise / bend
            label[mine[near]] = -1
    kept = np.bincount(label[label >= 0], minlength=len(normal))
    whole = np.bincount(state.label[state.label >= 0], minlength=len(normal))
    few = (kept < PLENTY) | (kept < INSIDE * whole)
    label = np.where((state.label >= 0) & few[state.label], state.label, label)
    normal, centroid = _fitted(points, label, normal, state.centroid)
    return replace(state, normal=normal, centroid=centroid)


def _first_labels(mesh: Mesh, region: IntArray, normal: Array, centroid: Array, edges: IntArray) -> IntArray:
    """Nearest plane of each vertex among those of its faces; the others take one from beside them."""
    label = np.full(len(mesh.points), -1)
    face = np.flatnonzero(region >= 0)
    vertex = mesh.faces[face].ravel()
    plane = np.repeat(region[face], 3)
    label[vertex] = plane
    doubtful = np.zeros(len(label), dtype=bool)
    doubtful[vertex[label[vertex] != plane]] = True
    several = doubtful[vertex]
    vertex, plane = vertex[several], plane[several]
    off = np.abs(away(mesh.points[vertex], normal[plane], centroid[plane]))
    nearest = np.full(len(label), np.inf)
    np.minimum.at(nearest, vertex, off)
    first = np.flatnonzero(off == nearest[vertex])[::-1]  # of equals the first is written last
    label[vertex[first]] = plane[first]
    return spread_labels(label, edges)


def spread_labels(label: IntArray, edges: IntArray) -> IntArray:
    """Labels (n,) with those below 0 taken from beside them over edges (e, 2), front by front."""
    label = label.copy()
    both = np.concatenate([edges, edges[:, ::-1]])
    while True:
        both = both[label[both[:, 0]] < 0]
        front = both[label[both[:, 1]] >= 0]
        if len(front) == 0:
            return label
        label[front[:, 0]] = label[front[:, 1]]


def neighbors(state: Measured) -> IntArray:
    """Pairs (k, 2) of planes that meet along several mesh edges, the lower first."""
    one, other = state.label[_mixed(state.label, state.edges)].T
    count = int(state.label.max()) + 1
    pair, times = np.unique(np.minimum(one, other) * count + np.maximum(one, other), return_counts=True)
    return np.stack(np.divmod(pair[times >= SHARED], max(count, 1)), axis=1)


def _mixed(label: IntArray, edges: IntArray) -> IntArray:
    """Edges (k, 2) that join vertices of two labels, none below 0."""
    one, other = label.take(edges[:, 0]), label.take(edges[:, 1])
    return edges[(one != other) & (one >= 0) & (other >= 0)]


def _refitted(points: Array, state: Measured, rounds: int = 4) -> Measured:
    """Vertices go to the nearest plane among their own and their neighbors'; planes are fitted anew."""
    label, normal, centroid = state.label.copy(), state.normal.copy(), state.centroid.copy()
    for _ in range(rounds):
        mixed = _mixed(label, state.edges)
        mixed = np.concatenate([mixed, mixed[:, ::-1]])
        vertex = np.concatenate([mixed[:, 0], mixed[:, 0]])
        target = np.concatenate([label[mixed[:, 1]], label[mixed[:, 0]]])
        off = np.abs(away(points[vertex], normal[target], centroid[target]))
        order = np.lexsort([off, vertex])
        first = order[np.r_[True, np.diff(vertex[order]) > 0]] if len(order) else order
        label[vertex[first]] = target[first]
        normal, centroid = _fitted(points, label, normal, centroid)
    used, number = np.unique(label[label >= 0], return_inverse=True)
    label[label >= 0] = number
    return Measured(normal[used], centroid[used], label, state.edges, state.noise)


def _fitted(points: Array, label: IntArray, normal: Array, centroid: Array) -> tuple[Array, Array]:
    """Least-squares planes through the labeled points, without the farthest; few points keep their plane."""
    count = len(normal)
    there = np.flatnonzero(label >= 0)
    stride = np.maximum(np.bincount(label[there], minlength=count) // FITTED, 1)
    if stride.max(initial=1) > 1:
        there = there[np.arange(len(there)) % stride[label[there]] == 0]
    plane, place = label[there], np.ascontiguousarray(points.take(there, axis=0).T)
    for _ in range(2):
        parts = [(x - c[plane]) * n[plane] for x, c, n in zip(place, centroid.T, normal.T, strict=True)]
        off = parts[0] + parts[1] + parts[2]
        number = np.maximum(np.bincount(plane, minlength=count), 1)
        usual = np.sqrt(np.bincount(plane, off**2, count) / number)
        near = np.abs(off) <= NEAR * usual[plane] + 1e-9
        on, mine = plane[near], place[:, near]
        number = np.bincount(on, minlength=count)
        total = np.stack([np.bincount(on, x, count) for x in mine], axis=1)
        middle = np.asarray(total / np.maximum(number, 1)[:, None], dtype=float)
        delta = mine - middle.T.take(on, axis=1)
        moment = np.zeros((count, 3, 3))
        for i in range(3):
            for j in range(i, 3):
                moment[:, i, j] = moment[:, j, i] = np.bincount(on, delta[i] * delta[j], count)
        fitted = np.linalg.eigh(moment)[1][:, :, 0]
        fitted *= np.where(fitted[:, 2] < 0.0, -1.0, 1.0)[:, None]
        enough = (number * stride >= FEWEST // 2)[:, None]
        normal, centroid = np.where(enough, fitted, normal), np.where(enough, middle, centroid)
    return normal, centroid


def _without_explained(points: Array, state: Measured, only_steep: bool = False) -> Measured:
    """Planes go that are steep, and those whose points lie on their neighbors, strips across breaks."""
    near = NEAR * state.noise
    size = np.bincount(state.label[state.label >= 0], minlength=len(state.normal))
    pairs = neighbors(state)
    for plane in np.argsort(size, kind="stable").tolist():
        beside = pairs[(pairs == plane).any(axis=1)]
        beside = np.unique(beside[beside != plane])
        if len(beside) == 0:
            continue
        mine = np.flatnonzero(state.label == plane)
        steep = state.normal[plane, 2] < UPRIGHT
        if only_steep and not steep:
            continue
        off = np.abs([away(points[mine], state.normal[one], state.centroid[one]) for one in beside.tolist()])
        if not steep and np.mean(off.min(axis=0) < near) < EXPLAINED:
            continue
        label = state.label.copy()
        label[mine] = beside[off.argmin(axis=0)]
        normal, centroid = _fitted(points, label, state.normal, state.centroid)
        state = Measured(normal, centroid, label, state.edges, state.noise)
        pairs = neighbors(state)
    return _refitted(points, state)


def _with_missed(points: Array, state: Measured, least: int) -> Measured:
    """Planes through points that lie on none of those found, and through those of planes that fit badly."""
    there = state.label >= 0
    off = np.zeros(len(points))
    off[there] = away(points[there], state.normal[state.label[there]], state.centroid[state.label[there]])
    size = np.maximum(np.bincount(state.label[there], minlength=len(state.normal)), 1)
    usual = np.sqrt(np.bincount(state.label[there], off[there] ** 2, len(size)) / size)
    poor = (usual > POOR * state.noise) & (size < MISSED * least)
    bad = there & ((np.abs(off) > FAR * state.noise) | poor[state.label])
    if not bad.any():
        return state
    number = np.cumsum(bad) - 1
    count, part = components(int(bad.sum()), number[state.edges[bad[state.edges].all(axis=1)]])
    label, total = state.label.copy(), len(state.normal)
    vertex = np.flatnonzero(bad)
    for one in np.flatnonzero(np.bincount(part, minlength=count) >= least):
        mine = vertex[part == one]
        small = small_roof(points[mine], state.noise)
        cut = _cut(points[mine], state.noise, least, DEPTH) if small is None else small
        label[mine] = total + cut
        total = int(label.max()) + 1
    if total == len(state.normal):
        return state
    normal, centroid = _rough(points, label, total, np.tile([0.0, 0.0, 1.0], (total, 1)))
    kept = slice(len(state.normal))
    normal[kept], centroid[kept] = state.normal, state.centroid
    normal, centroid = _fitted(points, label, normal, centroid)
    return _without_explained(points, Measured(normal, centroid, label, state.edges, state.noise))


def small_roof(points: Array, noise: float) -> IntArray | None:
    """Parts (n,) of points that lie on several small planes as on the roof of a dormer.

    A few points tell two planes apart that meet at a plain angle: the break must be as sure as any, and every
    part must lie on its plane to the noise. None where they do not.
    """
    part = _cut(points, noise, SIDE, 2)
    if not part.any():
        return None
    for one in range(int(part.max()) + 1):
        delta = points[part == one] - points[part == one].mean(axis=0)
        value, vector = np.linalg.eigh(delta.T @ delta)
        if value[0] > (POOR * noise) ** 2 * (len(delta) - 3) or abs(vector[2, 0]) < UPRIGHT:
            return None
    return part


def _joined_without_step(points: Array, state: Measured, pairs: IntArray) -> NDArray[np.bool_]:
    """Whether the two planes of each pair lie at one height where they meet."""
    sides = np.sort(state.label[state.edges], axis=1)
    result = np.zeros(len(pairs), dtype=bool)
    for index, (a, b) in enumerate(pairs.tolist()):
        edge = state.edges[(sides[:, 0] == a) & (sides[:, 1] == b)]
        middle = points[edge].mean(axis=1)
        gap = [away(middle, state.normal[p], state.centroid[p]) / state.normal[p, 2] for p in (a, b)]
        result[index] = np.median(np.abs(gap[0] - gap[1])) < 4.0 * state.noise
    return result


def _broken(points: Array, state: Measured, least: int, out: NDArray[np.bool_]) -> Measured:
    """Neighbors of almost one pitch, broken along straight lines where that is sure without the outliers."""
    pairs = neighbors(state)
    gentle = np.einsum("kx,kx->k", state.normal[pairs[:, 0]], state.normal[pairs[:, 1]]) > GENTLE
    pairs = pairs[gentle]
    pairs = pairs[_joined_without_step(points, state, pairs)]
    _, group = components(len(state.normal), pairs)
    label = np.where(state.label >= 0, group[state.label], -1)
    count = int(group.max()) + 1
    for part in range(count):
        mine = np.flatnonzero((label == part) & ~out)
        if len(mine) < 2 * least:
            continue
        cut = _cut(points[mine], state.noise, least, DEPTH)
        pieces = np.unique(cut)
        for piece in pieces[1:]:
            label[mine[cut == piece]] = count
            count += 1
    normal = np.tile([0.0, 0.0, 1.0], (count, 1))
    normal, centroid = _fitted(points, label, *_rough(points, label, count, normal))
    return _joined(points, Measured(normal, centroid, label, state.edges, state.noise))


def _rough(points: Array, label: IntArray, count: int, normal: Array) -> tuple[Array, Array]:
    """First planes through labeled points: z by least squares, without leaving any out."""
    there = label >= 0
    size = np.maximum(np.bincount(label[there], minlength=count), 1)
    middle = np.stack([np.bincount(label[there], x, count) for x in points[there].T], axis=1) / size[:, None]
    for part in range(count):
        delta = points[label == part] - middle[part]
        if len(delta) >= 3:
            fitted = np.linalg.eigh(delta.T @ delta)[1][:, 0]
            normal[part] = fitted if fitted[2] > 0.0 else -fitted
    return normal, middle


def _cut(points: Array, noise: float, least: int, depth: int) -> IntArray:
    """Parts (n,) of points that lie on one plane or on several, cut along straight breaks."""
    part = np.zeros(len(points), dtype=np.int64)
    if depth == 0 or len(points) < 2 * least:
        return part
    side = _break(points, noise, least)
    if side is None:
        return part
    upper, lower = (_cut(points[one], noise, least, depth - 1) for one in (side, ~side))
    part[~side] = lower
    part[side] = upper + lower.max() + 1
    return part


def _break(points: Array, noise: float, least: int) -> NDArray[np.bool_] | None:
    """Which points lie beyond the straight break that explains them best; None where none is sure.

    The break is a term max(0, place - s) added to the plane; its size over its standard deviation is the
    usual t value of least squares.
    """
    middle = points.mean(axis=0)
    frame = np.linalg.eigh((points - middle).T @ (points - middle))[1]
    local = (points - middle) @ frame[:, ::-1]
    some = local[:: max(len(local) // SOME, 1)]
    base = np.linalg.qr(np.column_stack([np.ones(len(some)), some[:, :2]]))[0]
    rest = some[:, 2] - base @ (base.T @ some[:, 2])
    share = len(local) / len(some)
    best = (0.0, 0.0, 0.0, 0.0)
    turns = np.linspace(0.0, np.pi, 24, endpoint=False)
    places = np.linspace(0.06, 0.94, 15)
    for step in (np.pi / 24, np.pi / 120):
        for turn in turns:
            found = _best_place(some[:, :2], rest, base, turn, places)
            if found[0] > best[0]:
                best = (*found, turn)
        turns = best[3] + np.linspace(-step, step, 9)
        places = np.linspace(max(best[2] - 0.08, 0.02), min(best[2] + 0.08, 0.98), 17)
    gain, bend, place, turn = best
    if gain * share < (SURE * noise) ** 2 or abs(bend) < LEAST_BEND:
        return None
    run = local[:, :2] @ [np.cos(turn), np.sin(turn)]
    beyond = np.asarray(run > np.quantile(some[:, :2] @ [np.cos(turn), np.sin(turn)], place))
    return beyond if least <= beyond.sum() <= len(points) - least else None


def _best_place(
    plan: Array, rest: Array, base: Array, turn: float, places: Array
) -> tuple[float, float, float]:
    """Gain of the sum of squares, bend and place (share of the points before it) of the best break.

    Of points (n, 2), by what a plane leaves of their heights (n,); base (n, 3) spans all planes.
    """
    run = plan @ [np.cos(turn), np.sin(turn)]
    at = np.quantile(run, places)
    term = np.maximum(run[:, None] - at, 0.0)
    term -= base @ (base.T @ term)
    size = np.maximum(np.einsum("nk,nk->k", term, term), 1e-12)
    onto = rest @ term
    index = int(np.argmax(onto**2 / size))
    return float(onto[index] ** 2 / size[index]), float(onto[index] / size[index]), float(places[index])


def _joined(points: Array, state: Measured) -> Measured:
    """Neighbors become one plane where two fit their points no better."""
    while True:
        pairs = neighbors(state)
        alike = np.einsum("kx,kx->k", state.normal[pairs[:, 0]], state.normal[pairs[:, 1]]) > GENTLE
        best: tuple[float, int, int] | None = None
        for a, b in pairs[alike].tolist():
            mine = [np.flatnonzero(state.label == one) for one in (a, b)]
            apart = sum(_squares(points[one]) for one in mine)
            gain = (_squares(points[np.concatenate(mine)]) - apart) / state.noise**2
            if gain < SAME and (best is None or gain < best[0]):
                best = (gain, a, b)
        if best is None:
            return state
        label = np.where(state.label == best[2], best[1], state.label)
        normal, centroid = _fitted(
            points, label, *_rough(points, label, len(state.normal), state.normal.copy())
        )
        state = Measured(normal, centroid, label, state.edges, state.noise)


def _squares(points: Array) -> float:
    """Sum of squared distances of points from their own plane. [m^2]."""
    delta = points - points.mean(axis=0)
    return float(np.linalg.eigvalsh(delta.T @ delta)[0])
