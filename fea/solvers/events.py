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

import numpy as np
from numpy.typing import NDArray

from fea.solvers.laws import Laws, LinkState
from fea.solvers.links import LinkForm, LinkSystem
from fea.solvers.proof import LinkProof, prove
from fea.solvers.walk import Outcome, Walk, Watch, begin, grow
from roofmodel.errors import InputError

__all__ = ["EventPath", "Events", "Outcome", "follow", "follow_links"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

ACCEPTED = 1e-6  # largest miss of an answer that is still one


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
    critical : int
        Link that completes the mechanism of a collapse; -1 for none.
    events : Events
    state : (c,) int
        `LinkState` of every link at the end.
    displacement : (n,) float
        At the end; empty when only link forces were given.
    force, jump : (c,) float
        At the end; force in the links. [N or N m; m or rad]
    share : (s,) float
        Of each load at the end.
    path_stage, path_factor : (t,)
        Points of the path: start, every event with progress, both ends of falls at constant load, end.
    path_force, path_jump : (t, c) float
    proof : LinkProof
    """

    outcome: Outcome
    words: str
    stage: int
    factor: float
    critical: int
    events: Events
    state: IntArray
    displacement: Array
    force: Array
    jump: Array
    share: Array
    path_stage: IntArray
    path_factor: Array
    path_force: Array
    path_jump: Array
    proof: LinkProof

    def path_displacement(self, system: LinkSystem, loads: Array, *, targets: Array | None = None) -> Array:
        """Displacements (t, n) at the points of the path under the stages `loads` (s, n)."""
        full = loads if targets is None else targets[:, None] * loads
        before = np.concatenate([np.zeros((1, loads.shape[1])), np.cumsum(full, axis=0)])
        F = before[self.path_stage] + self.path_factor[:, None] * loads[self.path_stage]
        return system.displacement(F.T, self.path_force.T, self.path_jump.T).T


def _check(laws: Laws, count: int, loads: Array, targets: Array) -> None:
    if len(laws) != count or targets.shape != (len(loads),):
        message = (
            f"events: {len(laws)} laws and {len(targets)} targets for {count} links, {len(loads)} loads."
        )
        raise InputError(message)
    if not np.isfinite(loads).all() or not (np.isfinite(targets) & (targets >= 0.0)).all():
        message = "events: loads must be finite, their targets finite and not negative."
        raise InputError(message)


def _walk(
    form: LinkForm, laws: Laws, q: Array, targets: Array, watch: Watch | None = None
) -> tuple[Walk, Outcome, str]:
    w = Walk(form, laws)
    begin(w)
    w.mark()
    outcome, words = Outcome.COMPLETE, "no load"
    for stage, (dq, target) in enumerate(zip(q, targets, strict=True)):
        w.stage, w.factor = stage, 0.0
        outcome, words = grow(w, dq, float(target), watch)
        if outcome is not Outcome.COMPLETE:
            break
    w.refresh()
    w.mark()
    return w, outcome, words


def _path(
    w: Walk, outcome: Outcome, words: str, proof: LinkProof, share: Array, displacement: Array
) -> EventPath:
    if outcome in (Outcome.COMPLETE, Outcome.COLLAPSE) and not proof.holds(ACCEPTED):
        outcome = Outcome.UNPROVEN
        words = f"{words}; but the answer misses its own conditions by {proof.worst:.1e} of the largest force"
    log = np.array([(s, k, a, b) for s, _, k, a, b in w.log], dtype=np.int64).reshape(-1, 4)
    return EventPath(
        outcome=outcome,
        words=words,
        stage=w.stage,
        factor=w.factor,
        critical=w.critical,
        events=Events(log[:, 0], np.array([e[1] for e in w.log]), log[:, 1], log[:, 2], log[:, 3]),
        state=w.state.astype(np.int64),
        displacement=displacement,
        force=w.force,
        jump=w.jump,
        share=share,
        path_stage=np.array([p[0] for p in w.points], dtype=np.int64),
        path_factor=np.array([p[1] for p in w.points]),
        path_force=np.array([p[2] for p in w.points]),
        path_jump=np.array([p[3] for p in w.points]),
        proof=proof,
    )


def _share(w: Walk, targets: Array) -> Array:
    share = np.where(np.arange(len(targets)) < w.stage, targets, 0.0)
    share[w.stage : w.stage + 1] = w.factor
    return share


def follow_links(
    form: LinkForm, laws: Laws, q: Array, *, targets: Array | None = None, watch: Watch | None = None
) -> EventPath:
    """Follow all events of a structure that is known by its links alone.

    Parameters
    ----------
    form : LinkForm
    laws : Laws
    q : (s, c) float
        Link forces of each load while no link has a jump. [N or N m]
    targets : (s,) float, optional
        Factor each load grows to; 1 when not given.
    watch : Watch, optional
        Parts of several links that fail as a whole; it may change capacity and residual in `laws`.

    Returns
    -------
    EventPath
        Its proof compares forces with q - Z p; equilibrium of the structure is in q and Z.

    Raises
    ------
    InputError
        Sizes that do not fit or numbers that are not finite.
    """
    q = np.atleast_2d(np.asarray(q, dtype=float))
    factors = np.ones(len(q)) if targets is None else np.asarray(targets, dtype=float)
    _check(laws, len(form.Z), q, factors)
    w, outcome, words = _walk(form, laws, q, factors, watch)
    share = _share(w, factors)
    miss = w.force - share @ q + form.Z @ w.jump
    proof = prove(
        laws,
        w.state,
        w.force,
        w.jump,
        own=form.own,
        miss=miss,
        unbalanced=np.zeros(0),
        falling=w.target != w.aim,
        size=w.size,
    )
    return _path(w, outcome, words, proof, share, np.zeros(0))


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
    factors = np.ones(len(loads)) if targets is None else np.asarray(targets, dtype=float)
    if loads.shape[1] != len(system.K):
        message = f"events: loads have {loads.shape[1]} entries; the structure has {len(system.K)} unknowns."
        raise InputError(message)
    _check(laws, len(system.B), loads, factors)
    w, outcome, words = _walk(system.form, laws, system.elastic(loads.T).T, factors)
    share = _share(w, factors)
    load = share @ loads
    u = system.displacement(load[:, None], w.force[:, None], w.jump[:, None])[:, 0]
    proof = prove(
        laws,
        w.state,
        w.force,
        w.jump,
        own=system.soft,
        miss=system.soft * (system.B @ u - w.jump - w.force / laws.stiffness),
        unbalanced=system.K @ u + system.B.T @ w.force - load,
        falling=w.target != w.aim,
        size=max(w.size, float(np.abs(load).max(initial=0.0))),
    )
    return _path(w, outcome, words, proof, share, u)
