"""Brackets on screws past their strength: in the mix of their forces, sampled, beyond, under the blanket."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fea.blanket.answers import stop_use
from fea.checks.beyond import row_limits
from fea.checks.limits import rail_resistance
from fea.checks.screw_strength import ScrewRule, screw_strength, unfactored
from fea.checks.screws import screw_capacity, screw_use
from fea.failure.roof_case import SCREWED, Laws, choose_case
from roofmodel.errors import InputError
from roofmodel.hardware import DesignFormat
from tests.checks.test_screws import SCREWS, group, with_screws

WEAK = SCREWS.replace('"1.5 mm"', '"0.9 mm"')


@pytest.fixture(scope="module")
def weak(tmp_path_factory):
    return with_screws(tmp_path_factory.mktemp("weak"), WEAK)


def test_a_force_at_the_capacity_uses_the_screws_up(weak):
    clamp = weak.project.clamp
    strength = screw_strength(clamp.screws, ScrewRule.EN)
    draw = np.random.default_rng(0)
    force = draw.uniform(-1.0, 1.0, (50, 6)) * [3e3, 400.0, 900.0, 5.0, 40.0, 10.0]
    held = screw_capacity(force, clamp, strength)
    full = force * (held / np.abs(force[:, 0]))[:, None]
    use = np.max(list(screw_use(full, clamp, strength, np.abs(full[:, 0])).by.values()), axis=(0, 2))
    alone = screw_capacity(np.array([1e3, 0.0, 0.0, 0.0, 0.0, 0.0]), clamp, strength)
    # By hand: F / 4 of shear, F h / (2 x 60 mm) of pull on the two upper screws.
    shear, pull = strength.shear[0].design, strength.out[0].design
    assert alone == pytest.approx(1.0 / (0.25 / shear + clamp.grip_height / 0.12 / pull), rel=1e-9)
    less = held < alone * (1.0 - 1e-12)
    assert less.any()
    np.testing.assert_allclose(use[less], 1.0, rtol=1e-6)
    assert (held <= alone * (1.0 + 1e-12)).all()
    assert np.isnan(screw_capacity(force, replace(clamp, screws=group([(0.0, 0.0)])), strength)).all()


def test_strengths_before_factors_are_those_of_the_clauses(weak):
    screws = weak.project.clamp.screws
    for rule in (ScrewRule.ASD, ScrewRule.LSD, ScrewRule.EN):
        factored, plain = screw_strength(screws, rule), screw_strength(screws, unfactored(rule))
        for kind in ("shear", "out", "over", "tension"):
            for a, b in zip(getattr(factored, kind), getattr(plain, kind), strict=True):
                assert b.design == a.nominal == b.nominal


def test_a_row_follows_its_screws_where_they_hold_less(weak):
    project = weak.project
    clamp, rail = project.clamp, project.rail
    stress = rail_resistance(rail, DesignFormat.EN)
    force = weak.clamp_force[0, 0]
    held = np.linspace(500.0, 1e5, len(force))
    own = row_limits(force, clamp, rail, stress, 0.4)
    both = row_limits(force, clamp, rail, stress, 0.4, held)
    np.testing.assert_array_equal(both.capacity[:, 0], np.minimum(held, own.capacity[:, 0]))
    brittle = held < own.capacity[:, 0]
    assert brittle.any()
    assert not brittle.all()
    np.testing.assert_array_equal(both.residual[:, 0], np.where(brittle, 0.0, own.residual[:, 0]))


def test_sampled_brackets_let_go_by_their_screws(tmp_path):
    """EN: characteristic strengths; the weaker of screws and bracket at each."""
    hard = {"strength": 'along = "30 kN", across = "20 kN", pull = "40 kN", push = "60 kN"'}
    analysis = with_screws(tmp_path, WEAK, **hard)
    found = choose_case(analysis)
    assert SCREWED in found.notes
    clamp = analysis.project.clamp
    own = clamp.nominal[0]
    plain = screw_strength(clamp.screws, ScrewRule.EN_NOMINAL)
    alone = screw_capacity(np.array([1e3, 0.0, 0.0, 0.0, 0.0, 0.0]), clamp, plain)
    assert alone < own
    assert (found.roof.capacity <= alone * (1.0 + 1e-9)).all()
    assert (found.roof.capacity > 0.2 * alone).all()
    assert (found.roof.residual == 0.0).all()
    # A ductile clamp, and tests in which it held a third more, say nothing of its screws.
    law = Laws(mean_strength=1.33, impact=None, residual=np.ones(len(analysis.project.layout.clamp_s)))
    other = choose_case(analysis, None, law).roof
    np.testing.assert_allclose(other.capacity, found.roof.capacity)
    assert (other.residual == 0.0).all()
    lines = "\n".join(line for line in WEAK.splitlines() if not line.startswith("screw_shear"))
    with pytest.raises(InputError, match="a strength or a lever of the screws is missing"):
        choose_case(with_screws(tmp_path, lines))


def test_stops_on_screws_count_them(weak):
    """F / 4 of shear and F (lever + h) / (2 x 60 mm) of pull."""
    clamp = weak.project.clamp
    strength = screw_strength(clamp.screws, ScrewRule.EN)
    force, lever = np.array([0.0, 700.0, 1400.0]), 0.03
    use = stop_use(force, clamp, lever, ScrewRule.EN)
    shear, pull = strength.shear[0].design, strength.out[0].design
    want = force * (0.25 / shear + (lever + clamp.grip_height) / 0.12 / pull)
    np.testing.assert_allclose(use, want, rtol=1e-9)
    without = stop_use(force, replace(clamp, screws=None), lever, ScrewRule.EN)
    assert (without[1:] < use[1:]).all()
