"""Eave section with the rows, and what the roof carries with them and without, as bars."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.surface import RoofSurface
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.picture.findings import shown_case
from viewer.quantities import column, drawn
from viewer.report.roof_cut import LEFT, RIGHT, WIDTH, Frame, RoofCut, cut_through, frame_of
from viewer.report.roof_section import (
    ROW,
    TYPE,
    WALL,
    building_parts,
    depth_parts,
    plane_names,
    row_parts,
    snow_note,
    snow_over,
    snow_parts,
)

Array = NDArray[np.float64]

CHART, GAP = 110.0, 26.0
BAR = 13.0
WITH, WITHOUT = style.SNOW_DEEP_ANCHORS[6], style.SNOW_DEEP_ANCHORS[2]


def section_plane(analysis: Analysis) -> int:
    """Plane that is drawn: of those with rows the one whose snow they raise most."""
    found = analysis.building.planes
    gain = found.held - (0.0 if found.free is None else found.free)
    return int(np.argmax(np.where(found.rows > 0.0, gain + 1e-9 * found.held, -np.inf)))


def building_svg(analysis: Analysis, units: UnitSystem) -> str:
    """Section up the slope of one plane, eave on the left, with its snow; bars of line loads of its purlins.

    Without purlin lines the bars are the mean pressure on each plane of the section. Every bar carries its
    SI value in the attribute data-load.
    """
    plane = section_plane(analysis)
    roof, found, case = analysis.project.roof, analysis.building, shown_case(analysis)
    cut = cut_through(analysis, plane)
    over = snow_over(analysis, cut, case) * frame_of(cut, 0.0).scale
    frame = frame_of(cut, CHART + GAP + 62.0 + over)
    slope = float(roof.planes.slope[plane])
    framing, held, free = analysis.project.framing, found.held, found.free
    on = np.zeros(0, dtype=int) if framing is None else np.flatnonzero(framing.plane == plane)
    if len(on) and framing is not None and held is not None:
        points = frame.of(_up(roof, cut, plane, framing.up[on]))
        x = points[:, 0]
        loads = [held.peak[:, on].max(axis=0), None if free is None else free.peak[:, on].max(axis=0)]
        kind, title = "line", "Largest load of each purlin line"
    else:
        points = np.zeros((0, 2))
        pieces = [int(np.flatnonzero(cut.plane == p)[0]) for p in dict.fromkeys(cut.plane.tolist())]
        shown, total = cut.plane[pieces], found.planes
        x = frame.at(cut.t[pieces].mean(axis=1), cut.z[pieces].mean(axis=1))[:, 0]
        loads = [total.held[shown] / total.area[shown]]
        loads.append(None if total.free is None else total.free[shown] / total.area[shown])
        kind, title = "pressure", "Mean snow on each plane"
    parts = _bars(x, loads, kind, title, units)
    names, rows = plane_names(analysis, frame, case, units)
    parts += building_parts(analysis, frame) + snow_parts(analysis, frame, case) + names
    over_words = _overhang(analysis, plane, frame, rows, units)
    parts += over_words
    parts += [_purlin(point) for point in points]
    parts += depth_parts(analysis, frame, case, units, forces=False)
    parts += row_parts(analysis, frame, case, units, forces=False)
    note = f"Case: {analysis.snow.cases[case].name}. {snow_note(analysis, case, units)}"
    parts.append(svg.text(note, LEFT, CHART + GAP + 32.0, TYPE, color=style.MUTED))
    angle = drawn(slope, "angle", units)
    words = f"Section of {roof.planes.name[plane]} up the slope, {angle}; eave on the left"
    return svg.document(WIDTH, frame.base + WALL + 8.0 + ROW * (rows + bool(over_words)), words, parts)


def _up(roof: RoofSurface, cut: RoofCut, plane: int, up: Array) -> Array:
    """Points (n, 3) of a plane on the cut, `up` the slope (n,). [m]."""
    planes = roof.planes
    across = planes.to_plane(plane, np.append(cut.origin, 0.0)[None])[0, 0]
    return planes.to_world(plane, np.stack([np.full(len(up), across), up], axis=1))


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


def _overhang(analysis: Analysis, plane: int, frame: Frame, rows: int, units: UnitSystem) -> list[str]:
    """Where the wall stands under the eave; its words below `rows` others under the drawing."""
    framing = analysis.project.framing
    over = 0.0 if framing is None else float(np.nan_to_num(framing.overhang[plane]))
    if not over > 0.0:
        return []
    foot = frame.of(_up(analysis.project.roof, frame.cut, plane, np.array([over])))[0]
    low = frame.base + WALL + 4.0 + ROW * (rows + 1)
    wall = np.array([[foot[0], foot[1]], [foot[0], low - 11.0]])
    words = f"overhang {drawn(over, 'length', units)}"
    return [
        svg.line(wall, style.INK, 1.4),
        svg.text(words, float(foot[0]), low, TYPE),
    ]


def _purlin(point: Array) -> str:
    return svg.element(
        "rect", x=float(point[0]) - 3.5, y=float(point[1]) + 2.0, width=7.0, height=9.0, fill=style.MUTED
    )
