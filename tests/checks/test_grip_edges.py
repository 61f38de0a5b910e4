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
    assert "move the row" in words[0]
    back = at(tmp_path, 500, **{'up = "500 mm"': 'up = "500 mm"\nedge_distance = "300 mm"'})
    assert grip_words(back) == []
