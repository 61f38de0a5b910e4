"""Tolerance of place stands under the verdict: terminal, report, package, results.json and browser."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from report_projects import run, shed
from rich.console import Console

import viewer
from fea.analysis import analyze
from fea.sensitivity import Tolerance, out_of_place
from roofmodel.project.load import with_rows
from roofmodel.units import SI, US
from viewer.app.session import open_state, place_answer, solved
from viewer.export import results
from viewer.places import place_line, place_over, place_short
from viewer.quantities import percent
from viewer.report.page import report_html
from viewer.terminal import print_summary

PLACE = Tolerance(0.0254, 0.96, "R1-02", 0.67, "R1-01")


def test_the_line_under_the_verdict_is_the_check_with_rows_moved(tmp_path: Path) -> None:
    analysis = run(shed(), tmp_path)
    place = out_of_place(analysis)
    assert place is not None
    use = []
    for by in (-0.025, 0.025):
        rows = [row.model_copy(update={"up": row.up + by}) for row in analysis.project.table.row]
        use.append(analyze(with_rows(analysis.project, rows)).attachment.utilization)
    line = place_line(place, analysis, SI)
    now = percent(analysis.attachment.utilization)
    assert percent(max(use)) == now
    assert line.startswith(
        f"Tolerance of place: all rows together 25 mm higher or lower leave the most used attachment at {now}"
    )
    out = io.StringIO()
    print_summary(analysis, Console(file=out, width=400), line)
    head = out.getvalue().splitlines()[:6]
    assert line in head  # above all tables
    page = report_html(analysis, place=line)
    assert page.index(line) < page.index("</section>")
    assert "Tolerance of place" not in report_html(analysis)
    data = results(analysis, place)
    jsonschema.validate(data, json.loads((Path(viewer.__file__).parent / "results.schema.json").read_text()))
    assert data["tolerance_of_place"]["rows"] == pytest.approx(max(use), rel=1e-9)
    assert results(analysis)["tolerance_of_place"] is None


def test_only_a_kept_limit_can_come_to_be_exceeded(tmp_path: Path) -> None:
    analysis = run(shed(), tmp_path)
    worst = analysis.attachment
    over = replace(PLACE, rows=1.02)
    for now, place, told in ((0.9, over, True), (0.9, PLACE, False), (1.01, over, False)):
        changed = replace(analysis, attachment=replace(worst, utilization=now))
        assert place_line(place, changed, US).endswith("check the places on site.") == told
    now = percent(worst.utilization)
    assert f"make {now} into 96 % (R1-02); clamps" in place_line(PLACE, analysis, US)
    built = replace(PLACE, rows=math.nan)  # measured on site: rows are where they are
    line = place_line(built, analysis, US)
    assert line.startswith("Tolerance of place: clamps beside the governing one 1 in farther off make ")
    stuck = replace(built, failed="no row fits")
    kept = replace(analysis, attachment=replace(worst, utilization=0.9))
    for place in (
        stuck,
        replace(stuck, clamps=math.nan),
    ):  # a test that was not made is told first, and loudly
        line = place_line(place, kept, US)
        assert line.startswith(
            "NOT TESTED out of place: rows 1 in higher or lower cannot be calculated (no row fits)."
        )
        assert place_over(place, kept, US) == line
        short, use = place_short(place, US)
        assert short == "1 in out of place: NOT TESTED"
        assert math.isnan(use)
    assert place_over(built, kept, US) == ""
    assert place_line(None, analysis, US) == ""
    assert place_line(PLACE, replace(analysis, attachment=None), US) == ""
    assert place_short(PLACE, US) == ("1 in out of place: 96 %", 0.96)
    assert place_short(None, US) == ("", 0.0)


def test_the_browser_is_told_the_same(tmp_path: Path) -> None:
    path = tmp_path / "project.toml"
    path.write_text(shed(), encoding="utf-8")
    state = open_state(path)
    assert place_answer(state, state.revision)["line"] == ""
    state = replace(state, now=solved(state.now))
    analysis = state.now.analysis
    said = place_answer(state, state.revision)
    assert said["line"] == place_line(out_of_place(analysis), analysis, SI)
    assert said["short"].endswith(percent(said["use"]))
