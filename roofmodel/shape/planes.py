"""Plane frames, outlines and names from corner rings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import Polygon

from roofmodel.surface import FLAT_SLOPE, Array, IntArray, Planes

FALL_SLOPE = np.radians(0.05)  # below this even the gradient of a flat plane is noise [rad]
TOUCHING = 1e-4  # sides of an outline nearer than this become one where it would cross itself [m]
COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def compass_name(azimuth: float) -> str:
    """Nearest of the eight compass directions.

    Parameters
    ----------
    azimuth : float
        Clockwise from north. [rad]

    Returns
    -------
    str
        A direction on the border of two goes to the clockwise one.
    """
    return COMPASS[int(np.floor(azimuth / (np.pi / 4) + 0.5 + 1e-6)) % 8]


def upslope_directions(normal: Array, longest: Array) -> Array:
    """Unit vectors up the slope.

    Parameters
    ----------
    normal : (p, 3) float
        Unit normals that point up.
    longest : (p, 3) float
        Direction of the longest outline edge with the plane on its left; a level plane is taken to
        fall across this edge.

    Returns
    -------
    (p, 3) float
        Up-slope directions in the planes.
    """
    gradient = -normal[:, :2] / normal[:, 2:]
    level = np.hypot(*gradient.T) <= np.tan(FALL_SLOPE)
    inward = np.stack([-longest[:, 1], longest[:, 0]], axis=1)
    plan = np.where(level[:, None], inward, gradient)
    rise = -np.sum(plan * normal[:, :2], axis=1) / normal[:, 2]
    upslope = np.column_stack([plan, rise])
    return np.asarray(upslope / np.linalg.norm(upslope, axis=1, keepdims=True))


def longest_edge(ring: Array) -> Array:
    """Direction (3,) of a closed ring's longest edge; the first of equals seen from its south-west."""
    step = np.roll(ring, -1, axis=0) - ring
    length = np.linalg.norm(step, axis=1)
    candidates = np.flatnonzero(length > length.max() * (1.0 - 1e-6))
    middle = ring[candidates] + 0.5 * step[candidates]
    return np.asarray(step[candidates[np.argmin(np.round(middle[:, 0] + 2.0 * middle[:, 1], 6))]])


def without_collinear(ring: Array, tolerance: float) -> Array:
    """Closed ring without repeated corners and corners on the line of their neighbors.

    Parameters
    ----------
    ring : (k, 2) float
        [m]
    tolerance : float
        Corners nearer than this to the corner before, or to the line of their neighbors, go. [m]

    Returns
    -------
    (j, 2) float
        [m]
    """
    ring = ring[np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1) > tolerance]
    while len(ring) > 3:
        before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
        chord = after - before
        length = np.linalg.norm(chord, axis=1)
        step = ring - before
        distance = np.abs(chord[:, 0] * step[:, 1] - chord[:, 1] * step[:, 0])
        along = np.sum(chord * step, axis=1)
        flat = (distance <= tolerance * length) & (along > 0.0) & (along < length**2)
        drop = flat & ~np.roll(flat, 1)
        if flat.all():
            drop[1:] = False
        if not drop.any():
            return ring
        ring = ring[~drop]
    return ring


def outline_from_rings(rings: Sequence[Array], tolerance: float) -> Polygon:
    """Build one valid polygon from an outer ring and holes.

    Parameters
    ----------
    rings : sequence of (k, 2) float
        The outer ring first, then the holes. [m]
    tolerance : float
        Corners nearer than this to the line of their neighbors are removed. [m]

    Returns
    -------
    shapely Polygon
        Counter-clockwise, holes clockwise; the largest part when the rings cross themselves; empty
        when nothing is left.
    """
    clean = [without_collinear(ring, tolerance) for ring in rings]
    holes = [ring for ring in clean[1:] if len(ring) >= 3 and shapely.Polygon(ring).area > tolerance**2]
    if len(clean[0]) < 3:
        return Polygon()
    polygon = Polygon(clean[0], holes)
    if not polygon.is_valid:
        parts = shapely.get_parts(shapely.get_parts(shapely.make_valid(polygon)))
        solid = [part for part in parts if part.geom_type == "Polygon"]
        polygon = max(solid, key=lambda part: float(part.area), default=Polygon())
    return shapely.orient_polygons(polygon)


def make_planes(
    normal: Array, point: Array, rings: Sequence[Sequence[Array]], tolerance: float
) -> tuple[Planes, IntArray]:
    """Frames, outlines and names of planes, larger planes first.

    Parameters
    ----------
    normal, point : (p, 3) float
        Unit normals that point up, and one point on each plane.
    rings : sequence (p) of sequences of (k, 3) float
        Corners of the outer ring (counter-clockwise from above), then of the holes. [m]
    tolerance : float
        Collinearity tolerance of outline corners. [m]

    Returns
    -------
    planes : Planes
    order : (p',) int
        Index of each plane in the input; planes whose outline vanishes are left out.
    """
    longest = np.array([longest_edge(ring[0]) for ring in rings])
    upslope = upslope_directions(normal, longest)
    across = np.cross(upslope, normal)
    frame = np.stack([across, upslope], axis=1)
    outlines = [
        outline_from_rings([(ring - base) @ axes.T for ring in group], tolerance)
        for group, base, axes in zip(rings, point, frame, strict=True)
    ]
    shape = np.array([polygon.area for polygon in outlines])
    centroid = np.array([[c.x, c.y] if not c.is_empty else [0.0, 0.0] for c in shapely.centroid(outlines)])
    middle = point + np.einsum("pk,pkx->px", centroid, frame)
    order = np.lexsort([np.round(middle[:, 1], 3), np.round(middle[:, 0], 3), -np.round(shape, 4)])
    order = order[shape[order] > 0.0]
    low = np.array([outlines[index].bounds[:2] for index in order]).reshape(-1, 2)
    origin = point[order] + np.einsum("pk,pkx->px", low, frame[order])
    slope = np.arctan2(np.hypot(normal[order, 0], normal[order, 1]), normal[order, 2])
    azimuth = np.arctan2(-upslope[order, 0], -upslope[order, 1]) % (2.0 * np.pi)
    moved = [_moved(outlines[index], -shift) for index, shift in zip(order, low, strict=True)]
    planes = Planes(
        name=plane_names(slope, azimuth),
        origin=origin,
        across=across[order],
        upslope=upslope[order],
        normal=normal[order],
        slope=slope,
        azimuth=azimuth,
        outline=tuple(moved),
    )
    return _without_touching(planes), order


def _without_touching(planes: Planes) -> Planes:
    """Planes whose outlines stay simple when they are moved and laid on plan."""
    plan = np.array(plan_polygons(planes), dtype=object)
    outline = np.array(planes.outline, dtype=object)
    bad = np.flatnonzero(~(shapely.is_valid(plan) & shapely.is_valid(outline)))
    if len(bad) == 0:
        return planes
    for index in bad:
        parts = shapely.get_parts(shapely.set_precision(shapely.make_valid(outline[index]), TOUCHING))
        opened = [part for part in parts if part.geom_type == "Polygon"]
        largest = max(opened, key=lambda part: float(part.area), default=Polygon())
        outline[index] = shapely.orient_polygons(Polygon() if largest.is_empty else largest)
    return replace(planes, outline=tuple(outline))


def plane_names(slope: Array, azimuth: Array) -> tuple[str, ...]:
    """Compass direction and number in the order given; "F" for planes flatter than `FLAT_SLOPE`."""
    count: dict[str, int] = {}
    names = []
    for tilt, direction in zip(slope, azimuth, strict=True):
        word = "F" if tilt < FLAT_SLOPE else compass_name(float(direction))
        count[word] = count.get(word, 0) + 1
        names.append(f"{word}{count[word]}")
    return tuple(names)


def _moved(polygon: Polygon, shift: Array) -> Polygon:
    def move(uv: Array) -> Array:
        return uv + shift

    return shapely.transform(polygon, move)


def plan_polygon(planes: Planes, plane: int) -> Polygon:
    """Outline of one plane on plan, counter-clockwise. [m]."""

    def lay_down(uv: Array) -> Array:
        return planes.to_world(plane, uv)[:, :2]

    return shapely.transform(planes.outline[plane], lay_down)


def plan_polygons(planes: Planes) -> tuple[Polygon, ...]:
    """Outlines of the planes on plan, counter-clockwise. [m]."""
    return tuple(plan_polygon(planes, index) for index in range(planes.count))


def height_at(planes: Planes, plane: int | IntArray, xy: Array) -> Array:
    """Height z (n,) of planes above plan points (n, 2). [m]."""
    normal = planes.normal[plane]
    delta = xy - planes.origin[plane][..., :2]
    return np.asarray(
        planes.origin[plane][..., 2] - np.sum(delta * normal[..., :2], axis=-1) / normal[..., 2]
    )


def lifted(plan: Polygon, normal: Array, point: Array) -> list[Array]:
    """Rings (k, 3) on a plane above a polygon on plan, the outer counter-clockwise. [m]."""
    rise = -normal[:2] / normal[2]
    turned = shapely.orient_polygons(plan)
    flat = [shapely.get_coordinates(ring)[:-1] for ring in (turned.exterior, *turned.interiors)]
    return [np.column_stack([xy, point[2] + (xy - point[:2]) @ rise]) for xy in flat]
