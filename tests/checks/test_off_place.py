"""Row ends at valleys near a step of their load: what the caution says is what moving the row does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea.analysis import analyze, check_limits
from fea.off_place import OVER
from fea.row_moves import with_ups
from roofmodel.project.load import Project, load_project
from roofmodel.sliding.end_reach import LEVEL
from roofmodel.sliding.end_steps import PLACED, end_steps
from roofmodel.sliding.thrust import slide
from roofmodel.units import SYSTEMS
from viewer.caution_lines import sorted_cautions

SLOPE = 35.0
WING = """
[project]
name = "Wing"
[site]
standard = "measured"
level = "strength"
layers = [{ depth = "0.6 m", density = ["300 kg/m^3"] }]
[[roof.part]]
shape = "gable"
footprint = "0 0, 16 0, 16 9, 0 9 m"
pitches = ["35 deg", "gable", "35 deg", "gable"]
eave_height = "3 m"
[[roof.part]]
shape = "gable"
footprint = "6 -5, 13 -5, 13 4.5, 6 4.5 m"
pitches = ["gable", "35 deg", "gable", "35 deg"]
eave_height = "3 m"
[surface]
slippery = true
[panel]
metal = "steel"
seam_spacing = "0.5 m"
seam_height = "50 mm"
thickness = "0.6 mm"
anchorage = "200 kN"
anchorage_factor = 2.0
[rail]
shape = "round tube"
diameter = "60.3 mm"
wall = "4 mm"
material = "steel"
yield_strength = "355 MPa"
[clamp]
height = "60 mm"
grip_length = "70 mm"
test_height = "60 mm"
stiffness = { along = "2 kN/mm", across = "1 kN/mm", pull = "3 kN/mm", rocking = "7200 N*m/rad" }
strength = { along = "@ALONG@ kN", across = "20 kN", pull = "40 kN", push = "80 kN" }
strength_kind = "nominal"
factor = 2.0
[[row]]
name = "S"
plane = "S1"
up = "@S@ m"
end_at = "S1|W1 valley"
[[row]]
name = "W"
plane = "W1"
up = "@W@ m"
[design]
format = "ASD"
"""


def wing(folder: Path, s: float, w: float, along: float = 100.0) -> Project:
    text = WING.replace("@S@", f"{s!r}").replace("@W@", f"{w!r}").replace("@ALONG@", f"{along!r}")
    path = folder / "project.toml"
    path.write_text(text, encoding="utf-8")
    return load_project(path)


def clamps(project: Project, row: str) -> float:
    """Largest utilization of a row's clamps, by the whole check."""
    use = [one.utilization for one in check_limits(project) if one.target == "clamp"]
    on = project.layout.clamp_row == project.layout.row_name.index(row)
    return float(np.nan_to_num(use).max(axis=(0, 1))[on].max())


def test_a_row_is_as_far_from_its_step_as_the_height_of_a_level(tmp_path: Path) -> None:
    """Both planes rise alike from one eave height: rows at 1 m meet, each 20 mm of height below its step."""
    project = wing(tmp_path, 1.0, 1.0)
    graph, force = slide(project.roof, analyze(project).snow.cases, project.layout, project.slide)
    steps = end_steps(project.roof, project.layout, graph)
    rows = {project.layout.row_name[one.row]: one for one in steps}
    assert set(rows) == {"S", "W"}
    for one in rows.values():
        assert one.off == pytest.approx(LEVEL / np.sin(np.radians(SLOPE)), rel=1e-6)
        assert project.roof.edges.name[one.edge] == "S1|W1 valley"
    assert force.end_beyond is not None
    assert (force.end_beyond >= force.end_bound).all()


@pytest.mark.parametrize("by", [0.06, -0.06])
def test_rows_farther_from_a_step_than_the_tolerance_are_not_told(tmp_path: Path, by: float) -> None:
    """The one that stands lower is past all steps; the upper one takes the stream already."""
    project = wing(tmp_path, 1.0 + by + float(np.sign(by) * LEVEL / np.sin(np.radians(SLOPE))), 1.0)
    graph, _ = slide(project.roof, analyze(project).snow.cases, project.layout, project.slide)
    assert PLACED < 0.06
    assert end_steps(project.roof, project.layout, graph) == ()
    assert analyze(project).off_place == ()


@pytest.mark.parametrize(("s", "w"), [(1.0, 1.0), (1.031, 1.0), (2.0, 2.01)])
def test_moving_a_row_across_does_what_the_caution_says(tmp_path: Path, s: float, w: float) -> None:
    project = wing(tmp_path, s, w)
    found = analyze(project).off_place
    assert found
    names = [row.name for row in project.table.row]
    for one in found:
        row = project.layout.row_name[one.step.row]
        moves = project.layout.row_name[one.step.other] if one.step.other_moves else row
        sign = -1.0 if one.step.other_moves else 1.0
        use = []
        for more in (-1e-4, 1e-4):
            ups = [r.up for r in project.table.row]
            ups[names.index(moves)] += sign * (one.step.off + more)
            use.append(clamps(with_ups(project, ups), row))
        assert use[0] == pytest.approx(one.use, rel=0.07)  # a few centimeters of strip more or less
        assert use[1] == pytest.approx(one.then, rel=0.07)
        assert one.then > 1.3 * one.use


def test_what_exceeds_is_loud_and_the_verdict_stays(tmp_path: Path) -> None:
    """Clamps of a strength between what the row asks as it stands and past the step."""
    first = analyze(wing(tmp_path, 1.0, 1.0)).off_place[0]
    most = max(clamps(wing(tmp_path, 1.0, 1.0), row) for row in ("S", "W"))
    assert first.then > 1.02 * most
    analysis = analyze(wing(tmp_path, 1.0, 1.0, 100.0 * 0.5 * (first.then + most)))
    assert not analysis.exceeded
    assert analysis.off_place[0].exceeds
    void, _, _ = sorted_cautions(analysis, SYSTEMS["SI"])
    (words,) = [one for one in void if OVER in one]
    row = analysis.project.layout.row_name[analysis.off_place[0].step.row]
    assert f"row {row} at S1|W1 valley stands 34.9 mm" in words
    calm = analyze(wing(tmp_path, 1.0, 1.0, 200.0))
    assert calm.off_place
    assert not any(OVER in one for one in calm.cautions)
    assert any("near a step of their load" in one for one in calm.cautions)


def test_without_a_strength_the_force_is_told(tmp_path: Path) -> None:
    project = wing(tmp_path, 1.0, 1.0)
    bare = replace(project, clamp=replace(project.clamp, strength=np.full(6, np.nan)))
    (words,) = [one for one in analyze(bare).cautions if "whole stream" in one]
    assert "the snow from beyond its end goes from" in words
    assert "before load factors" in words
