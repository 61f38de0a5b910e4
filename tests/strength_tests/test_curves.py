"""Curves with known answers are read back."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fea.strength_tests.curves import read_curve


def bilinear(k=2e6, yield_=3e3, hard=2e5, toe=0.3e-3, end=6e-3, points=400):
    """Straight up to a yield force, then straight with less stiffness, after some play."""
    u = np.linspace(0.0, end, points)
    x = np.maximum(u - toe, 0.0)
    f = np.where(k * x < yield_, k * x, yield_ + hard * (x - yield_ / k))
    return u, f


def test_bilinear_curve():
    u, f = bilinear()
    found = read_curve(u, f, offset=0.5e-3)
    assert found.stiffness == pytest.approx(2e6, rel=1e-6)
    assert found.toe == pytest.approx(0.3e-3, rel=1e-6)
    # Offset line 2e6 (x - 0.5e-3) meets 3e3 + 2e5 (x - 1.5e-3) at x = 3.7e6 / 1.8e9 ...
    x = (3e3 - 2e5 * 1.5e-3 + 2e6 * 0.5e-3) / (2e6 - 2e5)
    assert found.proof == pytest.approx(2e6 * (x - 0.5e-3), rel=1e-4)
    assert found.slip == found.peak == pytest.approx(f[-1])
    assert found.at_peak == pytest.approx(6e-3 - 0.3e-3)
    elastic, rest = 0.5 * 3e3 * 1.5e-3, 6e-3 - 0.3e-3 - 1.5e-3
    assert found.work == pytest.approx(elastic + rest * (3e3 + 0.5 * 2e5 * rest), rel=1e-4)


def test_a_drop_before_the_peak_is_a_slip():
    u, f = bilinear()
    at = np.argmax(f > 3.2e3)
    force = f[at - 1]
    f[at : at + 20] -= 600.0
    found = read_curve(u, f)
    assert found.slip == pytest.approx(force)
    assert found.slip_at == pytest.approx(u[at - 1] - 0.3e-3)
    assert found.peak == pytest.approx(f[-1])


@given(st.floats(0.1, 10.0), st.floats(0.1, 10.0))
def test_readings_scale_with_force_and_displacement(force, length):
    u, f = bilinear()
    a, b = read_curve(u, f), read_curve(u * length, f * force, offset=0.5e-3 * length)
    assert b.peak == pytest.approx(a.peak * force)
    assert b.proof == pytest.approx(a.proof * force)
    assert b.stiffness == pytest.approx(a.stiffness * force / length)
    assert b.work == pytest.approx(a.work * force * length)


def test_noise_does_not_move_the_stiffness_far():
    u, f = bilinear()
    rng = np.random.default_rng(2)
    found = read_curve(u, f + 15.0 * rng.standard_normal(len(u)))
    assert found.stiffness == pytest.approx(2e6, rel=0.03)


@pytest.mark.parametrize(
    ("u", "f", "says"),
    [
        ([0.0, 1.0], [0.0, 1.0], "too few"),
        (np.arange(20.0), -np.arange(20.0), "the sign of the column"),
        (np.arange(20.0), np.r_[0.1 * np.arange(9.0), -np.arange(11.0)], "the sign of the column"),
        (np.arange(20.0), np.zeros(20), "does not rise"),
        (np.arange(20.0), np.r_[np.arange(19.0), np.nan], "no numbers"),
        (np.zeros(20), np.arange(20.0), "without displacement"),
        (-np.arange(20.0), np.arange(20.0), "falls where it should rise"),
    ],
)
def test_bad_curves_are_named(u, f, says):
    with pytest.raises(ValueError, match=says):
        read_curve(u, f)


def regripping(slip, keeps, peak=5e3, k=2e6, end=6e-3, points=300):
    """Straight to `slip`, a sudden fall to `keeps` of it, then on at the same stiffness towards the peak."""
    u = np.linspace(0.0, end, points)
    f = np.minimum(k * u, peak)
    fallen = k * u > slip
    f[fallen] = np.minimum(k * u[fallen] - (1.0 - keeps) * slip, peak)
    return u, f


@pytest.mark.parametrize("slip", [0.6e3, 1.5e3, 4e3])
def test_an_early_slip_is_judged_by_the_force_it_had(slip):
    """A tenth of the force that holds the seam is lost: a slip, however high the clamp climbs afterwards."""
    u, f = regripping(slip, 0.9)
    found = read_curve(u, f)
    step = 2e6 * float(u[1])
    assert slip - step <= found.slip <= slip
    assert found.peak == pytest.approx(5e3)


def test_seating_is_no_slip():
    """Below a tenth of the peak the specimen seats itself."""
    u, f = regripping(0.4e3, 0.5)
    assert read_curve(u, f).slip == pytest.approx(5e3)


@pytest.mark.parametrize("seed", range(5))
def test_noise_is_no_slip(seed):
    """Noise of 1 % of the peak, a third of the force early on."""
    u, f = bilinear(points=2000)
    f = f + 0.01 * f.max() * np.random.default_rng(seed).standard_normal(len(f))
    assert read_curve(u, f).slip == pytest.approx(f.max())


def test_a_loss_that_the_next_point_half_makes_up_is_a_slip():
    """Points so far apart that the force climbs 7 of the lost 10 % before the next one is taken."""
    k, slip = 2e6, 2e3
    step = 0.072 * slip / k
    u = np.arange(80) * step
    f = np.minimum(k * u, 5e3)
    f[k * u > slip] = np.minimum(k * u[k * u > slip] - 0.1 * slip, 5e3)
    on = int(np.argmax(k * u > slip))
    assert 0.0 < f[on - 1] - f[on] < 0.03 * f[on - 1]
    assert read_curve(u, f).slip == pytest.approx(f[on - 1])


@pytest.mark.parametrize("points", [20, 60, 400])
def test_a_knee_is_no_slip(points):
    """A clamp that starts to slide at a constant force loses none."""
    u, f = bilinear(hard=0.0, points=points)
    assert read_curve(u, f).slip == pytest.approx(3e3)
    u, f = bilinear(hard=1e5, points=points)
    assert read_curve(u, f).slip == pytest.approx(f[-1])


@pytest.mark.parametrize("count", [10.0, 50.0, 100.0])
@pytest.mark.parametrize("noise", [0.0, 5.0, 15.0])
def test_counts_of_a_digital_record_are_no_slip(count, noise):
    """A record that flickers by a count stands still else; an early slip of some counts is still seen."""
    u, smooth = bilinear(yield_=6e3, hard=0.0, end=4e-3, points=3000)
    f = smooth + noise * np.random.default_rng(3).standard_normal(len(u))
    found = read_curve(u, count * np.round(f / count))
    assert found.slip > 0.97 * found.peak
    f = f - 400.0 * (smooth > 2e3)
    found = read_curve(u, count * np.round(f / count))
    assert found.slip == pytest.approx(2e3, abs=count + 4.0 * noise)
