"""Rounds: more samples that tell for the same number drawn, within the limits that were set."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea.analysis import analyze
from fea.evidence.aim import aim_at
from fea.evidence.causes import AND, Strengths
from fea.evidence.compare import Found, told_of, weigh
from fea.evidence.explanations import Looked, add_round, course_of, sample_bank
from fea.evidence.few import largest_shares
from fea.evidence.fit import fit
from fea.evidence.grids import BY_GRID, PLAINLY, grid_of
from fea.evidence.roof import evidence_roof
from fea.evidence.rounds import ALWAYS, Ask, draw_rounds, pair_grids
from fea.failure.roof_case import Laws
from roofmodel.project.load import load_project
from tests.investigation.test_fit import NAN

MODEL = Path(__file__).parents[2] / "models" / "alder-barn" / "project.toml"
CAUSES = ("weak batch", "uneven snow", "more snow")
STRENGTHS = Strengths(0.15, 0.2)


@pytest.fixture(scope="module")
def ask():
    """Ten clamps side by side of one row lost under measured snow."""
    roof = evidence_roof(analyze(load_project(MODEL)), None, Laws(mean_strength=1.2))[0]
    gone = np.zeros(roof.case.clamps, dtype=bool)
    gone[20:30] = True
    load = (0.9, 0.1)
    found = Found(np.ones_like(gone), gone, np.full(len(gone), 0.005), load, NAN)
    return Ask(
        roof, STRENGTHS, 1, aim_at(gone, roof.layout.clamp_row, load), Looked(), found, 4500, 10_000, 500
    )


@pytest.fixture(scope="module")
def banks(ask):
    return draw_rounds(ask, CAUSES, (1.0, 1.0, 1.0))


def test_rounds_tell_more_than_as_many_samples_of_one(ask, banks):
    """Half as many effective samples again of all that fit, or more, and the same shares."""
    layout, even = ask.roof.layout, (1.0, 1.0, 1.0)
    plain = [
        sample_bank(ask.roof, bank.cause, STRENGTHS, len(bank.mass), 6, ask.aim, ask.looked) for bank in banks
    ]
    by, once = ({one.cause: one for one in fit(layout, ask.found, of, even)} for of in (banks, plain))
    first = max(by.values(), key=lambda one: one.posterior).cause
    assert sum(one.tells for one in by.values()) > 1.5 * sum(one.tells for one in once.values())
    assert by[first].low - 0.05 < once[first].high
    assert once[first].low - 0.05 < by[first].high


def test_rounds_keep_to_their_limits_and_are_the_same_again(ask, banks):
    sizes = [len(bank.mass) for bank in banks]
    assert max(sizes) <= ask.most
    assert sum(sizes) <= ask.total
    assert min(sizes) >= ALWAYS * ask.first
    assert [sum(count for _, count in bank.rounds) for bank in banks] == sizes
    again = draw_rounds(ask, CAUSES, (1.0, 1.0, 1.0), lambda one, names: [one(name) for name in names])
    for one, other in zip(banks, again, strict=True):
        assert (one.mass == other.mass).all()
        assert (one.weight == other.weight).all()


def test_a_narrower_interval_asks_for_more(ask):
    """Two even shares of n effective samples each: width 2 x 1.96 x 0.25 x sqrt(2 / n)."""
    for width in (0.1, 0.05):
        n = replace(ask, interval=width).telling
        assert 2.0 * 1.96 * 0.25 * np.sqrt(2.0 / n) == pytest.approx(width)


def test_the_last_round_is_as_large_as_what_is_left(ask):
    """700 of each with rounds of 500: 500 and 200."""
    banks = draw_rounds(replace(ask, most=700), CAUSES[:2], (1.0, 1.0))
    assert [[count for _, count in bank.rounds] for bank in banks] == [[500, 200]] * 2


def test_who_is_left_out_for_want_of_samples_is_told_by_promise_not_by_the_list(ask):
    """One round more fits: it goes to the same explanation wherever it stands."""
    sizes = []
    for causes in (("more snow", "weak batch"), ("weak batch", "more snow")):
        banks = draw_rounds(replace(ask, total=1500), causes, (1.0, 1.0))
        sizes.append({bank.cause: len(bank.mass) for bank in banks})
    assert sizes[0] == sizes[1]
    assert sorted(sizes[0].values()) == [500, 1000]


def test_a_sample_is_drawn_again_though_its_explanation_was_not_in_every_round(ask, banks):
    """One that waits a round has samples of rounds 0 and 2: each is followed again as it was."""
    roof, cause = ask.roof, CAUSES[0]
    first = sample_bank(roof, cause, STRENGTHS, 600, 6, ask.aim, ask.looked)
    grid = grid_of(first.units, first.weight, np.zeros(600))
    bank = add_round(first, sample_bank(roof, cause, STRENGTHS, 600, 6, ask.aim, ask.looked, grid, 2))
    assert bank.numbers == (0, 2)
    at = [n for n in np.flatnonzero((bank.order >= 0).any(axis=1)).tolist() if n % 7 == 3][-12:]
    assert at[-1] > 600
    for n in at:
        course = course_of(roof, bank, STRENGTHS, 6, n, ask.aim)
        assert np.array_equal(course.order[bank.gave_way[n]] >= 0, bank.order[n][bank.gave_way[n]] >= 0)
        assert np.array_equal(np.flatnonzero(course.order >= 0), np.flatnonzero(bank.order[n] >= 0))


def test_rounds_can_be_gone_on_with(ask, banks):
    """As many again: the samples there were stay, new ones are others, and shares stay within their doubt."""
    more = draw_rounds(ask, CAUSES, (1.0, 1.0, 1.0), begun=banks)
    for one, other in zip(banks, more, strict=True):
        assert np.array_equal(other.mass[: len(one.mass)], one.mass)
        fresh = other.mass[len(one.mass) :]
        assert len(set(fresh.tolist()) & set(one.mass.tolist())) == 0
        assert other.weight.mean() == pytest.approx(1.0, abs=0.12)


def test_pairs_begun_where_their_single_causes_came_near_keep_the_mean(ask, banks):
    """Weights of a pair's first round are 1 in the mean and bounded, and what comes near is as likely."""
    layout, pair = ask.roof.layout, f"weak batch{AND}uneven snow"
    told = [told_of(layout, ask.found, bank) for bank in banks]
    grids = pair_grids([pair, f"more snow{AND}weak batch"], banks, told)
    begun = sample_bank(ask.roof, pair, STRENGTHS, 6000, 6, ask.aim, ask.looked, grids[pair])
    error = begun.weight.std() / np.sqrt(6000)
    assert error < 0.04
    assert begun.weight.mean() == pytest.approx(1.0, abs=3.5 * error)
    assert begun.weight.max() <= 1.0 / (BY_GRID * PLAINLY) + 1e-9
    plain = sample_bank(ask.roof, pair, STRENGTHS, 6000, 6, ask.aim, ask.looked)
    near, once = (
        bank.weight * np.exp(np.maximum(told_of(layout, ask.found, bank).log_chance, -700.0))
        for bank in (begun, plain)
    )
    error = np.hypot(near.std(), once.std()) / np.sqrt(6000)
    assert near.mean() == pytest.approx(once.mean(), abs=3.5 * error)
    of_more, of_weak = (grids[one].of["/snow"] for one in (f"more snow{AND}weak batch", pair))
    own = {
        bank.cause: grid_of(bank.units, bank.weight, one.log_chance)
        for bank, one in zip(banks, told, strict=True)
    }
    assert of_more == pytest.approx(own["more snow"].of["/snow"])  # a distribution of its own
    both = 0.5 * (own["weak batch"].of["/snow"] + own["uneven snow"].of["/snow"])
    assert of_weak == pytest.approx(both)


def test_more_rounds_go_to_what_holds_a_share_open(ask, banks):
    """Settling one explanation: those outside that can have most get the samples, not it or the hopeless."""
    before = {bank.cause: len(bank.mass) for bank in banks}
    more = draw_rounds(
        replace(ask, most=9000, total=3000), CAUSES, (1.0, 1.0, 1.0), begun=banks, kind=frozenset(CAUSES[:1])
    )
    spent = {bank.cause: len(bank.mass) - before[bank.cause] for bank in more}
    assert 0 < sum(spent.values()) <= 3000
    priors = np.ones(3) / 3.0
    told = [told_of(ask.roof.layout, ask.found, bank) for bank in banks]
    weighed = weigh(told, banks, priors)
    largest = largest_shares(told, banks, weighed, priors)
    mean = np.array([w.mean() for w in weighed.weights])
    beyond = largest - mean / mean.sum()
    assert spent[CAUSES[1 + int(beyond[1:].argmax())]] == max(spent[one] for one in CAUSES[1:])
