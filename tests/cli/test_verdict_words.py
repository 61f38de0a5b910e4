"""One place decides what the verdict is; exit code, data files, words, pictures and the app ask it."""

import itertools
from dataclasses import replace

import pytest
from small_project import changed, put

from fea.analysis import analyze
from fea.tipping import Tipping
from fea.verdict import Finding, code, ranked
from roofmodel.project.load import load_project
from roofmodel.units import SYSTEMS
from viewer.export import results
from viewer.package.bill import warning
from viewer.picture.overlay import verdict as in_picture
from viewer.picture.scene import build_scene
from viewer.summary import ALL_KEPT, verdict

LIMIT = 'yield_strength = "200 MPa"\ndeflection_ratio = 50'
WALK = '[[protect]]\nname = "walk"\narea = "0 -1, 6 -1, 6 0, 0 0 m"\nmargin = "0 m"\n\n[design]'


def text(exceeded=False, unprotected=False, unverified=False):
    """A project with any of the findings: rails too low, snow below a row, a rail without a limit."""
    ratio = "2.0" if exceeded else "0.01"
    one = changed('format = "EN"', f'format = "EN"\nrail_height_ratio = {ratio}')
    one = changed('height = "35 mm"\ngrip', 'height = "35 mm"\ntest_height = "35 mm"\ngrip', one)
    one = changed('rocking = "1200 N*m/rad"', 'rocking = "4000 N*m/rad"', one)
    if not unverified:
        one = changed('yield_strength = "200 MPa"', LIMIT, one)
    if unprotected:
        one = changed("[design]", WALK, changed('up = "0.6 m"', 'up = "3 m"', one))
    return one


def test_the_worst_finding_is_the_word_of_data_files():
    every = list(Finding)
    for count in range(len(every) + 1):
        for some in itertools.combinations(every, count):
            found = ranked(dict.fromkeys(reversed(some), ("it",)))
            assert found == tuple(one for one in every if one in some)
            assert code(found) == (every[min(map(every.index, some))].value if some else "pass")
    assert ranked({Finding.EXCEEDED: (), Finding.NOT_SETTLED: None, Finding.NOT_VERIFIED: False}) == ()


KINDS = {
    "exceeded": Finding.EXCEEDED,
    "unprotected": Finding.NOT_PROTECTED,
    "unverified": Finding.NOT_VERIFIED,
}


@pytest.mark.parametrize("some", [c for n in range(4) for c in itertools.combinations(KINDS, n)])
def test_all_that_speak_say_what_was_found(tmp_path, some):
    analysis = analyze(load_project(put(tmp_path, text(**dict.fromkeys(some, True)))))
    assert set(analysis.findings) == {KINDS[one] for one in some}
    assert analysis.passed is (not some)
    assert results(analysis)["verdict"] == code(analysis.findings)
    said = verdict(analysis, SYSTEMS["SI"])
    assert said.passed is analysis.passed
    assert said.words == (tuple(one.word for one in analysis.findings) or (ALL_KEPT,))
    assert (code(analysis.findings) in warning(analysis)) is bool(some)
    assert not some or EXPECTED[analysis.findings[0]] in said.sentence
    lines = [line for line, _ in in_picture(analysis, build_scene(analysis))]
    for one in some:
        assert any(PICTURE[one] in line for line in lines), lines
    if "unprotected" in some:
        assert not any("within their limits" in line for line in lines)


def test_the_picture_has_a_line_of_every_finding_before_a_second_of_any(tmp_path):
    """What exceeds beside the clamps must not go for want of room."""
    given = analyze(load_project(put(tmp_path, text(exceeded=True, unprotected=True))))
    analysis = replace(given, tipping=Tipping(0.9, "R1-01", 1.2, "R1-02", False, ""))
    assert len(analysis.findings) == 3
    lines = [line for line, _ in in_picture(analysis, build_scene(analysis))]
    assert len(lines) == 4
    for start, line in zip(
        ("NOT PROTECTED: walk", "NOT SETTLED: 1.20 if", "", "and more"), lines, strict=True
    ):
        assert line.startswith(start)
    assert PICTURE["exceeded"] in lines[2]


EXPECTED = {
    Finding.EXCEEDED: "EXCEEDED",
    Finding.NOT_PROTECTED: "NOT PROTECTED: snow that no row holds comes down on walk",
    Finding.NOT_VERIFIED: "NOT VERIFIED",
}
PICTURE = {
    "exceeded": "of limit: rail height",
    "unprotected": "NOT PROTECTED: walk",
    "unverified": "NOT VERIFIED: rail deflection",
}
