"""Chimneys, skylights and vents in a mesh: small tops with walls all around become obstructions.

What is small, and that walls all around tell a chimney from a dormer, is judgment; no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.obstacles import Obstacles, together
from roofmodel.shape.assembly import FLAT, NO_GROUND, OVERHANGS, make_surface
from roofmodel.shape.planes import height_at, lifted, plan_polygons
from roofmodel.shape.regions import components
from roofmodel.shape.triangulation import triangulate
from roofmodel.surface import Array, EdgeKind, IntArray, Planes, RoofSurface

LARGEST = 4.0  # larger tops are roofs of their own, whose walls are steps [m^2]
LONGEST = 3.0  # and longer ones [m]
WALL = 0.1  # least height of the wall all around [m]
AROUND = 0.95  # share of what lies around a top that is roof [-]
FLUSH, BESIDE = 0.95, 0.45  # shares of a top over one plane, or of its rim along it, at eaves and rakes [-]
SPECK = 1e-3  # smaller overlaps are rounding [m^2]
BEHIND = 0.7  # a parapet is no thicker [m]
FAR = 1e3  # beyond any small top [m]
NEAR = 0.03  # a top may stand this far over its hole [m]
SLOPES_MEET = 0.3  # slopes of one surveyed cap are this far from meeting at its ridge, at most [m]
GRID = 1e-6  # of overlays [m]
CORNER = 1e-4  # outline corners nearer than this to a straight line are removed [m]
Plans = NDArray[np.object_]
TAKEN_AS = "A top with walls around it was taken as"


@dataclass(frozen=True)
class Box:
    """One small top: its planes or points, the plane below, what it covers there on plan, its height."""

    tops: IntArray
    host: int
    foot: Polygon
    height: float


def with_boxes(surface: RoofSurface, tolerance: float) -> RoofSurface:
    """Take small tops with walls all around as obstructions on the planes below them.

    The planes are closed below them, so that the result is what a roof with these obstructions is.

    Parameters
    ----------
    surface : RoofSurface
    tolerance : float
        Distance up to which outlines of two planes are one edge, and least wall. [m]

    Returns
    -------
    RoofSurface
        With `found`, and notes that name each obstruction; the same surface where there are none.
    """
    plan = np.array(plan_polygons(surface.planes), dtype=object)
    boxes = _boxes(surface, plan)
    if not boxes:
        return surface
    made = _rebuilt(surface, boxes, plan, tolerance)
    found = box_obstacles(made, boxes, surface.planes)
    said = [
        f"{TAKEN_AS} {name} on {made.planes.name[plane]}: {size} If nothing stands there: "
        f'roof.not_standing = ["{name}"].'
        for name, plane, size in zip(found.name, found.plane, size_words(found), strict=True)
    ]
    return with_more(made, found, said)


def _small_groups(surface: RoofSurface, plan: Plans) -> list[IntArray]:
    """Groups of planes that meet along edges and are small on plan as a whole."""
    count = surface.planes.count
    pairs = surface.edges.plane[surface.edges.plane[:, 1] >= 0]
    area = shapely.area(plan)
    small = area <= LARGEST
    mixed = np.zeros(count, dtype=bool)
    mixed[pairs[small[pairs].any(axis=1) & ~small[pairs].all(axis=1)]] = True
    _, label = components(count, pairs[small[pairs].all(axis=1)])
    groups = [np.flatnonzero(small & (label == one)) for one in np.unique(label[small])]
    return [g for g in groups if area[g].sum() <= LARGEST and not mixed[g].any()]


def _boxes(surface: RoofSurface, plan: Plans) -> list[Box]:
    """Boxes of small tops: one of those side by side, like slopes of a surveyed cap, or else each its own."""
    groups = _small_groups(surface, plan)
    if not groups:
        return []
    whole = np.array([shapely.union_all(plan[group], grid_size=GRID) for group in groups], dtype=object)
    near = shapely.STRtree(whole).query(whole, predicate="dwithin", distance=NEAR).T
    joint = [(i, j) for i, j in near if i < j and _level_at_joint(surface, plan, groups[i], groups[j])]
    _, label = components(len(groups), np.array(joint, dtype=np.int64).reshape(-1, 2))
    found: list[Box] = []
    for one in np.unique(label):
        own = [groups[i] for i in np.flatnonzero(label == one)]
        joined = np.sort(np.concatenate(own))
        boxes = _standing(surface, plan, joined) if shapely.area(plan[joined]).sum() <= LARGEST else []
        if len(own) > 1:
            apart = [box for group in own for box in _standing(surface, plan, group)]
            tall = max((box.height for box in apart), default=0.0)  # as high as the highest would be alone
            boxes = [replace(box, height=max(box.height, tall)) for box in boxes] or apart
        found += boxes
    return found


def _level_at_joint(surface: RoofSurface, plan: Plans, first: IntArray, second: IntArray) -> bool:
    """Whether two groups of tops are about equally high where they come together, as slopes of a cap are."""
    for one in first.tolist():
        for other in second.tolist():
            joint = shapely.intersection(shapely.buffer(plan[one], NEAR), shapely.buffer(plan[other], NEAR))
            if not joint.is_empty:
                xy = np.array(joint.centroid.coords)
                rise = height_at(surface.planes, one, xy) - height_at(surface.planes, other, xy)
                if abs(float(rise[0])) < SLOPES_MEET:
                    return True
    return False


def _standing(surface: RoofSurface, plan: Plans, group: IntArray) -> list[Box]:
    """Boxes that a group of small planes makes on the planes around it; none where it is a roof itself."""
    whole = shapely.union_all(plan[group], grid_size=GRID)
    low, high = np.array(whole.bounds).reshape(2, 2)
    if whole.geom_type != "Polygon" or max(high - low) > LONGEST:
        return []
    top = Polygon(shapely.get_coordinates(shapely.get_exterior_ring(whole)))
    others = np.setdiff1d(np.arange(len(plan)), group)
    near = others[shapely.dwithin(plan[others], top, NEAR)]
    around = shapely.difference(shapely.buffer(top, 2.0 * NEAR, join_style="mitre"), top)
    covered = shapely.intersection(shapely.union_all(plan[near], grid_size=GRID), around)
    if covered.area < AROUND * around.area:
        feet = _flush_feet(plan, near, top)
    else:
        feet = _feet(surface, plan, near, top)
    walls = [_least_wall(surface.planes, plan, group, host, foot) for host, foot in feet]
    if not feet or min(walls) < WALL:
        return []
    return [Box(group, host, foot, wall) for (host, foot), wall in zip(feet, walls, strict=True)]


def _flush_feet(plan: Plans, near: IntArray, top: Polygon) -> list[tuple[int, Polygon]]:
    """What of a top at an eave or rake stands over the one plane that it is mostly over, or in a notch of."""
    over = shapely.area(shapely.intersection(plan[near], top)) > FLUSH * top.area
    edge = shapely.get_exterior_ring(top)
    beside = shapely.length(shapely.intersection(shapely.buffer(plan[near], NEAR), edge))
    hosts = near[over | (beside > BESIDE * top.length)]
    return [(int(hosts[0]), top)] if len(hosts) == 1 else []


def _feet(surface: RoofSurface, plan: Plans, near: IntArray, top: Polygon) -> list[tuple[int, Polygon]]:
    """What of a top stands over which plane: one plane around it, or two with a ridge or hip below it."""
    planes = surface.planes
    filled = shapely.buffer(shapely.polygons(shapely.get_exterior_ring(plan[near])), NEAR)
    around = near[shapely.covers(filled, top)]
    if len(around):
        middle = np.array(top.centroid.coords[:1])
        return [(int(max(around, key=lambda p: float(height_at(planes, int(p), middle)[0]))), top)]
    if len(near) != 2:
        return []
    kinds = [
        kind
        for kind, pair in zip(surface.edges.kind, surface.edges.plane.tolist(), strict=True)
        if sorted(pair) == near.tolist()
    ]
    if not kinds or not set(kinds) <= {EdgeKind.RIDGE, EdgeKind.HIP}:
        return []
    parts = [(int(a), _below(planes, int(a), int(b), top)) for a, b in (near, near[::-1])]
    return [(one, part) for one, part in parts if isinstance(part, Polygon) and part.area > SPECK]


def _below(planes: Planes, plane: int, other: int, part: Polygon) -> BaseGeometry:
    """Where one plane lies below another, on plan."""
    rise = [-planes.normal[one, :2] / planes.normal[one, 2] for one in (plane, other)]
    slope = rise[0] - rise[1]
    size = float(np.linalg.norm(slope))
    middle = np.array(part.centroid.coords[0])
    above = float((height_at(planes, plane, middle[None]) - height_at(planes, other, middle[None]))[0])
    on = middle - above / size**2 * slope
    along, back = FAR * np.array([-slope[1], slope[0]]) / size, -FAR * slope / size
    half = Polygon([on - along, on + along, on + along + back, on - along + back])
    return shapely.intersection(part, half, grid_size=GRID)


def _least_wall(planes: Planes, plan: Plans, group: IntArray, host: int, foot: Polygon) -> float:
    """Least height of the tops above a plane, over its part of them. [m]."""
    least = np.inf
    for index in group.tolist():
        part = shapely.intersection(plan[index], foot)
        if part.area > SPECK:
            xy = shapely.get_coordinates(part)
            least = min(least, float((height_at(planes, index, xy) - height_at(planes, host, xy)).min()))
    return least


def _rebuilt(surface: RoofSurface, boxes: list[Box], plan: Plans, tolerance: float) -> RoofSurface:
    """The surface without the tops, its planes closed below them."""
    plan = plan.copy()
    for box in boxes:
        under = plan[box.host]
        holes = [Polygon(ring) for ring in under.interiors]
        wide = box.foot.buffer(2.0 * NEAR, join_style="mitre")
        kept = [hole.exterior for hole in holes if not wide.covers(hole)]
        closed = shapely.union(Polygon(under.exterior, kept), box.foot, grid_size=GRID)
        if closed.geom_type == "Polygon":
            plan[box.host] = closed
    gone = np.unique(np.concatenate([box.tops for box in boxes]))
    return without_planes(surface, gone, plan, np.unique([box.host for box in boxes]), tolerance)


def without_planes(
    surface: RoofSurface, gone: IntArray, plan: Plans, changed: Sequence[int] | IntArray, tolerance: float
) -> RoofSurface:
    """The surface without some planes, with other outlines of some.

    Parameters
    ----------
    surface : RoofSurface
    gone : (k,) int
        Planes to leave out.
    plan : (p,) Polygon
        Outlines of all planes on plan. [m]
    changed : sequence of int
        Planes whose outlines these are no more.
    tolerance : float
        As for `with_boxes`. [m]

    Returns
    -------
    RoofSurface
        Without anything in `found`.
    """
    planes = surface.planes
    rest = np.setdiff1d(np.arange(planes.count), gone)
    rings = [lifted(plan[p], planes.normal[p], planes.origin[p]) for p in rest.tolist()]
    number = np.full(planes.count, -1)
    number[rest] = np.arange(len(rest))
    keep = ~np.isin(surface.face_plane, np.concatenate([gone, np.asarray(changed, dtype=np.int64)]))
    points, faces, own = surface.points, surface.faces[keep], number[surface.face_plane[keep]]
    if len(changed):
        more, its, which = triangulate([rings[number[p]] for p in changed])
        faces = np.concatenate([faces, its + len(points)])
        points, own = np.vstack([points, more]), np.concatenate([own, number[changed][which]])
    told = [n for n in surface.notes if n != NO_GROUND and not any(words in n for words in (FLAT, OVERHANGS))]
    return make_surface(
        planes.normal[rest],
        planes.origin[rest],
        rings,
        points,
        faces,
        own,
        match_tolerance=tolerance,
        corner_tolerance=CORNER,
        wall_tolerance=tolerance,
        offset=surface.offset,
        notes=told,
        ground=None if surface.ground_assumed else surface.ground,
    )


def box_obstacles(surface: RoofSurface, boxes: list[Box], old: Planes, first: int = 1) -> Obstacles:
    """Boxes as obstructions on the new planes: the rectangle along the eave that holds the foot.

    Parameters
    ----------
    surface : RoofSurface
    boxes : list of Box
    old : Planes
        What the boxes' planes are numbered by.
    first : int
        Number of the first.
    """
    plane, corners = [], []
    for box in boxes:
        middle = np.array(box.foot.representative_point().coords[0])
        spot = np.array([*middle, height_at(old, box.host, middle[None])[0]])
        host = plane_at(surface, spot)
        xy = shapely.get_coordinates(box.foot)
        uv = surface.planes.to_plane(host, np.column_stack([xy, height_at(surface.planes, host, xy)]))
        low, high = uv.min(axis=0), uv.max(axis=0)
        ring = np.array([low, [low[0], high[1]], high, [high[0], low[1]]])
        plane.append(host)
        corners.append(surface.planes.to_world(host, ring))
    many = len(boxes)
    feet = np.array(corners)
    return Obstacles(
        name=tuple(f"obstruction {number + first}" for number in range(many)),
        parapet=np.zeros(many, dtype=bool),
        plane=np.array(plane, dtype=np.int64),
        height=np.array([box.height for box in boxes]),
        clear=np.zeros(many),
        face=np.repeat(np.arange(many), 4),
        start=feet.reshape(-1, 3),
        end=np.roll(feet, -1, axis=1).reshape(-1, 3),
        strength=np.full(many, np.nan),
    )


def plane_at(surface: RoofSurface, spot: Array) -> int:
    """The plane at a point of the roof: over it on plan, and nearest in height."""
    plan = np.array(plan_polygons(surface.planes), dtype=object)
    normal = surface.planes.normal
    off = np.abs(np.sum((spot - surface.planes.origin) * normal, axis=1) / normal[:, 2])
    off += FAR * shapely.distance(plan, shapely.Point(spot[:2]))
    return int(np.argmin(off))


def with_found(surface: RoofSurface, found: Obstacles) -> RoofSurface:
    """Obstructions of a surface on another one of the same place whose planes have other numbers."""
    if not found.count:
        return surface
    # Behind the face of a parapet, which stands on the outline.
    way = found.end - found.start
    left = np.stack([-way[:, 1], way[:, 0], 0.0 * way[:, 0]], axis=1) / np.linalg.norm(way, axis=1)[:, None]
    inside = 0.5 * (found.start + found.end) + np.where(found.parapet[found.face, None], 0.02 * left, 0.0)
    middle = np.stack([inside[found.face == one].mean(axis=0) for one in range(found.count)])
    plane = np.array([plane_at(surface, spot) for spot in middle], dtype=np.int64)
    moved = replace(found, plane=plane)
    return replace(surface, found=moved, obstacles=moved)


def with_more(surface: RoofSurface, more: Obstacles, said: Sequence[str]) -> RoofSurface:
    """A surface with more obstructions that the model shows, and what is said of them."""
    found = together(surface.found, more)
    return replace(surface, found=found, obstacles=found, notes=(*surface.notes, *said))


def near_found(
    surface: RoofSurface, points: Array, reach: float, over: Array | None = None
) -> NDArray[np.bool_]:
    """Points (n,) that lie on plan on obstructions that the model shows, or so near to them. [m].

    With heights `over` the planes (n,), those above a parapet are not of it: a chimney behind it is another.
    """
    found = surface.found
    line = found.parapet[found.face]
    feet = shapely.buffer(shapely.polygons(found.start[~line, :2].reshape(-1, 4, 2)), reach)
    faces = shapely.linestrings(np.stack([found.start[line, :2], found.end[line, :2]], axis=1))
    tree = shapely.STRtree(np.concatenate([feet, shapely.buffer(faces, BEHIND + reach)]))
    top = np.concatenate(
        [np.full(np.count_nonzero(~line) // 4, np.inf), found.height[found.face[line]] + WALL]
    )
    point, which = tree.query(shapely.points(points[:, :2]), predicate="intersects")
    near = np.zeros(len(points), dtype=bool)
    near[point if over is None else point[over[point] <= top[which]]] = True
    return near


def next_number(surface: RoofSurface) -> int:
    """Number of the next obstruction that the model shows."""
    return int(np.count_nonzero(~surface.found.parapet)) + 1


def size_words(found: Obstacles) -> list[str]:
    """How large each obstruction is, and what snow does there."""
    sides = np.linalg.norm(found.end - found.start, axis=1).reshape(-1, 4)
    return [
        f"{wide:.2f} m along the eave, {deep:.2f} m up the slope, {height:.2f} m high. Snow drifts and "
        "slides against it; it holds nothing unless an [[obstruction]] at its place gives its strength."
        for height, deep, wide in zip(found.height, sides[:, 0], sides[:, 1], strict=True)
    ]
