"""What is fastened to a roof and is none itself: thin sheets parallel to a plane, and gutters along its eave.

Planes of snow on planes of snow would count the snow twice, and an eave over its own gutter would not be one.
What is thin and what is a gutter is judgment; no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.shape.boxes import GRID, LARGEST, NEAR, WALL, plane_at, without_planes
from roofmodel.shape.parapets import NARROW, SLENDER, narrow_groups
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.shape.regions import components
from roofmodel.shape.valley_gutters import with_valleys
from roofmodel.surface import FLAT_SLOPE, Array, IntArray, RoofSurface

Plans = NDArray[np.object_]

PARALLEL = np.cos(np.radians(3.0))  # a sheet lies so parallel to its plane
HIGHEST = 0.4  # and no higher above it [m]
WHOLE = 0.95  # so much of a sheet lies over its plane, or of what is around it is the plane [-]
MOST = 0.9  # larger shares of a plane are its covering, not something on it [-]
JOINT = 0.15  # sheets so near to each other are one array [m]
CHANNEL = 0.4  # gutters are no wider, and lie no farther below the eave [m]
LIP = 0.1  # parts of one gutter lie no farther apart, and its lip rises no higher above the eave [m]
OPPOSED = -0.5  # cosine between the ways out of two eaves that face each other


def without_attached(surface: RoofSurface, tolerance: float) -> RoofSurface:
    """A surface without thin sheets and gutters, which are in `attached` and in the notes.

    Parameters
    ----------
    surface : RoofSurface
    tolerance : float
        As for `with_boxes`. [m]

    Returns
    -------
    RoofSurface
        Planes are closed below the sheets, and valleys where a gutter parts their slopes. Other channels
        between two roofs stay planes and are told.
    """
    bare = _without_sheets(surface, tolerance)
    closed = replace(with_valleys(bare, tolerance), attached=bare.attached)
    return _without_gutters(closed, tolerance)


def _without_sheets(surface: RoofSurface, tolerance: float) -> RoofSurface:
    """Planes that lie parallel over another one, like solar arrays, left out."""
    plan = np.array(plan_polygons(surface.planes), dtype=object)
    filled = np.asarray(shapely.polygons(shapely.get_exterior_ring(plan)))
    sheet, host = _over_parallel(surface, plan, filled)
    gone: list[IntArray] = []
    found: list[tuple[int, BaseGeometry, float]] = []
    changed = plan.copy()
    for one in np.unique(host).tolist():
        tops = sheet[host == one]
        near = shapely.STRtree(plan[tops]).query(plan[tops], predicate="dwithin", distance=JOINT)
        _, label = components(len(tops), near.T)
        for group in (tops[label == k] for k in np.unique(label)):
            whole = _closed(plan[group])
            gap = _gap(surface, plan, group, one)
            strip = shapely.buffer(whole, -0.5 * NARROW).is_empty  # of a parapet
            if strip or not _lies_on(plan[one], whole) or (whole.area <= LARGEST and gap >= WALL):
                continue
            wide = shapely.buffer(whole, 2.0 * NEAR, join_style="mitre")
            under = shapely.union(changed[one], shapely.intersection(filled[one], wide), grid_size=GRID)
            if not isinstance(under, Polygon):
                continue
            gone.append(group)
            found.append((one, whole, gap))
            changed[one] = under
    if not found:
        return surface
    left_out = np.concatenate(gone)
    hosts = np.unique([one for one, _, _ in found])
    bare = without_planes(surface, left_out, changed, hosts, tolerance)
    notes = [_sheet_words(surface, bare, *one) for one in found]
    shapes = tuple(part for _, whole, _ in found for part in _polygons(whole))
    return replace(bare, notes=(*bare.notes, *notes), attached=shapes)


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(shape) if isinstance(part, Polygon)]


def _over_parallel(surface: RoofSurface, plan: Plans, filled: Plans) -> tuple[IntArray, IntArray]:
    """Planes that lie freely a little above a larger parallel slope, and the nearest such slope."""
    planes = surface.planes
    sheet, host = shapely.STRtree(filled).query(shapely.point_on_surface(plan), predicate="within")
    area = shapely.area(plan)
    keep = (area[sheet] < MOST * shapely.area(filled[host])) & (sheet != host)
    keep &= np.sum(planes.normal[sheet] * planes.normal[host], axis=1) > PARALLEL
    keep &= planes.slope[host] > FLAT_SLOPE  # nothing slides off a plinth on a level roof
    sheet, host = sheet[keep], host[keep]
    pairs = surface.edges.plane[surface.edges.plane[:, 1] >= 0]
    best: dict[int, tuple[float, int]] = {}
    for top, below in zip(sheet.tolist(), host.tolist(), strict=True):
        xy = shapely.get_coordinates(plan[top])
        gap = height_at(planes, top, xy) - height_at(planes, below, xy)
        inside = shapely.intersection(plan[top], filled[below]).area
        if gap.min() > 0.0 and gap.max() < HIGHEST and inside > WHOLE * area[top]:
            best[top] = min(best.get(top, (np.inf, -1)), (float(gap.mean()), below))
    # What meets a plane along an edge is a dormer or a bent covering, unless that is a sheet too.
    held = {int(a) for pair in pairs.tolist() for a, b in (pair, pair[::-1]) if b not in best}
    tops = np.array(sorted(set(best) - held), dtype=np.int64)
    return tops, np.array([best[top][1] for top in tops.tolist()], dtype=np.int64)


def _closed(parts: Plans) -> BaseGeometry:
    """Plan shape of modules side by side, without the joints between them."""
    grown = shapely.buffer(shapely.union_all(parts, grid_size=GRID), JOINT, join_style="mitre")
    return shapely.buffer(grown, -JOINT, join_style="mitre")


def _lies_on(host: Polygon, whole: BaseGeometry) -> bool:
    """Whether a plane runs on below a sheet, or is all around it."""
    if shapely.intersection(host, whole).area > WHOLE * whole.area:
        return True
    around = shapely.difference(shapely.buffer(whole, 2.0 * NEAR, join_style="mitre"), whole)
    return bool(shapely.intersection(around, shapely.buffer(host, NEAR)).area > WHOLE * around.area)


def _gap(surface: RoofSurface, plan: Plans, group: IntArray, host: int) -> float:
    """Greatest clear height between sheets and their plane, square to it. [m]."""
    planes = surface.planes
    most = [
        float((height_at(planes, top, xy) - height_at(planes, host, xy)).max())
        for top in group.tolist()
        for xy in (shapely.get_coordinates(plan[top]),)
    ]
    return max(most) * float(planes.normal[host, 2])


def _sheet_words(old: RoofSurface, new: RoofSurface, host: int, whole: BaseGeometry, gap: float) -> str:
    spot = np.array(whole.representative_point().coords[0])
    plane = plane_at(new, np.array([*spot, height_at(old.planes, host, spot[None])[0]]))
    xy = shapely.get_coordinates(whole)
    uv = new.planes.to_plane(plane, np.column_stack([xy, height_at(new.planes, plane, xy)]))
    (left, low), (right, high) = uv.min(axis=0), uv.max(axis=0)
    name = new.planes.name[plane]
    return (
        f"A sheet of {right - left:.2f} by {high - low:.2f} m lies up to {gap:.2f} m above {name} and "
        f"parallel to it. It was left out, as if snow lay on {name} itself. If it is a solar array, snow "
        f'piles up above it and slides off its glass: give a [[solar]] with plane = "{name}", across = '
        f'"{0.5 * (left + right):.2f} m", up = "{0.5 * (low + high):.2f} m", '
        f'width = "{right - left:.2f} m", '
        f'depth = "{high - low:.2f} m", gap = "{gap:.2f} m".'
    )


def _without_gutters(surface: RoofSurface, tolerance: float) -> RoofSurface:
    """Narrow strips just below an eave left out; those with an eave on both sides told."""
    plan = np.array(plan_polygons(surface.planes), dtype=object)
    groups = narrow_groups(surface, plan, CHANNEL)
    if not groups:
        return surface
    shapes = np.array([shapely.union_all(plan[group], grid_size=GRID) for group in groups], dtype=object)
    near = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=LIP)
    _, label = components(len(groups), near.T)
    gone: list[IntArray] = []
    notes: list[str] = []
    strips: list[Polygon] = list(surface.attached)
    for k in np.unique(label):
        group = np.concatenate([groups[i] for i in np.flatnonzero(label == k)])
        eaves, out = _eaves_above(surface, group)
        outline = shapely.buffer(shapely.union_all(shapely.buffer(plan[group], LIP)), -LIP)
        length, area = 0.5 * float(outline.length), float(outline.area)
        along = float(np.linalg.norm((surface.steps.end - surface.steps.start)[eaves], axis=1).sum())
        if not len(eaves) or length**2 < SLENDER * area or along < 0.5 * length or area > CHANNEL * length:
            continue
        names = ", ".join(dict.fromkeys(surface.planes.name[i] for i in surface.steps.upper[eaves].tolist()))
        strip = f"{area / length:.2f} m wide and {length:.2f} m long, below the edge of {names}"
        if _face_each_other(surface, eaves, out):
            notes.append(
                f"{surface.planes.name[group[0]]} is a channel {strip}: it is a plane here. If it is a "
                "valley gutter, snow drifts and stays there as in a valley, and that is in no case: draw the "
                "slopes to the line in which they meet."
            )
            continue
        gone.append(group)
        strips += _polygons(outline)
        notes.append(
            f"A strip {strip}, was taken as a gutter and left out: it holds no snow back here, and what "
            "slides over the edge falls past it."
        )
    if gone:
        surface = without_planes(surface, np.concatenate(gone), plan, [], tolerance)
    return replace(surface, notes=(*surface.notes, *notes), attached=tuple(strips))


def _eaves_above(surface: RoofSurface, group: IntArray) -> tuple[IntArray, Array]:
    """Steps onto a strip from eaves just above it and their ways out; none where it is more than a gutter."""
    steps, planes = surface.steps, surface.planes
    onto = np.isin(steps.lower, group) & ~np.isin(steps.upper, group) & (steps.between < 0)
    way = (steps.end - steps.start)[:, :2]
    out = np.stack([-way[:, 1], way[:, 0]], axis=1) / np.linalg.norm(way, axis=1)[:, None]
    fall = -planes.upslope[steps.upper, :2]
    eave = np.sum(fall * out, axis=1) > 0.5 * np.linalg.norm(fall, axis=1)
    from_it = np.isin(steps.upper, group) & ~np.isin(steps.lower, group) & (steps.wall.max(axis=1) > LIP)
    at = np.flatnonzero(onto & eave & (steps.gap < LIP))
    walls = steps.wall[onto].max(initial=0.0)
    rises = np.isin(steps.lower[from_it], steps.upper[at]).any()
    return (at[:0], out[:0]) if walls > CHANNEL or rises else (at, out[at])


def _face_each_other(surface: RoofSurface, eaves: IntArray, out: Array) -> bool:
    """Whether two eaves look at each other across a channel."""
    start, end = surface.steps.start[eaves, :2], surface.steps.end[eaves, :2]
    lines = np.asarray(shapely.linestrings(np.stack([start, end], axis=1)))
    one, other = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=CHANNEL + LIP)
    ahead = np.sum((0.5 * (start + end)[other] - 0.5 * (start + end)[one]) * out[one], axis=1)
    return bool(((np.sum(out[one] * out[other], axis=1) < OPPOSED) & (ahead > 0.0)).any())
