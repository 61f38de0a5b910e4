"""The picture of one clamp on its seam: deformed sheet, forces with numbers, what governs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.clamp_detail import ClampDetail
from roofmodel.hardware import Bearing
from roofmodel.units import UnitSystem
from viewer import style
from viewer.combining import combination
from viewer.files import atomic
from viewer.picture.camera import View
from viewer.picture.draw import Picture
from viewer.picture.labels import Text, fit_text, text_width, wrap_text
from viewer.picture.render import Renderer
from viewer.picture.sheet import FOOTER, HEADER, MARGIN, Overlay, Shape, paint
from viewer.quantities import brief, quantity, system
from viewer.seam.findings import (
    SeamLine,
    clamp_label,
    force_words,
    missing_words,
    seam_lines,
    seam_verdict,
    up,
    worst_line,
)
from viewer.seam.legend import add_seam_legends
from viewer.seam.scene import SeamScene, build_seam_scene, seam_drawing, seam_view
from viewer.summary import KEPT, NOT_LOADED, NOT_VERIFIED

Array = NDArray[np.float64]

ABOVE, BELOW = 92.0, 48.0  # kept free for the labels over and under the panel [pt]
LONGEST = 84.0  # arrow of the largest force [pt]
SHORTEST = 9.0  # arrows shorter than this have no shaft [pt]


@dataclass(frozen=True)
class _Box:
    """Heading, utilization (NaN where something is not verified), lines that are loud or not; its frame."""

    head: str
    use: float
    lines: tuple[tuple[str, bool], ...]
    frame: tuple[float, float, float, float]  # left, top, right, bottom [px]


def draw_seam(analysis: Analysis, detail: ClampDetail, renderer: Renderer, path: Path) -> Picture:
    """Draw the seam and write the PNG, whole or not at all.

    Parameters
    ----------
    analysis : Analysis
    detail : ClampDetail
    renderer : Renderer
    path : Path

    Returns
    -------
    Picture
        The path, or the reason why this machine cannot draw.
    """
    size = renderer.size
    point = size[0] / style.REFERENCE_WIDTH
    scene = build_seam_scene(analysis, detail)
    side = MARGIN * point + LONGEST * point  # the arrows along the seam leave the panel at its ends
    box = (side, (HEADER + ABOVE) * point, size[0] - 0.7 * side, size[1] - (FOOTER + BELOW) * point)
    view = seam_view(scene, box, size)
    renderer.draw(seam_drawing(scene, view), view)
    overlay = compose_seam(analysis, detail, scene, view)
    pixels = renderer.pixels()
    if isinstance(pixels, str):
        return Picture(None, pixels)
    image = paint(pixels, overlay)
    with atomic(path) as temporary:
        image.save(temporary, format="PNG", compress_level=6)
    return Picture(path)


def compose_seam(analysis: Analysis, detail: ClampDetail, scene: SeamScene, view: View) -> Overlay:
    """All text, arrows and marks over the sheet."""
    overlay = Overlay(view.size)
    units = system(analysis.project.table.project.units)
    grip = detail.study.action.grip
    largest = max(
        float(np.linalg.norm(grip[:3])),
        float(np.linalg.norm(detail.study.path.clip, axis=-1).max(initial=0.0)),
        1e-9,
    )
    per_newton = LONGEST * overlay.point / largest
    _header(overlay, analysis, detail, units)
    _clips(overlay, detail, scene, view, per_newton, units)
    _fixed(overlay, detail, scene, view, per_newton, units)
    box = _box(overlay, detail, units)
    _grip(overlay, analysis, detail, scene, view, (per_newton, box), units)
    _bearing(overlay, detail, units)
    _governing(overlay, detail, view, scene, box)
    add_seam_legends(overlay, analysis, scene, view, largest, per_newton)
    return overlay


def _header(overlay: Overlay, analysis: Analysis, detail: ClampDetail, units: UnitSystem) -> None:
    point = overlay.point
    left, right = MARGIN * point, overlay.size[0] - MARGIN * point
    room = 0.58 * (right - left)
    title = f"Seam at clamp {clamp_label(analysis, detail)}"
    overlay.write(title, left, 26.0 * point, "title", bold=True)
    name = analysis.project.table.project.name
    words = f"{name}, {up(detail.place, units)} up a seam of {up(detail.length, units)}"
    overlay.write(fit_text(words, overlay.type_size("body"), room), left, 47.0 * point, "body")
    source = detail.shown_source
    case = f"{analysis.snow.cases[source.case].name}; {combination(analysis, source.case)}"
    case = f"{'no snow' if source.bare else 'snow'} on the pan; {case}"
    fitted = fit_text(case, overlay.type_size("body"), room)
    overlay.write(fitted, left, 61.0 * point, "body", color=style.MUTED)
    answer, bad = seam_verdict(analysis, detail, units), style.EXCEEDED_ANCHORS[0]
    head = "; ".join(word[:1].upper() + word[1:] for word in answer.words)
    color = style.INK if answer.passed else bad
    overlay.write(head, right, 24.0 * point, "heading", bold=True, color=color, align="right")
    lines = [line for line in seam_lines(detail) if line.status != NOT_LOADED]
    for index, line in enumerate(lines[:3]):
        use = "NOT VERIFIED" if line.status == NOT_VERIFIED else _use(line)
        overlay.write(
            f"{line.name}: {use}",
            right,
            (41.0, 54.0, 67.0)[index] * point,
            "body",
            color=style.INK if line.status == KEPT else bad,
            align="right",
        )


def _arrow(overlay: Overlay, tail: Array, way: Array, color: str = style.INK) -> Array:
    """Arrow from a point over a way. [px]; its tip."""
    point, length = overlay.point, float(np.linalg.norm(way))
    if length < 1e-6:
        return tail
    ahead = way / length
    head = min(9.0 * point, max(length, SHORTEST * point))
    tip, side = tail + way, np.array([-ahead[1], ahead[0]])
    neck = tip - head * ahead
    if length > head:
        overlay.shapes.append(Shape(np.array([tail, neck]), line=style.PAPER, width=4.6 * point))
        overlay.shapes.append(Shape(np.array([tail, neck]), line=color, width=2.6 * point))
    corners = np.array([tip, neck + 0.42 * head * side, neck - 0.42 * head * side])
    overlay.shapes.append(Shape(corners, fill=color))
    return np.asarray(tip)


def _leader(overlay: Overlay, start: Array, end: Array) -> None:
    overlay.shapes.append(Shape(np.array([start, end]), line=style.MUTED, width=0.8 * overlay.point))


def _direction(view: View, force: Array, per_newton: float) -> Array:
    """Way of a force in the picture, as long as the force whatever way it points. [px]."""
    flat = np.array([force @ view.right, -(force @ view.up)])
    length = float(np.linalg.norm(flat))
    if length < 1e-12:
        return np.zeros(2)
    return np.asarray(flat / length * float(np.linalg.norm(force)) * per_newton)


def _clips(
    overlay: Overlay,
    detail: ClampDetail,
    scene: SeamScene,
    view: View,
    per_newton: float,
    units: UnitSystem,
) -> None:
    """Every shown clip, and what it takes of the clamp's force under the panel."""
    point, path = overlay.point, detail.study.path
    middle = detail.study.field.strips // 2
    front = view.project(scene.moved[:, 0])
    for number, clip in enumerate(scene.clip):
        force = path.clip[middle, clip]
        at = view.project(scene.clip_at[number])
        square = 3.4 * point * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        overlay.shapes.append(Shape(at + 1.35 * square, fill=style.PAPER))
        overlay.shapes.append(Shape(at + square, fill=style.INK))
        if not scene.named[number]:
            continue
        way = _direction(view, force, per_newton)
        _arrow(overlay, at - way if way[1] > 0.0 else at, way, style.ACCENT)
        edge = float(np.interp(at[0], *_sorted(front)))
        low = edge + 20.0 * point
        _leader(overlay, at + np.array([0.0, 5.0 * point]), np.array([at[0], low - 7.0 * point]))
        down = float(-path.clip_total[middle, clip, 2])
        total = brief(abs(down), "force", units)
        more = brief(float(np.linalg.norm(force)), "force", units)
        overlay.write(f"clip: {more}", float(at[0]), low, "label", bold=True, align="center", halo=True)
        words = f"uplift in all {total}" if down >= 0.0 else f"carries {total} in all"
        overlay.write(words, float(at[0]), low + 13.0 * point, "note", align="center", halo=True)
        where = f"{up(float(-path.clip_x[clip]), units)} up"
        overlay.write(where, float(at[0]), low + 24.0 * point, "note", color=style.MUTED, align="center")


def _sorted(points: Array) -> tuple[Array, Array]:
    order = np.argsort(points[:, 0])
    return points[order, 0], points[order, 1]


def _fixed(
    overlay: Overlay,
    detail: ClampDetail,
    scene: SeamScene,
    view: View,
    per_newton: float,
    units: UnitSystem,
) -> None:
    """Pull of the fixed point, at the end of the picture that leads to it."""
    from fea.panel.model import fixed_place

    point, field, path = overlay.point, detail.study.field, detail.study.path
    middle = field.strips // 2
    line, bar = fixed_place(field)
    shown = int(np.clip(line, scene.low, scene.high))
    column = middle * (field.mesh.points - 1) + int(field.mesh.section.left[0])
    at = view.project(scene.moved[shown - scene.low, column])
    force = np.array([-float(path.fixed_more[middle]), 0.0, 0.0])
    tip = _arrow(overlay, at, _direction(view, force, per_newton), style.ACCENT)
    beyond = abs(float(field.mesh.x[line] - field.mesh.x[shown])) + float(bar[middle])
    label = f"fixed point: {brief(float(path.fixed_more[middle]), 'force', units)}"
    total = f"in all {brief(float(path.fixed[middle]), 'force', units)}"
    where = (
        "here" if beyond < 0.01 else f"{up(beyond, units)} {'up' if line <= scene.low else 'down'} from here"
    )
    widest = max(text_width(label, overlay.type_size("label"), bold=True), 1.0)
    x, y = _beside(overlay, tip, at, widest, view.project(np.concatenate([scene.moved, scene.still])))
    overlay.write(label, x, y, "label", bold=True, halo=True)
    overlay.write(total, x, y + 12.0 * point, "note", halo=True)
    overlay.write(where, x, y + 23.0 * point, "note", color=style.MUTED, halo=True)


def _beside(overlay: Overlay, tip: Array, at: Array, widest: float, sheet: Array) -> tuple[float, float]:
    """Left end and level of three lines beside an arrow: beyond its tip if they fit, else over the sheet."""
    point, width = overlay.point, float(overlay.size[0])
    left, room = tip[0] < at[0], widest + (MARGIN + 8.0) * overlay.point
    beyond = float(tip[0]) - widest - 8.0 * point if left else float(tip[0]) + 8.0 * point
    if (left and tip[0] > room) or (not left and width - tip[0] > room):
        return beyond, float(tip[1]) - 10.0 * point
    x = float(np.clip(tip[0], MARGIN * point, width - MARGIN * point - widest))
    flat = sheet.reshape(-1, 2)
    near = (flat[:, 0] > x - 6.0 * point) & (flat[:, 0] < x + widest + 6.0 * point)
    return x, float(min(tip[1], at[1], flat[near, 1].min(initial=np.inf))) - 34.0 * point


def _grip(
    overlay: Overlay,
    analysis: Analysis,
    detail: ClampDetail,
    scene: SeamScene,
    view: View,
    drawn: tuple[float, _Box | None],
    units: UnitSystem,
) -> None:
    """Force of the rail at the grip."""
    per_newton, box = drawn
    point, grip = overlay.point, detail.study.action.grip
    at = view.project(scene.grip)
    _arrow(overlay, at, _direction(view, grip[:3], per_newton))
    roof = float(view.project(scene.clamp)[:, 1].min())
    back = float(np.interp(at[0] - 150.0 * point, *_sorted(view.project(scene.moved[:, -1]))))
    y = min(roof, back) - 36.0 * point
    if box is not None:
        y = max(y, box.frame[3] + 14.0 * point)  # under the box
    _leader(overlay, np.array([at[0], roof]), np.array([at[0], y - 5.0 * point]))
    x = float(at[0]) - 7.0 * point
    along, across, pull = force_words(grip[:3], detail, units)
    words = f"clamp {clamp_label(analysis, detail)}: along {along}"
    overlay.write(words, x, y, "label", bold=True, align="right", halo=True)
    moment = quantity(float(grip[4]), "grip moment", units)
    overlay.write(f"pull {pull}, across {across}", x, y + 13.0 * point, "note", align="right", halo=True)
    overlay.write(f"overturning {moment}", x, y + 24.0 * point, "note", align="right", halo=True)


def _bearing(overlay: Overlay, detail: ClampDetail, units: UnitSystem) -> None:
    """What deck or purlins take, in words."""
    point, path, seam = overlay.point, detail.study.path, detail.study.field.detail
    words = []
    if path.bearing_total or path.bearing:
        sign = "more" if path.bearing >= 0.0 else "less"
        verb = "press" if seam.bearing is Bearing.PURLINS else "presses"
        push = brief(abs(path.bearing), "force", units)
        words.append(f"{seam.bearing} {verb} {push} {sign} (one way)")
    if np.any(path.fixings):
        words.append(f"screws take {brief(abs(float(path.fixings[0])), 'force', units)} along")
    if not words:
        return
    y = overlay.size[1] - (FOOTER + 12.0) * point
    overlay.write("; ".join(words), MARGIN * point, y, "note", bold=True, halo=True)


def _governing(overlay: Overlay, detail: ClampDetail, view: View, scene: SeamScene, box: _Box | None) -> None:
    """Box at the top right over the panel: what is not verified, else what governs."""
    if box is None:
        return
    point = overlay.point
    left, top, right, bottom = box.frame
    frame = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
    overlay.shapes.append(Shape(frame, fill=style.PAPER, line=style.INK, width=1.2 * point))
    overlay.mark(box.use, left + 20.0 * point, 0.5 * (top + bottom), 8.0 * point)
    text = left + 38.0 * point
    heading, size, bad = overlay.type_size("heading"), overlay.type_size("body"), style.EXCEEDED_ANCHORS[0]
    color = style.INK if box.use <= 1.0 else bad
    overlay.texts.append(Text(box.head, (text, top + 14.0 * point), heading, bold=True, color=color))
    for index, (line, loud) in enumerate(box.lines):
        at_line = (text, top + (30.0 + 14.0 * index) * point)
        overlay.texts.append(Text(line, at_line, size, bold=loud, color=bad if loud else style.INK))
    hot = _hot_spot(detail, scene)
    if hot is not None:
        at = view.project(hot)
        foot = float(np.clip(at[0] + 24.0 * point, left + 12.0 * point, right - 12.0 * point))
        _leader(overlay, np.array([foot, bottom]), at)
        ring = at + 6.0 * point * np.stack(
            [np.cos(np.linspace(0, 2 * np.pi, 33)), np.sin(np.linspace(0, 2 * np.pi, 33))], axis=1
        )
        overlay.shapes.append(Shape(ring, line=style.INK, width=1.4 * point))


def _box(overlay: Overlay, detail: ClampDetail, units: UnitSystem) -> _Box | None:
    """Words of the box and its place; None where nothing is loaded."""
    worst = worst_line(detail)
    missing = [line for line in seam_lines(detail) if line.status == NOT_VERIFIED]
    parts: list[tuple[str, bool]] = []
    if missing:
        parts.append((missing_words(missing).removeprefix("NOT VERIFIED: "), True))
        strained = missing[0]  # the worst is first
        if strained.of_yield > 0.0:
            parts.append((f"{strained.name}: {strained.of_yield:.2f} of nominal yield", True))
    if worst is not None:
        rest = f"of the rest {_use(worst)}: " if missing else ""
        parts.append((f"{rest}{_of(worst, units)}", bool(missing) and worst.utilization > 1.0))
    if not parts:
        return None
    use = worst.utilization if worst is not None and not missing else float("nan")
    head = "NOT VERIFIED" if missing else f"governs: {style.utilization_text(use)}"
    point, size = overlay.point, overlay.type_size("body")
    room = (300.0 if missing else 178.0) * point
    lines = [(line, loud) for words, loud in parts for line in wrap_text(words, size, room, bold=loud)]
    right, top = overlay.size[0] - MARGIN * point, (HEADER + 10.0) * point
    bottom = top + (20.0 + 14.0 * len(lines) + 8.0) * point
    return _Box(head, use, tuple(lines), (right - room - 46.0 * point, top, right, bottom))


def _use(line: SeamLine) -> str:
    return style.utilization_text(line.utilization)


def _of(line: SeamLine, units: UnitSystem) -> str:
    demand, resistance = (quantity(v, line.kind, units) for v in (line.demand, line.resistance))
    return f"{line.name}, {demand} of {resistance}"


def _shown_stress(detail: ClampDetail) -> SeamLine | None:
    """Stress that the shown state is shown for; None for limits of other things."""
    lines = [line for line in seam_lines(detail) if detail.study_of(line.name) is detail.study]
    unknown = [line for line in lines if line.status == NOT_VERIFIED and line.of_yield > 0.0]
    worst = max(unknown, key=lambda line: line.of_yield) if unknown else worst_line(detail)
    return worst if worst is not None and worst.kind == "stress" else None


def _hot_spot(detail: ClampDetail, scene: SeamScene) -> Array | None:
    """Middle of the shown element where the governing stress is; None for limits of other things."""
    worst, study = _shown_stress(detail), detail.study
    if worst is None:
        return None
    part = study.peaks.name.index(worst.name.removeprefix("sheet stress, "))
    near = np.abs(scene.use - scene.use.max()) < 1e-12
    middle = scene.quads[near].mean(axis=(0, 1))
    place = float(study.peaks.place[part, 0])
    x = study.field.mesh.x
    return middle if x[scene.low] - 1e-9 <= place <= x[scene.high] + 1e-9 else None
