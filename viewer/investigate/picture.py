"""Pictures of an investigation: ranking, what was found, the nearest sample and its animation."""

from __future__ import annotations

from pathlib import Path
from textwrap import wrap

import numpy as np
from shapely import box

from fea.evidence.families import Family
from fea.evidence.fit import Fit
from viewer import style
from viewer.investigate.case import CaseFindings
from viewer.investigate.course import bare, before, differing, likeliest, numbers_of, splice_numbers, torn
from viewer.investigate.findings import answer, shown
from viewer.investigate.shares import share
from viewer.investigate.sizes import load_words, size_words
from viewer.investigate.verdict import together_if_firmer
from viewer.picture.course import (
    BARE,
    BEFORE,
    BENT,
    GAVE_WAY,
    NEVER,
    PARTED,
    SIZE,
    SPLICES,
    STANDS,
    UNKNOWN,
    draw_clamps,
    draw_key,
    draw_scale,
    draw_splice_key,
    plan_scale,
    write_course,
)
from viewer.picture.drawing import Drawing
from viewer.picture.stretches import OTHERWISE, State, draw_stretches, lines_of, stretches_tall

WIDTH, LEFT, TYPE = 1180.0, 60.0, 16.0
NAMES = 250.0


def case_drawing(found: CaseFindings) -> Drawing:
    """Ranking above, what was found and the likeliest sequence below."""
    lines = [*wrap(answer(found), 112), *wrap(f"{size_words(found)} {load_words(found)}".strip(), 112)]
    project = found.evidence.project
    plan, states = _found_and_sample(found)
    cells = lines_of(project.layout, np.any([one.state % UNKNOWN != STANDS for one in states], axis=0))
    down = 24.0 * (len(lines) - 1)
    top = 150.0 + down + 36.0 * len(bars(found))
    tall = plan_scale(project)[2]
    at = top + tall + 104.0
    drawing = Drawing((WIDTH, at + 40.0 + stretches_tall(cells, states) + 126.0))
    drawing.write(found.evidence.table.case.name, LEFT, 40.0, 26.0, bold=True)
    for i, line in enumerate(lines):
        drawing.write(line, LEFT, 74.0 + 24.0 * i, 17.0)
    _bars(drawing, found, 136.0 + down)
    for one, title, x in zip(states, plan, (LEFT, LEFT + SIZE[0] + 40.0), strict=True):
        draw_clamps(drawing, project, (x, top + 40.0), one.state, title, one.splices, flawed=one.flawed)
    draw_scale(drawing, project, WIDTH - 70.0, top + tall + 92.0)
    drawing.write("Clamp by clamp, the sample with the numbers of its sequence", LEFT, at, TYPE, bold=True)
    differ = np.array([name in set(differing(found)) for name in project.layout.clamp_name])
    draw_stretches(drawing, project.layout, (LEFT, at + 30.0), cells, states, differ)
    y = at + 40.0 + stretches_tall(cells, states)
    draw_key(drawing, LEFT, y)
    if differ.any():
        drawing.area(box(LEFT + 680.0, y - 8.0, LEFT + 696.0, y + 8.0), OTHERWISE)
        drawing.write("found otherwise than in the sample", LEFT + 704.0, y, 0.95 * TYPE)
    kinds = {kind for one in states for _, kind in one.splices}
    less = "holds less in this sample" if found.course.flawed.any() else None
    draw_splice_key(
        drawing, LEFT, y + 30.0, [kind for kind in (PARTED, BEFORE, BARE, BENT) if kind in kinds], less
    )
    drawing.write(
        "An aid to judgment: the true cause may not be among these. " + style.CAUTION,
        LEFT, drawing.size[1] - 26.0, 0.9 * TYPE, color=style.MUTED,
    )  # fmt: skip
    return drawing


def bars(found: CaseFindings) -> list[tuple[str, Fit | Family]]:
    """What is drawn: explanations, the first with whatever else was wrong where that alone is firm."""
    drawn: list[tuple[str, Fit | Family]] = [(one.cause, one) for one in shown(found)]
    own = together_if_firmer(found)
    if own is None:
        return drawn
    rest = [(name, one) for name, one in drawn if name not in own.causes]
    return [(f"{own.name}, alone or not", own), *rest]


def _bars(drawing: Drawing, found: CaseFindings, top: float) -> None:
    """The ranking, a bar for each explanation."""
    scale = WIDTH - LEFT - NAMES - 260.0
    for i, (name, one) in enumerate(bars(found)):
        y, x = top + 36.0 * i, LEFT + NAMES
        drawing.write(name, x - 10.0, y, TYPE, align="right", bold=i == 0)
        drawing.area(box(x, y - 10.0, x + scale, y + 10.0), style.TINT)
        drawing.area(box(x, y - 10.0, x + max(scale * one.posterior, 1.5), y + 10.0), style.ACCENT)
        ends = np.array([[x + scale * one.low, y], [x + scale * one.high, y]])
        drawing.line(ends, style.INK, 2.0)
        for end in ends:
            drawing.line(end + np.array([[0.0, -6.0], [0.0, 6.0]]), style.INK, 2.0)
        drawing.write(share(one), x + scale + 14.0, y, TYPE)


def _found_and_sample(found: CaseFindings) -> tuple[tuple[str, str], tuple[State, State]]:
    """Titles of the plans, and what became of the clamps: as found, and in the nearest sample."""
    evidence = found.evidence
    state = np.where(~evidence.known, UNKNOWN, np.where(evidence.gave_way, GAVE_WAY, STANDS))
    rails = [rail for rail in evidence.rails if rail[1] in SPLICES]
    unscrewed = {at for at, screws, _ in evidence.splice_screws if not screws}
    looked = [
        (at, BARE if at in unscrewed else BEFORE if fresh is False else how) for at, how, _, fresh in rails
    ]
    best, order = likeliest(found)
    bank = found.bank(found.fits[0].cause)
    made = np.where(bank.gave_way[best], GAVE_WAY, STANDS)
    made[bank.gave_way[best] & (bank.order[best] < 0)] = NEVER
    parts = {at for at, _ in torn(found)}
    splices = [
        (at, _first(found) if number == 0 else PARTED if at in parts else BENT)
        for at, number in splice_numbers(found).items()
    ]
    numbers = dict(zip(order.tolist(), numbers_of(found).tolist(), strict=True))
    titles = ("What was found", f'Nearest sample of "{found.fits[0].cause}"')
    return titles, (
        State("found", state, looked),
        State("sample", made, splices, numbers, splice_numbers(found), found.course.flawed),
    )


def _first(found: CaseFindings) -> str:
    """Kind of the splice that was open before all in the nearest sample."""
    return BARE if bare(found) else BEFORE


def write_animation(found: CaseFindings, path: Path) -> None:
    """sequence.gif: the nearest sample, clamp after clamp."""
    best, order = likeliest(found)
    bank = found.bank(found.fits[0].cause)
    never = bank.gave_way[best] & (bank.order[best] < 0)
    note = "One sample that is near what was found, not a record."
    title = f'"{found.fits[0].cause}"'
    parted = [*((at, -1) for at in before(found)), *torn(found)]
    write_course(found.evidence.project, order, never, title, note, path, parted, _first(found))
