"""The governing clamp on its seam, or bracket on its screws, to scale, with the forces of the hand check."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.limits import clamp_components
from fea.checks.screws import SCREW_LIMITS
from roofmodel.hardware import Clamp
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.picture.findings import called_clamp
from viewer.picture.plan import arrow
from viewer.quantities import as_given, percent, quantity, system
from viewer.report.working_steps import DIRECTIONS, clamp_at

Array = NDArray[np.float64]

WIDTH, TYPE = 760.0, 12.0
TALL = 190.0  # of the hardware in the view along the slope [px]
PAN = 270.0  # height of the pan in both views [px]
PLATE = 5.0  # thickness of a bracket's base as drawn [px]
MIDDLE, RIGHT = 255.0, 440.0  # middle of the first view, left end of the second [px]


def clamp_svg(analysis: Analysis, units: UnitSystem | None = None) -> str:
    """Two views of the governing clamp: across the slope with its forces, and up the slope with the seams.

    A bracket stands on its base with its screws.

    Sizes are those of the project file, to scale; shapes of clamp and seam are schematic.
    """
    governing = analysis.attachment
    if governing is None:
        return ""
    units = units or system(analysis.project.table.project.units)
    name = analysis.project.layout.clamp_name[called_clamp(analysis)]
    bracket = analysis.project.clamp.screws is not None
    title = f"Bracket {name} on its screws" if bracket else f"Clamp {name} on its seam"
    note = "Sizes of the project file, to scale; shapes are schematic. Factored forces."
    parts = [
        svg.text(title, 20.0, 14.0, 13.0, bold=True),
        svg.text(note, 20.0, 30.0, TYPE, color=style.MUTED),
        *_from_the_side(analysis, units),
        *_up_the_slope(analysis, units),
        *_strengths(analysis, units),
    ]
    return svg.document(WIDTH, PAN + 66.0, title, parts)


def _strengths(analysis: Analysis, units: UnitSystem) -> list[str]:
    """Demand and design strength in every loaded direction."""
    governing, clamp = analysis.attachment, analysis.project.clamp
    assert governing is not None
    at = clamp_at(analysis, called_clamp(analysis), governing.case, analysis.limits[governing.limit].name)
    demand, lines = clamp_components(at.force, clamp), []
    for i, name in enumerate(DIRECTIONS):
        if demand[i] > 0.01 * float(demand[:4].max()) or (i > 3 and not np.isnan(clamp.strength[i])):
            kind = "force" if i < 4 else "grip moment"
            strength = float(clamp.strength[i])
            known = "no strength given" if np.isnan(strength) else f"of {quantity(strength, kind, units)}"
            lines.append(f"{name}: {quantity(float(demand[i]), kind, units)} {known}")
    lines = _screw_lines(analysis, units) or lines
    return [
        svg.text("Demand and design strength", RIGHT + 20.0, 64.0, TYPE, bold=True),
        *(svg.text(line, RIGHT + 20.0, 82.0 + 16.0 * k, TYPE) for k, line in enumerate(lines)),
    ]


def _screw_lines(analysis: Analysis, units: UnitSystem) -> list[str]:
    """Use of every limit of the screws in the governing case; none without screws."""
    governing, found = analysis.attachment, []
    assert governing is not None
    where = called_clamp(analysis)
    for limit in analysis.limits:
        if limit.name in SCREW_LIMITS:
            demand = float(limit.demand[governing.case, where])
            strength = float(limit.resistance[where])
            use = float(limit.utilization[governing.case, where])
            of = "" if np.isnan(strength) else f" of {quantity(strength, limit.quantity, units)}"
            known = "" if np.isnan(demand) else f"{quantity(demand, limit.quantity, units)}{of}, "
            found.append(f"{limit.name}: {known}{'not verified' if np.isnan(use) else percent(use)}")
    return found


def _screws(place: Array, x: float, scale: float, sheet: float, plate: float) -> list[str]:
    """Screws seen from the side at some places along a view: heads on the base, threads into the sheet."""
    parts = []
    for at in np.unique(np.round(place, 6)).tolist():
        middle = x + scale * at
        parts.append(svg.line(np.array([[middle, plate], [middle, sheet + 16.0]]), style.INK, 2.2))
        parts.append(_box(middle - 4.5, plate - 4.0, middle + 4.5, plate, style.INK))
    return parts


def _box(x0: float, y0: float, x1: float, y1: float, fill: str) -> str:
    left, top = min(x0, x1), min(y0, y1)
    wide, tall = abs(x1 - x0), abs(y1 - y0)
    return svg.element(
        "rect", x=left, y=top, width=wide, height=tall, fill=fill, stroke=style.INK, stroke_width=1.2
    )


def _measure(a: Array, b: Array, words: str, *, left: bool = False) -> list[str]:
    """An upright or level dimension between two points, its words beside it."""
    level = abs(a[1] - b[1]) < 1e-6
    tick = np.array([3.0, -3.0])
    parts = [svg.line(np.stack([a, b]), style.MUTED, 0.8)]
    parts += [svg.line(np.stack([p - tick, p + tick]), style.INK, 1.1) for p in (a, b)]
    x, y = (0.5 * (a + b)).tolist()
    if level:
        return [*parts, svg.text(words, x, y + 14.0, TYPE, anchor="middle", halo=True)]
    side = -7.0 if left else 7.0
    return [*parts, svg.text(words, x + side, y + 4.0, TYPE, anchor="end" if left else "start", halo=True)]


def _rail_shape(analysis: Analysis, middle: Array, scale: float) -> list[str]:
    """Outline of the rail; what is known by its sizes alone is dashed."""
    section, table = analysis.project.rail.section, analysis.project.table.rail
    wall = table.wall or 0.0
    wide, tall = scale * section.depth_y, scale * section.depth_z
    if table.shape in ("round tube", "round bar"):
        rings = [shapely.Point(middle).buffer(0.5 * tall)]
        if table.shape == "round tube":
            rings.append(shapely.Point(middle).buffer(0.5 * tall - scale * wall))
    else:
        # The line of centroids lies below the top by `highest_top`.
        top = middle[1] - scale * section.highest_top
        rings = [shapely.box(middle[0] - 0.5 * wide, top, middle[0] + 0.5 * wide, top + tall)]
        if table.shape == "rectangular tube":
            rings.append(rings[0].buffer(-scale * wall, join_style="mitre"))
    data = "".join(svg.path(shapely.get_coordinates(ring)[:-1], closed=True) for ring in rings)
    under = svg.element(
        "path", d=svg.path(shapely.get_coordinates(rings[0])[:-1], closed=True), fill=style.PAPER
    )
    dash = "4 3" if table.shape in ("values", "profile") else "none"
    return [
        under,
        svg.element(
            "path",
            d=data,
            fill=style.FAINT,
            fill_rule="evenodd",
            stroke=style.INK,
            stroke_width=1.2,
            stroke_dasharray=dash,
        ),
    ]


def _from_the_side(analysis: Analysis, units: UnitSystem) -> list[str]:
    """Seam and grip seen across the slope, down the slope to the left, with the forces."""
    clamp, panel, rail = analysis.project.clamp, analysis.project.panel, analysis.project.rail
    governing = analysis.attachment
    assert governing is not None
    section = rail.section
    height = clamp.grip_height + clamp.height + section.highest_top
    long = _foot(clamp, 0)
    scale = TALL / max(height, panel.seam_height, long / 1.1)
    seam, grip = PAN - scale * panel.seam_height, PAN - scale * clamp.grip_height
    axis, half = grip - scale * clamp.height, 0.5 * scale * long
    parts = [_box(MIDDLE - 150.0, PAN, MIDDLE + 150.0, PAN + 4.0, style.WALL_SHADE)]
    if clamp.screws is not None:
        parts += [
            _box(MIDDLE - half, PAN - PLATE, MIDDLE + half, PAN, style.HAIRLINE),
            _box(MIDDLE - 0.2 * half, axis, MIDDLE + 0.2 * half, PAN - PLATE, style.HAIRLINE),
            *_screws(-clamp.screws.place[:, 0], MIDDLE, scale, PAN, PAN - PLATE),
        ]
    else:
        parts += [
            _box(MIDDLE - 150.0, seam, MIDDLE + 150.0, PAN, style.TINT),
            _box(MIDDLE - half, seam - 5.0, MIDDLE + half, min(grip + 9.0, PAN - 3.0), style.HAIRLINE),
            _box(MIDDLE - 0.3 * half, axis, MIDDLE + 0.3 * half, seam - 5.0, style.HAIRLINE),
        ]
    parts += [
        *_rail_shape(analysis, np.array([MIDDLE, axis]), scale),
        svg.text("down the slope", MIDDLE - 150.0, PAN + 20.0, TYPE, color=style.MUTED),
    ]
    where = called_clamp(analysis)
    at = clamp_at(analysis, where, governing.case, analysis.limits[governing.limit].name)
    demand = clamp_components(at.force, clamp)
    acts = axis - (scale * section.highest_top if at.top else 0.0)
    way = 1.0 if at.force[0] >= 0.0 else -1.0
    tail = np.array([MIDDLE + way * 128.0, acts])
    parts += arrow(tail, np.array([MIDDLE + way * 0.5 * scale * section.depth_y + way * 3.0, acts]), 2.4)
    force = quantity(abs(float(at.force[0])), "force", units)
    parts.append(
        svg.text(
            f"F {force}",
            float(tail[0]),
            acts - 7.0,
            TYPE,
            anchor="end" if way > 0.0 else "start",
            bold=True,
            halo=True,
        )
    )
    # Overturning by the arm from grip to force: lift at the uphill end of the grip, push at the downhill end.
    for value, letter, end, down in ((demand[2], "P", way, False), (demand[3], "Q", -way, True)):
        if clamp.screws is None and value > 0.01 * abs(float(at.force[0])):
            x = MIDDLE + end * (half + 9.0)
            ends = np.array([[x, grip + 24.0], [x, grip - 18.0]])
            parts += arrow(ends[1], ends[0], 1.8) if down else arrow(ends[0], ends[1], 1.8)
            words = f"{letter} {quantity(float(value), 'force', units)}"
            side = "start" if end > 0.0 else "end"
            x, y = x + end * 7.0, grip + 14.0
            parts.append(svg.text(words, x, y, TYPE, anchor=side, bold=True, halo=True))
    arm = as_given(clamp.height + (section.highest_top if at.top else 0.0), "size", units)
    x = MIDDLE - 164.0
    parts += _measure(np.array([x, grip]), np.array([x, acts]), f"e {arm}", left=True)
    if clamp.grip_height > 0.0:
        low = as_given(clamp.grip_height, "size", units)
        parts += _measure(np.array([x, PAN]), np.array([x, grip]), low, left=True)
    words = f"{'grip' if clamp.screws is None else 'base'} {as_given(long, 'size', units)}"
    y = PAN + 30.0
    parts += _measure(
        np.array([MIDDLE - half, y]),
        np.array([MIDDLE + half, y]),
        words,
    )
    return parts


def _foot(clamp: Clamp, axis: int) -> float:
    """Length of the grip, or size of a bracket's base along (0) or across (1), else of its screws. [m]."""
    if clamp.screws is None:
        return clamp.grip_length
    size, place = float(clamp.screws.base[axis]), clamp.screws.place[:, axis]
    return float(np.ptp(place)) + 0.02 if np.isnan(size) else size


def _up_the_slope(analysis: Analysis, units: UnitSystem) -> list[str]:
    """Seams, clamps and rail seen up the slope."""
    clamp, panel, layout = analysis.project.clamp, analysis.project.panel, analysis.project.layout
    where, section = called_clamp(analysis), analysis.project.rail.section
    on = np.flatnonzero(layout.clamp_row == layout.clamp_row[where])
    near = on[np.argsort(np.abs(layout.clamp_s[on] - layout.clamp_s[where]), kind="stable")[:3]]
    s = np.sort(layout.clamp_s[near]) - layout.clamp_s[where]
    seams = np.arange(
        np.floor(s[0] / panel.seam_spacing + 0.01), np.ceil(s[-1] / panel.seam_spacing - 0.01) + 1
    )
    place = seams * panel.seam_spacing
    span = max(float(place[-1] - place[0]), panel.seam_spacing)
    scale = (WIDTH - RIGHT - 60.0) / (span + 0.5 * panel.seam_spacing)
    upright = min(scale, TALL / (clamp.grip_height + clamp.height + section.highest_top))

    def x(at: float) -> float:
        return RIGHT + 20.0 + scale * (at - float(place[0]) + 0.25 * panel.seam_spacing)

    seam, axis = PAN - upright * panel.seam_height, PAN - upright * (clamp.grip_height + clamp.height)
    top = axis - upright * section.highest_top
    parts = [_box(RIGHT + 20.0, PAN, WIDTH - 20.0, PAN + 3.0, style.WALL_SHADE)]
    parts += [svg.line(np.array([[x(at), PAN], [x(at), seam]]), style.INK, 3.0) for at in place.tolist()]
    width = max(0.5 * upright * clamp.grip_length, 5.0)
    for at in s.tolist():
        if clamp.screws is not None:
            wide = max(0.5 * scale * _foot(clamp, 1), 4.0)
            parts.append(_box(x(at) - wide, PAN - PLATE, x(at) + wide, PAN, style.HAIRLINE))
            parts.append(_box(x(at) - 0.4 * wide, axis, x(at) + 0.4 * wide, PAN - PLATE, style.HAIRLINE))
            parts += _screws(clamp.screws.place[:, 1], x(at), scale, PAN, PAN - PLATE)
            continue
        parts.append(
            _box(x(at) - 0.5 * width, seam - 4.0, x(at) + 0.5 * width, 0.5 * (PAN + seam), style.HAIRLINE)
        )
        parts.append(_box(x(at) - 0.25 * width, axis, x(at) + 0.25 * width, seam - 4.0, style.HAIRLINE))
    parts.append(_box(RIGHT + 20.0, top, WIDTH - 20.0, top + upright * section.depth_z, style.FAINT))
    names = [layout.clamp_name[c] for c in near[np.argsort(layout.clamp_s[near])]]
    for at, name in zip(s.tolist(), names, strict=True):
        parts.append(svg.text(name, x(at), top - 8.0, TYPE, anchor="middle", bold=at == 0.0))
    if len(place) > 1:
        words = f"seams {as_given(panel.seam_spacing, 'size', units)}"
        ends = (np.array([x(float(place[0])), PAN + 18.0]), np.array([x(float(place[1])), PAN + 18.0]))
        parts += _measure(*ends, words)
    return parts
