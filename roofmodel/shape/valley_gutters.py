"""Valley gutters: slopes that fall toward each other across a narrow channel or slot are one valley to snow.

How wide such a gutter is, is judgment; no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Polygon

from roofmodel.shape.boxes import GRID, plane_at, without_planes
from roofmodel.shape.parapets import NARROW
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.surface import FLAT_SLOPE, Array, IntArray, RoofSurface

WIDEST = 0.5  # between the two edges [m]
OPEN = 0.35  # where nothing is drawn between them; through wider slots snow falls [m]
CHANNEL = 1.5  # wider gutters as far as this are told [m]
APART = 0.01  # edges closer than this meet [m]
SHORTEST = 0.3  # common length of the edges [m]
PARALLEL = np.cos(np.radians(5.0))  # the edges run along each other
TOWARD = 0.5  # cosine: a slope falls over an edge
INSIDE = 0.95  # so much of a channel lies between the edges
BESIDE = 0.1  # and the rest no farther from them, and no higher above them [m]
LEVEL = 0.4  # roofs whose edges differ by more have a step [m]


@dataclass(frozen=True)
class _Slot:
    """Two edges of different planes that face each other: planes, and common ends of each edge (2, 3)."""

    first: int
    second: int
    here: Array
    there: Array

    @property
    def width(self) -> float:
        """Greatest plan distance. [m]."""
        return float(np.linalg.norm((self.there - self.here)[:, :2], axis=1).max())

    @property
    def length(self) -> float:
        """Common plan length. [m]."""
        return float(np.linalg.norm((self.here[1] - self.here[0])[:2]))


def with_valleys(surface: RoofSurface, tolerance: float) -> RoofSurface:
    """A surface whose slopes meet in the valleys that gutters up to `WIDEST` or slots up to `OPEN` part.

    Parameters
    ----------
    surface : RoofSurface
    tolerance : float
        As for `with_boxes`. [m]

    Returns
    -------
    RoofSurface
        Both slopes are extended to the line in which they meet; channels there are left out. Slots between
        roofs of about one height that are no valleys are told, and wider channels.
    """
    plan = np.array(plan_polygons(surface.planes), dtype=object)
    changed, gone, hosts = plan.copy(), [], set[int]()
    found: list[tuple[_Slot, Array | None]] = []
    for slot in _slots(surface, plan):
        line = _meeting(surface, slot)
        strip = Polygon([*slot.here[:, :2], *slot.there[::-1, :2]])
        inside = _channel(surface, plan, slot, strip)
        below = np.flatnonzero(shapely.intersects(plan, shapely.buffer(strip, -0.25 * APART)))
        if slot.width > WIDEST:
            if line is not None and len(inside):
                found.append((slot, None))
            continue
        other = len(np.setdiff1d(below, inside)) > 0  # what runs on below or beside is no gutter
        if line is None or other or (slot.width > OPEN and not len(inside)):
            if not len(below):
                found.append((slot, None))
            continue
        made = {
            plane: shapely.union(changed[plane], Polygon([*edge[:, :2], *line[::-1]]), grid_size=GRID)
            for plane, edge in ((slot.first, slot.here), (slot.second, slot.there))
        }
        if not all(isinstance(shape, Polygon) for shape in made.values()):
            found.append((slot, None))
            continue
        for plane, shape in made.items():
            changed[plane] = shape
        hosts |= set(made)
        gone.append(inside)
        found.append((slot, line))
    if not found:
        return surface
    made_of = surface.planes
    if hosts:
        left = np.unique(np.concatenate(gone)).astype(np.int64)
        surface = without_planes(surface, left, changed, sorted(hosts), tolerance)
    notes = []
    for slot, line in found:
        spots = [np.array(plan[k].representative_point().coords[0]) for k in (slot.first, slot.second)]
        names = " and ".join(
            surface.planes.name[plane_at(surface, np.array([*xy, height_at(made_of, k, xy[None])[0]]))]
            for k, xy in zip((slot.first, slot.second), spots, strict=True)
        )
        notes.append(_told(slot, names) if line is None else _closed(slot, names, line))
    return replace(surface, notes=(*surface.notes, *notes))


def _slots(surface: RoofSurface, plan: Array) -> list[_Slot]:
    """Free edges of wide planes that face each other across a slot, narrowest first."""
    edges = surface.edges
    wide = ~shapely.is_empty(shapely.buffer(plan, -0.5 * NARROW))
    free = np.flatnonzero((edges.plane[:, 1] < 0) & wide[edges.plane[:, 0]])
    way = (edges.end - edges.start)[free, :2]
    length = np.linalg.norm(way, axis=1)
    free, way, length = free[length > SHORTEST], way[length > SHORTEST], length[length > SHORTEST]
    if len(free) < 2:
        return []
    way = way / length[:, None]
    lines = np.asarray(shapely.linestrings(np.stack([edges.start[free, :2], edges.end[free, :2]], axis=1)))
    one, other = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=CHANNEL)
    plane = edges.plane[free, 0]
    keep = (one < other) & (plane[one] != plane[other])
    keep &= np.sum(way[one] * way[other], axis=1) < -PARALLEL
    found = []
    for a, b in zip(one[keep].tolist(), other[keep].tolist(), strict=True):
        slot = _common(surface, (int(free[a]), int(free[b])), way[a], float(length[a]))
        if slot is not None:
            found.append(slot)
    return sorted(found, key=lambda slot: slot.width)


def _common(surface: RoofSurface, pair: tuple[int, int], way: Array, length: float) -> _Slot | None:
    """The slot between two edges; None where they meet, lie the wrong way round or pass each other by."""
    edges = surface.edges
    (a, b), out = pair, np.array([way[1], -way[0]])
    start, ends = edges.start[a], np.stack([edges.end[b], edges.start[b]])
    at = (ends[:, :2] - start[:2]) @ way
    low, high = max(float(at[0]), 0.0), min(float(at[1]), length)
    if high - low < SHORTEST:
        return None
    share = (np.array([low, high]) - at[0]) / (at[1] - at[0])
    there = ends[0] + share[:, None] * (ends[1] - ends[0])
    here = start + (np.array([low, high]) / length)[:, None] * (edges.end[a] - start)
    apart = (there - here)[:, :2] @ out
    if apart.min() < APART or apart.max() > CHANNEL or np.abs((there - here)[:, 2]).max() > LEVEL:
        return None
    return _Slot(int(edges.plane[a, 0]), int(edges.plane[b, 0]), here, there)


def _meeting(surface: RoofSurface, slot: _Slot) -> Array | None:
    """Ends (2, 2) on plan of the line where two slopes meet that fall into a slot; None where none do."""
    planes = surface.planes
    out = (slot.there - slot.here)[:, :2].mean(axis=0)
    out /= np.linalg.norm(out)
    for plane, toward in ((slot.first, out), (slot.second, -out)):
        fall = -planes.upslope[plane, :2] / np.linalg.norm(planes.upslope[plane, :2])
        if planes.slope[plane] < FLAT_SLOPE or fall @ toward < TOWARD:
            return None
    here, there = slot.here[:, :2], slot.there[:, :2]
    above = [height_at(planes, slot.first, xy) - height_at(planes, slot.second, xy) for xy in (here, there)]
    if above[0].min() <= 0.0 or above[1].max() >= 0.0:
        return None
    share = above[0] / (above[0] - above[1])
    return np.asarray(here + share[:, None] * (there - here))


def _channel(surface: RoofSurface, plan: Array, slot: _Slot, strip: Polygon) -> IntArray:
    """Planes of the gutter that lies in a slot."""
    near = shapely.buffer(strip, BESIDE)
    area = shapely.area(plan)
    inside = shapely.area(shapely.intersection(plan, near)) > INSIDE * area
    inside &= shapely.area(shapely.intersection(plan, strip)) > 0.5 * area
    top = max(slot.here[:, 2].max(), slot.there[:, 2].max()) + BESIDE
    for plane in np.flatnonzero(inside).tolist():
        inside[plane] = height_at(surface.planes, plane, shapely.get_coordinates(plan[plane])).max() < top
    return np.flatnonzero(inside)


def _closed(slot: _Slot, names: str, line: Array) -> str:
    longest = max(float(np.linalg.norm(edge[:, :2] - line, axis=1).max()) for edge in (slot.here, slot.there))
    return (
        f"{names} fall toward each other across a channel or slot {slot.width:.2f} m wide and "
        f"{slot.length:.2f} m long: snow lies there as in a valley. Both were extended, by up to "
        f"{longest:.2f} m on plan, to the line in which they meet; rows are measured from there."
    )


def _told(slot: _Slot, names: str) -> str:
    if slot.width > WIDEST:
        return (
            f"{names} fall toward each other across a channel {slot.width:.2f} m wide, a plane here: drifts "
            "and what slides are counted on it, but no snow as in a valley. If it is a valley gutter, draw "
            "the slopes to the line in which they meet."
        )
    return (
        f"{names} stand {slot.width:.2f} m apart along {slot.length:.2f} m at about one height: they are two "
        "roofs here, each with edges of its own that snow slides off. If roof goes on there, draw it."
    )
