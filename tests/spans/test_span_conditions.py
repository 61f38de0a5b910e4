"""What a span table holds for stands in every output, and strengths of another panel are refused."""

import json
from pathlib import Path

import openpyxl
import pypdf
import pytest
from click.testing import CliRunner

from roofmodel.errors import InputError
from roofmodel.project.span_study import load_study
from viewer.cli import commands

MODEL = Path(__file__).parents[2] / "models" / "cove-rails" / "spans.toml"
TESTED = """
[clamp.tested]
metal = "aluminum"
seam_height = "70 mm"
thickness = "0.9 mm"
substrate = "timber"
directions = ["along"]
tests = 2

[[rail]]"""
BASIS = 'test_basis = "invented works tests"\n'


def put(folder, *changes):
    text = MODEL.read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "spans.toml"
    path.write_text(text)
    return path


def on_panel(*changed):
    """The demo with a table of what its clamp was tested on."""
    return ("\n[[rail]]", TESTED.replace(*changed) if changed else TESTED)


def run(path, *more):
    out = path.parent / "out"
    return CliRunner().invoke(commands, ["span", str(path), "--out", str(out), *more]), out


def texts(out):
    """Each output as words, without the breaks of its lines."""
    sheets = openpyxl.load_workbook(out / "spans.xlsx")
    data = json.loads((out / "spans.json").read_text())
    found = {
        "html": (out / "spans.html").read_text(),
        "pdf": " ".join(page.extract_text() for page in pypdf.PdfReader(out / "spans.pdf").pages),
        "xlsx": " ".join(str(c) for sheet in sheets for row in sheet.values for c in row if c is not None),
        "json": " ".join(map(str, data["notes"])),
        "spans.csv": (out / "spans.csv").read_text().splitlines()[1],
        "loads.csv": (out / "loads.csv").read_text().splitlines()[1],
    }
    return {name: " ".join(text.split()) for name, text in found.items()}


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('metal = "aluminum"', 'metal = "steel"', "clamp.tested.metal"),
        ('seam_height = "70 mm"', 'seam_height = "50 mm"', "clamp.tested.seam_height"),
        ('thickness = "0.9 mm"', 'thickness = "1.2 mm"', "clamp.tested.thickness"),
    ],
)
def test_strengths_of_another_panel_are_refused(tmp_path, old, new, words):
    with pytest.raises(InputError, match=words) as caught:
        load_study(put(tmp_path, on_panel(old, new)))
    assert str(caught.value).startswith("spans.toml: clamp.tested")


def test_what_tests_leave_open_is_in_every_output(tmp_path):
    bond = 'fastening = "adhesive"\nlong_term_test = "invented report, 9 years"\n'
    done, out = run(put(tmp_path, on_panel(), (BASIS, bond)))
    assert done.exit_code == 0, done.output
    for name, text in {**texts(out), "terminal": " ".join(done.output.split())}.items():
        for words in (
            "were tested on aluminum 0.9 mm, seams 70.0 mm",
            "UNSUPPORTED: clamp.strength.across, pull, push was not tested",
            "UNSUPPORTED: 2 tests behind a clamp strength",
            "hold by adhesive alone (invented report, 9 years)",
        ):
            assert words in text, (name, words)


def test_strengths_without_tests_are_told(tmp_path):
    done, _ = run(put(tmp_path, (BASIS, "")))
    assert "Nobody said which tests the clamp strengths come from" in " ".join(done.output.split())
