"""Cautions on the terminal: what is cut stands in full below, and nothing that is unchecked is cut away."""

from dataclasses import replace

import pytest

from fea.still_falling import out_of_reach
from roofmodel.project.plan_schema import ProtectTable
from roofmodel.units import SYSTEMS
from tests.demos import demo
from viewer.caution_lines import CUT, LOUD, MARK, first_words, shortened, split_cautions


@pytest.mark.parametrize("width", [30, 60, 80])
def test_a_first_word_that_fills_the_line_does_not_vanish(width):
    words = "R" * width + ": on a flat plane, taken to hold."
    short = first_words(words, width)
    assert len(short) <= max(width - len(MARK) - 1, 20)
    assert short.endswith(CUT)
    assert short.startswith("RRR")


@pytest.mark.parametrize(
    "words",
    [
        "Snow leans on obstructions, worst case before load factors: chimney 4.20 kN, hatch 1.10 kN. Their "
        "fastening must hold this and is in no check.",
        "Main entrance and terrace is to be protected, but lies 40.00 m from the roof, farther than snow can "
        "fly from it: nothing is protected there. Check unit and axes.",
        "Snow from the slope behind pushes rows up their own slope: R1 3.00 kN (worst case, before load "
        "factors): look by hand at whether clamps and brackets hold that way.",
    ],
)
def test_what_no_check_looks_at_is_not_cut(words):
    assert first_words(words, 80) == words
    plain = words.replace("in no check", "so").replace("nothing", "all").replace("by hand", "hard")
    assert first_words(plain, 80).endswith(CUT)


def test_a_place_that_no_snow_can_reach_is_said_in_full():
    """An area in millimeters read as meters protects nothing."""
    known = demo("granary-door")
    mark = ProtectTable.model_validate({"name": "terrace", "area": "900 900, 901 900, 901 901 m"})
    table = known.project.table.model_copy(update={"protect": [mark]})
    project, units = replace(known.project, table=table), SYSTEMS["SI"]
    (words,) = out_of_reach(project, units)
    assert "nothing is protected there" in words
    deadly, others = split_cautions(replace(known, project=project, cautions=(words, "Else.")), units)
    assert words in deadly
    assert others == ("Else.",)


def test_a_short_line_ends_between_words_and_tells_the_first_sentence():
    """The same on the terminal and on paper; only the room differs."""
    assert shortened("One thing. Another thing.", 20) == f"One thing{CUT}"
    assert shortened("One thing. Another thing.", 25) == "One thing. Another thing."
    names = "Rows: " + ", ".join(f"row {k} at 1,250 lbf" for k in range(40))
    for room in (71, 260):
        short = shortened(names, room)
        assert room - 30 < len(short) <= room
        assert short.endswith(f"1,250 lbf{CUT}")


@pytest.mark.parametrize("word", LOUD)
def test_no_shortening_takes_away_what_makes_a_caution_loud(word):
    late = "One thing is said first. " + "And more of it. " * 20 + f"It is {word}."
    assert shortened(late, 71) == late
    early = f"{word}: one thing" + ", and more of it" * 20
    assert word in shortened(early, 71)
    assert len(shortened(early, 71)) <= 71
