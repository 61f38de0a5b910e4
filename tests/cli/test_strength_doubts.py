"""Strengths, heights and stiffness that a clamp's own tests or rail speak against never pass in silence."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from small_project import EN, GOOD, US, put

from fea.analysis import analyze
from fea.doubts import project_doubts
from fea.strength_tests.fractiles import CHARACTERISTIC, design_factor, fractile_factor
from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.project.strength_doubts import stiff_notes, strength_doubts
from roofmodel.project.tested import tested_notes as notes_of
from roofmodel.units import SI, SYSTEMS
from viewer.summary import verdict

MEAN, SCATTER, TESTS = 5507.0, 0.0412, 8
TABLES = """
[clamp.tested]
seam_height = "50 mm"
metal = "steel"
thickness = "0.63 mm"
directions = {directions}
tests = 6

[[clamp.tested.series]]
direction = "along"
tests = {tests}
mean = "{mean} N"
scatter = {scatter}
{gives}
"""
ALL = '["along", "across", "pull", "push"]'
STRENGTH = next(line for line in GOOD.splitlines() if line.startswith("strength = "))


def text_of(along, kind='"characteristic"\nfactor = 1.33', directions=ALL, form="EN", **series):
    values = {"tests": TESTS, "mean": MEAN, "scatter": SCATTER, "gives": ""} | series
    text = GOOD.replace('strength_kind = "characteristic"\nfactor = 1.33', f"strength_kind = {kind}")
    own = f'strength = {{ along = "{along} N", across = "2 kN", pull = "4 kN", push = "5 kN" }}'
    assert STRENGTH in text
    return text.replace(STRENGTH, own) + TABLES.format(directions=directions, **values)


def doubted(folder, *given, **more):
    project = load_project(put(folder, text_of(*given, **more)))
    return strength_doubts(project.table.clamp, "EN", SI)


def test_a_strength_above_the_mean_of_its_tests_is_refused(tmp_path):
    load_project(put(tmp_path, text_of(0.99 * MEAN)))
    for along in (1.02 * MEAN, 10.0 * MEAN):
        with pytest.raises(
            InputError, match=r"clamp\.strength\.along: .* more than the mean of its own tests"
        ):
            load_project(put(tmp_path, text_of(along)))


@pytest.mark.parametrize("scatter", [0.03, 0.1, 0.2])
@pytest.mark.parametrize("tests", [3, 5, 8, 20])
def test_what_the_statistics_of_en_1990_give_is_never_doubted_and_a_bare_number_is(tmp_path, tests, scatter):
    """Fractiles of EN 1990 D7.2 and D7.3 with known and unknown scatter, of a lognormal sample."""
    s = math.sqrt(math.log1p(scatter**2))
    center = MEAN * math.exp(-0.5 * s**2)
    for known in (False, True):
        gives = f"known_scatter = {str(known).lower()}"
        series = {"tests": tests, "scatter": scatter, "gives": gives}
        held = center * math.exp(-float(fractile_factor(tests, known=known, fractile=CHARACTERISTIC)) * s)
        direct = center * math.exp(-float(design_factor(tests, known=known)) * s)
        assert not doubted(tmp_path, held, **series)
        assert not doubted(tmp_path, held / 1.25, '"design"', **series)
        if direct > 10.0:
            assert not doubted(tmp_path, min(direct, held), '"design"', **series)
        # The characteristic number without its factor.
        assert doubted(tmp_path, held, '"design"', **series) or known is False
    assert doubted(tmp_path, 0.999 * MEAN, **series)


def test_the_characteristic_number_as_an_allowable_one_is_doubted_and_that_of_aisi_is_not(tmp_path):
    held = MEAN * math.exp(-2.01 * SCATTER)
    table = load_project(put(tmp_path, text_of(held))).table.clamp
    for kind, form, along, wrong in (
        ("allowable", "ASD", held, True),
        ("allowable", "ASD", MEAN / 2.63, False),  # Omega of AISI S100 K2 for eight tests
        ("allowable", "ASD", 0.609 * MEAN, True),  # the LRFD number
        ("design", "LRFD", held, True),
        ("design", "LRFD", 0.609 * MEAN, False),
        ("design", "EN", held, True),
    ):
        strength = table.strength.model_copy(update={"along": along})
        own = table.model_copy(update={"strength": strength, "strength_kind": kind, "factor": None})
        assert bool(strength_doubts(own, form, SI)) is wrong, (kind, form, along)


def test_a_doubted_strength_keeps_a_check_from_passing(tmp_path):
    good = analyze(load_project(put(tmp_path, text_of(0.9 * MEAN))))
    bad = analyze(load_project(put(tmp_path, text_of(0.99 * MEAN))))
    assert not project_doubts(good.project, good.limits)
    assert "TOO HIGH" in " ".join(project_doubts(bad.project, bad.limits))
    assert "not verified" in [str(one) for one in bad.findings]
    said = verdict(bad, SI)
    assert "TOO HIGH for its own tests" in " ".join([said.sentence, *said.more])


@pytest.mark.parametrize(
    ("height", "outcome"), [(35, "fine"), (80, "fine"), (110, "doubt"), (300, "refused")]
)
def test_a_test_far_above_the_rail_is_doubted(tmp_path, height, outcome):
    """The rail's top lies 35 + 21 mm above the grip."""
    text = GOOD.replace('height = "35 mm"\n', f'height = "35 mm"\ntest_height = "{height} mm"\n')
    text = text.replace(', rocking = "1200 N*m/rad"', "")
    assert "test_height" in text
    path = put(tmp_path, text)
    if outcome == "refused":
        with pytest.raises(InputError, match=r"clamp\.test_height: 300.* far above the rail"):
            load_project(path)
        return
    project = load_project(path)
    found = project_doubts(project, ())
    assert any("clamp.test_height" in one for one in found) is (outcome == "doubt")


def test_newtons_for_kilonewtons_in_the_stiffness_are_doubted(tmp_path):
    assert not project_doubts(load_project(put(tmp_path, GOOD)), ())
    soft = load_project(put(tmp_path, GOOD.replace('along = "2.5 kN/mm"', 'along = "2.5 N/mm"')))
    assert any("clamp.stiffness.along" in one for one in project_doubts(soft, ()))
    assert not stiff_notes(soft.table.clamp, SI)
    stiff = load_project(put(tmp_path, GOOD.replace('along = "2.5 kN/mm"', 'along = "2500 kN/mm"')))
    assert "CHECK clamp.stiffness.along" in stiff_notes(stiff.table.clamp, SI)[0]


def test_a_direction_without_tests_counts_only_where_little_hangs_on_it(tmp_path):
    """The snow pushes the clamps onto the roof; a huge guess is no measure of itself."""
    text = text_of(0.9 * MEAN, directions='["along", "across", "pull"]')
    for push in ("5 kN", "190 kN"):
        found = analyze(load_project(put(tmp_path, text.replace('push = "5 kN"', f'push = "{push}"'))))
        most = max(one.demand.max() for one in found.limits if one.name == "clamp push")
        told = [one for one in project_doubts(found.project, found.limits) if "clamp.strength.push" in one]
        assert bool(told) is bool(most > 0.1 * min(found.project.clamp.strength[:3]))
        assert told


@pytest.mark.parametrize("bold", ["4 kN", "190 kN"])
@pytest.mark.parametrize("directions", ['["roll"]', '["pull"]'])
def test_where_no_tested_force_has_a_strength_none_passes_on_what_nobody_tested(tmp_path, directions, bold):
    """A tenth of the least force that was given is all that a guess may hold, however bold another is."""
    text = text_of(0.9 * MEAN, directions=directions).split("[[clamp.tested.series]]")[0]
    text = text.replace('pull = "4 kN", ', "" if "pull" in directions else f'pull = "{bold}", ')
    found = analyze(load_project(put(tmp_path, text.replace('across = "2 kN"', f'across = "{bold}"'))))
    most = max(one.demand.max() for one in found.limits if one.name == "clamp along the seam")
    given = found.project.clamp.strength[:4]
    assert most > 0.1 * np.nanmin(given)
    assert any("clamp.strength.along" in one for one in project_doubts(found.project, found.limits))
    assert found.project.clamp.nominal[0] == pytest.approx(0.9 * MEAN)  # not held down, and nobody says so
    (note,) = [
        one
        for one in notes_of(found.project.table.clamp, found.project.table.panel, SI, "EN")
        if "NOT TESTED" in one
    ]
    assert "as given" in note
    assert "quarter" not in note


def test_a_moment_without_tests_counts_and_is_judged_by_the_least_force_on_the_grip(tmp_path):
    """A quarter of 2 kN on 60 mm is 30 N m; a tenth may hang on it untested. A bold guess changes neither."""
    text = text_of(0.9 * MEAN).replace('pull = "4 kN"', 'pull = "4 kN", roll = "{roll}"')
    for roll, counts in (("5 kN m", 30.0), ("20 N m", 20.0)):
        project = load_project(put(tmp_path, text.replace("{roll}", roll)))
        assert project.clamp.nominal[3] == pytest.approx(5000.0)
        assert project.clamp.nominal[4] == pytest.approx(counts)
        least = 0.1 * 2000.0 / 1.33
        for share, told in ((0.99, False), (1.01, True)):
            demand = np.array([share * least * 0.06])
            limit = SimpleNamespace(name="clamp roll moment", demand=demand)
            found = project_doubts(project, [limit])
            assert any("clamp.strength.roll" in one for one in found) is told
        notes = notes_of(project.table.clamp, project.table.panel, SI, "EN")
        assert any("times the length of the grip" in one for one in notes)


def test_a_strength_above_what_its_tests_give_is_doubted_whoever_wrote_it(tmp_path):
    """By the number of the series where there is one, else by EN 1990 D7.2: k 2.00 of 8 tests, 3.37 of 3.

    exp(-(3.37 - 2.00) 0.0412) is 0.945.
    """
    held = MEAN * math.exp(-2.0 * math.sqrt(math.log1p(SCATTER**2)))
    assert not doubted(tmp_path, held)
    assert not doubted(tmp_path, 0.93 * held, tests=3)
    assert "MORE THAN ITS OWN TESTS GIVE" in doubted(tmp_path, 1.0 * held, tests=3)["clamp.strength.along"]
    for kind, gives in (('"characteristic"\nfactor = 1.33', "characteristic"), ('"design"', "design")):
        own = f'{gives} = "{0.7 * held} N"'
        assert not doubted(tmp_path, 0.7 * held, kind, gives=own)
        assert doubted(tmp_path, 0.72 * held, kind, gives=own)


@pytest.mark.parametrize(
    ("series", "wrong"),
    [
        ('tests = 6\nmean = "7.5 kN"\ncharacteristic = "3 kN"', True),  # no scatter
        ('tests = 6\ncharacteristic = "3 kN"', True),  # nothing else
        ('tests = 6\ndesign = "3 kN"', True),
        ('tests = 6\ndesign = "5.6 kN"', False),
        ('tests = 6\nmean = "7.5 kN"', True),  # no test scatters so little
        ('tests = 6\nmean = "7.5 kN"\nscatter = 0.0', True),
        ('tests = 1\nmean = "12 kN"\nscatter = 0.0\nknown_scatter = true', True),  # too few
        ('tests = 2\nmean = "12 kN"\nscatter = 0.03\nknown_scatter = true', True),
        ('tests = 3\nmean = "12 kN"\nscatter = 0.03\nknown_scatter = true', False),
        ('tests = 6\nmean = "9 kN"\nscatter = 0.05\ncharacteristic = "7.4 kN"\ndesign = "5.6 kN"', False),
    ],
)
def test_what_a_series_tells_is_held_against_whatever_else_it_leaves_out(tmp_path, series, wrong):
    """7.4 kN, characteristic, over 1.33 is 5.564 kN."""
    text = text_of(7400.0)
    at = text.index('direction = "along"\n') + len('direction = "along"\n')
    project = load_project(put(tmp_path, text[:at] + series + "\n"))
    assert any("clamp.strength.along" in one for one in project_doubts(project, ())) is wrong


@pytest.mark.parametrize(
    ("form", "kind", "factor", "gives", "wrong"),
    [
        ("EN", "characteristic", 1.33, {"characteristic": 5000.0, "design": 3760.0}, False),
        ("EN", "characteristic", 1.0, {"characteristic": 5000.0, "design": 3760.0}, True),
        ("EN", "nominal", 1.0, {"characteristic": 5000.0, "design": 3760.0}, True),
        ("EN", "design", None, {"characteristic": 4900.0}, True),
        ("ASD", "nominal", 2.5, {"asd": 1500.0}, True),
        ("ASD", "nominal", 2.5, {"asd": 2000.0}, False),
        ("ASD", "allowable", None, {"asd": 2000.0}, True),
        ("LRFD", "nominal", 0.6, {"lrfd": 2600.0}, True),
        ("LRFD", "nominal", 0.6, {"lrfd": 3000.0}, False),
        ("LRFD", "design", None, {"lrfd": 2600.0}, True),
    ],
)
def test_what_counts_in_design_is_held_against_the_number_of_its_format(
    tmp_path, form, kind, factor, gives, wrong
):
    """5 kN with its factor, whatever its kind: a factor of one gives no more than the tests do."""
    table = load_project(put(tmp_path, text_of(5000.0))).table.clamp
    (one,) = table.tested.series
    one = one.model_copy(update={"mean": None, "scatter": None, **gives})
    tested = table.tested.model_copy(update={"series": [one]})
    own = table.model_copy(update={"tested": tested, "strength_kind": kind, "factor": factor})
    assert bool(strength_doubts(own, form, SI)) is wrong


def test_another_height_of_the_load_than_in_the_tests_is_refused(tmp_path):
    text = text_of(0.9 * MEAN)
    assert 'height = "35 mm"\n' in text
    text = text.replace('height = "35 mm"\n', 'height = "35 mm"\ntest_height = "30 mm"\n', 1)
    text = text.replace(', rocking = "1200 N*m/rad"', "")
    for height, fine in (("30 mm", True), ("30.5 mm", True), ("20 mm", False), ("35 mm", False)):
        own = text.replace("tests = 6\n", f'tests = 6\nload_height = "{height}"\n', 1)
        if fine:
            load_project(put(tmp_path, own))
            continue
        with pytest.raises(InputError, match=r"clamp\.test_height: 30.*clamp\.tested\.load_height"):
            load_project(put(tmp_path, own))


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ('grip_length = "60 mm"', 'grip_length = "600 mm"', "clamp.grip_length"),
        ('\nheight = "35 mm"', '\nheight = "12 mm"', "clamp.height"),
    ],
)
def test_a_grip_too_long_and_a_rail_in_the_seams_are_doubted(tmp_path, old, new, field):
    assert old in GOOD
    fine = load_project(put(tmp_path, GOOD))
    assert not project_doubts(fine, ())
    bad = load_project(put(tmp_path, GOOD.replace(old, new)))
    (said,) = project_doubts(bad, ())
    assert said.startswith(field)


CLAMP_KIND = 'strength_kind = "characteristic"'
PANEL_KIND = 'anchorage_kind = "characteristic"'


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        (CLAMP_KIND, 'strength_kind = "nominal"', "clamp.strength_kind"),
        (PANEL_KIND, 'anchorage_kind = "nominal"', "panel.anchorage_kind"),
        (PANEL_KIND + "\n", "", "panel.anchorage_kind"),  # nominal by default
    ],
)
def test_a_mean_never_passes_as_a_characteristic_strength(tmp_path, old, new, field):
    """A mean lies above the 5 % fractile that gamma_M goes with, by 1.645 deviations or more (EN 1990 D7)."""
    analysis = analyze(load_project(put(tmp_path, GOOD)))
    assert project_doubts(analysis.project, analysis.limits) == ()
    assert GOOD.count(old) == 1
    analysis = analyze(load_project(put(tmp_path, GOOD.replace(old, new))))
    (words,) = project_doubts(analysis.project, analysis.limits)
    assert words.startswith(f'{field} is "nominal"')
    assert not analysis.passed
    said = verdict(analysis, SYSTEMS["SI"])
    assert "NOT VERIFIED" in said.words
    assert words in " ".join((said.sentence, *said.more))


def test_measured_snow_meets_strengths_as_they_are(tmp_path):
    """Why a row let go is asked with mean strengths, and is no design."""
    site = (
        'standard = "measured"\nlevel = "measured"\nlayers = [{ depth = "0.3 m", density = ["250 kg/m^3"] }]'
    )
    text = GOOD.replace(EN, site)
    for level, doubts in (("measured", 0), ("strength", 1)):
        given = text.replace(CLAMP_KIND, 'strength_kind = "nominal"').replace(
            'level = "measured"', f'level = "{level}"'
        )
        analysis = analyze(load_project(put(tmp_path, given)))
        assert len(project_doubts(analysis.project, analysis.limits)) == doubts


@pytest.mark.parametrize("form", ["ASD", "LRFD"])
def test_other_formats_refuse_characteristic_strengths(tmp_path, form):
    text = GOOD.replace('format = "EN"', f'format = "{form}"').replace(EN, US)
    with pytest.raises(InputError, match=r'strength_kind: "characteristic" strengths .* belong to format EN'):
        load_project(
            put(tmp_path, text.replace('anchorage = "9 kN"\n' + PANEL_KIND + "\nanchorage_factor = 1.33", ""))
        )
