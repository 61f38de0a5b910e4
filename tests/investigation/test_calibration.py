"""Shares are as often right as they claim: hidden causes drawn from the explanations themselves."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from fea.analysis import analyze
from fea.evidence.aim import aim_at, together
from fea.evidence.causes import CHANGES, Strengths, possible
from fea.evidence.compare import Found
from fea.evidence.explanations import Looked, load_by_heap, sample_bank
from fea.evidence.few import FEW
from fea.evidence.fit import fit
from fea.evidence.looks import SEEN, UNSCREWED, beside
from fea.evidence.roof import evidence_roof
from fea.evidence.rounds import Ask, draw_rounds
from fea.failure.roof_case import Laws
from roofmodel.project.load import load_project

MODEL = Path(__file__).parents[2] / "models" / "alder-barn" / "project.toml"
STRENGTHS = Strengths(0.15, 0.2)
CASES = 110  # hidden roofs
KINDS = (("more snow", "drift", "uneven snow", "as designed"), ("splice parted", "splice never screwed"))
LOAD, HEAP, DOUBT = 0.12, 0.25, 0.05  # doubts of what is told
HIDDEN, FIRST = 1500, 500  # samples of hidden roofs, and of each explanation in a round
SELDOM = 2500  # the same where each is as often the truth as any other
MOST, TOTAL = 10 * FIRST, 40 * FIRST  # of each and all, in rounds as `investigate` has them, 10 and 30 times


def all_can_be(folder: Path) -> Path:
    """A small roof that every explanation is possible on: two planes, a partial row, a drift, splices."""
    text = MODEL.read_text().replace("0 0, 36 0, 36 16, 0 16 m", "0 0, 18 0, 18 12, 0 12 m")
    text = text.replace('splice_every = "6 m"', 'splice_every = "4.5 m"').replace(
        'up = "4.6 m"', 'up = "3.4 m"'
    )
    more = (
        '[[row]]\nname = "door"\nplane = "N1"\nup = "0.6 m"\nstart = "5 m"\nend = "13 m"\nevery = 2\n\n'
        '[[obstruction]]\nname = "vent"\nplane = "S1"\nacross = "6 m"\nup = "2.2 m"\nwidth = "2 m"\n'
        'depth = "0.8 m"\nheight = "1.2 m"\n\n'
    )
    file = folder / "project.toml"
    file.write_text(text.replace("[design]", f"{more}[design]"))
    return file


@dataclass
class Tally:
    """What was claimed over all hidden roofs, and what was so."""

    causes: tuple[str, ...]
    shares: list[np.ndarray]
    truth: list[int]
    inside: list[bool]
    tells: list[float]
    rounds: list[int]

    def table(self) -> str:
        """Each explanation: mean share over all hidden roofs, how often it was the truth, and its own."""
        share, truth = np.array(self.shares), np.array(self.truth)
        lines = [f"{'explanation':22} {'claimed':>8} {'true':>6} {'where true':>11} {'first':>6}"]
        for i, cause in enumerate(self.causes):
            own = truth == i
            first = share.argmax(axis=1) == i
            lines.append(
                f"{cause:22} {share[:, i].mean():8.3f} {own.mean():6.3f} "
                f"{share[own, i].mean() if own.any() else np.nan:11.3f} {first.mean():6.3f}"
            )
        true = share[np.arange(len(truth)), truth]
        right = share.argmax(axis=1) == truth
        lines += [
            f"share of the truth {true.mean():.3f}, claimed {(share**2).sum(axis=1).mean():.3f}",
            f"first right {right.mean():.3f}, claimed {share.max(axis=1).mean():.3f}",
            f"load inside 5 to 95 %: {np.mean(self.inside):.3f} of {len(self.inside)}",
            f"effective samples of the truth: median {np.median(self.tells):.0f}",
            f"rounds: median {np.median(self.rounds):.0f}",
        ]
        for low, high in ((0.0, 0.05), (0.05, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.01)):
            there = (share >= low) & (share < high)
            so = (np.arange(share.shape[1]) == truth[:, None])[there]
            if there.any():
                lines.append(f"shares {low:.2f} to {high:.2f}: claimed {share[there].mean():.3f}, "
                             f"true {so.mean():.3f} of {len(so)}")  # fmt: skip
        return "\n".join(lines)


def on_all_cores(one_bank, names):
    with ThreadPoolExecutor() as pool:
        return list(pool.map(one_bank, names))


def with_a_vent(folder: Path) -> Path:
    """A long roof of one plane on which drift and splices often have a part in what goes."""
    vent = (
        '[[obstruction]]\nname = "vent"\nplane = "S1"\nacross = "16 m"\nup = "2.2 m"\nwidth = "2 m"\n'
        'depth = "0.8 m"\nheight = "1.2 m"\n\n'
    )
    file = folder / "project.toml"
    file.write_text(MODEL.read_text().replace("[design]", f"{vent}[design]"))
    return file


def calibrate(file: Path, cases: int, seed: int, strength: float = 1.2, *, alike: bool = False) -> Tally:
    """Rank the explanations for hidden roofs that are drawn from them, each as likely as any other.

    Or each as often the truth as any other (`alike`): those that seldom do anything were likelier before.
    """
    roof = evidence_roof(analyze(load_project(file)), None, Laws(mean_strength=strength, impact=None))[0]
    causes, _ = possible(roof)
    layout, c = roof.layout, roof.case.clamps
    each = tuple(np.array([k]) for k in range(c))
    every = Looked(screws=each, marks=each)
    size = SELDOM if alike else HIDDEN
    hidden = [sample_bank(roof, one, STRENGTHS, size, 99, looked=every) for one in causes]
    acting = [np.flatnonzero(one.gave_way.any(axis=1) & ~one.idle.any(axis=1)) for one in hidden]
    priors = [size / len(own) if alike else 1.0 for own in acting]
    rng = np.random.default_rng(seed)
    tally = Tally(causes, [], [], [], [], [])
    while len(tally.truth) < cases:
        i, s = int(rng.integers(len(causes))), int(rng.integers(size))
        if alike:
            s = int(rng.choice(acting[i]))
        elif s not in acting[i]:  # what did nothing is no truth to be found
            continue
        gone = hidden[i].gave_way[s]
        found, looked = told(rng, roof, hidden[i], s, closer=len(tally.truth) % 2 == 1)
        aim = aim_at(gone, layout.clamp_row, together(found.load, load_by_heap(roof, gone, found.fallen)))
        ask = Ask(roof, STRENGTHS, 1, aim, looked, found, MOST, TOTAL, FIRST)
        banks = draw_rounds(ask, causes, priors, on_all_cores)
        tally.rounds.append(max(len(bank.rounds) for bank in banks))
        by = {one.cause: one for one in fit(layout, found, banks, priors)}
        tally.shares.append(np.array([by[cause].posterior for cause in causes]))
        tally.truth.append(i)
        own = by[causes[i]]
        tally.tells.append(own.tells)
        if own.near >= FEW and np.isfinite(own.mass[1]):
            low, high = np.nan_to_num(own.mass[[0, 2]], nan=-np.inf)
            high = np.inf if np.isnan(own.mass[2]) else high
            tally.inside.append(bool(low <= hidden[i].mass[s] <= high))
    return tally


def told(rng, roof, bank, s, *, closer):
    """What would be told of a hidden roof; on a closer look of its seams and screws too."""
    gone, c = bank.gave_way[s], roof.case.clamps
    load = float(bank.mass[s] * (1.0 + LOAD * rng.standard_normal()))
    fallen = float(max(bank.fallen[s], 1.0) * (1.0 + HEAP * rng.standard_normal()))
    splice = int(rng.choice(roof.splice_at))
    own = bank.parted[s] >= 0 and beside(roof.layout, splice)[bank.parted[s]]
    near = beside(roof.layout, splice)
    torn = own or bank.torn[s, near].any()
    k = 0 if torn else 1 if gone[near].any() else 2
    chance = [SEEN[state][k] for state in SEEN]
    if own and bank.unscrewed[s]:
        chance = [UNSCREWED[state] for state in SEEN]
    state = str(rng.choice(list(SEEN), p=chance))
    looked = Looked(known=np.ones(c, dtype=bool), gave_way=gone)
    marks: tuple = ()
    screws: tuple = ()
    if closer:
        at = np.flatnonzero(gone)
        there = at[bank.never[s, at] == 0.0]
        marks = ((len(at), int(count(rng, bank.never[s, at])), DOUBT),)
        looked = Looked(known=looked.known, gave_way=gone, marks=(at,))
        if len(there) and not marks[0][1]:
            screws = ((len(there), int(count(rng, bank.loose[s, there])), DOUBT),)
            looked = Looked(known=looked.known, gave_way=gone, marks=(at,), screws=(there,))
    found = Found(
        np.ones(c, dtype=bool), gone, np.full(c, 0.005), (load, LOAD * abs(load)),
        (fallen, HEAP * abs(fallen)), rails=((splice, state, 0.0, None),), marks=marks, screws=screws,
    )  # fmt: skip
    return found, looked


def count(rng: np.random.Generator, so: np.ndarray) -> int:
    """How many are told so, each told wrong by itself."""
    wrong = rng.random(len(so)) < DOUBT
    return int(np.where(wrong, 1.0 - so, so).sum())


def apart(share: np.ndarray, truth: np.ndarray) -> tuple[float, float]:
    """Share of the truth less what shares claim of it, in the mean, and its standard error."""
    off = share[np.arange(len(truth)), truth] - (share**2).sum(axis=1)
    return float(off.mean()), float(off.std() / np.sqrt(len(truth)))


@pytest.mark.slow
def test_shares_of_all_explanations_are_calibrated(tmp_path):
    """The truth's share over all hidden roofs is what shares claim of themselves, E[p_true] = E[sum p^2].

    110 roofs tell it to some 3 %, so that shares as sure as their squares are seen to be too sure, and those
    as unsure as their roots too unsure; smaller errors are left to the tests of weights and rounds.
    """
    tally = calibrate(all_can_be(tmp_path), CASES, 5)
    print(tally.table())
    share, truth = np.array(tally.shares), np.array(tally.truth)
    n = len(truth)
    assert np.median(tally.rounds) >= 3
    off, error = apart(share, truth)
    assert abs(off) < 2.6 * error
    for power, sign in ((2.0, -1.0), (0.5, 1.0)):
        wrong = share**power / (share**power).sum(axis=1, keepdims=True)
        off, error = apart(wrong, truth)
        print(f"power {power}: {off:.3f} +- {error:.3f}")
        assert sign * off > 2.6 * error
    assert share[np.arange(n), truth].mean() > 2.0 / len(tally.causes)
    for i in range(len(tally.causes)):  # no explanation claims more or less than it is
        own = truth == i
        error = 3.0 * np.sqrt(np.mean(share[:, i] * (1.0 - share[:, i])) / n)
        assert share[:, i].mean() == pytest.approx(own.mean(), abs=error + 0.02), tally.causes[i]
    assert len(tally.inside) > 0.6 * n
    assert np.mean(tally.inside) > 0.9 - 2.6 * np.sqrt(0.9 * 0.1 / len(tally.inside))
    assert set(tally.causes) == set(CHANGES)


@pytest.fixture(scope="module")
def vented(tmp_path_factory):
    """Hidden roofs where each explanation is as often the truth as any other, drift and splices too."""
    tally = calibrate(with_a_vent(tmp_path_factory.mktemp("vent")), 70, 6, 0.9, alike=True)
    print(tally.table())
    return tally


@pytest.mark.slow
@pytest.mark.xfail(
    strict=True,
    reason="open: of 210 such roofs (seeds 6 to 8) shares claim 5 points more than they hold, 3.5 errors",
)
def test_shares_are_calibrated_where_drift_and_splices_have_a_part(vented):
    off, error = apart(np.array(vented.shares), np.array(vented.truth))
    assert abs(off) < 2.6 * error


@pytest.mark.slow
def test_drift_and_splices_are_calibrated_where_they_have_a_part(vented):
    tally, share, truth = vented, np.array(vented.shares), np.array(vented.truth)
    kinds = [[tally.causes.index(one) for one in names] for names in KINDS]
    assert set(np.concatenate(kinds).tolist()) <= set(truth.tolist())
    for kind in kinds:  # families are right as often as they claim
        of, so = share[:, kind].sum(axis=1), np.isin(truth, kind)
        assert of.mean() == pytest.approx(
            so.mean(), abs=3.0 * np.sqrt(np.mean(of * (1.0 - of)) / len(of)) + 0.02
        )
        assert of[so].mean() > 1.5 * of.mean()
