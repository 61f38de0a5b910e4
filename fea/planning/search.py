"""The search for the cheapest rows that pass, on ladders of levels: bounds, paths, and what checks teach.

Variables: for every group of planes a path of (level, option) from level 0 upward. Objective: the sum of the
costs of its rows. Constraints: arcs between rows that the spacings permit; every row's utilization and every
strip's at most 1 (of its target), by a full check of all groups together.

A path's cost is a sum over its arcs, so the cheapest path whose arcs are not known to fail is found by
dynamic programming over (rows left, set of spacings, level). It is checked in full. Each row that was checked
is a fact about its arc, and a lower bound for every arc on which the same rail on the same seams would hold
more snow: a higher next row, or a lower level where rows are alike. The first path that passes is the
cheapest, since all cheaper ones hold an arc, or are a path, that is known to fail. This rests on one
assumption, that no row does better for holding more snow; where a check contradicts it, the result says that
it is not proven. Where strips fail and rows do not, the path itself is put aside; and all paths with that
single spacing when they fail by more than `CLEAR`, if the rows of all levels have the same seams: on others,
two rows with clamps on every second seam may share the strips.

Rows that leave gaps, on planes in pieces or as far as snow threatens, are also reached by what passes the
ends of the next row: these paths are looked at again with what does hold there (`fea.planning.open_rows`).
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fea.planning.ladder import SLACK, Checked, Found, Ladder, Path
from fea.planning.open_rows import deepened

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

CLEAR = 1.03  # strips that fail by more fail wherever rows with this option stand on the same seams
DOUBT = 0.01  # a check this far below its bound contradicts the assumption
MORE_CHECKS = 45  # of one group whose rows leave gaps
FAR = 1.5  # where the densest rows are over by so much, few others are looked at (judgment)
FEW, SOME = 25, 80  # checks of a group then, and where the densest rows are over by less (judgment)
NEAR = 0.98  # where nothing passes, rows whose use might be this part of the best found's are not looked for


@dataclass
class _State:
    """What is known about one group."""

    ladder: Ladder
    low: Array
    facts: dict[tuple[int, int, int], float] = field(default_factory=dict)
    seen: dict[Path, Checked] = field(default_factory=dict)
    failed: set[Path] = field(default_factory=set)
    dead: set[int] = field(default_factory=set)
    doubted: bool = False
    best: Path | None = None
    done: bool = False
    left: int | None = None
    dense: dict[Path, Checked] = field(default_factory=dict)

    def path_cost(self, path: Path) -> float:
        return float(sum(self.ladder.cost[a, m] for a, m in path))

    def bound(self, path: Path) -> float:
        """Largest bound of a path's arcs."""
        ends = [a for a, _ in path[1:]] + [self.ladder.levels]
        return max(float(self.low[a, b, m]) for (a, m), b in zip(path, ends, strict=True))

    def learn(self, path: Path, checked: Checked) -> None:
        """Keep what a check says about arcs and path."""
        self.seen[path] = checked
        ends = [a for a, _ in path[1:]] + [self.ladder.levels]
        for (a, m), b, use in zip(path, ends, checked.rows, strict=True):
            if use < self.low[a, b, m] * (1.0 - DOUBT) - SLACK:
                self.doubted = True
            self.facts[a, b, m] = use
            same = np.flatnonzero(self.ladder.alike[: a + 1, a])
            self.low[same, b:, m] = np.maximum(self.low[same, b:, m], use)
        spacing = self.ladder.spacings
        for (a, m), b, parts in zip(path, ends, checked.parts, strict=False):
            same = np.flatnonzero(self.ladder.alike[: a + 1, a])
            for plane, use in enumerate(parts):  # whatever the other planes' spacings are
                alike = np.flatnonzero(spacing[:, plane] == spacing[m, plane])
                at = np.ix_(same, np.arange(b, self.low.shape[1]), alike)
                self.low[at] = np.maximum(self.low[at], use)
        for (a, b, m), use in self.facts.items():
            self.low[a, b, m] = use
        if checked.strips > 1.0 + SLACK:
            self.failed.add(path)
            used = int(np.bitwise_or.reduce([self.ladder.sets[a, m] for a, m in path]))
            single = used & (used - 1) == 0
            if single and self.ladder.alike.all() and checked.strips > CLEAR:
                self.dead.add(used)


def search(
    ladders: Sequence[Ladder],
    check: Callable[[list[Path]], list[Checked]],
    *,
    even: bool = False,
    first: bool = False,
    densest: bool = False,
    most_checks: int = 400,
) -> tuple[list[Found], int]:
    """Best path of every group.

    Parameters
    ----------
    ladders : sequence of Ladder
    check : callable
        Full check of one path for each group at a time.
    even : bool
        Of the cheapest paths the one whose most used row is used least, by check.
    first : bool
        Whether any path that passes will do, be it cheap or not.
    densest : bool
        Whether the densest rows are checked first, and few others looked at where these are over: then what
        is not found is given as not proven.
    most_checks : int
        Checks after which what is not done is given as not proven.

    Returns
    -------
    list of Found
    int
        Full checks that were needed.
    """
    states = [_State(ladder, _start(ladder)) for ladder in ladders]
    checks = _densest_first(states, check, first=first) if densest else 0
    while not all(state.done for state in states):
        paths = [_propose(state) for state in states]
        fresh = [not s.done and p not in s.seen for s, p in zip(states, paths, strict=True)]
        if any(fresh):
            if checks >= most_checks:
                break
            checks += 1
            for state, path, checked in zip(states, paths, check(paths), strict=True):
                if not state.done:
                    state.learn(path, checked)
                    state.left = None if state.left is None else state.left - 1
        for state, path in zip(states, paths, strict=True):
            _settle(state, path, even)
            if state.left == 0 and not state.done:
                state.done = state.doubted = True
    found = []
    for state in states:
        passing = [path for path, one in state.dense.items() if one.worst <= 1.0 + SLACK]
        if state.best is None and passing:  # what the bounds took for failing
            state.best, state.doubted = min(passing, key=state.path_cost), True
        path = _settled(state)
        checked = state.seen.get(path) or state.dense[path]
        feasible = state.best is not None
        proven = state.done and not state.doubted and not state.ladder.open  # what is open is looked at below
        found.append(Found(path, feasible, proven, state.path_cost(path), checked))
    for number, state in enumerate(states):
        if state.ladder.open and not (first and found[number].feasible):

            def check_one(path: Path, number: int = number) -> Checked:
                return check([path if k == number else one.path for k, one in enumerate(found)])[number]

            most = min(MORE_CHECKS, most_checks - checks)
            found[number], more = deepened(
                state.ladder, found[number], state.seen | state.dense, check_one, most, first=first
            )
            checks += more
    return found, checks


def _densest_first(
    states: Sequence[_State], check: Callable[[list[Path]], list[Checked]], *, first: bool
) -> int:
    """Checks of the densest rows that are allowed: what these are far from holding, others hardly hold.

    The closest clamps, and rows so that the most that one must hold is least: by the levels up to the next
    row, and by what is known to load them. Returns the number of checks.
    """
    checks = 0
    for by_load in (False, True):
        paths = [_densest(state, by_load=by_load) for state in states]
        fresh = [path for path in paths if path is not None]
        if len(fresh) < len(states) or all(p in s.dense for s, p in zip(states, fresh, strict=True)):
            continue
        checks += 1
        for state, path, checked in zip(states, fresh, check(fresh), strict=True):
            state.dense[path] = checked
            if first and checked.worst <= 1.0 + SLACK:
                state.best, state.done = path, True
    for state in states:
        least = min((one.worst for one in state.dense.values()), default=0.0)
        if least > 1.0 + SLACK:
            state.left = FEW if least > FAR else SOME
    return checks


def _densest(state: _State, *, by_load: bool) -> Path | None:
    """Path with the closest clamps on which the largest arc is least; None where the spacings allow none."""
    ladder, h = state.ladder, state.ladder.levels
    arcs = (
        ladder.least
        if by_load
        else np.maximum(np.arange(h + 1.0)[None] - np.arange(h)[:, None], 0.0)[..., None]
    )
    there = ladder.allowed[:, :, None] & np.isfinite(ladder.cost)[:, None, :]
    there[:, :, 1:] = False
    weight = np.where(there, arcs, np.inf)
    alive = np.ones(len(ladder.strips), dtype=bool)
    for most in np.unique(weight[np.isfinite(weight)]):
        path = _cheapest(state, weight <= most, alive)
        if path is not None:
            return path
    return None


def _start(ladder: Ladder) -> Array:
    """Lower bounds of arcs; infinite where spacings forbid them."""
    low = np.maximum(ladder.least, ladder.height[:, None, None])
    return np.where(ladder.allowed[:, :, None] & np.isfinite(ladder.cost)[:, None, :], low, np.inf)


def _settled(state: _State) -> Path:
    known = state.seen | state.dense
    return state.best or min(known, key=lambda path: known[path].worst)


def _propose(state: _State) -> Path:
    """Path to be checked next; one that was checked where there is nothing left to do."""
    if state.done:
        return _settled(state)
    if state.best is not None:
        return _evenest(state, state.path_cost(state.best)) or state.best
    path = _candidate(state) or _evenest(state, np.inf, passing=False)
    if path is None:
        return _settled(state) if state.seen else ((0, 0),)
    return path


def _candidate(state: _State) -> Path | None:
    """The cheapest path that is not known to fail, the evenest of equals; None if all fail."""
    cheapest = _cheapest(state, state.low <= 1.0 + SLACK, _alive(state))
    if cheapest is None:
        return None
    path = _evenest(state, state.path_cost(cheapest)) or cheapest
    if path in state.failed:
        path = _next_best(state)
    return None if path in state.failed else path


def _settle(state: _State, path: Path, even: bool) -> None:
    """Whether a group is done after its path was checked."""
    if state.done:
        return
    checked = state.seen[path]
    better = state.best is None or max(checked.rows) < max(state.seen[state.best].rows) - SLACK
    if checked.worst <= 1.0 + SLACK and better:
        state.best = path
        state.done = not even
        return
    if state.best is not None:
        again = _evenest(state, state.path_cost(state.best))
    elif _candidate(state) is None:
        again = _evenest(state, np.inf, passing=False)
        least = min(known.worst for known in state.seen.values())
        state.done = again is not None and state.bound(again) >= NEAR * least
    else:
        return
    state.done |= again is None or again in state.seen


def _alive(state: _State) -> BoolArray:
    """Sets of spacings whose strips may pass, by bits."""
    alive = state.ladder.strips <= 1.0 + SLACK
    alive[0] = False
    for mask in state.dead:
        alive[mask] = False
    return alive


def _cost_to_go(state: _State, usable: BoolArray) -> Array:
    """Least cost from each level to the top, (rows + 1, sets, h + 1), the set of spacings used on the way.

    Entry (k, s, a) takes exactly k rows, the lowest on level a, and uses just the spacings in s.
    """
    ladder = state.ladder
    arc = np.where(usable, ladder.cost[:, None, :], np.inf).transpose(2, 0, 1)
    count, h = len(ladder.strips), ladder.levels
    bits, level = ladder.sets.T[:, None, :], np.arange(h)
    value = np.full((ladder.most_rows + 1, count, h + 1), np.inf)
    value[0, 0, h] = 0.0
    for k in range(1, ladder.most_rows + 1):
        masks = np.flatnonzero(np.isfinite(value[k - 1]).any(axis=1))
        on = (arc[:, None] + value[k - 1, masks][None, :, None]).min(axis=3)
        np.minimum.at(value[k], (masks[:, None] | bits, level), on)
    return value


def _cheapest(state: _State, usable: BoolArray, alive: BoolArray) -> Path | None:
    """Cheapest path over usable arcs with a set of options that is alive."""
    value = _cost_to_go(state, usable)
    ends = np.where(alive[None, :], value[1:, :, 0], np.inf)
    if not np.isfinite(ends).any():
        return None
    k, mask = (int(i) for i in np.unravel_index(np.argmin(ends), ends.shape))
    return _trace(state, usable, value, k + 1, mask)


def _trace(state: _State, usable: BoolArray, value: Array, k: int, mask: int) -> Path:
    """The path behind an entry of `_cost_to_go`."""
    ladder, a, path = state.ladder, 0, []
    every = np.arange(len(ladder.strips))
    while k:
        option, rest = np.nonzero((every | ladder.sets[a][:, None]) == mask)
        on = np.where(usable[a].T, ladder.cost[a][:, None], np.inf)[option] + value[k - 1, rest]
        best, b = (int(i) for i in np.unravel_index(np.argmin(on), on.shape))
        path.append((a, int(option[best])))
        mask, a, k = int(rest[best]), b, k - 1
    assert a == ladder.levels
    return tuple(path)


def _evenest(state: _State, budget: float, *, passing: bool = True) -> Path | None:
    """Of the paths within a budget the one whose largest bound of an arc is least."""
    top = 1.0 + SLACK if passing else np.inf
    alive = _alive(state) if passing else np.ones(len(state.ladder.strips), dtype=bool)
    values = np.unique(state.low[np.isfinite(state.low) & (state.low <= top)])
    low, high, found = 0, len(values) - 1, None
    while low <= high:
        middle = (low + high) // 2
        path = _cheapest(state, state.low <= values[middle], alive)
        if path is not None and state.path_cost(path) <= budget * (1.0 + SLACK) + SLACK:
            found, high = path, middle - 1
        else:
            low = middle + 1
    return found


def _next_best(state: _State) -> Path:
    """Cheapest path that was not put aside, by best-first search with exact costs to go.

    Falls back on a path that was, where there is no other.
    """
    ladder, usable, alive = state.ladder, state.low <= 1.0 + SLACK, _alive(state)
    h, sets, every = ladder.levels, ladder.sets, np.arange(len(alive))
    within = np.minimum.accumulate(_cost_to_go(state, usable), axis=0)  # by at most so many rows
    lives = alive[every[:, None] | every]
    value = np.where(lives[:, :, None], within[:, None], np.inf).min(axis=2)
    order = itertools.count()
    heap: list[tuple[float, float, int, float, int, int, Path]] = []

    def push(spent: float, used: float, a: int, mask: int, path: Path) -> None:
        bound = spent + float(value[ladder.most_rows - len(path), mask, a])
        if np.isfinite(bound):
            heapq.heappush(heap, (round(bound, 9), used, next(order), spent, a, mask, path))

    push(0.0, 0.0, 0, 0, ())
    while heap:
        _, used, _, spent, a, mask, path = heapq.heappop(heap)
        if a == h:
            if path not in state.failed and alive[mask]:
                return path
            continue
        if len(path) == ladder.most_rows:
            continue
        for b, option in np.argwhere(usable[a]).tolist():
            cost = spent + float(ladder.cost[a, option])
            most = max(used, float(state.low[a, b, option]))
            push(cost, most, b, mask | int(sets[a, option]), (*path, (a, option)))
    return next(iter(state.failed))
