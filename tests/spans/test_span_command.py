"""The command `span`: files, schema, both unit systems, a cell that `check` repeats."""

import csv
import json
from pathlib import Path

import jsonschema
import openpyxl
import pytest
from click.testing import CliRunner

from roofmodel.units import SI, US
from viewer.cli import commands
from viewer.report.tables import Table
from viewer.span.terminal import _stacked
from viewer.span.words import down

ROOT = Path(__file__).parents[2]
MODEL = ROOT / "models" / "cove-rails" / "spans.toml"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    out = tmp_path_factory.mktemp("span") / "out"
    cell = "Cove 48, with overhangs, 1.2 m, 2 kN/m"
    result = CliRunner().invoke(commands, ["span", str(MODEL), "--out", str(out), "--cell", cell])
    assert result.exit_code == 0, result.output
    return out, result


def test_all_files_are_there_and_json_follows_its_schema(made):
    out, _ = made
    for name in ("json", "csv", "xlsx", "pdf", "html", "png", "svg"):
        assert (out / f"spans.{name}").stat().st_size > 1000
    data = json.loads((out / "spans.json").read_text())
    jsonschema.validate(data, json.loads((ROOT / "viewer" / "spans.schema.json").read_text()))
    assert "src=" not in (out / "spans.html").read_text()


def test_tables_hold_both_unit_systems_rounded_down(made):
    out, _ = made
    data = json.loads((out / "spans.json").read_text())
    with (out / "spans.csv").open() as file:
        lines = list(csv.DictReader(file))
    assert len(lines) == 2 * 6 * 8
    for k, line in enumerate(lines):
        rail, a, i = data["rails"][k // 48], k // 8 % 6, k % 8
        exact = rail["largest_load"][i][a]
        for head, newton in (("largest load [kN/m]", 1e3), ("largest load [lbf/ft]", 14.593902937)):
            printed = float(line[head]) * newton
            assert 0.999 * exact < printed <= exact * (1 + 1e-8)
        assert line["governs"] == data["limits"][rail["governing"][i][a]]
    sheet = openpyxl.load_workbook(out / "spans.xlsx")["Largest loads"]
    assert sheet.max_row == 97
    assert sheet["D2"].value == float(lines[0]["largest load [kN/m]"])


def test_largest_spans_in_both_systems(made):
    out, _ = made
    data = json.loads((out / "spans.json").read_text())
    with (out / "loads.csv").open() as file:
        lines = list(csv.DictReader(file))
    assert len(lines) == 2 * 6 * 10
    sheet = openpyxl.load_workbook(out / "spans.xlsx")["Largest spans"]
    for k, line in enumerate(lines):
        rail, a, m = data["rails"][k // 60], k // 10 % 6, k % 10
        exact = rail["largest_span"][m][a]
        assert sheet.cell(k + 2, 4).value == ("none" if exact is None else pytest.approx(exact, rel=1e-8))
        if exact is None:
            assert line["largest span [m]"] == line["largest span [ft]"] == "none"
            continue
        assert float(line["largest span [m]"]) == pytest.approx(exact, rel=1e-8)
        assert float(line["largest span [ft]"]) * 0.3048 == pytest.approx(exact, rel=1e-6)
        assert float(line["line load [lbf/ft]"]) * 14.5939029 == pytest.approx(data["loads"][m], rel=1e-6)


def test_pdf_says_the_tables_in_both_systems(made):
    """Numbers of the table and the cautions stand on its pages."""
    import pypdf

    out, _ = made
    pages = pypdf.PdfReader(out / "spans.pdf").pages
    text = " ".join(" ".join(page.extract_text().split()) for page in pages)
    data = json.loads((out / "spans.json").read_text())
    for units, name in ((SI, "SI units"), (US, "US units")):
        assert f"Largest line loads, {name}" in text
        for rail in data["rails"]:
            assert down(rail["largest_load"][0][0], "line", units) in text
    assert "A licensed engineer must review this table" in text
    assert "Reviewed by" in text


def test_a_cell_is_repeated_by_check(made, tmp_path):
    out, result = made
    again = CliRunner().invoke(
        commands, ["check", str(out / "cell" / "project.toml"), "--out", str(tmp_path), "--no-picture"]
    )
    assert again.exit_code == 1  # rail height is not verified
    data = json.loads((tmp_path / "results.json").read_text())
    told = float(result.output.split("2 kN/m: ")[1].split(" of ")[0])
    assert data["governing"]["utilization"] == pytest.approx(told, abs=1e-6)


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("Cove 48, end span, 1.2 m", "must be rail, arrangement, span, load"),
        ("Cove 49, end span, 1.2 m, 2 kN/m", "there is no rail"),
        ("Cove 48, any, 1.2 m, 2 kN/m", "there is no arrangement"),
        ("Cove 48, end span, 0.1 m, 2 kN/m", "seam spacing"),
        ("Cove 48, end span, 1.2 m, 2 kN", "not a unit of line load"),
    ],
)
def test_bad_cells_are_refused_and_nothing_is_written(tmp_path, cell, words):
    out = tmp_path / "out"
    result = CliRunner().invoke(commands, ["span", str(MODEL), "--out", str(out), "--cell", cell])
    assert result.exit_code != 0
    assert words in str(result.exception)
    assert not out.exists()


def test_a_cell_of_sheets_below_its_row_says_so(tmp_path):
    path, out = tmp_path / "spans.toml", tmp_path / "out"
    text = MODEL.read_text().replace('panel_length = "10 m"', 'panel_length = "0.5 m"')
    text = text.replace(
        text[text.index("arrangements") : text.index("[panel]")], 'arrangements = ["two spans"]\n'
    )
    path.write_text(text.replace("6.8 to 7.6 kN", "6.8 kN"))
    cell = "Cove 48, two spans, 1.2 m, 2 kN/m"
    result = CliRunner().invoke(commands, ["span", str(path), "--out", str(out), "--cell", cell])
    assert "sheets of 0.5 m have no snow above it" in str(result.exception)
    assert not out.exists()


def test_printed_loads_never_rise():
    assert down(12_349.9, "line", SI) == "12.3"
    assert down(999.99, "line", SI) == "0.999"
    assert down(2000.0, "line", SI) == "2.00"
    assert down(0.0, "line", US) == "0"
    assert down(float("nan"), "line", US) == "not verified"
    assert down(float("inf"), "line", US) == "unlimited"


def test_narrow_terminals_tear_no_range_of_loads():
    loads = Table(
        "t",
        ("span", "one"),
        "nn",
        (("0.4", "12.1 to 13.5 clamp combined"), ("2", "0.7"), ("3", "1 rail stress")),
    )
    assert [row[1] for row in _stacked(loads).rows] == ["12.1–13.5\nclamp combined", "0.7", "1\nrail stress"]
