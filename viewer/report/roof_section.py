"""Section through the roof up the slope: planes, snow as it lies, rows, and the force on each row."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.snow.cases import case_pressure_at
from roofmodel.units import STANDARD_GRAVITY, UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.picture.findings import called_clamp, shown_case
from viewer.picture.labels import Text, free_place, text_width
from viewer.picture.plan import arrow
from viewer.quantities import drawn, quantity, system
from viewer.report.roof_cut import LEFT, WIDTH, Frame, RoofCut, cut_through, frame_of

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

TYPE = 12.0
LETTER, ROW = 6.2, 16.0  # width of a letter, and height of a row under the drawing [px]
LIFTS = (0.0, 12.0, 24.0, 36.0, 48.0, 60.0)  # over snow, where its depth may be written [px]
STEEP = 14.0  # rise of the roof along half a row's name, above which the name stands along it [px]
ANCHORS = {"left": "start", "right": "end"}
POST, NAME = 15.0, 17.0  # height of a drawn row, and how far below the roof its name stands [px]
WALL = 84.0  # of building drawn below the lowest eave [px]
LINE = 13.0  # from one line of words to the next [px]
NARROW = 130.0  # drawn length of a plane that holds no forces and distances [px]
CHAIN = 10.5  # type of distances [px]
SHORT_WORDS, LONG_WORDS = 64.0, 128.0  # length of a force, and of one at a row's end [px]
BEYOND = 1e-3  # of the load on a row, from where snow beyond its ends is shown [-]
ACROSS = 0.02  # a plane drawn this much flatter than it is is cut across its slope [-]
SAMPLES = 61  # of the snow along a plane


def section_svg(analysis: Analysis, units: UnitSystem | None = None) -> str:
    """Section through the governing clamp with the snow of its case, to scale, and the force on each row."""
    units = units or system(analysis.project.table.project.units)
    layout, case = analysis.project.layout, shown_case(analysis)
    clamp = max(called_clamp(analysis), 0)
    plane = int(layout.row_plane[layout.clamp_row[clamp]])
    cut = cut_through(analysis, plane, clamp)
    ends = bool(analysis.force.end_bound[case].any())
    head = 64.0 + 15.0 * ends
    frame = frame_of(cut, head + snow_over(analysis, cut, case) * frame_of(cut, 0.0).scale)
    name = analysis.project.roof.planes.name[plane]
    title = f"Section through {layout.clamp_name[clamp]}, up the slope of {name}"
    note = f"{snow_note(analysis, case, units)} Forces before load factors."
    beyond = "At row ends: the most that comes from beyond them." if ends else ""
    names, rows = plane_names(analysis, frame, case, units, forces=True)
    parts = [
        svg.text(title, LEFT, 14.0, 13.0, bold=True),
        svg.text(f"Case: {analysis.snow.cases[case].name}", LEFT, 30.0, TYPE, color=style.MUTED),
        svg.text(note, LEFT, 45.0, TYPE, color=style.MUTED),
        svg.text(beyond, LEFT, 60.0, TYPE, color=style.MUTED) if beyond else "",
        *building_parts(analysis, frame),
        *snow_parts(analysis, frame, case),
        *names,
        *depth_parts(analysis, frame, case, units),
        *row_parts(analysis, frame, case, units),
        *chain_parts(analysis, frame, units),
    ]
    return svg.document(WIDTH, frame.base + WALL + 8.0 + ROW * rows, title, parts)


def plane_names(
    analysis: Analysis, frame: Frame, case: int, units: UnitSystem, *, forces: bool = False
) -> tuple[list[str], int]:
    """Name, slope and pressures of every plane cut, below it; of narrow ones in rows under the drawing.

    With `forces` also what their rows carry and where, for which the drawing has no room there.
    """
    cut, planes, parts, rows = frame.cut, analysis.project.roof.planes, list[str](), 0
    foot, beside = frame.base + WALL, list[str]()
    places = frame.at(cut.t.mean(axis=1), cut.z.mean(axis=1))[:, 0]
    right = places >= 0.5 * WIDTH
    # From the middle outward, so that lines of words do not run below those of others.
    for i in np.lexsort((np.where(right, places, -places), right)).tolist():
        plane = int(cut.plane[i])
        pressure = _pressure(analysis, cut, i, case)[1]
        told = [quantity(float(p), "pressure", units) for p in (pressure.min(), pressure.max())]
        load = told[0] if told[0] == told[1] else f"{told[0].split()[0]} to {told[1]}"
        words = _named(analysis, cut, i, units)
        line = frame.at(cut.t[i], cut.z[i])
        x, room = float(line[:, 0].mean()), float(line[1, 0] - line[0, 0])
        short = f"{planes.name[plane]}, {drawn(float(planes.slope[plane]), 'angle', units)}"
        fits = [text for text in (words, short) if LETTER * max(len(text), len(load)) < room]
        more = _narrow_rows(analysis, frame, case, i, units) if forces else ""
        if fits and not more:
            parts.append(svg.text(fits[0], x, foot - 22.0, TYPE, anchor="middle", bold=True))
            parts.append(svg.text(load, x, foot - 8.0, TYPE, anchor="middle"))
            continue
        y = foot + 4.0 + ROW * (rows + 1)
        rows += 1
        left = x < 0.5 * WIDTH
        parts.append(
            svg.line(np.array([[x, max(line[:, 1].mean(), foot - 24.0)], [x, y - 10.0]]), style.MUTED, 0.7)
        )
        side = "start" if left else "end"
        beside.append(svg.text(f"{words}: {load}{more}", x, y, TYPE, anchor=side, bold=True, halo=True))
    return parts + beside, rows


def narrow(analysis: Analysis, frame: Frame, plane: int) -> bool:
    """Whether a plane is drawn too short for forces and distances, and is not the governing clamp's own."""
    layout, clamp = analysis.project.layout, max(called_clamp(analysis), 0)
    on = np.flatnonzero(frame.cut.plane == plane)
    long = np.linalg.norm(np.diff(frame.at(frame.cut.t[on], frame.cut.z[on]), axis=1)[:, 0], axis=-1)
    return bool(long.max(initial=0.0) < NARROW and plane != layout.row_plane[layout.clamp_row[clamp]])


def _narrow_rows(analysis: Analysis, frame: Frame, case: int, piece: int, units: UnitSystem) -> str:
    """Force and height up the slope of the rows on a narrow plane, in words."""
    layout, plane, words = analysis.project.layout, int(frame.cut.plane[piece]), ""
    for row, s, point in crossings(analysis, frame):
        load = line_load(analysis, case, row, s)
        along = float((point[:2] - frame.cut.origin) @ frame.cut.way)
        low, high = frame.cut.t[piece]
        if layout.row_plane[row] == plane and low <= along <= high and narrow(analysis, frame, plane):
            up = drawn(float(layout.row_start[row][1]), "length", units)
            words += f"; {layout.row_name[row]}, {up} up: {quantity(load, 'line', units)}"
            beyond = _beyond(analysis, case, row, s)
            if beyond > BEYOND * load * float(layout.row_length[row]):
                words += f" + {quantity(beyond, 'force', units)} at its end"
    return words


def _named(analysis: Analysis, cut: RoofCut, piece: int, units: UnitSystem) -> str:
    """Such as "E1, 26.6°", and whether it is cut across its slope."""
    planes, plane = analysis.project.roof.planes, int(cut.plane[piece])
    words = f"{planes.name[plane]}, {drawn(float(planes.slope[plane]), 'angle', units)}"
    steep = np.ptp(cut.z[piece]) / np.ptp(cut.t[piece])
    return words + (", cut across its slope" if abs(steep - np.tan(planes.slope[plane])) > ACROSS else "")


def snow_note(analysis: Analysis, case: int, units: UnitSystem) -> str:
    """How high the snow is drawn."""
    density = quantity(analysis.snow.cases[case].density, "density", units)
    return f"Snow to scale at {density}, the density of the case, drifts included."


def _pressure(analysis: Analysis, cut: RoofCut, piece: int, case: int) -> tuple[Array, Array]:
    """Places (SAMPLES,) on a piece and the pressure there. [m], [Pa]."""
    t = np.linspace(cut.t[piece, 0], cut.t[piece, 1], SAMPLES)
    inside = np.clip(t, cut.t[piece, 0] + 1e-4, cut.t[piece, 1] - 1e-4)
    xy = cut.origin + inside[:, None] * cut.way
    on = np.full(SAMPLES, cut.plane[piece])
    return t, case_pressure_at(analysis.snow.cases[case], xy, on)


def snow_over(analysis: Analysis, cut: RoofCut, case: int) -> float:
    """How far the snow rises over the highest point of the roof. [m]."""
    weight = analysis.snow.cases[case].density * STANDARD_GRAVITY
    tops = [
        float((_pressure(analysis, cut, i, case)[1] / weight + np.linspace(z[0], z[1], SAMPLES)).max())
        for i, z in enumerate(cut.z)
    ]
    return max(max(tops) - float(cut.z.max()), 0.0)


def building_parts(analysis: Analysis, frame: Frame) -> list[str]:
    """Walls and planes."""
    cut = frame.cut
    foot = frame.base + WALL
    parts: list[str] = []
    for t, z in zip(cut.t, cut.z, strict=True):
        line = frame.at(t, z)
        body = np.concatenate([line, [[line[1, 0], foot], [line[0, 0], foot]]])
        parts.append(svg.element("path", d=svg.path(body, closed=True), fill=style.WALL, stroke="none"))
        parts.append(svg.line(line, style.INK, 2.4))
    lows = frame.at(cut.t[:, 0], cut.z[:, 0]), frame.at(cut.t[:, 1], cut.z[:, 1])
    for left, right in zip(lows[1][:-1], lows[0][1:], strict=True):
        if abs(left[1] - right[1]) > 1.0:  # the wall of a step
            high, low = sorted((left, right), key=lambda at: float(at[1]))
            down = low[1] if abs(low[0] - high[0]) < 3.0 else foot
            parts.append(svg.line(np.array([high, [high[0], down]]), style.INK, 1.4))
    return parts + [
        svg.line(np.array([at, [at[0], foot]]), style.INK, 1.4) for at in (lows[0][0], lows[1][-1])
    ]


def snow_parts(analysis: Analysis, frame: Frame, case: int) -> list[str]:
    """Snow of a case on every piece, to scale, colored by its pressure."""
    cut, parts = frame.cut, []
    weight = analysis.snow.cases[case].density * STANDARD_GRAVITY
    found = [_pressure(analysis, cut, i, case) for i in range(len(cut.plane))]
    top = max(max(float(p.max()) for _, p in found), 1e-9)
    for (t, pressure), z in zip(found, cut.z, strict=True):
        if pressure.max() <= 0.0:
            continue
        level = np.interp(t, t[[0, -1]], z)
        low, high = frame.at(t, level), frame.at(t, level + pressure / weight)
        color = style.hexadecimal(style.snow_rgb(0.3 + 0.6 * float(pressure.mean()) / top))
        ring = np.concatenate([low, high[::-1]])
        parts.append(
            svg.element(
                "path",
                d=svg.path(ring, closed=True),
                fill=color,
                stroke=style.ACCENT,
                stroke_width=0.8,
                data_snow=repr(float(np.trapezoid(pressure, t))),
            )
        )
    return parts


def _rises(cut: RoofCut, t: float) -> bool:
    """Whether the roof rises along the cut at a place. [m]."""
    piece = int(np.argmin(np.abs(cut.t.mean(axis=1) - t) - 0.5 * np.diff(cut.t, axis=1)[:, 0]))
    return bool(cut.z[piece, 1] > cut.z[piece, 0])


def depth_parts(
    analysis: Analysis, frame: Frame, case: int, units: UnitSystem, *, forces: bool = True
) -> list[str]:
    """Height of the deepest snow of the section; of equals the place farthest from rows and ends."""
    cut = frame.cut
    found = [_pressure(analysis, cut, i, case) for i in range(len(cut.plane))]
    t, pressure = (np.concatenate([one[k] for one in found]) for k in (0, 1))
    level = np.concatenate([np.interp(s, s[[0, -1]], z) for (s, _), z in zip(found, cut.z, strict=True)])
    if not pressure.max(initial=0.0) > 0.0:
        return []
    rows = np.array([(point[:2] - cut.origin) @ cut.way for _, _, point in crossings(analysis, frame)])
    away = np.abs(t[:, None] - np.append(rows, [cut.t.min(), cut.t.max()])).min(axis=1)
    at = int(np.argmax(np.where(pressure >= 0.999 * pressure.max(), away, -1.0)))
    weight = analysis.snow.cases[case].density * STANDARD_GRAVITY
    depth = float(pressure[at]) / weight
    low, high = frame.at(t[at], level[at]), frame.at(t[at], level[at] + depth)
    if low[1] - high[1] < 4.0:
        return []
    words = f"{drawn(depth, 'length', units)} deep"
    near = float(rows[np.abs(rows - t[at]).argmin()] - t[at]) * frame.scale if len(rows) else np.inf
    # Down the slope, where snow does not rise into the words; beside a row away from its force.
    right = near < 0.0 if abs(near) < 110.0 else not _rises(cut, float(t[at]))
    top = float(frame.at(t, level + pressure / weight)[:, 1].min())
    x, middle = float(high[0]), 0.5 * float(low[1] + high[1])
    tries = [
        Text(words, (x + (5.0 if side else -5.0), y), TYPE, align="left" if side else "right")
        for y in (middle, *(float(high[1]) - 9.0 - rise for rise in LIFTS))
        for side in (right, not right)
    ]
    taken = [_below(frame, one, weight, k) for k, one in enumerate(found)]
    taken += _row_shapes(analysis, frame, case, forces=forces)
    text = free_place(tries, shapely.union_all(taken).buffer(1.5), (4.0, top - 17.0, WIDTH - 4.0)) or tries[0]
    lead = np.array([high, [x, min(float(high[1]), text.at[1] + 7.0)]])
    ticks = [end + np.array([[-3.0, 0.0], [3.0, 0.0]]) for end in (low, high)]
    return [
        *(svg.line(one, style.INK, 1.1) for one in (np.stack([low, high]), *ticks)),
        svg.line(lead, style.MUTED, 0.7),
        svg.text(words, text.at[0], text.at[1] + 4.0, TYPE, anchor=ANCHORS[text.align], halo=True),
    ]


def _below(frame: Frame, snow: tuple[Array, Array], weight: float, piece: int) -> shapely.Geometry:
    """Snow on a piece of the cut with the building below it. [px]."""
    t, pressure = snow
    top = frame.at(t, np.interp(t, frame.cut.t[piece], frame.cut.z[piece]) + pressure / weight)
    foot = frame.base + WALL
    return shapely.Polygon([*top, (top[-1, 0], foot), (top[0, 0], foot)]).buffer(0.0)


def _row_shapes(analysis: Analysis, frame: Frame, case: int, *, forces: bool) -> list[shapely.Geometry]:
    """What `row_parts` draws of rows: their names, and the arrows and words of their forces. [px]."""
    layout, met = analysis.project.layout, crossings(analysis, frame)
    steps = _word_steps(analysis, frame, [(row, point) for row, _, point in met])
    shapes: list[shapely.Geometry] = []
    for (row, s, point), (_, of) in zip(met, steps, strict=True):
        out, up = _ways(analysis, frame, row)
        foot = frame.of(point)
        half = 0.5 * text_width(layout.row_name[row], TYPE, bold=True)
        shapes.append(shapely.Point(foot - NAME * out).buffer(half))
        load = line_load(analysis, case, row, s)
        if not (forces and load > 0.0) or narrow(analysis, frame, int(layout.row_plane[row])):
            continue
        more = _beyond(analysis, case, row, s) > BEYOND * load * float(layout.row_length[row])
        high = (9.0 + LINE * of + 26.0 * more) * out
        long = (LONG_WORDS if more and of == 1 else SHORT_WORDS + 16.0) * up
        head = foot + POST * out
        shapes.append(shapely.Polygon([head, head + long, head + long + high, head + high]))
    return shapes


def crossings(analysis: Analysis, frame: Frame) -> list[tuple[int, float, Array]]:
    """Rows that the cut meets on a plane that falls along it: row, place along it [m], point (3,)."""
    cut, layout, planes = frame.cut, analysis.project.layout, analysis.project.roof.planes
    found = []
    for row, plane in enumerate(layout.row_plane.tolist()):
        ends = planes.to_world(plane, np.stack([layout.row_start[row], layout.row_end[row]]))
        side = (ends[:, :2] - cut.origin) @ np.array([-cut.way[1], cut.way[0]])
        if abs(planes.across[plane, :2] @ cut.way) > 0.02 or side[0] * side[1] > 0.0 or side[0] == side[1]:
            continue
        share = float(side[0] / (side[0] - side[1]))
        found.append((row, share * float(layout.row_length[row]), ends[0] + share * (ends[1] - ends[0])))
    return found


def line_load(analysis: Analysis, case: int, row: int, s: float) -> float:
    """Sliding force per length of a row at a place along it, before load factors. [N/m]."""
    force = analysis.force
    on = np.flatnonzero(force.row == row)
    k = on[np.searchsorted(force.span[on, 1], s).clip(0, len(on) - 1)]
    return float(-force.thrust[case, k, 1] / (force.span[k, 1] - force.span[k, 0]))


def _beyond(analysis: Analysis, case: int, row: int, s: float) -> float:
    """What may come from beyond the end of a row that is nearer to a place along it. [N]."""
    end = int(s > 0.5 * float(analysis.project.layout.row_length[row]))
    return float(analysis.force.end_bound[case, row, end])


def row_parts(
    analysis: Analysis, frame: Frame, case: int, units: UnitSystem, *, forces: bool = True
) -> list[str]:
    """Rows as posts with rail and name, and the force of the snow on them down the slope."""
    layout, planes, parts = analysis.project.layout, analysis.project.roof.planes, []
    met = crossings(analysis, frame)
    steps = _word_steps(analysis, frame, [(row, point) for row, _, point in met])
    for (row, s, point), (step, of) in zip(met, steps, strict=True):
        plane = int(layout.row_plane[row])
        slope = float(planes.slope[plane])
        out, up = _ways(analysis, frame, row)
        rise = float(np.sign(up[0]))
        foot = frame.of(point)
        head = foot + POST * out
        parts.append(svg.line(np.stack([foot, head]), style.INK, 2.6))
        parts.append(svg.element("circle", cx=float(head[0]), cy=float(head[1]), r=4.2, fill=style.INK))
        words, angle = layout.row_name[row], svg.number(-rise * float(np.degrees(slope)))
        # A long name below a steep roof stands along it, so that it meets neither roof nor distances.
        tall = 0.5 * text_width(words, TYPE, bold=True) * np.sin(slope)
        x, y = (foot - NAME * out).tolist()
        turn = f"translate({svg.number(x)} {svg.number(y)}){f' rotate({angle})' if tall > STEEP else ''}"
        low = 4.0 if tall > STEEP else 0.0
        parts.append(svg.text(words, 0.0, low, TYPE, anchor="middle", bold=True, halo=True, transform=turn))
        load = line_load(analysis, case, row, s)
        if forces and load > 0.0 and not narrow(analysis, frame, plane):
            parts += arrow(head + 54.0 * up, head + 5.0 * up, 2.2)
            at = head + 9.0 * up + (9.0 + LINE * step) * out
            turn = f"translate({svg.number(at[0])} {svg.number(at[1])}) rotate({angle})"
            side = "start" if rise > 0.0 else "end"
            text = quantity(load, "line", units)
            parts.append(svg.text(text, 0.0, 3.0, TYPE, anchor=side, bold=True, halo=True, transform=turn))
            beyond = _beyond(analysis, case, row, s)
            if beyond > BEYOND * load * float(layout.row_length[row]):
                over = (26.0 + LINE * (of - 1)) * out  # of all words on the snow of the rows
                parts += arrow(head + 54.0 * up + over, head + 5.0 * up + over, 1.2)
                at = at + over
                turn = f"translate({svg.number(at[0])} {svg.number(at[1])}) rotate({angle})"
                text = f"+ {quantity(beyond, 'force', units)}{' at its end' if of == 1 else ''}"
                parts.append(svg.text(text, 0.0, 3.0, TYPE, anchor=side, halo=True, transform=turn))
    return parts


def _ways(analysis: Analysis, frame: Frame, row: int) -> tuple[Array, Array]:
    """Unit vectors on the drawing away from the roof at a row and up its slope, (2,) each."""
    planes, plane = analysis.project.roof.planes, int(analysis.project.layout.row_plane[row])
    rise = 1.0 if planes.upslope[plane, :2] @ frame.cut.way > 0.0 else -1.0
    slope = float(planes.slope[plane])
    return np.array([-rise * np.sin(slope), -np.cos(slope)]), np.array([rise * np.cos(slope), -np.sin(slope)])


def _word_steps(analysis: Analysis, frame: Frame, met: list[tuple[int, Array]]) -> list[tuple[int, int]]:
    """Step over its arrow at which the words of a row stand, and the number of steps on its plane.

    Rows that are nearer than words are long take turns, the highest at the lowest step.
    """
    plane = np.array([analysis.project.layout.row_plane[row] for row, _ in met], dtype=np.int64)
    place = np.array([frame.of(point) for _, point in met]).reshape(-1, 2)
    rank, steps = np.zeros(len(met), dtype=np.int64), np.ones(len(met), dtype=np.int64)
    for one in np.unique(plane):
        on = np.flatnonzero(plane == one)
        on = on[np.argsort(place[on, 1])]
        rank[on] = np.arange(len(on))
        apart = np.linalg.norm(np.diff(place[on], axis=0), axis=1).min(initial=np.inf)
        if apart < LONG_WORDS:
            steps[on] = np.clip(np.ceil(SHORT_WORDS / apart), 2, 4)
    return [(int(a % b), int(b)) for a, b in zip(rank, steps, strict=True)]


def chain_parts(analysis: Analysis, frame: Frame, units: UnitSystem) -> list[str]:
    """Distances up the slope, true: lower edge to first row, row to row, last row to the upper edge."""
    layout, cut, parts = analysis.project.layout, frame.cut, list[str]()
    met = crossings(analysis, frame)
    for plane, t, z in zip(cut.plane.tolist(), cut.t, cut.z, strict=True):
        on = [point for row, _, point in met if layout.row_plane[row] == plane]
        here = [p for p in on if t[0] - 1e-6 <= (p[:2] - cut.origin) @ cut.way <= t[1] + 1e-6]
        if not here or narrow(analysis, frame, plane):
            continue
        inner = np.array([[(p[:2] - cut.origin) @ cut.way, p[2]] for p in here])
        points = np.concatenate([np.stack([t, z], axis=1), inner])
        points = points[np.argsort(points[:, 0])]
        length = np.linalg.norm(np.diff(points, axis=0), axis=1)
        at = frame.at(points[:, 0], points[:, 1])
        way = (at[-1] - at[0]) / np.linalg.norm(at[-1] - at[0])
        below = np.array([-way[1], way[0]])
        line = at + 32.0 * below
        parts.append(svg.line(line[[0, -1]], style.MUTED, 0.8))
        parts += [
            svg.line(np.stack([a + 4.0 * below, b + 3.0 * below]), style.FAINT, 0.6)
            for a, b in zip(at, line, strict=True)
        ]
        parts += [
            svg.line(np.stack([p - 3.0 * (way + below), p + 3.0 * (way + below)]), style.INK, 1.1)
            for p in line
        ]
        angle = float(np.degrees(np.arctan2(way[1], way[0])))
        said = [drawn(value, "length", units) for value in length.tolist()]
        middle = 0.5 * (line[1:] + line[:-1])
        lanes = _lanes((middle - line[0]) @ way, [text_width(words, CHAIN) + 4.0 for words in said])
        for k, words in enumerate(said):
            x, y = (middle[k] + (10.0 + 12.0 * lanes[k]) * below).tolist()
            turn = f"translate({svg.number(x)} {svg.number(y)}) rotate({svg.number(angle)})"
            parts.append(svg.text(words, 0.0, 3.6, CHAIN, anchor="middle", halo=True, transform=turn))
    return parts


def _lanes(middle: Array, wide: list[float]) -> list[int]:
    """Lines, from 0, in which words of some width stand along a row of middles so that none meet. [px]."""
    ends, lanes = list[float](), list[int]()
    for at, size in zip(middle.tolist(), wide, strict=True):
        lane = next((k for k, end in enumerate(ends) if at - 0.5 * size >= end), len(ends))
        ends[lane : lane + 1] = [at + 0.5 * size]
        lanes.append(lane)
    return lanes
