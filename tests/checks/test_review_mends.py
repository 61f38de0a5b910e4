"""Small safeguards: overlapping grips, what no limit holds, a path that knows less than the check."""

from __future__ import annotations

import numpy as np
import pytest

from fea import analyze
from fea.checks.anchorage import StripLoads, anchorage_limit
from fea.rails.actions import GIVEN
from roofmodel import load_project
from roofmodel.errors import InputError
from tests.cli.small_project import GOOD, changed, two_rows
from tests.frame.rails import make_layout
from viewer.beyond import beyond_sentences

SEAM = """[seam]
lock = "double lock"
yield_strength = "280 MPa"
clip_stiffness = { across = "1 kN/mm", pull = "2 kN/mm" }
bearing = "deck"
through_fixings = ["1 m"]
temperature_change = "-40 K"

[rail]"""


def project(tmp_path, text):
    path = tmp_path / "project.toml"
    path.write_text(text)
    return load_project(path)


def test_rows_closer_than_a_grip_are_refused(tmp_path):
    with pytest.raises(InputError, match=r'row "R2".up: .* overlaps .* clamp.grip_length'):
        project(tmp_path, two_rows("R2", "0.63 m"))
    assert len(project(tmp_path, two_rows("R2", "0.7 m")).layout.row_name) == 2


def test_tiny_grips_are_refused(tmp_path):
    with pytest.raises(InputError, match="grip_length"):
        project(tmp_path, changed('grip_length = "60 mm"', 'grip_length = "1 mm"'))


def seamed():
    text = changed("[rail]", SEAM)
    return text.replace('thickness = "0.63 mm"', 'thickness = "0.63 mm"\nclip_spacing = "400 mm"')


def test_what_no_limit_holds_and_what_is_judged_is_said(tmp_path):
    text = seamed() + "\n[analysis]\npanel_flexibility = true\n"
    said = " ".join(analyze(project(tmp_path, text)).cautions)
    assert "No limit compares that force" in said
    for field in ("seam.lock_stiffness", "seam.bearing_stiffness", "seam.clip_first", "seam.fixed_stiffness"):
        assert field in said
    assert "seam.purlin_stiffness" not in said


def test_path_past_the_first_failure_names_the_reserve_that_comes_first(tmp_path):
    """Warmth at the screw uses up the anchorage: the reserve is smaller than the path's first event."""
    text = seamed().replace('anchorage = "9 kN"', 'anchorage = "4 kN"')
    found = analyze(project(tmp_path, text + "\n[analysis]\nbeyond_first_failure = true\n"))
    assert found.beyond is not None
    assert found.reserve[found.beyond.case] < 0.9 * found.beyond.first
    assert "own reserve" in " ".join(beyond_sentences(found))


def test_a_force_that_is_no_number_never_passes():
    layout = make_layout([{"length": 4.0, "clamps": [1.0, 3.0]}])
    force = np.full((1, 2, 2, 6), np.nan)
    none = np.zeros((1, 2))
    panel = type("P", (), {"anchorage": 1000.0})()
    limit = anchorage_limit(force, GIVEN, panel, layout, StripLoads(none, none, none))
    assert np.isnan(limit.utilization).any()
    assert limit.unverified.any()


def test_good_project_stays_good(tmp_path):
    assert analyze(project(tmp_path, GOOD)).cautions is not None


def test_a_temperature_that_leads_no_combination_is_told_until_it_is_covered(tmp_path):
    """EN 1990 Eq. 6.10 has two leading actions; the factor 1.5 on it with full snow covers both."""
    from tests.checks.projects import project as gable

    warm = gable(tmp_path, warm=-40)
    assert any("that it leads" in line for line in analyze(warm).cautions)
    assert not any("that it leads" in line for line in analyze(gable(tmp_path, warm=0)).cautions)
    path = tmp_path / "covered.toml"
    text = warm.path.read_text().replace("[design]", "[design]\nthermal_factor = 1.5")
    path.write_text(text)
    assert not any("that it leads" in line for line in analyze(load_project(path)).cautions)
