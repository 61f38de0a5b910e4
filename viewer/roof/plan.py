"""The plan of a roof on the sheet: planes, edges by kind, names, falls, coordinates, north."""

from __future__ import annotations

import itertools
import re

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.shape.planes import plan_polygon
from roofmodel.surface import EdgeKind, RoofSurface, shown_origin
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.labels import text_width
from viewer.picture.sheet import MARGIN, Overlay, Shape
from viewer.picture.standing import draw_standing
from viewer.roof.curved import curved_regions, outline_of
from viewer.roof.names import Box, PlanView, name_planes

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LIT, SHADE = "#FAF7F0", "#B7B0A2"  # stone in light and shade; never next to the colors of the edges
LIGHT = np.array([-0.5, 0.5, np.sqrt(0.5)])  # from the north-west, as maps are lit
AXIS = 24.0  # band of the coordinates [pt]
CURVED = 2.6  # line around curved regions [pt]
DASH = (7.0, 4.5)  # [pt]
UNDER = 0.5  # line of an edge below another plane [pt]
RIM, ABOVE = 0.02, 0.05  # from the rim of a plane, and under it, from where it hides an edge [m]


def stone_rgb(normal: Array) -> Array:
    """Colors (n, 3) of planes by their normals (n, 3), lit from the north-west."""
    share = np.clip(normal @ LIGHT, 0.0, 1.0)[:, None]
    return share * style.rgb(LIT) + (1.0 - share) * style.rgb(SHADE)


def draw_plan(overlay: Overlay, roof: RoofSurface, view: PlanView, units: UnitSystem) -> bool:
    """Draw the plan; planes whose name found no place are added to `overlay.unnamed`.

    True where some edge runs below another plane and so is a thin line.
    """
    planes = roof.planes
    color = stone_rgb(planes.normal)
    polygons = [plan_polygon(planes, index) for index in range(planes.count)]
    for index in np.argsort(planes.to_world(np.arange(planes.count), _middles(roof))[:, 2]):
        _fill(overlay, view, polygons[index], style.hexadecimal(color[index]))
    _coordinates(overlay, roof, view, units)
    draw_standing(overlay, roof, view.at)
    under, index = hidden_parts(roof, polygons)
    for start, end in under:
        overlay.shapes.append(
            Shape(view.at(np.stack([start, end])), line=style.MUTED, width=UNDER * overlay.point)
        )
    start, end, kind = _seen_edges(roof, under, index)
    draw_edges(overlay, view.at(start), view.at(end), kind)
    draw_curved(overlay, roof, view)
    taken = name_planes(overlay, roof, view, units, polygons)
    _edge_numbers(overlay, roof, view, taken)
    return len(under) > 0


def hidden_parts(roof: RoofSurface, polygons: list[shapely.Polygon]) -> tuple[Array, IntArray]:
    """Parts of edges that other planes cover from above, but for those of steps, where a wall stands.

    Parameters
    ----------
    roof : RoofSurface
    polygons : list of shapely Polygon, (p,)
        Planes on plan. [m]

    Returns
    -------
    parts : (k, 2, 2) float
        On plan, in the direction of their edges. [m]
    edge : (k,) int
    """
    edges, planes = roof.edges, roof.planes
    lines = shapely.linestrings(np.stack([edges.start[:, :2], edges.end[:, :2]], axis=1))
    whole = np.array(polygons, dtype=object)
    edge, plane = shapely.STRtree(shapely.buffer(whole, -RIM)).query(lines, predicate="intersects")
    other = (edges.plane[edge] != plane[:, None]).all(axis=1)
    lie = np.array([kind is not EdgeKind.STEP for kind in edges.kind], dtype=bool)
    edge, plane = edge[other & lie[edge]], plane[other & lie[edge]]
    cut = shapely.intersection(np.asarray(lines)[edge], whole[plane])
    part, pair = shapely.get_parts(cut, return_index=True)
    long = shapely.length(part) > RIM
    part, pair = part[long], pair[long]
    ends = np.stack([shapely.get_coordinates(shapely.get_point(part, k)) for k in (0, -1)], axis=1)
    middle, of, over = ends.mean(axis=1), edge[pair], plane[pair]
    way = (edges.end - edges.start)[of]
    share = np.sum((middle - edges.start[of, :2]) * way[:, :2], axis=1) / np.sum(way[:, :2] ** 2, axis=1)
    own = edges.start[of, 2] + share * way[:, 2]
    normal = planes.normal[over]
    high = planes.origin[over, 2] - (
        np.sum((middle - planes.origin[over, :2]) * normal[:, :2], axis=1) / normal[:, 2]
    )
    below = high > own + ABOVE
    ends, of = ends[below], of[below]
    turned = np.sum((ends[:, 1] - ends[:, 0]) * (edges.end - edges.start)[of, :2], axis=1) < 0.0
    ends[turned] = ends[turned, ::-1]
    return ends, of


def _seen_edges(
    roof: RoofSurface, under: Array, index: IntArray
) -> tuple[Array, Array, tuple[EdgeKind, ...]]:
    """Edges without their hidden parts, on plan: starts, ends (k, 2) [m] and kinds."""
    edges, parts, kinds = roof.edges, [np.zeros((0, 2, 2))], list[EdgeKind]()
    for edge, kind in enumerate(edges.kind):
        ends = np.stack([edges.start[edge, :2], edges.end[edge, :2]])
        covered = under[index == edge]
        if not len(covered):
            parts.append(ends[None])
            kinds.append(kind)
            continue
        way = (ends[1] - ends[0]) / max(float(np.linalg.norm(ends[1] - ends[0])), 1e-9)
        low, high = ((covered[:, k] - ends[0]) @ way for k in (0, 1))
        order = np.argsort(low)
        low, high = low[order], np.maximum.accumulate(high[order])
        free = np.column_stack([np.append(0.0, high), np.append(low, (ends[1] - ends[0]) @ way)])
        free = free[np.ptp(free, axis=1) * (free[:, 1] > free[:, 0]) > 2.0 * RIM]
        parts.append(ends[0] + free[..., None] * way)
        kinds += [kind] * len(free)
    found = np.concatenate(parts)
    return found[:, 0], found[:, 1], tuple(kinds)


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


def _edge_numbers(overlay: Overlay, roof: RoofSurface, view: PlanView, taken: list[Box]) -> None:
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


def _origin(roof: RoofSurface, meter: float) -> str:
    """Where the coordinates of the plan count from."""
    if not (roof.offset[:2] - shown_origin(roof.offset)).any():
        return " as the file has them"
    east, north = (roof.offset[:2] * meter).tolist()
    return f" from the roof's own origin, on the map at {east:,.0f}, {north:,.0f}"


def _coordinates(overlay: Overlay, roof: RoofSurface, view: PlanView, units: UnitSystem) -> None:
    """Ticks below and left of the plan, with coordinates as the project file takes them."""
    point, meter = overlay.point, units.convert(1.0, "length")
    step = style.scale_top(58.0 * point / view.scale * meter) / meter
    below = view.at(view.low)[1] + 9.0 * point
    left = view.at(view.low)[0] - 9.0 * point
    shift = shown_origin(roof.offset)
    for axis in (0, 1):
        low, high = view.low[axis] + shift[axis], view.high[axis] + shift[axis]
        first, last = np.ceil(low / step), np.floor(high / step)
        for value in np.arange(first, last + 1.0) * step:
            label = f"{value * meter:.6g}".replace("-0", "0") if value == 0.0 else f"{value * meter:.6g}"
            place = view.at(np.array([value, value]) - shift)[axis]
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
    words = f"east, north{_origin(roof, meter)}, {units.label('length')}"
    # Below a narrow plan they start at the margin.
    until = max(view.at(view.high)[0], MARGIN * point + text_width(words, overlay.type_size("note")))
    overlay.write(words, until, below + 21.0 * point, "note", color=style.MUTED, align="right")
    for low, high in itertools.pairwise((view.at(view.low), view.at(view.high))):
        overlay.shapes.append(
            Shape(np.array([[low[0], below], [high[0], below]]), line=style.HAIRLINE, width=0.8 * point)
        )
        overlay.shapes.append(
            Shape(np.array([[left, low[1]], [left, high[1]]]), line=style.HAIRLINE, width=0.8 * point)
        )
