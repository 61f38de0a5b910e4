"""Parapets that a model shows: narrow planes with a wall, and upright sheets, along the edge of a plane.

What is narrow, and which narrow planes are parapets, is judgment; no source. Snow drifts against them.
Nothing is counted on to be held by them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.obstacles import Obstacles
from roofmodel.shape.boxes import BEHIND, GRID, WALL, plane_at, with_found, with_more, without_planes
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.shape.regions import components
from roofmodel.surface import FLAT_SLOPE, Array, EdgeKind, IntArray, RoofSurface

NARROW = BEHIND  # wider planes are no parapets [m]
THICKEST = NARROW + 0.1  # from one foot to the other [m]
SLENDER = 5.0  # those less than so many times as long as wide are none [-]
SHORTEST = 0.5  # nor are shorter ones [m]
TALLEST = 20.0  # nor higher ones [m]
AGAINST = -0.9  # cosine between the faces of one wall
AWAY = 0.7  # cosine between fall and the way from the wall: the plane's top edge is there
ALONG = 0.98  # cosine between a face and the edge that it stands on
BESIDE = (0.02, 0.15)  # planes are looked for so far to each side of a sheet [m]
ON, MOST = 0.02, 0.5  # corners so near to a line stand on it; a plane beside so much of it is its host [m, -]
SPOTS = np.linspace(0.1, 0.9, 5)  # along it
HOLDS = (
    "Snow drifts against parapets. None is counted on to hold any: what slides over its edge as if it were "
    "not there is what pushes on it."
)
FREE = (EdgeKind.EAVE, EdgeKind.RAKE, EdgeKind.HEAD)


@dataclass(frozen=True)
class Upright:
    """One straight face of a wall above a plane, which lies to the left of start -> end on plan.

    Attributes
    ----------
    plane : int
    start, end : (3,) float
        Its foot. [m]
    height : (float, float)
        Least and greatest. [m]
    """

    plane: int
    start: Array
    end: Array
    height: tuple[float, float]


def parapets_of_planes(surface: RoofSurface, tolerance: float) -> RoofSurface:
    """Take narrow planes that stand above others as parapets.

    Parameters
    ----------
    surface : RoofSurface
    tolerance : float
        As for `with_boxes`. [m]

    Returns
    -------
    RoofSurface
        Without these planes, with the parapets in `found` and in the notes.
    """
    plan = np.array(plan_polygons(surface.planes), dtype=object)
    gone, faces, said = [], [], []
    for group in narrow_groups(surface, plan):
        area = float(shapely.area(plan[group]).sum())
        length = 0.5 * float(shapely.union_all(plan[group], grid_size=GRID).length)
        own = _faces_below(surface, group) if length**2 > SLENDER * area else []
        if own:
            gone.append(group)
            faces += own
            names = ", ".join(dict.fromkeys(surface.planes.name[one.plane] for one in own))
            said += [f"A narrow plane ({area / length:.2f} m wide) above {names}"] * len(own)
    if not faces:
        return surface
    bare = without_planes(surface, np.concatenate(gone), plan, [], tolerance)
    moved = [replace(one, plane=plane_at(bare, _behind(one.start, one.end))) for one in faces]
    return with_parapets_made(with_found(bare, surface.found), moved, said)


def parapets_of_walls(surface: RoofSurface, points: Array, edges: IntArray) -> list[Upright]:
    """Faces of parapets among upright faces.

    Parameters
    ----------
    surface : RoofSurface
    points : (n, 3) float
        [m]
    edges : (k, 2) int
        Edges of upright faces that stand above the planes around them.

    Returns
    -------
    list of Upright
        Empty where the faces stand over the middle of a plane or nowhere near one.
    """
    lines = _plan_lines(points, edges)
    plan = np.array(plan_polygons(surface.planes), dtype=object)
    tops = [_on_line(points, edges, line) for line in lines]
    sides = [
        tuple(_host_beside(surface, plan, line, top, side) for side in (1.0, -1.0))
        for line, top in zip(lines, tops, strict=True)
    ]
    both = [left is not None and left == right for left, right in sides]
    found: list[Upright] = []
    for k, line in enumerate(lines):
        twins = _twins(lines, k)
        if both[k]:
            # The inner face of a solid wall on the plane; outside its other face there is nothing.
            outer = [j for j in twins if None in sides[j] and sides[j] != (None, None)]
            if outer:
                inward = line if _left_of(line, lines[outer[0]].mean(axis=0)) < 0.0 else line[::-1]
                found.append(_upright(surface, inward, sides[k][0], tops[k]))
        elif not any(both[j] for j in twins):
            found += [
                _upright(surface, way, host, tops[k])
                for way, host in zip((line, line[::-1]), sides[k], strict=True)
                if host is not None
            ]
    return [one for one in found if WALL < one.height[1] < TALLEST]


def without_known(surface: RoofSurface, faces: list[Upright]) -> list[Upright]:
    """Faces that are none of a parapet which the surface has already: those higher or longer are new."""
    known = surface.found
    at = np.flatnonzero(known.parapet[known.face])
    if not len(at) or not faces:
        return faces
    lines = np.asarray(shapely.linestrings(np.stack([known.start[at, :2], known.end[at, :2]], axis=1)))
    plane, height = known.plane[known.face[at]], known.height[known.face[at]]
    ends = np.array([[one.start[:2], one.end[:2]] for one in faces])
    spots = np.asarray(shapely.points(np.stack([ends[:, 0], ends.mean(axis=1), ends[:, 1]], axis=1)))
    near = shapely.dwithin(lines, spots[..., None], NARROW)
    own = plane == np.array([one.plane for one in faces], dtype=np.int64)[:, None]
    own &= height > np.array([one.height[1] for one in faces])[:, None] - WALL
    had = (near & own[:, None]).any(axis=2).all(axis=1)
    return [one for one, old in zip(faces, had, strict=True) if not old]


def with_parapets_made(surface: RoofSurface, faces: list[Upright], said: list[str]) -> RoofSurface:
    """A surface with parapets among what it shows, and words for each.

    Parameters
    ----------
    surface : RoofSurface
    faces : list of Upright
    said : list of str
        How each was seen.
    """
    many = len(faces)
    made = Obstacles(
        name=("",) * many,
        parapet=np.ones(many, dtype=bool),
        plane=np.array([one.plane for one in faces], dtype=np.int64),
        height=np.array([one.height[1] for one in faces]),
        clear=np.zeros(many),
        face=np.arange(many),
        start=np.array([one.start for one in faces]).reshape(-1, 3),
        end=np.array([one.end for one in faces]).reshape(-1, 3),
        strength=np.full(many, np.nan),
    )
    made = named_parapets(surface, made, surface.found.name)
    words = []
    for one, name, how in zip(faces, made.name, said, strict=True):
        length, (low, high) = float(np.linalg.norm(one.end - one.start)), one.height
        tall = (
            f"{high:.2f} m high" if high - low < 0.02 else f"{low:.2f} to {high:.2f} m high, the most counts"
        )
        words.append(f"{how} was taken as {name}: {length:.2f} m long, {tall}.")
    surface = with_more(surface, made, words)
    return replace(surface, notes=(*(note for note in surface.notes if note != HOLDS), HOLDS))


def with_names(surface: RoofSurface) -> RoofSurface:
    """A surface with its parapets named by the edges as they are called now."""
    if not surface.found.parapet.any():
        return surface
    named = named_parapets(surface, surface.found)
    return replace(surface, found=named, obstacles=named)


def named_parapets(surface: RoofSurface, found: Obstacles, taken: tuple[str, ...] = ()) -> Obstacles:
    """Obstacles with each parapet named by the edge that it stands on."""
    names, used = list(found.name), set(taken)
    for one in np.flatnonzero(found.parapet).tolist():
        at = int(np.flatnonzero(found.face == one)[0])
        plain = f"parapet on {_edge_name(surface, int(found.plane[one]), found.start[at], found.end[at])}"
        name, again = plain, 2
        while name in used:
            name, again = f"{plain} ({again})", again + 1
        names[one] = name
        used.add(name)
    return replace(found, name=tuple(names))


def _edge_name(surface: RoofSurface, plane: int, start: Array, end: Array) -> str:
    """Name of the nearest free edge of a plane along a face, else of the plane."""
    edges, way = surface.edges, (end - start)[:2]
    span = (edges.end - edges.start)[:, :2]
    cosine = np.abs(span @ way) / np.maximum(np.linalg.norm(span, axis=1) * np.linalg.norm(way), 1e-12)
    free = np.array([kind in FREE for kind in edges.kind], dtype=bool)
    near = np.flatnonzero(free & (edges.plane[:, 0] == plane) & (cosine > ALONG))
    if not len(near):
        return surface.planes.name[plane]
    lines = shapely.linestrings(np.stack([edges.start[near, :2], edges.end[near, :2]], axis=1))
    far = shapely.distance(lines, shapely.Point(0.5 * (start + end)[:2]))
    return edges.name[near[np.argmin(far)]] if far.min() <= THICKEST else surface.planes.name[plane]


def narrow_groups(surface: RoofSurface, plan: NDArray[np.object_], width: float = NARROW) -> list[IntArray]:
    """Groups of narrow planes that meet along edges, and meet no wide one."""
    narrow = shapely.is_empty(shapely.buffer(plan, -0.5 * width))
    pairs = surface.edges.plane[surface.edges.plane[:, 1] >= 0]
    mixed = np.zeros(len(plan), dtype=bool)
    mixed[pairs[narrow[pairs].any(axis=1) & ~narrow[pairs].all(axis=1)]] = True
    _, label = components(len(plan), pairs[narrow[pairs].all(axis=1)])
    groups = [np.flatnonzero(narrow & (label == one)) for one in np.unique(label[narrow])]
    return [group for group in groups if not mixed[group].any()]


def _faces_below(surface: RoofSurface, group: IntArray) -> list[Upright]:
    """Faces of a narrow group of planes toward the roofs that it stands on; none where it is no parapet."""
    steps, planes = surface.steps, surface.planes
    own = np.isin(steps.upper, group) & ~np.isin(steps.lower, group) & (steps.between < 0)
    at = np.flatnonzero(own)
    length = np.linalg.norm(steps.end[at] - steps.start[at], axis=1)
    high = steps.wall[at].max(axis=1)
    at = at[(length >= SHORTEST) & (high > WALL) & (high < TALLEST)]
    if not len(at):
        return []
    way = (steps.end - steps.start)[at, :2]
    length = np.linalg.norm(way, axis=1)
    left = np.stack([-way[:, 1], way[:, 0]], axis=1) / length[:, None]
    middle = 0.5 * (steps.start + steps.end)[at]
    opposed = left @ left.T < AGAINST
    opposed &= np.linalg.norm(middle[:, None, :2] - middle[None, :, :2], axis=2) < NARROW + 0.5 * (
        length[:, None] + length[None, :]
    )
    ahead = np.einsum("stx,sx->st", (middle[None] - middle[:, None])[..., :2], left)
    opposed &= (ahead < 0.0) & (ahead > -THICKEST)  # of the other side of the wall
    if (opposed & (steps.lower[at][:, None] == steps.lower[at][None, :])).any():
        return []  # a dormer or screen with one plane around it
    fall = -np.asarray(planes.upslope[steps.lower[at], :2])
    fall /= np.maximum(np.linalg.norm(fall, axis=1), 1e-12)[:, None]
    top = (np.sum(fall * left, axis=1) > AWAY) & (planes.slope[steps.lower[at]] > FLAT_SLOPE)
    if (opposed & top[:, None] & top[None, :]).any():
        return []  # a ridge between two slopes that fall away: a cap or a vent
    higher = middle[None, :, 2] > middle[:, None, 2] + WALL
    own = ~(opposed & higher).any(axis=1)  # the others are walls below the roof that the parapet stands on
    return [
        Upright(
            int(steps.lower[k]),
            steps.start[k],
            steps.end[k],
            (float(steps.wall[k].min()), float(steps.wall[k].max())),
        )
        for k in at[own].tolist()
    ]


def _behind(start: Array, end: Array) -> Array:
    """A point of the roof just behind a face. [m]."""
    way = (end - start) / np.linalg.norm(end - start)
    return np.asarray(0.5 * (start + end) + BESIDE[0] * np.array([-way[1], way[0], 0.0]))


def _plan_lines(points: Array, edges: IntArray) -> list[Array]:
    """Straight lines on plan (2, 2) below edges. [m]."""
    ends = np.round(points[edges][..., :2], 3)
    ends = ends[np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) > ON]
    if not len(ends):
        return []
    whole = shapely.line_merge(shapely.union_all(shapely.linestrings(ends)))
    parts = [shapely.get_coordinates(one) for one in shapely.get_parts(shapely.simplify(whole, ON))]
    found = [xy[k : k + 2] for xy in parts for k in range(len(xy) - 1)]
    return [line for line in found if np.linalg.norm(line[1] - line[0]) >= SHORTEST]


def _on_line(points: Array, edges: IntArray, line: Array) -> Array:
    """Ends (n, 3) of the edges above a line on plan. [m]."""
    ends = points[edges]
    far = shapely.distance(shapely.LineString(line), shapely.points(ends[..., :2])).max(axis=1)
    return np.asarray(ends[far < 2.0 * ON].reshape(-1, 3))


def _host_beside(
    surface: RoofSurface, plan: NDArray[np.object_], line: Array, top: Array, side: float
) -> int | None:
    """Highest plane below tops (n, 3) along most of one side of a line (1 left, -1 right), if any."""
    way = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    out = side * np.array([-way[1], way[0]])
    spots = line[0] + SPOTS[:, None] * (line[1] - line[0])
    level, best = -np.inf, None
    for host in np.flatnonzero(shapely.dwithin(plan, shapely.LineString(line), BESIDE[1])).tolist():
        share = max(shapely.contains_xy(plan[host], *(spots + far * out).T).mean() for far in BESIDE)
        height = float(height_at(surface.planes, host, top[:, :2]).mean())
        if share >= MOST and level < height < top[:, 2].mean() - WALL:
            level, best = height, host
    return best


def _twins(lines: list[Array], k: int) -> list[int]:
    """Other lines beside a line, parallel and no farther than a wall is thick."""
    own, found = lines[k], []
    way = (own[1] - own[0]) / np.linalg.norm(own[1] - own[0])
    for j, other in enumerate(lines):
        span = (other[1] - other[0]) / np.linalg.norm(other[1] - other[0])
        apart = shapely.LineString(own).distance(shapely.LineString(other))
        beside = abs(span @ way) > ALONG and abs(_left_of(own, other.mean(axis=0))) < NARROW
        if j != k and beside and ON < apart < NARROW:
            found.append(j)
    return found


def _left_of(line: Array, point: Array) -> float:
    """Distance of a point to the left of a line on plan. [m]."""
    way = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    return float((point - line[0]) @ np.array([-way[1], way[0]]))


def _upright(surface: RoofSurface, line: Array, host: int | None, top: Array) -> Upright:
    """The face on a line, up to tops (n, 3), above a plane to its left."""
    assert host is not None
    foot = np.column_stack([line, height_at(surface.planes, host, line)])
    height = top[:, 2] - height_at(surface.planes, host, top[:, :2])
    return Upright(host, foot[0], foot[1], (float(height.min()), float(height.max())))
