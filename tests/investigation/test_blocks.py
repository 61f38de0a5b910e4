"""Tables to be pasted and the starting file: refused until they are filled in, read once they are."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from fea.evidence.fit import Measurement
from roofmodel.errors import InputError
from roofmodel.project.evidence import load_evidence
from roofmodel.units import SYSTEMS
from tests.investigation.test_ends import found_with
from viewer.cli import commands
from viewer.investigate.blocks import blocks, clamp_words
from viewer.investigate.looks import TAKES
from viewer.investigate.places import drift_look

MODELS = Path(__file__).parents[2] / "models"
FILLED = {"state": '"whole"', "screws": "true", "over": "1.2", "loose": "0", "none": "0", "wrong": "0",
          "mean": '"3 kN"', "kept": "1.0", "depth": '"0.4 m"', "density": '"240 kg/m^3"'}  # fmt: skip


def test_names_of_clamps_side_by_side_are_ranges_that_name_them_again(tmp_path):
    layout = found_with(tmp_path, "low-30..low-38").evidence.project.layout
    at = np.array([0, 1, 2, 5, 44, 45, 46])
    words = clamp_words(layout, at)
    assert words == "low-01..low-03, low-06, low-45, high-01..high-02"
    assert clamp_words(layout, at[:0]) == ""


@pytest.mark.parametrize("sign", [one for one in TAKES if one != "drift"])
def test_a_table_that_is_pasted_is_refused_until_it_is_filled_in(tmp_path, sign):
    found = found_with(tmp_path, "low-30..low-38")
    found.further, found.units = (Measurement(sign, 0.9),), SYSTEMS["SI"]
    if sign in ("splice", "splice screws"):  # found by the ends of the loss
        found.further = ()
    lines = blocks(found)
    assert any("?" in line for line in lines)
    text = (tmp_path / "found.toml").read_text()
    pasted = "\n".join(lines)
    if pasted.startswith("[snow]"):
        text = re.sub(r"\[snow\][^\[]*", "", text)
    (tmp_path / "found.toml").write_text(f"{text}\n{pasted}\n")
    with pytest.raises(InputError):
        load_evidence(tmp_path / "found.toml")
    filled = re.sub(r"(?m)^(\w+) = .*\?.*$", lambda one: f"{one[1]} = {FILLED[one[1]]}", pasted)
    (tmp_path / "found.toml").write_text(f"{text}\n{filled}\n")
    load_evidence(tmp_path / "found.toml")


def new(*arguments):
    found = CliRunner().invoke(commands, ["new", *map(str, arguments)])
    return found.exit_code if not isinstance(found.exception, InputError) else 2, found


@pytest.mark.parametrize("model", ["alder-barn", "cedar-hollow", "sentier-house"])
def test_the_starting_file_is_read_as_it_is_and_with_all_its_tables(tmp_path, model):
    """As written nothing gave way yet, which is said; with every table taken in it is a whole case."""
    shutil.copytree(MODELS / model, tmp_path / model)
    project = next(p for p in sorted((tmp_path / model).glob("*.toml")) if "[[row]]" in p.read_text())
    out = tmp_path / "found.toml"
    code, _ = new("found", "--project", project, "--out", out)
    assert code == 0
    with pytest.raises(InputError, match="nothing gave way"):
        load_evidence(out)
    assert new("found", "--project", project, "--out", out)[0] == 2  # never replaced
    text = re.sub(r"(?m)^# (?=\[|\w+ = )", "", out.read_text())
    tables = tomllib.loads(text)
    assert {"case", "found", "snow", "rail", "marks", "screws", "type", "pulled", "explanation"} <= set(
        tables
    )
    parts = [
        part for part in re.split(r"(?m)^(?=\[)", text) if not part.startswith(("[[rail]]", "[[pulled]]"))
    ]
    out.write_text("".join(parts))
    assert load_evidence(out).gave_way.any()


def test_found_wants_a_project_and_a_shape_takes_none(tmp_path):
    assert new("found", "--out", tmp_path / "a.toml")[0] == 2
    assert new("gable", "--project", "p.toml", "--out", tmp_path / "a.toml")[0] == 2
    assert not (tmp_path / "a.toml").exists()


def test_broken_is_taken_for_parted(tmp_path):
    with pytest.raises(InputError, match='did you mean "parted"'):
        found_with(tmp_path, "low-30..low-38", [("low-38", 'state = "broken"')])


def test_why_depth_is_asked_for_where_the_drift_is(tmp_path):
    """Up or down the slope of the box that makes it, by the heights of both."""
    found = found_with(tmp_path, "low-30..low-38")
    project = found.evidence.project
    roof, layout = project.roof, project.layout
    clamp = layout.clamp_name.index("high-10")
    at = roof.planes.to_world(int(layout.row_plane[1]), layout.clamp_uv[clamp])
    deeper = np.zeros((2, len(layout.clamp_name)))
    deeper[1, clamp] = 1.0
    for rise, side in ((-1.0, "up"), (1.0, "down")):
        box = at + np.array([0.0, 0.0, rise])
        what = SimpleNamespace(
            plane=np.array([layout.row_plane[1]]), parapet=np.array([False]), name=("chimney",),
            face=np.zeros(2, dtype=int), start=np.array([box, box]), end=np.array([box, box]),
        )  # fmt: skip
        beside = SimpleNamespace(layout=layout, roof=SimpleNamespace(obstacles=what, planes=roof.planes))
        told = SimpleNamespace(
            evidence=SimpleNamespace(
                project=beside, known=found.evidence.known, gave_way=found.evidence.gave_way
            ),
            roof=SimpleNamespace(deeper=deeper),
        )
        assert f"at high-10 ({side} the slope of the chimney)" in drift_look(told)
