"""The roof plan to scale: planes, snow zones, rows, clamps, dimensions."""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.analysis import Analysis
from roofmodel.snow.cases import Zone
from roofmodel.units import SYSTEMS, UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.picture.findings import clamp_utilization, shown_case, solar_utilization
from viewer.picture.labels import text_width
from viewer.picture.standing import array_clamps, standing_boxes, standing_svg

Array = NDArray[np.float64]

WIDTH = 760.0  # of the drawing [px]
TALLEST = 560.0  # or letters come out too small where it is fitted onto a page
BORDER = 58.0  # room for dimensions around the roof [px]
FOOT = 66.0  # band for scale bar and legend [px]
DIMENSION = 20.0  # from an edge to its dimension line [px]
SHORT_EDGE = 34.0  # edges shorter than this are not dimensioned [px]


class Sheet:
    """Scale and place of the plan on the drawing; north is up."""

    def __init__(self, points: Array) -> None:
        self.low, self.high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
        span = np.maximum(self.high - self.low, 1e-6)
        self.scale = float(min((WIDTH - 2.0 * BORDER) / span[0], (TALLEST - 2.0 * BORDER) / span[1]))
        self.height = float(span[1] * self.scale + 2.0 * BORDER + FOOT)
        self.left = 0.5 * (WIDTH - float(span[0]) * self.scale)

    def at(self, xy: Array) -> Array:
        """Drawing points (..., 2) of roof points (..., 2 or 3)."""
        x = self.left + (xy[..., 0] - self.low[0]) * self.scale
        y = BORDER + (self.high[1] - xy[..., 1]) * self.scale
        return np.stack([x, y], axis=-1)


def plan_svg(analysis: Analysis) -> str:
    """Plan of the roof with the snow zones of the governing case, rows and clamps.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    str
        SVG, to scale, north up; clamps show the worst utilization over all cases.
    """
    project = analysis.project
    sheet = Sheet(project.roof.points)
    units = SYSTEMS[project.table.project.units]
    parts = [_hatch()]
    parts += _planes(analysis, sheet)
    parts += _zones(analysis, sheet)
    parts += _edges(analysis, sheet)
    parts += standing_svg(project.roof, sheet.at)
    rows, names = _rows(analysis, sheet)
    parts += rows
    written = np.concatenate([names, standing_boxes(project.roof, sheet.at)])
    parts += _plane_names(analysis, sheet, units, written)
    parts += _dimensions(analysis, sheet, units)
    parts += _foot(analysis, sheet, units)
    return svg.document(WIDTH, sheet.height, f"Roof plan of {project.table.project.name}", parts)


def _hatch() -> str:
    stroke = svg.element("path", d="M0 0V7", stroke=style.ACCENT, stroke_width=0.7, stroke_opacity=0.45)
    pattern = svg.element(
        "pattern",
        stroke,
        id="plan-hatch",
        width=7.0,
        height=7.0,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )
    return svg.element("defs", pattern)


def _plane_outlines(analysis: Analysis) -> list[Array]:
    planes = analysis.project.roof.planes
    return [
        planes.to_world(p, np.asarray(outline.exterior.coords)) for p, outline in enumerate(planes.outline)
    ]


def _planes(analysis: Analysis, sheet: Sheet) -> list[str]:
    return [
        svg.element("path", d=svg.path(sheet.at(ring)[:-1], closed=True), fill=style.PAPER)
        for ring in _plane_outlines(analysis)
    ]


def _zones(analysis: Analysis, sheet: Sheet) -> list[str]:
    """Zones of the shown case: tinted by pressure, hatched where they lie on top of another zone."""
    case = analysis.snow.cases[shown_case(analysis)]
    mean = np.array([_mean_pressure(zone) for zone in case.zones])
    top = float(np.maximum(mean, 0.0).max(initial=0.0)) or 1.0
    parts, seen = [], set()
    for zone, pressure in zip(case.zones, mean, strict=True):
        data = "".join(_rings(zone, sheet))
        color = style.hexadecimal(style.snow_rgb(0.75 * pressure / top))
        parts.append(svg.element("path", d=data, fill=color, fill_opacity=0.75, fill_rule="evenodd"))
        if zone.plane in seen:
            parts.append(
                svg.element(
                    "path",
                    d=data,
                    fill="url(#plan-hatch)",
                    fill_rule="evenodd",
                    stroke=style.ACCENT,
                    stroke_width=0.8,
                    stroke_dasharray="4 3",
                )
            )
        seen.add(zone.plane)
    return parts


def _mean_pressure(zone: Zone) -> float:
    center = shapely.get_coordinates(shapely.centroid(zone.polygon))
    return float(zone.pressure[0] + center[0] @ zone.pressure[1:]) if len(center) else 0.0


def _rings(zone: Zone, sheet: Sheet) -> list[str]:
    rings = shapely.get_rings(shapely.get_parts(zone.polygon))
    return [svg.path(sheet.at(shapely.get_coordinates(ring))[:-1], closed=True) for ring in rings]


def _edges(analysis: Analysis, sheet: Sheet) -> list[str]:
    edges = analysis.project.roof.edges
    ends = sheet.at(np.stack([edges.start, edges.end], axis=1))
    return [
        svg.line(line, style.INK, 0.75 * style.EDGE_WEIGHT[kind])
        for line, kind in zip(ends, edges.kind, strict=True)
    ]


def _rows(analysis: Analysis, sheet: Sheet) -> tuple[list[str], Array]:
    """Rails, clamp marks and row names, and the boxes (k, 4) of the names. [px]."""
    layout, planes = analysis.project.layout, analysis.project.roof.planes
    ends = np.stack([layout.row_start, layout.row_end], axis=1).reshape(-1, 2)
    rails = sheet.at(planes.to_world(np.repeat(layout.row_plane, 2), ends)).reshape(-1, 2, 2)
    parts = [svg.line(rail, style.INK, 1.6) for rail in rails]
    use = clamp_utilization(analysis)
    points = sheet.at(planes.to_world(layout.row_plane[layout.clamp_row], layout.clamp_uv))
    gaps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    radius = float(np.clip(0.42 * np.median(gaps), 1.2, 4.2)) if len(gaps) else 4.2
    solar = sheet.at(array_clamps(analysis.project.roof))
    parts += clamp_marks(solar, solar_utilization(analysis), 0.8 * radius)
    parts += clamp_marks(points, use, radius)
    words, boxes = _row_names(layout.row_name, rails, points, radius)
    return parts + words, boxes


def _row_names(names: tuple[str, ...], rails: Array, clamps: Array, radius: float) -> tuple[list[str], Array]:
    """Names beside the rails, each at the place along its rail that covers least, and their boxes."""
    size = 10.5
    taken = [np.array([[-1.0, -1.0, 0.0, 0.0]])]
    parts: list[str] = []
    for name, rail in zip(names, rails, strict=True):
        way = (rail[1] - rail[0]) / max(float(np.linalg.norm(rail[1] - rail[0])), 1e-9)
        half = np.array([0.31 * size * len(name), 0.5 * size])
        side = np.array([-way[1], way[0]])
        off = radius + 3.0 + abs(side[0]) * half[0] + abs(side[1]) * half[1]
        inset = abs(way[0]) * half[0] + abs(way[1]) * half[1] + 4.0
        along = [rail[0] + inset * way, rail[1] - inset * way, rail.mean(axis=0)]
        middle = np.array([place + sign * off * side for place in along for sign in (-1.0, 1.0)])
        boxes = np.concatenate([middle - half, middle + half], axis=1)
        others = np.concatenate(taken)
        apart = (
            (boxes[:, None, 0] > others[:, 2])
            | (boxes[:, None, 2] < others[:, 0])
            | (boxes[:, None, 1] > others[:, 3])
            | (boxes[:, None, 3] < others[:, 1])
        )
        within = (clamps > boxes[:, None, :2] - radius) & (clamps < boxes[:, None, 2:] + radius)
        best = int(np.argmin(1000.0 * (~apart).sum(axis=1) + within.all(axis=2).sum(axis=1)))
        taken.append(boxes[best : best + 1])
        x, y = middle[best]
        parts.append(svg.text(name, x, y + 0.36 * size, size, anchor="middle", bold=True, halo=True))
    return parts, np.concatenate(taken[1:]) if len(taken) > 1 else np.zeros((0, 4))


def clamp_marks(points: Array, use: Array, radius: float) -> list[str]:
    """Marks of clamps (c, 2) by utilization (c,): one path for each kind and color, the worst on top."""
    step = np.where(np.isnan(use), -1.0, np.minimum(np.ceil(use * 10.0) / 10.0, style.UTILIZATION_TOP))
    parts: list[str] = []
    for level in np.unique(step):
        at = points[step == level]
        if level < 0.0:
            continue
        color = style.utilization_color(float(level) - 1e-9)
        if level > 1.0:
            reach = 1.35 * radius
            shape = f"m0-{svg.number(reach)}" + "".join(
                f"l{svg.number(a * reach)} {svg.number(b * reach)}" for a, b in ((1, 1), (-1, 1), (-1, -1))
            )
            data = "".join(f"M{svg.number(x)} {svg.number(y)}{shape}z" for x, y in at)
            parts.append(svg.element("path", d=data, fill=color, stroke=style.INK, stroke_width=0.9))
            continue
        # Round ends make the marks; PDF typesetters leave out strokes without length.
        data = "".join(f"M{svg.number(x - 0.01)} {svg.number(y)}h0.02" for x, y in at)
        for shade, width in ((style.INK, 2.0 * radius + 1.0), (color, 2.0 * radius - 0.6)):
            parts.append(
                svg.element("path", d=data, stroke=shade, stroke_width=width, stroke_linecap="round")
            )
    for x, y in points[np.isnan(use)]:
        reach = 1.15 * radius
        parts.append(
            svg.element(
                "rect", x=x - reach, y=y - reach, width=2 * reach, height=2 * reach, fill=style.UNVERIFIED
            )
        )
        size = 2.0 * reach
        parts.append(svg.text("?", x, y + 0.36 * size, size, color=style.PAPER, anchor="middle", bold=True))
    return parts


def _plane_names(analysis: Analysis, sheet: Sheet, units: UnitSystem, names: Array) -> list[str]:
    """Name and slope in the widest place of each plane, with an arrow down the slope.

    `names` are boxes (k, 4) of what is written or stands there already. [px]
    """
    planes = analysis.project.roof.planes
    layout = analysis.project.layout
    rails = shapely.multilinestrings(
        [shapely.linestrings(pair) for pair in _rail_ends(analysis, sheet)] if len(layout.row_name) else []
    )
    taken = shapely.union_all([rails.buffer(7.0), *(shapely.box(*box) for box in names)])
    parts: list[str] = []
    for plane, ring in enumerate(_plane_outlines(analysis)):
        free = shapely.Polygon(sheet.at(ring)).buffer(0.0).difference(taken)
        pieces = shapely.get_parts(free)
        place = _room_for_name(pieces, planes.name[plane])
        if place is None:
            continue
        (center, radius), size, sloped = place
        slope = f"{units.convert(float(planes.slope[plane]), 'angle'):.1f}{units.label('angle')}"
        x, y = center
        down = np.array([np.sin(planes.azimuth[plane]), -np.cos(planes.azimuth[plane])])
        flat = planes.slope[plane] < np.radians(0.5)
        if not flat and radius > 24.0:
            # The arrow starts beyond the two lines of text, which are wider than high.
            clear = 20.0 + 10.0 * abs(down[0])
            reach = min(radius - 4.0, clear + 26.0)
            if reach > clear + 4.0:
                parts += arrow(center + down * (clear - 5.0), center + down * reach)
        up = -2.0 if sloped else 0.36 * size
        parts.append(svg.text(planes.name[plane], x, y + up, size, anchor="middle", bold=True, halo=True))
        if sloped:
            words = "flat" if flat else slope
            parts.append(svg.text(words, x, y + 11.0, 10.5, anchor="middle", halo=True))
    return parts


def _room_for_name(pieces: NDArray[np.object_], name: str) -> tuple[tuple[Array, float], float, bool] | None:
    """Place and radius, letter size, and whether the slope goes below, in the roomiest of pieces; or None.

    A name with its slope first, then alone, then in small letters: none may touch a row or an edge.
    """
    for size, sloped in ((13.0, True), (11.0, False), (8.5, False)):
        half = np.array(
            [0.5 * max(text_width(name, size, bold=True), 26.0 * sloped), 15.0 if sloped else 0.5 * size]
        )
        for piece in sorted(pieces, key=lambda one: -one.area):
            if piece.geom_type != "Polygon" or piece.area < 4.0 * half.prod():
                continue
            center, radius = _name_place(piece)
            if piece.contains(shapely.box(*(center - half), *(center + half))):
                return (center, radius), size, sloped
    return None


def _name_place(piece: shapely.Polygon) -> tuple[Array, float]:
    """Middle of the polygon if about as roomy as the roomiest place, else that place; and its radius."""
    circle = shapely.maximum_inscribed_circle(piece, tolerance=1.0)
    center, edge = shapely.get_coordinates(circle)
    radius = float(np.linalg.norm(edge - center))
    middle = shapely.centroid(piece)
    clear = float(shapely.distance(middle, piece.boundary))
    if piece.contains(middle) and clear > 0.7 * radius:
        return shapely.get_coordinates(middle)[0], clear
    return center, radius


def _rail_ends(analysis: Analysis, sheet: Sheet) -> Array:
    layout, planes = analysis.project.layout, analysis.project.roof.planes
    ends = np.stack([layout.row_start, layout.row_end], axis=1).reshape(-1, 2)
    return sheet.at(planes.to_world(np.repeat(layout.row_plane, 2), ends)).reshape(-1, 2, 2)


def arrow(start: Array, end: Array, width: float = 1.4) -> list[str]:
    """Arrow on a drawing."""
    way = (end - start) / np.linalg.norm(end - start)
    side = np.array([-way[1], way[0]])
    head = np.stack([end, end - 8.0 * way + 3.2 * side, end - 8.0 * way - 3.2 * side])
    return [
        svg.line(np.stack([start, end - 6.0 * way]), style.INK, width),
        svg.element("path", d=svg.path(head, closed=True), fill=style.INK),
    ]


def _dimensions(analysis: Analysis, sheet: Sheet, units: UnitSystem) -> list[str]:
    """Lengths on plan of the outer edges, outside the roof."""
    outlines = [
        shapely.Polygon(ring[:, :2]).buffer(1e-3, join_style="mitre") for ring in _plane_outlines(analysis)
    ]
    roof = shapely.simplify(shapely.union_all(outlines).buffer(-1e-3, join_style="mitre"), 0.01)
    parts: list[str] = []
    found: list[tuple[Array, Array, str]] = []
    for part in shapely.get_parts(roof):
        ring = shapely.get_coordinates(shapely.orient_polygons(part).exterior)
        if len(ring) > 17:  # a rounded outline: its overall size says more
            low, high = ring.min(axis=0), ring.max(axis=0)
            ring = np.array([low, [high[0], low[1]], high, [low[0], high[1]], low])
        for start, end in itertools.pairwise(ring):
            length = float(np.linalg.norm(end - start))
            if length * sheet.scale > SHORT_EDGE:
                found.append((sheet.at(start), sheet.at(end), units.text(length, "length")))
    lines: list[BaseGeometry] = [shapely.LineString(_beyond(start, end)) for start, end, _ in found]
    words: list[BaseGeometry] = []
    for k, one in enumerate(found):
        drawn, place = _dimension(*one, [*lines[:k], *lines[k + 1 :], *words])
        parts += drawn
        words.append(place)
    return parts


def _beyond(start: Array, end: Array) -> Array:
    """Ends (2, 2) of the dimension line of start -> end. [px]."""
    way = (end - start) / np.linalg.norm(end - start)
    return np.stack([start, end]) + DIMENSION * np.array([-way[1], way[0]])  # y runs down the page


def _dimension(
    start: Array, end: Array, words: str, taken: list[BaseGeometry]
) -> tuple[list[str], BaseGeometry]:
    """A dimension line to the right of start -> end, which is outside the roof, and where its words stand.

    They leave the middle where others stand there.
    """
    way = (end - start) / np.linalg.norm(end - start)
    out = np.array([-way[1], way[0]])  # y runs down the page
    a, b = _beyond(start, end)
    parts = [
        svg.line(np.stack([start + 6.0 * out, a + 4.0 * out]), style.FAINT, 0.6),
        svg.line(np.stack([end + 6.0 * out, b + 4.0 * out]), style.FAINT, 0.6),
        svg.line(np.stack([a, b]), style.MUTED, 0.8),
    ]
    tick = (way + out) * 3.0
    parts += [svg.line(np.stack([p - tick, p + tick]), style.INK, 1.1) for p in (a, b)]
    angle = float(np.degrees(np.arctan2(way[1], way[0])))
    angle = angle - 180.0 if angle > 90.0 else angle + 180.0 if angle <= -90.0 else angle
    half = 0.5 * text_width(words, 10.0) + 1.0
    places = [a + part * (b - a) + 8.0 * out for part in (0.5, 0.35, 0.65, 0.2, 0.8)]
    boxes = [shapely.LineString([at - half * way, at + half * way]).buffer(6.0) for at in places]
    free = [k for k, box in enumerate(boxes) if not any(box.intersects(other) for other in taken)]
    k = free[0] if free else 0
    x, y = places[k]
    turn = f"translate({svg.number(x)} {svg.number(y)}) rotate({svg.number(angle)})"
    return [*parts, svg.text(words, 0.0, 3.6, 10.0, anchor="middle", halo=True, transform=turn)], boxes[k]


def _bar(sheet: Sheet, units: UnitSystem) -> tuple[float, float]:
    """Round length in the user's unit, and on the drawing [px]."""
    meter = units.convert(1.0, "length")
    length = style.scale_top(90.0 / sheet.scale * meter)
    return length, length / meter * sheet.scale


def scale_bar(sheet: Sheet, units: UnitSystem) -> list[str]:
    """Bar of a round length at the foot of a drawing."""
    y = sheet.height - 34.0
    length, size = _bar(sheet, units)
    x1 = BORDER + size
    bar = np.array([[BORDER, y - 4.0], [BORDER, y], [x1, y], [x1, y - 4.0]])
    label = f"{length:g} {units.label('length')}"
    return [
        svg.line(bar, style.INK, 1.3),
        svg.text(label, 0.5 * (BORDER + x1), y - 6.0, 10.0, anchor="middle", bold=True),
    ]


def _foot(analysis: Analysis, sheet: Sheet, units: UnitSystem) -> list[str]:
    """Scale bar, meaning of the marks, north."""
    y = sheet.height - 34.0
    parts = scale_bar(sheet, units)
    x = max(BORDER + _bar(sheet, units)[1] + 40.0, 230.0)
    for use, words in ((0.6, "up to its limit"), (1.3, "above it"), (float("nan"), "not verified")):
        parts += clamp_marks(np.array([[x, y - 4.0]]), np.array([use]), 4.2)
        parts.append(svg.text(words, x + 9.0, y, 10.0))
        x += 32.0 + 5.0 * len(words)
    case = analysis.snow.cases[shown_case(analysis)]
    stacked = len({zone.plane for zone in case.zones}) < len(case.zones)
    words = f"Clamps: worst of all cases. Snow: {case.name}{'; hatched: added on top' if stacked else ''}."
    parts.append(svg.text(words, BORDER, y + 20.0, 10.0, color=style.MUTED))
    north = np.array([WIDTH - BORDER, y + 10.0])
    parts += arrow(north, north - np.array([0.0, 30.0]), 1.6)
    parts.append(svg.text("N", north[0] + 7.0, y - 12.0, 11.0, bold=True))
    return parts
