"""Boxes in the way of the blanket: EN 1991-1-3 6.4 for what pushes on them, and conservation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from roofs import gable, rows, uniform

from roofmodel.project.obstacle_schema import ObstructionTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.sliding.tributary import clamp_shares
from roofmodel.units import SYSTEMS

P = 2000.0
SLOPE = np.radians(25.0)
LENGTH = 8.0 / np.cos(SLOPE)  # of the slope, eave to ridge


def box(name="chimney", across="6 m", up="4 m", width="1.2 m", depth="0.8 m", strength=None):
    more = {} if strength is None else {"strength": strength}
    return ObstructionTable.model_validate(
        {
            "name": name,
            "plane": "S1",
            "across": across,
            "up": up,
            "width": width,
            "depth": depth,
            "height": "1 m",
            **more,
        }
    )


def sent(*boxes, angle=0.0, options=None, plane="S1", row=None):
    roof = gable(angle=angle)
    boxes = [b.model_copy(update={"plane": plane}) for b in boxes]
    roof = replace(roof, obstacles=place_obstacles(roof, [], boxes, SYSTEMS["SI"]))
    layout = rows(roof, row or {"plane": plane, "up": "0.5 m"})
    return roof, layout, slide(roof, (uniform(roof, P),), layout, options)[1]


def push(up, width):
    """P b sin(slope) for each meter of face, b the plan run above it (EN 1991-1-3, 6.4, from memory)."""
    return P * (LENGTH - up) * np.cos(SLOPE) * np.sin(SLOPE) * width


def test_push_on_a_box_by_hand():
    force = sent(box())[2]
    assert force.obstacle_thrust[0] == pytest.approx([push(4.4, 1.2)], rel=1e-9)
    assert force.obstacle_held[0] == pytest.approx([0.0])
    assert force.balance.error.max() < 1e-12


def test_a_box_without_strength_relieves_no_clamp():
    _, layout, plain = sent()
    force = sent(box())[2]
    assert force.balance.caught == pytest.approx(plain.balance.caught, rel=1e-12)
    np.testing.assert_allclose(clamp_shares(layout, force), clamp_shares(layout, plain), rtol=1e-9)
    assert not plain.aside.any()


def test_blanket_parts_within_half_a_width_to_each_side():
    """The bound adds half of the push on each side, evenly; nothing farther out."""
    _, _, force = sent(box())
    middle = force.span.mean(axis=1)
    extra = -force.aside[0, :, 1]
    assert extra.sum() == pytest.approx(push(4.4, 1.2), rel=1e-9)
    left = (middle > 6.0 - 1.2) & (middle < 6.0 - 0.6)
    right = (middle > 6.0 + 0.6) & (middle < 6.0 + 1.2)
    assert extra[left].sum() == pytest.approx(0.5 * push(4.4, 1.2), rel=1e-9)
    assert extra[right].sum() == pytest.approx(0.5 * push(4.4, 1.2), rel=1e-9)
    line = extra / np.diff(force.span, axis=1)[:, 0]
    np.testing.assert_allclose(line[left | right], 0.5 * push(4.4, 1.2) / 0.6, rtol=1e-9)


def test_at_the_rake_all_goes_to_the_free_side():
    force = sent(box(across="0.6 m"))[2]
    right = force.span.mean(axis=1) > 1.2
    assert -force.aside[0, right, 1].sum() == pytest.approx(push(4.4, 1.2), rel=1e-9)


@pytest.mark.parametrize("strength", ["500 N", "1 kN", "90 kN"])
def test_stated_strength_relieves_at_most_that(strength):
    kilo = {"500 N": 500.0, "1 kN": 1000.0, "90 kN": 9e4}[strength]
    _, layout, plain = sent()
    _, _, force = sent(box(strength=strength))
    held = min(kilo, push(4.4, 1.2))
    assert force.obstacle_held[0] == pytest.approx([held], rel=1e-9)
    assert force.balance.caught == pytest.approx(plain.balance.caught - held, rel=1e-12)
    assert force.balance.error.max() < 1e-12
    lost = clamp_shares(layout, plain) - clamp_shares(layout, force)
    away = np.abs(layout.clamp_s - 6.0) > 0.6 + 0.4
    np.testing.assert_allclose(lost[0, away], 0.0, atol=1e-6)
    assert -force.aside[0, :, 1].sum() == pytest.approx(push(4.4, 1.2) - held, abs=1e-6)


def test_boxes_in_line_are_relieved_from_the_top_down():
    """The lower one gets what the upper one lets pass and the snow between them."""
    low, high = box("low", up="2 m"), box("high", up="5 m", strength="2 kN")
    force = sent(low, high)[2]
    assert force.obstacle_thrust[0] == pytest.approx([push(2.4, 1.2) - 2000.0, push(5.4, 1.2)], rel=1e-9)
    force = sent(box("low", up="2 m", strength="3 kN"), high)[2]
    assert force.obstacle_held[0] == pytest.approx([3000.0, 2000.0], rel=1e-9)
    assert force.balance.error.max() < 1e-12


def test_a_row_above_the_box_keeps_its_snow_away():
    force = sent(box(), row={"plane": "S1", "up": "4.6 m"})[2]
    assert force.obstacle_thrust[0] == pytest.approx([push(LENGTH - 0.2, 1.2)], rel=1e-6)


@pytest.mark.parametrize("friction", [0.0, 0.2])
def test_balance_holds_with_friction_and_relief(friction):
    force = sent(box(strength="2 kN"), options=SlideOptions(friction=friction))[2]
    assert force.balance.error.max() < 1e-12
    less = 1.0 - friction / np.tan(SLOPE)
    assert force.obstacle_thrust[0] == pytest.approx([push(4.4, 1.2) * less], rel=1e-9)


def test_turning_the_house_changes_nothing():
    plain = sent(box(strength="2 kN"))[2]
    turned = sent(box(strength="2 kN"), angle=np.radians(90.0), plane="E1")
    other = turned[2]
    np.testing.assert_allclose(other.obstacle_thrust, plain.obstacle_thrust, rtol=1e-9)
    np.testing.assert_allclose(other.balance.caught, plain.balance.caught, rtol=1e-9)
    np.testing.assert_allclose(other.aside[0, :, 1].sum(), plain.aside[0, :, 1].sum(), rtol=1e-9)


def test_strips_do_not_matter():
    coarse, fine = (sent(box(), options=SlideOptions(strip_width=w)) for w in (0.9, 0.13))
    assert coarse[2].obstacle_thrust == pytest.approx(fine[2].obstacle_thrust, rel=1e-9)
    bounds = []
    for _, layout, force in (coarse, fine):
        bounds.append(clamp_shares(layout, replace(force, thrust=force.aside)))
    np.testing.assert_allclose(bounds[0], bounds[1], rtol=1e-6, atol=1e-3)
