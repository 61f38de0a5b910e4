"""Clamps and panel strips as parts of several links each, with a limit on all their forces together.

A clamp fails when its directions are used up together as the check counts it (`fea.checks.limits`). What it
does then follows from the direction that uses most of it and from its law:

- along the seam it slips and keeps a share of its force there; it still holds the rail down and upright, and
  comes off when its other directions are used up by themselves (judgment). With nothing kept it comes off;
- any other way it comes off the seam. With a share kept it goes on with that share of all its forces.

A panel strip's fixed point lets go when the clamps on its seam, its own weight and the friction of the snow
exceed it, either way; its clamps then keep a share of what they held along the seam. A seam that opens at one
clamp takes a share of the strength of its other clamps. All shares are inputs.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import clamp_components, component_utilization, interact, lifted_parts
from fea.solvers.laws import Laws
from fea.solvers.walk import DOWN, LOST, UP, Walk
from roofmodel.hardware import Clamp

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

HOLDS, SLIPS, OFF = range(3)  # what a clamp does
PRESSED = 3  # direction into the roof among those of `clamp_components`
AHEAD = 32  # places looked at on the way to the next event
DUE = 1e-9  # use this close to 1 is an event
TOGETHER = 1e-7  # parts this close to their limit fail with those that reach it
NUDGE = 1e-6  # share of the way that tells whether a use rises
NEXT_TO_NOTHING = 1e-9  # force of a link over its clamp's largest that is none


@dataclass(frozen=True)
class Failures:
    """Laws of clamps, strips and seams after they fail, all from 0 to 1. [-].

    `slip` is the share that a clamp keeps along its seam once it slips, `off` what it keeps of all its forces
    once it comes off, `anchorage` what the clamps of a strip keep once its fixed point lets go; 0 is
    brittle, 1 ductile. `unzip` is the share of strength that a seam which opens takes from its other clamps.
    """

    slip: float = 0.0
    off: float = 0.0
    anchorage: float = 0.0
    unzip: float = 0.0


def unlimited(clamp: Clamp) -> Clamp:
    """The clamp with strengths that nobody gave as unlimited."""
    return replace(clamp, strength=np.where(np.isnan(clamp.strength), np.inf, clamp.strength))


@dataclass
class BayWatch:
    """Watch over the clamps and strips of a bay (`fea.solvers.walk.Watch`).

    Attributes
    ----------
    clamp : Clamp
        Strengths of NaN count as unlimited here.
    link : (c, 6) int
        Link of each part of each clamp, -1 for none.
    strip : (c,) int
    anchorage : (s,) float
        What a fixed point holds; infinite for no limit. [N]
    rest : (2, s) float
        What else loads it down the slope, held and by the growing load. [N]
    laws : Laws
        Those of the walk, which this changes as clamps fail.
    failures : Failures
    bearing : (c,) int
        Link that bears once a clamp is off, -1 for none.
    state : (c,) int
    held : (c,) float
        Share of its strength that each clamp still has.
    gone : (s,) bool
        Fixed points that let go.
    told : dict
        Number of the event in the walk's log to its words' parts: what, number, direction.
    """

    clamp: Clamp
    link: IntArray
    strip: IntArray
    anchorage: Array
    rest: Array
    laws: Laws
    failures: Failures
    bearing: IntArray
    state: IntArray = field(init=False)
    held: Array = field(init=False)
    gone: NDArray[np.bool_] = field(init=False)
    told: dict[int, tuple[str, int, int]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Everything holds."""
        self.state = np.full(len(self.link), HOLDS)
        self.held = np.ones(len(self.link))
        self.gone = np.zeros(len(self.anchorage), dtype=bool)
        self.clamp = unlimited(self.clamp)

    def forces(self, force: Array) -> Array:
        """Forces (..., c, 6) at the grips from those of all links (..., links)."""
        return np.where(self.link >= 0, force[..., np.maximum(self.link, 0)], 0.0)

    def use(self, force: Array, state: IntArray | None = None) -> Array:
        """Use (..., c) of clamps at forces (..., c, 6); 0 of those that are off."""
        now = self.state if state is None else state
        whole = interact(
            component_utilization(clamp_components(force, self.clamp), self.clamp, 0.0),
            self.clamp.interaction,
        )
        if (now == SLIPS).any():
            parts = lifted_parts(force, self.clamp)
            parts[..., 0] = 0.0
            rest = interact(component_utilization(parts, self.clamp, 0.0), self.clamp.interaction)
            whole = np.where(now == SLIPS, rest, whole)
        return np.where(now == OFF, 0.0, whole / self.held)

    def _strips(self, along: Array, rest: Array) -> Array:
        """Use (..., s) of fixed points for clamp forces along (..., c) and what else loads them (..., s)."""
        total = along @ (self.strip[:, None] == np.arange(len(self.anchorage)))
        demand = np.maximum(np.maximum(total, 0.0) + rest, np.maximum(-total, 0.0))
        return np.where(self.gone, 0.0, demand / self.anchorage)

    def _all(self, w: Walk, way: Array, df: Array, growth: float) -> Array:
        """Use (k, c + s) of every part at k places on the way."""
        force = self.forces(w.force + way[:, None] * df)
        share = w.factor + growth * way
        rest = share[:, None] * self.rest[0] if w.stage == 0 else self.rest[0] + share[:, None] * self.rest[1]
        return np.concatenate([self.use(force), self._strips(force[..., 0], rest)], axis=1)

    def step(self, w: Walk, df: Array, growth: float, limit: float) -> float:
        """Way to the first part that reaches its limit, at most `limit`."""
        if not limit > 0.0:
            return limit
        way = np.linspace(0.0, limit, AHEAD + 1)
        over = self._all(w, way, df, growth) >= 1.0
        crosses = over[1:] & ~over[:-1]
        if not crosses.any():
            return limit
        first = int(np.argmax(crosses.any(axis=1)))
        parts = np.flatnonzero(crosses[first])
        low, high = np.full(len(parts), way[first]), np.full(len(parts), way[first + 1])
        for _ in range(60):
            middle = 0.5 * (low + high)
            beyond = self._all(w, middle, df, growth)[np.arange(len(parts)), parts] >= 1.0
            low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
        return float(high.min())

    def due(self, w: Walk, df: Array, growth: float) -> IntArray:
        """Parts that stand at their limit and go beyond it, or are beyond it."""
        size = float(np.abs(df).max(initial=0.0))
        nudge = NUDGE * max(w.size, 1e-300) / size if size > 0.0 else 0.0
        now, then = self._all(w, np.array([0.0, nudge]), df, growth)
        rises = then > now + 1e-3 * NUDGE
        at = (now > 1.0 + DUE) | ((now >= 1.0 - DUE) & rises)
        if not at.any():
            return np.zeros(0, dtype=np.int64)
        return np.flatnonzero(at | ((now >= 1.0 - TOGETHER) & rises))

    def release(self, w: Walk, part: int) -> int:
        """Let a clamp or strip fail; -1, or the link that completes a mechanism."""
        if part < len(self.link):
            return self._release_clamp(w, part)
        return self._release_strip(w, part - len(self.link))

    def _release_clamp(self, w: Walk, c: int) -> int:
        force = self.forces(w.force)[c]
        parts = component_utilization(clamp_components(force, self.clamp), self.clamp, 0.0)
        if self.state[c] == SLIPS:
            parts = component_utilization(lifted_parts(force, self.clamp), self.clamp, 0.0)
            parts[0] = 0.0
        mode = int(np.argmax(parts))
        links = self.link[c][self.link[c] >= 0]
        slips = mode == 0 and self.failures.slip > 0.0
        if slips:
            self.told[len(w.log)] = ("slips", c, 0)
            self.state[c] = SLIPS
            return self._flow(w, self.link[c, :1], self.failures.slip, 0.0)
        self.told[len(w.log)] = ("off" if self.failures.off == 0.0 else "yields", c, mode)
        self.state[c] = OFF
        if mode != 0:
            others = (self.strip == self.strip[c]) & (np.arange(len(self.strip)) != c)
            self.held[others] *= 1.0 - self.failures.unzip
        share = 0.0 if mode == 0 else self.failures.off
        if self.bearing[c] >= 0 and share == 0.0 and mode != PRESSED:
            # It rests where it stands, or where it comes back to; one that was crushed holds nothing.
            self.laws.gap[self.bearing[c]] = max(float(w.jump[self.bearing[c]]), 0.0)
        return self._flow(w, links, share, NEXT_TO_NOTHING * float(np.abs(w.force[links]).max()))

    def _release_strip(self, w: Walk, s: int) -> int:
        own = np.flatnonzero((self.strip == s) & (self.state != OFF))
        self.told[len(w.log)] = ("strip", s, 0)
        self.gone[s] = True
        links = self.link[own, 0]
        return self._flow(w, links[links >= 0], self.failures.anchorage, 0.0)

    def _flow(self, w: Walk, links: IntArray, share: float, nothing: float) -> int:
        """Let links go on with a share of their forces; -1, or the one that completes a mechanism."""
        noted = False
        for k in links.tolist():
            if w.state[k] == LOST:
                continue
            if not w.flows[k] and not w.exchange(k):
                if not noted:
                    w.change(k, int(w.state[k]))
                return int(k)
            force = float(w.force[k])
            level = share * abs(force)
            lost = level <= nothing
            after = LOST if lost else (UP if force > 0.0 else DOWN)
            self.laws.capacity[k] = max(abs(force), 1e-300)
            self.laws.residual[k] = 0.0 if lost else level
            w.target[k] = w.force[k]
            w.aim[k] = 0.0 if lost else float(np.copysign(level, force))
            if noted:
                w.state[k] = after
            else:
                w.change(k, after)
                noted = True
        return -1
