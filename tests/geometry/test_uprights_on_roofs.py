"""Chimneys of surveys, and what a survey shows that no plane explains."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import Delaunay

from roofmodel.errors import InputError
from roofmodel.shape.recognition import recognize

PITCH = np.tan(np.radians(30.0))
TURN = np.array([[np.cos(0.4), np.sin(0.4)], [-np.sin(0.4), np.cos(0.4)]])
AREA = 160.0 / np.cos(np.radians(30.0))
MIDDLE = np.array([5.0, 2.5])


def gable(xy):
    return 4.0 + np.minimum(xy[:, 1], 10.0 - xy[:, 1]) * PITCH


def with_chimney(width, top):
    def height(xy):
        inside = (np.abs(xy - MIDDLE) < 0.5 * width).all(axis=1)
        return np.where(inside, top, gable(xy))

    return height


def survey(height, density, seed):
    """A roof of 16 by 10 m, turned, with 3 cm of noise and points along its rim."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0.0, [16.0, 10.0], (160 * density, 2))
    x, y = (np.arange(0.0, end, 1.0 / np.sqrt(density)) for end in (16.0, 10.0))
    rim = [[x, 0 * x], [x, 0 * x + 10.0], [0 * y, y], [0 * y + 16.0, y], [[16.0], [10.0]]]
    xy = np.vstack([xy, *(np.column_stack(one) for one in rim)])
    z = height(xy) + rng.normal(0.0, 0.03, len(xy))
    return np.column_stack([xy @ TURN, z]), Delaunay(xy).simplices


@pytest.mark.parametrize(("width", "top", "seed"), [(0.6, 7.5, 57), (1.0, 7.5, 56), (1.2, 7.5, 51)])
def test_a_chimney_wins_no_break(width, top, seed):
    """Its few points, 2 m above the roof, once made one steep plane of a gable."""
    roof = recognize(*survey(with_chimney(width, top), 10, seed))
    assert np.degrees(roof.planes.slope) == pytest.approx([30.0, 30.0], abs=0.2)
    assert roof.planes.true_area.sum() == pytest.approx(AREA, rel=0.03)


@pytest.mark.parametrize("width", [0.8, 1.2, 1.6])
@pytest.mark.parametrize("density", [8, 20])
@pytest.mark.parametrize("seed", range(4))
def test_chimneys_of_surveys_are_boxes_or_said(width, density, seed):
    points, faces = survey(with_chimney(width, 7.5), density, seed)
    roof = recognize(points, faces)
    assert roof.planes.count == 2
    own = np.flatnonzero((np.abs(points[:, :2] @ TURN.T - MIDDLE) < 0.5 * width).all(axis=1))
    if roof.found is None or not roof.found.count:
        assert len(own) < 9
        assert any("in no plane" in note or "more measured points" in note for note in roof.notes)
        return
    assert roof.found.count == 1
    foot = (roof.found.start[:, :2] + roof.offset[:2]) @ TURN.T
    inside = points[own, :2] @ TURN.T
    assert (foot.min(axis=0) <= inside.min(axis=0)).all()
    assert (foot.max(axis=0) >= inside.max(axis=0)).all()
    assert np.ptp(foot, axis=0) == pytest.approx([width, width], abs=1.2 / np.sqrt(density))
    downhill = 7.5 - (4.0 + (2.5 - 0.5 * width) * PITCH)
    assert roof.found.height[0] == pytest.approx(downhill, abs=0.1 + 0.35 / np.sqrt(density))
    assert any("obstruction 1" in note for note in roof.notes)


def test_a_plain_survey_has_nothing_standing():
    for seed in range(4):
        roof = recognize(*survey(gable, 8, seed))
        assert roof.found is None or not roof.found.count
        assert not any("in no plane" in note or "measured points" in note for note in roof.notes)


def test_points_without_a_plane_are_told_with_their_place():
    """A pit of 1 m2, 1.5 m deep: no chimney, no plane, but said."""
    roof = recognize(*survey(with_chimney(1.0, 4.0), 20, 3))
    note = next(note for note in roof.notes if "in no plane" in note)
    spot = [float(word) for word in (note.split("x ")[1].split(",")[0], note.split("y ")[1].split(" m")[0])]
    assert np.array(spot) @ TURN.T == pytest.approx(MIDDLE, abs=0.3)
    assert "below" in note


def test_a_survey_with_much_off_its_planes_is_refused():
    """Trees: a tenth of the points stand metres above the roof, each on its own."""
    points, faces = survey(gable, 10, 1)
    rng = np.random.default_rng(5)
    high = rng.choice(len(points), len(points) // 12, replace=False)
    points[high, 2] += rng.uniform(1.0, 3.0, len(high))
    with pytest.raises(InputError, match="not understood as a roof"):
        recognize(points, faces)
