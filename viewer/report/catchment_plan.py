"""Where the snow of a hand check lies, drawn to scale on plan with axes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.surface import shown_origin
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.picture.labels import text_width
from viewer.quantities import signed
from viewer.report.catchment import Piece
from viewer.report.working import Working

Array = NDArray[np.float64]

WIDTH, TALL, SIDE, TYPE = 760.0, 330.0, 70.0, 10.5
HEAD, FOOT = 54.0, 30.0
SMALL, LEADER = 9.5, 16.0  # letters of corners; from there words have a leader [px]
FILLS = ("#F2C14E", "#7FB069", "#B07AA1", "#E08E45")  # of one area after the other


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


@dataclass
class _Words:
    """Words of the drawing, each where it covers no other."""

    frame: tuple[float, float, float, float]
    boxes: list[tuple[float, float, float, float]] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)

    def put(
        self,
        words: str,
        at: Array,
        size: float,
        off: float,
        *,
        out: Array | None = None,
        bold: bool = False,
        color: str = style.INK,
        must: bool = False,
    ) -> None:
        """Write at a place, or `off` around it, first toward `out`; farther off if it must stand."""
        half = np.array([0.5 * text_width(words, size, bold=bold) + 1.5, 0.55 * size])
        first = 0.5 * np.pi if out is None else float(np.arctan2(out[1], out[0]))
        turns = first + np.pi / 6.0 * np.array([0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6])
        for ring in range(5 if must else 1 + (off > 0.0)):
            reach = off + 11.0 * ring
            for turn in turns if reach > 0.0 else turns[:1]:
                way = np.array([np.cos(turn), np.sin(turn)])
                edge = float(np.abs(way) @ half) if reach > 0.0 else 0.0
                if self._write(words, at, (reach + edge * (off > 0.0)) * way, half, size, bold, color):
                    return

    def _write(
        self, words: str, at: Array, away: Array, half: Array, size: float, bold: bool, color: str
    ) -> bool:
        middle = at + away
        box = (*(middle - half).tolist(), *(middle + half).tolist())
        inside = box[0] > self.frame[0] and box[1] > self.frame[1]
        inside = inside and box[2] < self.frame[2] and box[3] < self.frame[3]
        clear = all(box[2] < o[0] or box[0] > o[2] or box[3] < o[1] or box[1] > o[3] for o in self.boxes)
        if not (inside and clear):
            return False
        self.boxes.append((box[0], box[1], box[2], box[3]))
        if np.linalg.norm(away) > LEADER:
            self.parts.append(svg.line(np.stack([at, at + 0.62 * away]), style.MUTED, 0.6))
        x, y = middle.tolist()
        y += 0.34 * size
        shown = svg.text(words, x, y, size, anchor="middle", bold=bold, color=color, halo=True)
        self.parts.append(shown)
        return True


def catchment_svg(
    analysis: Analysis, working: Working | None, found: tuple[Piece, ...], units: UnitSystem
) -> str:
    """The clamp's own strip and every area from beside it, `pieces`, on plan with axes; "" for none."""
    if working is None or not found:
        return ""
    layout = analysis.project.layout
    clamp = layout.clamp_name.index(working.clamp)
    row = int(layout.clamp_row[clamp])
    rail = _on_plan(analysis, row, np.stack([layout.row_start[row], layout.row_end[row]]))
    place = _on_plan(analysis, row, layout.clamp_uv[[clamp]])[0]
    view = _view(found, rail, place)
    (left, foot), (right, top) = view.at(view.low), view.at(view.high)
    words = _Words((float(left), float(top), float(right), float(foot)))
    parts = [*_axes(analysis, view, units), *_outlines(analysis, view)]
    for k, piece in enumerate(found):
        region = shapely.get_parts(piece.feeder.region)
        parts.append(_area(region, view, _fill(found, k)))
    parts += _rails(analysis, view, row)
    x, y = view.at(place).tolist()
    parts.append(svg.element("circle", cx=x, cy=y, r=6.5, fill="none", stroke=style.INK, stroke_width=1.8))
    parts += _corner_marks(found, view, words)
    words.put(working.clamp, view.at(place), TYPE, 9.0, bold=True, must=True)
    _names(analysis, found, view, words, row)
    title = f"Snow on {working.clamp}, on plan, north up"
    head = [svg.text(title, 20.0, 14.0, 13.0, bold=True), *_key(analysis, found)]
    return svg.document(WIDTH, HEAD + view.height + FOOT + 6.0, title, [*parts, *words.parts, *head])


def _fill(found: tuple[Piece, ...], k: int) -> str:
    """Color of an area: of snow for the strip, one of few for the others."""
    number = int(found[k].name[1:])
    return FILLS[(number - 1) % len(FILLS)] if number else style.SNOW_ANCHORS[3]


def _key(analysis: Analysis, found: tuple[Piece, ...]) -> list[str]:
    """Colors of the strip and of the areas, as many as have room; all names stand in the areas too."""
    names = analysis.project.roof.planes.name
    key = [
        (
            _fill(found, k),
            "A0: own strip, straight above its stretch of rail"
            if p.name == "A0"
            else f"{p.name}: {names[p.feeder.plane]}, step {p.symbol.replace('_', '')}",
        )
        for k, p in enumerate(found)
    ]
    parts, at = list[str](), 20.0
    for color, words in key:
        if at + text_width(words, TYPE) + 24.0 > WIDTH:
            break
        box: dict[str, str | float] = {"x": at, "y": 22.0, "width": 11.0, "height": 11.0}
        box |= {"fill": color, "stroke": style.INK, "stroke_width": 0.6}
        parts.append(svg.element("rect", "", **box))
        parts.append(svg.text(words, at + 15.0, 31.5, TYPE))
        at += 1.12 * text_width(words, TYPE) + 30.0
    return parts


def _outlines(analysis: Analysis, view: _View) -> list[str]:
    """Edges of the planes as far as the frame reaches."""
    planes, frame, parts = analysis.project.roof.planes, shapely.box(*view.low, *view.high), list[str]()
    for plane, outline in enumerate(planes.outline):
        for ring in (outline.exterior, *outline.interiors):
            line = shapely.LineString(planes.to_world(plane, np.asarray(ring.coords))[:, :2])
            parts += [
                svg.line(view.at(shapely.get_coordinates(part)), style.INK, 1.0)
                for part in shapely.get_parts(shapely.intersection(line, frame))
                if part.geom_type == "LineString"
            ]
    return parts


def _rails(analysis: Analysis, view: _View, row: int) -> list[str]:
    """Rows with their clamps as far as the frame reaches, the clamp's own heavier."""
    layout, frame, parts = analysis.project.layout, shapely.box(*view.low, *view.high), list[str]()
    mark: dict[str, str | float] = {"r": 2.6, "fill": style.PAPER, "stroke": style.INK, "stroke_width": 1.1}
    for other in range(len(layout.row_name)):
        shown = _seen(analysis, view, other)
        if len(shown):
            parts.append(svg.line(shown, style.INK, 2.6 if other == row else 1.6))
            on = _on_plan(analysis, other, layout.clamp_uv[layout.clamp_row == other])
            at = view.at(on[shapely.contains_xy(frame, on)])
            parts += [svg.element("circle", "", cx=x, cy=y, **mark) for x, y in at.tolist()]
    return parts


def _seen(analysis: Analysis, view: _View, row: int) -> Array:
    """Ends (2, 2) of what of a row lies within the frame; (0, 2) for nothing. [px]."""
    layout = analysis.project.layout
    ends = _on_plan(analysis, row, np.stack([layout.row_start[row], layout.row_end[row]]))
    shown = shapely.intersection(shapely.LineString(ends), shapely.box(*view.low, *view.high))
    return view.at(shapely.get_coordinates(shown)) if shown.length > 0.0 else np.zeros((0, 2))


def _names(analysis: Analysis, found: tuple[Piece, ...], view: _View, words: _Words, row: int) -> None:
    """Names of areas, rows and planes, where there is room for them."""
    layout, planes = analysis.project.layout, analysis.project.roof.planes
    for piece in found:
        body = max(shapely.get_parts(piece.feeder.region), key=lambda part: part.area, default=None)
        if body is not None and body.area > 0.0:
            at = view.at(shapely.get_coordinates(shapely.maximum_inscribed_circle(body))[0])
            words.put(piece.name, at, TYPE, 0.0, bold=True)
    for other in [row, *(one for one in range(len(layout.row_name)) if one != row)]:
        ends = _seen(analysis, view, other)
        if len(ends) and np.linalg.norm(ends[1] - ends[0]) > 30.0:
            own = other == row
            name = f"row {layout.row_name[other]}" if own else layout.row_name[other]
            color = style.INK if own else style.MUTED
            words.put(name, ends.mean(axis=0), TYPE, 7.0, color=color)
    for plane, outline in enumerate(planes.outline):
        ring = planes.to_world(plane, np.asarray(outline.exterior.coords))[:, :2]
        shown = shapely.intersection(shapely.Polygon(ring).buffer(0.0), shapely.box(*view.low, *view.high))
        if shown.is_empty or shown.area * view.scale**2 < 1500.0:
            continue
        pieces_seen = [part for part in shapely.get_parts(shown) if part.geom_type == "Polygon"]
        roomiest = max(pieces_seen, key=lambda part: part.area)
        at = view.at(shapely.get_coordinates(shapely.maximum_inscribed_circle(roomiest))[0])
        words.put(planes.name[plane], at, TYPE, 0.0, bold=True, color=style.MUTED)


def _on_plan(analysis: Analysis, row: int, uv: Array) -> Array:
    return analysis.project.roof.planes.to_world(int(analysis.project.layout.row_plane[row]), uv)[:, :2]


def _view(found: tuple[Piece, ...], rail: Array, place: Array) -> _View:
    """All areas, and of the rail what lies within reach of them."""
    shapes = [*(piece.feeder.region for piece in found), shapely.Point(place)]
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
    for words, x, y, side in (
        (f"east {label}", float(b[0]), float(a[1]) + 25.0, "end"),
        (f"north {label}", float(a[0]), float(b[1]) - 5.0, "middle"),
    ):
        parts.append(svg.text(words, x, y, 9.5, anchor=side, color=style.MUTED))
    return parts


def _area(shapes: NDArray[np.object_], view: _View, color: str) -> str:
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
        fill_opacity=0.65,
        fill_rule="evenodd",
        stroke=style.INK,
        stroke_width=0.8,
        stroke_dasharray="4 2",
    )


def _corner_marks(found: tuple[Piece, ...], view: _View, words: _Words) -> list[str]:
    """Dots with the numbers of the table, outside the areas."""
    parts, told = [], set[int]()
    for piece in found:
        for numbers, ring in zip(piece.numbers, piece.corners, strict=True):
            at = view.at(ring)
            for number, point in zip(numbers, at, strict=True):
                if number in told:
                    continue
                told.add(number)
                x, y = point.tolist()
                parts.append(svg.element("circle", cx=x, cy=y, r=1.9, fill=style.INK))
                words.put(str(number), point, SMALL, 3.0, out=point - at.mean(axis=0), must=True)
    return parts
