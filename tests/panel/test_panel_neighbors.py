"""How many strips of a row's clamps are modeled, and what that is worth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from panels import CLAMP, DETAIL, PANEL, make_layout

from fea.clamp_detail import END_STRIPS, MOST_STRIPS, strips_between
from fea.panel.study import SeamAction, SeamStudy, study_seam
from roofmodel.hardware import Bearing


@pytest.mark.parametrize(
    ("seams", "clamp", "every", "strips", "said"),
    [
        ([3, 4, 5, 6], 1, 1, 1, ""),
        ([3, 5, 7], 1, 2, 2, ""),
        ([3, 4, 7], 1, 3, 3, ""),  # the farther neighbor counts
        ([3, 4, 5], 0, 1, END_STRIPS, "R1-3 ends its row"),
        ([3, 4, 5], 2, 1, END_STRIPS, "R1-5 ends its row"),
        ([0, 4, 8], 2, 4, 4, ""),
        ([0, 8, 16], 1, 8, MOST_STRIPS, "8 seams from a neighbor"),
        ([7], 0, 1, MOST_STRIPS, "R1-7 is alone in its row"),
    ],
)
def test_strips_follow_the_clamps_of_the_row(seams, clamp, every, strips, said):
    found = strips_between(make_layout([(0.5, seams, 0.0)]), clamp)
    assert found[:2] == (every, strips)
    assert bool(found[2]) == bool(said)
    assert all(said in note and f"every {strips} seams" in note for note in found[2])


def test_clamps_of_other_rows_are_no_neighbors():
    layout = make_layout([(0.5, [7], 0.0), (1.5, [6, 7, 8], 0.0)])
    assert strips_between(layout, 0)[1] == MOST_STRIPS
    assert strips_between(layout, 2)[1] == 1


def _study(strips: int, bearing: Bearing) -> SeamStudy:
    detail = replace(DETAIL, bearing=bearing, pan_ribs=0)
    action = SeamAction(np.array([3e3, 0.0, 600.0, 0.0, 250.0, 0.0]), 500.0, np.array([0.3, 0.0, -0.95]))
    return study_seam(PANEL, detail, CLAMP, action, place=1.3, length=6.0, every=strips, refine=0.25)


def _numbers(study: SeamStudy) -> np.ndarray:
    return np.array([study.path.clip_uplift, study.path.anchorage, study.fold.peak_pull, *study.peaks.stress])


@pytest.mark.slow
@pytest.mark.parametrize("bearing", [Bearing.DECK, Bearing.NONE])
def test_strips_without_clamps_stand_for_neighbors_that_are_not_there(bearing):
    """An end clamp is at least halfway from clamps on all seams to none near; more strips change little."""
    crowd, end, far, farther = (
        _numbers(_study(n, bearing)) for n in (1, END_STRIPS, MOST_STRIPS, MOST_STRIPS + 2)
    )
    pull, pan, legs = 2, 3, 4
    for one in (pull, pan, legs):
        assert end[one] > 0.99 * 0.5 * (crowd[one] + far[one])
    if bearing is Bearing.NONE:
        assert end[legs] > 1.05 * crowd[legs]
    np.testing.assert_allclose(far, farther, rtol=0.03)
