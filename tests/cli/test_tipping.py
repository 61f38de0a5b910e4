"""A check without a measured stiffness against tipping counts clamps that do not tip, too."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from small_project import GOOD, changed, command, put

from fea.analysis import analyze
from roofmodel.hardware import upright
from roofmodel.project.load import load_project
from roofmodel.units import SYSTEMS
from viewer import style
from viewer.package.bill import warning
from viewer.picture.overlay import verdict as in_picture
from viewer.picture.scene import build_scene
from viewer.summary import EXCEEDED, NOT_SETTLED, verdict

STARTS = "clamp.stiffness.rocking"
GIVEN = ', rocking = "1200 N*m/rad"'


def written(rocking=None, text=GOOD):
    """The project with another stiffness against tipping, or none."""
    assert GIVEN in text
    return text.replace(GIVEN, "" if rocking is None else f', rocking = "{rocking}"')


def analysis(folder, rocking=None, text=GOOD):
    return analyze(load_project(put(folder, written(rocking, text))))


def sized(folder, use, of):
    """The project, all strengths scaled so that the most used clamp of the analysis `of` is at `use`."""
    scale = float(most(of) / use)
    old = 'strength = { along = "7 kN", across = "3 kN", pull = "4 kN", push = "6 kN" }'
    assert old in GOOD
    new = ", ".join(
        f'{name} = "{kn * scale!r} kN"'
        for name, kn in (("along", 7.0), ("across", 3.0), ("pull", 4.0), ("push", 6.0))
    )
    text = GOOD.replace(old, f"strength = {{ {new} }}")
    text = text.replace('yield_strength = "200 MPa"', 'yield_strength = "200 MPa"\ndeflection_ratio = 50')
    return text.replace('format = "EN"', 'format = "EN"\nrail_height_ratio = 0.01')


def told(found):
    return [caution for caution in found.cautions if caution.startswith(STARTS)]


def most(found):
    limit = next(one for one in found.limits if one.name == "clamp combined")
    return float(np.nanmax(limit.utilization))


def test_what_is_told_is_what_a_check_of_stiff_clamps_finds(tmp_path):
    soft, stiff = analysis(tmp_path), analysis(tmp_path, "100000 kN*m/rad")
    (words,) = told(soft)
    shares = [float(one) for one in re.findall(r"([\d.]+) %", words)]
    assert shares == pytest.approx([100.0 * most(soft), 100.0 * most(stiff)], abs=0.051)
    assert most(stiff) > most(soft) + 0.02
    assert ("MORE THAN IT HOLDS" in words) is (most(stiff) > 1.0)
    assert not told(stiff)


def test_clamps_that_do_not_tip_keep_force_times_height(tmp_path):
    """No torsion runs along the rail; the soft ones share the same sum of moments otherwise."""
    text = GOOD
    found = analysis(tmp_path, None, text)
    project = replace(found.project, clamp=upright(found.project.clamp))
    firm = analyze(project)
    axis = np.abs(firm.clamp_force[0, 0, :, 4])
    height = project.clamp.height
    assert axis == pytest.approx(np.abs(firm.clamp_force[0, 0, :, 0]) * height, rel=0.02, abs=1.0)
    soft = np.abs(found.clamp_force[0, 0, :, 4])
    assert soft.sum() == pytest.approx(axis.sum(), rel=0.01)
    assert np.ptp(soft) < np.ptp(axis)


def test_a_measured_stiffness_is_taken_as_it_is(tmp_path):
    default = analysis(tmp_path)
    k = float(default.project.clamp.stiffness[4, 4])
    same = analysis(tmp_path, f"{k!r} N*m/rad")
    assert most(same) == pytest.approx(most(default), rel=1e-9)
    assert told(default)
    assert not told(same)


def spliced(torsion):
    """Clamps at every third seam, and a splice close to one of them."""
    text = changed('up = "0.6 m"', 'up = "0.6 m"\nevery = 3\nsplice_every = "3.3 m"')
    return changed("[rail]", f'[rail]\nsplice_torsion = "{torsion}"', text)


def test_splices_that_may_turn_are_looked_at_both_ways(tmp_path):
    """A clamp that does not tip keeps the torsion of its piece: all of it where the splice passes none."""
    firm = [most(analysis(tmp_path, "100000 kN*m/rad", spliced(kind))) for kind in ("passed", "free")]
    assert firm[1] > 1.05 * firm[0]
    (words,) = told(analysis(tmp_path, None, spliced("unknown")))
    shares = [float(one) for one in re.findall(r"([\d.]+) %", words)]
    assert shares[-1] == pytest.approx(100.0 * firm[1], abs=0.051)


def test_what_exceeds_without_tipping_does_not_pass_and_a_given_stiffness_does(tmp_path):
    soft, stiff = analysis(tmp_path), analysis(tmp_path, "100000 kN*m/rad")
    halfway = np.sqrt(most(stiff) / most(soft))
    text = sized(tmp_path, 1.0 / halfway, soft)
    open_ = analysis(tmp_path, None, text)
    assert most(open_) < 1.0 < open_.unsettled.stiff == pytest.approx(halfway, rel=1e-3)
    assert not open_.exceeded
    assert not open_.unverified
    assert not open_.passed
    given = analysis(tmp_path, "1200 N*m/rad", text)
    assert most(given) == pytest.approx(most(open_), rel=1e-9)
    assert given.tipping is None
    assert given.passed
    firm = analysis(tmp_path, "100000 kN*m/rad", text)
    assert firm.exceeded
    assert firm.unsettled is None


def test_the_verdict_names_the_field_and_the_use_in_one_line(tmp_path):
    text = sized(tmp_path, 0.99, analysis(tmp_path))
    open_ = analysis(tmp_path, None, text)
    said = verdict(open_, SYSTEMS["SI"])
    use = f"{100.0 * open_.unsettled.stiff:.0f} %"
    line = f"clamps that do not tip would use {use} ({open_.unsettled.stiff_at})"
    assert said.words == (NOT_SETTLED,)
    assert said.sentence.startswith(f"NOT SETTLED: {line}; give clamp.stiffness.rocking, measured.")
    assert not said.passed
    assert NOT_SETTLED in warning(open_).upper()
    (first, color), *rest = in_picture(open_, build_scene(open_))
    assert first.startswith(f"NOT SETTLED: {style.utilization_text(open_.unsettled.stiff)} if clamps")
    assert color == style.EXCEEDED_ANCHORS[0]
    assert rest[0][0] == "give clamp.stiffness.rocking, measured"
    assert not any("within their limits" in words for words, _ in rest)


def test_where_clamps_that_do_not_tip_keep_all_limits_the_verdict_is_as_before(tmp_path):
    text = sized(tmp_path, 0.98, analysis(tmp_path, "100000 kN*m/rad"))
    open_ = analysis(tmp_path, None, text)
    assert open_.tipping.stiff == pytest.approx(0.98, rel=1e-3)
    assert told(open_)
    assert open_.unsettled is None
    assert open_.passed
    assert verdict(open_, SYSTEMS["SI"]) == replace(
        verdict(analysis(tmp_path, "1200 N*m/rad", text), SYSTEMS["SI"]), cautions=open_.cautions
    )


def test_what_exceeds_anyway_says_exceeded(tmp_path):
    open_ = analysis(tmp_path, None, sized(tmp_path, 1.05, analysis(tmp_path)))
    assert open_.unsettled is None
    assert verdict(open_, SYSTEMS["SI"]).words == (EXCEEDED,)


def test_check_ends_with_1_and_the_line_stands_in_all_that_it_writes(tmp_path):
    text = sized(tmp_path, 0.99, analysis(tmp_path))

    def check(rocking, out):
        put(tmp_path, written(rocking, text))
        return command("check", "project.toml", "--out", out, "--no-picture", folder=tmp_path)

    ran = check(None, "out")
    assert ran.returncode == 1
    flat = " ".join(ran.stdout.split())
    assert "NOT SETTLED" in flat
    assert "give clamp.stiffness.rocking, measured" in flat
    assert "EVERY LIMIT KEPT" not in flat.upper()
    found = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    assert found["verdict"] == "not settled"
    assert "give clamp.stiffness.rocking, measured" in found["not_settled"]
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "NOT SETTLED" in page
    assert check("1200 N*m/rad", "given").returncode == 0
    found = json.loads((tmp_path / "given" / "results.json").read_text(encoding="utf-8"))
    assert found["verdict"] == "pass"
    assert found["not_settled"] == ""


HIGH = changed('height = "35 mm"\ngrip', 'height = "35 mm"\ntest_height = "35 mm"\ngrip')
LEAST = 2.5e6 * 0.035**2  # what the stiffness along the seam says of tipping [N m/rad]


def test_a_stiffness_that_contradicts_the_one_along_is_told_with_its_bound(tmp_path):
    low, right = analysis(tmp_path, "1200 N*m/rad", HIGH), analysis(tmp_path, f"{LEAST!r} N*m/rad", HIGH)
    none = analysis(tmp_path, None, HIGH)
    (words,) = told(low)
    assert "1.20 kN·m/rad, CONTRADICTS clamp.stiffness.along" in words
    assert f"clamp.stiffness.along x clamp.test_height^2 = {LEAST / 1e3:.2f} kN·m/rad" in words
    assert low.tipping.stiff == none.tipping.stiff > 1.002 * most(right) > 1.004 * low.tipping.soft
    assert not told(right)
    assert right.tipping is None


def test_a_number_that_cannot_be_passes_nothing_that_none_would_not(tmp_path):
    """All strengths so that the bound keeps them and clamps that do not tip exceed."""
    none, right = analysis(tmp_path, None, HIGH), analysis(tmp_path, f"{LEAST!r} N*m/rad", HIGH)
    text = sized(tmp_path, np.sqrt(most(right) / none.tipping.stiff), right)
    text = text.replace('height = "35 mm"\ngrip', 'height = "35 mm"\ntest_height = "35 mm"\ngrip')
    assert analysis(tmp_path, f"{LEAST!r} N*m/rad", text).passed
    assert not analysis(tmp_path, None, text).passed
    open_ = analysis(tmp_path, "1200 N*m/rad", text)
    assert not open_.exceeded
    assert not open_.passed
    said = verdict(open_, SYSTEMS["SI"])
    assert said.words == (NOT_SETTLED,)
    assert "measure clamp.stiffness.rocking and along again. With the number given, R1" in said.sentence
    assert in_picture(open_, build_scene(open_))[0][0].endswith("if clamps do not tip")


def test_without_a_number_the_default_is_no_softer_than_the_stiffness_along_allows(tmp_path):
    low = float(analysis(tmp_path, None, HIGH).project.clamp.stiffness[4, 4])
    assert low == pytest.approx(LEAST)
    assert float(analysis(tmp_path).project.clamp.stiffness[4, 4]) == pytest.approx(4e6 * 0.06**2 / 12.0)


def test_a_number_in_another_unit_is_refused(tmp_path):
    put(tmp_path, written("1200 N*mm/rad", HIGH))
    ran = command("check", "project.toml", folder=tmp_path)
    assert ran.returncode == 2
    line = " ".join((ran.stdout + ran.stderr).split())
    assert "project.toml: clamp.stiffness.rocking: it is 2,552 times less than" in line
    assert "3.06 kN·m/rad" in line
