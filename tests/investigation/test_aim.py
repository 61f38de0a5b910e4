"""Samples that are drawn where something was found: weights give the plain distributions back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from fea.analysis import analyze
from fea.evidence.aim import PLAIN, Aim, aim_at, draw_place, draw_snow, draw_stretch, length_chances, together
from fea.evidence.causes import SNOW, Strengths
from fea.evidence.compare import Found
from fea.evidence.explanations import load_by_heap, sample_bank
from fea.evidence.few import DRAWS
from fea.evidence.fit import fit, load_range
from fea.evidence.meant import as_meant, meant_at
from fea.evidence.roof import evidence_roof
from fea.failure.roof_case import Laws
from roofmodel.project.load import load_project
from roofmodel.units import SI
from tests.investigation.test_fit import NAN, none_gone
from viewer.investigate.findings import meant

FREE, MANY = np.full(200_000, np.nan), np.full(600_000, np.nan)
MODEL = Path(__file__).parents[2] / "models" / "alder-barn" / "project.toml"


@pytest.fixture(scope="module")
def analysis():
    return analyze(load_project(MODEL))


@pytest.fixture(scope="module")
def roof(analysis):
    return evidence_roof(analysis, None, Laws(mean_strength=1.2))[0]


@pytest.fixture(scope="module")
def weak(analysis):
    """So weak that every explanation has many samples that fail."""
    return evidence_roof(analysis, None, Laws(mean_strength=0.6))[0]


def test_places_are_even_once_weighted():
    """Owen, Monte Carlo theory, methods and examples, chapter 9: E[w f] is that of the plain distribution."""
    near = np.zeros(40, dtype=bool)
    near[10:17] = True
    at, weight, unit = draw_place(np.random.default_rng(3), near, FREE)
    assert (np.floor(unit * 40.0) == at).all()
    assert np.mean(near[at]) == pytest.approx(PLAIN * 7 / 40 + 1.0 - PLAIN, abs=0.005)
    share = np.bincount(at, weight, minlength=40) / len(at)
    assert share == pytest.approx(np.full(40, 1.0 / 40.0), abs=0.002)
    assert weight.max() <= 1.0 / PLAIN + 1e-12


def test_stretches_are_even_in_place_and_length_once_weighted():
    """Every place as often, lengths as 1 / length, though most are drawn where one gave way."""
    gone = np.zeros(50, dtype=bool)
    gone[20:28] = True
    aim = aim_at(gone, np.zeros(50, dtype=int), NAN)
    assert aim.span == (20, 27)
    (at, long), weight, _ = draw_stretch(np.random.default_rng(3), aim, 2, 16, (MANY, MANY))
    share = np.bincount(at * 20 + long, weight, minlength=1000).reshape(50, 20) / len(at)
    chance = 1.0 / np.arange(2, 17)
    chance /= chance.sum()
    assert length_chances(2, 16) == pytest.approx(chance)
    assert share[:, 2:17] == pytest.approx(np.tile(chance / 50.0, (50, 1)), rel=0.45)
    assert share.sum(axis=1) == pytest.approx(np.full(50, 0.02), rel=0.06)
    assert share.sum(axis=0)[2:17] == pytest.approx(chance, rel=0.06)
    assert weight.max() <= 1.0 / (PLAIN * (0.5 + 0.5 * PLAIN)) + 1e-12
    inner = (at >= 22) & (at <= 25) & (long <= 12)
    assert inner.mean() > 5.0 * 4 / 50 * 11 / 15
    gone[::2] = True
    assert aim_at(gone, np.zeros(50, dtype=int), NAN).span is None


def test_snow_is_lognormal_once_weighted():
    """Mean and quantiles of the closed form, far from where most samples are drawn too."""
    middle, spread = SNOW
    free = np.full(400_000, np.nan)
    mass, weight, unit = draw_snow(np.random.default_rng(4), free, middle, spread, (1.2, 0.15))
    assert unit == pytest.approx(stats.lognorm.cdf(mass, spread, scale=middle), abs=1e-9)
    assert weight.mean() == pytest.approx(1.0, abs=0.005)
    assert weight.max() <= 1.0 / PLAIN + 1e-12
    assert np.mean(weight * mass) == pytest.approx(middle * np.exp(0.5 * spread**2), rel=0.01)
    for at in (0.3, 0.6, 1.2, 1.6):
        below = stats.lognorm.cdf(at, spread, scale=middle)
        assert np.mean(weight * (mass < at)) == pytest.approx(below, abs=0.005)
    assert 1.0 < np.median(mass) < 1.2  # between what is usual and what was measured


def test_the_heap_alone_bounds_the_load_at_both_ends():
    """Normal likelihood N(1.8, 0.45) of snow even on a log scale: its 5 and 95 %, whatever is usual."""
    middle, spread = SNOW
    told = (1.8, 0.45)
    mass, weight, _ = draw_snow(np.random.default_rng(6), np.full(30_000, np.nan), middle, spread, told)
    bank = SimpleNamespace(cause="weak batch", mass=mass)
    low, half, high = load_range(bank, weight * stats.norm.pdf(told[0], mass, told[1]))
    at = np.geomspace(0.2, 6.0, 4000)
    below = np.cumsum(stats.norm.pdf(told[0], at, told[1]))
    assert [low, half, high] == pytest.approx(np.interp([0.05, 0.5, 0.95], below / below[-1], at), rel=0.03)
    few = np.where(np.arange(len(mass)) < 200, weight * stats.norm.pdf(told[0], mass, told[1]), 0.0)
    wider = load_range(bank, few)
    assert wider[0] < low * 1.02
    assert wider[2] > high * 0.98
    assert np.isnan(load_range(bank, np.where(np.arange(len(mass)) < 2, weight, 0.0))[[0, 2]]).all()


def test_measurements_go_together_by_their_variances():
    assert together((1.0, 0.1), NAN) == pytest.approx((1.0, 0.1))
    assert together((1.0, 0.1), (1.6, 0.2)) == pytest.approx((1.12, (1.0 / 125.0) ** 0.5))
    assert np.isnan(together(NAN, NAN)).all()


def test_the_heap_tells_the_snow_of_the_clamps_that_it_came_from(roof):
    """A whole row gone: the weight that fell over that of the row's snow in the case."""
    row = roof.layout.clamp_row == 0
    weight = float(np.sum(roof.case.weight, axis=0)[0])
    assert load_by_heap(roof, row, (1.5 * weight, 0.3 * weight)) == pytest.approx((1.5, 0.3))
    some = row & (np.cumsum(row) <= row.sum() // 2)
    half = some.sum() / row.sum()
    assert load_by_heap(roof, some, (1.5 * half * weight, 0.3 * weight))[0] == pytest.approx(1.5)


def test_aim_stays_in_the_row_of_what_gave_way(roof):
    row = roof.layout.clamp_row
    gone = np.zeros(len(row), dtype=bool)
    gone[np.flatnonzero(row == 0)[-1]] = True
    near = aim_at(gone, row, NAN).near
    assert near.sum() == 4
    assert (row[near] == 0).all()


@pytest.mark.parametrize(
    "cause",
    [
        "missing clamps",
        "loose clamps",
        "weak batch",
        "uneven snow",
        "splice parted",
        "splice never screwed",
    ],
)
def test_aimed_samples_fail_as_often_as_plain_ones(weak, cause):
    """An unbiased estimate: the chance to lose clamps, within four standard errors of both."""
    c = len(weak.layout.clamp_s)
    near = np.zeros(c, dtype=bool)
    near[30:44] = True
    banks = [
        sample_bank(weak, cause, Strengths(0.15, 0.2), 1500, 1, aim)
        for aim in (None, Aim(near, (0.9, 0.15), (33, 40)))
    ]
    many = [bank.weight * (bank.gave_way.sum(axis=1) > 3) for bank in banks]
    assert many[0].sum() > 30
    error = np.sqrt(sum(one.var() / len(one) for one in many))
    assert many[0].mean() == pytest.approx(many[1].mean(), abs=4.0 * error)
    assert banks[0].weight.min() == banks[0].weight.max() == 1.0
    assert banks[1].weight.mean() == pytest.approx(1.0, abs=0.15)
    plain, aimed = (bank.gave_way[:, near].sum() / bank.gave_way.sum() for bank in banks)
    assert aimed > plain


def test_laws_of_the_project_hold_for_every_roof_that_is_sampled(analysis):
    half = np.full(len(analysis.project.layout.clamp_s), 0.5)
    made, _ = evidence_roof(analysis, None, Laws(mean_strength=1.2, unzip=0.3, residual=half))
    for case in (made.case, made.drifted):
        assert (case.roof.unzip == 0.3).all()
        assert case.residual == pytest.approx(0.5 * case.capacity)


def test_splices_can_tear_in_every_explanation_and_are_told_where(weak):
    """Pieces let go by themselves: some samples lose a row up to a splice that tore there."""
    bank = sample_bank(weak, "more snow", Strengths(0.15, 0.2), 600, 1)
    assert bank.torn.any()
    assert not bank.torn[:, np.setdiff1d(np.arange(bank.torn.shape[1]), weak.splice_at)].any()
    assert (bank.parted == -1).all()
    ends = bank.gave_way[:, 1:] != bank.gave_way[:, :-1]
    assert (ends & (bank.torn[:, 1:] | bank.torn[:, :-1])).any()


def test_the_roof_as_meant_lets_go_where_its_first_clamp_is_used_up(roof):
    """Elastic until then: (strength - held) / snow of the clamp that is used most."""
    case = roof.case
    snow = case.usual_snow.sum(axis=0)
    assert as_meant(roof) == pytest.approx(float(((case.capacity - case.held) / snow).min()), rel=1e-6)


@pytest.mark.parametrize(
    ("share", "words", "never"),
    [
        (1.5, "If the bond let go, it needed no flaw", "does not explain"),
        (0.5, "weakest of many clamps holds less than the mean without being a flaw", "no flaw to fail"),
        (1.0, "bond and scatter of the clamps decide", "more than"),
    ],
)
def test_the_roof_as_meant_is_told_without_blame_that_scatter_could_take(roof, share, words, never):
    lay = share * as_meant(roof)
    found = SimpleNamespace(
        units=SI,
        roof=roof,
        pressure=1.0,
        evidence=SimpleNamespace(
            load=(lay, 0.1 * lay), along=(), gave_way=np.ones(roof.case.clamps, dtype=bool)
        ),
    )
    text = meant(found)
    assert words in text
    assert never not in text
    assert "drift" not in text
    still = roof.case.snow[:, :1]
    drifted = replace(roof, case=replace(roof.case, snow=np.concatenate([still, 0.5 * still], axis=1)))
    assert "with the drift of the case" in meant(SimpleNamespace(**{**vars(found), "roof": drifted}))


def test_the_roof_as_meant_has_the_snow_as_it_was_entered_along_the_row(roof):
    """Twice as deep all along the lower row: half the even snow is what lets its first clamp go."""
    case, low = roof.case, roof.layout.clamp_row == 0
    deep = np.where(low, 2.0, np.nan)
    still, drift = case.usual_snow
    pull = np.where(low, 2.0 * still, still + drift)
    first = ((case.capacity - case.held) / pull).min()
    assert as_meant(roof, over=deep) == pytest.approx(float(first), rel=1e-6)
    lay = as_meant(roof, over=deep)
    found = SimpleNamespace(
        units=SI, roof=roof, pressure=1.0,
        evidence=SimpleNamespace(
            load=(lay, 0.05 * lay), along=((int(np.argmax(low)), 2.0, 0.3),), gave_way=low
        ),
    )  # fmt: skip
    assert "as entered along low (up to 2 times even snow)" in meant(found)
    assert "bond and scatter of the clamps decide" in meant(found)
    found.evidence.along = ()
    assert "does not explain" in meant(found)


def test_an_explanation_that_no_sample_of_comes_near_has_a_bound_not_nothing(roof):
    """None of n near: at most -ln 0.025 of as much weight (Clopper and Pearson's 1 - 0.025^(1/n) of n)."""
    n = 2000
    a = none_gone(roof, "a", np.ones(n))
    far = none_gone(roof, "b", np.full(n, 9.0))
    gone = a.gave_way[0]
    found = Found(np.ones(len(gone), dtype=bool), gone, np.zeros(len(gone)), (1.0, 0.1), NAN)
    by = {one.cause: one for one in fit(roof.layout, found, (a, far), (1.0, 1.0))}
    assert by["b"].near == 0
    assert by["b"].posterior < 1e-9
    bound = 1.0 - 0.025 ** (1.0 / n)
    assert by["b"].high == pytest.approx(bound / (1.0 + bound), rel=6.0 / np.sqrt(0.025 * DRAWS))
    assert by["a"].low == pytest.approx(1.0 - by["b"].high)


def test_a_clamp_that_stands_is_not_taken_for_what_let_the_loss_begin(roof):
    """The weakest place can lie far from the loss: both loads are told, the one at the loss is judged."""
    each = meant_at(roof, np.full(roof.case.clamps, np.nan))
    assert each.min() == pytest.approx(as_meant(roof), rel=1e-6)
    strong = each > 1.1 * each.min()
    lay = float(each[strong].min())
    found = SimpleNamespace(
        units=SI, roof=roof, pressure=1.0,
        evidence=SimpleNamespace(load=(lay, 0.01 * lay), along=(), gave_way=strong),
    )  # fmt: skip
    text = meant(found)
    assert f"{roof.layout.clamp_name[int(each.argmin())]}, which did not come off" in text
    assert "about what lay that day" in text
