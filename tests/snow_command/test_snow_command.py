"""The command `snow`: exit codes, files, drawings, and that all of them say the same."""

from __future__ import annotations

import csv
import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image
from snow_projects import DEMOS, MODELS, TANNERY, demo, in_us_units, study_of, under_asce

import viewer
from viewer import cli, style
from viewer.picture.drawing import Drawing, drawing_svg, paint
from viewer.quantities import quantity
from viewer.report.page import symbols
from viewer.snow.export import snow_csv, snow_results
from viewer.snow.families import told_number
from viewer.snow.page import snow_html
from viewer.snow.plan import fit
from viewer.snow.section_drawing import draw_section
from viewer.snow.sheet import case_drawing, sheet_drawing
from viewer.snow.study import SnowStudy

SCHEMA = json.loads((Path(viewer.__file__).parent / "snow.schema.json").read_text())
FILES = ["snow.csv", "snow.html", "snow.json", "snow.png"]


def run(arguments: list[str], monkeypatch: pytest.MonkeyPatch) -> int:
    monkeypatch.setattr("sys.argv", ["eavewright", *arguments])
    try:
        cli.main()
    except SystemExit as stop:
        return int(stop.code or 0)
    return 0


def sheet(study: SnowStudy) -> Drawing:
    return sheet_drawing(study.findings, study.scale, study.units)


@pytest.mark.parametrize("name", DEMOS)
def test_command_writes_everything(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "140")
    code = run(["snow", str(MODELS / name / "project.toml"), "--out", str(tmp_path / "out")], monkeypatch)
    said = capsys.readouterr().out
    assert code == 0
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == FILES
    found = json.loads((tmp_path / "out" / "snow.json").read_text())
    jsonschema.validate(found, SCHEMA)
    study = demo(name)
    for case in study.findings.cases:
        assert case.case.name in said
    for skipped, _ in study.findings.snow.skipped:
        assert skipped in said
    assert "Self-check: the total of every case" in said


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (TANNERY.replace('ground_snow = "2.0 kN/m^2"', 'ground_snow = "-2 kN/m^2"'), "ground_snow"),
        (TANNERY.replace('plane = "S2"', 'plane = "X9"'), "X9"),
        ("[site", "project.toml"),
    ],
)
def test_bad_input_is_one_line_and_nothing_is_written(
    text: str, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "project.toml").write_text(text)
    code = run(["snow", str(tmp_path / "project.toml"), "--out", str(tmp_path / "out")], monkeypatch)
    said = [line for line in capsys.readouterr().err.splitlines() if not line.endswith(" ...")]
    assert code == 2
    assert len(said) == 1
    assert says in said[0]
    assert not (tmp_path / "out").exists()


def test_output_may_not_be_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "taken").write_text("mine")
    project = MODELS / "tannery-hall" / "project.toml"
    assert run(["snow", str(project), "--out", str(tmp_path / "taken")], monkeypatch) == 2
    assert "is a file" in capsys.readouterr().err
    assert (tmp_path / "taken").read_text() == "mine"


def test_failed_self_check_is_loud(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("viewer.snow.findings.AGREE", -1.0)
    project = MODELS / "tannery-hall" / "project.toml"
    assert run(["snow", str(project), "--out", str(tmp_path)], monkeypatch) == 1
    assert "SELF-CHECK FAILED" in capsys.readouterr().out
    assert '<p class="failed">SELF-CHECK FAILED' in (tmp_path / "snow.html").read_text()


def test_it_draws_without_opengl_and_without_the_solver(tmp_path: Path) -> None:
    """Neither VTK nor a factorization is loaded."""
    code = (
        "import sys; from viewer.cli import main\n"
        "try: main()\n"
        "except SystemExit as stop: assert not stop.code, stop.code\n"
        "print(sorted({'vtk', 'vtkmodules', 'pyvista', 'gmsh', 'fea.analysis.solve'} & set(sys.modules)))"
    )
    project = MODELS / "tannery-hall" / "project.toml"
    done = subprocess.run(
        [sys.executable, "-c", code, "snow", str(project), "--out", str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize("name", DEMOS)
def test_data_say_what_the_study_says(name: str) -> None:
    study = demo(name)
    found = snow_results(study)
    by_number = {zone["number"]: zone for zone in found["zones"]}
    for case in found["cases"]:
        forces = [by_number[number]["force"] for number in case["zones"]]
        assert sum(forces) == pytest.approx(case["total"], rel=1e-12)
        assert sum(case["plane_force"].values()) == pytest.approx(case["total"], rel=1e-9)
        assert all(case["name"] in by_number[number]["cases"] for number in case["zones"])
    for zone in found["zones"]:
        ring = np.array(zone["polygons"][0][0])
        values = zone["pressure"][0] + ring @ np.array(zone["pressure"][1:])
        if len(zone["polygons"]) == 1:
            assert values.max() == pytest.approx(zone["largest"])
    for section in found["sections"]:
        length = np.linalg.norm(np.subtract(section["end"], section["start"]))
        assert length == pytest.approx(section["width"], rel=1e-9)
        assert section["pressure"] == pytest.approx(
            np.array(section["height"]) * section["weight_density"], rel=1e-9
        )


@pytest.mark.parametrize(("text", "unit"), [(TANNERY, "kN/m²"), (in_us_units(), "psf")])
def test_table_for_spreadsheets_is_in_the_projects_units(text: str, unit: str, tmp_path: Path) -> None:
    study = study_of(text, tmp_path)
    rows = list(csv.DictReader(snow_csv(study).splitlines()))
    assert len(rows) == sum(len(case.patches) for case in study.findings.cases)
    peak = max(float(row[f"largest pressure [{unit}]"]) for row in rows)
    assert peak == pytest.approx(study.units.convert(5539.387, "pressure"), rel=1e-5)


@pytest.mark.parametrize("text", [TANNERY, in_us_units(), under_asce()])
def test_page_prints_every_number_a_reader_needs(text: str, tmp_path: Path) -> None:
    study = study_of(text, tmp_path)
    page = snow_html(study, sheet(study))
    words = re.sub(r"<[^>]+>", "", page)
    units = study.units
    for patch in study.findings.patches:
        zone = re.search(rf'<section class="zone" id="zone-{patch.number}">.*?</section>', page, re.DOTALL)
        assert zone is not None
        plain = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", zone[0]))
        assert patch.zone.clause in plain
        assert quantity(patch.force, "force", units, 4) in plain
        assert quantity(patch.area, "area", units, 4) in plain
        corners = re.findall(r'<tr>\s*<th scope="row">\d+</th>', zone[0])
        assert len(corners) == 4  # all zones of this roof are rectangles
        for value in patch.zone.values:
            if value.unit == "Pa":
                assert quantity(value.value, "pressure", units, 4) in plain
    for case in study.findings.cases:
        assert quantity(case.largest, "pressure", units) in words
    for _, why in study.findings.snow.skipped:
        assert re.sub(r"<[^>]+>", "", str(symbols(why))) in words
    if units.name == "US":
        assert "kN/m²" not in words
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")


@pytest.mark.parametrize("name", DEMOS)
def test_drawings_are_valid_and_labeled(name: str) -> None:
    study = demo(name)
    numbers_of = study.findings.patches
    for index, case in enumerate(study.findings.cases):
        own = [section for section in study.sections if section.case == index]
        drawing = case_drawing(study.findings, index, study.scale, own, study.units)
        root = ET.fromstring(drawing_svg(drawing, "plan"))
        assert root.tag.endswith("svg")
        texts = {text.text for text in drawing.texts}
        for i in case.patches:
            if numbers_of[i].area > 0.05:
                assert str(told_number(study.findings, i)) in texts
        assert {section.name for section in own} <= texts
        assert {"N", study.units.label("pressure"), *study.scale.labels} <= texts
        for section in own:
            cut, _ = draw_section(study.findings, section, study.units)
            ET.fromstring(drawing_svg(cut, "section"))
            words = {text.text for text in cut.texts}
            assert f"width {quantity(section.width, 'length', study.units)}" in words
            height = float(section.pressure.max()) / section.weight
            assert f"height {quantity(height, 'length', study.units)}" in words
            assert quantity(float(section.pressure.max()), "pressure", study.units) in words


@pytest.mark.parametrize("name", DEMOS)
def test_labels_do_not_cover_each_other(name: str) -> None:
    study = demo(name)
    drawings = [sheet(study)]
    for index in range(len(study.findings.cases)):
        own = [section for section in study.sections if section.case == index]
        drawings.append(case_drawing(study.findings, index, study.scale, own, study.units))
    for drawing in drawings:
        boxes = np.array([text.box for text in drawing.texts]) + np.array([1.0, 1.0, -1.0, -1.0])
        over = (
            (boxes[:, None, 0] < boxes[:, 2])
            & (boxes[:, None, 2] > boxes[:, 0])
            & (boxes[:, None, 1] < boxes[:, 3])
            & (boxes[:, None, 3] > boxes[:, 1])
        )
        np.fill_diagonal(over, False)
        pairs = [(drawing.texts[i].text, drawing.texts[j].text) for i, j in np.argwhere(over) if i < j]
        assert pairs == []


def test_picture_shows_the_pressure_in_its_color() -> None:
    """Pixels of the balanced plane and of the drift, beside its wall, have the colors of their bands."""
    study = demo("tannery-hall")
    drawing = case_drawing(study.findings, 3, study.scale, (), study.units)
    pixels = np.asarray(paint(drawing))
    colors = style.snow_bands(study.scale.count)
    place = _place_of(drawing, study)
    for xy, pressure in (((2.0, 12.0), 1600.0), ((18.5, -0.35), 1600.0 + 5539.387 * (1.0 - 0.35 / 5.0))):
        x, y = place.at(np.array(xy))
        band = int(np.searchsorted(study.scale.levels, pressure) - 1)
        assert tuple(pixels[round(y), round(x)]) == tuple(
            np.rint(style.rgb(colors[band]) * 255.0).astype(int)
        )


def _place_of(drawing: Drawing, study: SnowStudy):
    """The plan's place, from the outline of the first roof plane on the drawing."""
    points = study.findings.project.roof.points
    ring = np.concatenate(
        [shape.rings[0] for shape in drawing.shapes if shape.fill == style.PAPER and len(shape.rings[0]) == 4]
    )
    return fit(points, (*ring.min(axis=0), *ring.max(axis=0)))


def test_sheet_is_a_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    project = MODELS / "cedar-hollow" / "project.toml"
    assert run(["snow", str(project), "--out", str(tmp_path)], monkeypatch) == 0
    with Image.open(tmp_path / "snow.png") as image:
        assert image.width == 2000
        assert len(image.getcolors(1 << 20) or []) > 100


def test_bands_darken_step_by_step() -> None:
    """A scale for every eye: each band is darker than the one before, by enough to be told apart."""
    for count in range(3, 10):
        tone = style.luminance([style.rgb(color) for color in style.snow_bands(count)])
        assert np.all(tone[:-1] / tone[1:] > 1.08)


def test_snow_runs_on_a_roof_without_rows_and_keeps_brackets(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An all-flat step building can carry no row; "[[framing]]" is no markup of the terminal."""
    text = under_asce()
    for table in ("framing", "row"):
        text = re.sub(rf"(?ms)^\[\[{table}\]\].*?(?=^\[|\Z)", "", text)
    (tmp_path / "project.toml").write_text(text)
    monkeypatch.setenv("COLUMNS", "140")
    assert run(["snow", str(tmp_path / "project.toml"), "--out", str(tmp_path / "out")], monkeypatch) == 0
    said = capsys.readouterr().out
    assert "[[framing]]" in " ".join(said.split())
    assert "percent more" not in said
