"""One walk along a path of events: the state of all links, and which of them move on when."""

from __future__ import annotations

from enum import StrEnum
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fea.solvers.laws import Laws, LinkState
from fea.solvers.links import LinkForm

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

SAME = 1e-10  # rates and forces this much smaller than the largest are equal to zero
SUSPECT = 1e-3  # pivot over the link's own stiffness below which a mechanism is looked for
TOGETHER = 1e-7  # share of their capacity that links may still miss to fall with another
REFRESH = 16  # pivots before the tableau is made anew
HOLDS, OPEN, UP, DOWN, STUCK, LOST, LOOSE = (int(s) for s in LinkState)


class Outcome(StrEnum):
    """How a path ended."""

    COMPLETE = "complete"  # all load is on
    COLLAPSE = "collapse"  # a mechanism: no more load can be carried
    CYCLING = "cycling"  # states came back without progress: no answer
    UNPROVEN = "unproven"  # the answer does not meet its own conditions: no answer


def pivot(S: Array, k: int) -> None:
    """Exchange variable k of a tableau in place: principal pivot, its own inverse."""
    d = S[k, k]
    column, row = S[:, k] / d, S[k] / d
    S -= np.outer(S[:, k], row)
    S[k], S[:, k], S[k, k] = -row, column, 1.0 / d


class Walk:
    """State of all links on the way."""

    def __init__(self, form: LinkForm, laws: Laws) -> None:
        self.Z, self.laws = form.Z, laws
        c = len(laws)
        self.S = self.Z.copy()
        self.own, self.floor = form.own, form.floor
        self.flows = np.zeros(c, dtype=bool)
        self.state = np.where(laws.one_way & (laws.gap > 0.0), LOOSE, HOLDS)
        self.q = np.zeros(c)
        self.force, self.jump = np.zeros(c), np.zeros(c)
        self.target, self.aim = np.zeros(c), np.zeros(c)
        self.size = 0.0  # largest force so far
        self.pivots = 0
        self.stage, self.factor = 0, 0.0
        self.critical = -1
        self.log: list[tuple[int, float, int, int, int]] = []
        self.points: list[tuple[int, float, Array, Array]] = []

    def limits(self) -> tuple[Array, Array]:
        """Lowest and highest force of links that hold."""
        law, state = self.laws, self.state
        high = np.where(state == STUCK, law.residual, law.capacity)
        low = np.where(law.one_way, 0.0, -high)
        loose = state == LOOSE
        return np.where(loose, 0.0, low), np.where(loose, 0.0, high)

    def exchange(self, k: int) -> bool:
        """Pivot link k in or out; False if nothing but it resists."""
        if not self.S[k, k] > 0.0:
            return False
        if not self.flows[k] and self.S[k, k] < SUSPECT * self.own[k] and self.floats_with(k):
            return False
        pivot(self.S, k)
        self.flows[k] = not self.flows[k]
        self.pivots += 1
        return True

    def floats_with(self, k: int) -> bool:
        """Whether links that flow make a mechanism with link k, judged without the tableau."""
        A = np.append(np.flatnonzero(self.flows), k)
        size = np.sqrt(self.own[A])
        values = np.linalg.svd(self.Z[np.ix_(A, A)] / np.outer(size, size), compute_uv=False)
        return bool(values[-1] <= self.floor)

    def refresh(self) -> None:
        """Tableau, jumps and forces from the states alone."""
        self.pivots = 0
        A, H = np.flatnonzero(self.flows), np.flatnonzero(~self.flows)
        S = self.Z.copy()
        if len(A):
            try:
                inverse = np.linalg.inv(self.Z[np.ix_(A, A)])
            except np.linalg.LinAlgError:  # only where Z is indefinite: the proof will tell
                return
            across = inverse @ self.Z[np.ix_(A, H)]
            S[np.ix_(A, A)], S[np.ix_(A, H)], S[np.ix_(H, A)] = inverse, -across, across.T
            S[np.ix_(H, H)] = self.Z[np.ix_(H, H)] - self.Z[np.ix_(H, A)] @ across
            rest = self.q[A] - self.target[A] - self.Z[np.ix_(A, H)] @ self.jump[H]
            self.jump[A] = inverse @ rest
        self.S = S
        held = self.q - self.Z @ self.jump
        self.force = np.where(self.flows, self.target, held)

    def change(self, k: int, after: int) -> None:
        """Give link k another state."""
        self.log.append((self.stage, self.factor, k, int(self.state[k]), after))
        self.state[k] = after

    def mark(self) -> None:
        """Keep this point of the path."""
        self.points.append((self.stage, self.factor, self.force.copy(), self.jump.copy()))


class Watch(Protocol):
    """Parts of several links each that fail as a whole, by a limit on all their forces together.

    `growth` is how fast the load's factor grows, 0 while links fall at constant load.
    """

    def step(self, w: Walk, df: Array, growth: float, limit: float) -> float:
        """Way to the first part that reaches its limit, at most `limit`."""

    def due(self, w: Walk, df: Array, growth: float) -> IntArray:
        """Parts that stand at their limit and go beyond it, or are beyond it."""

    def release(self, w: Walk, part: int) -> int:
        """Let a part fail; -1, or the link that completes a mechanism."""


def _rates(w: Walk, dq: Array, dtarget: Array) -> tuple[Array, Array]:
    """Rates of forces and jumps for rates of the loads and of the prescribed forces."""
    r = np.where(w.flows, dq - dtarget, 0.0)
    x = w.S @ r
    return np.where(w.flows, dtarget, dq - x), np.where(w.flows, x, 0.0)


def _wrong(w: Walk, df: Array, dp: Array, scale: float) -> tuple[BoolArray, BoolArray]:
    """Links that hold but must yield, and links that yield but must hold, by their rates."""
    low, high = w.limits()
    near = SAME * max(w.size, 1e-300)
    out = SAME * scale
    holds = ~w.flows
    leave = holds & (((w.force >= high - near) & (df > out)) | ((w.force <= low + near) & (df < -out)))
    push = dp * w.own
    shut = (w.state == OPEN) & (w.jump >= w.laws.gap * (1.0 - 1e-12) - near / w.own) & (push > out)
    steady = w.target == w.aim
    back = steady & (((w.state == UP) & (push < -out)) | ((w.state == DOWN) & (push > out)))
    return leave, shut | back


def _step(w: Walk, df: Array, dp: Array, scale: float, limit: float) -> float:
    """Way to the next limit, at most `limit`."""
    low, high = w.limits()
    holds, out = ~w.flows, SAME * scale
    with np.errstate(divide="ignore", invalid="ignore"):
        to_high = np.where(holds & (df > out) & np.isfinite(high), (high - w.force) / df, np.inf)
        to_low = np.where(holds & (df < -out) & np.isfinite(low), (low - w.force) / df, np.inf)
        to_gap = np.where((w.state == OPEN) & (dp * w.own > out), (w.laws.gap - w.jump) / dp, np.inf)
    return float(max(min(limit, to_high.min(initial=limit), to_low.min(initial=limit),
                         to_gap.min(initial=limit)), 0.0))  # fmt: skip


def _release(w: Walk, k: int, up: bool) -> bool:
    """Let link k yield; False if this makes a mechanism that nothing stops."""
    law, was = w.laws, int(w.state[k])
    if was == LOOSE or (law.one_way[k] and not up):
        after, aim = OPEN, 0.0
    elif law.residual[k] == 0.0:
        after, aim = LOST, 0.0
    else:
        after, aim = (UP, law.residual[k]) if up else (DOWN, -law.residual[k])
    if not w.exchange(k):
        stop = _free_travel(w, k, up)
        if stop == k:  # its own gap closed first
            return True
        if stop < 0 or not w.exchange(k):
            return False
    falls = abs(aim) < abs(w.force[k]) * (1.0 - 1e-12)
    w.target[k] = w.force[k] if falls and after != OPEN else aim
    w.aim[k] = aim
    w.force[k] = w.target[k]
    w.change(k, after)
    return True


def _free_travel(w: Walk, k: int, up: bool) -> int:
    """Move the mechanism that link k would set free until a link stops it; that link, or -1 for none.

    Links that flow against their own direction in the mechanism stop it at once; gaps close after a finite
    travel at constant load.
    """
    way = np.where(w.flows, w.S[:, k], 0.0)  # jumps of those that flow, for a unit jump of link k
    way[k] = 1.0
    way *= 1.0 if up else -1.0
    way[np.abs(way) < 1e-9 * np.abs(way).max()] = 0.0
    back = (w.target == w.aim) & (((w.state == UP) & (way < 0.0)) | ((w.state == DOWN) & (way > 0.0)))
    shuts = ((w.state == OPEN) | (w.state == LOOSE)) & (way > 0.0)
    if back.any():
        stop, after = int(np.argmax(back)), STUCK
    elif shuts.any():
        travel = np.where(shuts, (w.laws.gap - w.jump) / np.where(shuts, way, 1.0), np.inf)
        stop, after = int(np.argmin(travel)), HOLDS
        w.mark()
        w.jump += max(travel[stop], 0.0) * way
        w.jump[stop] = w.laws.gap[stop]
        w.mark()
    else:
        return -1
    if w.flows[stop] and not w.exchange(stop):
        return -1
    w.change(stop, after)
    return stop


def _hold(w: Walk, k: int) -> bool:
    """Let link k hold again where it is; False where this has no meaning, Z being indefinite."""
    if not w.exchange(k):
        return False
    if w.state[k] == OPEN:
        w.jump[k] = w.laws.gap[k]
        w.change(k, HOLDS)
    else:
        w.change(k, STUCK)
    return True


def _switch(w: Walk, leave: BoolArray, enter: BoolArray, df: Array) -> bool:
    """Change what the rates call for; False at a collapse.

    One link at the least index; only when no other link is left, those that fall, all together, and with them
    those that would reach their capacity the next moment, so that symmetry survives rounding.
    """
    law = w.laws
    weak = (w.state == HOLDS) & (law.residual < law.capacity) & (~law.one_way | (df > 0.0))
    falls = leave & weak
    calm = (leave & ~falls) | enter
    if falls.any():
        falls |= weak & ~w.flows & (np.sign(df) * w.force >= law.capacity * (1.0 - TOGETHER)) & (df != 0.0)
    moving = np.flatnonzero(falls) if not calm.any() else np.flatnonzero(calm)[:1]
    for k in moving.tolist():
        if not (_hold(w, k) if enter[k] else _release(w, k, bool(df[k] > 0.0))):
            w.critical = k
            return False
    return True


def grow(w: Walk, dq: Array, target: float, watch: Watch | None = None) -> tuple[Outcome, str]:
    """Bring one load on, from factor 0 to `target`."""
    seen: set[bytes] = set()
    for _ in range(1000 + 100 * len(w.laws)):
        if w.pivots >= REFRESH:
            w.refresh()
        sheds = w.flows & (w.target != w.aim)
        falling = bool(sheds.any())
        left = 1.0 if falling else target - w.factor
        if left <= 0.0:
            return Outcome.COMPLETE, "all load is on"
        rate = np.zeros_like(dq) if falling else dq
        dtarget = np.where(sheds, w.aim - w.target, 0.0)
        scale = float(max(np.abs(rate).max(initial=0.0), np.abs(dtarget).max(initial=0.0)))
        df, dp = _rates(w, rate, dtarget)
        leave, enter = _wrong(w, df, dp, scale)
        if leave.any() or enter.any():
            key = w.state.tobytes() + sheds.tobytes()
            if key in seen:
                return Outcome.CYCLING, _cycle_words(w, leave | enter)
            seen.add(key)
            if not _switch(w, leave, enter, df):
                return Outcome.COLLAPSE, _collapse_words(w)
            continue
        growth = 0.0 if falling else 1.0
        if watch is not None:
            due = watch.due(w, df, growth)
            for part in due.tolist():
                w.critical = watch.release(w, part)
                if w.critical >= 0:
                    return Outcome.COLLAPSE, _collapse_words(w)
            if len(due):
                seen.clear()
                continue
        step = _step(w, df, dp, scale, left)
        if watch is not None:
            step = watch.step(w, df, growth, step)
        w.force += step * df
        w.jump += step * dp
        w.q += step * rate
        w.size = max(w.size, float(np.abs(w.force).max(initial=0.0)))
        w.target = np.where(sheds, w.aim if step == left else w.target + step * dtarget, w.target)
        w.factor += 0.0 if falling else (left if step == left else step)
        if step > SAME * left:
            seen.clear()
            w.mark()
    return Outcome.CYCLING, f"load {w.stage}, factor {w.factor:.6g}: too many events, no end in sight"


def _cycle_words(w: Walk, links: BoolArray) -> str:
    some = ", ".join(str(k) for k in np.flatnonzero(links)[:5])
    return (
        f"load {w.stage}, factor {w.factor:.6g}: the states of the links came back without progress "
        f"(link {some}); no answer from here on"
    )


def _collapse_words(w: Walk) -> str:
    moves = np.flatnonzero(w.flows)
    some = ", ".join(f"{k} ({LinkState(int(w.state[k])).words})" for k in moves[:8])
    more = ", ..." if len(moves) > 8 else ""
    return f"load {w.stage}, factor {w.factor:.6g}: a mechanism, nothing carries more load" + (
        f"; links that yield: {some}{more}" if len(moves) else ""
    )


def begin(w: Walk) -> None:
    """Open the gaps that something else than their links keeps in place."""
    for k in np.flatnonzero(w.state == LOOSE):
        if w.exchange(int(k)):
            w.state[k] = OPEN
