"""Rows that a plan offers can be built: each may be off as hands leave it, or the plan does not pass."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
from plan_projects import loaded_without_rows
from rich.console import Console
from test_rows_with_gaps import DORMER

from fea.analysis import Analysis, analyze, check_limits
from fea.planning.plan import Plan
from fea.planning.steady import row_steps, steadied, troubles
from fea.planning.threats import find_threats
from fea.row_moves import with_ups
from fea.sensitivity import out_of_place
from roofmodel.project.load import Project, load_project, with_rows
from roofmodel.project.schema import RowTable
from tests.checks.test_off_place import WING
from viewer.picture.overlay import verdict as in_picture
from viewer.picture.scene import build_scene
from viewer.places import out_of_place_words, place_line
from viewer.plan.export import plan_data
from viewer.plan.terminal import print_plan
from viewer.plan.words import verdict_words
from viewer.quantities import percent, system

OFF = 0.05


def wing(folder: Path, s: float, w: float, along: float) -> Project:
    """The roof with a valley, with all that a verdict asks for."""
    text = WING.replace("@S@", f"{s!r}").replace("@W@", f"{w!r}").replace("@ALONG@", f"{along!r}")
    text = text.replace('"355 MPa"', '"355 MPa"\ndeflection_ratio = 50')
    path = folder / "project.toml"
    path.write_text(text.replace('"ASD"', '"ASD"\nrail_height_ratio = 0.01'), encoding="utf-8")
    return load_project(path)


def near_step(folder: Path, share: float) -> Analysis:
    """Rows at one level of a valley: they pass, W exceeds past its step, S does by `share` of what W does."""
    ends = sorted(one.then for one in analyze(wing(folder, 1.0, 1.0, 100.0)).off_place)
    assert len(ends) == 2
    return analyze(wing(folder, 1.0, 1.0, 100.0 * (ends[1] + share * (ends[0] - ends[1]))))


def worst_alone(project: Project) -> float:
    """Largest utilization of any clamp with one row at a time up or down by the tolerance."""
    ups, found = [row.up for row in project.table.row], []
    for number in range(len(ups)):
        for by in (-OFF, -0.5 * OFF, 0.5 * OFF, OFF):
            moved = with_ups(project, [*ups[:number], ups[number] + by, *ups[number + 1 :]])
            use = [one.utilization for one in check_limits(moved) if one.target == "clamp"]
            found.append(float(np.nan_to_num(use).max()))
    return max(found)


def test_rows_at_a_step_are_moved_until_each_may_be_off_alone(tmp_path: Path) -> None:
    """S can carry the whole stream and W cannot: they part, so that W never stands higher."""
    analysis = near_step(tmp_path, 0.5)
    assert analysis.passed
    assert worst_alone(analysis.project) > 1.0
    (one,) = row_steps(analysis)
    assert one.rows == ("W", "S")
    rows = tuple(analysis.project.table.row)
    found = steadied(analysis, rows, find_threats(analysis.project), (1,))
    assert not found.trouble
    assert found.analysis.passed
    assert worst_alone(found.analysis.project) <= 1.0
    ups = {row.name: row.up for row in found.rows}
    assert ups["S"] > ups["W"]  # so that S is the one to take a stream
    assert steadied(found.analysis, found.rows, find_threats(analysis.project), (1,)).rows == found.rows


def test_what_nothing_near_by_mends_does_not_pass_in_silence(tmp_path: Path) -> None:
    """Neither can carry the whole stream: headline, table, picture, data and exit code say so."""
    analysis = near_step(tmp_path, 1.3)
    assert analysis.passed
    rows, threats = tuple(analysis.project.table.row), find_threats(analysis.project)
    found = steadied(analysis, rows, threats, (1,))
    assert found.trouble
    rows, analysis = found.rows, found.analysis
    plan = Plan(
        threats=threats, rows=rows, analysis=analysis, groups=(), checks=1, length=1.0, clamps=2, cost=1.0,
        passing_by=0.0, failure="", notes=(), place=found.place, trouble=found.trouble,
    )  # fmt: skip
    assert not plan.passed
    assert replace(plan, trouble=()).passed
    assert verdict_words(plan).startswith("EXCEEDED A LITTLE OUT OF PLACE: 2 rows with 2 clamps keep every")
    assert plan_data(plan.analysis.project, plan)["verdict"] == "exceeded out of place"
    out = io.StringIO()
    print_plan(plan, (), Console(file=out, width=400))
    assert out.getvalue().count("EXCEEDED A LITTLE OUT OF PLACE") == 1
    worst = found.trouble[0]
    place = out_of_place_words(found.trouble)
    shown = [line for line, _ in in_picture(analysis, build_scene(analysis), place)]
    assert shown[0] == f"EXCEEDED a little out of place: {percent(worst.use)} ({worst.at})"
    assert shown[1].endswith("within their limits in their exact places only")


def test_the_line_of_a_check_does_not_contradict_its_caution(tmp_path: Path) -> None:
    """All rows together keep their level; one alone does not, and both are said."""
    analysis = near_step(tmp_path, 1.3)
    worst = row_steps(analysis)[0]
    line = place_line(out_of_place(analysis), analysis, system("SI"))
    assert f"one row alone off its place takes an attachment to {percent(worst.use)} ({worst.at})" in line
    assert "all rows together 25 mm higher or lower" in line
    assert line.endswith("check the places on site.")


def test_a_row_that_cannot_be_off_is_moved_to_where_it_can(tmp_path: Path) -> None:
    """A dormer's ridge of 4.2 m + 0.8 m tan 35 deg meets the slope 3.07 m up: a row just above it goes up."""
    project = loaded_without_rows(tmp_path, DORMER, DEPTH="0.5 m", RATIO="0.02")
    apex = (1.2 + 0.8 * np.tan(np.radians(35.0))) / np.sin(np.radians(35.0))
    ups = (0.5, float(np.round(apex + 0.03, 2)))
    rows = tuple(
        RowTable.model_validate({"name": f"R{i}", "plane": "S1", "up": f"{up!r} m"})
        for i, up in enumerate(ups)
    )
    analysis = analyze(with_rows(project, rows))
    assert analysis.passed
    (one,) = troubles(analysis, out_of_place(analysis, OFF))
    assert one.rows == ("R1",)
    assert "cannot be calculated" in one.words
    found = steadied(analysis, rows, find_threats(project), (1,))
    assert not found.trouble
    assert found.rows[0] == rows[0]
    assert found.rows[1].up - apex > OFF
