"""Walls that stop falling snow: free flight and energy by hand, conservation, rotation."""

from __future__ import annotations

import numpy as np
import pytest
from roofs import rectangle, turned, uniform

from roofmodel.layout import no_rows
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.sliding.landing import landing
from roofmodel.sliding.thrust import SlideOptions, slide

G = 9.80665
SLOPE = np.radians(25.0)
RISE = 8.0 * np.tan(SLOPE)  # of the half of the gable that falls south
EAVE = 6.0


def site(away, top, angle=0.0, between=None, deep=20.0):
    """Gable whose south eave is 6 m up, and a flat block `away` to the south whose roof is at `top`."""
    pitches = np.radians([25.0, np.nan, 25.0, np.nan])
    block = rectangle(12.0, deep) - np.array([0.0, away + deep])
    parts = [
        RoofPart("gable", turned(rectangle(12.0, 16.0), angle), pitches, EAVE),
        RoofPart("flat", turned(block, angle), np.zeros(0), top),
    ]
    if between is not None:
        low = rectangle(12.0, away) - np.array([0.0, away])
        parts.append(RoofPart("flat", turned(low, angle), np.zeros(0), between))
    return build_roof(parts)


def south(roof, angle=0.0):
    """Landing of the eave of the gable that looks to the block; its index among the edges that shed."""
    case = uniform(roof, 2000.0)
    options = SlideOptions(friction=0.0)
    graph, force = slide(roof, (case,), no_rows(), options)
    found = landing(roof, graph, force, (case,), options)
    middle = 0.5 * (roof.edges.start + roof.edges.end)[force.exit_edge]
    wanted = turned(np.array([[6.0, 0.0]]), angle)[0]
    index = int(np.argmin(np.linalg.norm(middle[:, :2] - wanted, axis=1)))
    return force, found, index


def height_at(x, head):
    """Of a body with v^2 = 2 g head that left the eave down the slope, after x on plan."""
    return EAVE - x * np.tan(SLOPE) - x**2 / (4.0 * head * np.cos(SLOPE) ** 2)


def head_for(x, z):
    """The head whose flight passes (x, z): of the same parabola."""
    return x**2 / (4.0 * np.cos(SLOPE) ** 2 * (EAVE - x * np.tan(SLOPE) - z))


def test_a_tower_stops_what_would_fly_past_and_a_heap_lies_at_its_foot():
    away = 4.0
    force, found, k = south(site(away, top=15.0))
    heaps = found.lower.heaps
    on = np.flatnonzero(heaps.edge == k)
    assert len(on) == 1
    assert heaps.plane[on[0]] == -1
    share = 1.0 - head_for(away, 0.0) / RISE  # slower snow is on the ground before the wall
    assert 0.3 < share < 0.9
    assert heaps.weight[0, on[0]] / force.exit_weight[0, k] == pytest.approx(share, abs=0.5 / 40)
    assert heaps.line[0, on[0]] == pytest.approx(16e3 * share, rel=0.05)
    assert heaps.high[on[0]] == pytest.approx(height_at(away, RISE), abs=0.02)
    ends = heaps.ends[on[0]]
    np.testing.assert_allclose(np.sort(ends[:, 0]), [0.0, 12.0], atol=1e-6)
    np.testing.assert_allclose(ends[:, 1], -away, atol=0.01)
    np.testing.assert_allclose(ends[:, 2], 0.0, atol=1e-9)
    assert found.lower.beyond[0, k] == pytest.approx(force.exit_weight[0, k])  # all of it is on the ground
    assert heaps.volume[0, on[0]] == pytest.approx(heaps.weight[0, on[0]] / (300.0 * G))


def test_a_low_block_stops_the_slow_and_catches_the_fast_on_its_roof():
    away, top = 3.0, 1.5
    roof = site(away, top)
    force, found, k = south(roof)
    heaps = found.lower.heaps
    at = int(np.flatnonzero(heaps.edge == k)[0])
    stopped = (head_for(away, top) - head_for(away, 0.0)) / RISE
    over = 1.0 - head_for(away, top) / RISE
    total = force.exit_weight[0, k]
    assert heaps.weight[0, at] / total == pytest.approx(stopped, abs=1.0 / 40)
    assert height_at(away, head_for(away, top) - RISE / 40) - 0.02 < heaps.high[at] < top
    on = np.flatnonzero(found.lower.edge == k)
    assert len(on) == 1
    assert found.lower.weight[0, on[0]] / total == pytest.approx(over, abs=0.5 / 40)


def test_what_a_wall_stops_above_a_lower_roof_lies_on_that_roof():
    away, between = 4.0, 2.0
    roof = site(away, top=15.0, between=between)
    force, found, k = south(roof)
    heaps = found.lower.heaps
    at = int(np.flatnonzero(heaps.edge == k)[0])
    low = heaps.plane[at]
    assert roof.planes.origin[low][2] == pytest.approx(between)
    share = 1.0 - head_for(away, between) / RISE
    assert heaps.weight[0, at] / force.exit_weight[0, k] == pytest.approx(share, abs=0.5 / 40)
    assert heaps.high[at] == pytest.approx(height_at(away, RISE) - between, abs=0.02)
    on = np.flatnonzero((found.lower.edge == k) & (found.lower.plane == low))
    assert found.lower.weight[0, on].sum() == pytest.approx(force.exit_weight[0, k])
    assert found.lower.beyond[0, k] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("between", [None, 2.0])
def test_nothing_is_lost_and_turned_sites_agree(between):
    plain = south(site(4.0, 15.0, between=between))
    total = plain[1].lower.beyond.copy()
    np.add.at(total.T, plain[1].lower.edge, plain[1].lower.weight.T)
    np.testing.assert_allclose(total, plain[0].exit_weight, rtol=1e-12, atol=1e-6)
    angle = np.radians(37.0)
    force, found, k = south(site(4.0, 15.0, angle=angle, between=between), angle)
    mine, other = (f.lower.heaps.weight[0, f.lower.heaps.edge == i] for f, i in (plain[1:], (found, k)))
    np.testing.assert_allclose(mine, other, rtol=1e-6)
    assert force.exit_weight.sum() == pytest.approx(plain[0].exit_weight.sum(), rel=1e-9)


def test_far_and_passed_walls_stop_nothing():
    _, found, k = south(site(40.0, 15.0))  # farther than snow flies
    assert not (found.lower.heaps.edge == k).any()
    roof = build_roof(
        [RoofPart("gable", rectangle(12.0, 16.0), np.radians([25.0, np.nan, 25.0, np.nan]), EAVE)]
    )
    _, found, _ = south(roof)  # its own walls
    assert not len(found.lower.heaps.edge)


@pytest.mark.parametrize("angle", [0.3, 1.1, 2.0, 2.9, 4.4])
def test_heaps_lie_along_the_whole_wall_however_it_is_turned(angle):
    """Flights from the very corners meet the corners of the wall."""
    _, found, k = south(site(4.0, top=15.0, angle=angle), angle)
    heaps = found.lower.heaps
    on = int(np.flatnonzero(heaps.edge == k)[0])
    assert np.linalg.norm(np.diff(heaps.ends[on, :, :2], axis=0)) == pytest.approx(12.0, abs=1e-6)
