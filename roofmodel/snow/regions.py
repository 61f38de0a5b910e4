"""Plan geometry that all standards share: plan outlines, levels, bands, fetches, who falls where."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.snow.flats import flat_joints
from roofmodel.snow.sharing import GRID
from roofmodel.snow.slots import Slots, find_slots
from roofmodel.snow.standing_in import planes_with_boxes
from roofmodel.surface import FLAT_SLOPE, EdgeKind, RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SLIVER = 1e-6  # plan patches below this are numerical dust [m^2]
CRACK = 1e-4  # planes closer than this on plan are one surface [m]
EAVE_OVERHANG = 1.5  # an upper eave stands at most this far in front of the wall below it [m]
LOW_STEP = 0.2  # judgment: snow lies on over lower steps, such as those in long metal sheets [m]
FILLED = 1.2  # times the balanced depth: lower steps have no drift, ASCE/SEI 7 7.7.1; judgment elsewhere
TOWARD_EDGE = 0.1  # cosine, judgment: snow that falls within 6 degrees of the line of an edge passes it
SAME_WAY = 0.5  # cosine: falls within 60 degrees go the same way
SAME_WIND = np.cos(np.radians(5.0))  # winds within 5 degrees are one
COMPASS_SLACK = 2.4  # less than half of 5 degrees, so that different winds have different names [degrees]
# Cosine, judgment: snow that falls within 6 degrees of the line of a wall slides past it; else it jams there.
TOWARD_WALL = 0.1
WHOLE = 1.0 - 1e-9  # factors from here on reduce nothing: rounding at the limit of a slope does not count
TOWARD_WALL_WORDS = "it falls toward a wall"
_COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


@dataclass(frozen=True)
class Plan:
    """The roof seen from above, with what the snow rules ask of it.

    Attributes
    ----------
    polygon : tuple of shapely Polygon, (p,)
        Planes on plan. [m]
    fall : (p, 2) float
        Unit plan vector of each plane's fall line; zero for flat planes.
    run : (p,) float
        Largest plan distance along the fall from the low to the high end of the plane. [m]
    over : (k, 2) int
        Planes of which the second hangs over the first, as eaves over a porch do.
    level : (p,) int
        Planes joined by anything but a step share a level, and those with a step of `LOW_STEP` or less.
    level_outline : tuple of shapely geometry
        Each level's outline on plan. [m]
    drift_level, drift_outline
        The same as the wind finds them: across steps that balanced snow fills, and slots; see `with_snow`.
    slots : Slots
        Between planes that do not touch.
    joined : dict
        Outlines of planes taken together, kept by `slope_outline`.
    pieces : dict
        Patches from a plane cut to those of its drift level, kept by `patches.spread`.
    """

    polygon: tuple[Polygon, ...]
    fall: Array
    run: Array
    over: IntArray
    level: IntArray
    level_outline: tuple[BaseGeometry, ...]
    drift_level: IntArray
    drift_outline: tuple[BaseGeometry, ...]
    slots: Slots
    joined: dict[bytes, BaseGeometry] = field(default_factory=dict, compare=False)
    pieces: dict[tuple[int, int, bytes], list[tuple[int, Polygon | MultiPolygon]]] = field(
        default_factory=dict, compare=False
    )

    @cached_property
    def shapes(self) -> NDArray[np.object_]:
        """Planes on plan, prepared to be asked often (p,). [m]."""
        shapes = np.array(self.polygon, dtype=object)
        shapely.prepare(shapes)
        return shapes

    @cached_property
    def tree(self) -> shapely.STRtree:
        """To find the planes near a patch."""
        return shapely.STRtree(self.shapes)


def roof_plan(roof: RoofSurface) -> Plan:
    """Plan view of a recognized roof."""
    planes = roof.planes
    polygons = tuple(plan_polygon(roof, i) for i in range(planes.count))
    fall = np.stack([np.sin(planes.azimuth), np.cos(planes.azimuth)], axis=1)
    fall[planes.slope < FLAT_SLOPE] = 0.0
    bounds = shapely.bounds(np.array(planes.outline))
    run = (bounds[:, 3] - bounds[:, 1]) * np.cos(planes.slope)
    level = _levels(roof, np.zeros(planes.count))
    outline = _outlines(polygons, level)
    over, slots = _overhanging(roof, polygons), find_slots(roof, polygons, CRACK)
    return Plan(polygons, fall, run, over, level, outline, level, outline, slots)


def _overhanging(roof: RoofSurface, polygons: tuple[Polygon, ...]) -> IntArray:
    """Pairs (k, 2) of planes at a step that lie over one another on plan, the lower one first."""
    pair = np.unique(np.column_stack([roof.steps.lower, roof.steps.upper]), axis=0)
    shapes = np.array(polygons, dtype=object)[pair]
    return pair[shapely.area(shapely.intersection(shapes[:, 0], shapes[:, 1], grid_size=GRID)) > SLIVER]


def with_snow(plan: Plan, roof: RoofSurface, depth: Array) -> Plan:
    """The same plan under balanced snow of a depth (p,) [m]; itself where that fills no other steps."""
    level = _levels(roof, depth, plan.slots)
    if np.array_equal(level, plan.drift_level):
        return plan
    return replace(plan, drift_level=level, drift_outline=_outlines(plan.polygon, level), pieces={})


def _outlines(polygons: tuple[Polygon, ...], level: IntArray) -> tuple[BaseGeometry, ...]:
    shapes = np.array(polygons)
    return tuple(merged(shapes[level == k]) for k in range(level.max() + 1))


def plan_polygon(roof: RoofSurface, plane: int) -> Polygon:
    """One plane's outline on plan. [m]."""
    return shapely.transform(roof.planes.outline[plane], lambda uv: roof.planes.to_world(plane, uv)[:, :2])


def plane_corners(roof: RoofSurface, plane: int) -> Array:
    """Corners (n, 3) of a plane's outline, local roof coordinates. [m]."""
    return roof.planes.to_world(plane, np.asarray(roof.planes.outline[plane].exterior.coords))


def merged(polygons: NDArray[np.object_]) -> BaseGeometry:
    """Union of plan polygons with hairline cracks between them closed."""
    grown = shapely.union_all(shapely.buffer(polygons, CRACK, join_style="mitre"))
    return shapely.buffer(grown, -CRACK, join_style="mitre")


def filled(roof: RoofSurface, depth: Array) -> NDArray[np.bool_]:
    """Whether each step (s,) is low all along, or filled somewhere by balanced snow of a depth (p,) [m]."""
    steps = roof.steps
    return np.asarray((steps.gap <= CRACK) & passed(steps.wall, steps.lower, depth))


def passed(rise: Array, lower: IntArray, depth: Array) -> NDArray[np.bool_]:
    """Whether wind and slides go on across what rises (n, 2) [m] from planes (n,) under snow (p,) [m].

    Without snow it is low all along. With it, one place that is filled is enough: a longer fetch is safe,
    where more room without snow is not.
    """
    somewhere = (depth[lower] > 0.0) & (rise.min(axis=1, initial=np.inf) <= _limit(depth)[lower])
    return np.asarray(somewhere | (rise.max(axis=1, initial=0.0) <= LOW_STEP + 1e-6))


def _limit(depth: Array) -> Array:
    """Height (p,) up to which snow of a depth (p,) lies on over what rises from a plane. [m]."""
    return np.asarray(np.maximum(LOW_STEP, FILLED * depth) + 1e-6)


def _levels(roof: RoofSurface, depth: Array, slots: Slots | None = None) -> IntArray:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    kinds = np.array(roof.edges.kind)
    pair = roof.edges.plane[(kinds != EdgeKind.STEP) & (roof.edges.plane.min(axis=1) >= 0)]
    steps = roof.steps
    low = np.column_stack([steps.lower, steps.upper])[filled(roof, depth)]
    pair = np.concatenate(
        [pair, low, *([] if slots is None else [slots.pair[passed(slots.rise, slots.pair[:, 0], depth)]])]
    )
    count = roof.planes.count
    graph = coo_array((np.ones(len(pair)), (pair[:, 0], pair[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def polygonal(geometry: BaseGeometry) -> Polygon | MultiPolygon | None:
    """Keep the polygons of an intersection, None when nothing worth loading is left."""
    found = [
        part
        for part in getattr(geometry, "geoms", (geometry,))
        if isinstance(part, Polygon) and part.area > SLIVER
    ]
    if not found:
        return None
    return found[0] if len(found) == 1 else MultiPolygon(found)


def band(start: Array, end: Array, near: float, far: float) -> Polygon:
    """Rectangle beside the plan segment start -> end, on its left, from near to far. [m]."""
    normal = left_normal(start, end)
    ring = [start + near * normal, end + near * normal, end + far * normal, start + far * normal]
    return Polygon(shapely.linearrings(np.array(ring)))


def left_normal(start: Array, end: Array) -> Array:
    """Unit plan normals (..., 2) to the left of segments start -> end (..., 2 or 3)."""
    along = (end - start)[..., :2]
    along = along / np.linalg.norm(along, axis=-1, keepdims=True)
    return np.stack([-along[..., 1], along[..., 0]], axis=-1)


def falling_pressure(start: Array, normal: Array, peak: float, zero_at: float) -> Array:
    """a, b, c of a pressure that falls from peak at the line to 0 at a distance. [Pa, Pa/m, Pa/m]."""
    slope = -peak / zero_at * normal
    return np.array([peak - slope @ start[:2], slope[0], slope[1]])


def uniform(pressure: float) -> Array:
    """a, b, c of a constant pressure. [Pa, Pa/m, Pa/m]."""
    return np.array([pressure, 0.0, 0.0])


def held_planes(
    roof: RoofSurface, plan: Plan, retained: frozenset[int], *, walls: bool = False, uphill: bool = True
) -> dict[int, str]:
    """Planes whose snow cannot leave because something holds it, and why.

    A plane that carries rows holds its snow, and so does one with a parapet at its lower edge, one with
    boxes or arrays that are not small (`planes_with_boxes`), and a plane that falls across a pitch break or
    into a valley toward such a one, unless `uphill` is False; with `walls` also one that falls toward a wall.
    """
    held = dict.fromkeys(sorted(retained), "it carries snow retention")
    for plane in _behind_parapets(roof, plan):
        held.setdefault(plane, "a parapet stands at its lower edge")
    for plane, why in planes_with_boxes(roof).items():
        held.setdefault(plane, why)
    for plane in toward_walls(roof, plan) if walls else ():
        held.setdefault(plane, TOWARD_WALL_WORDS)
    return with_uphill(roof, plan, held, "holds it") if uphill else held


def with_uphill(roof: RoofSurface, plan: Plan, found: dict[int, str], does: str) -> dict[int, str]:
    """Some planes and why, and those whose snow runs onto one of them: over a break, valley or flat roof."""
    found = dict(found)
    joints = downhill_joints(roof, plan) + flat_joints(roof)
    waiting = True
    while waiting:
        waiting = False
        for above, below in joints:
            if below in found and above not in found:
                found[above] = f"its snow runs onto {roof.planes.name[below]}, which {does}"
                waiting = True
    return found


def _behind_parapets(roof: RoofSurface, plan: Plan) -> list[int]:
    """Planes that fall toward a parapet of theirs."""
    obstacles = roof.obstacles
    own = np.flatnonzero(obstacles.parapet[obstacles.face])
    plane = obstacles.plane[obstacles.face[own]]
    out = -left_normal(obstacles.start[own], obstacles.end[own])
    return np.unique(plane[np.sum(plan.fall[plane] * out, axis=1) > TOWARD_EDGE]).tolist()


def obstructed_planes(roof: RoofSurface, plan: Plan, retained: frozenset[int]) -> dict[int, str]:
    """Planes that snow cannot leave freely, and why: held, running into a valley or against a wall."""
    found = held_planes(roof, plan, retained)
    for kind, pair in zip(roof.edges.kind, roof.edges.plane, strict=True):
        if kind is EdgeKind.VALLEY:
            for plane in pair[pair >= 0]:
                found.setdefault(int(plane), "its snow runs into a valley")
    for plane in toward_walls(roof, plan):
        found.setdefault(plane, TOWARD_WALL_WORDS)
    return with_uphill(roof, plan, found, "is obstructed")


def falls_toward_wall(roof: RoofSurface, plan: Plan) -> NDArray[np.bool_]:
    """Whether the lower plane of each step (s,) falls toward the wall of that step."""
    steps = roof.steps
    if not steps.count:
        return np.zeros(0, dtype=bool)
    wall = -left_normal(steps.start, steps.end)
    return np.asarray((np.sum(wall * plan.fall[steps.lower], axis=1) > TOWARD_WALL) & (steps.between < 0))


def toward_walls(roof: RoofSurface, plan: Plan) -> list[int]:
    """Planes that fall toward a wall."""
    return np.unique(roof.steps.lower[falls_toward_wall(roof, plan)]).tolist()


def downhill_joints(roof: RoofSurface, plan: Plan) -> list[tuple[int, int]]:
    """Pairs of planes (above, below) whose snow passes from one to the other over a break or valley."""
    edges = roof.edges
    kinds = np.array(edges.kind)
    joint = (kinds == EdgeKind.BREAK) | (kinds == EdgeKind.VALLEY)
    joint &= edges.plane.min(axis=1) >= 0
    pair, inward = edges.plane[joint], left_normal(edges.start[joint], edges.end[joint])
    leaves_first = np.sum(plan.fall[pair[:, 0]] * inward, axis=1) < -1e-6
    leaves_second = np.sum(plan.fall[pair[:, 1]] * inward, axis=1) > 1e-6
    both = np.concatenate([pair[leaves_first], pair[leaves_second][:, ::-1]])
    return [(int(above), int(below)) for above, below in both]


def in_one_curve(roof: RoofSurface, pair: IntArray, *, domes: bool) -> NDArray[np.bool_]:
    """Whether both planes (e, 2) of edges are facets of one vault, or dome, which has no ridges or hips."""
    member = np.full(roof.planes.count + 1, -1)  # the last stands for no plane
    curves = [vault.plane for vault in roof.vaults]
    curves += [dome.plane for dome in roof.domes if dome.smooth and domes]
    for number, facets in enumerate(curves):
        member[facets] = number
    return np.asarray((member[pair[:, 0]] >= 0) & (member[pair[:, 0]] == member[pair[:, 1]]))


def wind_directions(roof: RoofSurface, plan: Plan, *, domes: bool = False) -> list[Array]:
    """Plan unit vectors in which snow is blown across a ridge or hip, one for each fall direction.

    Edges within vaults are none, nor those within domes where the standard has a rule of its own for them.
    """
    kinds = np.array(roof.edges.kind)
    crest = (kinds == EdgeKind.RIDGE) | (kinds == EdgeKind.HIP)
    crests = roof.edges.plane[crest & ~in_one_curve(roof, roof.edges.plane, domes=domes)]
    found: list[Array] = []
    for plane in np.unique(crests[crests >= 0]):
        fall = plan.fall[plane]
        if fall.any() and all(fall @ other < SAME_WIND for other in found):
            found.append(fall)
    return found


def crest_segments(roof: RoofSurface, *, domes: bool = False) -> list[tuple[int, int, Array, Array]]:
    """Ridges and hips seen from each side: plane, plane across, and ends with the plane to the left.

    `domes` as in `wind_directions`.
    """
    edges = roof.edges
    kinds = np.array(edges.kind)
    crest = ((kinds == EdgeKind.RIDGE) | (kinds == EdgeKind.HIP)) & (edges.plane.min(axis=1) >= 0)
    crest &= ~in_one_curve(roof, edges.plane, domes=domes)
    found = []
    for e in np.flatnonzero(crest):
        first, second = (int(plane) for plane in edges.plane[e])
        found.append((first, second, edges.start[e], edges.end[e]))
        found.append((second, first, edges.end[e], edges.start[e]))
    return found


def compass(direction: Array) -> str:
    """Compass name of a plan direction; in degrees where it is not close to one of eight."""
    degrees = float(np.degrees(np.arctan2(direction[0], direction[1])) % 360.0)
    eighth = round(degrees / 45.0)
    if abs(degrees - 45.0 * eighth) <= COMPASS_SLACK:
        return _COMPASS[eighth % 8]
    return f"{degrees:.0f} degrees"
