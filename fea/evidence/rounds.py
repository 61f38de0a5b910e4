"""Samples in rounds until enough of them tell, each round drawn where those before came near."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from fea.evidence.aim import Aim
from fea.evidence.causes import AND, Roof, Strengths, snow_of
from fea.evidence.compare import Found, Told, Weighed, effective, told_of, weigh
from fea.evidence.explanations import Bank, Looked, add_round, sample_bank
from fea.evidence.few import largest_shares
from fea.evidence.grids import Grid, grid_of
from fea.evidence.looks import TRACE

Array = NDArray[np.float64]

FIRST = 3000  # samples of each explanation in a round
TELLING = 100.0  # least effective samples of an explanation from which no more are drawn
COUNTS = 0.02  # posterior from which an explanation counts
IN_ALL = 210_000  # samples of all explanations together, half a minute to one of a core for 200 clamps
TIMES = 7  # those of each explanation, of all together where that is more
ANY = 20.0  # effective samples of some explanation, without which all have `SEEK` rounds
SEEK = 3
PART = 0.2  # of the most that an explanation leaves open of a kind's share, from which it goes on
SNOW_NUMBER = "/snow"  # name of the number that the snow is drawn by
ALWAYS = 2  # rounds of every explanation: the second looks where the first came nearest


@dataclass(frozen=True)
class Ask:
    """What samples are drawn for.

    Attributes
    ----------
    roof, strengths, seed, aim, looked
        As `fea.evidence.explanations.sample_bank`.
    found : Found
    most, total : int
        Samples of each explanation, and of all together.
    first : int
        Samples of each explanation in a round.
    interval : float
        Width of the 95 % interval of a share that is wanted.
    """

    roof: Roof
    strengths: Strengths
    seed: int
    aim: Aim
    looked: Looked
    found: Found
    most: int
    total: int
    first: int = FIRST
    interval: float = 0.1

    @property
    def telling(self) -> float:
        """Effective samples of each of two explanations that share evenly, for an interval as wanted."""
        return max(TELLING, 2.0 * (1.96 * 0.5 / self.interval) ** 2)


Run = Callable[[Callable[[str], Bank], Sequence[str]], list[Bank]]


def in_turn(one_bank: Callable[[str], Bank], names: Sequence[str]) -> list[Bank]:
    """Explanations one after another; a `Run`."""
    return [one_bank(name) for name in names]


def draw_rounds(
    ask: Ask,
    causes: Sequence[str],
    priors: Sequence[float],
    run: Run = in_turn,
    fixed: Sequence[Bank] = (),
    begun: Sequence[Bank] = (),
    grids: Mapping[str, Grid] = MappingProxyType({}),
    kind: frozenset[str] = frozenset(),
) -> tuple[Bank, ...]:
    """Samples of some explanations, beside `fixed` ones of others, whose weights come first in `priors`.

    Rounds go on for those that count while fewer than `Ask.telling` effective samples tell of them,
    up to `Ask.most` of each and `Ask.total` in all; the same for the same seed on every machine. Those
    `begun` before, one for each of `causes`, are gone on with, and do not count in all. First rounds are
    drawn by `grids` where there are some. With a `kind` of explanations only those go on that leave most of
    its share open.
    """
    layout, size = ask.roof.layout, min(ask.first, ask.most)
    banks = {bank.cause: bank for bank in begun}
    told = {name: told_of(layout, ask.found, bank) for name, bank in banks.items()}
    kept = [told_of(layout, ask.found, bank) for bank in fixed]
    prior = np.asarray(priors, dtype=float) / np.sum(priors)
    number, spent = max((max(bank.numbers) + 1 for bank in begun), default=0), 0

    def next_round() -> dict[str, int]:
        """Samples of each explanation that wants more."""
        if not banks:
            return dict.fromkeys(causes, size)
        every = [*fixed, *(banks[name] for name in causes)]
        by = [*kept, *(told[name] for name in causes)]
        weighed = weigh(by, every, prior)
        largest = largest_shares(by, every, weighed, prior)[len(fixed) :]
        always = ALWAYS - bool(grids)
        names = _wanted(causes, weighed, largest, number, ask.telling, always)
        if kind:
            names = _hold_open(names, kind, [bank.cause for bank in every], weighed, prior, largest)
        count = {name: min(size, ask.most - len(banks[name].mass)) for name in names}
        count = {name: more for name, more in count.items() if more > 0}
        within = np.cumsum(list(count.values())) <= ask.total - spent
        return {name: more for (name, more), there in zip(count.items(), within, strict=True) if there}

    while count := next_round():
        next_grids = {
            name: grid_of(banks[name].units, banks[name].weight, told[name].log_chance)
            if name in banks
            else grids.get(name)
            for name in count
        }

        def one_bank(
            name: str,
            number: int = number,
            grids: dict[str, Grid | None] = next_grids,
            count: dict[str, int] = count,
        ) -> Bank:
            bank = sample_bank(
                ask.roof, name, ask.strengths, count[name], ask.seed, ask.aim, ask.looked,
                grids[name], number,
            )  # fmt: skip
            return add_round(banks[name], bank) if name in banks else bank

        for name, bank in zip(count, run(one_bank, list(count)), strict=True):
            banks[name], told[name] = bank, told_of(layout, ask.found, bank)
        number += 1
        spent += sum(count.values())
    return tuple(banks[name] for name in causes)


def _wanted(
    causes: Sequence[str],
    weighed: Weighed,
    largest: Array,
    number: int,
    telling: float,
    always: int = ALWAYS,
) -> list[str]:
    """Explanations that want another round, those that can have most of the posterior over what tells first.

    One that can count still, by `largest` shares, is sought until it cannot or `telling` samples tell.
    """
    tells = np.array([effective(w) for w in weighed.weights[-len(causes) :]])
    few = (tells < telling) & (largest >= COUNTS)
    if (tells < ANY).all():  # none comes near yet: all are sought for longer
        few |= number < SEEK
    few |= number < always
    order = np.argsort(-largest / np.maximum(tells, 1.0), kind="stable")
    return [causes[i] for i in order if few[i]]


def _hold_open(
    names: Sequence[str],
    kind: frozenset[str],
    causes: Sequence[str],
    weighed: Weighed,
    prior: Array,
    largest: Array,
) -> list[str]:
    """Those of `names` that leave most of the share of a kind open, `PART` of the most or more.

    One outside by what it can have beyond its share; one of the kind by how far its own is known, which
    counts the less the more the kind has unless next to none tell of it. `largest` are those of the last of
    all `causes`.
    """
    mean = prior * np.array([w.mean() for w in weighed.weights])
    share = mean / max(float(mean.sum()), TRACE)
    inside = np.array([cause in kind for cause in causes])
    tells = np.maximum([effective(w) for w in weighed.weights], 1.0)
    rest = np.where(tells < ANY, 1.0, 1.0 - float(share[inside].sum()))
    own = rest * share * 1.96 / np.sqrt(tells)
    beyond = np.concatenate([share[: len(share) - len(largest)], largest]) - share
    open_ = dict(zip(causes, np.where(inside, own, beyond).tolist(), strict=True))
    least = PART * max((open_[name] for name in names), default=0.0)
    return sorted((name for name in names if open_[name] >= least), key=lambda name: -open_[name])


def pair_grids(pairs: Sequence[str], banks: Sequence[Bank], told: Sequence[Told]) -> dict[str, Grid]:
    """Grids of first rounds of pairs from those of their single causes.

    Numbers of a cause are drawn as where that alone came near, those that both have as in both, half each;
    the snow of "more snow", which has a distribution of its own, as there.
    """
    single = {
        bank.cause: grid_of(bank.units, bank.weight, one.log_chance)
        for bank, one in zip(banks, told, strict=True)
    }
    grids = {}
    for pair in pairs:  # some dozens
        of: dict[str, list[Array]] = {}
        for cause in pair.split(AND):
            for name, density in single[cause].of.items():
                if name != SNOW_NUMBER or snow_of(cause) == snow_of(pair):
                    of.setdefault(name, []).append(density)
        grids[pair] = Grid({name: np.mean(each, axis=0) for name, each in of.items()})
    return grids
