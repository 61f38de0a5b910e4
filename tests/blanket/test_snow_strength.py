"""Strength of snow: nearest allowed stress, consistent energy and tangent, laws of density and cold."""

import numpy as np
import pytest

from fea.blanket.snow import (
    SnowChoice,
    compressive_strength,
    effective_modulus,
    make_snow,
    modulus,
    packed,
    shear_strength,
    tensile_strength,
    viscosity,
)
from fea.blanket.yielding import Strength, respond

E, NU = 1e7, 0.2


def limits(n, tension=4e3, shear=3e3, compression=6e4, slope=0.6):
    return Strength(*(np.full(n, value) for value in (tension, shear, compression, slope)))


def at(strain, **strength):
    return respond(strain[:, None], np.full(len(strain), E), NU, limits(len(strain), **strength))


def test_stress_is_the_gradient_of_the_energy_and_the_tangent_that_of_the_stress():
    rng = np.random.default_rng(2)
    strain = rng.normal(size=(3000, 3)) * 1e-3
    here, d = at(strain), 1e-9
    ends = [(at(strain + d * axis), at(strain - d * axis)) for axis in np.eye(3)]
    slope = np.stack([(a.energy - b.energy)[:, 0] / (2 * d) for a, b in ends], axis=1)
    assert slope == pytest.approx(here.stress[:, 0], abs=1e-3)
    turn = np.stack([(a.stress - b.stress)[:, 0] / (2 * d) for a, b in ends], axis=2)
    full = here.tangent[:, 0][:, [0, 1, 2, 1, 3, 4, 2, 4, 5]].reshape(-1, 3, 3)
    off = np.abs(turn - full).max(axis=(1, 2))
    assert np.mean(off < 1e-5 * E) > 0.99  # the others lie on a kink
    assert np.linalg.eigvalsh(full).min() > -1e-9 * E
    assert 0.3 < here.yielding.mean() < 0.95


def test_stress_is_allowed_and_no_allowed_stress_is_nearer():
    rng = np.random.default_rng(3)
    strain = rng.normal(size=(500, 3)) * 1e-3
    stress = at(strain).stress[:, 0]
    mean, half = (
        0.5 * (stress[:, 0] + stress[:, 1]),
        np.hypot(0.5 * (stress[:, 0] - stress[:, 1]), stress[:, 2]),
    )
    assert (mean + half).max() <= 4e3 * (1 + 1e-6)
    assert (half + 0.6 * mean).max() <= 3e3 * (1 + 1e-6)
    assert (half - mean).max() <= 6e4 * (1 + 1e-6)
    D = E / (1 - NU**2) * np.array([[1, NU, 0], [NU, 1, 0], [0, 0, 0.5 * (1 - NU)]])
    C, elastic = np.linalg.inv(D), strain @ D

    def way(s):
        return np.einsum("ni,ij,nj->n", s - elastic, C, s - elastic)

    other = rng.uniform(-1, 1, size=(500, 400, 3)) * 3e3 + stress[:, None]
    a = 0.5 * (other[..., 0] + other[..., 1])
    b = np.hypot(0.5 * (other[..., 0] - other[..., 1]), other[..., 2])
    good = (a + b <= 4e3) & (b + 0.6 * a <= 3e3) & (b - a <= 6e4)
    there = np.array([way(np.where(good[:, k, None], other[:, k], stress)) for k in range(400)])
    assert (there >= way(stress) * (1 - 1e-6)).all()


@pytest.mark.parametrize(
    ("strain", "expected"),
    [
        ([1e-2, 0.0, 0.0], "tension"),
        ([-5e-2, 0.0, 0.0], "compression"),
        ([0.0, 0.0, 5e-3], "shear"),
    ],
)
def test_uniaxial_and_pure_shear_reach_their_own_strengths(strain, expected):
    shear = 1e5 if expected == "compression" else 5e3
    found = respond(
        np.array([[strain]]),
        np.array([E]),
        0.0,
        limits(1, tension=9e3, compression=9e4, shear=shear, slope=0.0),
    )
    s = found.stress[0, 0]
    size = {"tension": s[0], "compression": -s[0], "shear": abs(s[2])}[expected]
    strength = {"tension": 9e3, "compression": 9e4, "shear": 5e3}[expected]
    assert size == pytest.approx(strength, rel=1e-6)


def test_laws_give_the_values_of_their_sources():
    # From memory, see the docstrings; ranges of the collected values.
    assert modulus(np.array([300.0]))[0] == pytest.approx(0.187e6 * np.exp(4.47))
    assert shear_strength(np.array([917.0]))[0] == pytest.approx(14.5e3)
    assert tensile_strength(np.array([917.0]))[0] == pytest.approx(79.7e3)
    low, mid, high = compressive_strength(np.array([100.0, 200.0, 400.0]))
    assert 1e3 < low < 3e3
    assert 5e3 < mid < 30e3
    assert 50e3 < high < 200e3
    assert viscosity(np.array([0.0]), 0.0)[0] == pytest.approx(3.6e6)


def test_creep_softens_and_cold_stiffens():
    rho = np.array([300.0])
    sudden = effective_modulus(rho, 5.0, 0.0)
    day, colder = effective_modulus(rho, 5.0, 86400.0), effective_modulus(rho, 15.0, 86400.0)
    assert sudden == modulus(rho)
    assert day < colder < sudden
    # For long times a Maxwell body is a dashpot: E_eff -> eta / t.
    long = effective_modulus(rho, 5.0, 1e9)
    assert long == pytest.approx(viscosity(rho, 5.0) / 1e9, rel=0.01)


def test_given_numbers_hold_at_the_given_density():
    choice = SnowChoice(300.0, young=5e6, shear=2e3, compression=3e4)
    made = make_snow(choice, np.array([300.0, 400.0]))
    assert made.young[0] == pytest.approx(5e6)
    assert made.strength.shear[0] == pytest.approx(2e3)
    assert made.young[1] > made.young[0]
    assert made.strength.slope[0] == pytest.approx(1 - 4e3 / 3e4)


def test_packing_keeps_mass_and_ends():
    assert packed(300.0, np.array([0.0, 0.25]))[1] == pytest.approx(400.0)
    assert packed(300.0, np.array([-0.5, 0.9])).tolist() == [300.0, 800.0]
