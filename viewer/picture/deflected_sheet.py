"""What is written around the deflected row, and the picture as a file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.limits import piece_lengths
from fea.rails.actions import GIVEN
from fea.verdict import Finding
from roofmodel.units import UnitSystem
from viewer import style
from viewer.files import atomic
from viewer.picture.camera import View
from viewer.picture.deflected import Bent, bend, bent_drawing, bent_view
from viewer.picture.draw import Picture
from viewer.picture.findings import called_clamp, clamp_utilization
from viewer.picture.labels import Text, fit_text, text_width
from viewer.picture.render import Renderer
from viewer.picture.row_names import short
from viewer.picture.scale_bar import draw_axes, draw_bar_along, draw_color_bar
from viewer.picture.sheet import FOOTER, HEADER, MARGIN, Overlay, Shape, paint
from viewer.quantities import quantity, system

Array = NDArray[np.float64]

AXES = (("along the row", (1.0, 0.0, 0.0)), ("down-slope", (0.0, -1.0, 0.0)), ("away", (0.0, 0.0, 1.0)))
CALLOUT = 96.0  # kept free above the roof for what is called out [pt]
STILL = "no rail bends: no snow reaches the rows"


@dataclass(frozen=True)
class StartedBending:
    """A deflected row whose 3D part is being drawn in the child."""

    renderer: Renderer
    number: int
    overlay: Overlay


def start_deflected(analysis: Analysis, renderer: Renderer) -> StartedBending | None:
    """Lay the picture out and let the renderer draw; None where no row moves."""
    bent = bend(analysis)
    if bent is None:
        return None
    size = renderer.size
    point = size[0] / style.REFERENCE_WIDTH
    side = 1.6 * MARGIN * point
    box = (side, (HEADER + CALLOUT) * point, size[0] - side, size[1] - (FOOTER + 34.0) * point)
    view = bent_view(bent, box, size)
    units = system(analysis.project.table.project.units)
    top = scale_end(bent, units)
    number = renderer.draw(bent_drawing(analysis, bent, view, top), view)
    return StartedBending(renderer, number, compose_deflected(analysis, bent, view))


def finish_deflected(started: StartedBending | None, path: Path) -> Picture:
    """Wait for the drawing and write the PNG, whole or not at all."""
    pixels = STILL if started is None else started.renderer.pixels(started.number)
    if started is None or isinstance(pixels, str):
        return Picture(None, str(pixels))
    image = paint(pixels, started.overlay)
    with atomic(path) as temporary:
        image.save(temporary, format="PNG", compress_level=6)
    return Picture(path)


def scale_end(bent: Bent, units: UnitSystem) -> float:
    """End of the color scale, a round number of the user's unit. [m]."""
    unit = units.convert(1.0, "size")
    return style.scale_top(float(bent.size.max()) * unit) / unit


def compose_deflected(analysis: Analysis, bent: Bent, view: View) -> Overlay:
    """All text and marks over the drawing."""
    overlay = Overlay(view.size)
    units = system(analysis.project.table.project.units)
    _header(overlay, analysis, bent, units)
    _marks(overlay, analysis, bent, view)
    _callout(overlay, analysis, bent, view, units)
    _legends(overlay, analysis, bent, view, units)
    return overlay


def deflection_words(analysis: Analysis, bent: Bent, units: UnitSystem) -> list[str]:
    """What is called out: off the chord and its limit, the largest movement."""
    limit, name = bent.limit, bent.limit.target_name[bent.piece]
    resistance = float(limit.resistance[bent.piece])
    off = quantity(bent.off, "size", units)
    overhang = not len(bent.chord)
    what = "more than its end clamp moves" if overhang else "off the straight line between its clamps"
    lines = [name, f"{off} {what}"]
    if np.isfinite(resistance):
        length = float(piece_lengths(analysis.project.layout)[bent.piece])
        whole = quantity(0.5 * length if overhang else length, "length", units)
        ratio = analysis.project.rail.deflection_ratio
        part = f"2 × {whole} overhang" if overhang else f"{whole} span"
        lines.append(f"limit {quantity(resistance, 'size', units)}: {part} / {ratio:g}")
    else:
        lines.append("no limit of deflection is given (deflection_ratio)")
    most = int(bent.size.argmax())
    moves = quantity(float(bent.size[most]), "size", units)
    return [
        *lines,
        f"largest movement shown, clamps' give included: {moves}{_place(analysis, bent, most, units)}",
    ]


def _place(analysis: Analysis, bent: Bent, station: int, units: UnitSystem) -> str:
    """Such as ", 3.20 m from the left end"."""
    s, length = float(bent.s[station]), float(analysis.project.layout.row_length[bent.row])
    if s < 1e-6 or s > length - 1e-6:
        return f" at the {'left' if s < 1e-6 else 'right'} end"
    return f", {quantity(s, 'length', units)} from the left end"


def _header(overlay: Overlay, analysis: Analysis, bent: Bent, units: UnitSystem) -> None:
    point, project = overlay.point, analysis.project
    left, right = MARGIN * point, overlay.size[0] - MARGIN * point
    room = 0.62 * (right - left)
    row = project.layout.row_name[bent.row]
    title = fit_text(f"Deflected shape of row {short(row)}", overlay.type_size("title"), room, bold=True)
    overlay.write(title, left, 26.0 * point, "title", bold=True)
    case = f"{project.table.project.name}. Snow case: {analysis.snow.cases[bent.case].name}"
    overlay.write(fit_text(case, overlay.type_size("body"), room), left, 47.0 * point, "body")
    warm = "" if analysis.basis.readings == GIVEN else "; temperature as is worst"
    clause = fit_text(f"{analysis.service[bent.case].clause}{warm}", overlay.type_size("body"), room)
    overlay.write(clause, left, 61.0 * point, "body", color=style.MUTED)
    use, bad = bent.limit.utilization, style.EXCEEDED_ANCHORS[0]
    found = analysis.findings
    open_ = [one.name for one in analysis.unverified if one.name != "clamp combined"]
    own = float(use[bent.case, bent.piece])
    if np.isnan(own):
        words = [("Rail deflection: no limit given", style.INK)]
    else:
        words = [
            (f"Rail deflection {style.utilization_text(own)} of its limit", bad if own > 1.0 else style.INK)
        ]
        case_of, most = np.unravel_index(int(np.nan_to_num(use).argmax()), use.shape)
        if use[case_of, most] > own * (1.0 + 1e-6):
            other = f"{style.utilization_text(float(use[case_of, most]))} at {bent.limit.target_name[most]}"
            words.append((f"more in another row: {other}", bad if use[case_of, most] > 1.0 else style.INK))
    if Finding.AUDIT_FAILED in found:
        words.append((f"{Finding.AUDIT_FAILED.word}: do not use", bad))
    elif found == (Finding.NOT_VERIFIED,) and open_:
        words.append((f"{Finding.NOT_VERIFIED.word}: {', '.join(open_)}", bad))
    elif found:
        words.append((f"Check: {', '.join(one.word for one in found)}", bad))
    for index, (text, color) in enumerate(words):
        size = overlay.type_size("body" if index else "heading")
        fitted = fit_text(text, size, 0.36 * (right - left), bold=not index)
        y = (24.0, 41.0, 56.0)[index] * point
        overlay.texts.append(Text(fitted, (right, y), size, not index, color, "right"))


def _marks(overlay: Overlay, analysis: Analysis, bent: Bent, view: View) -> None:
    """Names of the outer clamps and of the governing one, below the roof's edge they stand on."""
    point, names = overlay.point, analysis.project.layout.clamp_name
    called, use = called_clamp(analysis), clamp_utilization(analysis)
    chosen = [k for k in (0, len(bent.clamp) - 1) if bent.clamp[k] != called]
    chosen += np.flatnonzero(bent.clamp == called).tolist()
    shown = np.concatenate([bent.roof.reshape(-1, 3), bent.moved])
    low = float(view.project(shown)[:, 1].max()) + 18.0 * point
    taken: list[tuple[float, float]] = []
    for k in reversed(list(dict.fromkeys(chosen))):
        clamp = int(bent.clamp[k])
        at = view.project(bent.foot[k])
        words = f"{names[clamp]}{_governs(analysis)}" if clamp == called else names[clamp]
        size = overlay.type_size("label")
        half = 0.5 * text_width(words, size, bold=clamp == called)
        x = float(np.clip(at[0], MARGIN * point + half, overlay.size[0] - MARGIN * point - half))
        if any(x - half < right + 8.0 * point and left < x + half + 8.0 * point for left, right in taken):
            continue
        taken.append((x - half, x + half))
        tie = np.array([[at[0], at[1] + 3.0 * point], [x, low - 8.0 * point]])
        overlay.shapes.append(Shape(tie, line=style.MUTED, width=0.8 * point))
        overlay.write(words, x, low, "label", bold=clamp == called, align="center")
        if clamp == called:
            overlay.mark(float(use[clamp]), float(at[0]), float(at[1]), 3.4 * point)


def _governs(analysis: Analysis) -> str:
    """What is said behind the name of the clamp that governs, or that sits on the strip that does."""
    governing = analysis.attachment
    assert governing is not None  # a clamp is called
    limit, use = analysis.limits[governing.limit], style.utilization_text(governing.utilization)
    if limit.target == "clamp":
        return f"  {use}, governs the attachments"
    return f": {limit.name}, {limit.target_name[governing.target]}, governs the attachments with {use}"


def _callout(overlay: Overlay, analysis: Analysis, bent: Bent, view: View, units: UnitSystem) -> None:
    point = overlay.point
    lines = deflection_words(analysis, bent, units)
    use = float(bent.limit.utilization[bent.case, bent.piece])
    body, head = overlay.type_size("legend"), overlay.type_size("heading")
    number = "" if np.isnan(use) else style.utilization_text(use)
    pad, bar = 8.0 * point, 4.0 * point
    first = text_width(lines[0], head, bold=True) + text_width(number, head, bold=True) + 16.0 * point
    width = max(first, *(text_width(line, body) for line in lines[1:])) + 2.0 * pad + bar
    height = 2.0 * pad + (15.0 + 12.5 * (len(lines) - 1)) * point
    at = view.project(bent.moved[bent.worst])
    ring = 7.0 * point
    room = overlay.size[0] - 2.0 * MARGIN * point - width
    left = MARGIN * point + float(np.clip(at[0] - 0.5 * width - MARGIN * point, 0.0, max(room, 0.0)))
    top = HEADER * point + 6.0 * point
    right, bottom = left + width, top + height
    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    circle = at + ring * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    start = np.array([float(np.clip(at[0], left, right)), bottom])
    way = (start - at) / max(float(np.linalg.norm(start - at)), 1e-9)
    line = np.array([at + ring * way, start])
    overlay.shapes.append(Shape(line, line=style.INK, width=1.3 * point))
    overlay.shapes.append(Shape(circle, line=style.INK, width=1.3 * point))
    frame = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
    overlay.shapes.append(Shape(frame, fill=style.PAPER, line=style.INK, width=0.7 * point))
    edge = np.array([[left, top], [left + bar, top], [left + bar, bottom], [left, bottom]])
    overlay.shapes.append(Shape(edge, fill=style.ACCENT if np.isnan(use) else style.utilization_color(use)))
    x, y = left + pad + bar, top + pad + 6.0 * point
    overlay.write(lines[0], x, y, "heading", bold=True)
    color = style.EXCEEDED_ANCHORS[0] if use > 1.0 else style.INK
    overlay.write(number, right - pad, y, "heading", bold=True, color=color, align="right")
    for index, words in enumerate(lines[1:]):
        overlay.write(words, x, y + (16.0 + 12.5 * index) * point, "legend")


def _legends(overlay: Overlay, analysis: Analysis, bent: Bent, view: View, units: UnitSystem) -> None:
    """The band below: movement, how far it is exaggerated, length, what is shown of the row, axes."""
    point = overlay.point
    left, right = MARGIN * point, overlay.size[0] - MARGIN * point
    top = overlay.size[1] - FOOTER * point
    rule = np.array([[left, top], [right, top]])
    overlay.shapes.append(Shape(rule, line=style.HAIRLINE, width=0.8 * point))
    end = scale_end(bent, units)
    words = f"Movement of the rail, {units.label('size')}"
    mark = float(bent.size.max()) / end
    draw_color_bar(
        overlay, words, left, top, style.movement_rgb, units.convert(end, "size"), (mark, "largest")
    )
    x = left + 190.0 * point
    overlay.write(f"Movement drawn × {bent.factor:,.10g}", x, top + 14.0 * point, "legend", bold=True)
    for level, color, wide, text in (
        (30.0, style.MUTED, 1.1, "thin line: rail before"),
        (43.0, style.ACCENT, 4.0, "rail under the snow"),
        (56.0, style.INK, 1.7, "clamp, from seam to rail"),
    ):
        y = top + level * point
        overlay.shapes.append(
            Shape(np.array([[x, y], [x + 20.0 * point, y]]), line=color, width=wide * point)
        )
        overlay.write(text, x + 26.0 * point, y, "note")
    x = left + 342.0 * point
    draw_bar_along(
        overlay,
        view,
        np.array([1.0, 0.0, 0.0]),
        (x, top + 22.0 * point),
        60.0,
        (1.0, "length", units),
        "along the row",
    )
    length = float(analysis.project.layout.row_length[bent.row])
    whole = quantity(length, "length", units)
    ends = [quantity(float(end), "length", units) for end in bent.ends]
    part = " to ".join(ends)
    shown = f"whole row, {whole}" if np.ptp(bent.ends) > length - 1e-9 else f"shown: {part} of {whole}"
    overlay.write(shown, x, top + 56.0 * point, "note", color=style.MUTED)
    draw_axes(overlay, view, AXES, right - 92.0 * point, top + 38.0 * point)
    y = overlay.size[1] - 11.0 * point
    overlay.write(style.CAUTION, left, y, "note", bold=True)
    overlay.write("Eavewright", right, y, "note", color=style.MUTED, align="right")
