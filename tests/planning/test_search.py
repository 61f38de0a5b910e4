"""The search against exhaustive enumeration, on made-up ladders where the truth is known for every path."""

import itertools
import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from fea.planning.ladder import Checked, Ladder
from fea.planning.search import search


def all_paths(ladder):
    """Every path that the spacings permit."""
    h, m = ladder.cost.shape
    for k in range(1, ladder.most_rows + 1):
        for above in itertools.combinations(range(1, h), k - 1):
            levels = (0, *above)
            ends = (*above, h)
            if all(ladder.allowed[a, b] for a, b in zip(levels, ends, strict=True)):
                for options in itertools.product(range(m), repeat=k):
                    yield tuple(zip(levels, options, strict=True))


def cost(ladder, path):
    return sum(ladder.cost[a, m] for a, m in path)


class Truth:
    """Use of every arc, larger with more snow above a row, and of strips by the options used."""

    def __init__(self, seed, levels=6, options=2, *, alike=True, strips=False):
        rng = np.random.default_rng(seed)
        h, m = levels, options
        snow = np.cumsum(rng.uniform(0.2, 1.5, h + 1))
        snow = np.maximum(snow[None, :] - np.concatenate([[0.0], snow[: h - 1]])[:, None], 0.0)
        strength = rng.uniform(1.0, 4.0) / (1.0 + np.arange(m)) * rng.uniform(0.8, 1.2, m)
        own = np.ones(h) if alike else rng.uniform(0.7, 1.3, h)
        self.use = snow[:, :, None] / (own[:, None, None] * strength)
        self.strip_limit = rng.uniform(0.6, 1.4)
        self.strips_count = strips
        length = np.full(h, 10.0) if alike else rng.uniform(5.0, 10.0, h)
        price = rng.uniform(0.2, 2.0)
        allowed = np.triu(np.ones((h, h + 1), dtype=bool), 1)
        allowed[:, :h] &= np.subtract.outer(-np.arange(h), -np.arange(h)) >= rng.integers(1, 3)
        self.ladder = Ladder(
            planes=(0,),
            places=tuple(() for _ in range(h)),
            cost=length[:, None] * (1.0 + price / (1.0 + np.arange(m))),
            allowed=allowed,
            alike=np.full((h, h), alike) | np.eye(h, dtype=bool),
            least=rng.uniform(0.3, 0.9, self.use.shape) * self.use,
            height=np.where(np.arange(h) == rng.integers(1, h), 1.2, 0.1),
            strips=np.zeros(2**m),
            most_rows=4,
        )

    def check(self, path):
        ends = [a for a, _ in path[1:]] + [len(self.ladder.places)]
        rows = tuple(
            max(float(self.use[a, b, m]), float(self.ladder.height[a]))
            for (a, m), b in zip(path, ends, strict=True)
        )
        mean = sum(1.0 + m for _, m in path) / len(path)
        spread = 0.02 * math.sin(7.0 * sum(a for a, _ in path))  # a little different for every path
        return Checked(rows, (mean / 1.5 / self.strip_limit + spread) if self.strips_count else 0.0)

    def passes(self, path):
        return self.check(path).worst <= 1.0 + 1e-9


class Valley(Truth):
    """Two planes whose rows have a spacing each; the second plane has no row on one level."""

    def __init__(self, seed, levels=5, spacings=2, *, alike=True, strips=False):
        super().__init__(seed, levels, spacings, alike=alike, strips=strips)
        other = Truth(seed + 1000, levels, spacings, alike=alike)
        rng = np.random.default_rng(seed + 2000)
        bare = int(rng.integers(1, levels)) if not alike else -1
        there = np.arange(levels) != bare
        easier = rng.uniform(0.3, 0.8, 2)
        self.single = [easier[0] * self.use, np.where(there[:, None, None], easier[1] * other.use, 0.0)]
        choice = np.array(list(itertools.product(range(spacings), repeat=2)))
        price = [self.ladder.cost, np.where(there[:, None], other.ladder.cost, 0.0)]
        cost = price[0][:, choice[:, 0]] + price[1][:, choice[:, 1]]
        cost = np.where(there[:, None] | (choice[:, 1] == 0), cost, np.inf)
        self.use = np.maximum(self.single[0][..., choice[:, 0]], self.single[1][..., choice[:, 1]])
        row = [SimpleNamespace(plane=p) for p in (0, 1)]
        self.ladder = replace(
            self.ladder,
            planes=(0, 1),
            places=tuple(tuple(row) if one else (row[0],) for one in there),
            cost=cost,
            least=rng.uniform(0.3, 0.9, self.use.shape) * self.use,
            strips=np.zeros(2**spacings),
            choice=choice,
        )
        self.pair = choice.tolist()

    def check(self, path):
        ends = [a for a, _ in path[1:]] + [self.ladder.levels]
        pair = self.pair
        parts = tuple(
            tuple(float(self.single[p][a, b, pair[m][p]]) for p in (0, 1))
            for (a, m), b in zip(path, ends, strict=True)
        )
        high = [float(self.ladder.height[a]) for a, _ in path]
        rows = tuple(max(*part, h) for part, h in zip(parts, high, strict=True))
        mean = sum(1.0 + 0.5 * (pair[m][0] + pair[m][1]) for _, m in path) / len(path)
        spread = 0.02 * math.sin(7.0 * sum(a for a, _ in path))
        return Checked(rows, (mean / 1.5 / self.strip_limit + spread) if self.strips_count else 0.0, parts)


@pytest.mark.parametrize("alike", [True, False])
@pytest.mark.parametrize("strips", [True, False])
@pytest.mark.parametrize("spacings", [2, 3])
def test_no_cheaper_pair_of_spacings_is_missed(alike, strips, spacings):
    apart, cheaper, tried, all_of_them = 0, 0, 0, 0
    for seed in range(25):
        truth = Valley(seed, 5 if spacings == 2 else 4, spacings, alike=alike, strips=strips)
        ladder = truth.ladder
        found, checks = search([ladder], lambda paths, truth=truth: [truth.check(paths[0])])
        price, pair = ladder.cost.tolist(), ladder.choice.tolist()
        paths = {path: sum(price[a][m] for a, m in path) for path in all_paths(ladder)}
        paths = {path: c for path, c in paths.items() if np.isfinite(c)}
        assert found[0].proven, seed
        tried, all_of_them = tried + checks, all_of_them + len(paths)
        if not found[0].feasible:
            assert not any(map(truth.passes, paths)), seed
            continue
        least = paths[found[0].path]
        assert found[0].cost == pytest.approx(least), seed
        assert truth.passes(found[0].path)
        assert not any(truth.passes(path) for path, price in paths.items() if price < (1.0 - 1e-9) * least), (
            seed
        )
        same = sorted((c, p) for p, c in paths.items() if all(pair[m][0] == pair[m][1] for _, m in p))
        alone = next((c for c, path in same if truth.passes(path)), np.inf)
        apart += any(pair[m][0] != pair[m][1] for _, m in found[0].path)
        cheaper += least < alone - 1e-9
    assert apart > 3
    assert cheaper > 3
    assert tried < 0.2 * all_of_them


@pytest.mark.parametrize("alike", [True, False])
@pytest.mark.parametrize("strips", [True, False])
@pytest.mark.parametrize("options", [1, 2, 3])
def test_no_cheaper_path_is_missed(alike, strips, options):
    kinds = set()
    for seed in range(30):
        truth = Truth(seed, options=options, alike=alike, strips=strips)
        found, checks = search([truth.ladder], lambda paths, truth=truth: [truth.check(paths[0])])
        passing = [path for path in all_paths(truth.ladder) if truth.passes(path)]
        assert found[0].proven, seed
        assert found[0].feasible == bool(passing), seed
        if passing:
            assert truth.passes(found[0].path)
            assert found[0].cost == pytest.approx(min(cost(truth.ladder, path) for path in passing)), seed
            kinds.add(len(found[0].path))
        else:
            kinds.add(0)
        assert checks <= 200
    assert len(kinds) >= 3  # the made-up cases hold easy, hard and hopeless ones


@pytest.mark.parametrize("alike", [True, False])
def test_even_is_the_evenest_of_the_cheapest(alike):
    for seed in range(30):
        truth = Truth(seed, alike=alike)
        found, _ = search([truth.ladder], lambda paths, truth=truth: [truth.check(paths[0])], even=True)
        passing = [path for path in all_paths(truth.ladder) if truth.passes(path)]
        if not passing:
            assert not found[0].feasible
            continue
        least = min(cost(truth.ladder, path) for path in passing)
        cheapest = [path for path in passing if cost(truth.ladder, path) <= least * (1.0 + 1e-9)]
        evenest = min(max(truth.check(path).rows) for path in cheapest)
        assert found[0].cost == pytest.approx(least), seed
        assert max(found[0].checked.rows) == pytest.approx(evenest, rel=1e-9), seed


def test_where_nothing_passes_the_least_used_is_given():
    for seed in range(40):
        truth = Truth(seed)
        truth.use *= 4.0
        found, _ = search([truth.ladder], lambda paths, truth=truth: [truth.check(paths[0])])
        paths = list(all_paths(truth.ladder))
        if any(truth.passes(path) for path in paths):
            continue
        least = min(truth.check(path).worst for path in paths)
        assert not found[0].feasible
        assert found[0].checked.worst <= least / 0.98 + 1e-9


def test_groups_are_searched_side_by_side():
    truths = [Truth(seed) for seed in (1, 2, 3, 4)]
    together, checks = search(
        [t.ladder for t in truths], lambda paths: [t.check(p) for t, p in zip(truths, paths, strict=True)]
    )
    alone = [search([t.ladder], lambda paths, t=t: [t.check(paths[0])]) for t in truths]
    assert [one.path for one in together] == [found[0].path for found, _ in alone]
    assert checks == max(count for _, count in alone)


def test_a_row_that_gains_by_more_snow_is_told():
    """The lowest row uses 0.9 with the next one near, and 0.3 with it far: against the assumption."""
    truth = Truth(0, levels=3, options=1)
    truth.ladder.allowed[:] = np.triu(np.ones((3, 4), dtype=bool), 1)
    truth.ladder.least[:] = 0.0
    truth.ladder.least[0, 3] = 2.0
    truth.ladder.height[:] = 0.0
    truth.ladder.cost[:, 0] = [1.0, 1.0, 2.0]
    truth.use[0, 1], truth.use[1, 3], truth.use[0, 2], truth.use[2, 3] = 0.9, 1.5, 0.3, 0.5
    found, _ = search([truth.ladder], lambda paths: [truth.check(paths[0])])
    assert found[0].path == ((0, 0), (2, 0))
    assert found[0].feasible
    assert not found[0].proven
    truth.use[0, 2] = 0.95
    assert search([truth.ladder], lambda paths: [truth.check(paths[0])])[0][0].proven


def test_a_search_that_is_stopped_says_so():
    truth = next(t for t in map(Truth, range(99)) if any(map(t.passes, all_paths(t.ladder))))
    truth.ladder.least[:] = 0.0
    full, checks = search([truth.ladder], lambda paths: [truth.check(paths[0])])
    assert full[0].proven
    assert checks > 1
    short, used = search([truth.ladder], lambda paths: [truth.check(paths[0])], most_checks=1)
    assert used == 1
    assert not short[0].proven


@pytest.mark.parametrize("alike", [False, True])
def test_strips_that_fail_below_one_row_may_pass_below_two_on_other_seams(alike):
    """Clamps on every second seam: the rows of a valley begin on other seams, and share the strips."""
    h = 3
    ladder = Ladder(
        planes=(0,),
        places=((),) * h,
        cost=np.array([[5.0], [6.0], [7.0]]),
        allowed=np.triu(np.ones((h, h + 1), dtype=bool), 1),
        alike=np.full((h, h), alike) | np.eye(h, dtype=bool),
        least=np.full((h, h + 1, 1), 0.1),
        height=np.zeros(h),
        strips=np.zeros(2),
        most_rows=2,
    )

    def check(paths):
        (path,) = paths
        shared = not alike and path == ((0, 0), (2, 0))
        return [Checked((0.5,) * len(path), 0.7 if shared else 1.4)]

    (found,), _ = search([ladder], check)
    assert found.feasible != alike
    assert found.proven
    if not alike:
        assert found.path == ((0, 0), (2, 0))
