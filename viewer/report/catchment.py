"""Where the snow of a hand check lies: its areas with their corners in a table, and drawn to scale."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.analysis import Analysis
from roofmodel.snow.cases import linear_integral
from roofmodel.surface import shown_origin
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.picture.labels import text_width
from viewer.quantities import quantity, signed
from viewer.report.tables import Table
from viewer.report.working import Working
from viewer.report.working_parts import Feeder

Array = NDArray[np.float64]

CORNERS = 16  # an area with more is told by its extent
LETTERS = "abcdefghijklmnopqrstuvwxyz"
NEAR = 0.01  # corners nearer to each other are one on paper [m]
SLIVER = 1e-3  # part of an area below which a zone is not told [-]
MEANS = 2e-3  # so much the means over strips may differ from the zones and nobody need be told [-]
WIDTH, TALL, SIDE, TYPE = 760.0, 330.0, 70.0, 10.5
HEAD, FOOT = 54.0, 30.0
FILLS = ("#F2C14E", "#7FB069", "#B07AA1", "#E08E45")  # of one area after the other


@dataclass(frozen=True)
class Piece:
    """One area: its name, the step's symbol, whose snow, rings of corners (k, 2) on plan, each. [m]."""

    name: str
    symbol: str
    feeder: Feeder
    corners: tuple[Array, ...]


def pieces(working: Working) -> tuple[Piece, ...]:
    """Areas of all steps that add up what planes send, in the order of the steps."""
    found = []
    for step in working.steps:
        for feeder in step.feeders:
            rings = [
                shapely.get_coordinates(shapely.simplify(part.exterior, NEAR))[:-1]
                for part in shapely.get_parts(feeder.region)
                if part.geom_type == "Polygon" and part.area > SLIVER * feeder.region.area
            ]
            found.append(Piece(f"A{len(found) + 1}", step.symbol, feeder, tuple(rings)))
    return tuple(found)


def with_area_names(working: Working | None) -> Working | None:
    """The working with its areas named as in table and drawing, where steps use them."""
    if working is None:
        return None
    steps, count = [], 0
    for step in working.steps:
        names = [f"A{count + k}" for k in range(1, len(step.feeders) + 1)]
        count += len(names)
        if names:
            told = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
            words = f"{told} of the drawing and its table above, in this order."
            steps.append(replace(step, note=f"{words} {step.note}".strip()))
        else:
            steps.append(step)
    return replace(working, steps=tuple(steps))


def catchment_table(analysis: Analysis, working: Working | None, units: UnitSystem) -> Table | None:
    """Corners, areas and pressures of what comes from beside the clamp's own strip."""
    found = () if working is None else pieces(working)
    if working is None or not found:
        return None
    planes, origin = analysis.project.roof.planes, shown_origin(analysis.project.roof.offset)
    case = [one.name for one in analysis.snow.cases].index(working.case)
    friction = analysis.project.slide.friction
    rows = []
    for piece in found:
        one = piece.feeder
        rows.append(
            (
                piece.name,
                piece.symbol,
                planes.name[one.plane],
                quantity(one.area, "area", units, 4),
                quantity(one.pressure, "pressure", units, 4),
                quantity(one.slope, "angle", units, 4),
                quantity(one.force(friction), "force", units, 4),
                f"{_corner_words(piece, origin, units)}. {_snow_words(analysis, case, one, units)}",
            )
        )
    heads = (
        "Area",
        "In step",
        "Plane",
        "A on plan",
        "p, mean",
        "θ",
        "p A (sin θ − μ cos θ)" if friction > 0.0 else "p A sin θ",
        "Where",
    )
    axes = units.label("length")
    note = (
        f"Corners are (east, north) in {axes} on plan, as on the axes of the drawing and in the project "
        "file. An area is half the size of the sum of x y' − x' y over its sides, or that of its triangles. "
        "A zone's pressure is linear: its mean over an area is its pressure at the area's center of gravity."
    )
    caption = "Where the snow lies that comes from beside the strip"
    return Table(caption, heads, "tstnnnnt", tuple(rows), note=note, plain_note=True)


def _corner_words(piece: Piece, origin: Array, units: UnitSystem) -> str:
    one = piece.feeder
    lists = []
    for number, ring in enumerate(piece.corners):
        if len(ring) > CORNERS:
            continue
        places = units.convert(1.0, "length") * (ring + origin)
        prime = "′" * number
        lists.append(
            " ".join(
                f"{LETTERS[k]}{prime} ({x:.3f}, {y:.3f})" for k, (x, y) in enumerate(places.tolist())
            ).replace("-", "−")
        )
    if piece.corners and len(lists) == len(piece.corners):
        words = "corners " + ", and ".join(lists)
    elif not one.region.is_empty:
        x0, y0, x1, y1 = (units.convert(v, "length") for v in one.region.bounds + np.tile(origin, 2))
        words = f"inside {x0:.2f} to {x1:.2f} by {y0:.2f} to {y1:.2f}, as drawn"
    else:
        words = "too thin to draw"
    full = float(one.region.area)
    if full > 0.0 and abs(full - one.area) > 5e-3 * one.area:
        size = quantity(full, "area", units, 4)
        words += f"; these hold {size}, of which {100.0 * one.area / full:.1f} % comes here by the flow"
    if one.part < 1.0 - 1e-6:
        words += f"; {one.part:.4f} of its thrust arrives"
    return words


def _snow_words(analysis: Analysis, case: int, one: Feeder, units: UnitSystem) -> str:
    """Zones of the case on an area: mean pressure on what part of it, so that p follows."""
    parts, total = [], 0.0
    for zone in analysis.snow.cases[case].zones:
        if zone.plane != one.plane or one.region.is_empty:
            continue
        shape: BaseGeometry = shapely.intersection(zone.polygon, one.region)
        area = float(shape.area)
        if area < SLIVER * one.region.area:
            continue
        mean = float(linear_integral(np.array([shape], dtype=object), zone.pressure)[0]) / area
        total += mean * area
        words = f"{zone.name} {quantity(mean, 'pressure', units, 4)}"
        center = shape.centroid
        if np.ptp(zone.pressure @ _homogeneous(shape)) > 1e-6 * abs(mean):
            x, y = (
                units.convert(v, "length")
                for v in (
                    np.array([center.x, center.y]) + shown_origin(analysis.project.roof.offset)
                ).tolist()
            )
            words += f" (at its center {x:.2f}, {y:.2f})"
        if area < (1.0 - SLIVER) * one.region.area:
            words += f" on {quantity(area, 'area', units, 4)}"
        parts.append(words)
    if not parts:
        return ""
    mean = total / float(one.region.area)
    words = "Snow: " + " + ".join(parts)
    if abs(mean - one.pressure) > MEANS * one.pressure:
        words += (
            f"; together {quantity(mean, 'pressure', units, 4)} over these corners, where the flow, with one "
            "mean for each cell of its mesh, has p"
        )
    return words


def _homogeneous(shape: BaseGeometry) -> Array:
    xy = shapely.get_coordinates(shape)
    return np.stack([np.ones(len(xy)), xy[:, 0], xy[:, 1]])


@dataclass(frozen=True)
class _View:
    """Place of plan points on the drawing: north up."""

    low: Array
    high: Array
    scale: float
    left: float

    def at(self, xy: Array) -> Array:
        x = self.left + self.scale * (xy[..., 0] - self.low[0])
        return np.stack([x, HEAD + self.scale * (self.high[1] - xy[..., 1])], axis=-1)

    @property
    def height(self) -> float:
        return float(self.scale * (self.high[1] - self.low[1]))

    @property
    def width(self) -> float:
        return float(self.scale * (self.high[0] - self.low[0]))


def catchment_svg(analysis: Analysis, working: Working | None, units: UnitSystem) -> str:
    """The clamp's own strip and every area from beside it on plan, corners named, with axes; "" for none."""
    found = () if working is None else pieces(working)
    if working is None or not found:
        return ""
    layout, planes = analysis.project.layout, analysis.project.roof.planes
    clamp = layout.clamp_name.index(working.clamp)
    row = int(layout.clamp_row[clamp])
    rail = _on_plan(analysis, row, np.stack([layout.row_start[row], layout.row_end[row]]))
    place = _on_plan(analysis, row, layout.clamp_uv[[clamp]])[0]
    view = _view(working, found, rail, place)
    parts = _axes(analysis, view, units)
    frame = shapely.box(*view.low, *view.high)
    for plane, outline in enumerate(planes.outline):
        ring = planes.to_world(plane, np.asarray(outline.exterior.coords))[:, :2]
        shown = shapely.intersection(shapely.LineString(ring), frame)
        parts += [
            svg.line(view.at(shapely.get_coordinates(part)), style.INK, 1.0)
            for part in shapely.get_parts(shown)
            if part.geom_type == "LineString"
        ]
        parts += _plane_name(
            planes.name[plane], shapely.intersection(shapely.Polygon(ring).buffer(0), frame), view
        )
    parts.append(_area(shapely.get_parts(working.strip), view, style.SNOW_ANCHORS[3], 0.8))
    for k, piece in enumerate(found):
        region = shapely.get_parts(piece.feeder.region)
        parts.append(_area(region, view, FILLS[k % len(FILLS)], 0.55))
    for other in range(len(layout.row_name)):
        ends = _on_plan(analysis, other, np.stack([layout.row_start[other], layout.row_end[other]]))
        shown = shapely.intersection(shapely.LineString(ends), frame)
        if shown.length > 0.0:
            parts.append(
                svg.line(view.at(shapely.get_coordinates(shown)), style.INK, 2.6 if other == row else 1.6)
            )
            on = _on_plan(analysis, other, layout.clamp_uv[layout.clamp_row == other])
            inside = on[shapely.contains_xy(frame, on)]
            parts += [
                svg.element("circle", cx=x, cy=y, r=2.6, fill=style.PAPER, stroke=style.INK, stroke_width=1.1)
                for x, y in view.at(inside).tolist()
            ]
            parts += _row_name(
                layout.row_name[other], shapely.get_coordinates(shown), view, least=other != row
            )
    x, y = view.at(place).tolist()
    parts.append(svg.element("circle", cx=x, cy=y, r=6.5, fill="none", stroke=style.INK, stroke_width=1.8))
    parts.append(svg.text(working.clamp, x, y + 20.0, TYPE, anchor="middle", bold=True, halo=True))
    for piece in found:
        parts += _corner_marks(piece, view)
    title = f"Snow on {working.clamp}, on plan, north up"
    key = [(style.SNOW_ANCHORS[3], "own strip, straight above its stretch of rail")]
    key += [
        (FILLS[k % len(FILLS)], f"{p.name}: {planes.name[p.feeder.plane]}, step {p.symbol.replace('_', '')}")
        for k, p in enumerate(found)
    ]
    head = [svg.text(title, 20.0, 14.0, 13.0, bold=True)]
    at = 20.0
    for color, words in key:
        if at + text_width(words, TYPE) + 24.0 > WIDTH:
            break
        head.append(
            svg.element(
                "rect", x=at, y=22.0, width=11.0, height=11.0, fill=color, stroke=style.INK, stroke_width=0.6
            )
        )
        head.append(svg.text(words, at + 15.0, 31.5, TYPE))
        at += 1.12 * text_width(words, TYPE) + 30.0
    return svg.document(WIDTH, HEAD + view.height + FOOT + 6.0, title, [*parts, *head])


def _on_plan(analysis: Analysis, row: int, uv: Array) -> Array:
    return analysis.project.roof.planes.to_world(int(analysis.project.layout.row_plane[row]), uv)[:, :2]


def _view(working: Working, found: tuple[Piece, ...], rail: Array, place: Array) -> _View:
    """All areas, the strip, and of the rail what lies within reach of them."""
    shapes = [working.strip, *(piece.feeder.region for piece in found), shapely.Point(place)]
    low, high = np.array(shapely.total_bounds(np.array(shapes, dtype=object))).reshape(2, 2)
    reach = 0.35 * float((high - low).max()) + 0.3
    line = shapely.intersection(shapely.LineString(rail), shapely.box(*(low - reach), *(high + reach)))
    if line.length > 0.0:
        points = shapely.get_coordinates(line)
        low, high = np.minimum(low, points.min(axis=0)), np.maximum(high, points.max(axis=0))
    margin = 0.07 * float((high - low).max()) + 0.05
    low, high = low - margin, high + margin
    scale = float(min((WIDTH - 2.0 * SIDE) / (high - low)[0], TALL / (high - low)[1]))
    return _View(low, high, scale, 0.5 * (WIDTH - scale * float((high - low)[0])))


def _axes(analysis: Analysis, view: _View, units: UnitSystem) -> list[str]:
    """Frame with east below and north at the left, at round numbers."""
    origin, per = shown_origin(analysis.project.roof.offset), units.convert(1.0, "length")
    a, b = view.at(view.low), view.at(view.high)
    box = np.array([[a[0], a[1]], [b[0], a[1]], [b[0], b[1]], [a[0], b[1]]])
    parts = [
        svg.element(
            "path", d=svg.path(box, closed=True), fill=style.PAPER, stroke=style.FAINT, stroke_width=0.8
        )
    ]
    span = per * float((view.high - view.low).max())
    step = next(s for p in range(-2, 5) for s in (10.0**p, 2.0 * 10.0**p, 5.0 * 10.0**p) if span / s <= 9.0)
    places = max(0, -int(np.floor(np.log10(step) + 1e-9)))
    for axis in (0, 1):
        low, high = (per * float(v[axis] + origin[axis]) for v in (view.low, view.high))
        for value in (np.arange(np.ceil(low / step), np.floor(high / step) + 1.0) * step).tolist():
            at = view.low.copy()
            at[axis] = value / per - origin[axis]
            x, y = view.at(at).tolist()
            far = np.array([x, b[1]]) if axis == 0 else np.array([b[0], y])
            parts.append(svg.line(np.stack([np.array([x, y]), far]), style.HAIRLINE, 0.6))
            words = signed(f"{value:.{places}f}")
            if axis == 0:
                parts.append(svg.text(words, x, y + 13.0, 9.5, anchor="middle", color=style.MUTED))
            else:
                parts.append(svg.text(words, x - 6.0, y + 3.4, 9.5, anchor="end", color=style.MUTED))
    label = units.label("length")
    parts.append(
        svg.text(f"east {label}", float(b[0]), float(a[1]) + 25.0, 9.5, anchor="end", color=style.MUTED)
    )
    parts.append(
        svg.text(f"north {label}", float(a[0]), float(b[1]) - 5.0, 9.5, anchor="middle", color=style.MUTED)
    )
    return parts


def _area(shapes: Array, view: _View, color: str, strength: float) -> str:
    rings = [
        np.asarray(ring.coords)[:-1]
        for part in shapes
        if part.geom_type == "Polygon"
        for ring in (part.exterior, *part.interiors)
    ]
    data = "".join(svg.path(view.at(ring), closed=True) for ring in rings)
    return svg.element(
        "path",
        d=data,
        fill=color,
        fill_opacity=strength,
        fill_rule="evenodd",
        stroke=style.INK,
        stroke_width=0.8,
        stroke_dasharray="4 2",
    )


def _plane_name(name: str, shown: BaseGeometry, view: _View) -> list[str]:
    if shown.is_empty or shown.area * view.scale**2 < 1500.0:
        return []
    x, y = view.at(np.array(shapely.get_coordinates(shapely.maximum_inscribed_circle(shown))[0])).tolist()
    return [svg.text(name, x, y + 4.0, TYPE, anchor="middle", color=style.MUTED, bold=True, halo=True)]


def _row_name(name: str, ends: Array, view: _View, *, least: bool) -> list[str]:
    a, b = view.at(ends[[0, -1]])
    if np.linalg.norm(b - a) < 30.0:
        return []
    x, y = (0.5 * (a + b)).tolist()
    upright = abs(b[1] - a[1]) > abs(b[0] - a[0])
    dx, dy, anchor = (8.0, 3.0, "start") if upright else (0.0, 15.0, "middle")
    words = f"row {name}" if not least else name
    return [
        svg.text(
            words,
            x + dx,
            y + dy,
            TYPE,
            anchor=anchor,
            color=style.INK if not least else style.MUTED,
            halo=True,
        )
    ]


def _corner_marks(piece: Piece, view: _View) -> list[str]:
    """Dots with the letters of the table, outside the area, and the area's name in it."""
    parts = []
    for number, ring in enumerate(piece.corners):
        if len(ring) > CORNERS:
            continue
        at = view.at(ring)
        middle = at.mean(axis=0)
        for k, point in enumerate(at):
            out = point - middle
            out = out / max(float(np.linalg.norm(out)), 1e-9)
            x, y = (point + 9.0 * out).tolist()
            words = f"{LETTERS[k]}{'′' * number}"
            parts.append(svg.element("circle", cx=float(point[0]), cy=float(point[1]), r=1.9, fill=style.INK))
            parts.append(svg.text(words, x, y + 3.2, 9.5, anchor="middle", halo=True))
    body = max(shapely.get_parts(piece.feeder.region), key=lambda part: part.area, default=None)
    if body is not None and body.area * view.scale**2 > 60.0:
        x, y = view.at(shapely.get_coordinates(shapely.maximum_inscribed_circle(body))[0]).tolist()
        parts.append(svg.text(piece.name, x, y + 3.6, TYPE, anchor="middle", bold=True, halo=True))
    return parts
