"""Pictures of an investigation: ranking, what was found, the nearest sample and its animation."""

from __future__ import annotations

from pathlib import Path
from textwrap import wrap

import numpy as np
from shapely import box

from viewer import style
from viewer.investigate.case import CaseFindings
from viewer.investigate.course import before, likeliest, numbers_of, torn
from viewer.investigate.findings import answer, share, shown
from viewer.picture.course import (
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
from viewer.snow.drawing import Drawing

WIDTH, LEFT, TYPE = 1180.0, 60.0, 16.0
NAMES = 250.0
ROOM = 46.0  # above and below the plans, for numbers beside rows at eaves [px]


def case_drawing(found: CaseFindings) -> Drawing:
    """Ranking above, what was found and the likeliest sequence below."""
    bars = len(shown(found))
    lines = wrap(answer(found), 112)
    down = 24.0 * (len(lines) - 1)
    top = 150.0 + down + 36.0 * bars
    project = found.evidence.project
    tall = plan_scale(project)[2] + 2.0 * (ROOM - 24.0)
    drawing = Drawing((WIDTH, top + tall + 218.0))
    drawing.write(found.evidence.table.case.name, LEFT, 40.0, 26.0, bold=True)
    for i, line in enumerate(lines):
        drawing.write(line, LEFT, 74.0 + 24.0 * i, 17.0)
    scale = WIDTH - LEFT - NAMES - 260.0
    for i, one in enumerate(shown(found)):
        y, x = 136.0 + down + 36.0 * i, LEFT + NAMES
        drawing.write(one.cause, x - 10.0, y, TYPE, align="right", bold=i == 0)
        drawing.area(box(x, y - 10.0, x + scale, y + 10.0), style.TINT)
        drawing.area(box(x, y - 10.0, x + max(scale * one.posterior, 1.5), y + 10.0), style.ACCENT)
        ends = np.array([[x + scale * one.low, y], [x + scale * one.high, y]])
        drawing.line(ends, style.INK, 2.0)
        for end in ends:
            drawing.line(end + np.array([[0.0, -6.0], [0.0, 6.0]]), style.INK, 2.0)
        drawing.write(share(one), x + scale + 14.0, y, TYPE)
    evidence = found.evidence
    state = np.where(~evidence.known, UNKNOWN, np.where(evidence.gave_way, GAVE_WAY, STANDS))
    rails = [rail for rail in evidence.rails if rail[1] in SPLICES]
    looked = [(at, BEFORE if fresh is False else how) for at, how, _, fresh in rails]
    corner = (LEFT, top + 40.0)
    draw_clamps(drawing, project, corner, state, "What was found", splices=looked, room=ROOM)
    best, order = likeliest(found)
    bank = found.bank(found.fits[0].cause)
    made = np.where(bank.gave_way[best], GAVE_WAY, STANDS)
    made[bank.gave_way[best] & (bank.order[best] < 0)] = NEVER
    title = f'Nearest sample of "{found.fits[0].cause}", numbers as in its sequence'
    splices = [*((at, BEFORE) for at in before(found)), *((at, PARTED) for at, _ in torn(found))]
    draw_clamps(
        drawing, project, (LEFT + SIZE[0] + 40.0, top + 40.0), made, title, order, splices,
        numbers=numbers_of(found), flawed=found.course.flawed, room=ROOM,
    )  # fmt: skip
    y = top + tall + 98.0
    draw_key(drawing, LEFT, y)
    kinds = {kind for _, kind in [*looked, *splices]}
    less = "holds less in this sample" if found.course.flawed.any() else None
    draw_splice_key(drawing, LEFT, y + 30.0, [kind for kind in (PARTED, BEFORE, BENT) if kind in kinds], less)
    draw_scale(drawing, project, WIDTH - 70.0, y)
    drawing.write(
        "An aid to judgment: the true cause may not be among these. " + style.CAUTION,
        LEFT, drawing.size[1] - 26.0, 0.9 * TYPE, color=style.MUTED,
    )  # fmt: skip
    return drawing


def write_animation(found: CaseFindings, path: Path) -> None:
    """sequence.gif: the nearest sample, clamp after clamp."""
    best, order = likeliest(found)
    bank = found.bank(found.fits[0].cause)
    never = bank.gave_way[best] & (bank.order[best] < 0)
    note = "One sample that is near what was found, not a record."
    title = f'"{found.fits[0].cause}"'
    parted = [*((at, -1) for at in before(found)), *torn(found)]
    write_course(found.evidence.project, order, never, title, note, path, parted)
