"""Jumps of a tenth of the peak among noise of a hundredth are found, honest records left alone."""

import numpy as np
import pytest

from fea.strength_tests.jumps import step_up
from fea.strength_tests.records import read_record

PEAK, STIFF = 5e3, 3e6


def softening(points):
    """A clamp that softens up to its peak. [m, N]."""
    u = np.linspace(0.0, 4.0 * PEAK / STIFF, points)
    return u, PEAK * (1.0 - np.exp(-STIFF * u / PEAK)) / (1.0 - np.exp(-4.0))


def test_a_step_on_a_straight_line_is_found_with_its_place_and_size():
    u = np.linspace(0.0, 2e-3, 200)
    f = 1e6 * u
    f[120:] += 150.0
    noise, count = np.full(200, 5.0), 0.0
    at, before, size = step_up(u, f, noise, count)
    assert at == u[119]
    assert before == pytest.approx(1e6 * u[119])
    assert size == pytest.approx(150.0, rel=1e-9)
    down = 1e6 * u
    down[120:] -= 150.0
    assert step_up(u, down, noise, count) is None
    assert step_up(u, 1e6 * u, noise, count) is None


@pytest.mark.parametrize(("points", "least"), [(300, 0.9), (1000, 0.97)])
def test_a_tenth_of_the_peak_is_found_among_noise_of_a_hundredth(points, least):
    """From 20 % of the peak to ten readings before it; none is seen where there is none."""
    rng, found, false = np.random.default_rng(6), 0, 0
    u, f = softening(points)
    first = int(np.argmax(f > 0.2 * PEAK))
    for _ in range(150):
        noisy = f + 0.01 * PEAK * rng.normal(size=points)
        jump = 0.1 * PEAK * (np.arange(points) >= rng.integers(first, points - 10))
        false += read_record(u, noisy)[1].jump is not None
        found += read_record(u, noisy + jump)[1].jump is not None
    assert found >= least * 150
    assert false <= 0.02 * 150


def test_where_a_gauge_stands_still_no_line_is_drawn():
    u = np.round(np.linspace(0.0, 2e-3, 200) / 1e-4) * 1e-4
    f = 2e6 * np.linspace(0.0, 2e-3, 200)
    assert read_record(u, f)[1].jump is None
