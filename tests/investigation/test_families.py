"""Explanations together, and flaws that had no part in a loss."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fea.evidence.causes import AND, AS_DESIGNED
from fea.evidence.compare import LOOSER, NEAR, Found, most_near, of_clamps
from fea.evidence.families import SNOW_ALONE, Family, families_of
from fea.evidence.few import Spread, spread_of
from fea.evidence.idle import idle_parts
from fea.evidence.looks import most_screws
from tests.investigation.test_few import PRIOR, against
from viewer.investigate.families import FIRM
from viewer.investigate.verdict import candidates

CAUSES = ("more snow", "drift", AS_DESIGNED, "splice parted", f"drift{AND}splice parted", "weak batch")


EVEN = tuple(np.ones(10) for _ in CAUSES)  # weights of the samples of each


def firm(found):
    """The first whom a verdict can be of that is firm."""
    return next((one for one in candidates(found) if one.low >= FIRM), None)


def alike(share, wide=0.0, seed=1):
    """Draws about some shares, each with a deviation of so much of itself."""
    rng = np.random.default_rng(seed)
    draws = np.asarray(share) * np.exp(wide * rng.standard_normal((400, len(share))))
    return Spread(draws, draws)


def test_families_are_sums_and_a_pair_is_in_both_of_its_own():
    share = np.array([0.3, 0.2, 0.1, 0.15, 0.05, 0.2])
    found = {one.name: one for one in families_of(CAUSES, share, 10.0 * share, alike(share), EVEN)}
    assert found[SNOW_ALONE].posterior == pytest.approx(0.6)
    assert found["open splice"].posterior == pytest.approx(0.2)
    assert found["drift"].posterior == pytest.approx(0.25)  # alone or with the splice
    assert not {"clamps", "more snow"} & set(found)  # one explanation is no family
    for one in found.values():
        assert one.low == pytest.approx(one.posterior) == pytest.approx(one.high)
        assert one.near == pytest.approx(10.0 * one.posterior)
        own = np.array([s for s, cause in zip(share, CAUSES, strict=True) if cause in one.causes])
        assert one.tells == pytest.approx(10.0 * own.sum() ** 2 / (own**2).sum())


def test_what_explanations_of_a_family_share_among_them_leaves_the_family_sure():
    """Three that trade 90 % among them, each known to a factor of 2: the family is known to a few percent."""
    share = np.array([0.3, 0.3, 0.3, 0.05, 0.0, 0.05])
    spread = alike(share, 0.35)
    family = next(
        one for one in families_of(CAUSES, share, 100.0 * share, spread, EVEN) if one.name == SNOW_ALONE
    )
    low, high = spread.interval(np.eye(6, dtype=bool))
    assert low[0] < 0.2
    assert family.low > 0.8
    assert family.high - family.low < 0.5 * (high[0] - low[0])
    fits = (SimpleNamespace(cause="more snow", low=low[0]),)
    found = SimpleNamespace(fits=fits, families=(family,))
    assert firm(found) is family
    found.fits = (SimpleNamespace(cause="splice parted", low=0.1),)  # not one of the family
    assert firm(found) is None
    found.fits = (SimpleNamespace(cause="more snow", low=0.7),)  # firm by itself
    assert firm(found) is found.fits[0]


def test_a_flaw_is_idle_where_nothing_near_it_gave_way():
    row = np.array([0] * 10 + [1] * 10)
    gave_way = np.zeros((4, 20), dtype=bool)
    gave_way[0, 8:10] = True  # the end of the first row
    gave_way[1, 0] = True
    gave_way[2, 19] = True
    flaw = np.zeros((4, 20), dtype=bool)
    flaw[0, 10] = True  # next to it in number, but on the other row
    flaw[1, 3] = True  # three away
    flaw[2, 15] = True  # four away
    flaw[3, 5] = True  # nothing gave way
    found = idle_parts([flaw, None], gave_way, row)
    assert found[:, 0].tolist() == [True, False, True, False]
    assert not found[:, 1].any()


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.lists(st.integers(0, 12), min_size=2, max_size=2),
    st.sampled_from([0.0, 0.05]),
    st.integers(0, 6),
)
def test_samples_that_are_not_followed_to_their_end_could_not_have_come_near(seed, lost, doubt, unknown):
    rng, c = np.random.default_rng(seed), 60
    row = np.repeat([0, 1], c // 2)
    gone = np.zeros(c, dtype=bool)
    gone[: lost[0]] = gone[30 : 30 + lost[1]] = True
    known = np.ones(c, dtype=bool)
    known[rng.permutation(c)[:unknown]] = False
    layout = SimpleNamespace(
        clamp_row=row, row_name=("a", "b"), clamp_s=np.tile(np.arange(30.0), 2), row_length=np.full(2, 30.0)
    )
    found = Found(known, gone & known, np.full(c, doubt), (np.nan, np.nan), (np.nan, np.nan))
    made = rng.random((300, c)) < rng.random((300, 1))
    readings, _ = of_clamps(layout, found, SimpleNamespace(gave_way=made))
    near = sum(one.square for one in readings) < (NEAR * LOOSER[-1]) ** 2
    assert (made.sum(axis=1)[near] <= most_near(layout, found)).all()


def test_screws_that_an_explanation_cannot_have_bound_it_though_few_of_its_samples_come_near():
    """A splice seen without screws, 2 % doubt: no sample of B leaves more than 0.02 of what those of A do."""
    told, banks, weighed = against(0)
    told[1].most_rails = most_screws([(3, False, 0.02)], "weak batch")
    assert told[1].most_rails == pytest.approx(0.02)
    eye = np.eye(2, dtype=bool)
    _, high = spread_of(told, banks, weighed, PRIOR, np.random.default_rng(1)).interval(eye)
    most, mean = -np.log(0.025) * 0.02 / 6000, 3000 * 0.01 / 9000
    assert high[1] == pytest.approx(most / (most + mean), rel=0.3)


def test_most_that_screws_can_say_holds_for_every_sample():
    told = [(3, False, 0.02), (9, True, 0.05), (15, False, 0.1)]
    assert most_screws(told, "splice never screwed") == pytest.approx(0.98 * 0.95 * 0.1)
    assert most_screws(told, "splice parted") == pytest.approx(0.02 * 0.95 * 0.1)
    assert most_screws([], "drift") == 1.0


def test_a_state_of_a_splice_that_no_sample_had_yet_bounds_nothing():
    """B tears it once in 6,000 and is near then: none drawn, its upper end holds the truth all the same."""
    told, banks, weighed = against(0)
    told[1].splices = np.full(6000, 0.01)  # as far as was seen
    told[0].splices = np.full(9000, 0.8)
    eye = np.eye(2, dtype=bool)
    _, high = spread_of(told, banks, weighed, PRIOR, np.random.default_rng(1)).interval(eye)
    true = 0.8 / 6000
    assert high[1] > true / (true + 0.8 * 3000 * 0.01 / 9000)


def test_weight_of_samples_that_are_not_near_is_in_the_interval_too():
    """B has none near but weight all the same: the share lies within its interval."""
    told, banks, weighed = against(0)
    weighed.weights[1] = np.full(6000, 0.005)
    share = PRIOR * [w.mean() for w in weighed.weights]
    low, high = spread_of(told, banks, weighed, PRIOR, np.random.default_rng(1)).interval(
        np.eye(2, dtype=bool)
    )
    for k, one in enumerate(share / share.sum()):
        assert low[k] - 1e-9 <= one <= high[k] + 1e-9


def test_a_flaw_is_not_left_out_of_what_is_firm():
    """More snow with missing clamps first: never "more snow, alone or with a flaw"."""
    families = (
        Family("more snow", ("a",), 0.84, 0.7, 0.9, 50.0),
        Family("clamps", ("a",), 0.77, 0.66, 0.89, 50.0),
    )
    found = SimpleNamespace(fits=(SimpleNamespace(cause="a", low=0.3),), families=families)
    assert [one.name for one in candidates(found)[1:]] == ["clamps"]
