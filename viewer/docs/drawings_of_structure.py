"""Figures of where forces go: purlins, the ends of partial rows, clamps, and of ice at the eaves."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, box

from fea.analysis import Analysis
from fea.checks.limits import Limit
from roofmodel.snow.thaw import ThawAid, coldest_thaw
from viewer import style
from viewer.docs.canvas import Axes, sheet, slope

Array = NDArray[np.float64]

INSIDE = 20.0  # [degrees C]
ROOFS = ((1.0, "little insulation, U = 1.0"), (0.3, "U = 0.3"), (0.12, "much insulation, U = 0.12"))
DENSITY = 250.0  # [kg/m^3]
AIR = -10.0  # [degrees C]


def where_the_weight_goes(analysis: Analysis) -> tuple[Any, tuple[str, ...]]:
    """Snow that every purlin line takes with the row and without it."""
    building, framing = analysis.building, analysis.project.framing
    assert framing is not None
    assert building.held is not None
    assert building.free is not None
    plane = analysis.project.roof.planes.name.index("S1")
    on = np.flatnonzero(framing.plane == plane)
    held = building.held.total[:, on].max(axis=0) / 1000.0
    free = building.free.total[:, on].max(axis=0) / 1000.0
    drawing = sheet("Snow on every purlin, with the row and without", 420.0)
    axes = Axes(drawing, (76.0, 84.0, 690.0, 320.0), (0.4, len(on) + 0.6), (0.0, style.scale_top(held.max())))
    words = tuple(f"{u:.1f} m" for u in framing.up[on])
    axes.scales(
        np.arange(1.0, len(on) + 1.0),
        np.linspace(0.0, axes.y[1], 4),
        ("", "snow on a purlin line [kN]"),
        words=words,
    )
    for i, (with_row, without) in enumerate(zip(held, free, strict=True)):
        axes.bar((i + 0.68, i + 0.98), (0.0, without), style.HAIRLINE, style.MUTED)
        axes.bar((i + 1.02, i + 1.32), (0.0, with_row), style.SNOW_DEEP_ANCHORS[5], style.INK)
        axes.label(f"{with_row:.1f}", i + 1.17, with_row, align="center", shift=(0.0, -11.0))
    drawing.write("up the slope from the eave", 690.0, 360.0, 15.0, color=style.MUTED, align="right")
    for x, color, line, text in (
        (76.0, style.HAIRLINE, style.MUTED, "without: some may slide off"),
        (360.0, style.SNOW_DEEP_ANCHORS[5], style.INK, "with the row, 0.6 m up the slope"),
    ):
        drawing.area(box(x, 384.0, x + 18.0, 400.0), color, line, 1.0)
        drawing.write(text, x + 26.0, 392.0, 15.0)
    drag = max(d.held for d in building.demands if d.what.startswith("drag")) / 1000.0
    ratio = held.sum() / free.sum()
    return drawing, (f"{held[0]:.1f} kN", f"{held[1]:.1f} kN", f"{ratio:.2f} times", f"{drag:.2f} kN")


def _along(analysis: Analysis) -> tuple[Limit, Array, Array]:
    """The limit of clamps along the seam, the demands (c,) [kN] and places across the plane (c,) [m]."""
    limit = next(one for one in analysis.limits if one.name == "clamp along the seam")
    return limit, limit.demand.max(axis=0) / 1000.0, analysis.project.layout.clamp_uv[:, 0]


def partial_row(full: Analysis, door: Analysis) -> tuple[Any, tuple[str, ...]]:
    """Clamps of a row over the door against the same clamps of a row over the whole plane."""
    limit, every, place = _along(full)
    _, few, few_place = _along(door)
    strength = float(limit.resistance[0]) / 1000.0
    layout = door.project.layout
    start, end = layout.row_start[0], layout.row_end[0]
    outline = door.project.roof.planes.outline[int(layout.row_plane[0])]
    _, _, wide, high = outline.bounds
    drawing = sheet("A row over the door only: its ends collect from beside it", 560.0)
    scale = 620.0 / wide
    left, foot = 70.0, 66.0 + scale * high

    def px(uv: Array) -> Array:
        return np.stack([left + scale * uv[..., 0], foot - scale * uv[..., 1]], axis=-1)

    drawing.area(Polygon(px(np.asarray(outline.exterior.coords))), style.SNOW_ANCHORS[1], style.INK, 1.4)
    rise = high - start[1]
    lean = rise * np.tan(door.project.slide.spread_angle)
    for tip, sign in ((start, -1.0), (end, 1.0)):
        wedge = np.array([tip, [tip[0], high], [np.clip(tip[0] + sign * lean, 0.0, wide), high]])
        drawing.area(Polygon(px(wedge)), style.KEPT_ANCHORS[1], style.KEPT_ANCHORS[2], 1.0)
    drawing.line(px(np.stack([start, end])), style.INK, 5.0)
    name = px(0.5 * (start + end) + np.array([0.0, 0.42]))
    drawing.write("row", float(name[0]), float(name[1]), 15.0, align="center", bold=True)
    for x in (start[0] - 0.42 * lean, end[0] + 0.42 * lean):
        at = px(np.array([x, high - 0.22 * rise]))
        drawing.write("leans on the end", float(at[0]), float(at[1]), 15.0, align="center")
    drawing.write("eave", left + 8.0, foot - 12.0, 15.0, color=style.MUTED)
    axes = Axes(
        drawing, (left, foot + 70.0, left + 620.0, 500.0), (0.0, wide), (0.0, style.scale_top(few.max()))
    )
    ticks = np.arange(0.0, wide + 0.1, 4.0)
    axes.scales(ticks, np.linspace(0.0, axes.y[1], 5), ("along the eave [m]", "clamp along the seam [kN]"))
    half = 0.16
    for x, force in zip(place, every, strict=True):
        axes.bar((x - half, x + half), (0.0, force), style.HAIRLINE, style.MUTED)
    for x, force in zip(few_place, few, strict=True):
        over = force > strength
        fill = style.utilization_color(min(force / strength, 2.0))
        axes.bar((x - 0.6 * half, x + 0.6 * half), (0.0, force), fill, style.INK if over else style.MUTED)
    axes.curve(np.array([0.0, wide]), np.array([strength] * 2), style.INK, 1.8, (6.0, 4.0))
    axes.label("design strength", wide, strength, align="right", shift=(0.0, -12.0))
    axes.label("pale: row from rake to rake", 0.2, 0.92 * axes.y[1], color=style.MUTED)
    worst = float(few.max())
    return drawing, (
        f"{worst:.1f} kN",
        f"{worst / strength:.1f} times",
        f"{every.max():.1f} kN",
        f"{few.min():.1f} kN",
    )


def ice_at_eaves() -> tuple[Any, tuple[str, ...]]:
    """Air at which snow begins to melt from below at night, by depth and by roof."""
    depth = np.linspace(0.02, 0.8, 118)
    drawing = sheet("At night: when heat from the room begins to melt the snow", 420.0)
    axes = Axes(drawing, (76.0, 84.0, 690.0, 350.0), (0.0, 80.0), (-40.0, 2.0))
    axes.scales(np.arange(0.0, 81.0, 20.0), np.arange(-40.0, 1.0, 10.0), ("depth of snow [cm]", "air [°C]"))
    dashes = (None, (9.0, 4.0), (3.0, 3.0))
    begins = []
    for (conductance, words), dash in zip(ROOFS, dashes, strict=True):
        aid = ThawAid(latitude=0.0, day=1, roof_conductance=conductance, inside=INSIDE)
        air = coldest_thaw(aid, 0.0, depth, DENSITY)
        seen = air >= axes.y[0]
        axes.curve(100.0 * depth[seen], air[seen], style.EXCEEDED_ANCHORS[0], 2.4, dash)
        last = int(np.flatnonzero(seen)[-1])
        at = last if last < len(depth) - 1 else int(0.62 * last)
        shift, align = ((8.0, -12.0), "left") if at == last else ((-2.0, 18.0), "right")
        axes.label(words, 100.0 * depth[at], float(air[at]), shift=shift, align=align)
        begins.append(100.0 * float(np.interp(-AIR, -air, depth)) if air.min() < AIR else np.inf)
    axes.curve(np.array([0.0, 80.0]), np.zeros(2), style.ACCENT, 2.4)
    axes.label("no heat from below: never melts in frost", 79.0, 0.0, align="right", shift=(0.0, 14.0))
    axes.curve(np.array([0.0, 80.0]), np.full(2, AIR), style.FAINT, 1.2, (3.0, 3.0))
    axes.label("above a line: melts", 79.0, -34.0, color=style.MUTED, align="right")
    axes.label("below it: stays frozen", 79.0, -37.5, color=style.MUTED, align="right")
    return drawing, tuple(f"{cm:.0f} cm" for cm in begins)


def clamp_on_seam(analysis: Analysis) -> tuple[Any, tuple[str, ...]]:
    """Forces at the clamp that uses most of its strength, from the side."""
    worst = analysis.attachment
    assert worst is not None
    reading = int(np.argmax(np.abs(analysis.clamp_force[worst.case, :, worst.target, 4])))
    along, _, _, _, tip, _ = (analysis.clamp_force[worst.case, reading, worst.target]).tolist()
    limit, tested, _ = _along(analysis)
    drawing = sheet("One clamp of the row, from the side", 360.0)
    pitch = float(analysis.project.roof.planes.slope[0])
    foot, up, out = slope(drawing, (50.0, 330.0), 300.0, pitch, 0.0)
    base, tall, long = foot + 150.0 * up, 70.0, 90.0
    seam = [foot, foot + 300.0 * up, foot + 300.0 * up + 26.0 * out, foot + 26.0 * out]
    drawing.area(Polygon(seam), style.TINT, style.MUTED, 1.0)
    block = [base - 0.5 * long * up, base + 0.5 * long * up]
    drawing.area(
        Polygon([block[0] + 8.0 * out, block[1] + 8.0 * out, block[1] + tall * out, block[0] + tall * out]),
        style.HAIRLINE,
        style.INK,
        1.6,
    )
    rail = base + (tall + 14.0) * out
    drawing.circle(float(rail[0]), float(rail[1]), 14.0, style.PAPER, style.INK, 2.4)
    red = style.EXCEEDED_ANCHORS[0]
    drawing.arrow(rail + 100.0 * up, rail + 18.0 * up, red, 3.4, 12.0)
    drawing.arrow(block[1] + 20.0 * out, block[1] + 66.0 * out, style.ACCENT, 3.0, 10.0)
    drawing.arrow(block[0] + 66.0 * out, block[0] + 20.0 * out, style.ACCENT, 3.0, 10.0)
    for words, place, align in (
        ("snow", rail + 108.0 * up + [0.0, -12.0], "left"),
        ("lifts", block[1] + 60.0 * out + [16.0, 6.0], "left"),
        ("presses", block[0] + 60.0 * out + [-10.0, 0.0], "right"),
        ("seam", foot + 250.0 * up + [22.0, 26.0], "left"),
    ):
        drawing.write(words, float(place[0]), float(place[1]), 15.0, align=align, halo=True)
    name = analysis.limits[worst.limit].target_name[worst.target]
    lines = (
        (f"clamp {name}, factored", True),
        (f"along the seam  {along / 1000.0:.2f} kN", False),
        (f"tipping at the grip  {tip:.0f} N m", False),
        (f"as hard on it as the test with  {tested[worst.target]:.2f} kN", False),
        (f"of which it may take  {limit.resistance[worst.target] / 1000.0:.2f} kN", False),
        ("for as long as the snow lies, in frost", False),
        ("and thaw, every winter", False),
    )
    for i, (words, bold) in enumerate(lines):
        drawing.write(words, 430.0, 110.0 + 30.0 * i, 15.0, bold=bold)
    return drawing, (f"{along / 1000.0:.2f} kN", f"{tip:.0f} N m", f"{tested[worst.target]:.2f} kN")
