"""Walls that stop snow: below a slope, and in the way of what falls.

A wall is taken to stand below every edge of the roof that has nothing beyond it, from the edge down to the
roof or the ground below (judgment: overhangs and open sides are not in a roof model). Snow that meets one
from outside drops to its foot; what the wall itself suffers is not in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.surface import FLAT_SLOPE, EdgeKind, RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

HOLDS = 1.0  # lower walls are taken to hold nothing back: snow may push over them (judgment) [m]
LEAST = 1e-6  # where a wall runs out it is no lower [m]
PASSES = 0.1  # cosine: snow that falls within 6 degrees of the line of a wall passes it (judgment)
ROUNDING = 1e-9  # flights so little beyond the end of a wall meet it [-]
OWN = 0.02  # walls nearer to the start than this are the building's own [m]


@dataclass(frozen=True)
class Walls:
    """Walls on plan, w of them.

    Attributes
    ----------
    edge : (w,) int
        Edge of the roof on top.
    start, way : (w, 2) float
        One end, and the vector to the other; the building lies to the left. [m]
    top : (w, 2) float
        Height of the edge at both ends. [m]
    """

    edge: IntArray
    start: Array
    way: Array
    top: Array


@dataclass(frozen=True)
class Heaps:
    """Snow stopped by walls, h triples of an edge, a wall, and what the snow drops onto.

    Attributes
    ----------
    edge : (h,) int
        Which of `RowForce.exit_edge`.
    wall : (h,) int
        Edge of the roof on top of the wall.
    plane : (h,) int
        Lower plane at the foot; -1 for the ground.
    weight, line, volume : (q, h) float
        Weight [N], largest weight for each meter of the edge [N/m], volume at the case's density [m^3].
    ends : (h, 2, 3) float
        Stretch of the wall's foot along which it lies. [m]
    high : (h,) float
        Highest meeting above the foot. [m]
    """

    edge: IntArray
    wall: IntArray
    plane: IntArray
    weight: Array
    line: Array
    volume: Array
    ends: Array
    high: Array


def held_by_walls(roof: RoofSurface) -> NDArray[np.bool_]:
    """Edges (e,) at which snow that slides down cannot leave: the wall of a higher roof stands there.

    Over a low wall it may push on, which counts as falling, the safe reading. Along a foot that is not level
    it slides on, see `turned_by_walls`.
    """
    wall, level = _feet(roof)
    return np.asarray((wall >= HOLDS) & level)


def turned_by_walls(roof: RoofSurface) -> NDArray[np.bool_]:
    """Edges (e,) at the foot of a wall that is not level: snow runs down along it to its lower end.

    Along low walls too, such as cheeks of dormers that run out: rows below then get what might push over.
    """
    wall, level = _feet(roof)
    return np.asarray((wall > 0.0) & ~level)


def pushed_over(roof: RoofSurface) -> IntArray:
    """Steps whose wall is too low to hold anything back and yet turns the snow of the slope along it.

    Rows below its lower end get that snow; what pushes over the wall onto the roof above is in no force.
    """
    steps = roof.steps
    at = np.flatnonzero((steps.lower_edge >= 0) & (steps.gap == 0.0) & (steps.wall.max(axis=1) < HOLDS))
    at = at[turned_by_walls(roof)[steps.lower_edge[at]]]
    way = (steps.end - steps.start)[at, :2]
    right = np.stack([way[:, 1], -way[:, 0]], axis=1) / np.linalg.norm(way, axis=1)[:, None]
    fall = -roof.planes.upslope[steps.lower[at], :2]
    fall = fall / np.maximum(np.linalg.norm(fall, axis=1), LEAST)[:, None]
    return np.asarray(at[np.sum(fall * right, axis=1) > PASSES])


def foot_walls(roof: RoofSurface) -> Array:
    """Least height of the wall that stands at each edge, (e,); -inf for none. [m]."""
    return _feet(roof)[0]


def _feet(roof: RoofSurface) -> tuple[Array, NDArray[np.bool_]]:
    """Least height of the wall at each edge, -inf where none stands right at it; which are level, (e,)."""
    edges, steps = roof.edges, roof.steps
    at = np.flatnonzero((steps.lower_edge >= 0) & (steps.gap == 0.0))
    least = np.maximum(steps.wall[at].min(axis=1), LEAST)
    wall = np.full(len(edges.kind), np.inf)
    np.minimum.at(wall, steps.lower_edge[at], least)
    foot = np.array([kind is EdgeKind.STEP for kind in edges.kind], dtype=bool)
    rise = np.abs(edges.end[:, 2] - edges.start[:, 2])
    level = np.asarray(rise <= np.sin(FLAT_SLOPE) * edges.length)
    return np.where(foot & np.isfinite(wall), wall, -np.inf), level


def walls_of(roof: RoofSurface) -> Walls:
    """Walls below the edges that have nothing beyond them."""
    edges = roof.edges
    outer = (edges.plane[:, 1] < 0) & np.array([kind is not EdgeKind.STEP for kind in edges.kind], dtype=bool)
    edge = np.flatnonzero(outer)
    start, end = edges.start[edge], edges.end[edge]
    return Walls(edge, start[:, :2], (end - start)[:, :2], np.stack([start[:, 2], end[:, 2]], axis=1))


def meets_walls(
    walls: Walls, start: Array, down: Array, slope: Array, speed: Array, same: int
) -> tuple[Array, IntArray]:
    """First wall that each flight meets from outside, below its top.

    Parameters
    ----------
    walls : Walls
    start : (r, 3) float
        Where flights begin. [m]
    down : (r, 2) float
        Unit directions on plan.
    slope, speed : (r,) float
        Downward angle [rad] and speed [m/s] there.
    same : int
        So many flights in a row begin at one place, in one direction.

    Returns
    -------
    x : (r,) float
        Plan distance of the meeting; inf for none. [m]
    wall : (r,) int
        Which of the walls; -1 for none.
    """
    nearest, wall = np.full(len(start), np.inf), np.full(len(start), -1)
    if not len(walls.edge) or not len(start):
        return nearest, wall
    at, way = start[::same, :2], down[::same]
    to = walls.start[None] - at[:, None]
    turn = _cross(way[:, None], walls.way[None])
    inward = turn < -1e-9  # the building lies to the left of a wall: the flight comes from its right
    safe = np.where(inward, turn, 1.0)
    x = np.where(inward, _cross(to, walls.way[None]) / safe, np.inf)
    share = np.where(inward, _cross(to, way[:, None]) / safe, -1.0)
    ahead = (x > OWN) & (share >= -ROUNDING) & (share <= 1.0 + ROUNDING)
    level = np.maximum(speed * np.cos(slope), 1e-9)
    for k in np.flatnonzero(ahead.any(axis=0)):  # few: walls that stand in the way
        far = np.repeat(np.where(ahead[:, k], x[:, k], 0.0), same)
        top = walls.top[k, 0] + share[:, k] * (walls.top[k, 1] - walls.top[k, 0])
        z = start[:, 2] - far * np.tan(slope) - 0.5 * STANDARD_GRAVITY * (far / level) ** 2
        hit = np.repeat(ahead[:, k], same) & (z < np.repeat(top, same)) & (far < nearest)
        nearest[hit], wall[hit] = far[hit], k
    return nearest, wall


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
