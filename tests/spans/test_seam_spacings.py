"""Several seam spacings in one study: the tables of one file are those of a file for each."""

import csv
import json
from dataclasses import replace
from io import StringIO

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner
from rich.console import Console

from fea.spans.study import run_study
from roofmodel.errors import InputError
from roofmodel.project.span_study import load_study
from roofmodel.units import SI
from tests.spans.test_span_command import MODEL, ROOT
from viewer.cli import commands
from viewer.report.tables import Table
from viewer.span.conditions import conditions
from viewer.span.terminal import _fitting
from viewer.span.words import compared
from viewer.terminal import print_table

SEAM, SPANS = 'seam_spacing = "400 mm"', MODEL.read_text().split("spans = ")[1].split("\n")[0]
ARRANGEMENTS = MODEL.read_text().split("arrangements = ")[1].split("\n")[0]


def put(folder, seams, spans, name="spans.toml"):
    """The demo, its strength no range and its arrangements two, on other seams and spans."""
    text = MODEL.read_text().replace(SEAM, f"seam_spacing = {seams}").replace(f"spans = {SPANS}", spans)
    text = text.replace("6.8 to 7.6 kN", "6.8 kN").replace(ARRANGEMENTS, '["end span", "one clamp missing"]')
    path = folder / name
    path.write_text(text)
    return path


def test_one_file_says_what_a_file_for_each_says(tmp_path):
    both = run_study(load_study(put(tmp_path, '["400 mm", "18 in"]', "seams_per_span = [1, 2, 3, 5]")))
    assert [rail.name for rail in both.rails] == [
        "Cove 48 on 400 mm seams", "Cove 48 on 457.2 mm seams",
        "Cove 60 on 400 mm seams", "Cove 60 on 457.2 mm seams",
    ]  # fmt: skip
    for k, (seam, size) in enumerate((("400 mm", 0.4), ("18 in", 0.4572))):
        spans = ", ".join(f'"{n * size!r} m"' for n in (1, 2, 3, 5))
        alone = run_study(load_study(put(tmp_path, f'"{seam}"', f"spans = [{spans}]", f"{k}.toml")))
        assert [rail.name for rail in alone.rails] == ["Cove 48", "Cove 60"]
        for one, other in zip(alone.rails, both.rails[k::2], strict=True):
            np.testing.assert_allclose(other.spans, np.array([1, 2, 3, 5]) * size, rtol=1e-12)
            np.testing.assert_allclose(other.by_limit, one.by_limit, rtol=1e-9)
            np.testing.assert_allclose(other.span, one.span, rtol=1e-9)


def test_seam_spacings_whose_spans_never_meet_stand_side_by_side_nowhere(tmp_path):
    """0.4 m and 0.4572 m have no span in common: two rails on each still meet, one stands alone."""
    found = run_study(load_study(put(tmp_path, '["400 mm", "18 in"]', "seams_per_span = [1, 2]")))
    assert all(len(table.rows) == 4 for table in compared(found, SI))
    apart = replace(found, rails=(found.rails[0], found.rails[3]))
    assert compared(apart, SI) == ()
    table = found.study.table
    one = replace(found.study, table=table.model_copy(update={"rail": table.rail[:1]}))
    assert compared(replace(found, study=one, rails=found.rails[:2]), SI) == ()


def test_the_table_says_which_factors_it_took(tmp_path):
    path = put(tmp_path, '"400 mm"', "seams_per_span = [1]")
    for form, level, says in (
        ("EN", "characteristic", "1.35 D + 1.5 S (EN 1990"),
        ("ASD", "strength", "1 D + 0.7 S (ASCE/SEI 7-22 2.4.1"),
        ("LRFD", "measured", "1 D + 1 S (measured"),
    ):
        text = path.read_text().replace('level = "characteristic"', f'level = "{level}"')
        text = text.replace('format = "EN"', f'format = "{form}"')
        if form != "EN":
            factor = "2.0" if form == "ASD" else "0.5"
            text = text.replace('kind = "characteristic"', 'kind = "nominal"').replace("1.33", factor)
        (tmp_path / "one.toml").write_text(text)
        found = run_study(load_study(tmp_path / "one.toml"))
        assert says in dict(conditions(found))["Loads"]
        note = next(one for one in found.notes if one.startswith("Loads are"))
        assert says.split(" (")[0] in note
        assert ("before load factors" in note) == (level == "characteristic")


def test_a_span_stands_where_it_is_a_whole_multiple(tmp_path):
    study = load_study(put(tmp_path, '["12 in", "16 in"]', 'spans = ["12 in", "32 in", "48 in"]'))
    np.testing.assert_allclose(study.spans(study.seams[0]), [0.3048, 1.2192])
    np.testing.assert_allclose(study.spans(study.seams[1]), [0.8128, 1.2192])
    twice = load_study(put(tmp_path, '"16 in"', 'spans = ["813 mm"]\nseams_per_span = [2, 3]'))
    np.testing.assert_allclose(twice.spans(twice.seams[0]), [0.813, 1.2192])  # two seams, rounded by hand


@pytest.mark.parametrize(("seams", "spans", "words"), [
    ('["400 mm", "18 in"]', 'spans = ["0.4 m"]', "none is a whole multiple"),
    ('["400 mm", "18 in"]', 'spans = ["0.5 m"]', "ends between seams"),
    ('["400 mm", "18 in"]', "seams_per_span = [12]", "at most 10 seams"),
    ('"400 mm"', "spans = []", "there are none"),
    ('"400 to 450 mm"', "seams_per_span = [1]", "panel.seam_spacing: a range says nothing"),
    ('"400 mm"', 'spans = ["16 in to 48 in"]', "study.spans: a range says nothing"),
    ('["400 mm", "40 cm"]', "seams_per_span = [1]", "400.0 mm is there twice"),
    ('["24 in", "609.6 mm"]', "seams_per_span = [1]", "609.6 mm is there twice, within 2.0 mm"),
    ('["400 mm", "much"]', "seams_per_span = [1]", "panel.seam_spacing 2"),
])  # fmt: skip
def test_spans_and_seams_that_do_not_go_together(tmp_path, seams, spans, words):
    with pytest.raises(InputError, match=words) as refused:
        load_study(put(tmp_path, seams, spans))
    assert "\n" not in str(refused.value)


def test_cells_of_no_span_or_of_two_seams_are_refused(tmp_path):
    """The rail is there: what is wrong is the span, or that it does not say on which seams it is."""
    path = put(tmp_path, '["400 mm", "600 mm"]', "seams_per_span = [1, 2]")
    for span, words in (
        ("0.7 m", "ends between seams; the spans of Cove 60 are 0.4, 0.6, 0.8, 1.2 m"),
        ("1.2 m", "name one: Cove 60 on 400 mm seams, Cove 60 on 600 mm seams"),
    ):
        args = [
            "span",
            str(path),
            "--out",
            str(tmp_path / "o"),
            "--cell",
            f"Cove 60, end span, {span}, 2 kN/m",
        ]
        assert words in str(CliRunner().invoke(commands, args).exception)


def test_a_narrow_console_parts_a_table_between_columns_and_never_a_number():
    heads = ("span, m", "single span", "two spans", "end span", "one clamp missing")
    table = Table("t", heads, "nnnnn", (("0.4572", "7\nclamp combined", *["0.0998–0.0999\nx"] * 3),))
    parts = _fitting(table, 40)
    assert [head.replace("\n", " ") for part in parts for head in part.heads[1:]] == list(heads[1:])
    assert all(part.heads[0] == "span, m" for part in parts)
    assert _fitting(table, 110) == [table]
    page = Console(width=40, file=StringIO())
    for part in parts:
        print_table(page, part)
    assert page.file.getvalue().count("0.0998–0.0999") == 3


@pytest.mark.parametrize("width", range(32, 110, 2))
def test_no_width_of_console_tears_a_number(width):
    """Columns as wide as ranges of three digits make them: each is printed whole, as often as it is there."""
    heads = (
        "span, m",
        "single span",
        "two spans",
        "end span",
        "inner span",
        "with overhangs",
        "one clamp missing",
    )
    load = "0.577–0.943\nclamp combined"
    page = Console(width=width, file=StringIO())
    for part in _fitting(
        Table("t", heads, "n" * 7, (("1.26", *[load] * 6), ("1.68", "7", *[load] * 5))), width
    ):
        print_table(page, part)
    assert page.file.getvalue().count("0.577–0.943") == 11
    assert max(map(len, page.file.getvalue().splitlines())) <= width


def test_outputs_name_the_seams_and_check_repeats_a_cell(tmp_path):
    path, out = put(tmp_path, '["400 mm", "18 in"]', "seams_per_span = [2, 3]"), tmp_path / "out"
    cell = "Cove 60 on 457.2 mm seams, end span, 36 in, 2 kN/m"
    done = CliRunner().invoke(commands, ["span", str(path), "--out", str(out), "--cell", cell])
    assert done.exit_code == 0, done.output
    data = json.loads((out / "spans.json").read_text())
    jsonschema.validate(data, json.loads((ROOT / "viewer" / "spans.schema.json").read_text()))
    with (out / "spans.csv").open() as file:
        lines = list(csv.DictReader(file))
    with (out / "conditions.csv").open() as file:
        hold = {line["number"]: line["words"] for line in csv.DictReader(file)}
    assert len(lines) == 2 * 2 * 2 * 2
    for line in lines:
        seam = float(line["seam spacing [mm]"]) / 1e3
        assert float(line["span [m]"]) / seam == pytest.approx(round(float(line["span [m]"]) / seam))
        assert line["rail"] in ("Cove 48", "Cove 60")
        told = " ".join(hold[k] for k in line["numbers in conditions.csv"].split())
        assert f"every {1e3 * seam:.1f} mm" in told
        assert told.count(" high, every ") == 1
    told = float(done.output.split("2 kN/m: ")[1].split(" of ")[0])
    CliRunner().invoke(
        commands, ["check", str(out / "cell" / "project.toml"), "--out", str(tmp_path / "c"), "--no-picture"]
    )
    found = json.loads((tmp_path / "c" / "results.json").read_text())
    assert found["governing"]["utilization"] == pytest.approx(told, abs=1e-6)


def test_a_cell_of_a_rail_on_several_seams_is_told_by_its_span(tmp_path):
    path = put(tmp_path, '["400 mm", "18 in"]', "seams_per_span = [1, 2]")
    asked = ["span", str(path), "--out", str(tmp_path / "out"), "--cell"]
    done = CliRunner().invoke(commands, [*asked, "Cove 48, end span, 18 in, 1 kN/m"])
    assert done.exit_code == 0, done.exception
    assert 'seam_spacing = "0.4572 m"' in (tmp_path / "out" / "cell" / "project.toml").read_text()
    neither = CliRunner().invoke(commands, [*asked, "Cove 48, end span, 0.5 m, 1 kN/m"])
    assert "ends between seams; the spans of Cove 48 are 0.4, 0.4572, 0.8" in str(neither.exception)
