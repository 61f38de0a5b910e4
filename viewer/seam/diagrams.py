"""Diagrams along a seam: who takes the clamp's force, and what the fold carries."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.clamp_detail import ClampDetail
from fea.panel.reading import peak_mean
from fea.panel.study import SLIGHT
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.quantities import brief, quantity, signed, system
from viewer.seam.findings import bearing_push, clamp_label

Array = NDArray[np.float64]

WIDTH, LEFT, RIGHT = 760.0, 86.0, 40.0
PANEL, GAP = 66.0, 46.0
TYPE = 12.0
BAR = 9.0  # width of a clip's bar [px]


@dataclass(frozen=True)
class _Axes:
    """A panel: place up the seam to x, growing to the left as the eave is on the right; value to y."""

    top: float
    near: float  # place up the seam at the right end [m]
    far: float
    low: float
    high: float

    def x(self, up: Array | float) -> Array:
        return np.asarray(LEFT + (self.far - up) / (self.far - self.near) * (WIDTH - LEFT - RIGHT))

    def y(self, value: Array | float) -> Array:
        return np.asarray(self.top + PANEL * (self.high - value) / (self.high - self.low))

    def points(self, up: Array, value: Array) -> Array:
        return np.stack([self.x(up), self.y(value)], axis=-1)


def seam_svg(analysis: Analysis, detail: ClampDetail) -> str:
    """Load path and fold forces along the seam as SVG; down the slope is to the right.

    Every bar and arrow of the load path carries its force on the panel in newtons in the attributes
    data-along and data-pull; they and the clamp's own sum to zero.
    """
    units = system(analysis.project.table.project.units)
    x = detail.study.field.mesh.x
    near, far = float(-x[-1]), float(-x[0])
    parts: list[str] = []
    top = 40.0
    for panel in (_along, _square):
        parts += panel(analysis, detail, (near, far), top, units)
        top += PANEL + GAP
    fold = detail.study.fold
    for title, value, both in (
        ("Force that opens the fold", fold.opening, False),
        ("Sliding between the two legs in the fold", fold.sliding, True),
        ("Pull in both legs below the fold", fold.pull, False),
    ):
        parts += _fold(detail, title, value, both, (near, far), top, units)
        top += PANEL + GAP
    parts += _places(_Axes(top - GAP + 8.0, near, far, 0.0, 1.0), units)
    return svg.document(WIDTH, top + 14.0, f"Forces along the seam at {clamp_label(analysis, detail)}", parts)


def _frame(axes: _Axes, title: str, kind: str, units: UnitSystem) -> list[str]:
    parts = [svg.text(f"{title}, {units.label(kind)}", LEFT, axes.top - 10.0, TYPE, bold=True)]
    for value in sorted({0.0, axes.low, axes.high}):
        y = float(axes.y(value))
        ends = np.array([[LEFT, y], [WIDTH - RIGHT, y]])
        parts.append(
            svg.line(ends, style.INK if value == 0.0 else style.HAIRLINE, 0.9 if value == 0.0 else 0.7)
        )
        words = signed(f"{units.convert(value, kind):g}") if value else "0"
        parts.append(svg.text(words, LEFT - 8.0, y + 4.0, TYPE, anchor="end", color=style.MUTED))
    return parts


def _scaled(values: Array, kind: str, units: UnitSystem, top: float, span: tuple[float, float]) -> _Axes:
    """Axes with round ends that hold all values and zero."""
    shown = np.append(np.asarray(values, dtype=float), 0.0) * units.convert(1.0, kind)
    most = style.scale_top(float(np.abs(shown).max()))
    low = -most if shown.min() < -0.02 * most else 0.0
    high = most if shown.max() > 0.02 * most or low == 0.0 else 0.0
    back = 1.0 / units.convert(1.0, kind)
    return _Axes(top, span[0], span[1], low * back, high * back)


def _bar(axes: _Axes, up: float, value: float, color: str, width: float = BAR, **data: str) -> str:
    x, zero, end = float(axes.x(up)), float(axes.y(0.0)), float(axes.y(value))
    return svg.element(
        "rect",
        x=x - 0.5 * width,
        y=min(zero, end),
        width=width,
        height=max(abs(end - zero), 0.8),
        fill=color,
        stroke=style.INK,
        stroke_width=0.6,
        **data,
    )


def _number(axes: _Axes, up: float, value: float, kind: str, units: UnitSystem, more: str = "") -> str:
    x = float(np.clip(axes.x(up), LEFT + 64.0, WIDTH - RIGHT - 30.0))
    y = float(axes.y(value)) + (-4.0 if value >= 0.0 else 12.0)
    words = f"{more}{brief(value, kind, units)}"
    return svg.text(words, x, y, TYPE, anchor="middle", halo=True)


def _along(
    analysis: Analysis, detail: ClampDetail, span: tuple[float, float], top: float, units: UnitSystem
) -> list[str]:
    """Forces down the slope on the panel: clamp, clips, through-fixings, and fixed points at their end."""
    path, grip = detail.study.path, float(detail.study.action.grip[0])
    fixed = -float(path.fixed_more.sum())
    clips = path.clip[..., 0].sum(axis=0)
    fixing = float(path.fixings[0])
    axes = _scaled(np.concatenate([[grip, fixed, fixing], clips]), "force", units, top, span)
    parts = _frame(axes, "Along the seam on the panel, down the slope positive", "force", units)
    end = _fixed_end(detail, span)
    parts.append(_bar(axes, detail.place, grip, style.INK, data_part="clamp", data_along=repr(grip)))
    parts.append(_number(axes, detail.place, grip, "force", units, "clamp "))
    parts.append(_bar(axes, end, fixed, style.SNOW_ANCHORS[4], data_part="fixed", data_along=repr(fixed)))
    parts.append(_number(axes, end, fixed, "force", units, "fixed point "))
    for x, value in zip(path.clip_x, clips, strict=True):
        force = float(value)
        parts.append(
            _bar(axes, float(-x), force, style.SNOW_ANCHORS[3], data_part="clip", data_along=repr(force))
        )
    if fixing:
        place = float(np.mean(detail.study.field.detail.through_fixings))
        place = min(max(place, span[0]), span[1])
        parts.append(_bar(axes, place, fixing, style.PAPER, data_part="fixings", data_along=repr(fixing)))
        parts.append(_number(axes, place, fixing, "force", units, "screws "))
    return parts


def _fixed_end(detail: ClampDetail, span: tuple[float, float]) -> float:
    """Place up the seam where the fixed point is drawn: at it, or at the end that leads to it. [m]."""
    from fea.panel.model import fixed_place

    field = detail.study.field
    return float(np.clip(-field.mesh.x[fixed_place(field)[0]], *span))


def _square(
    analysis: Analysis, detail: ClampDetail, span: tuple[float, float], top: float, units: UnitSystem
) -> list[str]:
    """Forces away from the roof on the panel: clamp, clips, and the bearing between the clips' middles."""
    study = detail.study
    path, grip = study.path, float(study.action.grip[2])
    clips = path.clip[..., 2].sum(axis=0)
    place, push = _bearing_pieces(detail)
    fixing = float(path.fixings[2])
    axes = _scaled(np.concatenate([[grip, fixing], clips, push]), "force", units, top, span)
    parts = _frame(axes, "Square to the roof on the panel, away positive", "force", units)
    for at, value in zip(place, push, strict=True):
        force = float(value)
        parts.append(
            _bar(
                axes,
                float(at),
                force,
                style.KEPT_ANCHORS[0],
                14.0,
                data_part="bearing",
                data_pull=repr(force),
            )
        )
    for x, value in zip(path.clip_x, clips, strict=True):
        force = float(value)
        parts.append(
            _bar(axes, float(-x), force, style.SNOW_ANCHORS[3], data_part="clip", data_pull=repr(force))
        )
        if abs(force) > 0.08 * max(axes.high, -axes.low):
            parts.append(_number(axes, float(-x), force, "force", units, "clip "))
    parts.append(_bar(axes, detail.place, grip, style.INK, 5.0, data_part="clamp", data_pull=repr(grip)))
    if fixing:
        parts.append(_bar(axes, span[1], fixing, style.PAPER, data_part="fixings", data_pull=repr(fixing)))
    if abs(grip) > 0.08 * max(axes.high, -axes.low):
        parts.append(_number(axes, detail.place, grip, "force", units, "clamp "))
    best = int(np.argmax(np.abs(push))) if len(push) else -1
    if best >= 0 and abs(push[best]) > 0.08 * max(axes.high, -axes.low):
        parts.append(_number(axes, float(place[best]), float(push[best]), "force", units, "bearing "))
    return parts


def _bearing_pieces(detail: ClampDetail) -> tuple[Array, Array]:
    """Change of the push under the pan, gathered over some 24 equal pieces of the seam: places, forces."""
    study = detail.study
    x, after = bearing_push(detail, study.displacement)
    more = after - bearing_push(detail, study.start)[1]
    if not np.any(more):
        return np.zeros(0), np.zeros(0)
    edges = np.linspace(x[0], x[-1], 25)
    piece = np.clip(np.searchsorted(edges, x, side="right") - 1, 0, 23)
    force = np.bincount(piece, weights=more, minlength=24).astype(float)
    return np.asarray(-0.5 * (edges[:-1] + edges[1:])), np.asarray(force)


def _fold(
    detail: ClampDetail,
    title: str,
    value: Array,
    both: bool,
    span: tuple[float, float],
    top: float,
    units: UnitSystem,
) -> list[str]:
    """A line load of the fold with its peak mean over the grip length."""
    fold = detail.study.fold
    least = SLIGHT * float(np.linalg.norm(detail.study.action.grip[:3])) / fold.over
    axes = _scaled(np.append(value, 2.0 * least), "line_load", units, top, span)
    parts = _frame(axes, title, "line_load", units)
    line = axes.points(-fold.x, value)
    zero = float(axes.y(0.0))
    area = np.concatenate([[[line[0, 0], zero]], line, [[line[-1, 0], zero]]])
    parts.append(svg.element("path", d=svg.path(area, closed=True), fill=style.TINT, stroke="none"))
    parts.append(svg.line(line, style.ACCENT, 1.6))
    mean, middle = peak_mean(fold.x, np.abs(value) if both else np.maximum(value, 0.0), fold.over)
    if mean <= least:
        words = f"peak mean {brief(mean, 'line_load', units)}: next to nothing"
        parts.append(svg.text(words, WIDTH - RIGHT, top - 10.0, TYPE, anchor="end", color=style.MUTED))
        return parts
    side = float(np.sign(np.interp(middle, fold.x, value))) or 1.0
    y, ends = float(axes.y(side * mean)), axes.x(-middle + 0.5 * fold.over * np.array([1.0, -1.0]))
    red = style.EXCEEDED_ANCHORS[0]
    parts.append(svg.line(np.array([[float(ends[0]), y], [float(ends[1]), y]]), red, 3.0))
    words = f"peak mean {quantity(mean, 'line_load', units)} over {quantity(fold.over, 'size', units)}"
    right, level = WIDTH - RIGHT, top - 10.0
    parts.append(svg.text(words, right - 18.0, level, TYPE, anchor="end", bold=True))
    parts.append(svg.line(np.array([[right - 12.0, level - 4.0], [right, level - 4.0]]), red, 3.0))
    return parts


def _places(axes: _Axes, units: UnitSystem) -> list[str]:
    """Ruler of places up the seam, shared by all panels."""
    meter = units.convert(1.0, "length")
    step = style.tick_step((axes.far - axes.near) * meter / 8.0)
    marks = np.arange(max(np.ceil(axes.near * meter / step), 0.0), axes.far * meter / step + 1e-9) * step
    parts = []
    for mark in marks:
        x = float(axes.x(float(mark) / meter))
        parts.append(svg.line(np.array([[x, axes.top], [x, axes.top + 5.0]]), style.INK, 0.9))
        parts.append(svg.text(f"{abs(mark):g}", x, axes.top + 18.0, TYPE, anchor="middle", color=style.MUTED))
    words = f"up the seam from the eave, {units.label('length')}; down the slope is to the right"
    parts.append(svg.text(words, LEFT, axes.top + 34.0, TYPE, color=style.MUTED))
    return parts
