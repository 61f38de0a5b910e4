"""What a text may hold, how deep tables may stand, and lines that are missing."""

from __future__ import annotations

import json

import numpy as np
import pytest
import seeds

from roofmodel.errors import InputError
from roofmodel.project.schema import ProjectFile
from roofmodel.project.span_study import load_study
from roofmodel.project.validation import validated
from roofmodel.snow.weather import read_weather


def test_nothing_on_screen_but_words() -> None:
    """A terminal obeys escape sequences; marks of direction show words in another order."""
    told = str(InputError('layer "\x1b[2J\u202eevil"\nis  not there'))
    assert told == 'layer "\ufffd[2J\ufffdevil" is not there'
    assert str(InputError("Türe 名前 3 m²")) == "Türe 名前 3 m²"


@pytest.mark.parametrize("text", ["\x1b[31mred", "bell \x07", "\u202eevil", "a\u2066b"])
@pytest.mark.parametrize(
    ("old", "field"), [('test_basis = "works tests 1-1"', "test_basis"), ('name = "Small gable"', "name")]
)
def test_words_of_a_project_are_plain(text: str, old: str, field: str) -> None:
    assert old in seeds.SMALL
    with pytest.raises(InputError, match=rf"\.{field}: .* holds a .*control character"):
        validated(seeds.SMALL.replace(old, f"{field} = {json.dumps(text)}"), "p.toml", ProjectFile)


def test_reasons_may_have_two_lines() -> None:
    text = seeds.SMALL.replace('"works tests 1-1"', '"""works tests,\nsix pulls"""')
    assert validated(text, "p.toml", ProjectFile).clamp.test_basis == "works tests,\nsix pulls"


@pytest.mark.parametrize("deep", [40, 300, 2000])
@pytest.mark.parametrize("form", ["dots", "lists"])
def test_tables_in_tables_end_somewhere(tmp_path, deep: int, form: str) -> None:
    more = ".".join(["a"] * deep) + " = 1\n" if form == "dots" else f"a = {'[' * deep}{']' * deep}\n"
    with pytest.raises(InputError, match="nested too deep"):
        validated(more + seeds.SMALL, "p.toml", ProjectFile)
    (tmp_path / "spans.toml").write_text(more + (seeds.MODELS / "cove-rails" / "spans.toml").read_text())
    with pytest.raises(InputError, match="nested too deep"):
        load_study(tmp_path / "spans.toml")


def test_close_words_are_named_one_by_one() -> None:
    with pytest.raises(InputError, match=r'\(did you mean "characteristic"\?\)$'):
        validated(
            seeds.SMALL.replace('strength_kind = "characteristic"', 'strength_kind = "caracteristic"'),
            "p",
            ProjectFile,
        )


def test_missing_hours_are_told(tmp_path) -> None:
    """Half a day of snow without lines was lost without a word."""
    lines = seeds.weather(96).splitlines(keepends=True)
    (tmp_path / "whole.csv").write_bytes(b"".join(lines))
    (tmp_path / "gap.csv").write_bytes(b"".join(lines[:30] + lines[41:]))
    assert read_weather(tmp_path / "whole.csv", "whole.csv").notes == ()
    (note,) = read_weather(tmp_path / "gap.csv", "gap.csv").notes
    assert (
        "LINES ARE MISSING: gap.csv steps longer than its usual 1 h once, at most 12 h before line 31;"
        in note
    )


def test_days_and_a_summer_hour_are_no_gap(tmp_path) -> None:
    days = np.datetime64("2026-03-20") + np.arange(20)
    rows = [f"{day}T{'08' if day > np.datetime64('2026-03-29') else '07'}:00,-2.0,1.0" for day in days]
    (tmp_path / "days.csv").write_text("\n".join(["time,temperature_c,snow_mm", *rows]))
    assert not any("MISSING" in note for note in read_weather(tmp_path / "days.csv", "days.csv").notes)
