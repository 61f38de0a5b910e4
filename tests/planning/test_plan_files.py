"""What `plan` writes: the project with other rows, all else as it was; and what it refuses."""

import json
import re
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner
from plan_projects import HIP, TWO_ROWS, gable, with_roof

import viewer
from fea.analysis import analyze
from fea.planning.candidates import ladders
from fea.planning.plan import plan_rows
from fea.planning.slivers import without_slivers
from fea.planning.threats import Threats, find_threats
from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.project.schema import ProjectFile
from roofmodel.project.validation import validated
from viewer.cli import commands
from viewer.plan import run as run_module
from viewer.plan import words
from viewer.plan.export import plan_data, planned_text, write_planned_project
from viewer.plan.words import Beside, threats_in_words, verdict_words

WIDE = """
[[protect]]
name = "east side"
planes = ["E1"]
[plan]
step = "0.6 m"
every = [2]
"""
MODELS = Path(__file__).parents[2] / "models"


@pytest.mark.parametrize("units", ["SI", "US"])
def test_planned_project_says_the_same_rows_and_all_else(units):
    text = gable(FOOTPRINT="0 0, 8 0, 8 3, 0 3 m").replace('"Plan barn"', f'"Plan barn"\nunits = "{units}"')
    text = text.replace("[design]", "# what governs\n[design]  # by the code")
    table = validated(text, "project.toml", ProjectFile)
    row = table.row[0]
    unit = 0.0254 if units == "US" else 0.01
    rows = (
        row.model_copy(update={"name": "E1-1", "up": 20 * unit, "every": 2, "splice_every": 240 * unit}),
        row.model_copy(update={"name": "E1-2", "up": 187 * unit, "start": 3 * unit, "end": 111 * unit}),
        row.model_copy(update={"name": "E1-3", "up": 90 * unit, "clamp_edge_distance": 5 * unit}),
    )
    again = planned_text(text, rows, units)
    for comment in ("# what governs\n[design]", "# by the code"):
        assert comment in again
    read = validated(again, "planned.toml", ProjectFile)
    for found, wanted in zip(read.row, rows, strict=True):
        for name, value in wanted:
            got = getattr(found, name)
            assert got == (pytest.approx(value, rel=1e-12) if isinstance(value, float) else value), name
    old, new = tomllib.loads(text), tomllib.loads(again)
    assert {k: v for k, v in new.items() if k != "row"} == {k: v for k, v in old.items() if k != "row"}
    assert "\n\n\n" not in again


@pytest.mark.parametrize("rows", ["", TWO_ROWS, 'row = [{ name = "E", plane = "E1", up = "0.4 m" }]'])
def test_rows_may_be_missing_or_inline(rows):
    text = gable()
    before, after = text.split(TWO_ROWS)
    text = f"{rows}\n{before}{after}" if rows.startswith("row =") else f"{before}{rows}{after}"
    row = validated(gable(), "x", ProjectFile).row[1]
    read = validated(planned_text(text, (row,), "SI"), "planned.toml", ProjectFile)
    assert [one.name for one in read.row] == ["W"]


@pytest.mark.parametrize("narrow", [False, True])
def test_planned_project_passes_the_check_as_planned(tmp_path, narrow):
    """The written file, read again, gives what the plan promised, with its narrower strips too."""
    path = MODELS / "harbor-barn" / "project.toml"
    if narrow:
        path = tmp_path / "project.toml"
        path.write_text(with_roof(HIP, DEPTH="1.6 m", RATIO="0.02", MORE=WIDE))
    project = load_project(path, rows_needed=False)
    plan = plan_rows(project)
    assert (plan.analysis.project.slide.strip_width < project.slide.strip_width) == narrow
    assert all(proof.met for proof in plan.analysis.proofs)
    write_planned_project(project, plan, tmp_path / "planned.toml")
    again = analyze(load_project(tmp_path / "planned.toml"))
    for old, new in zip(plan.analysis.limits, again.limits, strict=True):
        assert new.demand == pytest.approx(old.demand, rel=1e-9, abs=1e-9)
    data = plan_data(project, plan, (Beside(1, plan, plan.failure), Beside(9, None, "no rail is held")))
    schema = json.loads((Path(viewer.__file__).parent / "plan.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(data, schema)
    assert data["cost"] == pytest.approx(sum(row["length"] + row["clamps"] for row in data["rows"]))


def test_roof_file_is_found_from_the_new_folder(tmp_path):
    folder = tmp_path / "house"
    shutil.copytree(MODELS / "sentier-house", folder)
    project = load_project(folder / "project.toml")
    (tmp_path / "out" / "plan").mkdir(parents=True)
    text = (folder / "project.toml").read_text()
    same = SimpleNamespace(rows=tuple(project.table.row), analysis=SimpleNamespace(project=project))
    write_planned_project(project, same, tmp_path / "out" / "plan" / "planned.toml")
    again = load_project(tmp_path / "out" / "plan" / "planned.toml")
    assert again.roof.planes.name == project.roof.planes.name
    assert (folder / "project.toml").read_text() == text


def run(folder, text, *more):
    path = folder / "project.toml"
    path.write_text(text)
    args = ["plan", str(path), "--out", str(folder / "plan"), "--no-picture", *more]
    return CliRunner().invoke(commands, args)


def test_command_plans_and_compares(tmp_path):
    misfit = TWO_ROWS.replace('up = "0.4 m"', 'up = "400 m"')  # rows of the project do not count
    result = run(tmp_path, gable(ROWS=misfit, RATIO="0.02"), "--compare", "1", "2")
    assert result.exit_code == 0, result.output
    assert "nothing cheaper passes" in " ".join(result.output.split())
    data = json.loads((tmp_path / "plan" / "plan.json").read_text())
    assert [one["every"] for one in data["compared"]] == [1, 2]
    passing = [one["cost"] for one in data["compared"] if not one["failure"]]
    assert data["cost"] <= min(passing) + 1e-9  # the choice of both is never dearer than one of them
    checked = CliRunner().invoke(
        commands,
        ["check", str(tmp_path / "plan" / "planned.toml"), "--out", str(tmp_path / "c"), "--no-picture"],
    )
    assert checked.exit_code == 0, checked.output


def test_a_walk_along_one_side_of_a_hip_roof(tmp_path):
    """Corners of the sides lie over the walk too: so little that no rail is asked for, and it is told."""
    long_hip = HIP.replace("0 0, 9 0, 9 7, 0 7 m", "0 0, 14 0, 14 9, 0 9 m").replace("25 deg", "30 deg")
    walk = '[[protect]]\nname = "walk"\nline = "0 -1, 14 -1 m"\n[plan]\nevery = [2]\n'
    (tmp_path / "project.toml").write_text(with_roof(long_hip, RATIO="0.02", MORE=walk))
    project = load_project(tmp_path / "project.toml", rows_needed=False)
    threats = find_threats(project)
    assert sum(threats.share.values()) == pytest.approx(1.0, abs=1e-6)
    plan = plan_rows(project)
    assert plan.passed, plan.failure
    assert {row.plane for row in plan.rows} == {"S1"}
    told = [note for note in plan.notes if note.startswith("Caution: no row stands on ")]
    assert sorted(note.split()[5].rstrip(":") for note in told) == ["E1", "W1"]
    heavy = replace(threats, share=dict.fromkeys(threats.share, 0.3))
    assert without_slivers(project, heavy) is heavy
    with pytest.raises(InputError, match=r"no row fits on plane W1 at .* is .* long there, a rail needs"):
        ladders(project, heavy, (2,))


def test_the_same_spacing_twice_is_no_comparison(tmp_path):
    result = run(tmp_path, gable(ROWS=""), "--compare", "2", "2")
    assert isinstance(result.exception, InputError), result.output
    assert "--compare 2 2: give two different spacings" in str(result.exception)
    assert not (tmp_path / "plan").exists()


def test_rows_too_short_for_a_spacing_are_named_and_the_others_compared(tmp_path):
    """A lean-to of 0.9 m has one seam in two beside a house of 8 m: its rail would turn on one clamp."""
    small = """
[[roof.part]]
shape = "shed"
footprint = "12 0, 12.9 0, 12.9 3, 12 3 m"
pitch = "25 deg"
fall = "180 deg"
eave_height = "3 m"
"""
    text = gable(ROWS="", FOOTPRINT="0 0, 8 0, 8 3, 0 3 m", RATIO="0.02", MORE="[plan]\nmost_rows = 1\n")
    path = tmp_path / "p.toml"
    path.write_text(text.replace("[surface]", small + "[surface]", 1))
    one, two = run_module.compare_spacings(load_project(path, rows_needed=False), (1, 2))
    assert one.plan is not None
    assert two.plan is not None, two.failure
    assert {row.every for row in one.plan.rows} == {1}
    names = two.plan.analysis.project.roof.planes.name
    area = dict(zip(names, two.plan.analysis.project.roof.planes.true_area, strict=True))
    short = min(area, key=area.get)
    assert {row.plane for row in two.plan.rows} == set(names)
    assert {row.plane: row.every for row in two.plan.rows} == {n: 1 if n == short else 2 for n in names}
    (closer,) = (row.name for row in two.plan.rows if row.plane == short)
    assert any(
        note.startswith("Too short for clamps 2 seams apart") and closer in note for note in two.plan.notes
    )
    assert two.plan.clamps < one.plan.clamps


def test_a_spacing_that_cannot_be_does_not_take_away_the_other(tmp_path, monkeypatch):
    (tmp_path / "p.toml").write_text(gable(ROWS=""))
    project = load_project(tmp_path / "p.toml", rows_needed=False)
    done = SimpleNamespace(failure="")

    def search(project, tell, *, every):
        if every == (2,):
            message = "plan.every: no choice of clamps holds the lowest rail."
            raise InputError(message)
        return done

    monkeypatch.setattr(run_module, "plan_rows", search)
    one, two = run_module.compare_spacings(project, (1, 2))
    assert (one.plan, one.failure) == (done, "")
    assert two.plan is None
    assert two.failure == "plan.every: no choice of clamps holds the lowest rail"


@pytest.mark.parametrize(
    ("length", "every", "even"), [("6.6 m", [1], False), ("6.6 m", [2], True), ("5.9 m", [2], False)]
)
def test_no_stub_without_clamps_is_left_behind_the_last_splice(tmp_path, length, every, even):
    """Pieces of 3 m leave 0.6 m: less than two seams (1 m) apart, so the rail is cut evenly then."""
    outline = f"0 0, 8 0, 8 {length[:3]}, 0 {length}"
    more = f'[plan]\nevery = {every}\nsplice_every = "3 m"\n'
    (tmp_path / "p.toml").write_text(gable(ROWS="", FOOTPRINT=outline, MORE=more))
    project = load_project(tmp_path / "p.toml", rows_needed=False)
    found = ladders(project, find_threats(project), tuple(every))
    rows = [place.row for one in found for level in one.places for place in level]
    assert {(row.splice_every, row.splice_even) for row in rows} == {(3.0, even)}
    assert all(np.isfinite(one.cost[0]).all() for one in found)


@pytest.mark.parametrize("told", [False, True])
def test_what_was_not_tried_is_said(told, monkeypatch):
    monkeypatch.setattr(words, "project_doubts", lambda *_: ())
    plan = SimpleNamespace(
        rows=("R", "R"),
        trouble=(),
        shared=told,
        gaps=told,
        thinned=told,
        clamps=8,
        failure="",
        analysis=SimpleNamespace(
            unverified=(),
            limits=(),
            project=SimpleNamespace(table=SimpleNamespace(protect=["walk"] if told else [])),
        ),
        proven=True,
        place=None,
    )
    assert ("ends of rows were looked at" in verdict_words(plan)) == told
    assert ("share one clamp spacing" in verdict_words(plan)) == told
    assert ("have rows on the same levels" in verdict_words(plan)) == told
    assert ("single pieces were then left out" in verdict_words(plan)) == told


def test_it_is_said_why_each_row_is_there():
    """Above snow of the mark, above snow that falls onto it by a lower roof, and above neither."""
    threats = Threats(
        planes=(0, 1, 2),
        spans={0: np.array([[0.0, 9.0, 5.0]]), 1: np.array([[0.0, 9.0, 5.0]]), 2: np.zeros((0, 3))},
        eaves=(),
        groups=(),
        by=(("door", ("S1",)),),
        spans_by=({0: np.array([[0.0, 9.0, 5.0]])},),
        throw={},
        weight=1.0,
        share={},
        notes=(),
    )
    start = np.array([[0.0, 1.0]] * 3)
    end = np.array([[9.0, 1.0]] * 3)
    layout = SimpleNamespace(row_start=start, row_end=end, row_plane=np.arange(3))
    rows = tuple(SimpleNamespace(name=name) for name in ("S1-1", "S2-1", "S3-1"))
    project = SimpleNamespace(layout=layout)
    plan = SimpleNamespace(threats=threats, rows=rows, analysis=SimpleNamespace(project=project))
    first, by_way, neither = threats_in_words(plan)
    assert first.endswith("held by S1-1.")
    assert by_way.startswith("Held by S2-1: snow that would fall onto a lower roof first")
    assert "is above S3-1" in neither


def test_command_says_what_fails_and_where(tmp_path):
    result = run(tmp_path, gable(ROWS="", DEPTH="3 m", ALONG="2 kN", RATIO="0.02"))
    assert result.exit_code == 1
    words = " ".join(result.output.split())
    assert "NO ROWS FOUND that pass: clamp" in words
    assert words.index("NO ROWS FOUND") < words.index("Planned rows")
    assert "in the way" in words or "No rule of [plan] alone stands in the way: with" in words
    assert "on plane" in words
    assert float(re.search(r"it asks for ([\d.]+) times the strength", words)[1]) > 1.0
    others = re.findall(r"(\d+) % \(with these rows ([\d.]+) times the strength would do\)", words)
    assert "; also over: " in words
    assert others
    for use, times in others:
        assert float(use) == pytest.approx(100.0 * float(times), abs=1.1)  # the target is all of it
    assert (tmp_path / "plan" / "planned.toml").exists()


def test_a_rail_that_is_too_low_is_said_so(tmp_path):
    result = run(tmp_path, gable(ROWS="", DEPTH="3 m", RATIO="0.2"))
    assert result.exit_code == 1
    words = " ".join(result.output.split())
    assert "NO ROWS FOUND that pass: rail height on plane" in words
    found = float(re.search(r"it asks for a rail top ([\d.]+) mm high", words)[1])
    assert found == pytest.approx(0.2 * 3000.0 * np.cos(np.radians(25.0)), rel=2e-3)
    there, use = (float(re.search(p, words)[1]) for p in (r"high, not ([\d.]+) mm", r"still uses (\d+) %"))
    assert use == pytest.approx(100.0 * found / there, abs=0.6)


def mark(fields):
    return f'[[protect]]\nname = "door"\n{fields}\n'


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (mark(""), 'protect "door": give one of area, line, eave, planes and onto'),
        (mark('planes = ["E1"]\neave = "E1 eave"'), "not eave and planes"),
        (mark('planes = ["S9"]'), 'protect "door".planes: there is no plane "S9"; this roof has W1, E1'),
        (mark('eave = "N eave"'), 'protect "door".eave: there is no eave "N eave"'),
        (mark('area = "50 50, 60 50, 60 60 m"'), "no snow slides onto door"),
        (mark('area = "5 0, 9 3, 9 0, 5 3 m"'), "crosses itself"),
        (mark('line = "0 0, 1 1 m"\nstart = "1 m"'), "start and end go with eave only"),
        (mark('planes = ["E1"]') * 2, 'protect.name: "door" is used twice'),
        ("[plan]\nevery = [0]", "plan: every: 0 must be from 1 to 50"),
        ("[plan]\nevery = []", "plan.every"),
        ("[plan]\ntarget = 1.2", "plan.target: 1.2 must be at most 1"),
        ('[plan]\nmost_spacing = "0.5 m"', "most_spacing must not be less than least_spacing"),
        ("[plan]\nrail_cost = 0.0\nclamp_cost = 0.0", "one must be above 0"),
        ('[plan]\neave_distance = "9 m"', "plan.eave_distance: no row fits on plane"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(tmp_path, more, words):
    result = run(tmp_path, gable(ROWS="", MORE=more))
    assert isinstance(result.exception, InputError), result.output
    message = str(result.exception)
    assert words in message
    assert message.startswith("project.toml: ")
    assert message.count("project.toml") == 1
    assert not (tmp_path / "plan").exists()


def test_other_commands_still_need_rows(tmp_path):
    path = tmp_path / "project.toml"
    path.write_text(gable(ROWS=""))
    with pytest.raises(InputError, match="row is missing; add"):
        load_project(path)
