"""What explanations leave unexplained, two at once, loads without what is usual, marks and pull tests."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from fea.evidence.causes import AND, PAIRS, SNOW, pairs_of
from fea.evidence.fit import Found, fit, load_range
from fea.evidence.unexplained import UNLIKELY, Reading, misses_of
from tests.investigation.test_fit import NAN, none_gone
from viewer.investigate.run import none_explains


@pytest.fixture(scope="module")
def roof():
    """Two rows of 20 clamps, enough to count on."""
    layout = SimpleNamespace(
        row_name=("low", "high"),
        clamp_row=np.repeat([0, 1], 20),
        clamp_s=np.tile(np.linspace(0.5, 19.5, 20), 2),
        row_length=np.full(2, 20.0),
    )
    return SimpleNamespace(layout=layout)


def test_the_chance_of_a_reading_is_that_of_the_normal_closed_form():
    """Samples N(0, 1), a reading of deviation 1 at 4: 2 (1 - Phi(4 / sqrt 2)), with 5 to 95 % of N(0, 2)."""
    rng = np.random.default_rng(1)
    value = rng.standard_normal(200_000)
    sure = Reading("load", "", value, 4.0, 1.0, False)
    other = Reading("fallen", "", rng.standard_normal(200_000), 0.0, 1.0, False)
    (miss,) = misses_of((sure, other), np.ones(200_000), 1.0, 3.0)
    assert miss.what == "load"
    assert miss.chance == pytest.approx(2.0 * stats.norm.sf(4.0 / np.sqrt(2.0)), rel=0.05)
    assert (miss.low, miss.high) == pytest.approx(np.sqrt(2.0) * stats.norm.ppf([0.05, 0.95]), abs=0.03)


def test_a_reading_that_is_expected_is_never_told():
    """Told values drawn from the samples' own distribution: as many flagged as the bound says."""
    rng = np.random.default_rng(2)
    value = rng.standard_normal(4000)
    told = np.sqrt(2.0) * rng.standard_normal(400)
    flagged = [
        bool(misses_of((Reading("load", "", value, t, 1.0, False),), np.ones(4000), 1.0, 3.0)) for t in told
    ]
    assert np.mean(flagged) < UNLIKELY + 3.0 * np.sqrt(UNLIKELY / 400)


def test_too_few_samples_tell_nothing():
    far = Reading("load", "", np.zeros(10), 9.0, 1.0, False)
    assert misses_of((far,), np.ones(10), 1.0, 3.0) == ()


def test_an_explanation_that_fits_best_can_leave_something_unexplained(roof):
    """Both lose the clamps that were found; only snow of 3 was told, and neither has more than 1.3."""
    n = 2000
    rng = np.random.default_rng(3)
    a, b = (none_gone(roof, cause, rng.normal(m, 0.1, n)) for cause, m in (("a", 1.0), ("b", 0.8)))
    found = Found(np.ones(40, dtype=bool), a.gave_way[0], np.zeros(40), (2.0, 0.2), NAN)
    ranked = fit(roof.layout, found, (a, b), (1.0, 1.0))
    assert [one.what for one in ranked[0].unexplained] == ["load"]
    assert ranked[0].unexplained[0].high < 1.4
    near = replace(found, load=(1.0, 0.2))
    assert fit(roof.layout, near, (a, b), (1.0, 1.0))[0].unexplained == ()
    every = tuple(replace(one, near=1000.0, posterior=0.5) for one in ranked)
    assert none_explains(every)
    assert not none_explains((every[0], replace(every[1], unexplained=())))
    assert none_explains((replace(every[1], unexplained=(), near=3.0),))


def test_a_splice_found_parted_where_nothing_parts_is_unexplained(roof):
    """0.01 by the table where neither it nor a clamp beside it gave way, with 1 % told wrong 0.0132."""
    one = none_gone(roof, "a", np.random.default_rng(3).normal(1.0, 0.1, 2000))
    there = np.ones(40, dtype=bool)
    found = Found(there, one.gave_way[0], np.zeros(40), NAN, NAN, rails=((30, "parted", 0.01),))
    (ranked,) = fit(roof.layout, found, (one,), (1.0,))
    (miss,) = ranked.unexplained
    assert (miss.what, miss.about) == ("splice", "0")
    assert miss.chance == pytest.approx(0.99 * 0.01 + 0.01 / 3.0)
    assert none_explains((replace(ranked, near=1000.0),))
    for rails in (((30, "whole", 0.01),), ((1, "parted", 0.01),)):  # as it is; beside a clamp that gave way
        assert fit(roof.layout, replace(found, rails=rails), (one,), (1.0,))[0].unexplained == ()
    parted = replace(one, parted=np.full(2000, 30))
    assert fit(roof.layout, found, (parted,), (1.0,))[0].unexplained == ()
    # One that parted before is never found whole: that is told too, though no sample has any weight.
    whole = replace(found, rails=((30, "whole", 0.0),))
    assert [m.chance for m in fit(roof.layout, whole, (parted,), (1.0,))[0].unexplained] == [0.0]


def test_all_pairs_together_weigh_a_tenth_of_the_single_ones():
    names, weights = pairs_of(("a", "b", "c"), (1.0, 2.0, 1.0))
    assert names == (f"a{AND}b", f"a{AND}c", f"b{AND}c")
    assert sum(weights) == pytest.approx(PAIRS * 4.0)
    assert weights[0] == pytest.approx(2.0 * weights[1])
    assert pairs_of(("a",), (1.0,)) == ((), ())


def test_the_load_that_fits_is_not_pulled_to_what_is_usual(roof):
    """Lognormal likelihood about 1.4: its own quantiles, not those of its product with the usual snow."""
    rng = np.random.default_rng(4)
    mass = np.exp(np.log(SNOW[0]) + 1.6 * SNOW[1] * rng.standard_normal(200_000))
    z = np.log(mass / SNOW[0]) / SNOW[1]
    drawn = np.exp(-0.5 * (z / 1.6) ** 2) / 1.6  # wider than the plain one
    bank = replace(none_gone(roof, "weak batch", mass), weight=np.exp(-0.5 * z**2) / drawn)
    told = np.exp(-0.5 * (np.log(mass / 1.4) / 0.15) ** 2)
    found = load_range(bank, bank.weight * told)
    assert found == pytest.approx(1.4 * np.exp(0.15 * stats.norm.ppf([0.05, 0.5, 0.95])), rel=0.02)
    never_less = load_range(bank, bank.weight * (mass > 0.8))
    assert np.isinf(never_less[2])
    assert never_less[0] > 0.8
    never_more = load_range(bank, bank.weight * (mass < 0.8))
    assert never_more[0] == 0.0
    assert never_more[2] < 0.8


def test_seams_without_marks_speak_for_clamps_never_there(roof):
    """Six looked at: none without a mark speaks against a sample with six, six speak for it."""
    n = 500
    there = replace(none_gone(roof, "there", np.ones(n)), never=np.zeros((n, 1)))
    never = replace(none_gone(roof, "never", np.ones(n)), never=np.full((n, 1), 6.0))
    share = []
    for none in (0, 3, 6):
        found = Found(
            np.ones(40, dtype=bool), there.gave_way[0], np.zeros(40), NAN, NAN, marks=((6, none, 0.0),)
        )
        by = {f.cause: f.posterior for f in fit(roof.layout, found, (there, never), (1.0, 1.0))}
        share.append(by["never"])
    assert share[0] < 1e-9
    assert share[1] == pytest.approx(0.5)
    assert share[2] > 1.0 - 1e-9


def test_a_pull_test_is_a_normal_likelihood(roof):
    """Bayes by hand: clamps of 1.0 or 0.7 of the mean, 0.8 told with deviation 0.1."""
    n = 500
    sound = replace(none_gone(roof, "sound", np.ones(n)), pulled=np.ones((n, 1)))
    weak = replace(none_gone(roof, "weak", np.ones(n)), pulled=np.full((n, 1), 0.7))
    found = Found(np.ones(40, dtype=bool), sound.gave_way[0], np.zeros(40), NAN, NAN, pulled=((0.8, 0.1),))
    by = {f.cause: f.posterior for f in fit(roof.layout, found, (sound, weak), (1.0, 1.0))}
    assert by["weak"] / by["sound"] == pytest.approx(np.exp(-0.5 * (1.0 - 4.0)))
