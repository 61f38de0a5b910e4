"""Which lower roofs catch the snow that leaves an edge, and what flies beyond them to the ground.

Snow behind an edge starts from every height up to the greatest, so its v^2 = 2 g h at the edge is taken
evenly spread from rest to the greatest (exact for a rectangle under even snow without friction; judgment
elsewhere). Each part flies without drag, down the slope that it leaves, and stays on the first roof plane
that it meets from above; a wall that it meets first (`walls`) stops it, and it drops to the wall's foot. What
rolls on, splashes or bounces is not in it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from typing import cast

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.memory import Memory, recall
from roofmodel.shape.planes import plan_polygon
from roofmodel.sliding.together import most_together
from roofmodel.sliding.walls import Heaps, Walls, meets_walls, walls_of
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

CLASSES = 40  # parts of the snow by the height that it starts from
HEIGHTS = CLASSES + 3  # of them with both ends, and once more from the top of the snow
PLACES = 4  # parts of a piece of edge
BELOW = 0.02  # a roof counts as lower where it lies this far below the edge [m]
OUT = 0.005  # where snow without speed falls, out from the edge [m]


@dataclass(frozen=True)
class LowerRoofs:
    """Snow that lands on lower planes, m pairs of an edge and a plane.

    Attributes
    ----------
    edge : (m,) int
        Which of `RowForce.exit_edge`.
    plane : (m,) int
    weight : (q, m) float
        [N]
    line : (q, m) float
        Largest weight for each meter of the edge. [N/m]
    volume : (q, m) float
        At the case's density. [m^3]
    reach : (m,) float
        Farthest landing on the plane, from the top of the snow, on plan from the edge. [m]
    patch : tuple of shapely Polygon, (m,)
        Where on the plane, on plan. [m]
    heaps : Heaps
        What of it walls stopped; it counts above or as reaching the ground too.
    beyond : (q, x) float
        Weight from each edge that meets no roof and reaches the ground. [N]
    touched : tuple of (int, int, shapely geometry)
        Which edge and plane, as above, and where any of it may land, from the top of the snow too: more than
        `patch`, and planes that only this reaches.
    """

    edge: IntArray
    plane: IntArray
    weight: Array
    line: Array
    volume: Array
    reach: Array
    patch: tuple[shapely.Geometry, ...]
    heaps: Heaps
    beyond: Array = field(default_factory=lambda: np.zeros((0, 0)))
    touched: tuple[tuple[int, int, shapely.Geometry], ...] = ()


@dataclass(frozen=True)
class Throws:
    """Snow on its way over edges, one for each exit of the flow graph, n of them.

    Attributes
    ----------
    at : (n,) int
        Which of `RowForce.exit_edge`.
    ends : (n, 2, 3) float
        Line that it leaves over. [m]
    down : (n, 2) float
        Unit direction on plan.
    slope : (n,) float
        [rad]
    head : (n,) float
        Greatest v^2 / 2 g at the edge. [m]
    weight : (q, n) float
        [N]
    depth : (n,) float
        Largest depth of snow at the edge: the farthest flies from its top. [m]
    """

    at: IntArray
    ends: Array
    down: Array
    slope: Array
    head: Array
    weight: Array
    depth: Array


def lower_roofs(
    roof: RoofSurface, throws: Throws, edges: int, density: Array, memory: Memory | None = None
) -> LowerRoofs:
    """Divide the snow of every edge between the planes below it and the ground.

    Parameters
    ----------
    roof : RoofSurface
    throws : Throws
    edges : int
        Number of exit edges, x.
    density : (q,) float
        [kg/m^3]
    memory : Memory, optional
        Keeps the flights from edges that snow leaves as before.
    """
    under = recall(memory, "under flights", partial(_under, roof))
    beyond = np.zeros((len(density), edges))
    pairs: list[tuple[int, int, Array, Array, float, shapely.Geometry]] = []
    stopped: list[_Heap] = []
    touched: list[tuple[int, int, shapely.Geometry]] = []
    for edge in range(edges):
        own = np.flatnonzero(throws.at == edge)
        way = (throws.ends[own], throws.down[own], throws.slope[own], throws.head[own], throws.depth[own])
        key = ("flights", *(part.tobytes() for part in way))
        caught = recall(memory, key, partial(_caught, roof, under, *way))
        weight = throws.weight[:, own]
        one, ends = np.zeros(len(own), dtype=np.int64), throws.ends[own]
        beyond[:, edge] = weight @ caught.ground
        touched += [(edge, plane, place) for plane, place in caught.touched]
        for plane, share, reach, patch in caught.planes:
            each = weight * share
            line = most_together(1, one, ends, each.T)[0]
            pairs.append((edge, plane, each.sum(axis=1), line, reach, patch))
        for wall, foot, share, lies, high in caught.heaps:
            each = weight * share
            line = most_together(1, one, ends, each.T)[0]
            stopped.append((edge, wall, foot, each.sum(axis=1), line, lies, high))
    weights = np.array([pair[2] for pair in pairs]).reshape(len(pairs), len(density)).T
    return LowerRoofs(
        edge=np.array([pair[0] for pair in pairs], dtype=np.int64),
        plane=np.array([pair[1] for pair in pairs], dtype=np.int64),
        weight=weights,
        line=np.array([pair[3] for pair in pairs]).reshape(len(pairs), len(density)).T,
        volume=weights / (density[:, None] * STANDARD_GRAVITY),
        reach=np.array([pair[4] for pair in pairs]),
        patch=tuple(pair[5] for pair in pairs),
        heaps=_gathered(stopped, density),
        beyond=beyond,
        touched=tuple(touched),
    )


@dataclass(frozen=True)
class _Under:
    """What flights may meet: walls, and planes with outline, its bounds and lowest height."""

    walls: Walls
    outlines: NDArray[np.object_]
    bounds: Array
    lowest: Array


def _under(roof: RoofSurface) -> _Under:
    planes = roof.planes
    outlines = np.array([plan_polygon(planes, p) for p in range(planes.count)], dtype=object)
    shapely.prepare(outlines)
    lowest = np.array([planes.to_world(p, np.array([[0.0, 0.0]]))[0, 2] for p in range(planes.count)])
    return _Under(walls_of(roof), outlines, shapely.bounds(outlines), lowest)


@dataclass(frozen=True)
class _Caught:
    """Where flights from an edge end, as shares (n,) of what each of its pieces sends.

    `planes`: plane, share, reach [m] and patch. `touched`: as in `LowerRoofs`, without the edge. `heaps`:
    wall, plane at its foot (-1 for the ground), share, ends of the heap [m] and its height [m].
    """

    ground: Array
    planes: tuple[tuple[int, Array, float, shapely.Geometry], ...]
    touched: tuple[tuple[int, shapely.Geometry], ...]
    heaps: tuple[tuple[int, int, Array, Array, float], ...]


def _caught(
    roof: RoofSurface, under: _Under, piece_ends: Array, down: Array, slope: Array, head: Array, depth: Array
) -> _Caught:
    """Follow the flights from one edge; arguments as in `Throws`."""
    rays = _rays(piece_ends, down, slope, head, depth)
    z, count = rays.start[:, 2], len(head)
    ground = _flight(rays.speed, rays.slope, np.maximum(z - roof.ground, 0.0))
    far = rays.start[:, :2] + ground[:, None] * rays.down
    low = np.minimum(rays.start[:, :2], far).min(axis=0) - 1.0
    high = np.maximum(rays.start[:, :2], far).max(axis=0) + 1.0
    bounds = under.bounds
    near = (bounds[:, 0] < high[0]) & (bounds[:, 2] > low[0]) & (bounds[:, 1] < high[1])
    near &= (bounds[:, 3] > low[1]) & (under.lowest < z.max() - BELOW)
    first, owner = _first_met(roof, rays, under.outlines, np.flatnonzero(near))
    x, wall = meets_walls(under.walls, rays.start, rays.down, rays.slope, rays.speed, HEIGHTS)
    met = (x < first) & (x < ground)
    first[met], wall[~met] = x[met], -1
    _drop(roof, rays, under.outlines, np.flatnonzero(near), first, owner, met)
    share = np.zeros((count, roof.planes.count + 1))
    np.add.at(share, (rays.piece, owner), rays.part)  # the last column is the ground
    share[:, -1] = 1.0 - share[:, :-1].sum(axis=1)
    planes: list[tuple[int, Array, float, shapely.Geometry]] = []
    touched: list[tuple[int, shapely.Geometry]] = []
    for plane in np.unique(owner[owner >= 0]).tolist():
        on, outline = owner == plane, under.outlines[plane]
        touched.append((plane, shapely.intersection(_hull(rays, first, on), outline)))
        if share[:, plane].any():
            patch = shapely.intersection(_hull(rays, first, on & ~rays.top), outline)
            planes.append((plane, share[:, plane], float(first[on].max()), patch))
    return _Caught(
        ground=share[:, -1],
        planes=tuple(planes),
        touched=tuple(touched),
        heaps=tuple(_heaps(roof, rays, under.walls, wall, first, owner, count)),
    )


def _hull(rays: _Rays, first: Array, on: BoolArray) -> shapely.Geometry:
    """Around where flights come down, on plan."""
    points = rays.start[on, :2] + first[on, None] * rays.down[on]
    return cast(shapely.Geometry, shapely.convex_hull(shapely.multipoints(points)))  # faster than its class


_Heap = tuple[int, int, int, Array, Array, Array, float]  # as in `Heaps`, weight (q,) and line (q,)


def _drop(
    roof: RoofSurface,
    rays: _Rays,
    outlines: NDArray[np.object_],
    planes: IntArray,
    first: Array,
    owner: IntArray,
    met: BoolArray,
) -> None:
    """Let what walls stop fall to the highest plane below, or to the ground: changes `owner` where `met`."""
    at, z = _meeting(rays, first, met)
    owner[met] = -1
    if not len(z) or not len(planes):
        return
    level = np.stack([_level(roof, plane, at) for plane in planes.tolist()])
    under, point = np.nonzero(level < z)
    on = shapely.intersects_xy(outlines[planes[under]], *at[point].T)
    height = np.full(level.shape, -np.inf)
    height[under[on], point[on]] = level[under[on], point[on]]
    highest = height.argmax(axis=0)
    owner[met] = np.where(np.isfinite(height.max(axis=0)), planes[highest], -1)


def _meeting(rays: _Rays, first: Array, met: BoolArray) -> tuple[Array, Array]:
    """Where flights meet their walls: just outside of them on plan (m, 2), and how high (m,). [m]."""
    x = first[met]
    level = np.maximum(rays.speed[met] * np.cos(rays.slope[met]), 1e-9)
    z = rays.start[met, 2] - x * np.tan(rays.slope[met]) - 0.5 * STANDARD_GRAVITY * (x / level) ** 2
    return rays.start[met, :2] + (x - OUT)[:, None] * rays.down[met], z


def _level(roof: RoofSurface, plane: int, at: Array) -> Array:
    """Height of a plane at points on plan, (m,). [m]."""
    normal, origin = roof.planes.normal[plane], roof.planes.origin[plane]
    return np.asarray(origin[2] - (at - origin[:2]) @ normal[:2] / normal[2])


def _heaps(
    roof: RoofSurface, rays: _Rays, walls: Walls, wall: IntArray, first: Array, owner: IntArray, count: int
) -> Iterator[tuple[int, int, Array, Array, float]]:
    """What of one edge's snow lies at the foot of each wall, as `_Caught.heaps`."""
    for k, foot in sorted(set(zip(wall[wall >= 0].tolist(), owner[wall >= 0].tolist(), strict=True))):
        on = (wall == k) & (owner == foot) & ~rays.top
        share = np.asarray(np.bincount(rays.piece[on], rays.part[on], count), dtype=np.float64)
        if not share.any():
            continue
        at, z = _meeting(rays, first, on)
        level = _level(roof, foot, at) if foot >= 0 else np.full(len(z), roof.ground)
        along = at @ walls.way[k]
        ends = np.column_stack([at, level])[[along.argmin(), along.argmax()]]
        yield int(walls.edge[k]), int(foot), share, ends, float((z - level).max())


def _gathered(found: list[_Heap], density: Array) -> Heaps:
    shape = (len(found), len(density))
    weight = np.array([one[3] for one in found]).reshape(shape).T
    return Heaps(
        edge=np.array([one[0] for one in found], dtype=np.int64),
        wall=np.array([one[1] for one in found], dtype=np.int64),
        plane=np.array([one[2] for one in found], dtype=np.int64),
        weight=weight,
        line=np.array([one[4] for one in found]).reshape(shape).T,
        volume=weight / (density[:, None] * STANDARD_GRAVITY),
        ends=np.array([one[5] for one in found]).reshape(-1, 2, 3),
        high=np.array([one[6] for one in found]),
    )


@dataclass(frozen=True)
class _Rays:
    """Parts of throws: which piece, what part of it, start (r, 3), direction (r, 2), slope, speed.

    Those from the top of the snow (`top`) weigh nothing and only tell how far it reaches.
    """

    piece: IntArray
    part: Array
    start: Array
    down: Array
    slope: Array
    speed: Array
    top: BoolArray


def _rays(ends: Array, down: Array, slope: Array, head: Array, depth: Array) -> _Rays:
    """Parts by place along each piece and by start height; the outermost ones weigh nothing."""
    place, at_place = _middles_and_ends(PLACES)
    middles, at_middles = _middles_and_ends(CLASSES)
    height, at_height = np.append(middles, 1.0), np.append(at_middles, 0.0)
    t, h = (grid.ravel() for grid in np.meshgrid(place, height, indexing="ij"))
    part = np.outer(at_place, at_height).ravel()
    top = np.tile(np.arange(HEIGHTS) == HEIGHTS - 1, len(place))
    start = ends[:, 0, None] + t[None, :, None] * (ends[:, 1] - ends[:, 0])[:, None]
    start[..., 2] += top * depth[:, None]
    speed = np.sqrt(2.0 * STANDARD_GRAVITY * head[:, None] * h)
    return _Rays(
        piece=np.repeat(np.arange(len(head)), len(t)),
        part=np.tile(part, len(head)),
        start=start.reshape(-1, 3),
        down=np.repeat(down, len(t), axis=0),
        slope=np.repeat(slope, len(t)),
        speed=speed.ravel(),
        top=np.tile(top, len(head)),
    )


def _middles_and_ends(count: int) -> tuple[Array, Array]:
    """Middles of equal parts of 0 to 1 with their weights, and both ends without weight."""
    middle = (np.arange(count) + 0.5) / count
    return np.r_[0.0, middle, 1.0], np.r_[0.0, np.full(count, 1.0 / count), 0.0]


def _flight(speed: Array, slope: Array, fall: Array) -> Array:
    """Plan distance until a body thrown down a slope has fallen so far. [m]."""
    down = speed * np.sin(slope)
    time = (np.sqrt(down**2 + 2.0 * STANDARD_GRAVITY * fall) - down) / STANDARD_GRAVITY
    return np.asarray(speed * np.cos(slope) * time)


def _first_met(
    roof: RoofSurface, rays: _Rays, outlines: NDArray[np.object_], planes: IntArray
) -> tuple[Array, IntArray]:
    """Plan distance at which rays first come down onto one of some planes, and which; inf and -1 for none."""
    count = len(rays.piece)
    if not len(planes):
        return np.full(count, np.inf), np.full(count, -1)
    x = _meets(roof, planes, rays)
    plane, ray = np.nonzero(np.isfinite(x))
    at = rays.start[ray, :2] + np.maximum(x[plane, ray], OUT)[:, None] * rays.down[ray]
    beside = ~shapely.intersects_xy(outlines[planes[plane]], *at.T)
    x[plane[beside], ray[beside]] = np.inf
    nearest = x.argmin(axis=0)
    first = x[nearest, np.arange(count)]
    return first, np.where(np.isfinite(first), planes[nearest], -1)


def _meets(roof: RoofSurface, planes: IntArray, rays: _Rays) -> Array:
    """Plan distance at which rays come down onto infinite planes, (p, r); inf where they start below. [m].

    Height over the plane after time t: c - (v sin + v cos g_r) t - g t^2 / 2, with g_r the plane's rise along
    the ray.
    """
    normal, origin = roof.planes.normal[planes], roof.planes.origin[planes]
    tilt = normal / normal[:, 2:]
    over = tilt @ rays.start.T - np.sum(tilt * origin, axis=1)[:, None]
    rise = -(tilt[:, :2] @ rays.down.T)
    level = rays.speed * np.cos(rays.slope)
    rate = rays.speed * np.sin(rays.slope) + level * rise
    time = (np.sqrt(rate**2 + 2.0 * STANDARD_GRAVITY * np.maximum(over, 0.0)) - rate) / STANDARD_GRAVITY
    return np.where(over > BELOW, level * time, np.inf)
