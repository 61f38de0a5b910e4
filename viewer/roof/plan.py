"""The plan of a roof on the sheet: planes, edges by kind, names, falls, coordinates, north."""

from __future__ import annotations

import itertools
import re

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.shape.planes import plan_polygon
from roofmodel.surface import FLAT_SLOPE, EdgeKind, RoofSurface
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.labels import text_width
from viewer.picture.sheet import Overlay, Shape
from viewer.picture.standing import draw_standing
from viewer.roof.curved import curved_regions, outline_of
from viewer.roof.words import slope_words

Array = NDArray[np.float64]

LIT, SHADE = "#FAF7F0", "#B7B0A2"  # stone in light and shade; never next to the colors of the edges
LIGHT = np.array([-0.5, 0.5, np.sqrt(0.5)])  # from the north-west, as maps are lit
AXIS = 24.0  # band of the coordinates [pt]
ARROW = 17.0  # [pt]
CURVED = 2.6  # line around curved regions [pt]
DASH = (7.0, 4.5)  # [pt]


def stone_rgb(normal: Array) -> Array:
    """Colors (n, 3) of planes by their normals (n, 3), lit from the north-west."""
    share = np.clip(normal @ LIGHT, 0.0, 1.0)[:, None]
    return share * style.rgb(LIT) + (1.0 - share) * style.rgb(SHADE)


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


def draw_plan(overlay: Overlay, roof: RoofSurface, view: PlanView, units: UnitSystem) -> None:
    """Draw the plan; planes without room for their name are added to `overlay.unnamed`."""
    planes = roof.planes
    color = stone_rgb(planes.normal)
    polygons = [plan_polygon(planes, index) for index in range(planes.count)]
    for index in np.argsort(planes.to_world(np.arange(planes.count), _middles(roof))[:, 2]):
        _fill(overlay, view, polygons[index], style.hexadecimal(color[index]))
    _coordinates(overlay, roof, view, units)
    draw_standing(overlay, roof, view.at)
    draw_edges(overlay, view.at(roof.edges.start), view.at(roof.edges.end), roof.edges.kind)
    draw_curved(overlay, roof, view)
    taken: list[tuple[float, float, float, float]] = []
    for index in np.argsort(-planes.plan_area, kind="stable"):
        if not _name(overlay, roof, view, units, int(index), polygons[index], taken):
            overlay.unnamed.append(planes.name[index])
    _edge_numbers(overlay, roof, view, taken)


def draw_curved(overlay: Overlay, roof: RoofSurface, view: PlanView) -> None:
    """A line around every vault, dome and cone."""
    for region in curved_regions(roof):
        for part in shapely.get_parts(outline_of(roof, region)):
            ring = view.at(shapely.get_coordinates(shapely.get_exterior_ring(part)))
            overlay.shapes.append(Shape(ring, line=style.INK, width=CURVED * overlay.point))


def _middles(roof: RoofSurface) -> Array:
    """A point of each plane, (p, 2). [m]."""
    return shapely.get_coordinates(shapely.point_on_surface(np.array(roof.planes.outline, dtype=object)))


def _fill(overlay: Overlay, view: PlanView, polygon: shapely.Polygon, color: str) -> None:
    overlay.shapes.append(Shape(view.at(shapely.get_coordinates(polygon.exterior))[:-1], fill=color))
    overlay.shapes.extend(
        Shape(view.at(shapely.get_coordinates(hole))[:-1], fill=style.PAPER) for hole in polygon.interiors
    )


def draw_edges(overlay: Overlay, start: Array, end: Array, kinds: tuple[EdgeKind, ...]) -> None:
    """Draw edges between pixels (e, 2) in the color, weight and dash of their kind."""
    order = sorted(range(len(kinds)), key=lambda index: style.EDGE_WEIGHT[kinds[index]])
    for index in order:
        draw_edge(overlay, start[index], end[index], kinds[index])


def draw_edge(overlay: Overlay, start: Array, end: Array, kind: EdgeKind) -> None:
    """Draw one edge between two pixels."""
    point, color = overlay.point, style.EDGE_COLOR[kind]
    width = 1.15 * style.EDGE_WEIGHT[kind] * point
    length = float(np.linalg.norm(end - start))
    if kind not in style.EDGE_DASHED or length < 2.0 * DASH[0] * point:
        overlay.shapes.append(Shape(np.array([start, end]), line=color, width=width))
        return
    on, off = DASH[0] * point, DASH[1] * point
    count = max(round((length + off) / (on + off)), 1)
    stretch = length / (count * (on + off) - off)
    for piece in range(count):
        low = piece * (on + off) * stretch / length
        high = low + on * stretch / length
        ends = np.array([start + low * (end - start), start + high * (end - start)])
        overlay.shapes.append(Shape(ends, line=color, width=width))


def _name(
    overlay: Overlay,
    roof: RoofSurface,
    view: PlanView,
    units: UnitSystem,
    index: int,
    polygon: shapely.Polygon,
    taken: list[tuple[float, float, float, float]],
) -> bool:
    """Name, slope and fall of a plane in its widest place; whether there was room for the name."""
    planes, point = roof.planes, overlay.point
    size, small = overlay.type_size("label"), overlay.type_size("note")
    circle = shapely.maximum_inscribed_circle(polygon, tolerance=0.5 / view.scale)
    center, rim = shapely.get_coordinates(circle)
    radius = float(np.linalg.norm(rim - center)) * view.scale
    x, y = view.at(center)
    name, slope = planes.name[index], slope_words(float(planes.slope[index]), units)
    wide = max(text_width(name, size, bold=True), text_width(slope, small))
    two = radius > 1.15 * size and radius > 0.42 * wide
    if radius < 0.5 * size or (not two and radius < 0.3 * text_width(name, size, bold=True)):
        return False
    box = (x - 0.5 * wide, y - size, x + 0.5 * wide, y + size)
    if any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken):
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
            _arrow(overlay, np.array([x, y]) + clear * down, np.array([x, y]) + tip * down)
    return True


def _arrow(overlay: Overlay, start: Array, end: Array) -> None:
    point = overlay.point
    way = (end - start) / np.linalg.norm(end - start)
    side = np.array([-way[1], way[0]])
    neck = end - 6.0 * point * way
    overlay.shapes.append(Shape(np.array([start, neck]), line=style.INK, width=1.2 * point))
    head = np.array([end, neck + 2.6 * point * side, neck - 2.6 * point * side])
    overlay.shapes.append(Shape(head, fill=style.INK))


def _edge_numbers(
    overlay: Overlay, roof: RoofSurface, view: PlanView, taken: list[tuple[float, float, float, float]]
) -> None:
    """Numbers of edges that share plane and kind, so that each can be found by its name."""
    edges, size = roof.edges, overlay.type_size("note")
    start, end = view.at(edges.start), view.at(edges.end)
    for index in np.argsort(-edges.length, kind="stable"):
        number = re.search(r" (\d+)$", edges.name[index])
        step = end[index] - start[index]
        length = float(np.linalg.norm(step))
        if number is None or length < 1.5 * size:
            continue
        left = np.array([step[1], -step[0]]) / length  # on the page: the plane lies to the left
        at = 0.5 * (start[index] + end[index]) + 0.8 * size * left
        box = (at[0] - 0.4 * size, at[1] - 0.5 * size, at[0] + 0.4 * size, at[1] + 0.5 * size)
        if any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken):
            continue
        taken.append(box)
        overlay.write(number[1], float(at[0]), float(at[1]), "note", align="center")


def _coordinates(overlay: Overlay, roof: RoofSurface, view: PlanView, units: UnitSystem) -> None:
    """Ticks with local coordinates below and left of the plan, as corrections take them."""
    point, meter = overlay.point, units.convert(1.0, "length")
    step = style.scale_top(58.0 * point / view.scale * meter) / meter
    below = view.at(view.low)[1] + 9.0 * point
    left = view.at(view.low)[0] - 9.0 * point
    for axis in (0, 1):
        first, last = np.ceil(view.low[axis] / step), np.floor(view.high[axis] / step)
        for value in np.arange(first, last + 1.0) * step:
            label = f"{value * meter:.6g}".replace("-0", "0") if value == 0.0 else f"{value * meter:.6g}"
            place = view.at(np.array([value, value]))[axis]
            tick = (
                np.array([[place, below], [place, below + 4.0 * point]])
                if axis == 0
                else np.array([[left - 4.0 * point, place], [left, place]])
            )
            overlay.shapes.append(Shape(tick, line=style.MUTED, width=0.8 * point))
            if axis == 0:
                overlay.write(label, place, below + 10.0 * point, "note", color=style.MUTED, align="center")
            else:
                overlay.write(label, left - 6.0 * point, place, "note", color=style.MUTED, align="right")
    corner = view.at(view.high)[0]
    words = f"east, north from the roof's own origin, {units.label('length')}"
    overlay.write(words, corner, below + 21.0 * point, "note", color=style.MUTED, align="right")
    for low, high in itertools.pairwise((view.at(view.low), view.at(view.high))):
        overlay.shapes.append(
            Shape(np.array([[low[0], below], [high[0], below]]), line=style.HAIRLINE, width=0.8 * point)
        )
        overlay.shapes.append(
            Shape(np.array([[left, low[1]], [left, high[1]]]), line=style.HAIRLINE, width=0.8 * point)
        )
