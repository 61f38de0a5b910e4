"""Upright faces that stand on planes without a top: chimneys drawn as shafts, screens, parapets as sheets.

Walls below a roof end at it; corners of walls that stand above all planes near them do not. What is small,
and how high counts, is judgment; no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.shape.attached import HIGHEST
from roofmodel.shape.boxes import (
    GRID,
    LARGEST,
    LONGEST,
    SPECK,
    WALL,
    Box,
    box_obstacles,
    near_found,
    next_number,
    size_words,
    with_more,
)
from roofmodel.shape.cleaning import face_vectors, weld
from roofmodel.shape.parapets import (
    NARROW,
    SLENDER,
    Upright,
    narrow_groups,
    parapets_of_walls,
    with_parapets_made,
    without_known,
)
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.shape.regions import components
from roofmodel.surface import FLAT_SLOPE, Array, IntArray, RoofSurface

BESIDE = 0.3  # planes this near on plan tell how high walls may be [m]
WIDE = 2.0  # wider strips are roofs [m]
AGAINST = 0.1  # fall toward a strip, level part of a unit way up the slope: within 6 degrees it passes [-]
THIN = 0.1  # a sheet is taken as so thick [m]
LISTED = 8  # groups named one by one
UPRIGHT = 0.3  # faces whose normal rises by less stand upright [-]
MANY = 200_000  # of more faces none is looked at: a survey, whose steep faces are noise


def with_uprights(surface: RoofSurface, points: Array, walls: IntArray, boxes: bool) -> RoofSurface:
    """Upright faces above the planes as obstructions or parapets, else in words.

    Parameters
    ----------
    surface : RoofSurface
    points : (n, 3) float
        [m]
    walls : (k, 3) int
        Faces left out as walls, with tops of these if there are any.
    boxes : bool
        Whether small ones become obstructions, and those along an edge parapets.

    Returns
    -------
    RoofSurface
    """
    if not 0 < len(walls) < MANY:
        return surface
    welded, faces = weld(points, walls)
    over = _over_planes(surface, welded)
    high = over > WALL
    known = near_found(surface, welded, BESIDE, over)  # obstructions that tops have shown
    left_out = shapely.buffer(shapely.MultiPolygon(surface.attached), BESIDE)
    known |= shapely.contains_xy(left_out, *welded[:, :2].T) & (over < HIGHEST + WALL)
    made: list[Box] = []
    along: list[Upright] = []
    words: list[str] = []
    edges = _upright_edges(welded, faces, high)
    for corner in _groups(faces, high):
        if known[corner].all():
            continue
        foot = shapely.envelope(shapely.MultiPoint(welded[corner, :2])).buffer(0.5 * THIN, join_style="mitre")
        size = np.ptp(welded[corner, :2], axis=0)
        new = _on_planes(surface, welded[corner], foot) if boxes and _small(size) else []
        made += new
        its = edges[np.isin(edges[:, 0], corner)] if boxes and not new else edges[:0]
        parapets = parapets_of_walls(surface, welded, its) if len(its) else []
        along += without_known(surface, parapets)
        if not new and not parapets:
            middle = welded[corner].mean(axis=0) + surface.offset
            words.append(
                f"Upright faces stand up to {over[corner].max():.2f} m above the planes around "
                f"x {middle[0]:.1f}, y {middle[1]:.1f} m, over {size[0]:.2f} by {size[1]:.2f} m: they are "
                "in no load. Give a [[parapet]] or an [[obstruction]] if snow drifts or pushes against them."
            )
    if len(words) > LISTED:
        words = [
            *words[:LISTED],
            f"{len(words) - LISTED} more groups of upright faces stand above the planes.",
        ]
    if words:
        surface = replace(surface, notes=(*surface.notes, *words))
    if made:
        found = box_obstacles(surface, made, surface.planes, next_number(surface))
        said = [
            f"Upright faces were taken as {name} on {surface.planes.name[plane]}: {size}"
            for name, plane, size in zip(found.name, found.plane, size_words(found), strict=True)
        ]
        surface = with_more(surface, found, said)
    if along:
        said = [f"An upright wall along {surface.planes.name[one.plane]}" for one in along]
        surface = with_parapets_made(surface, along, said)
    return surface


def with_narrow(surface: RoofSurface) -> RoofSurface:
    """Say which narrow or small planes stand above others: parapets and chimneys at edges may look like that.

    Parameters
    ----------
    surface : RoofSurface
    """
    steps, planes = surface.steps, surface.planes
    plan = plan_polygons(planes)
    joined = set(surface.edges.plane[surface.edges.plane[:, 1] >= 0].ravel().tolist())  # dormers
    notes = []
    pairs = np.column_stack([steps.upper, steps.lower])[steps.between < 0]
    for upper, lower in np.unique(pairs, axis=0).tolist():
        corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(plan[upper]))
        width = float(np.linalg.norm(np.diff(corners[:3], axis=0), axis=1).min())
        at = (steps.upper == upper) & (steps.lower == lower)
        wall = float(steps.wall[at].max())
        if wall <= WALL or plan[upper].area > 0.5 * plan[lower].area:
            continue
        if width > NARROW and (plan[upper].area > LARGEST or upper in joined):
            continue
        name, host = planes.name[upper], planes.name[lower]
        notes.append(
            f"{name} is small ({width:.2f} m wide, {plan[upper].area:.2f} m2) and stands up to {wall:.2f} m "
            f"above {host}: it is a plane here. If it is a parapet or a chimney, what slides from {host} "
            "stays behind it or pushes against it, and that force is not reported."
        )
    notes += _strips(surface, np.array(plan, dtype=object))
    if len(notes) > LISTED:
        notes = [*notes[:LISTED], f"{len(notes) - LISTED} more small or narrow planes stand above others."]
    return replace(surface, notes=(*surface.notes, *notes)) if notes else surface


def _strips(surface: RoofSurface, plan: NDArray[np.object_]) -> list[str]:
    """Words for long strips, wider than parapets are taken to be, at the foot of a slope."""
    steps, planes = surface.steps, surface.planes
    way = (steps.end - steps.start)[:, :2]
    right = np.stack([way[:, 1], -way[:, 0]], axis=1) / np.linalg.norm(way, axis=1)[:, None]
    toward = -np.sum(planes.upslope[steps.lower, :2] * right, axis=1) > AGAINST
    toward &= (planes.slope[steps.lower] > FLAT_SLOPE) & (steps.wall.max(axis=1) > WALL) & (steps.between < 0)
    notes = []
    for group in narrow_groups(surface, plan, WIDE):
        area = float(shapely.area(plan[group]).sum())
        length = 0.5 * float(shapely.union_all(plan[group], grid_size=GRID).length)
        own = np.isin(steps.upper, group)
        below = (steps.wall.max(axis=1) > WALL) & ~own & np.isin(steps.lower, group)
        at = np.flatnonzero(own & ~np.isin(steps.lower, group) & toward)
        if not len(at) or below.any() or area <= NARROW * length or length**2 < SLENDER * area:
            continue
        if len(group) == 1 and area <= LARGEST:
            continue  # told as small
        hosts = ", ".join(dict.fromkeys(planes.name[k] for k in steps.lower[at].tolist()))
        notes.append(
            f"{', '.join(planes.name[k] for k in group.tolist())}, a strip {area / length:.2f} m wide, "
            f"stands up to {steps.wall[at].max():.2f} m above {hosts} at the foot of its slope: it is a "
            "plane here, and below 1 m taken to hold nothing back. If it is a thick parapet, give a "
            "[[parapet]]: what slides against it is then reported."
        )
    return notes


def _small(size: Array) -> bool:
    return bool(size.max() <= LONGEST and np.prod(size) <= LARGEST)


def _over_planes(surface: RoofSurface, points: Array) -> Array:
    """Heights (n,) above the highest plane near each point; -inf where none is near. [m]."""
    plan = np.array(plan_polygons(surface.planes), dtype=object)
    spots = np.asarray(shapely.points(points[:, :2]))
    spot, plane = shapely.STRtree(plan).query(spots, predicate="dwithin", distance=BESIDE)
    at = shapely.get_coordinates(shapely.get_parts(shapely.shortest_line(plan[plane], spots[spot]))).reshape(
        -1, 2, 2
    )
    top = np.full(len(points), -np.inf)
    np.maximum.at(top, spot, height_at(surface.planes, plane, at[:, 0]))
    return np.where(np.isfinite(top), points[:, 2] - top, -np.inf)


def _groups(faces: IntArray, high: NDArray[np.bool_]) -> list[IntArray]:
    """High corners that hang together over edges of the faces."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    edges = edges[high[edges].all(axis=1)]
    vertex = np.unique(edges)
    if len(vertex) == 0:
        return []
    count, part = components(len(vertex), np.searchsorted(vertex, edges))
    order = np.argsort(part, kind="stable")
    return list(np.split(vertex[order], np.cumsum(np.bincount(part, minlength=count))[:-1]))


def _upright_edges(points: Array, faces: IntArray, high: NDArray[np.bool_]) -> IntArray:
    """Edges (k, 2) of upright faces with both ends high."""
    vector = face_vectors(points, faces)
    faces = faces[np.abs(vector[:, 2]) < UPRIGHT * np.linalg.norm(vector, axis=1)]
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    return np.asarray(edges[high[edges].all(axis=1)])


def _on_planes(surface: RoofSurface, corners: Array, foot: Polygon) -> list[Box]:
    """Boxes of one group on the planes below it."""
    result = []
    for host, polygon in enumerate(plan_polygons(surface.planes)):
        part = shapely.intersection(polygon, foot)
        if isinstance(part, Polygon) and part.area > max(SPECK, 0.1 * foot.area):
            over = corners[:, 2] - height_at(surface.planes, host, corners[:, :2])
            if over.max() > WALL:
                result.append(Box(np.zeros(0, dtype=np.int64), host, part, float(over.max())))
    return result
