"""Paths of rows that leave gaps: what passes their ends, in a valley or past a dormer, comes from all above.

There the next row does not say what a row holds: one further up, right across, may unload it. What does hold
is weaker: a row that fails below some rows also fails below fewer of these, or below as many on higher levels
of the same kind (the same planes in as many pieces). All paths are listed; those that this, or a lower bound
from equilibrium, shows to fail are struck out; of the rest, cheap and evenly loaded ones are checked in full.
The cheapest is proven when none that costs less is left.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.planning.ladder import SLACK, Checked, Found, Ladder, Path

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MOST_PATHS = 200_000
DIVE = 20  # checks for a first path that passes
STALLED = 6  # of these without coming nearer end it
HALVINGS = 8  # checks on the way to its cost
CLOSE = 0.01  # part of the cost at which halving ends
EVEN = 0.01  # weight of wide gaps beside the bounds


def deepened(
    ladder: Ladder,
    found: Found,
    seen: Mapping[Path, Checked],
    check: Callable[[Path], Checked],
    most_checks: int,
    *,
    first: bool = False,
) -> tuple[Found, int]:
    """What is found when only what holds for rows with gaps is concluded from the checks.

    Parameters
    ----------
    ladder : Ladder
    found : Found
        By the search on arcs.
    seen : mapping of Path to Checked
        What it checked.
    check : callable
        Full check of a path.
    most_checks : int
        Further checks after which what is not done is given as not proven.
    first : bool
        Whether any path that passes will do.

    Returns
    -------
    Found
    int
        Further checks.
    """
    known = dict(seen)
    pool = _Pool.of(ladder)
    for path, checked in known.items():
        pool.learn(path, checked)
    best = found if found.feasible else None
    if best is not None:
        pool.cheaper_than(best.cost)
    floor, halvings, before, stalled = pool.least_cost(), 0, len(known), 0
    nearest = min(one.worst for one in known.values())
    while pool.alive.any() and len(known) - before < most_checks:
        if best is None:
            if len(known) - before >= DIVE or stalled >= STALLED:
                break
            path = pool.evenest(np.inf)
        elif halvings < HALVINGS and best.cost - floor > CLOSE * best.cost:
            halvings += 1
            target = 0.5 * (best.cost + floor)
            if pool.least_cost() > target:
                floor = pool.least_cost()
                continue
            path = pool.evenest(target)
        else:
            path = pool.cheapest()
        checked = known[path] = check(path)
        pool.learn(path, checked)
        stalled = 0 if checked.worst < nearest else stalled + 1
        nearest = min(nearest, checked.worst)
        if checked.worst <= 1.0 + SLACK:
            best = Found(path, True, False, pool.price(path), checked)
            pool.cheaper_than(best.cost)
            if first:
                break
        elif best is not None and halvings and best.cost - floor > CLOSE * best.cost:
            floor = max(floor, min(0.5 * (best.cost + floor), best.cost))
    proven = pool.complete and not pool.alive.any()
    if best is None:
        path = min(known, key=lambda one: known[one].worst)
        best = Found(path, False, proven, pool.price(path), known[path])
    return Found(best.path, best.feasible, proven, best.cost, best.checked), len(known) - before


@dataclass
class _Pool:
    """All paths of a ladder, (n, k) levels and options from below; the level beyond the last row is h.

    `alive` are those that are not known to fail, nor dearer than what passes. `complete` says whether all
    paths are listed.
    """

    ladder: Ladder
    level: IntArray
    option: IntArray
    cost: Array
    bound: Array
    alive: BoolArray
    kind: IntArray
    complete: bool

    @classmethod
    def of(cls, ladder: Ladder) -> _Pool:
        h, (sets, whole) = ladder.levels, _level_sets(ladder)
        m = ladder.cost.shape[1]
        spread = sum(len(one) * m ** one.shape[1] for one in sets)
        apart = spread <= MOST_PATHS
        options = np.arange(m)
        if not apart and m * sum(map(len, sets)) > MOST_PATHS:
            options = np.flatnonzero((ladder.spacings == ladder.spacings[:, :1]).all(axis=1))
        levels, chosen = [], []
        for one in sets:
            k = one.shape[1]
            pick = (
                np.array(list(itertools.product(options, repeat=k)), dtype=np.int64)
                if apart
                else np.repeat(options[:, None], k, axis=1)
            )
            pad = ((0, 0), (0, ladder.most_rows - k))
            levels.append(np.pad(np.repeat(one, len(pick), axis=0), pad, constant_values=h))
            chosen.append(np.pad(np.tile(pick, (len(one), 1)), pad))
        level, option = np.concatenate(levels), np.concatenate(chosen)
        there = level < h
        start = np.where(there, level, 0)
        after = np.concatenate([level[:, 1:], np.full((len(level), 1), h)], axis=1)
        low = np.maximum(ladder.least, ladder.height[:, None, None])
        arc = np.where(there, low[start, np.where(there, after, h), option], 0.0)
        cost = np.where(there, ladder.cost[start, option], 0.0).sum(axis=1)
        used = np.bitwise_or.reduce(np.where(there, ladder.sets[start, option], 0), axis=1)
        gap = np.where(there, after - level, 0).max(axis=1) / h
        alive = np.isfinite(cost) & (arc.max(axis=1) <= 1.0 + SLACK) & (ladder.strips[used] <= 1.0 + SLACK)
        bound = arc.max(axis=1) + EVEN * gap
        complete = whole and (apart or m == 1)
        return cls(ladder, level, option, cost, bound, alive, _kinds(ladder), complete)

    def path(self, number: int) -> Path:
        pairs = zip(self.level[number].tolist(), self.option[number].tolist(), strict=True)
        return tuple((a, m) for a, m in pairs if a < self.ladder.levels)

    def price(self, path: Path) -> float:
        return float(sum(self.ladder.cost[a, m] for a, m in path))

    def cheaper_than(self, cost: float) -> None:
        self.alive &= self.cost < cost * (1.0 - SLACK) - SLACK

    def least_cost(self) -> float:
        return float(self.cost[self.alive].min(initial=np.inf))

    def cheapest(self) -> Path:
        return self.path(int(np.argmin(np.where(self.alive, self.cost, np.inf))))

    def evenest(self, most: float) -> Path:
        """The least bound among those that cost no more; at any cost, with the closest clamps."""
        use = self.alive & (self.cost <= most)
        closest = use & (self.option == 0).all(axis=1)
        use = closest if np.isinf(most) and closest.any() else use
        return self.path(int(np.argmin(np.where(use, self.bound, np.inf))))

    def learn(self, path: Path, checked: Checked) -> None:
        """Strike out what a check shows to fail, and the path itself."""
        h, spacing = self.ladder.levels, self.ladder.spacings
        row = np.full(self.level.shape[1], h)
        row[: len(path)] = [a for a, _ in path]
        same = (self.level == row).all(axis=1)
        for i, (_, m) in enumerate(path):
            same &= self.option[:, i] == m
        self.alive &= ~same
        each = checked.parts or tuple((use,) for use in checked.rows)
        for i, ((a, m), parts) in enumerate(zip(path, each, strict=True)):
            levels = np.zeros(h + 1, dtype=bool)
            levels[: a + 1] = self.ladder.alike[: a + 1, a]
            above = np.array([b for b, _ in path[i + 1 :]], dtype=np.int64)
            for plane, use in enumerate(parts):
                if use > 1.0 + SLACK:
                    self._strike(levels, spacing[:, plane] == spacing[m, plane], above)

    def _strike(self, levels: BoolArray, options: BoolArray, above: IntArray) -> None:
        h, width = self.ladder.levels, self.level.shape[1]
        for i in range(width):
            at = np.flatnonzero(self.alive & levels[self.level[:, i]] & options[self.option[:, i]])
            rest = self.level[at, i + 1 :]
            count = (rest < h).sum(axis=1)
            self.alive[at[count == 0]] = False
            for q in range(1, min(len(above), width - 1 - i) + 1):
                of = count == q
                mine, own = rest[of, :q], at[of]
                kind = self.kind[mine]
                for pick in itertools.combinations(range(len(above)), q):
                    if not len(own):
                        break
                    less = above[list(pick)]
                    higher = ((mine >= less) & (kind == self.kind[less])).all(axis=1)
                    self.alive[own[higher]] = False
                    mine, kind, own = mine[~higher], kind[~higher], own[~higher]


def _kinds(ladder: Ladder) -> IntArray:
    """Number of the kind of each level: its planes, and in how many pieces."""
    kinds = [tuple(sorted(place.plane for place in level)) for level in ladder.places]
    return np.array([kinds.index(kind) for kind in kinds])


def _level_sets(ladder: Ladder) -> tuple[list[IntArray], bool]:
    """Levels of all paths that spacings permit, by number of rows; False if these are too many to list."""
    h = ladder.levels
    paths = np.zeros((1, 1), dtype=np.int64)
    found: list[IntArray] = []
    for _ in range(ladder.most_rows):
        found.append(paths[ladder.allowed[paths[:, -1], h]])
        at, above = np.nonzero(ladder.allowed[paths[:, -1], :h])
        if len(at) > MOST_PATHS // 4:
            return found, False
        paths = np.column_stack([paths[at], above])
        if not len(paths):
            break
    return found, True
