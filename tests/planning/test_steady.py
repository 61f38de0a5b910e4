"""Rows that a plan offers can be built: each may be off as hands leave it, or the plan does not pass."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from plan_projects import loaded_without_rows
from rich.console import Console
from test_rows_with_gaps import DORMER

import viewer
from fea.analysis import Analysis, analyze, check_limits
from fea.planning import steady
from fea.planning.plan import Plan
from fea.planning.steady import Trouble, moved_alone, row_steps, steadied, troubles
from fea.planning.threats import find_threats
from fea.row_moves import with_ups
from fea.sensitivity import out_of_place
from roofmodel.errors import InputError
from roofmodel.project.load import Project, load_project, with_rows
from roofmodel.project.schema import RowTable
from tests.checks.test_off_place import WING
from viewer.export import results
from viewer.package.sway import SwayFindings, place_words
from viewer.picture.overlay import verdict as in_picture
from viewer.picture.scene import build_scene
from viewer.places import out_of_place_words, place_line, place_over, place_short
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


def planned(analysis: Analysis, trouble: tuple[Trouble, ...]) -> Plan:
    """As if a plan had found the rows of a check."""
    rows = tuple(analysis.project.table.row)
    return Plan(
        threats=find_threats(analysis.project), rows=rows, analysis=analysis, groups=(), checks=1, length=1.0,
        clamps=2, cost=1.0, passing_by=0.0, failure="", notes=(), trouble=trouble,
    )  # fmt: skip


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
    analysis = found.analysis
    plan = replace(planned(analysis, found.trouble), threats=threats, place=found.place)
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


def deflecting(folder: Path, target: float, moved: float) -> tuple[Analysis, float]:
    """Rows whose rails deflect more when W (or, of 0, both) is moved, on either side of the limit."""

    def bent(project: Project) -> float:
        return max(float(one.utilization.max()) for one in check_limits(project) if one.service)

    text = wing(folder, 1.0, 1.0, 100.0).path.read_text(encoding="utf-8")
    path = folder / "project.toml"
    text = text.replace('along = "2 kN/mm"', 'along = "20 kN/mm"')
    path.write_text(text.replace("60.3 mm", "33.7 mm").replace('"4 mm"', '"2.6 mm"'), encoding="utf-8")
    project = load_project(path)
    far = bent(with_ups(project, [1.0 + (0.0 if moved > 0.0 else moved), 1.0 + moved]))
    ratio = 50.0 / ((1.0 - target) * bent(project) + target * far)
    text = project.path.read_text(encoding="utf-8").replace(
        "deflection_ratio = 50", f"deflection_ratio = {ratio!r}"
    )
    project.path.write_text(text, encoding="utf-8")
    return analyze(load_project(project.path)), far * ratio / 50.0


def test_rails_that_deflect_too_far_off_their_places_do_not_pass(tmp_path: Path) -> None:
    """W alone higher has a longer overhang at the valley: no attachment tells that, the limit is named."""
    analysis, far = deflecting(tmp_path, 0.5, OFF)
    assert not analysis.exceeded
    alone = [one for one in moved_alone(analysis, OFF) if "W" in one.rows]
    (found,) = [one for one in troubles(analysis, None, alone) if one.limit == "rail deflection"]
    assert found.use == pytest.approx(far)
    assert found.rows == ("W",)
    assert "W alone 50 mm higher rail deflection goes from" in found.words
    assert out_of_place_words([found]).startswith(
        f"EXCEEDED a little out of place: rail deflection {percent(far)}"
    )
    assert "times the strength" not in verdict_words(planned(analysis, (found,)))
    assert "times the strength" in verdict_words(planned(analysis, (found._replace(limit=""),)))


def test_the_tolerance_of_place_names_every_limit(tmp_path: Path) -> None:
    """Both rows lower together: the attachments stay far below their limits, the rail does not."""
    analysis, far = deflecting(tmp_path, 0.5, -0.025)
    place, units = out_of_place(analysis), system("SI")
    assert max(place.rows, place.clamps) <= 1.0
    (over,) = place.rows_over
    assert (over.limit, over.use, over.row) == ("rail deflection", pytest.approx(far), over.at[0])
    line = place_line(place, analysis, units)
    assert f"and take rail deflection to {percent(far)} ({over.at})" in line
    assert line.endswith("That EXCEEDS the limit: check the places on site.")
    assert place_over(place, analysis, units) == line
    worst = max(over, *place.clamps_over)
    assert place_short(place, units) == (
        f"25 mm out of place: rail deflection {percent(worst.use)}",
        worst.use,
    )
    words = place_words(SwayFindings(analysis.attachment.utilization, (), (), place), units)
    assert f"and take rail deflection to {percent(far)}" in words
    data = results(analysis, place)
    jsonschema.validate(data, json.loads((Path(viewer.__file__).parent / "results.schema.json").read_text()))
    first = {"limit": over.limit, "at": over.at, "utilization": over.use, "moved": "rows"}
    assert data["tolerance_of_place"]["other_limits"][0] == first


def test_of_two_troubles_at_one_clamp_the_worse_is_told(tmp_path: Path) -> None:
    analysis = near_step(tmp_path, 0.5)
    (step,) = row_steps(analysis)
    worse = Trouble(("W",), step.use + 0.1, step.at, "W alone")
    for alone, told in ((worse, worse), (worse._replace(use=step.use - 0.01), step)):
        assert troubles(analysis, None, [alone]) == (told,)
    other = worse._replace(limit="rail stress")  # another limit at a target of that name
    assert set(troubles(analysis, None, [other])) == {step, other}


def test_a_row_that_cannot_be_calculated_off_its_place_is_not_tested(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As if W could not stand higher: the plan does not pass, and says so once."""
    analysis = near_step(tmp_path, 0.5)

    def no_place(project: Project, ups: Sequence[float]) -> Project:
        if ups[1] > 1.0 + 0.04 and ups[0] == 1.0:
            raise InputError("no seam")
        return with_ups(project, ups)

    monkeypatch.setattr(steady, "with_ups", no_place)
    alone = moved_alone(analysis, OFF)
    (one,) = [one for one in alone if math.isinf(one.use)]
    assert (one.rows, one.words) == (("W",), "W alone 50 mm higher cannot be calculated")
    found = troubles(analysis, None, [one, *alone])
    assert found[0] == one
    assert sum(math.isinf(each.use) for each in found) == 1
    plan = planned(analysis, found)
    assert not plan.passed
    assert verdict_words(plan).startswith("NOT TESTED OUT OF PLACE")
    place = replace(out_of_place(analysis, OFF), failed="no seam", stay=("W",))  # tells it already
    assert [each.words for each in troubles(analysis, place, alone) if math.isinf(each.use)] == [
        "W 50 mm higher or lower cannot be calculated"
    ]
