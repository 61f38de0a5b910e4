"""What a span table holds for stands in every output, and strengths of another panel are refused."""

import csv
import json
from pathlib import Path

import numpy as np
import openpyxl
import pypdf
import pytest
from click.testing import CliRunner

from fea.spans.study import run_study
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
FEWER = (
    ('"0.4 m", "0.8 m", "1.2 m", "1.6 m", "2.0 m", "2.4 m", "2.8 m", "3.2 m"', '"0.4 m", "0.8 m", "2.0 m"'),
    (
        '"single span", "two spans", "end span", "inner span", "with overhangs", "one clamp missing"',
        '"single span", "end span"',
    ),
)
BASIS = 'test_basis = "invented works tests"\n'


def put(folder, *changes):
    """The demo with changes, of fewer spans and arrangements."""
    text = MODEL.read_text()
    for old, new in (*FEWER, *changes):
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


def one_line(out, name):
    """The first line of a table with the conditions that it names by their numbers."""
    with (out / "conditions.csv").open() as file:
        hold = {line["number"]: f"{line['what']}: {line['words']}" for line in csv.DictReader(file)}
    with (out / name).open() as file:
        line = next(csv.DictReader(file))
    return " ".join([*line.values(), *(hold[k] for k in line["numbers in conditions.csv"].split())])


def texts(out):
    """Each output as words, without the breaks of its lines."""
    sheets = openpyxl.load_workbook(out / "spans.xlsx")
    data = json.loads((out / "spans.json").read_text())
    found = {
        "html": (out / "spans.html").read_text(),
        "pdf": " ".join(page.extract_text() for page in pypdf.PdfReader(out / "spans.pdf").pages),
        "xlsx": " ".join(str(c) for sheet in sheets for row in sheet.values for c in row if c is not None),
        "json": " ".join(map(str, data["notes"])),
        **{name: one_line(out, name) for name in ("spans.csv", "loads.csv")},
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
            *(("were tested on aluminum 0.9 mm, seams 70.0 mm",) if name != "terminal" else ()),
            "UNSUPPORTED: across, pull, push of the clamp NOT TESTED",
            "UNSUPPORTED: 2 tests behind a clamp strength",
            "hold by adhesive alone (invented report, 9 years)",
        ):
            assert words in text, (name, words)


def test_strengths_without_tests_are_told(tmp_path):
    done, _ = run(put(tmp_path, (BASIS, "")))
    assert "Nobody said which tests the clamp strengths come from" in " ".join(done.output.split())


def test_what_a_table_holds_for_is_in_every_output(tmp_path):
    done, out = run(put(tmp_path))
    assert done.exit_code == 0, done.output
    data = json.loads((out / "spans.json").read_text())
    found = texts(out)
    found["json"] = " ".join(f"{one['what']}: {one['value']}" for one in data["valid_for"])
    for name, text in found.items():
        for words in (
            "30° (6.93:12)",
            "70.0 mm (2.76 in) high, every 400.0 mm (15.75 in)",
            "aluminum, 0.9 mm (0.0354 in), 10.00 m (32.81 ft) long",
            "along 6.80 kN (1,529 lbf), for design 5.11 kN (1,149 lbf)",
            "factor 1.33",
            "invented works tests",
            "EN, characteristic, before load factors; the limits take 1.35 D + 1.5 S",
            "overhang 25 % of the span",
            "yield 200.0 MPa (29.01 ksi)",
            "along 2.60 kN/mm (14.8 kip/in), across",
            "E 70 GPa (10,153 ksi), area",
            "deflection at most span / 100",
            "for design 8.27 kN (1,859 lbf) a strip",
        ):
            assert words in text.replace("&#39;", "'"), (name, words)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([('anchorage = "11 kN"\n', "")], "NOT VERIFIED: panel.anchorage is not given"),
        (
            [("deflection_ratio = 100\n\n[[rail]]", "\n[[rail]]")],
            "NOT VERIFIED: deflection_ratio of Cove 48 is not given",
        ),
    ],
    ids=["anchorage", "deflection"],
)
def test_limits_that_nobody_gave_are_not_verified_as_in_check(tmp_path, changes, words):
    done, out = run(put(tmp_path, *changes), "--cell", "Cove 48, end span, 1.2 m, 2 kN/m")
    assert done.exit_code == 1
    assert words in " ".join(done.output.split())
    found = texts(out)
    for name in ("html", "pdf", "xlsx", "spans.csv", "loads.csv"):
        assert words in found[name], name
    data = json.loads((out / "spans.json").read_text())
    assert not data["verified"]
    first = data["rails"][0]
    assert not np.array(first["verified"]).any()
    assert np.array(data["rails"][1]["verified"]).all() == (
        data["not_given"] == ["deflection_ratio of Cove 48"]
    )
    limit = data["limits"].index("panel anchorage" if "anchorage" in words else "rail deflection")
    assert all(cell[limit] is None for row in first["largest_load_by_limit"] for cell in row)
    again = CliRunner().invoke(
        commands,
        ["check", str(out / "cell" / "project.toml"), "--out", str(tmp_path / "c"), "--no-picture"],
    )
    missing = json.loads((tmp_path / "c" / "results.json").read_text())
    assert again.exit_code == 1
    assert data["limits"][limit] in json.dumps(missing["not_verified"])


@pytest.mark.parametrize("span", ["0.6 m", "1.0 m", "0.79 m"])
def test_spans_that_end_between_seams_are_refused(tmp_path, span):
    with pytest.raises(InputError, match="ends between seams") as caught:
        load_study(put(tmp_path, ('"0.8 m"', f'"{span}"')))
    assert "\n" not in str(caught.value)
    done, out = run(put(tmp_path), "--cell", f"Cove 48, end span, {span}, 2 kN/m")
    assert "whole multiples of the seam spacing" in str(done.exception)
    assert not out.exists()


def test_spans_in_whole_inches_stand_on_seams_in_millimeters(tmp_path):
    study = load_study(put(tmp_path, ('"0.8 m"', '"31.5 in"'), ('"2.0 m"', '"78.74 in"')))
    assert len(study.table.study.spans) == 3


def test_a_slope_may_be_rise_over_run(tmp_path):
    study = load_study(put(tmp_path, ('slope = "30 deg"', 'slope = "6:12"')))
    assert np.tan(study.table.study.slope) == pytest.approx(0.5, rel=1e-12)
    with pytest.raises(InputError, match=r"study\.slope.*6:12"):
        load_study(put(tmp_path, ('slope = "30 deg"', 'slope = "gable"')))


def test_tables_name_limits_as_the_files_do(tmp_path):
    _, out = run(put(tmp_path))
    data, page = json.loads((out / "spans.json").read_text()), (out / "spans.html").read_text()
    for rail in data["rails"]:
        for k in {k for row in rail["governing"] for k in row}:
            assert f" {data['limits'][k]}</td>" in page


@pytest.mark.parametrize(
    ("form", "level", "told"),
    [
        ("ASD", "characteristic", True),
        ("LRFD", "strength", True),
        ("ASD", "measured", False),
        ("EN", "strength", False),
    ],
)
def test_factors_of_1_are_told_where_loads_are_for_design(tmp_path, form, level, told):
    anchorage = "0.5" if form == "LRFD" else "2.0"
    changes = [
        ('level = "characteristic"', f'level = "{level}"'),
        ('format = "EN"', f'format = "{form}"'),
        ("anchorage_factor = 1.33", f"anchorage_factor = {anchorage}"),
        ("\nfactor = 1.33", "\nfactor = 1.0"),
        ('"200 MPa"', '"200 MPa"\nresistance_factor = 1.0'),
        ("6.8 to 7.6 kN", "6.8 kN"),
    ]
    changes += [('kind = "characteristic"', 'kind = "nominal"')] * 2
    found = [one for one in run_study(load_study(put(tmp_path, *changes))).notes if "NO SAFETY FACTOR" in one]
    assert len(found) == told
    assert all(
        f"1 is given as clamp.factor, rail (Cove 48).resistance_factor, so loads of format {form}" in one
        for one in found
    )
