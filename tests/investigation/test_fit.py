"""Evidence against closed forms, and posteriors against hidden causes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from fea.analysis import analyze
from fea.evidence.causes import UNEVEN, Strengths, possible
from fea.evidence.compare import Found, summaries
from fea.evidence.explanations import Bank, Looked, course_of, sample_bank
from fea.evidence.few import FEW
from fea.evidence.fit import NOISE, fit, further
from fea.evidence.looks import SEEN
from fea.evidence.roof import evidence_roof
from fea.failure.assembled import ALONE, PARTS, SpliceLoads
from fea.failure.cascade import cascade
from fea.failure.roof_case import Laws, choose_case, unit_forces
from fea.failure.splices import part_row
from roofmodel.project.load import load_project

MODEL = Path(__file__).parents[2] / "models" / "alder-barn" / "project.toml"
NAN = (np.nan, np.nan)


@pytest.fixture(scope="module")
def analysis():
    return analyze(load_project(MODEL))


@pytest.fixture(scope="module")
def roof(analysis):
    return evidence_roof(analysis, None, Laws(mean_strength=1.2, impact=None))[0]


def none_gone(roof, cause: str, mass: np.ndarray, **signs: np.ndarray) -> Bank:
    n, c = len(mass), len(roof.layout.clamp_s)
    gone = np.zeros((n, c), dtype=bool)
    gone[:, 0] = True
    order = np.full((n, c), -1, dtype=np.int16)
    return Bank(cause, gone, order, mass, mass, signs, np.full(n, -1), np.ones(n))


def test_posterior_of_two_normal_loads_is_the_closed_form(roof):
    """Snow N(1, 0.2) or N(1.6, 0.3), measured 1.4 with deviation 0.1: marginals are normal (conjugate)."""
    rng = np.random.default_rng(2)
    a = none_gone(roof, "a", rng.normal(1.0, 0.2, 50_000))
    b = none_gone(roof, "b", rng.normal(1.6, 0.3, 50_000))
    gone = a.gave_way[0]
    found = Found(np.ones(len(gone), dtype=bool), gone, np.zeros(len(gone)), (1.4, 0.1), NAN)
    ranked = fit(roof.layout, found, (a, b), (2.0, 1.0))
    one = 2.0 * stats.norm.pdf(1.4, 1.0, np.hypot(0.2, 0.1))
    other = stats.norm.pdf(1.4, 1.6, np.hypot(0.3, 0.1))
    by = {f.cause: f for f in ranked}
    assert by["b"].posterior == pytest.approx(other / (one + other), abs=0.015)
    assert by["b"].low < other / (one + other) < by["b"].high
    # The load at which b fits: normal with precision-weighted mean.
    mean = (1.6 / 0.09 + 1.4 / 0.01) / (1.0 / 0.09 + 1.0 / 0.01)
    assert by["b"].mass[1] == pytest.approx(mean, abs=0.01)


def test_information_of_a_sign_is_that_of_a_binary_channel(roof):
    """A sign that all samples of one have and none of the other tells one bit; a shared one, nothing."""
    n = 4000
    none = {s: np.zeros(n) for s in NOISE if s != "splice"}
    a = none_gone(roof, "a", np.ones(n), **none, splice=np.ones(n))
    b = none_gone(roof, "b", np.ones(n), **none, splice=np.zeros(n))
    gone = a.gave_way[0]
    found = Found(np.ones(len(gone), dtype=bool), gone, np.zeros(len(gone)), NAN, NAN)
    by = {m.sign: m.information for m in further(fit(roof.layout, found, (a, b), (1.0, 1.0)), (a, b))}
    assert by["splice"] == pytest.approx(1.0, abs=0.01)
    assert by["wrong"] == pytest.approx(0.0, abs=1e-9)


def test_summaries_count_places_and_groups(roof):
    layout = roof.layout
    c = len(layout.clamp_s)
    gone = np.zeros((1, c), dtype=bool)
    gone[0, [3, 4, 7]] = True
    low = summaries(layout, np.ones(c, dtype=bool), gone)[0, 0]
    place = layout.clamp_s[[3, 4, 7]] / layout.row_length[0]
    assert low == pytest.approx([3.0, place.mean(), place.std(), 2.0])
    known = np.ones(c, dtype=bool)
    known[7] = False
    assert summaries(layout, known, gone)[0, 0, 0] == 2.0


def test_both_rows_gone_speak_for_snow_and_a_gap_for_missing_clamps(roof):
    cause = ("more snow", "missing clamps")
    banks = [sample_bank(roof, one, Strengths(0.15, 0.2), 1000, 1) for one in cause]
    c = len(roof.layout.clamp_s)
    row = roof.layout.clamp_row == 0
    doubt = np.full(c, 0.005)
    every = np.ones(c, dtype=bool)
    whole = fit(roof.layout, Found(every, every, doubt, NAN, NAN), banks, (1.0, 1.0))
    few = row & (np.abs(np.cumsum(row) - 20) <= 2)
    some = fit(roof.layout, Found(every, few, doubt, NAN, NAN), banks, (1.0, 1.0))
    share = [{f.cause: f.posterior for f in ranked}["missing clamps"] for ranked in (whole, some)]
    assert share[1] > share[0]


def test_without_a_drift_it_is_said_how_to_enter_what_stands_on_the_roof(roof):
    causes, cannot = possible(roof)
    assert "drift" not in causes
    assert "[[obstruction]] (eavewright fields --table obstruction)" in dict(cannot)["drift"]


def test_a_parted_rail_is_that_of_a_project_with_it_in_two(analysis, roof):
    """Snow, sliding and frame anew with the row cut at a splice: the forces of a cascade that begins so."""
    case = roof.case
    assert roof.may_part.sum() > 2
    snow, own = case.usual_snow.sum(axis=0), case.splices
    parted = np.arange(len(roof.splice_at)) == 1
    split = SpliceLoads(0.0 * own.held, own.snow[0].sum(axis=0), np.inf, 0.0, own.takes, parted)
    found = cascade(case.roof, 0.0 * snow, snow, 1e9, 0.0, splices=split)
    layout = part_row(analysis.project.layout, int(case.roof.splices.origin[1]))
    apart = replace(analysis, project=replace(analysis.project, layout=layout))
    reading = choose_case(analysis).reading
    whole = analysis.snow.cases[choose_case(analysis).case]
    anew = unit_forces(apart, (whole, whole), case.friction, reading)[1][0, 1]
    assert found.force[0] == pytest.approx(anew, rel=1e-6, abs=1e-6 * np.abs(anew).max())
    assert found.force[0].sum() == pytest.approx(snow.sum(), rel=1e-9)
    assert not np.allclose(found.force[0], snow, rtol=1e-3)


def test_snow_of_a_lost_row_runs_onto_the_next_as_hard_as_in_a_risk(roof):
    """Work and energy: 1 + s / d after 4 m from the high row down to the low one, stopped over 1 m."""
    low = roof.layout.clamp_row == 0
    high = roof.case.roof.piece[~low]
    assert roof.case.impact[high][:, low] == pytest.approx(5.0)
    assert roof.case.impact[roof.case.roof.piece[low]][:, low] == pytest.approx(
        2.0
    )  # between pieces of the low row nothing runs


def test_a_splice_that_yields_has_not_parted(roof):
    """Weak splices, every clamp holding: torn where they part, not where they hold on."""
    case, size = roof.case, len(roof.case.splices.takes)
    low = np.full(size, 30.0)
    torn = []
    for takes, kept in ((PARTS, 0.0), (ALONE, 1.0)):
        weak = replace(case.splices, capacity=low, residual=kept * low, takes=np.full(size, takes))
        one = replace(roof, case=replace(case, splices=weak), splices_known=True)
        bank = sample_bank(one, "uneven snow", Strengths(0.15, 0.2), 200, 1)
        stands = ~bank.gave_way.any(axis=1)
        assert stands.sum() > 10
        torn.append(bool(bank.torn[stands].any()))
    assert torn == [True, False]


def test_clamps_that_came_off_tell_loose_ones_from_weak_ones(roof):
    """Only a clamp that was never tightened comes off loose; one that was never there is not looked at."""
    loose, weak, missing = (
        sample_bank(roof, cause, Strengths(0.15, 0.2), 600, 1)
        for cause in ("loose clamps", "weak batch", "missing clamps")
    )
    found, failed = loose.signs["loose gone"], (loose.order >= 0).any(axis=1)
    assert failed.sum() > 30
    assert (found[~failed] == 0.0).all()
    assert found[failed].mean() > 0.5
    assert ((found >= 0.0) & (found <= 1.0)).all()
    for bank in (weak, missing):
        assert bank.gave_way.any()
        assert not bank.signs["loose gone"].any()


def test_depth_where_the_standard_has_a_drift_is_that_of_its_snow_and_not_of_the_pull():
    """At a clamp the drift adds what it adds to the pressure there, not over the whole strip above."""
    analysis = analyze(load_project(MODEL.parents[1] / "cedar-hollow" / "project.toml"))
    made, chosen = evidence_roof(analysis, None, Laws(impact=None))
    pull = made.case.usual_snow
    assert made.deeper.shape == (2, len(made.plane))
    assert (made.deeper >= -1e-12).all()
    snow = analysis.snow.cases[chosen.case]
    row = int(np.argmax((pull[1] > 0.2 * np.abs(pull[0])) & (made.deeper[0] < 0.01)))
    assert pull[1, row] > 0.2 * abs(pull[0, row])  # drift higher up pulls on it
    assert made.deeper[0, row] < 0.01, snow.name  # and none lies at the clamp


def test_depth_along_the_row_is_a_normal_likelihood(roof):
    """Bayes by hand: even snow against snow 2.7 times as deep there, told as 2.7 with deviation 0.5."""
    n = 500
    even = replace(none_gone(roof, "even", np.ones(n)), depth=np.ones((n, 1)))
    uneven = replace(none_gone(roof, "uneven", np.ones(n)), depth=np.full((n, 1), 2.7))
    gone = even.gave_way[0]
    found = Found(np.ones(len(gone), dtype=bool), gone, np.zeros(len(gone)), NAN, NAN, along=((2.7, 0.5),))
    by = {f.cause: f.posterior for f in fit(roof.layout, found, (even, uneven), (1.0, 1.0))}
    assert by["even"] / by["uneven"] == pytest.approx(np.exp(-0.5 * (1.7 / 0.5) ** 2))


def test_the_heap_is_a_normal_likelihood_however_few_samples_come_near(roof):
    """Ten samples a cause, so that clamps are compared more loosely: 100 kN told, 60 or 90 kN sampled."""
    layout, n = roof.layout, 10
    low = none_gone(roof, "low", np.ones(n), **{s: np.zeros(n) for s in NOISE})
    some = np.arange(len(layout.clamp_s)) < 6
    low.gave_way[:, :9] = True  # not six, as was found
    low, high = replace(low, fallen=np.full(n, 60e3)), replace(low, cause="high", fallen=np.full(n, 90e3))
    found = Found(np.ones(len(some), dtype=bool), some, np.zeros(len(some)), NAN, (100e3, 20e3))
    ranked = fit(layout, found, (low, high), (1.0, 1.0))
    assert ranked[0].loose > 1.0
    by = {f.cause: f.posterior for f in ranked}
    assert by["low"] / by["high"] == pytest.approx(np.exp(-0.5 * (2.0**2 - 0.5**2)))


def test_the_nearest_sample_is_near_and_not_merely_frequent(roof):
    """One sample is what was found; the others, each standing for a thousand, are two clamps off."""
    layout, n = roof.layout, 50
    bank = none_gone(roof, "a", np.ones(n), **{s: np.zeros(n) for s in NOISE})
    seen = np.arange(len(layout.clamp_s)) < 6
    bank.gave_way[:] = np.arange(len(seen)) < 8
    bank.gave_way[31] = seen
    weight = np.full(n, 1000.0)
    weight[31] = 1.0
    found = Found(np.ones(len(seen), dtype=bool), seen, np.zeros(len(seen)), NAN, NAN)
    one = fit(layout, found, (replace(bank, weight=weight),), (1.0,))[0]
    assert one.nearest == 31
    assert np.argmax(one.weight) != 31


def test_screws_found_loose_speak_for_loose_clamps(roof):
    """Six looked at: none loose speaks against a sample with six, six speak for it, and three are as far."""
    n = 500
    tight = replace(none_gone(roof, "tight", np.ones(n)), loose=np.zeros((n, 1)))
    slack = replace(none_gone(roof, "slack", np.ones(n)), loose=np.full((n, 1), 6.0))
    gone = tight.gave_way[0]
    share = []
    for loose in (0, 3, 6):
        found = Found(
            np.ones(len(gone), dtype=bool), gone, np.zeros(len(gone)), NAN, NAN, screws=((6, loose, 0.0),)
        )
        by = {f.cause: f.posterior for f in fit(roof.layout, found, (tight, slack), (1.0, 1.0))}
        share.append(by["slack"])
    assert share[0] < 1e-9
    assert share[1] == pytest.approx(0.5)  # as far from both
    assert share[2] > 1.0 - 1e-9


def test_heaped_snow_reaches_four_times_and_is_told_at_its_clamp(roof):
    c = len(roof.layout.clamp_s)
    looked = Looked(np.arange(c), (np.arange(5), np.arange(5, c)))
    uneven = sample_bank(roof, "uneven snow", Strengths(0.15, 0.2), 1000, 1, looked=looked)
    top = uneven.depth.max(axis=1)
    assert np.quantile(top, [0.0, 1.0]) == pytest.approx([1.0 + UNEVEN[0], 1.0 + UNEVEN[1]], abs=0.05)
    assert top == pytest.approx(1.0 + uneven.signs["uneven"])
    slack = sample_bank(roof, "loose clamps", Strengths(0.15, 0.2), 500, 1, looked=looked)
    assert (slack.depth == 1.0).all()
    assert 0.0 < slack.loose[:, 1].mean() < c - 5
    assert not uneven.loose.any()


def test_a_sample_drawn_again_goes_the_same_way(roof):
    """Its clamps in the same order, each at a bond that only falls, from all of it to what is left."""
    bank = sample_bank(roof, "missing clamps", Strengths(0.15, 0.2), 700, 1)
    number = 500 + int(np.argmax((bank.order[500:] >= 0).sum(axis=1)))
    course = course_of(roof, bank, Strengths(0.15, 0.2), 1, number)
    went = np.flatnonzero(bank.order[number] >= 0)
    went = went[np.argsort(bank.order[number][went])]
    assert len(went) > 2
    left = [course.bond_left(int(k)) for k in went]
    assert np.all(np.diff(left) <= 1e-12)
    assert left[0] < 1.0
    assert left[-1] >= course.bond[0] - 1e-12


def test_parting_keeps_every_clamp_where_it_was(roof):
    layout = roof.layout
    apart = part_row(layout, 1)
    way = (apart.row_end - apart.row_start) / apart.row_length[:, None]
    at = apart.row_start[apart.clamp_row] + apart.clamp_s[:, None] * way[apart.clamp_row]
    was = (layout.row_end - layout.row_start) / layout.row_length[:, None]
    before = layout.row_start[layout.clamp_row] + layout.clamp_s[:, None] * was[layout.clamp_row]
    assert at == pytest.approx(before)
    assert apart.clamp_name == layout.clamp_name
    assert len(apart.splice_s) == len(layout.splice_s) - 1


def three_rows(folder: Path) -> Path:
    """The same hardware on a roof with two planes, two rows on one of them and a partial one on the other."""
    text = MODEL.read_text().replace("0 0, 36 0, 36 16, 0 16 m", "0 0, 22 0, 22 16, 0 16 m")
    door = '[[row]]\nname = "door"\nplane = "N1"\nup = "0.6 m"\nstart = "6 m"\nend = "15 m"\nevery = 2\n'
    file = folder / "project.toml"
    file.write_text(text.replace("[design]", f"{door}\n[design]"))
    return file


@pytest.mark.slow
@pytest.mark.parametrize("rows", [2, 3])
def test_posteriors_are_calibrated_over_200_hidden_causes(roof, rows, tmp_path):
    """What is claimed is right as often as claimed: mean posterior of the first, and how often it is so."""
    if rows == 3:
        roof = evidence_roof(
            analyze(load_project(three_rows(tmp_path))), None, Laws(mean_strength=1.2, impact=None)
        )[0]
    causes, _ = possible(roof)
    banks = [sample_bank(roof, one, Strengths(0.15, 0.2), 4000, 1) for one in causes]
    hidden = [sample_bank(roof, one, Strengths(0.15, 0.2), 1000, 99) for one in causes]
    rng = np.random.default_rng(5)
    c = len(roof.layout.clamp_s)
    claimed, right, true, covered = [], [], [], []
    while len(claimed) < 200:
        i = int(rng.integers(len(causes)))
        s = int(rng.integers(len(hidden[i].mass)))
        gone = hidden[i].gave_way[s]
        if not gone.any() or hidden[i].idle[s].any():
            continue
        fallen = float(hidden[i].fallen[s] * (1.0 + 0.3 * rng.standard_normal()))
        load = float(hidden[i].mass[s] * (1.0 + 0.15 * rng.standard_normal()))
        found = Found(
            np.ones(c, dtype=bool),
            gone,
            np.full(c, 0.005),
            (load, 0.15 * abs(load)),
            (fallen, 0.3 * abs(fallen)),
        )
        # Only what let something go could be looked into: the same holds for the samples.
        seen = [_seen(bank) for bank in banks]
        share = [_told(bank).mean() for bank in banks]
        ranked = fit(roof.layout, found, seen, share)
        claimed.append(ranked[0].posterior)
        right.append(ranked[0].cause == causes[i])
        own = next(f for f in ranked if f.cause == causes[i])
        true.append(own.posterior)
        if own.near >= FEW:
            covered.append(own.mass[0] <= hidden[i].mass[s] <= own.mass[2])
    wide = 2.6 * np.sqrt(np.mean(np.array(claimed) * (1.0 - np.array(claimed))) / len(claimed))
    assert np.mean(right) == pytest.approx(np.mean(claimed), abs=wide + 0.03)
    assert np.mean(true) > 1.3 / len(causes)
    # The snow at which it fits holds the true one nearly as often as its 90 % say; few samples are loosened.
    assert len(covered) > 30
    assert np.mean(covered) > 0.8


def _told(bank: Bank) -> np.ndarray:
    """Samples in which something gave way and the explanation had a part in it."""
    return bank.gave_way.any(axis=1) & ~bank.idle.any(axis=1)


def _seen(bank: Bank) -> Bank:
    some = _told(bank)
    of = {
        "gave_way": bank.gave_way[some],
        "order": bank.order[some],
        "parted": bank.parted[some],
        "weight": bank.weight[some],
        "torn": bank.torn[some],
        "idle": bank.idle[some],
    }
    return replace(bank, **of, mass=bank.mass[some], fallen=bank.fallen[some])


def test_a_splice_found_parted_speaks_for_it_and_a_whole_one_against(roof):
    """Bayes by hand: the same pattern from both, one with that splice parted in every sample."""
    n = 500
    plain = none_gone(roof, "a", np.ones(n))
    clamp = int(roof.splice_at[0])
    parted = replace(none_gone(roof, "b", np.ones(n)), parted=np.full(n, clamp))
    gone = plain.gave_way[0]
    found = Found(np.ones(len(gone), dtype=bool), gone, np.zeros(len(gone)), NAN, NAN)
    for state in ("parted", "bent", "whole"):
        seen = replace(found, rails=((clamp, state, 0.1, None),))
        by = {f.cause: f.posterior for f in fit(roof.layout, seen, (plain, parted), (1.0, 1.0))}
        before, _, still = SEEN[state]
        here, not_here = (0.9 * p + 0.1 / 3.0 for p in (before, still))
        assert by["b"] == pytest.approx(here / (here + not_here))
    assert sum(one[0] for one in SEEN.values()) == pytest.approx(1.0)
    assert all(sum(one[k] for one in SEEN.values()) == pytest.approx(1.0) for k in range(3))


def test_a_splice_that_was_told_has_nothing_left_to_tell(roof):
    """One bit of a splice that none looked at; none of it once its state is known."""
    n, clamp = 2000, int(roof.splice_at[0])
    none = {sign: np.zeros(n) for sign in NOISE if sign != "splice"}
    a = replace(none_gone(roof, "a", np.ones(n), **none, splice=np.ones(n)), parted=np.full(n, clamp))
    b = none_gone(roof, "b", np.ones(n), **none, splice=np.zeros(n))
    gone = a.gave_way[0]
    fits = fit(
        roof.layout,
        Found(np.ones(len(gone), dtype=bool), gone, np.zeros(len(gone)), NAN, NAN),
        (a, b),
        (1.0, 1.0),
    )
    for told, bit in (((), 1.0), ((clamp,), 0.0), ((int(roof.splice_at[1]),), 1.0)):
        by = {one.sign: one.information for one in further(fits, (a, b), roof.layout, told)}
        assert by["splice"] == pytest.approx(bit, abs=0.01)
