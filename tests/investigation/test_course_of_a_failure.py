"""The nearest sample, event by event, as numbers and as marks on the plan."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from fea.evidence.explanations import Course
from fea.failure.assembled import PARTS
from roofmodel.project.load import load_project
from viewer.investigate.course import before, numbers_of, sequence, torn
from viewer.picture.course import BEFORE, BENT, PARTED, STANDS, draw_clamps, draw_splice_key
from viewer.snow.drawing import Drawing, Shape

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
    rail = SimpleNamespace(state="parted", fresh=False)
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
    ("kind", "arms", "dashed"), [(PARTED, 1, False), (BEFORE, 2, False), (BENT, 1, True)]
)
def test_a_splice_is_a_bar_across_its_rail_a_cross_if_parted_before_dashed_if_bent(
    project, kind, arms, dashed
):
    clamp = project.layout.clamp_name.index("low-38")
    found, at = marks(project, splices=[(clamp, kind)])
    assert len(found) == arms
    assert all((one.dash is not None) == dashed for one in found)
    rail = at[clamp] - at[clamp - 1]
    ways = [np.diff(one.rings[0], axis=0)[0] for one in found]
    turned = [float(way @ rail / np.linalg.norm(way) / np.linalg.norm(rail)) for way in ways]
    assert np.abs(turned) == pytest.approx([0.0] if arms == 1 else [np.sqrt(0.5)] * 2, abs=1e-9)
    if arms == 2:
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
