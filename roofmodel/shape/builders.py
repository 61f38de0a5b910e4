"""Roofs built exactly from a footprint and pitches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.errors import InputError
from roofmodel.shape.assembly import make_surface
from roofmodel.shape.planes import without_collinear
from roofmodel.shape.skeleton import skeleton_cells
from roofmodel.shape.vaults import vault_cells
from roofmodel.surface import Array, IntArray, RoofSurface

STEEPEST = np.radians(75.0)  # steeper is a wall [rad]
SAME_POINT = 1e-7  # corners nearer than this are one [m]
FINE = 1e-10  # overlays snap to this, without it coinciding edges can give wrong areas [m]
GRID = 1e-8  # corners nearer than this are joined to close slits [m]
SLIVER = 1e-7  # smaller plane pieces are left out [m^2]
FAR = 10_000.0  # footprints farther out are moved to a local origin [m]
LARGEST = 5_000.0  # [m]
SMALLEST = 1.0  # [m^2]
SQUARE = np.sin(np.radians(0.5))  # how far a right angle may be off
SHAPES = ("shed", "gable", "hip", "L", "flat", "vault")

Cell = tuple[Array, Polygon]  # (a, b, c) of z = a x + b y + c, and where it is the roof


@dataclass(frozen=True)
class RoofPart:
    """One part of a roof over its own footprint.

    Attributes
    ----------
    shape : str
        "shed", "gable", "hip", "L", "flat" or "vault".
    footprint : (k, 2) float
        Plan outline of the roof (eaves included), either direction round. [m]
    pitches : (k,) float
        Pitch above footprint edge i, from point i to point i + 1; nan for a gable edge. A shed takes
        one pitch; a flat roof none. [rad]
    eave_height : float
        Height of all eaves above ground (z = 0); of the lowest point for a shed. [m]
    fall_azimuth : float
        Direction a shed falls to, clockwise from north. [rad]
    name : str
        For messages.
    rise : float
        Of a vault's crown above its springings. [m]
    facets : int
        Of a vault.
    """

    shape: str
    footprint: Array
    pitches: Array = field(default_factory=lambda: np.zeros(0))
    eave_height: float = 0.0
    fall_azimuth: float = float("nan")
    name: str = ""
    rise: float = float("nan")
    facets: int = 12


def build_roof(parts: Sequence[RoofPart]) -> RoofSurface:
    """Build the roof of one building from its parts, exactly.

    Where parts overlap on plan the higher surface is the roof: a lower part ends at the outline of the
    higher one, below which the wall is taken to stand (a step), and surfaces that cross meet in valleys.

    Parameters
    ----------
    parts : sequence of RoofPart

    Returns
    -------
    RoofSurface
        Ground is z = 0.

    Raises
    ------
    InputError
        Names the part and the value.
    """
    if len(parts) == 0:
        msg = "The roof has no parts: give at least one part with a footprint."
        raise InputError(msg)
    labels = [part.name or f"part {index + 1}" for index, part in enumerate(parts)]
    checked = [_checked(part, label) for part, label in zip(parts, labels, strict=True)]
    corners = np.concatenate([part.footprint for part in checked])
    low, high = corners.min(axis=0), corners.max(axis=0)
    if (high - low).max() > LARGEST:
        message = (
            f"The roof is {(high - low).max():.0f} m across, more than {LARGEST:.0f} m: are the units meters?"
        )
        raise InputError(message)
    shift = np.round(0.5 * (low + high)) if np.abs(corners).max() > FAR else np.zeros(2)
    notes = (
        ["The footprint lies far from the map origin: it was moved to a local origin."] if shift.any() else []
    )
    cells: list[Cell] = []
    for part, label in zip(checked, labels, strict=True):
        own = SHAPE_CELLS[part.shape](_moved(part, shift), label)
        cells = _union(cells, own) if cells else own
    return _surface(_merged(cells), np.array([*shift, 0.0]), notes)


def _moved(part: RoofPart, shift: Array) -> RoofPart:
    return replace(part, footprint=part.footprint - shift)


def _checked(part: RoofPart, label: str) -> RoofPart:
    """Validated copy with the footprint counter-clockwise and float arrays."""
    if part.shape not in SHAPES:
        msg = f"{label}: shape {part.shape!r} is not known; it should be one of {', '.join(SHAPES)}."
        raise InputError(msg)
    footprint = np.array(part.footprint, dtype=float)
    pitches = np.atleast_1d(np.array(part.pitches, dtype=float))
    if footprint.ndim != 2 or footprint.shape[1] != 2 or len(footprint) < 3:
        message = f"{label}: footprint has shape {footprint.shape}; it needs at least 3 points of x and y."
        raise InputError(message)
    if not np.isfinite(footprint).all() or not np.isfinite(part.eave_height):
        msg = f"{label}: footprint and eave_height must be finite numbers."
        raise InputError(msg)
    if np.array_equal(footprint[0], footprint[-1]):
        message = f"{label}: the last footprint point repeats the first; give each corner once."
        raise InputError(message)
    if Polygon(footprint).convex_hull.area < SLIVER:
        message = f"{label}: the footprint has no area; its points lie on one line."
        raise InputError(message)
    ring = shapely.LinearRing(footprint)
    if not ring.is_simple:
        msg = f"{label}: the footprint crosses or touches itself."
        raise InputError(msg)
    area = Polygon(footprint).area
    if area < SMALLEST:
        msg = f"{label}: the footprint's area is {area:.3g} m2, less than 1 m2: are the units meters?"
        raise InputError(msg)
    _check_pitches(part.shape, pitches, len(footprint), label)
    if not ring.is_ccw:
        footprint = footprint[::-1]
        if len(pitches) == len(footprint):
            pitches = np.roll(pitches[::-1], -1)
    return replace(part, footprint=footprint, pitches=pitches, name=label)


def _check_pitches(shape: str, pitches: Array, sides: int, label: str) -> None:
    if shape in ("flat", "vault"):
        if np.any(pitches[np.isfinite(pitches)] != 0.0):
            msg = f"{label}: a {shape} part has no pitch; leave it out."
            raise InputError(msg)
        return
    known = pitches[~np.isnan(pitches)]
    if np.any((known < 0.0) | (known >= STEEPEST)):
        bad = np.degrees(known[(known < 0.0) | (known >= STEEPEST)][0])
        msg = f"{label}: pitch {bad:.4g} degrees is outside 0 to below 75 degrees."
        raise InputError(msg)
    if shape == "shed":
        if len(known) == 0 or np.ptp(known) > 0.0:
            msg = f"{label}: a shed takes one pitch, got {np.degrees(known).tolist()} degrees."
            raise InputError(msg)
        return
    if len(pitches) != sides:
        message = (
            f"{label}: {len(pitches)} pitches for {sides} footprint edges; give one per edge (nan: gable)."
        )
        raise InputError(message)
    if np.any(known == 0.0):
        msg = f"{label}: a {shape} part needs pitches above 0 degrees (nan for a gable edge)."
        raise InputError(msg)


def edge_planes(part: RoofPart) -> Array:
    """Planes (k, 3) rising from the footprint edges as z = a x + b y + c; gable edges give +inf in c."""
    start = part.footprint
    along = np.roll(start, -1, axis=0) - start
    inward = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    gable = np.isnan(part.pitches)
    gradient = np.where(gable[:, None], 0.0, np.tan(np.where(gable, 0.0, part.pitches))[:, None] * inward)
    level = part.eave_height - np.sum(gradient * start, axis=1)
    return np.column_stack([gradient, np.where(gable, np.inf, level)])


def _where_below(area: BaseGeometry, lower: Array, upper: Array) -> BaseGeometry:
    """Part of a plan area where one plane lies below (or at) another."""
    if np.isinf(upper[2]):
        return area
    a, b, c = lower - upper
    norm = np.hypot(a, b)
    if norm < 1e-12:
        return area if c <= SAME_POINT else Polygon()
    x0, y0, x1, y1 = area.bounds if not area.is_empty else (0.0, 0.0, 1.0, 1.0)
    center = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1)])
    direction = np.array([a, b]) / norm
    beyond = float(a * center[0] + b * center[1] + c) / norm
    reach = 2.0 * np.hypot(x1 - x0, y1 - y0) + 1.0
    if abs(beyond) > reach:  # planes that hardly differ cross far away from the area
        return area if beyond < 0.0 else Polygon()
    foot = center - beyond * direction
    far = abs(beyond) + reach
    side = np.array([-direction[1], direction[0]]) * reach
    half = Polygon([foot - side, foot + side, foot + side - far * direction, foot - side - far * direction])
    return _areal(shapely.intersection(area, half, grid_size=FINE))


def _areal(shape: BaseGeometry) -> BaseGeometry:
    """Polygons of a shape; overlays of collections with stray lines in them go wrong."""
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    return MultiPolygon([part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"])


def _lowest(area: Polygon, planes: Array) -> list[Cell]:
    """Lower envelope of planes over a plan area."""
    cells = []
    for index in np.flatnonzero(np.isfinite(planes[:, 2])):
        others = [planes[other] for other in range(len(planes)) if other != index]
        cell: BaseGeometry = area
        for other in others:
            cell = _where_below(cell, planes[index], other)
        cells.append((planes[index], cell))
    return _split(cells)


def _split(cells: Sequence[tuple[Array, BaseGeometry]]) -> list[Cell]:
    """Cells as single polygons, slivers left out."""
    return [
        (plane, part)
        for plane, shape in cells
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon" and part.area > SLIVER
    ]


def _flat_cells(part: RoofPart, label: str) -> list[Cell]:
    return [(np.array([0.0, 0.0, part.eave_height]), Polygon(part.footprint))]


def _shed_cells(part: RoofPart, label: str) -> list[Cell]:
    if not np.isfinite(part.fall_azimuth):
        msg = f"{label}: a shed needs fall_azimuth, the compass direction it falls to."
        raise InputError(msg)
    pitch = float(part.pitches[~np.isnan(part.pitches)][0])
    up = -np.tan(pitch) * np.array([np.sin(part.fall_azimuth), np.cos(part.fall_azimuth)])
    lowest = (part.footprint @ up).min()
    return [(np.array([*up, part.eave_height - lowest]), Polygon(part.footprint))]


def _gable_cells(part: RoofPart, label: str) -> list[Cell]:
    step = np.roll(part.footprint, -1, axis=0) - part.footprint
    unit = step / np.linalg.norm(step, axis=1)[:, None]
    if len(unit) != 4 or np.abs(np.sum(unit * np.roll(unit, -1, axis=0), axis=1)).max() > SQUARE:
        msg = f"{label}: a gable part needs a rectangle of 4 points; use hip for other footprints."
        raise InputError(msg)
    gable = np.isnan(part.pitches)
    if gable.tolist() not in ([True, False, True, False], [False, True, False, True]):
        message = (
            f"{label}: a gable part needs nan pitch on two opposite edges, got {np.degrees(part.pitches)}."
        )
        raise InputError(message)
    return _lowest(Polygon(part.footprint), edge_planes(part))


def _turns(ring: Array) -> Array:
    """Sine of the turn at each corner, positive to the left."""
    after = np.roll(ring, -1, axis=0) - ring
    before = ring - np.roll(ring, 1, axis=0)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(cross / np.linalg.norm(before, axis=1) / np.linalg.norm(after, axis=1))


def _hip_cells(part: RoofPart, label: str) -> list[Cell]:
    if np.isnan(part.pitches).all():
        msg = f"{label}: a hip part needs a pitch on at least one edge."
        raise InputError(msg)
    if _turns(part.footprint).min() < -1e-9:
        return skeleton_cells(part.footprint, part.pitches, part.eave_height, label)
    return _lowest(Polygon(part.footprint), edge_planes(part))


def _l_cells(part: RoofPart, label: str) -> list[Cell]:
    """L plan: min(a, f, max(min(b, c), min(d, e))) with c, d the edges at the inner corner.

    The roof is the boolean formula of the footprint's half-planes with "and" read as the lower and
    "or" as the higher of the planes.
    """
    turns = _turns(part.footprint)
    if len(turns) != 6 or np.abs(np.abs(turns) - 1.0).max() > SQUARE**2 or (turns < 0.0).sum() != 1:
        msg = f"{label}: an L part needs 6 corners with right angles, one of them an inner corner."
        raise InputError(msg)
    inner = int(np.flatnonzero(turns < 0.0)[0])
    planes = np.roll(edge_planes(part), 2 - inner, axis=0)  # planes[1], planes[2] meet at the inner corner
    far_left, left, right, far_right = planes[0], planes[1], planes[2], planes[3]
    outer = [planes[4], planes[5]]
    area = Polygon(part.footprint)
    wings = [np.array([far_left, left, *outer]), np.array([right, far_right, *outer])]
    if any(np.isinf(wing[:, 2]).all() for wing in wings):
        msg = f"{label}: each wing of an L part needs a pitch on at least one of its edges."
        raise InputError(msg)
    if np.isinf(left[2]) or np.isinf(right[2]):
        msg = f"{label}: the two edges at the inner corner of an L part cannot be gables."
        raise InputError(msg)
    return _union(_lowest(area, wings[0]), _lowest(area, wings[1]))


def _vault_cells(part: RoofPart, label: str) -> list[Cell]:
    return vault_cells(part.footprint, part.eave_height, part.rise, part.facets, label)


SHAPE_CELLS = {
    "flat": _flat_cells,
    "vault": _vault_cells,
    "shed": _shed_cells,
    "gable": _gable_cells,
    "hip": _hip_cells,
    "L": _l_cells,
}


def _union(first: Sequence[Cell], second: Sequence[Cell]) -> list[Cell]:
    """Upper envelope of two surfaces, each of which may cover its own plan area."""
    result: list[tuple[Array, BaseGeometry]] = []
    for own, other in ((first, second), (second, first)):
        strict = own is second
        for plane, cell in own:
            visible: BaseGeometry = cell
            for rival, shape in other:
                if visible.is_empty or not shapely.intersects(visible, shape):
                    continue
                common = _areal(shapely.intersection(visible, shape, grid_size=FINE))
                hidden = _where_below(common, plane, rival) if strict else _above_only(common, plane, rival)
                visible = _areal(shapely.difference(visible, hidden, grid_size=FINE))
            result.append((plane, visible))
    return _split(result)


def _above_only(common: BaseGeometry, plane: Array, rival: Array) -> BaseGeometry:
    """Part of a plan area where the rival lies above the plane; nothing where they coincide."""
    if np.abs(plane - rival).max() < SAME_POINT:
        return Polygon()
    return _where_below(common, plane, rival)


def _merged(cells: Sequence[Cell]) -> list[Cell]:
    """Join touching cells of the same plane and give neighbors the same corners.

    The boundaries of all cells are noded on a fine grid, which closes slits and removes spikes of
    rounding width; every corner then goes back to a corner of the input, to the last digit.
    """
    shapes = np.array([cell for _, cell in cells])
    planes = np.array([plane for plane, _ in cells])
    group = _groups(planes)
    lines = shapely.union_all(shapely.boundary(shapes), grid_size=GRID)
    pieces = np.asarray(shapely.get_parts(shapely.polygonize(shapely.get_parts(lines).tolist())))
    piece, owner = shapely.STRtree(shapes).query(shapely.point_on_surface(pieces), predicate="intersects")
    first = np.unique(piece, return_index=True)[1]
    pieces, of = pieces[piece[first]], group[owner[first]]
    corners = shapely.get_coordinates(shapes)
    tree = cKDTree(corners)

    def restore(xy: Array) -> Array:
        distance, index = tree.query(xy)
        near = np.asarray(distance) < SAME_POINT
        return np.where(near[:, None], corners[index], xy)

    return _split(
        [
            (planes[number], shapely.transform(shapely.union_all(pieces[of == number]), restore))
            for number in np.unique(of)
        ]
    )


def _groups(planes: Array) -> IntArray:
    """Number of the first plane that equals each plane."""
    same = np.abs(planes[:, None] - planes).max(axis=2) < 1e-9
    return np.argmax(same, axis=1)


def _surface(cells: Sequence[Cell], offset: Array, notes: Sequence[str]) -> RoofSurface:
    """Rings, triangles and the recognized surface of exact cells."""
    rings_xy = [
        [shapely.get_coordinates(ring)[:-1] for ring in (shape.exterior, *shape.interiors)]
        for shape in (shapely.orient_polygons(cell) for _, cell in cells)
    ]
    rings = []
    for (plane, _), group in zip(cells, rings_xy, strict=True):
        lifted = [without_collinear(ring, SAME_POINT) for ring in group]
        rings.append([np.column_stack([ring, ring @ plane[:2] + plane[2]]) for ring in lifted])
    planes = np.array([plane for plane, _ in cells])
    normal = np.column_stack([-planes[:, :2], np.ones(len(planes))])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    point = np.array([group[0][0] for group in rings])
    points, faces, face_plane = triangulate(rings)
    return make_surface(
        normal,
        point,
        rings,
        points,
        faces,
        face_plane,
        match_tolerance=1e-6,
        corner_tolerance=SAME_POINT,
        wall_tolerance=1e-3,
        offset=offset,
        notes=notes,
        ground=0.0,
    )


def triangulate(rings: Sequence[Sequence[Array]]) -> tuple[Array, IntArray, IntArray]:
    """Triangles of planar polygons with shared corners.

    Parameters
    ----------
    rings : sequence (p) of sequences of (k, 3) float
        Outer ring, then holes; none vertical. [m]

    Returns
    -------
    points : (n, 3) float
        Corners, coinciding ones once. [m]
    faces : (m, 3) int
        Triangles, facing up.
    face_plane : (m,) int
        Polygon of each triangle.
    """
    import mapbox_earcut

    corners, faces, owner, base = [], [], [], 0
    for index, group in enumerate(rings):
        ring = np.concatenate(group)
        ends = np.cumsum([len(part) for part in group]).astype(np.uint32)
        local = mapbox_earcut.triangulate_float64(np.ascontiguousarray(ring[:, :2]), ends).reshape(-1, 3)
        corners.append(ring)
        faces.append(local.astype(np.int64) + base)
        owner.append(np.full(len(local), index))
        base += len(ring)
    points, face = np.concatenate(corners), np.concatenate(faces)
    first = _first_of_same(points)
    kept, index_of = np.unique(first, return_inverse=True)
    points, face = points[kept], index_of[face]
    a, b, c = (points[face[:, corner], :2] for corner in range(3))
    turn = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    face[turn < 0.0] = face[turn < 0.0][:, ::-1]
    solid = np.abs(turn) > 0.0
    return points, face[solid], np.concatenate(owner)[solid]


def _first_of_same(points: Array) -> IntArray:
    """Number of the first point that coincides with each point."""
    first = np.arange(len(points))
    pairs = cKDTree(points).query_pairs(SAME_POINT, output_type="ndarray")
    np.minimum.at(first, pairs[:, 1], pairs[:, 0])
    return first
