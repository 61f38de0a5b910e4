"""tests.png: every strength on one axis with what may be used, and the curves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats
from shapely import Polygon

from fea.strength_tests.notes import failures
from fea.strength_tests.results import CampaignResult
from viewer import style
from viewer.picture.drawing import SANS_WIDER, Drawing
from viewer.picture.labels import text_width, wrap_text
from viewer.quantities import quantity
from viewer.strength.words import answer, units_of

WIDTH = 1500.0
LEFT, RIGHT = 90.0, 60.0
TYPE = 21.0
STRIP = 250.0  # height of the axis of strengths
CURVES = 420.0  # of the curves
NAMED = 12  # curves that are named at their ends
LETTERS = 5  # of a test's name beside its curve
WAY = 40  # letters of a way to fail
APART = 12.0  # of a label from the lines beside it


def campaign_drawing(found: CampaignResult) -> Drawing:
    """Strengths, their distribution and fractiles; below, the curves where there are any."""
    curves = any(curve is not None for curve in found.campaign.curves)
    words = wrap_text(answer(found), TYPE, (WIDTH - LEFT - RIGHT) / SANS_WIDER)
    head = 92.0 + 30.0 * len(words)
    height = head + 220.0 + STRIP + (CURVES + 130.0 if curves else 0.0) + 60.0
    drawing = Drawing((WIDTH, height))
    drawing.write(found.campaign.table.campaign.name, LEFT, 48.0, 34.0, bold=True)
    for i, line in enumerate(words):
        drawing.write(line, LEFT, 92.0 + 30.0 * i, TYPE, color=style.MUTED)
    _strengths(drawing, found, head + 160.0)
    if curves:
        _curves(drawing, found, head + 220.0 + STRIP + 70.0)
    note = f"{style.CAUTION} Only for the clamp, seam and sheet tested."
    drawing.write(note, LEFT, height - 28.0, 0.86 * TYPE, color=style.MUTED)
    return drawing


def _axis(drawing: Drawing, top: float, low: float, high: float, label: str) -> None:
    step = style.tick_step((high - low) / 6.0)
    for value in np.arange(np.ceil(low / step), np.floor(high / step) + 1.0) * step:
        x = LEFT + (value - low) / (high - low) * (WIDTH - LEFT - RIGHT)
        drawing.line(np.array([[x, top], [x, top + 8.0]]), style.INK, 1.4)
        drawing.write(f"{value:g}" if abs(value) > 1e-12 else "0", x, top + 26.0, TYPE, align="center")
    drawing.line(np.array([[LEFT, top], [WIDTH - RIGHT, top]]), style.INK, 1.6)
    drawing.write(label, WIDTH - RIGHT, top + 56.0, TYPE, color=style.MUTED, align="right")


def label_rows(places: Sequence[float], widths: Sequence[float]) -> list[int]:
    """Rows above the axis, 0 the lowest, of labels that end at their lines, whose places rise.

    A line reaches up to its own label, so a label that would cross the lines to its left stands above them.
    """
    rows: list[int] = []
    for i, (at, width) in enumerate(zip(places, widths, strict=True)):
        crossed = [rows[j] for j in range(i) if places[j] > at - width - APART]
        rows.append(max(crossed, default=-1) + 1)
    return rows


def _strengths(drawing: Drawing, found: CampaignResult, top: float) -> None:
    """Dots of the tests, the distribution that they suggest, and the strengths that may be used."""
    units, one = units_of(found), found.justified
    scale = units.convert(1.0, "force")
    high = 1.08 * float(max(found.nominal.max(), found.measured.max()))
    floor = top + STRIP

    def x(force: float) -> float:
        return LEFT + force / high * (WIDTH - LEFT - RIGHT)

    grid = np.linspace(1e-6 * high, high, 500)
    if found.campaign.table.method.distribution == "lognormal":
        deviation = max(float(np.sqrt(np.log1p(one.scatter**2))), 1e-3)
        density = stats.lognorm.pdf(grid, deviation, scale=np.exp(one.sample.log_mean))
    else:
        density = stats.norm.pdf(grid, one.sample.mean, max(one.scatter, 1e-3) * one.sample.mean)
    curve = floor - (STRIP - 60.0) * density / density.max()
    points = np.stack([LEFT + grid / high * (WIDTH - LEFT - RIGHT), curve], axis=1)
    drawing.area(Polygon([(LEFT, floor), *points.tolist(), (points[-1, 0], floor)]), style.SNOW_ANCHORS[1])
    drawing.line(points, style.ACCENT, 2.0)
    marks = [
        ("mean", one.sample.mean, style.MUTED),
        ("characteristic", one.characteristic, style.ACCENT),
        ("design, EN", one.design, style.EXCEEDED_ANCHORS[0]),
        ("ASD", one.asd, style.INK),
        ("LRFD", one.lrfd, style.INK),
    ]
    known = sorted((force, name, color) for name, force, color in marks if np.isfinite(force))
    texts = [f"{name} {quantity(force, 'force', units)}" for force, name, _ in known]
    places = [x(force) for force, _, _ in known]
    rises = label_rows(places, [text_width(text, TYPE, bold=True) for text in texts])
    for text, at, rise, (_, _, color) in zip(texts, places, rises, known, strict=True):
        y = top - 12.0 - 30.0 * rise
        drawing.line(np.array([[at, y + 12.0], [at, floor]]), color, 2.4, (9.0, 5.0))
        left = max(at + 4.0 - text_width(text, TYPE, bold=True), LEFT)
        drawing.write(text, left, y, TYPE, bold=True, color=color)
    odd = odd_tests(found)
    for i, force in enumerate(found.nominal):
        y = floor - 16.0 - 13.0 * (i % 3)
        if not found.counted[i]:
            drawing.circle(x(force), y, 8.0, style.PAPER, style.MUTED, 2.0)
        else:
            fill = style.EXCEEDED_ANCHORS[0] if i in odd else style.INK
            drawing.circle(x(force), y, 8.0, fill, style.PAPER, 1.5)
    of_one = "" if found.share == 1.0 else "one clamp's "
    _axis(drawing, floor, 0.0, high * scale, f"{of_one}strength at nominal sheet, {units.label('force')}")
    legend = [(style.INK, style.PAPER, "a test")]
    if not found.counted.all():
        legend.append((style.PAPER, style.MUTED, "does not count"))
    if any(found.counted[i] for i in odd):
        words = "may not belong" if found.suspect in odd else "failed another way"
        legend.append((style.EXCEEDED_ANCHORS[0], style.PAPER, words))
    for place, (fill, line, words) in enumerate(legend):
        at = LEFT + 10.0 + 200.0 * place
        drawing.circle(at, floor + 56.0, 8.0, fill, line, 1.5)
        drawing.write(words, at + 18.0, floor + 56.0, TYPE, color=style.MUTED)


def odd_tests(found: CampaignResult) -> dict[int, str]:
    """Tests to be marked, with why: the suspect, excluded ones, another way to fail than most."""
    ways = failures(found)
    most = max(ways, key=lambda way: ways[way]) if len(ways) > 1 else ""
    odd = {}
    for i, test in enumerate(found.campaign.tests):
        way = test.failure.strip().rstrip(".")
        if not found.counted[i]:
            odd[i] = "does not count"
        elif i == found.suspect:
            odd[i] = "may not belong"
        elif most and way and way != most:
            odd[i] = way if len(way) <= WAY else f"{way[: WAY - 1].rstrip()}…"
    return odd


def spread(places: Sequence[float], apart: float) -> list[float]:
    """Places moved as little as keeps them so far apart, in their order."""
    order = np.argsort(places, kind="stable")
    moved = np.asarray(places, dtype=float)[order]
    steps = apart * np.arange(len(moved))
    # Least squares of rising places: means of what runs into one another.
    blocks: list[list[float]] = []
    for value in moved - steps:
        blocks.append([value])
        while len(blocks) > 1 and np.mean(blocks[-2]) > np.mean(blocks[-1]):
            last = blocks.pop()
            blocks[-1] += last
    even = np.concatenate([np.full(len(one), np.mean(one)) for one in blocks]) + steps
    out = np.empty(len(moved))
    out[order] = even
    return out.tolist()


def short_names(names: Sequence[str]) -> list[str]:
    """Names that fit beside curves: without the letters that all of them begin with, then by their ends."""
    if all(len(name) <= LETTERS for name in names):
        return list(names)
    first, last = min(names), max(names)  # what these begin with, all do
    alike = [a == b for a, b in zip(first, last, strict=False)]
    common = len(first[: alike.index(False) if False in alike else len(alike)].rstrip("0123456789"))
    rest = [name[common if len(names) > 1 else 0 :] or name for name in names]
    return [name if len(name) <= LETTERS else f"…{name[1 - LETTERS :]}" for name in rest]


def _names(drawing: Drawing, found: CampaignResult, ends: dict[int, tuple[float, float]]) -> None:
    """Every curve's name at its end; of many the odd ones alone."""
    odd = odd_tests(found)
    told = [i for i in ends if len(ends) <= NAMED or i in odd][:NAMED]
    if not told:
        return
    names = short_names([test.name for test in found.campaign.tests])
    for i, y in zip(told, spread([ends[i][1] for i in told], 25.0), strict=True):
        name, (end, level) = names[i], ends[i]
        color = style.EXCEEDED_ANCHORS[0] if i in odd else style.INK
        drawing.line(np.array([[end + 2.0, level], [end + 10.0, y]]), color, 1.0)
        drawing.write(name, end + 13.0, y, TYPE, bold=True, color=color, halo=True)
        if i in odd:
            drawing.write(odd[i], end, level - 26.0, TYPE, bold=True, color=color, align="right", halo=True)


def _curves(drawing: Drawing, found: CampaignResult, top: float) -> None:
    """Force against displacement, seating taken off, with peak, first slip and proof load."""
    units = units_of(found)
    pairs = [
        (i, curve[0] - reading.seating, curve[1])
        for i, (curve, reading) in enumerate(zip(found.campaign.curves, found.readings, strict=True))
        if curve is not None and reading is not None
    ]
    across = max(float(u.max()) for _, u, _ in pairs)
    high = 1.08 * max(float(f.max()) for _, _, f in pairs)
    floor = top + CURVES
    wide = WIDTH - LEFT - RIGHT
    step = style.tick_step(units.convert(high, "force") / 5.0)
    for k in range(int(units.convert(high, "force") / step) + 1):
        y = floor - CURVES * k * step / units.convert(high, "force")
        drawing.line(np.array([[LEFT, y], [WIDTH - RIGHT, y]]), style.HAIRLINE, 1.2)
        drawing.write(f"{k * step:g}", LEFT - 12.0, y, TYPE, align="right")
    of_rig = "" if found.share == 1.0 else " on the rig"
    drawing.write(f"force{of_rig}, {units.label('force')}", LEFT, top - 26.0, TYPE, color=style.MUTED)
    odd, ends = odd_tests(found), {}
    for i, u, f in pairs:
        on = u >= 0.0
        points = np.stack([LEFT + u[on] / across * wide, floor - f[on] / high * CURVES], axis=1)
        ends[i] = float(points[-1, 0]), float(points[-1, 1])
        color = style.EXCEEDED_ANCHORS[0] if i in odd else style.ACCENT
        drawing.line(points, color if found.counted[i] else style.FAINT, 2.2)
        reading = found.readings[i]
        assert reading is not None
        for force, at in ((reading.slip, reading.slip_at), (reading.peak, reading.at_peak)):
            drawing.circle(
                LEFT + at / across * wide, floor - force / high * CURVES, 6.0, style.PAPER, style.INK, 2.0
            )
    _names(drawing, found, ends)
    _axis(
        drawing,
        floor,
        0.0,
        units.convert(across, "size"),
        f"displacement, seating taken off, {units.label('size')}; circles: first slip and peak",
    )
