"""`eavewright investigate`: the hidden cause is found, never alone, and bad input is refused in one line."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from PIL import Image

from roofmodel.errors import InputError
from viewer.cli import commands
from viewer.investigate.command import OUTPUTS

ROOT = Path(__file__).parents[2]
MODEL = ROOT / "models" / "alder-barn"


def investigate(*arguments: object):
    found = CliRunner().invoke(commands, ["investigate", *map(str, arguments)])
    if isinstance(found.exception, InputError):
        return 2, str(found.exception)
    assert found.exception is None or isinstance(found.exception, SystemExit), found.exception
    return found.exit_code, found.output


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("case")
    shutil.copytree(MODEL, folder / "alder")
    text = (MODEL / "found.toml").read_text() + "\n[sampling]\nsamples = 3000\n"
    (folder / "alder" / "found.toml").write_text(text)
    code, output = investigate(folder / "alder" / "found.toml", "--out", folder / "out")
    assert code == 0, output
    return folder, output


def test_the_hidden_cause_ranks_first_with_its_alternatives(done):
    folder, output = done
    data = json.loads((folder / "out" / "investigation.json").read_text())
    jsonschema.validate(data, json.loads((ROOT / "viewer" / "investigation.schema.json").read_text()))
    assert data["explanations"][0]["cause"] == "missing clamps"
    assert sum(one["posterior"] for one in data["explanations"]) == pytest.approx(1.0)
    assert data["explanations"][1]["cause"] in data["answer"]
    assert data["measure_next"][0]["sign"] == "never there"
    assert {p.name for p in (folder / "out").iterdir()} == set(OUTPUTS)
    left = data["nearest_sample"]["bond_left"]
    assert len(left) == len(data["nearest_sample"]["sequence"])
    assert sorted(left, reverse=True) == left
    assert data["verdict"]["word"] in ("settled", "points to", "not settled")
    for word in ("licensed engineer", "Falling snow", "What would change the answer"):
        assert word in output


def test_page_stands_alone_and_animation_moves(done):
    folder, _ = done
    page = (folder / "out" / "investigation.html").read_text()
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "https://" not in page
    with Image.open(folder / "out" / "sequence.gif") as picture:
        assert picture.n_frames > 2


def test_the_same_input_gives_the_same_bytes(done, tmp_path):
    folder, _ = done
    code, _ = investigate(folder / "alder" / "found.toml", "--out", tmp_path / "again")
    assert code == 0
    for name in OUTPUTS:
        assert (tmp_path / "again" / name).read_bytes() == (folder / "out" / name).read_bytes()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('clamps = "row low"', 'clamps = "row none"', 'there is no row "none"'),
        ('clamps = "row low"', 'clamps = "low-99"', "write"),
        ('clamps = "row low"', 'clamps = "low-09..low-03"', "left end to the right"),
        ('state = "off"', 'state = "gone"', "off"),
        ("doubt = 0.15", "doubt = 15", "15 must be at most 1, a share: 15 % is 0.15"),
        ('state = "off"', 'state = "stands"', "nothing gave way"),
        ('project = "project.toml"', 'project = "none.toml"', "none.toml"),
        ('depth = "0.44 m"\n', "", "density needs depth"),
        ("day = 2026-02-03", 'day = "2026-02-03"', "without quotes"),
        (
            'state = "bent"',
            'state = "bent"\nfresh = true',
            'not of one that is "bent"',
        ),
        ('near = "low-38"', 'near = "low-01"', "is not near a splice"),
        (
            "[snow]",
            '[[explanation]]\ncause = "drift"\nprior = 2.0\nreason = "x"\n\n[snow]',
            "not possible here",
        ),
        ("[[rail]]", '[[snow.along]]\nnear = "low-99"\nover = 2.0\n\n[[rail]]', "snow.along 1.near"),
        ("[[rail]]", '[[screws]]\nclamps = "low-01..low-03"\nloose = 4\n\n[[rail]]', "4 of 3 clamps"),
        (
            "[[rail]]",
            '[[screws]]\nclamps = "low-01..low-03"\nloose = 1\n\n'
            '[[screws]]\nclamps = "low-03..low-05"\nloose = 1\n\n[[rail]]',
            "low-03 is in two",
        ),
        ("[[rail]]", '[[marks]]\nclamps = "low-01..low-03"\nnone = 4\n\n[[rail]]', "marks 1.none = 4 of 3"),
        (
            "[[rail]]",
            '[[screws]]\nclamps = "low-34..low-39"\nloose = 4\n\n'
            '[[marks]]\nclamps = "low-34..low-39"\nnone = 3\n\n[[rail]]',
            "marks 1.none = 3, but 6 of these 6 clamps were there, the screws of 6 were looked at "
            "(screws 1); at most 0",
        ),
        (
            "[[rail]]",
            '[[screws]]\nclamps = "low-34..low-36"\nloose = 0\n\n'
            '[[screws]]\nclamps = "low-37"\nloose = 0\n\n'
            '[[marks]]\nclamps = "low-34..low-39"\nnone = 3\n\n[[rail]]',
            "looked at (screws 1 and screws 2); at most 2 can",
        ),
        (
            'note = "rail bent downhill, seams scratched"',
            '[[found]]\nclamps = "low-39"\nstate = "slipped"\n\n'
            '[[marks]]\nclamps = "low-31, low-38..low-39"\nnone = 2\n',
            "2 were found standing, bent or slipped; at most 1 can",
        ),
        ("[[rail]]", '[[rail]]\nnear = "low-37"\nstate = "whole"\n\n[[rail]]', "is told twice"),
        ('project = "project.toml"', 'project = "projekt.toml"', 'case.project = "projekt.toml"'),
        ("[[rail]]", '[[pulled]]\nclamps = "low-01"\nmean = "8 m"\n\n[[rail]]', "pulled 1.mean"),
        (
            "[[rail]]",
            '[[pulled]]\nclamps = "low-01"\nmean = "3000 kN"\n\n[[rail]]',
            "no clamp holds more than 5 times its strength",
        ),
        (
            "[[rail]]",
            '[[pulled]]\nclamps = "low-01, low-02"\neach = ["8 kN", "9 kN", "7 kN"]\n\n[[rail]]',
            "3 strengths of 2 clamps",
        ),
        ('name = "Alder', 'case = "no such"\nname = "Alder', 'no case "no such"'),
    ],
)
def test_refusals_are_one_line_and_write_nothing(tmp_path, old, new, words):
    shutil.copytree(MODEL, tmp_path / "alder")
    text = (MODEL / "found.toml").read_text()
    assert old in text
    (tmp_path / "alder" / "found.toml").write_text(text.replace(old, new))
    code, output = investigate(tmp_path / "alder" / "found.toml", "--out", tmp_path / "out")
    assert code == 2
    assert words in output
    assert "\n" not in output.strip()
    assert not (tmp_path / "out").exists()
