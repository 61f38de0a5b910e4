"""Event-to-event path of a structure whose links open, close, slip, yield and break.

Loads grow in stages. Between events everything is linear; at each event one link changes its state, its
column is pivoted into or out of the tableau, and the path goes on from there:

- which links move on when several stand at their limits at once is a linear complementarity problem in
  rates, solved by principal pivots at the least index, which cannot cycle for associated laws (Murty, Linear
  Complementarity, 1988, ch. 4, from memory). A set of states that comes back at the same load is
  reported as cycling, never followed;
- a link that falls from its capacity to a smaller force sheds the difference at constant load, and others may
  yield, close or break on the way. Links that reach their limit together fall together;
- a mechanism moves on at constant load until a gap closes; if none does, this is the collapse.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from fea.solvers.laws import Laws, LinkState
from fea.solvers.links import LinkSystem
from fea.solvers.proof import Proof, prove
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

SAME = 1e-10  # rates and forces this much smaller than the largest are equal to zero
ACCEPTED = 1e-6  # largest miss of an answer that is still one
REFRESH = 16  # pivots before the tableau is made anew
HOLDS, OPEN, UP, DOWN, STUCK, LOST, LOOSE = (int(s) for s in LinkState)


class Outcome(StrEnum):
    """How a path ended."""

    COMPLETE = "complete"  # all load is on
    COLLAPSE = "collapse"  # a mechanism: no more load can be carried
    CYCLING = "cycling"  # states came back without progress: no answer
    UNPROVEN = "unproven"  # the answer does not meet its own conditions: no answer


@dataclass(frozen=True)
class Events:
    """What happened, in order.

    Attributes
    ----------
    stage : (e,) int
        Load that was growing.
    factor : (e,) float
        Share of that load.
    link : (e,) int
    before, after : (e,) int
        `LinkState` of the link.
    """

    stage: IntArray
    factor: Array
    link: IntArray
    before: IntArray
    after: IntArray

    def __len__(self) -> int:
        return len(self.link)

    def words(self, names: tuple[str, ...] | None = None) -> list[str]:
        """One line per event."""
        name = (lambda i: f"link {i}") if names is None else (lambda i: names[i])
        return [
            f"load {s}, factor {t:.6g}: {name(i)} {LinkState(a).words} -> {LinkState(b).words}"
            for s, t, i, a, b in zip(*(v.tolist() for v in vars(self).values()), strict=True)
        ]


@dataclass(frozen=True)
class EventPath:
    """A path of events.

    Attributes
    ----------
    outcome : Outcome
    words : str
        The outcome for a reader.
    stage, factor : int, float
        Where the path ended.
    events : Events
    state : (c,) int
        `LinkState` of every link at the end.
    displacement : (n,) float
    force, jump : (c,) float
        At the end; force on the links. [N or N m; m or rad]
    load : (n,) float
        At the end.
    path_stage, path_factor : (t,)
        Points of the path: start, every event with progress, both ends of falls at constant load, end.
    path_force, path_jump : (t, c) float
    proof : Proof
    """

    outcome: Outcome
    words: str
    stage: int
    factor: float
    events: Events
    state: IntArray
    displacement: Array
    force: Array
    jump: Array
    load: Array
    path_stage: IntArray
    path_factor: Array
    path_force: Array
    path_jump: Array
    proof: Proof

    def path_displacement(self, system: LinkSystem, loads: Array, *, targets: Array | None = None) -> Array:
        """Displacements (t, n) at the points of the path under the stages `loads` (s, n)."""
        full = loads if targets is None else targets[:, None] * loads
        before = np.concatenate([np.zeros((1, loads.shape[1])), np.cumsum(full, axis=0)])
        F = before[self.path_stage] + self.path_factor[:, None] * loads[self.path_stage]
        return system.displacement(F.T, self.path_force.T, self.path_jump.T).T


def pivot(S: Array, k: int) -> None:
    """Exchange variable k of a tableau in place: principal pivot, its own inverse."""
    d = S[k, k]
    column, row = S[:, k] / d, S[k] / d
    S -= np.outer(S[:, k], row)
    S[k], S[:, k], S[k, k] = -row, column, 1.0 / d


class _Walk:
    """State of all links on the way."""

    def __init__(self, system: LinkSystem, laws: Laws) -> None:
        self.Z, self.laws = system.Z, laws
        c = len(laws)
        self.S = self.Z.copy()
        self.own, self.floor = system.soft, system.floor
        self.flows = np.zeros(c, dtype=bool)
        self.state = np.where(laws.one_way & (laws.gap > 0.0), LOOSE, HOLDS)
        self.q = np.zeros(c)
        self.force, self.jump = np.zeros(c), np.zeros(c)
        self.target, self.aim = np.zeros(c), np.zeros(c)
        self.size = 0.0  # largest force so far
        self.pivots = 0
        self.stage, self.factor = 0, 0.0
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
        if not self.flows[k] and not self.S[k, k] > self.floor[k]:
            return False
        pivot(self.S, k)
        self.flows[k] = not self.flows[k]
        self.pivots += 1
        if self.pivots % REFRESH == 0:
            self.refresh()
        return True

    def refresh(self) -> None:
        """Tableau, jumps and forces from the states alone."""
        A, H = np.flatnonzero(self.flows), np.flatnonzero(~self.flows)
        S = self.Z.copy()
        if len(A):
            inverse = np.linalg.inv(self.Z[np.ix_(A, A)])
            across = inverse @ self.Z[np.ix_(A, H)]
            S[np.ix_(A, A)], S[np.ix_(A, H)], S[np.ix_(H, A)] = inverse, -across, across.T
            S[np.ix_(H, H)] = self.Z[np.ix_(H, H)] - self.Z[np.ix_(H, A)] @ across
            rest = self.q[A] - self.target[A] - self.Z[np.ix_(A, H)] @ self.jump[H]
            self.jump[A] = inverse @ rest
        self.S = S
        held = self.q - self.Z @ self.jump
        self.force = np.where(self.flows, self.target, held)

    def change(self, k: int, after: int) -> None:
        self.log.append((self.stage, self.factor, k, int(self.state[k]), after))
        self.state[k] = after

    def mark(self) -> None:
        self.points.append((self.stage, self.factor, self.force.copy(), self.jump.copy()))


def _rates(w: _Walk, dq: Array, dtarget: Array) -> tuple[Array, Array]:
    """Rates of forces and jumps for rates of the loads and of the prescribed forces."""
    r = np.where(w.flows, dq - dtarget, 0.0)
    x = w.S @ r
    return np.where(w.flows, dtarget, dq - x), np.where(w.flows, x, 0.0)


def _wrong(w: _Walk, df: Array, dp: Array, scale: float) -> tuple[BoolArray, BoolArray]:
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


def _step(w: _Walk, df: Array, dp: Array, scale: float, limit: float) -> float:
    """Way to the next limit, at most `limit`."""
    low, high = w.limits()
    holds, out = ~w.flows, SAME * scale
    with np.errstate(divide="ignore", invalid="ignore"):
        to_high = np.where(holds & (df > out) & np.isfinite(high), (high - w.force) / df, np.inf)
        to_low = np.where(holds & (df < -out) & np.isfinite(low), (low - w.force) / df, np.inf)
        to_gap = np.where((w.state == OPEN) & (dp * w.own > out), (w.laws.gap - w.jump) / dp, np.inf)
    return float(max(min(limit, to_high.min(initial=limit), to_low.min(initial=limit),
                         to_gap.min(initial=limit)), 0.0))  # fmt: skip


def _release(w: _Walk, k: int, up: bool) -> bool:
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


def _free_travel(w: _Walk, k: int, up: bool) -> int:
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
    if w.flows[stop]:
        w.exchange(stop)
    w.change(stop, after)
    return stop


def _hold(w: _Walk, k: int) -> None:
    """Let link k hold again where it is."""
    w.exchange(k)
    if w.state[k] == OPEN:
        w.jump[k] = w.laws.gap[k]
        w.change(k, HOLDS)
    else:
        w.change(k, STUCK)


def _switch(w: _Walk, leave: BoolArray, enter: BoolArray, df: Array) -> bool:
    """Change what the rates call for; False at a collapse.

    One link at the least index; only when no other link is left, those that fall, all together.
    """
    law = w.laws
    falls = leave & (w.state == HOLDS) & (law.residual < law.capacity) & (~law.one_way | (df > 0.0))
    calm = (leave & ~falls) | enter
    if not calm.any():
        return all(_release(w, int(k), bool(df[k] > 0.0)) for k in np.flatnonzero(falls))
    k = int(np.argmax(calm))
    if enter[k]:
        _hold(w, k)
        return True
    return _release(w, k, bool(df[k] > 0.0))


def _grow(w: _Walk, dq: Array, target: float) -> tuple[Outcome, str]:
    """Bring one load on, from factor 0 to `target`."""
    seen: set[bytes] = set()
    for _ in range(1000 + 100 * len(w.laws)):
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
        step = _step(w, df, dp, scale, left)
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


def _cycle_words(w: _Walk, links: BoolArray) -> str:
    some = ", ".join(str(k) for k in np.flatnonzero(links)[:5])
    return (
        f"load {w.stage}, factor {w.factor:.6g}: the states of the links came back without progress "
        f"(link {some}); no answer from here on"
    )


def _collapse_words(w: _Walk) -> str:
    moves = np.flatnonzero(w.flows)
    some = ", ".join(f"{k} ({LinkState(int(w.state[k])).words})" for k in moves[:8])
    more = ", ..." if len(moves) > 8 else ""
    return f"load {w.stage}, factor {w.factor:.6g}: a mechanism, nothing carries more load" + (
        f"; links that yield: {some}{more}" if len(moves) else ""
    )


def _begin(w: _Walk) -> None:
    """Open the gaps that something else than their links keeps in place."""
    for k in np.flatnonzero(w.state == LOOSE):
        if w.exchange(int(k)):
            w.state[k] = OPEN


def follow(system: LinkSystem, laws: Laws, loads: Array, *, targets: Array | None = None) -> EventPath:
    """Bring loads on one after another and follow all events.

    Parameters
    ----------
    system : LinkSystem
        Made with the stiffness of the same laws.
    laws : Laws
    loads : (s, n) float
        Such as the held load and the one that grows: F = sum of those before + factor x this one.
    targets : (s,) float, optional
        Factor each load grows to; 1 when not given.

    Returns
    -------
    EventPath
        Ends early at a collapse or a cycle, which `outcome` and `words` tell.

    Raises
    ------
    InputError
        Sizes that do not fit or numbers that are not finite.
    """
    loads = np.atleast_2d(np.asarray(loads, dtype=float))
    n, c = system.influence.shape
    factors = np.ones(len(loads)) if targets is None else np.asarray(targets, dtype=float)
    if loads.shape[1] != n or len(laws) != c or factors.shape != (len(loads),):
        message = f"events: {len(laws)} laws and loads {loads.shape} do not fit {c} links and {n} unknowns."
        raise InputError(message)
    if not np.isfinite(loads).all() or not (np.isfinite(factors) & (factors >= 0.0)).all():
        message = "events: loads must be finite, their targets finite and not negative."
        raise InputError(message)
    w = _Walk(system, laws)
    _begin(w)
    w.mark()
    outcome, words = Outcome.COMPLETE, "no load"
    q = system.elastic(loads.T).T
    for w.stage, (dq, target) in enumerate(zip(q, factors, strict=True)):
        w.factor = 0.0
        outcome, words = _grow(w, dq, float(target))
        if outcome is not Outcome.COMPLETE:
            break
    w.refresh()
    w.mark()
    return _finish(system, w, loads, factors, outcome, words)


def _finish(
    system: LinkSystem, w: _Walk, loads: Array, factors: Array, outcome: Outcome, words: str
) -> EventPath:
    share = np.where(np.arange(len(loads)) < w.stage, factors, 0.0)
    share[w.stage] = w.factor
    load = share @ loads
    u = system.displacement(load[:, None], w.force[:, None], w.jump[:, None])[:, 0]
    log = np.array([(s, k, a, b) for s, _, k, a, b in w.log], dtype=np.int64).reshape(-1, 4)
    events = Events(log[:, 0], np.array([e[1] for e in w.log]), log[:, 1], log[:, 2], log[:, 3])
    proof = prove(system, w.laws, w.state, u, w.force, w.jump, load, falling=w.target != w.aim, size=w.size)
    if outcome in (Outcome.COMPLETE, Outcome.COLLAPSE) and not proof.holds(ACCEPTED):
        outcome = Outcome.UNPROVEN
        words = f"{words}; but the answer misses its own conditions by {proof.worst:.1e} of the largest force"
    return EventPath(
        outcome=outcome,
        words=words,
        stage=w.stage,
        factor=w.factor,
        events=events,
        state=w.state.astype(np.int64),
        displacement=u,
        force=w.force,
        jump=w.jump,
        load=load,
        path_stage=np.array([p[0] for p in w.points], dtype=np.int64),
        path_factor=np.array([p[1] for p in w.points]),
        path_force=np.array([p[2] for p in w.points]),
        path_jump=np.array([p[3] for p in w.points]),
        proof=proof,
    )
