"""What stands out of a surveyed roof: chimneys by their points, and points that no plane explains.

Points higher than the large planes around them hang together over mesh edges. Small groups with walls all
around are chimneys, vents and the like. How small, how high and how many points is judgment; no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.errors import InputError
from roofmodel.shape.boxes import (
    LARGEST,
    LONGEST,
    SPECK,
    WALL,
    Box,
    box_obstacles,
    near_found,
    next_number,
    plane_at,
    size_words,
    with_more,
)
from roofmodel.shape.cleaning import distinct
from roofmodel.shape.measured_planes import FAR, UPRIGHT, Measured, away, small_roof, spread_labels
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.shape.regions import Mesh, components
from roofmodel.surface import Array, IntArray, RoofSurface

FEWEST = 3  # points that make a thing; fewer may be birds
BESIDE = 0.3  # planes this near on plan, and 1.5 spacings, may explain a point [m]
MOST_LOST, SOME_LOST = 0.05, 0.01  # share of points off all planes: refused, and cautioned
LISTED = 8  # groups named one by one


@dataclass(frozen=True)
class Standing:
    """Small groups of points above the planes around them.

    Attributes
    ----------
    vertex : tuple of (k,) int
        Points of each group that stands like a chimney.
    out : (n,) bool
        Points of all small groups, which tell nothing of planes.
    """

    vertex: tuple[IntArray, ...]
    out: NDArray[np.bool_]


def standing_groups(mesh: Mesh, state: Measured) -> Standing:
    """Groups of points that stand above the large planes, small on plan.

    Parameters
    ----------
    mesh : Mesh
    state : Measured
        Planes so far.

    Returns
    -------
    Standing
    """
    points = mesh.points
    spot = mesh.area.sum() / max(len(distinct(mesh.faces)), 1)
    size = np.bincount(state.label[state.label >= 0], minlength=len(state.normal)) * spot
    large = (size > LARGEST) & (state.normal[:, 2] > UPRIGHT)
    none = Standing((), np.zeros(len(points), dtype=bool))
    if not large.any():
        return none
    label = np.where((state.label >= 0) & large[state.label], state.label, -1)
    label = spread_labels(label, state.edges)
    there = label >= 0
    over = np.zeros(len(points))
    over[there] = away(points[there], state.normal[label[there]], state.centroid[label[there]])
    over[there] /= state.normal[label[there], 2]
    high = over > max(FAR * state.noise, WALL)
    if not high.any():
        return none
    number = np.cumsum(high) - 1
    count, part = components(int(high.sum()), number[state.edges[high[state.edges].all(axis=1)]])
    vertex = np.flatnonzero(high)
    border = np.zeros(len(points), dtype=bool)
    mixed = state.edges[high[state.edges[:, 0]] != high[state.edges[:, 1]]]
    border[mixed.ravel()] = True
    out = np.zeros(len(points), dtype=bool)
    groups = []
    order = np.argsort(part, kind="stable")
    for mine in np.split(vertex[order], np.cumsum(np.bincount(part, minlength=count))[:-1]):
        extent = np.ptp(points[mine, :2], axis=0)
        if len(mine) * spot > LARGEST or extent.max() > LONGEST:
            continue
        out[mine] = True
        rim = over[mine[border[mine]]]
        if small_roof(points[mine], state.noise) is not None:
            continue
        if len(mine) >= FEWEST and np.quantile(rim, 0.1) > 2.0 * WALL:
            groups.append(mine)
    return Standing(tuple(groups), out)


def with_standing(
    surface: RoofSurface, points: Array, groups: tuple[IntArray, ...], spacing: float
) -> RoofSurface:
    """Groups of points as obstructions on the planes below them.

    Parameters
    ----------
    surface : RoofSurface
    points : (n, 3) float
        [m]
    groups : tuple of (k,) int
    spacing : float
        Of the points; rectangles are wider by half of it on every side, as no point shows the edges. [m]

    Returns
    -------
    RoofSurface
        Obstructions are rectangles along the eave that hold the points, as high as the highest of them is
        over their lowest edge.
    """
    plan = plan_polygons(surface.planes)
    boxes: list[Box] = []
    for mine in groups:
        foot = _foot(surface, points[mine], 0.5 * spacing)
        for host, polygon in enumerate(plan):
            part = shapely.intersection(polygon, foot)
            if part.area < max(SPECK, 0.1 * foot.area) or not isinstance(part, Polygon):
                continue
            below = height_at(surface.planes, host, shapely.get_coordinates(part)).min()
            boxes.append(Box(mine, host, part, float(points[mine, 2].max() - below)))
    if not boxes:
        return surface
    made = box_obstacles(surface, boxes, surface.planes, first=next_number(surface))
    said = [
        f"{len(box.tops)} points above {surface.planes.name[box.host]} were taken as {name}: {size}"
        for name, box, size in zip(made.name, boxes, size_words(made), strict=True)
    ]
    return with_more(surface, made, said)


def _foot(surface: RoofSurface, points: Array, more: float) -> Polygon:
    """Rectangle on plan along the fall of the plane around some points, that holds them and more. [m]."""
    low = points[np.argmin(points[:, 2])]
    fall = surface.planes.normal[plane_at(surface, low), :2]
    size = float(np.linalg.norm(fall))
    down = fall / size if size > 1e-6 else np.array([0.0, -1.0])
    axes = np.array([down, [-down[1], down[0]]])
    place = points[:, :2] @ axes.T
    (a, b), (c, d) = place.min(axis=0) - more, place.max(axis=0) + more
    return Polygon(np.array([[a, b], [c, b], [c, d], [a, d]]) @ axes)


def with_unexplained(surface: RoofSurface, mesh: Mesh, noise: float) -> RoofSurface:
    """Say what of a survey the planes do not show; refuse a roof that misses much of it.

    Parameters
    ----------
    surface : RoofSurface
    mesh : Mesh
        What was surveyed.
    noise : float
        [m]

    Raises
    ------
    InputError
        More than 5% of the points lie off all planes.
    """
    used = distinct(mesh.faces)
    points = mesh.points[used]
    spacing = float(np.sqrt(mesh.area.sum() / len(used)))
    over = _off_planes(surface, points, BESIDE + 1.5 * spacing)
    far = np.flatnonzero(np.abs(over) > 2.0 * WALL)
    over[far[near_found(surface, points[far], 1.5 * spacing)]] = 0.0
    bad = np.abs(over) > max(2.0 * FAR * noise, 2.0 * WALL)
    share = float(bad.mean())
    if share > MOST_LOST:
        message = (
            f"{bad.sum()} of the {len(bad)} measured points ({share:.0%}) lie beyond the planes that were "
            f"found, or more than {2e3 * max(FAR * noise, WALL):.0f} mm off them: this survey was not "
            "understood as a roof (leave out trees and the ground, or draw its planes)."
        )
        raise InputError(message)
    if not bad.any():
        return surface
    return replace(surface, notes=(*surface.notes, *_words(surface, mesh, used, bad, over, share)))


def _off_planes(surface: RoofSurface, points: Array, reach: float) -> Array:
    """Heights (n,) over the nearest of the planes within reach on plan; infinite where none is. [m]."""
    best = np.full(len(points), np.inf)
    x, y = np.ascontiguousarray(points[:, :2].T)
    plan = shapely.buffer(np.array(plan_polygons(surface.planes), dtype=object), reach)
    shapely.prepare(plan)
    for plane, (west, south, east, north) in enumerate(shapely.bounds(plan).tolist()):
        near = np.flatnonzero((x >= west) & (x <= east) & (y >= south) & (y <= north))
        near = near[shapely.intersects_xy(plan[plane], x[near], y[near])]
        normal = surface.planes.normal[plane]
        height = away(points[near], normal, surface.planes.origin[plane]) / normal[2]
        nearer = np.abs(height) < np.abs(best[near])
        best[near[nearer]] = height[nearer]
    return best


def _words(
    surface: RoofSurface, mesh: Mesh, used: IntArray, bad: NDArray[np.bool_], over: Array, share: float
) -> list[str]:
    """One line per group of points that stands off all planes, and one for all single ones."""
    vertex = np.full(len(mesh.points), -1)
    vertex[used[bad]] = np.arange(int(bad.sum()))
    sides = vertex[np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]]])]
    count, part = components(int(bad.sum()), sides[(sides >= 0).all(axis=1)])
    many = np.bincount(part, minlength=count)
    points, height = mesh.points[used[bad]], over[bad]
    notes = []
    if share > SOME_LOST:
        notes.append(f"{share:.1%} of the measured points lie off all planes: look at the picture with care.")
    groups = np.argsort(-many, kind="stable")
    groups = groups[many[groups] >= FEWEST]
    for one in groups[:LISTED].tolist():
        mine = points[part == one]
        size, middle = np.ptp(mine[:, :2], axis=0), mine.mean(axis=0) + surface.offset
        rise = height[part == one]
        top = float(rise[np.argmax(np.abs(rise))])
        where = (
            "beyond all planes"
            if np.isinf(top)
            else f"up to {abs(top):.2f} m {'above' if top > 0 else 'below'} the planes"
        )
        notes.append(
            f"{len(mine)} points around x {middle[0]:.1f}, y {middle[1]:.1f} m, {size[0]:.1f} by "
            f"{size[1]:.1f} m, lie {where} and are in no plane: give an [[obstruction]] if "
            "something stands there that snow pushes against."
        )
    rest = int(many[groups[LISTED:]].sum() + many[many < FEWEST].sum())
    if rest:
        notes.append(f"{rest} more measured points, alone or in smaller groups, lie off all planes.")
    return notes
