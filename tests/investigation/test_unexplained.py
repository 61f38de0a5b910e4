"""What explanations leave unexplained, two at once, loads without what is usual, marks and pull tests."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from fea.evidence.causes import AND, PAIRS, SNOW, pairs_of
from fea.evidence.compare import Found
from fea.evidence.counterparts import missing_as_found, stands_for
from fea.evidence.families import Family
from fea.evidence.fit import Measurement, fit, load_range
from fea.evidence.looks import FRESH, count_chances
from fea.evidence.unexplained import UNLIKELY, Reading, misses_of
from roofmodel.units import SI
from tests.investigation.test_fit import NAN, none_gone
from viewer.investigate.findings import CAUTIONS, cautions, drawn, share
from viewer.investigate.looks import unsettled
from viewer.investigate.run import none_explains
from viewer.investigate.words import weight_text


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
    found = Found(there, one.gave_way[0], np.zeros(40), NAN, NAN, rails=((30, "parted", 0.01, None),))
    (ranked,) = fit(roof.layout, found, (one,), (1.0,))
    (miss,) = ranked.unexplained
    assert (miss.what, miss.about) == ("splice", "0")
    assert miss.chance == pytest.approx(0.99 * 0.01 + 0.01 / 3.0)
    assert none_explains((replace(ranked, near=1000.0),))
    for rails in (
        ((30, "whole", 0.01, None),),
        ((1, "parted", 0.01, None),),
    ):  # as it is; beside a clamp that gave way
        assert fit(roof.layout, replace(found, rails=rails), (one,), (1.0,))[0].unexplained == ()
    parted = replace(one, parted=np.full(2000, 30))
    assert fit(roof.layout, found, (parted,), (1.0,))[0].unexplained == ()
    # One that parted before is never found whole: that is told too, though no sample has any weight.
    whole = replace(found, rails=((30, "whole", 0.0, None),))
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


def test_seams_with_or_without_marks_are_two_binomials_however_few_samples_come_near(roof):
    """Bayes by hand, six seams, 5 % told wrong; ten samples, all with clamps not as found: loosened."""
    for n, gone in ((500, 1), (10, 9)):
        there = replace(none_gone(roof, "there", np.ones(n)), never=np.zeros((n, 1)))
        there.gave_way[:, :gone] = True
        some = there.gave_way[0] if gone == 1 else np.arange(40) < 6
        never = replace(there, cause="never", never=np.full((n, 1), 2.0))
        for none in (0, 2, 6):
            found = Found(np.ones(40, dtype=bool), some, np.zeros(40), NAN, NAN, marks=((6, none, 0.05),))
            ranked = fit(roof.layout, found, (there, never), (1.0, 1.0))
            assert (ranked[0].loose > 1.0) is (gone == 9)
            by = {f.cause: f.posterior for f in ranked}
            some_wrong = [stats.binom.pmf(none, 6, 0.05)]
            some_wrong += [
                sum(stats.binom.pmf(k, 2, 0.95) * stats.binom.pmf(none - k, 4, 0.05) for k in range(3))
            ]
            assert by["there"] / by["never"] == pytest.approx(some_wrong[0] / some_wrong[1])


def test_a_clamp_that_was_seen_was_there(roof):
    """Bayes by hand: one missing of three whose screws were looked at was told wrong, 0.05 / 0.95."""
    there = replace(none_gone(roof, "there", np.ones(500)), absent=np.zeros((500, 1)))
    missing = replace(there, cause="missing", absent=np.ones((500, 1)))
    found = Found(np.ones(40, dtype=bool), there.gave_way[0], np.zeros(40), NAN, NAN, there=((3, 0, 0.05),))
    by = {f.cause: f.posterior for f in fit(roof.layout, found, (there, missing), (1.0, 1.0))}
    assert by["missing"] / by["there"] == pytest.approx(0.05 / 0.95)


def test_what_a_sample_lost_stands_for_what_was_found_wherever_it_lies(roof):
    """Moved along the row, a gap tells the same of its seams; each clamp found has one in order."""
    row, seen = roof.layout.clamp_row, np.arange(40) // 6 == 1  # 6 to 11 of the lower row
    made = np.stack(
        [np.isin(np.arange(40), np.arange(a, b)) for a, b in ((6, 12), (9, 15), (4, 12), (8, 11))]
    )
    to, back = stands_for(row, seen, made)
    for i, one in enumerate(made):
        assert seen[to[i, one]].all()
        assert made[i, back[i, seen]].all()
        assert (np.diff(to[i, one]) >= 0).all()
        assert (np.diff(back[i, seen]) >= 0).all()
        assert (to[i, ~one] == np.flatnonzero(~one)).all()
    assert (to[1, 9:15] == to[0, 6:12]).all()
    assert (back[1, 6:12] == back[0, 6:12] + 3).all()
    assert set(to[2, 4:12]) == set(back[0, 6:12]) == set(range(6, 12))
    nothing = stands_for(row, seen, np.zeros((1, 40), dtype=bool))
    assert all((one == np.arange(40)).all() for one in nothing)


@pytest.mark.parametrize(("first", "last"), [(22, 36), (22, 34), (20, 40), (25, 39), (27, 28)])
def test_a_gap_of_clamps_never_there_is_read_so_at_every_seam_found(roof, first, last):
    """Longer, shorter or elsewhere: where all that were lost were never there, none of those found was."""
    clamp = np.arange(40)
    seen = (clamp >= 22) & (clamp < 36)
    made = ((clamp >= first) & (clamp < last))[None]
    to, back = stands_for(roof.layout.clamp_row, seen, made)
    assert (missing_as_found(made, seen, to, back)[0] == seen).all()
    one = made & (clamp == first)  # only the first of them was never there
    read = missing_as_found(one, seen, to, back)[0]
    assert read[22]
    assert read.sum() == max(14 // (last - first), 1)
    assert not missing_as_found(np.zeros_like(made), seen, to, back).any()


def test_a_cause_that_counts_refute_is_bounded_by_them(roof):
    """None near: no more than Clopper and Pearson's bound times 0.05 / 0.95 of one missing seam."""
    n = 2000
    there = replace(none_gone(roof, "there", np.ones(n)), never=np.zeros((n, 1)))
    missing = replace(none_gone(roof, "missing", np.full(n, 9.0)), never=np.ones((n, 1)))
    found = Found(
        np.ones(40, dtype=bool), there.gave_way[0], np.zeros(40), (1.0, 0.1), NAN, marks=((6, 0, 0.05),)
    )
    by = {f.cause: f for f in fit(roof.layout, found, (there, missing), (1.0, 1.0))}
    bound = 0.05 / 0.95 * -np.log(0.025) / n
    assert by["missing"].high == pytest.approx(bound, rel=0.4)


@pytest.mark.parametrize("doubt", [0.0, 0.05, 0.5])
def test_chances_of_counts_sum_to_one_and_mirror(doubt):
    """All counts together are certain; loose for tight is the same look the other way round."""
    table = np.stack([count_chances(7, told, doubt) for told in range(8)])
    assert table.sum(axis=0) == pytest.approx(np.ones(8))
    assert table == pytest.approx(table[::-1, ::-1])


def test_an_old_break_speaks_for_a_splice_that_had_parted_before(roof):
    """Bayes by hand: the break told old or fresh, parted before or torn as the row went."""
    n = 200
    torn = none_gone(roof, "torn", np.ones(n))
    torn = replace(torn, torn=np.arange(40)[None, :] == np.full((n, 1), 30))
    before = replace(torn, cause="before", torn=np.zeros((n, 40), dtype=bool), parted=np.full(n, 30))
    found = Found(np.ones(40, dtype=bool), torn.gave_way[0], np.zeros(40), NAN, NAN)
    share = {}
    for fresh in (None, True, False):
        seen = replace(found, rails=((30, "parted", 0.1, fresh),))
        by = {f.cause: f.posterior for f in fit(roof.layout, seen, (torn, before), (1.0, 1.0))}
        share[fresh] = by["before"]
        if fresh is not None:
            here, gone = (0.9 * 0.8 * (p if fresh else 1.0 - p) + 0.1 / 6.0 for p in FRESH)
            assert share[fresh] == pytest.approx(here / (here + gone))
    assert share[None] == pytest.approx(0.5)
    assert share[True] < 0.3
    assert share[False] > 0.8


def test_screws_and_bends_that_nothing_leads_to_expect_are_told(roof):
    """No splice without screws in any sample and all clamps stand there: 5 %, and 2 % of bends or so."""
    n = 400
    one = none_gone(roof, "a", np.ones(n))
    gone = one.gave_way[0]
    found = Found(np.ones(40, dtype=bool), gone, np.zeros(40), NAN, NAN)
    odd = replace(found, splice_screws=((30, False, 0.05),), spans=((20, True, 0.02),))
    (ranked,) = fit(roof.layout, odd, (one,), (1.0,))
    chance = {miss.what: miss.chance for miss in ranked.unexplained}
    assert chance == pytest.approx({"screws": 0.05, "span": 0.98 * 0.02 + 0.01})
    usual = replace(found, splice_screws=((30, True, 0.05),), spans=((20, False, 0.02),))
    (ranked,) = fit(roof.layout, usual, (one,), (1.0,))
    assert not ranked.unexplained


def test_a_splice_without_screws_is_a_caution_whatever_ranks_first():
    def told(*screws, loose=(), families=()):
        project = SimpleNamespace(layout=SimpleNamespace(clamp_name=[f"low-{k}" for k in range(40)]))
        all_off = np.ones(40, dtype=bool)
        evidence = SimpleNamespace(
            project=project, splice_screws=screws, screws=loose, kinds=(), known=all_off, gave_way=all_off
        )
        return SimpleNamespace(evidence=evidence, families=families)

    assert cautions(told()) == cautions(told((30, True, 0.05))) == CAUTIONS
    (line,) = set(cautions(told((30, False, 0.05)))) - set(CAUTIONS)
    assert "The splice at low-30 without screws" in line
    for words in ("fault of workmanship", "keep people from below", "knows exactly one"):
        assert words in line
    group = np.arange(5)
    (line,) = set(cautions(told(loose=((group, 2, 0.05),)))) - set(CAUTIONS)
    assert "check the screws of every clamp" in line
    assert cautions(told(loose=((group, 0, 0.05),))) == CAUTIONS
    (again,) = set(cautions(told(families=(Family("clamps", (), 0.3, 0.2, 0.4, 50.0),)))) - set(CAUTIONS)
    assert again == line


@pytest.mark.parametrize(("near", "tells", "known"), [(0, 285.0, False), (50, 3.0, False), (50, 40.0, True)])
def test_how_well_a_share_is_known_is_said_only_where_samples_are_near(near, tells, known):
    first = SimpleNamespace(cause="a", posterior=0.7, low=0.66, high=0.72, near=near, tells=tells)
    bank = SimpleNamespace(cause="a", mass=np.zeros(3000), rounds=((None, 3000),))
    text = drawn(SimpleNamespace(banks=(bank,), fits=(first,)))
    assert ("70 % (66 to 72 %)" in text) == known
    assert ("stands on" in text) == known


def test_a_pull_test_is_a_normal_likelihood(roof):
    """Bayes by hand: clamps of 1.0 or 0.7 of the mean, 0.8 told with deviation 0.1."""
    n = 500
    sound = replace(none_gone(roof, "sound", np.ones(n)), pulled=np.ones((n, 1)))
    weak = replace(none_gone(roof, "weak", np.ones(n)), pulled=np.full((n, 1), 0.7))
    found = Found(np.ones(40, dtype=bool), sound.gave_way[0], np.zeros(40), NAN, NAN, pulled=((0.8, 0.1),))
    by = {f.cause: f.posterior for f in fit(roof.layout, found, (sound, weak), (1.0, 1.0))}
    assert by["weak"] / by["sound"] == pytest.approx(np.exp(-0.5 * (1.0 - 4.0)))


@pytest.mark.parametrize(
    ("posterior", "low", "high", "near", "words"),
    [
        (0.0004, 0.0, 0.0312, 1.0, "below 3.2 %"),
        (0.04, 0.001, 0.123, 3.0, "below 13 %"),
        (0.0, 0.0, 0.0004, 0.0, "below 0.1 %"),
        (0.001, 0.0002, 0.004, 900.0, "below 0.4 %"),
        (0.01, 0.007, 0.013, 81.0, "1.0 % (0.7 to 1.3 %)"),
        (0.6, 0.002, 0.9, 12.0, "60 % (0 to 90 %, few samples)"),
        (0.9996, 0.99951, 1.0, 500, "above 99.9 %"),
        (0.999, 0.93, 1.0, 500, "above 93 %"),
        (1.0, 0.16, 1.0, 75, "100 % (16 to 100 %)"),
    ],
)
def test_a_share_not_told_from_nothing_is_only_bounded(posterior, low, high, near, words):
    one = SimpleNamespace(posterior=posterior, low=low, high=high, near=near)
    assert share(one) == words


def test_a_look_that_is_worth_much_leaves_the_first_unsettled_until_it_is_told():
    off = np.arange(8) < 4
    evidence = SimpleNamespace(
        known=np.ones(8, dtype=bool), gave_way=off, screws=(), marks=(), pulled=(), kinds=(), along=()
    )
    further = (Measurement("never there", 0.74), Measurement("ends", 0.1))
    first = SimpleNamespace(cause="drift", low=0.8)
    found = SimpleNamespace(further=further, evidence=evidence, cannot=(), families=(), fits=(first,))
    assert (
        unsettled(found, firm=True)
        == "seams in the gap, whether clamps were ever there (0.74 bit, [[marks]])"
    )
    evidence.marks = ((np.flatnonzero(off), 0, 0.05),)
    assert unsettled(found, firm=True) == ""
    # where nothing is firm, a look that tells less is asked for too
    assert "(0.10 bit, which no entry takes" in unsettled(found, firm=False)


def test_a_look_that_no_entry_takes_says_how_it_is_weighed():
    found = SimpleNamespace(
        further=(Measurement("ends", 0.45),),
        evidence=SimpleNamespace(
            known=np.ones(2, bool),
            gave_way=np.ones(2, bool),
            screws=(),
            marks=(),
            pulled=(),
            kinds=(),
            along=(),
        ),
        cannot=(),
        families=(),
        fits=(SimpleNamespace(cause="drift", low=0.8),),
    )
    way = "(0.45 bit, which no entry takes: weigh it by the prior of an [[explanation]])"
    assert unsettled(found, firm=True).endswith(way)


def test_weights_are_told_as_well_as_they_are_known():
    """Three digits of the largest, and no snow weighs less than nothing."""
    assert weight_text(SI, 530_740.0, -115_690.0, 341_000.0) == ("531 kN", "0 kN", "341 kN")
    assert weight_text(SI, 1_234.0, 0.0) == ("1.23 kN", "0.00 kN")


def test_how_far_pulled_clamps_scatter_is_a_normal_likelihood_beside_their_mean(roof):
    """The same mean of both; a scatter of 0.3 told, 0.15 and 0.3 sampled, known to 0.05."""
    n = 200
    sound, weak = (
        replace(none_gone(roof, cause, np.ones(n)), pulled=np.ones((n, 1)), scatter=np.full((n, 1), scatter))
        for cause, scatter in (("sound", 0.15), ("weak", 0.3))
    )
    told = Found(np.ones(40, dtype=bool), sound.gave_way[0], np.zeros(40), NAN, NAN, pulled=((1.0, 0.05),))
    for scatter, ratio in ((0.3, np.exp(-0.5 * 3.0**2)), (np.nan, 1.0)):
        by = fit(roof.layout, replace(told, scatter=(scatter,)), (sound, weak), (1.0, 1.0))
        share = {one.cause: one.posterior for one in by}
        assert share["sound"] / share["weak"] == pytest.approx(ratio)


def test_what_few_samples_are_left_of_is_held_against_the_clamps_alone(roof):
    """Snow that next to none has, so that none tell: depth and splice are still not as clamps lead to."""
    n, rng = 2000, np.random.default_rng(6)
    one = replace(none_gone(roof, "a", rng.normal(1.0, 0.1, n)), depth=rng.normal(1.0, 0.1, (n, 1)))
    found = Found(
        np.ones(40, dtype=bool), one.gave_way[0], np.zeros(40), (1.42, 0.005), NAN,
        rails=((30, "parted", 0.01, False),), along=((3.0, 0.3),),
    )  # fmt: skip
    (ranked,) = fit(roof.layout, found, (one,), (1.0,))
    assert ranked.tells < 15.0
    by = {miss.what: miss for miss in ranked.unexplained}
    assert {"depth", "splice"} <= set(by)
    assert by["depth"].alone
    assert by["splice"].alone
    assert by["depth"].high == pytest.approx(1.0 + np.hypot(0.1, 0.3) * stats.norm.ppf(0.95), abs=0.03)
    # Expected by the clamps too: nothing is made up.
    usual = replace(found, rails=((30, "whole", 0.01, None),), along=((1.1, 0.3),))
    (ranked,) = fit(roof.layout, usual, (one,), (1.0,))
    assert not {"depth", "splice"} & {miss.what for miss in ranked.unexplained}
