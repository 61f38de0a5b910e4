"""How far roof goes on behind a line: lengths that the wind finds, paths that snow slides down."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from roofmodel.counting import within
from roofmodel.snow.regions import CRACK, EAVE_OVERHANG, SAME_WAY, Plan, merged
from roofmodel.snow.slots import bridged
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Shapes = NDArray[np.object_]

RAYS = 33  # probes along a line
TOGETHER = 500_000  # sides of outlines looked at at once: bounds the memory


@dataclass(frozen=True)
class Lines:
    """Lines on plan from which to look over roof.

    Attributes
    ----------
    start, end : (n, 2 or 3) float
        Probed at `RAYS` points. [m]
    direction : (n, 2) float
        Unit vectors in which to look.
    gap : (n,) float
        Distance that may lie between each line and the roof. [m]
    overhang : (n,) float
        Distance that the roof may begin on the near side of the line, as eaves above a wall do. [m]
    """

    start: Array
    end: Array
    direction: Array
    gap: Array
    overhang: Array

    @property
    def feet(self) -> Array:
        """Where the rays begin (n, RAYS, 2). [m]."""
        fraction = np.linspace(1e-4, 1.0 - 1e-4, RAYS)[:, None]
        near = self.start[:, :2] - self.overhang[:, None] * self.direction
        return np.asarray(near[:, None] + fraction * (self.end - self.start)[:, None, :2])

    def some(self, which: IntArray | NDArray[np.bool_]) -> Lines:
        """Those of some."""
        every = self.start, self.end, self.direction, self.gap, self.overhang
        return Lines(*(values[which] for values in every))


def fetches(outlines: Shapes, lines: Lines) -> Array:
    """Longest unbroken roof length behind each of many lines, measured along its direction.

    Parameters
    ----------
    outlines : (n,) shapely geometry
        Level outline behind each line. [m]
    lines : Lines

    Returns
    -------
    (n,) float
        0 where the roof does not lie there. [m]
    """
    ray, near, far = _pieces(outlines, lines)
    longest = np.zeros(len(outlines))
    np.maximum.at(longest, ray // RAYS, far - near)
    return longest


def fetch(
    outline: BaseGeometry,
    start: Array,
    end: Array,
    direction: Array,
    gap: float = 0.0,
    overhang: float = 0.0,
) -> float:
    """As `fetches`, behind one line."""
    lines = Lines(start[None], end[None], direction[None], np.array([gap]), np.array([overhang]))
    return float(fetches(np.array([outline], dtype=object), lines)[0])


def _pieces(outlines: Shapes, lines: Lines) -> tuple[IntArray, Array, Array]:
    """Unbroken pieces of rays over a roof that begins at each line: ray, and from where to where; `fetches`.

    Rays are numbered through, `RAYS` to a line.
    """
    line, ray, near, far = _over(outlines, lines.feet, lines.direction)
    ray, near, far = bridged(RAYS * line + ray, near, far)
    there = near <= (lines.gap + lines.overhang)[ray // RAYS] + 0.05
    return ray[there], near[there], far[there]


def _over(shapes: Shapes, feet: Array, direction: Array) -> tuple[IntArray, IntArray, Array, Array]:
    """Where parallel rays run over shapes: shape, ray, and distances from the foot. [m].

    Each shape (n,) has feet (n, r, 2) and a direction (n, 2) of its own. A ray enters and leaves by turns
    where it crosses the rings.
    """
    begin, stop, own = _sides(shapes)
    total = np.cumsum(own[:, 1] - own[:, 0])
    cuts = np.searchsorted(total, np.arange(TOGETHER, total.max(initial=0), TOGETHER))
    found = []
    for some in np.split(np.arange(len(shapes)), cuts):
        shape, *rest = _crossed(begin, stop, own[some], feet[some], direction[some])
        found.append((some[shape], *rest))
    shape, ray, near, far = (np.concatenate(values) for values in zip(*found, strict=True))
    return shape, ray, near, far


def _sides(shapes: Shapes) -> tuple[Array, Array, IntArray]:
    """Sides of rings, from where (s, 2) to where (s, 2), and which of them (n, 2) belong to each shape."""
    number: dict[int, int] = {}
    which = np.array([number.setdefault(id(shape), len(number)) for shape in shapes], dtype=np.int64)
    _, first = np.unique(which, return_index=True)
    parts, owner = shapely.get_parts(shapes[first], return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    side = np.flatnonzero(ring[1:] == ring[:-1])
    shape = owner[part[ring[side]]]
    bounds = np.searchsorted(shape, np.arange(len(first) + 1))
    return corners[side], corners[side + 1], np.column_stack([bounds[:-1], bounds[1:]])[which]


def _crossed(
    begin: Array, stop: Array, own: IntArray, feet: Array, direction: Array
) -> tuple[IntArray, IntArray, Array, Array]:
    """As `_over`, of shapes that own some of all sides."""
    count = own[:, 1] - own[:, 0]
    shape = np.repeat(np.arange(len(own)), count)
    side = np.repeat(own[:, 0], count) + within(count)
    across = np.column_stack([-direction[:, 1], direction[:, 0]])
    place = np.einsum("nrx,nx->nr", feet, across)
    first, last = (np.sum(ends[side] * across[shape], axis=1) for ends in (begin, stop))
    near = np.minimum(first, last) <= place.max(axis=1)[shape]
    near &= np.maximum(first, last) > place.min(axis=1)[shape]
    shape, side, first, last = shape[near], side[near], first[near], last[near]
    at_ray = place[shape]
    number, ray = np.nonzero((first[:, None] <= at_ray) != (last[:, None] <= at_ray))
    part = (at_ray[number, ray] - first[number]) / (last[number] - first[number])
    shape, side = shape[number], side[number]
    begins, ends = (np.sum(some[side] * direction[shape], axis=1) for some in (begin, stop))
    at = begins + part * (ends - begins) - np.sum(feet[shape, ray] * direction[shape], axis=1)
    order = np.lexsort((at, ray, shape))
    enters, leaves = np.maximum(at[order], 0.0).reshape(-1, 2).T
    ahead = leaves > enters
    one = order[::2][ahead]
    return shape[one], ray[one], enters[ahead], leaves[ahead]


def slope_run(
    plan: Plan,
    plane: int,
    start: Array,
    end: Array,
    direction: Array,
    gap: float = 0.0,
    overhang: float = 0.0,
) -> float:
    """Plan length of a roof slope, over all planes that fall the same way as one of them. [m].

    Parameters as `fetch`; the planes are those of the level of `plane` that fall within 60 degrees of it.
    """
    return fetch(slope_outline(plan, one_slope(plan, plane)), start, end, direction, gap, overhang)


def slope_outline(plan: Plan, planes: IntArray) -> BaseGeometry:
    """Outline of some planes together, found once."""
    key = planes.tobytes()
    if key not in plan.joined:
        plan.joined[key] = merged(np.array(plan.polygon)[planes])
    return plan.joined[key]


def one_slope(plan: Plan, plane: int) -> IntArray:
    """Planes of a roof slope: those of one level that fall within 60 degrees of one of them."""
    same = (plan.drift_level == plan.drift_level[plane]) & (plan.fall @ plan.fall[plane] > SAME_WAY)
    return np.flatnonzero(same)


@dataclass(frozen=True)
class _Slopes:
    """Fall lines up the slopes above steps, `RAYS` to a step, that run over the plane above the step first.

    What lies in front of that plane's eave or under it is no part of the slope, though snow may fill the step
    and join it: a porch under an eave, or the roof beside and below a dormer, which goes on above it.

    Attributes
    ----------
    planes : list of (n,) int
        Planes of each slope.
    lines : Lines
    ray : (m,) int
        Ray of each piece of slope without a break, numbered through; rising.
    low, high : (m,) float
        From where to where it runs. [m]
    left : (`RAYS` s,) float
        Where each ray leaves the plane above its step for the others. [m]
    """

    planes: list[IntArray]
    lines: Lines
    ray: IntArray
    low: Array
    high: Array
    left: Array


def _slopes(plan: Plan, plane: IntArray, start: Array, end: Array, gap: Array) -> _Slopes:
    planes = [one_slope(plan, one) for one in plane.tolist()]
    lines = Lines(start, end, -plan.fall[plane], gap, np.full(len(plane), EAVE_OVERHANG))
    outlines = np.array([slope_outline(plan, some) for some in planes], dtype=object)
    ray, near, far = _pieces(outlines, lines)
    own, begins, ends = _pieces(plan.shapes[plane], lines)
    first, left = np.full(RAYS * len(plane), np.inf), np.zeros(RAYS * len(plane))
    np.minimum.at(first, own, begins)
    nearest = begins <= first[own]
    left[own[nearest]] = ends[nearest]
    low = np.maximum(near, first[ray])
    there = low < far
    return _Slopes(planes, lines, ray[there], low[there], far[there], left)


def shed_run(roof: RoofSurface, plan: Plan, step: int) -> float:
    """Longest plan run of the slope above a step, from the eave of the plane above it. [m]."""
    steps, one = roof.steps, np.array([step])
    found = _slopes(plan, steps.upper[one], steps.start[one], steps.end[one], steps.gap[one])
    return float((found.high - found.low).max(initial=0.0))


def slide_paths(
    plan: Plan, plane: IntArray, start: Array, end: Array, gap: Array
) -> list[tuple[IntArray, Array]]:
    """Facets of the slopes above steps along which their snow slides, and how far it does on each.

    Parameters
    ----------
    plan : Plan
    plane : (s,) int
        The plane above each step.
    start, end : (s, 2 or 3) float
        Foot of each step's wall. [m]
    gap : (s,) float
        Between the roofs on plan. [m]

    Returns
    -------
    list of planes (n,) int and runs (r, n) float
        For each step: plan length on each facet of the r fall lines of `plane` that are probed along the
        wall. [m]
    """
    if not len(plane):
        return []
    of = _slopes(plan, plane, start, end, gap)
    slopes, lines, ray, near, far = of.planes, of.lines, of.ray, of.low, of.high
    step = np.repeat(np.arange(len(plane)), [len(planes) for planes in slopes])
    facet = np.concatenate(slopes)
    which, other, low, high = _over(plan.shapes[facet], lines.feet[step], lines.direction[step])
    line = RAYS * step[which] + other
    low = np.where(facet[which] == plane[step[which]], low, np.maximum(low, of.left[line]))
    first, last = np.searchsorted(ray, line, "left"), np.searchsorted(ray, line, "right")
    times = last - first
    over = np.repeat(np.arange(len(line)), times)
    piece = first[over] + within(times)
    common = np.maximum(np.minimum(far[piece], high[over]) - np.maximum(near[piece], low[over]), 0.0)
    column = which[over] - np.searchsorted(step, step[which[over]])
    rows = np.searchsorted(ray // RAYS, np.arange(len(plane) + 1))
    found = []
    bounds = np.searchsorted(step[which[over]], np.arange(len(plane) + 1))
    for k, planes in enumerate(slopes):
        runs, own = np.zeros((rows[k + 1] - rows[k], len(planes))), slice(bounds[k], bounds[k + 1])
        np.add.at(runs, (piece[own] - rows[k], column[own]), common[own])
        there = np.any(runs > CRACK, axis=0) if len(runs) else np.zeros(len(planes), dtype=bool)
        found.append((planes[there], runs[:, there]))
    return found


def slope_sheds(
    roof: RoofSurface, plan: Plan, step: int, slides: Callable[[float], NDArray[np.bool_]]
) -> bool:
    """Whether the slope above a step sheds over it by its steepest facet on the way.

    Judgment: no standard says which slope of a bent roof decides. `slides` is the standard's rule for slopes
    in rad, and holds for all steeper ones.
    """
    steps, slope = roof.steps, roof.planes.slope
    upper = int(steps.upper[step])
    if slides(slope[upper]):
        return True
    one = np.array([step])
    ((planes, _),) = slide_paths(plan, steps.upper[one], steps.start[one], steps.end[one], steps.gap[one])
    return bool(slides(slope[planes].max(initial=slope[upper])))
