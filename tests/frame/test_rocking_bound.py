"""Stiffness against tipping and along the seam come from one clamp: they may not contradict each other."""

from dataclasses import replace

import numpy as np
import pytest
from rails import make_clamp, make_layout, plain_rail

from fea.rails.frame import build_frame
from roofmodel.hardware import UPRIGHT, as_tested, tipping_as, upright
from roofmodel.project.rocking import contradicts, default_rocking, least_rocking, rocking_words, stiffest
from roofmodel.units import SYSTEMS

K, H = 2.4e6, 0.055  # [N/m, m]


def clamp(along, rocking, test_height=H):
    """A clamp whose rail lies as high as its load in the tests."""
    stiffness = [along, 1e6, 4e6, 1e3, rocking, 1e3]
    return replace(make_clamp(stiffness, test_height), test_height=test_height)


def pushed(one):
    """Way of a rail on one clamp, pushed by 1 N along the fall line at its axis. [m]."""
    rail = plain_rail(1e9, GJ=1e-3)  # hands nothing on
    frame = build_frame(make_layout([{"length": 1.0, "clamps": [0.5]}]), rail, one, refuse_loose=False)
    push = np.zeros(frame.matrix.shape[0])
    dof = frame.dof[frame.clamp_node[0]]
    push[dof[1]] = 1.0
    return abs(np.linalg.lstsq(frame.matrix.toarray(), push, rcond=None)[0][dof[1]])


@pytest.mark.parametrize("times", [1.0, 1.3, 4.0, 1e6])
def test_a_clamp_moves_in_its_test_as_it_was_measured_however_it_tips(times):
    """Tipping is in the stiffness along already: it may not be counted besides."""
    one = tipping_as(replace(clamp(K, 1.0), along=K), times * K * H**2)
    assert pushed(one) == pytest.approx(1.0 / K, rel=3e-3)  # a grip is no stiffer than FAST
    assert as_tested(one) == K
    assert pushed(upright(one)) == pytest.approx(1.0 / K, rel=3e-3)


def test_the_bound_is_that_of_a_clamp_that_does_nothing_but_tip():
    """The model's own rail on one clamp: pushed at height h it moves by F / k_grip + F h^2 / k_rocking."""
    grip, rocking = 5e6, 9e3
    one = clamp(grip, rocking)
    moved = pushed(one)
    assert moved == pytest.approx(1.0 / grip + H**2 / rocking, rel=1e-6)
    measured = clamp(1.0 / moved, rocking)  # what a test at that height calls its stiffness along
    assert least_rocking(measured) < rocking
    assert not contradicts(measured)
    # With a grip that does not move at all the bound is met, and no clamp lies below it.
    assert least_rocking(clamp(rocking / H**2, rocking)) == pytest.approx(rocking, rel=1e-12)


@pytest.mark.parametrize("seed", range(20))
def test_no_clamp_that_could_be_tested_contradicts_itself(seed):
    draw = np.random.default_rng(seed)
    grip, rocking, height = draw.uniform(1e5, 1e8), draw.uniform(1e2, 1e6), draw.uniform(0.0, 0.2)
    measured = 1.0 / (1.0 / grip + height**2 / rocking)
    one = clamp(measured, rocking, height)
    assert not contradicts(one)
    assert stiffest(one, given=True) is None
    assert rocking_words(one, SYSTEMS["SI"]) == ""
    assert contradicts(replace(one, stiffness=np.diag([1.01 * rocking / height**2, 1, 1, 1, rocking, 1])))


def test_the_default_is_no_softer_than_the_stiffness_along_allows():
    assert default_rocking(K, 4e6, 0.08, H) == pytest.approx(K * H**2)
    assert default_rocking(K, 4e6, 0.08, 0.0) == pytest.approx(4e6 * 0.08**2 / 12.0)


def test_a_number_that_cannot_be_is_worth_no_more_than_none():
    """The bound says how stiff a clamp is at least: it may still not tip at all."""
    low = clamp(K, 0.3 * K * H**2)
    for given in (True, False):
        assert stiffest(low, given=given).stiffness[4, 4] == UPRIGHT
    words = rocking_words(low, SYSTEMS["SI"])
    for part in (
        "clamp.stiffness.rocking",
        "2.18 kN·m/rad",
        "clamp.stiffness.along",
        "7.26 kN·m/rad",
        "test_height^2",
    ):
        assert part in words
