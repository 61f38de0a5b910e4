"""Strengths go where they were tested: another panel is refused, the rest is told."""

import pytest
from small_project import EN, GOOD, US, changed, put

from fea.analysis import analyze
from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.project.tested import tested_notes as notes_of
from roofmodel.units import SI

TESTED = """
[clamp.tested]
seam_height = "50 mm"
metal = "steel"
thickness = "0.63 mm"
directions = ["along", "across", "pull", "push"]
tests = 6
"""


def project(tmp_path, text):
    return load_project(put(tmp_path, text))


def with_tested(old="", new=""):
    text = GOOD + TESTED
    return text.replace(old, new, 1) if old else text


def test_the_tested_panel_is_taken_and_told(tmp_path):
    found = analyze(project(tmp_path, with_tested()))
    assert any("tested on steel 0.63 mm" in line and "6 tests" in line for line in found.cautions)
    assert not any("UNSUPPORTED" in line for line in found.cautions)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('metal = "steel"\nthickness', 'metal = "aluminum"\nthickness', "clamp.tested.metal"),
        ('[clamp.tested]\nseam_height = "50 mm"', '[clamp.tested]\nseam_height = "32 mm"', "seam_height"),
        ('thickness = "0.63 mm"\ndirections', 'thickness = "0.8 mm"\ndirections', "clamp.tested.thickness"),
    ],
)
def test_another_panel_is_refused(tmp_path, old, new, says):
    with pytest.raises(InputError) as caught:
        project(tmp_path, with_tested(old, new))
    assert says in str(caught.value)
    assert "tested on this panel" in str(caught.value)


def test_directions_and_few_tests_are_marked(tmp_path):
    text = with_tested('"across", ', "").replace("tests = 6", "tests = 2")
    found = analyze(project(tmp_path, text)).cautions
    assert any("UNSUPPORTED" in line and "across" in line for line in found)
    assert any("UNSUPPORTED" in line and "scatter" in line for line in found)


@pytest.mark.parametrize(
    ("substrate", "torque", "says"),
    [
        ("steel deck", "13 N*m", ""),
        ("Steel deck", "13.9 N*m", ""),
        (
            "purlins",
            "13 N*m",
            "UNSUPPORTED: the clamp strengths were tested on steel deck, but",
        ),
        ("steel deck", "18 N*m", "UNSUPPORTED: the clamp strengths were tested with screws at 13"),
        ("", "13 N*m", "panel.substrate is not given"),
        ("steel deck", "", "clamp.screw_torque is not given"),
    ],
)
def test_another_substrate_or_torque_is_told(tmp_path, substrate, torque, says):
    text = GOOD + TESTED + 'substrate = "steel deck"\nscrew_torque = "13 N*m"\n'
    if substrate:
        text = text.replace("[panel]\n", f'[panel]\nsubstrate = "{substrate}"\n', 1)
    if torque:
        text = text.replace("[clamp]\n", f'[clamp]\nscrew_torque = "{torque}"\n', 1)
    table = project(tmp_path, text).table
    notes = notes_of(table.clamp, table.panel, SI, "EN")[1:]
    assert [says in note for note in notes] == ([True] if says else [])


def test_screws_tightened_less_than_in_the_tests_are_refused(tmp_path):
    """Loose screws are a cause of weak clamps; a tenth less is what usual wrenches do."""
    text = (GOOD + TESTED + 'screw_torque = "13 N*m"\n').replace(
        "[clamp]\n", '[clamp]\nscrew_torque = "11.8 N*m"\n', 1
    )
    assert project(tmp_path, text)
    with pytest.raises(InputError, match=r"clamp\.screw_torque: 8.* less than in the tests .*13"):
        project(tmp_path, text.replace("11.8 N*m", "8 N*m"))


def test_a_thicker_sheet_is_told(tmp_path):
    text = changed('thickness = "0.63 mm"', 'thickness = "0.8 mm"') + TESTED
    assert any("thicker" in line for line in analyze(project(tmp_path, text)).cautions)


SERIES = """
[[clamp.tested.series]]
direction = "along"
tests = 6
mean = "9 kN"
scatter = 0.05
stiffness = {ends}
"""


@pytest.mark.parametrize(
    ("ends", "says"),
    [
        ('["2.5 kN/mm"]', ""),
        ('["4 kN/mm", "8.5 kN/mm"]', "along, 2.50 kN/mm, is not what its tests gave, 4.00 kN/mm to 8.50"),
        ('["2 kN/mm", "4 kN/mm"]', "along, 2.50 kN/mm, is a part of what its tests gave, 2.00 kN/mm to 4"),
    ],
)
def test_a_stiffness_that_is_not_what_tests_gave_is_told(tmp_path, ends, says):
    found = analyze(project(tmp_path, GOOD + TESTED + SERIES.format(ends=ends))).cautions
    typed = " ".join(line for line in found if line.startswith("Typed by hand"))
    assert says in typed
    assert ("clamp.stiffness.along" in typed) is bool(says)
    assert ("takes the worse end with the tested range" in typed) is ("part of" in says)


MEASURED = (
    'standard = "measured"\nlevel = "measured"\n[[site.layers]]\ndepth = "0.5 m"\ndensity = ["200 kg/m^3"]'
)


@pytest.mark.parametrize(
    ("site", "form", "clamp", "told"),
    [
        (US, "ASD", "1.0", "clamp.factor, rail.resistance_factor"),
        (US, "LRFD", "1.0", "clamp.factor, rail.resistance_factor"),
        (US, "ASD", "2.0", "rail.resistance_factor"),
        (MEASURED, "ASD", "1.0", None),
        (EN, "EN", "1.0", None),
    ],
)
def test_factors_of_1_are_told_where_loads_are_for_design(tmp_path, site, form, clamp, told):
    """ASD wants Omega, LRFD phi; 1 is the factor of steel in EN, and of what is looked into as it lay."""
    text = GOOD.replace(EN, site).replace('format = "EN"', f'format = "{form}"')
    text = text.replace('kind = "characteristic"', 'kind = "nominal"')
    text = changed("anchorage_factor = 1.33", f"anchorage_factor = {0.5 if form == 'LRFD' else 2.0}", text)
    text = changed("\nfactor = 1.33", f"\nfactor = {clamp}", text)
    text = changed('"200 MPa"', '"200 MPa"\nresistance_factor = 1.0', text)
    found = [one for one in analyze(project(tmp_path, text)).cautions if "NO SAFETY FACTOR" in one]
    assert len(found) == (told is not None)
    assert told is None or f"1 is given as {told}, so loads of format {form}" in found[0]


def test_a_height_of_the_load_that_no_test_tells_is_to_be_checked(tmp_path):
    series = '\n[[clamp.tested.series]]\ndirection = "along"\ntests = 6\n'
    text = changed('height = "35 mm"\n', 'height = "35 mm"\ntest_height = "30 mm"\n').replace(
        ', rocking = "1200 N*m/rad"', ""
    )
    for more, told in (("", True), ('load_height = "30 mm"\n', False)):
        table = project(tmp_path, text + TESTED + more + series).table
        notes = notes_of(table.clamp, table.panel, SI, "EN")
        assert any("CHECK clamp.test_height" in note for note in notes) is told
