"""The command: files, exit codes, what is printed, and the data after its schema."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import meshio
import numpy as np
import pytest

import viewer
from fea.blanket.study import study_blanket
from tests.blanket.blanket_projects import DOOR, LOW, STOPS, shed
from tests.cli.small_project import run
from viewer.blanket.words import verdict

SCHEMA = json.loads((Path(viewer.__file__).parent / "blanket.schema.json").read_text(encoding="utf-8"))
NAMES = ["blanket.csv", "blanket.html", "blanket.json", "blanket.png", "blanket.svg", "layer.vtu"]


@pytest.mark.parametrize("held", [DOOR, STOPS, LOW + STOPS.replace("0.5 m", "2 m")])
def test_files_follow_the_schema_and_agree(tmp_path, monkeypatch, capfd, held):
    shed(tmp_path, held)
    out = tmp_path / "out"
    code = run(["blanket", str(tmp_path / "project.toml"), "--out", str(out)], monkeypatch)
    told = capfd.readouterr().out
    assert sorted(path.name for path in out.iterdir()) == NAMES
    data = json.loads((out / "blanket.json").read_text())
    jsonschema.Draft202012Validator(SCHEMA).validate(data)
    assert (code == 0) == (data["verdict"] == "kept")
    rows = list(csv.reader((out / "blanket.csv").read_text().splitlines()))
    names = data["clamps"]["name"] + data["stops"]["name"]
    assert [row[0] for row in rows[1:]] == names
    if data["clamps"]["name"]:
        shown = np.array([float(row[4]) for row in rows[1 : 1 + len(data["clamps"]["name"])]])
        assert shown * 1e3 == pytest.approx(data["views"][0]["clamp_force"], rel=1e-4)
    assert (data["comparison"] is None) == (not data["stops"]["name"])
    for view in data["views"]:
        b = view["balance"]
        parts = sum(b[k] for k in ("rows", "stops", "friction", "bond", "valleys", "boxes", "leaves"))
        assert parts == pytest.approx(b["driving"], rel=1e-9)
        assert view["energy"]["virtual_work_error"] < 1e-9
    page = (out / "blanket.html").read_text()
    assert all(f">{name}<" in page for name in names)
    assert "licensed engineer" in page
    assert "true along the slope" in (out / "blanket.svg").read_text()  # the scale bar of the plane
    assert f">{data['verdict'].capitalize()}<" in page
    layer = meshio.read(out / "layer.vtu")
    assert len(layer.cells[0].data) == data["mesh"]["cells"]
    assert layer.cell_data["stress up the slope Pa, coherent"][0].min() < 0.0
    assert "licensed engineer" in told
    assert "Self-check met" in told


def test_clamps_too_weak_for_the_layer_exit_with_one(tmp_path, monkeypatch, capfd):
    shed(tmp_path, DOOR)
    path = tmp_path / "project.toml"
    path.write_text(path.read_text().replace('along = "6 kN"', 'along = "0.5 kN"'))
    assert run(["blanket", str(path), "--out", str(tmp_path / "out")], monkeypatch) == 1
    assert "EXCEEDED" in capfd.readouterr().out


def test_a_direction_without_strength_never_passes(tmp_path, monkeypatch, capfd):
    shed(tmp_path, STOPS)
    path = tmp_path / "project.toml"
    path.write_text(path.read_text().replace('pull = "4 kN", push', "push"))
    assert run(["blanket", str(path), "--out", str(tmp_path / "out")], monkeypatch) == 1
    assert "NOT VERIFIED" in capfd.readouterr().out


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('mesh = "0.25 m"', 'mesh = "0.02 m"\ncase = "x"', "blanket.case"),
        ('mesh = "0.25 m"', "mesh = 0.25", "blanket.mesh"),
        ('mesh = "0.25 m"', "creep_hours = -1", "blanket.creep_hours"),
        ('up = "0.5 m"', 'up = "0.5 m"\nevery = 0', "row"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(tmp_path, monkeypatch, capfd, old, new, words):
    shed(tmp_path, LOW)
    path = tmp_path / "project.toml"
    path.write_text(path.read_text().replace(old, new))
    assert run(["blanket", str(path), "--out", str(tmp_path / "out")], monkeypatch) == 2
    told = capfd.readouterr()
    assert words in told.err
    assert told.err.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_check_says_that_stops_are_not_checked(tmp_path):
    from fea.analysis import analyze

    assert any(
        "single stops are not checked" in line
        for line in analyze(shed(tmp_path, LOW + STOPS.replace("0.5 m", "2 m"))).cautions
    )


def test_what_the_check_exceeds_never_passes_here(tmp_path):
    """Whatever the layer says: a clamp that `check` finds exceeded in the same case is exceeded."""
    study = study_blanket(shed(tmp_path, DOOR))
    assert study.check_use.max() > study.worst_use.max()  # its bound at row ends is above the layer's own
    answers = tuple(replace(one, use=0.9 * one.use / study.worst_use.max()) for one in study.answers)
    for most, right in ((0.95, True), (1.01, False)):
        limits = tuple(
            replace(one, utilization=most * one.utilization / study.check_use.max())
            if one.name == "clamp combined"
            else one
            for one in study.analysis.limits
        )
        found = replace(study, analysis=replace(study.analysis, limits=limits), answers=answers)
        assert found.passed == right
        assert verdict(found) == ("kept" if right else "exceeded")
