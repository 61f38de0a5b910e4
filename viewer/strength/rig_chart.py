"""rig.png: the rig, and every measured curve with that of its model."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from fea.strength_tests.calibrate import Calibration
from fea.strength_tests.results import CampaignResult
from fea.strength_tests.rig import force_at, rig_curve, rig_model
from roofmodel.project.rigs import Rig
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.drawing import SANS_WIDER, Drawing
from viewer.picture.labels import wrap_text
from viewer.strength.rig_words import rig_answer, rig_verdict
from viewer.strength.words import units_of

Array = NDArray[np.float64]

WIDTH, HEIGHT = 1500.0, 1180.0
PLOT = (110.0, 520.0, 1330.0, 500.0)  # left, top, width, height
RIG = (150.0, 350.0, 1200.0)  # left, height of the rail, width
TYPE = 20.0
HEAD = 230.0  # of the words above


def rig_drawing(found: CampaignResult, *, words: bool = True) -> Drawing:
    """Rig, measured curves, the model with mean values and with those of nine in ten clamps.

    Without words for pages that have them beside the drawing.
    """
    one, rig, units = found.calibration, found.campaign.rig, units_of(found)
    assert one is not None
    assert rig is not None
    drawing = Drawing((WIDTH, HEIGHT if words else HEIGHT - HEAD))
    if words:
        _words(drawing, found, units)
    top = 0.0 if words else -HEAD
    _rig(drawing, rig, RIG[1] + top)
    _curves(drawing, found, units, PLOT[1] + top)
    drawing.write(style.CAUTION, 60.0, drawing.size[1] - 26.0, 0.86 * TYPE, color=style.MUTED)
    return drawing


def _words(drawing: Drawing, found: CampaignResult, units: UnitSystem) -> None:
    """What the curves say, above the drawing."""
    one = found.calibration
    assert one is not None
    drawing.write(f"{found.campaign.table.campaign.name}: the rig and its model", 60.0, 48.0, 30.0, bold=True)
    y = 92.0
    for text, color in (
        (rig_answer(found, units), style.INK),
        (rig_verdict(one), style.EXCEEDED_ANCHORS[0] if one.flags else style.MUTED),
    ):
        for line in wrap_text(text, TYPE, (WIDTH - 120.0) / SANS_WIDER)[:5]:
            drawing.write(line, 60.0, y, TYPE, color=color)
            y += 27.0


def _rig(drawing: Drawing, rig: Rig, y: float) -> None:
    left, _, width = RIG
    places = np.concatenate([rig.support, rig.load, [rig.gauge]])
    low, high = float(places.min()), float(places.max())
    far = max(high - low, 1e-9)

    def x(s: float) -> float:
        return left + 0.5 * width if high - low < 1e-6 else left + (s - low) / far * width

    if rig.rail is not None:
        drawing.line(np.array([[left - 30.0, y], [left + width + 30.0, y]]), style.INK, 7.0)
    for s, clamp, turns in zip(rig.support, rig.clamp, rig.turns, strict=True):
        at = x(float(s))
        if clamp:
            zigzag = np.array([[0, 6], [0, 16], [10, 21], [-10, 31], [10, 41], [-10, 51], [0, 56], [0, 66]])
            drawing.line(zigzag + np.array([at, y]), style.ACCENT, 3.0)
            drawing.write("clamp", at + 18.0, y + 38.0, 0.9 * TYPE, color=style.ACCENT)
        elif turns:
            drawing.area(
                Polygon([(at, y + 4), (at - 18, y + 38), (at + 18, y + 38)]), style.FAINT, style.INK, 1.6
            )
        else:
            block = [(at - 22, y - 26), (at + 22, y - 26), (at + 22, y + 26), (at - 22, y + 26)]
            drawing.area(Polygon(block), style.FAINT, style.INK, 1.6)
        drawing.line(np.array([[at - 26.0, y + 70.0], [at + 26.0, y + 70.0]]), style.INK, 2.0)
    for s, share in zip(rig.load, rig.share, strict=True):
        at = x(float(s))
        drawing.arrow(np.array([at, y - 66.0]), np.array([at, y - 6.0]), style.EXCEEDED_ANCHORS[0], 4.0, 15.0)
        drawing.write(
            "force" if len(rig.load) == 1 else f"{share:.3g} × force", at + 12.0, y - 52.0, 0.9 * TYPE,
            color=style.EXCEEDED_ANCHORS[0],
        )  # fmt: skip
    drawing.circle(x(rig.gauge), y, 7.0, style.PAPER, style.INK, 2.4)
    drawing.write("gauge", x(rig.gauge) - 12.0, y + 26.0, 0.9 * TYPE, align="right")


def _shown(curve: tuple[Array, Array], before: float, far: float) -> tuple[Array, Array]:
    """A curve of the model moved by `before`, from no displacement to `far`. [m, N]."""
    u = np.unique(np.concatenate([[0.0], curve[0] + before, [far]]).clip(0.0, far))
    return u, force_at((curve[0] + before, curve[1]), u)


def fitted_to(one: Calibration) -> float:
    """Displacement without seating, as drawn, to which the longest fit reaches; the model ends there. [m]."""
    return max(float(fit.moved.max()) + fit.toe - fit.seating for fit in one.fit)


def _band_top(one: Calibration) -> float:
    """Force of the rig with the strongest of nine in ten clamps; 0 where that is not known. [N]."""
    top = float(one.curve[1].max()) * one.slip.range_high / one.slip.value
    return top if np.isfinite(top) else 0.0


def _curves(drawing: Drawing, found: CampaignResult, units: UnitSystem, top: float) -> None:
    one, rig = found.calibration, found.campaign.rig
    assert one is not None
    assert rig is not None
    left, _, width, height = PLOT
    floor = top + height
    curves = []
    for i, fit in zip(one.test.tolist(), one.fit, strict=True):
        curve = found.campaign.curves[i]
        assert curve is not None
        curves.append((curve[0] - fit.seating, curve[1]))
    before = float(np.mean([fit.toe - fit.seating for fit in one.fit]))  # a clamp that softens is no line
    far = max(float(u.max()) for u, _ in curves)
    until = min(far, fitted_to(one))
    held = max(float(f.max()) for _, f in curves)
    most = 1.1 * max(held, min(_band_top(one), 2.0 * held))

    def place(u: Array, f: Array) -> Array:
        x = left + width * np.clip(u, 0.0, far) / far
        return np.stack([x, floor - height * np.clip(f, 0.0, most) / most], axis=-1)

    model = rig_model(rig, found.campaign.table.specimen.direction)
    if np.isfinite(one.stiffness.range_low):
        edges = []
        for k, slip in (
            (one.stiffness.range_high, one.slip.range_high), (one.stiffness.range_low, one.slip.range_low),
        ):  # fmt: skip
            u, f = rig_curve(model, k, slip)
            edges.append(place(*_shown((u, f), before, until)))
        band = Polygon([*edges[0].tolist(), *edges[1][::-1].tolist()]).buffer(0.0)
        drawing.area(band, style.SNOW_ANCHORS[1])
    step = style.tick_step(units.convert(most, "force") / 6.0)
    for value in np.arange(0.0, units.convert(most, "force"), step):
        y = floor - height * value / units.convert(most, "force")
        drawing.line(np.array([[left, y], [left + width, y]]), style.HAIRLINE, 1.2)
        drawing.write(f"{value:g}", left - 12.0, y, 0.95 * TYPE, align="right")
    step = style.tick_step(units.convert(far, "size") / 8.0)
    for value in np.arange(0.0, units.convert(far, "size"), step):
        x = left + width * value / units.convert(far, "size")
        drawing.line(np.array([[x, floor], [x, floor + 7.0]]), style.INK, 1.4)
        drawing.write(f"{value:g}", x, floor + 24.0, 0.95 * TYPE, align="center")
    drawing.line(np.array([[left, top], [left, floor], [left + width, floor]]), style.INK, 1.6)
    drawing.write(f"force, {units.label('force')}", left, top - 24.0, TYPE, color=style.MUTED)
    drawing.write(
        f"displacement at the gauge, seating taken off, {units.label('size')}",
        left + width, floor + 52.0, TYPE, color=style.MUTED, align="right",
    )  # fmt: skip
    for u, f in curves:
        on = u >= 0.0
        if on.sum() > 1:
            drawing.line(place(u[on], f[on]), style.ACCENT, 1.8)
    if np.isfinite(one.stiffness.value):
        u, f = one.curve
        drawing.line(place(*_shown(one.curve, before, until)), style.INK, 3.6, (14.0, 7.0))
        for at in place(u[1:] + before, f[1:])[u[1:] + before <= until]:
            drawing.circle(at[0], at[1], 6.5, style.PAPER, style.INK, 2.4)
    y, x = floor + 92.0, left
    drawing.line(np.array([[x, y], [x + 44.0, y]]), style.ACCENT, 1.8)
    drawing.write("measured", x + 56.0, y, 0.95 * TYPE)
    drawing.line(np.array([[x + 210.0, y], [x + 254.0, y]]), style.INK, 3.6, (14.0, 7.0))
    drawing.write("model, to the last first loss; circles: a clamp slips", x + 266.0, y, 0.95 * TYPE)
    box = [(x + 740.0, y - 10.0), (x + 784.0, y - 10.0), (x + 784.0, y + 10.0), (x + 740.0, y + 10.0)]
    drawing.area(Polygon(box), style.SNOW_ANCHORS[1], style.HAIRLINE, 1.0)
    drawing.write("model with nine in ten clamps of the lot", x + 796.0, y, 0.95 * TYPE)
