"""The command `push`: the first event is the check's reserve, data follow their schema, refusals."""

import csv
import json
import re
from html import unescape
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner

import viewer
from fea import analyze
from fea.push.project import push_project
from fea.push.watch import Failures
from roofmodel import load_project
from roofmodel.errors import InputError
from tests.cli.small_project import GOOD, changed, put, two_rows
from tests.seam_command.seam_project import GOOD as WITH_SEAM
from viewer.cli import commands

SCHEMA = json.loads((Path(viewer.__file__).parent / "push.schema.json").read_text())


def run(*words):
    return CliRunner().invoke(commands, ["push", *map(str, words)])


@pytest.fixture(scope="module")
def shed(tmp_path_factory):
    return put(tmp_path_factory.mktemp("push"), GOOD)


def test_first_event_is_the_reserve_of_the_check(shed):
    analysis = analyze(load_project(shed))
    found = push_project(analysis, Failures())
    assert found.push.first == pytest.approx(analysis.reserve[found.case], rel=2e-4)
    assert found.push.collapsed
    assert found.push.most >= found.push.first


def test_first_event_is_the_reserve_on_panels_that_give_way(tmp_path):
    """The worse state of the panels, where the check finds its reserve."""
    project = put(tmp_path, f"{WITH_SEAM}\n[analysis]\npanel_flexibility = true\n")
    analysis = analyze(load_project(project))
    found = push_project(analysis, Failures())
    assert found.push.bay.frame.support is not None
    assert found.push.first == pytest.approx(analysis.reserve[found.case], rel=2e-4)
    rigid = push_project(analyze(load_project(put(tmp_path, WITH_SEAM, "r.toml"))), Failures())
    assert abs(found.push.first / rigid.push.first - 1.0) > 1e-4


def test_weak_fixed_points_go_first(tmp_path):
    weak = put(tmp_path, changed('anchorage = "9 kN"', 'anchorage = "1 kN"'))
    analysis = analyze(load_project(weak))
    found = push_project(analysis, Failures(anchorage=1.0))
    assert found.push.events[0].kind == "strip"
    assert found.push.first == pytest.approx(analysis.reserve[found.case], rel=2e-3)
    assert push_project(analysis, Failures()).push.most <= found.push.most + 1e-9


def test_nominal_strengths_and_plain_loads_carry_more(shed):
    analysis = analyze(load_project(shed))
    design = push_project(analysis, Failures())
    nominal = push_project(analysis, Failures(), nominal=True)
    factor = analysis.factors[design.case].snow * 1.33
    assert nominal.push.first == pytest.approx(factor * design.push.first, rel=0.02)


def test_rows_of_a_plane_go_together_and_each_by_name(tmp_path):
    project = put(tmp_path, two_rows("R2", "2.4 m"))
    analysis = analyze(load_project(project))
    found = push_project(analysis, Failures(), row="R2")
    assert len(found.rows) == 2
    assert any("does not come onto the rows below" in note for note in found.notes)
    assert found.row == 1
    with pytest.raises(InputError, match='no row "R9"; there are R1, R2'):
        push_project(analysis, Failures(), row="R9")
    with pytest.raises(InputError, match='no case "none"'):
        push_project(analysis, Failures(), case="none")


def test_files(shed, tmp_path):
    done = run(shed, "--out", tmp_path / "o", "--slip-keeps", "0.8")
    assert done.exit_code in (0, 1), done.output
    data = json.loads((tmp_path / "o" / "push.json").read_text())
    jsonschema.validate(data, SCHEMA)
    assert data["kept"]["slip"] == 0.8
    assert done.exit_code == (0 if data["passes"] else 1)
    rows = list(csv.DictReader((tmp_path / "o" / "push.csv").read_text().splitlines()))
    factor = np.array([float(row["times factored snow"]) for row in rows])
    np.testing.assert_allclose(factor, data["path"]["factor"], rtol=1e-8)
    moved = np.array([float(row["R1 moved [mm]"]) for row in rows])
    np.testing.assert_allclose(moved, 1e3 * np.array(data["rows"][0]["moved"]), rtol=1e-5, atol=1e-9)
    events = list(csv.DictReader((tmp_path / "o" / "events.csv").read_text().splitlines()))
    assert [e["what"] for e in events] == [e["words"] for e in data["events"]]
    assert (tmp_path / "o" / "push.png").stat().st_size > 20_000
    picture = (tmp_path / "o" / "push.svg").read_text()
    assert "lets go" in picture
    assert "What falls onto rows below is not followed" in picture
    assert re.search(r"first event comes at [\d.]+ times the factored snow", " ".join(done.output.split()))


def test_missing_strengths_never_pass(tmp_path):
    without = put(tmp_path, changed(', pull = "4 kN", push = "6 kN"', ', push = "6 kN"'))
    done = run(without, "--out", tmp_path / "o", "--json")
    data = json.loads(done.stdout)
    assert done.exit_code == 1
    assert data["not_given"] == ["clamp.strength.pull"]
    assert not data["passes"]
    picture = (tmp_path / "o" / "push.svg").read_text()
    found = re.findall(r'<text[^>]* y="([\d.]+)"[^>]*>([^<]*)<', picture)
    height = {unescape(words): float(y) for y, words in found}
    assert "what is loaded without a strength counts as unlimited here" in " ".join(height)
    last = next(y for words, y in height.items() if words.endswith("so the true load may be lower."))
    assert last < height["times the factored snow"] - 18.0


def test_refusals(shed, tmp_path):
    done = run(shed, "--out", tmp_path / "o", "--row", "nowhere")
    assert isinstance(done.exception, InputError)
    assert str(done.exception).startswith("project.toml: push: there is no row")
    assert run(shed, "--out", tmp_path / "o", "--unzip", "1").exit_code == 2
    assert run(shed, "--out", tmp_path / "o", "--slip-keeps", "2").exit_code == 2
    assert not (tmp_path / "o").exists()
