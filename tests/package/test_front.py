"""Page 1 of the package: what voids the answer and what comes down on people is never left out or cut."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from fea.analysis import Analysis, analyze
from roofmodel.project.load import load_project
from tests.demos import demo
from viewer.caution_lines import LOUD, sorted_cautions
from viewer.package.bill import splice_caution
from viewer.package.front import LINES, OTHERS, ROOM, _cautions
from viewer.quantities import system
from viewer.unheld import falling_sentence

PROTECT = "".join(
    f'\n[[protect]]\nname = "{name}"\neave = "{eave} eave"\n'
    for name, eave in (("south door", "S1"), ("east walk", "E1"))
)


def said(analysis: Analysis) -> str:
    """Cautions of page 1 as a reader sees them."""
    units = system(analysis.project.table.project.units)
    sorted_ = sorted_cautions(analysis, units, falling_sentence(analysis, units))
    source = _cautions(*sorted_, splice_caution(analysis.project))
    return source.replace('"#box[#"', "").replace('"]#"', "")


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    """Whole strengths for design, and people below two eaves."""
    text = Path("models/ridge-school/project.toml").read_text(encoding="utf-8")
    text = text.replace("\nfactor = 0.55", "\nfactor = 1.0", 1) + PROTECT
    path = tmp_path_factory.mktemp("bare") / "project.toml"
    path.write_text(text, encoding="utf-8")
    return analyze(load_project(path))


def test_whole_strengths_and_missing_splices_are_told_beside_people(bare: Analysis) -> None:
    told = said(bare)
    for words in (
        "NO SAFETY FACTOR: 1 is given as clamp.factor, so loads of format LRFD meet whole strengths",
        "At least 8 more splices are needed",
        "out from the edge.",
        "their strength is not known",
        "on south door",
        "on east walk",
    ):
        assert words in told
    assert told.count("is to be protected:") == 1  # both in one sentence
    assert told.index("NO SAFETY FACTOR") < told.index("no row holds")


@pytest.mark.parametrize("name", ["sentier-house", "cedar-hollow", "alder-barn"])
def test_how_far_the_snow_lands_is_never_cut(name: str) -> None:
    analysis = demo(name)
    units = system(analysis.project.table.project.units)
    whole = falling_sentence(analysis, units)
    assert len(whole) > 1
    assert whole.rpartition(" up to ")[2].split()[0] in said(analysis)
    assert "out from the edge" in said(analysis)


def shown_lines(told: str) -> list[str]:
    return [line.split("]")[0] for line in told.split("Caution: ")[1:]]


def test_what_voids_the_answer_stands_in_full_and_takes_no_line_from_others() -> None:
    void = [f"DO NOT RELY ON number {k}. It is wrong by a lot. " + "More of it. " * 8 for k in range(4)]
    people = ["Snow falls. It lands 9 m out."]
    others = [f"Matter {k}. More." + " More." * 50 for k in range(6)]
    told = _cautions(void, people, others, "Splices are needed. How many.")
    assert len(shown_lines(told)) == len(void) + LINES
    assert told.count("More of it.") == 4 * 8
    assert "It lands 9 m out." in told
    assert "Splices are needed" in told
    assert f"{len(others) - (LINES - 2)} more cautions, and all in full under" in told
    crowd = _cautions((), [f"Door {k} is to be protected. 2 kN come down." for k in range(9)], others)
    assert crowd.count("2 kN come down.") == 9
    assert crowd.count("Matter") == OTHERS
    assert _cautions((), (), ()) == ""


@pytest.mark.parametrize("count", [7, 14, 40])
def test_many_loud_cautions_leave_the_picture_its_room_and_hide_nothing_unsafe(count: int) -> None:
    """Whatever is cut keeps its loud word, whatever is left out is counted with its own."""
    tail = " and so on" * 30
    void = [f"{LOUD[k % len(LOUD)]}: matter {k}{tail}. More is said here." for k in range(count)]
    people = ["Snow that no row holds falls and lands up to 14.2 ft out from the edge, 9 lbf of it."]
    told = _cautions(void, people, ["Else."])
    lines = shown_lines(told)
    assert sum(math.ceil(len(line) / 130) for line in lines) <= ROOM + 2
    assert "lands up to 14.2 ft out from the edge" in told
    assert all(any(word in line for word in LOUD) for line in lines[:-2])
    assert [LOUD.index(next(w for w in LOUD if w in line)) for line in lines[:-2]] == sorted(
        LOUD.index(next(w for w in LOUD if w in line)) for line in lines[:-2]
    )
    left = count - (len(lines) - 2)
    assert (left > 0) == (f"{left} more caution" in told)
    assert all(word in told for word in LOUD[:count])
    assert "page " in told


def test_every_loud_caution_is_one_that_voids() -> None:
    """Cautions of the checks about strengths that do not hold; words of others stay where they were."""
    analysis = demo("cedar-hollow")
    loud = (
        "NO SAFETY FACTOR: 1 is given.",
        '"nominal" is taken as characteristic: UNSAFE unless it is.',
        "UNSUPPORTED: clamp.strength.pull was not tested.",
        "Stiffer clamps keep more. DO NOT RELY ON THE LOWER NUMBER.",
        "clamp.height puts the rail's axis nearly at the grip: CHECK IT and its unit.",
        "Tests, strengths NOT VERIFIED for pull.",
    )
    mixed = replace(analysis, cautions=(analysis.cautions[0], *loud, *analysis.cautions[1:]))
    void, _, others = sorted_cautions(mixed, system("US"))
    own, _, rest = sorted_cautions(analysis, system("US"))
    assert tuple(one for one in void if one not in own) == loud
    assert others == rest
