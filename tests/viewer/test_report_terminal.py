"""The summary on the terminal: the verdict first, in words, in 80 columns."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_projects import l_roof, projects, run, shed, without_anchorage
from rich.console import Console

from fea.analysis import Analysis
from roofmodel.units import SYSTEMS
from viewer.quantities import percent, significant
from viewer.report.tables import rows_table
from viewer.row_summary import ALL_ALONG, NEARLY, PEAK_NOTE, peak_places, row_lines
from viewer.summary import verdict
from viewer.terminal import print_summary

FOOT = 0.3048  # exact [m]


def summary(analysis: Analysis, width: int = 80) -> str:
    out = io.StringIO()
    print_summary(analysis, Console(file=out, width=width))
    return out.getvalue()


@pytest.mark.parametrize("name", projects())
def test_fits_in_80_columns_without_color(name: str, tmp_path: Path) -> None:
    analysis = run(projects()[name], tmp_path)
    text = summary(analysis)
    assert "\x1b" not in text
    assert max(len(line) for line in text.splitlines()) <= 80
    for limit in analysis.limits:
        assert limit.name in text
    for row in analysis.project.layout.row_name:
        assert re.search(rf"^{row} ", text, re.MULTILINE)
    assert "engineer" in text


def test_verdict_leads(tmp_path: Path) -> None:
    assert " EVERY LIMIT KEPT " in summary(run(shed(), tmp_path)).splitlines()[1]
    assert " EXCEEDED " in summary(run(l_roof(), tmp_path)).splitlines()[1]
    head = summary(run(without_anchorage(shed()), tmp_path)).splitlines()[1]
    assert " NOT VERIFIED " in head
    assert "KEPT" not in head


def test_not_verified_is_as_loud_as_exceeded(tmp_path: Path) -> None:
    def style(text: str, word: str) -> str:
        return re.search(rf"(\x1b\[[\d;]*m) {word} \x1b", text).group(1)  # type: ignore[union-attr]

    texts = []
    for project in (without_anchorage(shed()), l_roof()):
        out = io.StringIO()
        print_summary(run(project, tmp_path), Console(file=out, width=80, force_terminal=True))
        texts.append(out.getvalue())
    assert style(texts[0], "NOT VERIFIED") == style(texts[1], "EXCEEDED")


def test_hostile_markup_is_printed_as_it_is(tmp_path: Path) -> None:
    text = summary(run(shed().replace("Linden Yard cart shed", "[red]x[/red] [bold"), tmp_path))
    assert "[red]x[/red] [bold" in text


@given(st.floats(1e-9, 1e9))
def test_significant_keeps_three_digits(value: float) -> None:
    text = significant(value)
    assert float(text.replace(",", "")) == pytest.approx(value, rel=5.01e-3)
    assert significant(-value) == "−" + text


@given(st.floats(0.0, 50.0))
def test_percent_shows_the_side_of_the_limit(ratio: float) -> None:
    shown = float(percent(ratio).removesuffix("%").replace(",", "").replace("\u00a0", " "))
    assert shown == pytest.approx(100.0 * ratio, abs=0.5)
    if abs(ratio - 1.0) > 1e-8:
        assert (shown > 100.0) == (ratio > 1.0)


def test_the_largest_force_per_length_says_where_it_acts(tmp_path: Path) -> None:
    """All along a row below a plain slope; beside a valley on a stretch, with no more than its total."""
    plain = run(shed(), tmp_path)
    assert peak_places(row_lines(plain), SYSTEMS["SI"]) == ["all along"] * len(row_lines(plain))
    assert PEAK_NOTE not in " ".join(summary(plain).split())
    assert PEAK_NOTE not in rows_table(plain, SYSTEMS["SI"], row_lines(plain)).note
    valley = run(l_roof(), tmp_path)
    lines = row_lines(valley)
    text = " ".join(summary(valley).split())
    short = [line for line in lines if line.peak_at[1] - line.peak_at[0] < ALL_ALONG * line.length]
    assert short
    for line in short:
        low, high = line.peak_at
        assert 0.0 <= low < high <= line.length + 1e-9
        assert NEARLY * line.peak * (high - low) <= line.total * (1.0 + 1e-9)
        assert f"{low / FOOT:.2f} to {high / FOOT:.2f}" in text
    assert PEAK_NOTE in text
    assert PEAK_NOTE in rows_table(valley, SYSTEMS["US"], lines).note


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("name", projects())
def test_what_kills_stands_in_full_in_the_first_lines_and_no_caution_is_lost(
    name: str, width: int, tmp_path: Path
) -> None:
    """Other cautions take a line each there, and stand in full below the tables."""
    analysis = run(projects()[name], tmp_path)
    text = summary(analysis, width)
    said, units = " ".join(text.split()), SYSTEMS[analysis.project.table.project.units]
    head = " ".join(" ".join(text.splitlines()[:15]).split())
    answer = verdict(analysis, units)
    assert answer.sentence in head
    assert answer.falling in head
    for caution in answer.cautions:
        assert caution in said
    assert text.count(" CAUTION ") == len(answer.cautions) + bool(answer.falling)
