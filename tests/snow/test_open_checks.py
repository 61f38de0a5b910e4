"""Every row of tests/data/snow_checks.json through the public steps, or listed with a reason."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from benchmarks.verification.open_asce import ASCE
from benchmarks.verification.open_checks import CHECKS, collected, open_rows
from benchmarks.verification.open_mechanics import LISTED, MECHANICS
from benchmarks.verification.open_rest import REST
from benchmarks.verification.snow_page import HERE, all_rows, snow_page

ANSWERS = ASCE | REST | MECHANICS
NAMES = [case["id"] for case in json.loads(CHECKS.read_text(encoding="utf-8"))["cases"]]


@pytest.fixture(scope="module")
def rows():
    return all_rows()


@pytest.mark.parametrize("name", NAMES)
def test_ours_agree_within_the_tolerance_of_the_file(rows, name):
    """The source of each value stands in the file and on the page."""
    own = [row for row in rows if row.check == name]
    assert own
    for row in own:
        if not row.why:
            assert row.kept, f"{row.key}: {row.value} is {row.error:+.2%} off {row.reference}"


def test_the_file_is_whole():
    assert len(NAMES) == len(set(NAMES)) == 51
    assert set(ANSWERS) | set(LISTED) == set(NAMES)


def test_nothing_is_listed_that_agrees(rows):
    """A reason that no longer holds must go."""
    assert not [(row.check, row.key) for row in rows if row.why and row.kept]
    assert {row.check for row in rows if row.why} == set(LISTED)


def test_a_row_that_is_forgotten_fails(monkeypatch):
    """Each is asked for alone, as the other answers take long."""
    whole = {case["id"]: case for case in collected()}
    asked = []
    monkeypatch.setattr("benchmarks.verification.open_checks.collected", lambda: [whole[asked[-1]]])
    for name in ("O-05", "O-44", "O-57"):
        asked.append(name)
        with pytest.raises(KeyError, match=name):
            open_rows({key: run for key, run in ANSWERS.items() if key != name}, LISTED)
    asked.append("O-54")
    with pytest.raises(KeyError, match="O-54"):
        open_rows(ANSWERS, {key: words for key, words in LISTED.items() if key != "O-54"})


def test_a_wrong_value_is_a_miss(rows):
    row = next(one for one in rows if one.check == "O-05" and one.key == "pd_psf")
    assert not replace(row, value=row.value * 1.01).kept
    assert "**miss** +1%" in snow_page([replace(row, value=row.reference * 1.01)])


def test_the_page_shows_every_row_as_it_is_now(rows):
    """SNOW.md is written from the same rows; other machines may round the last digit otherwise."""
    text, now = (HERE / "SNOW.md").read_text(encoding="utf-8"), snow_page(rows)
    assert all(f"| {case['id']} |" in text for case in collected())
    again = "run python benchmarks/verification/snow_page.py"
    for old, new in zip(text.splitlines(), now.splitlines(), strict=True):
        if not old.startswith("| O-"):
            assert old == new, again
            continue
        (*names, reference, ours), (*others, same, found) = (line.split(" | ")[:5] for line in (old, new))
        assert (names, reference) == (others, same), again
        assert ours == found or float(ours) == pytest.approx(float(found), rel=1e-4, abs=1e-9), again
