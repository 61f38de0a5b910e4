"""The nearest sample, event by event, as numbers and as marks on the plan."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from fea.evidence.explanations import Course
from fea.failure.assembled import PARTS
from roofmodel.project.load import load_project
from viewer.investigate.course import before, nearest_told, numbers_of, sequence, splice_numbers, torn
from viewer.picture.course import (
    BARE,
    BEFORE,
    BENT,
    COLORS,
    GAVE_WAY,
    PARTED,
    STANDS,
    draw_clamps,
    draw_splice_key,
    plan_scale,
)
from viewer.picture.drawing import Drawing, Shape, paint
from viewer.picture.stretches import A_LINE, BESIDE, State, draw_stretches, lines_of, stretches_tall

MODEL = Path(__file__).parents[2] / "models" / "alder-barn" / "project.toml"
NEAR = "low-20"  # clamp beside the splice that had parted before


@pytest.fixture(scope="module")
def project():
    return load_project(MODEL)


def nearest(project, parted: int) -> SimpleNamespace:
    """Two splices, at low-20 and low-38; low-21, the second splice and low-22 give way in this order."""
    layout, c = project.layout, len(project.layout.clamp_name)
    a, b, near, far = (layout.clamp_name.index(f"low-{k}") for k in (21, 22, 20, 38))
    at, order = np.full(c, np.inf), np.full(c, -1, dtype=np.int16)
    at[[a, b]], order[[a, b]] = (0.25, 0.75), (0, 2)
    course = Course(
        at, np.full(c, 0.2), order, np.array([-1.0, 0.5]), np.array([-1, 1], dtype=np.int16),
        np.array([PARTS, PARTS], dtype=np.int8), np.array([near, far]), parted, np.zeros(c, dtype=bool),
    )  # fmt: skip
    rail = SimpleNamespace(at="splice", state="parted", fresh=False, screws=None)
    evidence = SimpleNamespace(
        project=project, known=np.ones(c, dtype=bool), gave_way=order >= 0,
        table=SimpleNamespace(rail=(rail,)), rails=((near, "parted", 0.05, False),),
    )  # fmt: skip
    return SimpleNamespace(course=course, evidence=evidence)


def test_a_splice_that_had_parted_before_is_event_0_with_all_of_the_bond(project):
    """The bond falls evenly from 1 to 0.2: at 1/4, 1/2 and 3/4 of the way 0.8, 0.6 and 0.4 are left."""
    found = nearest(project, 0)
    events = sequence(found)
    assert [(number, what) for number, _, what, _, _ in events] == [
        (0, f"splice at {NEAR}, parted before"), (1, "low-21"), (2, "splice at low-38"), (3, "low-22"),
    ]  # fmt: skip
    assert [left for _, left, *_ in events] == pytest.approx([1.0, 0.8, 0.6, 0.4])
    assert [how for *_, how in events] == ["parted, old break", "gave way", "unknown", "gave way"]
    assert {row for _, _, _, row, _ in events} == {"low"}
    found.course = replace(found.course, screwed=False)
    assert sequence(found)[0][2] == f"splice at {NEAR}, never screwed"
    name = project.layout.clamp_name
    assert [name[c] for c in before(found)] == [NEAR]
    assert [(name[c], earlier) for c, earlier in torn(found)] == [("low-38", 1)]
    assert numbers_of(found).tolist() == [1, 3]


def test_without_one_the_sequence_begins_with_what_gives_way(project):
    found = nearest(project, -1)
    assert before(found) == ()
    assert [number for number, *_ in sequence(found)] == [1, 2, 3]


def marks(project, **more: object) -> tuple[list[Shape], np.ndarray]:
    """Shapes that more draws than the plan alone, and the middles of the clamps. [px]."""
    state = np.full(len(project.layout.clamp_name), STANDS)
    plain, drawn = Drawing((600.0, 500.0)), Drawing((600.0, 500.0))
    draw_clamps(plain, project, (40.0, 40.0), state, "Roof")
    draw_clamps(drawn, project, (40.0, 40.0), state, "Roof", **more)
    circles = [one.rings[0][0] for one in plain.shapes if one.radius > 0.0]
    old = [(one.style, one.rings[0].tolist()) for one in plain.shapes]
    return [one for one in drawn.shapes if (one.style, one.rings[0].tolist()) not in old], np.array(circles)


@pytest.mark.parametrize(
    ("kind", "arms", "dashed"),
    [(PARTED, 1, False), (BEFORE, 2, False), (BENT, 1, True), (BARE, 2, False)],
)
def test_a_splice_is_a_bar_across_its_rail_a_cross_if_parted_before_two_if_never_screwed(
    project, kind, arms, dashed
):
    clamp = project.layout.clamp_name.index("low-38")
    found, at = marks(project, splices=[(clamp, kind)])
    assert len(found) == arms
    assert all((one.dash is not None) == dashed for one in found)
    rail = at[clamp] - at[clamp - 1]
    ways = [np.diff(one.rings[0], axis=0)[0] for one in found]
    turned = [float(way @ rail / np.linalg.norm(way) / np.linalg.norm(rail)) for way in ways]
    slanted = np.sqrt(0.5) if kind == BEFORE else 0.0
    assert np.abs(turned) == pytest.approx([slanted] * arms, abs=1e-9)
    if kind == BEFORE:
        assert ways[0] @ ways[1] == pytest.approx(0.0, abs=1e-9)
    middles = [one.rings[0].mean(axis=0) for one in found]
    assert max(np.linalg.norm(m - at[clamp]) for m in middles) < np.linalg.norm(rail)
    key = Drawing((600.0, 60.0))
    draw_splice_key(key, 10.0, 30.0, [kind])
    assert [one.dash for one in key.shapes] == [one.dash for one in found]


def test_clamps_that_hold_less_have_a_dot_in_their_mark(project):
    less = np.zeros(len(project.layout.clamp_name), dtype=bool)
    less[[2, 7]] = True
    found, at = marks(project, flawed=less)
    assert np.array([one.rings[0][0] for one in found]) == pytest.approx(at[less])
    assert all(one.radius > 0.0 and one.fill != "#FFFFFF" for one in found)


def test_the_key_has_the_dot_as_it_is_in_standing_and_in_lost_clamps(project):
    """Dark on the one, light on the other: the same pairs of colors as in the plan."""
    c = len(project.layout.clamp_name)
    state, less = np.full(c, STANDS), np.zeros(c, dtype=bool)
    state[7], less[[2, 7]] = GAVE_WAY, True

    def pairs(sheet: Drawing) -> set[tuple[str | None, str | None]]:
        round_ = [one for one in sheet.shapes if one.radius > 0.0]
        return {(a.fill, b.fill) for a, b in pairwise(round_) if np.allclose(a.rings[0][0], b.rings[0][0])}

    plan, key = Drawing((600.0, 420.0)), Drawing((600.0, 60.0))
    draw_clamps(plan, project, (40.0, 40.0), state, "Roof", flawed=less)
    draw_splice_key(key, 10.0, 30.0, [], "holds less")
    assert len(pairs(plan)) == 2
    assert pairs(key) == pairs(plan)


def test_lost_clamps_of_a_long_row_are_seen_though_they_hold_less(tmp_path):
    """120 clamps in 520 px, all weak: the color of what gave way covers most of each lost one's mark."""
    file = tmp_path / "project.toml"
    file.write_text(MODEL.read_text().replace("every = 2", "every = 1"))
    dense = load_project(file)
    c = len(dense.layout.clamp_name)
    state = np.full(c, STANDS)
    lost = np.arange(40, 54)
    state[lost] = GAVE_WAY
    sheet = Drawing((600.0, 420.0))
    draw_clamps(sheet, dense, (40.0, 40.0), state, "Roof", flawed=np.ones(c, dtype=bool))
    middles = np.array([one.rings[0][0] for one in sheet.shapes if one.fill == COLORS[GAVE_WAY]])
    assert len(middles) == len(lost)
    assert np.linalg.norm(np.diff(middles, axis=0), axis=1).max() < 6.0  # so near that neighbors touch
    image = np.asarray(paint(sheet).convert("RGB")).astype(int)
    times = image.shape[1] / sheet.size[0]
    red = (image[..., 0] > 120) & (image[..., 0] > image[..., 1] + 60)
    half = 2.0 * times  # within its share of the row
    parts = [
        red[round(y - half) : round(y + half) + 1, round(x - half) : round(x + half) + 1].mean()
        for x, y in middles * times
    ]
    assert min(parts) > 0.4


def test_every_lost_clamp_stands_once_in_the_stretches_with_its_number(project):
    layout, c = project.layout, len(project.layout.clamp_name)
    asked = np.zeros(c, dtype=bool)
    asked[[2, 3, *range(9, 50)]] = True
    lines = lines_of(layout, asked)
    cells = np.concatenate(lines)
    assert sorted(cells[cells >= 0].tolist()) == sorted(set(cells[cells >= 0].tolist()))
    assert set(np.flatnonzero(asked)) <= set(cells.tolist())
    assert max(map(len, lines)) <= A_LINE
    assert min(line[0] for line in lines) >= 0
    for line in lines:
        assert len({layout.clamp_row[k] for k in line if k >= 0}) == 1
    beside = np.abs(np.arange(c)[:, None] - np.flatnonzero(asked)).min(axis=1)
    assert (beside[cells[cells >= 0]] <= BESIDE).all()
    numbers = {int(k): i for i, k in enumerate(np.flatnonzero(asked), 1)}
    state = State("sample", np.where(asked, GAVE_WAY, STANDS), (), numbers)
    sheet = Drawing((1180.0, 40.0 + stretches_tall(lines, (state,))))
    draw_stretches(sheet, layout, (60.0, 20.0), lines, (state,), np.zeros(c, dtype=bool))
    written = [one.text for one in sheet.texts if one.bold and one.text.isdigit()]
    assert written == [str(i) for i in sorted(numbers.values())]
    assert sum(one.fill == COLORS[GAVE_WAY] for one in sheet.shapes) == asked.sum()


def test_splices_have_numbers_and_what_contradicts_the_site_is_told(project):
    """The splice at low-20 was found parted and parts; that at low-38 was found whole and parts too."""
    found = nearest(project, 0)
    near, far = (project.layout.clamp_name.index(f"low-{k}") for k in (20, 38))
    assert splice_numbers(found) == {near: 0, far: 2}
    rail = SimpleNamespace(at="splice", state="whole", fresh=None, screws=None)
    found.evidence.table.rail = (*found.evidence.table.rail, rail)
    found.evidence.rails = (*found.evidence.rails, (far, "whole", 0.05, None))
    found.fits = (SimpleNamespace(cause="splice parted", nearest=0),)
    made = found.evidence.gave_way.copy()
    lost = int(np.flatnonzero(made)[0])
    found.bank = lambda _: SimpleNamespace(gave_way=made[None], order=np.where(made, 0, -1)[None])
    assert "splice at low-38 found whole, parted in it" in nearest_told(found)
    assert "low-20" not in nearest_told(found)
    made[lost] = False
    assert f"{project.layout.clamp_name[lost]} found off, stands in it" in nearest_told(found)


def test_what_stands_on_the_roof_is_drawn_where_it_stands(tmp_path, project):
    """A ventilator of 3 m by 1.5 m in slope, at across 10 m, to scale."""
    vent = (
        '[[obstruction]]\nname = "vent"\nplane = "S1"\nacross = "10 m"\nup = "2 m"\nwidth = "3 m"\n'
        'depth = "1.5 m"\nheight = "1.2 m"\n\n[design]'
    )
    file = tmp_path / "project.toml"
    file.write_text(MODEL.read_text().replace("[design]", vent))
    with_it = load_project(file)
    state = np.full(len(project.layout.clamp_name), STANDS)
    sheets = Drawing((600.0, 500.0)), Drawing((600.0, 500.0))
    for sheet, one in zip(sheets, (project, with_it), strict=True):
        draw_clamps(sheet, one, (40.0, 40.0), state, "Roof")
    old = [one.rings[0].tolist() for one in sheets[0].shapes]
    (box,) = [one.rings[0] for one in sheets[1].shapes if one.rings[0].tolist() not in old]
    scale = plan_scale(with_it)[1]
    foot = with_it.roof.obstacles.start[:, :2]
    assert np.ptp(box, axis=0) / scale == pytest.approx(np.ptp(foot, axis=0))
    assert np.ptp(box[:, 0]) == pytest.approx(3.0 * scale)
    assert (box[:, 0].mean() - 40.0) / scale == pytest.approx(foot[:, 0].mean() - plan_scale(with_it)[0][0])
    assert any(one.text == "vent" for one in sheets[1].texts)
