"""Samples in rounds until enough of them tell, each round drawn where those before came near."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.evidence.aim import Aim
from fea.evidence.causes import Roof, Strengths
from fea.evidence.compare import Found, Weighed, effective, told_of, weigh
from fea.evidence.explanations import Bank, Looked, add_round, sample_bank
from fea.evidence.few import largest_shares
from fea.evidence.grids import Grid, grid_of

Array = NDArray[np.float64]

FIRST = 3000  # samples of each explanation in a round
TELLING = 100.0  # least effective samples of an explanation from which no more are drawn
COUNTS = 0.02  # posterior from which an explanation counts
IN_ALL = 210_000  # samples of all explanations together, half a minute to one of a core for 200 clamps
TIMES = 7  # those of each explanation, of all together where that is more
ANY = 20.0  # effective samples of some explanation, without which all have `SEEK` rounds
SEEK = 3
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
) -> tuple[Bank, ...]:
    """Samples of some explanations, beside `fixed` ones of others, whose weights come first in `priors`.

    Rounds go on for those that count while fewer than `Ask.telling` effective samples tell of them,
    up to `Ask.most` of each and `Ask.total` in all; the same for the same seed on every machine. Those
    `begun` before, one for each of `causes`, are gone on with, and do not count in all.
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
        names = _wanted(causes, weighed, largest, number, ask.telling)
        count = {name: min(size, ask.most - len(banks[name].mass)) for name in names}
        count = {name: more for name, more in count.items() if more > 0}
        within = np.cumsum(list(count.values())) <= ask.total - spent
        return {name: more for (name, more), there in zip(count.items(), within, strict=True) if there}

    while count := next_round():
        grids = {
            name: grid_of(banks[name].units, banks[name].weight, told[name].log_chance)
            for name in count
            if name in banks
        }

        def one_bank(
            name: str, number: int = number, grids: dict[str, Grid] = grids, count: dict[str, int] = count
        ) -> Bank:
            bank = sample_bank(
                ask.roof, name, ask.strengths, count[name], ask.seed, ask.aim, ask.looked,
                grids.get(name), number,
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
) -> list[str]:
    """Explanations that want another round, those that can have most of the posterior over what tells first.

    One that can count still, by `largest` shares, is sought until it cannot or `telling` samples tell.
    """
    tells = np.array([effective(w) for w in weighed.weights[-len(causes) :]])
    few = (tells < telling) & (largest >= COUNTS)
    if (tells < ANY).all():  # none comes near yet: all are sought for longer
        few |= number < SEEK
    few |= number < ALWAYS
    order = np.argsort(-largest / np.maximum(tells, 1.0), kind="stable")
    return [causes[i] for i in order if few[i]]
