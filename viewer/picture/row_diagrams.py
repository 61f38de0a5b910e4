"""Diagrams along a row: load, shear, bending moment, deflected shape, clamp forces and utilizations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.combinations import LoadFactors
from fea.rails.loads import FrameResult
from roofmodel.units import UnitSystem
from viewer import style
from viewer.as_tested import read_as_tested, signed_along
from viewer.combining import combination
from viewer.picture import svg
from viewer.picture.findings import row_case
from viewer.picture.labels import text_width
from viewer.picture.plan import clamp_marks
from viewer.quantities import quantity, system

Array = NDArray[np.float64]

WIDTH, LEFT, RIGHT = 760.0, 92.0, 30.0  # of the drawing and beside the diagrams [px]
PANEL, GAP, HEAD = 46.0, 37.0, 42.0
TITLE = 14.0  # of a panel, above it: the name of a largest value stands between [px]
TYPE = 12.0  # 8 pt where the drawing is as wide as a printed page [px]
LINE = 14.0  # from one line of words to the next [px]


@dataclass(frozen=True)
class _Axes:
    """A panel: place along the row to x, value to y."""

    top: float
    length: float
    low: float
    high: float

    def x(self, s: Array) -> Array:
        return np.asarray(LEFT + s / self.length * (WIDTH - LEFT - RIGHT))

    def y(self, value: Array) -> Array:
        return np.asarray(self.top + PANEL * (self.high - value) / (self.high - self.low))

    def points(self, s: Array, value: Array) -> Array:
        return np.stack([self.x(s), self.y(value)], axis=-1)


def row_svg(analysis: Analysis, row: int) -> str:
    """Line load, shear, bending moment, deflected shape, clamp forces and clamp utilizations of a row.

    Parameters
    ----------
    analysis : Analysis
    row : int
        Index of the row in the layout.

    Returns
    -------
    str
        SVG of the row's worst case with its strength combination, snow at the rail's axis for shear and
        moment, in the state of panels and splices that bends the row most; the deflected shape is under snow
        as it lies, at the axis or the top, whichever is more.
        Positive moments bend the rail down the slope between clamps, positive shear pushes what lies left of
        it up the slope.
    """
    layout, case = analysis.project.layout, row_case(analysis, row)
    units = system(analysis.project.table.project.units)
    length = float(layout.row_length[row])
    name = layout.row_name[row]
    parts = [
        svg.text(f"Row {name}", LEFT, 16.0, 15.0, bold=True),
        svg.text(
            f"{analysis.snow.cases[case].name}; {combination(analysis, case)}",
            LEFT,
            32.0,
            TYPE,
            color=style.MUTED,
        ),
    ]
    top = HEAD + 10.0 + TITLE
    for panel in (_load, _shear, _moment, _deflected, _clamp_force, _clamp_use):
        parts += panel(analysis, row, case, top, units)
        top += PANEL + GAP
    parts += _places(_Axes(top - GAP + 6.0, length, 0.0, 1.0), layout.clamp_s[layout.clamp_row == row], units)
    return svg.document(WIDTH, top + 22.0, f"Diagrams of row {name}", parts)


def _panel(axes: _Axes, title: str, ticks: list[tuple[float, str]]) -> list[str]:
    """Title, zero line and labeled levels of a panel."""
    parts = [svg.text(title, LEFT, axes.top - TITLE, TYPE, bold=True)]
    for value, words in ticks:
        y = float(axes.y(np.array(value)))
        strong = value == 0.0
        parts.append(
            svg.line(
                np.array([[LEFT, y], [WIDTH - RIGHT, y]]),
                style.INK if strong else style.HAIRLINE,
                0.9 if strong else 0.7,
            )
        )
        parts.append(svg.text(words, LEFT - 8.0, y + 3.5, TYPE, anchor="end", color=style.MUTED))
    return parts


def _load(analysis: Analysis, row: int, case: int, top: float, units: UnitSystem) -> list[str]:
    force, length = analysis.force, float(analysis.project.layout.row_length[row])
    on = np.flatnonzero(force.row == row)
    span = force.span[on]
    snow = analysis.factors[case].snow
    value = -force.thrust[case, on, 1] / (span[:, 1] - span[:, 0]) * snow
    most = style.scale_top(1.02 * units.convert(float(value.max(initial=0.0)), "line"))
    axes = _Axes(top, length, 0.0, most / units.convert(1.0, "line"))
    s = np.concatenate([[span[0, 0]], span.ravel(), [span[-1, 1]]])
    steps = axes.points(s, np.concatenate([[0.0], np.repeat(value, 2), [0.0]]))
    ticks = [(0.0, "0"), (axes.high, _level(most))]
    parts = _panel(axes, f"Sliding snow on the rail, factored, {units.label('line')}", ticks)
    parts.append(
        svg.element(
            "path",
            d=svg.path(steps, closed=True),
            fill=style.SNOW_ANCHORS[2],
            stroke=style.ACCENT,
            stroke_width=1.0,
        )
    )
    clamps = analysis.project.layout.clamp_s[analysis.project.layout.clamp_row == row]
    before = None
    for end, at in enumerate((clamps[0], clamps[-1])):
        extra = float(force.end_bound[case, row, end]) * snow
        if extra > 1e-3 * float(np.sum(value * (span[:, 1] - span[:, 0])) + 1.0):
            x, tip = float(axes.x(at)), float(axes.x(np.array(length if end else 0.0)))
            parts += _on_the_overhang(min(x, tip), max(x, tip), top)
            words = f"{quantity(extra, 'force', units)} from beyond the end, evenly on the overhang"
            way = (-1.0 if end else 1.0) * (8.0 + 6.2 * len(words))
            y = _off_the_edge(steps, x, way, top)
            if before is not None and x + way < before[0] and abs(y - before[1]) < LINE:
                y = before[1] + (LINE if before[1] + LINE < top + PANEL - 2.0 else -LINE)
            before = x + way, y
            side = "end" if end else "start"
            parts.append(svg.text(words, x + (-8.0 if end else 8.0), y, TYPE, anchor=side, halo=True))
    return parts


def _on_the_overhang(left: float, right: float, top: float) -> list[str]:
    """An even load from the tip of a rail to its end clamp; an arrow where it hardly has an overhang."""
    middle, half = 0.5 * (left + right), 0.5 * max(right - left, 1.6)
    foot = top + PANEL
    block = np.array(
        [
            [middle - half, top + 4.0],
            [middle + half, top + 4.0],
            [middle + half, foot - 9.0],
            [middle - half, foot - 9.0],
        ]
    )
    parts = [svg.element("path", d=svg.path(block, closed=True), fill=style.INK, fill_opacity=0.75)]
    count = max(1, int(2.0 * half // 9.0))
    for x in np.linspace(left, right, 2 * count + 1)[1::2].tolist():
        head = np.array([[x, foot], [x - 3.5, foot - 9.0], [x + 3.5, foot - 9.0]])
        parts.append(svg.element("path", d=svg.path(head, closed=True), fill=style.INK))
    return parts


def _off_the_edge(steps: Array, x: float, reach: float, top: float) -> float:
    """Height of words from x on, on the load where it is high enough for them, else above it. [px]."""
    near = (steps[:, 0] > min(x, x + reach)) & (steps[:, 0] < max(x, x + reach))
    edge = np.interp([x, x + reach], steps[1:-1, 0], steps[1:-1, 1])
    edge = np.concatenate([edge, steps[near, 1]])
    foot = top + PANEL
    return foot - 5.0 if foot - float(edge.max()) > TYPE + 5.0 else max(float(edge.min()) - 4.0, top + 9.0)


def _moment(analysis: Analysis, row: int, case: int, top: float, units: UnitSystem) -> list[str]:
    title = (
        f"Bending moment of the rail, snow at its axis, {units.label('moment')}: down the slope, square to "
        "the roof (dashed)"
    )
    most = hardest(analysis, row, case)
    s, down, away = along_row(analysis, row, analysis.factors[case], case, most.rail_force, (5, 4), of=most)
    return _curves(_Curves(title, "moment", s, down, away, f"{title}."), analysis, row, top, units)


def _shear(analysis: Analysis, row: int, case: int, top: float, units: UnitSystem) -> list[str]:
    title = (
        f"Shear force of the rail, snow at its axis, {units.label('force')}: along the slope, square to the "
        "roof (dashed)"
    )
    most = hardest(analysis, row, case)
    s, down, away = along_row(analysis, row, analysis.factors[case], case, most.rail_force, (1, 2), of=most)
    return _curves(_Curves(title, "force", s, down, away, f"{title}."), analysis, row, top, units)


def hardest(analysis: Analysis, row: int, case: int) -> FrameResult:
    """The state of panels and splices whose moment on a row is largest, of which the shear is shown too."""

    def moment(result: FrameResult) -> float:
        _, down, away = along_row(
            analysis, row, analysis.factors[case], case, result.rail_force, (5, 4), of=result
        )
        return float(np.hypot(down, away).max(initial=0.0))

    return max(analysis.responses, key=moment)


def _deflected(analysis: Analysis, row: int, case: int, top: float, units: UnitSystem) -> list[str]:
    """The rail's axis under snow as it lies, as seen square to the roof: down is down the slope."""
    title = (
        "Deflected shape (service), rail and give of clamps, snow where worst, "
        f"{units.label('size')}: down the slope, square to the roof (dashed)"
    )
    found = [
        along_row(
            analysis, row, analysis.service[case], case, result.deflection, (1, 2), worst=True, of=result
        )
        for result in analysis.responses
    ]
    s, down, away = max(found, key=lambda one: float(np.abs(one[1]).max(initial=0.0)))
    words = "Deflected shape of the rail under snow as it lies."
    return _curves(_Curves(title, "size", s, down, away, words), analysis, row, top, units)


def along_row(
    analysis: Analysis,
    row: int,
    factors: LoadFactors,
    case: int,
    unit: Array,
    axes: tuple[int, int],
    *,
    worst: bool = False,
    of: FrameResult | None = None,
) -> tuple[Array, Array, Array]:
    """Places on a row and two components there of a combination.

    Snow is at the rail's axis, or in the reading that makes most of the first component where `worst`.
    `unit` stands at the places of the response `of`, or of the first one.
    """
    result, count = of or analysis.response, analysis.basis.cases
    snow, dead, thermal = (np.full(count, f) for f in (factors.snow, factors.dead, factors.thermal))
    basis = analysis.basis
    weights = basis.readings_weights(snow, dead, thermal)[:, case]
    if not worst:
        weights = basis.weights(snow, dead, thermal, top=False)[None, case]
    on = np.flatnonzero(result.sample_row == row)
    on = on[np.lexsort((result.sample_s[on], result.sample_span[on]))]
    first, second = (np.tensordot(weights, unit[:, on, axis], 1) for axis in axes)
    most = int(np.abs(first).max(axis=1, initial=0.0).argmax())
    return result.sample_s[on], first[most], second[most]


@dataclass(frozen=True)
class _Curves:
    """Two components along a row (t,): the first filled, the second dashed; `words` for those who listen."""

    title: str
    kind: str
    s: Array
    first: Array
    second: Array
    words: str


def _curves(curves: _Curves, analysis: Analysis, row: int, top: float, units: UnitSystem) -> list[str]:
    """A panel of two curves about zero, the largest value of the first named."""
    s, first = curves.s, curves.first
    reach = float(max(np.abs(first).max(initial=0.0), np.abs(curves.second).max(initial=0.0)))
    most = style.scale_top(1.02 * units.convert(reach, curves.kind))
    high = most / units.convert(1.0, curves.kind)
    up = max(float(first.max(initial=0.0)), float(curves.second.max(initial=0.0))) > 0.05 * reach
    axes = _Axes(top, float(analysis.project.layout.row_length[row]), -high, high if up else 0.0)
    ticks = [(-high, f"−{_level(most)}"), (0.0, "0"), (high, _level(most))]
    parts = _panel(axes, curves.title, ticks if up else ticks[:2])
    zero = float(axes.y(np.array(0.0)))
    ends = [[[float(axes.x(s[i])), zero]] for i in (0, -1)]
    area = np.concatenate([ends[0], axes.points(s, first), ends[1]])
    parts.append(svg.element("path", d=svg.path(area, closed=True), fill=style.ACCENT, fill_opacity=0.14))
    parts.append(svg.line(axes.points(s, first), style.ACCENT, 1.3))
    parts.append(svg.line(axes.points(s, curves.second), style.MUTED, 1.0, dash="3 2"))
    worst = int(np.argmax(np.abs(first)))
    x, y = axes.points(s[worst : worst + 1], first[worst : worst + 1])[0]
    parts.append(svg.element("circle", cx=x, cy=y, r=2.6, fill=style.ACCENT))
    words = quantity(float(abs(first[worst])), curves.kind, units)
    half = 0.5 * text_width(words, TYPE, bold=True)
    middle = float(np.clip(x, LEFT + half, WIDTH - RIGHT - half))
    beyond = -5.0 if first[worst] > 0.0 else 4.0 + 0.75 * TYPE  # no curve goes there
    parts.append(svg.text(words, middle, float(y) + beyond, TYPE, anchor="middle", bold=True, halo=True))
    return [svg.element("g", "".join(parts), role="img", aria_label=curves.words)]


def _level(value: float) -> str:
    """A round level of an axis."""
    return f"{value:,.10g}"


def _bars(axes: _Axes, s: Array, value: Array, color: list[str]) -> list[str]:
    step = float(np.diff(axes.x(s)).min()) if len(s) > 1 else 20.0
    width = float(np.clip(0.55 * step, 0.8, 12.0))
    zero = float(axes.y(np.array(0.0)))
    bars: dict[str, str] = {}
    for (x, y), shade in zip(axes.points(s, value), color, strict=True):
        left, w = svg.number(x - 0.5 * width), svg.number(width)
        bars[shade] = (
            bars.get(shade, "") + f"M{left} {svg.number(zero)}V{svg.number(y)}h{w}V{svg.number(zero)}z"
        )
    return [svg.element("path", d=data, fill=shade) for shade, data in bars.items()]


def _limit_line(
    axes: _Axes, value: float, words: str, s: Array, bars: Array, *, left: bool = False
) -> list[str]:
    """A limit with its words above it: at its end, in the middle or above bars, where no bar crosses them."""
    y = float(axes.y(np.array(value)))
    reach = text_width(words, TYPE, bold=True) + 8.0
    ends = [(LEFT + 4.0, "start", 0.0), (WIDTH - RIGHT, "end", -reach)]
    places = [*(ends if left else ends[::-1]), (0.5 * (LEFT + WIDTH - RIGHT), "middle", -0.5 * reach)]
    x, heights = axes.x(s), axes.y(np.nan_to_num(bars, nan=0.0))
    tops = [
        float(heights[(x > at + off - 8.0) & (x < at + off + reach + 8.0)].min(initial=axes.top + PANEL))
        for at, _, off in places
    ]
    clear = next((k for k, top in enumerate(tops) if top >= y - 1.0), int(np.argmax(tops)))
    at, anchor, _ = places[clear]
    return [
        svg.line(np.array([[LEFT, y], [WIDTH - RIGHT, y]]), style.EXCEEDED_ANCHORS[0], 1.8),
        svg.text(
            words,
            at,
            min(y, tops[clear]) - 4.0,
            TYPE,
            anchor=anchor,
            bold=True,
            halo=True,
            color=style.EXCEEDED_ANCHORS[0],
        ),
    ]


def _clamp_force(analysis: Analysis, row: int, case: int, top: float, units: UnitSystem) -> list[str]:
    layout = analysis.project.layout
    on = layout.clamp_row == row
    # With the snow at the rail's axis or at its top, whichever is more.
    value = signed_along(analysis)[case, on]
    strength = float(analysis.project.clamp.strength[0])
    given = not np.isnan(strength)
    reach = max(float(value.max(initial=0.0)), strength if given else 0.0)
    most = style.scale_top(1.3 * units.convert(reach, "force"))
    unit = units.convert(1.0, "force")
    least = min(float(value.min(initial=0.0)), 0.0)
    axes = _Axes(top, float(layout.row_length[row]), 1.05 * least, most / unit)
    title = f"Plain factored force F on the clamps along the seam, {units.label('force')}"
    if read_as_tested(analysis):
        title += "; not the larger force as tested"
    parts = _panel(axes, title, [(0.0, "0"), (axes.high, _level(most))])
    parts += _bars(axes, layout.clamp_s[on], value, [style.ACCENT] * int(on.sum()))
    words = f"design strength along the seam {quantity(strength, 'force', units)}"
    if given:
        where = layout.clamp_s[on] / axes.length
        right = float(value[where > 0.5].max(initial=0.0)) > float(value[where <= 0.5].max(initial=0.0))
        return parts + _limit_line(axes, strength, words, layout.clamp_s[on], value, left=right)
    return [
        *parts,
        svg.text(
            "strength along the seam not given",
            WIDTH - RIGHT,
            top + 12.0,
            TYPE,
            anchor="end",
            bold=True,
            halo=True,
        ),
    ]


def _clamp_use(analysis: Analysis, row: int, case: int, top: float, units: UnitSystem) -> list[str]:
    layout = analysis.project.layout
    on = np.flatnonzero(layout.clamp_row == row)
    together = next(limit for limit in analysis.limits if limit.name == "clamp combined")
    screws = [one.utilization[case, on] for one in analysis.limits if one.name.startswith("screw ")]
    use = np.max([together.utilization[case, on], *screws], axis=0)
    most = style.scale_top(1.3 * max(float(np.nan_to_num(use, nan=0.0).max(initial=0.0)), 1.0))
    axes = _Axes(top, float(layout.row_length[row]), 0.0, most)
    title = "Clamp utilization, all directions together" + (", or its screws" if screws else "")
    parts = _panel(axes, title, [(0.0, "0"), (most, _level(most))])
    known = ~np.isnan(use)
    s = layout.clamp_s[on]
    parts += _bars(
        axes, s[known], use[known], [style.utilization_color(round(float(u), 2)) for u in use[known]]
    )
    worst_s = float(s[np.nanargmax(use)]) if known.any() else 0.0
    parts += _limit_line(axes, 1.0, "limit 1.0", s, use, left=worst_s > 0.5 * axes.length)
    if known.any():
        worst = int(np.nanargmax(use))
        x, y = axes.points(s[worst : worst + 1], use[worst : worst + 1])[0]
        words = f"{layout.clamp_name[on[worst]]}  {style.utilization_text(float(use[worst]))}"
        anchor = "start" if x < LEFT + 40.0 else "middle" if x < WIDTH - RIGHT - 40.0 else "end"
        y, limit = float(y) - 5.0, float(axes.y(np.array(1.0)))
        if limit - 3.0 < y < limit + 0.9 * TYPE + 3.0:  # the words would cross the line of the limit
            y = limit - 4.0
        parts.append(svg.text(words, float(x), y, TYPE, anchor=anchor, bold=True, halo=True))
    unknown = axes.points(s[~known], np.zeros(int((~known).sum()))) - [0.0, 6.0]
    return parts + clamp_marks(unknown, np.full(len(unknown), np.nan), 3.6)


def _places(axes: _Axes, clamps: Array, units: UnitSystem) -> list[str]:
    """The row with its clamps and its length."""
    y = axes.top
    parts = [svg.line(np.array([[LEFT, y], [WIDTH - RIGHT, y]]), style.INK, 2.0)]
    data = "".join(f"M{svg.number(float(x))} {svg.number(y - 3.0)}v6" for x in axes.x(clamps))
    parts.append(svg.element("path", d=data, stroke=style.INK, stroke_width=1.0))
    parts.append(svg.text("left end, looking up the slope", LEFT, y + 16.0, TYPE, color=style.MUTED))
    words = f"{units.text(axes.length, 'length')}, {len(clamps)} clamps"
    parts.append(svg.text(words, WIDTH - RIGHT, y + 16.0, TYPE, anchor="end", color=style.MUTED))
    return parts
