"""Explanations together, and flaws that had no part in a loss."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fea.evidence.causes import AND, AS_DESIGNED
from fea.evidence.compare import LOOSER, NEAR, Found, most_near, of_clamps
from fea.evidence.families import SNOW_ALONE, families_of
from fea.evidence.few import Spread, spread_of
from fea.evidence.idle import idle_parts
from tests.investigation.test_few import PRIOR, against
from viewer.investigate.families import settled_family

CAUSES = ("more snow", "drift", AS_DESIGNED, "splice parted", f"drift{AND}splice parted", "weak batch")


def alike(share, wide=0.0, seed=1):
    """Draws about some shares, each with a deviation of so much of itself."""
    rng = np.random.default_rng(seed)
    draws = np.asarray(share) * np.exp(wide * rng.standard_normal((400, len(share))))
    return Spread(draws, draws)


def test_families_are_sums_and_a_pair_is_in_both_of_its_own():
    share = np.array([0.3, 0.2, 0.1, 0.15, 0.05, 0.2])
    found = {one.name: one for one in families_of(CAUSES, share, 10.0 * share, alike(share))}
    assert found[SNOW_ALONE].posterior == pytest.approx(0.6)
    assert found["open splice"].posterior == pytest.approx(0.2)
    assert found["drift"].posterior == pytest.approx(0.25)  # alone or with the splice
    assert not {"clamps", "more snow"} & set(found)  # one explanation is no family
    for one in found.values():
        assert one.low == pytest.approx(one.posterior) == pytest.approx(one.high)
        assert one.near == pytest.approx(10.0 * one.posterior)


def test_what_explanations_of_a_family_share_among_them_leaves_the_family_sure():
    """Three that trade 90 % among them, each known to a factor of 2: the family is known to a few percent."""
    share = np.array([0.3, 0.3, 0.3, 0.05, 0.0, 0.05])
    spread = alike(share, 0.35)
    family = next(one for one in families_of(CAUSES, share, 100.0 * share, spread) if one.name == SNOW_ALONE)
    low, high = spread.interval(np.eye(6, dtype=bool))
    assert low[0] < 0.2
    assert family.low > 0.8
    assert family.high - family.low < 0.5 * (high[0] - low[0])
    fits = (SimpleNamespace(cause="more snow", low=low[0]),)
    found = SimpleNamespace(fits=fits, families=(family,))
    assert settled_family(found) is family
    found.fits = (SimpleNamespace(cause="splice parted", low=0.1),)  # not one of the family
    assert settled_family(found) is None
    found.fits = (SimpleNamespace(cause="more snow", low=0.7),)  # settled by itself
    assert settled_family(found) is None


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


def test_what_none_of_an_explanations_samples_can_be_bounds_it_though_few_come_near():
    """A splice seen so that no sample of B leaves more than a fiftieth of what those of A do: 3.69 / 50."""
    told, banks, weighed = against(0)
    for bank, one in zip(banks, told, strict=True):
        one.splices = np.where(bank.weight == 0.01, 1.0, 0.02)
    eye = np.eye(2, dtype=bool)
    _, high = spread_of(told, banks, weighed, PRIOR, np.random.default_rng(1)).interval(eye)
    most, mean = -np.log(0.025) * 0.02 / 6000, 3000 * 0.01 / 9000
    assert high[1] == pytest.approx(most / (most + mean), rel=0.3)
