"""blanket.png and blanket.svg: thrust in the layer on every plane, and the line load along its rows."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from fea.blanket.study import Answer, BlanketStudy
from fea.blanket.views import View
from viewer import style
from viewer.blanket.words import headline, units_of
from viewer.picture.drawing import Drawing

Array = NDArray[np.float64]

LEFT, RIGHT, TOP = 96.0, 110.0, 150.0
WIDE, MOST_HIGH = 940.0, 430.0
CHART, GAP, TYPE = 118.0, 66.0, 15.0
BLOCKS = 150  # blocks of color along the wider side
STROKES = 30  # strokes along the wider side
BANDS = 6
LEAVES = 0.25  # part of its weight down the slope that snow must lack to be shown as leaving [-]
ROWS = 6  # rows with a chart, for each plane
HATCH = 9.0  # between its lines [px]
TENSION = "#CDBBDD"
GONE = style.WALL


def blanket_drawing(study: BlanketStudy) -> Drawing:
    """The first view of every plane with its rows, and their line loads in all views."""
    planes = study.setting.planes.tolist()
    heights = [_size(study, p)[1] for p in planes]
    charts = [min(len(_rows(study, p)), ROWS) for p in planes]
    total = sum(h + GAP + n * (CHART + GAP) for h, n in zip(heights, charts, strict=True))
    drawing = Drawing((LEFT + WIDE + RIGHT, TOP + total + 110.0))
    drawing.write(study.project.table.project.name, LEFT, 38.0, 26.0, bold=True)
    drawing.write(headline(study), LEFT, 70.0, TYPE)
    view = study.answers[0].view
    drawing.write(
        f"Case {study.setting.case.name}; picture: {view.words}. Strokes: larger compression.",
        LEFT, 94.0, 0.9 * TYPE, color=style.MUTED,
    )  # fmt: skip
    scale = _scale(study)
    _legend(drawing, study, scale, 122.0)
    y = TOP
    for plane, high, many in zip(planes, heights, charts, strict=True):
        y = _plane(drawing, study, plane, y, high, scale)
        for row in _rows(study, plane)[:many]:
            y = _chart(drawing, study, row, y)
    drawing.write(style.CAUTION, LEFT, drawing.size[1] - 34.0, 0.9 * TYPE, color=style.MUTED)
    return drawing


def _rows(study: BlanketStudy, plane: int) -> list[int]:
    return np.flatnonzero(study.project.layout.row_plane == plane).tolist()


def _size(study: BlanketStudy, plane: int) -> tuple[float, float]:
    """Pixels per meter and height of a plane's picture."""
    low_u, low_v, high_u, high_v = study.project.roof.planes.outline[plane].bounds
    per_meter = min(WIDE / (high_u - low_u), MOST_HIGH / (high_v - low_v))
    return per_meter, per_meter * (high_v - low_v)


def _thrust(view: View) -> Array:
    """Compression down the slope per width of every cell, tension negative, (m,). [N/m]."""
    return np.asarray(-view.state.stress[:, :, 1].mean(axis=1) * view.layer.depth)


def _scale(study: BlanketStudy) -> float:
    """Top of the scale of thrust. [N/m]."""
    units = units_of(study)
    most = float(np.percentile(_thrust(study.answers[0].view), 99.5))
    top = style.scale_top(max(units.convert(most, "line"), 1e-6))
    return top / units.convert(1.0, "line")


def _legend(drawing: Drawing, study: BlanketStudy, top: float, y: float) -> None:
    units, x = units_of(study), LEFT
    for k, color in enumerate(style.force_bands(BANDS)):
        drawing.area(shapely.box(x + 34.0 * k, y - 8.0, x + 34.0 * (k + 1), y + 8.0), color)
    drawing.write(
        f"thrust in the layer, 0 to {units.text(top, 'line')}", x + 34.0 * BANDS + 8.0, y, 0.9 * TYPE
    )
    for place, color, words in ((560.0, TENSION, "tension"), (690.0, GONE, "nothing holds it: leaves")):
        swatch = shapely.box(place, y - 8.0, place + 24.0, y + 8.0)
        _area(drawing, swatch, color)
        drawing.write(words, place + 32.0, y, 0.9 * TYPE)
    drawing.line(np.array([[920.0, y], [944.0, y]]), style.INK, 2.0, (3.0, 3.0))
    drawing.write("open crack", 952.0, y, 0.9 * TYPE)


def _area(drawing: Drawing, area: BaseGeometry, color: str) -> None:
    """An area in its color; snow that leaves is hatched and tension framed, for those who see no colors."""
    drawing.area(area, color, style.INK if color == TENSION else None, 0.8)
    if color != GONE:
        return
    left, top, right, bottom = area.bounds
    high = bottom - top
    at = np.arange(left - high - (left - high) % HATCH, right, HATCH)
    lines = shapely.linestrings(np.stack([np.c_[at, at * 0.0 + bottom], np.c_[at + high, at * 0.0 + top]], 1))
    for part in shapely.get_parts(shapely.intersection(lines, area)):
        if shapely.get_type_id(part) == 1:
            drawing.line(shapely.get_coordinates(part), style.FAINT, 0.6)


def _plane(drawing: Drawing, study: BlanketStudy, plane: int, y: float, high: float, top: float) -> float:
    """Draw one plane from y down; where the next thing may begin. [px]."""
    planes, layout = study.project.roof.planes, study.project.layout
    outline, per_meter = planes.outline[plane], _size(study, plane)[0]
    low_u, low_v = outline.bounds[:2]
    floor = y + high + 24.0

    def at(uv: Array) -> Array:
        return np.stack(
            [LEFT + per_meter * (uv[..., 0] - low_u), floor - per_meter * (uv[..., 1] - low_v)], -1
        )

    matrix = [per_meter, 0.0, 0.0, -per_meter, LEFT - per_meter * low_u, floor + per_meter * low_v]
    answer = study.answers[0]
    drawing.write(f"Plane {planes.name[plane]}", LEFT, y + 6.0, TYPE, bold=True)
    _bar(drawing, study, per_meter, LEFT + per_meter * (outline.bounds[2] - low_u), y + 9.0)
    _fill(drawing, answer.view, plane, outline, matrix, top, study)
    _strokes(drawing, answer.view, plane, at, per_meter)
    for ring in (outline.exterior, *outline.interiors):
        drawing.line(at(np.asarray(ring.coords)), style.INK, 1.4)
    for row in _rows(study, plane):
        drawing.line(at(np.stack([layout.row_start[row], layout.row_end[row]])), style.INK, 3.2)
        place = at(layout.row_end[row])
        drawing.write(
            layout.row_name[row], float(place[0]) + 8.0, float(place[1]), 0.9 * TYPE, bold=True, halo=True
        )
    for c in np.flatnonzero(layout.row_plane[layout.clamp_row] == plane):
        _dot(drawing, at(layout.clamp_uv[c]), float(study.worst_use[c]))
    stops = study.setting.stops
    for s in np.flatnonzero(stops.plane == plane):
        half = np.array([0.5 * stops.width[s], 0.0])
        drawing.line(at(np.stack([stops.uv[s] - half, stops.uv[s] + half])), style.INK, 3.2)
        _dot(drawing, at(stops.uv[s]), float(study.worst_stop[s]))
    return floor + GAP - 24.0


def _bar(drawing: Drawing, study: BlanketStudy, per_meter: float, right: float, y: float) -> None:
    """A scale bar of round length that ends at `right`. [px]."""
    units = units_of(study)
    meter = units.convert(1.0, "length")
    length = style.scale_top(70.0 / per_meter * meter)
    left = right - length / meter * per_meter
    drawing.line(np.array([[left, y - 5.0], [left, y], [right, y], [right, y - 5.0]]), style.INK, 1.4)
    words = f"{length:g} {units.label('length')}, true along the slope"
    drawing.write(words, left - 8.0, y - 3.0, 0.9 * TYPE, align="right")


def _dot(drawing: Drawing, place: Array, use: float) -> None:
    """A clamp or stop, colored by its utilization; a square where it is not verified or exceeded."""
    color = style.hexadecimal(style.utilization_rgb(np.array(use)))
    x, y = float(place[0]), float(place[1])
    if np.isnan(use) or use > 1.0:
        drawing.area(shapely.box(x - 4.5, y - 4.5, x + 4.5, y + 4.5), color, style.PAPER, 0.8)
    else:
        drawing.circle(x, y, 3.6, color, style.INK, 0.8)


def _fill(
    drawing: Drawing,
    view: View,
    plane: int,
    outline: shapely.Polygon,
    matrix: list[float],
    top: float,
    study: BlanketStudy,
) -> None:
    """Thrust in blocks of cells: bands of compression, tension, snow that leaves, cracks."""
    layer, on = view.layer, np.flatnonzero(view.layer.plane == plane)
    if not len(on):
        return
    middle, thrust = layer.center[on], _thrust(view)[on]
    low, high = np.array(outline.bounds[:2]), np.array(outline.bounds[2:])
    side = max(float((high - low).max()) / BLOCKS, float(layer.size[on].max()))
    column, row = ((middle - low) / side).astype(np.int64).T
    key = column * 100_000 + row
    known, which = np.unique(key, return_inverse=True)
    count = np.bincount(which)
    mean = np.bincount(which, thrust) / count
    leaves = np.linalg.norm(view.state.left, axis=1) > LEAVES * np.linalg.norm(layer.force, axis=1)
    moved = leaves[layer.corner[on]].all(axis=1)
    gone = np.bincount(which, moved) / count > 0.5
    x, y = low[0] + side * (known // 100_000), low[1] + side * (known % 100_000)
    boxes = shapely.box(x, y, x + side, y + side)
    band = np.clip((BANDS * mean / top).astype(np.int64), 0, BANDS - 1)
    groups = [(np.flatnonzero(gone), GONE), (np.flatnonzero(~gone & (mean < -1e-3 * top)), TENSION)]
    pressed = ~gone & (mean >= -1e-3 * top)
    groups += [(np.flatnonzero(pressed & (band == k)), c) for k, c in enumerate(style.force_bands(BANDS))]
    for member, color in groups:
        if len(member):
            area = shapely.intersection(shapely.union_all(boxes[member]), outline)
            _area(drawing, affinity.affine_transform(area, matrix), color)
    torn = view.cracked[on] & ~moved
    if torn.any():
        corner = layer.low[on][torn]
        cells = shapely.box(*corner.T, *(corner + layer.size[on][torn]).T)
        area = affinity.affine_transform(shapely.union_all(cells), matrix)
        for part in shapely.get_parts(area):
            drawing.line(np.asarray(part.exterior.coords), style.INK, 1.2, (3.0, 3.0))


def _strokes(drawing: Drawing, view: View, plane: int, at: object, per_meter: float) -> None:
    """Directions of the larger compression on a coarse grid."""
    assert callable(at)
    layer, on = view.layer, np.flatnonzero(view.layer.plane == plane)
    if not len(on):
        return
    stress = view.state.stress[on].mean(axis=1)
    mean, half = 0.5 * (stress[:, 0] + stress[:, 1]), 0.5 * (stress[:, 0] - stress[:, 1])
    size = np.hypot(half, stress[:, 2])
    pressed = -(mean - size) * layer.depth[on]
    turn = 0.5 * np.arctan2(-stress[:, 2], -half)
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    middle = layer.center[on]
    pitch = float(np.ptp(middle, axis=0).max()) / STROKES
    key = (middle / pitch).astype(np.int64) @ np.array([100_000, 1])
    _, chosen = np.unique(key, return_index=True)
    most = max(float(np.percentile(pressed, 99.0)), 1e-9)
    for i in chosen:
        part = min(pressed[i] / most, 1.0)
        if part < 0.05:
            continue
        reach = 0.42 * pitch * np.sqrt(part) * way[i]
        drawing.line(at(np.stack([middle[i] - reach, middle[i] + reach])), style.PAPER, 2.6)
        drawing.line(at(np.stack([middle[i] - reach, middle[i] + reach])), style.INK, 1.0)


DASH: tuple[tuple[float, float] | None, ...] = (None, (7.0, 4.0), (2.0, 4.0))


def _chart(drawing: Drawing, study: BlanketStudy, row: int, y: float) -> float:
    """Line load along one row in every view, over the tributary one."""
    units, layout, stations = units_of(study), study.project.layout, study.setting.stations
    on = np.flatnonzero(stations.row == row)
    plane = int(layout.row_plane[row])
    per_meter, low_u = _size(study, plane)[0], study.project.roof.planes.outline[plane].bounds[0]
    way = (layout.row_end[row, 0] - layout.row_start[row, 0]) / layout.row_length[row]
    u = layout.row_start[row, 0] + way * stations.span[on].mean(axis=1)
    x = LEFT + per_meter * (u - low_u)
    floor = y + CHART + 8.0
    lines = [answer.line[on] for answer in study.answers]
    most = max(float(max(line.max() for line in lines)), float(study.tributary_line[on].max()), 1e-9)
    top = style.scale_top(units.convert(most, "line"))

    def height(line: Array) -> Array:
        return floor - CHART * np.array([units.convert(float(v), "line") for v in line]) / top

    drawing.write(
        f"Row {layout.row_name[row]}: line load ({units.label('line')})", LEFT, y - 8.0, TYPE, bold=True
    )
    edge = np.concatenate([x[:1], x, x[-1:]])
    shade = np.concatenate([[floor], height(study.tributary_line[on]), [floor]])
    drawing.area(shapely.Polygon(np.stack([edge, shade], axis=1)).buffer(0.0), style.SNOW_ANCHORS[2])
    for k, line in enumerate(lines):
        color = style.INK if k < 2 else style.ACCENT
        _dashed(drawing, np.stack([x, height(line)], axis=1), color, DASH[min(k, 2)])
    drawing.line(np.array([[LEFT, floor - CHART], [LEFT, floor], [x[-1], floor]]), style.INK, 1.2)
    for value in (0.5 * top, top):
        tick = floor - CHART * value / top
        drawing.line(np.array([[LEFT - 5.0, tick], [LEFT, tick]]), style.INK, 1.2)
        drawing.write(f"{value:g}", LEFT - 9.0, tick, 0.85 * TYPE, align="right")
    for c in np.flatnonzero(layout.clamp_row == row):
        place = LEFT + per_meter * (layout.clamp_uv[c, 0] - low_u)
        drawing.line(np.array([[place, floor], [place, floor + 5.0]]), style.INK, 1.2)
    _key(drawing, study.answers, floor + 22.0)
    return floor + GAP - 8.0


def _dashed(drawing: Drawing, points: Array, color: str, dash: tuple[float, float] | None) -> None:
    """A line of many short pieces, with strokes that run over them."""
    if dash is None or len(points) < 2:
        drawing.line(points, color, 2.0)
        return
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    for start in np.arange(0.0, way[-1], sum(dash)):
        end = min(start + dash[0], way[-1])
        at = np.concatenate([[start], way[(way > start) & (way < end)], [end]])
        piece = np.stack([np.interp(at, way, points[:, 0]), np.interp(at, way, points[:, 1])], axis=1)
        drawing.line(piece, color, 2.0)


def _key(drawing: Drawing, answers: tuple[Answer, ...], y: float) -> None:
    x = LEFT
    drawing.area(shapely.box(x, y - 7.0, x + 22.0, y + 7.0), style.SNOW_ANCHORS[2])
    drawing.write("tributary", x + 30.0, y, 0.9 * TYPE)
    others = len(answers) > 3
    for k, answer in enumerate(answers[:3]):
        start = x + 130.0 + 135.0 * k
        color = style.INK if k < 2 else style.ACCENT
        drawing.line(np.array([[start, y], [start + 26.0, y]]), color, 2.0, DASH[min(k, 2)])
        name = f"{len(answers) - 2} states of bond" if k == 2 and others else answer.view.name
        drawing.write(name, start + 34.0, y, 0.9 * TYPE)
