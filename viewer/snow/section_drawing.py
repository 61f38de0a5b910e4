"""A section through a drift to scale: roof, wall, layers of snow, and the dimensions of the drift."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.drawing import Drawing
from viewer.picture.labels import text_width
from viewer.quantities import quantity
from viewer.snow.families import told_number
from viewer.snow.findings import SnowFindings
from viewer.snow.placing import disc
from viewer.snow.sections import Piece, Section

Array = NDArray[np.float64]

WIDTH = 760.0  # [px]
LEFT, RIGHT, TOP, BOTTOM = 150.0, 150.0, 30.0, 56.0
TYPE = 12.0
TALLEST = 300.0  # of the roof and snow [px]
SEEN = 36.0  # a drift lower than this is drawn higher than wide [px]
LAYERS = (style.SNOW_DEEP_ANCHORS[1], style.SNOW_DEEP_ANCHORS[2])  # first layer, other surcharges
OWN = style.SNOW_DEEP_ANCHORS[4]
UNDER = np.array([0.0, 6.0])  # from the roof's line to the lower side of what is drawn of it [px]
THICK = 14.0  # of a drawn wall [px]
SHIFTS = sorted(np.arange(-120.0, 121.0, 4.0).tolist(), key=abs)  # up and down, where words are tried [px]
STRETCHES = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True)
class _Axes:
    """From place and height to pixels."""

    scale: float
    stretch: float
    begin: float
    top: float
    head: float  # room above [px]

    def at(self, s: Array | float, z: Array | float) -> Array:
        x = LEFT + (np.asarray(s) - self.begin) * self.scale
        y = self.head + (self.top - np.asarray(z)) * self.scale * self.stretch
        return np.stack(np.broadcast_arrays(x, y), axis=-1)


def draw_section(findings: SnowFindings, section: Section, units: UnitSystem) -> tuple[Drawing, float]:
    """Draw one section.

    Parameters
    ----------
    findings : SnowFindings
    section : Section
    units : UnitSystem

    Returns
    -------
    Drawing
        Wide `WIDTH`; heights are those of the snow at the case's density.
    float
        How many times heights are larger than lengths.
    """
    low, high = _heights(section)
    span = float(np.ptp(section.window))
    peak = float(section.peak[1]) / section.weight
    head = TOP + (3.4 * TYPE if _peaks_inside(section) else 0.0)
    scale = min((WIDTH - LEFT - RIGHT) / span, TALLEST / max(high - low, 1e-6))
    stretch = next(
        (n for n in STRETCHES if peak * scale * n >= SEEN or (high - low) * scale * n * 1.6 > TALLEST), 10.0
    )
    axes = _Axes(scale, stretch, float(section.window[0]), high, head)
    height = head + (high - low) * scale * stretch + BOTTOM
    drawing = Drawing((WIDTH, height))
    frame = shapely.box(LEFT - 8.0, head - 6.0, LEFT + span * scale + 8.0, height - BOTTOM + 14.0)
    _draw_walls(drawing, section, axes, frame, (low, high))
    for piece in section.pieces:
        _draw_piece(drawing, section, piece, axes, frame)
    _dimensions(drawing, findings, section, axes, units)
    _ends(drawing, section, axes, height)
    return drawing, stretch


def _tops(section: Section, piece: Piece) -> list[Array]:
    """Heights (2,) of the roof and of the top of every layer. [m]."""
    tops = [piece.z]
    for layer in piece.layers:
        tops.append(tops[-1] + np.maximum(layer.pressure, 0.0) / section.weight)
    return tops


def _peaks_inside(section: Section) -> bool:
    """Whether the zones are highest between their ends."""
    return bool(section.peak[1] > section.pressure.max() * (1.0 + 1e-6))


def _heights(section: Section) -> tuple[float, float]:
    """What of the height is drawn: the drift with its plane, and the wall's beginning above it. [m]."""
    own = section.own
    planes = {piece.plane for piece in own}
    tops = np.array([_tops(section, piece)[-1] for piece in own]).ravel()
    low = min(float(p.z.min()) for p in section.pieces if p.plane in planes)
    peak = float(section.peak[1]) / section.weight
    beside = [p for p in section.pieces if float(p.z.min()) < tops.max() + peak]
    high = max(float(tops.max()), *(float(_tops(section, p)[-1].max()) for p in beside if p.plane in planes))
    ridge = max((float(p.z.max()) for p in beside), default=high)
    low = min([low, *(float(p.z.min()) for p in beside if p.z.min() > low - peak)])
    return low, max(high, min(ridge, high + 0.8 * peak)) + 0.3 * peak


def _draw_piece(
    drawing: Drawing, section: Section, piece: Piece, axes: _Axes, frame: shapely.Polygon
) -> None:
    tops = _tops(section, piece)
    for number, layer in enumerate(piece.layers):
        below, above = axes.at(piece.s, tops[number]), axes.at(piece.s, tops[number + 1])
        ring = np.concatenate([below, above[::-1]])
        if shapely.Polygon(ring).area < 1e-3:
            continue
        own = layer.patch in section.patches
        fill = OWN if own else LAYERS[min(number, 1)]
        shape = shapely.intersection(shapely.Polygon(ring).buffer(0.0), frame)
        drawing.area(shape, fill, style.INK if own else style.SNOW_DEEP_ANCHORS[4], 1.2 if own else 0.5)
    roof = axes.at(piece.s, piece.z)
    under = np.concatenate([roof, roof[::-1] + UNDER])
    drawing.area(shapely.intersection(shapely.Polygon(under), frame), style.WALL_SHADE)
    line = shapely.intersection(shapely.LineString(roof), frame)
    if line.length > 0.0:
        drawing.line(shapely.get_coordinates(line), style.INK, 2.0)


def _draw_walls(
    drawing: Drawing, section: Section, axes: _Axes, frame: shapely.Polygon, drawn: tuple[float, float]
) -> None:
    low, high = drawn
    for s, base, top, side in section.walls:
        z = max(float(base), low)
        foot, head = axes.at(s, z), axes.at(s, min(top, high))
        if head[1] > foot[1]:
            continue
        back = -THICK * side
        wall = shapely.box(
            min(foot[0], foot[0] + back), head[1] - 6.0, max(foot[0], foot[0] + back), foot[1] + 6.0
        )
        drawing.area(shapely.intersection(wall, frame.buffer(16.0)), style.WALL_SHADE)
        cut = top > high
        drawing.line(np.stack([foot, head - np.array([0.0, 6.0 if cut else 0.0])]), style.INK, 1.6)
        if cut:
            y = float(head[1]) - 6.0
            x = float(foot[0])
            zigzag = np.array(
                [
                    [x + 6.0 * side, y],
                    [x + 0.35 * back, y],
                    [x + 0.5 * back, y - 5.0],
                    [x + 0.65 * back, y + 5.0],
                    [x + 0.8 * back, y],
                    [x + back - 6.0 * side, y],
                ]
            )
            drawing.line(zigzag, style.MUTED, 1.0)


def _dimensions(
    drawing: Drawing, findings: SnowFindings, section: Section, axes: _Axes, units: UnitSystem
) -> None:
    own = section.own
    y = drawing.size[1] - 30.0
    ends = axes.at(np.array([0.0, section.width]), 0.0)[:, 0]
    for x, piece, end in ((ends[0], own[0], 0), (ends[1], own[-1], 1)):
        foot = axes.at(piece.s[end], piece.z[end])
        drawing.line(np.array([[x, foot[1] + 9.0], [x, y + 5.0]]), style.FAINT, 0.7)
    _dimension(drawing, np.array([ends[0], y]), np.array([ends[1], y]))
    words = f"width {quantity(section.width, 'length', units)}"
    narrow = text_width(words, TYPE, bold=True) > ends[1] - ends[0] - TYPE  # below, clear of the ticks
    drawing.write(words, float(ends.mean()), y + (15.0 if narrow else -9.0), TYPE, bold=True, align="center")
    peak = float(section.peak[1])
    if _peaks_inside(section):
        _summit(drawing, section, axes, units)
    for end, piece in ((0, own[0]), (1, own[-1])):
        value = float(section.pressure[end])
        if value > 1e-4 * peak:
            _upright(drawing, section, piece, end, value, axes, units)
        else:
            top = axes.at(piece.s[end], _tops(section, piece)[-1][end])
            drawing.write("0", float(top[0]) + (8.0 if end else -8.0), float(top[1]) - 8.0, TYPE, halo=True)
    widest = max(own, key=lambda p: float(np.ptp(p.s)))
    tops = _tops(section, widest)
    for number, layer in enumerate(widest.layers):
        thick = np.abs(tops[number + 1] - tops[number]) * axes.scale * axes.stretch
        share = 0.5 + 0.18 * np.sign(thick[1] - thick[0]) * (layer.patch in section.patches)
        blend = np.array([1.0 - share, share])
        if float(thick @ blend) < 21.0:
            continue
        at = axes.at(float(widest.s @ blend), float(0.5 * (tops[number + 1] + tops[number]) @ blend))
        disc(drawing, str(told_number(findings, layer.patch)), float(at[0]), float(at[1]), TYPE)


def _upright(
    drawing: Drawing,
    section: Section,
    piece: Piece,
    end: int,
    value: float,
    axes: _Axes,
    units: UnitSystem,
) -> None:
    """Height and pressures of the drift at one of its ends, beside it."""
    tops = _tops(section, piece)
    number = section.own_layer(piece) or 0
    low, high = axes.at(piece.s[end], tops[number][end]), axes.at(piece.s[end], tops[number + 1][end])
    out = np.array([26.0 if end else -26.0, 0.0])
    for place, _, _, side in section.walls:  # beside a wall that stands a gap off
        back = float(axes.at(place, 0.0)[0]) - THICK * side - float(low[0])
        if side * out[0] < 0.0 and -2.0 * abs(out[0]) < back * side < 0.0:
            out[0] = min(out[0], back - 12.0) if side > 0 else max(out[0], back + 12.0)
    for point in (low, high):
        drawing.line(np.stack([point + 0.2 * out, point + 1.2 * out]), style.INK, 0.7)
    _dimension(drawing, low + out, high + out)
    lines = _words(section, piece, end, value, units)
    x = float(low[0] + out[0] + (9.0 if end else -9.0))
    y = 0.5 * float(low[1] + high[1]) - 0.5 * 1.25 * TYPE * (len(lines) - 1)
    y = _clear(drawing, section, axes, lines, (x, y), right=bool(end))
    for i, (words, bold) in enumerate(lines):
        drawing.write(
            words, x, y + 1.25 * TYPE * i, TYPE, bold=bold, align="left" if end else "right", halo=True
        )


def _clear(
    drawing: Drawing,
    section: Section,
    axes: _Axes,
    lines: list[tuple[str, bool]],
    at: tuple[float, float],
    *,
    right: bool,
) -> float:
    """Height of the first of some lines where they cover no roof or snow, as near to `at` as can be. [px]."""
    x, y = at
    wide = max(text_width(words, TYPE, bold=bold) for words, bold in lines)
    deep = 1.25 * TYPE * (len(lines) - 1)
    last = drawing.size[1] - 44.0 - deep
    rings = [
        np.concatenate([axes.at(p.s, p.z) + UNDER, axes.at(p.s, _tops(section, p)[-1])[::-1]])
        for p in section.pieces
    ]
    taken = shapely.union_all(shapely.polygons(rings))
    left = x if right else x - wide
    for shift in SHIFTS:
        top = y + shift
        box = shapely.box(left, top - 0.6 * TYPE, left + wide, top + deep + 0.6 * TYPE)
        if TYPE <= top <= last and not box.intersects(taken):
            return top
    return min(y, last)


def _words(
    section: Section, piece: Piece, end: int, value: float, units: UnitSystem
) -> list[tuple[str, bool]]:
    """Pressure and height of the drift at an end of a piece, and the sum with what lies below it."""
    total = float(sum(layer.pressure[end] for layer in piece.layers))
    lines = [
        (quantity(value, "pressure", units), True),
        (f"height {quantity(value / section.weight, 'length', units)}", False),
    ]
    if total > value * (1.0 + 1e-9):
        lines.append((f"in all {quantity(total, 'pressure', units)}", False))
    return lines


def _summit(drawing: Drawing, section: Section, axes: _Axes, units: UnitSystem) -> None:
    """Height and pressures of the drift where it is highest between its ends, above it."""
    s, value = (float(n) for n in section.peak)
    piece = min(section.own, key=lambda p: float(np.abs(p.s - s).min()))
    end = int(np.argmin(np.abs(piece.s - s)))
    number, tops = section.own_layer(piece) or 0, _tops(section, piece)
    low, high = axes.at(s, tops[number][end]), axes.at(s, tops[number + 1][end])
    _dimension(drawing, low, high)
    lines = _words(section, piece, end, value, units)
    for i, (words, bold) in enumerate(lines):
        y = float(high[1]) - 12.0 - 1.25 * TYPE * (len(lines) - 1 - i)
        drawing.write(words, float(high[0]), y, TYPE, bold=bold, align="center", halo=True)


def _dimension(drawing: Drawing, start: Array, end: Array) -> None:
    drawing.line(np.stack([start, end]), style.INK, 0.9)
    way = (end - start) / max(float(np.linalg.norm(end - start)), 1e-9)
    tick = 3.5 * (way + np.array([-way[1], way[0]]))
    for point in (start, end):
        drawing.line(np.stack([point - tick, point + tick]), style.INK, 1.3)


def _ends(drawing: Drawing, section: Section, axes: _Axes, height: float) -> None:
    """Letters of the section, as on the plan."""
    x = axes.at(section.window, 0.0)[:, 0]
    for place, align in ((x[0] - 12.0, "right"), (x[1] + 12.0, "left")):
        drawing.write(section.name, float(place), height - 30.0, 1.25 * TYPE, bold=True, align=align)
