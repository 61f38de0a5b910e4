"""Names of planes on the plan of a roof: in the plane, else beside it at the end of a leader."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.surface import FLAT_SLOPE, RoofSurface, shown_origin
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.labels import text_width
from viewer.picture.sheet import MARGIN, Overlay, Shape
from viewer.picture.standing import array_glass
from viewer.roof.words import slope_words

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]  # left, top, right, bottom [px]

ARROW = 17.0  # [pt]
DOT = 1.6  # [pt]
REACH = np.arange(14.0, 132.0, 6.0)  # lengths of leaders that are tried [pt]
TURNS = np.arange(24) * np.pi / 12.0
BARE = 0.05  # of a plane: so much is left free at least, else its name stands on what covers it [-]
CROSSED = 9.0  # cost of an edge under a name, as length of leader [pt]
LED = 60  # planes at most that get leaders; the others go to the table
LISTED, COLUMNS = 500, 4  # planes of the table


class PlanView:
    """Scale and place of the plan in a box (left, top, right, bottom) of the sheet, north up."""

    def __init__(self, points: Array, box: tuple[float, float, float, float]) -> None:
        low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
        span = np.maximum(high - low, 1e-6)
        room = np.array([box[2] - box[0], box[3] - box[1]])
        self.scale = float((room / span).min())
        self.low, self.high, self.box = low, high, box
        middle = 0.5 * np.array([box[0] + box[2], box[1] + box[3]])
        self.shift = middle - self.scale * 0.5 * (low + high) * np.array([1.0, -1.0])

    def at(self, xy: Array) -> Array:
        """Pixels (..., 2) of roof points (..., 2 or 3)."""
        return xy[..., :2] * np.array([self.scale, -self.scale]) + self.shift


def name_planes(
    overlay: Overlay, roof: RoofSurface, view: PlanView, units: UnitSystem, polygons: list[shapely.Polygon]
) -> list[Box]:
    """Write the names of all planes; those that find no place are added to `overlay.unnamed`.

    Parameters
    ----------
    overlay : Overlay
    roof : RoofSurface
    view : PlanView
    units : UnitSystem
    polygons : list of shapely Polygon, (p,)
        Planes on plan. [m]

    Returns
    -------
    list of Box
        Where names stand. [px]
    """
    planes = roof.planes
    seen = _seen(roof, polygons)
    taken = [text.box for text in overlay.texts]
    order = np.argsort(-planes.plan_area, kind="stable").tolist()
    left = [i for i in order if not _in_place(overlay, roof, view, units, i, seen[i], taken)]
    ends = np.stack([view.at(roof.edges.start), view.at(roof.edges.end)], axis=1)
    edges = shapely.STRtree(np.array(shapely.linestrings(ends), ndmin=1))
    lines: list[shapely.Geometry] = []
    for place, index in enumerate(left):
        if place >= LED or not _led(overlay, view, planes.name[index], seen[index], taken, lines, edges):
            overlay.unnamed.append(planes.name[index])
    return taken


def _seen(roof: RoofSurface, polygons: list[shapely.Polygon]) -> list[shapely.Polygon]:
    """What of each plane is seen from above: without what stands on it and the planes over it. [m]."""
    seen = list(polygons)
    arrays, known = roof.arrays, roof.obstacles
    boxes = np.flatnonzero(~known.parapet)
    rings = [known.start[known.face == box, :2] for box in boxes] + list(array_glass(roof)[..., :2])
    for plane, ring in zip([*known.plane[boxes].tolist(), *arrays.plane.tolist()], rings, strict=True):
        rest = shapely.difference(seen[plane], shapely.Polygon(ring).buffer(0.0))
        widest = max(shapely.get_parts(rest), key=lambda part: part.area, default=None)
        if isinstance(widest, shapely.Polygon) and widest.area > BARE * polygons[plane].area:
            seen[plane] = widest
    for step_lower, step_upper in set(zip(roof.steps.lower.tolist(), _uppers(roof), strict=True)):
        rest = shapely.difference(seen[step_lower], polygons[step_upper], grid_size=1e-3)
        parts = [p for p in shapely.get_parts(rest) if isinstance(p, shapely.Polygon) and p.area > 1e-4]
        if parts:
            seen[step_lower] = max(parts, key=lambda part: part.area)
    return seen


def _uppers(roof: RoofSurface) -> list[int]:
    """Plane above each step."""
    return roof.edges.plane[roof.steps.upper_edge, 0].tolist()


def _middle(view: PlanView, polygon: shapely.Polygon) -> tuple[Array, Array, float]:
    """Middle of the widest place on plan [m] and on the sheet [px], and how far it is from the rim. [px]."""
    circle = shapely.maximum_inscribed_circle(polygon, tolerance=0.5 / view.scale)
    center, rim = shapely.get_coordinates(circle)
    return center, view.at(center), float(np.linalg.norm(rim - center)) * view.scale


def _in_place(
    overlay: Overlay,
    roof: RoofSurface,
    view: PlanView,
    units: UnitSystem,
    index: int,
    polygon: shapely.Polygon,
    taken: list[Box],
) -> bool:
    """Name, slope and fall of a plane in its widest place; whether there was room for the name."""
    planes, point = roof.planes, overlay.point
    size, small = overlay.type_size("label"), overlay.type_size("note")
    center, (x, y), radius = _middle(view, polygon)
    name, slope = planes.name[index], slope_words(float(planes.slope[index]), units)
    wide = max(text_width(name, size, bold=True), text_width(slope, small))
    two = radius > 1.15 * size and radius > 0.42 * wide
    if not two:
        wide = text_width(name, size, bold=True)
    if radius < 0.5 * size or (not two and radius < 0.42 * wide):
        return False
    high = size if two else 0.5 * size
    box = (x - 0.5 * wide, y - high, x + 0.5 * wide, y + high)
    if not _free(np.array([box]), taken)[0]:
        return False
    taken.append(box)
    overlay.write(name, x, y - (0.55 * size if two else 0.0), "label", bold=True, align="center", halo=True)
    if not two:
        return True
    overlay.write(slope, x, y + 0.6 * size, "note", align="center", halo=True)
    if planes.slope[index] >= FLAT_SLOPE:
        down = np.array([np.sin(planes.azimuth[index]), -np.cos(planes.azimuth[index])])
        clear = 1.35 * size * abs(down[1]) + (0.5 * wide + 3.0 * point) * abs(down[0])
        tip = clear + ARROW * point
        if tip < radius * 1.6 and polygon.contains(shapely.Point(center + down * [1, -1] * tip / view.scale)):
            start, end = np.array([x, y]) + clear * down, np.array([x, y]) + tip * down
            _arrow(overlay, start, end)
            low, high = np.minimum(start, end) - 3.0 * point, np.maximum(start, end) + 3.0 * point
            taken.append((float(low[0]), float(low[1]), float(high[0]), float(high[1])))
    return True


def _led(
    overlay: Overlay,
    view: PlanView,
    name: str,
    polygon: shapely.Polygon,
    taken: list[Box],
    drawn: list[shapely.Geometry],
    edges: shapely.STRtree,
) -> bool:
    """Name at the end of a line from a dot in the plane, where it hides least; whether there was a place."""
    point, size = overlay.point, overlay.type_size("note")
    _, at, _ = _middle(view, polygon)
    half = 0.5 * np.array([text_width(name, size, bold=True) + 2.0 * point, 1.1 * size])
    reach, turn = (grid.ravel() for grid in np.meshgrid(REACH * point, TURNS, indexing="ij"))
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    middle = at + reach[:, None] * way + half * np.sign(np.round(way, 6))
    box = np.concatenate([middle - half, middle + half], axis=1)
    clamped = np.clip(at, box[:, :2], box[:, 2:])  # where the line meets the box
    lines = np.asarray(shapely.linestrings(np.stack([np.broadcast_to(at, clamped.shape), clamped], axis=1)))
    left, top, right, bottom = view.box
    ok = (box[:, 0] > left) & (box[:, 1] > top) & (box[:, 2] < right) & (box[:, 3] < bottom)
    ok &= _free(box, taken)
    shut = shapely.STRtree([*shapely.box(*np.array(taken).reshape(-1, 4).T), *drawn])
    ok[shut.query(lines, predicate="intersects")[0]] = False
    ok[shapely.STRtree(drawn).query(shapely.box(*box.T), predicate="intersects")[0]] = False
    if not ok.any():
        return False
    crossed = np.bincount(edges.query(shapely.box(*box.T), predicate="intersects")[0], minlength=len(box))
    cost = reach / point + CROSSED * crossed
    best = int(np.argmin(np.where(ok, cost, np.inf)))
    taken.append(tuple(box[best].tolist()))
    drawn.append(lines[best])
    overlay.shapes.append(Shape(np.array([at, clamped[best]]), line=style.INK, width=0.7 * point))
    ring = at + DOT * point * np.stack([np.cos(TURNS), np.sin(TURNS)], axis=1)
    overlay.shapes.append(Shape(ring, fill=style.INK))
    x, y = middle[best]
    overlay.write(name, float(x), float(y), "note", bold=True, align="center", halo=True)
    return True


def _free(box: Array, taken: list[Box]) -> NDArray[np.bool_]:
    """Whether boxes (k, 4) meet none of those that are taken."""
    other = np.array(taken).reshape(-1, 4)
    low = np.maximum(box[:, None, :2], other[None, :, :2])
    high = np.minimum(box[:, None, 2:], other[None, :, 2:])
    return np.asarray(~(low < high).all(axis=2).any(axis=1))


def _arrow(overlay: Overlay, start: Array, end: Array) -> None:
    point = overlay.point
    way = (end - start) / np.linalg.norm(end - start)
    side = np.array([-way[1], way[0]])
    neck = end - 6.0 * point * way
    overlay.shapes.append(Shape(np.array([start, neck]), line=style.INK, width=1.2 * point))
    head = np.array([end, neck + 2.6 * point * side, neck - 2.6 * point * side])
    overlay.shapes.append(Shape(head, fill=style.INK))


def draw_table(overlay: Overlay, roof: RoofSurface, units: UnitSystem) -> int:
    """Table of `overlay.unnamed` below the sheet: name, slope, and where it is by the plan's coordinates.

    Returns
    -------
    int
        Height of the band that it takes below the sheet; 0 where every plane has its name. [px]
    """
    if not overlay.unnamed:
        return 0
    planes, point = roof.planes, overlay.point
    number = {name: index for index, name in enumerate(planes.name)}
    shown = [number[name] for name in overlay.unnamed[:LISTED]]
    spots = [
        planes.to_world(i, shapely.get_coordinates(shapely.point_on_surface(planes.outline[i])))[0, :2]
        + shown_origin(roof.offset)
        for i in shown
    ]
    left, top = MARGIN * point, overlay.size[1] + 14.0 * point
    words = f"Planes without room for their name, with slope and place (east, north, {units.label('length')})"
    overlay.write(words, left, top, "legend", bold=True)
    if len(shown) < len(overlay.unnamed):
        more = f"and {len(overlay.unnamed) - len(shown)} more: in roof.json"
        overlay.write(more, overlay.size[0] - left, top, "note", color=style.MUTED, align="right")
    rows = -(-len(shown) // COLUMNS)
    wide = (overlay.size[0] - 2.0 * left) / COLUMNS
    meter = units.convert(1.0, "length")
    for place, (index, spot) in enumerate(zip(shown, spots, strict=True)):
        x, y = left + place // rows * wide, top + (16.0 + 12.0 * (place % rows)) * point
        east, north = (f"{meter * value:.1f}".replace("-0.0", "0.0") for value in spot)
        overlay.write(planes.name[index], x, y, "note", bold=True)
        slope = slope_words(float(planes.slope[index]), units).split(" (")[0]
        overlay.write(slope, x + 0.50 * wide, y, "note", align="right")
        overlay.write(f"{east}, {north}", x + 0.92 * wide, y, "note", color=style.MUTED, align="right")
    return round((26.0 + 12.0 * rows) * point)
