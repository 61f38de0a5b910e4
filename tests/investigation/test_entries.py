"""What can be entered moves the odds by Bayes' rule, worked by hand."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from textwrap import dedent

import numpy as np
import pytest

from fea.analysis import analyze
from fea.evidence.aim import Aim
from fea.evidence.causes import PAIRS, Strengths, pairs_of, splice_sides
from fea.evidence.compare import Found, effective
from fea.evidence.explanations import Looked, add_round, course_of, sample_bank
from fea.evidence.fit import NOISE, fit, further
from fea.evidence.grids import Grid, edges, grid_of
from fea.evidence.looks import SPAN_BENT, UNSCREWED
from fea.evidence.roof import evidence_roof
from fea.failure.roof_case import Laws
from roofmodel.errors import InputError
from roofmodel.project.evidence import load_evidence
from roofmodel.project.load import load_project
from tests.investigation.test_fit import NAN, none_gone

MODEL = Path(__file__).parents[2] / "models" / "alder-barn"
STRENGTHS = Strengths(0.15, 0.2)


@pytest.fixture(scope="module")
def roof():
    return evidence_roof(analyze(load_project(MODEL / "project.toml")), None, Laws(mean_strength=1.2))[0]


@pytest.fixture(scope="module")
def weak():
    project = load_project(MODEL / "project.toml")
    return evidence_roof(analyze(project), None, Laws(mean_strength=0.6))[0]


def nothing_else(gone: np.ndarray, **told) -> Found:
    return Found(np.ones(len(gone), dtype=bool), gone, np.zeros(len(gone)), NAN, NAN, **told)


def shares(roof, found, *banks):
    return {one.cause: one.posterior for one in fit(roof.layout, found, banks, [1.0] * len(banks))}


def test_splices_without_screws_speak_for_the_one_that_never_had_any(roof):
    """Two causes with that splice open in every sample, told wrong in 5 %: odds 19 to 1 and 1 to 19."""
    n, clamp = 300, int(roof.splice_at[0])
    torn = replace(
        none_gone(roof, "a", np.ones(n)), parted=np.full(n, clamp), unscrewed=np.zeros(n, dtype=bool)
    )
    bare = replace(torn, cause="b", unscrewed=np.ones(n, dtype=bool))
    for there, odds in ((False, 19.0), (True, 1.0 / 19.0)):
        found = nothing_else(torn.gave_way[0], splice_screws=((clamp, there, 0.05),))
        share = shares(roof, found, torn, bare)
        assert share["b"] / share["a"] == pytest.approx(odds)
    other = nothing_else(torn.gave_way[0], splice_screws=((int(roof.splice_at[-1]), False, 0.05),))
    assert shares(roof, other, torn, bare)["b"] == pytest.approx(0.5)
    whole = nothing_else(torn.gave_way[0], rails=((clamp, "whole", 0.0, None),))
    assert shares(roof, whole, torn, bare)["b"] == pytest.approx(
        1.0
    )  # one that had parted is not found whole
    assert sum(UNSCREWED.values()) == pytest.approx(1.0)


def test_types_that_were_checked_are_two_binomials(roof):
    """Four looked at, each told wrong in 10 %: none wrong is 0.9^4 of right ones, 0.1^4 of wrong ones."""
    n = 300
    right = replace(none_gone(roof, "right", np.ones(n)), wrong=np.zeros((n, 1)))
    wrong = replace(none_gone(roof, "wrong", np.ones(n)), wrong=np.full((n, 1), 4.0))
    for told, odds in ((0, (0.9 / 0.1) ** 4), (4, (0.1 / 0.9) ** 4), (2, 1.0)):
        share = shares(roof, nothing_else(right.gave_way[0], kinds=((4, told, 0.1),)), right, wrong)
        assert share["right"] / share["wrong"] == pytest.approx(odds)


def test_a_bend_away_from_splices_speaks_for_a_loss_that_ends_there(roof):
    """Chances by hand of a rail bent and whole where a loss ends, within one, and where all stands."""
    n, c = 300, len(roof.layout.clamp_s)
    ends, within, stands = (none_gone(roof, name, np.ones(n)) for name in ("ends", "within", "stands"))
    at = 12
    ends.gave_way[:, at] = True
    within.gave_way[:, at - 2 : at + 3] = True
    found = Found(np.arange(c) == 0, ends.gave_way[0], np.zeros(c), NAN, NAN)
    for bent in (True, False):
        share = shares(roof, replace(found, spans=((at, bent, 0.1),)), ends, within, stands)
        chance = 0.9 * np.array(SPAN_BENT if bent else 1.0 - np.array(SPAN_BENT)) + 0.05
        told = [share[name] for name in ("ends", "within", "stands")]
        assert told == pytest.approx(chance / chance.sum())


def test_torn_clamps_are_as_strong_as_made_whatever_their_screws(weak):
    """Tightened again, loose ones hold what the others do; weak ones stay as weak."""
    c = len(weak.layout.clamp_s)
    group = (np.arange(c),)
    made = {
        (cause, tight): sample_bank(
            weak, cause, STRENGTHS, 600, 1, looked=Looked(pulled=group, tightened=(tight,))
        ).pulled.mean()
        for cause in ("loose clamps", "weak batch")
        for tight in (True, False)
    }
    assert made["loose clamps", True] == pytest.approx(1.0, abs=0.02)
    assert made["loose clamps", False] < 0.93
    assert made["weak batch", True] == pytest.approx(made["weak batch", False], rel=1e-12)
    assert made["weak batch", True] < 0.93


def test_a_clamp_that_a_rail_pries_is_as_strong_as_ever_by_itself(weak):
    """Pulled off its rail, on the roof or in a laboratory, what prying takes is back."""
    c = len(weak.layout.clamp_s)
    at = np.unique(np.concatenate(splice_sides(weak)))
    for tight in (True, False):
        looked = Looked(pulled=(at,), tightened=(tight,))
        bank = sample_bank(weak, "splice never screwed", STRENGTHS, 600, 1, looked=looked)
        assert bank.pulled.mean() == pytest.approx(1.0, abs=0.02)
    assert bank.signs["standing"].mean() == pytest.approx(1.0, abs=0.03)
    assert bank.signs["torn"][bank.gave_way.any(axis=1)].mean() > 0.85
    assert len(at) < c


def test_two_explanations_at_once_are_two():
    """A sample has one open splice: parted and never screwed together are one of them again."""
    causes = ("more snow", "splice parted", "splice never screwed")
    names, weights = pairs_of(causes, (1.0, 2.0, 1.0))
    assert names == ("more snow + splice parted", "more snow + splice never screwed")
    assert weights == pytest.approx((PAIRS * 4.0 * 2.0 / 3.0, PAIRS * 4.0 / 3.0))


def test_clamps_that_came_off_are_pulled_where_the_sample_lost_its_own(weak):
    """Found off low-30..40; a sample that lost others hands its own over: weak ones are found weak."""
    c = len(weak.layout.clamp_s)
    off = np.zeros(c, dtype=bool)
    off[30:40] = True
    looked = Looked(
        pulled=(np.flatnonzero(off),), tightened=(True,), known=np.ones(c, dtype=bool), gave_way=off
    )
    bank = sample_bank(weak, "weak batch", STRENGTHS, 800, 1, looked=looked)
    row = weak.layout.clamp_row == weak.layout.clamp_row[30]
    some = bank.gave_way[:, row].any(axis=1) & (bank.gave_way.sum(axis=1) < 20)
    assert some.sum() > 20
    assert bank.pulled[some].mean() < 0.85


def test_prying_lets_the_clamps_beside_a_splice_without_screws_go_first(weak):
    """Clamps that hold 40 to 100 % let go at snow at which a splice that had parted loses few, and begin."""
    lost = []
    for cause in ("splice parted", "splice never screwed"):
        bank = sample_bank(weak, cause, STRENGTHS, 1500, 1)
        lost.append(bank.gave_way.any(axis=1).mean())
        assert bank.unscrewed.all() == (cause == "splice never screwed")
    assert lost[1] > 3.0 * lost[0]
    some = (bank.order >= 0).any(axis=1)
    first = np.where(bank.order >= 0, bank.order, 9999).argmin(axis=1)
    assert (np.abs(first - bank.parted)[some] <= 1).mean() > 0.95


@pytest.mark.parametrize(
    "cause", ["weak batch", "loose clamps", "uneven snow", "splice never screwed", "wrong clamp"]
)
def test_rounds_drawn_by_a_grid_are_unbiased(weak, cause):
    """Weights of the mixture are 1 in the mean, and the chance of a loss is that of plain samples.

    The grid comes from samples of its own: one that weights those it was made from is a few percent low.
    Scattered and side by side are half each: place and length of no stretch count in no density.
    """
    c = len(weak.layout.clamp_s)
    near = np.zeros(c, dtype=bool)
    near[30:44] = True
    aim = Aim(near, (0.9, 0.15), (33, 40))
    plain = sample_bank(weak, cause, STRENGTHS, 2000, 3)
    pilot = sample_bank(weak, cause, STRENGTHS, 1000, 2, aim)
    lost = np.abs(pilot.gave_way.sum(axis=1) - 10.0)
    grid = grid_of(pilot.units, pilot.weight, -0.5 * (lost / 4.0) ** 2)
    first = sample_bank(weak, cause, STRENGTHS, 1000, 1, aim)
    both = add_round(first, sample_bank(weak, cause, STRENGTHS, 3000, 1, aim, grid=grid, number=1))
    assert both.weight.mean() == pytest.approx(1.0, abs=0.06)
    if f"{cause}/side" in both.units:
        side = both.units[f"{cause}/side"] < 0.5
        halves = [(both.weight * side).mean(), (both.weight * ~side).mean()]
        assert halves == pytest.approx([0.5, 0.5], abs=0.03)
    many = [one.weight * (one.gave_way.sum(axis=1) > 3) for one in (plain, both)]
    error = np.sqrt(sum(one.var() / len(one) for one in many))
    assert many[0].mean() == pytest.approx(many[1].mean(), abs=4.0 * error)
    told = [np.exp(-0.5 * ((one.gave_way.sum(axis=1) - 10.0) / 4.0) ** 2) for one in (first, both)]
    tells = [effective(one.weight * chance) for one, chance in zip((first, both), told, strict=True)]
    assert tells[1] > 1.8 * tells[0]  # twice as many samples, none of them wasted
    course = course_of(weak, both, STRENGTHS, 1, 1500, aim)  # a sample of the second round, drawn again
    assert (course.order >= 0).tolist() == (both.order[1500] >= 0).tolist()


def test_a_grid_draws_by_the_density_that_it_says():
    """Numbers drawn by a grid: their histogram is its density times the plain chance of each bin."""
    rng = np.random.default_rng(2)
    for name in ("a/hold", "/snow", "a/place"):
        value = rng.random(4000)
        grid = grid_of({name: value}, np.ones(4000), np.where(value > 0.8, 0.0, -20.0))
        drawn = grid.inverse(name, rng.random(200_000))
        count = np.histogram(drawn, edges(name))[0] / 200_000
        assert count == pytest.approx(grid.of[name] * np.diff(edges(name)), abs=0.004)
        assert (drawn > 0.75).mean() > 0.75
        assert np.sum(grid.of[name] * np.diff(edges(name))) == pytest.approx(1.0)
    assert (Grid().inverse("a", np.array([0.3])) == 0.3).all()


def test_looks_rank_by_the_information_of_their_readings(roof):
    """Brute force: draw a cause and a reading, work the shares out anew, count the bits that are won."""
    rng, n = np.random.default_rng(4), 400
    none = {sign: np.zeros(n) for sign in NOISE}
    signs = (
        {"standing": rng.normal(1.0, 0.05, n), "loose": np.zeros(n), "wrong": np.zeros(n)},
        {"standing": rng.normal(0.9, 0.05, n), "loose": rng.uniform(0.0, 0.3, n), "wrong": np.zeros(n)},
        {"standing": rng.normal(0.7, 0.1, n), "loose": np.zeros(n), "wrong": np.full(n, 0.5)},
    )
    banks = [
        none_gone(roof, name, np.ones(n), **(none | own)) for name, own in zip("abc", signs, strict=True)
    ]
    weight = [rng.random(n), np.ones(n), rng.random(n) ** 2]
    fits = fit(roof.layout, nothing_else(banks[0].gave_way[0]), banks, (3.0, 2.0, 1.0))
    fits = [replace(one, weight=weight["abc".index(one.cause)]) for one in fits]
    by = {one.sign: one.information for one in further(fits, banks)}
    prior, brute = np.array([0.5, 1.0 / 3.0, 1.0 / 6.0]), {}
    for sign in ("standing", "loose", "wrong"):
        noise, won = NOISE[sign], []
        for _ in range(4000):
            i = rng.choice(3, p=prior)
            s = rng.choice(n, p=weight[i] / weight[i].sum())
            reading = signs[i][sign][s] + noise * rng.standard_normal()
            likely = np.array(
                [w @ np.exp(-0.5 * ((reading - own[sign]) / noise) ** 2) / w.sum()
                 for w, own in zip(weight, signs, strict=True)]
            )  # fmt: skip
            after = prior * likely / (prior @ likely)
            won.append(np.log2(max(after[i], 1e-300) / prior[i]))
        brute[sign] = np.mean(won)
        assert by[sign] == pytest.approx(brute[sign], abs=4.0 * np.std(won) / 4000**0.5 + 0.01)
    assert sorted(brute, key=brute.get) == sorted(brute, key=by.get)
    assert [one.information for one in further(fits, banks)] == sorted(by.values(), reverse=True)


SPAN = '[[rail]]\nnear = "low-12"\nat = "span"\nstate = '
BAD = {
    "none": ('[[type]]\nclamps = "low-02..low-05"\nwrong = 9\n', "type 1.wrong = 9 of 4 clamps"),
    "twice": ('[[type]]\nclamps = "low-02"\nwrong = 0\n' * 2, "low-02 is in two [[type]]"),
    "negative": ('[[type]]\nclamps = "low-02"\nwrong = -1\n', "type 1.wrong"),
    "no kept": ('[[pulled]]\nclamps = "low-36"\nmean = "8 kN"\n', "pulled 1.kept is missing: low-36 gave"),
    "kept stands": ('[[pulled]]\nclamps = "low-02"\nmean = "8 kN"\nkept = 0.8\n', "low-02 did not give way"),
    "kept over 1": ('[[pulled]]\nclamps = "low-36"\nmean = "8 kN"\nkept = 1.2\n', "pulled 1.kept"),
    "each": ('[[pulled]]\nclamps = "low-36"\neach = ["8 kN", "9 kN"]\nkept = 1\n', "2 strengths of 1 clamps"),
    "parted span": (f'{SPAN}"parted"\n', 'state = "parted" tells of a splice'),
    "screws of span": (f'{SPAN}"bent"\nscrews = false\n', "screws tells of a splice"),
    "span twice": (f'{SPAN}"bent"\n' * 2, "is told twice"),
    "span at a splice": (
        f'{SPAN.replace("low-12", "low-38")}"bent"\n',
        "but low-38 is within 2 clamps of a splice",
    ),
    "kept as it came": (
        '[[pulled]]\nclamps = "low-36"\nmean = "8 kN"\nkept = 1\ntightened = false\n',
        "pulled 1.tightened = false with kept",
    ),
    "no mark but pulled": (
        '[[marks]]\nclamps = "low-35..low-37"\nnone = 3\n'
        '[[pulled]]\nclamps = "low-36"\nmean = "8 kN"\nkept = 1\n'
        '[[type]]\nclamps = "low-37"\nwrong = 0\n',
        "the type of 1 was checked (type 1), 1 were pulled (pulled 1); at most 1 can have left no mark",
    ),
    "where": ('[[rail]]\nnear = "low-12"\nat = "middle"\nstate = "bent"\n', "rail 2.at"),
    "clamp": ('[[rail]]\nnear = "low-999"\nat = "span"\nstate = "bent"\n', 'there is no clamp "low-999"'),
    "cause": (
        '[[explanation]]\ncause = "no screws"\nprior = 2\nreason = "x"\n',
        "splice never screwed",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_so_is_refused_in_one_line(name, tmp_path):
    entry, words = BAD[name]
    shutil.copytree(MODEL, tmp_path / "alder")
    file = tmp_path / "alder" / "found.toml"
    file.write_text(f"{file.read_text()}\n{entry}")
    with pytest.raises(InputError) as error:
        load_evidence(file)
    text = str(error.value)
    assert words in text
    assert "\n" not in text
    assert "found.toml" in text


HAD = {
    "type": '[[type]]\nclamps = "low-34..low-39"\nwrong = 0\ndoubt = 0.3\n',
    "pulled": '[[pulled]]\nclamps = "low-34..low-39"\nmean = "8 kN"\nkept = 1\n',
    "both": '[[screws]]\nclamps = "low-34..low-39"\nloose = 0\ndoubt = 0.02\n'
    '[[type]]\nclamps = "low-34..low-39"\nwrong = 0\ndoubt = 0.4\n',
}


@pytest.mark.parametrize("name", HAD)
def test_clamps_that_somebody_had_before_him_were_there(name, tmp_path, roof):
    """Six of a gap pulled or their type checked, however sure that is: never there in 0.01 / 0.99 each."""
    shutil.copytree(MODEL, tmp_path / "alder")
    file = tmp_path / "alder" / "found.toml"
    text = "\n".join(
        one for one in file.read_text().split("\n\n") if not one.startswith(("[[screws]]", "[[marks]]"))
    )
    file.write_text(f"{text}\n{HAD[name]}")
    there = load_evidence(file).there
    gap = np.arange(33, 39)
    had = [(np.isin(at, gap).sum(), doubt) for at, doubt in there]
    assert sum(count for count, _ in had) == 6
    assert max(doubt for count, doubt in had if count) <= 0.01
    n = 300
    missing = replace(
        none_gone(roof, "missing", np.ones(n)),
        absent=np.tile([[float(np.isin(at, gap).sum()) for at, _ in there]], (n, 1)),
    )
    others = replace(missing, cause="others", absent=np.zeros((n, len(there))))
    found = nothing_else(others.gave_way[0], there=tuple((len(at), 0, doubt) for at, doubt in there))
    assert shares(roof, found, missing, others)["missing"] < 1e-6


def test_entries_reach_what_is_compared(tmp_path):
    shutil.copytree(MODEL, tmp_path / "alder")
    file = tmp_path / "alder" / "found.toml"
    file.write_text(
        f'{file.read_text()}\n[[type]]\nclamps = "low-02..low-05"\nwrong = 1\n'
        '[[pulled]]\nclamps = "low-36, low-37"\nmean = "6.8 kN"\nkept = 0.85\n'
        '[[rail]]\nnear = "low-16"\nstate = "bent"\nscrews = false\n'
        '[[rail]]\nnear = "low-41"\nat = "span"\nstate = "bent"\n'
    )
    told = load_evidence(file)
    assert [(list(at), wrong) for at, wrong, _ in told.kinds] == [([1, 2, 3, 4], 1)]
    (_, held, wide, _, tightened), = told.pulled  # fmt: skip
    assert (held, wide, tightened) == (pytest.approx(8000.0), pytest.approx(640.0), True)
    assert [there for _, there, _ in told.splice_screws] == [False]
    assert told.spans == ((40, True, 0.05),)
    assert len(told.rails) == 2


def test_the_smallest_file_of_the_docs_is_read_and_tells_eleven_clamps_off(tmp_path):
    page = (Path(__file__).parents[2] / "viewer" / "docs" / "pages" / "investigation.md").read_text()
    block = page.split("```toml\n", 1)[1].split("```", 1)[0]
    shutil.copy(MODEL / "project.toml", tmp_path)
    (tmp_path / "found.toml").write_text(dedent("    " + block.lstrip()))
    told = load_evidence(tmp_path / "found.toml")
    assert told.gave_way.sum() == 11
    assert told.known.all()
