"""Clamps whose stiffness against tipping nobody gave: tables hold for all that it may be."""

import re
from pathlib import Path

import numpy as np
import pytest

from fea.spans.lines import Arrangement, lines_of
from fea.spans.rows import solve_rows
from fea.spans.study import run_study, study_hardware, study_roof
from roofmodel.hardware import UPRIGHT
from roofmodel.project.span_study import load_study
from roofmodel.units import SYSTEMS
from viewer.span.conditions import _stiffness

MODEL = Path(__file__).parents[2] / "models" / "cove-rails" / "spans.toml"
GIVEN = ', rocking = "10 kN*m/rad"'
ALONG, HEIGHT = 2.6e6, 0.060  # of the model: no softer than its stiffness along at that height [N/m, m]


def study(folder, rocking, arrangements='"two spans", "with overhangs"'):
    text = MODEL.read_text()
    assert GIVEN in text
    text = text.replace(GIVEN, "" if rocking is None else f', rocking = "{rocking}"')
    text = text.replace("6.8 to 7.6 kN", "6.8 kN")
    text = re.sub(r"arrangements = \[[^\]]*\]", f"arrangements = [{arrangements}]", text)
    text = re.sub(r"spans = \[[^\]]*\]", 'spans = ["0.4 m", "0.8 m", "2.4 m"]', text)
    path = folder / "spans.toml"
    path.write_text(text)
    return load_study(path)


def moments(study, variant):
    """Forces along and moments about the grip of three clamps under two loaded spans."""
    hardware = study_hardware(study, study.variants[variant], 1)
    lines = lines_of(Arrangement.TWO, many=5, overhang=0.25, unloaded=1.0, splice=None)
    rows = solve_rows(study_roof(study), lines, np.full(len(lines), 0.8), hardware)
    given = rows.layout.clamp_row == 0
    return rows.grows.clamp[0, given, 0], rows.grows.clamp[0, given, 4]


def test_a_clamp_that_does_not_tip_keeps_its_own_moment(tmp_path):
    """Force times height, as no torsion runs along the rail; one that tips hands on, nothing is lost."""
    one = study(tmp_path, None)
    height = one.variants[0].clamp.height
    force, moment = moments(one, 1)
    assert np.abs(moment) == pytest.approx(np.abs(force) * height, rel=2e-3)
    force, soft = moments(one, 0)
    assert np.abs(soft.sum()) == pytest.approx(np.abs(force.sum()) * height, rel=1e-6)
    assert np.abs(soft[1]) < 0.9 * np.abs(force[1]) * height


def test_nothing_given_is_the_worst_of_both_ends_and_of_all_between(tmp_path):
    default = ALONG * HEIGHT**2
    open_ = run_study(study(tmp_path, None))
    ends = [run_study(study(tmp_path, f"{k} N*m/rad")) for k in (default, 1e8)]
    between = [run_study(study(tmp_path, f"{k} N*m/rad")) for k in (8e3, 5e4)]
    for rail, one in enumerate(open_.rails):
        low, high = (end.rails[rail].low for end in ends)
        assert one.low == pytest.approx(np.minimum(low, high), rel=1e-9)
        assert one.tipping == pytest.approx(low, rel=1e-9)
        for inner in between:
            assert (one.low <= inner.rails[rail].low * 1.001).all()
    shares = np.concatenate([(one.low / one.tipping).ravel() for one in open_.rails])
    assert shares.min() < 0.85
    note = next(one for one in open_.notes if one.startswith("clamp.stiffness.rocking"))
    assert f"up to {100.0 * (1.0 - shares.min()):.0f} % off" in note
    assert f"{default / 1e3:.2f} kN·m/rad" in note


def test_a_given_value_stands_alone(tmp_path):
    one = study(tmp_path, "10 kN*m/rad")
    assert len(one.variants) == 1
    assert one.variants[0].clamp.stiffness[4, 4] == pytest.approx(10e3)
    assert one.ranges == ()
    narrow = study(tmp_path, "10 to 40 kN*m/rad")
    assert [v.clamp.stiffness[4, 4] for v in narrow.variants] == pytest.approx([25e3, 10e3, 40e3])
    assert not any(note.startswith("clamp.stiffness.rocking") for note in run_study(narrow).notes)


def test_one_that_contradicts_the_stiffness_along_holds_for_clamps_that_do_not_tip_too(tmp_path):
    least = ALONG * HEIGHT**2
    doubted = run_study(study(tmp_path, "4 to 40 kN*m/rad"))
    assert [v.clamp.stiffness[4, 4] for v in doubted.study.variants] == pytest.approx(
        [22e3, 4e3, 40e3, UPRIGHT]
    )
    assert _stiffness(doubted, SYSTEMS["SI"]).count("40.0 kN·m/rad") == 1
    assert "1e" not in _stiffness(doubted, SYSTEMS["SI"])
    assert " to no tipping" in _stiffness(doubted, SYSTEMS["SI"])
    ends = [run_study(study(tmp_path, f"{k!r} N*m/rad")) for k in (22e3, 40e3, 1e8)]
    for rail, one in enumerate(doubted.rails):
        assert (one.low <= np.min([end.rails[rail].low for end in ends], axis=0) * (1.0 + 1e-9)).all()
    note = next(one for one in doubted.notes if one.startswith("clamp.stiffness.rocking"))
    assert "CONTRADICTS clamp.stiffness.along" in note
    assert f"= {least / 1e3:.2f} kN·m/rad" in note
