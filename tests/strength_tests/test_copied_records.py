"""A copy of a record that was scaled or shifted shares its noise; tests of one rig do not."""

import itertools

import numpy as np
import pytest

from roofmodel.errors import InputError
from roofmodel.project.campaigns import load_campaign
from roofmodel.project.record_prints import COPIED, noise_print, shared_noise
from tests.strength_tests.test_campaign import HEAD

READINGS, NOISE = 300, 0.006  # kN


def curve(rng, strength=2.6, noise=NOISE):
    """A clamp that softens up to its strength and then lets go."""
    u = np.linspace(0.0, 9.0, READINGS)
    way = 1.5 * (1.0 + 0.08 * rng.standard_normal()) * u
    force = way / (1.0 + (way / strength) ** 4) ** 0.25
    last = 2.0 * strength / 1.5 + 0.6
    return u, np.where(u > last, force * np.exp(-(u - last) / 0.7), force) + rng.normal(0.0, noise, len(u))


def written(folder, some, excluded=""):
    text = HEAD
    for i, (u, f) in enumerate(some):
        rows = "\n".join(f"{a:.3f},{b:.3f}" for a, b in zip(u, f, strict=True))
        (folder / f"{i}.csv").write_text(f"displacement [mm],force [kN]\n{rows}")
        text += f'[[test]]\nname = "T{i}"\ncurve = "{i}.csv"\nfailure = "slid"\n'
        text += excluded if i == len(some) - 1 else ""
    (folder / "c.toml").write_text(text)
    return folder / "c.toml"


def fresh(number, seed=3):
    rng = np.random.default_rng(seed)
    return [curve(rng, 2.6 * (1.0 + 0.05 * rng.standard_normal())) for _ in range(number)]


@pytest.mark.parametrize(
    "copy",
    [
        lambda u, f: (u, 1.003 * f),
        lambda u, f: (1.1 * u, 0.7 * f),
        lambda u, f: (u[:250], 1.02 * f[50:]),
        lambda u, f: (u, f + 0.1 * u),
    ],
)
def test_a_changed_copy_is_refused_until_excluded(tmp_path, copy):
    some = fresh(4)
    some.append(copy(*some[1]))
    with pytest.raises(InputError, match=r'"T4"\.curve: 4\.csv has the noise of test "T1"'):
        load_campaign(written(tmp_path, some))
    load_campaign(written(tmp_path, some, 'excluded = "a copy"\n'))


def test_honest_records_are_no_copies(tmp_path):
    """Strong and weak ones, coarse load cells, curves without any noise, which are alike but for a scale."""
    load_campaign(written(tmp_path, fresh(12, seed=4)))
    for count in (0.02, 0.05):
        prints = [noise_print(np.round(f / count) * count) for _, f in fresh(12, seed=5)]
        known = [one for one in prints if one is not None]
        assert all(shared_noise(*pair) < COPIED for pair in itertools.combinations(known, 2))
    u = np.linspace(0.0, 4.0, READINGS)
    load_campaign(written(tmp_path, [(u, peak * np.tanh(u)) for peak in (5.1, 5.6, 4.8)]))
    assert noise_print(np.tanh(u)) is None


def test_losses_at_one_place_are_no_noise_in_common():
    """One huge difference in each would stand for all of them."""
    rng = np.random.default_rng(8)
    u = np.linspace(0.0, 4.0, READINGS)
    some = [
        noise_print(np.where(u < 3.0, peak * np.tanh(u), 0.1) + rng.normal(0.0, NOISE, READINGS))
        for peak in (5.1, 5.6)
    ]
    assert shared_noise(*some) < 0.6
