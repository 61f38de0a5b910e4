"""The verification page says what was found, misses among it."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from benchmarks.verification.course import Course, run_problem
from benchmarks.verification.findings import Finding
from benchmarks.verification.page import page, percent, table
from benchmarks.verification.plates import PROBLEMS
from benchmarks.verification.plots import FLOOR, QUADS, TRIANGLES, Panel, Series, convergence_svg


def finding(value: float, bar: float = 0.01, source: str = "closed form") -> Finding:
    return Finding("a beam", source, "one", "N", value, 100.0, bar)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (0.0123, "+1.2%"),
        (-2e-5, "-0.002%"),
        (3e-8, "below 1e-7"),
        (0.0, "below 1e-12"),
        (np.nan, "no answer"),
    ],
)
def test_errors_in_words(error, words):
    assert percent(error) == words


def test_misses_are_marked_and_counted():
    course = Course((run_problem(PROBLEMS[0], QUADS, 4),))
    found = [finding(100.5), finding(98.0), finding(np.nan)]
    text = page(course, [("Beams", "Words.", found)])
    assert "| Beams | 3 | 2 |" in text
    assert text.count("**miss**") == 1 + 2  # the head explains the word
    assert "**miss** -2%" in text
    assert "**miss** no answer" in text


def test_every_source_has_one_number():
    text = page(Course(()), [("Beams", "", [finding(100.0), finding(100.0, source="book"), finding(100.0)])])
    assert [line.split("|")[-2].strip() for line in text.splitlines() if "A beam" in line] == [
        "[1]",
        "[2]",
        "[1]",
    ]
    assert text.endswith("1. closed form\n2. book\n")


def test_table_keeps_its_columns():
    lines = table(("a", "b"), [["x", "1"], ["y", "22"]]).splitlines()
    assert lines == ["| a | b |", "| --- | ---: |", "| x | 1 |", "| y | 22 |"]


def test_drawing_tells_orders_apart_without_color():
    side = np.array([4.0, 8.0, 16.0])
    series = (Series(QUADS, side, 1.0 / side**2), Series(TRIANGLES, side, 1.0 / side))
    drawing = ET.fromstring(convergence_svg("Orders", [Panel("A plate, clamped", series, 2.0)]))
    lines = [e for e in drawing.iter() if e.tag.endswith("path") and e.get("fill") == "none"]
    dashes = {e.get("stroke-dasharray") for e in lines if float(e.get("stroke-width")) > 1.0}
    assert len(dashes) == 2
    words = "".join(drawing.itertext())
    assert "A plate" in words
    assert "clamped" in words


def test_drawing_survives_gaps_and_exact_answers():
    side = np.array([4.0, 8.0, 16.0])
    series = (Series(QUADS, side, np.array([0.1, np.nan, 0.0])),)
    text = convergence_svg("Gaps", [Panel("A plate", series, 2.0)])
    assert "nan" not in text
    assert f"{100.0 * FLOOR:g}%" in text
