"""Rules of the table plan: kept where rows stand on several planes, named where they stand in the way."""

import io
from dataclasses import replace

import numpy as np
import pytest
from plan_projects import gable, loaded_without_rows
from rich.console import Console

from fea.doubts import project_doubts
from fea.planning import plan as planning
from fea.planning import steady
from fea.planning.apart import gaps, most_rows, too_far, wide_gaps
from fea.planning.ladder import Place
from fea.planning.places import Levels
from fea.planning.plan import plan_rows
from fea.planning.steady import Trouble
from fea.sensitivity import out_of_place
from roofmodel.project.load import load_project, with_rows
from roofmodel.project.schema import RowTable
from viewer.plan.terminal import print_plan
from viewer.plan.words import verdict_words

WING = """
[[roof.part]]
shape = "gable"
footprint = "0 0, 12 0, 12 7, 0 7 m"
pitches = ["35 deg", "gable", "35 deg", "gable"]
eave_height = "3 m"
[[roof.part]]
shape = "gable"
footprint = "6 -3, 11 -3, 11 3.5, 6 3.5 m"
pitches = ["gable", "35 deg", "gable", "35 deg"]
eave_height = "3 m"
"""
MARK = """
[[protect]]
name = "door"
area = "2 -2, 5.5 -2, 5.5 0, 2 0 m"
"""


def project(folder, text):
    path = folder / "project.toml"
    path.write_text(text, encoding="utf-8")
    return load_project(path, rows_needed=False, rows_count=False)


def steep(more, along):
    """A gable of 8 m by 25 degrees: 4.4 m of slope on each side, under much snow."""
    size = {"FOOTPRINT": "0 0, 8 0, 8 4, 0 4 m", "DEPTH": "0.9 m", "RATIO": "0.01", "ANCHORAGE": "200 kN"}
    return gable(ROWS="", ALONG=f"{along} kN", MORE=more, **size)


def row(name, up, **more):
    return RowTable.model_validate({"name": name, "plane": "E1", "up": up, **more})


def test_distances_are_measured_on_every_stretch(tmp_path):
    """A gable of 3 m by 25 degrees: 1.655 m of slope; a short row in the middle splits its line in three."""
    text = gable(ROWS="", MORE='[plan]\nmost_spacing = "0.6 m"\nleast_spacing = "0.3 m"')
    placed = with_rows(
        project(tmp_path, text),
        [row("low", "0.2 m"), row("short", "0.7 m", start="2 m", end="4 m"), row("high", "1.3 m")],
    )
    found = {(one.lower, one.upper): [] for one in gaps(placed, placed.layout)}
    for one in gaps(placed, placed.layout):
        found[one.lower, one.upper].append(one)
    slope = 1.5 / np.cos(np.radians(25.0))
    assert sum(one.width for one in found[0, 2]) == pytest.approx(4.0, abs=1e-6)
    assert [one.height for one in found[0, 2]] == pytest.approx([1.1, 1.1])
    assert [one.height for one in found[0, 1]] == pytest.approx([0.5])
    assert [one.height for one in found[1, 2]] == pytest.approx([0.6])
    assert {round(one.height, 6) for one in found[2, -1]} == {round(slope - 1.3, 6)}
    assert most_rows(placed.layout) == 3
    assert too_far(placed, placed.layout) == pytest.approx(4.0 * (1.1 - 0.6))
    assert [(one.lower, one.upper) for one in wide_gaps(placed, placed.layout)] == [(0, 2)]


def test_rows_on_planes_with_a_valley_keep_the_greatest_distance(tmp_path):
    """Light snow needs few rows: without the rule pieces are left out, with it none that must stand."""
    more = MARK + '[plan]\nevery = [1]\nmost_rows = 6\nleast_spacing = "0.6 m"\n'
    free = plan_rows(loaded_without_rows(tmp_path, WING, DEPTH="0.3 m", MORE=more))
    asked = plan_rows(
        loaded_without_rows(tmp_path, WING, DEPTH="0.3 m", MORE=more + 'most_spacing = "1.3 m"')
    )
    assert len({asked.analysis.project.roof.planes.name[p] for p in asked.threats.groups[0]}) > 1
    assert asked.passed
    assert free.passed
    placed = asked.analysis.project
    between = [one.height for one in gaps(placed, placed.layout) if one.upper >= 0]
    assert len(between) > 4
    assert max(between) <= 1.3 + 1e-6
    placed = free.analysis.project
    assert max(one.height for one in gaps(placed, placed.layout)) > 1.3
    assert not asked.cautions


def test_heights_that_cannot_be_are_no_answer(tmp_path):
    """Two rows at most 0.5 m apart and from the top do not fill a slope of 1.65 m."""
    rules = '[plan]\nmost_rows = 2\nleast_spacing = "0.3 m"\nmost_spacing = "0.4 m"\neave_distance = "0.2 m"'
    plan = plan_rows(project(tmp_path, gable(ROWS="", DEPTH="0.2 m", MORE=rules)))
    assert not plan.passed
    assert "most_spacing" in plan.failure
    assert "most_rows" in plan.failure


@pytest.mark.parametrize(
    ("rules", "field"),
    [
        ('least_spacing = "1.6 m"\nmost_rows = 4\nevery = [1]', "least_spacing"),
        ('least_spacing = "0.5 m"\nmost_rows = 1\nevery = [1]', "most_rows"),
        ('least_spacing = "1.2 m"\nmost_rows = 8\nevery = [3]', "every"),
    ],
)
def test_what_stands_in_the_way_is_named_and_true(tmp_path, rules, field):
    """Where no rows pass, the rule that is named is opened as the advice says, and rows are found."""
    for along in (4.0, 3.0, 2.4, 2.0, 1.6, 1.3):
        plan = plan_rows(project(tmp_path, steep(f"[plan]\n{rules}", along)))
        closed, _, opened = plan.advice.partition(": with ")
        if f"{field} = " in closed:
            break
    assert plan.failure
    assert "stands in the way" in closed
    name, _, value = opened.partition(" rows that")[0].partition(" = ")
    assert name == field
    old = next(line for line in rules.splitlines() if line.startswith(field))
    new = f'{name} = "{value}"' if value.endswith(" m") else f"{name} = {value}"
    more = "[plan]\n" + rules.replace(old, new)
    assert not plan_rows(project(tmp_path, steep(more, along))).failure


def test_a_plan_says_what_its_rows_do_off_their_places(tmp_path):
    plan = plan_rows(project(tmp_path, gable(ROWS="")))
    assert plan.passed
    assert plan.place == out_of_place(plan.analysis, 0.05)


def test_rows_that_do_not_bear_their_tolerance_are_moved(tmp_path, monkeypatch):
    """As if a step of the load lay just above: rows go down by the tolerance; the lowest stay."""
    found = plan_rows(project(tmp_path, steep('[plan]\nevery = [1]\nleast_spacing = "1 m"', 2.4)))
    assert found.passed
    ups = [one.up for one in found.rows]
    assert len(set(ups)) > 1

    def near_a_step(analysis, step, memory):
        high = max(one.up for one in analysis.project.table.row)
        return replace(out_of_place(analysis, step, memory), rows=1.2 if high > max(ups) - 0.01 else 0.9)

    monkeypatch.setattr(steady, "out_of_place", near_a_step)
    moved = steady.steadied(found.analysis, found.rows, found.threats)
    assert not moved.trouble
    low = min(ups)
    assert [one.up for one in moved.rows] == pytest.approx([u if u == low else u - 0.03 for u in ups])
    assert moved.analysis.passed
    over = replace(moved.place, rows=1.2, clamps=float("nan"))
    assert [one.use for one in steady.troubles(moved.analysis, over)] == [1.2]
    assert not steady.troubles(moved.analysis, replace(moved.place, rows=float("nan"), clamps=0.9))
    (untested,) = steady.troubles(moved.analysis, replace(over, rows=0.9, failed="no row fits"))
    assert untested.use == float("inf")


def test_a_level_too_near_to_the_lowest_row_does_not_count_for_the_greatest_distance():
    """The first plane has rows at 0.5 m and 2.2 m, 1.7 m apart, whatever stands between on the other."""
    both, second = ((Place(0, 0, None), Place(1, 0, None)), (Place(1, 1, None),))
    levels = Levels(
        planes=(0, 1),
        places=(both, second, both),
        up=np.array([[0.5, 1.1, 2.2, 3.0], [0.5, 1.4, 2.4, 3.0]]),
        lowest=np.array([[0.5, 0.5], [0.5, 0.5]]),
    )
    allowed = levels.allowed(0.8, 1.3)
    assert allowed[0, 1]
    assert not allowed[1, 2]
    assert not allowed[0, 2]
    assert levels.allowed(0.8, 1.8)[1, 2]


def test_lowest_rows_farther_up_are_looked_at_and_told(tmp_path):
    """Rows 3 m apart on 4.4 m of slope: the lowest holds 3 m from 1 m up, but 2.4 m from 2 m up."""
    rules = '[plan]\nleast_spacing = "0.05 m"\nmost_rows = 8\nevery = [1]\nstep = "3 m"\neave_distance = '
    for along in (6.0, 5.0, 4.2, 3.6, 3.0, 2.5, 2.1):
        plan = plan_rows(project(tmp_path, steep(f'{rules}"1 m"', along)))
        if plan.failure:
            break
    assert plan.advice.startswith(
        "[plan] eave_distance = 1.00 m stands in the way: with eave_distance = 2.00 m"
    )
    assert "More snow then lies below the lowest rows, and falls." in plan.advice
    higher = plan_rows(project(tmp_path, steep(f'{rules}"2 m"', along)))
    assert not higher.failure
    assert higher.excess < plan.excess


def test_rows_with_strengths_in_doubt_are_not_praised(tmp_path):
    """Nominal is no strength of format EN: the headline says so, as `check` does of the same rows."""
    text = gable(ROWS="").replace('strength_kind = "nominal"', 'strength_kind = "characteristic"')
    sure = text.replace('format = "ASD"', 'format = "EN"').replace(
        "anchorage_factor", 'anchorage_kind = "characteristic"\nanchorage_factor'
    )
    fine = plan_rows(project(tmp_path, sure))
    assert fine.passed
    assert "NOT VERIFIED" not in verdict_words(fine)
    doubted = plan_rows(project(tmp_path, sure.replace("characteristic", "nominal")))
    assert not doubted.passed
    words = verdict_words(doubted)
    first, *others = project_doubts(doubted.analysis.project, doubted.analysis.limits)
    assert words.startswith(f"NOT VERIFIED: {first}. NOT VERIFIED: ")
    assert all(one in words for one in others)
    assert "keep every limit" not in words
    out = io.StringIO()
    print_plan(doubted, (), Console(file=out, width=2000))
    assert words.removesuffix(".") in out.getvalue()


@pytest.mark.parametrize("target", [0.5, 0.9])
def test_rows_looked_for_once_more_keep_the_target(tmp_path, monkeypatch, target):
    """As if the cheapest rows did not bear to be out of place: others use no more than the target asks."""
    searched, seen, nearest, steady_of = [], [], planning._nearest, planning._steady

    def looked_for(project, task):
        searched.append(project.table.plan.target)
        return nearest(project, task)

    def not_at_first(plan, every):
        seen.append(plan)
        trouble = (Trouble(("E1-1",), 1.2, "E1-1-01", "as if"),) if len(seen) == 1 else ()
        return replace(steady_of(plan, every), trouble=trouble)

    monkeypatch.setattr(planning, "_nearest", looked_for)
    monkeypatch.setattr(planning, "_steady", not_at_first)
    plan = plan_rows(project(tmp_path, steep(f"[plan]\ntarget = {target}\nevery = [1]", 8.0)))
    assert searched == pytest.approx([target, target / 1.2])
    assert plan.passed
    assert plan.excess <= 1.0
    assert plan.analysis.project.table.plan.target == target
