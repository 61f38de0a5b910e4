"""Clamps whose grip reaches over the edge of their sheet."""

import numpy as np
import pytest
from projects import GABLE_EN, project

from fea.analysis import analyze
from fea.checks.grip_edges import grip_words, grips_at_edges

HALF = 0.03  # of the grip, clamp.grip_length [m]


def at(folder, up, **more):
    text = GABLE_EN.replace('up = "0.5 m"', f'up = "{up} mm"')
    for old, new in more.items():
        text = text.replace(old, new)
    return project(folder, text)


@pytest.mark.parametrize(("up", "all_over"), [(0, True), (25, True), (31, False), (500, False)])
def test_a_grip_lies_on_the_sheet_from_half_its_length_above_the_eave(tmp_path, up, all_over):
    found = at(tmp_path, up)
    over, near = grips_at_edges(found)
    inner = found.layout.clamp_uv[:, 0] > 0.5  # and not at the rakes
    inner &= found.layout.clamp_uv[:, 0] < found.layout.clamp_uv[:, 0].max() - 0.5
    assert inner.sum() > 20
    assert over[inner].all() == all_over
    assert over[inner].any() == all_over
    assert not near[inner].any()


def test_distance_to_rake_and_ridge_counts_too(tmp_path):
    found = at(tmp_path, 500)
    over, near = grips_at_edges(found)
    outline = found.roof.planes.outline[found.layout.row_plane[0]]
    low, _, high, top = outline.bounds
    u = found.layout.clamp_uv[:, 0]
    away = np.minimum(u - low, high - u)
    assert np.array_equal(over, away < 1e-3)
    assert np.array_equal(near, (away >= 1e-3) & (away < HALF - 1e-3))
    assert grips_at_edges(at(tmp_path, int(1000 * top) - 10))[0].all()


def test_the_answer_says_it_in_one_line(tmp_path):
    words = [line for line in analyze(at(tmp_path, 0)).cautions if "reaches over" in line]
    assert len(words) == 1
    assert "of R1" in words[0]
    assert 'clamp_edge_distance = "30.0 mm"' in words[0]  # half of the grip
    back = at(tmp_path, 500, **{'up = "500 mm"': 'up = "500 mm"\nedge_distance = "300 mm"'})
    assert grip_words(back) == []


def long_grips(folder, clear="", roof="gable"):
    """Grips of 900 mm, so that the outermost seams have no room."""
    text = GABLE_EN.replace('grip_length = "60 mm"', 'grip_length = "900 mm"')
    if roof == "hip":
        text = text.replace('shape = "gable"', 'shape = "hip"').replace(
            'pitches = ["25 deg", "gable", "25 deg", "gable"]', 'pitch = "25 deg"'
        )
    return project(folder, text, row=f'clamp_edge_distance = "{clear}"' if clear else "")


def test_what_the_answer_says_to_do_takes_those_clamps_and_no_others(tmp_path):
    """Seams nearer to a rake than half a grip get no clamp; rail and all other clamps stay where they are."""
    before = long_grips(tmp_path)
    bad = np.logical_or(*grips_at_edges(before))
    assert 0 < bad.sum() < len(bad)
    after = long_grips(tmp_path, "450 mm")
    assert 'clamp_edge_distance = "450.0 mm"' in grip_words(before)[0]
    assert grip_words(after) == []
    assert after.layout.clamp_uv == pytest.approx(before.layout.clamp_uv[~bad])
    assert after.layout.row_start == pytest.approx(before.layout.row_start)
    assert after.layout.row_end == pytest.approx(before.layout.row_end)


def test_at_a_slanting_edge_the_distance_is_square_to_it(tmp_path):
    """A hip of 45 degrees on plan goes 1 across for 1 / cos p up a slope of p: elementary geometry."""
    known = [long_grips(tmp_path, clear, "hip") for clear in ("", "350 mm")]
    slope = np.radians(25.0)
    before, after = (one.layout.clamp_uv[:, 0] for one in known)
    left, right = known[0].layout.row_start[0, 0], known[0].layout.row_end[0, 0]
    away = np.minimum(before - left, right - before) / np.sqrt(1.0 + np.cos(slope) ** 2)
    kept = before[(away >= 0.35) & (known[0].layout.clamp_uv[:, 1] > 0.35)]
    assert after == pytest.approx(kept)
    assert 0 < len(kept) < len(before)
