"""Eave section with the rows, and what the roof carries with them and without, as bars."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.quantities import column, quantity, system

Array = NDArray[np.float64]
Place = Callable[[Array | float], Array]

WIDTH, LEFT, RIGHT = 760.0, 70.0, 30.0
CHART, GAP = 110.0, 26.0
DEEPEST = 210.0  # height of the drawn slope at most [px]
BAR = 13.0
TYPE = 12.0
WITH, WITHOUT = style.SNOW_DEEP_ANCHORS[6], style.SNOW_DEEP_ANCHORS[2]


def section_plane(analysis: Analysis) -> int:
    """Plane that is drawn: of those with rows the one whose snow they raise most."""
    found = analysis.building.planes
    gain = found.held - (0.0 if found.free is None else found.free)
    return int(np.argmax(np.where(found.rows > 0.0, gain + 1e-9 * found.held, -np.inf)))


def building_svg(analysis: Analysis, units: UnitSystem) -> str:
    """Section up the slope of one plane, eave on the left; bars of line loads above its purlins.

    Without purlin lines the bars are the mean pressure on the plane. Every bar carries its SI value in the
    attribute data-load.
    """
    plane = section_plane(analysis)
    roof, found = analysis.project.roof, analysis.building
    slope = float(roof.planes.slope[plane])
    length = float(roof.planes.outline[plane].bounds[3])
    scale = min(
        (WIDTH - LEFT - RIGHT) / (length * np.cos(slope)), DEEPEST / max(length * np.sin(slope), 1e-9)
    )
    base = CHART + GAP + 34.0 + scale * length * np.sin(slope) + 20.0

    def at(up: Array | float) -> Array:
        place = np.asarray(up, dtype=float)
        return np.stack([LEFT + scale * place * np.cos(slope), base - scale * place * np.sin(slope)], axis=-1)

    framing, held, free = analysis.project.framing, found.held, found.free
    on = np.zeros(0, dtype=int) if framing is None else np.flatnonzero(framing.plane == plane)
    if len(on) and framing is not None and held is not None:
        places = framing.up[on]
        loads = [held.peak[:, on].max(axis=0), None if free is None else free.peak[:, on].max(axis=0)]
        kind, title = "line", "Largest load of each purlin line"
    else:
        total, area = found.planes, found.planes.area[plane]
        places = np.array([0.5 * length])
        loads = [total.held[plane : plane + 1] / area]
        loads.append(None if total.free is None else total.free[plane : plane + 1] / area)
        kind, title = "pressure", "Mean snow on the plane"
    parts = _bars(at(places)[..., 0], loads, kind, title, units)
    parts += _roof(analysis, plane, at, length, base)
    if len(on):
        parts += [_purlin(point) for point in at(places)]
    parts += _rows(analysis, plane, at, slope)
    angle = quantity(slope, "angle", units)
    words = f"Section of {roof.planes.name[plane]} up the slope, {angle}; eave on the left"
    return svg.document(WIDTH, base + 44.0, words, parts)


def _bars(x: Array, loads: list[Array | None], kind: str, title: str, units: UnitSystem) -> list[str]:
    """Pairs of bars, with the rows and without, on one scale."""
    known = [load for load in loads if load is not None]
    most = style.scale_top(units.convert(max(float(load.max()) for load in known), kind))
    foot = 34.0 + CHART
    parts = [svg.text(f"{title}, {units.label(kind)}, before load factors", LEFT, 14.0, TYPE, bold=True)]
    for k, (name, color) in enumerate((("with the rows", WITH), ("without", WITHOUT))):
        if loads[k] is not None:
            left = WIDTH - RIGHT - 210.0 + 130.0 * k
            parts.append(
                svg.element("rect", x=left, y=4.0, width=11.0, height=11.0, fill=color, stroke=style.INK)
            )
            parts.append(svg.text(name, left + 16.0, 14.0, TYPE))
    ends = np.array([[LEFT - 20.0, foot], [WIDTH - RIGHT + 10.0, foot]])
    parts.append(svg.line(ends, style.INK, 0.9))
    gaps = np.diff(x)
    rooms = np.minimum(np.append(80.0, gaps), np.append(gaps, 80.0))  # places rise
    room = float(rooms.min())
    bar = min(BAR, max(0.42 * room, 3.0))
    for k, (load, color) in enumerate(zip(loads, (WITH, WITHOUT), strict=True)):
        if load is None:
            continue
        texts = column(load, kind, units)
        for place, value, words, wide in zip(x, load, texts, rooms, strict=True):
            tall = CHART * units.convert(float(value), kind) / most
            left = float(place) - bar + bar * k
            parts.append(
                svg.element(
                    "rect",
                    x=left,
                    y=foot - tall,
                    width=bar,
                    height=max(tall, 0.6),
                    fill=color,
                    stroke=style.INK,
                    stroke_width=0.6,
                    data_load=repr(float(value)),
                )
            )
            if k == 0 and wide > 34.0:
                parts.append(
                    svg.text(words, float(place), foot - tall - 5.0, TYPE, anchor="middle", halo=True)
                )
    return parts


def _roof(analysis: Analysis, plane: int, at: Place, length: float, base: float) -> list[str]:
    """Slope, wall and overhang."""
    framing = analysis.project.framing
    over = 0.0 if framing is None else float(np.nan_to_num(framing.overhang[plane]))
    foot = at(over)
    wall = np.array([[foot[0], foot[1]], [foot[0], base + 30.0]])
    ground = svg.element(
        "path",
        d=svg.path(
            np.array([foot, at(length), [at(length)[0], base + 30.0], [foot[0], base + 30.0]]), closed=True
        ),
        fill=style.WALL,
        stroke="none",
    )
    parts = [ground, svg.line(wall, style.INK, 1.4), svg.line(at(np.array([0.0, length])), style.INK, 2.4)]
    if over > 0.0:
        words = f"overhang {quantity(over, 'length', system(analysis.project.table.project.units))}"
        parts.append(svg.text(words, float(foot[0]) + 8.0, base + 24.0, TYPE))
    return parts


def _purlin(point: Array) -> str:
    return svg.element(
        "rect", x=float(point[0]) - 3.5, y=float(point[1]) + 2.0, width=7.0, height=9.0, fill=style.MUTED
    )


def _rows(analysis: Analysis, plane: int, at: Place, slope: float) -> list[str]:
    """Rows as posts with their rail and name."""
    layout, parts = analysis.project.layout, []
    out = np.array([-np.sin(slope), -np.cos(slope)])
    for row in np.flatnonzero(layout.row_plane == plane).tolist():
        foot = at(0.5 * float(layout.row_start[row, 1] + layout.row_end[row, 1]))
        head = foot + 15.0 * out
        parts.append(svg.line(np.stack([foot, head]), style.ACCENT, 2.6))
        parts.append(svg.element("circle", cx=float(head[0]), cy=float(head[1]), r=4.0, fill=style.ACCENT))
        name = foot + 30.0 * out
        parts.append(
            svg.text(
                layout.row_name[row],
                float(name[0]),
                float(name[1]),
                TYPE,
                anchor="middle",
                color=style.ACCENT,
                bold=True,
                halo=True,
            )
        )
    return parts
