"""Names of strips on a plan: turned with their strip, where they cross least."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from viewer import style
from viewer.picture import svg
from viewer.picture.labels import text_width

Array = NDArray[np.float64]

SIZE, LEADING = 10.5, 12.5  # of the letters, and from line to line [px]
WIDER = 1.1  # letters of browsers over ours [-]
GAP = 5.0  # between a strip and a name beside it [px]
EDGE = 2.0  # of the drawing, that names keep clear of [px]
ALONG = (0.5, 0.3, 0.7, 0.15, 0.85)  # places along and across a strip, the best first [-]
ON_ANOTHER = 50.0  # what a name on another strip costs in lengths crossed [px]
FREE, CROSSED = 1.0, 30.0  # lengths crossed: end of the search, and what one line for two may save [px]


@dataclass(frozen=True)
class Asked:
    """A name that is to be written.

    Attributes
    ----------
    corners : (4, 2) float
        Of its strip: the first two along the edge that it starts from. [px]
    lines : tuple of str
        Under each other, the first one bold.
    inside : bool
        Whether it is left out where the strip has no room for it, not written beside it.
    seen : shapely geometry, optional
        The part of the strip that nothing covers.
    """

    corners: Array
    lines: tuple[str, ...]
    inside: bool = False
    seen: shapely.Geometry | None = None


def written(
    asked: Sequence[Asked],
    outlines: shapely.Geometry,
    size: tuple[float, float],
    areas: shapely.Geometry | None = None,
) -> list[str]:
    """Names, each at the place that crosses the least of `outlines`, never over another name.

    Parameters
    ----------
    asked : sequence of Asked
        The most important first.
    outlines : shapely geometry
        Lines that names should not cross. [px]
    size : (float, float)
        Width and height that names stay within. [px]
    areas : shapely geometry, optional
        All strips: a name that stands beside its own should not stand on another. [px]
    """
    areas = areas or shapely.Polygon()
    shapely.prepare(areas)
    shapely.prepare(outlines)
    room = shapely.box(EDGE, EDGE, size[0] - EDGE, size[1] - EDGE)
    taken: list[shapely.Geometry] = []
    parts: list[str] = []
    for one in asked:
        found = _best(one, outlines, room, taken, areas)
        if found is None:
            continue
        taken.append(found.box)
        corners = _shown(one)
        strip = shapely.Polygon(corners)
        if found.leader or float(shapely.distance(found.box, strip)) > 2.0 * GAP:
            line = shapely.shortest_line(found.box, shapely.Point(corners.mean(axis=0)))
            taken.append(line.buffer(1.0))  # no other name stands on it
            parts.append(svg.line(shapely.get_coordinates(line), style.MUTED, 0.8))
        at = f"{svg.number(found.middle[0])} {svg.number(found.middle[1])}"
        turn = f"translate({at}) rotate({svg.number(found.angle)})"
        top = 0.36 * SIZE - 0.5 * LEADING * (len(found.lines) - 1)
        for i, words in enumerate(found.lines):
            y = top + i * LEADING
            parts.append(
                svg.text(words, 0.0, y, SIZE, anchor="middle", bold=i == 0, halo=True, transform=turn)
            )
    return parts


@dataclass(frozen=True)
class _Place:
    """Where a name may stand: middle, angle of its letters, lines, box; with a leader where it is far off."""

    cost: float
    middle: Array
    angle: float
    lines: tuple[str, ...]
    box: shapely.Geometry
    leader: bool


def _best(
    one: Asked,
    outlines: shapely.Geometry,
    room: shapely.Geometry,
    taken: list[shapely.Geometry],
    areas: shapely.Geometry,
) -> _Place | None:
    """The cheapest place within the strip, in one line where two do not fit, or else beside it."""
    strip = shapely.Polygon(one.corners)
    seen = strip if one.seen is None else one.seen
    best: _Place | None = None
    joined = (": ".join(one.lines),) if len(one.lines) == 2 else one.lines
    for lines, within in ((one.lines, True), (joined, True), (one.lines, False)):
        if within is False and (one.inside or best is not None):
            break
        wide = max(text_width(words, SIZE, bold=i == 0) for i, words in enumerate(lines))
        half = np.array([0.5 * WIDER * wide + 2.0, 0.5 * LEADING * len(lines) + 1.0])
        places = _inside(one.corners) if within else _beside(_shown(one), half)
        for order, (middle, way, leader) in enumerate(places):
            angle = float(np.degrees(np.arctan2(way[1], way[0])))
            angle = angle - 180.0 if angle >= 89.9 else angle + 180.0 if angle < -90.1 else angle
            box = shapely.affinity.rotate(shapely.box(*(middle - half), *(middle + half)), angle)
            if not shapely.contains(room, box) or any(box.intersects(other) for other in taken):
                continue
            if within and not shapely.contains(seen, box):
                continue
            crossed = float(shapely.length(shapely.intersection(box, outlines)))
            crossed += ON_ANOTHER if not within and shapely.intersects(areas, box) else 0.0
            cost = crossed + 0.1 * order + (20.0 if leader else 0.0)
            if best is None or cost < best.cost:
                best = _Place(cost, middle, angle, lines, box, leader)
                if crossed < FREE:
                    break
        if best is not None and best.cost < CROSSED:
            break
    return best


def box_of(ring: Array) -> Array:
    """Corners of the smallest box about a ring, its long side first. [px]."""
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.Polygon(ring)))[:4]
    return box if np.linalg.norm(box[1] - box[0]) >= np.linalg.norm(box[3] - box[0]) else np.roll(box, 1, 0)


def _shown(one: Asked) -> Array:
    """Corners of the strip, or of a box about the largest part of it that is seen."""
    strip = shapely.Polygon(one.corners)
    parts = shapely.get_parts(strip if one.seen is None else one.seen)
    largest = parts[int(np.argmax(shapely.area(parts)))] if len(parts) else strip
    if largest.area > 0.9 * strip.area or largest.is_empty:
        return one.corners
    return box_of(shapely.get_coordinates(largest.exterior))


def _inside(corners: Array) -> list[tuple[Array, Array, bool]]:
    """Middle and direction of the letters: along the edge, level, down the strip."""
    start, along, down = corners[0], corners[1] - corners[0], corners[3] - corners[0]
    return [
        (start + u * along + v * down, way, False)
        for way in (along, np.array([1.0, 0.0]), down)
        for v in ALONG
        for u in ALONG
    ]


def _beside(corners: Array, half: Array) -> list[tuple[Array, Array, bool]]:
    """Middle, direction and whether a leader is drawn: beyond the far end, beside the flanks, around."""
    start, along, down = corners[0], corners[1] - corners[0], corners[3] - corners[0]
    reach = max(float(np.linalg.norm(down)), 1e-9)
    wide = max(float(np.linalg.norm(along)), 1e-9)
    level, a, d = np.array([1.0, 0.0]), along / wide, down / reach
    past = 0.5 + (half[0] + 2.0 * GAP) / wide  # beyond the ends of the strip
    far = start + (1.0 + (half[1] + GAP) / reach) * down
    found = [(far + u * along, a, False) for u in (*ALONG, 0.0, 1.0, 0.5 - past, 0.5 + past)]
    found.append((start + 0.5 * along + (1.0 + (half[0] + GAP) / reach) * down, d, False))
    side = (half[1] + GAP) / wide
    found += [(start + u * along + v * down, d, False) for u in (-side, 1.0 + side) for v in ALONG]
    out = float(half @ np.abs(d)) + GAP
    found += [(start + u * along + (1.0 + out / reach) * down, level, False) for u in ALONG]
    turns = np.radians(np.arange(0.0, 360.0, 15.0))
    ring = np.column_stack([np.cos(turns), np.sin(turns)])
    middle = corners.mean(axis=0)
    return found + [(middle + (r + half[0]) * way, level, True) for r in (20.0, 50.0, 90.0) for way in ring]
